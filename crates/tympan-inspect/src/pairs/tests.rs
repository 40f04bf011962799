use image::{Rgb, RgbImage};
use tympan_sheet::{Affine, Angle, Flip, Page, Point, Rect, Size, Vector};

use super::*;
use crate::findings::{FoldLine, Grid, PageCells};
use crate::testing::{A4, grid, page};

/// Something to draw on a card: a number gives a card of its own.
#[derive(Clone, Copy)]
enum Card {
    Front(u32),
    Back(u32),
}

fn fill(picture: &mut RgbImage, area: Rect<Page>, colour: [u8; 3]) {
    for y in area.min.y.round() as u32..area.max.y.round() as u32 {
        for x in area.min.x.round() as u32..area.max.x.round() as u32 {
            if x < picture.width() && y < picture.height() {
                picture.put_pixel(x, y, Rgb(colour));
            }
        }
    }
}

/// A page of cards, one pixel per mm: fronts are pale with a few patches of their own, backs dark.
fn look(number: usize, cells: PageCells, cards: &[Card]) -> Look {
    let mut picture = RgbImage::from_pixel(
        cells.size.w.round() as u32,
        cells.size.h.round() as u32,
        Rgb([255; 3]),
    );
    let mut cells = cells;
    cells.page = number;
    if let Some(grid) = cells.grids.first() {
        let filled = (0..grid.filled.len()).filter(|&i| grid.filled[i]);
        for (cell, card) in filled.zip(cards) {
            let middle = grid.centre(cell % grid.columns, cell / grid.columns);
            let corner = middle - Vector::new(grid.trim.w / 2.0, grid.trim.h / 2.0);
            let (ground, seed) = match card {
                Card::Front(n) => ([235, 230, 215], *n),
                Card::Back(n) => ([40, 60, 90], n + 1000),
            };
            fill(&mut picture, Rect::at(corner, grid.trim), ground);
            for patch in 0..4_u32 {
                let hash = (seed * 7 + patch * 3 + 1).wrapping_mul(2_654_435_761);
                let at = |shift: u32, room: f64| f64::from((hash >> shift) % 100) / 100.0 * room;
                let place =
                    corner + Vector::new(at(3, grid.trim.w - 14.0), at(11, grid.trim.h - 14.0));
                let colour = [(hash >> 8) as u8, (hash >> 16) as u8, (hash >> 24) as u8];
                fill(&mut picture, Rect::at(place, Size::new(14.0, 14.0)), colour);
            }
        }
    }
    Look::new(cells, &picture, 1.0)
}

fn full(number: usize) -> PageCells {
    page(
        number,
        A4,
        grid(3, 3, Size::new(60.0, 85.0), Point::new(15.0, 21.0)),
    )
}

fn part(number: usize, filled: &[usize]) -> PageCells {
    let mut cells = full(number);
    cells.grids[0].filled = (0..9).map(|i| filled.contains(&i)).collect();
    cells
}

fn fronts(number: usize) -> Look {
    let cards: Vec<Card> = (0..9).map(|i| Card::Front(9 * number as u32 + i)).collect();
    look(number, full(number), &cards)
}

fn common_backs(number: usize) -> Look {
    look(number, full(number), &[Card::Back(0); 9])
}

fn unique_backs(number: usize) -> Look {
    let cards: Vec<Card> = (0..9).map(|i| Card::Back(9 * number as u32 + i)).collect();
    look(number, full(number), &cards)
}

fn paired(pages: &[Look]) -> (Way, Vec<(usize, usize)>, f64) {
    let pairing = pair(pages, &Asked::Guess).expect("a guess never fails");
    let pairs = pairing.pairs.iter().map(|p| (p.front, p.back)).collect();
    (pairing.way, pairs, pairing.confidence)
}

#[test]
fn common_backs_by_turns_are_told() {
    let pages = [fronts(0), common_backs(1), fronts(2), common_backs(3)];
    let (way, pairs, sure) = paired(&pages);
    assert_eq!((way, pairs), (Way::Alternating, vec![(0, 1), (2, 3)]));
    assert!(sure > 0.9, "{sure}");
}

#[test]
fn common_backs_after_all_fronts_are_told() {
    let pages = [
        fronts(0),
        fronts(1),
        fronts(2),
        common_backs(3),
        common_backs(4),
        common_backs(5),
    ];
    let (way, pairs, sure) = paired(&pages);
    assert_eq!(way, Way::FrontsThenBacks);
    assert_eq!(pairs, [(0, 3), (1, 4), (2, 5)]);
    assert!(sure > 0.6, "{sure}");
}

#[test]
fn one_back_for_all_is_told() {
    let pages = [fronts(0), fronts(1), fronts(2), common_backs(3)];
    let (way, pairs, sure) = paired(&pages);
    assert_eq!((way, pairs), (Way::OneBack, vec![(0, 3), (1, 3), (2, 3)]));
    assert!(sure > 0.8, "{sure}");
}

#[test]
fn unique_backs_by_turns_and_after_all_fronts_are_told_by_their_looks() {
    let by_turns: Vec<Look> = (0..6)
        .map(|i| {
            if i % 2 == 0 {
                fronts(i)
            } else {
                unique_backs(i)
            }
        })
        .collect();
    assert_eq!(paired(&by_turns).0, Way::Alternating);
    let halves: Vec<Look> = (0..6)
        .map(|i| if i < 3 { fronts(i) } else { unique_backs(i) })
        .collect();
    assert_eq!(paired(&halves).0, Way::FrontsThenBacks);
}

#[test]
fn part_filled_sheets_tell_backs_in_reverse_order() {
    let some = |number: usize, filled: &[usize], back: bool| {
        let cards: Vec<Card> = (0..9_u32)
            .map(|i| {
                if back {
                    Card::Back(90 + i)
                } else {
                    Card::Front(70 + i)
                }
            })
            .collect();
        look(number, part(number, filled), &cards)
    };
    let pages = [
        fronts(0),
        some(1, &[0, 1], false),
        some(2, &[2, 1], true),
        unique_backs(3),
    ];
    let (way, pairs, sure) = paired(&pages);
    assert_eq!((way, pairs), (Way::BacksReversed, vec![(0, 3), (1, 2)]));
    assert!(sure > 0.5, "{sure}");
}

#[test]
fn fronts_that_all_differ_alone_are_not_called_pairs_with_certainty() {
    let pages = [fronts(0), fronts(1), fronts(2), fronts(3)];
    let (_, _, sure) = paired(&pages);
    assert!(sure <= 0.7, "{sure}");
}

#[test]
fn rules_between_the_sheets_are_neither() {
    let rules = |number| {
        look(
            number,
            PageCells {
                page: number,
                size: A4,
                loose: Vec::new(),
                grids: Vec::new(),
                fold: None,
                one_picture: false,
            },
            &[],
        )
    };
    let pages = [
        rules(0),
        fronts(1),
        common_backs(2),
        rules(3),
        fronts(4),
        common_backs(5),
    ];
    let pairing = pair(&pages, &Asked::Guess).expect("a guess");
    use Role::{Back, Front, Other};
    assert_eq!(pairing.roles, [Other, Front, Back, Other, Front, Back]);
}

#[test]
fn nothing_is_paired_where_nothing_holds_cards() {
    let pairing = pair(&[], &Asked::Guess).expect("a guess");
    assert_eq!(pairing.confidence, 0.0);
    assert!(pairing.pairs.is_empty());
}

#[test]
fn fronts_and_backs_in_two_files_are_paired_in_order() {
    let pairing = pair_files(
        &[fronts(0), fronts(1)],
        &[common_backs(0), common_backs(1)],
        &Asked::Guess,
    )
    .expect("a guess");
    let pairs: Vec<_> = pairing.pairs.iter().map(|p| (p.front, p.back)).collect();
    assert_eq!(pairs, [(0, 0), (1, 1)]);
    assert_eq!(pairing.back_roles, [Role::Back, Role::Back]);
    assert_eq!(pairing.roles, [Role::Front, Role::Front]);
}

#[test]
fn a_folded_sheet_is_its_own_back() {
    let mut cells = full(0);
    cells.fold = Some(FoldLine {
        from: Point::new(105.0, 0.0),
        to: Point::new(105.0, 297.0),
    });
    let pairing = pair(&[look(0, cells, &[])], &Asked::Guess).expect("a guess");
    assert_eq!(pairing.way, Way::FoldOver);
    assert_eq!(pairing.roles, [Role::FoldOver]);
    assert_eq!(pairing.pairs[0].flip, Some(Flip::Sideways));
}

/// Moved off the middle, a grid fits its mirror image on one flip only.
fn off_centre(flip: Flip) -> (PageCells, PageCells) {
    let trim = Size::new(60.0, 85.0);
    let front = grid(3, 3, trim, Point::new(10.0, 25.0));
    let back = match flip {
        Flip::Sideways => Point::new(210.0 - 190.0, 25.0),
        Flip::Endways => Point::new(10.0, 297.0 - 25.0 - 255.0),
    };
    (
        page(0, A4, front),
        page(
            1,
            A4,
            Grid {
                origin: back,
                ..grid(3, 3, trim, back)
            },
        ),
    )
}

#[test]
fn the_flip_that_makes_grids_match_is_found_and_a_centred_grid_leaves_it_open() {
    for flip in [Flip::Sideways, Flip::Endways] {
        let (front, back) = off_centre(flip);
        let fronts: Vec<Card> = (0..9).map(Card::Front).collect();
        let pages = [look(0, front, &fronts), look(1, back, &[Card::Back(0); 9])];
        let pairing = pair(&pages, &Asked::Guess).expect("a guess");
        assert_eq!(pairing.pairs[0].flip, Some(flip));
    }
    let mut centred = [full(0), full(1)];
    for cells in &mut centred {
        cells.grids[0].origin = Point::new(15.0, 21.0);
    }
    let [front, back] = centred;
    let pages = [
        look(0, front, &[Card::Front(1); 9]),
        look(1, back, &[Card::Back(0); 9]),
    ];
    let pairing = pair(&pages, &Asked::In(Way::Alternating)).expect("two pages");
    assert_eq!(pairing.pairs[0].flip, None);
}

/// A page as a scanner gives it: one picture, tilted about its middle and a little off its place.
fn scanned(mut cells: PageCells, tilt: f64, off: (f64, f64)) -> PageCells {
    let askew = Affine::tilt(Angle::degrees(tilt), cells.size.centre())
        .then(&Affine::shift(Vector::new(off.0, off.1)));
    let grid = &mut cells.grids[0];
    grid.origin = askew.apply(grid.origin);
    grid.rotation = Angle::degrees(tilt);
    cells.one_picture = true;
    cells
}

/// Where a scanner put the pages fits the one flip, which cells are filled only the other one.
#[test]
fn scans_that_lie_a_little_off_do_not_tell_the_flip_but_empty_cells_do() {
    let fronts: Vec<Card> = (0..9).map(Card::Front).collect();
    let cards = [Card::Back(0); 9];
    let sheet = |front: PageCells, back: PageCells| {
        [
            look(0, scanned(front, 0.8, (0.3, 0.4)), &fronts),
            look(1, scanned(back, -0.7, (-0.3, 0.4)), &cards),
        ]
    };
    let centred = |mut cells: PageCells| {
        cells.grids[0].origin = Point::new(15.0, 21.0);
        cells
    };
    let pairing = |pages: &[Look]| {
        pair(pages, &Asked::In(Way::Alternating))
            .expect("two pages")
            .pairs[0]
            .clone()
    };
    // Cells of a sheet flipped endways: the first row comes to lie at the foot.
    let (front, back) = (part(0, &[0, 1, 2, 3]), part(1, &[3, 6, 7, 8]));
    let told = pairing(&sheet(centred(front), centred(back)));
    assert_eq!(told.flip, Some(Flip::Endways), "{told:?}");
    assert_eq!(told.otherwise, None);
    // Full ones fit either way, and both errors are said.
    let open = pairing(&sheet(centred(full(0)), centred(full(1))));
    assert_eq!(open.flip, None, "{open:?}");
    let flips = [open.file_error, open.otherwise].map(|error| error.map(|e| e.flip));
    assert_eq!(flips, [Some(Flip::Sideways), Some(Flip::Endways)]);
    let shifts = [open.file_error, open.otherwise].map(|error| error.expect("an error").shift);
    for (shift, want) in shifts.into_iter().zip([(0.0, 0.0), (-0.6, -0.8)]) {
        let off = shift - Vector::new(want.0, want.1);
        assert!(off.length() < 0.01, "{shift:?} is not {want:?}");
    }
}

#[test]
fn the_flip_that_is_meant_is_taken_where_either_fits() {
    let pages = [
        look(0, full(0), &[Card::Front(1); 9]),
        look(1, full(1), &[Card::Back(0); 9]),
    ];
    let mut pairing = pair(&pages, &Asked::In(Way::Alternating)).expect("two pages");
    let taken = |pairing: &Pairing| pairing.pairs[0].file_error.map(|error| error.flip);
    assert_eq!(taken(&pairing), Some(Flip::Sideways));
    pairing.take(Flip::Endways);
    assert_eq!(taken(&pairing), Some(Flip::Endways));
    pairing.take(Flip::Endways);
    assert_eq!(taken(&pairing), Some(Flip::Endways));
}

#[test]
fn text_on_both_sides_of_a_fold_tells_how_the_cards_stand() {
    let turned = Angle::degrees(180.0);
    for (to, other, want) in [
        // An upright line: backs beside their fronts, upright.
        (Point::new(105.0, 297.0), Angle::ZERO, Standing::HeadToHead),
        (Point::new(105.0, 297.0), turned, Standing::HeadToFoot),
        // A level one: folded over it, what stood upright stands on its head.
        (Point::new(210.0, 0.0), Angle::ZERO, Standing::HeadToFoot),
        (Point::new(210.0, 0.0), turned, Standing::HeadToHead),
    ] {
        let mut cells = full(0);
        let from = if to.y > 0.0 {
            Point::new(105.0, 0.0)
        } else {
            Point::new(0.0, 0.0)
        };
        cells.fold = Some(FoldLine { from, to });
        let mut page = look(0, cells, &[]);
        page.about_fold = Some((Angle::ZERO, other));
        let pairing = pair(&[page], &Asked::Guess).expect("a guess");
        assert_eq!(pairing.pairs[0].standing, Some(want), "{to:?} {other:?}");
    }
}

#[test]
fn text_tells_how_the_cards_stand() {
    let up = Angle::ZERO;
    let down = Angle::degrees(180.0);
    for (front, back, flip, want) in [
        (up, up, Flip::Sideways, Standing::HeadToHead),
        (up, down, Flip::Sideways, Standing::HeadToFoot),
        (up, up, Flip::Endways, Standing::HeadToFoot),
        (up, down, Flip::Endways, Standing::HeadToHead),
    ] {
        assert_eq!(standing_when(front, back, flip), Some(want), "{flip}");
    }
    // Cards that lie on their side: the front's heads to the right are, behind, the back's to the
    // left.
    let (right, left) = (Angle::degrees(90.0), Angle::degrees(-90.0));
    assert_eq!(
        standing_when(right, left, Flip::Sideways),
        Some(Standing::HeadToHead)
    );
}

#[test]
fn pairs_can_be_named() {
    assert_eq!(
        "1-2, 3-4".parse::<Asked>(),
        Ok(Asked::Listed(vec![(1, 2), (3, 4)]))
    );
    assert_eq!(
        "Fronts then backs".parse::<Asked>(),
        Ok(Asked::In(Way::FrontsThenBacks))
    );
    for nonsense in [
        "",
        "1",
        "1-",
        "0-1",
        "a-b",
        "1-2-3",
        "99999999999999999999-1",
    ] {
        assert!(nonsense.parse::<Asked>().is_err(), "{nonsense}");
    }
    let pages = [fronts(0), fronts(1), fronts(2)];
    let listed = |text: &str| pair(&pages, &text.parse().expect("pairs"));
    let pairing = listed("3-1").expect("they are there");
    assert_eq!(pairing.roles, [Role::Back, Role::Front, Role::Front]);
    assert!(matches!(
        listed("1-9"),
        Err(AskedError::NoSuchPage { page: 9, pages: 3 })
    ));
    assert!(matches!(
        listed("1-2,2-3"),
        Err(AskedError::Twice { page: 2 })
    ));
    assert!(matches!(
        listed("1-2,1-3"),
        Err(AskedError::Twice { page: 1 })
    ));
}
