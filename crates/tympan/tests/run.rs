//! Print runs by the command: what is in the files is read by poppler.

mod common;

use std::path::Path;

use common::{Tympan, tool, words};
use tympan_pdf::draw::{self, Meta};
use tympan_sheet::Size;
use tympan_sheet::drawing::{Colour, Drawing, Path as Outline, Text};

const A4: Size = Size::new(210.0, 297.0);

/// Sheets `F1 B1 F2 B2 …`: a word in the middle of a frame that leaves waste all around.
fn game(path: &Path, sheets: usize) {
    let page = |word: String| {
        let mut page = Drawing::new(A4);
        page.fill(Outline::rect(20.0, 20.0, 170.0, 257.0), Colour::Grey(0.9));
        page.text(Text::new(60.0, 120.0, 12.0, word));
        page
    };
    let pages: Vec<Drawing> = (1..=sheets)
        .flat_map(|n| [page(format!("F{n}")), page(format!("B{n}"))])
        .collect();
    let pdf = draw::write(&pages, &Meta::new("game")).expect("a PDF");
    std::fs::write(path, pdf).expect("written");
}

fn with_set_up() -> Tympan {
    let tympan = Tympan::new();
    tympan.run(&["setup", "new", "p", "--paper", "a4", "--flip", "sideways"]);
    tympan
}

fn page_count(pdf: &Path) -> usize {
    let output = tool(
        "qpdf",
        "qpdf",
        &["--show-npages", pdf.to_str().expect("a path")],
    );
    let said = String::from_utf8(output.stdout).expect("text");
    said.trim().parse().expect("a number")
}

/// The words on every page of a file, in the order of reading.
fn texts(pdf: &Path) -> Vec<String> {
    (1..=page_count(pdf))
        .map(|page| {
            let mut words: Vec<String> = words(pdf, page).into_iter().map(|w| w.text).collect();
            words.sort();
            words.join(" ")
        })
        .collect()
}

fn json(text: &str) -> serde_json::Value {
    serde_json::from_str(text).expect("JSON")
}

/// Each pass has the pages that the answer says, in that order, and each carries its own number.
#[test]
fn passes_hold_the_pages_that_they_say_each_with_its_number() {
    let tympan = with_set_up();
    game(&tympan.path("game.pdf"), 5);
    // A printer that delivers face up with the first sheet at the bottom: the second pass is
    // printed backwards, because the pile is turned over as one.
    tympan.run(&[
        "setup",
        "teach",
        "p",
        "--on-top-sheet",
        "1",
        "--took",
        "pencilled",
        "--at-arrow",
        "head",
        "--uppermost",
        "1",
        "--faces",
        "down",
    ]);
    let told = json(&tympan.run(&[
        "run", "game.pdf", "--setup", "p", "-o", "out", "--copies", "2", "--load", "4", "--json",
    ]));
    assert_eq!(told["sheets"], 10);
    assert_eq!(told["reload"]["known"], true);
    assert_eq!(told["loads"].as_array().expect("loads").len(), 3);
    let mut printed = Vec::new();
    for pass in told["passes"].as_array().expect("passes") {
        let file = tympan
            .path("out")
            .join(pass["file"].as_str().expect("a name"));
        let (letter, side) = match pass["side"].as_str() {
            Some("front") => ("F", "front"),
            _ => ("B", "back"),
        };
        let meant: Vec<String> = pass["sheets"]
            .as_array()
            .expect("sheets")
            .iter()
            .map(|sheet| {
                let sheet = sheet.as_u64().expect("a number");
                // Two copies of five sheets, collated.
                let page = (sheet - 1) % 5 + 1;
                printed.push((side, sheet));
                let mut words = [
                    format!("{letter}{page}"),
                    sheet.to_string(),
                    side.to_owned(),
                ];
                words.sort();
                words.join(" ")
            })
            .collect();
        assert_eq!(texts(&file), meant, "{}", file.display());
        let bytes = std::fs::read(&file).expect("read");
        let has = |text: &str| bytes.windows(text.len()).any(|w| w == text.as_bytes());
        assert!(has("/PrintScaling /None") && has("/Duplex /Simplex"));
    }
    printed.sort_unstable();
    let all = |side| (1..=10).map(move |sheet| (side, sheet));
    assert_eq!(printed, all("back").chain(all("front")).collect::<Vec<_>>());
    // Taken face down with its first sheet on top and put back face down: not turned over, same
    // order; the simulation of piles has all the others.
    assert_eq!(told["reload"]["turn_over"], false);
    assert_eq!(told["reload"]["order"], "same");
    assert!(tympan.path("out/job-sheet.pdf").exists() && tympan.path("out/job-sheet.svg").exists());
}

/// The same page, corrected by `correct` and in a pass, has its word at the same place.
#[test]
fn a_pass_is_corrected_as_the_whole_file_is() {
    let tympan = with_set_up();
    game(&tympan.path("game.pdf"), 2);
    tympan.run(&[
        "testsheet",
        "--setup",
        "p",
        "--sheets",
        "1",
        "-o",
        "test.pdf",
    ]);
    for _ in 0..1 {
        tympan.run(&["read", "--setup", "p", "--ruler", "2mm low, 0.5mm left"]);
    }
    tympan.run(&["correct", "game.pdf", "--setup", "p", "-o", "right.pdf"]);
    let told = json(&tympan.run(&["run", "game.pdf", "--setup", "p", "-o", "out", "--json"]));
    assert_eq!(told["corrected"], true);
    let at = |pdf: &Path, word: &str| {
        let all = (1..=page_count(pdf)).flat_map(|page| words(pdf, page));
        let found: Vec<_> = all.filter(|w| w.text == word).collect();
        assert_eq!(found.len(), 1, "{word} on {}", pdf.display());
        (found[0].x, found[0].y)
    };
    for pass in told["passes"].as_array().expect("passes") {
        let file = tympan
            .path("out")
            .join(pass["file"].as_str().expect("a name"));
        let letter = if pass["side"] == "front" { "F" } else { "B" };
        for n in 1..=2 {
            let word = format!("{letter}{n}");
            let (x, y) = at(&tympan.path("right.pdf"), &word);
            let (px, py) = at(&file, &word);
            assert!(
                (px - x).hypot(py - y) < 0.01,
                "{word}: {px}, {py} and not {x}, {y}"
            );
            // The correction moves the backs, and by as much as was read (a single reading is
            // shrunk a little towards nothing).
            let (ox, oy) = at(&tympan.path("game.pdf"), &word);
            let moved = (px - ox).hypot(py - oy);
            assert!(
                if letter == "F" {
                    moved < 0.01
                } else {
                    moved > 1.5
                },
                "{word}: {moved}"
            );
        }
    }
    // What is left on the make-ready sheet comes on top, in the same folder; what is not the run's
    // own stays there.
    std::fs::write(tympan.path("out/notes.txt"), "mine").expect("written");
    let back = told["passes"][1]["file"].as_str().expect("a name");
    let file = tympan.path("out").join(back);
    let before = at(&file, "B1");
    tympan.run(&["run", "--adjust", "0.4mm low"]);
    let after = at(&file, "B1");
    assert!((after.0 - before.0).abs() < 0.02, "{before:?} {after:?}");
    assert!(
        (after.1 - before.1 + 0.4).abs() < 0.02,
        "{before:?} {after:?}"
    );
    let notes = std::fs::read_to_string(tympan.path("out/notes.txt"));
    assert_eq!(notes.expect("still there"), "mine");
    // All of it is adjusted, or nothing: a file that somebody changed is in the way.
    let front = told["passes"][0]["file"].as_str().expect("a name");
    let front = tympan.path("out").join(front);
    let mut changed = std::fs::read(&front).expect("a file");
    changed.extend(b"% mine");
    std::fs::write(&front, &changed).expect("written");
    let listing = || {
        let entries = std::fs::read_dir(tympan.path("out")).expect("a folder");
        let mut all: Vec<_> = entries
            .map(|entry| {
                let path = entry.expect("an entry").path();
                let bytes = std::fs::read(&path).expect("read");
                (path, bytes)
            })
            .collect();
        all.sort();
        all
    };
    let was = listing();
    let said = tympan.refused(&["run", "--adjust", "0.4mm low"]);
    assert!(said.contains("is not as it was written"), "{said}");
    assert!(was == listing(), "something was changed");
    let beside = std::fs::read_dir(tympan.path("")).expect("a folder");
    let hidden = beside.filter(|entry| {
        let name = entry.as_ref().expect("an entry").file_name();
        name.to_string_lossy().starts_with('.')
    });
    assert_eq!(hidden.count(), 0, "something half-made is left");
}

/// A deck of two cards as pictures.
fn cards(folder: &Path) {
    std::fs::create_dir(folder).expect("a folder");
    for (name, grey) in [("a.png", 60_u8), ("b.png", 160), ("back.png", 100)] {
        let picture = image::RgbImage::from_pixel(375, 525, image::Rgb([grey, grey, grey]));
        picture.save(folder.join(name)).expect("saved");
    }
}

/// Whoever wrote it: a file whose backs were moved for a printer is not moved once more.
#[test]
fn a_corrected_file_is_known_whoever_wrote_it_and_not_corrected_twice() {
    let tympan = with_set_up();
    game(&tympan.path("game.pdf"), 2);
    cards(&tympan.path("cards"));
    tympan.run(&["read", "--setup", "p", "--ruler", "2mm low, 0.5mm left"]);
    let lay = ["lay", "cards", "--card", "poker", "--paper", "a4"];
    tympan.run(&[&lay[..], &["-o", "plain.pdf"]].concat());
    tympan.run(&["correct", "game.pdf", "--seen", "0mm low", "-o", "same.pdf"]);
    for fresh in ["game.pdf", "plain.pdf", "same.pdf"] {
        tympan.run(&["run", fresh, "--setup", "p", "-o", &format!("of {fresh}")]);
    }
    tympan.run(&["correct", "game.pdf", "--setup", "p", "-o", "appended.pdf"]);
    let seen = ["--seen", "1mm low"];
    tympan.run(&[&["correct", "game.pdf", "-o", "seen.pdf"], &seen[..]].concat());
    let two = ["game.pdf", "game.pdf", "-o", "rewritten.pdf"];
    tympan.run(&[&["correct"], &two[..], &["--setup", "p"]].concat());
    tympan.run(&[&lay[..], &["--setup", "p", "-o", "laid.pdf"]].concat());
    let pass = "of game.pdf/02-backs-1-2.pdf";
    let all = [
        "appended.pdf",
        "seen.pdf",
        "rewritten.pdf",
        "laid.pdf",
        pass,
    ];
    for (at, file) in all.into_iter().enumerate() {
        let new = |what: &str| format!("{what}{at}");
        // Another reader sees the mark, too, and nothing wrong.
        let shown = tool(
            "qpdf",
            "qpdf",
            &["--json", &tympan.path(file).display().to_string()],
        );
        let shown = String::from_utf8_lossy(&shown.stdout).into_owned();
        assert!(shown.contains("/XXTympan"), "{file}");
        for args in [
            vec!["run", file, "--setup", "p", "-o", "twice"],
            vec!["correct", file, "--setup", "p", "-o", "twice.pdf"],
        ] {
            let said = tympan.refused(&args);
            assert!(said.contains("was corrected before"), "{file}: {said}");
        }
        let list = format!("front,back\n{file}#page=1,{file}#page=2\n");
        std::fs::write(tympan.path("deck.csv"), list).expect("written");
        let half = [
            "lay",
            "deck.csv",
            "--card",
            "105x148.5mm",
            "--fit",
            "fill",
            "--paper",
            "a4",
        ];
        let said = tympan.refused(&[&half[..], &["--setup", "p", "-o", "l.pdf"]].concat());
        assert!(
            said.contains("were moved for a printer before"),
            "{file}: {said}"
        );
        assert!(!tympan.path("twice").exists() && !tympan.path("twice.pdf").exists());
        tympan.run(&["run", file, "--setup", "p", "--as-is", "-o", &new("as-is")]);
        // What is seen on its print comes on top, and it stays known.
        let more = format!("{}.pdf", new("more"));
        let output = tympan.output(&[&["correct", file, "-o", &more], &seen[..]].concat());
        let said = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success(), "{said}");
        assert!(said.contains("was corrected before"), "{file}: {said}");
        let said = tympan.refused(&["run", &more, "--setup", "p", "-o", "twice"]);
        assert!(said.contains("was corrected before"), "{file}: {said}");
    }
}

/// Large cards lie farther out than small ones and near the middle, and go wrong more often.
#[test]
fn rejects_are_expected_by_the_cards_that_the_file_has() {
    let tympan = with_set_up();
    tympan.run(&["read", "--setup", "p", "--ruler", "2mm low, 0.5mm left"]);
    let deck = |name: &str, columns: u32, rows: u32| {
        let page = |letter: &str| {
            let mut page = Drawing::new(A4);
            let (w, h) = (44.0, 63.0);
            let left = (A4.w - f64::from(columns) * (w + 4.0) + 4.0) / 2.0;
            let top = (A4.h - f64::from(rows) * (h + 4.0) + 4.0) / 2.0;
            for column in 0..columns {
                for row in 0..rows {
                    let x = left + f64::from(column) * (w + 4.0);
                    let y = top + f64::from(row) * (h + 4.0);
                    page.fill(Outline::rect(x, y, w, h), Colour::Grey(0.6));
                    page.text(Text::new(x + 18.0, y + 30.0, 8.0, letter));
                }
            }
            page
        };
        let pdf = draw::write(&[page("F"), page("B")], &Meta::new("deck")).expect("a PDF");
        std::fs::write(tympan.path(name), pdf).expect("written");
    };
    deck("one.pdf", 1, 1);
    deck("many.pdf", 4, 4);
    let share = |name: &str| {
        let out = format!("of {name}");
        let told = json(&tympan.run(&[
            "run", name, "--setup", "p", "--bleed", "0.5mm", "-o", &out, "--json",
        ]));
        told["expected_rejects"].as_f64().expect("a share")
    };
    let (one, many) = (share("one.pdf"), share("many.pdf"));
    assert!(one > 0.01 && many > one + 0.05, "{one} and {many}");
}

#[test]
fn sheets_are_made_again_exactly_and_what_was_spoiled_is_in_the_log() {
    let tympan = with_set_up();
    game(&tympan.path("game.pdf"), 6);
    tympan.run(&[
        "run", "game.pdf", "--setup", "p", "-o", "out", "--load", "6",
    ]);
    let told = json(&tympan.run(&[
        "run", "--again", "3-4", "--why", "jam", "-o", "more", "--json",
    ]));
    let files: Vec<String> = told["passes"]
        .as_array()
        .expect("passes")
        .iter()
        .map(|pass| pass["file"].as_str().expect("a name").to_owned())
        .collect();
    assert_eq!(files, ["01-fronts-3-4.pdf", "02-backs-3-4.pdf"]);
    assert_eq!(
        texts(&tympan.path("more/01-fronts-3-4.pdf")),
        ["3 F3 front", "4 F4 front"]
    );
    // The assumed printer takes the pile back in the other order.
    assert_eq!(
        texts(&tympan.path("more/02-backs-3-4.pdf")),
        ["4 B4 back", "3 B3 back"]
    );
    // The second pass of the load stopped at sheet 4, as it went from 6 to 1.
    let told = json(&tympan.run(&[
        "run",
        "--again",
        "4",
        "--stopped-in",
        "back",
        "--why",
        "slipped",
        "-o",
        "rest",
        "--json",
    ]));
    let sheets: Vec<_> = told["passes"].as_array().expect("passes").iter().collect();
    assert_eq!(sheets[0]["sheets"], serde_json::json!([3, 2, 1]));
    assert_eq!(sheets[0]["side"], "back");
    assert_eq!(sheets[1]["sheets"], serde_json::json!([4]));
    assert_eq!(sheets[1]["side"], "front");
    assert_eq!(sheets[2]["side"], "back");
    let log = tympan.run(&["log", "--setup", "p"]);
    assert!(log.contains("3 spoiled (jam 2, slipped 1)"), "{log}");
    let said = tympan.refused(&["run", "--again", "7", "-o", "none"]);
    assert!(said.contains("has sheets 1 to 6"), "{said}");
    assert!(!tympan.path("none").exists());
    // What is printed stays what it was made from.
    game(&tympan.path("game.pdf"), 7);
    let said = tympan.refused(&["run", "--again", "1", "-o", "none"]);
    assert!(
        said.contains("has changed since the run was made"),
        "{said}"
    );
}

#[test]
fn a_run_is_undone_before_paper_moves_and_not_after() {
    let tympan = with_set_up();
    game(&tympan.path("game.pdf"), 2);
    tympan.run(&["run", "game.pdf", "--setup", "p", "-o", "out"]);
    std::fs::write(tympan.path("out/notes.txt"), "mine").expect("written");
    tympan.run(&["run", "--undo"]);
    let left: Vec<_> = std::fs::read_dir(tympan.path("out"))
        .expect("a folder")
        .collect();
    assert_eq!(left.len(), 1, "only what is not the run's own stays");
    let said = tympan.refused(&["run", "--done"]);
    assert!(said.contains("no run was made yet"), "{said}");
    tympan.run(&["run", "game.pdf", "--setup", "p", "-o", "again"]);
    tympan.run(&["run", "--started"]);
    let said = tympan.refused(&["run", "--undo"]);
    assert!(said.contains("paper has moved"), "{said}");
    assert!(tympan.path("again/job-sheet.pdf").exists());
}

#[test]
fn the_machines_duplex_gets_one_file_with_both_sides_by_turns() {
    let tympan = Tympan::new();
    let new = ["setup", "new", "m", "--paper", "a4", "--flip", "sideways"];
    tympan.run(&[&new[..], &["--flipped-by", "machine"]].concat());
    game(&tympan.path("game.pdf"), 3);
    let told = json(&tympan.run(&["run", "game.pdf", "--setup", "m", "-o", "out", "--json"]));
    assert!(told["reload"].is_null() && told["first_side"].is_null());
    let file = told["passes"][0]["file"].as_str().expect("a name");
    let file = tympan.path("out").join(file);
    let meant = [
        "1 F1 front",
        "1 B1 back",
        "2 F2 front",
        "2 B2 back",
        "3 F3 front",
        "3 B3 back",
    ];
    assert_eq!(texts(&file), meant);
    let bytes = std::fs::read(&file).expect("read");
    let duplex = b"/Duplex /DuplexFlipLongEdge";
    assert!(bytes.windows(duplex.len()).any(|w| w == duplex));
}

#[test]
fn one_back_for_all_is_there_once_and_blank_partners_are_put_in() {
    let tympan = with_set_up();
    game(&tympan.path("game.pdf"), 3);
    // Pages F1 B1 F2 B2 F3, and B3 as the back of them all.
    let told = json(&tympan.run(&[
        "run", "game.pdf", "--setup", "p", "-o", "out", "--backs", "last", "--first", "back",
        "--json",
    ]));
    assert_eq!(
        (&told["sheets"], &told["first_side"]),
        (&5.into(), &"back".into())
    );
    let file = told["passes"][0]["file"].as_str().expect("a name");
    let backs = texts(&tympan.path("out").join(file));
    assert_eq!(backs[0], "1 B3 back");
    assert_eq!(backs.len(), 5);
    // Only page 2 is a back: the other fronts get blank partners with their numbers.
    let told = json(&tympan.run(&[
        "run", "game.pdf", "--setup", "p", "-o", "two", "--backs", "2", "--json",
    ]));
    let file = told["passes"][1]["file"].as_str().expect("a name");
    let backs = texts(&tympan.path("two").join(file));
    assert_eq!(backs, ["5 back", "4 back", "3 back", "2 back", "1 B1 back"]);
}

#[test]
fn answers_that_leave_a_doubt_ask_for_a_second_pass() {
    let tympan = with_set_up();
    tympan.run(&["setup", "teach", "p", "-o", "trial.pdf"]);
    assert_eq!(page_count(&tympan.path("trial.pdf")), 2);
    let few = [
        "setup",
        "teach",
        "p",
        "--on-top-sheet",
        "1",
        "--uppermost",
        "2",
    ];
    let said = tympan.run(&[&few[..], &["-o", "second.pdf"]].concat());
    assert!(said.contains("a second pass settles"), "{said}");
    assert_eq!(page_count(&tympan.path("second.pdf")), 2);
    let more = ["--behind", "1", "--same-face", "no", "--heads", "together"];
    let said = tympan.run(&[&few[..], &more].concat());
    assert!(said.starts_with("Learnt how"), "{said}");
    let shown = json(&tympan.run(&["setup", "show", "p", "--json"]));
    assert_eq!(shown["setup"]["behaviour"]["first_page_on"], "top");
    let said = tympan.refused(&["setup", "teach", "p", "--on-top-sheet", "5"]);
    assert!(said.contains("numbers 1 and 2"), "{said}");
}

/// What the program says on a terminal where this is typed.
fn on_a_terminal(tympan: &Tympan, command: &str, typed: &str) -> String {
    let line = format!("exec {} {command}", env!("CARGO_BIN_EXE_tympan"));
    let mut shell = std::process::Command::new("script")
        .args(["--quiet", "--return", "--command", &line, "/dev/null"])
        .current_dir(tympan.path(""))
        .env("TYMPAN_DATA", tympan.path("data"))
        .stdin(std::process::Stdio::piped())
        .stdout(std::process::Stdio::piped())
        .spawn()
        .expect("script runs (apt-get install -y bsdutils)");
    let mut stdin = shell.stdin.take().expect("a pipe");
    std::thread::sleep(std::time::Duration::from_millis(700));
    std::io::Write::write_all(&mut stdin, typed.as_bytes()).expect("typed");
    let output = shell.wait_with_output().expect("it ends");
    drop(stdin);
    String::from_utf8_lossy(&output.stdout).into_owned()
}

/// Where the answers leave a doubt, the second pass is written and asked about at once.
#[test]
fn on_a_terminal_a_doubt_is_settled_by_a_second_pass_that_is_asked_about_at_once() {
    let tympan = with_set_up();
    std::fs::write(tympan.path("second-pass.pdf"), "in the way").expect("written");
    // The uppermost sheet, its face and the face that took the print were not seen.
    let typed = "\n\n1\n\n\n\n\n1\nno\ny\n";
    let said = on_a_terminal(&tympan, "setup teach p", typed);
    assert!(
        said.contains("Write its file to (second-pass-2.pdf)"),
        "{said}"
    );
    assert!(
        said.contains("Take the delivered pile as it lies"),
        "{said}"
    );
    assert!(said.contains("This one is needed"), "{said}");
    assert!(!said.contains(" --"), "{said}");
    assert!(said.contains("Learnt how the printer"), "{said}");
    assert_eq!(page_count(&tympan.path("second-pass-2.pdf")), 2);
    let shown = json(&tympan.run(&["setup", "show", "p", "--json"]));
    assert_eq!(shown["setup"]["behaviour"]["first_page_on"], "top");
    // The name that is typed is taken as it is.
    let said = on_a_terminal(
        &tympan,
        "setup teach p --on-top-sheet 1",
        "Second.pdf\n2\nno\nno\n",
    );
    assert!(tympan.path("Second.pdf").exists(), "{said}");
    // Where nobody answers to the end, it ends, and nothing is kept.
    let said = on_a_terminal(
        &tympan,
        "setup teach p --on-top-sheet 1",
        "Third.pdf\n2\n\u{4}",
    );
    assert!(said.contains("there is no more input"), "{said}");
}

/// On a terminal the questions are asked one by one.
#[test]
fn on_a_terminal_the_questions_are_asked() {
    let tympan = with_set_up();
    let said = tympan.refused(&["setup", "teach", "p"]);
    assert!(said.contains("nothing was seen yet"), "{said}");
    let said = on_a_terminal(&tympan, "setup teach p", "1\nsideways\ndown\n1\np\nhead\n");
    assert!(said.contains("Type one of: up, down."), "{said}");
    assert!(said.contains("Learnt how the printer"), "{said}");
    let shown = json(&tympan.run(&["setup", "show", "p", "--json"]));
    assert_eq!(shown["setup"]["behaviour"]["first_page_comes"], "top");
}

/// Copies share their pages' content: ten copies are hardly larger than one.
#[test]
fn copies_are_expanded_without_copying_their_content() {
    let tympan = with_set_up();
    let mut page = Drawing::new(A4);
    for i in 0..20_000 {
        let i = f64::from(i);
        page.fill(
            Outline::rect(20.0 + i * 0.37 % 160.0, 20.0 + i * 0.613 % 240.0, 1.0, 1.0),
            Colour::Grey(0.3),
        );
    }
    let pages = [page.clone(), page];
    let pdf = draw::write(&pages, &Meta::new("game")).expect("a PDF");
    let one = pdf.len();
    std::fs::write(tympan.path("game.pdf"), pdf).expect("written");
    tympan.run(&[
        "run", "game.pdf", "--setup", "p", "-o", "out", "--copies", "10", "--load", "10",
    ]);
    let size = |name: &str| {
        let about = std::fs::metadata(tympan.path("out").join(name)).expect("a file");
        about.len() as usize
    };
    let written = size("01-fronts-1-10.pdf");
    assert!(written < one, "{written} bytes from {one}");
}
