//! The scatter of sheets: its prior with unknown scale, its likelihood with everything else
//! integrated out, and quasi-Monte Carlo importance sampling of its posterior.
//!
//! Given the covariance `Σ` of the sheets' own shift and tilt all else is Gaussian, so only `Σ`
//! (six numbers) is sampled. Its scale `s` is integrated out beforehand, exactly to rounding, and
//! the points come from an Owen-scrambled Sobol sequence with a fixed seed: the same readings
//! give the same bits.

use nalgebra::{Matrix3, Vector3};
use statrs::function::gamma::{digamma, ln_gamma};

use crate::error::FitError;
use crate::numeric::{ChiTable, hermite, normal_quantile, root_of, sobol};
use crate::prior::Prior;
use crate::reading::Reduced;
use crate::terms::{LOOSE, Mat8, Mat83, TERMS, Vec8};
use tympan_sheet::FeedAxis;

/// Points of the first, rough pass.
const PILOT: u32 = 1024;
/// Seeds of the passes.
const PILOT_SEED: u32 = 11;
const MAIN_SEED: u32 = 23;
/// Draws with less than this share of the heaviest one's weight are dropped.
const NEGLIGIBLE: f64 = 1e-9;

/// One point of the posterior: a scatter with its weight, and the steady error given it.
#[derive(Clone, Debug)]
pub(crate) struct Draw {
    pub(crate) weight: f64,
    pub(crate) sigma: Matrix3<f64>,
    pub(crate) mean: Vec8,
    pub(crate) covariance: Mat8,
}

/// An inverse Wishart distribution of `Σ` whose scale is log-normal and integrated out:
///
/// `p(Σ) ∝ |Σ|^−(ν+4)/2 · F(tr ΨΣ⁻¹)`, `F(t) = ∫ s^3ν e^(−s²t/2) N(ln s; 0, sd²) d ln s`.
///
/// The prior is one, and so are the distributions that points are proposed from.
struct ScaledWishart {
    df: f64,
    psi: Matrix3<f64>,
    /// The Cholesky factor of `psi`.
    root: Matrix3<f64>,
    log_scale_sd: f64,
    ln_norm: f64,
    /// `ln F` and its slope over a regular grid of `ln t`.
    table: Vec<(f64, f64)>,
    from: f64,
    /// Bartlett's diagonal.
    chi: [ChiTable; LOOSE],
}

impl ScaledWishart {
    const STEP: f64 = 0.1;

    fn new(df: f64, psi: Matrix3<f64>, log_scale_sd: f64) -> Option<Self> {
        let sd = if log_scale_sd < 0.02 {
            0.0
        } else {
            log_scale_sd
        };
        let root = psi.cholesky()?.l();
        let ln_gamma3: f64 = (0..LOOSE).map(|i| ln_gamma((df - i as f64) / 2.0)).sum();
        let ln_norm = df * ln_det3(&root) - 1.5 * df * std::f64::consts::LN_2 - ln_gamma3;
        let reach = 5.0 + 8.0 * sd;
        let from = (LOOSE as f64 * df).ln() - reach;
        let count = if sd > 0.0 {
            (2.0 * reach / Self::STEP).ceil() as usize + 1
        } else {
            0
        };
        let table = (0..count)
            .map(|i| log_mixture(df, sd, from + Self::STEP * i as f64))
            .collect();
        let chi = std::array::from_fn(|i| ChiTable::new(df - i as f64));
        Some(Self {
            df,
            psi,
            root,
            log_scale_sd: sd,
            ln_norm,
            table,
            from,
            chi,
        })
    }

    fn ln_density(&self, ln_det: f64, inverse: &Matrix3<f64>) -> f64 {
        let trace = self.psi.component_mul(inverse).sum();
        self.ln_norm - 0.5 * (self.df + 4.0) * ln_det + self.ln_mixture(trace)
    }

    fn ln_mixture(&self, trace: f64) -> f64 {
        if self.table.is_empty() {
            return -0.5 * trace;
        }
        let last = self.table.len() - 1;
        let position = (trace.ln() - self.from) / Self::STEP;
        if position <= 0.0 {
            let (value, slope) = self.table[0];
            return value + slope * position * Self::STEP;
        }
        if position >= last as f64 {
            let (value, slope) = self.table[last];
            return value + slope * (position - last as f64) * Self::STEP;
        }
        let i = position as usize;
        hermite(
            position - i as f64,
            Self::STEP,
            self.table[i],
            self.table[i + 1],
        )
    }

    /// The point for normal scores (Bartlett's decomposition): three for the diagonal, three for
    /// what is below it, one for the scale. `Σ = s² L W⁻¹ Lᵀ` with `W = A Aᵀ`.
    fn at(&self, z: [f64; 7]) -> Option<Matrix3<f64>> {
        let chi = |i: usize| self.chi[i].chi(z[i]);
        let a = Matrix3::new(chi(0), 0.0, 0.0, z[3], chi(1), 0.0, z[4], z[5], chi(2));
        let b = self.root * a.transpose().try_inverse()? * (self.log_scale_sd * z[6]).exp();
        Some(b * b.transpose())
    }

    /// The most likely `ln s` given `tr ΨΣ⁻¹`.
    fn best_log_scale(&self, trace: f64) -> f64 {
        if self.log_scale_sd == 0.0 {
            return 0.0;
        }
        let precision = 1.0 / (self.log_scale_sd * self.log_scale_sd);
        let mut l = 0.0_f64;
        for _ in 0..50 {
            let growing = (2.0 * l).exp() * trace;
            let slope = LOOSE as f64 * self.df - growing - l * precision;
            l += slope / (2.0 * growing + precision);
        }
        l
    }
}

/// `ln F` at `t = exp(ln_t)` and its derivative by `ln t`, by the trapezoid rule, which is exact to
/// rounding for so smooth a bell.
fn log_mixture(df: f64, sd: f64, ln_t: f64) -> (f64, f64) {
    let step = (sd / 4.0).min(0.07);
    let reach = 10.0 * sd + 2.0;
    let count = (2.0 * reach / step) as i32;
    let exponent =
        |l: f64| LOOSE as f64 * df * l - 0.5 * (2.0 * l + ln_t).exp() - 0.5 * (l / sd) * (l / sd);
    let nodes = || (0..=count).map(|i| -reach + step * f64::from(i));
    let peak = nodes().map(exponent).fold(f64::NEG_INFINITY, f64::max);
    let (sum, moment) = nodes().fold((0.0, 0.0), |(sum, moment), l| {
        let below = exponent(l) - peak;
        if below < -40.0 {
            return (sum, moment);
        }
        let weight = below.exp();
        (sum + weight, moment + weight * (2.0 * l + ln_t).exp())
    });
    let ln_norm = (step / sd).ln() - 0.5 * (2.0 * std::f64::consts::PI).ln();
    (peak + sum.ln() + ln_norm, -0.5 * moment / sum)
}

/// Readings with the same design, summed: in practice all sheets read in the same way.
struct Group {
    key: Mat8,
    count: f64,
    /// `G` in scaled terms, `G E` with scaled rows, and `Eᵀ G E`.
    g: Mat8,
    u: Mat83,
    loose: Matrix3<f64>,
    /// Sums over the readings of `h` (scaled), `f = Eᵀh` and `f fᵀ`.
    h: Vec8,
    f: Vector3<f64>,
    ff: Matrix3<f64>,
}

/// The likelihood of `Σ`, the steady error and the sheets' own errors integrated out.
pub(crate) struct Likelihood {
    groups: Vec<Group>,
    readings: f64,
    /// The unit in which each term's prior is standard normal, or 1 where it is flat.
    unit: Vec8,
    /// 1 where the prior is proper, 0 where it is flat.
    precision: Vec8,
}

impl Likelihood {
    pub(crate) fn new(readings: &[Reduced], prior: &Prior) -> Self {
        let flat = |sd: f64| sd.is_infinite();
        let unit = Vec8::from(prior.steady_sd).map(|sd| if flat(sd) { 1.0 } else { sd });
        let precision = Vec8::from(prior.steady_sd).map(|sd| if flat(sd) { 0.0 } else { 1.0 });
        let mut groups: Vec<Group> = Vec::new();
        for reading in readings {
            let h = reading.h.component_mul(&unit);
            let f = Vector3::from(reading.h.fixed_rows::<LOOSE>(0));
            if let Some(group) = groups.iter_mut().find(|group| group.key == reading.g) {
                group.count += 1.0;
                group.h += h;
                group.f += f;
                group.ff += f * f.transpose();
                continue;
            }
            let scaled = Mat8::from_diagonal(&unit);
            groups.push(Group {
                key: reading.g,
                count: 1.0,
                g: scaled * reading.g * scaled,
                u: scaled * reading.g.fixed_columns::<LOOSE>(0),
                loose: reading.g.fixed_view::<LOOSE, LOOSE>(0, 0).into(),
                h,
                f,
                ff: f * f.transpose(),
            });
        }
        Self {
            groups,
            readings: readings.len() as f64,
            unit,
            precision,
        }
    }

    /// The steady error given the inverse of `Σ`, and the likelihood of `Σ`. None where a flat
    /// prior leaves something undetermined.
    fn given(&self, inverse: &Matrix3<f64>) -> Option<Given> {
        let mut precision = Mat8::from_diagonal(&self.precision);
        let mut pull = Vec8::zeros();
        let mut ln = 0.0;
        for group in &self.groups {
            let own = (inverse + group.loose).cholesky()?;
            let m = own.inverse();
            let um: Mat83 = group.u * m;
            precision += (group.g - um * group.u.transpose()) * group.count;
            pull += group.h - um * group.f;
            // |I + Σ G| = |Σ| |Σ⁻¹ + G|, and |Σ| is left to the caller's ln_det through `inverse`.
            ln -= group.count * ln_det3(&own.l());
            ln += 0.5 * m.component_mul(&group.ff).sum();
        }
        ln += 0.5 * self.readings * inverse.determinant().ln();
        let root = root_of(&precision);
        // A pivot that is rounding only: a flat prior and no data.
        if (0..TERMS).any(|i| root[(i, i)] == 0.0) {
            return None;
        }
        let half = solve_lower(&root, &pull);
        ln += 0.5 * half.norm_squared() - root.diagonal().map(f64::ln).sum();
        Some(Given { root, half, ln })
    }

    /// The steady error's mean and covariance in the terms' own units.
    fn steady(&self, given: &Given) -> (Vec8, Mat8) {
        let mut inverse = Mat8::zeros();
        for k in 0..TERMS {
            let mut unit = Vec8::zeros();
            unit[k] = 1.0;
            inverse.set_column(k, &solve_lower(&given.root, &unit));
        }
        let mean = inverse.tr_mul(&given.half).component_mul(&self.unit);
        let scaled = inverse * Mat8::from_diagonal(&self.unit);
        (mean, scaled.tr_mul(&scaled))
    }

    /// The expected sum of squares of the sheets' own errors given `Σ`.
    fn own_squares(&self, sigma: &Matrix3<f64>) -> Option<Matrix3<f64>> {
        let inverse = sigma.cholesky()?.inverse();
        let (mean, covariance) = self.steady(&self.given(&inverse)?);
        let scaled_mean = self.scaled(&mean);
        let back = Mat8::from_diagonal(&self.unit.map(|u| if u > 0.0 { 1.0 / u } else { 0.0 }));
        let scaled_covariance = back * covariance * back;
        let mut sum = Matrix3::zeros();
        for group in &self.groups {
            let m = (inverse + group.loose).cholesky()?.inverse();
            let v = group.u.transpose() * scaled_mean;
            let spread = group.u.transpose() * scaled_covariance * group.u;
            let squares = group.ff - group.f * v.transpose() - v * group.f.transpose()
                + (v * v.transpose() + spread) * group.count;
            sum += m * squares * m + m * group.count;
        }
        Some((sum + sum.transpose()) / 2.0)
    }

    fn scaled(&self, mean: &Vec8) -> Vec8 {
        mean.zip_map(&self.unit, |x, u| if u > 0.0 { x / u } else { 0.0 })
    }
}

/// The steady error given `Σ`, in units of its prior: the Cholesky factor `L` of its precision,
/// `L⁻¹` times the pull of the data, and the logarithm of the likelihood of `Σ` up to a constant.
struct Given {
    root: Mat8,
    half: Vec8,
    ln: f64,
}

fn solve_lower(l: &Mat8, b: &Vec8) -> Vec8 {
    let mut x = *b;
    for i in 0..TERMS {
        for k in 0..i {
            x[i] -= l[(i, k)] * x[k];
        }
        x[i] /= l[(i, i)];
    }
    x
}

fn ln_det3(l: &Matrix3<f64>) -> f64 {
    l[(0, 0)].ln() + l[(1, 1)].ln() + l[(2, 2)].ln()
}

/// A mixture to propose points from: shares (summing to one) and distributions.
struct Proposals<'a> {
    parts: Vec<(f64, &'a ScaledWishart)>,
}

impl Proposals<'_> {
    /// The point of the mixture for one point of the unit cube.
    fn draw(&self, index: u32, seed: u32) -> Option<Matrix3<f64>> {
        let mut pick = sobol(index, 0, seed);
        let mut chosen = self.parts.last()?.1;
        for &(share, part) in &self.parts {
            if pick < share {
                chosen = part;
                break;
            }
            pick -= share;
        }
        chosen.at(std::array::from_fn(|d| {
            normal_quantile(sobol(index, 1 + d as u32, seed))
        }))
    }

    fn ln_density(&self, ln_det: f64, inverse: &Matrix3<f64>) -> f64 {
        let logs = self
            .parts
            .iter()
            .map(|(share, p)| share.ln() + p.ln_density(ln_det, inverse));
        // Stable for any order: the sum is carried as its logarithm.
        logs.fold(f64::NEG_INFINITY, |sum, log| {
            let (small, large) = if sum < log { (sum, log) } else { (log, sum) };
            large + (small - large).exp().ln_1p()
        })
    }
}

/// The posterior as weighted points, weights summing to one, ordered by the size of the scatter;
/// and how many equally weighted points they are worth.
pub(crate) fn sample(
    readings: &[Reduced],
    prior: &Prior,
    feed: FeedAxis,
    points: u32,
) -> Result<(Vec<Draw>, f64), FitError> {
    sample_checked(readings, prior, feed, points).ok_or(FitError::Undetermined)
}

fn sample_checked(
    readings: &[Reduced],
    prior: &Prior,
    feed: FeedAxis,
    points: u32,
) -> Option<(Vec<Draw>, f64)> {
    let likelihood = Likelihood::new(readings, prior);
    let scale = Matrix3::from_diagonal(&Vector3::from(prior.scatter_scale(feed)));
    let prior = ScaledWishart::new(prior.scatter_df, scale, prior.log_scale_sd)?;
    let (df, psi) = first_guess(&likelihood, &prior)?;
    let mut near = ScaledWishart::new(df, psi, 0.7 * prior.log_scale_sd)?;
    let mut wide = ScaledWishart::new((0.6 * df).max(3.0), psi * 0.7, prior.log_scale_sd)?;
    for pass in 0..2 {
        // The prior itself among the proposals keeps every weight bounded.
        let parts = vec![(0.5, &near), (0.2, &wide), (0.3, &prior)];
        let pilot = weigh(
            &likelihood,
            &prior,
            &Proposals { parts },
            PILOT,
            PILOT_SEED + pass,
        );
        let (df, mean_inverse, log_scale_sd) = match_moments(&pilot)?;
        let mean = mean_inverse.try_inverse()? * (2.0 * log_scale_sd * log_scale_sd).exp();
        let broad = (0.6 * df).max(3.0);
        let enough = effective(&pilot) > 0.1 * f64::from(PILOT);
        near = ScaledWishart::new(df, mean * df, log_scale_sd)?;
        wide = ScaledWishart::new(broad, mean * broad, log_scale_sd)?;
        if enough {
            break;
        }
    }
    let parts = vec![(0.6, &near), (0.2, &wide), (0.2, &prior)];
    let points = weigh(&likelihood, &prior, &Proposals { parts }, points, MAIN_SEED);
    if points.is_empty() {
        return None;
    }
    let mut order: Vec<(f64, &Weighed)> = points.iter().map(|p| (p.sigma.trace(), p)).collect();
    order.sort_by(|a, b| a.0.total_cmp(&b.0));
    let draw = |(_, point): &(f64, &Weighed)| {
        let (mean, covariance) = likelihood.steady(&point.given);
        Draw {
            weight: point.weight,
            sigma: point.sigma,
            mean,
            covariance,
        }
    };
    Some((order.iter().map(draw).collect(), effective(&points)))
}

/// An inverse Wishart distribution about the most likely scatter, found by a few steps of
/// expectation-maximisation.
fn first_guess(likelihood: &Likelihood, prior: &ScaledWishart) -> Option<(f64, Matrix3<f64>)> {
    let df = prior.df + likelihood.readings;
    let mut sigma = prior.psi / (prior.df - 2.0).max(1.0);
    let mut psi = prior.psi;
    for _ in 0..8 {
        let l = prior.best_log_scale(prior.psi.component_mul(&sigma.try_inverse()?).sum());
        psi = prior.psi * (2.0 * l).exp() + likelihood.own_squares(&sigma)?;
        sigma = psi / df;
    }
    Some(((df - 1.0).max(3.0), psi))
}

/// A point with the logarithm of its weight, and then its weight; all weights sum to one.
struct Weighed {
    weight: f64,
    sigma: Matrix3<f64>,
    inverse: Matrix3<f64>,
    given: Given,
}

/// Draws points and weighs them.
fn weigh(
    likelihood: &Likelihood,
    prior: &ScaledWishart,
    proposals: &Proposals<'_>,
    points: u32,
    seed: u32,
) -> Vec<Weighed> {
    let mut drawn: Vec<Weighed> = Vec::with_capacity(points as usize);
    let mut peak = f64::NEG_INFINITY;
    for index in 0..points {
        let Some(sigma) = proposals.draw(index, seed) else {
            continue;
        };
        let Some(factor) = sigma.cholesky() else {
            continue;
        };
        let inverse = factor.inverse();
        let ln_det = 2.0 * ln_det3(&factor.l());
        let Some(given) = likelihood.given(&inverse) else {
            continue;
        };
        let weight =
            prior.ln_density(ln_det, &inverse) + given.ln - proposals.ln_density(ln_det, &inverse);
        if weight.is_finite() {
            peak = peak.max(weight);
            drawn.push(Weighed {
                weight,
                sigma,
                inverse,
                given,
            });
        }
    }
    for point in &mut drawn {
        point.weight = (point.weight - peak).exp();
    }
    drawn.retain(|point| point.weight > NEGLIGIBLE);
    let total: f64 = drawn.iter().map(|point| point.weight).sum();
    for point in &mut drawn {
        point.weight /= total;
    }
    drawn
}

fn effective(draws: &[Weighed]) -> f64 {
    1.0 / draws
        .iter()
        .map(|draw| draw.weight * draw.weight)
        .sum::<f64>()
}

/// The scaled inverse Wishart distribution with the same `E Σ⁻¹` and the same mean and variance
/// of `ln|Σ|`: its degrees of freedom, `E Σ⁻¹`, and the standard deviation of its log scale.
///
/// `E ln|Σ| + ln|E Σ⁻¹| = Σ (ln(ν/2) − ψ((ν−i)/2)) + 6 sd²`, `Var ln|Σ| = Σ ψ′((ν−i)/2) + 36 sd²`.
fn match_moments(draws: &[Weighed]) -> Option<(f64, Matrix3<f64>, f64)> {
    let mut mean_inverse: Matrix3<f64> = Matrix3::zeros();
    let (mut mean, mut square) = (0.0, 0.0);
    for draw in draws {
        mean_inverse += draw.inverse * draw.weight;
        let ln = draw.sigma.determinant().ln();
        mean += draw.weight * ln;
        square += draw.weight * ln * ln;
    }
    let variance = square - mean * mean;
    let gap = mean + mean_inverse.determinant().ln();
    let gap_at = |df: f64| {
        (0..LOOSE)
            .map(|i| (df / 2.0).ln() - digamma((df - i as f64) / 2.0))
            .sum::<f64>()
    };
    let variance_at = |df: f64| {
        (0..LOOSE)
            .map(|i| trigamma((df - i as f64) / 2.0))
            .sum::<f64>()
    };
    let bisect = |too_low: &dyn Fn(f64) -> bool, mut low: f64| {
        let mut high = 1000.0_f64;
        for _ in 0..60 {
            let middle = (low * high).sqrt();
            if too_low(middle) {
                low = middle;
            } else {
                high = middle;
            }
        }
        low
    };
    // No scale at all needs the fewest degrees of freedom; more of them leave room for it.
    let least = bisect(&|df| gap_at(df) > gap, 3.0);
    let room = |df: f64| ((gap - gap_at(df)) / 6.0).max(0.0);
    let df = bisect(&|df| variance_at(df) + 36.0 * room(df) < variance, least);
    (gap.is_finite()).then_some((df, mean_inverse, room(df).sqrt()))
}

/// The derivative of the digamma function, by recurrence and its asymptotic series
/// (Abramowitz & Stegun 6.4.6 and 6.4.12).
pub(crate) fn trigamma(mut x: f64) -> f64 {
    let mut sum = 0.0;
    while x < 10.0 {
        sum += 1.0 / (x * x);
        x += 1.0;
    }
    let y = 1.0 / (x * x);
    sum + 1.0 / x + y / 2.0 + y / x * (1.0 / 6.0 - y * (1.0 / 30.0 - y * (1.0 / 42.0 - y / 30.0)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn trigamma_has_its_known_values() {
        let pi = std::f64::consts::PI;
        assert!((trigamma(1.0) - pi * pi / 6.0).abs() < 1e-12);
        assert!((trigamma(0.5) - pi * pi / 2.0).abs() < 1e-12);
    }

    /// Weights of one distribution's points under itself and under another must average to one.
    #[test]
    fn densities_are_normalised() {
        let psi = Matrix3::new(0.3, 0.05, 0.0, 0.05, 0.5, 0.02, 0.0, 0.02, 0.1);
        let one = ScaledWishart::new(9.0, psi, 0.3).expect("positive");
        let other = ScaledWishart::new(7.0, psi * 0.8, 0.5).expect("positive");
        let points = 1 << 14;
        let mut mean = 0.0;
        for index in 0..points {
            let z = std::array::from_fn(|d| normal_quantile(sobol(index, d as u32, 5)));
            let sigma = other.at(z).expect("positive");
            let inverse = sigma.try_inverse().expect("positive");
            let ln_det = sigma.determinant().ln();
            let ratio = one.ln_density(ln_det, &inverse) - other.ln_density(ln_det, &inverse);
            mean += ratio.exp() / f64::from(points);
        }
        assert!((mean - 1.0).abs() < 0.01, "{mean}");
    }
}
