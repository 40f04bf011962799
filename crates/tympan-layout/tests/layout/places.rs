//! Folding, and sheets that are cut in advance.

use tympan_layout::fold_over::FoldAxis;
use tympan_layout::{
    ArtId, FoldOver, Job, Piece, Placed, PreCut, PreCutGrid, Sheet, Stands, Unmeasured, plan,
};
use tympan_sheet::{Flip, Frame, Front, Page, Point, Shape, Size};

const A4: Size = Size::new(210.0, 297.0);

fn cards(copies: usize, stands: Stands) -> Vec<Piece> {
    let shape = Shape::rect(Size::new(63.5, 88.9), 3.0);
    vec![Piece {
        stands,
        ..Piece::new("harbour", shape, ArtId(0), Some(ArtId(1))).copies(copies)
    }]
}

fn point<F: Frame>(placed: &Placed<F>, x: f64, y: f64) -> (f64, f64) {
    let size = placed.shape.size();
    let at: Point<F> = placed.map.apply(Point::<Page>::new(x * size.w, y * size.h));
    (at.x, at.y)
}

/// The sheet is folded along its middle: what lay at x comes to lie at `210 − x` on the other side
/// of the paper. Seen from the front, that is where the back is found.
#[test]
fn folded_backs_come_to_lie_behind_their_fronts() {
    for axis in [FoldAxis::Upright, FoldAxis::Level] {
        for stands in [Stands::HeadToHead, Stands::HeadToFoot] {
            let job = Job {
                fold_over: Some(FoldOver {
                    along: Some(axis),
                    allowance: 1.2,
                }),
                ..Job::new(cards(7, stands), Sheet::new(A4, Flip::Endways, 4.2))
            };
            let plan = &plan(&job, &Unmeasured, 1).expect("a plan")[0];
            let folded = |(x, y): (f64, f64)| match axis {
                FoldAxis::Upright => (210.0 - x, y),
                FoldAxis::Level => (x, 297.0 - y),
            };
            let mut pairs = 0;
            for sheet in plan.sides() {
                assert!(sheet.back.is_empty());
                let (fronts, backs): (Vec<&Placed<Front>>, Vec<&Placed<Front>>) =
                    sheet.front.iter().partition(|p| p.art == ArtId(0));
                assert_eq!(fronts.len(), backs.len());
                for (front, back) in fronts.iter().zip(backs) {
                    assert_eq!(front.unit, back.unit);
                    pairs += 1;
                    let (head, left) = match stands {
                        Stands::HeadToHead => (point(front, 0.5, 0.0), point(front, 1.0, 0.5)),
                        Stands::HeadToFoot => (point(front, 0.5, 1.0), point(front, 0.0, 0.5)),
                    };
                    for (is, wanted) in [
                        (folded(point(back, 0.5, 0.0)), head),
                        (folded(point(back, 0.0, 0.5)), left),
                    ] {
                        let apart = (is.0 - wanted.0).hypot(is.1 - wanted.1);
                        assert!(apart < 1e-9, "{axis:?} {stands:?}: {is:?}, {wanted:?}");
                    }
                    // The bend is kept free, bleed included.
                    let reach = front.bleed_box().max;
                    let (reach, fold) = match axis {
                        FoldAxis::Upright => (reach.x, 105.0),
                        FoldAxis::Level => (reach.y, 148.5),
                    };
                    assert!(reach <= fold - 0.6 + 1e-9, "{reach}");
                }
            }
            assert_eq!(pairs, 7);
        }
    }
}

fn stock() -> PreCut {
    PreCut {
        name: "ten to a sheet".to_owned(),
        sheet: A4,
        grids: vec![PreCutGrid {
            shape: Shape::rect(Size::new(85.0, 54.0), 0.0),
            columns: 2,
            rows: 5,
            left: 15.0,
            top: 13.5,
            pitch_x: 95.0,
            pitch_y: 54.0,
        }],
    }
}

fn small(name: &str, w: f64, h: f64, copies: usize) -> Piece {
    let shape = Shape::rect(Size::new(w, h), 0.0);
    Piece::new(name, shape, ArtId(0), Some(ArtId(1))).copies(copies)
}

#[test]
fn pieces_fall_out_where_the_stock_is_cut() {
    // Half a millimetre off, and on its side.
    let job = Job::new(
        vec![small("ticket", 54.2, 84.8, 23)],
        Sheet::new(A4, Flip::Sideways, 4.2),
    );
    let plan = stock().plan(&job, &Unmeasured).expect("a plan");
    assert_eq!((plan.figures.sheets, plan.figures.pieces), (3, 23));
    assert_eq!(plan.figures.cuts, Some(0));
    assert!(plan.cut_lines(0).is_none() && plan.cutting(0, &Default::default()).is_none());
    let first = plan.groups[0].cells[0].trim;
    let centre: Point<Front> = first.centre();
    assert!(
        (centre.x - 57.5).abs() < 1e-9 && (centre.y - 40.5).abs() < 1e-9,
        "{centre:?}"
    );
    assert!((first.size().w - 84.8).abs() < 1e-9);
    let last = plan.sides().last().expect("a third sheet");
    assert_eq!((last.front.len(), last.back.len()), (3, 3));
    for (front, back) in last.front.iter().zip(&last.back) {
        assert!((210.0 - back.trim.max.x - front.trim.min.x).abs() < 1e-9);
        assert!((back.trim.min.y - front.trim.min.y).abs() < 1e-9);
    }
    assert!(plan.beyond_margins(0).is_empty());
}

#[test]
fn places_beyond_what_the_printer_reaches_are_told() {
    let mut stock = stock();
    stock.grids[0].top = 2.0;
    stock.grids[0].pitch_y = 56.0;
    let job = Job::new(
        vec![small("ticket", 85.0, 54.0, 10)],
        Sheet::new(A4, Flip::Sideways, 4.2),
    );
    let plan = stock.plan(&job, &Unmeasured).expect("a plan");
    assert_eq!(plan.beyond_margins(0), [0, 1]);
}

#[test]
fn stock_that_does_not_fit_is_told_with_all_that_is_wrong() {
    let job = Job::new(
        vec![
            small("ticket", 85.0, 54.0, 1),
            small("poster", 180.0, 54.0, 1),
        ],
        Sheet::new(A4, Flip::Sideways, 4.2),
    );
    let problems = stock()
        .plan(&job, &Unmeasured)
        .expect_err("the poster has no place");
    assert_eq!(
        problems.to_string(),
        "\"poster\" (180 × 54 mm) fits no place on the pre-cut sheet \"ten to a sheet\" (85 × 54 mm)"
    );
    let mut wrong = stock();
    wrong.grids[0].pitch_x = 80.0;
    wrong.grids[0].rows = 6;
    let problems = wrong
        .plan(&job, &Unmeasured)
        .expect_err("the measures are wrong");
    let said: Vec<String> = problems.0.iter().map(ToString::to_string).collect();
    assert_eq!(said.len(), 2, "{said:?}");
    assert!(
        said[0].contains("reaches over the sheet's edge"),
        "{}",
        said[0]
    );
    assert!(said[1].contains("overlap"), "{}", said[1]);
    let letter = Job::new(
        vec![small("ticket", 85.0, 54.0, 1)],
        Sheet::new(Size::new(215.9, 279.4), Flip::Sideways, 4.2),
    );
    let problems = stock()
        .plan(&letter, &Unmeasured)
        .expect_err("another sheet");
    assert!(
        problems
            .to_string()
            .contains("but the set-up's sheet 215.9 mm × 279.4 mm")
    );
}
