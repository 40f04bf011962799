//! How far readings of simulated pictures are from the truth, and whether they know it.
//!
//! ```text
//! cargo run --release -p tympan-marks --example picture_accuracy -- holes 20 0
//! ```
//!
//! The ways are `holes`, `edges`, `wavy` (edges, two scanners whose carriages run unevenly by
//! 0.15 mm), `quarter` (edges, a quarter turn apart), `photo` and `spoiled`. Then how many sheets,
//! and the first seed.
#![allow(clippy::print_stdout, reason = "a command")]

#[path = "../tests/support/mod.rs"]
mod support;

use support::{A4, LETTER, luma, pages, sheet};
use tympan_marks::picture::{Expected, Outcome, Reading, read};
use tympan_sheet::{Flip, Front, LeadingEdge, Point, QuarterTurn, Side};
use tympan_sim::{
    Backing, Backlight, Camera, Corner, EdgeShadow, Fold, OnBed, Pose, PrintedSheet, Printer, Rng,
    Scanner, office_punch, office_punch_twice,
};

#[derive(Default)]
struct Tally {
    read: usize,
    refused: usize,
    wrong: usize,
    shift: Vec<f64>,
    tilt: Vec<f64>,
    /// Errors over their stated uncertainties.
    z: Vec<f64>,
}

fn main() {
    let mut args = std::env::args().skip(1);
    let way = args.next().unwrap_or_else(|| "holes".to_owned());
    let count: u64 = args.next().and_then(|a| a.parse().ok()).unwrap_or(10);
    let first: u64 = args.next().and_then(|a| a.parse().ok()).unwrap_or(0);
    let rendered = [
        pages(&sheet(A4, Flip::Sideways, "K7Q2", 3)),
        pages(&sheet(A4, Flip::Endways, "K7Q2", 3)),
        pages(&sheet(LETTER, Flip::Sideways, "K7Q2", 3)),
    ];
    let mut tally = Tally::default();
    for seed in first..first + count {
        let mut rng = Rng::stream(seed, 77);
        let which = if seed % 5 == 4 {
            2
        } else {
            (seed % 2) as usize
        };
        let paper = if which == 2 { LETTER } else { A4 };
        let flip = if which == 1 {
            Flip::Endways
        } else {
            Flip::Sideways
        };
        let [front, back] = &rendered[which];
        let printer = Printer::faulty(seed, paper, flip);
        let printed = printer.print(seed, front, back);
        let (name, printed, outcomes) = match way.as_str() {
            "spoiled" => spoiled(seed, &printer, printed, &rendered, which, &mut rng),
            "photo" => {
                let camera = Camera::phone(seed);
                let pose = Pose::by_hand(&camera, paper, seed);
                let contrast = [0.05, 0.05, 0.03, 0.1, 0.3][(seed / 2 % 5) as usize];
                let light = Backlight::window(contrast, paper, seed);
                let facing = if rng.chance(0.3) {
                    Side::Back
                } else {
                    Side::Front
                };
                let photo = camera.photo(&printed, facing, &pose, &light);
                let caliper = Some(printer.media.caliper);
                let expected = Expected {
                    caliper_mm: caliper,
                    ..Expected::default()
                };
                (
                    format!("{facing} {contrast}"),
                    printed,
                    read(&[luma(&photo.image)], &expected),
                )
            }
            _ => {
                let mut scanners = [Scanner::usual(seed, 300.0), Scanner::usual(seed, 300.0)];
                let mut lies = [OnBed::by_hand(2 * seed), OnBed::by_hand(2 * seed + 1)];
                let mut printed = printed;
                match way.as_str() {
                    "holes" => {
                        let holes = if rng.chance(0.5) {
                            office_punch_twice(paper, &mut rng)
                        } else {
                            let mut holes = office_punch(paper, LeadingEdge::Left, &mut rng);
                            holes.extend(office_punch(paper, LeadingEdge::Right, &mut rng));
                            holes
                        };
                        printed = printed.punched(holes);
                    }
                    "wavy" => {
                        scanners[1].seed += 1000;
                        scanners.iter_mut().for_each(|s| s.waviness = 0.15);
                    }
                    "quarter" => lies[1].turn = QuarterTurn::Clockwise,
                    _ => {}
                }
                let pictures = [
                    luma(&scanners[0].scan(&printed, Side::Front, &lies[0]).image),
                    luma(&scanners[1].scan(&printed, Side::Back, &lies[1]).image),
                ];
                (way.clone(), printed, read(&pictures, &Expected::default()))
            }
        };
        for outcome in outcomes {
            tally.add(seed, &name, &printed, outcome);
        }
    }
    tally.report(&way);
}

impl Tally {
    fn add(&mut self, seed: u64, name: &str, printed: &PrintedSheet, outcome: Outcome) {
        match outcome.result {
            Err(refusal) => {
                self.refused += 1;
                println!("{seed} {name}: refused, {}: {refusal}", refusal.code());
            }
            Ok(reading) => {
                self.read += 1;
                let [x, y, tilt] = errors(&reading, printed);
                let [sx, sy, st] = reading.uncertainty();
                self.shift.extend([x, y]);
                self.tilt.push(tilt.to_degrees());
                self.z.extend([x / sx, y / sy, tilt / st]);
                let wrong = [(x, sx), (y, sy)]
                    .iter()
                    .any(|(e, s)| e.abs() > 3.0 * s && e.abs() > 0.10)
                    || (tilt.abs() > 3.0 * st && tilt.abs() * 150.0 > 0.10);
                self.wrong += usize::from(wrong);
                println!(
                    "{seed} {name}: {x:+.3} ±{sx:.3}, {y:+.3} ±{sy:.3} mm, {:+.4} ±{:.4}°, rest \
                     {:.0} µm, {}{} {:?} {:?}",
                    tilt.to_degrees(),
                    st.to_degrees(),
                    reading.residual_um,
                    reading.quality(),
                    if wrong { " WRONG" } else { "" },
                    reading.way,
                    reading.warnings,
                );
            }
        }
    }

    fn report(&self, way: &str) {
        let rms = |v: &[f64]| (v.iter().map(|e| e * e).sum::<f64>() / v.len() as f64).sqrt();
        let within = self.z.iter().filter(|z| z.abs() <= 2.0).count();
        println!(
            "{way}: {} read, {} refused, {} wrong; shift {:.4} mm rms, tilt {:.4}° rms; {:.1} % \
             within two sigma, rms z {:.2}",
            self.read,
            self.refused,
            self.wrong,
            rms(&self.shift),
            rms(&self.tilt),
            100.0 * within as f64 / self.z.len() as f64,
            rms(&self.z),
        );
    }
}

/// The points' mean error (mm) and common tilt (radians).
fn errors(reading: &Reading, printed: &PrintedSheet) -> [f64; 3] {
    let centre: Point<Front> = reading.paper.centre();
    let n = reading.points.len() as f64;
    let (mut x, mut y, mut turn, mut square) = (0.0, 0.0, 0.0, 0.0);
    for point in &reading.points {
        let off = point.error - printed.register_error(point.at);
        let q = point.at - centre;
        x += off.x / n;
        y += off.y / n;
        turn += q.x * off.y - q.y * off.x;
        square += q.x * q.x + q.y * q.y;
    }
    [x, y, turn / square]
}

type Pages = [std::sync::Arc<tympan_sim::Page>; 2];

/// Pictures with something wrong.
fn spoiled(
    seed: u64,
    printer: &Printer,
    printed: PrintedSheet,
    rendered: &[Pages],
    which: usize,
    rng: &mut Rng,
) -> (String, PrintedSheet, Vec<Outcome>) {
    let paper = printer.size;
    let [front, back] = &rendered[which];
    let mut scanner = Scanner::usual(seed, 300.0);
    let mut lies = [OnBed::by_hand(2 * seed), OnBed::by_hand(2 * seed + 1)];
    let kinds = [
        "mirrored",
        "same side twice",
        "other sheet's back",
        "scaled",
        "front on both sides",
        "wrong flip, edges",
        "wrong flip, holes",
        "white, no holes",
        "cropped",
        "coarse",
        "blurred",
        "folded corner",
        "shadowed edge, half turn",
        "photo mirrored",
        "photo of the front on both sides",
        "photo of the wrong flip",
        "photo of opaque stock",
        "two-hole punch, white",
        "half turn",
        "holes of another sheet",
    ];
    let kind = kinds[(seed % kinds.len() as u64) as usize];
    let mut printed = printed;
    let mut second: Option<PrintedSheet> = None;
    let mut sides = Side::BOTH;
    let mut photo = None;
    match kind {
        "mirrored" => scanner.mirrored = true,
        "same side twice" => sides = [Side::Front, Side::Front],
        "other sheet's back" => {
            let other = sheet(paper, printer.flip, "K7Q2", 4);
            let other = pages(&other);
            second = Some(printer.print(seed + 1, &other[0], &other[1]));
        }
        "scaled" => {
            let scaled = Printer {
                scale: 0.9589,
                ..printer.clone()
            };
            printed = scaled.print(seed, front, back);
        }
        "front on both sides" => {
            printed = printer
                .print(seed, front, front)
                .punched(office_punch_twice(paper, rng));
        }
        "wrong flip, edges" | "wrong flip, holes" | "photo of the wrong flip" => {
            let wrong = Printer {
                flip: printer.flip.other(),
                ..printer.clone()
            };
            printed = wrong.print(seed, front, back);
            if kind == "wrong flip, holes" {
                printed = printed.punched(office_punch(paper, LeadingEdge::Left, rng));
            }
            photo = (kind == "photo of the wrong flip").then_some(0.2);
        }
        "white, no holes" => scanner.backing = Backing::White,
        "cropped" => lies[1].crop = [0.0, 0.0, 0.0, 0.5],
        "coarse" => scanner.dpi = 50.0,
        "blurred" => scanner.blur = 1.2,
        "folded corner" => {
            let fold = Fold {
                corner: Corner::TopLeft,
                legs: [30.0, 25.0],
                onto: Side::Front,
            };
            printed = printed.folded(fold);
        }
        "shadowed edge, half turn" => {
            let shadow = EdgeShadow {
                edge: 0,
                strength: 0.6,
                onto_sheet: 3.0,
                onto_backing: 2.0,
            };
            lies.iter_mut().for_each(|l| l.shadow = Some(shadow));
            lies[1].turn = QuarterTurn::Half;
        }
        "photo mirrored" => photo = Some(0.1),
        "photo of the front on both sides" => {
            printed = printer.print(seed, front, front);
            photo = Some(0.2);
        }
        "photo of opaque stock" => photo = Some(0.0005),
        "two-hole punch, white" => {
            scanner.backing = Backing::White;
            printed = printed.punched(office_punch(paper, LeadingEdge::Left, rng));
        }
        "half turn" => lies[1].turn = QuarterTurn::Half,
        "holes of another sheet" => {
            let other = printer.print(seed + 1, front, back);
            second = Some(other.punched(office_punch(paper, LeadingEdge::Left, rng)));
            printed = printed.punched(office_punch(paper, LeadingEdge::Left, rng));
        }
        _ => {}
    }
    let pictures = match photo {
        Some(contrast) => {
            let mut camera = Camera::phone(seed);
            camera.mirrored = kind == "photo mirrored";
            let pose = Pose::by_hand(&camera, paper, seed);
            let light = Backlight::window(contrast, paper, seed);
            vec![luma(
                &camera.photo(&printed, Side::Front, &pose, &light).image,
            )]
        }
        None => {
            let second = second.as_ref().unwrap_or(&printed);
            vec![
                luma(&scanner.scan(&printed, sides[0], &lies[0]).image),
                luma(&scanner.scan(second, sides[1], &lies[1]).image),
            ]
        }
    };
    let outcomes = read(&pictures, &Expected::default());
    (kind.to_owned(), printed, outcomes)
}
