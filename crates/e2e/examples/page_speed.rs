//! How fast the page is, in a real browser on this machine.
//!
//! ```text
//! cargo build --release && cargo run --release -p e2e --example page_speed
//! ```
//!
//! Prints how long it takes from the program's start to its first answer, from a request to each
//! page's first paint, from the drop of a PDF of 300 MB to its first sheet on the light table, and
//! how many pictures a second the light table draws while a sheet is dragged about. Nothing is
//! asserted: the figures are the machine's.

#![allow(clippy::print_stdout, reason = "a command")]

#[path = "../tests/common/mod.rs"]
mod common;

use std::fs;
use std::time::{Duration, Instant};

use common::browser::Visitor;
use common::{Server, large_pdf};

#[tokio::main]
async fn main() {
    // Building it, where it is stale, is not to be measured.
    common::program();
    first_byte();
    let server = Server::start();
    let visitor = Visitor::come().await;
    // The browser itself takes its time for its first page.
    visitor.go(&server.address).await;
    for page in ["", "setups", "setups/new"] {
        visitor.go(&format!("{}{page}", server.address)).await;
        println!(
            "first paint of /{page}: {:.0} ms; its page was there after {:.0} ms, all that it \
             shows after {:.0} ms",
            painted(&visitor).await,
            arrived(&visitor, "navigation").await,
            arrived(&visitor, "resource").await
        );
    }
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("large.pdf");
    large_pdf(&file, 24);
    let size = fs::metadata(&file).expect("the file").len();
    visitor.go(&server.address).await;
    let began = Instant::now();
    visitor.drop_files("#drop", &[&file]).await;
    visitor
        .until("document.querySelector('#looking')?.textContent.startsWith('Looking')")
        .await;
    let table = began.elapsed();
    visitor.until(INKED).await;
    println!(
        "a PDF of {} MB: light table after {:.2} s, its first sheet after {:.2} s",
        size / 1_000_000,
        table.as_secs_f64(),
        began.elapsed().as_secs_f64()
    );
    println!(
        "first paint of its light table: {:.0} ms",
        painted(&visitor).await
    );
    pan(&visitor).await;
    visitor.leave().await;
}

/// From the program's start to its first answer.
fn first_byte() {
    let mut all: Vec<f64> = (0..5)
        .map(|_| {
            let began = Instant::now();
            let server = Server::start();
            assert_eq!(server.get("/").status, 200);
            began.elapsed().as_secs_f64() * 1e3
        })
        .collect();
    all.sort_by(f64::total_cmp);
    println!(
        "from the program's start to its first page: {:.0} ms ({:.0} to {:.0})",
        all[2], all[0], all[4]
    );
}

const INKED: &str = "(() => { const c = document.querySelector('#table canvas'); \
    const { data } = c.getContext('2d').getImageData(c.width / 2 - 50, c.height / 2 - 50, 100, 100); \
    for (let i = 0; i < data.length; i += 4) if (data[i] !== data[0]) return true; return false; })()";

/// From the request to the arrival of the last of the page itself, or of its styles and fonts, ms.
async fn arrived(visitor: &Visitor, kind: &str) -> f64 {
    visitor
        .ask(&format!(
            "Math.max(0, ...performance.getEntriesByType('{kind}').map(e => e.responseEnd))"
        ))
        .await
}

/// From the request to the first paint with content, ms, as the browser tells it.
async fn painted(visitor: &Visitor) -> f64 {
    visitor
        .until("performance.getEntriesByName('first-contentful-paint').length")
        .await;
    visitor
        .ask("performance.getEntriesByName('first-contentful-paint')[0].startTime")
        .await
}

/// Pictures a second while the sheet is panned.
async fn pan(visitor: &Visitor) {
    // The finest tiles have come.
    tokio::time::sleep(Duration::from_secs(3)).await;
    let _: bool = visitor
        .ask(
            "(() => { window.drawn = []; \
             document.querySelector('#table').addEventListener('drawn', () => drawn.push(performance.now())); \
             document.querySelector('#table').focus(); return true; })()",
        )
        .await;
    let _: bool = visitor
        .ask(
            "new Promise((resolve) => { const began = performance.now(); let n = 0; \
             const step = () => { const key = (n++ % 40 < 20) ? 'ArrowRight' : 'ArrowLeft'; \
             document.querySelector('#table').dispatchEvent(new KeyboardEvent('keydown', \
             { key, altKey: true, bubbles: true, cancelable: true })); \
             if (performance.now() - began < 4000) requestAnimationFrame(step); else resolve(true); }; \
             requestAnimationFrame(step); })",
        )
        .await;
    let (pictures, longest): (f64, f64) = visitor
        .ask(
            "(() => { const gaps = drawn.slice(1).map((t, i) => t - drawn[i]); \
             return [1000 * gaps.length / (drawn.at(-1) - drawn[0]), Math.max(...gaps)]; })()",
        )
        .await;
    println!("while panning: {pictures:.0} pictures a second, {longest:.0} ms at most between two");
}
