//! Laying cards out afresh on the page, in Debian's Chromium.

mod common;

use std::fs;
use std::path::{Path, PathBuf};

use common::browser::Visitor;
use common::{Server, by_command, large_pdf, lock, tool};

/// A picture of a poker card with a word on it, in colours of its own.
fn card(folder: &Path, name: &str, colour: &str) -> PathBuf {
    let path = folder.join(format!("{name}.svg"));
    let svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"63.5mm\" height=\"88.9mm\" viewBox=\"0 0 63.5 88.9\">\
         <rect width=\"63.5\" height=\"88.9\" fill=\"{colour}\"/>\
         <path d=\"M10 60 L30 15 L38 40 L50 30 L52 70 Z\" fill=\"#fff\" opacity=\".7\"/></svg>"
    );
    fs::write(&path, svg).expect("written");
    path
}

fn five(folder: &Path) -> Vec<PathBuf> {
    let fronts = [
        ("Curlew", "#7a8c3c"),
        ("Heron", "#31708f"),
        ("Mudflat", "#8a6d3b"),
        ("Otter", "#a23a1e"),
    ];
    let mut all: Vec<PathBuf> = fronts
        .iter()
        .map(|(name, colour)| card(folder, &format!("{name}-front"), colour))
        .collect();
    all.push(card(folder, "back", "#22313f"));
    all
}

const SETTLED: &str = "document.querySelector('#deck')?.dataset.settled?.length === 16";

/// Waits until a choice has been planned for and shown.
async fn settled(visitor: &Visitor, then: &str) {
    visitor.until(&format!("{SETTLED} && {then}")).await;
}

async fn choose(visitor: &Visitor, key: &str, value: &str) {
    let script = format!(
        "(() => {{ const f = document.querySelector('#choices [name=\"{key}\"]'); f.closest('details')?.setAttribute('open', ''); \
         delete document.querySelector('#deck').dataset.settled; \
         if (f.type === 'checkbox') f.checked = {value:?} === 'true'; else f.value = {value:?}; \
         f.dispatchEvent(new Event('change', {{ bubbles: true }})); return true; }})()"
    );
    let _: bool = visitor.ask(&script).await;
}

const ORDER: &str =
    "[...document.querySelectorAll('#card-list [data-what=name]')].map(f => f.value).join(' ')";

fn text_of(pdf: &Path, tool_args: &[&str]) -> String {
    let path = pdf.display().to_string();
    let mut args = tool_args.to_vec();
    args.push(&path);
    tool("pdfinfo", "poppler-utils", &args)
}

/// The numbers of a box of a page, points: left, bottom, right, top.
fn page_box(info: &str, page: usize, name: &str) -> [f64; 4] {
    let head = format!("Page {page:>4} {name}:");
    let line = info
        .lines()
        .find(|line| line.starts_with(&head))
        .unwrap_or_else(|| panic!("no {head} in {info}"));
    let numbers: Vec<f64> = line[head.len()..]
        .split_whitespace()
        .map(|n| n.parse().expect("a number"))
        .collect();
    numbers.try_into().expect("four numbers")
}

#[tokio::test(flavor = "multi_thread")]
async fn pictures_are_dropped_put_in_order_and_laid_on_sheets() {
    let server = Server::start();
    let folder = tempfile::tempdir().expect("a folder");
    let files = five(folder.path());
    let visitor = Visitor::come().await;
    visitor.go(&server.address).await;
    let paths: Vec<&Path> = files.iter().map(PathBuf::as_path).collect();
    visitor.drop_files("#drop", &paths).await;
    settled(&visitor, "document.querySelector('#plans input')").await;
    assert_eq!(
        visitor.ask::<String>(ORDER).await,
        "Curlew Heron Mudflat Otter"
    );
    assert!(
        visitor
            .text("#answer")
            .await
            .starts_with("4 cards on 1 sheet of A4")
    );
    visitor
        .until("[...document.querySelectorAll('#sheets img, #card-list img')].every(i => i.complete && i.naturalWidth > 50)")
        .await;
    visitor.look("deck").await;
    visitor.size(320, 900).await;
    let over: f64 = visitor
        .ask("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        .await;
    assert!(over <= 1.0, "{over} px too wide at 320 px");
    visitor.picture("deck-320").await;
    visitor.size(1440, 1000).await;

    // By keyboard: the otter first.
    visitor
        .tab_to("e.classList.contains('grip') && e.getAttribute('aria-label').includes('Otter')")
        .await;
    visitor.press("Home", 36, 0).await;
    visitor
        .until(&format!("{ORDER} === 'Otter Curlew Heron Mudflat'"))
        .await;
    assert!(
        visitor
            .text("#moved")
            .await
            .contains("Otter is now card 1 of 4")
    );
    // By the mouse: the heron dropped on the first card.
    let dropped: bool = visitor
        .ask(
            "(() => { const all = [...document.querySelectorAll('#card-list > li')]; const data = new DataTransfer(); \
             const on = (e, kind) => e.dispatchEvent(new DragEvent(kind, { bubbles: true, cancelable: true, dataTransfer: data })); \
             const grip = all[2].querySelector('.grip'); on(grip, 'dragstart'); on(all[0], 'dragover'); on(all[0], 'drop'); on(grip, 'dragend'); return true; })()",
        )
        .await;
    assert!(dropped);
    visitor
        .until(&format!("{ORDER} === 'Heron Otter Curlew Mudflat'"))
        .await;
    // Five herons, no mudflat, and the curlew by another name.
    for (card, what, value) in [
        (1, "copies", "5"),
        (4, "copies", "0"),
        (3, "name", "Whimbrel"),
    ] {
        let script = format!(
            "(() => {{ const f = document.querySelectorAll('#card-list > li')[{}].querySelector('[data-what={what}]'); \
             f.value = {value:?}; f.dispatchEvent(new Event('change', {{ bubbles: true }})); return true; }})()",
            card - 1
        );
        let _: bool = visitor.ask(&script).await;
    }
    visitor
        .until("document.querySelector('#answer').textContent.startsWith('7 cards on 1 sheet') && document.querySelector('#sheet-names').textContent.includes('Whimbrel')")
        .await;
    assert_eq!(
        visitor.text("#sheet-names").await,
        "Heron, Heron, Heron, Heron, Heron, Otter, Whimbrel"
    );

    choose(&visitor, "gutter", "6").await;
    settled(
        &visitor,
        "document.querySelector('.plan-words').textContent.includes('6 mm between')",
    )
    .await;
    // A second tab, or this one loaded again, finds all of it.
    visitor.page.reload().await.expect("loaded");
    settled(&visitor, "document.querySelector('#plans input')").await;
    assert_eq!(
        visitor.ask::<String>(ORDER).await,
        "Heron Otter Whimbrel Mudflat"
    );
    assert_eq!(
        visitor
            .ask::<String>("document.querySelector('[name=gutter]').value")
            .await,
        "6mm"
    );
    visitor.click("#save").await;
    let pdf = visitor.downloaded().await;
    tool("qpdf", "qpdf", &["--check", &pdf.display().to_string()]);
    let info = text_of(&pdf, &["-box", "-f", "1", "-l", "2"]);
    assert!(info.contains("Pages:           2"), "{info}");
    let mm = |points: f64| points * 25.4 / 72.0;
    let [l, b, r, t] = page_box(&info, 1, "TrimBox");
    let [bl, ..] = page_box(&info, 1, "BleedBox");
    // Two of the three columns are full, with 6 mm between cards and 3 mm of bleed around.
    let (w, h) = (mm(r - l), mm(t - b));
    let blocks = [(3.0, 3.0, 63.5, 88.9), (2.0, 4.0, 88.9, 63.5)];
    let is_block = |(columns, rows, cw, ch): &(f64, f64, f64, f64)| {
        (w - (columns * cw + (columns - 1.0) * 6.0)).abs() < 0.02
            && (h - (rows * ch + (rows - 1.0) * 6.0)).abs() < 0.02
    };
    assert!(blocks.iter().any(is_block), "{w} × {h} mm");
    assert!((mm(l - bl) - 3.0).abs() < 0.02, "{}", mm(l - bl));
    // Sideways: the back's block is the mirror of the front's.
    let [l2, _, r2, _] = page_box(&info, 2, "TrimBox");
    assert!((mm(l2 + r) - 210.0).abs() < 0.02 && (mm(r2 + l) - 210.0).abs() < 0.02);

    visitor
        .until("document.querySelectorAll('#saved .downloads a').length === 4")
        .await;
    let _: bool = visitor
        .ask("(document.querySelector('#cutting details').open = true, true)")
        .await;
    visitor.look("deck-saved").await;
    let svg: String = visitor
        .ask("fetch(document.querySelectorAll('#saved a')[2].href).then(r => r.text())")
        .await;
    assert!(svg.contains("<svg") && svg.contains("mm"), "{svg}");

    // Two spoiled cards are ganged on a sheet of their own.
    let _: bool = visitor
        .ask("(document.querySelector('#again-count').value = '2', true)")
        .await;
    visitor.click("#again-form button").await;
    visitor.click("#again-lay").await;
    settled(
        &visitor,
        "document.querySelector('h1').textContent.includes('some once more')",
    )
    .await;
    assert!(
        visitor
            .text("#answer")
            .await
            .starts_with("2 cards on 1 sheet of A4")
    );
    // On a sheet that is cut already, by its measures.
    let _: bool = visitor
        .ask(
            "(() => { const form = document.querySelector('#own-sheet-form'); form.closest('details').open = true; \
             const said = { name: 'Two up', sheet: 'a4', shape: 'poker', columns: '2', left: '20', top: '30mm', 'pitch-x': '80' }; \
             for (const [key, value] of Object.entries(said)) form.elements[key].value = value; \
             delete document.querySelector('#deck').dataset.settled; form.requestSubmit(); return true; })()",
        )
        .await;
    settled(
        &visitor,
        "document.querySelector('.plan-words').textContent.includes('Two up')",
    )
    .await;
    assert_eq!(
        visitor
            .ask::<String>("document.querySelector('[name=stock-sheet]').value")
            .await,
        "Two up"
    );
    visitor.look("deck-pre-cut").await;
    visitor.go(&server.address).await;
    visitor
        .until("document.querySelectorAll('[data-deck]').length === 2")
        .await;
    visitor.leave().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_cards_of_a_pdf_are_laid_out_afresh_by_another_plan() {
    let server = Server::start();
    let visitor = Visitor::come().await;
    visitor.go(&server.address).await;
    visitor.click("#demo").await;
    visitor
        .until("document.querySelector('#looking')?.textContent.startsWith('Looking')")
        .await;
    visitor.click("#afresh").await;
    settled(&visitor, "document.querySelector('#plans input')").await;
    let cards: usize = visitor
        .ask("document.querySelectorAll('#card-list > li').length")
        .await;
    assert!(cards >= 54, "{cards}");
    let first = visitor.text("#answer").await;
    assert!(first.contains(" of A4"), "{first}");
    let _: bool = visitor
        .ask("(delete document.querySelector('#deck').dataset.settled, document.querySelectorAll('#plans input')[1].click(), true)")
        .await;
    settled(
        &visitor,
        "document.querySelectorAll('#plans input')[1].checked",
    )
    .await;
    visitor
        .until("[...document.querySelectorAll('#sheets img')].every(i => i.complete && i.naturalWidth > 50)")
        .await;
    visitor.click("#sheet-on").await;
    visitor
        .until("document.querySelector('#sheet-which').textContent.startsWith('Sheet 2 of')")
        .await;
    visitor.look("deck-demo").await;
    let sheets: usize = visitor
        .ask("JSON.parse(document.querySelector('#sheets').dataset.names).length")
        .await;
    visitor.click("#save").await;
    let pdf = visitor.downloaded().await;
    tool("qpdf", "qpdf", &["--check", &pdf.display().to_string()]);
    let info = text_of(&pdf, &[]);
    assert!(
        info.contains(&format!("Pages:           {}", 2 * sheets)),
        "{info}"
    );
    // The sheets lie on the light table, from where they are printed.
    visitor.until("document.querySelector('#to-work')").await;
    visitor.click("#to-work").await;
    visitor
        .until("document.querySelector('#looking')?.textContent.startsWith('Looking')")
        .await;
    assert_eq!(visitor.text("h1").await, "Saltmarsh Ferry sheets");
    visitor.leave().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn all_that_is_in_the_way_is_told_at_once_with_its_card() {
    let server = Server::start();
    let folder = tempfile::tempdir().expect("a folder");
    card(folder.path(), "Heron", "#31708f");
    for (name, size) in [("Otter", "60"), ("Wide", "120")] {
        let svg = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{size}mm\" height=\"60mm\" viewBox=\"0 0 10 10\"><rect width=\"9\" height=\"9\"/></svg>"
        );
        fs::write(folder.path().join(format!("{name}.svg")), svg).expect("written");
    }
    fs::write(
        folder.path().join("deck.csv"),
        "front,name\nHeron.svg,\nOtter.svg,\nWide.svg,\nTide.svg,Tide\n",
    )
    .expect("written");
    let visitor = Visitor::come().await;
    visitor.go(&server.address).await;
    let files =
        ["deck.csv", "Heron.svg", "Otter.svg", "Wide.svg"].map(|name| folder.path().join(name));
    let paths: Vec<&Path> = files.iter().map(PathBuf::as_path).collect();
    visitor.drop_files("#drop", &paths).await;
    settled(
        &visitor,
        "document.querySelectorAll('.problems li').length === 3",
    )
    .await;
    let told = visitor.text("#in-the-way").await;
    assert!(
        told.contains("Tide.svg is not among the files")
            && told.contains("drop it together with the list"),
        "{told}"
    );
    assert!(
        told.contains("under “Pictures of other proportions” whether they fill the card"),
        "{told}"
    );
    assert!(!told.contains("--") && !told.contains("/desk/"), "{told}");
    visitor.look("deck-in-the-way").await;
    // A wrong word is refused where it stands, and nothing changes.
    choose(&visitor, "bleed", "a lot").await;
    visitor
        .until("document.querySelector('[name=bleed]').getAttribute('aria-invalid') === 'true'")
        .await;
    let said = visitor.text("#problem").await;
    assert!(said.contains("Bleed: "), "{said}");
    choose(&visitor, "bleed", "").await;
    visitor
        .until("!document.querySelector('[name=bleed]').hasAttribute('aria-invalid')")
        .await;
    choose(&visitor, "fit", "fill").await;
    settled(
        &visitor,
        "document.querySelectorAll('.problems li').length === 1",
    )
    .await;
    // What was refused on purpose stands in the browser's log, too.
    visitor.forgive("422").await;
    visitor.leave().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn files_on_their_way_can_be_stopped_and_nothing_is_left() {
    let server = Server::start();
    let folder = tempfile::tempdir().expect("a folder");
    let files: Vec<PathBuf> = (0..3)
        .map(|i| {
            let path = folder.path().join(format!("part {i}.pdf"));
            large_pdf(&path, 8);
            path
        })
        .collect();
    let visitor = Visitor::come().await;
    visitor.go(&server.address).await;
    let files: Vec<&Path> = files.iter().map(PathBuf::as_path).collect();
    // As soon as the first one moves.
    let _: bool = visitor
        .ask(
            "(new MutationObserver((_, watch) => { watch.disconnect(); \
             document.querySelector('#arriving-cancel').click(); }) \
             .observe(document.querySelector('#arriving-text'), { childList: true }), true)",
        )
        .await;
    visitor.drop_files("#drop", &files).await;
    visitor
        .until("document.querySelector('#arriving-text').textContent && document.querySelector('#arriving').hidden")
        .await;
    let here: String = visitor.ask("location.pathname").await;
    assert_eq!(here, "/");
    let said: bool = visitor
        .ask("document.querySelector('#problem').hidden")
        .await;
    assert!(said, "stopping is no problem");
    visitor.page.reload().await.expect("reloaded");
    let left: bool = visitor
        .ask("Boolean(document.querySelector('.works'))")
        .await;
    assert!(!left, "something is left on the desk");
    visitor.leave().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_locked_pdf_among_the_cards_asks_for_its_password() {
    let server = Server::start();
    let folder = tempfile::tempdir().expect("a folder");
    let [otter, curlew] = [("Otter", "#a23a1e"), ("Curlew", "#7a8c3c")]
        .map(|(name, colour)| card(folder.path(), name, colour));
    let (open, locked) = (
        folder.path().join("open.pdf").display().to_string(),
        folder.path().join("Heron.pdf"),
    );
    let heron = card(folder.path(), "heron-drawn", "#31708f");
    let heron = heron.display().to_string();
    tool(
        "rsvg-convert",
        "librsvg2-bin",
        &["-f", "pdf", "-o", &open, &heron],
    );
    lock(Path::new(&open), &locked);
    let visitor = Visitor::come().await;
    visitor.go(&server.address).await;
    visitor
        .drop_files("#drop", &[&otter, &curlew, &locked])
        .await;
    settled(&visitor, "document.querySelector('#unlock')").await;
    let told = visitor.text("#in-the-way").await;
    assert!(told.contains("Heron.pdf: is locked"), "{told}");
    visitor.look("deck-locked").await;
    for wrong in ["saltmarsh", "marsh"] {
        visitor.enter("#password", wrong).await;
        settled(
            &visitor,
            "document.querySelector('#in-the-way [role=alert]')?.textContent.includes('does not open') \
             && document.querySelector('#password').value === ''",
        )
        .await;
    }
    visitor.enter("#password", "ferry").await;
    settled(
        &visitor,
        "!document.querySelector('#unlock') && document.querySelector('#plans input')",
    )
    .await;
    assert!(
        visitor
            .text("#answer")
            .await
            .starts_with("3 cards on 1 sheet")
    );
    visitor.click("#save").await;
    let pdf = visitor.downloaded().await;
    // What is laid anew is no longer locked, and has the heron on it.
    tool("qpdf", "qpdf", &["--check", &pdf.display().to_string()]);
    visitor.leave().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_folder_is_chosen_and_everything_is_said_in_inches() {
    let server = Server::start();
    let folder = tempfile::tempdir().expect("a folder");
    for (side, colour) in [("fronts", "#31708f"), ("backs", "#22313f")] {
        let within = folder.path().join(side);
        fs::create_dir(&within).expect("a folder");
        fs::write(within.join("Thumbs.db"), "not the owner's").expect("written");
        card(&within, "Heron", colour);
        card(&within, "Otter", colour);
    }
    let visitor = Visitor::come().await;
    visitor.go(&server.address).await;
    visitor.click("[data-units=in]").await;
    visitor
        .until("document.querySelector('[data-units=in]').getAttribute('aria-pressed') === 'true'")
        .await;
    visitor.choose_files("#folder", &[folder.path()]).await;
    settled(&visitor, "document.querySelector('#plans input')").await;
    assert_eq!(visitor.ask::<String>(ORDER).await, "Heron Otter");
    // Those who measure in inches print on Letter.
    let answer = visitor.text("#answer").await;
    assert!(
        answer.starts_with("2 cards on 1 sheet of Letter"),
        "{answer}"
    );
    choose(&visitor, "gutter", "0.25").await;
    settled(
        &visitor,
        "document.querySelector('.plan-words').textContent.includes('0.250 in between')",
    )
    .await;
    let shown: String = visitor
        .ask("document.querySelector('main').innerText")
        .await;
    assert!(!shown.contains(" mm"), "{shown}");
    visitor.look("deck-inches").await;
    visitor.click("#save").await;
    let info = text_of(&visitor.downloaded().await, &["-box", "-f", "1", "-l", "2"]);
    assert!(info.contains("612 x 792 pts"), "{info}");
    visitor.leave().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_measured_set_up_puts_its_backs_where_they_come_out_right() {
    let data = tempfile::tempdir().expect("a folder");
    let (data, folder) = (data.path(), tempfile::tempdir().expect("a folder"));
    let kept = data.display().to_string();
    let by_hand = |args: &[&str]| by_command(&[&["--data", &kept], args].concat());
    by_hand(&[
        "setup",
        "new",
        "Rear tray",
        "--paper",
        "a4",
        "--flip",
        "sideways",
    ]);
    for _ in 0..3 {
        by_hand(&[
            "read",
            "--setup",
            "Rear tray",
            "--ruler",
            "2mm low, 0.5mm left",
        ]);
    }
    let server = Server::start_on(data);
    let visitor = Visitor::come().await;
    visitor.go(&server.address).await;
    let files = five(folder.path());
    let paths: Vec<&Path> = files.iter().map(PathBuf::as_path).collect();
    visitor.drop_files("#drop", &paths).await;
    settled(&visitor, "document.querySelector('#plans input')").await;
    choose(&visitor, "setup", "Rear tray").await;
    settled(
        &visitor,
        "!document.querySelector('#worth').innerText.includes('No printer was measured')",
    )
    .await;
    visitor.look("deck-measured").await;
    visitor.click("#save").await;
    let info = text_of(&visitor.downloaded().await, &["-box", "-f", "1", "-l", "2"]);
    let mm = |points: f64| points * 25.4 / 72.0;
    let [front_left, front_foot, front_right, front_head] = page_box(&info, 1, "TrimBox");
    let [left, foot, right, head] = page_box(&info, 2, "TrimBox");
    // They come out 2 mm low and 0.5 mm left, looking at the backs; so they are printed that much
    // higher and further right than behind their fronts.
    let across = (mm(left + right) - (420.0 - mm(front_left + front_right))) / 2.0;
    let up = (mm(foot + head) - mm(front_foot + front_head)) / 2.0;
    assert!((across - 0.5).abs() < 0.15, "{across} mm to the right");
    assert!((up - 2.0).abs() < 0.15, "{up} mm up");
    visitor.leave().await;
}
