//! Cut lines for cutting machines, as SVG and as DXF.
//!
//! Both files show the front, in millimetres, with the sheet's own corner as origin, so that the
//! lines lie where the pieces are printed. Where neighbours share an edge, it is one line: a
//! machine that cut it twice would tear it.

mod dxf;
mod svg;

use tympan_sheet::drawing::{Colour, Item, Path, Segment, Stroke};
use tympan_sheet::{Front, Page, Point, Rect, Shape, Size};

use crate::marks::outline;
use crate::plan::{Group, Plan};

/// What to know about the crosses.
pub const NOTE: &str = "The crosses are plain alignment marks to set the sheet by eye. A machine \
                        with an optical eye needs its own marks: let its program print them, and \
                        place these lines within.";

/// The lines to cut one group of sheets along, in the front frame.
#[derive(Clone, Debug, PartialEq)]
pub struct CutLines {
    /// The sheet, mm.
    pub sheet: Size,
    /// Closed outlines of single pieces.
    pub outlines: Vec<Outline>,
    /// Straight cuts that neighbours share.
    pub lines: Vec<[Point<Front>; 2]>,
    /// Round corners of pieces whose straight edges are among `lines`.
    pub arcs: Vec<Corner>,
    /// The middles of the alignment crosses: at most three, so that a sheet laid the wrong way
    /// round is seen.
    pub crosses: Vec<Point<Front>>,
}

/// A closed outline.
#[derive(Clone, Debug, PartialEq)]
pub enum Outline {
    /// Straight edges and quarter-circle corners, clockwise as seen.
    Path(Vec<Edge>),
    /// A circle.
    Circle {
        /// Its middle.
        centre: Point<Front>,
        /// Its radius, mm.
        radius: f64,
    },
}

/// One part of an outline, from the end of the part before.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Edge {
    /// A straight line to here.
    Line(Point<Front>),
    /// A quarter of a circle to here, clockwise as seen.
    Corner(Corner),
}

/// A quarter of a circle, clockwise as seen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Corner {
    /// Where it begins.
    pub from: Point<Front>,
    /// Where it ends.
    pub to: Point<Front>,
    /// Its radius, mm.
    pub radius: f64,
    /// Its centre.
    pub centre: Point<Front>,
}

/// Half the length of a cross's arms, mm.
pub(crate) const ARM: f64 = 2.5;

impl Plan {
    /// The lines to cut a group's sheets along; `None` where there is no such group or its sheets
    /// are cut already.
    pub fn cut_lines(&self, group: usize) -> Option<CutLines> {
        if self.pre_cut {
            return None;
        }
        let group = self.groups.get(group)?;
        let mut lines = CutLines {
            sheet: self.sheet.size,
            outlines: Vec::new(),
            lines: Vec::new(),
            arcs: Vec::new(),
            crosses: crosses(group, self.sheet.printable(false)),
        };
        let shared = shares_edges(group);
        for cell in &group.cells {
            let path = outline(cell.shape, cell.turn, cell.trim);
            match cell.shape {
                Shape::Circle { diameter } => lines.outlines.push(Outline::Circle {
                    centre: cell.trim.centre(),
                    radius: diameter / 2.0,
                }),
                Shape::Rect { .. } if shared => {
                    for (from, edge) in edges(&path) {
                        match edge {
                            Edge::Line(to) => lines.lines.push([from, to]),
                            Edge::Corner(corner) => lines.arcs.push(corner),
                        }
                    }
                }
                _ => lines.outlines.push(Outline::Path(
                    edges(&path).into_iter().map(|e| e.1).collect(),
                )),
            }
        }
        lines.lines = joined(&lines.lines);
        Some(lines)
    }
}

impl CutLines {
    /// The crosses as they are printed on the front.
    pub fn printed(&self) -> Vec<Item> {
        let cross = |c: &Point<Front>| {
            let path = Path::line(c.x - ARM, c.y, c.x + ARM, c.y).and(Path::line(
                c.x,
                c.y - ARM,
                c.x,
                c.y + ARM,
            ));
            Item::Shape {
                path,
                fill: None,
                stroke: Some(Stroke::solid(Colour::BLACK, 0.15)),
            }
        };
        self.crosses.iter().map(cross).collect()
    }
}

/// The parts of a closed outline with where each begins. Curves are quarter circles: that is what
/// shapes are made of, circles apart.
fn edges(path: &Path) -> Vec<(Point<Front>, Edge)> {
    let front = |p: Point<Page>| Point::<Front>::new(p.x, p.y);
    let mut edges: Vec<(Point<Front>, Edge)> = Vec::new();
    let mut start = Point::new(0.0, 0.0);
    let mut at = start;
    for segment in &path.segments {
        let to = match *segment {
            Segment::Move(p) => {
                (start, at) = (front(p), front(p));
                continue;
            }
            Segment::Line(p) | Segment::Curve(_, _, p) => front(p),
            Segment::Close => start,
        };
        if (to - at).length() < 1e-9 {
            continue;
        }
        let edge = if let Segment::Curve(control, _, _) = *segment {
            // Clockwise, the centre lies to the right of the way that the curve sets out on: on
            // the side of its end.
            let level = (control.y - at.y).abs() < (control.x - at.x).abs();
            let centre = if level {
                Point::new(at.x, to.y)
            } else {
                Point::new(to.x, at.y)
            };
            Edge::Corner(Corner {
                from: at,
                to,
                radius: (to.x - at.x).abs(),
                centre,
            })
        } else {
            Edge::Line(to)
        };
        edges.push((at, edge));
        at = to;
    }
    edges
}

/// Whether two rectangles of a sheet touch along an edge.
fn shares_edges(group: &Group) -> bool {
    let rects: Vec<Rect<Front>> = group
        .cells
        .iter()
        .filter(|c| matches!(c.shape, Shape::Rect { .. }))
        .map(|c| c.trim)
        .collect();
    let touch = |a: &Rect<Front>, b: &Rect<Front>| {
        a.grown(1e-3)
            .meet(*b)
            .is_some_and(|m| m.size().w.max(m.size().h) > 0.1)
    };
    rects
        .iter()
        .enumerate()
        .any(|(i, a)| rects[i + 1..].iter().any(|b| touch(a, b)))
}

/// Straight lines along x and y with those that lie upon each other made one, each from left to
/// right or from top to bottom.
fn joined(lines: &[[Point<Front>; 2]]) -> Vec<[Point<Front>; 2]> {
    // Level?, place across in µm, from, to along.
    let mut spans: Vec<(bool, i64, f64, f64)> = lines
        .iter()
        .map(|[a, b]| {
            let level = (a.y - b.y).abs() < (a.x - b.x).abs();
            let (at, from, to) = if level {
                (a.y, a.x.min(b.x), a.x.max(b.x))
            } else {
                (a.x, a.y.min(b.y), a.y.max(b.y))
            };
            (level, (at * 1000.0).round() as i64, from, to)
        })
        .collect();
    spans.sort_by(|a, b| (a.0, a.1).cmp(&(b.0, b.1)).then(a.2.total_cmp(&b.2)));
    let mut merged: Vec<(bool, i64, f64, f64)> = Vec::new();
    for span in spans {
        match merged.last_mut() {
            Some(last) if (last.0, last.1) == (span.0, span.1) && span.2 <= last.3 + 1e-3 => {
                last.3 = last.3.max(span.3);
            }
            _ => merged.push(span),
        }
    }
    let line = |(level, at, from, to): (bool, i64, f64, f64)| {
        let at = at as f64 / 1000.0;
        if level {
            [Point::new(from, at), Point::new(to, at)]
        } else {
            [Point::new(at, from), Point::new(at, to)]
        }
    };
    merged.into_iter().map(line).collect()
}

/// Room for crosses near three corners of what can be printed, clear of every piece's bleed; a
/// corner without room gets none.
fn crosses(group: &Group, area: Rect<Front>) -> Vec<Point<Front>> {
    const CLEAR: f64 = 0.5;
    let boxes: Vec<Rect<Front>> = group.cells.iter().map(|c| c.bleed.around(c.trim)).collect();
    let inner = area.grown(-(ARM + CLEAR));
    let free = |p: &Point<Front>| {
        let own = Rect {
            min: Point::new(p.x - ARM, p.y - ARM),
            max: Point::new(p.x + ARM, p.y + ARM),
        };
        boxes.iter().all(|b| b.grown(CLEAR).meet(own).is_none())
    };
    let (left, right, top, bottom) = (inner.min.x, inner.max.x, inner.min.y, inner.max.y);
    let corners = [
        (left, top, 1.0, 1.0),
        (right, top, -1.0, 1.0),
        (left, bottom, 1.0, -1.0),
    ];
    corners
        .into_iter()
        .filter_map(|(x, y, sx, sy)| {
            // From the corner along both edges, at most to a third of the sheet.
            (0..)
                .map(f64::from)
                .take_while(|d| *d <= (inner.size().w.max(inner.size().h)) / 3.0)
                .flat_map(|d| [Point::new(x + sx * d, y), Point::new(x, y + sy * d)])
                .find(|p| inner.contains(*p) && free(p))
        })
        .collect()
}
