//! How a photo shows a flat page: perspective and a radially distorting lens.

use tympan_sheet::{Page, Point, Vector};

use super::luma::{Luma, Pixels};
use super::side_view::Seen;
use super::solve::{Normal, planar_scale, tukey};

/// Numbers of the model: eight of the homography, two of the lens, two of its axis.
const N: usize = 12;

/// Standard deviations of the lens before looking: its two coefficients, for radii in units of
/// the picture's longer side, and how far its axis lies off the picture's middle, in those units.
const LENS: [f64; 4] = [0.3, 0.5, 0.006, 0.006];

/// Focal length over the longer side of the picture, for a phone's main camera (26 mm on 36 mm;
/// common practice).
const FOCAL: f64 = 0.72;

/// Marks off by less than this are never slips, mm.
const SLIP: f64 = 0.12;

/// A photo's map from the page to its pixels: a homography, then a lens that moves points by
/// `1 + k1 r² + k2 r⁴` about its axis (Brown 1966).
#[derive(Clone, Copy, Debug)]
pub(super) struct Camera {
    /// The page's middle, mm.
    centre: Point<Page>,
    /// The picture's middle, px.
    middle: Point<Pixels>,
    /// The picture's longer side, px.
    unit: f64,
    x: [f64; N],
}

/// What a camera fit leaves over.
pub(super) struct CameraFit {
    pub(super) camera: Camera,
    /// Sd of one axis of the marks that it keeps, px.
    pub(super) residual: f64,
    pub(super) kept: Vec<bool>,
}

impl Camera {
    /// Fits the model to marks, by Gauss and Newton with Tukey's weights.
    pub(super) fn fit(
        luma: &Luma,
        centre: Point<Page>,
        seen: &[Seen],
        px_per_mm: f64,
    ) -> Option<CameraFit> {
        let middle = Point::new(luma.width() as f64 / 2.0, luma.height() as f64 / 2.0);
        let unit = luma.width().max(luma.height()) as f64;
        let mut camera = Self {
            centre,
            middle,
            unit,
            x: affine_start(centre, middle, unit, seen)?,
        };
        let mut weights = vec![1.0; seen.len()];
        let mut fit = None;
        for round in 0..14 {
            let mut normal = Normal::<N>::default();
            for (s, &w) in seen.iter().zip(&weights) {
                let at = camera.ideal(s.nominal);
                let off = s.mark.at - at;
                let jacobian = camera.jacobian(s.nominal, at);
                normal.add(&jacobian.map(|j| j[0]), off.x, w);
                normal.add(&jacobian.map(|j| j[1]), off.y, w);
            }
            // The lens' priors hold against marks' errors of about 0.1 px.
            for (k, sd) in LENS.into_iter().enumerate() {
                let mut row = [0.0; N];
                row[8 + k] = 1.0;
                normal.add(&row, -camera.x[8 + k], (0.1 / sd).powi(2));
            }
            let step = normal.solve()?;
            for (x, d) in camera.x.iter_mut().zip(step) {
                *x += d;
            }
            let off: Vec<f64> = seen
                .iter()
                .map(|s| (s.mark.at - camera.ideal(s.nominal)).length())
                .collect();
            if off.iter().any(|o| !o.is_finite()) {
                return None;
            }
            let least = if round < 4 { 3.0 } else { SLIP } * px_per_mm / 4.685;
            let scale = (1.3 * planar_scale(&off)).max(least);
            let (mut square, mut n) = (0.0, 0.0);
            for (w, &r) in weights.iter_mut().zip(&off) {
                *w = tukey(r, scale);
                if *w > 0.05 {
                    square += r * r;
                    n += 1.0;
                }
            }
            let residual = (square / (2.0 * f64::max(n - 6.0, 1.0))).sqrt();
            let kept = weights.iter().map(|&w| w > 0.05).collect();
            fit = Some(CameraFit {
                camera,
                residual,
                kept,
            });
        }
        fit
    }

    /// Where a place of the page is in the picture.
    pub(super) fn ideal(&self, p: Point<Page>) -> Point<Pixels> {
        let x = &self.x;
        let q = (p - self.centre) * 0.01;
        let w = 1.0 + x[6] * q.x + x[7] * q.y;
        let u = (x[0] * q.x + x[1] * q.y + x[2]) / w;
        let v = (x[3] * q.x + x[4] * q.y + x[5]) / w;
        let (du, dv) = (u - x[10], v - x[11]);
        let r2 = du * du + dv * dv;
        let lens = 1.0 + r2 * (x[8] + x[9] * r2);
        Point::new(
            self.middle.x + self.unit * (x[10] + du * lens),
            self.middle.y + self.unit * (x[11] + dv * lens),
        )
    }

    /// The change of a pixel per unit of each number of the model.
    fn jacobian(&self, p: Point<Page>, at: Point<Pixels>) -> [[f64; 2]; N] {
        const STEP: f64 = 1e-6;
        std::array::from_fn(|k| {
            let mut moved = *self;
            moved.x[k] += STEP;
            let d = moved.ideal(p) - at;
            [d.x / STEP, d.y / STEP]
        })
    }

    /// The change of the pixel per mm to the right and per mm down the page: `[xx, xy, yx, yy]`.
    pub(super) fn slope(&self, p: Point<Page>) -> [f64; 4] {
        let at = |dx: f64, dy: f64| self.ideal(p + Vector::new(dx, dy));
        let (a, b) = (at(0.5, 0.0) - at(-0.5, 0.0), at(0.0, 0.5) - at(0.0, -0.5));
        [a.x, b.x, a.y, b.y]
    }

    /// Where the lens is: the foot of its perpendicular on the page, and its height, mm. The
    /// focal length is taken from what phones have, good to about a tenth.
    pub(super) fn lens(&self) -> Option<(Point<Page>, f64)> {
        let x = &self.x;
        // Columns of the homography with the axis at the origin, in units of the focal length.
        let column = |a: f64, b: f64, w: f64| [(a - x[10] * w) / FOCAL, (b - x[11] * w) / FOCAL, w];
        let (a, b, t) = (
            column(x[0], x[3], x[6]),
            column(x[1], x[4], x[7]),
            column(x[2], x[5], 1.0),
        );
        let length = |v: [f64; 3]| v.iter().map(|c| c * c).sum::<f64>().sqrt();
        let scale = (length(a) * length(b)).sqrt();
        let dot = |a: [f64; 3], b: [f64; 3]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
        let cross = [
            a[1] * b[2] - a[2] * b[1],
            a[2] * b[0] - a[0] * b[2],
            a[0] * b[1] - a[1] * b[0],
        ];
        let across = length(cross);
        if !(scale > 0.0 && across > 0.0) {
            return None;
        }
        // The camera stands at minus the translation, in the page's own axes.
        let foot = [-dot(a, t) / (scale * scale), -dot(b, t) / (scale * scale)];
        let height = (dot(cross, t) / across / scale).abs() * 100.0;
        let foot = self.centre + Vector::new(foot[0], foot[1]) * 100.0;
        (height.is_finite() && height > 1.0).then_some((foot, height))
    }
}

/// An affine start: no perspective, no lens.
fn affine_start(
    centre: Point<Page>,
    middle: Point<Pixels>,
    unit: f64,
    seen: &[Seen],
) -> Option<[f64; N]> {
    let (mut x, mut y) = (Normal::<3>::default(), Normal::<3>::default());
    for s in seen {
        let q = (s.nominal - centre) * 0.01;
        let at = (s.mark.at - middle) * (1.0 / unit);
        x.add(&[q.x, q.y, 1.0], at.x, 1.0);
        y.add(&[q.x, q.y, 1.0], at.y, 1.0);
    }
    let (a, b) = (x.solve()?, y.solve()?);
    Some([
        a[0], a[1], a[2], b[0], b[1], b[2], 0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
    ])
}
