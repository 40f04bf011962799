//! A small seeded set of readings of simulated sheets by the places that two scans would show, way
//! by way; the example `picture_accuracy` does the same over thousands.

mod support;

use support::ways::{by_places, errors};
use support::{A4, sheet};
use tympan_sheet::Flip;
use tympan_sim::{Printer, Rng};

/// Of a hundred sheets read in this way: rms of the shift (mm) and of the tilt (degrees), the share
/// of errors within two stated standard uncertainties; how many were refused.
fn read(way: &str) -> ([f64; 3], usize) {
    let (mut shift, mut tilt, mut within, mut read, mut refused) = (0.0, 0.0, 0, 0, 0);
    for seed in 700..800 {
        let flip = [Flip::Sideways, Flip::Endways][seed as usize % 2];
        let printer = Printer::faulty(seed, A4, flip);
        let test_sheet = sheet(A4, flip, "K7Q2", 3);
        let mut rng = Rng::stream(seed, 77);
        let (printed, result) = by_places(way, seed, &test_sheet, &printer, &mut rng);
        let Ok(reading) = result else {
            refused += 1;
            continue;
        };
        let errors = errors(&reading, &printed);
        let stated = reading.uncertainty();
        let wrong = (0..3).any(|k| {
            let mm = errors[k].abs() * if k == 2 { 150.0 } else { 1.0 };
            errors[k].abs() > 3.0 * stated[k] && mm > 0.10
        });
        assert!(!wrong, "{way} {seed}: {errors:?} ± {stated:?}");
        shift += errors[0].powi(2) + errors[1].powi(2);
        tilt += errors[2].to_degrees().powi(2);
        within += (0..3)
            .filter(|&k| errors[k].abs() <= 2.0 * stated[k])
            .count();
        read += 1;
    }
    let n = f64::from(read);
    (
        [
            (shift / (2.0 * n)).sqrt(),
            (tilt / n).sqrt(),
            within as f64 / (3.0 * n),
        ],
        refused,
    )
}

#[test]
fn sheets_turned_over_like_the_page_of_a_book_read_to_hundredths_of_a_mm() {
    for way in ["holes", "edges"] {
        let ([shift, tilt, within], refused) = read(way);
        assert!(shift < 0.015 && tilt < 0.008, "{way}: {shift} mm, {tilt}°");
        assert!(
            within > 0.9 && refused == 0,
            "{way}: {within}, {refused} refused"
        );
    }
}

#[test]
fn a_sheet_turned_end_for_end_reads_well_enough() {
    for way in ["end-for-end", "quarter"] {
        let ([shift, tilt, within], refused) = read(way);
        assert!(shift < 0.03 && tilt < 0.01, "{way}: {shift} mm, {tilt}°");
        assert!(
            within > 0.9 && refused == 0,
            "{way}: {within}, {refused} refused"
        );
    }
}

/// A carriage that runs unevenly by 0.15 mm.
#[test]
fn an_uneven_carriage_cancels_as_far_as_it_can_and_is_doubted() {
    for way in ["wavy-holes", "wavy-edges"] {
        let ([shift, _, within], refused) = read(way);
        assert!(shift < 0.06, "{way}: {shift} mm");
        assert!(
            within > 0.9 && refused <= 2,
            "{way}: {within}, {refused} refused"
        );
    }
}

/// Holes of two prints that chance to lie alike are told from one sheet's by the edges.
#[test]
fn two_prints_of_one_test_sheet_are_never_read_as_one() {
    let (_, refused) = read("two-prints");
    assert_eq!(refused, 100);
}
