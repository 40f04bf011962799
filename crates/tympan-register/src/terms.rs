//! The terms of the error field, and the field itself.

use nalgebra::{SMatrix, SVector};
use serde::{Deserialize, Serialize};
use tympan_sheet::{Affine, FeedAxis, Front, Point, Rect, Size, Vector};

/// How many terms the field has.
pub(crate) const TERMS: usize = 8;
/// How many of them (the first three) differ at large from sheet to sheet.
pub(crate) const LOOSE: usize = 3;

/// Coefficients of the eight terms.
pub(crate) type Vec8 = SVector<f64, TERMS>;
/// A covariance or precision of the eight terms.
pub(crate) type Mat8 = SMatrix<f64, TERMS, TERMS>;
/// What the scatter does to the field: eight terms by three.
pub(crate) type Mat83 = SMatrix<f64, TERMS, LOOSE>;

/// One way in which the backs can lie wrong. With `q` the distance from the sheet's centre in
/// units of 100 mm, x right, y down, and `v = (2u/L)²`, `u` being the distance from the sheet's
/// centre along the feed and `L` the sheet's length along the feed:
///
/// `r_x = shift_x + stretch_x·q_x + (shear − tilt)·q_y + bend_x·v`
/// `r_y = shift_y + tilt·q_x + stretch_y·q_y + bend_y·v`
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Term {
    /// The whole back to the right, seen from the front.
    ShiftX,
    /// The whole back down.
    ShiftY,
    /// The back tilted clockwise, seen from the front.
    Tilt,
    /// The back wider than the front.
    StretchX,
    /// The back higher than the front.
    StretchY,
    /// Upright lines lean: what lies lower lies further to the right.
    Shear,
    /// A bow across the feed: both ends of the sheet displaced across the feed against its middle.
    BendAcross,
    /// Both ends of the sheet displaced along the feed against its middle.
    BendAlong,
}

impl Term {
    /// All terms, in the order of every array of coefficients.
    pub const ALL: [Self; TERMS] = [
        Self::ShiftX,
        Self::ShiftY,
        Self::Tilt,
        Self::StretchX,
        Self::StretchY,
        Self::Shear,
        Self::BendAcross,
        Self::BendAlong,
    ];

    /// The unit people are told this term in.
    pub fn unit(self) -> &'static str {
        match self {
            Self::ShiftX | Self::ShiftY | Self::BendAcross | Self::BendAlong => "mm",
            Self::Tilt | Self::Shear => "°",
            Self::StretchX | Self::StretchY => "%",
        }
    }

    /// The name of this term in a sentence.
    pub fn name(self) -> &'static str {
        match self {
            Self::ShiftX => "shift across the page",
            Self::ShiftY => "shift down the page",
            Self::Tilt => "tilt",
            Self::StretchX => "stretch across the page",
            Self::StretchY => "stretch down the page",
            Self::Shear => "shear",
            Self::BendAcross => "bend across the feed",
            Self::BendAlong => "bend along the feed",
        }
    }

    /// What a coefficient of 1 (mm, or mm per 100 mm) is in [`Term::unit`].
    pub(crate) fn per_coefficient(self) -> f64 {
        match self {
            Self::Tilt | Self::Shear => 0.01_f64.to_degrees(),
            _ => 1.0,
        }
    }
}

/// What the field's coefficients refer to: the sheet and the axis that it is fed along.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Basis {
    /// The sheet's size in the front frame, mm.
    pub sheet: Size,
    /// The axis of the front frame that the sheet travels along.
    pub feed: FeedAxis,
}

impl Basis {
    /// How the error at a point answers to each term: a row for x and a row for y.
    pub(crate) fn rows(&self, p: Point<Front>) -> [Vec8; 2] {
        let from_centre = p - self.sheet.centre();
        let (qx, qy) = (from_centre.x / 100.0, from_centre.y / 100.0);
        let v = self.bend_shape(p);
        let (across, along) = match self.feed {
            FeedAxis::Y => ([v, 0.0], [0.0, v]),
            FeedAxis::X => ([0.0, v], [v, 0.0]),
        };
        [
            Vec8::from([1.0, 0.0, -qy, qx, 0.0, qy, across[0], along[0]]),
            Vec8::from([0.0, 1.0, qx, 0.0, qy, 0.0, across[1], along[1]]),
        ]
    }

    /// `(2u/L)²`: nothing at the sheet's middle, one at its ends along the feed.
    fn bend_shape(&self, p: Point<Front>) -> f64 {
        let from_centre = p - self.sheet.centre();
        let (u, length) = match self.feed {
            FeedAxis::X => (from_centre.x, self.sheet.w),
            FeedAxis::Y => (from_centre.y, self.sheet.h),
        };
        (2.0 * u / length).powi(2)
    }

    /// Which coefficient bends x and which bends y.
    fn bends(&self) -> (usize, usize) {
        match self.feed {
            FeedAxis::Y => (6, 7),
            FeedAxis::X => (7, 6),
        }
    }

    /// The six affine coefficients of a map near the identity; no bend.
    pub(crate) fn coefficients_of(&self, map: &Affine<Front>) -> Vec8 {
        let shift = map.displacement(self.sheet.centre());
        Vec8::from([
            shift.x,
            shift.y,
            100.0 * map.yx,
            100.0 * (map.xx - 1.0),
            100.0 * (map.yy - 1.0),
            100.0 * (map.xy + map.yx),
            0.0,
            0.0,
        ])
    }

    /// The linear operation that folds the bend's best affine part (over the whole sheet, a shift
    /// by a third of it) into the shift and keeps the six affine coefficients.
    pub(crate) fn affine_part(&self) -> Mat8 {
        let mut fold = Mat8::identity();
        let (x, y) = self.bends();
        fold[(0, x)] = 1.0 / 3.0;
        fold[(1, y)] = 1.0 / 3.0;
        fold[(6, 6)] = 0.0;
        fold[(7, 7)] = 0.0;
        fold
    }
}

/// An error field over a sheet: where the back's image lies relative to the front's, seen from
/// the front, mm, x right, y down.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Field {
    basis: Basis,
    coefficients: [f64; TERMS],
}

impl Field {
    /// The field with these coefficients, in the order of [`Term::ALL`]: mm for shifts and bends,
    /// mm per 100 mm for the others (tilt and shear: 1 is 10 mrad; stretch: 1 is 1 %).
    pub fn new(basis: Basis, coefficients: [f64; TERMS]) -> Self {
        Self {
            basis,
            coefficients,
        }
    }

    /// The field of a known map `p ↦ p + r(p)`.
    pub fn of_map(basis: Basis, map: &Affine<Front>) -> Self {
        Self::from_vec(basis, basis.coefficients_of(map))
    }

    pub(crate) fn from_vec(basis: Basis, v: Vec8) -> Self {
        Self {
            basis,
            coefficients: v.into(),
        }
    }

    /// The sheet and the feed that the coefficients refer to.
    pub fn basis(&self) -> Basis {
        self.basis
    }

    /// The coefficients, in the order of [`Term::ALL`], in mm and mm per 100 mm.
    pub fn coefficients(&self) -> [f64; TERMS] {
        self.coefficients
    }

    /// One term in the unit of [`Term::unit`].
    pub fn term(&self, term: Term) -> f64 {
        self.coefficients[term as usize] * term.per_coefficient()
    }

    /// The register error at a point.
    pub fn at(&self, p: Point<Front>) -> Vector<Front> {
        let c = Vec8::from(self.coefficients);
        let [x, y] = self.basis.rows(p);
        Vector::new(x.dot(&c), y.dot(&c))
    }

    /// The best affine description of the field over the whole sheet: the map from where the back
    /// should be to where it is.
    pub fn affine(&self) -> Affine<Front> {
        let c = self.basis.affine_part() * Vec8::from(self.coefficients);
        let centre = self.basis.sheet.centre();
        Affine::linear_about(
            1.0 + c[3] / 100.0,
            (c[5] - c[2]) / 100.0,
            c[2] / 100.0,
            1.0 + c[4] / 100.0,
            centre,
        )
        .then(&Affine::shift(Vector::new(c[0], c[1])))
    }

    /// What an affine correction cannot reach: the bend less its best affine part.
    pub fn bend_left(&self, p: Point<Front>) -> Vector<Front> {
        let shape = self.basis.bend_shape(p) - 1.0 / 3.0;
        let (x, y) = self.basis.bends();
        Vector::new(self.coefficients[x] * shape, self.coefficients[y] * shape)
    }

    /// The largest `|r_x|` and `|r_y|` over the corners of an upright rectangle, mm. Without bend
    /// these are `|r_x(c)| + w/2·|stretch_x| + h/2·|shear − tilt|` and
    /// `|r_y(c)| + w/2·|tilt| + h/2·|stretch_y|`, and hold for the whole rectangle.
    pub fn largest_over(&self, cell: Rect<Front>) -> (f64, f64) {
        cell.corners()
            .into_iter()
            .fold((0.0, 0.0), |(x, y): (f64, f64), corner| {
                let r = self.at(corner);
                (x.max(r.x.abs()), y.max(r.y.abs()))
            })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const BASIS: Basis = Basis {
        sheet: Size::new(210.0, 297.0),
        feed: FeedAxis::Y,
    };

    #[test]
    fn tilt_is_clockwise_seen_from_the_front() {
        let field = Field::new(BASIS, [0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0]);
        let right = field.at(Point::new(205.0, 148.5));
        assert!(
            right.x.abs() < 1e-12 && (right.y - 1.0).abs() < 1e-12,
            "right goes down: {right:?}"
        );
        assert!((field.term(Term::Tilt) - 0.01_f64.to_degrees()).abs() < 1e-12);
    }

    /// Worked example of the project's frames and signs: sideways, seen on the back 2.1 low, 0.4
    /// left, tilted 0.2° clockwise.
    #[test]
    fn the_worked_example_of_the_frames_comes_out() {
        let tilt = -0.2_f64.to_radians() * 100.0;
        let field = Field::new(BASIS, [0.4, 2.1, tilt, 0.0, 0.0, 0.0, 0.0, 0.0]);
        let corner = field.at(Point::new(0.0, 0.0));
        assert!(
            (corner.x + 0.118).abs() < 5e-4 && (corner.y - 2.467).abs() < 5e-4,
            "{corner:?}"
        );
    }

    #[test]
    fn a_map_and_its_field_move_points_alike() {
        let map = Affine::new(1.001, -0.004, 0.002, 0.998, 0.3, -1.2);
        let field = Field::of_map(BASIS, &map);
        let p = Point::new(17.0, 231.0);
        assert!((field.at(p) - map.displacement(p)).length() < 1e-12);
        assert!(field.affine().is_close(&map, 1e-9));
    }

    #[test]
    fn field_is_its_affine_part_and_the_bend_left() {
        for feed in [FeedAxis::X, FeedAxis::Y] {
            let basis = Basis { feed, ..BASIS };
            let field = Field::new(basis, [0.1, -0.2, 0.3, 0.1, 0.2, -0.1, 0.25, -0.15]);
            let p = Point::new(33.0, 250.0);
            let parts = field.affine().displacement(p) + field.bend_left(p);
            assert!((field.at(p) - parts).length() < 1e-12);
        }
    }

    #[test]
    fn bend_moves_the_ends_of_the_feed_and_not_the_middle() {
        let field = Field::new(BASIS, [0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.2, -0.1]);
        assert_eq!(field.at(Point::new(20.0, 148.5)), Vector::ZERO);
        assert_eq!(field.at(Point::new(20.0, 0.0)), Vector::new(0.2, -0.1));
        let turned = Field::new(
            Basis {
                feed: FeedAxis::X,
                ..BASIS
            },
            field.coefficients(),
        );
        assert_eq!(turned.at(Point::new(210.0, 20.0)), Vector::new(-0.1, 0.2));
    }

    #[test]
    fn largest_error_over_a_card_has_the_closed_form() {
        let field = Field::new(BASIS, [0.1, -0.2, 0.3, -0.1, 0.2, 0.1, 0.0, 0.0]);
        let cell = Rect::at(Point::new(20.0, 30.0), Size::new(63.5, 88.9));
        let c = field.at(cell.centre());
        let (w, h) = (0.3175, 0.4445);
        let (x, y) = field.largest_over(cell);
        assert!((x - (c.x.abs() + w * 0.1 + h * (0.1_f64 - 0.3).abs())).abs() < 1e-12);
        assert!((y - (c.y.abs() + w * 0.3 + h * 0.2)).abs() < 1e-12);
    }
}
