//! Ways of scanning a test sheet, simulated: what lies on which scanner and how, where its marks,
//! holes and edges are then found, and how far a reading is from the truth.

use std::sync::Arc;

use tympan_marks::picture::{Places, Reading, Refusal, read_places};
use tympan_marks::{End, TestSheet};
use tympan_sheet::{Flip, Front, LeadingEdge, Page, Point, QuarterTurn, Side};
use tympan_sim::{
    OnBed, PrintedSheet, Printer, Rng, ScanView, Scanner, office_punch, office_punch_twice,
};

/// How exactly places are found at 300 dpi where no picture is made, px (sd): about what whole
/// pictures show.
const MARK_PX: f64 = 0.07;
const HOLE_PX: f64 = 0.10;
const EDGE_PX: f64 = 0.25;

/// Prints a test sheet and reads it from the places where two scans of this way would show its
/// marks, holes and edges; no picture is made.
pub(crate) fn by_places(
    way: &str,
    seed: u64,
    sheet: &TestSheet,
    printer: &Printer,
    rng: &mut Rng,
) -> (PrintedSheet, Result<Reading, Refusal>) {
    let blank = Arc::new(tympan_sim::Page::new(
        &image::DynamicImage::new_luma8(21, 30),
        0.1,
    ));
    let printed = printer.print(seed, &blank, &blank);
    let (printed, scanners, lies) = scanned(way, seed, printed, printer, rng);
    let other = (way == "two-prints").then(|| {
        let other = printer.print(seed + 1, &blank, &blank);
        other.punched(office_punch(printer.size, LeadingEdge::Left, rng))
    });
    let of_side = [&printed, other.as_ref().unwrap_or(&printed)];
    let [front, back] = [0, 1].map(|k| {
        let view = scanners[k].look(of_side[k], Side::BOTH[k], &lies[k]);
        places(sheet, &view, of_side[k], rng)
    });
    (printed, read_places(&front, &back))
}

/// What a scanner shows of one side: where each thing is found.
fn places(sheet: &TestSheet, view: &ScanView, printed: &PrintedSheet, rng: &mut Rng) -> Places {
    let side = view.side();
    let geometry = sheet.geometry();
    let nominal: Vec<Point<Page>> = geometry
        .marks(side)
        .iter()
        .map(|&m| geometry.seen_on(side, m))
        .collect();
    let marks: Vec<[f64; 2]> = nominal.iter().map(|p| [p.x, p.y]).collect();
    let found = view.find(&marks, MARK_PX, rng);
    let size = printed.cut_size();
    let (w, h) = (size.w, size.h);
    let edges = [
        ([0.0, 0.0], [w, 0.0]),
        ([w, 0.0], [w, h]),
        ([0.0, h], [w, h]),
        ([0.0, 0.0], [0.0, h]),
    ]
    .map(|(a, b)| {
        let between = |t: f64| [a[0] + (b[0] - a[0]) * t, a[1] + (b[1] - a[1]) * t];
        let points: Vec<[f64; 2]> = (0..176)
            .map(|k| between((f64::from(k) + 0.5) / 176.0))
            .collect();
        view.find_on_sheet(&points, EDGE_PX, rng)
            .into_iter()
            .flatten()
            .collect()
    });
    Places {
        code: sheet.code(side, End::Head),
        marks: nominal
            .into_iter()
            .zip(found)
            .filter_map(|(p, at)| Some((p, at?)))
            .collect(),
        holes: view
            .find_on_sheet(&printed.holes_on(side), HOLE_PX, rng)
            .into_iter()
            .flatten()
            .collect(),
        edges,
    }
}

/// The two scanners, how the sheet lies on each, and the sheet with its holes.
pub(crate) fn scanned(
    way: &str,
    seed: u64,
    mut printed: PrintedSheet,
    printer: &Printer,
    rng: &mut Rng,
) -> (PrintedSheet, [Scanner; 2], [OnBed; 2]) {
    let (paper, flip) = (printer.size, printer.flip);
    let mut scanners = [Scanner::usual(seed, 300.0), Scanner::usual(seed, 300.0)];
    let mut lies = [OnBed::by_hand(2 * seed), OnBed::by_hand(2 * seed + 1)];
    scanners.iter_mut().for_each(|s| s.colour = false);
    // Turned over like the page of a book, whose print then stands on its head where the sheet was
    // printed to be turned endways.
    if flip == Flip::Endways {
        lies[1].turn = QuarterTurn::Half;
    }
    match way {
        "holes" | "wavy-holes" => {
            let holes = if rng.chance(0.5) {
                office_punch_twice(paper, rng)
            } else {
                let mut holes = office_punch(paper, LeadingEdge::Left, rng);
                holes.extend(office_punch(paper, LeadingEdge::Right, rng));
                holes
            };
            printed = printed.punched(holes);
        }
        "two-prints" => {
            printed = printed.punched(office_punch(paper, LeadingEdge::Left, rng));
        }
        "two-wavy" => scanners[1].seed += 1000,
        "end-for-end" => {
            lies[1].turn = match flip {
                Flip::Sideways => QuarterTurn::Half,
                Flip::Endways => QuarterTurn::Upright,
            };
        }
        "quarter" => lies[1].turn = QuarterTurn::Clockwise,
        _ => {}
    }
    if way.contains("wavy") {
        scanners.iter_mut().for_each(|s| s.waviness = 0.15);
    }
    (printed, scanners, lies)
}

/// The points' mean error (mm) and common tilt (radians).
pub(crate) fn errors(reading: &Reading, printed: &PrintedSheet) -> [f64; 3] {
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

/// Shift within `mm` and tilt within `degrees` of the truth, over the points that were read; and
/// within four of the uncertainties that the reading states.
pub(crate) fn check(reading: &Reading, sheet: &PrintedSheet, mm: f64, degrees: f64) {
    let [x, y, tilt] = errors(reading, sheet);
    let [sx, sy, st] = reading.uncertainty();
    let said = format!("{x:.4} ±{sx:.4}, {y:.4} ±{sy:.4}, {tilt:.6} ±{st:.6}");
    assert!(
        x.hypot(y) < mm && tilt.to_degrees().abs() < degrees,
        "{said}"
    );
    assert!(
        x.abs() < 4.0 * sx && y.abs() < 4.0 * sy && tilt.abs() < 4.0 * st,
        "{said}"
    );
}
