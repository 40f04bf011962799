//! A file that is crooked in itself: what `inspect` says of it, and what `correct --and-file` makes
//! of it. Corrected files are rendered by poppler, the back turned over as the flip says, and every
//! dot of the front looked for behind itself.

mod common;

use std::path::Path;

use common::{Tympan, dots, pages};
use image::imageops::{flip_horizontal, flip_vertical};
use image::{DynamicImage, RgbImage};
use tympan_pdf::draw::{self, Meta};
use tympan_sheet::drawing::{Colour, Drawing, Path as Outline};
use tympan_sheet::{Affine, Angle, Flip, Page, Point, Size, Vector};

const A4: Size = Size::new(210.0, 297.0);
const CARD: Size = Size::new(57.0, 87.0);
/// Five pixels in a mm, so that the page is a whole number of them and turns over exactly.
const DPI: f64 = 127.0;

/// Cards of one colour in three columns and rows, a little off the sheet's middle, with dots to
/// measure by. On the back they lie where they belong behind the front.
fn side(back: Option<Flip>) -> Drawing {
    let mut page = Drawing::new(A4);
    for (i, j) in (0..3).flat_map(|i| (0..3).map(move |j| (i, j))) {
        let (x, y) = (12.0 + 61.0 * f64::from(i), 9.0 + 91.0 * f64::from(j));
        let place = |x: f64, y: f64| match back {
            None => (x, y),
            Some(Flip::Sideways) => (A4.w - x, y),
            Some(Flip::Endways) => (x, A4.h - y),
        };
        let (a, b) = (place(x, y), place(x + CARD.w, y + CARD.h));
        let tone = 0.55 + 0.04 * (3.0 * f64::from(i) + f64::from(j)) as f32;
        let colour = match back {
            None => Colour::Rgb(0.85, tone, 0.5),
            Some(_) => Colour::Rgb(0.45, 0.6, 0.8),
        };
        let card = Outline::rect(a.0.min(b.0), a.1.min(b.1), CARD.w, CARD.h);
        page.fill(card, colour);
        for (dx, dy) in [(10.0, 12.0), (47.0, 30.0), (20.0, 75.0)] {
            let (x, y) = place(x + dx, y + dy);
            page.fill(Outline::circle(x, y, 3.2), Colour::WHITE);
            page.fill(Outline::circle(x, y, 1.5), Colour::BLACK);
        }
    }
    page
}

/// What a careless layout did to the backs, as seen on their page.
fn crooked(tilt: f64) -> Affine<Page> {
    Affine::tilt(Angle::degrees(tilt), A4.centre()).then(&Affine::shift(Vector::new(1.2, -0.7)))
}

fn game(pdf: &Path, flip: Flip, tilt: f64) {
    let mut back = Drawing::new(A4);
    back.place(crooked(tilt), None, side(Some(flip)).items);
    let file = draw::write(&[side(None), back], &Meta::new("A crooked sheet")).expect("a file");
    std::fs::write(pdf, file).expect("written");
}

/// From each dot of the front to the nearest one of the back as it lies behind it, mm.
fn apart(pdf: &Path, flip: Flip) -> Vec<Vector<Page>> {
    let px_per_mm = DPI / 25.4;
    // Poppler adds a pixel where a page is a hair wider than a whole number of them.
    let px = |mm: f64| (mm * px_per_mm).round() as u32;
    let picture = |page: &DynamicImage| page.crop_imm(0, 0, px(A4.w), px(A4.h)).to_rgb8();
    let pages: Vec<RgbImage> = pages(pdf, DPI).iter().map(picture).collect();
    let back = match flip {
        Flip::Sideways => flip_horizontal(&pages[1]),
        Flip::Endways => flip_vertical(&pages[1]),
    };
    let points = |picture, channel| -> Vec<Point<Page>> {
        let found = dots(picture, channel, px_per_mm);
        found.into_iter().map(|(x, y)| Point::new(x, y)).collect()
    };
    let (fronts, backs) = (points(&pages[0], 0), points(&back, 0));
    assert_eq!((fronts.len(), backs.len()), (27, 27));
    fronts
        .iter()
        .map(|front| {
            let off = backs.iter().map(|back| *back - *front);
            off.min_by(|a, b| a.length().total_cmp(&b.length()))
                .expect("a back")
        })
        .collect()
}

fn largest(apart: &[Vector<Page>]) -> f64 {
    apart.iter().map(|v| v.length()).fold(0.0, f64::max)
}

#[test]
fn a_crooked_file_is_straight_after_its_own_error_is_taken_out() {
    for (flip, tilt) in [
        (Flip::Sideways, 0.0),
        (Flip::Sideways, 0.3),
        (Flip::Endways, 0.3),
    ] {
        let tympan = Tympan::new();
        let (before, after) = (tympan.path("game.pdf"), tympan.path("right.pdf"));
        game(&before, flip, tilt);
        assert!(largest(&apart(&before, flip)) > 1.3, "{flip} {tilt}");
        let flip_word = flip.to_string();
        let args = ["correct", "game.pdf", "-o", "right.pdf", "--and-file"];
        tympan.run(&[&args[..], &["--flip", &flip_word]].concat());
        let left = largest(&apart(&after, flip));
        assert!(left < 0.05, "{flip} {tilt}: {left} mm");
    }
}

/// The printer's part is done besides: what is left is what was asked for, and no more.
#[test]
fn a_move_of_the_backs_comes_on_top_of_the_file_s_own_error() {
    let tympan = Tympan::new();
    game(&tympan.path("game.pdf"), Flip::Sideways, 0.3);
    let args = ["correct", "game.pdf", "-o", "right.pdf", "--and-file"];
    tympan.run(&[&args[..], &["--move", "2mm up, 0.5mm right"]].concat());
    for off in apart(&tympan.path("right.pdf"), Flip::Sideways) {
        // Right on the back is left from the front.
        let rest = off - Vector::new(-0.5, -2.0);
        assert!(rest.length() < 0.05, "{off:?}");
    }
}

#[test]
fn a_straight_file_is_left_as_it_is() {
    let tympan = Tympan::new();
    let pages = [side(None), side(Some(Flip::Sideways))];
    let file = draw::write(&pages, &Meta::new("A straight sheet")).expect("a file");
    std::fs::write(tympan.path("game.pdf"), file).expect("written");
    tympan.run(&["correct", "game.pdf", "-o", "right.pdf", "--and-file"]);
    let (before, after) = (tympan.path("game.pdf"), tympan.path("right.pdf"));
    let moved = largest(&apart(&after, Flip::Sideways));
    assert!((moved - largest(&apart(&before, Flip::Sideways))).abs() < 0.005);
}

#[test]
fn a_file_without_cards_is_refused() {
    let tympan = Tympan::new();
    let mut page = Drawing::new(A4);
    page.fill(Outline::circle(60.0, 60.0, 20.0), Colour::BLACK);
    let file = draw::write(&[page.clone(), page], &Meta::new("No cards")).expect("a file");
    std::fs::write(tympan.path("game.pdf"), file).expect("written");
    let said = tympan.refused(&["correct", "game.pdf", "-o", "right.pdf", "--and-file"]);
    assert!(said.contains("can be laid on each other"), "{said}");
}

/// What the readings and `--seen` say comes on top of the file's own error as well.
#[test]
fn the_printer_s_error_is_taken_out_besides_the_file_s_own() {
    let tympan = Tympan::new();
    game(&tympan.path("game.pdf"), Flip::Sideways, 0.3);
    let new = [
        "setup",
        "new",
        "rear tray",
        "--paper",
        "a4",
        "--flip",
        "sideways",
    ];
    tympan.run(&new);
    let read = [
        "read",
        "--setup",
        "rear tray",
        "--ruler",
        "2mm low, 0.5mm left",
    ];
    for _ in 0..3 {
        tympan.run(&read);
    }
    let out = ["correct", "game.pdf", "--and-file", "-o"];
    tympan.run(&[&out[..], &["seen.pdf", "--seen", "2mm low, 0.5mm left"]].concat());
    tympan.run(&[&out[..], &["read.pdf", "--setup", "rear tray"]].concat());
    // What lies 2 mm low and 0.5 mm left on the back is moved up and to the right: to the left as
    // seen from the front.
    for off in apart(&tympan.path("seen.pdf"), Flip::Sideways) {
        let rest = off - Vector::new(-0.5, -2.0);
        assert!(rest.length() < 0.05, "seen: {off:?}");
    }
    // Readings with a ruler are drawn a little towards nothing.
    for off in apart(&tympan.path("read.pdf"), Flip::Sideways) {
        let rest = off - Vector::new(-0.5, -2.0);
        assert!(rest.length() < 0.1, "read: {off:?}");
    }
}

#[test]
fn inspect_tells_cells_pairs_and_the_file_s_own_error() {
    let tympan = Tympan::new();
    game(&tympan.path("game.pdf"), Flip::Sideways, 0.0);
    let said = tympan.run(&["inspect", "game.pdf"]);
    for part in [
        "9 cards on 1 sheet",
        "3 × 3 cells of 57.0 × 87.0 mm",
        // Seen from the front, what was moved right on the back is moved left.
        "1.2 mm left and 0.7 mm higher than its fronts",
        "--and-file",
        "What to do: ",
    ] {
        assert!(said.contains(part), "no {part:?} in {said}");
    }
    let json: serde_json::Value =
        serde_json::from_str(&tympan.run(&["inspect", "game.pdf", "--json"])).expect("JSON");
    assert_eq!(json["schema"], 1);
    let pages = json["pages"].as_array().expect("pages");
    let roles: Vec<&str> = pages
        .iter()
        .filter_map(|page| page["role"].as_str())
        .collect();
    assert_eq!(roles, ["front", "back"]);
    let grid = &pages[0]["grid"];
    assert_eq!((&grid["columns"], &grid["rows"]), (&3.into(), &3.into()));
    let close = |value: &serde_json::Value, to: f64| {
        let value = value.as_f64().expect("a number");
        assert!((value - to).abs() < 0.02, "{value} is not {to}");
    };
    for (name, x, y) in [
        ("trim_mm", CARD.w, CARD.h),
        ("pitch_mm", 61.0, 91.0),
        ("origin_mm", 12.0, 9.0),
    ] {
        close(&grid[name]["x"], x);
        close(&grid[name]["y"], y);
    }
    let pair = &json["pairs"][0];
    assert_eq!((&pair["front"], &pair["back"]), (&1.into(), &2.into()));
    close(&pair["file_error"]["shift_mm"]["x"], -1.2);
    close(&pair["file_error"]["shift_mm"]["y"], -0.7);
    close(&pair["file_error"]["tilt_deg"], 0.0);
    let faults = json["faults"].as_array().expect("faults");
    assert!(faults.iter().any(|fault| fault["code"] == "file-error"));
    for fault in faults {
        for part in ["code", "severity", "message", "hint"] {
            assert!(fault[part].is_string(), "{fault}");
        }
    }
}

#[test]
fn inspect_judges_bleed_by_the_set_up_s_readings() {
    let tympan = Tympan::new();
    game(&tympan.path("game.pdf"), Flip::Sideways, 0.0);
    let new = [
        "setup",
        "new",
        "rear tray",
        "--paper",
        "letter",
        "--flip",
        "sideways",
    ];
    tympan.run(&new);
    for reading in ["2mm low", "5mm low, 3mm left", "1mm high, 3mm right"] {
        tympan.run(&["read", "--setup", "rear tray", "--ruler", reading]);
    }
    let faults = |args: &[&str]| -> Vec<serde_json::Value> {
        let said = tympan.run(&[&["inspect", "game.pdf", "--json"], args].concat());
        let json: serde_json::Value = serde_json::from_str(&said).expect("JSON");
        json["faults"].as_array().expect("faults").clone()
    };
    let of = |faults: &[serde_json::Value], code: &str| -> Option<String> {
        let fault = faults.iter().find(|fault| fault["code"] == code)?;
        Some(format!("{} {}", fault["message"], fault["hint"]))
    };
    let (alone, with) = (faults(&[]), faults(&["--setup", "rear tray"]));
    let (usual, own) = (of(&alone, "no-bleed"), of(&with, "no-bleed"));
    assert!(usual.is_some() && own.is_some(), "{alone:?} {with:?}");
    assert_ne!(usual, own, "the set-up's own need is not said");
    // The set-up's paper is not the file's.
    assert!(of(&alone, "paper-size").is_none() && of(&with, "paper-size").is_some());
}

#[test]
fn inspect_refuses_what_it_cannot_look_at() {
    let tympan = Tympan::new();
    game(&tympan.path("game.pdf"), Flip::Sideways, 0.0);
    std::fs::write(tympan.path("notes.pdf"), "a shopping list").expect("written");
    for (args, what) in [
        (&["notes.pdf"][..], "notes.pdf"),
        (&["nothing.pdf"], "nothing.pdf"),
        (&["game.pdf", "--pairs", "1-9"], "there is no page 9"),
        (&["game.pdf", "--setup", "no such"], "no such"),
    ] {
        let said = tympan.refused(&[&["inspect"], args].concat());
        assert!(said.contains(what), "{said:?} does not say {what:?}");
    }
    let output = tympan.output(&["inspect", "game.pdf", "--pairs", "some"]);
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(2), "{said}");
    assert!(said.contains("names no pairs"), "{said}");
}
