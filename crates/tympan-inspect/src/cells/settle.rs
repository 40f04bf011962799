//! What single frames are, by what other pages of the file hold.

use tympan_sheet::{Point, nearest_card};

use crate::findings::{Grid, PageCells};

/// Sizes nearer than this are the same, mm.
const SAME: f64 = 0.2;

/// Places nearer than this are the same: files' own errors are below this, mm.
const NEAR: f64 = 4.5;

/// Settles what the loose frames of all pages are. A frame of the size of another page's cells, at
/// the place of one of them or of its mirror image, is a cell of a sheet that is not full. Frames
/// of a usual card's size at the same or mirrored places of two pages are cards. The rest is
/// nothing.
pub fn settle(pages: &mut [PageCells]) {
    let grids: Vec<(usize, Grid)> = (pages.iter().enumerate())
        .flat_map(|(index, page)| page.grids.iter().map(move |grid| (index, grid.clone())))
        .collect();
    let loose: Vec<(usize, Grid)> = (pages.iter().enumerate())
        .flat_map(|(index, page)| page.loose.iter().map(move |grid| (index, grid.clone())))
        .collect();
    for (index, page) in pages.iter_mut().enumerate() {
        let size = page.size;
        let singles = std::mem::take(&mut page.loose);
        if !page.grids.is_empty() {
            continue;
        }
        for single in singles {
            if single.count() == 0 {
                continue;
            }
            let elsewhere = (grids.iter())
                .filter(|(other, grid)| *other != index && same_size(grid, &single))
                .find_map(|(_, grid)| cell_of(grid, &single, size.w, size.h));
            if let Some(grid) = elsewhere {
                page.grids.push(grid);
                break;
            }
            let usual = nearest_card(single.trim).is_some_and(|(_, s)| (s - 1.0).abs() < 0.002);
            let twin = loose.iter().any(|(other, grid)| {
                *other != index
                    && same_size(grid, &single)
                    && cell_of(grid, &single, size.w, size.h).is_some()
            });
            if usual && twin {
                let confidence = 0.7;
                page.grids.push(Grid {
                    confidence,
                    ..single
                });
            }
        }
    }
}

fn same_size(a: &Grid, b: &Grid) -> bool {
    (a.trim.w - b.trim.w).abs() <= SAME && (a.trim.h - b.trim.h).abs() <= SAME
}

/// A grid like this one that has a cell where the single frame is, with only that cell filled.
fn cell_of(grid: &Grid, single: &Grid, w: f64, h: f64) -> Option<Grid> {
    let at = single.centre(0, 0);
    let places = [at, Point::new(w - at.x, at.y), Point::new(at.x, h - at.y)];
    let mut best: Option<(f64, usize, usize, usize)> = None;
    for (mirror, place) in places.iter().enumerate() {
        for (column, row) in grid.cells() {
            let off = (grid.centre(column, row) - *place).length();
            if off <= NEAR && best.is_none_or(|(least, ..)| off < least) {
                best = Some((off, mirror, column, row));
            }
        }
    }
    let (_, mirror, column, row) = best?;
    let (column, row) = match mirror {
        1 => (grid.columns - 1 - column, row),
        2 => (column, grid.rows - 1 - row),
        _ => (column, row),
    };
    let mut filled = vec![false; grid.columns * grid.rows];
    filled[row * grid.columns + column] = true;
    let like = Grid {
        rotation: single.rotation,
        origin: single.origin,
        ..grid.clone()
    };
    let back = Point::new(
        -(column as f64) * grid.pitch.x,
        -(row as f64) * grid.pitch.y,
    );
    Some(Grid {
        origin: like.to_page().apply(back),
        trim: single.trim,
        filled,
        confidence: grid.confidence.min(0.9),
        ..like
    })
}
