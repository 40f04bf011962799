//! Pictures of several test sheets at once: scans and photos mixed, in any order.

mod support;

use support::{A4, luma, pages, sheet};
use tympan_marks::picture::{Expected, Luma, Refusal, Way, read};
use tympan_sheet::{Flip, Side};
use tympan_sim::{
    Backlight, Camera, OnBed, Pose, PrintedSheet, Printer, Rng, Scanner, office_punch_twice,
};

/// A sheet with this number, punched.
fn printed(number: u32) -> PrintedSheet {
    let [front, back] = pages(&sheet(A4, Flip::Sideways, "K7Q2", number));
    let mut rng = Rng::new(number.into());
    Printer::faulty(5, A4, Flip::Sideways)
        .print(number.into(), &front, &back)
        .punched(office_punch_twice(A4, &mut rng))
}

fn scan(sheet: &PrintedSheet, side: Side, lie: u64) -> Luma {
    luma(
        &Scanner::usual(5, 150.0)
            .scan(sheet, side, &OnBed::by_hand(lie))
            .image,
    )
}

/// A scan in which nothing shines through.
fn faint_scan(sheet: &PrintedSheet, side: Side) -> Luma {
    let scanner = Scanner {
        jpeg: Some(60),
        ..Scanner::usual(1, 100.0)
    };
    luma(&scanner.scan(sheet, side, &OnBed::by_hand(1)).image)
}

/// A photo so square that its marks lie as in a scan.
fn square_photo(sheet: &PrintedSheet) -> Luma {
    let camera = Camera::pinhole();
    let pose = Pose::square(&camera, A4, 0.9);
    let light = Backlight::window(0.15, A4, 3);
    luma(&camera.photo(sheet, Side::Front, &pose, &light).image)
}

#[test]
fn scans_of_two_sheets_and_a_square_photo_are_sorted_by_their_codes() {
    let (one, two) = (printed(1), printed(2));
    let pictures = [
        scan(&two, Side::Back, 1),
        square_photo(&one),
        scan(&one, Side::Back, 2),
        scan(&two, Side::Front, 3),
        scan(&one, Side::Front, 4),
        scan(&two, Side::Front, 5),
    ];
    let outcomes = read(&pictures, &Expected::default());
    let mut seen: Vec<usize> = outcomes.iter().flat_map(|o| o.pictures.clone()).collect();
    seen.sort_unstable();
    assert_eq!(seen, [0, 1, 2, 3, 4, 5], "each in one outcome");
    let mut ways = Vec::new();
    for outcome in &outcomes {
        match &outcome.result {
            Ok(reading) => {
                let sheet = if reading.sheet == 1 { &one } else { &two };
                let (shift, _) = reading.parts();
                let truth = sheet.register_error(A4.centre());
                assert!(
                    (shift - truth).length() < 0.12,
                    "{shift:?} is not {truth:?}"
                );
                ways.push((reading.sheet, matches!(reading.way, Way::Photo { .. })));
            }
            // The third picture of sheet 2 is not needed, but enough may shine through it.
            Err(refusal) => assert_eq!(*refusal, Refusal::Spare(Side::Front)),
        }
    }
    for expected in [(1, false), (1, true), (2, false)] {
        let count = ways.iter().filter(|w| **w == expected).count();
        assert_eq!(count, 1, "{expected:?} in {ways:?}");
    }
}

#[test]
fn a_sheet_without_its_other_side_leaves_the_others_alone() {
    let (one, two) = (printed(1), printed(2));
    let pictures = [
        faint_scan(&two, Side::Back),
        scan(&one, Side::Back, 2),
        scan(&one, Side::Front, 4),
    ];
    let outcomes = read(&pictures, &Expected::default());
    assert_eq!(outcomes.len(), 2, "{outcomes:?}");
    assert_eq!(
        outcomes[0].result,
        Err(Refusal::OtherSideMissing(Side::Back))
    );
    assert_eq!(outcomes[1].pictures, [1, 2]);
    assert!(outcomes[1].result.is_ok(), "{outcomes:?}");
}
