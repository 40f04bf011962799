//! Sheets that do not belong, and how far out a sheet or a steady error would be.

use nalgebra::{Matrix3, SMatrix, Vector3};

use crate::error::FitError;
use crate::fit::Fit;
use crate::numeric::{chi_cdf_even, normal_quantile, root_of, sobol};
use crate::reading::Reduced;
use crate::scatter::{Draw, sample};
use crate::terms::{Field, LOOSE, TERMS, Vec8};

/// At least so many rays in all.
const RAYS: u32 = 8192;
const SEED: u32 = 53;

/// How well each sheet agrees with the others: each is predicted from all but itself.
#[derive(Clone, Debug, PartialEq)]
pub struct Belonging {
    /// For each reading, the probability of a sheet at least as far out.
    pub p_values: Vec<f64>,
    /// Below this a sheet is named: 0.01 shared among all sheets.
    pub threshold: f64,
    /// With three sheets the wrong one may be named: the two others may be wrong together.
    pub caution: bool,
}

impl Belonging {
    /// The readings that do not belong, counted from zero.
    pub fn strangers(&self) -> Vec<usize> {
        let out = |(j, &p): (usize, &f64)| (p < self.threshold).then_some(j);
        self.p_values.iter().enumerate().filter_map(out).collect()
    }
}

impl Fit {
    /// Looks for sheets that do not belong, by leaving each out and predicting it. None for one
    /// or two sheets, where nobody can tell, and where flat priors need every sheet.
    pub fn belonging(&self) -> Option<Belonging> {
        let n = self.sheets();
        if n <= 2 {
            return None;
        }
        let p_values: Result<Vec<f64>, FitError> = (0..n).map(|j| self.left_out(j)).collect();
        Some(Belonging {
            p_values: p_values.ok()?,
            threshold: 0.01 / n as f64,
            caution: n == 3,
        })
    }

    fn left_out(&self, j: usize) -> Result<f64, FitError> {
        let others: Vec<Reduced> = self
            .reduced
            .iter()
            .enumerate()
            .filter(|(i, _)| *i != j)
            .map(|(_, reading)| reading.clone())
            .collect();
        let model = self.model();
        let (draws, _) = sample(
            &others,
            model.prior(),
            model.basis().feed,
            (model.points() / 2).max(256),
        )?;
        Ok(predicted_p_value(&draws, &self.reduced[j]))
    }

    /// The probability of a next sheet whose shift and tilt are at least as unusual as those of
    /// this field (before any correction): 0.05 on the edge of the 95 % region.
    pub fn next_p_value(&self, sheet: &Field) -> f64 {
        let parts = self
            .draws
            .iter()
            .map(|d| (d.weight, head(&d.mean), corner(d) + d.sigma));
        tail(
            &parts.collect::<Vec<_>>(),
            &head(&Vec8::from(sheet.coefficients())),
            LOOSE,
        )
    }

    /// How unusual this shift and tilt would be as the steady error: 0.05 on the edge of the 95 %
    /// region.
    pub fn steady_p_value(&self, steady: &Field) -> f64 {
        let parts = self
            .draws
            .iter()
            .map(|d| (d.weight, head(&d.mean), corner(d)));
        tail(
            &parts.collect::<Vec<_>>(),
            &head(&Vec8::from(steady.coefficients())),
            LOOSE,
        )
    }
}

fn head(v: &Vec8) -> Vector3<f64> {
    v.fixed_rows::<LOOSE>(0).into_owned()
}

fn corner(d: &Draw) -> Matrix3<f64> {
    d.covariance.fixed_view::<LOOSE, LOOSE>(0, 0).into_owned()
}

/// The p-value of what a reading says of its sheet's shift and tilt, as far as it says anything.
fn predicted_p_value(draws: &[Draw], reading: &Reduced) -> f64 {
    let loose = reading
        .g
        .fixed_view::<LOOSE, LOOSE>(0, 0)
        .into_owned()
        .symmetric_eigen();
    let largest = loose.eigenvalues.max();
    let mut to_estimate = SMatrix::<f64, LOOSE, TERMS>::zeros();
    let mut seen = Vector3::zeros();
    let mut noise = Matrix3::zeros();
    let mut turn = Matrix3::zeros();
    let mut kept = 0;
    for k in 0..LOOSE {
        let value = loose.eigenvalues[k];
        if value <= 1e-9 * largest {
            continue;
        }
        let v = loose.eigenvectors.column(k).into_owned();
        let row = reading.g.fixed_rows::<LOOSE>(0).transpose() * v / value;
        to_estimate.row_mut(kept).copy_from(&row.transpose());
        seen[kept] = v.dot(&head(&reading.h)) / value;
        noise[(kept, kept)] = 1.0 / value;
        turn.row_mut(kept).copy_from(&v.transpose());
        kept += 1;
    }
    let part = |d: &Draw| {
        let spread = to_estimate * d.covariance * to_estimate.transpose()
            + turn * d.sigma * turn.transpose()
            + noise;
        (d.weight, to_estimate * d.mean, spread)
    };
    tail(&draws.iter().map(part).collect::<Vec<_>>(), &seen, kept)
}

/// The probability that a mixture of normal distributions gives a value at least as far out, by
/// its own mean and covariance, as `x`. Only the first `kept` coordinates count.
fn tail(parts: &[(f64, Vector3<f64>, Matrix3<f64>)], x: &Vector3<f64>, kept: usize) -> f64 {
    let mean: Vector3<f64> = parts.iter().map(|(w, m, _)| m * *w).sum();
    let spread = |(w, m, c): &(f64, Vector3<f64>, Matrix3<f64>)| {
        (c + (m - mean) * (m - mean).transpose()) * *w
    };
    let mut covariance: Matrix3<f64> = parts.iter().map(spread).sum();
    for k in kept..LOOSE {
        covariance[(k, k)] = 1.0;
    }
    let Some(mut metric) = covariance.try_inverse() else {
        return 1.0;
    };
    for k in kept..LOOSE {
        metric[(k, k)] = 0.0;
    }
    let dot = |u: &Vector3<f64>, v: &Vector3<f64>| u.dot(&(metric * v));
    let limit = dot(&(x - mean), &(x - mean));
    // Every part gets its rays, also the unlikely wide ones, which the far tail comes from.
    let rays = RAYS.div_ceil(parts.len() as u32).max(1);
    let outside = |i: u32| {
        let (weight, from, spread) = &parts[(i / rays) as usize];
        let share = weight / f64::from(rays);
        // Four scores: three coordinates and one to make the number even.
        let z: [f64; 4] = std::array::from_fn(|d| normal_quantile(sobol(i, d as u32, SEED)));
        let length = z.iter().map(|v| v * v).sum::<f64>().sqrt();
        let along = root_of(spread) * Vector3::new(z[0], z[1], z[2]) / length;
        let a = from - mean;
        let (aa, ab, bb) = (dot(&a, &a) - limit, dot(&a, &along), dot(&along, &along));
        let root = ab * ab - bb * aa;
        if bb <= 0.0 || root <= 0.0 {
            return if aa < 0.0 { 0.0 } else { share };
        }
        let (low, high) = ((-ab - root.sqrt()) / bb, (-ab + root.sqrt()) / bb);
        if high <= 0.0 {
            return share;
        }
        share * (1.0 - chi_cdf_even(4, high) + chi_cdf_even(4, low.max(0.0)))
    };
    (0..rays * parts.len() as u32).map(outside).sum()
}
