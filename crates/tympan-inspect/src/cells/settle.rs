//! What the pages of a job say about each other's cells.

mod behind;
mod full;
mod pieces;
mod rivals;

use tympan_sheet::{Page, Point, Size, Vector, nearest_card};

use crate::file_error::same_steps;
use crate::findings::{Bleed, Evidence, Grid, PageCells};

/// The least bleed that is told from how far print reaches, and the most that is believed, mm.
const LEAST_BLEED: f64 = 0.7;
const MOST_BLEED: f64 = 7.0;

/// Pages of one file are stretched against each other by no more than this share.
const STRETCH: f64 = 0.004;

/// How far the edges of print lie off the cuts, mm.
const PRINT_SD: f64 = 0.1;

/// How sure one is of cells that do not go with those of the other pages.
const DOUBTED: f64 = 0.45;

/// Sizes nearer than this are the same, mm.
const SAME: f64 = 0.2;

/// The same for edges that are read from a picture, of a file that may be stretched, mm.
const SAME_IN_PICTURE: f64 = 0.5;

/// Places nearer than this are the same: files' own errors are below this, mm.
const NEAR: f64 = 4.5;

/// Grids that are surer than this bear witness for others.
const SURE: f64 = 0.5;

/// Sizes that are known no worse than this tell a page's own stretch, mm.
const EXACT_MM: f64 = 0.03;

/// How far the grid of a page with one card may lie off the full pages', and step otherwise, mm
/// (from files that nothing was tuned on).
const LONE_SD: f64 = 0.2;

/// A size of which less is known than this is no more than guessed, mm.
const GUESSED: f64 = 0.5;

/// Settles what is told only by other pages. (Pages of all files of one job belong in one call.)
///
/// - Pictures of unlike sizes that each lie behind a cell of a marked page are its cells' backs.
/// - Of unlike usual cards at the same steps in pictures those that most pages tell are right.
/// - A loose frame of the size of another page's cells, at the place of one of them or of its
///   mirror image, is a cell of a sheet that is not full. In a picture, a block as large as some of
///   them is those.
/// - Lines in a picture that make the cards of another page are cells, and print in it that lies
///   piece by piece in cells of another page, as they are or mirrored, lies in cells.
/// - Frames of a usual card's size at the same or mirrored places of two pages are cards.
/// - A guessed size gives way to a known one at the same steps; so does one that only frames speak
///   for to one that is marked.
/// - Steps in a picture that only print tells give way to those that lines tell on another page,
///   where both fill the same block.
/// - Cells that are some of another page's belong to its grid.
/// - Cells in a picture that are no usual cards are doubted where those of other pages are.
///
/// What is loose then is nothing.
pub fn settle(pages: &mut [PageCells]) {
    behind::settle(pages);
    rivals::settle(pages);
    frames(pages);
    sizes(pages);
    blocks(pages);
    full::complete(pages);
    odd_ones(pages);
}

/// Makes loose frames cells.
fn frames(pages: &mut [PageCells]) {
    let grids: Vec<(usize, Grid)> = (pages.iter().enumerate())
        .flat_map(|(index, page)| page.grids.iter().map(move |grid| (index, grid.clone())))
        .filter(|(_, grid)| grid.confidence >= SURE)
        .collect();
    // What sure pages in pictures show besides was looked at before.
    let unsure =
        |page: &PageCells| !page.one_picture || page.grids.iter().all(|g| g.confidence < SURE);
    let loose: Vec<(usize, Grid)> = (pages.iter().enumerate())
        .filter(|(_, page)| unsure(page))
        .flat_map(|(index, page)| page.loose.iter().map(move |grid| (index, grid.clone())))
        .collect();
    for (index, page) in pages.iter_mut().enumerate() {
        let singles = std::mem::take(&mut page.loose);
        if page.grids.iter().any(|grid| grid.confidence >= SURE) {
            continue;
        }
        let same = if page.one_picture {
            SAME_IN_PICTURE
        } else {
            SAME
        };
        let is_same = |a: &Grid, b: &Grid| a.trim.is_close(b.trim, same);
        let others =
            || (grids.iter()).filter_map(|(other, grid)| (*other != index).then_some(grid));
        let several = |grid: &&Grid| grid.filled.len() > 1;
        let borne_out =
            |loose: &&Grid| others().any(|grid| is_same(grid, loose) && same_steps(grid, loose));
        if let Some(grid) = singles.iter().filter(several).find(borne_out) {
            page.grids = vec![Grid {
                confidence: 0.8,
                ..grid.clone()
            }];
            continue;
        }
        let lone = |grid: &&Grid| grid.count() > 0 && !several(grid);
        for single in singles.iter().filter(lone) {
            let cell = (others().filter(|grid| is_same(grid, single)))
                .find_map(|grid| cell_of(grid, single, page.size.w, page.size.h));
            let of_others = cell.or_else(|| {
                let block = |grid: &Grid| some_of(grid, single, same);
                page.one_picture.then(|| others().find_map(block))?
            });
            if let Some(grid) = of_others.filter(|_| single.trim_sd < GUESSED) {
                page.grids = vec![grid];
                break;
            }
            if !page.grids.is_empty() && page.one_picture {
                continue;
            }
            let usual = single.trim_sd < GUESSED
                && nearest_card(single.trim).is_some_and(|(_, s)| (s - 1.0).abs() < 0.002);
            let twin = loose.iter().any(|(other, grid)| {
                *other != index
                    && is_same(grid, single)
                    && cell_of(grid, single, page.size.w, page.size.h).is_some()
            });
            if usual && twin {
                page.grids.push(Grid {
                    confidence: 0.7,
                    ..single.clone()
                });
            }
        }
        if page.grids.is_empty() && page.one_picture {
            let pieces: Vec<&Grid> = (singles.iter()).filter(|s| s.trim_sd >= GUESSED).collect();
            page.grids
                .extend(others().find_map(|grid| pieces::about(grid, &pieces, page.size)));
        }
    }
}

/// Some rows and columns of a grid that are together as large as a block of print. Where the grid's
/// page does not tell the bleed, all of its cells with the same bleed on all sides.
fn some_of(grid: &Grid, block: &Grid, same: f64) -> Option<Grid> {
    let long = |count: usize, pitch: f64, trim: f64| (count - 1) as f64 * pitch + trim;
    let beyond = Size::new(
        block.trim.w - long(grid.columns, grid.pitch.x, grid.trim.w),
        block.trim.h - long(grid.rows, grid.pitch.y, grid.trim.h),
    );
    let even = (beyond.w - beyond.h).abs() <= same / 2.0;
    let all_around = (beyond.w + beyond.h) / 4.0;
    let unknown =
        (grid.bleed.is_none() && even && (LEAST_BLEED..=MOST_BLEED).contains(&all_around))
            .then_some(all_around);
    let bleeds = [Some(0.0), grid.bleed.map(|bleed| bleed.usual), unknown];
    bleeds.into_iter().flatten().find_map(|bleed| {
        // How many, and how much the page is stretched.
        let fits = |count: usize, pitch: f64, trim: f64, has: f64| {
            let has = has - 2.0 * bleed;
            (1..=count)
                .map(|n| (n, long(n, pitch, trim)))
                .find(|(_, long)| (long - has).abs() <= same + STRETCH * long)
                .map(|(n, long)| {
                    // Lines around the cells reach beyond them, too.
                    let is_stretched = (long - has).abs() > same;
                    (n, if is_stretched { has / long } else { 1.0 })
                })
        };
        let (columns, wider) = fits(grid.columns, grid.pitch.x, grid.trim.w, block.trim.w)?;
        let (rows, longer) = fits(grid.rows, grid.pitch.y, grid.trim.h, block.trim.h)?;
        let cells = Size::new(
            wider * long(columns, grid.pitch.x, grid.trim.w),
            longer * long(rows, grid.pitch.y, grid.trim.h),
        );
        let corner = Point::new(
            (block.trim.w - cells.w) / 2.0,
            (block.trim.h - cells.h) / 2.0,
        );
        // A single cell is told by its place, too.
        (columns * rows > 1).then(|| Grid {
            columns,
            rows,
            trim: Size::new(wider * grid.trim.w, longer * grid.trim.h),
            pitch: Vector::new(wider * grid.pitch.x, longer * grid.pitch.y),
            origin: block.to_page().apply(corner),
            rotation: block.rotation,
            place_sd: grid.place_sd.max(PRINT_SD),
            trim_sd: grid.trim_sd.max(PRINT_SD),
            pitch_sd: grid.pitch_sd.max(PRINT_SD / 2.0),
            confidence: grid.confidence.min(0.8),
            found_by: vec![Evidence::Pixels],
            filled: vec![true; columns * rows],
            bleed: (bleed > 0.0).then_some(Bleed {
                least: bleed,
                usual: bleed,
            }),
            ..grid.clone()
        })
    })
}

/// Takes the steps that lines tell on another page for those that print tells of the same block: a
/// pattern repeats within cards, too.
fn blocks(pages: &mut [PageCells]) {
    let long = |grid: &Grid| {
        let along = |count: usize, pitch: f64, trim: f64| (count - 1) as f64 * pitch + trim;
        Size::new(
            along(grid.columns, grid.pitch.x, grid.trim.w),
            along(grid.rows, grid.pitch.y, grid.trim.h),
        )
    };
    let shown: Vec<Grid> = (pages.iter().flat_map(|page| &page.grids))
        .filter(|grid| grid.confidence >= SURE && is_shown(grid) && grid.filled.len() > 1)
        .cloned()
        .collect();
    for page in pages.iter_mut().filter(|page| page.one_picture) {
        let [grid] = page.grids.as_mut_slice() else {
            continue;
        };
        let other = |kind: &&Grid| {
            (kind.columns, kind.rows) != (grid.columns, grid.rows)
                && long(kind).is_close(long(grid), SAME_IN_PICTURE)
        };
        let Some(kind) = shown.iter().find(other).filter(|_| !is_shown(grid)) else {
            continue;
        };
        let (has, takes) = (long(grid), long(kind));
        let back = Vector::new((has.w - takes.w) / 2.0, (has.h - takes.h) / 2.0);
        *grid = Grid {
            origin: grid.origin + grid.to_page().apply_vector(back),
            rotation: grid.rotation,
            place_sd: grid.place_sd.max(LONE_SD),
            confidence: kind.confidence.min(0.8),
            found_by: vec![Evidence::Pixels],
            disagreement: 0.0,
            filled: vec![true; kind.filled.len()],
            bleed: None,
            corner_radius: None,
            ..kind.clone()
        };
    }
}

/// The steps of a grid on a page that has a card of this size: a page may be stretched, and where
/// it has no steps of its own only the cards' size tells how far, where that is exactly known.
fn steps_on(grid: &Grid, card: &Grid) -> Vector<Page> {
    if grid.trim_sd.max(card.trim_sd) > EXACT_MM {
        return grid.pitch;
    }
    Vector::new(
        grid.pitch.x * card.trim.w / grid.trim.w,
        grid.pitch.y * card.trim.h / grid.trim.h,
    )
}

/// Takes a known size for a guessed one where cells follow each other alike.
fn sizes(pages: &mut [PageCells]) {
    let known: Vec<Grid> = (pages.iter())
        .flat_map(|page| &page.grids)
        .filter(|grid| grid.confidence >= SURE && grid.trim_sd < GUESSED)
        .cloned()
        .collect();
    let all = pages.iter_mut().flat_map(|page| {
        let is_picture = page.one_picture;
        page.grids.iter_mut().map(move |grid| (is_picture, grid))
    });
    for (is_picture, grid) in all {
        let steps = |a: &Grid, b: &Grid| {
            let both = |a: usize, b: usize| (a > 1) == (b > 1);
            both(a.columns, b.columns) && both(a.rows, b.rows) && same_steps(a, b)
        };
        let is_guessed = grid.trim_sd >= GUESSED;
        // Of two sizes that are told for usual cards it was settled which one is right.
        let is_told = is_shown(grid) || (is_picture && grid.confidence >= SURE && is_usual(grid));
        if !is_guessed && is_told {
            continue;
        }
        let alike = |other: &&Grid| {
            grid.filled.len() > 1
                && steps(other, grid)
                && (is_guessed || (is_shown(other) && is_part(grid, other)))
        };
        if let Some(other) = known.iter().find(alike) {
            // Pages may be stretched against each other.
            let own = |count: usize, trim: f64, own: f64, other: f64| {
                if count > 1 { trim * own / other } else { trim }
            };
            let (pitch, known) = (grid.pitch, other.pitch);
            let new = Size::new(
                own(
                    grid.columns.min(other.columns),
                    other.trim.w,
                    pitch.x,
                    known.x,
                ),
                own(grid.rows.min(other.rows), other.trim.h, pitch.y, known.y),
            );
            let old = grid.trim;
            if !old.is_close(new, SAME) {
                // What was seen of edges was not the cards'.
                (grid.bleed, grid.corner_radius) = (None, None);
            }
            let back = Vector::new((old.w - new.w) / 2.0, (old.h - new.h) / 2.0);
            grid.origin = grid.origin + grid.to_page().apply_vector(back);
            grid.trim = new;
            grid.trim_sd = other.trim_sd.max(grid.pitch_sd);
            if is_picture {
                // Their middles were told from what is seen of them only.
                let within = (old.w - new.w).abs().max((old.h - new.h).abs());
                let lines = if is_shown(grid) { within / 2.0 } else { 0.0 };
                grid.place_sd = grid.place_sd.max(GUESSED).max(lines);
            } else if grid.place_sd <= GUESSED {
                grid.confidence = grid.confidence.max(0.7);
            }
        }
    }
}

/// Doubts cells in a picture that are no usual cards where those of other pages of the job are:
/// frames within cards make rows and columns, too.
fn odd_ones(pages: &mut [PageCells]) {
    let sure = |page: &PageCells| {
        page.grids
            .iter()
            .any(|g| g.confidence >= SURE && is_usual(g))
    };
    if !pages.iter().any(|page| page.one_picture && sure(page)) {
        return;
    }
    for page in pages.iter_mut().filter(|page| page.one_picture) {
        for grid in page.grids.iter_mut().filter(|grid| !is_usual(grid)) {
            grid.confidence = grid.confidence.min(DOUBTED);
        }
    }
}

/// Whether the cells have the size of a usual card.
fn is_usual(grid: &Grid) -> bool {
    nearest_card(grid.trim).is_some_and(|(_, scale)| (scale - 1.0).abs() < 0.005)
}

/// Whether marks or lines show the cuts of a grid.
fn is_shown(grid: &Grid) -> bool {
    let shows = |evidence: &Evidence| matches!(evidence, Evidence::TrimMarks | Evidence::Lines);
    grid.found_by.iter().any(shows)
}

fn is_part(grid: &Grid, of: &Grid) -> bool {
    grid.columns <= of.columns && grid.rows <= of.rows
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
        pitch: steps_on(grid, single),
        // One card tells little of how its page is tilted and stretched.
        pitch_sd: grid.pitch_sd.max(LONE_SD),
        place_sd: grid.place_sd.max(LONE_SD),
        ..grid.clone()
    };
    let back = Point::new(
        -(column as f64) * like.pitch.x,
        -(row as f64) * like.pitch.y,
    );
    Some(Grid {
        origin: like.to_page().apply(back),
        trim: single.trim,
        filled,
        confidence: grid.confidence.min(0.9),
        ..like
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{A4, grid, page};

    #[test]
    fn frames_within_cards_are_doubted_where_other_pages_show_the_cards() {
        let cards = grid(2, 3, Size::new(70.0, 70.0), Point::new(35.0, 40.0));
        let frames = grid(2, 1, Size::new(65.1, 137.4), Point::new(37.0, 42.0));
        let mut pages = [page(0, A4, cards.clone()), page(1, A4, frames)];
        for page in &mut pages {
            page.one_picture = true;
        }
        settle(&mut pages);
        assert_eq!(pages[0].grids, [cards]);
        assert!(pages[1].grids[0].confidence < SURE);
    }

    #[test]
    fn a_known_size_tells_no_place_that_was_only_guessed() {
        let known = grid(3, 2, Size::new(63.5, 88.9), Point::new(9.0, 49.0));
        let mut guessed = grid(3, 2, Size::new(58.0, 60.0), Point::new(12.0, 50.0));
        (guessed.pitch, guessed.confidence) = (known.pitch, 0.3);
        (guessed.trim_sd, guessed.place_sd) = (2.0, 13.0);
        let mut pages = [page(0, A4, known), page(1, A4, guessed)];
        settle(&mut pages);
        let grid = &pages[1].grids[0];
        assert!(grid.trim.is_close(Size::new(63.5, 88.9), 1e-9), "{grid:?}");
        assert!(grid.confidence < SURE && grid.place_sd > 10.0, "{grid:?}");
    }

    #[test]
    fn steps_of_print_give_way_to_those_of_lines_in_the_same_block() {
        let mut lined = grid(4, 2, Size::new(63.0, 88.0), Point::new(20.0, 17.0));
        lined.found_by = vec![Evidence::Lines, Evidence::Pixels];
        let mut halves = grid(4, 4, Size::new(63.0, 44.0), Point::new(22.0, 18.0));
        halves.found_by = vec![Evidence::Pixels];
        let mut pages = [page(0, A4, lined), page(1, A4, halves)];
        for page in &mut pages {
            page.one_picture = true;
        }
        settle(&mut pages);
        let grid = &pages[1].grids[0];
        assert_eq!((grid.columns, grid.rows), (4, 2));
        assert!(
            (grid.origin - Point::new(22.0, 18.0)).length() < 1e-9,
            "{grid:?}"
        );
    }

    #[test]
    fn a_block_of_print_with_even_bleed_is_the_cells_of_another_page() {
        let cells = grid(2, 3, Size::new(60.0, 85.0), Point::new(45.0, 20.0));
        // 1.5 mm beyond on all sides, and stretched by nothing.
        let block = grid(1, 1, Size::new(123.0, 258.0), Point::new(40.0, 21.0));
        let found = some_of(&cells, &block, SAME_IN_PICTURE).expect("cells");
        assert_eq!((found.columns, found.rows), (2, 3));
        assert!(
            (found.origin - Point::new(41.5, 22.5)).length() < 1e-9,
            "{found:?}"
        );
        assert!((found.bleed.expect("bleed").usual - 1.5).abs() < 1e-9);
        // More beyond on one side than on the other is something else.
        let other = grid(1, 1, Size::new(126.0, 258.0), Point::new(40.0, 21.0));
        assert_eq!(some_of(&cells, &other, SAME_IN_PICTURE), None);
    }

    #[test]
    fn a_lone_card_tells_how_its_page_is_stretched_but_not_well() {
        let full = grid(3, 3, Size::new(63.5, 88.9), Point::new(9.75, 15.15));
        let mut single = grid(1, 1, Size::new(63.63, 88.72), Point::new(9.8, 15.2));
        single.confidence = 0.4;
        let mut pages = [page(0, A4, full), page(1, A4, single.clone())];
        (pages[1].grids, pages[1].loose) = (Vec::new(), vec![single]);
        settle(&mut pages);
        let grid = &pages[1].grids[0];
        assert_eq!((grid.columns, grid.count()), (3, 1));
        assert!((grid.pitch.x - 63.63).abs() < 1e-9 && (grid.pitch.y - 88.72).abs() < 1e-9);
        assert!(
            grid.pitch_sd >= LONE_SD && grid.place_sd >= LONE_SD,
            "{grid:?}"
        );
    }
}
