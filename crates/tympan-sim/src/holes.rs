//! Holes through a sheet: punched and pricked.

use tympan_sheet::{LeadingEdge, Size};

use crate::rng::Rng;

/// A hole through the sheet, placed in the front frame of the sheet as it was cut.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hole {
    /// Centre, mm, front frame.
    pub centre: [f64; 2],
    /// Diameter, mm.
    pub diameter: f64,
    /// Raggedness of the rim: amplitude, mm, and phase of a few waves around it.
    rim: [(f64, f64); 3],
}

/// ISO 838: holes of 6 ± 0.5 mm whose centres lie 80 ± 0.5 mm apart and 12 ± 1 mm from the edge.
const DIAMETER: f64 = 6.0;
const APART: f64 = 80.0;
const FROM_EDGE: f64 = 12.0;

/// Waves around the rim.
const WAVES: [f64; 3] = [3.0, 7.0, 13.0];

impl Hole {
    /// An exact circle.
    pub fn round(centre: [f64; 2], diameter: f64) -> Self {
        Self {
            centre,
            diameter,
            rim: [(0.0, 0.0); 3],
        }
    }

    /// A hole as an office punch leaves it: up to half a millimetre larger or smaller than 6 mm,
    /// with a ragged rim.
    pub fn punched(centre: [f64; 2], rng: &mut Rng) -> Self {
        let diameter = DIAMETER + rng.between(-0.5, 0.5);
        let rim = [0.05, 0.04, 0.03].map(|amplitude| {
            (
                amplitude * rng.unit(),
                rng.between(0.0, std::f64::consts::TAU),
            )
        });
        Self {
            centre,
            diameter,
            rim,
        }
    }

    /// A pin's hole, about 0.6 mm.
    pub fn pricked(centre: [f64; 2], rng: &mut Rng) -> Self {
        let rim = [0.04, 0.03, 0.0].map(|amplitude| {
            (
                amplitude * rng.unit(),
                rng.between(0.0, std::f64::consts::TAU),
            )
        });
        Self {
            centre,
            diameter: 0.6,
            rim,
        }
    }

    /// The largest distance from the centre to the rim, mm.
    pub(crate) fn reach(&self) -> f64 {
        self.diameter / 2.0 + self.rim.iter().map(|(amplitude, _)| amplitude).sum::<f64>()
    }

    /// How far inside the hole a place is, mm; negative outside.
    pub(crate) fn depth(&self, p: [f64; 2]) -> f64 {
        let (x, y) = (p[0] - self.centre[0], p[1] - self.centre[1]);
        let angle = y.atan2(x);
        let rim: f64 = self
            .rim
            .iter()
            .zip(WAVES)
            .map(|((amplitude, phase), waves)| amplitude * (waves * angle + phase).sin())
            .sum();
        self.diameter / 2.0 + rim - x.hypot(y)
    }
}

/// The two holes of an office punch at one edge, as ISO 838 has them, with the errors that it
/// allows and the sheet pushed in up to 2 mm askew along the edge.
pub fn office_punch(sheet: Size, edge: LeadingEdge, rng: &mut Rng) -> Vec<Hole> {
    let along = match edge {
        LeadingEdge::Head | LeadingEdge::Foot => sheet.w,
        LeadingEdge::Left | LeadingEdge::Right => sheet.h,
    };
    let middle = along / 2.0 + rng.between(-2.0, 2.0);
    punch_at(sheet, edge, &[middle], rng)
}

/// Four holes: the punch used at two places of one edge, or at two edges, as users do. Where they
/// lie follows from the generator.
pub fn office_punch_twice(sheet: Size, rng: &mut Rng) -> Vec<Hole> {
    let edges = [
        LeadingEdge::Left,
        LeadingEdge::Right,
        LeadingEdge::Head,
        LeadingEdge::Foot,
    ];
    let first = edges[rng.below(4)];
    let second = edges[rng.below(4)];
    let length = |edge| match edge {
        LeadingEdge::Head | LeadingEdge::Foot => sheet.w,
        LeadingEdge::Left | LeadingEdge::Right => sheet.h,
    };
    if first == second && length(first) > 4.0 * APART / 2.0 + 60.0 {
        let middle = length(first) / 2.0;
        let away = rng.between(50.0, middle - APART / 2.0 - 15.0);
        return punch_at(sheet, first, &[middle - away, middle + away], rng);
    }
    let second = if first == second {
        opposite(first)
    } else {
        second
    };
    let mut holes = Vec::new();
    for edge in [first, second] {
        // Kept away from the corners, where holes of two edges would run into each other.
        let room = (length(edge) / 2.0 - APART / 2.0 - 30.0).max(0.0);
        let middle = length(edge) / 2.0 + rng.between(-room, room);
        holes.extend(punch_at(sheet, edge, &[middle], rng));
    }
    holes
}

fn opposite(edge: LeadingEdge) -> LeadingEdge {
    match edge {
        LeadingEdge::Head => LeadingEdge::Foot,
        LeadingEdge::Foot => LeadingEdge::Head,
        LeadingEdge::Left => LeadingEdge::Right,
        LeadingEdge::Right => LeadingEdge::Left,
    }
}

fn punch_at(sheet: Size, edge: LeadingEdge, middles: &[f64], rng: &mut Rng) -> Vec<Hole> {
    let mut holes = Vec::new();
    for &middle in middles {
        let half = (APART + rng.between(-0.5, 0.5)) / 2.0;
        let deep = FROM_EDGE + rng.between(-1.0, 1.0);
        // A sheet pushed in a little askew.
        let askew = rng.between(-0.3, 0.3);
        for sign in [-1.0, 1.0] {
            let (along, from_edge) = (middle + sign * half, deep + sign * askew);
            let centre = match edge {
                LeadingEdge::Head => [along, from_edge],
                LeadingEdge::Foot => [along, sheet.h - from_edge],
                LeadingEdge::Left => [from_edge, along],
                LeadingEdge::Right => [sheet.w - from_edge, along],
            };
            holes.push(Hole::punched(centre, rng));
        }
    }
    holes
}

#[cfg(test)]
mod tests {
    use super::*;

    const A4: Size = Size::new(210.0, 297.0);

    /// ISO 838 as two encyclopaedic pages give it: Ø 6 ± 0.5, 80 ± 0.5 apart, 12 ± 1 from the
    /// edge (here also ± 0.3 for a sheet pushed in askew).
    #[test]
    fn an_office_punch_keeps_to_iso_838() {
        for seed in 0..200 {
            let holes = office_punch(A4, LeadingEdge::Left, &mut Rng::new(seed));
            assert_eq!(holes.len(), 2);
            let (a, b) = (holes[0].centre, holes[1].centre);
            let apart = (a[0] - b[0]).hypot(a[1] - b[1]);
            assert!((apart - 80.0).abs() < 0.51, "{apart}");
            for hole in &holes {
                assert!((hole.diameter - 6.0).abs() <= 0.5);
                assert!((hole.centre[0] - 12.0).abs() <= 1.3);
                assert!(hole.centre[0] + hole.reach() <= 17.0, "18 mm are kept free");
            }
            assert!((f64::midpoint(a[1], b[1]) - 148.5).abs() <= 2.01);
        }
    }

    #[test]
    fn punching_twice_leaves_four_holes_within_the_sheet_and_apart() {
        for seed in 0..500 {
            let holes = office_punch_twice(A4, &mut Rng::new(seed));
            assert_eq!(holes.len(), 4, "seed {seed}");
            for (i, a) in holes.iter().enumerate() {
                let [x, y] = a.centre;
                assert!(
                    x > 8.0 && x < 202.0 && y > 8.0 && y < 289.0,
                    "seed {seed}: {x} {y}"
                );
                for b in &holes[..i] {
                    let apart = (x - b.centre[0]).hypot(y - b.centre[1]);
                    assert!(apart > 8.0, "seed {seed}: {apart} apart");
                }
            }
        }
    }

    #[test]
    fn depth_is_measured_from_the_rim() {
        let hole = Hole::round([10.0, 20.0], 6.0);
        assert!((hole.depth([10.0, 20.0]) - 3.0).abs() < 1e-12);
        assert!((hole.depth([15.0, 20.0]) + 2.0).abs() < 1e-12);
    }
}
