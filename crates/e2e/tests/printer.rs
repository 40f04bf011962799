//! Printing on real printers: what arrives, and what a person is told when it goes wrong.

mod printers;
#[path = "common/program.rs"]
mod program;

use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

use printers::{
    Device, Gate, Isle, Picture, Said, Service, poppler, refusal, send, text, wait_for, words,
    write_pass,
};

/// Finds a rule by its place, 100 to 101 mm from the head, and measures it, mm.
fn rule_mm(page: &Picture, dpi: f64) -> f64 {
    let row = (100.5 / 25.4 * dpi) as usize;
    let (first, last) = page.dark(row);
    (last + 1 - first) as f64 / dpi * 25.4
}

fn pass(isle: &Isle, pages: usize) -> String {
    let file = isle.path("pass.pdf");
    write_pass(&file, pages);
    text(&file).to_owned()
}

#[test]
fn a_pdf_reaches_the_rear_tray_byte_for_byte_with_scaling_off_and_exact_margins() {
    let isle = Isle::new();
    let printer = Device::start(&isle, "Inkling", "rear.conf");
    let file = pass(&isle, 3);
    let address = printer.address();
    let told = isle.done(&[
        "print",
        &file,
        "--printer",
        &address,
        "--source",
        "rear",
        "--type",
        "cardstock",
        "--quality",
        "high",
        "--yes",
    ]);
    assert_eq!(told["printed"], true);
    assert_eq!(told["plan"]["way"], "pdf");
    assert_eq!(told["outcome"]["sheets_out"], 3);
    let sent = std::fs::read(&file).expect("the pass");
    let arrived = std::fs::read(printer.document(1)).expect("a document");
    assert!(sent == arrived, "the file was changed on the way");
    assert_eq!(printer.asked(1, "print-scaling"), "none");
    assert_eq!(printer.asked(1, "sides"), "one-sided");
    assert_eq!(printer.asked(1, "print-quality"), "high");
    // The sheet with margins, not the one printed to the edge, which printers enlarge.
    let media = printer.asked(1, "media-col");
    for member in [
        "x-dimension=21000",
        "y-dimension=29700",
        "media-top-margin=300",
        "media-right-margin=300",
        "media-bottom-margin=1400",
        "media-left-margin=300",
        "media-source=rear",
        "media-type=cardstock",
    ] {
        assert!(media.contains(member), "{member} is not in {media}");
    }
    for page in poppler(&printer.document(1), 254) {
        let rule = rule_mm(&page, 254.0);
        assert!((rule - 190.0).abs() < 0.15, "{rule}");
    }
}

#[test]
fn sheets_from_the_middle_are_sent_as_a_file_of_their_own() {
    let isle = Isle::new();
    let printer = Device::start(&isle, "Quoin", "duplex.conf");
    let file = pass(&isle, 7);
    let address = printer.address();
    let print = |more: &[&str]| {
        isle.done(&[&["print", &file, "--printer", &address, "--yes"], more].concat())
    };
    print(&["--sheets", "2-3"]);
    assert_eq!(words(&printer.document(1)), ["page 2", "page 3"]);
    assert_eq!(printer.asked(1, "sides"), "one-sided");
    // The machine's own duplex: sheets 3 and 4 are pages 5 to 7, and the last back is blank.
    let told = print(&["--from-sheet", "3", "--sides", "long-edge"]);
    assert_eq!(words(&printer.document(2)), ["page 5", "page 6", "page 7"]);
    assert_eq!(printer.asked(2, "sides"), "two-sided-long-edge");
    assert_eq!(told["outcome"]["sheets_out"], 2);
    for page in poppler(&printer.document(2), 254) {
        let rule = rule_mm(&page, 254.0);
        assert!((rule - 190.0).abs() < 0.15, "{rule}");
    }
}

/// PWG 5102.4, `pwg-raster-document-sheet-back`: rotated is half a turn for the long edge only,
/// manual-tumble for the short edge only; flipped begins at the bottom left for the long edge, at
/// the top right for the short one.
#[test]
fn raster_has_the_pages_dot_for_dot_and_the_backs_as_each_printer_wants_them() {
    let kinds = [
        ("raster-rotated.conf", "long-edge", (-1, -1)),
        ("raster-rotated.conf", "short-edge", (1, 1)),
        ("raster-manual-tumble.conf", "long-edge", (1, 1)),
        ("raster-manual-tumble.conf", "short-edge", (-1, -1)),
        ("raster-flipped.conf", "long-edge", (1, -1)),
        ("raster-flipped.conf", "short-edge", (-1, 1)),
    ];
    let isle = Isle::new();
    let file = pass(&isle, 2);
    let truth = poppler(Path::new(&file), 300);
    for (at, (conf, edge, back)) in kinds.into_iter().enumerate() {
        let name = ["a", "b", "c", "d", "e", "f"][at];
        let printer = Device::start(&isle, name, conf);
        let address = printer.address();
        let grey: &[&str] = if at % 2 == 0 { &[] } else { &["--grey"] };
        let asked = [
            "print",
            &file,
            "--printer",
            &address,
            "--yes",
            "--sides",
            edge,
        ];
        let told = isle.done(&[&asked[..], grey].concat());
        assert_eq!(told["plan"]["way"], "raster", "{conf}");
        let headers = printer.headers(1);
        assert_eq!(headers.len(), 2);
        for (side, header) in headers.iter().enumerate() {
            assert_eq!(header["media_class"], "PwgRaster");
            assert_eq!(header["page_size_name"], "iso_a4_210x297mm");
            assert_eq!(
                (&header["width"], &header["height"]),
                (&2480.into(), &3507.into())
            );
            assert_eq!(header["dpi_across"], 300);
            assert_eq!(header["dpi_along"], 300);
            assert_eq!(header["points_wide"], 595);
            assert_eq!(header["points_high"], 842);
            assert_eq!(header["duplex"], 1);
            assert_eq!(header["tumble"], u32::from(edge == "short-edge"));
            assert_eq!(header["total_pages"], 2);
            let (space, bits) = if grey.is_empty() { (19, 24) } else { (18, 8) };
            assert_eq!(header["colour_space"], space);
            assert_eq!(header["bits_per_pixel"], bits);
            let wanted = if side == 0 { (1, 1) } else { back };
            let got = (&header["cross_feed"], &header["feed"]);
            assert_eq!(got, (&wanted.0.into(), &wanted.1.into()), "{conf} {edge}");
        }
        let pages = printer.pictures(1);
        assert_eq!(pages.len(), 2);
        for (page, truth) in pages.iter().zip(&truth) {
            let rule = rule_mm(page, 300.0);
            assert!((rule - 190.0).abs() < 0.13, "{conf} {edge}: {rule}");
            // Greys at edges are drawn a little differently by every renderer.
            let difference = page.difference(truth);
            assert!(difference < 1e-3, "{conf} {edge}: {difference}");
        }
    }
}

#[test]
fn a_printer_that_says_nothing_of_scaling_gets_pictures_even_though_it_takes_pdf() {
    let isle = Isle::new();
    let printer = Device::start(&isle, "Quoin", "no-scaling.conf");
    let file = pass(&isle, 1);
    let address = printer.address();
    let told = isle.done(&["print", &file, "--printer", &address, "--yes"]);
    assert_eq!(told["plan"]["way"], "raster");
    assert_eq!(printer.headers(1)[0]["bits_per_pixel"], 1);
    let page = &printer.pictures(1)[0];
    let rule = rule_mm(page, 300.0);
    assert!((rule - 190.0).abs() < 0.13, "{rule}");
    // The block of dark blue is made of dots: about as many black ones as it is dark.
    let dots = (0..100 * 100).map(|i| page.at(300 + i % 100, 350 + i / 100));
    let black = dots.filter(|dot| *dot == 0).count() as f64 / 10_000.0;
    assert!((black - 0.79).abs() < 0.05, "{black}");
}

#[test]
fn a_printer_that_may_scale_and_takes_no_pictures_is_sent_nothing() {
    let isle = Isle::new();
    let printer = Device::start(&isle, "Quoin", "may-scale.conf");
    let file = pass(&isle, 1);
    let address = printer.address();
    let said = isle.refused(&["print", &file, "--printer", &address, "--yes"]);
    assert!(
        said.contains("does not say that it can leave the size alone"),
        "{said}"
    );
    assert!(said.contains("at 100 %"), "{said}");
    assert_eq!(printer.jobs(), 0);
}

/// The way through a print service and its filters: what comes out of it is measured as a user
/// would, since its own word that it scales nothing is not taken.
#[test]
fn a_queue_is_printed_to_with_a_warning_and_its_rule_still_measures_190_mm() {
    let isle = Isle::new();
    let printer = Device::start(&isle, "Quoin", "duplex.conf");
    let _service = Service::start(&isle, "study", &printer);
    let file = pass(&isle, 3);
    let told = isle.done(&["print", "--list"]);
    assert_eq!(told["queues"][0]["name"], "study");
    let address = told["queues"][0]["address"].as_str().expect("an address");
    let args = ["print", &file, "--printer", address, "--yes"];
    let output = isle.tympan(&args).output().expect("it runs");
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{said}");
    assert!(said.contains("its filters may scale the pages"), "{said}");
    wait_for("the queue has printed", || printer.jobs() == 1);
    // Its filters are told to leave the size alone.
    let log = std::fs::read_to_string(isle.path("cups/log/error")).expect("the service's log");
    let options = log.lines().find(|line| line.contains("argv[5]="));
    assert!(
        options.is_some_and(|line| line.contains("print-scaling=none")),
        "{options:?}"
    );
    let document = printer.document(1);
    assert_eq!(words(&document), ["page 1", "page 2", "page 3"]);
    for page in poppler(&document, 254) {
        let rule = rule_mm(&page, 254.0);
        assert!((rule - 190.0).abs() < 0.15, "{rule}");
    }
}

#[test]
fn what_a_printer_lacks_is_told_before_anything_is_sent() {
    let isle = Isle::new();
    let printer = Device::start(&isle, "Inkling", "rear.conf");
    let file = pass(&isle, 1);
    let address = printer.address();
    let refused = |more: &[&str]| {
        isle.refused(&[&["print", &file, "--printer", &address, "--yes"], more].concat())
    };
    let said = refused(&["--source", "by-pass-tray"]);
    assert!(
        said.contains("no tray or path called \"by-pass-tray\""),
        "{said}"
    );
    assert!(said.contains("auto, main, rear"), "{said}");
    let said = refused(&["--source", "main", "--type", "cardstock"]);
    assert!(
        said.contains("does not take that sheet from there"),
        "{said}"
    );
    let said = refused(&["--sides", "long-edge"]);
    assert!(said.contains("in two passes"), "{said}");
    let said = refused(&["--paper", "a3"]);
    assert!(
        said.contains("the pages are 210 × 297 mm, but A3 is 297 × 420 mm"),
        "{said}"
    );
    let said = refused(&["--sheets", "2"]);
    assert!(said.contains("this file has 1 sheet"), "{said}");
    assert_eq!(printer.jobs(), 0);
}

#[test]
fn nothing_is_printed_without_a_yes_that_shows_sheets_stock_and_what_is_at_stake() {
    let isle = Isle::new();
    let printer = Device::start(&isle, "Inkling", "rear.conf");
    let file = pass(&isle, 2);
    let address = printer.address();
    isle.done(&[
        "setup",
        "new",
        "cards",
        "--paper",
        "a4",
        "--flip",
        "sideways",
        "--stock",
        "65 lb cover",
        "--feed",
        "rear tray",
        "--media-type",
        "cardstock",
    ]);
    let args = ["print", &file, "--printer", &address, "--setup", "cards"];
    let said = isle.refused(&args);
    for words in [
        "Print 2 sheets on",
        "65 lb cover, from rear, as cardstock",
        "spoils up to 2 sheets of 65 lb cover",
        "nobody said yes",
    ] {
        assert!(said.contains(words), "\"{words}\" is not in\n{said}");
    }
    let plan = isle.done(&[&args[..], &["--plan"]].concat());
    assert_eq!(plan["printed"], false);
    assert_eq!(printer.jobs(), 0);
    // On a terminal: anything but a yes in full prints nothing.
    let on_terminal = |answer: &str| {
        let line = format!(
            "exec {} {}",
            program::program().display(),
            args.map(|a| format!("'{a}'")).join(" ")
        );
        let mut shell = isle
            .command(Path::new("script"))
            .args(["--quiet", "--return", "--command", &line, "/dev/null"])
            .env("TYMPAN_DATA", isle.path("data"))
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("script (util-linux) runs");
        let mut stdin = shell.stdin.take().expect("a pipe");
        // The terminal is there when the question is.
        std::thread::sleep(std::time::Duration::from_millis(1500));
        writeln!(stdin, "{answer}").expect("typed");
        let output = shell.wait_with_output().expect("it ends");
        drop(stdin);
        String::from_utf8_lossy(&output.stdout).into_owned()
    };
    let said = on_terminal("y");
    assert!(said.contains("nothing was printed"), "{said}");
    assert_eq!(printer.jobs(), 0);
    let said = on_terminal("yes");
    assert!(said.contains("2 sheets are printed"), "{said}");
    assert_eq!(printer.jobs(), 1);
}

#[test]
fn printers_are_found_on_the_network_and_called_by_their_names() {
    let isle = Isle::new();
    let printer = Device::start(&isle, "Study Printer", "rear.conf");
    let told = isle.done(&["print", "--list"]);
    let found = told["found"].as_array().expect("a list");
    let ours = found.iter().find(|f| f["name"] == "Study Printer");
    let ours = ours.unwrap_or_else(|| panic!("not found: {told}"));
    assert_eq!(ours["address"], printer.address());
    let secure = ours["secure_address"].as_str().expect("an address");
    assert!(secure.starts_with("ipps://127.0.0.1:"), "{secure}");
    let told = isle.done(&["print", "--printer", "study printer", "--abilities"]);
    let abilities = &told["abilities"];
    assert_eq!(abilities["model"], "Inkling R200");
    assert_eq!(abilities["media"].as_array().map(Vec::len), Some(5));
    assert_eq!(abilities["media"][2]["margins"]["bottom"], 14.0);
    assert_eq!(abilities["delivery"][0]["face_up"], true);
    assert_eq!(abilities["delivery"][0]["first_on_top"], false);
    let said = isle.refused(&["print", "--printer", "Hall Printer", "--abilities"]);
    assert!(said.contains("\"Study Printer\""), "{said}");
}

#[test]
fn out_of_paper_and_a_jam_are_told_and_the_run_goes_on_by_itself() {
    let isle = Isle::new();
    let printer = Device::start(&isle, "Inkling", "rear.conf");
    let file = pass(&isle, 4);
    for (behaviour, words) in [
        (
            "empty 2",
            "The printer is out of paper: load more of the same stock the same way round",
        ),
        (
            "jam 3",
            "Paper is jammed in the printer: open it as its maker shows",
        ),
    ] {
        printer.behave(behaviour);
        let _ = std::fs::remove_file(isle.path("printer Inkling/mended"));
        let address = printer.address();
        let mut child = isle
            .tympan(&["print", &file, "--printer", &address, "--yes", "--json"])
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("it runs");
        let mut said = Said::of(&mut child);
        said.wait_for(words);
        printer.mend();
        said.wait_for("Mended");
        let output = child.wait_with_output().expect("it ends");
        assert!(output.status.success());
        let told: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
        assert_eq!(told["outcome"]["ended"], "printed");
        assert_eq!(told["outcome"]["sheets_out"], 4);
    }
}

#[test]
fn a_job_that_the_printer_gives_up_is_gone_on_with_from_the_right_sheet() {
    let isle = Isle::new();
    let printer = Device::start(&isle, "Quoin", "duplex.conf");
    let file = pass(&isle, 6);
    let address = printer.address();
    // Three sides are done: one sheet is whole, the second has no back.
    printer.behave("abort 3");
    let args = [
        "print",
        &file,
        "--printer",
        &address,
        "--yes",
        "--sides",
        "long-edge",
    ];
    let said = isle.refused(&args);
    assert!(
        said.contains("gave the job up after 1 of 3 sheets"),
        "{said}"
    );
    assert!(said.contains("could not be picked up"), "{said}");
    assert!(said.contains("--from-sheet 2"), "{said}");
    printer.behave("well");
    isle.done(&[&args[..], &["--from-sheet", "2"]].concat());
    assert_eq!(
        words(&printer.document(2)),
        ["page 3", "page 4", "page 5", "page 6"]
    );
}

#[test]
fn a_printer_that_goes_off_in_the_middle_loses_the_job_and_the_sheets_out_are_known() {
    let isle = Isle::new();
    let mut printer = Device::start(&isle, "Inkling", "rear.conf");
    let file = pass(&isle, 5);
    printer.behave("hang 2");
    let address = printer.address();
    let mut child = isle
        .tympan(&["print", &file, "--printer", &address, "--yes"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it runs");
    let mut said = Said::of(&mut child);
    wait_for("two sheets are out", || printer.has("hanging"));
    // The printer is asked twice a second; let it be asked once more.
    std::thread::sleep(std::time::Duration::from_millis(1500));
    printer.switch_off();
    said.wait_for("cannot be reached");
    printer.switch_on();
    let status = child.wait().expect("it ends");
    let said = said.whole();
    assert_eq!(status.code(), Some(1), "{said}");
    assert!(
        said.contains("the job was lost after 2 of 5 sheets"),
        "{said}"
    );
    assert!(said.contains("the printer was off in between"), "{said}");
    assert!(said.contains("--from-sheet 3"), "{said}");
}

#[test]
fn a_printer_that_hangs_or_is_not_there_is_told_within_ones_patience() {
    let isle = Isle::new();
    let printer = Device::start(&isle, "Inkling", "rear.conf");
    let address = printer.address();
    printer.signal("STOP");
    let ask = [
        "print",
        "--printer",
        &address,
        "--abilities",
        "--patience",
        "2",
    ];
    let said = isle.refused(&ask);
    assert!(
        said.contains("does not answer; 2 seconds were waited"),
        "{said}"
    );
    printer.signal("CONT");
    let said = isle.refused(&["print", "--printer", "127.0.0.1:9", "--abilities"]);
    assert!(said.contains("nothing listens at that port"), "{said}");
    assert!(said.contains("switch the printer on"), "{said}");
    let said = isle.refused(&["print", "--printer", "ipp://nowhere.invalid", "--abilities"]);
    assert!(
        said.contains("cannot be reached: there is no such name"),
        "{said}"
    );
}

#[test]
fn ctrl_c_cancels_the_job_at_the_printer_and_tells_how_many_sheets_are_out() {
    let isle = Isle::new();
    let printer = Device::start(&isle, "Inkling", "rear.conf");
    let file = pass(&isle, 5);
    printer.behave("hang 1");
    let address = printer.address();
    let mut child = isle
        .tympan(&["print", &file, "--printer", &address, "--yes"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it runs");
    let said = Said::of(&mut child);
    wait_for("a sheet is out", || printer.has("hanging"));
    std::thread::sleep(std::time::Duration::from_millis(1500));
    send("INT", &child);
    let status = child.wait().expect("it ends");
    let said = said.whole();
    assert_eq!(status.code(), Some(1), "{said}");
    assert!(
        said.contains("printing was cancelled after 1 of 5 sheets"),
        "{said}"
    );
    assert!(said.contains("--from-sheet 2"), "{said}");
    assert!(
        printer.log().contains("Cancel-Job successful-ok"),
        "{}",
        printer.log()
    );
}

#[test]
fn a_printers_own_certificate_is_asked_about_once_and_another_one_is_not_taken() {
    let isle = Isle::new();
    let mut printer = Device::start(&isle, "Inkling", "rear.conf");
    let address = printer.secure_address();
    let ask = ["print", "--printer", &address, "--abilities"];
    let said = isle.refused(&ask);
    assert!(
        said.contains("shows a certificate that is not known here"),
        "{said}"
    );
    // openssl says what the fingerprint is.
    let certificate = std::fs::read_dir(printer.keys())
        .expect("the printer's keys")
        .flatten()
        .map(|entry| entry.path())
        .find(|path| path.extension().is_some_and(|end| end == "crt"))
        .expect("a certificate");
    let output = Command::new("openssl")
        .args(["x509", "-noout", "-fingerprint", "-sha256", "-in"])
        .arg(&certificate)
        .output()
        .expect("openssl runs");
    let line = String::from_utf8(output.stdout).expect("text");
    let fingerprint = line.trim().split_once('=').expect("a fingerprint").1;
    assert!(
        said.contains(fingerprint),
        "{fingerprint} is not in\n{said}"
    );
    isle.done(&[&ask[..], &["--certificate", fingerprint]].concat());
    // From now on it is known.
    let told = isle.done(&ask);
    assert_eq!(told["abilities"]["model"], "Inkling R200");
    let file = pass(&isle, 1);
    isle.done(&["print", &file, "--printer", &address, "--yes"]);
    let sent = std::fs::read(&file).expect("the pass");
    assert!(sent == std::fs::read(printer.document(1)).expect("a document"));
    // A factory reset.
    printer.switch_off();
    std::fs::remove_dir_all(printer.keys()).expect("removed");
    std::fs::create_dir(printer.keys()).expect("made");
    printer.switch_on();
    let said = isle.refused(&ask);
    assert!(
        said.contains("shows another certificate than before"),
        "{said}"
    );
    assert!(said.contains("something else may answer"), "{said}");
}

#[test]
fn a_printer_that_wants_a_password_gets_it_and_says_so_where_it_is_wrong() {
    let isle = Isle::new();
    let more = ["-A", "--pam-service", "other"];
    let printer = Device::start_with(&isle, "Inkling", "rear.conf", &more);
    let file = pass(&isle, 1);
    let address = printer.address();
    let args = ["print", &file, "--printer", &address, "--yes"];
    let said = isle.refused(&args);
    assert!(said.contains("wants a password"), "{said}");
    assert!(said.contains("--password-file"), "{said}");
    let user = Command::new("id").arg("-un").output().expect("id runs");
    let user = String::from_utf8(user.stdout).expect("text");
    let with = |password: &str| {
        let secret = isle.path("secret");
        std::fs::write(&secret, format!("{password}\n")).expect("written");
        let output = isle
            .tympan(&args)
            .args(["--user", user.trim(), "--password-file", text(&secret)])
            .output();
        output.expect("it runs")
    };
    let said = refusal(&with("pricked once"));
    assert!(
        said.contains("does not take this name and password"),
        "{said}"
    );
    assert_eq!(printer.jobs(), 0);
    let output = with("pricked twice");
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    assert_eq!(printer.jobs(), 1);
}

/// RFC 7616: the password itself is never sent, so the connection may be open to others.
#[test]
fn a_printer_that_wants_a_digest_gets_it_over_an_open_connection_and_never_the_password() {
    let isle = Isle::new();
    let printer = Device::start(&isle, "Inkling", "rear.conf");
    let file = pass(&isle, 3);
    let secret = isle.path("secret");
    let mut jobs = 0;
    // What a printer makes up may be good for many requests, or for one.
    for (algorithm, uses) in [("SHA-256", 1000), ("MD5", 1)] {
        let gate = Gate::start(&isle, &printer, algorithm, uses);
        let address = gate.open_address();
        let args = ["print", &file, "--printer", &address, "--yes"];
        let said = isle.refused(&args);
        assert!(said.contains("wants a password"), "{said}");
        let (name, right) = Gate::OPENS;
        let with = |password: &str| {
            std::fs::write(&secret, format!("{password}\n")).expect("written");
            let output = isle
                .tympan(&args)
                .args(["--user", name, "--password-file", text(&secret)])
                .output();
            output.expect("it runs")
        };
        let said = refusal(&with("pricked once"));
        assert!(
            said.contains("does not take this name and password"),
            "{said}"
        );
        assert_eq!(printer.jobs(), jobs);
        let output = with(right);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(output.status.success(), "{algorithm}: {said}");
        jobs += 1;
        assert_eq!(printer.jobs(), jobs, "{algorithm}");
        let arrived = std::fs::read(printer.document(jobs)).expect("a document");
        assert!(
            arrived == std::fs::read(&file).expect("the pass"),
            "{algorithm}"
        );
        let log = gate.log();
        assert!(
            log.contains("nc=00000001") && !log.contains("Basic"),
            "{log}"
        );
        assert_eq!(log.contains("nc=00000003"), uses > 1, "{log}");
        assert!(!log.contains("pricked"), "{log}");
    }
}

/// A printer has no password for a file: it gets pictures of the pages, or nothing.
#[test]
fn a_file_that_is_locked_is_sent_as_pictures() {
    let isle = Isle::new();
    let printer = Device::start(&isle, "Inkling", "duplex.conf");
    let open = pass(&isle, 2);
    let locked = isle.path("locked.pdf");
    let made = Command::new("qpdf")
        .args([
            "--encrypt",
            "ferry",
            "owner",
            "256",
            "--",
            &open,
            text(&locked),
        ])
        .status();
    assert!(made.expect("qpdf runs").success());
    let address = printer.address();
    let args = ["print", text(&locked), "--printer", &address, "--yes"];
    let said = isle.refused(&args);
    assert!(said.contains("is locked with a password"), "{said}");
    isle.done(&[&args[..], &["--password", "ferry"]].concat());
    let dpi = printer.headers(1)[0]["dpi_across"]
        .as_u64()
        .expect("a number") as u32;
    let (sent, drawn) = (printer.pictures(1), poppler(Path::new(&open), dpi));
    assert_eq!(sent.len(), 2);
    let rule = rule_mm(&sent[0], f64::from(dpi));
    assert!((rule - 190.0).abs() < 0.2, "{rule}");
    assert!(sent[1].difference(&drawn[1]) < 0.01);
    let only_pdf = Device::start(&isle, "Quill", "may-scale.conf");
    let address = only_pdf.address();
    let args = ["print", text(&locked), "--printer", &address, "--yes"];
    let said = isle.refused(&[&args[..], &["--password", "ferry"]].concat());
    assert!(said.contains("the printer cannot open it"), "{said}");
    assert_eq!(only_pdf.jobs(), 0);
}
