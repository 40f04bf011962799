//! Backs in a picture that have nothing but a mark in the middle of each card.

use tympan_sheet::{Flip, Page, Size, Vector};

use super::NEAR;
use super::full::seen_through;
use crate::findings::{Evidence, Grid};

/// How sure one is of cells whose edges nothing shows.
const DOUBTED: f64 = 0.45;

/// Marks lie off the middles of their cards by this, one standard deviation, mm (a guess).
const OFF_SD: f64 = 2.0;

/// The same, at most, mm.
const MOST_OFF: f64 = 8.0;

/// The cells of a grid of another page, as it is or mirrored, that hold these pieces of print: each
/// in the middle of a cell of its own, and most cells have one.
pub(super) fn about(grid: &Grid, pieces: &[&Grid], page: Size) -> Option<Grid> {
    if grid.filled.len() < 2 || pieces.len() < 2 {
        return None;
    }
    let flipped = [Flip::Sideways, Flip::Endways].map(|flip| seen_through(grid, page, flip));
    (std::iter::once(grid.clone()).chain(flipped)).find_map(|kind| placed(&kind, pieces))
}

fn placed(kind: &Grid, pieces: &[&Grid]) -> Option<Grid> {
    let off = |piece: &Grid| -> Option<(usize, Vector<Page>)> {
        let middle = piece.centre(0, 0);
        let by = |(column, row): (usize, usize)| middle - kind.centre(column, row);
        let nearest = (kind.cells().enumerate())
            .map(|(index, cell)| (index, by(cell)))
            .min_by(|a, b| a.1.length().total_cmp(&b.1.length()))?;
        // It lies within its cell.
        let (size, trim) = (piece.trim, kind.trim);
        let fits = |off: f64, has: f64, cell: f64| off.abs() + has / 2.0 <= cell / 2.0 + NEAR;
        let within = fits(nearest.1.x, size.w, trim.w) && fits(nearest.1.y, size.h, trim.h);
        within.then_some(nearest)
    };
    let offs: Vec<(usize, Vector<Page>)> = pieces.iter().map(|p| off(p)).collect::<Option<_>>()?;
    let mut filled = vec![false; kind.filled.len()];
    for (index, _) in &offs {
        // Two in one cell are no marks.
        if std::mem::replace(&mut filled[*index], true) {
            return None;
        }
    }
    let n = offs.len() as f64;
    let mean = offs.iter().fold(Vector::ZERO, |sum, (_, by)| sum + *by) * (1.0 / n);
    let even = offs.iter().all(|(_, by)| (*by - mean).length() <= MOST_OFF);
    let most = offs.len() * 5 >= 3 * kind.count();
    (most && even && mean.length() <= MOST_OFF).then(|| Grid {
        origin: kind.origin + mean,
        rotation: pieces.first().map_or(kind.rotation, |piece| piece.rotation),
        place_sd: OFF_SD,
        pitch_sd: kind.pitch_sd.max(OFF_SD / n.sqrt() / 2.0),
        trim_sd: kind.trim_sd.max(OFF_SD),
        confidence: DOUBTED,
        found_by: vec![Evidence::Pixels],
        disagreement: 0.0,
        filled,
        bleed: None,
        corner_radius: None,
        ..kind.clone()
    })
}

#[cfg(test)]
mod tests {
    use tympan_sheet::Point;

    use super::*;
    use crate::testing::{A4, grid};

    /// Pieces of print of a size about these middles.
    fn pieces(size: f64, middles: &[(f64, f64)]) -> Vec<Grid> {
        let trim = Size::new(size, size);
        let corner = |(x, y): &(f64, f64)| Point::<Page>::new(x - size / 2.0, y - size / 2.0);
        (middles.iter())
            .map(|middle| grid(1, 1, trim, corner(middle)))
            .collect()
    }

    fn all(pieces: &[Grid]) -> Vec<&Grid> {
        pieces.iter().collect()
    }

    #[test]
    fn marks_in_the_middles_of_mirrored_cells_tell_the_cells_but_not_surely() {
        let fronts = grid(2, 2, Size::new(60.0, 85.0), Point::new(20.0, 40.0));
        // Behind them the block begins at 210 - 20 - 120 = 70; moved by 1 mm.
        let marks = pieces(
            20.0,
            &[(101.0, 82.5), (161.0, 82.5), (101.0, 167.5), (161.0, 167.5)],
        );
        let found = about(&fronts, &all(&marks), A4).expect("cells");
        assert!(
            (found.origin - Point::new(71.0, 40.0)).length() < 1e-9,
            "{found:?}"
        );
        assert!(found.confidence < 0.5 && found.place_sd >= 1.0);
    }

    #[test]
    fn print_that_goes_on_from_cell_to_cell_or_comes_twice_in_one_tells_nothing() {
        let fronts = grid(2, 2, Size::new(60.0, 85.0), Point::new(45.0, 40.0));
        let wide = pieces(
            70.0,
            &[(75.0, 82.5), (135.0, 82.5), (75.0, 167.5), (135.0, 167.5)],
        );
        assert_eq!(about(&fronts, &all(&wide), A4), None);
        let twice = pieces(
            10.0,
            &[(75.0, 70.0), (75.0, 95.0), (135.0, 82.5), (75.0, 167.5)],
        );
        assert_eq!(about(&fronts, &all(&twice), A4), None);
    }
}
