//! Prints a sheet from two page pictures on a simulated printer, scans both sides, and photographs
//! it against the light.
//!
//! `pdftoppm -r 600 -png sheet.pdf page` first, then
//! `cargo run -p tympan-sim --example scan -- page-1.png page-2.png 600 OUT --seed 3 --holes 4`.

use std::path::Path;
use std::process::ExitCode;
use std::sync::Arc;

use tympan_sheet::{Flip, LeadingEdge, Point, Size};
use tympan_sim::{
    Backing, Backlight, Camera, OnBed, Page, Pose, Printer, Rng, Scanner, Side, office_punch,
    office_punch_twice,
};

const USAGE: &str = "usage: scan FRONT.png BACK.png PAGE_DPI OUT_DIR [--seed N] [--sheet N] \
    [--flip sideways|endways] [--dpi N] [--holes 0|2|4] [--backing dark|white] \
    [--contrast 0.1] [--exact]";

fn main() -> ExitCode {
    match run() {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{error}");
            ExitCode::FAILURE
        }
    }
}

fn run() -> Result<(), Box<dyn std::error::Error>> {
    let mut args: Vec<String> = std::env::args().skip(1).collect();
    let exact = args
        .iter()
        .position(|a| a == "--exact")
        .map(|at| args.remove(at))
        .is_some();
    let mut option = |name: &str, default: &str| -> String {
        match args.iter().position(|a| a == name) {
            Some(at) if at + 1 < args.len() => args.drain(at..=at + 1).nth(1).unwrap_or_default(),
            _ => default.to_owned(),
        }
    };
    let seed: u64 = option("--seed", "1").parse()?;
    let number: u64 = option("--sheet", "1").parse()?;
    let flip: Flip = option("--flip", "sideways").parse()?;
    let dpi: f64 = option("--dpi", "300").parse()?;
    let holes = option("--holes", "4");
    let backing = option("--backing", "dark");
    let contrast: f64 = option("--contrast", "0.1").parse()?;
    let [front, back, page_dpi, out] = args.as_slice() else {
        return Err(USAGE.into());
    };

    let page_dpi: f64 = page_dpi.parse()?;
    let open = |path: &str| image::open(path).map(|p| Arc::new(Page::at_dpi(&p, page_dpi)));
    let (front, back) = (open(front)?, open(back)?);
    let raster = front.size();
    // A raster is rounded up to whole pixels; sheets are cut to whole tenths of a millimetre.
    let size = Size::new(
        (raster.w * 10.0).floor() / 10.0,
        (raster.h * 10.0).floor() / 10.0,
    );
    let printer = if exact {
        Printer::exact(size, flip)
    } else {
        Printer::faulty(seed, size, flip)
    };
    let mut rng = Rng::stream(seed, number);
    let punched = match holes.as_str() {
        "0" => Vec::new(),
        "2" => office_punch(size, LeadingEdge::Left, &mut rng),
        _ => office_punch_twice(size, &mut rng),
    };
    let sheet = printer.print(number, &front, &back).punched(punched);
    let mut scanner = if exact {
        Scanner::exact(dpi)
    } else {
        Scanner::usual(seed, dpi)
    };
    scanner.backing = if backing == "white" {
        Backing::White
    } else {
        Backing::Dark
    };

    let out = Path::new(out);
    std::fs::create_dir_all(out)?;
    for (name, side) in [("front", Side::Front), ("back", Side::Back)] {
        let lie = OnBed::by_hand(seed.wrapping_mul(31).wrapping_add(number * 2 + side as u64));
        scanner
            .scan(&sheet, side, &lie)
            .image
            .save(out.join(format!("{name}.png")))?;
    }
    let camera = if exact {
        Camera::pinhole()
    } else {
        Camera::phone(seed)
    };
    let (pose, light) = if exact {
        (Pose::square(&camera, size, 0.8), Backlight::even(contrast))
    } else {
        (
            Pose::by_hand(&camera, size, number),
            Backlight::window(contrast, size, number),
        )
    };
    camera
        .photo(&sheet, Side::Front, &pose, &light)
        .image
        .save(out.join("photo.png"))?;
    sheet.seen_through(4.0).save(out.join("seen-through.png"))?;
    let middle = sheet.register_error(size.centre());
    let corner = sheet.register_error(Point::new(0.0, 0.0));
    eprintln!("register error, seen from the front, x right and y down:");
    eprintln!("  at the middle   {:+.3} {:+.3} mm", middle.x, middle.y);
    eprintln!("  at the top left {:+.3} {:+.3} mm", corner.x, corner.y);
    Ok(())
}
