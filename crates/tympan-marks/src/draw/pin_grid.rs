//! The crosses to prick through, and the millimetre grids that the holes are read on.

use tympan_sheet::drawing::{Anchor, Colour, Drawing, Face, Path, Stroke, Text};
use tympan_sheet::{Angle, Page, Point};

use crate::geometry::GRID_REACH;
use crate::pin;

const FINE: f64 = 0.09;
const HEAVY: f64 = 0.2;
const WORD: f64 = 2.2;

/// A cross on the front with its letter. The arms leave the very middle bare, so that the pin's
/// point can be seen against the paper.
pub(super) fn cross(drawing: &mut Drawing, at: Point<Page>, name: char) {
    let line = || Stroke::solid(Colour::BLACK, 0.15);
    let (near, far) = (0.35, GRID_REACH);
    for (x, y) in [(1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0)] {
        let arm = Path::line(
            at.x + near * x,
            at.y + near * y,
            at.x + far * x,
            at.y + far * y,
        );
        drawing.stroke(arm, line());
    }
    drawing.stroke(Path::circle(at.x, at.y, 2.5), line());
    letter(drawing, at, name);
}

/// A millimetre grid on the back, lettered with the answer.
pub(super) fn grid(drawing: &mut Drawing, at: Point<Page>, name: char) {
    let reach = GRID_REACH as i32;
    for mm in -reach..=reach {
        let width = match mm {
            0 => HEAVY * 1.5,
            m if m % 5 == 0 => HEAVY,
            _ => FINE,
        };
        let (d, r) = (f64::from(mm), GRID_REACH);
        let line = || Stroke::solid(Colour::BLACK, width);
        drawing.stroke(Path::line(at.x + d, at.y - r, at.x + d, at.y + r), line());
        drawing.stroke(Path::line(at.x - r, at.y + d, at.x + r, at.y + d), line());
    }
    let out = GRID_REACH + 0.8;
    let cap = WORD * 0.7;
    for zone in pin::ZONES {
        let (dx, dy) = zone.towards;
        let word = Text::new(at.x, at.y, WORD, zone.word).face(Face::Bold);
        let number = |x: f64, y: f64| Text::new(at.x + x, at.y + y, WORD, "5").centred();
        if dx == 0.0 {
            let y = if dy < 0.0 { -out } else { out + cap };
            drawing.text(
                Text {
                    at: Point::new(at.x, at.y + y),
                    ..word
                }
                .centred(),
            );
            drawing.text(number(-5.0, y));
            drawing.text(number(5.0, y));
        } else {
            // Read from the foot of the sheet upwards on the left, downwards on the right.
            let x = if dx < 0.0 { -out } else { out };
            let word = Text {
                at: Point::new(at.x + x, at.y),
                anchor: Anchor::Middle,
                ..word
            };
            drawing.text(word.tilted(Angle::degrees(90.0 * dx)));
            let beside = x + dx * 0.6;
            drawing.text(number(beside, -5.0 + cap / 2.0));
            drawing.text(number(beside, 5.0 + cap / 2.0));
        }
    }
    letter(drawing, at, name);
}

/// The station's letter, above and left of its middle.
fn letter(drawing: &mut Drawing, at: Point<Page>, name: char) {
    let text = Text::new(at.x - 8.1, at.y - 6.9, 3.8, name.to_string());
    drawing.text(text.face(Face::Bold).centred());
}
