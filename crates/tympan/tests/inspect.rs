//! What `inspect` says: its words and its JSON, kept as snapshots. Review changes with
//! `cargo insta review`, or write them with `INSTA_UPDATE=always`.

mod common;

use common::Tympan;
use serde_json::Value;
use tympan_pdf::draw::{self, Meta};
use tympan_sheet::drawing::{Colour, Drawing, Item, Path as Outline, Stroke};
use tympan_sheet::{Flip, Size};

const A4: Size = Size::new(210.0, 297.0);
const POKER: Size = Size::new(63.5, 88.9);
/// Between cards, both ways, mm.
const GUTTER: f64 = 6.0;

/// How the cards of these files look, and where they lie.
#[derive(Clone, Copy)]
struct Deck {
    /// From the middle of the sheet to the middle of the block, on fronts, mm.
    off: (f64, f64),
    /// What the file itself does to its backs, as seen on their pages, mm.
    error: (f64, f64),
    flip: Flip,
    /// Beyond the cut, mm.
    bleed: f64,
    /// A plain border within the cut, mm.
    border: f64,
    marks: bool,
}

impl Deck {
    /// Two by two poker cards in the middle of A4, with marks and 3 mm of bleed: nothing is wrong.
    fn right() -> Self {
        Self {
            off: (0.0, 0.0),
            error: (0.0, 0.0),
            flip: Flip::Sideways,
            bleed: 3.0,
            border: 0.0,
            marks: true,
        }
    }

    /// The top left corners of the cards on a page.
    fn corners(&self, back: bool) -> Vec<(f64, f64)> {
        let block = (2.0 * POKER.w + GUTTER, 2.0 * POKER.h + GUTTER);
        let (mut dx, mut dy) = self.off;
        if back {
            match self.flip {
                Flip::Sideways => dx = -dx,
                Flip::Endways => dy = -dy,
            }
            dx += self.error.0;
            dy += self.error.1;
        }
        let (x, y) = ((A4.w - block.0) / 2.0 + dx, (A4.h - block.1) / 2.0 + dy);
        let step = |i: u8, size: f64| f64::from(i) * (size + GUTTER);
        (0..4_u8)
            .map(|i| (x + step(i % 2, POKER.w), y + step(i / 2, POKER.h)))
            .collect()
    }

    fn page(&self, back: bool, number: u8) -> Drawing {
        let mut page = Drawing::new(A4);
        for (i, (x, y)) in self.corners(back).into_iter().enumerate() {
            let tone = 0.45 + 0.05 * i as f32 + 0.02 * f32::from(number);
            let ground = match back {
                false => Colour::Rgb(0.8, tone, 0.4),
                true => Colour::Rgb(0.3, 0.5, 0.6),
            };
            let (w, h, b) = (POKER.w, POKER.h, self.bleed);
            let around = Outline::rect(x - b, y - b, w + 2.0 * b, h + 2.0 * b);
            if self.border > 0.0 {
                let m = self.border;
                page.fill(around, Colour::Rgb(0.93, 0.9, 0.82));
                page.fill(
                    Outline::rect(x + m, y + m, w - 2.0 * m, h - 2.0 * m),
                    ground,
                );
            } else {
                page.fill(around, ground);
            }
            let spot = if back {
                (w / 2.0, h / 2.0)
            } else {
                (12.0 + 4.0 * i as f64, 30.0)
            };
            let disc = Outline::circle(x + spot.0, y + spot.1, 8.0);
            page.fill(disc, Colour::Rgb(0.95, 0.9, 0.7));
            if self.marks {
                for (cx, cy, sx, sy) in [
                    (x, y, -1.0, -1.0),
                    (x + w, y, 1.0, -1.0),
                    (x, y + h, -1.0, 1.0),
                    (x + w, y + h, 1.0, 1.0),
                ] {
                    let (near, far) = (b + 0.5, b + 3.0);
                    let line = Stroke::solid(Colour::BLACK, 0.2);
                    // Only around the block: between the cards there is no room for them.
                    let outer_y = (i < 2) == (sy < 0.0);
                    let outer_x = (i % 2 == 0) == (sx < 0.0);
                    if outer_y {
                        let mark = Outline::line(cx, cy + sy * near, cx, cy + sy * far);
                        page.stroke(mark, line.clone());
                    }
                    if outer_x {
                        let mark = Outline::line(cx + sx * near, cy, cx + sx * far, cy);
                        page.stroke(mark, line.clone());
                    }
                }
            }
        }
        page
    }

    fn write(&self, tympan: &Tympan, name: &str) {
        let pages: Vec<Drawing> = (0..2)
            .flat_map(|sheet| [self.page(false, sheet), self.page(true, sheet)])
            .collect();
        write(tympan, name, &pages);
    }
}

fn write(tympan: &Tympan, name: &str, pages: &[Drawing]) {
    let file = draw::write(pages, &Meta::new("Saltmarsh Ferry")).expect("a file");
    std::fs::write(tympan.path(name), file).expect("written");
}

/// The program with a set-up of three readings.
fn with_set_up(flip: &str) -> Tympan {
    let tympan = Tympan::new();
    tympan.run(&["setup", "new", "rear tray", "--paper", "a4", "--flip", flip]);
    for reading in ["2mm low", "2.6mm low, 0.5mm left", "1.5mm low, 0.4mm right"] {
        tympan.run(&["read", "--setup", "rear tray", "--ruler", reading]);
    }
    tympan
}

fn json(tympan: &Tympan, args: &[&str]) -> Value {
    let said = tympan.run(&[&["inspect", "--json"], args].concat());
    serde_json::from_str(&said).expect("JSON")
}

/// With numbers that do not hang on the last bits of the machine's arithmetic.
fn rounded(value: Value) -> Value {
    match value {
        Value::Number(n) if n.is_f64() => {
            let thousandths = (n.as_f64().unwrap_or(f64::NAN) * 1000.0).round();
            // No minus before nothing.
            Value::from(thousandths / 1000.0 + 0.0)
        }
        Value::Array(all) => all.into_iter().map(rounded).collect(),
        Value::Object(all) => all.into_iter().map(|(k, v)| (k, rounded(v))).collect(),
        other => other,
    }
}

fn fault<'a>(said: &'a Value, code: &str) -> Option<&'a Value> {
    let faults = said["faults"].as_array().expect("faults");
    faults.iter().find(|fault| fault["code"] == code)
}

#[test]
fn a_file_that_is_right_is_said_to_be_right() {
    let tympan = Tympan::new();
    let deck = Deck {
        off: (7.0, -4.0),
        ..Deck::right()
    };
    deck.write(&tympan, "game.pdf");
    insta::assert_snapshot!(tympan.run(&["inspect", "game.pdf"]));
    insta::assert_json_snapshot!(rounded(json(&tympan, &["game.pdf"])));
}

#[test]
fn a_crooked_file_is_said_to_be_crooked() {
    let tympan = Tympan::new();
    let deck = Deck {
        off: (9.0, 5.0),
        error: (1.3, -0.4),
        ..Deck::right()
    };
    deck.write(&tympan, "game.pdf");
    insta::assert_snapshot!(tympan.run(&["inspect", "game.pdf"]));
}

/// The block lies in the middle, so that the file fits either flip as well; its error is not the
/// same on both.
#[test]
fn where_either_flip_fits_the_error_is_said_for_both() {
    let tympan = with_set_up("endways");
    let deck = Deck {
        error: (0.9, 0.6),
        ..Deck::right()
    };
    deck.write(&tympan, "game.pdf");
    insta::assert_snapshot!(tympan.run(&["inspect", "game.pdf"]));
    let said = json(&tympan, &["game.pdf"]);
    let pair = &said["pairs"][0];
    assert!(pair["flip"].is_null(), "{pair}");
    assert_eq!(pair["flip_taken"], "sideways");
    assert_eq!(pair["otherwise"]["flip"], "endways");
    let close = |error: &Value, x: f64, y: f64| {
        let shift = &error["shift_mm"];
        let is = |v: &Value, to: f64| (v.as_f64().expect("mm") - to).abs() < 0.01;
        assert!(is(&shift["x"], x) && is(&shift["y"], y), "{shift}");
    };
    // Right and low on the back's page; turned over, one of the two is mirrored.
    close(&pair["file_error"], -0.9, 0.6);
    close(&pair["otherwise"]["file_error"], 0.9, -0.6);
    // A set-up says how its sheets are flipped.
    let said = json(&tympan, &["game.pdf", "--setup", "rear tray"]);
    let pair = &said["pairs"][0];
    assert_eq!(pair["flip_taken"], "endways");
    close(&pair["file_error"], 0.9, -0.6);
    assert!(fault(&said, "other-flip").is_none(), "{said}");
}

#[test]
fn a_file_for_the_other_flip_than_the_set_up_s_is_a_fault() {
    let tympan = with_set_up("endways");
    let deck = Deck {
        off: (9.0, 0.0),
        ..Deck::right()
    };
    deck.write(&tympan, "game.pdf");
    let said = json(&tympan, &["game.pdf", "--setup", "rear tray"]);
    insta::assert_json_snapshot!(fault(&said, "other-flip"));
    assert!(fault(&json(&tympan, &["game.pdf"]), "other-flip").is_none());
}

#[test]
fn borders_are_judged_by_common_practice_and_by_the_set_up_s_readings() {
    let tympan = with_set_up("sideways");
    let said = |border: f64, args: &[&str]| {
        let deck = Deck {
            border,
            ..Deck::right()
        };
        deck.write(&tympan, "game.pdf");
        let said = json(&tympan, &[&["game.pdf"], args].concat());
        fault(&said, "thin-border").map(|fault| {
            format!(
                "{}: {}\n{}",
                fault["severity"].as_str().expect("a word"),
                fault["message"].as_str().expect("words"),
                fault["hint"].as_str().expect("words"),
            )
        })
    };
    let of = ["--setup", "rear tray"];
    let both = |border| {
        let none = || "nothing".to_owned();
        format!(
            "{border} mm\nalone: {}\non the set-up: {}\n",
            said(border, &[]).unwrap_or_else(none),
            said(border, &of).unwrap_or_else(none),
        )
    };
    insta::assert_snapshot!([1.5, 3.0, 6.0].map(both).join("\n"));
}

#[test]
fn a_fault_of_the_backs_file_is_said_to_be_there() {
    let tympan = Tympan::new();
    let fronts = Deck::right();
    let backs = Deck {
        bleed: 0.0,
        ..Deck::right()
    };
    write(
        &tympan,
        "fronts.pdf",
        &[fronts.page(false, 0), fronts.page(false, 1)],
    );
    write(
        &tympan,
        "backs.pdf",
        &[backs.page(true, 0), backs.page(true, 1)],
    );
    let said = json(&tympan, &["fronts.pdf", "backs.pdf"]);
    let found = fault(&said, "no-bleed").expect("a fault");
    assert_eq!(found["back_file"], true, "{found}");
    assert_eq!(found["pages"], serde_json::json!([1, 2]));
    assert_eq!(said["way"], "separate-files");
    let words = tympan.run(&["inspect", "fronts.pdf", "backs.pdf"]);
    assert!(
        words.contains("Mind, pages 1, 2 of the backs' file: the pictures end at the cut"),
        "{words}"
    );
}

#[test]
fn marks_that_lie_off_the_pictures_are_a_fault() {
    let tympan = Tympan::new();
    let right = Deck::right();
    let off = Deck {
        off: (1.2, 0.0),
        marks: false,
        ..right
    };
    // The pictures moved, the marks left where they were.
    let mut page = off.page(false, 0);
    let lines = right.page(false, 0);
    let is_line = |item: &Item| {
        matches!(
            item,
            Item::Shape {
                stroke: Some(_),
                ..
            }
        )
    };
    page.items.extend(lines.items.into_iter().filter(is_line));
    write(&tympan, "game.pdf", &[page]);
    let said = json(&tympan, &["game.pdf"]);
    insta::assert_json_snapshot!(fault(&said, "marks-off"));
    right.write(&tympan, "right.pdf");
    assert!(fault(&json(&tympan, &["right.pdf"]), "marks-off").is_none());
}

#[test]
fn a_file_that_was_corrected_is_not_called_crooked() {
    let tympan = Tympan::new();
    Deck::right().write(&tympan, "game.pdf");
    let seen = ["--seen", "2mm low, 0.4mm left"];
    tympan.run(&[["correct", "game.pdf", "-o", "right.pdf"].as_slice(), &seen].concat());
    let said = json(&tympan, &["right.pdf"]);
    assert!(fault(&said, "file-error").is_none());
    let note = fault(&said, "corrected-before").expect("a note");
    assert_eq!(note["severity"], "note");
    // Backs that are printed low are moved up.
    let message = note["message"].as_str().expect("words");
    assert!(
        message.contains("0.4 mm left and 2.0 mm higher"),
        "{message}"
    );
    assert!(fault(&json(&tympan, &["game.pdf"]), "corrected-before").is_none());
}

#[test]
fn pairs_that_are_named_are_taken() {
    let tympan = Tympan::new();
    let deck = Deck::right();
    let pages: Vec<Drawing> = (0..2)
        .map(|sheet| deck.page(false, sheet))
        .chain((0..2).map(|sheet| deck.page(true, sheet)))
        .collect();
    write(&tympan, "game.pdf", &pages);
    let pairs = |args: &[&str]| -> Vec<(u64, u64)> {
        let said = json(&tympan, &[&["game.pdf"], args].concat());
        let pairs = said["pairs"].as_array().expect("pairs");
        let page = |value: &Value| value.as_u64().expect("a page");
        pairs
            .iter()
            .map(|p| (page(&p["front"]), page(&p["back"])))
            .collect()
    };
    assert_eq!(pairs(&[]), [(1, 3), (2, 4)]);
    assert_eq!(pairs(&["--pairs", "backs-reversed"]), [(1, 4), (2, 3)]);
    assert_eq!(pairs(&["--pairs", "alternating"]), [(1, 2), (3, 4)]);
    assert_eq!(pairs(&["--pairs", "1-4,2-4"]), [(1, 4), (2, 4)]);
    assert_eq!(pairs(&["--pairs", "one-sided"]), []);
}
