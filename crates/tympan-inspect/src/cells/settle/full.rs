//! Sheets that are filled in part have the grid of the full ones.

use tympan_sheet::{Flip, Page, Point, Size, Vector};

use super::{LONE_SD, NEAR, SURE, steps_on};
use crate::file_error::same_steps;
use crate::findings::{Grid, PageCells};

/// Cells may lie off the full page's by this and still be of its grid, mm.
const OFF_MM: f64 = 0.6;
/// The same on pages that are one picture: these lie on the page as they came.
const ADRIFT_MM: f64 = 2.5;
/// Cards of one kind may be found to differ by this, mm.
const OTHER_MM: f64 = 1.0;

/// Gives pages whose cells are some of another page's all cells of that page, empty where nothing
/// was found.
pub(super) fn complete(pages: &mut [PageCells]) {
    let full = (pages.iter())
        .filter_map(|page| page.grids.first().filter(|_| page.grids.len() == 1))
        .filter(|grid| grid.filled.len() > 1);
    // What all pages have in common is looked at once.
    let mut kinds: Vec<Grid> = Vec::new();
    for grid in full {
        let known = |kind: &Grid| {
            place_in(grid, kind, OFF_MM) == Some((0, 0)) && shape(grid) == shape(kind)
        };
        if !kinds.iter().any(known) {
            kinds.push(grid.clone());
        }
    }
    kinds.sort_by_key(|kind| std::cmp::Reverse(kind.filled.len()));
    for page in pages {
        let off = if page.one_picture { ADRIFT_MM } else { OFF_MM };
        let size = page.size;
        let [grid] = page.grids.as_mut_slice() else {
            continue;
        };
        let larger = |kind: &&Grid| {
            let better = kind.confidence >= SURE || grid.confidence < SURE;
            better && kind.filled.len() > grid.filled.len()
        };
        let direct = (kinds.iter().filter(larger))
            .find_map(|kind| Some((kind.clone(), place_in(grid, kind, off)?)));
        // Else some of the cells behind another page's: fronts with a file's own error against full
        // backs.
        let behind = || {
            (kinds.iter().filter(larger)).find_map(|kind| {
                [Flip::Sideways, Flip::Endways]
                    .into_iter()
                    .find_map(|flip| {
                        let kind = seen_through(kind, size, flip);
                        let place = place_in(grid, &kind, NEAR)?;
                        Some((kind, place))
                    })
            })
        };
        if let Some((kind, (column, row))) = direct.or_else(behind) {
            *grid = within(grid, &kind, column, row, page.one_picture);
        }
    }
}

/// A grid as it lies behind the page that it is on.
pub(super) fn seen_through(kind: &Grid, size: Size, flip: Flip) -> Grid {
    let (c, r) = (kind.columns - 1, kind.rows - 1);
    let first = match flip {
        Flip::Sideways => {
            let at = kind.centre(c, 0);
            Point::new(size.w - at.x, at.y)
        }
        Flip::Endways => {
            let at = kind.centre(0, r);
            Point::new(at.x, size.h - at.y)
        }
    };
    let mut behind = Grid {
        rotation: -kind.rotation,
        ..kind.clone()
    };
    let half = Vector::new(kind.trim.w / 2.0, kind.trim.h / 2.0);
    behind.origin = first - behind.to_page().apply_vector(half);
    behind
}

fn shape(grid: &Grid) -> (usize, usize) {
    (grid.columns, grid.rows)
}

/// The column and row of a larger grid at which a smaller one begins.
fn place_in(grid: &Grid, kind: &Grid, off_mm: f64) -> Option<(usize, usize)> {
    let same = grid.trim.is_close(kind.trim, OTHER_MM) && same_steps(grid, kind);
    // A tilt that moves no cell by more than that over a page.
    let tilt = (grid.rotation.to_radians() - kind.rotation.to_radians()).abs();
    let level = tilt < off_mm / 100.0;
    if !(same && level) {
        return None;
    }
    let to_grid = kind.to_page().inverse().ok()?;
    let middle = to_grid.apply(grid.centre(0, 0)) - Point::new(0.0, 0.0);
    let steps = |d: f64, pitch: f64, trim: f64, most: usize, count: usize| {
        let step = (d - trim / 2.0) / pitch;
        let off = (step - step.round()).abs() * pitch;
        let fits = off < off_mm && step.round() >= 0.0 && step.round() as usize + count <= most;
        fits.then_some(step.round() as usize)
    };
    Some((
        steps(
            middle.x,
            kind.pitch.x,
            kind.trim.w,
            kind.columns,
            grid.columns,
        )?,
        steps(middle.y, kind.pitch.y, kind.trim.h, kind.rows, grid.rows)?,
    ))
}

/// The same cells as part of a larger grid, where they were found and as they were found.
///
/// A page that is one picture is tilted in its own way, whatever little of it tells.
fn within(grid: &Grid, kind: &Grid, column: usize, row: usize, is_picture: bool) -> Grid {
    let mut filled = vec![false; kind.filled.len()];
    for ((c, r), is_filled) in grid.cells().zip(&grid.filled) {
        filled[(r + row) * kind.columns + c + column] = *is_filled;
    }
    let like = steps_on(kind, grid);
    let own = |count: usize, own: f64, like: f64| if count > 1 { own } else { like };
    let pitch = Vector::new(
        own(grid.columns, grid.pitch.x, like.x),
        own(grid.rows, grid.pitch.y, like.y),
    );
    let rotation = if is_picture || grid.filled.len() > 1 {
        grid.rotation
    } else {
        kind.rotation
    };
    let mut full = Grid {
        columns: kind.columns,
        rows: kind.rows,
        pitch,
        rotation,
        pitch_sd: grid.pitch_sd.max(kind.pitch_sd),
        filled,
        ..grid.clone()
    };
    if grid.filled.len() == 1 {
        // One card tells little of how its page is tilted and stretched.
        full.pitch_sd = full.pitch_sd.max(LONE_SD);
        full.place_sd = full.place_sd.max(LONE_SD);
    }
    let back: Vector<Page> = full
        .to_page()
        .apply_vector(Vector::new(column as f64 * pitch.x, row as f64 * pitch.y));
    full.origin = grid.origin - back;
    full
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{A4, grid, page};

    #[test]
    fn a_page_with_a_few_cells_of_a_full_page_gets_its_grid() {
        let full = grid(3, 3, Size::new(60.0, 85.0), Point::new(12.0, 20.0));
        let mut few = grid(2, 1, Size::new(60.0, 85.0), Point::new(72.0, 105.0));
        few.filled = vec![true, true];
        let mut pages = [page(0, A4, full.clone()), page(1, A4, few)];
        complete(&mut pages);
        let grid = &pages[1].grids[0];
        assert_eq!((grid.columns, grid.rows), (3, 3));
        assert!((grid.origin - full.origin).length() < 1e-9);
        let filled: Vec<usize> = (0..9).filter(|&i| grid.filled[i]).collect();
        assert_eq!(filled, [4, 5]);
        assert_eq!(pages[0].grids[0], full);
    }

    #[test]
    fn a_front_with_a_few_cells_before_a_full_page_of_backs_gets_their_grid() {
        let trim = Size::new(60.0, 85.0);
        let backs = grid(3, 3, trim, Point::new(12.0, 20.0));
        // Behind the backs' cells, but for an error of the file.
        let few = grid(2, 1, trim, Point::new(18.0 + 1.3, 20.0 - 0.9));
        let mut pages = [page(0, A4, few), page(1, A4, backs)];
        complete(&mut pages);
        let grid = &pages[0].grids[0];
        assert_eq!((grid.columns, grid.rows), (3, 3));
        let filled: Vec<usize> = (0..9).filter(|&i| grid.filled[i]).collect();
        assert_eq!(filled, [0, 1]);
        assert!((grid.origin - Point::new(19.3, 19.1)).length() < 1e-9);
    }

    #[test]
    fn cells_beside_the_full_page_s_stay_as_they_are() {
        let full = grid(3, 3, Size::new(60.0, 85.0), Point::new(12.0, 20.0));
        let few = grid(2, 1, Size::new(60.0, 85.0), Point::new(40.0, 135.0));
        let mut pages = [page(0, A4, full), page(1, A4, few.clone())];
        complete(&mut pages);
        assert_eq!(pages[1].grids[0], few);
    }
}
