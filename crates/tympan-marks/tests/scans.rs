//! Reading simulated pictures of printed test sheets.
//!
//! The sheets are rendered by the renderer in `support`, printed, scanned and photographed by
//! `tympan-sim`, which knows nothing of the reader. How well readings do over many sheets is
//! measured by the example `picture_accuracy`; here are one or two of each kind.

mod support;

use support::ways::{check, scanned};
use support::{A4, LETTER, a4, luma, pages, sheet};
use tympan_marks::picture::{Expected, Luma, Outcome, Reading, Refusal, Warning, Way, read};
use tympan_sheet::{Flip, Front, LeadingEdge, Point, QuarterTurn, Side};
use tympan_sim::{
    Backing, Backlight, Camera, Corner, Fold, OnBed, Pose, PrintedSheet, Printer, Rng, Scanner,
    office_punch, office_punch_twice,
};

const DPI: f64 = 200.0;

/// One printed sheet of a faulty printer.
fn printed(flip: Flip, seed: u64) -> PrintedSheet {
    let [front, back] = a4(flip);
    Printer::faulty(seed, A4, flip).print(seed, front, back)
}

fn punched(sheet: PrintedSheet, seed: u64) -> PrintedSheet {
    let mut rng = Rng::new(seed);
    let mut holes = office_punch(A4, LeadingEdge::Left, &mut rng);
    holes.extend(office_punch(A4, LeadingEdge::Right, &mut rng));
    sheet.punched(holes)
}

fn scan(sheet: &PrintedSheet, side: Side, scanner: &Scanner, lie: &OnBed) -> Luma {
    luma(&scanner.scan(sheet, side, lie).image)
}

fn two_scans(sheet: &PrintedSheet, scanner: &Scanner) -> [Luma; 2] {
    Side::BOTH.map(|side| scan(sheet, side, scanner, &OnBed::by_hand(side as u64)))
}

fn photo(sheet: &PrintedSheet, facing: Side, contrast: f64, seed: u64) -> Luma {
    let camera = Camera::phone(seed);
    let pose = Pose::by_hand(&camera, A4, seed);
    luma(
        &camera
            .photo(sheet, facing, &pose, &Backlight::window(contrast, A4, seed))
            .image,
    )
}

fn reading(outcomes: Vec<Outcome>) -> Reading {
    assert_eq!(outcomes.len(), 1, "{outcomes:?}");
    let outcome = outcomes.into_iter().next().expect("one");
    outcome.result.unwrap_or_else(|refusal| panic!("{refusal}"))
}

/// The word of the refusal that all pictures met.
fn refusal(outcomes: Vec<Outcome>) -> &'static str {
    let code = |outcome: &Outcome| match &outcome.result {
        Err(refusal) => {
            assert!(!refusal.to_string().is_empty() && !refusal.hint().is_empty());
            refusal.code()
        }
        Ok(reading) => panic!("accepted: {:?}, {:?}", reading.parts(), reading.warnings),
    };
    let codes: Vec<_> = outcomes.iter().map(code).collect();
    assert!(codes.windows(2).all(|w| w[0] == w[1]), "{codes:?}");
    codes[0]
}

fn default_read(pictures: &[Luma]) -> Vec<Outcome> {
    read(pictures, &Expected::default())
}

#[test]
fn holes_tie_two_scans_together() {
    for flip in [Flip::Sideways, Flip::Endways] {
        let sheet = punched(printed(flip, 3), 3);
        let scanner = Scanner {
            backing: Backing::Dark,
            ..Scanner::usual(3, DPI)
        };
        let reading = reading(default_read(&two_scans(&sheet, &scanner)));
        assert!(
            matches!(reading.way, Way::TwoScans { holes: 4, .. }),
            "{:?}",
            reading.way
        );
        check(&reading, &sheet, 0.07, 0.02);
        let (shift, _) = reading.parts();
        let truth = sheet.register_error(A4.centre());
        assert!(
            (shift - truth).length() < 0.12,
            "the sign of {flip}: {shift:?}, {truth:?}"
        );
    }
}

#[test]
fn edges_tie_two_scans_together_and_show_each_sides_own_place() {
    let sheet = printed(Flip::Sideways, 5);
    let reading = reading(default_read(&two_scans(&sheet, &Scanner::usual(5, DPI))));
    assert!(
        matches!(reading.way, Way::TwoScans { holes: 0, edges: 4 }),
        "{:?}",
        reading.way
    );
    assert!(reading.warnings.contains(&Warning::EdgesOnly));
    check(&reading, &sheet, 0.08, 0.02);
    let centre: Point<Front> = A4.centre();
    let front = reading.placements[0].expect("edges show the front's place");
    let truth = sheet.front(centre) - centre;
    assert!(
        (front.shift.x - truth.x).hypot(front.shift.y - truth.y) < 0.1,
        "{front:?} {truth:?}"
    );
    let back = reading.placements[1].expect("edges show the back's place");
    let centre = A4.centre();
    let truth = sheet.back(centre) - centre;
    assert!(
        (back.shift.x - truth.x).hypot(back.shift.y - truth.y) < 0.1,
        "{back:?} {truth:?}"
    );
}

#[test]
fn scans_may_lie_any_way_round_and_come_in_any_order() {
    let sheet = punched(printed(Flip::Sideways, 7), 7);
    let scanner = Scanner::usual(7, DPI);
    let lie = |turn| OnBed {
        turn,
        ..OnBed::by_hand(9)
    };
    let back = scan(&sheet, Side::Back, &scanner, &lie(QuarterTurn::Upright));
    for (turn, warning) in [
        (QuarterTurn::Half, Warning::EndForEnd),
        (QuarterTurn::Anticlockwise, Warning::QuarterTurn),
    ] {
        let front = scan(&sheet, Side::Front, &scanner, &lie(turn));
        let reading = reading(default_read(&[back.clone(), front]));
        assert!(
            reading.warnings.contains(&warning),
            "{:?}",
            reading.warnings
        );
        check(&reading, &sheet, 0.12, 0.04);
    }
}

/// The marks of this one's back lie as bent as in a photo, and it is none held to the light.
#[test]
fn a_scan_by_a_very_uneven_carriage_is_still_a_scan() {
    const SEED: u64 = 40044;
    let mut rng = Rng::stream(SEED, 77);
    let printer = Printer::faulty(SEED, LETTER, Flip::Sideways);
    let [front, back] = pages(&sheet(LETTER, Flip::Sideways, "K7Q2", 3));
    let printed = printer.print(SEED, &front, &back);
    let (printed, scanners, lies) = scanned("wavy-holes", SEED, printed, &printer, &mut rng);
    let pictures = [0, 1].map(|k| scan(&printed, Side::BOTH[k], &scanners[k], &lies[k]));
    let reading = reading(default_read(&pictures));
    assert!(matches!(reading.way, Way::TwoScans { .. }));
    check(&reading, &printed, 0.15, 0.08);
}

#[test]
fn a_folded_corner_makes_a_reading_no_worse_than_it_says() {
    let fold = Fold {
        corner: Corner::TopLeft,
        legs: [30.0, 25.0],
        onto: Side::Front,
    };
    let sheet = printed(Flip::Sideways, 11).folded(fold);
    let reading = reading(default_read(&two_scans(&sheet, &Scanner::usual(11, DPI))));
    check(&reading, &sheet, 0.1, 0.03);
}

#[test]
fn a_photo_against_the_light_reads_from_either_side() {
    for (facing, flip) in [(Side::Front, Flip::Sideways), (Side::Back, Flip::Endways)] {
        let sheet = printed(flip, 13);
        let expected = Expected {
            caliper_mm: Some(0.25),
            ..Expected::default()
        };
        let reading = reading(read(&[photo(&sheet, facing, 0.1, 13)], &expected));
        assert_eq!(reading.way, Way::Photo { facing });
        check(&reading, &sheet, 0.08, 0.04);
    }
}

#[test]
fn a_thick_card_at_close_range_shifts_the_far_side_as_its_thickness_says() {
    let [front, back] = a4(Flip::Sideways);
    let mut printer = Printer::exact(A4, Flip::Sideways);
    printer.media.caliper = 1.0;
    let sheet = printer.print(1, front, back);
    let camera = Camera {
        size: [1512, 2016],
        focal: 1450.0,
        blur: 0.6,
        ..Camera::pinhole()
    };
    // Aimed aside, so that the far side's parallax has one sign over most of the sheet.
    let pose = Pose {
        aim: [40.0, 0.0],
        ..Pose::square(&camera, A4, 0.6)
    };
    let shot = camera.photo(&sheet, Side::Front, &pose, &Backlight::even(0.3));
    let shift_with = |caliper_mm: f64| {
        let expected = Expected {
            caliper_mm: Some(caliper_mm),
            ..Expected::default()
        };
        reading(read(&[luma(&shot.image)], &expected)).parts().0.x
    };
    let (right, none, wrong) = (shift_with(1.0), shift_with(0.0), shift_with(-1.0));
    assert!(right.abs() < 0.03, "{right:.3} mm left over");
    assert!(none.abs() > 0.06, "only {none:.3} mm to take out");
    assert!(wrong.abs() > 1.7 * none.abs(), "{wrong:.3} mm");
}

#[test]
fn pictures_too_coarse_or_too_blurred_for_codes_say_which() {
    let sheet = printed(Flip::Sideways, 3);
    for (dpi, blur, code) in [(45.0, 0.05, "too_coarse"), (150.0, 1.2, "too_blurred")] {
        let scanner = Scanner {
            blur,
            ..Scanner::usual(3, dpi)
        };
        for side in Side::BOTH {
            let picture = scan(&sheet, side, &scanner, &OnBed::by_hand(3));
            assert_eq!(
                refusal(default_read(&[picture])),
                code,
                "{side} {dpi} {blur}"
            );
        }
    }
}

#[test]
fn a_mirrored_scan_is_refused() {
    let sheet = punched(printed(Flip::Sideways, 1), 1);
    let scanner = Scanner {
        mirrored: true,
        ..Scanner::usual(1, DPI)
    };
    assert_eq!(
        refusal(default_read(&two_scans(&sheet, &scanner))),
        "mirrored"
    );
}

#[test]
fn the_same_side_twice_is_refused() {
    let sheet = punched(printed(Flip::Sideways, 1), 1);
    let scanner = Scanner::usual(1, DPI);
    let pictures = [1, 2].map(|k| scan(&sheet, Side::Front, &scanner, &OnBed::by_hand(k)));
    assert_eq!(refusal(default_read(&pictures)), "same_side_twice");
}

#[test]
fn a_front_on_both_sides_is_refused() {
    let [front, _] = a4(Flip::Sideways);
    let sheet = Printer::faulty(2, A4, Flip::Sideways).print(2, front, front);
    let sheet = sheet.punched(office_punch(A4, LeadingEdge::Left, &mut Rng::new(2)));
    assert_eq!(
        refusal(default_read(&two_scans(&sheet, &Scanner::usual(2, DPI)))),
        "printed_twice"
    );
}

#[test]
fn front_and_back_of_different_sheets_are_refused() {
    let other = pages(&sheet(A4, Flip::Sideways, "K7Q2", 4));
    let scanner = Scanner::usual(1, DPI);
    let printer = Printer::faulty(1, A4, Flip::Sideways);
    let front = scan(
        &printed(Flip::Sideways, 1),
        Side::Front,
        &scanner,
        &OnBed::by_hand(1),
    );
    let back = printer.print(2, &other[0], &other[1]);
    let back = scan(&back, Side::Back, &scanner, &OnBed::by_hand(2));
    assert_eq!(refusal(default_read(&[front, back])), "different_sheets");
}

#[test]
fn holes_of_different_sheets_are_refused_though_the_numbers_agree() {
    let scanner = Scanner::usual(1, DPI);
    let [a, b] = [1, 2].map(|seed| {
        let holes = office_punch_twice(A4, &mut Rng::new(seed));
        printed(Flip::Sideways, 1).punched(holes)
    });
    let pictures = [
        scan(&a, Side::Front, &scanner, &OnBed::by_hand(1)),
        scan(&b, Side::Back, &scanner, &OnBed::by_hand(2)),
    ];
    assert_eq!(refusal(default_read(&pictures)), "different_sheets");
}

#[test]
fn another_set_ups_sheet_and_another_papers_are_refused() {
    let sheet = punched(printed(Flip::Sideways, 1), 1);
    let pictures = two_scans(&sheet, &Scanner::usual(1, DPI));
    let other = Expected {
        setup: Some("OTHER".parse().expect("a code")),
        ..Expected::default()
    };
    assert_eq!(refusal(read(&pictures, &other)), "other_setup");
    let other = Expected {
        paper: Some(support::LETTER),
        ..Expected::default()
    };
    assert_eq!(refusal(read(&pictures, &other)), "other_paper");
    let other = Expected {
        flip: Some(Flip::Endways),
        ..Expected::default()
    };
    assert_eq!(refusal(read(&pictures, &other)), "other_flip");
}

#[test]
fn a_scaled_print_is_refused_by_its_edges() {
    let [front, back] = a4(Flip::Sideways);
    let printer = Printer {
        scale: 0.9589,
        ..Printer::faulty(1, A4, Flip::Sideways)
    };
    let sheet = printer.print(1, front, back);
    assert_eq!(
        refusal(default_read(&two_scans(&sheet, &Scanner::usual(1, DPI)))),
        "scaled"
    );
}

#[test]
fn a_back_printed_with_the_wrong_flip_is_refused() {
    let [front, back] = a4(Flip::Sideways);
    let wrong = Printer {
        flip: Flip::Endways,
        ..Printer::faulty(1, A4, Flip::Sideways)
    };
    let sheet = wrong.print(1, front, back);
    let scanner = Scanner::usual(1, DPI);
    let by_edges = default_read(&two_scans(&sheet, &scanner));
    assert_eq!(refusal(by_edges), "wrong_flip", "what shines through tells");
    let sheet = sheet.punched(office_punch(A4, LeadingEdge::Left, &mut Rng::new(1)));
    assert_eq!(
        refusal(default_read(&two_scans(&sheet, &scanner))),
        "wrong_flip",
        "holes tell"
    );
}

#[test]
fn a_white_ground_without_holes_is_refused() {
    let scanner = Scanner {
        backing: Backing::White,
        ..Scanner::usual(1, DPI)
    };
    let pictures = two_scans(&printed(Flip::Sideways, 1), &scanner);
    assert_eq!(refusal(default_read(&pictures)), "no_link");
}

#[test]
fn half_a_sheet_is_refused() {
    let sheet = printed(Flip::Sideways, 1);
    let lie = OnBed {
        crop: [0.0, 0.0, 0.0, 0.5],
        ..OnBed::by_hand(1)
    };
    let picture = scan(&sheet, Side::Front, &Scanner::usual(1, DPI), &lie);
    assert_eq!(refusal(default_read(&[picture])), "cropped");
}

#[test]
fn one_side_alone_is_not_enough() {
    let picture = scan(
        &printed(Flip::Sideways, 1),
        Side::Back,
        &Scanner {
            jpeg: Some(60),
            ..Scanner::usual(1, 100.0)
        },
        &OnBed::by_hand(1),
    );
    let outcome = default_read(&[picture]);
    assert!(
        matches!(
            outcome[0].result,
            Err(Refusal::OtherSideMissing(Side::Back))
        ),
        "{outcome:?}"
    );
}

#[test]
fn opaque_stock_in_a_photo_is_refused() {
    let sheet = printed(Flip::Sideways, 1);
    assert_eq!(
        refusal(default_read(&[photo(&sheet, Side::Front, 0.0005, 1)])),
        "too_faint"
    );
}

#[test]
fn pictures_of_other_things_are_refused() {
    let plain = Luma::new(800, 600, vec![230; 480_000]).expect("all pixels");
    let noise: Vec<u8> = (0..480_000_u32)
        .map(|k| (k.wrapping_mul(2_654_435_761) >> 24) as u8)
        .collect();
    let noise = Luma::new(800, 600, noise).expect("all pixels");
    let tiny = Luma::new(1, 1, vec![0]).expect("one pixel");
    let empty = Luma::new(0, 0, Vec::new()).expect("no pixels");
    assert_eq!(
        refusal(default_read(&[plain, noise, tiny, empty])),
        "not_a_test_sheet"
    );
}
