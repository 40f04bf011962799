//! What a visitor does on the page, in Debian's Chromium.

mod common;

use std::fs;
use std::path::Path;

use common::browser::Visitor;
use common::{Server, pair_pdf, square_by_poppler, tool};

/// Where the squares of [`pair_pdf`] lie: on the front and on the back.
const FRONT: (f64, f64) = (40.0, 60.0);
const BACK: (f64, f64) = (150.0, 60.0);

fn is_at(pdf: &Path, page: u32, (x, y): (f64, f64)) {
    let (left, top) = square_by_poppler(pdf, page);
    let off = (left - x).hypot(top - y);
    assert!(off < 0.15, "page {page}: ({left}, {top}), not ({x}, {y})");
}

fn written(folder: &Path, name: &str) -> std::path::PathBuf {
    let path = folder.join(name);
    fs::write(&path, pair_pdf()).expect("written");
    path
}

const ON_THE_TABLE: &str = "document.querySelector('#looking')?.textContent.startsWith('Looking')";

#[tokio::test(flavor = "multi_thread")]
async fn a_file_is_dropped_words_are_typed_and_the_right_file_is_saved() {
    let server = Server::start();
    let folder = tempfile::tempdir().expect("a folder");
    let visitor = Visitor::come().await;
    visitor.go(&server.address).await;
    visitor.look("first-page").await;
    let file = written(folder.path(), "my game.pdf");
    visitor.drop_files("#drop", &[&file]).await;
    visitor.until(ON_THE_TABLE).await;
    assert_eq!(visitor.text("h1").await, "my game");
    visitor.enter("#words", "2mm low, 0.5mm left").await;
    visitor
        .until("document.querySelector('#answer').textContent.includes('0.5 mm too far left')")
        .await;
    assert_eq!(
        visitor.text("#answer").await,
        "Looking at the back, your backs sit 2 mm too low and 0.5 mm too far left."
    );
    visitor.until("document.querySelector('#through')").await;
    visitor.look("light-table").await;
    visitor.click("#save").await;
    let pdf = visitor.downloaded().await;
    assert_eq!(
        pdf.file_name().and_then(|name| name.to_str()),
        Some("my game corrected.pdf")
    );
    tool("qpdf", "qpdf", &["--check", &pdf.display().to_string()]);
    is_at(&pdf, 1, FRONT);
    is_at(&pdf, 2, (BACK.0 + 0.5, BACK.1 - 2.0));
    visitor
        .until("!document.querySelector('#saved').hidden")
        .await;
    visitor.look("saved").await;
    visitor.leave().await;
}

/// The light table as it is drawn: how many pixels of the canvas are inked, and the last column
/// that has some. The thin outline of the sheet does not count.
const INKED: &str = "(() => { const c = document.querySelector('#table canvas'); \
    const { data, width, height } = c.getContext('2d').getImageData(0, 0, c.width, c.height); \
    let n = 0, last = 0; for (let i = 0; i < data.length; i += 4) \
    if (data[i] < 130 && data[i - 16] < 130 && data[i + 3] > 250) { n += 1; last = Math.max(last, i / 4 % width); } \
    return [n, last]; })()";

#[tokio::test(flavor = "multi_thread")]
async fn backs_are_dragged_and_pushed_with_keys_the_way_they_are_seen() {
    let server = Server::start();
    let folder = tempfile::tempdir().expect("a folder");
    let visitor = Visitor::come().await;
    visitor.go(&server.address).await;
    visitor
        .drop_files("#drop", &[&written(folder.path(), "game.pdf")])
        .await;
    visitor.until(ON_THE_TABLE).await;
    visitor.until(&format!("{INKED}[0] > 500")).await;
    // The finer pictures take the place of the coarse ones.
    tokio::time::sleep(std::time::Duration::from_millis(500)).await;
    let (together, right): (f64, f64) = visitor.ask(INKED).await;
    // Seen from the front, to the right is to the left on the back.
    visitor.drag("#table", 60.0, 0.0).await;
    visitor
        .until("document.querySelector('#answer').textContent.includes('too far left')")
        .await;
    let (apart, farther): (f64, f64) = visitor.ask(INKED).await;
    assert!(apart > 1.5 * together, "{together} px of ink, then {apart}");
    let by = farther - right;
    assert!(
        (by - 60.0).abs() < 3.0,
        "it was dragged by 60 px and lies {by} px farther right"
    );
    visitor.click("#clear").await;
    visitor
        .until("document.querySelector('#moves').textContent === 'Nothing is moved yet.'")
        .await;
    // Looking at the back, right is right.
    visitor.click("#turn").await;
    assert_eq!(visitor.text("#looking").await, "Looking at the back");
    visitor.click("#table").await;
    for (key, code, shift, times) in [("ArrowDown", 40, 8, 2), ("ArrowRight", 39, 0, 3)] {
        for _ in 0..times {
            visitor.press(key, code, shift).await;
        }
    }
    visitor
        .until("document.querySelector('#answer').textContent === 'Looking at the back, your backs sit 2 mm too low and 0.3 mm too far right.'")
        .await;
    // The other way of saying it: what is to be done in the file.
    visitor
        .ask::<bool>("(document.querySelector('input[name=how][value=move]').click(), true)")
        .await;
    visitor
        .until("document.querySelector('#moves').textContent === 'Nothing is moved yet.'")
        .await;
    visitor.click("#table").await;
    visitor.press("ArrowUp", 38, 8).await;
    visitor
        .until("document.querySelector('#moves').textContent === 'The saved file moves the backs 1.00 mm up.'")
        .await;
    visitor.click("#save").await;
    let pdf = visitor.downloaded().await;
    is_at(&pdf, 2, (BACK.0, BACK.1 - 1.0));
    visitor.leave().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn everything_can_be_done_without_a_mouse() {
    let server = Server::start();
    let visitor = Visitor::come().await;
    visitor.go(&server.address).await;
    visitor.tab_to("e.id === 'demo'").await;
    visitor.press("Enter", 13, 0).await;
    visitor.until(ON_THE_TABLE).await;
    assert_eq!(visitor.text("h1").await, "Saltmarsh Ferry");
    visitor.tab_to("e.id === 'table'").await;
    visitor.press("ArrowDown", 40, 8).await;
    visitor
        .until("document.querySelector('#answer').textContent === 'Looking at the back, your backs sit 1 mm too low.'")
        .await;
    visitor.press("t", 84, 0).await;
    visitor
        .until("document.querySelector('#looking').textContent === 'Looking at the back'")
        .await;
    visitor
        .ask::<bool>("(document.querySelector('input[name=look][value=outline]').click(), true)")
        .await;
    tokio::time::sleep(std::time::Duration::from_millis(1200)).await;
    visitor.look("demo-outlines").await;
    visitor.tab_to("e.id === 'save'").await;
    visitor.press("Enter", 13, 0).await;
    let pdf = visitor.downloaded().await;
    tool("qpdf", "qpdf", &["--check", &pdf.display().to_string()]);
    let told = tool("pdfinfo", "poppler-utils", &[&pdf.display().to_string()]);
    assert!(
        told.contains("Page size:       595.276 x 841.89 pts (A4)"),
        "{told}"
    );
    visitor.leave().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn fronts_and_backs_in_two_files_become_one_and_a_reload_finds_all() {
    let server = Server::start();
    let folder = tempfile::tempdir().expect("a folder");
    let (fronts, backs) = (
        written(folder.path(), "game fronts.pdf"),
        written(folder.path(), "game backs.pdf"),
    );
    let visitor = Visitor::come().await;
    visitor.go(&server.address).await;
    visitor.drop_files("#drop", &[&backs, &fronts]).await;
    visitor.until(ON_THE_TABLE).await;
    assert_eq!(visitor.text("h1").await, "game fronts");
    visitor.enter("#words", "1mm high").await;
    visitor
        .until("document.querySelector('#answer').textContent.includes('1 mm too high')")
        .await;
    visitor.page.reload().await.expect("reloaded");
    visitor.until(ON_THE_TABLE).await;
    visitor
        .until("document.querySelector('#words').value === '1 mm high'")
        .await;
    // Inches throughout.
    visitor.click("[data-units=in]").await;
    visitor
        .until("document.querySelector('#answer')?.textContent.includes('0.039 in too high')")
        .await;
    visitor.click("#save").await;
    let pdf = visitor.downloaded().await;
    let told = tool("pdfinfo", "poppler-utils", &[&pdf.display().to_string()]);
    assert!(told.contains("Pages:           4"), "{told}");
    // Front, back, front, back: the second page is the first page of the backs.
    is_at(&pdf, 2, (FRONT.0, FRONT.1 + 1.0));
    visitor.leave().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_no_pdf_is_refused_in_plain_words() {
    let server = Server::start();
    let folder = tempfile::tempdir().expect("a folder");
    let broken = folder.path().join("holiday.pdf");
    fs::write(&broken, "dear diary").expect("written");
    let visitor = Visitor::come().await;
    visitor.go(&server.address).await;
    visitor.drop_files("#drop", &[&broken]).await;
    visitor
        .until("document.querySelector('.answer')?.textContent.includes('holiday.pdf')")
        .await;
    let said = visitor.text("main").await;
    assert!(
        said.contains("not a PDF") && !said.contains("desk/work"),
        "{said}"
    );
    visitor.look("refused").await;
    visitor.leave().await;
}
