//! The loop closed from pictures: a simulated printer prints three test sheets, they are scanned,
//! the game is corrected from the scans, and the same printer prints it again.
//!
//! What is left is measured on the prints, and reckoned from the simulator's own maps up to the
//! corners. The pages are rendered by poppler; nothing here knows the test sheet's geometry.

#![allow(
    clippy::print_stdout,
    reason = "the figures are what one runs this for"
)]

mod common;

use std::sync::Arc;

use common::{Tympan, dots, dotted_game, pages};
use image::DynamicImage;
use tympan_sheet::{Back, Flip, Front, Point, Side, Size};
use tympan_sim::{OnBed, Page, PrintedSheet, Printer, Rng, Scanner, office_punch_twice};

const A4: Size = Size::new(210.0, 297.0);
const DPI: f64 = 300.0;
const SHEETS: usize = 3;
/// What may be left of the steady error anywhere on the sheet, mm.
const LEFT: f64 = 0.06;

/// What ties a sheet's two scans together.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Tie {
    Holes,
    Edges,
}

/// A printer that does the same to every sheet, with all its faults but a bend, which no affine
/// map of a page takes out.
fn printer(flip: Flip, first: Side, seed: u64) -> Printer {
    let mut printer = Printer {
        first,
        ..Printer::faulty(seed, A4, flip)
    }
    .steady();
    printer.fronts.bend = [0.0; 2];
    printer.backs.bend = [0.0; 2];
    printer
}

fn run(flip: Flip, first: Side, tie: Tie, seed: u64) {
    let tympan = Tympan::new();
    let (flip_word, first_word) = (flip.to_string(), first.to_string());
    tympan.run(&[
        "setup",
        "new",
        "p",
        "--paper",
        "a4",
        "--flip",
        &flip_word,
        "--first",
        &first_word,
    ]);
    tympan.run(&["testsheet", "--setup", "p", "--sheets", "3", "-o", "t.pdf"]);
    let printer = printer(flip, first, seed);
    let files = scans(&tympan, &printer, tie, seed);
    let mut args = vec!["read", "--setup", "p"];
    // In an order that nobody would choose.
    args.extend(files.iter().rev().map(String::as_str));
    let read = tympan.run(&args);
    assert!(read.contains("has 3 sheets"), "{read}");

    dotted_game(&tympan.path("game.pdf"), A4, flip);
    let told = tympan.run(&[
        "correct",
        "game.pdf",
        "-o",
        "right.pdf",
        "--setup",
        "p",
        "--flip",
        &flip_word,
        "--json",
    ]);
    let told: serde_json::Value = serde_json::from_str(&told).expect("json");
    let matrix: Vec<f64> = told["pages"][1]["matrix_mm"]
        .as_array()
        .expect("the back is moved")
        .iter()
        .map(|v| v.as_f64().expect("a number"))
        .collect();
    let rendered = pages(&tympan.path("right.pdf"), 150.0);
    let print = print_of(&printer, 77, &rendered[0], &rendered[1], 150.0);
    let (seen, reckoned) = (on_dots(&print), everywhere(&print, flip, &matrix));
    let before = everywhere(&print, flip, &[1.0, 0.0, 0.0, 1.0, 0.0, 0.0]);
    println!(
        "{flip}, {first} first, by {tie:?}: {before:.2} mm before; at most {seen:.3} mm left on \
         the dots, {reckoned:.3} mm anywhere"
    );
    assert!(before > 1.0, "a printer without a fault proves nothing");
    assert!(seen < LEFT, "{seen:.3} mm left on the dots");
    assert!(reckoned < LEFT, "{reckoned:.3} mm left somewhere");
}

fn print_of(
    printer: &Printer,
    index: u64,
    front: &DynamicImage,
    back: &DynamicImage,
    dpi: f64,
) -> PrintedSheet {
    let raster = |page| Arc::new(Page::at_dpi(page, dpi));
    printer.print(index, &raster(front), &raster(back))
}

/// Prints the test sheets and scans both sides of each.
fn scans(tympan: &Tympan, printer: &Printer, tie: Tie, seed: u64) -> Vec<String> {
    let rendered = pages(&tympan.path("t.pdf"), DPI);
    // All first sides come first, then all second sides.
    let (fronts, backs) = if printer.first == Side::Front {
        (0, SHEETS)
    } else {
        (SHEETS, 0)
    };
    let scanner = Scanner {
        colour: false,
        ..Scanner::usual(seed, DPI)
    };
    let mut files = Vec::new();
    for k in 0..SHEETS {
        let (front, back) = (&rendered[fronts + k], &rendered[backs + k]);
        let mut sheet = print_of(printer, k as u64, front, back, DPI);
        if tie == Tie::Holes {
            let mut rng = Rng::stream(seed, 90 + k as u64);
            sheet = sheet.punched(office_punch_twice(A4, &mut rng));
        }
        for side in Side::BOTH {
            let lie = OnBed::by_hand(seed + 10 * k as u64 + side as u64);
            let name = format!("{k}-{side}.jpg");
            let scan = scanner.scan(&sheet, side, &lie).image;
            scan.save(tympan.path(&name)).expect("a picture");
            files.push(name);
        }
    }
    files
}

/// The farthest that a dot of the back lies from its partner on the front, mm.
fn on_dots(print: &PrintedSheet) -> f64 {
    let px_per_mm = 150.0 / 25.4;
    let through = print.seen_through(px_per_mm);
    let (front, back) = (dots(&through, 0, px_per_mm), dots(&through, 1, px_per_mm));
    assert!(front.len() >= 20 && front.len() == back.len());
    let off = front.iter().map(|f| {
        back.iter()
            .map(|b| (b.0 - f.0).hypot(b.1 - f.1))
            .fold(f64::INFINITY, f64::min)
    });
    off.fold(0.0, f64::max)
}

/// The farthest that any point of the back lies from the one in front of it, when the back's page
/// goes through the matrix first, mm.
fn everywhere(print: &PrintedSheet, flip: Flip, matrix: &[f64]) -> f64 {
    let mut worst = 0.0_f64;
    for column in 0..=6 {
        for row in 0..=8 {
            let p =
                Point::<Front>::new(A4.w * f64::from(column) / 6.0, A4.h * f64::from(row) / 8.0);
            let (x, y) = match flip {
                Flip::Sideways => (A4.w - p.x, p.y),
                Flip::Endways => (p.x, A4.h - p.y),
            };
            let [a, b, c, d, e, f] = matrix else {
                panic!("six numbers, not {matrix:?}")
            };
            let moved = Point::<Back>::new(a * x + c * y + e, b * x + d * y + f);
            let (front, back) = (print.turn_over(print.front(p)), print.back(moved));
            worst = worst.max((back - front).length());
        }
    }
    worst
}

#[test]
fn holes_and_a_flip_sideways_leave_next_to_nothing() {
    run(Flip::Sideways, Side::Front, Tie::Holes, 31);
}

#[test]
fn edges_and_a_flip_endways_with_backs_first_leave_next_to_nothing() {
    run(Flip::Endways, Side::Back, Tie::Edges, 32);
}

#[test]
fn edges_and_a_flip_sideways_leave_next_to_nothing() {
    run(Flip::Sideways, Side::Front, Tie::Edges, 33);
}

#[test]
fn holes_and_a_flip_endways_with_backs_first_leave_next_to_nothing() {
    run(Flip::Endways, Side::Back, Tie::Holes, 34);
}
