//! How many pieces a sheet holds: against exhaustive searches written here without the crate's
//! ideas (no sums of lengths, no dominance), and against packings known from the literature.

use std::collections::{BTreeSet, HashMap};

use tympan_layout::{ArtId, Job, Method, Piece, Plan, Sheet, Unmeasured, plan};
use tympan_sheet::{Flip, HexagonTop, Shape, Size};

/// A sheet without margins, so that numbers are the problem's own. Pieces under 4 mm are not
/// believed, so one unit of the small problems is a centimetre.
const UNIT: f64 = 10.0;

fn sheet(w: u32, h: u32) -> Sheet {
    let size = Size::new(f64::from(w) * UNIT, f64::from(h) * UNIT);
    Sheet::new(size, Flip::Sideways, 0.0)
}

fn piece(w: u32, h: u32, copies: usize) -> Piece {
    let size = Size::new(f64::from(w) * UNIT, f64::from(h) * UNIT);
    let shape = Shape::rect(size, 0.0);
    Piece::new(format!("{w} × {h}"), shape, ArtId(0), None).copies(copies)
}

fn job(pieces: Vec<Piece>, sheet: Sheet, method: Method) -> Job {
    Job {
        bleed: 0.0,
        least_bleed: 0.0,
        method,
        ..Job::new(pieces, sheet)
    }
}

/// The most that one sheet holds: asked for by wanting more than it can.
fn most(w: u32, h: u32, a: u32, b: u32, method: Method) -> usize {
    let count = (w * h / (a * b)) as usize + 1;
    let plans = plan(
        &job(vec![piece(a, b, count)], sheet(w, h), method),
        &Unmeasured,
        50,
    );
    let plans = plans.expect("a plan");
    plans.iter().for_each(assert_apart);
    plans
        .iter()
        .map(|p| p.figures.most_per_sheet)
        .max()
        .expect("at least one plan")
}

/// No two trims overlap, and none leaves the sheet.
fn assert_apart(plan: &Plan) {
    for group in &plan.groups {
        for (i, a) in group.cells.iter().enumerate() {
            let a = a.trim;
            let (w, h) = (plan.sheet.size.w, plan.sheet.size.h);
            assert!(a.min.x >= -1e-6 && a.min.y >= -1e-6 && a.max.x <= w + 1e-6);
            assert!(a.max.y <= h + 1e-6);
            for b in &group.cells[i + 1..] {
                let b = b.trim;
                let x = a.max.x.min(b.max.x) - a.min.x.max(b.min.x);
                let y = a.max.y.min(b.max.y) - a.min.y.max(b.min.y);
                assert!(x < 1e-6 || y < 1e-6, "{}: {a:?} and {b:?}", plan.title);
            }
        }
    }
}

/// Straight cuts at every whole number.
fn by_every_cut(w: u32, h: u32, a: u32, b: u32, known: &mut HashMap<(u32, u32), u32>) -> u32 {
    if let Some(&n) = known.get(&(w, h)) {
        return n;
    }
    let mut best = u32::from((w >= a && h >= b) || (w >= b && h >= a));
    for x in 1..w {
        best = best.max(by_every_cut(x, h, a, b, known) + by_every_cut(w - x, h, a, b, known));
    }
    for y in 1..h {
        best = best.max(by_every_cut(w, y, a, b, known) + by_every_cut(w, h - y, a, b, known));
    }
    known.insert((w, h), best);
    best
}

/// Every way to lay pieces on a board of squares: the first free square in reading order is the
/// corner of a piece, one way or the other, or stays free.
fn by_every_way(
    board: &mut Vec<u64>,
    w: u32,
    a: u32,
    b: u32,
    free: u32,
    laid: u32,
    best: &mut u32,
) {
    if laid + free / (a * b) <= *best {
        return;
    }
    let full = (1_u64 << w) - 1;
    let Some(y) = board.iter().position(|row| *row != full) else {
        *best = (*best).max(laid);
        return;
    };
    *best = (*best).max(laid);
    let x = (!board[y]).trailing_zeros();
    let turns: &[(u32, u32)] = if a == b { &[(a, b)] } else { &[(a, b), (b, a)] };
    for &(pw, ph) in turns {
        if x + pw > w || y + ph as usize > board.len() {
            continue;
        }
        let mask = ((1_u64 << pw) - 1) << x;
        let rows = y..y + ph as usize;
        if board[rows.clone()].iter().any(|row| row & mask != 0) {
            continue;
        }
        board[rows.clone()].iter_mut().for_each(|row| *row |= mask);
        by_every_way(board, w, a, b, free - pw * ph, laid + 1, best);
        board[rows].iter_mut().for_each(|row| *row &= !mask);
    }
    board[y] |= 1 << x;
    by_every_way(board, w, a, b, free - 1, laid, best);
    board[y] &= !(1 << x);
}

#[test]
fn straight_cuts_give_as_many_as_trying_every_cut() {
    let mut compared = 0;
    for (a, b) in [(2, 3), (3, 4), (2, 5), (3, 5), (4, 7), (5, 7), (3, 7)] {
        let mut known = HashMap::new();
        for (w, h) in [
            (11, 13),
            (16, 11),
            (17, 14),
            (19, 23),
            (22, 16),
            (25, 18),
            (29, 20),
        ] {
            let exhaustive = by_every_cut(w, h, a, b, &mut known);
            let found = most(w, h, a, b, Method::Straight);
            assert_eq!(found, exhaustive as usize, "{a} × {b} in {w} × {h}");
            compared += 1;
        }
    }
    assert_eq!(compared, 49);
}

#[test]
fn free_cutting_gives_as_many_as_trying_every_way() {
    let mut more_than_straight = 0;
    for (w, h, a, b) in [
        (7, 7, 3, 4),
        (5, 5, 2, 3),
        (8, 7, 2, 3),
        (9, 7, 2, 5),
        (11, 7, 3, 4),
        (10, 9, 3, 4),
        (11, 8, 2, 5),
        (12, 9, 4, 5),
        (13, 10, 3, 7),
        (13, 13, 4, 9),
    ] {
        let mut exhaustive = 0;
        let mut board = vec![0; h as usize];
        by_every_way(&mut board, w, a, b, w * h, 0, &mut exhaustive);
        let found = most(w, h, a, b, Method::Free);
        assert_eq!(found, exhaustive as usize, "{a} × {b} in {w} × {h}");
        more_than_straight += usize::from(most(w, h, a, b, Method::Straight) < found);
    }
    // Else the test would not tell straight from free.
    assert!(more_than_straight >= 3, "{more_than_straight}");
}

/// Pallet loading examples of Scheithauer and Terno, "The G4-heuristic for the pallet loading
/// problem", Journal of the Operational Research Society 47 (1996), from memory. Each count equals
/// the area bound, so it is the most by arithmetic whatever memory says; straight cuts miss it.
#[test]
fn known_pallets_are_filled_as_well_as_the_literature_does() {
    for (w, h, a, b, count) in [(22, 16, 5, 3, 23), (30, 22, 7, 4, 23)] {
        assert_eq!(w * h / (a * b), count, "the area bound");
        assert_eq!(
            most(w, h, a, b, Method::Free),
            count as usize,
            "{a} × {b} in {w} × {h}"
        );
    }
}

/// The count is known to be out of reach of five blocks (Lins, Lins and Morabito, "An L-approach
/// for packing (l, w)-rectangles into rectangular and L-shaped pieces", same journal 54 (2003); the
/// example from memory): what is known to be missed is said, not hidden.
#[test]
fn a_pallet_that_five_blocks_cannot_fill_is_one_piece_short() {
    assert_eq!(most(43, 26, 7, 3, Method::Free), 52);
}

/// Every mixture that straight cuts at whole numbers give, without any dominance.
type Mixtures = BTreeSet<Vec<u32>>;

fn mixtures(
    (w, h): (u32, u32),
    sizes: &[(u32, u32)],
    cap: &[u32],
    known: &mut HashMap<(u32, u32), Mixtures>,
) -> Mixtures {
    if let Some(m) = known.get(&(w, h)) {
        return m.clone();
    }
    let mut all = Mixtures::from([vec![0; sizes.len()]]);
    for (k, &(a, b)) in sizes.iter().enumerate() {
        if (w >= a && h >= b) || (w >= b && h >= a) {
            let mut one = vec![0; sizes.len()];
            one[k] = 1;
            all.insert(one);
        }
    }
    let mut parts: Vec<((u32, u32), (u32, u32))> = Vec::new();
    parts.extend((1..=w / 2).map(|x| ((x, h), (w - x, h))));
    parts.extend((1..=h / 2).map(|y| ((w, y), (w, h - y))));
    for (p, q) in parts {
        let (p, q) = (
            mixtures(p, sizes, cap, known),
            mixtures(q, sizes, cap, known),
        );
        for a in &p {
            for b in &q {
                let sum = (0..sizes.len())
                    .map(|k| (a[k] + b[k]).min(cap[k]))
                    .collect();
                all.insert(sum);
            }
        }
    }
    known.insert((w, h), all.clone());
    all
}

/// The fewest sheets, by what can be made of one, two, three…
fn fewest_sheets(wanted: &[u32], mixtures: &Mixtures) -> usize {
    let mut made = Mixtures::from([vec![0; wanted.len()]]);
    for sheets in 1..20 {
        let mut next = Mixtures::new();
        for m in &made {
            for add in mixtures {
                next.insert(
                    (0..wanted.len())
                        .map(|k| (m[k] + add[k]).min(wanted[k]))
                        .collect(),
                );
            }
        }
        if next.contains(wanted) {
            return sheets;
        }
        made = next;
    }
    panic!("more than twenty sheets");
}

#[test]
fn several_sizes_together_take_as_few_sheets_as_trying_everything() {
    let mut better_than_apart = 0;
    for (w, h, sizes, wanted) in [
        (9, 7, vec![(3, 4), (2, 2)], vec![7, 9]),
        (10, 8, vec![(3, 5), (2, 3)], vec![9, 5]),
        (11, 8, vec![(4, 5), (3, 3)], vec![7, 5]),
        (10, 7, vec![(4, 3), (5, 2)], vec![7, 9]),
        (12, 9, vec![(5, 4), (3, 2)], vec![7, 8]),
        (9, 8, vec![(4, 4), (3, 2), (2, 2)], vec![3, 6, 5]),
        (10, 7, vec![(5, 3), (3, 3), (2, 2)], vec![4, 5, 6]),
    ] {
        let all = mixtures((w, h), &sizes, &wanted, &mut HashMap::new());
        let exhaustive = fewest_sheets(&wanted, &all);
        let pieces: Vec<Piece> = sizes
            .iter()
            .zip(&wanted)
            .map(|(&(a, b), &n)| piece(a, b, n as usize))
            .collect();
        let best = plan(
            &job(pieces.clone(), sheet(w, h), Method::Straight),
            &Unmeasured,
            9,
        )
        .expect("a plan")
        .swap_remove(0);
        assert_apart(&best);
        assert_eq!(
            best.figures.sheets, exhaustive,
            "{sizes:?} × {wanted:?} on {w} × {h}"
        );
        let apart: usize = pieces
            .iter()
            .map(|p| {
                let job = job(vec![p.clone()], sheet(w, h), Method::Straight);
                plan(&job, &Unmeasured, 1).expect("a plan")[0]
                    .figures
                    .sheets
            })
            .sum();
        better_than_apart += usize::from(best.figures.sheets < apart);
    }
    assert!(better_than_apart >= 3, "{better_than_apart}");
}

/// 68 circles of diameter 1 fit into a square of side 8, four more than in eight rows of eight
/// (well known; from memory).
#[test]
fn staggered_circles_beat_the_square_grid_in_a_square_of_eight() {
    let shape = Shape::circle(UNIT);
    let pieces = vec![Piece::new("token", shape, ArtId(0), None).copies(68)];
    let best = &plan(&job(pieces, sheet(8, 8), Method::Free), &Unmeasured, 1).expect("a plan")[0];
    assert_eq!(best.figures.sheets, 1);
    assert_eq!(best.groups[0].cells.len(), 68);
    assert_round_apart(best, UNIT);
}

#[test]
fn round_pieces_keep_their_gutter_in_every_direction() {
    for (gutter, w, h) in [(0.0, 19, 27), (2.0, 19, 27), (3.5, 27, 19), (1.0, 21, 30)] {
        let pieces = vec![Piece::new("token", Shape::circle(23.0), ArtId(0), None).copies(400)];
        let job = Job {
            gutter,
            ..job(pieces, sheet(w, h), Method::Free)
        };
        for plan in plan(&job, &Unmeasured, 9).expect("a plan") {
            assert_round_apart(&plan, 23.0 + gutter);
        }
    }
}

fn assert_round_apart(plan: &Plan, apart: f64) {
    for group in &plan.groups {
        for (i, a) in group.cells.iter().enumerate() {
            for b in &group.cells[i + 1..] {
                let d = b.trim.centre() - a.trim.centre();
                assert!(d.length() >= apart - 1e-6, "{}: {}", plan.title, d.length());
            }
        }
    }
}

/// Counted on paper: hexagons 40 mm across, on a corner, rows 20·√3 mm apart: on 210 × 297 mm five
/// and (moved by 20 mm) four of them alternate, in eight rows.
#[test]
fn hexagons_make_a_honeycomb() {
    let shape = Shape::hexagon(40.0, HexagonTop::Pointed);
    let piece = Piece {
        may_turn: false,
        ..Piece::new("tile", shape, ArtId(0), None).copies(36)
    };
    let sheet = Sheet::new(Size::new(210.0, 297.0), Flip::Sideways, 0.0);
    let best = &plan(&job(vec![piece], sheet, Method::Free), &Unmeasured, 1).expect("a plan")[0];
    assert_eq!((best.figures.sheets, best.figures.most_per_sheet), (1, 36));
    assert_round_apart(best, 40.0);
}

/// What anybody with a ruler finds: nine poker cards on A4 and on Letter, ten of the usual
/// 85 × 55 mm cards on A4.
#[test]
fn usual_cards_come_out_as_people_know_them() {
    let card = |w: f64, h: f64| {
        let shape = Shape::rect(Size::new(w, h), 3.0);
        vec![Piece::new("card", shape, ArtId(0), Some(ArtId(1))).copies(90)]
    };
    for (size, w, h, per_sheet) in [
        (Size::new(210.0, 297.0), 63.5, 88.9, 9),
        (Size::new(215.9, 279.4), 63.5, 88.9, 9),
        (Size::new(210.0, 297.0), 85.0, 55.0, 10),
    ] {
        let job = Job::new(card(w, h), Sheet::new(size, Flip::Sideways, 4.2));
        let best = &plan(&job, &Unmeasured, 1).expect("a plan")[0];
        assert_eq!(
            best.figures.most_per_sheet, per_sheet,
            "{w} × {h} on {size:?}"
        );
    }
    // 279.4 − 3 · 88.9 = 12.7: 2.15 mm are left for bleed beside the printer's margin.
    let letter = Sheet::new(Size::new(215.9, 279.4), Flip::Sideways, 4.2);
    let best = &plan(&Job::new(card(63.5, 88.9), letter), &Unmeasured, 1).expect("a plan")[0];
    assert!(
        (best.outer_bleed() - 2.15).abs() < 1e-9,
        "{}",
        best.outer_bleed()
    );
}

#[test]
fn the_same_job_gives_the_same_plans() {
    let pieces = vec![piece(3, 4, 7), piece(2, 2, 9), piece(1, 3, 11)];
    let job = job(pieces, sheet(9, 7), Method::Straight);
    let plans = || plan(&job, &Unmeasured, 9).expect("a plan");
    assert_eq!(plans(), plans());
}
