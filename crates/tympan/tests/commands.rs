//! What users do right and wrong on the command line.

mod common;

use common::{Tympan, dotted_game};
use tympan_sheet::{Flip, Size};

const A4: Size = Size::new(210.0, 297.0);

fn with_set_up() -> Tympan {
    let tympan = Tympan::new();
    tympan.run(&[
        "setup",
        "new",
        "rear tray",
        "--paper",
        "a4",
        "--flip",
        "sideways",
    ]);
    tympan
}

fn with_game() -> Tympan {
    let tympan = Tympan::new();
    dotted_game(&tympan.path("game.pdf"), A4, Flip::Sideways);
    tympan
}

/// The refusal says this, and gives a remedy.
fn assert_says(refusal: &str, what: &str) {
    assert!(refusal.contains(what), "{refusal:?} does not say {what:?}");
    assert!(
        refusal.contains("what to do: "),
        "{refusal:?} gives no remedy"
    );
}

#[test]
fn stock_is_told_in_all_units() {
    let said = Tympan::new().run(&["stock", "65 lb cover"]);
    for part in [
        "175.8 g/m²",
        "65.0 lb cover",
        "97.2 lb index",
        "an estimate",
    ] {
        assert!(said.contains(part), "{said}");
    }
}

#[test]
fn pounds_without_a_grade_are_asked_about() {
    let said = Tympan::new().refused(&["stock", "110 lb"]);
    assert!(said.contains("110 lb of which grade?"), "{said}");
}

#[test]
fn an_unknown_paper_is_wrong_usage() {
    let tympan = Tympan::new();
    for paper in ["papyrus", "-1x2", "0x0", "9999x9999mm", "b5"] {
        let args = [
            "setup",
            "new",
            "x",
            &format!("--paper={paper}"),
            "--flip",
            "sideways",
        ];
        let output = tympan.output(&args);
        assert_eq!(output.status.code(), Some(2), "{paper}");
        assert!(!tympan.run(&["setup", "list", "--json"]).contains("\"x\""));
    }
}

#[test]
fn a_set_up_is_made_listed_renamed_copied_removed_and_brought_back() {
    let tympan = with_set_up();
    assert!(
        tympan
            .run(&["setup", "list"])
            .contains("rear tray  (A4, flipped sideways")
    );
    tympan.run(&["setup", "rename", "rear tray", "by-pass"]);
    tympan.run(&["setup", "copy", "By-Pass", "duplex"]);
    tympan.run(&["setup", "remove", "duplex"]);
    assert!(!tympan.run(&["setup", "list"]).contains("duplex"));
    tympan.run(&["setup", "restore", "duplex"]);
    assert!(
        tympan
            .run(&["setup", "show", "duplex"])
            .contains("leading edge  head")
    );
    assert_says(
        &tympan.refused(&["setup", "show", "rear tray"]),
        "rear tray",
    );
}

#[test]
fn an_export_is_taken_in_elsewhere_with_its_readings() {
    let tympan = with_set_up();
    tympan.run(&[
        "read",
        "--setup",
        "rear tray",
        "--ruler",
        "2mm low, 0.5mm left",
    ]);
    tympan.run(&["setup", "export", "-o", "all.json"]);
    let other = Tympan::new();
    let file = tympan.path("all.json");
    other.run(&["setup", "import", file.to_str().expect("plain")]);
    let (here, there) = (
        tympan.run(&["setup", "export"]),
        other.run(&["setup", "export"]),
    );
    assert_eq!(here, there);
    assert_says(
        &tympan.refused(&["setup", "export", "-o", "all.json"]),
        "all.json",
    );
}

#[test]
fn a_reading_of_a_set_up_without_test_sheets_is_refused() {
    let tympan = with_set_up();
    let said = tympan.refused(&[
        "read",
        "--setup",
        "rear tray",
        "--sheet",
        "1",
        "--pin",
        "A: 2 low",
    ]);
    assert_says(&said, "sheet 1 was never printed");
}

#[test]
fn a_sheet_is_read_twice_only_when_that_is_meant() {
    let tympan = with_set_up();
    tympan.run(&["testsheet", "--setup", "rear tray", "-o", "t.pdf"]);
    let read = [
        "read",
        "--setup",
        "rear tray",
        "--sheet",
        "2",
        "--pin",
        "A: 2 low",
        "--pin",
        "D: 1 low",
    ];
    tympan.run(&read);
    assert_says(&tympan.refused(&read), "sheet 2 was read before");
    let again: Vec<&str> = read.iter().copied().chain(["--again"]).collect();
    tympan.run(&again);
    assert!(
        tympan
            .run(&["log", "--setup", "rear tray"])
            .contains("set aside: read again")
    );
    assert!(
        tympan
            .run(&["report", "--setup", "rear tray", "--json"])
            .contains("\"sheets\": 1")
    );
}

#[test]
fn a_scaled_print_is_explained_and_not_logged() {
    let tympan = with_set_up();
    let said = tympan.refused(&[
        "read",
        "--setup",
        "rear tray",
        "--ruler",
        "2mm low",
        "--rule",
        "95.9 across, 95.9 along",
    ]);
    assert_says(&said, "scaled to 95.9 %");
    assert_says(&said, "actual size");
    assert!(
        tympan
            .run(&["log", "--setup", "rear tray"])
            .contains("no readings yet")
    );
}

#[test]
fn a_borderless_enlargement_is_explained() {
    let tympan = with_set_up();
    let said = tympan.refused(&[
        "read",
        "--setup",
        "rear tray",
        "--ruler",
        "2mm low",
        "--rule",
        "103 across, 103 along",
    ]);
    assert_says(&said, "borderless");
}

#[test]
fn bare_signs_places_unknown_and_readings_twice_are_refused() {
    let tympan = with_set_up();
    tympan.run(&["testsheet", "--setup", "rear tray", "-o", "t.pdf"]);
    for (pin, what) in [
        ("A: -2.1", "which way"),
        ("Q: 2 low", "no place Q"),
        ("2 low", "letter of a place"),
        ("A: 40 low", "off the grid"),
    ] {
        let pin = format!("--pin={pin}");
        let said = tympan.refused(&["read", "--setup", "rear tray", "--sheet", "1", &pin]);
        assert!(said.contains(what), "{said}");
    }
    let said = tympan.refused(&[
        "read",
        "--setup",
        "rear tray",
        "--sheet",
        "1",
        "--pin",
        "A: 2 low",
        "--pin",
        "A: 2 low",
    ]);
    assert_says(&said, "given twice");
}

#[test]
fn places_are_asked_for_one_by_one() {
    let tympan = with_set_up();
    tympan.run(&["testsheet", "--setup", "rear tray", "-o", "t.pdf"]);
    let mut command = tympan.command(&["read", "--setup", "rear tray", "--sheet", "1"]);
    let child = command
        .stdin(std::process::Stdio::piped())
        .stdout(std::process::Stdio::piped());
    let mut child = child.spawn().expect("the program runs");
    let answers = b"2.1 low, 0.4 left\n\n0\n1.9 low\n2 low\n2 low, 0.3 left\n";
    std::io::Write::write_all(&mut child.stdin.take().expect("stdin"), answers).expect("typed");
    let output = child.wait_with_output().expect("done");
    assert!(output.status.success());
    let log = tympan.run(&["log", "--setup", "rear tray"]);
    assert!(log.contains("by pin, 5 places"), "{log}");
}

#[test]
fn a_report_without_readings_says_how_to_get_them() {
    let tympan = with_set_up();
    assert_says(
        &tympan.refused(&["report", "--setup", "rear tray"]),
        "no readings yet",
    );
    let game = with_game();
    game.run(&[
        "setup",
        "new",
        "rear tray",
        "--paper",
        "a4",
        "--flip",
        "sideways",
    ]);
    let args = [
        "correct",
        "game.pdf",
        "-o",
        "out.pdf",
        "--setup",
        "rear tray",
    ];
    assert_says(&game.refused(&args), "no readings yet");
    assert!(!game.path("out.pdf").exists());
}

#[test]
fn one_sheet_gives_a_cautious_answer() {
    let tympan = with_set_up();
    tympan.run(&[
        "read",
        "--setup",
        "rear tray",
        "--ruler",
        "2mm low, 0.5mm left",
    ]);
    let output = tympan.output(&["report", "--setup", "rear tray"]);
    let (out, err) = (
        String::from_utf8(output.stdout).expect("text"),
        String::from_utf8(output.stderr).expect("text"),
    );
    assert!(out.contains("mm too low"), "{out}");
    assert!(out.contains("More sheets are worth while"), "{out}");
    assert!(err.contains("Read three to five"), "{err}");
}

#[test]
fn a_report_draws_the_field() {
    let tympan = with_set_up();
    tympan.run(&[
        "read",
        "--setup",
        "rear tray",
        "--ruler",
        "2mm low, 0.5mm left",
    ]);
    tympan.run(&["report", "--setup", "rear tray", "--picture", "field.svg"]);
    let svg = std::fs::read_to_string(tympan.path("field.svg")).expect("a picture");
    assert!(
        svg.starts_with("<svg") || svg.starts_with("<?xml"),
        "{}",
        &svg[..40]
    );
}

#[test]
fn nothing_said_about_the_backs_is_asked_about() {
    let game = with_game();
    let said = game.refused(&["correct", "game.pdf", "-o", "out.pdf"]);
    assert_says(&said, "nothing says how the backs lie");
}

#[test]
fn an_output_that_exists_is_never_overwritten() {
    let game = with_game();
    std::fs::write(game.path("out.pdf"), b"precious").expect("written");
    let args = ["correct", "game.pdf", "-o", "out.pdf", "--seen", "2mm low"];
    assert_says(&game.refused(&args), "already exists");
    assert_eq!(
        std::fs::read(game.path("out.pdf")).expect("there"),
        b"precious"
    );
    let over = ["correct", "game.pdf", "-o", "game.pdf", "--seen", "2mm low"];
    assert_says(&game.refused(&over), "already exists");
}

#[test]
fn an_output_that_cannot_be_written_is_refused() {
    let game = with_game();
    let args = [
        "correct",
        "game.pdf",
        "-o",
        "nowhere/out.pdf",
        "--seen",
        "2mm low",
    ];
    assert!(game.refused(&args).contains("nowhere"));
}

#[test]
fn a_full_disk_leaves_nothing_half_written() {
    let game = with_game();
    // /dev/full is a folder's stand-in for no disk: a limit on file size is the same to the writer.
    let mut command = std::process::Command::new("sh");
    let script = format!(
        "ulimit -f 4; trap '' XFSZ; exec {} correct game.pdf -o out.pdf --seen '2mm low'",
        env!("CARGO_BIN_EXE_tympan")
    );
    let output = command
        .args(["-c", &script])
        .current_dir(game.path("."))
        .output()
        .expect("sh runs");
    assert_eq!(
        output.status.code(),
        Some(1),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let files: Vec<_> = std::fs::read_dir(game.path("."))
        .expect("a folder")
        .map(|entry| entry.expect("an entry").file_name())
        .collect();
    assert_eq!(files, ["game.pdf"]);
}

#[test]
fn an_absurd_correction_is_done_only_if_meant() {
    let game = with_game();
    let args = ["correct", "game.pdf", "-o", "out.pdf", "--seen", "26mm low"];
    assert_says(&game.refused(&args), "--yes-really");
    let meant: Vec<&str> = args.iter().copied().chain(["--yes-really"]).collect();
    game.run(&meant);
}

#[test]
fn pages_that_do_not_pair_are_refused() {
    let game = with_game();
    let args = [
        "correct", "game.pdf", "game.pdf", "-o", "out.pdf", "--seen", "2mm low",
    ];
    game.run(&args);
    for (backs, what) in [("2,9", "no page 9"), ("7", "no page 7")] {
        let said = game.refused(&[
            "correct", "game.pdf", "-o", "out2.pdf", "--seen", "2mm low", "--backs", backs,
        ]);
        assert_says(&said, what);
    }
}

#[test]
fn files_that_are_not_pdf_are_refused() {
    let game = with_game();
    std::fs::write(game.path("empty.pdf"), b"").expect("written");
    std::fs::write(game.path("text.pdf"), b"Saltmarsh Ferry").expect("written");
    for file in ["empty.pdf", "text.pdf", "missing.pdf", "."] {
        let said = game.refused(&["correct", file, "-o", "out.pdf", "--seen", "2mm low"]);
        assert!(said.contains("error: "), "{said}");
        assert!(!game.path("out.pdf").exists());
    }
}

#[test]
fn a_letter_file_for_an_a4_set_up_is_asked_about() {
    let tympan = with_set_up();
    tympan.run(&["read", "--setup", "rear tray", "--ruler", "2mm low"]);
    dotted_game(
        &tympan.path("letter.pdf"),
        Size::new(215.9, 279.4),
        Flip::Sideways,
    );
    let args = [
        "correct",
        "letter.pdf",
        "-o",
        "out.pdf",
        "--setup",
        "rear tray",
    ];
    assert_says(&tympan.refused(&args), "measured on 210 × 297 mm");
    let on_a4: Vec<&str> = args.iter().copied().chain(["--paper", "a4"]).collect();
    let said = tympan.run(&on_a4);
    assert!(said.contains("back"), "{said}");
}

#[test]
fn fronts_and_backs_in_files_of_their_own_come_by_turns() {
    let game = with_game();
    let said = game.run(&[
        "correct",
        "game.pdf",
        "--back-file",
        "game.pdf",
        "-o",
        "out.pdf",
        "--seen",
        "2mm low",
        "--json",
    ]);
    let told: serde_json::Value = serde_json::from_str(&said).expect("json");
    let sides: Vec<&str> = told["pages"]
        .as_array()
        .expect("pages")
        .iter()
        .map(|page| page["side"].as_str().expect("a side"))
        .collect();
    assert_eq!(sides, ["front", "back", "front", "back"]);
}

#[test]
fn a_refusal_is_json_for_scripts() {
    let output = Tympan::new().output(&["report", "--setup", "nothing", "--json"]);
    assert_eq!(output.status.code(), Some(1));
    let told: serde_json::Value = serde_json::from_slice(&output.stdout).expect("json");
    assert_eq!(told["schema"], 1);
    assert!(
        told["refused"]["message"]
            .as_str()
            .expect("a message")
            .contains("nothing")
    );
}

#[test]
fn every_command_has_an_example() {
    let tympan = Tympan::new();
    for command in [
        "testsheet",
        "read",
        "report",
        "correct",
        "stock",
        "log",
        "demo",
    ] {
        assert!(
            tympan.run(&[command, "--help"]).contains("Example"),
            "{command}"
        );
    }
    assert!(tympan.run(&["setup", "new", "--help"]).contains("Example"));
}

#[test]
fn the_demo_goes_the_whole_way() {
    let tympan = Tympan::new();
    let said = tympan.run(&["demo", "saltmarsh"]);
    assert!(
        said.contains("low") && said.contains("19 times in 20"),
        "{said}"
    );
    // The way that its own instructions describe.
    tympan.run(&["setup", "import", "saltmarsh/set-up.json"]);
    tympan.run(&[
        "read",
        "--setup",
        "demo printer",
        "--table",
        "saltmarsh/holes.csv",
    ]);
    tympan.run(&["report", "--setup", "demo printer"]);
    tympan.run(&[
        "correct",
        "saltmarsh/deck-a4.pdf",
        "-o",
        "deck.pdf",
        "--setup",
        "demo printer",
    ]);
    assert_says(&tympan.refused(&["demo", "saltmarsh"]), "already exists");
}
