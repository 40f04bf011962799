//! Reading simulated pictures of production sheets by their witness marks.
//!
//! Nine poker cards on A4 and on Letter, printed, scanned and photographed by `tympan-sim`. How
//! well readings do over many sheets is measured by the example `picture_accuracy`.

mod support;

use std::sync::{Arc, OnceLock};

use support::ways::check;
use support::{A4, LETTER, Production, luma, put_right};
use tympan_marks::picture::{Expected, Luma, Outcome, Reading, Warning, Way, read};
use tympan_sheet::{Flip, QuarterTurn, Side, Size};
use tympan_sim::{Backing, Backlight, Camera, OnBed, Page, Pose, PrintedSheet, Printer, Scanner};

const DPI: f64 = 300.0;
const CALIPER: f64 = 0.3;

struct Run {
    production: Production,
    pages: [Arc<Page>; 2],
}

/// Sheet 7 of run 7FERY, rendered once.
fn run(paper: Size) -> &'static Run {
    static RUNS: [OnceLock<Run>; 2] = [OnceLock::new(), OnceLock::new()];
    RUNS[usize::from(paper == LETTER)].get_or_init(|| {
        let production = Production::new(paper, Flip::Sideways, "7FERY");
        let pages = production.pages(7);
        Run { production, pages }
    })
}

fn printer(paper: Size, seed: u64) -> Printer {
    put_right(seed, paper, Flip::Sideways, 0.2)
}

fn printed(paper: Size, seed: u64) -> PrintedSheet {
    let [front, back] = &run(paper).pages;
    printer(paper, seed).print(seed, front, back)
}

fn two_scans(sheet: &PrintedSheet, scanner: &Scanner) -> [Luma; 2] {
    Side::BOTH.map(|side| {
        luma(
            &scanner
                .scan(sheet, side, &OnBed::by_hand(side as u64))
                .image,
        )
    })
}

fn expected(paper: Size) -> Expected {
    Expected {
        setup: "K7Q2".parse().ok(),
        paper: Some(paper),
        flip: Some(Flip::Sideways),
        caliper_mm: Some(CALIPER),
        runs: vec![run(paper).production.known()],
    }
}

fn reading(outcomes: Vec<Outcome>) -> Reading {
    assert_eq!(outcomes.len(), 1, "{outcomes:?}");
    let outcome = outcomes.into_iter().next().expect("one");
    outcome.result.unwrap_or_else(|refusal| panic!("{refusal}"))
}

/// The words of the refusals.
fn refusals(outcomes: &[Outcome]) -> Vec<&'static str> {
    let code = |outcome: &Outcome| match &outcome.result {
        Err(refusal) => refusal.code(),
        Ok(reading) => panic!("accepted: {:?}, {:?}", reading.parts(), reading.warnings),
    };
    outcomes.iter().map(code).collect()
}

#[test]
fn edges_tie_two_scans_of_a_production_sheet_together() {
    for (paper, seed) in [(A4, 5), (LETTER, 6)] {
        let sheet = printed(paper, seed);
        let scans = two_scans(&sheet, &Scanner::usual(seed, DPI));
        let reading = reading(read(&scans, &expected(paper)));
        assert_eq!(reading.way, Way::TwoScans { holes: 0, edges: 4 });
        assert_eq!(reading.run, Some(run(paper).production.run));
        assert_eq!((reading.sheet, reading.setup.as_str()), (7, "K7Q2"));
        check(&reading, &sheet, 0.08, 0.04);
        let (shift, _) = reading.parts();
        // Between the strips, a bend of the feed goes unseen.
        let truth = sheet.register_error(paper.centre());
        assert!(
            (shift - truth).length() < 0.25,
            "the sign: {shift:?}, {truth:?}"
        );
        assert!(
            reading.placements.iter().all(Option::is_some),
            "edges show each side's place"
        );
    }
}

#[test]
fn production_scans_may_lie_any_way_round_and_be_coarse() {
    let sheet = printed(LETTER, 8);
    let scanner = Scanner::usual(8, 150.0);
    let scans = [
        (Side::Back, QuarterTurn::Clockwise),
        (Side::Front, QuarterTurn::Half),
    ]
    .map(|(side, turn)| {
        let lie = OnBed {
            turn,
            ..OnBed::by_hand(3)
        };
        luma(&scanner.scan(&sheet, side, &lie).image)
    });
    let reading = reading(read(&scans, &expected(LETTER)));
    assert!(
        reading.warnings.contains(&Warning::QuarterTurn),
        "{:?}",
        reading.warnings
    );
    check(&reading, &sheet, 0.3, 0.04);
}

fn photo(sheet: &PrintedSheet, paper: Size, facing: Side, contrast: f64, camera: &Camera) -> Luma {
    let pose = Pose::by_hand(camera, paper, 4);
    luma(
        &camera
            .photo(sheet, facing, &pose, &Backlight::window(contrast, paper, 4))
            .image,
    )
}

#[test]
fn a_production_sheet_is_read_from_one_photo_against_the_light() {
    for (paper, facing) in [(A4, Side::Front), (LETTER, Side::Back)] {
        let sheet = printed(paper, 13);
        let camera = Camera {
            colour: false,
            ..Camera::phone(13)
        };
        let picture = photo(&sheet, paper, facing, 0.1, &camera);
        let reading = reading(read(&[picture], &expected(paper)));
        assert_eq!(reading.way, Way::Photo { facing });
        check(&reading, &sheet, 0.12, 0.04);
    }
}

#[test]
fn spoilt_pictures_of_production_sheets_are_refused_each_with_its_reason() {
    let sheet = printed(A4, 1);
    let scanner = Scanner::usual(1, DPI);
    let scan = |sheet: &PrintedSheet, side, scanner: &Scanner, lie: &OnBed| {
        luma(&scanner.scan(sheet, side, lie).image)
    };
    let lie = OnBed::by_hand(1);
    let front = scan(&sheet, Side::Front, &scanner, &lie);
    let back = scan(&sheet, Side::Back, &scanner, &lie);
    let expected = expected(A4);

    let mirrored = Scanner {
        mirrored: true,
        ..scanner.clone()
    };
    let pictures = [
        scan(&sheet, Side::Front, &mirrored, &lie),
        scan(&sheet, Side::Back, &mirrored, &lie),
    ];
    assert_eq!(refusals(&read(&pictures, &expected)), ["mirrored"; 2]);

    let again = scan(&sheet, Side::Front, &scanner, &OnBed::by_hand(2));
    assert_eq!(
        refusals(&read(&[front.clone(), again], &expected)),
        ["same_side_twice"]
    );

    let other_pages = run(A4).production.pages(8);
    let next = printer(A4, 1).print(2, &other_pages[0], &other_pages[1]);
    let next_back = scan(&next, Side::Back, &scanner, &lie);
    assert_eq!(
        refusals(&read(&[front.clone(), next_back], &expected)),
        ["different_sheets"]
    );

    let unknown = Expected {
        runs: Vec::new(),
        ..expected.clone()
    };
    assert_eq!(
        refusals(&read(&[front.clone(), back.clone()], &unknown)),
        ["other_run"; 2]
    );

    let cropped = OnBed {
        crop: [0.0, 0.0, 0.0, 0.4],
        ..lie
    };
    let part = [0.0, 0.0, 0.6, 0.0];
    for crop in [cropped.crop, part] {
        let lie = OnBed { crop, ..lie };
        let half = scan(&sheet, Side::Front, &scanner, &lie);
        let said = refusals(&read(&[half], &expected));
        assert!(
            matches!(said[..], ["cropped" | "not_a_test_sheet"]),
            "{said:?}"
        );
    }

    let white = Scanner {
        backing: Backing::White,
        ..scanner
    };
    let pictures = two_scans(&sheet, &white);
    assert_eq!(refusals(&read(&pictures, &expected)), ["no_link"]);

    let camera = Camera {
        colour: false,
        mirrored: true,
        ..Camera::phone(1)
    };
    let picture = photo(&sheet, A4, Side::Front, 0.1, &camera);
    assert_eq!(refusals(&read(&[picture], &expected)), ["mirrored"]);

    let camera = Camera {
        mirrored: false,
        ..camera
    };
    let picture = photo(&sheet, A4, Side::Front, 0.0003, &camera);
    assert_eq!(refusals(&read(&[picture], &expected)), ["too_faint"]);

    let [page, _] = &run(A4).pages;
    let twice = printer(A4, 3).print(3, page, page);
    let picture = photo(&twice, A4, Side::Front, 0.1, &camera);
    assert_eq!(refusals(&read(&[picture], &expected)), ["printed_twice"]);
}
