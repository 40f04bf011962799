//! Affine maps between frames.

use std::marker::PhantomData;

use crate::frame::{Frame, Point, Vector};
use crate::length::Angle;

/// An affine map from frame `A` to frame `B`, mm to mm:
/// `x' = xx·x + xy·y + dx`, `y' = yx·x + yy·y + dy`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Map<A: Frame, B: Frame> {
    /// x' per x.
    pub xx: f64,
    /// x' per y.
    pub xy: f64,
    /// y' per x.
    pub yx: f64,
    /// y' per y.
    pub yy: f64,
    /// Shift to the right, mm.
    pub dx: f64,
    /// Shift down, mm.
    pub dy: f64,
    frames: PhantomData<(A, B)>,
}

/// An affine map within one frame: what moves print about on one side of a sheet.
pub type Affine<F> = Map<F, F>;

/// A map that loses a dimension has no inverse.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("this transform squeezes the page flat and cannot be undone")]
pub struct NotInvertible;

/// The parts of a linear map, in the order `R(tilt)·[[1+stretch_x, k(1+stretch_y)], [0, 1+stretch_y]]`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Decomposed {
    /// Rotation, clockwise as seen.
    pub tilt: Angle,
    /// Scale along x less one.
    pub stretch_x: f64,
    /// Scale along y less one.
    pub stretch_y: f64,
    /// The shear `k`; as an angle it is `atan k`.
    pub shear: f64,
}

impl<A: Frame, B: Frame> Map<A, B> {
    /// The map with these coefficients: `x' = xx·x + xy·y + dx`, `y' = yx·x + yy·y + dy`.
    pub const fn new(xx: f64, xy: f64, yx: f64, yy: f64, dx: f64, dy: f64) -> Self {
        Self {
            xx,
            xy,
            yx,
            yy,
            dx,
            dy,
            frames: PhantomData,
        }
    }

    /// Where a point goes.
    pub fn apply(&self, p: Point<A>) -> Point<B> {
        Point::new(
            self.xx * p.x + self.xy * p.y + self.dx,
            self.yx * p.x + self.yy * p.y + self.dy,
        )
    }

    /// What becomes of a displacement; the map's own shift plays no part.
    pub fn apply_vector(&self, v: Vector<A>) -> Vector<B> {
        Vector::new(self.xx * v.x + self.xy * v.y, self.yx * v.x + self.yy * v.y)
    }

    /// This map first, then `next`.
    pub fn then<C: Frame>(&self, next: &Map<B, C>) -> Map<A, C> {
        Map::new(
            next.xx * self.xx + next.xy * self.yx,
            next.xx * self.xy + next.xy * self.yy,
            next.yx * self.xx + next.yy * self.yx,
            next.yx * self.xy + next.yy * self.yy,
            next.xx * self.dx + next.xy * self.dy + next.dx,
            next.yx * self.dx + next.yy * self.dy + next.dy,
        )
    }

    /// Area after per area before; negative for a mirror.
    pub fn determinant(&self) -> f64 {
        self.xx * self.yy - self.xy * self.yx
    }

    /// The map back.
    ///
    /// # Errors
    /// [`NotInvertible`] where the map squeezes the plane flat or is not finite.
    pub fn inverse(&self) -> Result<Map<B, A>, NotInvertible> {
        let det = self.determinant();
        let size = self.xx.hypot(self.xy).hypot(self.yx.hypot(self.yy));
        if !det.is_finite() || det.abs() <= 1e-12 * size * size {
            return Err(NotInvertible);
        }
        let (xx, xy, yx, yy) = (self.yy / det, -self.xy / det, -self.yx / det, self.xx / det);
        let (dx, dy) = (
            -(xx * self.dx + xy * self.dy),
            -(yx * self.dx + yy * self.dy),
        );
        Ok(Map::new(xx, xy, yx, yy, dx, dy))
    }

    /// Whether the two maps carry every point of a sheet of about a metre to within `mm` of the
    /// same place.
    pub fn is_close(&self, other: &Self, mm: f64) -> bool {
        let linear = [
            self.xx - other.xx,
            self.xy - other.xy,
            self.yx - other.yx,
            self.yy - other.yy,
        ];
        linear.iter().all(|d| d.abs() * 1000.0 <= mm)
            && (self.dx - other.dx).abs() <= mm
            && (self.dy - other.dy).abs() <= mm
    }
}

impl<F: Frame> Map<F, F> {
    /// The map that moves nothing.
    pub const IDENTITY: Self = Self::new(1.0, 0.0, 0.0, 1.0, 0.0, 0.0);

    /// A shift.
    pub const fn shift(by: Vector<F>) -> Self {
        Self::new(1.0, 0.0, 0.0, 1.0, by.x, by.y)
    }

    /// A rotation about a point, clockwise as seen.
    pub fn tilt(angle: Angle, about: Point<F>) -> Self {
        let (sin, cos) = angle.to_radians().sin_cos();
        Self::linear_about(cos, -sin, sin, cos, about)
    }

    /// A scaling about a point by a factor along x and another along y.
    pub fn scale(x: f64, y: f64, about: Point<F>) -> Self {
        Self::linear_about(x, 0.0, 0.0, y, about)
    }

    /// The linear map `[[xx, xy], [yx, yy]]` about a fixed point.
    pub fn linear_about(xx: f64, xy: f64, yx: f64, yy: f64, about: Point<F>) -> Self {
        let dx = about.x - (xx * about.x + xy * about.y);
        let dy = about.y - (yx * about.x + yy * about.y);
        Self::new(xx, xy, yx, yy, dx, dy)
    }

    /// The map with these parts about `centre`: `centre + shift + L·(p − centre)`, where `L` is
    /// `R(tilt)·[[1+stretch_x, k(1+stretch_y)], [0, 1+stretch_y]]`.
    pub fn compose(parts: Decomposed, shift: Vector<F>, centre: Point<F>) -> Self {
        let (sin, cos) = parts.tilt.to_radians().sin_cos();
        let (sx, sy) = (1.0 + parts.stretch_x, 1.0 + parts.stretch_y);
        let kx = parts.shear * sy;
        Self::linear_about(
            cos * sx,
            cos * kx - sin * sy,
            sin * sx,
            sin * kx + cos * sy,
            centre,
        )
        .then(&Self::shift(shift))
    }

    /// Tilt, stretch and shear of the linear part (the RQ-like split of references, "Affine":
    /// `sx = hypot(xx, yx)`, `φ = atan2(yx, xx)`, `sy = det/sx`, `k = (xx·xy + yx·yy)/det`).
    pub fn decompose(&self) -> Decomposed {
        let sx = self.xx.hypot(self.yx);
        let det = self.determinant();
        Decomposed {
            tilt: Angle::radians(self.yx.atan2(self.xx)),
            stretch_x: sx - 1.0,
            stretch_y: det / sx - 1.0,
            shear: (self.xx * self.xy + self.yx * self.yy) / det,
        }
    }

    /// How far a point is moved.
    pub fn displacement(&self, p: Point<F>) -> Vector<F> {
        self.apply(p) - p
    }

    /// The map that, done twice, is this one: the principal square root of the 3 × 3 matrix.
    ///
    /// In closed form: for the linear part `√M = (M + √det·I) / √(tr M + 2√det)`, and the shift
    /// `s` solves `(√M + I) s = d` (Cayley–Hamilton; Higham, *Functions of Matrices*, section 6).
    ///
    /// # Errors
    /// [`NotInvertible`] for mirrors, half turns and flat maps, which have no such root.
    pub fn half(&self) -> Result<Self, NotInvertible> {
        let det = self.determinant();
        let trace = self.xx + self.yy;
        if !(det > 0.0 && det.is_finite()) {
            return Err(NotInvertible);
        }
        let root = det.sqrt();
        let scale = trace + 2.0 * root;
        if scale <= 1e-9 * root {
            return Err(NotInvertible);
        }
        let scale = scale.sqrt();
        let (xx, xy) = ((self.xx + root) / scale, self.xy / scale);
        let (yx, yy) = (self.yx / scale, (self.yy + root) / scale);
        let plus_one: Self = Self::new(xx + 1.0, xy, yx, yy + 1.0, 0.0, 0.0);
        let s = plus_one
            .inverse()?
            .apply_vector(Vector::new(self.dx, self.dy));
        Ok(Self::new(xx, xy, yx, yy, s.x, s.y))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Front;
    use proptest::prelude::*;

    type M = Affine<Front>;

    #[test]
    fn positive_tilt_is_clockwise_as_seen() {
        let east = M::tilt(Angle::degrees(90.0), Point::new(0.0, 0.0)).apply(Point::new(1.0, 0.0));
        assert!(
            (east.x.abs() < 1e-15) && (east.y - 1.0).abs() < 1e-15,
            "right goes down: {east:?}"
        );
    }

    /// Worked example of the affine split in the project's list of check values (computed there
    /// independently).
    #[test]
    fn a_linear_map_is_split_as_published() {
        let parts = M::new(1.002, -0.004, 0.0055, 0.998, 0.0, 0.0).decompose();
        assert!((parts.stretch_x - 0.002015095).abs() < 5e-10);
        assert!((parts.tilt.to_degrees() - 0.314494633).abs() < 5e-10);
        assert!((parts.stretch_y + 0.001993078).abs() < 5e-10);
        assert!((parts.shear - 0.001480973).abs() < 5e-10);
    }

    #[test]
    fn mirrors_and_flat_maps_are_refused() {
        assert_eq!(
            M::scale(1.0, 0.0, Point::new(3.0, 4.0)).inverse(),
            Err(NotInvertible)
        );
        assert_eq!(
            M::scale(-1.0, 1.0, Point::new(3.0, 4.0)).half(),
            Err(NotInvertible)
        );
        assert_eq!(
            M::tilt(Angle::degrees(180.0), Point::new(0.0, 0.0)).half(),
            Err(NotInvertible)
        );
    }

    fn any_map() -> impl Strategy<Value = M> {
        (
            -0.5..0.5f64,
            -0.1..0.1f64,
            -0.1..0.1f64,
            -0.1..0.1f64,
            -30.0..30.0f64,
            -30.0..30.0f64,
        )
            .prop_map(|(tilt, stretch_x, stretch_y, shear, dx, dy)| {
                let parts = Decomposed {
                    tilt: Angle::radians(tilt),
                    stretch_x,
                    stretch_y,
                    shear,
                };
                M::compose(parts, Vector::new(dx, dy), Point::new(105.0, 148.5))
            })
    }

    proptest! {
        #[test]
        fn half_done_twice_is_the_whole(m in any_map()) {
            let half = m.half().expect("near the identity");
            prop_assert!(half.then(&half).is_close(&m, 1e-9));
        }

        #[test]
        fn inverse_undoes(m in any_map()) {
            let back = m.inverse().expect("near the identity");
            prop_assert!(m.then(&back).is_close(&M::IDENTITY, 1e-9));
        }

        #[test]
        fn composing_the_parts_gives_the_map_again(m in any_map()) {
            let centre = Point::new(105.0, 148.5);
            let again = M::compose(m.decompose(), m.displacement(centre), centre);
            prop_assert!(again.is_close(&m, 1e-9));
        }
    }
}
