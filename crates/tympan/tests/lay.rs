//! Decks laid out afresh, rendered by poppler and turned over as the flip says: every card's back
//! must lie behind its own front, the right way up.

mod common;

use std::path::Path;

use common::{Tympan, pages};
use image::imageops::{flip_horizontal, flip_vertical, rotate180};
use image::{DynamicImage, Rgb, RgbImage};
use serde_json::Value;
use tympan_pdf::draw::{self, Meta};
use tympan_sheet::{Flip, Size};

/// Five pixels in a mm.
const DPI: f64 = 127.0;
const PX_PER_MM: f64 = DPI / 25.4;

/// A picture of 12 × 20 mm at 200 pixels per inch, with nothing in it that is the same upside down
/// or in a mirror, in colours of its own.
fn picture(number: u8) -> RgbImage {
    let (w, h) = (96, 160);
    let [a, b] = [40 + 17 * number, 230 - 13 * number];
    RgbImage::from_fn(w, h, |x, y| {
        let left = x < w / 3;
        let upper = y < h / 4;
        Rgb(match (left, upper) {
            (true, true) => [a, b, 20],
            (true, false) => [20, a, b],
            (false, true) => [b, 20, a],
            (false, false) => [a, a, b],
        })
    })
}

/// A deck of unlike cards whose backs are what one sees of the front through the card: then the
/// sheet turned over, seen in a mirror, is the sheet.
fn deck(folder: &Path, cards: u8, stands: &str) {
    let mut list = String::from("front,back,copies,name,standing\n");
    for number in 0..cards {
        let front = picture(number);
        let back = match stands {
            "head to head" => flip_horizontal(&front),
            _ => rotate180(&flip_horizontal(&front)),
        };
        front
            .save(folder.join(format!("{number}.png")))
            .expect("saved");
        back.save(folder.join(format!("{number}b.png")))
            .expect("saved");
        list.push_str(&format!(
            "{number}.png,{number}b.png,1,card {number},{stands}\n"
        ));
    }
    std::fs::write(folder.join("deck.csv"), list).expect("written");
}

/// The pages, each as large as its sheet to the pixel.
fn sheets(pdf: &Path, size: Size) -> Vec<RgbImage> {
    let px = |mm: f64| (mm * PX_PER_MM).round() as u32;
    let whole = |page: &DynamicImage| page.crop_imm(0, 0, px(size.w), px(size.h)).to_rgb8();
    pages(pdf, DPI).iter().map(whole).collect()
}

fn seen_through(back: &RgbImage, flip: Flip) -> RgbImage {
    match flip {
        Flip::Sideways => flip_horizontal(back),
        Flip::Endways => flip_vertical(back),
    }
}

/// The share of pixels that differ by more than smoothing at edges does.
fn unlike(a: &RgbImage, b: &RgbImage) -> f64 {
    assert_eq!(a.dimensions(), b.dimensions());
    let differs =
        |(a, b): (&Rgb<u8>, &Rgb<u8>)| a.0.iter().zip(b.0).any(|(&a, b)| a.abs_diff(b) > 60);
    let count = a
        .pixels()
        .zip(b.pixels())
        .filter(|&pair| differs(pair))
        .count();
    count as f64 / a.pixels().len() as f64
}

fn inked(page: &RgbImage) -> f64 {
    let is_inked = |pixel: &&Rgb<u8>| pixel.0.iter().any(|&v| v < 240);
    page.pixels().filter(is_inked).count() as f64 / page.pixels().len() as f64
}

#[test]
fn every_back_lies_behind_its_own_front_on_every_paper_flip_and_card() {
    for (paper, size) in [
        ("a4", Size::new(210.0, 297.0)),
        ("letter", Size::new(215.9, 279.4)),
    ] {
        for flip in [Flip::Sideways, Flip::Endways] {
            for stands in ["head to head", "head to foot"] {
                let tympan = Tympan::new();
                // A part-filled last sheet, and cards that may lie on their side.
                deck(&tympan.path(""), 7, stands);
                let card = "55x91.6667mm";
                let flip_word = flip.to_string();
                tympan.run(&[
                    "lay",
                    "deck.csv",
                    "-o",
                    "sheets.pdf",
                    "--card",
                    card,
                    "--paper",
                    paper,
                    "--flip",
                    &flip_word,
                    "--bleed",
                    "2mm",
                    "--gutter",
                    "5mm",
                    "--marks",
                    "none",
                ]);
                let pages = sheets(&tympan.path("sheets.pdf"), size);
                assert_eq!(pages.len() % 2, 0);
                for sheet in pages.chunks(2) {
                    let left = unlike(&sheet[0], &seen_through(&sheet[1], flip));
                    assert!(inked(&sheet[0]) > 0.05);
                    // Edges fall between pixels, and Letter is half a pixel wider than a whole number.
                    assert!(left < 0.01, "{paper} {flip} {stands}: {left} of the sheet");
                    let other = unlike(&sheet[0], &seen_through(&sheet[1], flip.other()));
                    assert!(
                        other > 0.02,
                        "the pictures cannot tell the flips apart: {other}"
                    );
                }
            }
        }
    }
}

#[test]
fn cards_come_from_old_sheets_with_their_own_backs() {
    let tympan = Tympan::new();
    let size = Size::new(210.0, 297.0);
    let pages = tympan_game::sheets::deck_sheets(size, Flip::Sideways);
    let file = draw::write(&pages, &Meta::new("Saltmarsh Ferry")).expect("a file");
    std::fs::write(tympan.path("deck.pdf"), file).expect("written");
    let said = tympan.run(&[
        "--json",
        "lay",
        "deck.pdf",
        "-o",
        "sheets.pdf",
        "--card",
        "poker",
        "--paper",
        "letter",
    ]);
    let laid: Value = serde_json::from_str(&said).expect("JSON");
    assert_eq!(laid["plan"]["cards"], 54);
    assert_eq!(laid["cards"].as_array().map(Vec::len), Some(54));
    assert_eq!(laid["cards"][9]["name"], "page 3 card 1");
    assert!(
        laid["cards"]
            .as_array()
            .expect("cards")
            .iter()
            .all(|card| card["two_sided"] == true)
    );
    let count: u64 = laid["piles"]
        .as_array()
        .expect("piles")
        .iter()
        .map(|pile| pile["count"].as_u64().expect("a number"))
        .sum();
    assert_eq!(count, 54);
}

#[test]
fn the_same_job_gives_the_same_bytes() {
    let tympan = Tympan::new();
    deck(&tympan.path(""), 3, "head to head");
    for output in ["one.pdf", "two.pdf"] {
        tympan.run(&[
            "lay", "deck.csv", "-o", output, "--card", "30x50mm", "--paper", "a4",
        ]);
    }
    let read = |name| std::fs::read(tympan.path(name)).expect("a file");
    assert!(read("one.pdf") == read("two.pdf"));
}

#[test]
fn a_set_up_s_error_is_gone_from_what_its_printer_makes_of_the_sheets() {
    let tympan = Tympan::new();
    let flip = Flip::Sideways;
    tympan.run(&[
        "setup",
        "new",
        "rear tray",
        "--paper",
        "a4",
        "--flip",
        "sideways",
    ]);
    for _ in 0..3 {
        tympan.run(&[
            "read",
            "--setup",
            "rear tray",
            "--ruler",
            "2mm low, 1mm left",
        ]);
    }
    let report = tympan.run(&["--json", "report", "--setup", "rear tray"]);
    let report: Value = serde_json::from_str(&report).expect("JSON");
    let shift = &report["steady_error"]["shift_mm"];
    let (x, y) = (
        shift["x"].as_f64().expect("x"),
        shift["y"].as_f64().expect("y"),
    );
    // What is left on the back is right from the front.
    assert!((x - 1.0).abs() < 0.2 && (y - 2.0).abs() < 0.2, "{shift}");
    deck(&tympan.path(""), 4, "head to head");
    tympan.run(&[
        "lay",
        "deck.csv",
        "-o",
        "sheets.pdf",
        "--card",
        "60x100mm",
        "--setup",
        "rear tray",
        "--marks",
        "none",
        "--gutter",
        "6mm",
    ]);
    let pages = sheets(&tympan.path("sheets.pdf"), Size::new(210.0, 297.0));
    // The printer puts everything on the back lower and to the left.
    let (w, h) = pages[1].dimensions();
    let (dx, dy) = (
        (x * PX_PER_MM).round() as u32,
        (y * PX_PER_MM).round() as u32,
    );
    let printed = RgbImage::from_fn(w, h, |px, py| {
        if px + dx < w && py >= dy {
            *pages[1].get_pixel(px + dx, py - dy)
        } else {
            Rgb([255; 3])
        }
    });
    let right = unlike(&pages[0], &seen_through(&printed, flip));
    let uncorrected = unlike(&pages[0], &seen_through(&pages[1], flip));
    assert!(right < 0.004, "{right}");
    assert!(uncorrected > 3.0 * right, "{uncorrected} against {right}");
}

#[test]
fn all_that_is_wrong_with_a_deck_is_told_at_once_by_the_card_s_name() {
    let tympan = Tympan::new();
    picture(1).save(tympan.path("good.png")).expect("saved");
    RgbImage::new(300, 300)
        .save(tympan.path("square.png"))
        .expect("saved");
    std::fs::write(tympan.path("broken.png"), b"not a picture").expect("written");
    let list = "front,back,name\ngood.png,square.png,Heron\ngone.png,,Otter\nbroken.png,,Mudflat\n\
                square.png,,Ferry\n";
    std::fs::write(tympan.path("deck.csv"), list).expect("written");
    let said = tympan.refused(&[
        "lay", "deck.csv", "-o", "x.pdf", "--card", "30x50mm", "--paper", "a4",
    ]);
    for part in [
        "Heron",
        "its back is 1.000 times",
        "gone.png",
        "broken.png",
        "Ferry",
        "--fit fill",
    ] {
        assert!(said.contains(part), "{said}");
    }
    assert!(!tympan.path("x.pdf").exists());
}

#[test]
fn a_card_larger_than_the_sheet_is_refused_with_its_name() {
    let tympan = Tympan::new();
    picture(1).save(tympan.path("map.png")).expect("saved");
    let said = tympan.refused(&[
        "lay",
        "map.png",
        "-o",
        "x.pdf",
        "--card",
        "300x500mm",
        "--paper",
        "a4",
    ]);
    assert!(
        said.contains("map") && said.contains("larger than the sheet"),
        "{said}"
    );
}

#[test]
fn without_a_paper_or_a_size_the_user_is_asked_for_it() {
    let tympan = Tympan::new();
    picture(1).save(tympan.path("a.png")).expect("saved");
    let said = tympan.refused(&["lay", "a.png", "-o", "x.pdf", "--card", "30x50mm"]);
    assert!(said.contains("--paper a4 or --paper letter"), "{said}");
}

#[test]
fn spoiled_cards_alone_are_laid_for_a_reprint() {
    let tympan = Tympan::new();
    deck(&tympan.path(""), 9, "head to head");
    let said = tympan.run(&[
        "--json",
        "lay",
        "deck.csv",
        "-o",
        "again.pdf",
        "--card",
        "30x50mm",
        "--paper",
        "a4",
        "--only",
        "card 3",
        "--only",
        "Card 7",
        "--only",
        "card 3",
    ]);
    let laid: Value = serde_json::from_str(&said).expect("JSON");
    assert_eq!(laid["plan"]["cards"], 3);
    assert_eq!(laid["cards"][0]["copies"], 2);
    let said = tympan.refused(&[
        "lay", "deck.csv", "-o", "x.pdf", "--card", "30x50mm", "--paper", "a4", "--only", "card 33",
    ]);
    assert!(said.contains("no card has this name"), "{said}");
}

/// The deck's backs are what one sees of the fronts through the cards: folded along its middle, a
/// sheet meets itself.
#[test]
fn a_fold_over_sheet_folds_every_back_onto_its_own_front() {
    let size = Size::new(210.0, 297.0);
    for stands in ["head to head", "head to foot"] {
        let tympan = Tympan::new();
        deck(&tympan.path(""), 7, stands);
        tympan.run(&[
            "lay",
            "deck.csv",
            "-o",
            "fold.pdf",
            "--card",
            "45x75mm",
            "--paper",
            "a4",
            "--fold-over",
            "--marks",
            "none",
        ]);
        let pages = sheets(&tympan.path("fold.pdf"), size);
        for page in &pages {
            assert!(inked(page) > 0.1);
            let across = unlike(page, &flip_horizontal(page));
            let along = unlike(page, &flip_vertical(page));
            let (folded, other) = (across.min(along), across.max(along));
            // Edges fall between pixels.
            assert!(folded < 0.01, "{stands}: {folded} of the sheet");
            assert!(
                other > 0.02,
                "the pictures cannot tell the folds apart: {other}"
            );
        }
    }
}

#[test]
fn witness_marks_lie_in_the_waste_of_both_sides_and_nowhere_else() {
    let tympan = Tympan::new();
    let size = Size::new(210.0, 297.0);
    tympan.run(&[
        "setup",
        "new",
        "rear tray",
        "--paper",
        "a4",
        "--flip",
        "sideways",
    ]);
    deck(&tympan.path(""), 9, "head to head");
    let lay = |output: &str, more: &[&str]| {
        let asked = [
            "lay",
            "deck.csv",
            "-o",
            output,
            "--card",
            "50x83.3333mm",
            "--setup",
            "rear tray",
            "--gutter",
            "0mm",
            "--marks",
            "none",
        ];
        tympan.run(&[&asked[..], more].concat());
        sheets(&tympan.path(output), size)
    };
    let (without, with) = (lay("plain.pdf", &[]), lay("marked.pdf", &["--witness"]));
    for (plain, marked) in without.iter().zip(&with) {
        let (mut marks, mut spoiled) = (0, 0);
        for (a, b) in plain.pixels().zip(marked.pixels()) {
            if a != b {
                marks += 1;
                // Where there was no paper, nothing may change.
                spoiled += usize::from(a.0.iter().any(|&v| v < 250));
            }
        }
        // A 3 mm mark has some 170 pixels.
        assert!(marks > 2000, "{marks}");
        assert_eq!(spoiled, 0);
    }
    let said = tympan.refused(&[
        "lay",
        "deck.csv",
        "-o",
        "x.pdf",
        "--card",
        "50x83.3333mm",
        "--paper",
        "a4",
        "--witness",
    ]);
    assert!(said.contains("--setup"), "{said}");
}

/// The box around what is inked: left, top, right, bottom, mm.
fn inked_box(page: &RgbImage) -> [f64; 4] {
    let inked = page
        .enumerate_pixels()
        .filter(|(.., p)| p.0.iter().any(|&v| v < 200));
    let [l, t, r, b] = inked.fold([u32::MAX, u32::MAX, 0, 0], |[l, t, r, b], (x, y, _)| {
        [l.min(x), t.min(y), r.max(x + 1), b.max(y + 1)]
    });
    [l, t, r, b].map(|px| f64::from(px) / PX_PER_MM)
}

fn is_close(found: [f64; 4], wanted: [f64; 4]) {
    let near = found.iter().zip(wanted).all(|(a, b)| (a - b).abs() < 0.25);
    assert!(near, "inked from {found:?}, not {wanted:?}");
}

#[test]
fn on_a_pre_cut_sheet_both_sides_are_put_right_against_its_edges() {
    let tympan = Tympan::new();
    deck(&tympan.path(""), 2, "head to head");
    let sheet = "name = \"Two up\"\nsheet = \"a4\"\n[[places]]\nshape = \"60x100mm\"\ncolumns = 2\n\
                 left = 20\ntop = \"30mm\"\npitch-x = 80\n";
    std::fs::write(tympan.path("two.toml"), sheet).expect("written");
    tympan.run(&["stock", "--keep-sheet", "two.toml"]);
    assert!(
        tympan
            .run(&["stock", "--sheets"])
            .contains("Two up: 2 places on a4")
    );
    let lay = |output: &str, seen: &[&str]| {
        let args = [
            "lay",
            "deck.csv",
            "-o",
            output,
            "--stock-sheet",
            "two UP",
            "--bleed",
            "0",
        ];
        tympan.run(&[&args[..], seen].concat());
        let pages = sheets(&tympan.path(output), Size::new(210.0, 297.0));
        (inked_box(&pages[0]), inked_box(&pages[1]))
    };
    // As it is: from the left edge of the front; on the back from the right edge.
    let (front, back) = lay("plain.pdf", &[]);
    is_close(front, [20.0, 30.0, 160.0, 130.0]);
    is_close(back, [50.0, 30.0, 190.0, 130.0]);
    // Print that sits low and to the left is moved up and to the right. The backs go along: on the
    // back that is to the left.
    let seen = ["--fronts-seen", "2mm low, 1mm left"];
    let (front, back) = lay("fronts.pdf", &seen);
    is_close(front, [21.0, 28.0, 161.0, 128.0]);
    is_close(back, [49.0, 28.0, 189.0, 128.0]);
    // Each by what is seen of it.
    let both = [&seen[..], &["--backs-seen", "1mm high, 3mm right"]].concat();
    let (front, back) = lay("both.pdf", &both);
    is_close(front, [21.0, 28.0, 161.0, 128.0]);
    is_close(back, [47.0, 31.0, 187.0, 131.0]);
    let error = tympan.refused(&[
        "lay",
        "deck.csv",
        "-o",
        "x.pdf",
        "--stock-sheet",
        "three up",
    ]);
    assert!(
        error.contains("no pre-cut sheet is called") && error.contains("Two up"),
        "{error}"
    );
}

#[test]
fn a_round_picture_goes_on_outwards_and_a_border_is_thickened() {
    let tympan = Tympan::new();
    // A dark disc of 30 mm on white at 254 pixels per inch.
    let disc = RgbImage::from_fn(300, 300, |x, y| {
        let off = (f64::from(x) - 149.5).hypot(f64::from(y) - 149.5);
        Rgb(if off < 150.0 {
            [30, 60, 90]
        } else {
            [255, 255, 255]
        })
    });
    disc.save(tympan.path("token.png")).expect("saved");
    for (by, reach) in [("mirror", 30.0), ("outwards", 36.0)] {
        let output = format!("{by}.pdf");
        tympan.run(&[
            "lay",
            "token.png",
            "-o",
            &output,
            "--card",
            "circle 30mm",
            "--paper",
            "a4",
            "--bleed",
            "3mm",
            "--bleed-by",
            by,
            "--marks",
            "none",
            "--cut",
            "around",
            "--margins",
            "0",
        ]);
        let page = &sheets(&tympan.path(&output), Size::new(210.0, 297.0))[0];
        let [l, t, r, b] = inked_box(page);
        // Halfway between up and right, where a square's mirror shows white.
        let (cx, cy) = ((l + r) / 2.0, (t + b) / 2.0);
        let at = |d: f64| {
            let px = |mm: f64| (mm * PX_PER_MM) as u32;
            let off = d / 2.0 * std::f64::consts::FRAC_1_SQRT_2;
            page.get_pixel(px(cx + off), px(cy - off)).0[0] < 128
        };
        assert!(at(29.0), "{by}: the disc itself");
        assert_eq!(at(35.0), reach > 35.0, "{by}");
    }
    let card = RgbImage::from_fn(315, 440, |x, y| {
        let edge = x.min(314 - x).min(y.min(439 - y));
        Rgb(if edge < 15 {
            [200, 30, 30]
        } else {
            [30, 30, 200]
        })
    });
    card.save(tympan.path("card.png")).expect("saved");
    tympan.run(&[
        "lay",
        "card.png",
        "-o",
        "border.pdf",
        "--card",
        "63x88mm",
        "--paper",
        "a4",
        "--marks",
        "none",
        "--thicken-border",
        "6mm",
    ]);
    let page = &sheets(&tympan.path("border.pdf"), Size::new(210.0, 297.0))[0];
    let [l, t, r, b] = inked_box(page);
    // The trim lies inside 3 mm of bleed; the border was 3 mm and is 6 mm now, all round.
    let red = |x: f64, y: f64| {
        page.get_pixel((x * PX_PER_MM) as u32, (y * PX_PER_MM) as u32)
            .0[0]
            > 128
    };
    let (cx, cy) = ((l + r) / 2.0, (t + b) / 2.0);
    for (x, y, is_red) in [
        (l + 8.0, cy, true),
        (l + 10.0, cy, false),
        (cx, t + 8.0, true),
        (r - 8.0, cy, true),
        (cx, b - 10.0, false),
    ] {
        assert_eq!(red(x, y), is_red, "at {x:.1}, {y:.1}");
    }
}

#[test]
fn crosses_for_a_cutting_machine_are_printed_where_the_cut_lines_have_them() {
    let tympan = Tympan::new();
    deck(&tympan.path(""), 4, "head to head");
    for (name, more, crosses) in [
        ("straight", &[][..], false),
        ("crossed", &["--crosses"][..], true),
        ("around", &["--cut", "around"][..], true),
    ] {
        let output = format!("{name}.pdf");
        let args = [
            "lay", "deck.csv", "-o", &output, "--card", "45x75mm", "--paper", "a4", "--marks",
            "none", "--gutter", "6mm", "--cuts", name,
        ];
        tympan.run(&[&args[..], more].concat());
        let pages = sheets(&tympan.path(&output), Size::new(210.0, 297.0));
        // A cross is two thin black strokes of 5 mm; the cards have no black.
        let black = |page: &RgbImage| {
            let is_dark = |p: &&Rgb<u8>| p.0.iter().all(|&v| v < 190) && p.0[0] == p.0[2];
            page.pixels().filter(is_dark).count()
        };
        let lines = std::fs::read_to_string(tympan.path(&format!("{name}/cut-lines-1.svg")));
        let svg = lines.expect("cut lines");
        assert_eq!(
            black(&pages[0]) > 60,
            crosses,
            "{name}: {}",
            black(&pages[0])
        );
        let (_, register) = svg.split_once("id=\"register\"").expect("a group");
        assert_eq!(register.contains("<path"), crosses, "{name}: {svg}");
    }
}

#[test]
fn old_crop_marks_in_the_bleed_are_dropped_on_request_and_bleed_is_made_anew() {
    let tympan = Tympan::new();
    // Six cards of 63 × 88 mm with 3 mm of bleed, and thick black crop marks that lie in it.
    let mut svg = String::from(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"210mm\" height=\"297mm\" viewBox=\"0 0 210 297\">",
    );
    for number in 0..6 {
        let (x, y) = (
            34.0 + 79.0 * f64::from(number % 2),
            8.0 + 96.0 * f64::from(number / 2),
        );
        let green = 120 + 20 * number;
        svg.push_str(&format!(
            "<rect x=\"{}\" y=\"{}\" width=\"69\" height=\"94\" fill=\"rgb(160,{green},60)\"/>\
             <circle cx=\"{}\" cy=\"{}\" r=\"{}\" fill=\"#eeeeaa\"/>",
            x - 3.0,
            y - 3.0,
            x + 31.5,
            y + 44.0,
            8 + 2 * number
        ));
        for (cx, out) in [(x, -1.0), (x + 63.0, 1.0)] {
            for cy in [y, y + 88.0] {
                svg.push_str(&format!(
                    "<path d=\"M{} {cy} h{}\" stroke=\"black\" stroke-width=\"0.8\"/>",
                    cx + 0.8 * out,
                    5.0 * out
                ));
            }
        }
    }
    svg.push_str("</svg>");
    std::fs::write(tympan.path("old.svg"), svg).expect("written");
    common::tool(
        "rsvg-convert",
        "librsvg2-bin",
        &[
            "-f",
            "pdf",
            "-o",
            tympan.path("old.pdf").to_str().expect("a plain path"),
            tympan.path("old.svg").to_str().expect("a plain path"),
        ],
    );
    let black = |page: &RgbImage| {
        let is_black = |p: &&Rgb<u8>| p.0.iter().all(|&v| v < 60);
        page.pixels().filter(is_black).count()
    };
    for (name, more, marks_are_left) in [
        ("kept.pdf", &[][..], true),
        ("dropped.pdf", &["--drop-bleed"][..], false),
    ] {
        let args = [
            "lay",
            "old.pdf",
            "-o",
            name,
            "--card",
            "63x88mm",
            "--paper",
            "a4",
            "--marks",
            "none",
            "--gutter",
            "6mm",
            "--bleed",
            "3mm",
            "--one-sided",
        ];
        tympan.run(&[&args[..], more].concat());
        let page = &sheets(&tympan.path(name), Size::new(210.0, 297.0))[0];
        assert_eq!(black(page) > 100, marks_are_left, "{name}: {}", black(page));
        // Each card has its bleed around it either way.
        let share = inked(page);
        let wanted = 6.0 * 69.0 * 94.0 / (210.0 * 297.0);
        assert!((share - wanted).abs() < 0.01, "{name}: {share} of {wanted}");
    }
}

#[test]
fn what_must_stay_clear_of_the_cut_counts_among_the_rejects() {
    let tympan = Tympan::new();
    deck(&tympan.path(""), 9, "head to head");
    let rejects = |more: &[&str]| {
        let args = [
            "--json", "lay", "deck.csv", "--card", "45x75mm", "--paper", "a4", "--bleed", "3mm",
            "--gutter", "6mm", "--show",
        ];
        let said = tympan.run(&[&args[..], more].concat());
        let said: Value = serde_json::from_str(&said).expect("JSON");
        said["plans"][0]["expected_rejects"]
            .as_f64()
            .expect("a number")
    };
    let (easy, tight, tighter) = (
        rejects(&[]),
        rejects(&["--safe", "0.6mm"]),
        rejects(&["--safe", "0.3mm"]),
    );
    assert!(
        easy < tight && tight < tighter,
        "{easy}, {tight}, {tighter}"
    );
    assert!(tighter < 9.0);
}
