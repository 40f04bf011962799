//! Circles and hexagons in staggered rows, for pieces that are cut out one by one.
//!
//! A row of hexagons or circles fits into the gaps of the next one. Where a row leaves room at its
//! end, circles can be spread along it, and then the rows move closer together; of all spreads the
//! one that holds most is kept (lattice packings only: the best known packings of a few circles
//! are often irregular and a little better, but cannot be read off a ruler).

use tympan_sheet::{HexagonTop, Shape, Size};

use super::arrangement::{Arrangement, Spot, fit};
use super::class::Class;

/// Forgiven rounding, mm.
const A_HAIR: f64 = 1e-6;

pub(super) fn arrangements(
    class: &Class,
    number: usize,
    room: Size,
    gutter: f64,
) -> Vec<Arrangement> {
    match class.shape {
        Shape::Rect { .. } => Vec::new(),
        Shape::Circle { diameter } => {
            let across = staggered(number, diameter, gutter, room);
            let along = staggered(number, diameter, gutter, room.turned());
            let best = if along.len() > across.len() {
                along.into_iter().map(on_its_side).collect()
            } else {
                across
            };
            vec![Arrangement {
                title: "staggered rows".to_owned(),
                spots: best,
            }]
        }
        Shape::Hexagon { across, top } => {
            let turns: &[bool] = if class.may_turn {
                &[false, true]
            } else {
                &[false]
            };
            let one = |&turned: &bool| {
                let spots = match if turned { top.other() } else { top } {
                    HexagonTop::Pointed => honeycomb(number, across, gutter, room),
                    HexagonTop::Flat => honeycomb(number, across, gutter, room.turned())
                        .into_iter()
                        .map(on_its_side)
                        .collect(),
                };
                Arrangement {
                    title: "honeycomb".to_owned(),
                    spots: spots.into_iter().map(|s| Spot { turned, ..s }).collect(),
                }
            };
            turns.iter().map(one).collect()
        }
    }
}

/// Rows for columns.
fn on_its_side(spot: Spot) -> Spot {
    Spot {
        x: spot.y,
        y: spot.x,
        ..spot
    }
}

/// Rows of circles by turns `first` and `second` long, the odd ones moved by half a pitch.
struct Rows {
    pitch: f64,
    rise: f64,
    lengths: [usize; 2],
    count: usize,
}

impl Rows {
    fn pieces(&self) -> usize {
        self.count.div_ceil(2) * self.lengths[0] + self.count / 2 * self.lengths[1]
    }

    fn spots(&self, class: usize) -> Vec<Spot> {
        let row = |r: usize| {
            let start = (r % 2) as f64 * self.pitch / 2.0;
            (0..self.lengths[r % 2]).map(move |i| Spot {
                class,
                turned: false,
                x: start + i as f64 * self.pitch,
                y: r as f64 * self.rise,
            })
        };
        (0..self.count).flat_map(row).collect()
    }
}

fn staggered(class: usize, diameter: f64, gutter: f64, room: Size) -> Vec<Spot> {
    let apart = diameter + gutter;
    let span = room.w - diameter;
    let longest = fit(room.w, diameter, gutter);
    if longest == 0 || room.h < diameter - A_HAIR {
        return Vec::new();
    }
    let mut best: Option<Rows> = None;
    for n in 1..=longest {
        // All rows of one length, or every other row one shorter: the first spread over the room.
        for (spaces, second) in [(n as f64 - 0.5, n), (n as f64 - 1.0, n - 1)] {
            let spread = if spaces > 0.0 { span / spaces } else { 0.0 };
            if second == 0 || spread < apart - A_HAIR {
                continue;
            }
            // Spread further than this, rows two apart would touch.
            let pitch = spread.min(apart * 3.0_f64.sqrt());
            let rise = (apart * apart - pitch * pitch / 4.0)
                .sqrt()
                .max(apart / 2.0);
            let rows = Rows {
                pitch,
                rise,
                lengths: [n, second],
                count: ((room.h - diameter + A_HAIR) / rise).floor() as usize + 1,
            };
            if best.as_ref().is_none_or(|b| rows.pieces() > b.pieces()) {
                best = Some(rows);
            }
        }
    }
    best.map_or_else(Vec::new, |rows| rows.spots(class))
}

/// Hexagons that stand on a corner, in rows from left to right.
fn honeycomb(class: usize, across: f64, gutter: f64, room: Size) -> Vec<Spot> {
    let pitch = across + gutter;
    let high = Shape::hexagon(across, HexagonTop::Pointed).size().h;
    let first = fit(room.w, across, gutter);
    let second = fit(room.w - pitch / 2.0, across, gutter);
    if first == 0 || room.h < high - A_HAIR {
        return Vec::new();
    }
    let rise = pitch * 3.0_f64.sqrt() / 2.0;
    let count = ((room.h - high + A_HAIR) / rise).floor() as usize + 1;
    Rows {
        pitch,
        rise,
        lengths: [first, second],
        count,
    }
    .spots(class)
}
