//! Pictures of piles and trays, and the sheets that teach how a printer lays its pile.
//!
//! The printer is always at the head of a picture, as it stands before whoever feeds it; the front
//! is drawn with a solid line and the back, or what lies underneath, with a broken one.

use tympan_pdf::draw::{cap_height, text_width};
use tympan_sheet::drawing::{Colour, Drawing, Face, Item, Path, Stroke, Text};
use tympan_sheet::{Affine, Angle, Facing, LeadingEdge, Page, Point, Size};

use crate::behaviour::{Order, Reload};

const INK: Colour = Colour::Grey(0.0);
const QUIET: Colour = Colour::Grey(0.45);
const PALE: Colour = Colour::Grey(0.88);
const PAPER: Colour = Colour::WHITE;

/// How a page is turned so that this edge of it points to the head of the picture, degrees
/// clockwise.
fn turned(leads: LeadingEdge) -> f64 {
    match leads {
        LeadingEdge::Head => 0.0,
        LeadingEdge::Left => 90.0,
        LeadingEdge::Foot => 180.0,
        LeadingEdge::Right => -90.0,
    }
}

/// The pile in the feed tray, seen from above: how its print lies and which way it points.
pub fn in_the_tray(back: &Reload, size: Size) -> Drawing {
    let numbers = match back.first_lies {
        tympan_sheet::PileEnd::Top => "1",
        tympan_sheet::PileEnd::Bottom => "last",
    };
    tray(size, back.leads, Some(back.printed), numbers)
}

/// Blank stock in the feed tray.
pub fn blank_in_the_tray(size: Size) -> Drawing {
    tray(size, LeadingEdge::Head, None, "")
}

/// A tray with a pile: `printed` says how its print lies, where there is one.
fn tray(size: Size, leads: LeadingEdge, printed: Option<Facing>, number: &str) -> Drawing {
    let mut d = Drawing::new(size);
    let (w, h) = (size.w, size.h);
    let bar = h * 0.16;
    // The pile: three sheets, each a little beside the other.
    let sheet = Size::new(w * 0.56, h * 0.70);
    let (x, y) = ((w - sheet.w) / 2.0, bar * 0.62);
    let line = Stroke::solid(INK, h * 0.006);
    for i in (0..3).rev() {
        let off = f64::from(i) * h * 0.014;
        let path = Path::rect(x + off, y + off, sheet.w, sheet.h);
        d.fill(path.clone(), PAPER);
        d.stroke(path, line.clone());
    }
    if let Some(facing) = printed {
        let sideways = matches!(leads, LeadingEdge::Left | LeadingEdge::Right);
        let page = if sideways { sheet.turned() } else { sheet };
        let middle: Point<Page> = Point::new(x + sheet.w / 2.0, y + sheet.h / 2.0);
        // A print that lies underneath is seen mirrored through the sheet: across, its left and
        // right change places, so an edge that leads sideways is found by its name all the same.
        let map = Affine::<Page>::tilt(Angle::degrees(turned(leads)), Point::new(0.0, 0.0))
            .then(&Affine::new(1.0, 0.0, 0.0, 1.0, middle.x, middle.y));
        let mirrored: Affine<Page> = Affine::new(-1.0, 0.0, 0.0, 1.0, 0.0, 0.0);
        let map = match facing {
            Facing::Up => map,
            Facing::Down if sideways => mirrored
                .then(&Affine::tilt(
                    Angle::degrees(-turned(leads)),
                    Point::new(0.0, 0.0),
                ))
                .then(&Affine::new(1.0, 0.0, 0.0, 1.0, middle.x, middle.y)),
            Facing::Down => mirrored.then(&map),
        };
        d.place(map, None, print(page, facing, number));
        if facing == Facing::Down {
            let size = h * 0.045;
            let text = Text::new(middle.x, y + sheet.h * 0.93, size, "print underneath");
            d.text(text.centred().colour(QUIET));
        }
    }
    // The printer lies over the edge that goes in.
    d.fill(
        Path::rounded_rect(w * 0.06, 0.0, w * 0.88, bar, bar * 0.25),
        Colour::Grey(0.2),
    );
    d.fill(
        Path::rect(x - w * 0.04, bar * 0.72, sheet.w + w * 0.08, bar * 0.12),
        Colour::Grey(0.75),
    );
    let size = bar * 0.36;
    d.text(
        Text::new(w / 2.0, bar * 0.48, size, "printer")
            .centred()
            .face(Face::Bold)
            .colour(PAPER),
    );
    // The hand's way: into the printer.
    let (ax, ay) = (w / 2.0, h * 0.985);
    d.fill(arrow(ax, ay, h * 0.13), INK);
    d
}

/// What a printed page looks like, about its middle.
fn print(page: Size, facing: Facing, number: &str) -> Vec<Item> {
    let mut d = Drawing::new(page);
    let (w, h) = (page.w, page.h);
    let (colour, dash): (Colour, &[f64]) = match facing {
        Facing::Up => (INK, &[]),
        Facing::Down => (QUIET, &[1.1, 0.8]),
    };
    let line = Stroke::solid(colour, w * 0.012).dashed(dash);
    let (cw, ch) = (w * 0.26, h * 0.24);
    for row in 0..2 {
        for column in 0..2 {
            let x = -cw * 1.04 + f64::from(column) * cw * 1.08;
            let y = -h * 0.12 + f64::from(row) * ch * 1.08;
            d.stroke(Path::rect(x, y, cw, ch), line.clone());
        }
    }
    // The arrow to the page's head, as in the waste of every sheet.
    let size = h * 0.2;
    let path = arrow(0.0, -h * 0.43, size);
    if facing == Facing::Up {
        d.fill(path, colour);
        if !number.is_empty() {
            let size = h * 0.1;
            let text = Text::new(w * 0.14, -h * 0.43 + size * 1.35, size, number);
            d.text(text.face(Face::Bold).colour(colour));
        }
    } else {
        d.stroke(path, line);
    }
    d.items
}

/// An arrow that points up, its tip at `x`, `y` less a little, `size` long.
fn arrow(x: f64, tip: f64, size: f64) -> Path {
    let w = size * 0.3;
    let stem = w * 0.36;
    let neck = tip + size * 0.42;
    let end = tip + size;
    Path::polygon(&[
        (x, tip),
        (x + w, neck),
        (x + stem, neck),
        (x + stem, end),
        (x - stem, end),
        (x - stem, neck),
        (x - w, neck),
    ])
}

/// How the delivered pile is turned: as it is, or over as one.
pub fn turn(over: bool, size: Size) -> Drawing {
    let mut d = Drawing::new(size);
    let (w, h) = (size.w, size.h);
    let line = Stroke::solid(INK, h * 0.02);
    let pile = |d: &mut Drawing, x: f64, dashed: bool| {
        for i in 0..4 {
            let y = h * 0.62 + f64::from(i) * h * 0.05;
            let stroke = if dashed {
                line.clone().dashed(&[h * 0.06, h * 0.04])
            } else {
                line.clone()
            };
            d.stroke(Path::line(x, y, x + w * 0.3, y), stroke);
        }
    };
    pile(&mut d, w * 0.06, false);
    pile(&mut d, w * 0.64, over);
    let (from, to, top) = (w * 0.24, w * 0.76, if over { h * 0.04 } else { h * 0.34 });
    let p = Point::new;
    use tympan_sheet::drawing::Segment;
    let path = Path {
        segments: vec![
            Segment::Move(p(from, h * 0.52)),
            Segment::Curve(p(from, top), p(to, top), p(to, h * 0.44)),
        ],
    };
    d.stroke(path, Stroke::solid(INK, h * 0.03).rounded());
    d.fill(
        Path::polygon(&[
            (to - h * 0.08, h * 0.4),
            (to + h * 0.08, h * 0.4),
            (to, h * 0.56),
        ]),
        INK,
    );
    let words = if over {
        "turn the pile over"
    } else {
        "do not turn it over"
    };
    let size = h * 0.13;
    d.text(Text::new(w / 2.0, h * 0.97, size, words).centred());
    d
}

/// The two pages of the trial's first pass: a large number, and the name of every edge.
pub fn trial_pages(paper: Size) -> Vec<Drawing> {
    let lines = [
        "Before printing: put two plain sheets into the tray. On each, pencil an arrow on the face that",
        "lies up, pointing to the end that goes in first; write TOP on the upper sheet.",
        "After printing, lift the two sheets without changing how they lie, and look.",
    ];
    [1, 2]
        .map(|n| trial_page(paper, &n.to_string(), false, &lines))
        .to_vec()
}

/// The two pages of the second pass, in the order that is to be tried.
pub fn second_trial_pages(paper: Size, order: Order) -> Vec<Drawing> {
    let lines = [
        "The second pass. Find the sheet with the plain 1: which ringed number did it get? Is it on the",
        "other face? Are the two heads at the same edge of the sheet?",
    ];
    let pages = [1, 2].map(|n| trial_page(paper, &n.to_string(), true, &lines));
    order.of(&pages)
}

fn trial_page(paper: Size, number: &str, ringed: bool, lines: &[&str]) -> Drawing {
    let mut d = Drawing::new(paper);
    let (w, h) = (paper.w, paper.h);
    let middle: Point<Page> = paper.centre();
    let size = w.min(h) * 0.42;
    d.text(
        Text::new(
            middle.x,
            middle.y + cap_height(size, Face::Bold) / 2.0,
            size,
            number,
        )
        .centred()
        .face(Face::Bold),
    );
    if ringed {
        let r = size * 0.62;
        d.stroke(
            Path::circle(middle.x, middle.y, r),
            Stroke::solid(INK, 1.2).dashed(&[4.0, 2.5]),
        );
    }
    d.fill(arrow(middle.x, h * 0.1, h * 0.14), INK);
    let edge = |d: &mut Drawing, x: f64, y: f64, word: &str, degrees: f64| {
        let text = Text::new(x, y, 8.0, word).centred().face(Face::Heading);
        d.text(text.tilted(Angle::degrees(degrees)));
    };
    edge(&mut d, middle.x, 18.0, "head", 0.0);
    edge(&mut d, middle.x, h - 13.0, "foot", 0.0);
    edge(&mut d, 18.0, middle.y, "left", -90.0);
    edge(&mut d, w - 18.0, middle.y, "right", 90.0);
    let width = |size: f64| {
        let widths = lines.iter().map(|line| text_width(line, size, Face::Text));
        widths.fold(0.0, f64::max)
    };
    let size = (4.0 * (w - 50.0) / width(4.0)).min(4.0);
    for (i, line) in lines.iter().enumerate() {
        let y = h * 0.8 + i as f64 * size * 1.5;
        d.text(Text::new(middle.x, y, size, *line).centred());
    }
    d.stroke(
        Path::rect(10.0, 10.0, w - 20.0, h - 20.0),
        Stroke::solid(PALE, 0.3),
    );
    d
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::behaviour::{assumed, reload};
    use tympan_sheet::Flip;

    /// The arrow is drawn by its tip: on the picture of a pile it points into the printer where the
    /// head leads, and away where the foot does, seen or underneath.
    #[test]
    fn arrows_on_the_pile_point_where_the_head_lies() {
        for facing in Facing::BOTH {
            for (leads, up) in [(LeadingEdge::Head, true), (LeadingEdge::Foot, false)] {
                let back = Reload {
                    printed: facing,
                    leads,
                    ..reload(&assumed(LeadingEdge::Head), Flip::Sideways)
                };
                let picture = in_the_tray(&back, Size::new(60.0, 60.0));
                let group = picture.items.iter().find_map(|item| match item {
                    Item::Group { map, .. } => Some(map),
                    _ => None,
                });
                let map = group.expect("the print");
                let tip = map.apply_vector(tympan_sheet::Vector::new(0.0, -1.0));
                assert_eq!(tip.y < 0.0, up, "{facing} {leads}");
                // What lies underneath is mirrored.
                assert_eq!(map.determinant() < 0.0, facing == Facing::Down);
            }
            // An edge that leads sideways lies at the printer whichever face is up.
            for leads in [LeadingEdge::Left, LeadingEdge::Right] {
                let back = Reload {
                    printed: facing,
                    leads,
                    ..reload(&assumed(LeadingEdge::Head), Flip::Sideways)
                };
                let picture = in_the_tray(&back, Size::new(60.0, 60.0));
                let map = picture.items.iter().find_map(|item| match item {
                    Item::Group { map, .. } => Some(map),
                    _ => None,
                });
                let x = if leads == LeadingEdge::Left {
                    -1.0
                } else {
                    1.0
                };
                let edge = map.expect("the print");
                let edge = edge.apply_vector(tympan_sheet::Vector::new(x, 0.0));
                assert!(edge.y < -0.9, "{facing} {leads}: {edge:?}");
            }
        }
    }
}
