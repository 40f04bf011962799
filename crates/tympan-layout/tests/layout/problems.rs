//! What is said when it cannot be done.

use tympan_layout::{ArtId, FoldOver, Job, Margins, Piece, Problem, Sheet, Unmeasured, plan};
use tympan_sheet::{Flip, Shape, Size};

fn piece(name: &str, w: f64, h: f64) -> Piece {
    let shape = Shape::rect(Size::new(w, h), 0.0);
    Piece::new(name, shape, ArtId(0), Some(ArtId(1)))
}

fn a4() -> Sheet {
    Sheet::new(Size::new(210.0, 297.0), Flip::Sideways, 4.2)
}

fn said(job: &Job) -> Vec<String> {
    let problems = plan(job, &Unmeasured, 3).expect_err("it cannot be done");
    problems
        .0
        .iter()
        .map(|p| format!("{p}. {}", p.hint()))
        .collect()
}

#[test]
fn all_problems_are_told_at_once_with_names_and_remedies() {
    let pieces = vec![
        piece("the sea chart", 300.0, 420.0),
        piece("the ferry", 208.0, 100.0),
        piece("harbour", 63.5, 88.9),
        Piece {
            may_turn: false,
            ..piece("the long wall", 250.0, 40.0)
        },
    ];
    assert_eq!(
        said(&Job::new(pieces, a4())),
        [
            "\"the sea chart\" (300 mm × 420 mm) is larger than the sheet (210 mm × 297 mm). use a \
             larger paper, make the piece smaller, or print it in parts as a board",
            "\"the long wall\" with its bleed needs 256 mm × 46 mm, and the margins leave 201.6 mm \
             × 288.6 mm. it would fit on its side: allow it to be turned",
        ]
        .map(str::to_owned)
    );
}

#[test]
fn pieces_without_a_size_and_lengths_that_are_none_are_told_together() {
    let mut job = Job::new(
        vec![piece("mist", 0.0, 88.9), piece("fog", f64::NAN, 40.0)],
        a4(),
    );
    job.gutter = -1.0;
    job.bleed = f64::INFINITY;
    let said = said(&job);
    assert_eq!(said.len(), 4, "{said:?}");
    assert!(
        said[0].starts_with("\"mist\" has no size that can be cut: 0 × 88.9 mm"),
        "{}",
        said[0]
    );
    assert!(
        said[1].starts_with("\"fog\" has no size that can be cut"),
        "{}",
        said[1]
    );
    assert!(
        said[2].starts_with("the gutter is -1 mm. give a length of 0 mm or more"),
        "{}",
        said[2]
    );
    assert!(said[3].starts_with("the bleed is inf mm"), "{}", said[3]);
}

#[test]
fn margins_that_leave_nothing_are_told_once() {
    let sheet = Sheet {
        reserve: Margins::all(120.0),
        ..a4()
    };
    let said = said(&Job::new(vec![piece("harbour", 63.5, 88.9)], sheet));
    assert_eq!(
        said,
        [
            "the margins leave no room: of 210 mm × 297 mm only 0 mm × 48.6 mm could be printed. check \
          the set-up's unprintable margins, or keep less room for witness marks"
        ]
    );
}

#[test]
fn nothing_and_far_too_much_are_refused() {
    let none = Job::new(vec![piece("harbour", 63.5, 88.9).copies(0)], a4());
    assert!(said(&none)[0].starts_with("there are no pieces to lay out"));
    let many = Job::new(
        vec![piece("harbour", 63.5, 88.9).copies(usize::MAX); 2],
        a4(),
    );
    assert!(said(&many)[0].contains("more than one job takes"));
}

#[test]
fn a_fold_needs_backs() {
    let job = Job {
        fold_over: Some(FoldOver {
            along: None,
            allowance: 0.5,
        }),
        ..Job::new(
            vec![Piece {
                back: None,
                ..piece("harbour", 63.5, 88.9)
            }],
            a4(),
        )
    };
    let problems = plan(&job, &Unmeasured, 3).expect_err("it cannot be folded");
    assert!(matches!(&problems.0[..], [Problem::NoBackToFold { piece }] if piece == "harbour"));
}
