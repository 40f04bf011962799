//! Things drawn so far, in a frame of their own, to be placed in others.

use tympan_sheet::drawing::{Anchor, Colour, Drawing, Face, Item, Path, Segment, Stroke, Text};
use tympan_sheet::{Affine, Page, Point, Size};

/// A picture without a page: items about an origin of its own, mm, y down.
#[derive(Clone, Debug, Default)]
pub(crate) struct Sketch {
    items: Vec<Item>,
}

impl Sketch {
    pub(crate) fn new() -> Self {
        Self::default()
    }

    pub(crate) fn fill(&mut self, path: Path, colour: Colour) {
        self.items.push(Item::Shape {
            path,
            fill: Some(colour),
            stroke: None,
        });
    }

    /// A line with round ends.
    pub(crate) fn line(&mut self, path: Path, colour: Colour, width: f64) {
        self.stroke(path, Stroke::solid(colour, width).rounded());
    }

    pub(crate) fn stroke(&mut self, path: Path, stroke: Stroke) {
        self.items.push(Item::Shape {
            path,
            fill: None,
            stroke: Some(stroke),
        });
    }

    pub(crate) fn disc(&mut self, x: f64, y: f64, r: f64, colour: Colour) {
        self.fill(Path::circle(x, y, r), colour);
    }

    pub(crate) fn text(&mut self, text: Text) {
        self.items.push(Item::Text(text));
    }

    /// Places another sketch: its origin at `x`, `y`, drawn `scale` times as large.
    pub(crate) fn put(&mut self, sketch: Self, x: f64, y: f64, scale: f64) {
        self.place(sketch, Affine::new(scale, 0.0, 0.0, scale, x, y));
    }

    /// Places another sketch as its mirror picture, left for right.
    pub(crate) fn put_mirrored(&mut self, sketch: Self, x: f64, y: f64, scale: f64) {
        self.place(sketch, Affine::new(-scale, 0.0, 0.0, scale, x, y));
    }

    pub(crate) fn place(&mut self, sketch: Self, map: Affine<Page>) {
        self.items.push(Item::Group {
            map,
            clip: None,
            items: sketch.items,
        });
    }

    /// Places another sketch where it is, but only what lies inside `clip`.
    pub(crate) fn clipped(&mut self, sketch: Self, clip: Path) {
        let map = Affine::IDENTITY;
        self.items.push(Item::Group {
            map,
            clip: Some(clip),
            items: sketch.items,
        });
    }

    /// Adds a page's items, its top left corner on the origin.
    pub(crate) fn append(&mut self, drawing: &Drawing) {
        self.items.extend(drawing.items.iter().cloned());
    }

    pub(crate) fn into_items(self) -> Vec<Item> {
        self.items
    }

    /// The sketch as a page whose origin lies `bleed` outside the sketch's own on both sides.
    pub(crate) fn on_page(self, trim: Size, bleed: f64) -> Drawing {
        let mut page = Drawing::new(Size::new(trim.w + 2.0 * bleed, trim.h + 2.0 * bleed));
        let map = Affine::new(1.0, 0.0, 0.0, 1.0, bleed, bleed);
        page.place(map, None, self.items);
        page
    }
}

/// A smooth line through the points (Catmull–Rom), open.
pub(crate) fn smooth(points: &[(f64, f64)]) -> Path {
    spline(points, false)
}

/// A smooth closed outline through the points (Catmull–Rom).
pub(crate) fn blob(points: &[(f64, f64)]) -> Path {
    spline(points, true)
}

fn spline(points: &[(f64, f64)], closed: bool) -> Path {
    let n = points.len() as isize;
    let at = |i: isize| {
        let i = if closed {
            i.rem_euclid(n)
        } else {
            i.clamp(0, n - 1)
        };
        points[i as usize]
    };
    let mut path = Path::default();
    path.segments.push(Segment::Move(point(at(0))));
    for i in 0..if closed { n } else { n - 1 } {
        let (before, from, to, after) = (at(i - 1), at(i), at(i + 1), at(i + 2));
        let lean = |a: (f64, f64), b: (f64, f64)| ((b.0 - a.0) / 6.0, (b.1 - a.1) / 6.0);
        let (out, back) = (lean(before, to), lean(from, after));
        path.segments.push(Segment::Curve(
            point((from.0 + out.0, from.1 + out.1)),
            point((to.0 - back.0, to.1 - back.1)),
            point(to),
        ));
    }
    if closed {
        path.segments.push(Segment::Close);
    }
    path
}

/// A single curve with its two control points.
pub(crate) fn curve(from: (f64, f64), a: (f64, f64), b: (f64, f64), to: (f64, f64)) -> Path {
    Path {
        segments: vec![
            Segment::Move(point(from)),
            Segment::Curve(point(a), point(b), point(to)),
        ],
    }
}

fn point((x, y): (f64, f64)) -> Point<Page> {
    Point::new(x, y)
}

/// One line of text.
pub(crate) fn text(x: f64, y: f64, size: f64, colour: Colour, what: &str) -> Text {
    Text::new(x, y, size, what).colour(colour)
}

/// One line of text in the heading face.
pub(crate) fn heading(x: f64, y: f64, size: f64, colour: Colour, what: &str) -> Text {
    text(x, y, size, colour, what).face(Face::Heading)
}

/// The same with another anchor.
pub(crate) fn anchored(text: Text, anchor: Anchor) -> Text {
    Text { anchor, ..text }
}

/// The top of a wavy body of water that reaches down to `bottom`: crests `amplitude` above and
/// below `y`, one each `length`, the first of them moved right by `phase` of a length.
pub(crate) fn water(
    (left, right): (f64, f64),
    (y, bottom): (f64, f64),
    (amplitude, length, phase): (f64, f64, f64),
) -> Path {
    let mut path = ripple((left, right), y, (amplitude, length, phase));
    path.segments
        .push(Segment::Line(Point::new(right + length, bottom)));
    path.segments
        .push(Segment::Line(Point::new(left - length, bottom)));
    path.segments.push(Segment::Close);
    path
}

/// One wavy line at least from `left` to `right`.
pub(crate) fn ripple(
    (left, right): (f64, f64),
    y: f64,
    (amplitude, length, phase): (f64, f64, f64),
) -> Path {
    let half = length / 2.0;
    let mut x = left - length + phase.rem_euclid(1.0) * length;
    x = x.max(left - length);
    let mut path = Path::default();
    path.segments.push(Segment::Move(Point::new(x, y)));
    let mut up = 1.0;
    while x < right + half {
        // 0.3642 of the half length makes the cubic nearly a sine.
        let (a, b) = (x + 0.3642 * half, x + half - 0.3642 * half);
        let crest = y - up * amplitude * 4.0 / 3.0;
        let to = Point::new(x + half, y);
        path.segments.push(Segment::Curve(
            Point::new(a, crest),
            Point::new(b, crest),
            to,
        ));
        x += half;
        up = -up;
    }
    path
}
