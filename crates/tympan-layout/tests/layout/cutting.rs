//! The table of cuts is carried out on simulated paper: whoever cuts knows only which part lies
//! where, which edge lies against the stop and how far away the stop is. What comes out must be
//! the pieces.

use std::collections::BTreeMap;

use tympan_layout::cutting::{CutAxis, Cutting, Off, PartId, Stop, Trimmer};
use tympan_layout::{ArtId, FoldOver, Job, Piece, Plan, Sheet, Unmeasured, plan};
use tympan_sheet::{Flip, Shape, Size};

/// Left, top, right, bottom.
type Paper = [f64; 4];

/// Cuts one sheet by the steps and gives what is left of each part.
fn carried_out(cutting: &Cutting, marks: &[(CutAxis, f64)]) -> BTreeMap<PartId, Paper> {
    let sheet = cutting.sheet;
    let whole = [sheet.min.x, sheet.min.y, sheet.max.x, sheet.max.y];
    let mut parts = BTreeMap::from([(PartId(0), whole)]);
    let mut marks = marks.iter();
    for (i, step) in cutting.steps.iter().enumerate() {
        assert_eq!(step.number, i + 1);
        let (low, high) = match step.axis {
            CutAxis::Upright => (0, 2),
            CutAxis::Level => (1, 3),
        };
        for cut in &step.cuts {
            let paper = parts.remove(&cut.part).expect("the part is on the table");
            let at = match step.stop {
                Stop::At(mm) => paper[low] + mm,
                Stop::Marks => {
                    let (axis, at) = marks.next().expect("a mark to cut along");
                    assert_eq!(*axis, step.axis);
                    *at
                }
            };
            assert!(
                paper[low] < at && at < paper[high],
                "step {}: no paper",
                step.number
            );
            let (mut near, mut far) = (paper, paper);
            near[high] = at;
            far[low] = at;
            for (off, paper) in [(&cut.near, near), (&cut.far, far)] {
                if let Off::Part { part, .. } = off {
                    assert!(
                        parts.insert(*part, paper).is_none(),
                        "two parts of one name"
                    );
                }
            }
        }
    }
    assert!(marks.next().is_none(), "a mark nobody cut along");
    parts
}

pub(crate) fn assert_cut_to_pieces(plan: &Plan, what: &str) -> Vec<Cutting> {
    let mut all = Vec::new();
    for (g, group) in plan.groups.iter().enumerate() {
        let cutting = plan
            .cutting(g, &Trimmer::default())
            .unwrap_or_else(|| panic!("{what}: {} cannot be cut", plan.title));
        // Where the marks of the lay are: at the outermost trims.
        let left = group
            .cells
            .iter()
            .map(|c| c.trim.min.x)
            .fold(f64::MAX, f64::min);
        let top = group
            .cells
            .iter()
            .map(|c| c.trim.min.y)
            .fold(f64::MAX, f64::min);
        let lay = cutting.steps.iter().filter(|s| s.stop == Stop::Marks);
        let marks: Vec<(CutAxis, f64)> = lay
            .map(|s| match s.axis {
                CutAxis::Upright => (s.axis, left),
                CutAxis::Level => (s.axis, top),
            })
            .collect();
        let mut parts = carried_out(&cutting, &marks);
        for (i, cell) in group.cells.iter().enumerate() {
            let paper = parts
                .remove(&cutting.pieces[i])
                .unwrap_or_else(|| panic!("{what}: piece {i} is missing"));
            let t = cell.trim;
            let wanted = [t.min.x, t.min.y, t.max.x, t.max.y];
            // Edges within a ten-thousandth of a millimetre share one cut.
            for (is, wanted) in paper.iter().zip(wanted) {
                assert!(
                    (is - wanted).abs() < 2e-4,
                    "{what}: {paper:?} and {wanted:?}"
                );
            }
        }
        assert!(parts.is_empty(), "{what}: left over: {parts:?}");
        for (i, step) in cutting.steps.iter().enumerate() {
            let turned = i > 0 && step.axis != cutting.steps[i - 1].axis;
            assert_eq!(step.turn, turned, "{what}: step {}", step.number);
            assert_eq!(step.sheets_at_once == 1, step.stop == Stop::Marks);
        }
        all.push(cutting);
    }
    all
}

fn piece(name: &str, w: f64, h: f64, copies: usize) -> Piece {
    let shape = Shape::rect(Size::new(w, h), 0.0);
    Piece::new(name, shape, ArtId(0), Some(ArtId(1))).copies(copies)
}

const A4: Size = Size::new(210.0, 297.0);

#[test]
fn every_plan_that_is_said_to_be_cut_straight_comes_apart_into_its_pieces() {
    let jobs = [
        vec![piece("poker", 63.5, 88.9, 54)],
        vec![piece("tarot", 70.0, 120.0, 22)],
        vec![piece("mini", 44.0, 63.0, 60)],
        vec![piece("long", 31.0, 83.0, 60)],
        vec![
            piece("poker", 63.5, 88.9, 54),
            piece("tile", 40.0, 40.0, 24),
        ],
        vec![
            piece("poker", 63.5, 88.9, 11),
            piece("tile", 40.0, 55.0, 9),
            piece("token", 22.0, 22.0, 30),
        ],
    ];
    for pieces in jobs {
        for gutter in [0.0, 4.0, 6.0] {
            let what = format!("{} with a gutter of {gutter}", pieces[0].name);
            let job = Job {
                gutter,
                ..Job::new(pieces.clone(), Sheet::new(A4, Flip::Sideways, 4.2))
            };
            for plan in plan(&job, &Unmeasured, 9).expect("a plan") {
                let cuttings = assert_cut_to_pieces(&plan, &what);
                let cuts: usize = cuttings.iter().map(Cutting::cuts).sum();
                assert_eq!(plan.figures.cuts, Some(cuts), "{what}");
            }
        }
    }
}

/// Counted by hand: of a 3 × 3 sheet without gutters, two cuts make the lay; then the stop is set
/// three times each way (the far waste, and one cut per row of neighbours less one), and 3 + 3 × 3
/// cuts are made.
#[test]
fn nine_cards_take_eight_settings_and_fourteen_cuts() {
    let job = Job::new(
        vec![piece("poker", 63.5, 88.9, 9)],
        Sheet::new(A4, Flip::Sideways, 4.2),
    );
    let plan = &plan(&job, &Unmeasured, 1).expect("a plan")[0];
    let cutting = &assert_cut_to_pieces(plan, "nine cards")[0];
    assert_eq!(cutting.steps.len(), 8);
    assert_eq!(cutting.cuts(), 14);
    let stops: Vec<Option<String>> = cutting.rows().into_iter().map(|r| r.stop_mm).collect();
    let some = |mm: &str| Some(mm.to_owned());
    assert_eq!(
        stops,
        [
            None,
            None,
            some("266.7"),
            some("177.8"),
            some("88.9"),
            some("190.5"),
            some("127"),
            some("63.5"),
        ]
    );
    let table: Vec<String> = cutting
        .rows()
        .iter()
        .map(|r| {
            let stop = r.stop_mm.as_deref().unwrap_or("marks");
            format!(
                "{} | {} | {stop} | {} | {}",
                r.step, r.lay, r.off, r.at_once
            )
        })
        .collect();
    assert_eq!(
        table[1],
        "2 | turn a quarter; cut along the marks at the top edge, square to the last cut | marks | \
         waste | one sheet"
    );
    assert_eq!(
        table[2],
        "3 | top edge against the stop | 266.7 | waste | up to 3 sheets"
    );
    assert_eq!(
        table[3],
        "4 | top edge against the stop | 177.8 | pieces 7, 8, 9 | up to 3 sheets"
    );
    assert_eq!(
        table[5],
        "6 | turn a quarter; left edge against the stop | 190.5 | waste, 3 times | up to 3 sheets"
    );
    assert_eq!(
        table[6],
        "7 | left edge against the stop | 127 | pieces 3, 6, 9, 3 times | up to 3 sheets"
    );
}

#[test]
fn a_folded_sheet_is_cut_as_its_front_half() {
    let job = Job {
        fold_over: Some(FoldOver {
            along: None,
            allowance: 2.0,
        }),
        ..Job::new(
            vec![piece("poker", 63.5, 88.9, 12)],
            Sheet::new(A4, Flip::Sideways, 4.2),
        )
    };
    for plan in plan(&job, &Unmeasured, 4).expect("a plan") {
        let cutting = &assert_cut_to_pieces(&plan, "folded")[0];
        let half = cutting.sheet.size();
        assert!(
            (half.w * half.h - A4.w * A4.h / 2.0).abs() < 1e-9,
            "{half:?}"
        );
    }
}
