//! Simulated scanners against arithmetic: marks at known places must be found where they belong.

use crate::common::{Light, Shape, assert_near, page};
use image::DynamicImage;
use tympan_sheet::{Flip, QuarterTurn, Size};
use tympan_sim::{
    Backing, Corner, Depth, EdgeShadow, Fold, Hole, Media, OnBed, PrintedSheet, Printer, Rng,
    Scanner, Side,
};

const SHEET: Size = Size::new(90.0, 120.0);
const PAGE_PX: f64 = 600.0 / 25.4;
/// Marks of the page, mm.
const MARKS: [[f64; 2]; 5] = [
    [12.0, 15.0],
    [78.0, 20.0],
    [45.0, 60.0],
    [15.0, 105.0],
    [70.0, 100.0],
];

fn marked() -> PrintedSheet {
    let front = MARKS.map(|[x, y]| Shape::Disc(x, y, 2.0));
    let back = [Shape::Disc(20.0, 30.0, 2.0)];
    let (front, back) = (page(SHEET, PAGE_PX, &front), page(SHEET, PAGE_PX, &back));
    let media = Media {
        show_through: 0.0,
        fibre: 0.0,
        ..Media::CARD
    };
    Printer {
        media,
        ..Printer::exact(SHEET, Flip::Sideways)
    }
    .print(0, &front, &back)
}

/// 8 mm of backing lie around an upright sheet.
fn upright(mm: [f64; 2], dpi: f64) -> [f64; 2] {
    mm.map(|c| (c + 8.0) * dpi / 25.4)
}

#[test]
fn marks_lie_where_the_resolution_puts_them() {
    let sheet = marked();
    for dpi in [75.0, 150.0, 300.0, 600.0] {
        let scan = Scanner::exact(dpi).scan(&sheet, Side::Front, &OnBed::default());
        let seen = Light::of(&scan.image);
        for mark in MARKS {
            let wanted = upright(mark, dpi);
            let found = seen.dark_at(wanted, 3.0 * dpi / 25.4);
            assert_near(found, wanted, 0.02, &format!("{mark:?} at {dpi} dpi"));
            assert_near(
                scan.view.pixel_of_page(mark),
                wanted,
                1e-9,
                "the truth told",
            );
        }
    }
}

#[test]
fn the_back_is_seen_as_one_looks_at_it() {
    let scan = Scanner::exact(300.0).scan(&marked(), Side::Back, &OnBed::default());
    let wanted = upright([20.0, 30.0], 300.0);
    assert_near(
        Light::of(&scan.image).dark_at(wanted, 40.0),
        wanted,
        0.02,
        "not mirrored",
    );
}

#[test]
fn a_hole_lies_mirrored_on_the_back() {
    let sheet = marked().punched([Hole::round([12.0, 45.0], 6.0)]);
    for (side, x) in [(Side::Front, 12.0), (Side::Back, 78.0)] {
        let scan = Scanner::exact(300.0).scan(&sheet, side, &OnBed::default());
        let wanted = upright([x, 45.0], 300.0);
        let found = scan
            .view
            .find_on_sheet(&sheet.holes_on(side), 0.0, &mut Rng::new(1));
        assert_near(found[0].expect("a hole"), wanted, 1e-9, "the cheap scan");
        assert_near(
            Light::of(&scan.image).dark_at(wanted, 50.0),
            wanted,
            0.03,
            "the hole",
        );
    }
}

/// A sheet turned clockwise in the picture: its head is at the right.
#[test]
fn quarter_turns_go_the_way_they_are_named() {
    let sheet = marked();
    let [x, y] = MARKS[0];
    for (turn, wanted) in [
        (QuarterTurn::Clockwise, [SHEET.h - y, x]),
        (QuarterTurn::Half, [SHEET.w - x, SHEET.h - y]),
        (QuarterTurn::Anticlockwise, [y, SHEET.w - x]),
    ] {
        let lie = OnBed {
            turn,
            ..OnBed::default()
        };
        let scan = Scanner::exact(300.0).scan(&sheet, Side::Front, &lie);
        let wanted = upright(wanted, 300.0);
        assert_near(
            Light::of(&scan.image).dark_at(wanted, 40.0),
            wanted,
            0.05,
            &format!("{turn:?}"),
        );
    }
}

#[test]
fn a_tilt_is_clockwise_as_the_picture_shows_it() {
    let lie = OnBed {
        tilt_deg: 5.0,
        ..OnBed::default()
    };
    let view = Scanner::exact(300.0).look(&marked(), Side::Front, &lie);
    let [left, right] = [[10.0, 60.0], [80.0, 60.0]].map(|p| view.pixel_of_page(p));
    let slope = ((right[1] - left[1]) / (right[0] - left[0]))
        .atan()
        .to_degrees();
    assert!((slope - 5.0).abs() < 1e-9, "right goes down: {slope}");
}

#[test]
fn an_axis_that_disagrees_lengthens_the_picture() {
    let scanner = Scanner {
        axis_error: [0.0, 0.003],
        ..Scanner::exact(300.0)
    };
    let scan = scanner.scan(&marked(), Side::Front, &OnBed::default());
    let seen = Light::of(&scan.image);
    let [a, b] = [MARKS[0], MARKS[3]].map(|mark| seen.dark_at(upright(mark, 300.0), 40.0));
    let wanted = 90.0 * 1.003 * 300.0 / 25.4;
    assert!((b[1] - a[1] - wanted).abs() < 0.03, "90 mm down the sheet");
    assert!(
        (b[0] - a[0] - 3.0 * 300.0 / 25.4).abs() < 0.03,
        "3 mm across"
    );
}

#[test]
fn a_mirrored_scan_is_mirrored_and_knows_it() {
    let scanner = Scanner {
        mirrored: true,
        ..Scanner::exact(300.0)
    };
    let scan = scanner.scan(&marked(), Side::Front, &OnBed::default());
    let width = scan.image.width();
    let [x, y] = upright(MARKS[1], 300.0);
    let wanted = [f64::from(width) - x, y];
    assert_near(
        Light::of(&scan.image).dark_at(wanted, 40.0),
        wanted,
        0.03,
        "the mark",
    );
    assert_near(
        scan.view.pixel_of_page(MARKS[1]),
        wanted,
        1e-9,
        "the truth told",
    );
}

#[test]
fn a_cropped_scan_keeps_its_marks_where_they_are() {
    let lie = OnBed {
        crop: [0.1, 0.05, 0.2, 0.0],
        ..OnBed::default()
    };
    let scan = Scanner::exact(300.0).scan(&marked(), Side::Front, &lie);
    let full = [106.0, 136.0].map(|mm: f64| (mm * 300.0 / 25.4).round());
    let cut = [(full[0] * 0.1).round(), (full[1] * 0.05).round()];
    assert_eq!(
        f64::from(scan.image.width()),
        (full[0] * 0.8).round() - cut[0]
    );
    let [x, y] = upright(MARKS[2], 300.0);
    let wanted = [x - cut[0], y - cut[1]];
    assert_near(
        Light::of(&scan.image).dark_at(wanted, 40.0),
        wanted,
        0.02,
        "the mark",
    );
    let mut rng = Rng::new(1);
    let found = scan.view.find(&MARKS, 0.0, &mut rng);
    assert!(found[1].is_none(), "the mark at the right is cut off");
    assert_near(
        found[2].expect("the mark in the middle"),
        wanted,
        1e-9,
        "the cheap scan",
    );
}

/// Everything at once, at any angle: the marks are found where the truth says.
#[test]
fn a_usual_scanner_tells_the_truth_about_its_pictures() {
    let sheet = marked();
    for seed in 0..4 {
        let mut scanner = Scanner::usual(seed, 300.0);
        scanner.waviness = 0.2;
        scanner.dust = 0;
        let lie = OnBed {
            tilt_deg: 17.0 * seed as f64,
            ..OnBed::by_hand(seed)
        };
        let scan = scanner.scan(&sheet, Side::Front, &lie);
        let seen = Light::of(&scan.image);
        for mark in MARKS {
            let told = scan.view.pixel_of_page(mark);
            let found = seen.dark_at(told, 3.2 * 300.0 / 25.4);
            assert_near(found, told, 0.12, &format!("seed {seed}, {mark:?}"));
        }
    }
}

/// The carriage's departure along the run, after its best straight line, over the bed.
#[test]
fn waviness_has_the_size_asked_for_and_is_smooth() {
    let long = Size::new(210.0, 297.0);
    let blank = page(long, 1.0, &[]);
    let sheet = Printer::exact(long, Flip::Sideways).print(0, &blank, &blank);
    let mut largest: f64 = 0.0;
    for seed in 0..20 {
        let scanner = Scanner {
            seed,
            waviness: 0.15,
            ..Scanner::exact(300.0)
        };
        let view = scanner.look(&sheet, Side::Front, &OnBed::default());
        let y = |i: usize| i as f64;
        let off: Vec<f64> = (0..298)
            .map(|i| view.pixel_of_page([105.0, y(i)])[1] * 25.4 / 300.0 - y(i) - 8.0)
            .collect();
        let peak = off.iter().fold(0.0f64, |a, b| a.max(b.abs()));
        assert!(peak < 0.19 && peak > 0.05, "seed {seed}: {peak}");
        largest = largest.max(peak);
        let step = off
            .windows(2)
            .map(|w| (w[1] - w[0]).abs())
            .fold(0.0, f64::max);
        assert!(step < 0.03, "seed {seed}: {step} mm within a millimetre");
    }
    assert!(largest > 0.11, "{largest}");
}

#[test]
fn noise_and_paper_white_are_as_asked() {
    let scanner = Scanner {
        noise: 3.0,
        ..Scanner::exact(150.0)
    };
    let scan = scanner.scan(&marked(), Side::Front, &OnBed::default());
    let grey = scan.image.to_luma8();
    let [x, y] = upright([45.0, 35.0], 150.0);
    let values: Vec<f64> = (0..40 * 40)
        .map(|i| f64::from(grey.get_pixel(x as u32 + i % 40, y as u32 + i / 40).0[0]))
        .collect();
    let mean = values.iter().sum::<f64>() / 1600.0;
    let sd = (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / 1600.0).sqrt();
    assert!((sd - 3.0).abs() < 0.25, "{sd}");
    // Reflectance 0.83 is coded as 1.055 · 0.83^(1/2.4) − 0.055 = 0.921.
    assert!((mean / 255.0 - 0.921).abs() < 0.01, "{mean}");
}

/// A blurred straight edge is an error function: between 16 % and 84 % of its step lie two
/// standard deviations.
#[test]
fn blur_has_the_width_asked_for() {
    let block = page(SHEET, PAGE_PX, &[Shape::Block(40.0, 20.0, 80.0, 100.0)]);
    let blank = page(SHEET, 1.0, &[]);
    let sheet = Printer::exact(SHEET, Flip::Sideways).print(0, &block, &blank);
    let scanner = Scanner {
        blur: 0.20,
        ..Scanner::exact(600.0)
    };
    let scan = scanner.scan(&sheet, Side::Front, &OnBed::default());
    let seen = Light::of(&scan.image);
    let y = upright([0.0, 60.0], 600.0)[1] as usize;
    let row = |mm: f64| upright([mm, 0.0], 600.0)[0] as usize;
    let (white, black) = (seen.at(row(36.0), y), seen.at(row(44.0), y));
    let crossing = |share: f64| {
        let level = white + (black - white) * share;
        let x = (row(36.0)..row(44.0))
            .find(|&x| seen.at(x, y) <= level)
            .expect("an edge");
        let (a, b) = (seen.at(x - 1, y), seen.at(x, y));
        x as f64 - 1.0 + (a - level) / (a - b)
    };
    let sd = (crossing(0.8413) - crossing(0.1587)) / 2.0 * 25.4 / 600.0;
    assert!((sd - 0.20).abs() < 0.012, "{sd} mm");
    let middle = (crossing(0.5) + 0.5) * 25.4 / 600.0 - 8.0;
    assert!((middle - 40.0).abs() < 0.01, "{middle} mm");
}

/// ISO 838 holes are 6 ± 0.5 mm: what the scan shows has the area of that circle, rim and all.
#[test]
fn punched_holes_have_the_size_of_the_standard() {
    for seed in 0..8 {
        let hole = Hole::punched([45.0, 35.0], &mut Rng::new(seed));
        let scan =
            Scanner::exact(300.0).scan(&marked().punched([hole]), Side::Front, &OnBed::default());
        let seen = Light::of(&scan.image);
        let about = upright([45.0, 35.0], 300.0);
        let mm2 = (25.4f64 / 300.0).powi(2);
        // Backing gives 0.012 of the 0.83 that paper gives.
        let area = seen.dark_area(about, 60.0) * mm2 / (1.0 - 0.012 / 0.83);
        let diameter = (4.0 * area / std::f64::consts::PI).sqrt();
        assert!(
            (diameter - hole.diameter).abs() < 0.03,
            "seed {seed}: {diameter}"
        );
        assert!((5.45..=6.55).contains(&diameter));
        assert_near(seen.dark_at(about, 60.0), about, 0.6, "its centre");
    }
}

#[test]
fn a_hole_over_a_white_backing_is_hardly_seen() {
    let sheet = marked().punched([Hole::round([45.0, 35.0], 6.0)]);
    let scanner = Scanner {
        backing: Backing::White,
        ..Scanner::exact(300.0)
    };
    let seen = Light::of(&scanner.scan(&sheet, Side::Front, &OnBed::default()).image);
    let [hole, paper] = [35.0, 45.0].map(|y| seen.mean(upright([45.0, y], 300.0), 10.0));
    assert!((hole / paper - 1.0).abs() < 0.1, "{hole} against {paper}");
}

/// The lamp is above in the picture: below the sheet's foot and below the upper rim of a hole the
/// white backing is in the shadow of the card's thickness, 0.05 mm and half the caliper wide.
#[test]
fn over_a_white_backing_edges_throw_a_narrow_shadow_down_the_picture() {
    let sheet = marked().punched([Hole::round([45.0, 35.0], 6.0)]);
    let scanner = Scanner {
        backing: Backing::White,
        ..Scanner::exact(1200.0)
    };
    let seen = Light::of(&scanner.scan(&sheet, Side::Front, &OnBed::default()).image);
    let at = |y: f64| seen.mean(upright([45.0, y], 1200.0), 2.0);
    let open = at(124.0);
    assert!(at(120.08) < 0.75 * open, "below the foot");
    assert!(at(120.30) > 0.98 * open, "no further");
    assert!(at(-0.08) > 0.98 * open, "none above the head");
    assert!(
        at(32.08) < 0.75 * open && at(37.92) > 0.98 * open,
        "under a hole's upper rim"
    );
}

#[test]
fn the_other_side_shows_through_faintly_and_mirrored() {
    let block = page(SHEET, PAGE_PX, &[Shape::Block(10.0, 20.0, 40.0, 50.0)]);
    let blank = page(SHEET, 1.0, &[]);
    let media = Media {
        show_through: 0.08,
        fibre: 0.0,
        ..Media::PAPER
    };
    let sheet = Printer {
        media,
        ..Printer::exact(SHEET, Flip::Sideways)
    }
    .print(0, &blank, &block);
    let seen = Light::of(
        &Scanner::exact(150.0)
            .scan(&sheet, Side::Front, &OnBed::default())
            .image,
    );
    let [behind, bare] = [65.0, 25.0].map(|x| seen.mean(upright([x, 35.0], 150.0), 8.0));
    assert!(
        (1.0 - behind / bare - 0.08 * 0.97).abs() < 0.01,
        "{behind} of {bare}"
    );
}

#[test]
fn a_folded_corner_shows_backing_where_paper_was_and_the_flap_on_one_side() {
    let block = page(SHEET, PAGE_PX, &[Shape::Block(0.0, 0.0, 30.0, 30.0)]);
    let blank = page(SHEET, 1.0, &[]);
    let fold = Fold {
        corner: Corner::TopRight,
        legs: [20.0, 20.0],
        onto: Side::Front,
    };
    // The back's block lies behind the front's top right corner, on the flap.
    let sheet = Printer::exact(SHEET, Flip::Sideways)
        .print(0, &blank, &block)
        .folded(fold);
    let scanner = Scanner::exact(150.0);
    let front = Light::of(&scanner.scan(&sheet, Side::Front, &OnBed::default()).image);
    let back = Light::of(&scanner.scan(&sheet, Side::Back, &OnBed::default()).image);
    let at = |light: &Light, p| light.mean(upright(p, 150.0), 4.0);
    assert!(at(&front, [86.0, 4.0]) < 0.05, "the corner is gone");
    assert!(at(&back, [4.0, 4.0]) < 0.05, "on the back too, at its left");
    assert!(
        at(&front, [76.0, 14.0]) < 0.1,
        "the flap shows the back's black"
    );
    assert!(at(&front, [60.0, 25.0]) > 0.7, "bare front beyond the flap");
    assert!(
        at(&back, [14.0, 14.0]) < 0.1,
        "the back's own black is there as before"
    );
}

#[test]
fn a_shadow_darkens_one_edge() {
    let shadow = EdgeShadow {
        edge: 2,
        strength: 0.8,
        onto_sheet: 2.0,
        onto_backing: 1.0,
    };
    let lie = OnBed {
        shadow: Some(shadow),
        ..OnBed::default()
    };
    let seen = Light::of(
        &Scanner::exact(300.0)
            .scan(&marked(), Side::Front, &lie)
            .image,
    );
    let at = |y: f64| seen.mean(upright([45.0, y], 300.0), 5.0);
    assert!(at(119.3) < 0.6 * at(110.0), "foot in shadow");
    assert!((at(0.7) / at(10.0) - 1.0).abs() < 0.02, "head not");
}

#[test]
fn depth_and_colour_are_those_asked_for() {
    let sheet = marked();
    let kind = |depth, colour| {
        let scanner = Scanner {
            depth,
            colour,
            noise: 1.0,
            ..Scanner::exact(75.0)
        };
        scanner.scan(&sheet, Side::Front, &OnBed::default()).image
    };
    assert!(matches!(
        kind(Depth::Eight, false),
        DynamicImage::ImageLuma8(_)
    ));
    assert!(matches!(
        kind(Depth::Eight, true),
        DynamicImage::ImageRgb8(_)
    ));
    assert!(matches!(
        kind(Depth::Sixteen, false),
        DynamicImage::ImageLuma16(_)
    ));
    assert!(matches!(
        kind(Depth::Sixteen, true),
        DynamicImage::ImageRgb16(_)
    ));
    let fine = kind(Depth::Sixteen, false).to_luma16();
    let mut levels: Vec<u16> = fine.into_raw();
    levels.sort_unstable();
    levels.dedup();
    assert!(
        levels.len() > 1000,
        "16 bits are used: {} levels",
        levels.len()
    );
}

#[test]
fn the_same_seeds_give_the_same_picture() {
    let sheet = marked();
    let scan = |seed| {
        Scanner::usual(seed, 150.0)
            .scan(&sheet, Side::Front, &OnBed::by_hand(seed))
            .image
    };
    assert!(scan(4) == scan(4), "the same");
    assert!(scan(4) != scan(5), "another");
}
