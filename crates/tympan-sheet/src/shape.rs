//! The shapes that pieces are cut to.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::drawing::Path;
use crate::frame::{Page, Point, Size};
use crate::length::trimmed;

/// What a piece looks like when it is cut: a card, a tile or a token, upright.
///
/// ```
/// use tympan_sheet::{Shape, Size};
///
/// let card = Shape::rect(Size::new(63.5, 88.9), 3.175);
/// assert_eq!(card.size(), Size::new(63.5, 88.9));
/// assert_eq!(card.with_bleed(3.0).size(), Size::new(69.5, 94.9));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "form", rename_all = "lowercase")]
pub enum Shape {
    /// A rectangle.
    Rect {
        /// Width and height, mm.
        size: Size,
        /// The radius of its corners, mm; 0 for sharp ones.
        #[serde(default)]
        corner_radius: f64,
    },
    /// A circle.
    Circle {
        /// From edge to edge, mm.
        diameter: f64,
    },
    /// A regular hexagon.
    Hexagon {
        /// From one flat side to the opposite one, mm.
        across: f64,
        /// What points up.
        top: HexagonTop,
    },
}

/// Which way a hexagon stands.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum HexagonTop {
    /// A corner is at the top; the sides at left and right are upright.
    #[default]
    Pointed,
    /// A side is at the top.
    Flat,
}

impl HexagonTop {
    /// The other way.
    pub fn other(self) -> Self {
        match self {
            Self::Pointed => Self::Flat,
            Self::Flat => Self::Pointed,
        }
    }
}

/// From corner to corner of a hexagon, per distance across its flats.
const CORNERS_PER_FLATS: f64 = 1.154_700_538_379_251_5;

impl Shape {
    /// A rectangle with corners of this radius, mm.
    pub const fn rect(size: Size, corner_radius: f64) -> Self {
        Self::Rect {
            size,
            corner_radius,
        }
    }

    /// A circle of this diameter, mm.
    pub const fn circle(diameter: f64) -> Self {
        Self::Circle { diameter }
    }

    /// A hexagon of this width across its flats, mm.
    pub const fn hexagon(across: f64, top: HexagonTop) -> Self {
        Self::Hexagon { across, top }
    }

    /// The upright rectangle that it just fills, mm.
    pub fn size(self) -> Size {
        match self {
            Self::Rect { size, .. } => size,
            Self::Circle { diameter } => Size::new(diameter, diameter),
            Self::Hexagon { across, top } => {
                let pointed = Size::new(across, across * CORNERS_PER_FLATS);
                match top {
                    HexagonTop::Pointed => pointed,
                    HexagonTop::Flat => pointed.turned(),
                }
            }
        }
    }

    /// Its area, mm².
    pub fn area(self) -> f64 {
        match self {
            Self::Rect {
                size,
                corner_radius,
            } => {
                let r = clamped(corner_radius, size);
                size.w * size.h - (4.0 - std::f64::consts::PI) * r * r
            }
            Self::Circle { diameter } => std::f64::consts::PI * diameter * diameter / 4.0,
            Self::Hexagon { across, .. } => across * across * 3.0_f64.sqrt() / 2.0,
        }
    }

    /// Whether its measures are numbers that something can be cut to: finite and above zero, no
    /// corner radius below zero or above half of the shorter side.
    pub fn is_sound(self) -> bool {
        let above_zero = |x: f64| x.is_finite() && x > 0.0;
        match self {
            Self::Rect {
                size,
                corner_radius: r,
            } => {
                let half = size.w.min(size.h) / 2.0;
                above_zero(size.w) && above_zero(size.h) && (0.0..=half + 1e-9).contains(&r)
            }
            Self::Circle { diameter } => above_zero(diameter),
            Self::Hexagon { across, .. } => above_zero(across),
        }
    }

    /// The same shape turned a quarter.
    pub fn turned(self) -> Self {
        match self {
            Self::Rect {
                size,
                corner_radius,
            } => Self::rect(size.turned(), corner_radius),
            Self::Circle { .. } => self,
            Self::Hexagon { across, top } => Self::hexagon(across, top.other()),
        }
    }

    /// Whether a quarter turn changes nothing.
    pub fn is_same_turned(self) -> bool {
        self == self.turned()
    }

    /// The shape whose outline runs `by` mm outside this one, or inside where `by` is negative;
    /// `None` where nothing is left. Sharp corners stay sharp, round ones stay parallel.
    pub fn grown(self, by: f64) -> Option<Self> {
        let grown = match self {
            Self::Rect {
                size,
                corner_radius: r,
            } => {
                let size = Size::new(size.w + 2.0 * by, size.h + 2.0 * by);
                let r = if r > 0.0 { (r + by).max(0.0) } else { 0.0 };
                Self::rect(size, clamped(r, size))
            }
            Self::Circle { diameter } => Self::circle(diameter + 2.0 * by),
            Self::Hexagon { across, top } => Self::hexagon(across + 2.0 * by, top),
        };
        grown.is_sound().then_some(grown)
    }

    /// What its art must fill when it bleeds by this much, mm. The corners of a rectangle are
    /// squared out: cards are trimmed square and their corners rounded afterwards.
    pub fn with_bleed(self, bleed: f64) -> Self {
        let squared = match self {
            Self::Rect { size, .. } => Self::rect(size, 0.0),
            other => other,
        };
        squared.grown(bleed.max(0.0)).unwrap_or(squared)
    }

    /// What is safe from the knife when this margin is kept, mm; `None` where nothing is.
    pub fn safe(self, margin: f64) -> Option<Self> {
        self.grown(-margin.max(0.0))
    }

    /// Its outline about this centre.
    pub fn outline(self, centre: Point<Page>) -> Path {
        let Size { w, h } = self.size();
        let (x, y) = (centre.x - w / 2.0, centre.y - h / 2.0);
        match self {
            Self::Rect { corner_radius, .. } => Path::rounded_rect(x, y, w, h, corner_radius),
            Self::Circle { diameter } => Path::circle(centre.x, centre.y, diameter / 2.0),
            Self::Hexagon { .. } => Path::polygon(
                &self
                    .hexagon_corners()
                    .map(|(dx, dy)| (centre.x + dx, centre.y + dy)),
            ),
        }
    }

    /// The corners of a hexagon from its centre, clockwise as seen; of other shapes, of the
    /// hexagon of the same width.
    fn hexagon_corners(self) -> [(f64, f64); 6] {
        let (across, top) = match self {
            Self::Hexagon { across, top } => (across, top),
            other => (other.size().w, HexagonTop::Pointed),
        };
        let (flat, far) = (across / 2.0, across * CORNERS_PER_FLATS / 2.0);
        let pointed = [
            (0.0, -far),
            (flat, -far / 2.0),
            (flat, far / 2.0),
            (0.0, far),
            (-flat, far / 2.0),
            (-flat, -far / 2.0),
        ];
        match top {
            HexagonTop::Pointed => pointed,
            // A quarter clockwise.
            HexagonTop::Flat => pointed.map(|(x, y)| (-y, x)),
        }
    }
}

fn clamped(radius: f64, size: Size) -> f64 {
    radius.min(size.w / 2.0).min(size.h / 2.0).max(0.0)
}

impl fmt::Display for Shape {
    /// `63.5 × 88.9 mm`, `circle of 25 mm`, `hexagon of 40 mm across`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mm = |x: f64| trimmed(x, 2);
        match *self {
            Self::Rect { size, .. } => write!(f, "{} × {} mm", mm(size.w), mm(size.h)),
            Self::Circle { diameter } => write!(f, "circle of {} mm", mm(diameter)),
            Self::Hexagon { across, .. } => write!(f, "hexagon of {} mm across", mm(across)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drawing::Segment;

    /// The area inside an outline by Green's theorem, curves cut into short pieces: an
    /// independent way to the area and the bounds.
    fn measured(path: &Path) -> (f64, Size) {
        let mut points: Vec<Point<Page>> = Vec::new();
        for segment in &path.segments {
            match *segment {
                Segment::Move(p) | Segment::Line(p) => points.push(p),
                Segment::Curve(a, b, c) => {
                    let from = points[points.len() - 1];
                    for i in 1..=64 {
                        let t = f64::from(i) / 64.0;
                        let mix = |w: f64, x: f64, y: f64, z: f64| {
                            let u = 1.0 - t;
                            u * u * u * w
                                + 3.0 * u * u * t * x
                                + 3.0 * u * t * t * y
                                + t * t * t * z
                        };
                        points.push(Point::new(
                            mix(from.x, a.x, b.x, c.x),
                            mix(from.y, a.y, b.y, c.y),
                        ));
                    }
                }
                Segment::Close => {}
            }
        }
        let next = points.iter().cycle().skip(1);
        let twice: f64 = points
            .iter()
            .zip(next)
            .map(|(a, b)| a.x * b.y - a.y * b.x)
            .sum();
        let span = |of: fn(&Point<Page>) -> f64| {
            let (low, high) = points
                .iter()
                .map(of)
                .fold((f64::MAX, f64::MIN), |(l, h), x| (l.min(x), h.max(x)));
            high - low
        };
        (twice / 2.0, Size::new(span(|p| p.x), span(|p| p.y)))
    }

    const ALL: [Shape; 5] = [
        Shape::rect(Size::new(63.5, 88.9), 0.0),
        Shape::rect(Size::new(63.5, 88.9), 3.175),
        Shape::circle(25.0),
        Shape::hexagon(40.0, HexagonTop::Pointed),
        Shape::hexagon(40.0, HexagonTop::Flat),
    ];

    #[test]
    fn the_outline_has_the_area_and_the_bounds_that_are_told() {
        for shape in ALL {
            for shape in [shape, shape.turned()] {
                let (area, size) = measured(&shape.outline(Point::new(7.0, -3.0)));
                assert!((area / shape.area() - 1.0).abs() < 5e-4, "{shape}: {area}");
                assert!(size.is_close(shape.size(), 1e-9), "{shape}: {size:?}");
            }
        }
    }

    #[test]
    fn a_bleed_is_as_wide_everywhere_and_square_at_the_corners_of_a_card() {
        assert_eq!(
            ALL[1].with_bleed(3.0),
            Shape::rect(Size::new(69.5, 94.9), 0.0)
        );
        assert_eq!(ALL[2].with_bleed(3.0), Shape::circle(31.0));
        assert_eq!(
            ALL[4].with_bleed(3.0),
            Shape::hexagon(46.0, HexagonTop::Flat)
        );
    }

    #[test]
    fn a_safe_margin_keeps_round_corners_parallel_until_nothing_is_left() {
        for (margin, size, radius) in [
            (2.0, Size::new(59.5, 84.9), 1.175),
            (5.0, Size::new(53.5, 78.9), 0.0),
        ] {
            let Some(Shape::Rect {
                size: left,
                corner_radius,
            }) = ALL[1].safe(margin)
            else {
                panic!("a card is left");
            };
            assert!(left.is_close(size, 1e-9), "{left:?}");
            assert!((corner_radius - radius).abs() < 1e-9, "{corner_radius}");
        }
        assert_eq!(ALL[1].safe(32.0), None);
        assert_eq!(ALL[2].safe(12.5), None);
    }

    #[test]
    fn measures_that_nothing_can_be_cut_to_are_told() {
        for shape in [
            Shape::rect(Size::new(0.0, 88.9), 0.0),
            Shape::rect(Size::new(63.5, f64::NAN), 0.0),
            Shape::rect(Size::new(63.5, 88.9), 40.0),
            Shape::rect(Size::new(63.5, 88.9), -1.0),
            Shape::circle(f64::INFINITY),
            Shape::hexagon(-4.0, HexagonTop::Flat),
        ] {
            assert!(!shape.is_sound(), "{shape:?}");
        }
        assert!(ALL.iter().all(|shape| shape.is_sound()));
    }

    #[test]
    fn shapes_are_kept_as_json_by_their_form() {
        let text = serde_json::to_string(&ALL[4]).expect("serializable");
        assert_eq!(text, r#"{"form":"hexagon","across":40.0,"top":"flat"}"#);
        let card: Shape =
            serde_json::from_str(r#"{"form":"rect","size":{"w":63.5,"h":88.9}}"#).expect("a card");
        assert_eq!(card, ALL[0]);
    }
}
