//! What a page holds, and the cells on it, for any bytes.

#![no_main]

use libfuzzer_sys::fuzz_target;
use std::time::Duration;
use tympan_inspect::cells;
use tympan_pdf::contents::Limits;
use tympan_pdf::raster::{Pages, View};

fuzz_target!(|data: &[u8]| {
    let Ok(pages) = Pages::open(data.to_vec(), None) else {
        return;
    };
    let limits = Limits {
        elements: 5_000,
        time: Duration::from_millis(500),
        cancel: None,
    };
    let mut found = Vec::new();
    for page in 0..pages.count().min(3) {
        let Ok(contents) = pages.contents(page, &limits) else {
            continue;
        };
        let view = View {
            max_pixels: 200_000,
            ..View::dpi(40.0)
        };
        if let Ok(picture) = pages.grey(page, &view) {
            found.push(cells::find(&contents, &picture, view.px_per_mm));
        }
    }
    cells::settle(&mut found);
});
