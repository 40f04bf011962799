//! Reading simulated pairs of scans.

mod support;

use support::{A4, luma, pages, sheet};
use tympan_marks::picture::{Expected, Outcome, Reading, Refusal, read};
use tympan_sheet::{Flip, Front, LeadingEdge, Point, Side, Size};
use tympan_sim::{OnBed, Printer, PrintedSheet, Rng, Scanner, office_punch};

/// One printed sheet of a faulty printer.
fn printed(paper: Size, flip: Flip, seed: u64) -> PrintedSheet {
    let pages = pages(&sheet(paper, flip, "K7Q2", 3));
    Printer::faulty(seed, paper, flip).print(seed, &pages[0], &pages[1])
}

fn two_scans(printed: &PrintedSheet, scanner: &Scanner, lies: [OnBed; 2]) -> Vec<Outcome> {
    let pictures = [
        luma(&scanner.scan(printed, Side::Front, &lies[0]).image),
        luma(&scanner.scan(printed, Side::Back, &lies[1]).image),
    ];
    read(&pictures, &Expected::default())
}

fn by_hand(seed: u64) -> [OnBed; 2] {
    [OnBed::by_hand(2 * seed), OnBed::by_hand(2 * seed + 1)]
}

fn reading(outcomes: Vec<Outcome>) -> Reading {
    assert_eq!(outcomes.len(), 1, "{outcomes:?}");
    let outcome = outcomes.into_iter().next().expect("one");
    outcome.result.unwrap_or_else(|refusal| panic!("{refusal}"))
}

fn refusal(outcomes: Vec<Outcome>) -> Refusal {
    let outcome = outcomes.into_iter().next().expect("one");
    match outcome.result {
        Err(refusal) => refusal,
        Ok(reading) => panic!("accepted: {:?}, {:?}", reading.parts(), reading.warnings),
    }
}

/// How far a reading is from the truth: its points' mean error (mm) and their common tilt
/// (radians). A printer's bend, which no affine field shows, cancels so.
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

fn check(reading: &Reading, printed: &PrintedSheet, most: [f64; 2]) {
    let [x, y, tilt] = errors(reading, printed);
    let sd = reading.uncertainty();
    println!(
        "{:?} off {x:.4} {y:.4} mm {:.4}°, said {:.4} {:.4} {:.4}°, rest {:.1} µm, {:?}",
        reading.way,
        tilt.to_degrees(),
        sd[0],
        sd[1],
        sd[2].to_degrees(),
        reading.residual_um,
        reading.warnings
    );
    assert!(x.hypot(y) < most[0], "{x} {y}");
    assert!(tilt.to_degrees().abs() < most[1], "{}°", tilt.to_degrees());
}

#[test]
fn holes_tie_two_scans_together() {
    for seed in 0..2 {
        let mut rng = Rng::new(seed);
        let flip = [Flip::Sideways, Flip::Endways][seed as usize % 2];
        let mut holes = office_punch(A4, LeadingEdge::Left, &mut rng);
        holes.extend(office_punch(A4, LeadingEdge::Right, &mut rng));
        let printed = printed(A4, flip, seed).punched(holes);
        let scanner = Scanner::usual(seed, 300.0);
        let reading = reading(two_scans(&printed, &scanner, by_hand(seed)));
        check(&reading, &printed, [0.06, 0.02]);
    }
}

#[test]
fn edges_tie_two_scans_together() {
    let printed = printed(A4, Flip::Sideways, 5);
    let reading = reading(two_scans(&printed, &Scanner::usual(5, 300.0), by_hand(5)));
    check(&reading, &printed, [0.06, 0.02]);
}
