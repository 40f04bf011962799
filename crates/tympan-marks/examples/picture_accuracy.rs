//! How far readings of simulated pictures are from the truth, and whether they know it.
//!
//! ```text
//! cargo run --release -p tympan-marks --example picture_accuracy -- holes 20 0
//! cargo run --release -p tympan-marks --example picture_accuracy -- report 1000 100 5000
//! ```
//!
//! The ways are `holes` and `edges` (the sheet turned over on the glass like the page of a book),
//! `end-for-end` (edges, turned over the other way), `quarter` (edges, a quarter turn apart),
//! `wavy-holes` and `wavy-edges` (one scanner whose carriage runs unevenly by up to 0.15 mm),
//! `two-wavy` (edges, two such scanners), `two-prints` (front and back of two prints of one test
//! sheet, each with two holes: to be refused), `photo`, `photo-faintest` (2 % of contrast) and `spoiled`; `witness-scans` and
//! `witness-photo` read production sheets by their witness marks. Then how many sheets, and the first seed. A way with `places-` before it makes no
//! pictures: marks, holes and points of edges are put where the simulated scanner shows them, with
//! errors of `MARK_PX` and so on (`tests/support/ways.rs`).
//! `report` prints what `docs/pictures.md` keeps: so many sheets by places and by pictures for
//! every way.
#![allow(clippy::print_stdout, reason = "a command")]

#[path = "../tests/support/mod.rs"]
mod support;

use std::cell::OnceCell;
use std::collections::BTreeMap;

use support::ways::{by_places, errors, scanned};
use support::{A4, LETTER, Production, luma, pages, put_right, sheet};
use tympan_marks::TestSheet;
use tympan_marks::picture::{Expected, Outcome, read};
use tympan_sheet::{Flip, LeadingEdge, QuarterTurn, Side, Size};
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
    /// Errors over their stated uncertainties, of shifts and of tilts.
    z: Vec<f64>,
    tilt_z: Vec<f64>,
    /// How often what became of each kind.
    verdicts: BTreeMap<String, BTreeMap<&'static str, usize>>,
    /// Prints a line for every reading.
    loud: bool,
}

const SCANS: [&str; 7] = [
    "holes",
    "edges",
    "end-for-end",
    "quarter",
    "wavy-holes",
    "wavy-edges",
    "two-wavy",
];

fn main() {
    let mut args = std::env::args().skip(1);
    let way = args.next().unwrap_or_else(|| "holes".to_owned());
    let mut number = |or: u64| args.next().and_then(|a| a.parse().ok()).unwrap_or(or);
    let sheets = Sheets::new();
    if way == "report" {
        let (places, pictures, first) = (number(1000), number(100), number(5000));
        report(&sheets, places, pictures, first);
        return;
    }
    let (count, first) = (number(10), number(0));
    let mut tally = Tally {
        loud: true,
        ..Tally::default()
    };
    tally.run(&sheets, &way, first, count);
    println!("{}", Tally::HEAD);
    println!("{}", tally.row(&way));
}

/// The tables of the report.
fn report(sheets: &Sheets, places: u64, pictures: u64, first: u64) {
    let run = |ways: &[String], count| {
        println!("{}", Tally::HEAD);
        for way in ways {
            let mut tally = Tally::default();
            tally.run(sheets, way, first, count);
            println!("{}", tally.row(way));
        }
        println!();
    };
    println!("Places only, {places} sheets of each way, seeds from {first}:\n");
    let mut ways = SCANS.map(|way| format!("places-{way}")).to_vec();
    ways.push("places-two-prints".to_owned());
    run(&ways, places);
    println!("Whole pictures, {pictures} sheets of each way, seeds from {first}:\n");
    let mut ways = SCANS.map(str::to_owned).to_vec();
    ways.extend(["photo", "witness-scans", "witness-photo"].map(str::to_owned));
    run(&ways, pictures);
    println!("Spoiled, {pictures} sheets, seeds from {first}:\n");
    let mut tally = Tally::default();
    tally.run(sheets, "spoiled", first, pictures);
    println!("{}\n{}\n", Tally::HEAD, tally.row("spoiled"));
    println!("| kind | verdicts |\n|---|---|");
    for (kind, verdicts) in &tally.verdicts {
        let all: Vec<String> = verdicts.iter().map(|(v, n)| format!("{v}: {n}")).collect();
        println!("| {kind} | {} |", all.join(", "));
    }
}

/// The test sheets, each rendered when it is first needed.
struct Sheets {
    sheets: [TestSheet; 3],
    rendered: [OnceCell<Pages>; 3],
    /// A run of production sheets on A4 and one on Letter.
    productions: [OnceCell<(Production, Pages)>; 2],
}

impl Sheets {
    fn new() -> Self {
        Self {
            sheets: [
                sheet(A4, Flip::Sideways, "K7Q2", 3),
                sheet(A4, Flip::Endways, "K7Q2", 3),
                sheet(LETTER, Flip::Sideways, "K7Q2", 3),
            ],
            rendered: Default::default(),
            productions: Default::default(),
        }
    }

    fn pages(&self, which: usize) -> &Pages {
        self.rendered[which].get_or_init(|| pages(&self.sheets[which]))
    }

    fn production(&self, paper: Size) -> &(Production, Pages) {
        self.productions[usize::from(paper == LETTER)].get_or_init(|| {
            let production = Production::new(paper, Flip::Sideways, "7FERY");
            let pages = production.pages(7);
            (production, pages)
        })
    }
}

impl Tally {
    const HEAD: &str = "| way | read | refused | wrong | shift, mm rms (worst) | tilt, ° rms (worst) \
                        | within two sigma: shift | tilt | rms z: shift | tilt |\n\
                        |---|---|---|---|---|---|---|---|---|---|";

    fn run(&mut self, sheets: &Sheets, way: &str, first: u64, count: u64) {
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
            if let Some(how) = way.strip_prefix("witness-") {
                let paper = if seed % 2 == 0 { A4 } else { LETTER };
                let (name, printed, outcomes) =
                    witness(how, seed, paper, sheets.production(paper), &mut rng);
                for outcome in outcomes {
                    self.add(seed, &name, &printed, outcome);
                }
                continue;
            }
            let printer = Printer::faulty(seed, paper, flip);
            if let Some(way) = way.strip_prefix("places-") {
                let (printed, result) =
                    by_places(way, seed, &sheets.sheets[which], &printer, &mut rng);
                let outcome = Outcome {
                    pictures: vec![0, 1],
                    result,
                };
                self.add(seed, way, &printed, outcome);
                continue;
            }
            let [front, back] = sheets.pages(which);
            let printed = printer.print(seed, front, back);
            let (name, printed, outcomes) = match way {
                "spoiled" => spoiled(seed, &printer, printed, sheets.pages(which), &mut rng),
                "photo" | "photo-faintest" => {
                    let contrast = match way {
                        "photo" => [0.05, 0.05, 0.03, 0.1, 0.3][(seed / 2 % 5) as usize],
                        _ => 0.02,
                    };
                    photo(
                        seed,
                        contrast,
                        &printer,
                        printed,
                        &Expected::default(),
                        &mut rng,
                    )
                }
                _ => {
                    let (printed, scanners, lies) = scanned(way, seed, printed, &printer, &mut rng);
                    let pictures = [0, 1]
                        .map(|k| luma(&scanners[k].scan(&printed, Side::BOTH[k], &lies[k]).image));
                    (
                        way.to_owned(),
                        printed,
                        read(&pictures, &Expected::default()),
                    )
                }
            };
            for outcome in outcomes {
                self.add(seed, &name, &printed, outcome);
            }
        }
    }

    fn add(&mut self, seed: u64, name: &str, printed: &PrintedSheet, outcome: Outcome) {
        match outcome.result {
            Err(refusal) => {
                self.refused += 1;
                self.verdict(name, refusal.code());
                if self.loud {
                    println!("{seed} {name}: refused, {}: {refusal}", refusal.code());
                }
            }
            Ok(reading) => {
                self.read += 1;
                let [x, y, tilt] = errors(&reading, printed);
                let [sx, sy, st] = reading.uncertainty();
                self.shift.extend([x, y]);
                self.tilt.push(tilt.to_degrees());
                self.z.extend([x / sx, y / sy]);
                self.tilt_z.push(tilt / st);
                let wrong = [(x, sx), (y, sy)]
                    .iter()
                    .any(|(e, s)| e.abs() > 3.0 * s && e.abs() > 0.10)
                    || (tilt.abs() > 3.0 * st && tilt.abs() * 150.0 > 0.10);
                self.wrong += usize::from(wrong);
                self.verdict(name, if wrong { "read WRONG" } else { "read" });
                if !self.loud {
                    return;
                }
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

    fn verdict(&mut self, kind: &str, verdict: &'static str) {
        let kinds = self.verdicts.entry(kind.to_owned()).or_default();
        *kinds.entry(verdict).or_default() += 1;
    }

    fn row(&self, way: &str) -> String {
        let rms = |v: &[f64]| (v.iter().map(|e| e * e).sum::<f64>() / v.len() as f64).sqrt();
        let worst = |v: &[f64]| v.iter().fold(0.0_f64, |most, e| most.max(e.abs()));
        let within = |z: &[f64]| {
            let count = z.iter().filter(|z| z.abs() <= 2.0).count();
            100.0 * count as f64 / z.len() as f64
        };
        format!(
            "| {way} | {} | {} | {} | {:.4} ({:.3}) | {:.4} ({:.3}) | {:.1} % | {:.1} % | {:.2} | {:.2} |",
            self.read,
            self.refused,
            self.wrong,
            rms(&self.shift),
            worst(&self.shift),
            rms(&self.tilt),
            worst(&self.tilt),
            within(&self.z),
            within(&self.tilt_z),
            rms(&self.z),
            rms(&self.tilt_z),
        )
    }
}

/// A photo against the light, in which full ink on the far side takes this share of the light.
fn photo(
    seed: u64,
    contrast: f64,
    printer: &Printer,
    printed: PrintedSheet,
    expected: &Expected,
    rng: &mut Rng,
) -> (String, PrintedSheet, Vec<Outcome>) {
    let mut camera = Camera::phone(seed);
    camera.colour = false;
    let pose = Pose::by_hand(&camera, printer.size, seed);
    let light = Backlight::window(contrast, printer.size, seed);
    let facing = if rng.chance(0.3) {
        Side::Back
    } else {
        Side::Front
    };
    let photo = camera.photo(&printed, facing, &pose, &light);
    let expected = Expected {
        caliper_mm: Some(printer.media.caliper),
        ..expected.clone()
    };
    let outcomes = read(&[luma(&photo.image)], &expected);
    (format!("{facing} {contrast}"), printed, outcomes)
}

/// A corrected production sheet, read by its witness marks: two scans over a dark backing, or one
/// photo.
fn witness(
    how: &str,
    seed: u64,
    paper: Size,
    (production, [front, back]): &(Production, Pages),
    rng: &mut Rng,
) -> (String, PrintedSheet, Vec<Outcome>) {
    let printer = put_right(seed, paper, Flip::Sideways, 0.2);
    let printed = printer.print(seed, front, back);
    let expected = Expected {
        setup: "K7Q2".parse().ok(),
        paper: Some(paper),
        flip: Some(Flip::Sideways),
        caliper_mm: None,
        runs: vec![production.known()],
    };
    if how == "photo" {
        let (name, printed, outcomes) = photo(seed, 0.1, &printer, printed, &expected, rng);
        return (format!("witness marks, {name}"), printed, outcomes);
    }
    let (printed, scanners, lies) = scanned("edges", seed, printed, &printer, rng);
    let pictures = [0, 1].map(|k| luma(&scanners[k].scan(&printed, Side::BOTH[k], &lies[k]).image));
    let outcomes = read(&pictures, &expected);
    ("witness marks, scans".to_owned(), printed, outcomes)
}

type Pages = [std::sync::Arc<tympan_sim::Page>; 2];

/// Pictures with something wrong.
fn spoiled(
    seed: u64,
    printer: &Printer,
    printed: PrintedSheet,
    [front, back]: &Pages,
    rng: &mut Rng,
) -> (String, PrintedSheet, Vec<Outcome>) {
    let paper = printer.size;
    let mut scanner = Scanner::usual(seed, 300.0);
    scanner.colour = false;
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
            camera.colour = false;
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
