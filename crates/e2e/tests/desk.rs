//! What lies on the desk is not lost: by a reload, a second tab, a restart, or a change of mind.

mod common;

use std::fs;

use common::browser::Visitor;
use common::{Server, large_pdf, lock, pair_pdf, tool};

const ON_THE_TABLE: &str = "document.querySelector('#looking')?.textContent.startsWith('Looking')";

#[tokio::test(flavor = "multi_thread")]
async fn a_locked_file_asks_for_its_password() {
    let mut server = Server::start();
    let folder = tempfile::tempdir().expect("a folder");
    let (open, locked) = (
        folder.path().join("open.pdf"),
        folder.path().join("locked.pdf"),
    );
    fs::write(&open, pair_pdf()).expect("written");
    lock(&open, &locked);
    let visitor = Visitor::come().await;
    visitor.go(&server.address).await;
    visitor.drop_files("#drop", &[&locked]).await;
    visitor.until("document.querySelector('#unlock')").await;
    visitor.look("locked").await;
    visitor.enter("#password", "saltmarsh").await;
    visitor
        .until("document.querySelector('.answer')?.textContent.includes('does not open this file')")
        .await;
    visitor.enter("#password", "ferry").await;
    visitor.until(ON_THE_TABLE).await;
    visitor.enter("#words", "2mm low").await;
    visitor
        .until("document.querySelector('#answer').textContent.includes('2 mm too low')")
        .await;
    visitor.click("#save").await;
    let pdf = visitor.downloaded().await;
    let told = tool(
        "qpdf",
        "qpdf",
        &[
            "--password=ferry",
            "--show-npages",
            &pdf.display().to_string(),
        ],
    );
    assert_eq!(told.trim(), "2");
    // The password is nowhere on the disk.
    for entry in walk(&server.data) {
        let bytes = fs::read(&entry).expect("a file");
        assert!(
            !bytes.windows(5).any(|window| window == b"ferry"),
            "{} knows the password",
            entry.display()
        );
    }
    // Nor is it after a restart: it is asked for once more, and why is said.
    let work: String = visitor.ask("location.pathname").await;
    visitor.go("about:blank").await;
    server.kill();
    let again = Server::start_on(&server.data);
    let address = format!("{}{}", again.address, work.trim_start_matches('/'));
    visitor.go(&address).await;
    visitor
        .until("document.querySelector('#work').textContent.includes('Tympan was closed since you opened this file')")
        .await;
    visitor.look("locked-after-restart").await;
    visitor.enter("#password", "saltmarsh").await;
    visitor
        .until("document.querySelector('.answer')?.textContent.includes('does not open this file')")
        .await;
    visitor.enter("#password", "ferry").await;
    visitor.until(ON_THE_TABLE).await;
    visitor
        .until("document.querySelector('#words').value === '2 mm low'")
        .await;
    // The same with a run of it.
    let answers = br#"{"printer": "the grey one", "paper": "a4", "stock": "300 gsm matt", "feed": "rear tray",
        "flip": "sideways", "flipped_by": "hand", "first_side": "front", "leading_edge": "head"}"#;
    assert_eq!(again.post("/api/setups", answers).status, 201);
    visitor.go(&format!("{address}/run")).await;
    visitor.click("#run-form button[type=submit]").await;
    visitor.until("document.querySelector('#run')").await;
    let run: String = visitor.ask("location.pathname").await;
    visitor.go("about:blank").await;
    let mut again = again;
    again.kill();
    let third = Server::start_on(&server.data);
    visitor
        .go(&format!("{}{}", third.address, run.trim_start_matches('/')))
        .await;
    visitor.until("document.querySelector('#unlock')").await;
    visitor.look("locked-run-after-restart").await;
    visitor.enter("#password", "saltmarsh").await;
    visitor
        .until("document.querySelector('#problem').textContent.includes('does not open the files of this run')")
        .await;
    visitor.was_refused(422).await;
    visitor.enter("#password", "ferry").await;
    visitor
        .until("document.querySelector('#run') && !document.querySelector('#unlock')")
        .await;
    visitor.leave().await;
}

fn walk(folder: &std::path::Path) -> Vec<std::path::PathBuf> {
    let mut all = Vec::new();
    for entry in fs::read_dir(folder).expect("a folder").flatten() {
        let path = entry.path();
        if path.is_dir() {
            all.extend(walk(&path));
        } else {
            all.push(path);
        }
    }
    all
}

#[tokio::test(flavor = "multi_thread")]
async fn long_work_is_seen_from_a_second_tab_and_can_be_left_off() {
    let server = Server::start();
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("large.pdf");
    large_pdf(&file, 12);
    let visitor = Visitor::come().await;
    visitor.go(&server.address).await;
    visitor.drop_files("#drop", &[&file]).await;
    visitor.until(ON_THE_TABLE).await;
    // The close look goes on beside the table; the table can be used meanwhile.
    visitor
        .until("document.querySelector('#worth-cancel')")
        .await;
    visitor.look("looking-closely").await;
    let here: String = visitor.ask("location.href").await;
    let second = Visitor::come().await;
    second.go(&here).await;
    second.until(ON_THE_TABLE).await;
    second.enter("#words", "1mm low").await;
    second
        .until("document.querySelector('#answer').textContent.includes('1 mm too low')")
        .await;
    // It may have ended by itself.
    let _: bool = visitor
        .ask("(document.querySelector('#worth-cancel')?.click(), true)")
        .await;
    second
        .until("document.querySelector('#worth-again') || document.querySelector('#worth strong')")
        .await;
    // What the second tab said is there after a reload of the first.
    visitor.page.reload().await.expect("reloaded");
    visitor
        .until("document.querySelector('#words')?.value === '1 mm low'")
        .await;
    visitor.click("#save").await;
    // The second tab hears of the file that the first one saved.
    second
        .until("!document.querySelector('#saved').hidden")
        .await;
    let pdf = visitor.downloaded().await;
    tool("qpdf", "qpdf", &["--check", &pdf.display().to_string()]);
    second.leave().await;
    visitor.leave().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_in_hand_when_the_program_ended_says_that_it_stopped() {
    let folder = tempfile::tempdir().expect("a folder");
    let data = folder.path().join("data");
    let mut server = Server::start_on(&data);
    let file = folder.path().join("large.pdf");
    large_pdf(&file, 12);
    let visitor = Visitor::come().await;
    visitor.go(&server.address).await;
    visitor.drop_files("#drop", &[&file]).await;
    visitor.until(ON_THE_TABLE).await;
    visitor.enter("#words", "1mm low").await;
    visitor
        .until("document.querySelector('#answer').textContent.includes('1 mm too low')")
        .await;
    visitor
        .until("document.querySelector('#worth-cancel')")
        .await;
    server.kill();
    // The open page says so when it is asked for something.
    visitor.click("#clear").await;
    visitor
        .until("document.querySelector('#problem').textContent.includes('Tympan does not answer')")
        .await;
    let again = Server::start_on(&data);
    let after = Visitor::come().await;
    after.go(&again.address).await;
    after.click(".works a").await;
    after.until(ON_THE_TABLE).await;
    after
        .until("document.querySelector('#words').value === '1 mm low'")
        .await;
    after.until("document.querySelector('#worth-again')").await;
    let told = after.text("#worth").await;
    assert!(told.contains("The cards were not looked at"), "{told}");
    after.look("stopped").await;
    after.click("#worth-again").await;
    after
        .until("document.querySelector('#worth-cancel') || document.querySelector('#worth strong')")
        .await;
    after.leave().await;
}
