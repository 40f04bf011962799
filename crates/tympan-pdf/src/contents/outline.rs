//! Telling lines and boxes from other outlines.

use hayro::kurbo::{Affine, BezPath, PathEl, Point as Spot};
use tympan_sheet::{Page, Point, Rect, Vector};

/// The most corners that are kept of a chain of straight lines.
const MAX_CORNERS: usize = 32;

/// Points nearer than this are one, mm.
const SAME: f64 = 1e-4;

/// The shape of an outline, mm.
#[derive(Clone, Debug, PartialEq)]
pub enum Outline {
    /// One straight line.
    Line([Point<Page>; 2]),
    /// A rectangle, perhaps tilted, perhaps with round corners.
    Box {
        /// Its corners in order around it; those that would be there if they were not round.
        corners: [Point<Page>; 4],
        /// The radius of the corners; 0 where they are sharp.
        radius: f64,
    },
    /// Straight lines from point to point; closed where the last point is the first.
    Chain(Vec<Point<Page>>),
    /// Anything else.
    Other,
}

/// One subpath.
pub(super) struct Part {
    pub(super) outline: Outline,
    pub(super) bounds: Rect<Page>,
}

/// A subpath on its way.
#[derive(Default)]
struct Track {
    /// Straight segments, up to [`MAX_CORNERS`].
    straight: Vec<[Point<Page>; 2]>,
    /// Ends of straight segments and points of curves, for the bounds.
    seen: Option<Rect<Page>>,
    start: Option<Point<Page>>,
    at: Option<Point<Page>>,
    curved: bool,
    rich: bool,
}

/// Splits a path into its subpaths and names their shapes. `closed` says that each is closed
/// whether or not the path says so, as it is when it is filled.
pub(super) fn parts(path: &BezPath, to_page: Affine, closed: bool, mut each: impl FnMut(Part)) {
    let place = |p: Spot| {
        let p = to_page * p;
        Point::new(p.x, p.y)
    };
    let mut track = Track::default();
    let mut finish = |track: &mut Track, close: bool| {
        if close {
            track.close();
        }
        if let Some(part) = std::mem::take(track).finish() {
            each(part);
        }
    };
    for element in path.elements() {
        match *element {
            PathEl::MoveTo(p) => {
                finish(&mut track, closed);
                track.begin(place(p));
            }
            PathEl::LineTo(p) => track.line(place(p)),
            PathEl::QuadTo(a, p) => track.curve(&[place(a), place(p)]),
            PathEl::CurveTo(a, b, p) => track.curve(&[place(a), place(b), place(p)]),
            PathEl::ClosePath => {
                let start = track.start;
                finish(&mut track, true);
                if let Some(start) = start {
                    track.begin(start);
                }
            }
        }
    }
    finish(&mut track, closed);
}

impl Track {
    fn begin(&mut self, p: Point<Page>) {
        self.start = Some(p);
        self.at = Some(p);
    }

    fn see(&mut self, p: Point<Page>) {
        let seen = self.seen.get_or_insert(Rect { min: p, max: p });
        seen.min = Point::new(seen.min.x.min(p.x), seen.min.y.min(p.y));
        seen.max = Point::new(seen.max.x.max(p.x), seen.max.y.max(p.y));
    }

    fn line(&mut self, to: Point<Page>) {
        let Some(from) = self.at.replace(to) else {
            return;
        };
        self.see(from);
        self.see(to);
        if (to - from).length() <= SAME {
            return;
        }
        if let Some(last) = self.straight.last_mut()
            && last[1] == from
            && continues(last[1] - last[0], to - from)
        {
            last[1] = to;
            return;
        }
        if self.straight.len() < 4 * MAX_CORNERS {
            self.straight.push([from, to]);
        } else {
            self.rich = true;
        }
    }

    fn curve(&mut self, through: &[Point<Page>]) {
        let Some(from) = self.at else {
            return;
        };
        // Control points may lie outside; for lines and boxes this does not matter.
        self.see(from);
        through.iter().for_each(|p| self.see(*p));
        self.curved = true;
        self.at = through.last().copied();
    }

    fn close(&mut self) {
        // A closed part may be followed by one that starts where it did and goes nowhere.
        if let Some(start) = self.start.filter(|_| self.seen.is_some()) {
            self.line(start);
        }
    }

    /// A side that the path begins in the middle of is one side. (Office suites begin so.)
    fn join_ends(&mut self) {
        if self.straight.len() < 5 {
            return;
        }
        let (first, last) = (self.straight[0], self.straight[self.straight.len() - 1]);
        let meet = (first[0] - last[1]).length() <= SAME;
        if meet && continues(last[1] - last[0], first[1] - first[0]) {
            self.straight.pop();
            self.straight[0][0] = last[0];
        }
    }

    fn finish(mut self) -> Option<Part> {
        let bounds = self.seen?;
        self.join_ends();
        let outline = self.shape(bounds);
        Some(Part { outline, bounds })
    }

    fn shape(&self, bounds: Rect<Page>) -> Outline {
        if !self.curved
            && let Some(line) = self.as_line()
        {
            return Outline::Line(line);
        }
        if let Some(shape) = self.as_box(bounds) {
            return shape;
        }
        if self.curved || self.rich || self.straight.len() >= MAX_CORNERS {
            return Outline::Other;
        }
        let Some(first) = self.straight.first() else {
            // A dot.
            return Outline::Line([bounds.min, bounds.max]);
        };
        let mut chain = vec![first[0]];
        chain.extend(self.straight.iter().map(|s| s[1]));
        Outline::Chain(chain)
    }

    /// One segment, or there and back again.
    fn as_line(&self) -> Option<[Point<Page>; 2]> {
        match self.straight.as_slice() {
            [one] => Some(*one),
            [there, back] if (back[1] - there[0]).length() <= SAME => Some(*there),
            _ => None,
        }
    }

    /// Four sides at right angles that all else hugs.
    fn as_box(&self, bounds: Rect<Page>) -> Option<Outline> {
        if self.rich || self.straight.len() < 4 {
            return None;
        }
        let start = self.start?;
        if (self.at? - start).length() > SAME {
            return None;
        }
        let mut longest: Vec<usize> = (0..self.straight.len()).collect();
        let length = |i: usize| (self.straight[i][1] - self.straight[i][0]).length();
        longest.sort_by(|a, b| length(*b).total_cmp(&length(*a)));
        longest.truncate(4);
        longest.sort_unstable();
        let sides: Vec<[Point<Page>; 2]> = longest.iter().map(|i| self.straight[*i]).collect();
        let sides: [[Point<Page>; 2]; 4] = sides.try_into().ok()?;
        let square = |a: usize, b: usize| {
            let (a, b) = (along(sides[a]), along(sides[b]));
            dot(a, b).abs() <= 1e-3
        };
        if !(square(0, 1) && square(1, 2) && square(2, 3)) {
            return None;
        }
        let mut corners = [Point::new(0.0, 0.0); 4];
        let mut gaps = [0.0; 8];
        for i in 0..4 {
            let next = (i + 1) % 4;
            corners[next] = cross(sides[i], sides[next])?;
            gaps[2 * i] = dot(corners[next] - sides[i][1], along(sides[i]));
            gaps[2 * i + 1] = dot(sides[next][0] - corners[next], along(sides[next]));
        }
        let radius = gaps.iter().sum::<f64>() / 8.0;
        let even = gaps
            .iter()
            .all(|gap| (gap - radius).abs() <= 0.05 * radius + 0.01);
        let round = self.curved || self.straight.len() > 4;
        let fits = if round { radius > SAME } else { radius <= 0.01 };
        let mut hull = Rect {
            min: corners[0],
            max: corners[0],
        };
        for c in corners {
            hull.min = Point::new(hull.min.x.min(c.x), hull.min.y.min(c.y));
            hull.max = Point::new(hull.max.x.max(c.x), hull.max.y.max(c.y));
        }
        let hull = hull.grown(0.02);
        let within = hull.contains(bounds.min) && hull.contains(bounds.max);
        (even && fits && within).then_some(Outline::Box {
            corners,
            radius: if round { radius } else { 0.0 },
        })
    }
}

fn dot(a: Vector<Page>, b: Vector<Page>) -> f64 {
    a.x * b.x + a.y * b.y
}

fn along(line: [Point<Page>; 2]) -> Vector<Page> {
    let v = line[1] - line[0];
    v * (1.0 / v.length())
}

/// Whether a line goes on in the same direction.
fn continues(a: Vector<Page>, b: Vector<Page>) -> bool {
    let across = (a.x * b.y - a.y * b.x).abs();
    dot(a, b) > 0.0 && across <= 1e-4 * a.length() * b.length()
}

/// Where two lines cross.
fn cross(a: [Point<Page>; 2], b: [Point<Page>; 2]) -> Option<Point<Page>> {
    let (u, v) = (along(a), along(b));
    let det = u.x * v.y - u.y * v.x;
    if det.abs() < 0.5 {
        return None;
    }
    let between = b[0] - a[0];
    let t = (between.x * v.y - between.y * v.x) / det;
    Some(a[0] + u * t)
}
