//! Test sheets read from simulated scans through the command line. The pages are rendered by
//! poppler, printed and scanned by the simulator, and the truth is the simulated print's own.

#![allow(
    clippy::print_stdout,
    reason = "the figures are what one runs this for"
)]

mod common;

use std::sync::Arc;

use common::{Tympan, pages};
use tympan_sheet::{Flip, Point, Side, Size};
use tympan_sim::{OnBed, Page, PrintedSheet, Printer, Rng, Scanner, office_punch_twice};

const A4: Size = Size::new(210.0, 297.0);
const DPI: f64 = 300.0;

/// A set-up with one test sheet, printed with this flip on a faulty printer and punched.
fn printed(flip: Flip, seed: u64) -> (Tympan, PrintedSheet) {
    let tympan = Tympan::new();
    tympan.run(&[
        "setup",
        "new",
        "p",
        "--paper",
        "a4",
        "--flip",
        &flip.to_string(),
    ]);
    tympan.run(&[
        "testsheet",
        "--setup",
        "p",
        "--sheets",
        "1",
        "-o",
        "test.pdf",
    ]);
    let rendered = pages(&tympan.path("test.pdf"), DPI);
    let raster = |i: usize| Arc::new(Page::at_dpi(&rendered[i], DPI));
    let printer = Printer::faulty(seed, A4, flip);
    let holes = office_punch_twice(A4, &mut Rng::stream(seed, 5));
    (
        tympan,
        printer.print(1, &raster(0), &raster(1)).punched(holes),
    )
}

fn scan(tympan: &Tympan, sheet: &PrintedSheet, side: Side, name: &str, seed: u64) {
    let scan = Scanner::usual(seed, DPI).scan(sheet, side, &OnBed::by_hand(seed));
    scan.image.save(tympan.path(name)).expect("a picture");
}

#[test]
fn two_scans_tell_what_the_printer_did() {
    for (flip, seed) in [(Flip::Sideways, 3), (Flip::Endways, 4)] {
        let (tympan, sheet) = printed(flip, seed);
        scan(&tympan, &sheet, Side::Front, "a.png", seed);
        scan(&tympan, &sheet, Side::Back, "b.png", seed);
        let told = tympan.run(&[
            "read",
            "--setup",
            "p",
            "b.png",
            "a.png",
            "--evidence",
            "seen",
            "--json",
        ]);
        let told: serde_json::Value = serde_json::from_str(&told).expect("json");
        let field = &told["sheets"][0]["field"];
        let truth = sheet.register_error(Point::new(105.0, 148.5));
        for (axis, truth) in [("x", truth.x), ("y", truth.y)] {
            let read = field["shift_mm"][axis].as_f64().expect("a number");
            println!("{flip} {axis}: {read:.3} mm read, {truth:.3} mm true");
            assert!(
                (read - truth).abs() < 0.12,
                "{flip} {axis}: {read} is not {truth}"
            );
        }
        let evidence = std::fs::read_dir(tympan.path("seen"))
            .expect("a folder")
            .count();
        assert_eq!(evidence, 2);
        let log = tympan.run(&["log", "--setup", "p"]);
        assert!(log.contains("by scans"), "{log}");
    }
}

#[test]
fn the_same_side_twice_is_refused_and_not_logged() {
    let (tympan, sheet) = printed(Flip::Sideways, 6);
    scan(&tympan, &sheet, Side::Front, "a.png", 1);
    scan(&tympan, &sheet, Side::Front, "b.png", 2);
    let said = tympan.refused(&["read", "--setup", "p", "a.png", "b.png"]);
    assert!(said.contains("front"), "{said}");
    assert!(
        tympan
            .run(&["log", "--setup", "p"])
            .contains("no readings yet")
    );
}

#[test]
fn sheets_of_another_set_up_are_refused() {
    let (tympan, sheet) = printed(Flip::Sideways, 7);
    tympan.run(&[
        "setup", "new", "other", "--paper", "a4", "--flip", "sideways",
    ]);
    scan(&tympan, &sheet, Side::Front, "a.png", 1);
    scan(&tympan, &sheet, Side::Back, "b.png", 1);
    let said = tympan.refused(&["read", "--setup", "other", "a.png", "b.png"]);
    assert!(said.contains("set-up"), "{said}");
    assert!(
        tympan
            .run(&["log", "--setup", "other"])
            .contains("no readings yet")
    );
}

#[test]
fn what_is_no_picture_is_refused() {
    let (tympan, _) = printed(Flip::Sideways, 8);
    std::fs::write(tympan.path("a.png"), b"Saltmarsh Ferry").expect("written");
    let said = tympan.refused(&["read", "--setup", "p", "a.png"]);
    assert!(said.contains("a.png"), "{said}");
    tympan.refused(&["read", "--setup", "p", "missing.png"]);
}
