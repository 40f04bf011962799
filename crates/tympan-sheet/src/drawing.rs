//! A page as a list of things to paint: what test sheets, pictures in reports and the demo game
//! are drawn as, before they become PDF or SVG.
//!
//! Everything is in mm, x to the right, y down, origin at the page's top left corner as seen.

use crate::frame::{Page, Point, Size};
use crate::length::Angle;
use crate::map::Affine;

/// One page to be drawn.
#[derive(Clone, Debug, PartialEq)]
pub struct Drawing {
    /// The page's size as seen, mm.
    pub size: Size,
    /// What is painted, in order: later things lie on top.
    pub items: Vec<Item>,
}

/// One thing to paint.
#[derive(Clone, Debug, PartialEq)]
pub enum Item {
    /// A filled and/or stroked shape.
    Shape {
        /// Its outline.
        path: Path,
        /// The colour inside (non-zero winding rule), if any.
        fill: Option<Colour>,
        /// The line along the outline, if any.
        stroke: Option<Stroke>,
    },
    /// One line of text.
    Text(Text),
    /// Several things, moved together and perhaps clipped. The clip is in the group's own
    /// coordinates, before `map`.
    Group {
        /// Where the group's coordinates go.
        map: Affine<Page>,
        /// Only what lies inside is painted.
        clip: Option<Path>,
        /// What is painted.
        items: Vec<Item>,
    },
}

/// A colour for print.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Colour {
    /// Black ink only: 0 is black, 1 is white.
    Grey(f32),
    /// Red, green and blue (sRGB), each 0 to 1.
    Rgb(f32, f32, f32),
}

impl Colour {
    /// Black ink only.
    pub const BLACK: Self = Self::Grey(0.0);
    /// Bare paper.
    pub const WHITE: Self = Self::Grey(1.0);

    /// The colour from `0xRRGGBB` (sRGB).
    pub fn hex(rgb: u32) -> Self {
        let part = |shift: u32| ((rgb >> shift) & 0xff) as f32 / 255.0;
        Self::Rgb(part(16), part(8), part(0))
    }
}

/// A line along an outline.
#[derive(Clone, Debug, PartialEq)]
pub struct Stroke {
    /// Its colour.
    pub colour: Colour,
    /// Its width, mm.
    pub width: f64,
    /// Lengths of dashes and gaps by turns, mm; empty for a solid line.
    pub dash: Vec<f64>,
    /// Round ends and corners rather than square ones.
    pub round: bool,
}

impl Stroke {
    /// A solid line with square ends.
    pub fn solid(colour: Colour, width: f64) -> Self {
        Self {
            colour,
            width,
            dash: Vec::new(),
            round: false,
        }
    }

    /// The same line, broken into dashes.
    pub fn dashed(self, dash: &[f64]) -> Self {
        Self {
            dash: dash.to_vec(),
            ..self
        }
    }

    /// The same line with round ends and corners.
    pub fn rounded(self) -> Self {
        Self {
            round: true,
            ..self
        }
    }
}

/// One step of an outline.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Segment {
    /// Begin a new part at this point.
    Move(Point<Page>),
    /// A straight line to this point.
    Line(Point<Page>),
    /// A cubic Bézier curve: two control points, then the end.
    Curve(Point<Page>, Point<Page>, Point<Page>),
    /// Back to where this part began.
    Close,
}

/// An outline.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Path {
    /// Its steps.
    pub segments: Vec<Segment>,
}

/// How far a cubic's control points lie from its ends to look like a quarter circle, per radius:
/// `4/3·(√2 − 1)` (common practice).
const QUARTER_CIRCLE: f64 = 0.552_284_749_830_793_4;

impl Path {
    /// An upright rectangle with its top left corner at `x`, `y`.
    pub fn rect(x: f64, y: f64, w: f64, h: f64) -> Self {
        Self::polygon(&[(x, y), (x + w, y), (x + w, y + h), (x, y + h)])
    }

    /// An upright rectangle with round corners of radius `r`.
    pub fn rounded_rect(x: f64, y: f64, w: f64, h: f64, r: f64) -> Self {
        let r = r.min(w / 2.0).min(h / 2.0);
        if r <= 0.0 {
            return Self::rect(x, y, w, h);
        }
        let k = r * (1.0 - QUARTER_CIRCLE);
        let (x2, y2) = (x + w, y + h);
        let p = Point::new;
        let mut path = Self::default();
        path.segments.extend([
            Segment::Move(p(x + r, y)),
            Segment::Line(p(x2 - r, y)),
            Segment::Curve(p(x2 - k, y), p(x2, y + k), p(x2, y + r)),
            Segment::Line(p(x2, y2 - r)),
            Segment::Curve(p(x2, y2 - k), p(x2 - k, y2), p(x2 - r, y2)),
            Segment::Line(p(x + r, y2)),
            Segment::Curve(p(x + k, y2), p(x, y2 - k), p(x, y2 - r)),
            Segment::Line(p(x, y + r)),
            Segment::Curve(p(x, y + k), p(x + k, y), p(x + r, y)),
            Segment::Close,
        ]);
        path
    }

    /// A circle about `x`, `y`.
    pub fn circle(x: f64, y: f64, r: f64) -> Self {
        Self::ellipse(x, y, r, r)
    }

    /// An upright ellipse about `x`, `y`.
    pub fn ellipse(x: f64, y: f64, rx: f64, ry: f64) -> Self {
        let (kx, ky) = (rx * QUARTER_CIRCLE, ry * QUARTER_CIRCLE);
        let p = Point::new;
        Self {
            segments: vec![
                Segment::Move(p(x + rx, y)),
                Segment::Curve(p(x + rx, y + ky), p(x + kx, y + ry), p(x, y + ry)),
                Segment::Curve(p(x - kx, y + ry), p(x - rx, y + ky), p(x - rx, y)),
                Segment::Curve(p(x - rx, y - ky), p(x - kx, y - ry), p(x, y - ry)),
                Segment::Curve(p(x + kx, y - ry), p(x + rx, y - ky), p(x + rx, y)),
                Segment::Close,
            ],
        }
    }

    /// A closed polygon through these points.
    pub fn polygon(points: &[(f64, f64)]) -> Self {
        let mut path = Self::polyline(points);
        path.segments.push(Segment::Close);
        path
    }

    /// An open line through these points.
    pub fn polyline(points: &[(f64, f64)]) -> Self {
        let step = |(i, &(x, y)): (usize, &(f64, f64))| {
            let p = Point::new(x, y);
            if i == 0 {
                Segment::Move(p)
            } else {
                Segment::Line(p)
            }
        };
        Self {
            segments: points.iter().enumerate().map(step).collect(),
        }
    }

    /// A straight line.
    pub fn line(x1: f64, y1: f64, x2: f64, y2: f64) -> Self {
        Self::polyline(&[(x1, y1), (x2, y2)])
    }

    /// This outline and another one together.
    pub fn and(mut self, other: Self) -> Self {
        self.segments.extend(other.segments);
        self
    }
}

/// Which end of a line of text stands at its point.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Anchor {
    /// The text begins there.
    #[default]
    Start,
    /// The text is centred there.
    Middle,
    /// The text ends there.
    End,
}

/// The faces that text is set in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Face {
    /// The text face.
    #[default]
    Text,
    /// The text face, bold.
    Bold,
    /// The heading face.
    Heading,
}

/// One line of text.
#[derive(Clone, Debug, PartialEq)]
pub struct Text {
    /// Where the anchor stands, on the baseline.
    pub at: Point<Page>,
    /// What it says.
    pub text: String,
    /// The size of the face (em), mm.
    pub size: f64,
    /// Which end stands at `at`.
    pub anchor: Anchor,
    /// The face.
    pub face: Face,
    /// The colour.
    pub colour: Colour,
    /// Rotation about `at`, clockwise as seen.
    pub tilt: Angle,
}

impl Text {
    /// A line of black text that begins at `x`, `y`.
    pub fn new(x: f64, y: f64, size: f64, text: impl Into<String>) -> Self {
        Self {
            at: Point::new(x, y),
            text: text.into(),
            size,
            anchor: Anchor::Start,
            face: Face::Text,
            colour: Colour::BLACK,
            tilt: Angle::ZERO,
        }
    }

    /// The same text, centred on its point.
    pub fn centred(self) -> Self {
        Self {
            anchor: Anchor::Middle,
            ..self
        }
    }

    /// The same text, ending at its point.
    pub fn ending(self) -> Self {
        Self {
            anchor: Anchor::End,
            ..self
        }
    }

    /// The same text in another face.
    pub fn face(self, face: Face) -> Self {
        Self { face, ..self }
    }

    /// The same text in another colour.
    pub fn colour(self, colour: Colour) -> Self {
        Self { colour, ..self }
    }

    /// The same text, tilted about its point.
    pub fn tilted(self, tilt: Angle) -> Self {
        Self { tilt, ..self }
    }
}

impl Drawing {
    /// A bare page of this size.
    pub fn new(size: Size) -> Self {
        Self {
            size,
            items: Vec::new(),
        }
    }

    /// Paints a filled shape.
    pub fn fill(&mut self, path: Path, colour: Colour) {
        self.items.push(Item::Shape {
            path,
            fill: Some(colour),
            stroke: None,
        });
    }

    /// Paints a line along an outline.
    pub fn stroke(&mut self, path: Path, stroke: Stroke) {
        self.items.push(Item::Shape {
            path,
            fill: None,
            stroke: Some(stroke),
        });
    }

    /// Sets a line of text.
    pub fn text(&mut self, text: Text) {
        self.items.push(Item::Text(text));
    }

    /// Places another drawing's items on this one.
    pub fn place(&mut self, map: Affine<Page>, clip: Option<Path>, items: Vec<Item>) {
        self.items.push(Item::Group { map, clip, items });
    }
}
