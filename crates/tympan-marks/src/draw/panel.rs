//! The panel in the middle: which side this is, which edge goes in first, how to turn the sheet.

use tympan_sheet::drawing::{Colour, Drawing, Face, Path, Segment, Stroke, Text};
use tympan_sheet::{Flip, LeadingEdge, Page, Point, Rect, Side, Size};

use super::caption;
use crate::sheet::TestSheet;

/// Width and height of the small sheets in the pictures, mm.
const LEAF: Size = Size::new(8.4, 11.2);

pub(super) fn panel(drawing: &mut Drawing, sheet: &TestSheet, side: Side) {
    let space = sheet.geometry().panel();
    let spec = sheet.spec();
    let outline = Path::rounded_rect(
        space.min.x,
        space.min.y,
        space.size().w,
        space.size().h,
        2.0,
    );
    drawing.stroke(outline, leaf_line(side, 0.25));

    let name = side.to_string().to_uppercase();
    let baseline = space.min.y + 9.0;
    drawing.text(Text::new(space.min.x + 3.0, baseline, 8.5, name).face(Face::Heading));
    let number = format!("Sheet {}", spec.sheet);
    drawing.text(
        Text::new(space.max.x - 3.0, baseline, 4.0, number)
            .face(Face::Bold)
            .ending(),
    );

    let top = space.min.y + 11.5;
    let middle = space.centre().x;
    let cell = |from: f64, to: f64| Rect {
        min: Point::new(from, top),
        max: Point::new(to, space.max.y),
    };
    feed(
        drawing,
        cell(space.min.x + 1.0, middle - 0.5),
        side,
        spec.leading_edge,
    );
    turn(
        drawing,
        cell(middle + 0.5, space.max.x - 1.0),
        spec.flip,
        spec.first_side,
    );
}

/// A solid line for the front, a broken one for the back.
fn leaf_line(side: Side, width: f64) -> Stroke {
    let line = Stroke::solid(Colour::BLACK, width);
    match side {
        Side::Front => line,
        Side::Back => line.dashed(&[1.2, 0.8]),
    }
}

/// A small sheet with its side's initial, upright.
fn leaf(drawing: &mut Drawing, centre: Point<Page>, size: Size, side: Side) {
    let (x, y) = (centre.x - size.w / 2.0, centre.y - size.h / 2.0);
    drawing.fill(Path::rect(x, y, size.w, size.h), Colour::WHITE);
    drawing.stroke(Path::rect(x, y, size.w, size.h), leaf_line(side, 0.3));
    let initial = match side {
        Side::Front => "F",
        Side::Back => "B",
    };
    let text = Text::new(centre.x, centre.y + 1.7, 4.8, initial).face(Face::Heading);
    drawing.text(text.centred());
}

/// The edge that goes into the printer first.
fn feed(drawing: &mut Drawing, cell: Rect<Page>, side: Side, edge: LeadingEdge) {
    let (dx, dy) = match edge {
        LeadingEdge::Head => (0.0, -1.0),
        LeadingEdge::Foot => (0.0, 1.0),
        LeadingEdge::Left => (-1.0, 0.0),
        LeadingEdge::Right => (1.0, 0.0),
    };
    // The leaf stands back from the arrow, so that both together are centred.
    let centre = Point::new(cell.centre().x - dx * 2.6, cell.min.y + 8.6 - dy * 2.6);
    leaf(drawing, centre, LEAF, side);
    let half = if dx == 0.0 {
        LEAF.h / 2.0
    } else {
        LEAF.w / 2.0
    };
    let along = |t: f64, s: f64| (centre.x + dx * t - dy * s, centre.y + dy * t + dx * s);
    let (from, neck, tip) = (half + 0.7, half + 2.7, half + 5.6);
    let arrow = Path::polygon(&[
        along(from, -1.2),
        along(neck, -1.2),
        along(neck, -2.9),
        along(tip, 0.0),
        along(neck, 2.9),
        along(neck, 1.2),
        along(from, 1.2),
    ]);
    drawing.fill(arrow, Colour::BLACK);
    let text = match edge {
        LeadingEdge::Head => "The head (top) goes in first",
        LeadingEdge::Foot => "The foot (bottom) goes in first",
        LeadingEdge::Left => "The left edge goes in first",
        LeadingEdge::Right => "The right edge goes in first",
    };
    caption(drawing, cell, cell.max.y - 5.3, text);
}

/// How the sheet is turned over: about an upright axis like a page of a book, or about a level one
/// like a page of a notepad. Either way the second side then reads upright.
fn turn(drawing: &mut Drawing, cell: Rect<Page>, flip: Flip, first: Side) {
    let middle: Point<Page> = Point::new(cell.centre().x, cell.min.y + 8.6);
    let second = first.other();
    let dotted = || Stroke::solid(Colour::BLACK, 0.25).dashed(&[0.4, 0.6]);
    match flip {
        Flip::Sideways => {
            let size = Size::new(7.6, 10.0);
            let (away, y) = (size.w / 2.0 + 1.1, middle.y + 2.6);
            leaf(drawing, Point::new(middle.x - away, y), size, first);
            leaf(drawing, Point::new(middle.x + away, y), size, second);
            let (top, bottom) = (y - size.h / 2.0 - 1.0, y + size.h / 2.0 + 1.0);
            drawing.stroke(Path::line(middle.x, top, middle.x, bottom), dotted());
            let y = y - size.h / 2.0 - 0.9;
            let p = Point::new;
            let arc = [
                p(middle.x - away, y),
                p(middle.x - 3.0, y - 4.4),
                p(middle.x + 3.0, y - 4.4),
                p(middle.x + away, y - 0.3),
            ];
            arrow_along(drawing, arc);
            caption(
                drawing,
                cell,
                cell.max.y - 5.3,
                "Turn it like a page of a book",
            );
        }
        Flip::Endways => {
            let size = Size::new(11.0, 7.2);
            let (away, x) = (size.h / 2.0 + 1.0, middle.x - 2.0);
            leaf(drawing, Point::new(x, middle.y + away), size, first);
            leaf(drawing, Point::new(x, middle.y - away), size, second);
            let (left, right) = (x - size.w / 2.0 - 1.0, x + size.w / 2.0 + 1.0);
            drawing.stroke(Path::line(left, middle.y, right, middle.y), dotted());
            let x = x + size.w / 2.0 + 0.9;
            let p = Point::new;
            let arc = [
                p(x, middle.y + away),
                p(x + 4.4, middle.y + 3.0),
                p(x + 4.4, middle.y - 3.0),
                p(x + 0.3, middle.y - away),
            ];
            arrow_along(drawing, arc);
            caption(
                drawing,
                cell,
                cell.max.y - 5.3,
                "Turn it like a page of a notepad",
            );
        }
    }
}

/// A curved arrow along a cubic.
fn arrow_along(drawing: &mut Drawing, [from, c1, c2, to]: [Point<Page>; 4]) {
    let end = to - c2;
    let d = end * (1.0 / end.length());
    let neck = to - d * 2.0;
    let curve = Path {
        segments: vec![Segment::Move(from), Segment::Curve(c1, c2, neck)],
    };
    drawing.stroke(curve, Stroke::solid(Colour::BLACK, 0.5));
    let side = |s: f64| (neck.x - d.y * s, neck.y + d.x * s);
    drawing.fill(
        Path::polygon(&[side(-1.2), (to.x, to.y), side(1.2)]),
        Colour::BLACK,
    );
}
