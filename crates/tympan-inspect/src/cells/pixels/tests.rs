use image::{GrayImage, Luma};
use tympan_sheet::Size;

use super::plane::Plane;
use super::{boxes, find};
use crate::findings::Grid;

const PAGE: Size = Size::new(210.0, 297.0);
const PX_PER_MM: f64 = 150.0 / 25.4;

/// Paints a page whose grey at a place (mm, of the untilted page) is told by `grey`, tilted
/// clockwise about its middle; 9 samples to a pixel.
fn page(tilt_deg: f64, grey: impl Fn(f64, f64) -> f64) -> GrayImage {
    let (w, h) = (PAGE.w * PX_PER_MM, PAGE.h * PX_PER_MM);
    let (sin, cos) = tilt_deg.to_radians().sin_cos();
    GrayImage::from_fn(w.round() as u32, h.round() as u32, |px, py| {
        let mut sum = 0.0;
        for i in 0..9 {
            let x = (f64::from(px) + (f64::from(i % 3) + 0.5) / 3.0) / PX_PER_MM - PAGE.w / 2.0;
            let y = (f64::from(py) + (f64::from(i / 3) + 0.5) / 3.0) / PX_PER_MM - PAGE.h / 2.0;
            sum += grey(
                cos * x + sin * y + PAGE.w / 2.0,
                cos * y - sin * x + PAGE.h / 2.0,
            );
        }
        Luma([(sum / 9.0).round() as u8])
    })
}

/// The place within a cell and its number, for 3 by 3 cells of this size and gutter from (9, 12).
fn cell(x: f64, y: f64, size: Size, gutter: f64) -> Option<(f64, f64, usize)> {
    let (x, y) = (x - 9.0, y - 12.0);
    let (px, py) = (size.w + gutter, size.h + gutter);
    let (column, row) = ((x / px).floor(), (y / py).floor());
    let (u, v) = (x - column * px, y - row * py);
    let there = (0.0..3.0).contains(&column) && (0.0..3.0).contains(&row);
    (there && u < size.w && v < size.h).then_some((u, v, (row * 3.0 + column) as usize))
}

#[track_caller]
fn one(picture: &GrayImage) -> Grid {
    let (mut found, _) = find(picture, PX_PER_MM, PAGE);
    assert_eq!(found.len(), 1, "{found:?}");
    found.remove(0)
}

const POKER: Size = Size::new(63.0, 88.0);

/// Dark cards, each with a light window of another height.
fn dark(x: f64, y: f64, gutter: f64) -> f64 {
    match cell(x, y, POKER, gutter) {
        Some((u, v, n)) if u > 8.0 && u < 55.0 && v > 10.0 && v < 50.0 + n as f64 => 225.0,
        Some(_) => 40.0,
        None => 255.0,
    }
}

#[test]
fn tilted_cards_without_marks_are_found_by_their_edges_and_repeats() {
    for tilt in [-1.0, 0.37] {
        let grid = one(&page(tilt, |x, y| dark(x, y, 2.0)));
        assert_eq!((grid.columns, grid.rows), (3, 3), "{tilt}");
        let off = grid.rotation.to_degrees() - tilt;
        assert!(off.abs() < 0.01, "{tilt}: {off}");
        assert!((grid.pitch.x - 65.0).abs() < 0.05 && (grid.pitch.y - 90.0).abs() < 0.05);
        assert!(grid.trim.is_close(POKER, 0.1), "{tilt}: {:?}", grid.trim);
    }
}

#[test]
fn white_cards_are_found_by_the_trim_marks_around_them() {
    let grid = one(&page(0.5, |x, y| {
        let along = |at: f64, length: f64| {
            (0..3).any(|i| {
                let start = at + f64::from(i) * (length + 3.0);
                start.abs() < 0.12 || (start + length).abs() < 0.12
            })
        };
        let beyond =
            |at: f64, far: f64| (-7.0..-2.0).contains(&at) || (2.0..7.0).contains(&(at - far));
        let down = along(9.0 - x, 63.0) && beyond(y - 12.0, 270.0);
        let across = along(12.0 - y, 88.0) && beyond(x - 9.0, 195.0);
        let disc =
            cell(x, y, POKER, 3.0).is_some_and(|(u, v, _)| (u - 31.5).hypot(v - 44.0) < 12.0);
        if down || across || disc { 20.0 } else { 255.0 }
    }));
    assert_eq!((grid.columns, grid.rows), (3, 3));
    assert!((grid.pitch.x - 66.0).abs() < 0.05 && (grid.pitch.y - 91.0).abs() < 0.05);
    assert!(grid.trim.is_close(POKER, 0.1), "{:?}", grid.trim);
}

#[test]
fn a_card_on_its_own_is_a_card_only_if_it_is_of_a_usual_size() {
    let lone = |w: f64, h: f64| {
        page(0.0, move |x, y| {
            let within = (40.0..40.0 + w).contains(&x) && (50.0..50.0 + h).contains(&y);
            if within { 90.0 } else { 255.0 }
        })
    };
    assert!(one(&lone(63.5, 88.9)).confidence < 0.7);
    assert_eq!(find(&lone(101.0, 77.0), PX_PER_MM, PAGE).0, []);
}

/// Prints of unlike sizes in the middles of white cards, with poles that join each to the one above.
#[test]
fn what_sticks_out_of_the_print_on_white_cards_joins_them_to_nothing() {
    let margin = |n: usize| 3.0 + 0.3 * ((7 * n) % 5) as f64;
    let picture = page(0.0, |x, y| {
        let Some((u, v, n)) = cell(x, y, POKER, 0.0) else {
            return 255.0;
        };
        let within = |at: f64, length: f64| (margin(n)..length - margin(n)).contains(&at);
        let pole = (28.0..30.0).contains(&u) && ((n > 2 && v < 10.0) || (n < 6 && v > 80.0));
        if pole || (within(u, POKER.w) && within(v, POKER.h)) {
            60.0 + 10.0 * n as f64
        } else {
            255.0
        }
    });
    let across = Plane::straight(&picture, 0.0);
    let found = boxes::find(&across, &across.transposed(), PX_PER_MM);
    assert_eq!(found.len(), 9, "{found:?}");
    for n in 0..9 {
        let middle = (
            9.0 + 63.0 * ((n % 3) as f64 + 0.5),
            12.0 + 88.0 * ((n / 3) as f64 + 0.5),
        );
        let size = Size::new(63.0 - 2.0 * margin(n), 88.0 - 2.0 * margin(n));
        let there = found.iter().any(|found| {
            let at = found.rect.centre();
            (at.x - middle.0).hypot(at.y - middle.1) < 0.1 && found.rect.size().is_close(size, 0.15)
        });
        assert!(there, "{n}: {found:?}");
    }
}

#[test]
fn two_areas_of_a_usual_card_with_even_bleed_are_cards() {
    let grid = one(&page(0.0, |x, y| {
        let within = |from: f64, length: f64, at: f64| (from..from + length).contains(&at);
        let inside = within(20.0, 40.0, x) || within(63.0, 40.0, x);
        // What is on them repeats within each.
        let reeds = (y * 1.7).sin() * 20.0;
        if inside && within(90.0, 60.0, y) {
            110.0 + reeds
        } else {
            255.0
        }
    }));
    assert_eq!((grid.columns, grid.rows), (2, 1), "{grid:?}");
    assert!(grid.trim.is_close(Size::new(37.0, 57.0), 0.1), "{grid:?}");
    assert!((grid.bleed.expect("bleed").usual - 1.5).abs() < 0.1);
}

/// Two by three boxes of 85 by 75 mm with lines around them.
fn lined(x: f64, y: f64, inside: impl Fn(f64, f64) -> bool, gutter: f64) -> f64 {
    let (u, v) = (x - 18.0, y - 25.0);
    let (px, py) = (85.0 + gutter, 75.0 + gutter);
    let (column, row) = ((u / px).floor(), (v / py).floor());
    let (u, v) = (u - column * px, v - row * py);
    let there = (0.0..2.0).contains(&column) && (0.0..3.0).contains(&row);
    let edge = u.min(85.0 - u).min(v).min(75.0 - v);
    if there && ((0.0..0.35).contains(&edge) || inside(u, v)) {
        40.0
    } else {
        255.0
    }
}

#[test]
fn boxes_to_fill_in_and_boxes_with_a_name_above_are_no_cards() {
    let nothing = page(0.0, |x, y| lined(x, y, |_, _| false, 4.0));
    assert_eq!(find(&nothing, PX_PER_MM, PAGE).0, []);
    let word = |u: f64, v: f64| (4.0..24.0).contains(&u) && (5.0..8.0).contains(&v);
    let few = page(0.0, |x, y| lined(x, y, word, 4.0));
    assert_eq!(find(&few, PX_PER_MM, PAGE).0, []);
    let picture = |u: f64, v: f64| u > 0.0 && u < 85.0 && v > 0.0 && v < 75.0;
    let caption = |u: f64, v: f64| (0.0..30.0).contains(&u) && (77.0..80.0).contains(&v);
    let named = page(0.0, |x, y| {
        lined(x, y, |u, v| picture(u, v) || caption(u, v), 8.0)
    });
    assert_eq!(find(&named, PX_PER_MM, PAGE).0, []);
}

#[test]
fn a_page_of_lines_of_text_has_no_cells() {
    let text = page(0.3, |x, y| {
        let line = (y - 25.0).rem_euclid(5.0) < 1.8 && (25.0..270.0).contains(&y);
        let letters = (x * 0.83 + (y / 5.0).floor() * 1.7).sin() > 0.1;
        if line && letters && (25.0..185.0).contains(&x) {
            30.0
        } else {
            255.0
        }
    });
    assert_eq!(find(&text, PX_PER_MM, PAGE).0, []);
}

#[test]
fn an_empty_page_has_no_cells() {
    assert_eq!(find(&page(0.0, |_, _| 255.0), PX_PER_MM, PAGE).0, []);
}
