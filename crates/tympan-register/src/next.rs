//! What the next sheet will do.
//!
//! The predictive distribution is a mixture of normal distributions of the field's coefficients.
//! Probabilities come from quasi-random rays: from a part's mean along a direction, the distance
//! at which the error leaves what is allowed is known exactly, and the probability along the ray
//! is a chi distribution.

use nalgebra::Matrix3;
use serde::{Deserialize, Serialize};
use tympan_sheet::{Front, Point, Rect};

use crate::cards::{Cards, Cutting};
use crate::fit::Estimate;
use crate::numeric::{NormalMixture, chi_cdf_even, normal_quantile, rising_root, root_of, sobol};
use crate::reading::stretch_scatter;
use crate::scatter::Draw;
use crate::terms::{Basis, Field, LOOSE, Mat8, TERMS, Term, Vec8};

/// How many rays probabilities are computed with.
pub(crate) const RAYS: u32 = 4096;
const RAY_SEED: u32 = 37;
const SHEET_SEED: u32 = 41;

/// One part of the mixture.
#[derive(Clone, Debug)]
struct Part {
    weight: f64,
    mean: Vec8,
    covariance: Mat8,
}

/// The predictive distribution of the next sheet's register error, true and not as read.
#[derive(Clone, Debug)]
pub struct NextSheet {
    basis: Basis,
    parts: Vec<Part>,
    /// The terms that are not known exactly.
    open: Vec<usize>,
}

/// Quantiles of a distance, mm.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Quantiles {
    /// Half of the time it is smaller.
    pub p50: f64,
    /// 95 % of the time it is smaller.
    pub p95: f64,
    /// 99 % of the time it is smaller.
    pub p99: f64,
}

/// A start and a direction in the space of coefficients, and standard normal scores beyond them.
pub(crate) struct Ray {
    pub(crate) from: Vec8,
    pub(crate) along: Vec8,
    /// Components of the direction that belong to other errors, in standard deviations.
    pub(crate) others: Vec<f64>,
}

impl NextSheet {
    pub(crate) fn of_draws(
        basis: Basis,
        draws: &[Draw],
        correction: &Vec8,
        sheet_stretch_sd: f64,
    ) -> Self {
        let part = |d: &Draw| {
            let mut covariance = d.covariance + stretch_scatter(sheet_stretch_sd);
            for i in 0..LOOSE {
                for j in 0..LOOSE {
                    covariance[(i, j)] += d.sigma[(i, j)];
                }
            }
            Part {
                weight: d.weight,
                mean: d.mean - correction,
                covariance,
            }
        };
        Self::new(basis, draws.iter().map(part).collect())
    }

    /// The distribution where steady error and scatter are known: a steady field left over, and
    /// the covariance of shift x, shift y (mm) and tilt (mm per 100 mm).
    pub fn known(left: Field, scatter: [[f64; LOOSE]; LOOSE]) -> Self {
        let mut covariance = Mat8::zeros();
        covariance
            .fixed_view_mut::<LOOSE, LOOSE>(0, 0)
            .copy_from(&Matrix3::from_fn(|i, j| scatter[i][j]));
        let mean = Vec8::from(left.coefficients());
        Self::new(
            left.basis(),
            vec![Part {
                weight: 1.0,
                mean,
                covariance,
            }],
        )
    }

    fn new(basis: Basis, parts: Vec<Part>) -> Self {
        let open = |i: &usize| parts.iter().any(|p| p.covariance[(*i, *i)] > 0.0);
        let open = (0..TERMS).filter(open).collect();
        Self { basis, parts, open }
    }

    /// The interval of one term of the next sheet's own field, in the unit of [`Term::unit`].
    pub fn term(&self, term: Term) -> Estimate {
        let i = term as usize;
        let parts = self
            .parts
            .iter()
            .map(|p| (p.weight, p.mean[i], p.covariance[(i, i)].sqrt()));
        Estimate::of_mixture(&NormalMixture::new(parts.collect()), term.per_coefficient())
    }

    /// The size of the register error (radial, mm) of the next sheet at a random point of a
    /// rectangle.
    pub fn radial(&self, region: Rect<Front>) -> Quantiles {
        let intervals = RadialRays::new(self, region);
        Quantiles {
            p50: intervals.quantile(0.50),
            p95: intervals.quantile(0.95),
            p99: intervals.quantile(0.99),
        }
    }

    /// The probability that the register error of the next sheet at a random point of a rectangle
    /// is at most `mm`.
    pub fn radial_share(&self, region: Rect<Front>, mm: f64) -> f64 {
        RadialRays::new(self, region).share(mm)
    }

    /// What becomes of the cards at these trim rectangles.
    pub fn cards(&self, cells: &[Rect<Front>], cutting: Cutting) -> Cards {
        Cards::new(self, cells, cutting)
    }

    /// Simulated sheets to draw: fields from the predictive distribution, equally likely.
    pub fn sheets(&self, count: u32) -> Vec<Field> {
        (0..count)
            .map(|i| {
                let part = self.pick((f64::from(i) + sobol(0, 0, SHEET_SEED)) / f64::from(count));
                let z = Vec8::from_fn(|k, _| normal_quantile(sobol(i, 1 + k as u32, SHEET_SEED)));
                Field::from_vec(self.basis, part.mean + root_of(&part.covariance) * z)
            })
            .collect()
    }

    pub(crate) fn basis(&self) -> Basis {
        self.basis
    }

    /// The part at a share of the cumulated weight.
    fn pick(&self, share: f64) -> &Part {
        let mut left = share;
        for part in &self.parts {
            if left < part.weight {
                return part;
            }
            left -= part.weight;
        }
        &self.parts[self.parts.len() - 1]
    }

    /// In how many dimensions a ray with `others` beside the field's terms runs: an even number.
    pub(crate) fn dimensions(&self, others: usize) -> usize {
        (self.open.len() + others).div_ceil(2) * 2
    }

    /// Equally likely rays in [`NextSheet::dimensions`], of which `others` are not the field's.
    pub(crate) fn rays(&self, others: usize, count: u32) -> Vec<Ray> {
        let dimensions = self.dimensions(others);
        let mut cumulated = Vec::with_capacity(self.parts.len());
        let mut sum = 0.0;
        for part in &self.parts {
            sum += part.weight;
            cumulated.push(sum);
        }
        let ray = |i: u32| {
            let share = sobol(i, 0, RAY_SEED) * sum;
            let k = cumulated
                .partition_point(|&c| c <= share)
                .min(self.parts.len() - 1);
            let part = &self.parts[k];
            let mut z: Vec<f64> = (0..dimensions)
                .map(|d| normal_quantile(sobol(i, 1 + d as u32, RAY_SEED)))
                .collect();
            let length = z.iter().map(|x| x * x).sum::<f64>().sqrt();
            z.iter_mut().for_each(|x| *x /= length);
            let mut direction = Vec8::zeros();
            for (&term, &x) in self.open.iter().zip(&z) {
                direction[term] = x;
            }
            Ray {
                from: part.mean,
                along: root_of(&part.covariance) * direction,
                others: z.split_off(self.open.len()),
            }
        };
        (0..count).map(ray).collect()
    }
}

/// Where a ray lies within a circle of radius `R` about no error: `|a + t b| ≤ R`.
struct RadialRays {
    dimensions: usize,
    /// `a·a`, `a·b`, `b·b` of each ray at its point.
    forms: Vec<(f64, f64, f64)>,
}

impl RadialRays {
    fn new(next: &NextSheet, region: Rect<Front>) -> Self {
        let size = region.size();
        let dimensions = next.dimensions(0);
        let form = |(i, ray): (usize, Ray)| {
            let place = |d: u32| sobol(i as u32, 1 + dimensions as u32 + d, RAY_SEED);
            let p = Point::new(
                region.min.x + size.w * place(0),
                region.min.y + size.h * place(1),
            );
            let [x, y] = next.basis.rows(p);
            let a = [x.dot(&ray.from), y.dot(&ray.from)];
            let b = [x.dot(&ray.along), y.dot(&ray.along)];
            let dot = |u: [f64; 2], v: [f64; 2]| u[0] * v[0] + u[1] * v[1];
            (dot(a, a), dot(a, b), dot(b, b))
        };
        Self {
            dimensions,
            forms: next
                .rays(0, RAYS)
                .into_iter()
                .enumerate()
                .map(form)
                .collect(),
        }
    }

    fn share(&self, radius: f64) -> f64 {
        let inside = |&(aa, ab, bb): &(f64, f64, f64)| {
            let room = aa - radius * radius;
            if bb <= 0.0 {
                return if room <= 0.0 { 1.0 } else { 0.0 };
            }
            let root = ab * ab - bb * room;
            if root < 0.0 {
                return 0.0;
            }
            let (low, high) = ((-ab - root.sqrt()) / bb, (-ab + root.sqrt()) / bb);
            if high <= 0.0 {
                return 0.0;
            }
            chi_cdf_even(self.dimensions, high) - chi_cdf_even(self.dimensions, low.max(0.0))
        };
        self.forms.iter().map(inside).sum::<f64>() / self.forms.len() as f64
    }

    fn quantile(&self, share: f64) -> f64 {
        rising_root(0.0, self.reach(), 1e-7, |radius| self.share(radius) - share)
    }

    /// A radius that holds all but nothing.
    fn reach(&self) -> f64 {
        let far = |&(aa, _, bb): &(f64, f64, f64)| aa.sqrt() + 12.0 * bb.sqrt();
        self.forms.iter().map(far).fold(0.0, f64::max) + 1e-9
    }
}
