//! Writes a PDF's pages as PWG raster to stdout, for `benchmarks/raster.py`.
//!
//!     raster FILE DPI black|grey|colour

use std::io::Write;
use std::path::Path;

use tympan_pdf::raster::Pages;
use tympan_press::ipp::Sides;
use tympan_press::raster::{ColourSpace, Drawn, Pass, SheetBack, draw};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let [file, dpi, space] = args.as_slice() else {
        return Err("raster FILE DPI black|grey|colour".into());
    };
    let space = match space.as_str() {
        "black" => ColourSpace::Black,
        "grey" => ColourSpace::Grey,
        _ => ColourSpace::Colour,
    };
    let pages = Pages::read(Path::new(file), None)?;
    let pass = Pass {
        pages: 0..pages.count(),
        size: pages.size(0)?,
        sides: Sides::OneSided,
        dpi: dpi.parse()?,
        space,
        sheet_back: SheetBack::Normal,
        quality: None,
        kind: None,
    };
    let mut out = std::io::stdout().lock();
    draw(&pages, &pass, &Drawn::default(), &mut |bytes| {
        out.write_all(&bytes).is_ok()
    })?;
    Ok(())
}
