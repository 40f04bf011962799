//! Both sides are drawn as points, the sheet is turned over by the rule written out here
//! (design: `x_b = W − x_f` sideways, `y_b = H − y_f` endways), and what lies behind what is looked
//! at: for both flips, upright and landscape sheets, both ways a back can stand.

use tympan_layout::{ArtId, Job, Margins, Piece, Placed, Plan, Sheet, Stands, Unmeasured, plan};
use tympan_sheet::{Flip, Frame, HexagonTop, Page, Point, Shape, Size};

const A4: Size = Size::new(210.0, 297.0);

fn deck(stands: Stands) -> Vec<Piece> {
    let card = Shape::rect(Size::new(63.5, 88.9), 3.175);
    let tile = Shape::rect(Size::new(40.0, 55.0), 0.0);
    let token = Shape::hexagon(31.0, HexagonTop::Pointed);
    // Odd numbers, so that the last sheets are part-filled.
    [(card, 25), (tile, 7), (token, 5)]
        .into_iter()
        .enumerate()
        .map(|(i, (shape, copies))| Piece {
            stands,
            ..Piece::new(
                format!("kind {i}"),
                shape,
                ArtId(2 * i),
                Some(ArtId(2 * i + 1)),
            )
            .copies(copies)
        })
        .collect()
}

/// Where a point of the back lies as seen from the front, by the rule.
fn seen_from_front(flip: Flip, sheet: Size, (x, y): (f64, f64)) -> (f64, f64) {
    match flip {
        Flip::Sideways => (sheet.w - x, y),
        Flip::Endways => (x, sheet.h - y),
    }
}

fn point<F: Frame>(placed: &Placed<F>, x: f64, y: f64) -> (f64, f64) {
    let size = placed.shape.size();
    let at: Point<F> = placed.map.apply(Point::<Page>::new(x * size.w, y * size.h));
    (at.x, at.y)
}

fn assert_same(a: (f64, f64), b: (f64, f64), what: &str) {
    let apart = (a.0 - b.0).hypot(a.1 - b.1);
    assert!(apart < 1e-9, "{what}: {a:?} and {b:?}");
}

fn plans(stands: Stands, sheet: Sheet) -> Vec<Plan> {
    plan(&Job::new(deck(stands), sheet), &Unmeasured, 9).expect("a plan")
}

#[test]
fn every_back_lies_behind_its_front_whatever_the_flip_and_the_sheet() {
    for flip in [Flip::Sideways, Flip::Endways] {
        for size in [A4, A4.turned()] {
            for stands in [Stands::HeadToHead, Stands::HeadToFoot] {
                // Margins that differ at every edge and side, so that nothing is centred.
                let sheet = Sheet {
                    front_margins: Margins {
                        left: 3.0,
                        top: 4.0,
                        right: 5.0,
                        bottom: 14.0,
                    },
                    back_margins: Margins {
                        left: 6.0,
                        top: 3.5,
                        right: 4.0,
                        bottom: 12.0,
                    },
                    ..Sheet::new(size, flip, 0.0)
                };
                for plan in plans(stands, sheet) {
                    behind(
                        &plan,
                        stands,
                        &format!("{flip} {size:?} {stands:?} {}", plan.title),
                    );
                }
            }
        }
    }
}

fn behind(plan: &Plan, stands: Stands, what: &str) {
    let (flip, size) = (plan.sheet.flip, plan.sheet.size);
    let mut seen = 0;
    for sheet in plan.sides() {
        assert_eq!(sheet.front.len(), sheet.back.len(), "{what}");
        for (front, back) in sheet.front.iter().zip(&sheet.back) {
            assert_eq!(front.unit, back.unit);
            assert_eq!(front.art.0 + 1, back.art.0);
            seen += 1;
            let from_front = |x, y| seen_from_front(flip, size, point(back, x, y));
            let (head, left) = (from_front(0.5, 0.0), from_front(0.0, 0.5));
            match stands {
                // Turned like the page of a book: the head stays, left and right change places.
                Stands::HeadToHead => {
                    assert_same(head, point(front, 0.5, 0.0), what);
                    assert_same(left, point(front, 1.0, 0.5), what);
                }
                // Turned over its head: the head goes to the foot, the left stays.
                Stands::HeadToFoot => {
                    assert_same(head, point(front, 0.5, 1.0), what);
                    assert_same(left, point(front, 0.0, 0.5), what);
                }
            }
            assert_trims(front, what);
            assert_trims(back, what);
            assert_bleed(plan, front, back, what);
        }
    }
    assert_eq!(seen, 25 + 7 + 5, "{what}");
}

/// The trim and the turn say what the map does.
fn assert_trims<F: Frame>(placed: &Placed<F>, what: &str) {
    let corners =
        [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)].map(|(x, y)| point(placed, x, y));
    let low = corners
        .iter()
        .fold((f64::MAX, f64::MAX), |l, c| (l.0.min(c.0), l.1.min(c.1)));
    let high = corners
        .iter()
        .fold((f64::MIN, f64::MIN), |h, c| (h.0.max(c.0), h.1.max(c.1)));
    assert_same(low, (placed.trim.min.x, placed.trim.min.y), what);
    assert_same(high, (placed.trim.max.x, placed.trim.max.y), what);
    let alone = placed.turn.map::<F>(placed.shape.size());
    let linear = |m: [f64; 4]| m.map(|x| x.round() as i32);
    let (a, b) = (alone, placed.map);
    assert_eq!(
        linear([a.xx, a.xy, a.yx, a.yy]),
        linear([b.xx, b.xy, b.yx, b.yy]),
        "{what}"
    );
    assert!(
        (placed.map.determinant() - 1.0).abs() < 1e-12,
        "{what}: mirrored"
    );
}

/// Bleed lies behind bleed, and can be printed on both sides.
fn assert_bleed(
    plan: &Plan,
    front: &Placed<tympan_sheet::Front>,
    back: &Placed<tympan_sheet::Back>,
    what: &str,
) {
    let (flip, size) = (plan.sheet.flip, plan.sheet.size);
    let (f, b) = (front.bleed_box(), back.bleed_box());
    let ends = [(b.min.x, b.min.y), (b.max.x, b.max.y)].map(|p| seen_from_front(flip, size, p));
    let low = (ends[0].0.min(ends[1].0), ends[0].1.min(ends[1].1));
    assert_same(low, (f.min.x, f.min.y), what);
    let (m, n) = (plan.sheet.front_margins, plan.sheet.back_margins);
    let hair = 1e-9;
    assert!(
        f.min.x >= m.left - hair && f.min.y >= m.top - hair,
        "{what}"
    );
    assert!(f.max.x <= size.w - m.right + hair, "{what}");
    assert!(f.max.y <= size.h - m.bottom + hair, "{what}");
    assert!(
        b.min.x >= n.left - hair && b.min.y >= n.top - hair,
        "{what}"
    );
    assert!(b.max.x <= size.w - n.right + hair, "{what}");
    assert!(b.max.y <= size.h - n.bottom + hair, "{what}");
}
