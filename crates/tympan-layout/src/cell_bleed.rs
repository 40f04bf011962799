//! How far the print of each cell may run over its trim: as far as the job asks for, but not into
//! a neighbour's share of the gap between them.

use tympan_sheet::{Front, Rect, Shape, Vector};

use crate::job::Margins;
use crate::plan::Cell;
use crate::sides::turned;

/// Sets the bleed of all cells of a sheet: within what is usable of it, and of two neighbours
/// each has half of the gap.
pub(crate) fn set(cells: &mut [Cell], bleed: f64, usable: Rect<Front>) {
    for i in 0..cells.len() {
        let trim = cells[i].trim;
        let within = |room: f64| room.clamp(0.0, bleed);
        let mut room = Margins {
            left: within(trim.min.x - usable.min.x),
            top: within(trim.min.y - usable.min.y),
            right: within(usable.max.x - trim.max.x),
            bottom: within(usable.max.y - trim.max.y),
        };
        for (j, other) in cells.iter().enumerate() {
            if i != j {
                room = beside(&cells[i], other, bleed, room);
            }
        }
        cells[i].bleed = room;
    }
}

/// What a neighbour leaves of the bleed. Both of a pair must come to the same view of which edges
/// face each other, so only the places of the two and the bleed that is asked for count.
fn beside(cell: &Cell, other: &Cell, bleed: f64, room: Margins) -> Margins {
    let (a, b) = (cell.trim, other.trim);
    let (apart_x, apart_y) = apart(a, b);
    if apart_x.max(apart_y) >= 2.0 * bleed {
        return room;
    }
    if let Some(gap) = round_gap(cell, other) {
        return least(room, Margins::all((gap / 2.0).max(0.0)));
    }
    let half = (apart_x.max(apart_y) / 2.0).max(0.0);
    let mut room = room;
    let facing = if apart_x >= apart_y {
        if b.min.x + b.max.x > a.min.x + a.max.x {
            &mut room.right
        } else {
            &mut room.left
        }
    } else if b.min.y + b.max.y > a.min.y + a.max.y {
        &mut room.bottom
    } else {
        &mut room.top
    };
    *facing = facing.min(half);
    room
}

fn least(a: Margins, b: Margins) -> Margins {
    Margins {
        left: a.left.min(b.left),
        top: a.top.min(b.top),
        right: a.right.min(b.right),
        bottom: a.bottom.min(b.bottom),
    }
}

/// How far two rectangles lie apart in x and in y; negative where they overlap.
fn apart(a: Rect<Front>, b: Rect<Front>) -> (f64, f64) {
    (
        (b.min.x - a.max.x).max(a.min.x - b.max.x),
        (b.min.y - a.max.y).max(a.min.y - b.max.y),
    )
}

/// How far two round pieces lie apart, at least.
fn round_gap(a: &Cell, b: &Cell) -> Option<f64> {
    let between: Vector<Front> = b.trim.centre() - a.trim.centre();
    match (turned(a.shape, a.turn), turned(b.shape, b.turn)) {
        (Shape::Circle { diameter: d }, Shape::Circle { diameter: e }) => {
            Some(between.length() - (d + e) / 2.0)
        }
        (
            Shape::Hexagon { across: d, top },
            Shape::Hexagon {
                across: e,
                top: other,
            },
        ) if top == other => {
            // Along the three directions across its flats.
            let first = match top {
                tympan_sheet::HexagonTop::Pointed => 0.0_f64,
                tympan_sheet::HexagonTop::Flat => std::f64::consts::FRAC_PI_6,
            };
            let along = |k: i32| {
                let angle = first + f64::from(k) * std::f64::consts::FRAC_PI_3;
                (between.x * angle.cos() + between.y * angle.sin()).abs() - (d + e) / 2.0
            };
            Some(along(0).max(along(1)).max(along(2)))
        }
        _ => None,
    }
}
