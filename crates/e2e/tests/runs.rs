//! Print runs on the page, in Debian's Chromium: taught, made, ticked, made again, done.

mod common;
mod printers;

use std::fs;
use std::path::{Path, PathBuf};

use common::browser::Visitor;
use common::{Server, program, tool};
use printers::write_pass;

/// A set-up, by its id.
fn set_up(server: &Server) -> String {
    let answers = br#"{"printer": "the grey one", "paper": "a4", "stock": "300 gsm matt", "feed": "rear tray",
        "flip": "sideways", "flipped_by": "hand", "first_side": "front", "leading_edge": "head"}"#;
    let made = server.post("/api/setups", answers);
    assert_eq!(made.status, 201, "{}", String::from_utf8_lossy(&made.body));
    made.json()["id"].as_str().expect("an id").to_owned()
}

/// Empties the folder of downloads, so that the next one is found.
fn forget_downloads(visitor: &Visitor) {
    for entry in fs::read_dir(visitor.downloads.path()).expect("the folder") {
        fs::remove_file(entry.expect("an entry").path()).expect("removed");
    }
}

async fn download(visitor: &Visitor, selector: &str) -> PathBuf {
    forget_downloads(visitor);
    visitor.click(selector).await;
    let pdf = visitor.downloaded().await;
    // The last bytes of a small file may still be on their way.
    tokio::time::sleep(std::time::Duration::from_millis(200)).await;
    tool("qpdf", "qpdf", &["--check", &pdf.display().to_string()]);
    pdf
}

/// The words of each page of a PDF, by poppler.
fn words(pdf: &Path) -> Vec<String> {
    let all = tool(
        "pdftotext",
        "poppler-utils",
        &[&pdf.display().to_string(), "-"],
    );
    let pages = all
        .split('\u{c}')
        .map(|page| page.split_whitespace().collect::<Vec<_>>().join(" "));
    let mut pages: Vec<String> = pages.collect();
    pages.pop();
    pages
}

#[tokio::test(flavor = "multi_thread")]
async fn a_printer_is_taught_by_questions_with_pictures() {
    let server = Server::start();
    let id = set_up(&server);
    let visitor = Visitor::come().await;
    visitor
        .go(&format!("{}setup/{id}/teach", server.address))
        .await;
    visitor.look("teach").await;
    fits_a_small_phone(&visitor).await;
    let trial = download(&visitor, "a[href$='/trial']").await;
    let pages = words(&trial);
    assert_eq!(pages.len(), 2, "{pages:?}");
    assert!(
        pages[0].contains('1') && pages[1].contains('2'),
        "{pages:?}"
    );
    // Too little was seen: a second pass is asked for.
    visitor.choose("on_top_sheet", "1").await;
    visitor.choose("pile_top", "2").await;
    visitor.click("#answers button[type=submit]").await;
    visitor
        .until("!document.querySelector('#second').hidden")
        .await;
    visitor.look("teach-second").await;
    let second = download(&visitor, "#second-pages").await;
    assert_eq!(words(&second).len(), 2);
    visitor.choose("behind_first", "1").await;
    visitor.click("#second button[type=submit]").await;
    let known = "document.querySelector('#known .answer').textContent.startsWith('Tympan knows')";
    visitor.until(known).await;
    // All of it was seen: nothing more is asked. What is known now is another thing.
    for (name, value) in [
        ("took", "pencilled"),
        ("at_arrow", "head"),
        ("pile_faces", "up"),
    ] {
        visitor.choose(name, value).await;
    }
    visitor.click("#answers button[type=submit]").await;
    visitor
        .until("document.querySelector('#known').textContent.includes('turn it over as one')")
        .await;
    visitor.look("taught").await;
    // What no printer does is said.
    visitor.choose("on_top_sheet", "1").await;
    visitor.page.reload().await.expect("reloaded");
    visitor.until(known).await;
    visitor.leave().await;
}

/// At 320 px nothing stands out at the side.
async fn fits_a_small_phone(visitor: &Visitor) {
    visitor.size(320, 700).await;
    tokio::time::sleep(std::time::Duration::from_millis(150)).await;
    let over: f64 = visitor
        .ask("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        .await;
    assert!(over <= 1.0, "{over} px too wide at 320 px");
    visitor.size(1440, 1000).await;
}

/// Makes a run of a game of four sheets, and comes to its page.
async fn make(visitor: &Visitor, server: &Server, look: bool) -> String {
    visitor.go(&server.address).await;
    let file = server.data.with_file_name("Ferry.pdf");
    write_pass(&file, 8);
    visitor.drop_files("#drop", &[&file]).await;
    visitor
        .until("document.querySelector('#looking')?.textContent.startsWith('Looking')")
        .await;
    visitor.click("a[href$='/run']").await;
    visitor.until("document.querySelector('#run-form')").await;
    if look {
        visitor.look("new-run").await;
    }
    let _: bool = visitor
        .ask("(document.querySelector('#load').value = '2', true)")
        .await;
    visitor.click("#run-form button[type=submit]").await;
    visitor.until("document.querySelector('#run')").await;
    visitor
        .ask("document.querySelector('#run').dataset.run")
        .await
}

#[tokio::test(flavor = "multi_thread")]
async fn a_run_is_made_ticked_released_made_again_and_done() {
    let folder = tempfile::tempdir().expect("a folder");
    let data = folder.path().join("data");
    let mut server = Server::start_on(&data);
    set_up(&server);
    let visitor = Visitor::come().await;
    visitor.go(&format!("{}runs", server.address)).await;
    visitor.look("runs-none").await;
    let run = make(&visitor, &server, true).await;
    assert_eq!(visitor.text("h1").await, "Ferry");
    visitor.look("run-ready").await;
    let sheet = download(&visitor, "a[href$='job-sheet.pdf']").await;
    let said = words(&sheet).join(" ");
    assert!(said.contains("Make ready") && said.contains(&run), "{said}");
    // What is ticked stays so over a reload, in another page, and after a restart.
    visitor.click("[data-step='before-1']").await;
    visitor.click("[data-step='dialog-1']").await;
    visitor.page.reload().await.expect("reloaded");
    let ticked = "[...document.querySelectorAll('[data-step]')].filter(b => b.checked).map(b => b.dataset.step).join()";
    visitor
        .until(&format!(
            "{ticked}.includes('before-1') && {ticked}.includes('dialog-1')"
        ))
        .await;
    // The make-ready, then what is left on it.
    let front = download(&visitor, "a[href*='00a-make-ready']").await;
    assert_eq!(words(&front).len(), 1);
    assert!(
        words(&front)[0].contains("make-ready"),
        "{:?}",
        words(&front)
    );
    let before = fs::read(&front).expect("the make-ready");
    visitor.write("#left-over", "1mm low").await;
    visitor.click("#adjust button").await;
    visitor
        .until("document.querySelector('#working-bar')?.hidden && !document.querySelector('#left-over').value")
        .await;
    let back = download(&visitor, "a[href*='00b-make-ready']").await;
    assert_eq!(words(&back).len(), 1);
    assert!(before.len() > 100);
    visitor.click("#release").await;
    visitor
        .until("document.querySelector('#run').dataset.state === 'printing'")
        .await;
    visitor.look("run-released").await;
    let first = download(&visitor, "a[href*='/file/0/01-fronts']").await;
    let pages = words(&first);
    assert_eq!(pages.len(), 2, "{pages:?}");
    assert!(
        pages[0].contains("page 1") && pages[1].contains("page 3"),
        "{pages:?}"
    );
    // A jam: sheet 2 again, by its number and one tap.
    visitor.write("#again-sheets", "2").await;
    visitor.click("[data-why=jam]").await;
    visitor.until("document.querySelector('.again')").await;
    visitor.look("run-again").await;
    fits_a_small_phone(&visitor).await;
    // On paper: the steps and no buttons.
    let paper = visitor
        .page
        .pdf(Default::default())
        .await
        .expect("the page on paper");
    let on_paper = server.data.with_file_name("page.pdf");
    fs::write(&on_paper, paper).expect("written");
    let said = words(&on_paper).join(" ");
    assert!(
        said.contains("Make ready with one sheet") && !said.contains("Download"),
        "{said}"
    );
    let again = download(&visitor, "a[href*='/file/1/01-fronts-2']").await;
    let pages = words(&again);
    assert_eq!(pages.len(), 1, "{pages:?}");
    assert!(pages[0].contains("page 3"), "{pages:?}");
    assert!(pages[0].split(' ').any(|word| word == "2"), "{pages:?}");
    // Nonsense is refused in words.
    visitor.write("#again-sheets", "99").await;
    visitor.click("[data-why=jam]").await;
    visitor
        .until("document.querySelector('#again-said').textContent.includes('has no sheet 99')")
        .await;
    visitor.go("about:blank").await;
    server.kill();
    let server = Server::start_on(&data);
    visitor.go(&format!("{}run/{run}", server.address)).await;
    visitor
        .until(&format!(
            "{ticked}.includes('before-1') && document.querySelector('.again')"
        ))
        .await;
    visitor.click("#done").await;
    visitor
        .until("document.querySelector('#answer').textContent.startsWith('Done')")
        .await;
    // Another one is undone before paper moves.
    make(&visitor, &server, false).await;
    visitor.click("#undo").await;
    visitor
        .until("document.querySelector('#answer').textContent.includes('undone')")
        .await;
    visitor.go(&format!("{}runs", server.address)).await;
    let all = visitor.text("main").await;
    assert!(
        all.contains("1 sheet spoiled: jam 1") && all.contains("Undone"),
        "{all}"
    );
    visitor.look("runs").await;
    visitor.leave().await;
}
