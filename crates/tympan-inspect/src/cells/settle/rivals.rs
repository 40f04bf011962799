//! Pages that tell of unlike usual cards at the same steps: lines within the cards may happen to make
//! a usual card, too, and at most one of the sizes is right.

use super::{DOUBTED, GUESSED, SURE, is_usual};
use crate::file_error::same_steps;
use crate::findings::{Grid, PageCells};

/// Sizes that differ by less than this may be read off the same cards, mm.
const SAME: f64 = 1.0;

/// How much unevenness of the gutters outweighs one page more, mm (a guess).
const UNEVEN: f64 = 4.0;

/// One size is clearly likelier than another where so many pages more tell it.
const CLEAR: f64 = 2.0;

/// A page takes the cells of the likeliest size where it shows them as well; else it is doubted, and
/// so are all pages where no size is clearly likelier than the others.
pub(super) fn settle(pages: &mut [PageCells]) {
    let told: Vec<(usize, Grid)> = (pages.iter().enumerate())
        .filter_map(|(index, page)| Some((index, tells(page)?.clone())))
        .collect();
    for (index, own) in &told {
        let rivals = (told.iter().map(|(_, grid)| grid))
            .filter(|grid| same_steps(grid, own) && !same_size(grid, own));
        let Some(rival) = rivals.max_by(|a, b| likely(a, &told).total_cmp(&likely(b, &told)))
        else {
            continue;
        };
        let behind = likely(rival, &told) - likely(own, &told);
        if behind <= -CLEAR {
            continue;
        }
        let page = &mut pages[*index];
        let shows = (page.loose.iter()).find(|grid| {
            grid.filled.len() > 1 && same_size(grid, rival) && same_steps(grid, rival)
        });
        let grid = match shows.filter(|_| behind >= CLEAR) {
            Some(grid) => Grid {
                confidence: 0.8,
                ..grid.clone()
            },
            None => doubted(own, rival),
        };
        page.grids = vec![grid];
    }
}

/// The grid by which a page in a picture tells of usual cards.
fn tells(page: &PageCells) -> Option<&Grid> {
    let [grid] = page.grids.as_slice() else {
        return None;
    };
    let sure = grid.confidence >= SURE && grid.trim_sd < GUESSED && grid.filled.len() > 1;
    (page.one_picture && sure && is_usual(grid)).then_some(grid)
}

fn same_size(a: &Grid, b: &Grid) -> bool {
    a.trim.is_close(b.trim, SAME)
}

/// How many pages tell of cards of this size, less what speaks against it.
fn likely(grid: &Grid, told: &[(usize, Grid)]) -> f64 {
    let same = |other: &&(usize, Grid)| same_size(&other.1, grid) && same_steps(&other.1, grid);
    let (across, down) = (grid.pitch.x - grid.trim.w, grid.pitch.y - grid.trim.h);
    let uneven = if grid.columns.min(grid.rows) > 1 {
        (across - down).abs()
    } else {
        0.0
    };
    told.iter().filter(same).count() as f64 - uneven / UNEVEN
}

/// The same cells, of which no more is known than that they are of one of two sizes.
fn doubted(own: &Grid, rival: &Grid) -> Grid {
    let apart = (own.trim.w - rival.trim.w)
        .abs()
        .max((own.trim.h - rival.trim.h).abs());
    Grid {
        confidence: own.confidence.min(DOUBTED),
        trim_sd: own.trim_sd.max(apart / 2.0),
        place_sd: own.place_sd.max(apart / 2.0),
        ..own.clone()
    }
}

#[cfg(test)]
mod tests {
    use tympan_sheet::{Point, Size, Vector};

    use super::*;
    use crate::testing::{A4, grid, page};

    /// Cards of a width at the same steps, on a page that is one picture.
    fn in_picture(index: usize, w: f64) -> PageCells {
        let mut cells = grid(2, 3, Size::new(w, 88.0), Point::new(20.0, 16.0));
        cells.pitch = Vector::new(67.0, 88.0);
        let mut page = page(index, A4, cells);
        page.one_picture = true;
        page
    }

    #[test]
    fn a_page_takes_the_cells_that_most_pages_tell_where_it_shows_them_too() {
        let mut pages = [0, 1, 2].map(|i| in_picture(i, 63.0));
        pages[1] = in_picture(1, 56.0);
        let shown = in_picture(1, 63.0).grids[0].clone();
        pages[1].loose = vec![Grid {
            confidence: 0.3,
            ..shown.clone()
        }];
        settle(&mut pages);
        assert!((pages[1].grids[0].trim.w - 63.0).abs() < 1e-9);
        assert!(pages[1].grids[0].confidence >= SURE);
        assert_eq!(pages[0].grids[0], shown);
    }

    #[test]
    fn a_page_alone_with_its_size_is_doubted_and_the_others_are_not() {
        let mut pages = [0, 1, 2].map(|i| in_picture(i, 63.0));
        pages[2] = in_picture(2, 56.0);
        settle(&mut pages);
        let doubted = &pages[2].grids[0];
        assert!(doubted.confidence < SURE && doubted.place_sd >= 3.5);
        assert!(pages[0].grids[0].confidence >= SURE);
    }

    #[test]
    fn where_no_size_is_clearly_likelier_all_are_doubted() {
        let mut pages = [in_picture(0, 63.0), in_picture(1, 59.0)];
        for page in &mut pages {
            page.grids[0].trim.h = if page.page == 0 { 88.0 } else { 91.0 };
            page.grids[0].pitch.y = 95.0;
        }
        settle(&mut pages);
        let doubted = |page: &PageCells| page.grids[0].confidence < SURE;
        assert!(pages.iter().all(doubted), "{pages:?}");
    }
}
