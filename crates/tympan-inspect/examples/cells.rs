//! Prints the cells found on the pages of a file as JSON lines: a look at what inspection sees.
//!
//! `cargo run -p tympan-inspect --example cells FILE.pdf...`
#![allow(clippy::print_stdout)]

use tympan_inspect::cells;
use tympan_pdf::contents::Limits;
use tympan_pdf::raster::{Pages, View};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    for path in std::env::args().skip(1) {
        let pages = Pages::read(path.as_ref(), None)?;
        let (mut said, mut all) = (Vec::new(), Vec::new());
        for page in 0..pages.count() {
            let contents = pages.contents(page, &Limits::default())?;
            let view = View::dpi(150.0);
            let picture = pages.grey(page, &view)?;
            all.push(cells::find(&contents, &picture, view.px_per_mm));
        }
        cells::settle(&mut all);
        for (page, found) in all.iter().enumerate() {
            let grids: Vec<String> = (found.grids.iter())
                .map(|grid| {
                    format!(
                        "{{\"columns\": {}, \"rows\": {}, \"trim_mm\": [{}, {}], \"pitch_mm\": [{}, \
                         {}], \"origin_mm\": [{}, {}], \"rotation_deg\": {}, \"confidence\": {}, \
                         \"filled\": {:?}, \"trim_sd_mm\": {}, \"pitch_sd_mm\": {}, \
                         \"place_sd_mm\": {}, \"found_by\": \"{:?}\"}}",
                        grid.columns,
                        grid.rows,
                        grid.trim.w,
                        grid.trim.h,
                        grid.pitch.x,
                        grid.pitch.y,
                        grid.origin.x,
                        grid.origin.y,
                        grid.rotation.to_degrees(),
                        grid.confidence,
                        grid.filled,
                        grid.trim_sd,
                        grid.pitch_sd,
                        grid.place_sd,
                        grid.found_by,
                    )
                })
                .collect();
            said.push(format!(
                "{{\"page\": {}, \"one_picture\": {}, \"grids\": [{}]}}",
                page + 1,
                found.one_picture,
                grids.join(", ")
            ));
        }
        println!("{{\"file\": {path:?}, \"pages\": [{}]}}", said.join(", "));
    }
    Ok(())
}
