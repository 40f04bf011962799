//! How fast the page is, in a real browser on this machine.
//!
//! ```text
//! cargo build --release && cargo run --release -p e2e --example speed
//! ```
//!
//! Prints how long it takes from the program's start to its first answer, from a request to each
//! page's first paint, from the drop of a PDF of 300 MB to its first sheet on the light table, and
//! how many pictures a second the light table draws while a sheet is dragged about. Nothing is
//! asserted: the figures are the machine's.

#![allow(clippy::print_stdout, reason = "a command")]

#[path = "../tests/common/mod.rs"]
mod common;

use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::Path;
use std::time::{Duration, Instant};

use common::Server;
use common::browser::Visitor;

/// Pages of the large file, and the pixels of the picture on each: 13 MB as they are.
const PAGES: usize = 24;
const PIXELS: (usize, usize) = (2480, 1750);

#[tokio::main]
async fn main() {
    first_byte();
    let server = Server::start();
    let visitor = Visitor::come().await;
    for page in ["", "setups", "setups/new"] {
        visitor.go(&format!("{}{page}", server.address)).await;
        println!("first paint of /{page}: {:.0} ms", painted(&visitor).await);
    }
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("large.pdf");
    let size = large_pdf(&file);
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
    println!(
        "while panning: {pictures:.0} pictures a second, {longest:.0} ms at most between two"
    );
}

/// A file of pages with one picture each that cannot be packed. Gives its size.
fn large_pdf(path: &Path) -> u64 {
    let mut file = BufWriter::new(File::create(path).expect("a file"));
    let mut at = 0;
    let mut places = Vec::new();
    let mut put = |file: &mut BufWriter<File>, bytes: &[u8]| {
        file.write_all(bytes).expect("written");
        at += bytes.len();
        at
    };
    put(&mut file, b"%PDF-1.4\n");
    let kids: Vec<String> = (0..PAGES).map(|i| format!("{} 0 R", 3 + 3 * i)).collect();
    let mut objects: Vec<Vec<u8>> = vec![
        b"<< /Type /Catalog /Pages 2 0 R >>".to_vec(),
        format!(
            "<< /Type /Pages /Count {PAGES} /Kids [{}] >>",
            kids.join(" ")
        )
        .into_bytes(),
    ];
    let (w, h) = PIXELS;
    let mut state = 0x2545_f491_4f6c_dd1d_u64;
    for page in 0..PAGES {
        let first = 3 + 3 * page;
        objects.push(
            format!(
                "<< /Type /Page /Parent 2 0 R /MediaBox [0 0 595.276 841.89] /Contents {} 0 R \
                 /Resources << /XObject << /I {} 0 R >> >> >>",
                first + 1,
                first + 2
            )
            .into_bytes(),
        );
        let draw = "q 500 0 0 353 47 244 cm /I Do Q";
        objects.push(
            format!("<< /Length {} >>\nstream\n{draw}\nendstream", draw.len()).into_bytes(),
        );
        let mut picture = format!(
            "<< /Type /XObject /Subtype /Image /Width {w} /Height {h} /BitsPerComponent 8 \
             /ColorSpace /DeviceRGB /Length {} >>\nstream\n",
            3 * w * h
        )
        .into_bytes();
        for _ in 0..3 * w * h / 8 {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            picture.extend_from_slice(&state.to_le_bytes());
        }
        picture.extend(std::iter::repeat_n(0, 3 * w * h % 8));
        picture.extend_from_slice(b"\nendstream");
        objects.push(picture);
    }
    let mut here = 9;
    for (i, object) in objects.iter().enumerate() {
        places.push(here);
        put(&mut file, format!("{} 0 obj\n", i + 1).as_bytes());
        put(&mut file, object);
        here = put(&mut file, b"\nendobj\n");
    }
    let mut table = format!("xref\n0 {}\n0000000000 65535 f \n", places.len() + 1);
    for place in &places {
        table.push_str(&format!("{place:010} 00000 n \n"));
    }
    table.push_str(&format!(
        "trailer\n<< /Size {} /Root 1 0 R >>\nstartxref\n{here}\n%%EOF\n",
        places.len() + 1
    ));
    put(&mut file, table.as_bytes()) as u64
}
