//! Drawing a test sheet.

mod panel;
mod pin_grid;
mod rule;

use tympan_sheet::drawing::{Colour, Drawing, Face, Path, Segment, Stroke, Text};
use tympan_sheet::{Page, Point, Rect, Side, Size};

use crate::code::{End, MODULE_MM, QUIET_MODULES};
use crate::geometry::{MARK_RADIUS, RING_INNER};
use crate::sheet::TestSheet;

/// The smallest text on a test sheet, mm.
const SMALL: f64 = 2.4;
/// From one line of small text to the next, mm.
const LEADING: f64 = 3.3;
/// Width of an average letter per text size: an estimate that only decides where lines break.
const LETTER: f64 = 0.52;

/// One side of the sheet, upright in its own frame.
pub(crate) fn side(sheet: &TestSheet, side: Side) -> Drawing {
    let geometry = sheet.geometry();
    let mut drawing = Drawing::new(geometry.paper());
    marks(&mut drawing, sheet, side);
    for end in End::BOTH {
        code(&mut drawing, sheet, side, end);
    }
    for station in sheet.stations() {
        let at = geometry.seen_on(side, station.at);
        match side {
            Side::Front => pin_grid::cross(&mut drawing, at, station.name),
            Side::Back => pin_grid::grid(&mut drawing, at, station.name),
        }
    }
    rule::across(&mut drawing, geometry.rule_across());
    rule::down(&mut drawing, geometry.rule_down());
    panel::panel(&mut drawing, sheet, side);
    head_text(&mut drawing, sheet);
    foot_text(&mut drawing, sheet, side);
    drawing
}

fn marks(drawing: &mut Drawing, sheet: &TestSheet, side: Side) {
    let geometry = sheet.geometry();
    for &mark in geometry.marks(side) {
        let p = geometry.seen_on(side, mark);
        match side {
            Side::Front => {
                drawing.fill(Path::circle(p.x, p.y, MARK_RADIUS), Colour::BLACK);
            }
            Side::Back => {
                let width = MARK_RADIUS - RING_INNER;
                let middle = (MARK_RADIUS + RING_INNER) / 2.0;
                let line = Stroke::solid(Colour::BLACK, width);
                drawing.stroke(Path::circle(p.x, p.y, middle), line);
            }
        }
    }
}

/// The code at one end. All dark modules are one path of horizontal runs, so that no renderer
/// leaves hairlines between them.
fn code(drawing: &mut Drawing, sheet: &TestSheet, side: Side, end: End) {
    let Ok(symbol) = sheet.code(side, end).symbol() else {
        unreachable!("a valid set-up code and sheet number fit the symbol")
    };
    let corner = sheet.geometry().code_box(end).min;
    let quiet = QUIET_MODULES as f64 * MODULE_MM;
    let width = symbol.width();
    let modules = symbol.to_colors();
    let mut path = Path {
        segments: Vec::<Segment>::new(),
    };
    for (row, line) in modules.chunks(width).enumerate() {
        let y = corner.y + quiet + row as f64 * MODULE_MM;
        let mut column = 0;
        for run in line.chunk_by(|a, b| a == b) {
            if run[0] == qrcode::Color::Dark {
                let x = corner.x + quiet + column as f64 * MODULE_MM;
                path = path.and(Path::rect(x, y, run.len() as f64 * MODULE_MM, MODULE_MM));
            }
            column += run.len();
        }
    }
    drawing.fill(path, Colour::BLACK);
}

/// Which set-up the sheet belongs to.
fn head_text(drawing: &mut Drawing, sheet: &TestSheet) {
    let space = sheet.geometry().text_box(End::Head);
    let spec = sheet.spec();
    let mut y = space.min.y + 3.0;
    let mut line = |text: &str, size: f64, face: Face| {
        let text = shortened(text, size, space.size().w);
        drawing.text(Text::new(space.min.x, y, size, text).face(face));
        y += size * 1.35;
    };
    line(&spec.setup_name, 3.4, Face::Bold);
    line(&spec.paper_name, SMALL, Face::Text);
    line(&spec.stock, SMALL, Face::Text);
    line(
        &format!(
            "Tympan test sheet · {}",
            sheet.code(Side::Front, End::Head).setup
        ),
        SMALL,
        Face::Text,
    );
}

/// How to use the pin, and where to punch: in full, and in brief for small paper.
fn foot_texts(side: Side) -> [&'static [&'static str]; 2] {
    match side {
        Side::Front => [
            &[
                "With a pin: prick straight down through the middle of each cross, A to F. Then \
                 turn the sheet over and read the holes there.",
                "With a scanner: punch a hole in every corner, as near to it as the punch goes, \
                 and scan both sides: turn the sheet over on the glass like the page of a book.",
            ],
            &[
                "Pin: prick each cross, A to F, and read the holes on the back.",
                "Scanner: punch every corner. Turn over on the glass like the page of a book.",
            ],
        ],
        Side::Back => [
            &[
                "With a pin: prick from the front. Each hole here says how the back lies: read \
                 the word at that side of the grid, and the millimetres.",
            ],
            &["Each hole says how the back lies: read the word at that side, and the millimetres."],
        ],
    }
}

/// The fullest text at the foot that its space holds, in lines.
fn foot_lines(space: Size, side: Side) -> Vec<String> {
    let lines = |texts: &[&str]| -> Vec<String> {
        let lines = texts.iter().flat_map(|text| wrapped(text, SMALL, space.w));
        lines.collect()
    };
    let [full, brief] = foot_texts(side).map(lines);
    if full.len() as f64 * LEADING <= space.h {
        full
    } else {
        brief
    }
}

fn foot_text(drawing: &mut Drawing, sheet: &TestSheet, side: Side) {
    let space = sheet.geometry().text_box(End::Foot);
    let lines = foot_lines(space.size(), side);
    let first = space.max.y - 1.0 - (lines.len() as f64 - 1.0) * LEADING;
    paragraph(drawing, Point::new(space.min.x, first), &lines);
}

/// Lines of small text, the first on this baseline.
fn paragraph(drawing: &mut Drawing, at: Point<Page>, lines: &[String]) {
    for (k, line) in lines.iter().enumerate() {
        drawing.text(Text::new(
            at.x,
            at.y + k as f64 * LEADING,
            SMALL,
            line.as_str(),
        ));
    }
}

/// Lines of small text, centred in a cell, the first on this baseline.
fn caption(drawing: &mut Drawing, cell: Rect<Page>, baseline: f64, text: &str) {
    for (k, line) in wrapped(text, SMALL, cell.size().w).into_iter().enumerate() {
        let y = baseline + k as f64 * LEADING;
        drawing.text(Text::new(cell.centre().x, y, SMALL, line).centred());
    }
}

/// Breaks a text into lines of about this width.
fn wrapped(text: &str, size: f64, width: f64) -> Vec<String> {
    let room = (width / (size * LETTER)) as usize;
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= room => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

/// The text, cut with an ellipsis where it would be wider than this.
fn shortened(text: &str, size: f64, width: f64) -> String {
    let room = (width / (size * LETTER)) as usize;
    if text.chars().count() <= room {
        return text.to_owned();
    }
    let kept: String = text.chars().take(room.saturating_sub(1)).collect();
    format!("{}…", kept.trim_end())
}

#[cfg(test)]
mod tests {
    use tympan_sheet::Flip;

    use super::*;
    use crate::geometry::Geometry;

    /// From the least paper of a test sheet.
    #[test]
    fn the_text_at_the_foot_fits_its_space_on_any_paper() {
        for (w, h) in [
            (139.0, 205.0),
            (148.0, 210.0),
            (176.0, 250.0),
            (210.0, 297.0),
        ] {
            for flip in [Flip::Sideways, Flip::Endways] {
                let geometry = Geometry::new(Size::new(w, h), flip).expect("it fits");
                let space = geometry.text_box(End::Foot).size();
                for side in Side::BOTH {
                    let lines = foot_lines(space, side);
                    let height = lines.len() as f64 * LEADING;
                    assert!(height <= space.h, "{w} × {h}, {side}: {lines:?}");
                }
            }
        }
    }
}
