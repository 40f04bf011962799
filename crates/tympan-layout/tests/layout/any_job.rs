//! What must hold of every plan of every job: nothing lost, nothing on top of each other, nothing
//! where the printer cannot print, and what is said to be cut straight can be.

use std::collections::BTreeSet;

use proptest::prelude::*;
use tympan_layout::{
    ArtId, FoldOver, Job, Margins, Method, Order, Piece, Plan, Sheet, Unmeasured, plan,
};
use tympan_sheet::{Flip, HexagonTop, Shape, Size};

use crate::cutting::assert_cut_to_pieces;

fn any_shape() -> impl Strategy<Value = Shape> {
    let tenths = |low: u32, high: u32| (low..high).prop_map(|t| f64::from(t) / 10.0);
    prop_oneof![
        3 => (tenths(150, 1200), tenths(150, 1200), tenths(0, 50))
            .prop_map(|(w, h, r)| Shape::rect(Size::new(w, h), r)),
        1 => tenths(120, 600).prop_map(Shape::circle),
        1 => (tenths(120, 600), any::<bool>()).prop_map(|(across, flat)| {
            let top = if flat { HexagonTop::Flat } else { HexagonTop::Pointed };
            Shape::hexagon(across, top)
        }),
    ]
}

fn any_job() -> impl Strategy<Value = Job> {
    let piece = (any_shape(), 1..40_usize, any::<bool>(), any::<bool>());
    let pieces = prop::collection::vec(piece, 1..4);
    let margins = (0..80_u32, 0..80_u32, 0..150_u32).prop_map(|(a, b, c)| Margins {
        left: f64::from(a) / 10.0,
        right: f64::from(a) / 10.0,
        top: f64::from(b) / 10.0,
        bottom: f64::from(c) / 10.0,
    });
    let sheet = (any::<bool>(), any::<bool>(), margins.clone(), margins);
    let spaces = (0..60_u32, 0..40_u32);
    let ways = (any::<bool>(), any::<bool>(), 0..4_u8);
    (pieces, sheet, spaces, ways).prop_map(|(pieces, sheet, spaces, ways)| {
        let piece = |(i, (shape, copies, back, may_turn)): (usize, (Shape, usize, bool, bool))| {
            let folded = ways.2 == 0;
            let back = (back || folded).then_some(ArtId(100 + i));
            Piece {
                may_turn,
                ..Piece::new(format!("kind {i}"), shape, ArtId(i), back).copies(copies)
            }
        };
        let size = Size::new(210.0, 297.0);
        let flip = if sheet.1 {
            Flip::Sideways
        } else {
            Flip::Endways
        };
        Job {
            gutter: f64::from(spaces.0) / 10.0,
            bleed: f64::from(spaces.1) / 10.0,
            least_bleed: f64::from(spaces.1) / 20.0,
            method: if ways.0 {
                Method::Free
            } else {
                Method::Straight
            },
            order: if ways.1 {
                Order::CutAndStack
            } else {
                Order::SheetBySheet
            },
            fold_over: (ways.2 == 0).then_some(FoldOver {
                along: None,
                allowance: 1.0,
            }),
            ..Job::new(
                pieces.into_iter().enumerate().map(piece).collect(),
                Sheet {
                    front_margins: sheet.2,
                    back_margins: sheet.3,
                    ..Sheet::new(if sheet.0 { size } else { size.turned() }, flip, 0.0)
                },
            )
        }
    })
}

/// Every piece once, and as many pieces as were asked for.
fn assert_all_made(job: &Job, plan: &Plan) {
    let mut made = BTreeSet::new();
    for sheet in plan.sides() {
        let mut here = BTreeSet::new();
        for front in sheet.front.iter().filter(|p| p.art.0 < 100) {
            assert!(
                made.insert((front.unit.piece, front.unit.copy)),
                "made twice"
            );
            assert!(here.insert(front.unit.number));
        }
        assert!(!here.is_empty(), "an empty sheet");
        let backs = sheet.back.iter().map(|p| p.unit.number);
        let behind: BTreeSet<usize> = if plan.fold.is_some() {
            let folded = sheet.front.iter().filter(|p| p.art.0 >= 100);
            folded.map(|p| p.unit.number).collect()
        } else {
            backs.collect()
        };
        let wanted: BTreeSet<usize> = sheet
            .front
            .iter()
            .filter(|p| p.art.0 < 100 && job.pieces[p.unit.piece].back.is_some())
            .map(|p| p.unit.number)
            .collect();
        assert_eq!(behind, wanted, "backs where backs are wanted");
    }
    let wanted: usize = job.pieces.iter().map(|p| p.copies).sum();
    assert_eq!(made.len(), wanted);
    assert_eq!(plan.figures.pieces, wanted);
    assert_eq!(plan.piles().iter().map(|p| p.count).sum::<usize>(), wanted);
}

/// Rectangles keep the gutter; round pieces keep it between their middles; bleeds keep apart and
/// stay within what both sides can print.
fn assert_clear(job: &Job, plan: &Plan) {
    let hair = 2e-6;
    let (size, flip) = (job.sheet.size, job.sheet.flip);
    let back = job.sheet.back_margins;
    // The back's margins as they lie on the front, by the rule of the flip.
    let seen = match flip {
        Flip::Sideways => [back.right, back.top, back.left, back.bottom],
        Flip::Endways => [back.left, back.bottom, back.right, back.top],
    };
    let front = job.sheet.front_margins.edges();
    let two_sided = plan.is_two_sided();
    let margin = |i: usize| {
        if two_sided {
            front[i].max(seen[i])
        } else {
            front[i]
        }
    };
    for group in &plan.groups {
        for (i, cell) in group.cells.iter().enumerate() {
            let bleed = cell.bleed.around(cell.trim);
            assert!(cell.bleed.least() >= 0.0);
            assert!(bleed.min.x >= margin(0) - hair && bleed.min.y >= margin(1) - hair);
            assert!(bleed.max.x <= size.w - margin(2) + hair);
            assert!(bleed.max.y <= size.h - margin(3) + hair);
            for other in &group.cells[i + 1..] {
                let (a, b) = (cell.trim, other.trim);
                let x = (b.min.x - a.max.x).max(a.min.x - b.max.x);
                let y = (b.min.y - a.max.y).max(a.min.y - b.max.y);
                let rects = [cell.shape, other.shape]
                    .iter()
                    .any(|s| matches!(s, Shape::Rect { .. }));
                if rects {
                    assert!(x.max(y) >= job.gutter - hair, "{x} {y}");
                    let c = other.bleed.around(other.trim);
                    let overlap_x = bleed.max.x.min(c.max.x) - bleed.min.x.max(c.min.x);
                    let overlap_y = bleed.max.y.min(c.max.y) - bleed.min.y.max(c.min.y);
                    assert!(overlap_x < hair || overlap_y < hair, "bleed on bleed");
                } else if cell.shape == other.shape {
                    let across = match cell.shape {
                        Shape::Circle { diameter } => diameter,
                        Shape::Hexagon { across, .. } => across,
                        Shape::Rect { .. } => unreachable!("seen above"),
                    };
                    let apart = (b.centre() - a.centre()).length();
                    assert!(apart >= across + job.gutter - hair, "{apart}");
                }
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 40,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn every_plan_makes_every_piece_clear_of_the_others_and_can_be_cut(job in any_job()) {
        let Ok(plans) = plan(&job, &Unmeasured, 6) else {
            // A fold may leave no room for a large piece; then it must be said with its name.
            let problems = plan(&job, &Unmeasured, 6).expect_err("just refused");
            prop_assert!(problems.to_string().contains("kind"), "{problems}");
            return Ok(());
        };
        prop_assert!(!plans.is_empty());
        for plan in &plans {
            assert_all_made(&job, plan);
            assert_clear(&job, plan);
            if job.method == Method::Straight {
                let waste = plan.figures.waste;
                prop_assert!((0.0..1.0).contains(&waste), "{waste}");
                assert_cut_to_pieces(plan, "any job");
            }
        }
    }
}
