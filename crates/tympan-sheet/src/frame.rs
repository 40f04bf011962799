//! Frames, and points, vectors, sizes and rectangles within them.

use std::fmt::Debug;
use std::marker::PhantomData;
use std::ops::{Add, Mul, Neg, Sub};

use serde::{Deserialize, Serialize};

/// A frame that points belong to. In all of them x runs to the right and y runs down, in mm.
pub trait Frame: Copy + Clone + Debug + PartialEq + Default + Send + Sync + 'static {}

/// The front of a sheet: looking at the front, origin at the sheet's top left corner.
#[derive(Copy, Clone, Debug, PartialEq, Default)]
pub struct Front;

/// The back of a sheet: looking at the back with its print upright, origin at its top left corner
/// as seen.
#[derive(Copy, Clone, Debug, PartialEq, Default)]
pub struct Back;

/// A page as a reader shows it: origin at the top left corner of what is shown, after the page's
/// own rotation.
#[derive(Copy, Clone, Debug, PartialEq, Default)]
pub struct Page;

impl Frame for Front {}
impl Frame for Back {}
impl Frame for Page {}

/// A point in the frame `F`: mm from its origin, x to the right, y down.
#[derive(Clone, Copy, Debug, PartialEq, Default, Serialize, Deserialize)]
#[serde(bound = "")]
pub struct Point<F: Frame> {
    /// To the right, mm.
    pub x: f64,
    /// Down, mm.
    pub y: f64,
    #[serde(skip)]
    frame: PhantomData<F>,
}

/// A displacement in the frame `F`: mm, x to the right, y down.
#[derive(Clone, Copy, Debug, PartialEq, Default, Serialize, Deserialize)]
#[serde(bound = "")]
pub struct Vector<F: Frame> {
    /// To the right, mm.
    pub x: f64,
    /// Down, mm.
    pub y: f64,
    #[serde(skip)]
    frame: PhantomData<F>,
}

impl<F: Frame> Point<F> {
    /// The point `x` mm to the right of the origin and `y` mm below it.
    pub const fn new(x: f64, y: f64) -> Self {
        Self {
            x,
            y,
            frame: PhantomData,
        }
    }
}

impl<F: Frame> Vector<F> {
    /// No displacement.
    pub const ZERO: Self = Self::new(0.0, 0.0);

    /// The displacement `x` mm to the right and `y` mm down.
    pub const fn new(x: f64, y: f64) -> Self {
        Self {
            x,
            y,
            frame: PhantomData,
        }
    }

    /// How long it is, mm.
    pub fn length(self) -> f64 {
        self.x.hypot(self.y)
    }
}

impl<F: Frame> Sub for Point<F> {
    type Output = Vector<F>;
    fn sub(self, other: Self) -> Vector<F> {
        Vector::new(self.x - other.x, self.y - other.y)
    }
}

impl<F: Frame> Add<Vector<F>> for Point<F> {
    type Output = Self;
    fn add(self, by: Vector<F>) -> Self {
        Self::new(self.x + by.x, self.y + by.y)
    }
}

impl<F: Frame> Sub<Vector<F>> for Point<F> {
    type Output = Self;
    fn sub(self, by: Vector<F>) -> Self {
        Self::new(self.x - by.x, self.y - by.y)
    }
}

impl<F: Frame> Add for Vector<F> {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self::new(self.x + other.x, self.y + other.y)
    }
}

impl<F: Frame> Sub for Vector<F> {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self::new(self.x - other.x, self.y - other.y)
    }
}

impl<F: Frame> Neg for Vector<F> {
    type Output = Self;
    fn neg(self) -> Self {
        Self::new(-self.x, -self.y)
    }
}

impl<F: Frame> Mul<f64> for Vector<F> {
    type Output = Self;
    fn mul(self, factor: f64) -> Self {
        Self::new(self.x * factor, self.y * factor)
    }
}

/// Width and height of a sheet, a page or a card, mm.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Size {
    /// Across, mm.
    pub w: f64,
    /// From top to bottom, mm.
    pub h: f64,
}

impl Size {
    /// A size in mm.
    pub const fn new(w: f64, h: f64) -> Self {
        Self { w, h }
    }

    /// The same size turned a quarter.
    pub const fn turned(self) -> Self {
        Self {
            w: self.h,
            h: self.w,
        }
    }

    /// Upright: at least as high as wide.
    pub fn portrait(self) -> Self {
        if self.is_landscape() {
            self.turned()
        } else {
            self
        }
    }

    /// Wider than high. A square counts as portrait.
    pub fn is_landscape(self) -> bool {
        self.w > self.h
    }

    /// The middle, in whichever frame has its origin at this rectangle's top left corner.
    pub fn centre<F: Frame>(self) -> Point<F> {
        Point::new(self.w / 2.0, self.h / 2.0)
    }

    /// Whether both sides agree within `tolerance` mm.
    pub fn is_close(self, other: Self, tolerance: f64) -> bool {
        (self.w - other.w).abs() <= tolerance && (self.h - other.h).abs() <= tolerance
    }
}

/// An upright rectangle in the frame `F`, mm.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(bound = "")]
pub struct Rect<F: Frame> {
    /// The top left corner.
    pub min: Point<F>,
    /// The bottom right corner.
    pub max: Point<F>,
}

impl<F: Frame> Rect<F> {
    /// The rectangle with this top left corner and size.
    pub fn at(min: Point<F>, size: Size) -> Self {
        Self {
            min,
            max: Point::new(min.x + size.w, min.y + size.h),
        }
    }

    /// The whole of a frame of this size.
    pub fn whole(size: Size) -> Self {
        Self::at(Point::new(0.0, 0.0), size)
    }

    /// Width and height, mm.
    pub fn size(self) -> Size {
        Size::new(self.max.x - self.min.x, self.max.y - self.min.y)
    }

    /// The middle.
    pub fn centre(self) -> Point<F> {
        Point::new(
            (self.min.x + self.max.x) / 2.0,
            (self.min.y + self.max.y) / 2.0,
        )
    }

    /// Corners, clockwise as seen from the top left one.
    pub fn corners(self) -> [Point<F>; 4] {
        [
            self.min,
            Point::new(self.max.x, self.min.y),
            self.max,
            Point::new(self.min.x, self.max.y),
        ]
    }

    /// Larger by `by` mm on every side (smaller where negative).
    pub fn grown(self, by: f64) -> Self {
        Self {
            min: Point::new(self.min.x - by, self.min.y - by),
            max: Point::new(self.max.x + by, self.max.y + by),
        }
    }

    /// What two rectangles share; of those that only touch, a line or a point. `None` where they
    /// lie apart.
    pub fn meet(self, other: Self) -> Option<Self> {
        let min = Point::new(self.min.x.max(other.min.x), self.min.y.max(other.min.y));
        let max = Point::new(self.max.x.min(other.max.x), self.max.y.min(other.max.y));
        (min.x <= max.x && min.y <= max.y).then_some(Self { min, max })
    }

    /// Whether the point lies inside or on the edge.
    pub fn contains(self, p: Point<F>) -> bool {
        (self.min.x..=self.max.x).contains(&p.x) && (self.min.y..=self.max.y).contains(&p.y)
    }
}
