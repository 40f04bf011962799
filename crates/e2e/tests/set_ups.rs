//! Set-ups on the page, in Debian's Chromium: described, measured, looked at, and used.

mod common;

use std::fs;
use std::path::{Path, PathBuf};

use common::browser::Visitor;
use common::{Server, by_command, pair_pdf, square_by_poppler, tool};

/// Answers the questions about a set-up, and comes to where it is measured.
async fn describe(visitor: &Visitor, server: &Server, printer: &str) {
    visitor.go(&format!("{}setups/new", server.address)).await;
    visitor.write("#printer", printer).await;
    visitor.write("#stock", "300 gsm matt").await;
    visitor.choose("feed", "manual slot").await;
    visitor.choose("first_side", "back").await;
}

async fn make(visitor: &Visitor) {
    visitor.click("#new button[type=submit]").await;
    visitor.until("document.querySelector('#measure')").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_set_up_is_described_renamed_copied_removed_and_brought_back() {
    let server = Server::start();
    let visitor = Visitor::come().await;
    visitor.go(&format!("{}setups", server.address)).await;
    visitor.look("set-ups-none").await;
    describe(&visitor, &server, "the loud one").await;
    visitor.look("new-set-up").await;
    make(&visitor).await;
    assert_eq!(
        visitor.text("h1").await,
        "Measure “the loud one, manual slot, 300 gsm matt”"
    );
    visitor.go(&format!("{}setups", server.address)).await;
    let about = visitor.text("#setups").await;
    for told in [
        "A4",
        "300 gsm matt",
        "manual slot",
        "turned over by hand",
        "backs printed first",
        "Not measured yet",
    ] {
        assert!(about.contains(told), "{told} is not in {about}");
    }
    visitor.click("#setups details summary").await;
    visitor
        .ask::<bool>("(document.querySelector('#setups input[name=name]').value = 'slot', true)")
        .await;
    visitor.click("[data-rename] button").await;
    visitor
        .until("document.querySelector('#said')?.textContent === 'It is now called “slot”.'")
        .await;
    visitor.click("#setups details summary").await;
    visitor.click("[data-copy]").await;
    visitor
        .until("document.querySelectorAll('[data-setup]').length === 2")
        .await;
    visitor.look("set-ups").await;
    visitor.click("#setups details summary").await;
    visitor.click("[data-remove]").await;
    visitor
        .until("document.querySelectorAll('[data-setup]').length === 1 && document.querySelector('[data-restore]')")
        .await;
    visitor.look("set-up-removed").await;
    visitor.click("[data-restore]").await;
    visitor
        .until("document.querySelectorAll('[data-setup]').length === 2")
        .await;
    visitor.until("document.readyState === 'complete'").await;
    visitor.click("a[href='/api/setups/export']").await;
    let export = visitor.downloaded_as("json").await;
    // Another Tympan takes it in; this one says that it has them.
    let other = Server::start();
    let told: serde_json::Value =
        serde_json::from_slice(&fs::read(&export).expect("the export")).expect("JSON");
    assert_eq!(told["setups"].as_array().map(Vec::len), Some(2), "{told}");
    visitor.go(&format!("{}setups", other.address)).await;
    visitor.choose_files("#import", &[&export]).await;
    visitor
        .until("document.querySelectorAll('[data-setup]').length === 2")
        .await;
    let broken = visitor.downloads.path().join("diary.json");
    fs::write(&broken, "dear diary").expect("written");
    visitor.choose_files("#import", &[&broken]).await;
    visitor
        .until("document.querySelector('#problem').textContent.includes('diary.json is no export')")
        .await;
    visitor.leave().await;
}

/// Pixels on the screen of a millimetre in the pin's grid.
const PX_PER_MM: &str = "(() => { const m = document.querySelector('#grid svg').getScreenCTM(); \
    return 10 * m.a; })()";

#[tokio::test(flavor = "multi_thread")]
async fn test_sheets_are_made_and_read_with_a_pin() {
    let server = Server::start();
    let visitor = Visitor::come().await;
    describe(&visitor, &server, "the loud one").await;
    visitor.choose("first_side", "front").await;
    make(&visitor).await;
    visitor.look("measure-first").await;
    visitor
        .ask::<bool>("(document.querySelector('#sheets').value = '2', true)")
        .await;
    visitor.click("#issue button").await;
    let sheets = visitor.downloaded().await;
    let told = tool("pdfinfo", "poppler-utils", &[&sheets.display().to_string()]);
    assert!(told.contains("Pages:           4"), "{told}");
    let dialog = visitor.text("#issued").await;
    assert!(
        dialog.to_lowercase().contains("actual size"),
        "no word about scaling in {dialog}"
    );
    // A hole 2 mm below and 0.5 mm left of the cross, at two places by clicks, at two by words.
    visitor.until("document.querySelector('#grid')").await;
    let px: f64 = visitor.ask(PX_PER_MM).await;
    assert!(px > 8.0, "a millimetre is {px} px: too small to click");
    for _ in 0..2 {
        visitor.click_beside("#grid svg", -0.5 * px, 2.0 * px).await;
        let words: String = visitor.ask("document.querySelector('#hole').value").await;
        // What is below the cross on the grid is printed as its word; see the grid's own letters.
        let said = visitor.text("#grid").await;
        assert!(!said.is_empty());
        let numbers: Vec<f64> = words
            .split(|c: char| !c.is_ascii_digit() && c != '.')
            .filter_map(|n| n.parse().ok())
            .collect();
        assert_eq!(numbers.len(), 2, "{words}");
        for wanted in [2.0, 0.5] {
            assert!(
                numbers.iter().any(|n| (n - wanted).abs() < 0.11),
                "{wanted} in {words}"
            );
        }
        visitor.click("#next-place").await;
    }
    visitor.look("pin").await;
    // By arrow keys: a tenth of a millimetre, with shift a whole one.
    visitor
        .ask::<bool>("(document.querySelector('#grid').focus(), true)")
        .await;
    for (key, code, shift, times) in [("ArrowDown", 40, 8, 2), ("ArrowLeft", 37, 0, 5)] {
        for _ in 0..times {
            visitor.press(key, code, shift).await;
        }
    }
    let by_keys: String = visitor.ask("document.querySelector('#hole').value").await;
    visitor.write("#next-place", &by_keys).await;
    visitor.write("#rule-across", "100").await;
    visitor.write("#rule-along", "100").await;
    visitor.click("#take-pin button[type=submit]").await;
    visitor
        .until("document.querySelector('#result').textContent.includes('1 sheet read')")
        .await;
    let result = visitor.text("#result").await;
    // The grid's words name what the hole tells of the back, seen on the back.
    let direction = by_keys.contains("low");
    let low = result.contains("2.0 mm too low") || result.contains("2 mm too low");
    assert!(low == direction, "{by_keys} became {result}");
    visitor.look("pin-result").await;
    // The same sheet again is asked about.
    visitor
        .ask::<bool>("(document.querySelector('#pin-sheet').value = '1', true)")
        .await;
    visitor.write("#hole", "1 low").await;
    visitor.click("#take-pin button[type=submit]").await;
    visitor
        .until("!document.querySelector('#pin-again').hidden")
        .await;
    visitor.was_refused(409).await;
    // With a ruler.
    visitor.choose("way", "ruler").await;
    visitor.write("#ruler", "2mm low, 0.5mm left").await;
    visitor.look("ruler").await;
    visitor.click("#take-ruler button").await;
    visitor
        .until("document.querySelector('#result').textContent.includes('2 sheets read')")
        .await;
    visitor.click("#take-ruler button").await;
    let empty: bool = visitor
        .ask("!document.querySelector('#ruler').checkValidity()")
        .await;
    assert!(empty, "a ruler's words are asked for");
    visitor.leave().await;
}

/// The demo's folder: a set-up with test sheets, scans of them, and a photo.
fn demo(server: &Server) -> PathBuf {
    let folder = server.data.parent().expect("a folder").join("demo");
    by_command(&["demo", &folder.display().to_string()]);
    folder
}

/// Takes the demo's set-up in and comes to where it is measured.
async fn measure_demo(visitor: &Visitor, server: &Server, demo: &Path) -> String {
    visitor.go(&format!("{}setups", server.address)).await;
    visitor
        .choose_files("#import", &[&demo.join("set-up.json")])
        .await;
    visitor
        .until("document.querySelector('[data-setup]')")
        .await;
    let id: String = visitor
        .ask("document.querySelector('[data-setup]').dataset.setup")
        .await;
    visitor
        .go(&format!("{}setup/{id}/measure", server.address))
        .await;
    id
}

#[tokio::test(flavor = "multi_thread")]
async fn scans_are_dropped_and_a_game_is_corrected_by_what_they_say() {
    let server = Server::start();
    let demo = demo(&server);
    let visitor = Visitor::come().await;
    let id = measure_demo(&visitor, &server, &demo).await;
    // A picture of something else is refused with the way round it.
    let other = demo.join("before.png");
    visitor.drop_files("#read-title", &[&other]).await;
    visitor
        .until("document.querySelector('.batch .problem')")
        .await;
    let refused = visitor.text(".batch .problem").await;
    assert!(refused.contains("What to do"), "{refused}");
    visitor.look("not-a-test-sheet").await;
    visitor.click("[data-clear]").await;
    visitor.until("!document.querySelector('.batch')").await;
    // All scans at once, in any order; a second tab sees them, too.
    let mut scans: Vec<PathBuf> = fs::read_dir(demo.join("pictures"))
        .expect("the pictures")
        .flatten()
        .map(|entry| entry.path())
        .filter(|path| {
            path.file_name()
                .is_some_and(|n| n.to_string_lossy().starts_with("scan-"))
        })
        .collect();
    scans.sort();
    scans.reverse();
    assert_eq!(scans.len(), 6);
    let files: Vec<&Path> = scans.iter().map(PathBuf::as_path).collect();
    visitor.drop_files("#drop", &files).await;
    visitor
        .until("document.querySelector('#result').textContent.includes('3 sheets read')")
        .await;
    visitor.page.reload().await.expect("reloaded");
    visitor
        .until("document.querySelectorAll('.batch .read').length === 3")
        .await;
    visitor.click(".batch details summary").await;
    visitor
        .until("document.querySelector('.evidence img')?.complete && document.querySelector('.evidence img').naturalWidth > 200")
        .await;
    visitor.look("scans-read").await;

    // How well they line up.
    visitor.go(&format!("{}setup/{id}", server.address)).await;
    // The demo's printer puts the backs 2.1 mm low and 0.4 mm left.
    let figures = visitor.text(".figures").await;
    assert!(
        figures.contains("too low") && figures.contains("too far left"),
        "{figures}"
    );
    visitor.look("lines-up").await;
    visitor.click(".readings details summary").await;
    visitor
        .write(".readings input[name=why]", "it slipped")
        .await;
    visitor.click("[data-set-aside] button").await;
    visitor
        .until("document.querySelector('.readings').textContent.includes('set aside: it slipped')")
        .await;
    visitor.look("set-aside").await;
    visitor.click("[data-bring-back]").await;
    visitor
        .until("!document.querySelector('.readings').textContent.includes('set aside:')")
        .await;
    for (what, ending) in [
        ("field.svg", "svg"),
        ("readings.csv", "csv"),
        ("report.json", "json"),
    ] {
        visitor
            .click(&format!("a[href='/api/setup/{id}/{what}']"))
            .await;
        let file = visitor.downloaded_as(ending).await;
        let text = fs::read_to_string(&file).expect("text");
        assert!(text.len() > 200, "{what}: {text}");
    }

    // A game, corrected by it.
    visitor.go(&server.address).await;
    let game = server.data.parent().expect("a folder").join("game.pdf");
    fs::write(&game, pair_pdf()).expect("written");
    visitor.drop_files("#drop", &[&game]).await;
    visitor
        .until("document.querySelector('#looking')?.textContent.startsWith('Looking')")
        .await;
    visitor.choose("how", "setup").await;
    visitor
        .ask::<bool>(
            "(() => { const s = document.querySelector('#setup'); s.selectedIndex = 1; \
             s.dispatchEvent(new Event('change', { bubbles: true })); return true; })()",
        )
        .await;
    visitor
        .until("document.querySelector('#answer').textContent.includes('too low')")
        .await;
    visitor.look("game-by-set-up").await;
    visitor.click("#save").await;
    let pdf = visitor.downloaded().await;
    tool("qpdf", "qpdf", &["--check", &pdf.display().to_string()]);
    // The demo's printer puts the backs 2.1 mm low, so they are moved up by that, give or take
    // what tilt and stretch do at the square.
    let (_, top) = square_by_poppler(&pdf, 2);
    assert!((top - (60.0 - 2.1)).abs() < 0.6, "the back's top is {top}");
    let (_, front) = square_by_poppler(&pdf, 1);
    assert!((front - 60.0).abs() < 0.15, "the front's top is {front}");
    visitor.leave().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_phone_sends_a_photo_through_a_link_that_is_used_up_then() {
    let server = Server::start();
    let demo = demo(&server);
    let desk = Visitor::come().await;
    measure_demo(&desk, &server, &demo).await;
    desk.choose("way", "photo").await;
    desk.click("#phone").await;
    desk.until("document.querySelector('#pairing .address')")
        .await;
    desk.look("phone-code").await;
    let link = desk.text("#pairing .address").await;
    let phone = Visitor::come().await;
    phone.size(390, 800).await;
    phone.go(&link).await;
    assert_eq!(phone.text("h1").await, "Photograph your test sheet");
    phone.look("phone").await;
    desk.until("document.querySelector('#phone-state').textContent.includes('opened the link')")
        .await;
    phone
        .choose_files("#photo", &[&demo.join("pictures/photo-1.jpg")])
        .await;
    phone
        .until("document.querySelector('#said').textContent.includes('It has arrived')")
        .await;
    // On the desk it is read by itself.
    desk.until("document.querySelector('.batch .read')").await;
    let told = desk.text(".batch").await;
    assert!(
        told.contains("From your phone") && told.contains("Sheet 1 was read"),
        "{told}"
    );
    desk.look("photo-read").await;
    // Nobody else can open the link, nor the phone once it is closed.
    let stranger = Visitor::come().await;
    let _ = stranger.page.goto(&link).await;
    assert_eq!(stranger.text("h1").await, "This link is used up");
    desk.click("#pairing button").await;
    desk.until("document.querySelector('#pairing').textContent.includes('The link is closed')")
        .await;
    phone
        .choose_files("#photo", &[&demo.join("pictures/photo-1.jpg")])
        .await;
    phone
        .until("/closed|does not answer/.test(document.querySelector('#said').textContent)")
        .await;
    desk.leave().await;
}
