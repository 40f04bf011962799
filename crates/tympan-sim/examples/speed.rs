//! How much CPU time a simulated A4 scan at 300 dpi and a 12-megapixel photo take (Linux).
//!
//! `cargo run --release -p tympan-sim --example speed`

use std::sync::Arc;

use image::{DynamicImage, GrayImage, Luma};
use tympan_sheet::{Flip, Side, Size};
use tympan_sim::{Backlight, Camera, OnBed, Page, Pose, Printer, Rng, Scanner, office_punch_twice};

fn main() {
    let size = Size::new(210.0, 297.0);
    let checks = GrayImage::from_fn(4961, 7016, |x, y| {
        Luma([if (x / 90 + y / 90) % 4 == 0 { 0 } else { 255 }])
    });
    let page = Arc::new(Page::at_dpi(&DynamicImage::ImageLuma8(checks), 600.0));
    let printer = Printer::faulty(1, size, Flip::Sideways);
    let mut rng = Rng::new(1);
    let sheet = printer
        .print(0, &page, &page)
        .punched(office_punch_twice(size, &mut rng));
    let time = |what: &str, work: &dyn Fn()| {
        work();
        let best = (0..3)
            .map(|_| {
                let start = cpu_seconds();
                work();
                cpu_seconds() - start
            })
            .fold(f64::INFINITY, f64::min);
        eprintln!("{what}: {best:.2} s of CPU time");
    };
    for colour in [false, true] {
        for jpeg in [None, Some(90)] {
            let scanner = Scanner {
                colour,
                jpeg,
                ..Scanner::usual(1, 300.0)
            };
            time(&format!("scan, colour {colour}, jpeg {jpeg:?}"), &|| {
                scanner.scan(&sheet, Side::Front, &OnBed::by_hand(1));
            });
        }
    }
    for colour in [false, true] {
        let camera = Camera {
            colour,
            jpeg: None,
            ..Camera::phone(1)
        };
        let pose = Pose::by_hand(&camera, size, 1);
        time(&format!("photo, colour {colour}, no jpeg"), &|| {
            camera.photo(&sheet, Side::Front, &pose, &Backlight::window(0.1, size, 1));
        });
    }
}

/// User time of this process, all threads together: ticks of 1/100 s.
fn cpu_seconds() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    // The name in brackets may hold spaces; the fields after it are counted from the third.
    let after_name = stat.rsplit(')').next().unwrap_or_default();
    let ticks = after_name
        .split_whitespace()
        .nth(11)
        .and_then(|f| f.parse::<f64>().ok());
    ticks.unwrap_or(f64::NAN) / 100.0
}
