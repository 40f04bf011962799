//! Backs without marks of their own, whose pictures are of unlike sizes: they bleed freely at the
//! outside of a block, and inside only as far as their neighbours leave room. They are the cells
//! of the marked page that they lie behind.

use tympan_sheet::{Flip, Front, Page, Point, Size, Vector};

use super::{MOST_BLEED, NEAR, SAME, is_shown};
use crate::findings::{Grid, PageCells};

/// What is not known of the place where bleeds differ from edge to edge, mm.
const PLACE_SD: f64 = 0.15;

/// Gives such pages the grid of the page that they lie behind.
pub(super) fn settle(pages: &mut [PageCells]) {
    let marked: Vec<(Size, Grid)> = pages
        .iter()
        .flat_map(|page| page.grids.iter().map(|grid| (page.size, grid.clone())))
        .filter(|(_, grid)| is_shown(grid) && grid.filled.len() > 1)
        .collect();
    for page in pages.iter_mut() {
        if page.one_picture || page.fold.is_some() || page.grids.iter().any(is_shown) {
            continue;
        }
        // Where no frames are cards by themselves, those in rows may be.
        let (rows, rest): (Vec<&Grid>, Vec<&Grid>) = if page.grids.is_empty() {
            page.loose.iter().partition(|grid| grid.count() > 1)
        } else {
            (page.grids.iter().collect(), page.loose.iter().collect())
        };
        let cells: Vec<(Point<Page>, Size)> = rows
            .iter()
            .flat_map(|grid| {
                grid.filled_cells()
                    .map(|(c, r)| (grid.centre(c, r), grid.trim))
            })
            .collect();
        let known = |grid: &Grid| {
            rows.len() == 1
                && rows[0].trim.is_close(grid.trim, SAME)
                && rows[0].filled.len() <= grid.filled.len()
        };
        let loose: Vec<(Point<Page>, Size)> = rest
            .iter()
            .filter(|single| single.count() > 0)
            .map(|single| (single.centre(0, 0), single.trim))
            .collect();
        if cells.is_empty() || marked.iter().any(|(_, grid)| known(grid)) {
            continue;
        }
        let tilt = rows[0].rotation;
        let found = marked
            .iter()
            .filter(|(size, _)| size.is_close(page.size, 1.0))
            .flat_map(|(_, grid)| [Flip::Sideways, Flip::Endways].map(|flip| (grid, flip)))
            .filter_map(|(grid, flip)| behind(grid, flip, page.size, &cells, &loose))
            .min_by(|a, b| a.1.total_cmp(&b.1));
        if let Some((grid, _)) = found {
            page.grids = vec![Grid {
                rotation: tilt,
                ..grid
            }];
            page.loose.clear();
        }
    }
}

/// The grid seen from behind, with the cells in it that are there, and how far they lie off at
/// most; `None` where one of them is no picture of a cell. A loose frame may be one or not.
fn behind(
    grid: &Grid,
    flip: Flip,
    page: Size,
    cells: &[(Point<Page>, Size)],
    loose: &[(Point<Page>, Size)],
) -> Option<(Grid, f64)> {
    let far = grid.to_page().apply(Point::new(
        (grid.columns - 1) as f64 * grid.pitch.x + grid.trim.w,
        (grid.rows - 1) as f64 * grid.pitch.y + grid.trim.h,
    ));
    let corner = flip.to_back(
        match flip {
            Flip::Sideways => Point::<Front>::new(far.x, grid.origin.y),
            Flip::Endways => Point::<Front>::new(grid.origin.x, far.y),
        },
        page,
    );
    let mut seen = Grid {
        origin: Point::new(corner.x, corner.y),
        filled: vec![false; grid.filled.len()],
        confidence: grid.confidence.min(0.9),
        found_by: vec![crate::findings::Evidence::Placements],
        bleed: None,
        ..grid.clone()
    };
    let mut offs: Vec<Vector<Page>> = Vec::new();
    for (i, (centre, size)) in cells.iter().chain(loose).enumerate() {
        let beyond = [size.w - grid.trim.w, size.h - grid.trim.h];
        let fits = beyond
            .iter()
            .all(|b| (-SAME..=2.0 * MOST_BLEED).contains(b));
        let off = |(column, row): &(usize, usize)| *centre - seen.centre(*column, *row);
        let nearest = seen
            .cells()
            .min_by(|a, b| off(a).length().total_cmp(&off(b).length()))?;
        let by = off(&nearest);
        let index = nearest.1 * grid.columns + nearest.0;
        let is_there = fits && by.length() <= NEAR && !seen.filled[index];
        if !is_there && i < cells.len() {
            return None;
        }
        if is_there {
            seen.filled[index] = true;
            offs.push(by);
        }
    }
    // Outer cells lean outwards by what they bleed more there, those opposite as far the other way;
    // without those, a lean and an error of the file's cannot be told apart.
    let along = |of: fn(&Vector<Page>) -> f64, both_ends: bool, beyond: f64| {
        let least = offs.iter().map(of).fold(f64::INFINITY, f64::min);
        let most = offs.iter().map(of).fold(f64::NEG_INFINITY, f64::max);
        let middle = (least + most) / 2.0;
        match both_ends || beyond <= SAME {
            true => (middle, PLACE_SD),
            false if middle.abs() <= beyond / 2.0 => (0.0, PLACE_SD + beyond / 4.0),
            false => (middle, PLACE_SD + beyond / 4.0),
        }
    };
    let largest = |of: fn(&Size) -> f64| cells.iter().map(|c| of(&c.1)).fold(0.0, f64::max);
    let (mut columns, mut rows) = ((usize::MAX, 0), (usize::MAX, 0));
    for (column, row) in seen.filled_cells() {
        columns = (columns.0.min(column), columns.1.max(column));
        rows = (rows.0.min(row), rows.1.max(row));
    }
    let both = |(first, last): (usize, usize), count: usize| first == 0 && last + 1 == count;
    let (w, h) = (grid.trim.w, grid.trim.h);
    let x = along(|v| v.x, both(columns, grid.columns), largest(|s| s.w) - w);
    let y = along(|v| v.y, both(rows, grid.rows), largest(|s| s.h) - h);
    seen.origin = seen.origin + Vector::new(x.0, y.0);
    seen.place_sd = x.1.max(y.1);
    let most = offs.iter().map(|off| off.length()).fold(0.0, f64::max);
    Some((seen, most))
}
