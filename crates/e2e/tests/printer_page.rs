//! Printing from the page on a real printer, on a network that has nothing but the loopback in it:
//! the test starts itself once more inside that network, with browser and all.

mod common;
mod printers;

use std::process::Stdio;

use common::browser::Visitor;
use common::{Server, by_command, program};
use printers::{Device, Isle, refusal, text, wait_for, words};

fn inside(isle: &Isle, test: &str, printer: &Device<'_>, address: &str) {
    let this = std::env::current_exe().expect("this test's own file");
    let output = isle
        .command(&this)
        .args(["--exact", test, "--ignored", "--nocapture"])
        .env("TYMPAN_TEST_PRINTER", address)
        .env("TYMPAN_TEST_FOLDER", isle.path("printer Inkling"))
        .env("HOME", isle.path(""))
        .stdin(Stdio::null())
        .output()
        .expect("it starts");
    let said = String::from_utf8_lossy(&output.stdout).into_owned()
        + &String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{said}\n{}", printer.log());
    assert!(said.contains("1 passed"), "{said}");
}

/// A run of two loads that is released, on its page.
async fn released(visitor: &Visitor, server: &Server) {
    let answers = br#"{"printer": "the grey one", "paper": "a4", "stock": "300 gsm matt", "feed": "rear tray",
        "media_type": "cardstock", "flip": "sideways", "flipped_by": "hand", "first_side": "front", "leading_edge": "head"}"#;
    assert_eq!(server.post("/api/setups", answers).status, 201);
    visitor.go(&server.address).await;
    visitor.click("#demo").await;
    visitor
        .until("document.querySelector('#looking')?.textContent.startsWith('Looking')")
        .await;
    visitor.click("a[href$='/run']").await;
    visitor.until("document.querySelector('#run-form')").await;
    let _: bool = visitor
        .ask("(document.querySelector('#load').value = '3', true)")
        .await;
    visitor.click("#run-form button[type=submit]").await;
    visitor.until("document.querySelector('#run')").await;
    visitor.click("#release").await;
    visitor
        .until("document.querySelector('#run').dataset.state === 'printing'")
        .await;
}

/// What would be printed is shown.
const PLAN: &str = "!document.querySelector('#plan').hidden";
const PRINTED: &str = "document.querySelector('#going-answer')?.textContent === 'Printed.'";

async fn ask(visitor: &Visitor, address: &str) {
    visitor
        .until("document.readyState === 'complete' && document.querySelector('#address')")
        .await;
    visitor.write("#address", address).await;
    visitor.click("#printer button[type=submit]").await;
}

#[test]
fn a_pass_is_printed_from_the_page_after_a_yes_and_gone_on_with_after_a_fault() {
    let isle = Isle::new();
    let printer = Device::start(&isle, "Inkling", "rear.conf");
    printer.behave("abort 1");
    inside(&isle, "from_the_page", &printer, &printer.address());
    // What arrived: the first job broke off, the second had what was left, with scaling off.
    assert_eq!(printer.jobs(), 2);
    assert_eq!(printer.asked(2, "print-scaling"), "none");
    assert_eq!(printer.asked(2, "sides"), "one-sided");
    let media = printer.asked(2, "media-col");
    assert!(
        media.contains("media-source=rear") && media.contains("media-type=cardstock"),
        "{media}"
    );
    let (first, second) = (words(&printer.document(1)), words(&printer.document(2)));
    assert_eq!((first.len(), second.len()), (3, 2));
    assert_eq!(first[1..], second[..]);
}

#[tokio::test(flavor = "multi_thread")]
#[ignore = "started by the test above, inside its network"]
async fn from_the_page() {
    let address = std::env::var("TYMPAN_TEST_PRINTER").expect("started by the other test");
    let folder = std::path::PathBuf::from(std::env::var("TYMPAN_TEST_FOLDER").expect("given"));
    let server = Server::start();
    let visitor = Visitor::come().await;
    released(&visitor, &server).await;
    visitor.click("a[href*='/print/0/01-fronts']").await;
    visitor.until("document.querySelector('#printer')").await;
    visitor.look("print-first").await;
    // Nothing is looked for unasked; then it is found.
    visitor.click("#find").await;
    visitor
        .until("document.querySelector('#found button')?.textContent.includes('Inkling')")
        .await;
    visitor.look("print-found").await;
    // Where nothing answers, that is said.
    let run: String = visitor
        .ask("document.querySelector('#print').dataset.at.split('/')[3]")
        .await;
    let file: String = visitor
        .ask("document.querySelector('#print').dataset.file")
        .await;
    let wish = serde_json::json!({ "wish": { "file": file, "printer": "127.0.0.1:9" } });
    let plan = format!("/api/run/{run}/print/plan");
    let refused = server.post(&plan, wish.to_string().as_bytes());
    assert_eq!(refused.status, 422);
    assert!(refused.message().contains("nothing listens at that port"));
    // Nothing is printed without a yes to just so many sheets.
    let wish = serde_json::json!({ "wish": { "file": file, "printer": address, "agreed": 3 } });
    let start = format!("/api/run/{run}/print/start");
    let refused = server.post(&start, wish.to_string().as_bytes());
    assert!(refused.message().contains("nobody said yes"));
    ask(&visitor, &address).await;
    visitor.until(PLAN).await;
    let plan = visitor.text("#plan").await;
    for told in [
        "300 gsm matt",
        "from rear",
        "as cardstock",
        "PDF, scaling off",
        "Yes, print 3 sheets",
    ] {
        assert!(plan.contains(told), "{told} is not in {plan}");
    }
    let stake = visitor.text("#plan-stake").await;
    assert_eq!(stake, "A mistake spoils up to 3 sheets of 300 gsm matt.");
    visitor.look("print-plan").await;
    // A no is a no.
    visitor.click("#no").await;
    visitor
        .until("document.querySelector('#plan').hidden")
        .await;
    ask(&visitor, &address).await;
    visitor.until(PLAN).await;
    visitor.click("#yes").await;
    visitor.until("document.querySelector('#go-on')").await;
    let answer = visitor.text("#going-answer").await;
    assert!(
        answer.contains("gave the job up after 1 of 3 sheets"),
        "{answer}"
    );
    visitor.look("print-stopped").await;
    // Out of paper meanwhile: said, and mended.
    std::fs::write(folder.join("behaviour"), "empty 1\n").expect("written");
    visitor.click("#go-on button").await;
    visitor
        .until("document.querySelector('#yes').textContent === 'Yes, print 2 sheets' && !document.querySelector('#plan').hidden")
        .await;
    visitor.click("#yes").await;
    visitor
        .until("document.querySelector('#going-said')?.textContent.includes('out of paper')")
        .await;
    visitor.look("print-empty").await;
    // A reload finds it going on.
    visitor.page.reload().await.expect("reloaded");
    visitor
        .until("document.querySelector('#going-said')?.textContent.includes('out of paper') && document.querySelector('#going-bar')")
        .await;
    std::fs::write(folder.join("mended"), "").expect("written");
    visitor
        .until("document.querySelector('#going-answer').textContent === 'Printed.'")
        .await;
    visitor.look("printed").await;
    // The pass is ticked on the run's page, and what was sent is in the log.
    visitor.click("a[href^='/run/']").await;
    visitor
        .until("document.querySelector(\"[data-step^='pass 0 01-fronts']\")?.checked")
        .await;
    let log = by_command(&[
        "--data",
        &server.data.display().to_string(),
        "log",
        "--setup",
        "the grey one, rear tray, 300 gsm matt",
    ]);
    assert!(
        log.contains("3 fronts sent to Inkling, 1 came out"),
        "{log}"
    );
    assert!(
        log.contains("2 fronts sent to Inkling, all printed"),
        "{log}"
    );
    visitor.leave().await;
}

/// What would be printed is agreed to, and printed.
async fn print_it(visitor: &Visitor, address: &str, yes: &str) {
    ask(visitor, address).await;
    visitor.until(PLAN).await;
    assert_eq!(visitor.text("#yes").await, yes);
    visitor.click("#yes").await;
    visitor.until(PRINTED).await;
}

#[test]
fn test_sheets_teaching_sheets_corrected_and_laid_files_go_straight_to_the_printer() {
    let isle = Isle::new();
    let printer = Device::start(&isle, "Inkling", "duplex.conf");
    inside(&isle, "without_a_run", &printer, &printer.address());
    let pages = |job: usize| words(&printer.document(job)).len();
    assert_eq!(printer.jobs(), 5);
    for job in 1..=3 {
        assert_eq!(printer.asked(job, "sides"), "one-sided");
        assert_eq!(printer.asked(job, "print-scaling"), "none");
    }
    // Test sheets by hand: two fronts, then one of the two backs; then the two sheets that teach.
    assert_eq!((pages(1), pages(2), pages(3)), (2, 1, 2));
    assert!(
        printer
            .asked(1, "media-col")
            .contains("media-source=by-pass-tray")
    );
    let sheet = words(&printer.document(3));
    assert!(
        sheet[0].contains("head") && sheet[0].contains('1'),
        "{}",
        sheet[0]
    );
    for job in 4..=5 {
        assert_eq!(printer.asked(job, "sides"), "two-sided-long-edge");
        assert_eq!(printer.asked(job, "print-scaling"), "none");
    }
}

#[tokio::test(flavor = "multi_thread")]
#[ignore = "started by the test above, inside its network"]
async fn without_a_run() {
    let address = std::env::var("TYMPAN_TEST_PRINTER").expect("started by the other test");
    let server = Server::start();
    let visitor = Visitor::come().await;
    let answers =
        br#"{"printer": "the grey one", "paper": "a4", "stock": "300 gsm matt", "feed": "by-pass",
        "flip": "sideways", "flipped_by": "hand", "first_side": "front", "leading_edge": "head"}"#;
    let made = server.post("/api/setups", answers);
    assert_eq!(made.status, 201);
    let setup = made.json()["id"].as_str().expect("an id").to_owned();
    // Test sheets: the fronts, then the backs.
    let sheets = format!("/api/setup/{setup}/test-sheets");
    assert_eq!(server.post(&sheets, br#"{"sheets": 2}"#).status, 201);
    visitor
        .go(&format!("{}setup/{setup}/measure", server.address))
        .await;
    visitor.click("#issued a[href^='/print/0/test/']").await;
    visitor.until("document.querySelector('#printer')").await;
    visitor.look("print-test-sheets").await;
    print_it(&visitor, &address, "Yes, print 2 sheets").await;
    visitor.click("a[href^='/print/1/test/']").await;
    visitor
        .until("document.querySelector('#sheets')?.placeholder === '3-4'")
        .await;
    // No front is printed with the backs.
    visitor.write("#sheets", "2-").await;
    ask(&visitor, &address).await;
    visitor
        .until("document.querySelector('#problem').textContent.includes('This pass has the sheets 3 to 4')")
        .await;
    visitor.was_refused(422).await;
    visitor.write("#sheets", "4").await;
    print_it(&visitor, &address, "Yes, print 1 sheet").await;
    // The two sheets that teach how a pile goes back.
    visitor
        .go(&format!("{}setup/{setup}/teach", server.address))
        .await;
    visitor.click("a[href^='/print/0/trial/']").await;
    print_it(&visitor, &address, "Yes, print 2 sheets").await;
    visitor.look("printed-teaching-sheets").await;
    // A corrected file: both sides by the machine.
    visitor.go(&server.address).await;
    visitor.click("#demo").await;
    visitor
        .until("document.querySelector('#looking')?.textContent.startsWith('Looking')")
        .await;
    visitor.enter("#words", "2mm low").await;
    visitor
        .until("document.querySelector('#answer').textContent.includes('2 mm too low')")
        .await;
    visitor.click("#save").await;
    visitor.downloaded().await;
    visitor
        .until("!document.querySelector('#saved').hidden")
        .await;
    let work: String = visitor.ask("location.pathname").await;
    visitor.click("a[href^='/print/0/saved/']").await;
    visitor.until("document.querySelector('#printer')").await;
    visitor.look("print-corrected").await;
    ask(&visitor, &address).await;
    visitor.until(PLAN).await;
    let plan = visitor.text("#plan").await;
    assert!(plan.contains("turned about the long edge"), "{plan}");
    assert!(
        plan.contains("4.23 mm of the head, 4.23 mm of the right edge"),
        "{plan}"
    );
    // Lengths are told in the visitor's own units.
    let _: bool = visitor
        .ask("(document.cookie = 'units=in;path=/', true)")
        .await;
    ask(&visitor, &address).await;
    visitor
        .until("document.querySelector('#plan').textContent.includes('0.1665 in of the head, 0.1665 in of the right edge')")
        .await;
    visitor.look("print-plan-inches").await;
    visitor.click("#yes").await;
    visitor.until(PRINTED).await;
    // Laid sheets.
    visitor
        .go(&format!(
            "{}{}",
            server.address,
            work.trim_start_matches('/')
        ))
        .await;
    visitor.click("#afresh").await;
    visitor
        .until(
            "document.querySelector('#plans input') && !document.querySelector('#save').disabled",
        )
        .await;
    visitor.click("#save").await;
    visitor
        .until("document.querySelector('#saving a[href^=\"/print/0/laid/\"]')")
        .await;
    visitor.click("a[href^='/print/0/laid/']").await;
    ask(&visitor, &address).await;
    visitor.until(PLAN).await;
    visitor.click("#yes").await;
    visitor.until(PRINTED).await;
    visitor.leave().await;
}

#[test]
fn a_printers_certificate_is_shown_and_agreed_to_on_the_page() {
    let isle = Isle::new();
    let printer = Device::start(&isle, "Inkling", "rear.conf");
    inside(
        &isle,
        "with_a_certificate",
        &printer,
        &printer.secure_address(),
    );
    assert_eq!(printer.jobs(), 1);
}

#[tokio::test(flavor = "multi_thread")]
#[ignore = "started by the test above, inside its network"]
async fn with_a_certificate() {
    let address = std::env::var("TYMPAN_TEST_PRINTER").expect("started by the other test");
    let server = Server::start();
    let visitor = Visitor::come().await;
    released(&visitor, &server).await;
    visitor.click("a[href*='/print/0/02-backs']").await;
    ask(&visitor, &address).await;
    visitor
        .until("!document.querySelector('#certificate').hidden")
        .await;
    visitor.look("print-certificate").await;
    visitor.click("#trust").await;
    visitor.until(PLAN).await;
    visitor.click("#yes").await;
    visitor.until(PRINTED).await;
    visitor.leave().await;
}

#[test]
fn a_printer_that_wants_a_password_gets_it_from_the_page() {
    let isle = Isle::new();
    let more = ["-A", "--pam-service", "other"];
    let printer = Device::start_with(&isle, "Inkling", "rear.conf", &more);
    inside(&isle, "with_a_password", &printer, &printer.address());
    assert_eq!(printer.jobs(), 1);
}

#[tokio::test(flavor = "multi_thread")]
#[ignore = "started by the test above, inside its network"]
async fn with_a_password() {
    let address = std::env::var("TYMPAN_TEST_PRINTER").expect("started by the other test");
    let user = std::process::Command::new("id").arg("-un").output();
    let user = String::from_utf8(user.expect("id runs").stdout).expect("text");
    let server = Server::start();
    let visitor = Visitor::come().await;
    released(&visitor, &server).await;
    visitor.click("a[href*='/print/0/01-fronts']").await;
    ask(&visitor, &address).await;
    // This printer tells everybody what it can do, and asks when a job comes.
    for (password, said) in [
        ("pricked once", "wants a password"),
        ("pricked twice", "does not take this name"),
    ] {
        visitor.until(PLAN).await;
        visitor.click("#yes").await;
        visitor
            .until(&format!(
                "!document.querySelector('#password-form').hidden && \
                 document.querySelector('#password-said').textContent.includes('{said}')"
            ))
            .await;
        if password == "pricked once" {
            visitor.look("print-password").await;
        }
        visitor.write("#user", user.trim()).await;
        visitor.write("#printer-password", password).await;
        visitor.click("#password-form button[type=submit]").await;
    }
    visitor.until(PLAN).await;
    visitor.click("#yes").await;
    visitor.until(PRINTED).await;
    // The password is nowhere on the disk.
    let kept = std::process::Command::new("grep")
        .args(["-rl", "pricked", &server.data.display().to_string()])
        .output()
        .expect("grep runs");
    assert!(
        kept.stdout.is_empty(),
        "{}",
        String::from_utf8_lossy(&kept.stdout)
    );
    visitor.leave().await;
}

#[test]
fn a_pass_of_a_run_that_is_printed_by_command_is_in_its_log_and_waits_no_longer_than_it_is_told() {
    let isle = Isle::new();
    let printer = Device::start(&isle, "Inkling", "rear.conf");
    let address = printer.address();
    printers::write_pass(&isle.path("game.pdf"), 6);
    isle.done(&[
        "setup", "new", "cards", "--paper", "a4", "--flip", "sideways",
    ]);
    let (game, out) = (isle.path("game.pdf"), isle.path("out"));
    isle.done(&["run", text(&game), "--setup", "cards", "-o", text(&out)]);
    let pass = out.join("01-fronts-1-3.pdf");
    let print = |more: &[&str]| {
        let args = ["print", text(&pass), "--printer", &address, "--yes"];
        isle.tympan(&[&args[..], more].concat())
            .output()
            .expect("it runs")
    };
    // Nobody loads paper: it is said, the rest is taken back, and it can be gone on with.
    printer.behave("empty 2");
    let said = refusal(&print(&["--patience", "3"]));
    assert!(
        said.contains("the printer is out of paper, and nobody mended it"),
        "{said}"
    );
    assert!(
        said.contains("after 2 of 3 sheets") && said.contains("--from-sheet 3"),
        "{said}"
    );
    printer.mend();
    wait_for("the printer is idle", || !printer.has("hanging"));
    printer.behave("well");
    // The second sheet came out crumpled: it is printed again, and is spoiled.
    let output = print(&["--from-sheet", "2"]);
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let log = isle.done(&["log", "--setup", "cards"]);
    let run = &log["runs"][0];
    assert_eq!(run["state"], "printing");
    assert_eq!(run["sent"][0]["sheets"], serde_json::json!([1, 2, 3]));
    assert_eq!(run["sent"][0]["out"], 2);
    assert_eq!(run["sent"][0]["whole"], false);
    assert_eq!(run["sent"][1]["sheets"], serde_json::json!([2, 3]));
    assert_eq!(run["sent"][1]["whole"], true);
    assert_eq!(run["spoiled"][0]["sheet"], 2);
    assert_eq!(run["spoiled"][0]["why"], "the printer is out of paper");
    assert_eq!(run["spoiled"].as_array().map(Vec::len), Some(1));
}
