//! Spoiled and weak pictures are spoiled and weak in the way that they say.

use std::sync::Arc;

use image::DynamicImage;
use tympan_sheet::{Flip, Size};
use tympan_sim::{Bench, Page, Printer, Scan, Scanner, Side, Spoiler, Weakness};

use crate::common::{Light, Shape, page};

const A6: Size = Size::new(105.0, 148.0);
/// Marks of the front and of the back: each page has one that the other has not.
const FRONT: [f64; 2] = [40.0, 60.0];
const BACK: [f64; 2] = [60.0, 100.0];

fn bench() -> Bench {
    let one = |[x, y]: [f64; 2]| page(A6, 4.0, &[Shape::Disc(x, y, 4.0)]);
    let printer = Printer::faulty(3, A6, Flip::Sideways);
    let mut bench = Bench::usual(printer, 3, [one(FRONT), one(BACK)]);
    bench.scanner = Scanner {
        dust: 0,
        ..Scanner::usual(3, 75.0)
    };
    bench.camera.size = [504, 672];
    bench.camera.focal /= 6.0;
    bench.camera.principal = [0.0; 2];
    bench.contrast = 0.3;
    bench
}

/// Whether a mark lies where a page's place is told to be.
fn shows(scan: &Scan, place: [f64; 2]) -> bool {
    let pixel = scan.view.pixel_of_page(place);
    scan.view.shows(pixel, 12.0) && {
        let light = Light::of(&scan.image);
        light.mean(pixel, 4.0) < 0.3 * light.mean([pixel[0] + 30.0, pixel[1]], 4.0)
    }
}

#[test]
fn good_scans_show_both_sides() {
    let pair = bench().scans(1);
    assert!(shows(&pair.front, FRONT) && !shows(&pair.front, BACK));
    assert!(shows(&pair.back, BACK) && !shows(&pair.back, FRONT));
    assert_eq!(pair.sheet.holes().len(), 4);
}

#[test]
fn weak_scans_still_show_both_sides() {
    let bench = bench();
    for weakness in Weakness::ALL {
        for seed in 0..2 {
            let pair = weakness.scans(&bench, seed);
            assert!(shows(&pair.front, FRONT), "{weakness:?} {seed}: front");
            assert!(shows(&pair.back, BACK), "{weakness:?} {seed}: back");
        }
    }
}

#[test]
fn the_same_side_twice_shows_the_front_twice() {
    let [a, b] = Spoiler::SameSideTwice
        .scans(&bench(), 1)
        .expect("needs no other pages");
    assert!(shows(&a, FRONT) && shows(&b, FRONT));
    assert!(a.image != b.image, "two scans, not one copied");
}

#[test]
fn the_front_on_both_sides_shows_the_front_on_the_back() {
    let [a, b] = Spoiler::FrontOnBothSides
        .scans(&bench(), 1)
        .expect("needs no other pages");
    assert!(shows(&a, FRONT) && shows(&b, FRONT) && !shows(&b, BACK));
    assert_eq!((a.view.side(), b.view.side()), (Side::Front, Side::Back));
}

#[test]
fn another_set_ups_sheet_needs_its_pages() {
    let mut bench = bench();
    assert!(Spoiler::AnotherSetUp.scans(&bench, 1).is_none());
    let blank = Arc::new(Page::blank(A6));
    bench.other = Some([Arc::clone(&blank), blank]);
    let [a, b] = Spoiler::AnotherSetUp
        .scans(&bench, 1)
        .expect("it has them now");
    assert!(!shows(&a, FRONT) && !shows(&b, BACK));
}

#[test]
fn faint_and_blurred_marks_are_hard_to_see() {
    for spoiler in [Spoiler::TooFaint, Spoiler::NotATestSheet] {
        let [a, b] = spoiler.scans(&bench(), 3).expect("needs no other pages");
        assert!(!shows(&a, FRONT) && !shows(&b, BACK), "{spoiler:?}");
    }
}

#[test]
fn a_heavy_crop_leaves_less_than_half() {
    let bench = bench();
    let whole = bench.scans(1).front.view.size();
    for seed in 0..6 {
        for scan in Spoiler::HeavyCrop
            .scans(&bench, seed)
            .expect("needs no other pages")
        {
            let [w, h] = scan.view.size();
            let left = (w * h) as f64 / (whole[0] * whole[1]) as f64;
            assert!(left < 0.5, "seed {seed}: {left}");
        }
    }
}

#[test]
fn every_spoiled_picture_repeats_with_its_seed() {
    let mut bench = bench();
    bench.other = Some(bench.pages.clone());
    let pictures = |spoiler: Spoiler| -> Vec<DynamicImage> {
        let scans = spoiler
            .scans(&bench, 4)
            .into_iter()
            .flatten()
            .map(|scan| scan.image);
        scans
            .chain(spoiler.photo(&bench, 4).map(|photo| photo.image))
            .collect()
    };
    for spoiler in Spoiler::ALL {
        let once = pictures(spoiler);
        assert!(once.len() >= 2, "{spoiler:?}");
        assert!(once == pictures(spoiler), "{spoiler:?}");
    }
}
