//! The cuts as a table and as a picture.

use tympan_sheet::drawing::{Colour, Drawing, Face, Path, Stroke, Text};
use tympan_sheet::{Length, Point};

use super::{Cut, CutAxis, Cutting, Off, Step, Stop};
use crate::marks::outline;
use crate::plan::Group;

/// What to mind at the blade (published school and workshop guidance, condensed; the number of
/// sheets is common practice).
pub const CAUTIONS: &[&str] = &[
    "Set the trimmer on a flat, steady table. Fingers stay behind the guard; never take it off.",
    "Two or three sheets of card at a time, or what the maker allows. Nobody else catches what \
     falls off.",
    "Arm down and latched when you are not cutting. Do not carry a trimmer by its arm, and keep it \
     from children.",
    "A dull blade still cuts, and cuts crooked: change it as the maker says.",
    "With a knife: a metal safety rule, several light strokes, away from the hand that holds.",
];

/// One row of the table of cuts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Row {
    /// The step's number.
    pub step: usize,
    /// Which edge of the printed front lies where, and whether the stack is turned for it.
    pub lay: String,
    /// Where the stop is set, mm; `None` along the marks.
    pub stop_mm: Option<String>,
    /// What is cut off, or apart.
    pub off: String,
    /// How many sheets at a time.
    pub at_once: String,
}

impl Cutting {
    /// The steps as rows of a table.
    pub fn rows(&self) -> Vec<Row> {
        self.steps.iter().map(row).collect()
    }

    /// The sheet with its cuts, numbered by their steps, as seen on the front.
    pub fn picture(&self, group: &Group) -> Drawing {
        let size = self.sheet.size();
        let mut drawing = Drawing::new(size);
        let (x0, y0) = (self.sheet.min.x, self.sheet.min.y);
        drawing.fill(Path::rect(0.0, 0.0, size.w, size.h), Colour::WHITE);
        drawing.stroke(
            Path::rect(0.0, 0.0, size.w, size.h),
            Stroke::solid(Colour::Grey(0.4), 0.4),
        );
        for (i, cell) in group.cells.iter().enumerate() {
            let mut trim = cell.trim;
            for point in [&mut trim.min, &mut trim.max] {
                *point = Point::new(point.x - x0, point.y - y0);
            }
            drawing.fill(outline(cell.shape, cell.turn, trim), Colour::Grey(0.88));
            let centre = trim.centre();
            let size = (trim.size().w.min(trim.size().h) * 0.3).min(12.0);
            drawing.text(
                Text::new(centre.x, centre.y + size * 0.35, size, (i + 1).to_string())
                    .centred()
                    .colour(Colour::Grey(0.6)),
            );
        }
        for step in &self.steps {
            for cut in &step.cuts {
                let (ax, ay) = (cut.from.x - x0, cut.from.y - y0);
                let (bx, by) = (cut.to.x - x0, cut.to.y - y0);
                let stroke = Stroke::solid(Colour::BLACK, 0.3);
                let stroke = match step.stop {
                    Stop::Marks => stroke,
                    Stop::At(_) => stroke.dashed(&[3.0, 1.5]),
                };
                drawing.stroke(Path::line(ax, ay, bx, by), stroke);
            }
        }
        self.numbers(&mut drawing);
        drawing
    }

    /// The number of each step stands on its cuts, where the cut begins; numbers of cuts that lie
    /// close to each other move along.
    fn numbers(&self, drawing: &mut Drawing) {
        const RADIUS: f64 = 2.6;
        let (x0, y0) = (self.sheet.min.x, self.sheet.min.y);
        let mut taken: Vec<(f64, f64)> = Vec::new();
        for step in &self.steps {
            for cut in &step.cuts {
                let (dx, dy) = match step.axis {
                    CutAxis::Upright => (0.0, 1.0),
                    CutAxis::Level => (1.0, 0.0),
                };
                let (mut x, mut y) = (cut.from.x - x0, cut.from.y - y0);
                let long = (cut.to.x - cut.from.x).hypot(cut.to.y - cut.from.y);
                let mut along = RADIUS + 0.6;
                let free = |x: f64, y: f64| {
                    let clear = |&(a, b): &(f64, f64)| (x - a).hypot(y - b) >= 2.0 * RADIUS;
                    taken.iter().all(clear)
                };
                while along + RADIUS < long && !free(x + along * dx, y + along * dy) {
                    along += 2.0 * RADIUS;
                }
                (x, y) = (x + along * dx, y + along * dy);
                taken.push((x, y));
                drawing.fill(Path::circle(x, y, RADIUS), Colour::BLACK);
                drawing.text(
                    Text::new(x, y + 1.1, 3.2, step.number.to_string())
                        .centred()
                        .face(Face::Bold)
                        .colour(Colour::WHITE),
                );
            }
        }
    }
}

fn row(step: &Step) -> Row {
    let edge = match step.axis {
        CutAxis::Upright => "left",
        CutAxis::Level => "top",
    };
    let lay = match (step.stop, step.turn) {
        (Stop::Marks, false) => format!("cut along the marks at the {edge} edge"),
        (Stop::Marks, true) => {
            format!(
                "turn a quarter; cut along the marks at the {edge} edge, square to the last cut"
            )
        }
        (Stop::At(_), false) => format!("{edge} edge against the stop"),
        (Stop::At(_), true) => format!("turn a quarter; {edge} edge against the stop"),
    };
    Row {
        step: step.number,
        lay,
        stop_mm: match step.stop {
            Stop::Marks => None,
            Stop::At(mm) => {
                let text = Length::mm((mm * 100.0).round() / 100.0).to_string();
                Some(text.trim_end_matches(" mm").to_owned())
            }
        },
        off: off(step),
        at_once: match step.sheets_at_once {
            1 => "one sheet".to_owned(),
            n => format!("up to {n} sheets"),
        },
    }
}

/// What the cuts of a step take off.
fn off(step: &Step) -> String {
    let wasted = |off: &Off| matches!(off, Off::Waste);
    let times = match step.cuts.len() {
        1 => String::new(),
        n => format!(", {n} times"),
    };
    if step.cuts.iter().all(|c| wasted(&c.near) || wasted(&c.far)) {
        return format!("waste{times}");
    }
    let far = |cut: &Cut| match &cut.far {
        Off::Part { cells, .. } if !wasted(&cut.near) => cells.clone(),
        _ => Vec::new(),
    };
    let mut cells: Vec<usize> = step.cuts.iter().flat_map(far).map(|c| c + 1).collect();
    cells.sort_unstable();
    let names: Vec<String> = cells.iter().map(ToString::to_string).collect();
    let noun = if cells.len() == 1 { "piece" } else { "pieces" };
    format!("{noun} {}{times}", names.join(", "))
}
