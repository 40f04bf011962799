//! The 100 mm rules that show a print scaled by a program.

use tympan_sheet::drawing::{Colour, Drawing, Path, Stroke, Text};
use tympan_sheet::{Angle, Page, Point};

use super::SMALL;

const LABEL: &str = "check: 100 mm from end to end";

/// The rule across: a line, a tick every 10 mm, and what it must measure.
pub(super) fn across(drawing: &mut Drawing, [from, to]: [Point<Page>; 2]) {
    drawing.stroke(
        Path::line(from.x, from.y, to.x, to.y),
        Stroke::solid(Colour::BLACK, 0.2),
    );
    for k in 0..=10 {
        let x = from.x + (to.x - from.x) * f64::from(k) / 10.0;
        let reach = reach(k);
        let tick = Path::line(x, from.y - reach, x, from.y + reach);
        drawing.stroke(tick, Stroke::solid(Colour::BLACK, 0.2));
    }
    let middle = (from.x + to.x) / 2.0;
    drawing.text(Text::new(middle, from.y - 1.2, SMALL, LABEL).centred());
}

/// The rule down.
pub(super) fn down(drawing: &mut Drawing, [from, to]: [Point<Page>; 2]) {
    drawing.stroke(
        Path::line(from.x, from.y, to.x, to.y),
        Stroke::solid(Colour::BLACK, 0.2),
    );
    for k in 0..=10 {
        let y = from.y + (to.y - from.y) * f64::from(k) / 10.0;
        let reach = reach(k);
        let tick = Path::line(from.x - reach, y, from.x + reach, y);
        drawing.stroke(tick, Stroke::solid(Colour::BLACK, 0.2));
    }
    let middle = (from.y + to.y) / 2.0;
    let label = Text::new(from.x - 1.2, middle, SMALL, LABEL);
    drawing.text(label.centred().tilted(Angle::degrees(-90.0)));
}

/// Half the length of a tick, mm: the ends stand out.
fn reach(k: i32) -> f64 {
    match k {
        0 | 10 => 2.0,
        _ => 0.6,
    }
}
