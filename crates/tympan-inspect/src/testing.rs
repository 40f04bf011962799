//! Pages made up for tests.

use tympan_sheet::{Angle, Page, Point, Size, Vector};

use crate::findings::{Evidence, Grid, PageCells};

pub(crate) const A4: Size = Size::new(210.0, 297.0);

/// A full grid without gutters.
pub(crate) fn grid(columns: usize, rows: usize, trim: Size, origin: Point<Page>) -> Grid {
    Grid {
        columns,
        rows,
        trim,
        pitch: Vector::new(trim.w, trim.h),
        origin,
        rotation: Angle::ZERO,
        place_sd: 0.01,
        pitch_sd: 0.005,
        trim_sd: 0.02,
        confidence: 0.99,
        found_by: vec![Evidence::Placements],
        disagreement: 0.0,
        filled: vec![true; columns * rows],
        bleed: None,
        corner_radius: None,
    }
}

/// A page with one grid.
pub(crate) fn page(page: usize, size: Size, grid: Grid) -> PageCells {
    PageCells {
        page,
        size,
        loose: Vec::new(),
        grids: vec![grid],
        fold: None,
        one_picture: false,
    }
}
