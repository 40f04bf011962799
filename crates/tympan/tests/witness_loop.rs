//! A laid production sheet read by its witness marks: cards are laid on sheets, a simulated printer
//! prints one, it is scanned before it is cut, and `read` logs what the scans say. The next run is
//! corrected by that, and its sheets say the same of the printer.
//!
//! The truth is the simulator's own; nothing here knows where the marks are.

mod common;

use std::path::Path;
use std::sync::Arc;

use common::{Tympan, pages};
use image::{Rgb, RgbImage};
use serde_json::Value;
use tympan_sheet::{Flip, Point, Side, Size};
use tympan_sim::{OnBed, Page, PrintedSheet, Printer, Scanner};

const A4: Size = Size::new(210.0, 297.0);
const DPI: f64 = 300.0;

/// Nine cards in colours, each with a back.
fn deck(folder: &Path) {
    let mut list = String::from("front,back\n");
    for number in 0..9_u8 {
        let colour = |side: u8| Rgb([90 + 15 * number, 200 - 12 * number, 60 + 90 * side]);
        for side in 0..2 {
            let picture = RgbImage::from_pixel(250, 350, colour(side));
            picture
                .save(folder.join(format!("{number}{side}.png")))
                .expect("saved");
        }
        list.push_str(&format!("{number}0.png,{number}1.png\n"));
    }
    std::fs::write(folder.join("deck.csv"), list).expect("written");
}

/// The first sheet of a file as the printer prints it.
fn printed(printer: &Printer, pdf: &Path, index: u64) -> PrintedSheet {
    let rendered = pages(pdf, DPI);
    assert_eq!(rendered.len(), 2, "one sheet");
    let raster = |page| Arc::new(Page::at_dpi(page, DPI));
    printer.print(index, &raster(&rendered[0]), &raster(&rendered[1]))
}

/// Scans both sides and reads them; what is said of the sheet.
fn read(tympan: &Tympan, sheet: &PrintedSheet, seed: u64) -> Value {
    let scanner = Scanner {
        colour: false,
        ..Scanner::usual(seed, DPI)
    };
    let files = Side::BOTH.map(|side| {
        let name = format!("{seed}-{side}.png");
        let lie = OnBed::by_hand(seed + side as u64);
        let scan = scanner.scan(sheet, side, &lie).image;
        scan.save(tympan.path(&name)).expect("a picture");
        name
    });
    let said = tympan.run(&["--json", "read", "--setup", "p", &files[0], &files[1]]);
    let said: Value = serde_json::from_str(&said).expect("JSON");
    said["sheets"][0].clone()
}

/// The register error that was read at the sheet's middle is that of the printer.
fn is_true(said: &Value, sheet: &PrintedSheet) {
    let truth = sheet.register_error(Point::new(A4.w / 2.0, A4.h / 2.0));
    let shift = &said["field"]["shift_mm"];
    let number = |axis: &str| {
        shift[axis]
            .as_f64()
            .unwrap_or_else(|| panic!("a shift, in {said}"))
    };
    let (x, y) = (number("x"), number("y"));
    assert!(
        truth.length() > 0.5,
        "a printer without a fault proves nothing"
    );
    let off = (x - truth.x).hypot(y - truth.y);
    assert!(
        off < 0.15,
        "({x:.3}, {y:.3}) was read of ({:.3}, {:.3})",
        truth.x,
        truth.y
    );
}

fn run(flip: Flip, seed: u64) {
    let tympan = Tympan::new();
    let word = flip.to_string();
    tympan.run(&["setup", "new", "p", "--paper", "a4", "--flip", &word]);
    deck(&tympan.path(""));
    let lay = |output: &str| {
        tympan.run(&[
            "lay",
            "deck.csv",
            "-o",
            output,
            "--card",
            "50x70mm",
            "--setup",
            "p",
            "--gutter",
            "0",
            "--witness",
        ]);
        tympan.path(output)
    };
    let mut printer = Printer::faulty(seed, A4, flip).steady();
    printer.fronts.bend = [0.0; 2];
    printer.backs.bend = [0.0; 2];
    // The first run knows nothing of the printer.
    let sheet = printed(&printer, &lay("first.pdf"), 1);
    let said = read(&tympan, &sheet, seed);
    is_true(&said, &sheet);
    assert_eq!(said["sheet"], 1, "{said}");
    // The second is corrected; what is read is the printer all the same, not what is left of it.
    let sheet = printed(&printer, &lay("second.pdf"), 2);
    let said = read(&tympan, &sheet, seed + 1);
    is_true(&said, &sheet);
    let log = tympan.run(&["log", "--setup", "p"]);
    assert_eq!(log.matches("by witness").count(), 2, "{log}");
}

#[test]
fn sheets_that_are_flipped_sideways_tell_of_the_printer_before_they_are_cut() {
    run(Flip::Sideways, 41);
}

#[test]
fn sheets_that_are_flipped_endways_tell_of_the_printer_before_they_are_cut() {
    run(Flip::Endways, 43);
}
