//! The scatter of sheets: its prior with unknown scale, its likelihood with everything else
//! integrated out, and quasi-Monte Carlo importance sampling of its posterior.
//!
//! Given the covariance `Σ` of the sheets' own shift and tilt all else is Gaussian, so only `Σ`
//! (six numbers) is sampled. Its scale `s` is integrated out beforehand, exactly to rounding, and
//! the points come from an Owen-scrambled Sobol sequence with a fixed seed: the same readings
//! give the same bits.

use nalgebra::{Matrix3, SMatrix, Vector3};
use statrs::function::gamma::{digamma, ln_gamma};

use crate::error::FitError;
use crate::numeric::{ChiTable, hermite, normal_quantile, sobol};
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

/// The marginal prior of `Σ`: inverse Wishart given the scale, the scale integrated out.
///
/// `p(Σ) ∝ |Σ|^−(ν+4)/2 · F(tr S₀Σ⁻¹)`, `F(t) = ∫ s^3ν e^(−s²t/2) p(ln s) d ln s`.
struct ScatterPrior {
    df: f64,
    scale: Matrix3<f64>,
    log_scale_sd: f64,
    /// `ln F` and its slope over a regular grid of `ln t`.
    table: Vec<(f64, f64)>,
    from: f64,
}

impl ScatterPrior {
    const STEP: f64 = 0.05;

    fn new(prior: &Prior, feed: FeedAxis) -> Self {
        let scale = Matrix3::from_diagonal(&Vector3::from(prior.scatter_scale(feed)));
        let (df, sd) = (prior.scatter_df, prior.log_scale_sd);
        let reach = 5.0 + 8.0 * sd;
        let from = (LOOSE as f64 * df).ln() - reach;
        let count = if sd > 0.0 { (2.0 * reach / Self::STEP).ceil() as usize + 1 } else { 0 };
        let table = (0..count).map(|i| log_mixture(df, sd, from + Self::STEP * i as f64)).collect();
        Self { df, scale, log_scale_sd: sd, table, from }
    }

    fn ln_density(&self, ln_det: f64, trace: f64) -> f64 {
        -0.5 * (self.df + 4.0) * ln_det + self.ln_mixture(trace)
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
        hermite(position - i as f64, Self::STEP, self.table[i], self.table[i + 1])
    }

    /// The most likely `ln s` given `tr S₀Σ⁻¹`.
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
    let step = (sd / 8.0).min(0.05);
    let reach = 10.0 * sd + 2.0;
    let count = (2.0 * reach / step) as i32;
    let exponent = |l: f64| {
        LOOSE as f64 * df * l - 0.5 * (2.0 * l + ln_t).exp() - 0.5 * (l / sd) * (l / sd)
    };
    let nodes = || (0..=count).map(|i| -reach + step * f64::from(i));
    let peak = nodes().map(exponent).fold(f64::NEG_INFINITY, f64::max);
    let (sum, moment) = nodes().fold((0.0, 0.0), |(sum, moment), l| {
        let weight = (exponent(l) - peak).exp();
        (sum + weight, moment + weight * (2.0 * l + ln_t).exp())
    });
    (peak + (sum * step).ln(), -0.5 * moment / sum)
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
        Self { groups, readings: readings.len() as f64, unit, precision }
    }

    /// The steady error given `Σ` (in the terms' own units) and the logarithm of the likelihood
    /// of `Σ` up to a constant. None where a flat prior leaves something undetermined.
    pub(crate) fn given(&self, sigma: &Matrix3<f64>) -> Option<(Vec8, Mat8, f64)> {
        let inverse = sigma.cholesky()?.inverse();
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
        let factor = precision.cholesky()?;
        let diagonal = factor.l_dirty().diagonal();
        // A pivot that is rounding only: a flat prior and no data.
        if (0..TERMS).any(|i| diagonal[i] * diagonal[i] <= 1e-13 * precision[(i, i)]) {
            return None;
        }
        let mean = factor.solve(&pull);
        ln += 0.5 * pull.dot(&mean) - diagonal.iter().map(|d| d.ln()).sum::<f64>();
        let unit = Mat8::from_diagonal(&self.unit);
        Some((mean.component_mul(&self.unit), unit * factor.inverse() * unit, ln))
    }

    /// The expected sum of squares of the sheets' own errors given `Σ`.
    fn own_squares(&self, sigma: &Matrix3<f64>) -> Option<Matrix3<f64>> {
        let (mean, covariance, _) = self.given(sigma)?;
        let inverse = sigma.cholesky()?.inverse();
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

fn ln_det3(l: &Matrix3<f64>) -> f64 {
    l[(0, 0)].ln() + l[(1, 1)].ln() + l[(2, 2)].ln()
}

/// An inverse Wishart distribution to propose `Σ` from.
struct Proposal {
    share: f64,
    df: f64,
    psi: Matrix3<f64>,
    root: Matrix3<f64>,
    /// Logarithm of the share times the normalising constant.
    ln_norm: f64,
    tables: [usize; LOOSE],
}

/// A mixture of proposals.
struct Proposals {
    parts: Vec<Proposal>,
    tables: Vec<(f64, ChiTable)>,
}

impl Proposals {
    fn new(parts: &[(f64, f64, Matrix3<f64>)]) -> Option<Self> {
        let mut made = Self { parts: Vec::new(), tables: Vec::new() };
        let total: f64 = parts.iter().map(|part| part.0).sum();
        for &(share, df, psi) in parts {
            let root = psi.cholesky()?.l();
            let ln_gamma3: f64 = (0..LOOSE).map(|i| ln_gamma((df - i as f64) / 2.0)).sum();
            let share = share / total;
            let ln_norm = share.ln() + df * ln_det3(&root)
                - 1.5 * df * std::f64::consts::LN_2
                - ln_gamma3;
            let tables = std::array::from_fn(|i| made.table(df - i as f64));
            made.parts.push(Proposal { share, df, psi, root, ln_norm, tables });
        }
        Some(made)
    }

    fn table(&mut self, df: f64) -> usize {
        if let Some(found) = self.tables.iter().position(|(of, _)| *of == df) {
            return found;
        }
        self.tables.push((df, ChiTable::new(df)));
        self.tables.len() - 1
    }

    /// The point of the mixture for one point of the unit cube (Bartlett's decomposition).
    fn draw(&self, index: u32, seed: u32) -> Option<Matrix3<f64>> {
        let mut pick = sobol(index, 0, seed);
        let mut part = &self.parts[self.parts.len() - 1];
        for candidate in &self.parts {
            if pick < candidate.share {
                part = candidate;
                break;
            }
            pick -= candidate.share;
        }
        let z = |dimension: u32| normal_quantile(sobol(index, dimension, seed));
        let chi = |i: usize| self.tables[part.tables[i]].1.chi(z(1 + i as u32));
        let a = Matrix3::new(chi(0), 0.0, 0.0, z(4), chi(1), 0.0, z(5), z(6), chi(2));
        // Σ = L W⁻¹ Lᵀ with W = A Aᵀ.
        let b = part.root * a.transpose().try_inverse()?;
        Some(b * b.transpose())
    }

    fn ln_density(&self, ln_det: f64, inverse: &Matrix3<f64>) -> f64 {
        let mut logs = [f64::NEG_INFINITY; 12];
        for (log, part) in logs.iter_mut().zip(&self.parts) {
            let trace = part.psi.component_mul(inverse).sum();
            *log = part.ln_norm - 0.5 * (part.df + 4.0) * ln_det - 0.5 * trace;
        }
        let peak = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        peak + logs.iter().map(|log| (log - peak).exp()).sum::<f64>().ln()
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
    let likelihood = Likelihood::new(readings, prior);
    let scatter = ScatterPrior::new(prior, feed);
    let mut proposals = first_guess(&likelihood, &scatter).ok_or(FitError::Undetermined)?;
    let mut defence = None;
    for pass in 0..2 {
        let pilot = weigh(&likelihood, &scatter, &proposals, PILOT, PILOT_SEED + pass);
        let (df, mean_inverse) = match_moments(&pilot).ok_or(FitError::Undetermined)?;
        let psi = |df: f64| Some(mean_inverse.try_inverse()? * df);
        let wide = (0.6 * df).max(3.0);
        let guard = defence.get_or_insert_with(|| scatter.guards());
        let mut parts = vec![
            (0.55, df, psi(df).ok_or(FitError::Undetermined)?),
            (0.25, wide, psi(wide).ok_or(FitError::Undetermined)?),
        ];
        parts.extend(guard.iter().map(|&(share, df, psi)| (0.2 * share, df, psi)));
        proposals = Proposals::new(&parts).ok_or(FitError::Undetermined)?;
        if effective(&pilot) > 0.1 * f64::from(PILOT) {
            break;
        }
    }
    let mut draws = weigh(&likelihood, &scatter, &proposals, points, MAIN_SEED);
    if draws.is_empty() {
        return Err(FitError::Undetermined);
    }
    let worth = effective(&draws);
    draws.sort_by(|a, b| a.sigma.trace().total_cmp(&b.sigma.trace()));
    Ok((draws, worth))
}

impl ScatterPrior {
    /// Proposals from the prior itself, so that no weight can grow without bound.
    fn guards(&self) -> Vec<(f64, f64, Matrix3<f64>)> {
        if self.log_scale_sd == 0.0 {
            return vec![(1.0, self.df, self.scale)];
        }
        [(0.25, -1.2), (0.5, 0.0), (0.25, 1.2)]
            .map(|(share, l)| {
                let factor = (2.0 * l * self.log_scale_sd).exp();
                (share, self.df, self.scale * factor)
            })
            .to_vec()
    }
}

/// Proposals about the most likely scatter, found by a few steps of expectation-maximisation.
fn first_guess(likelihood: &Likelihood, scatter: &ScatterPrior) -> Option<Proposals> {
    let df = scatter.df + likelihood.readings;
    let mut sigma = scatter.scale / (scatter.df - 2.0).max(1.0);
    let mut psi = scatter.scale;
    for _ in 0..8 {
        let l = scatter.best_log_scale(scatter.scale.component_mul(&sigma.try_inverse()?).sum());
        psi = scatter.scale * (2.0 * l).exp() + likelihood.own_squares(&sigma)?;
        sigma = psi / df;
    }
    let df = (df - 1.0).max(3.0);
    let mut parts =
        vec![(0.2, df, psi * 0.5), (0.4, df, psi), (0.2, (0.6 * df).max(3.0), psi * 0.8)];
    parts.extend(scatter.guards().into_iter().map(|(share, df, psi)| (0.2 * share, df, psi)));
    Proposals::new(&parts)
}

/// Draws points and weighs them; weights sum to one.
fn weigh(
    likelihood: &Likelihood,
    scatter: &ScatterPrior,
    proposals: &Proposals,
    points: u32,
    seed: u32,
) -> Vec<Draw> {
    let mut draws: Vec<Draw> = Vec::with_capacity(points as usize);
    let mut peak = f64::NEG_INFINITY;
    for index in 0..points {
        let Some(sigma) = proposals.draw(index, seed) else { continue };
        let Some(factor) = sigma.cholesky() else { continue };
        let inverse = factor.inverse();
        let ln_det = 2.0 * ln_det3(&factor.l());
        let Some((mean, covariance, ln)) = likelihood.given(&sigma) else { continue };
        let trace = scatter.scale.component_mul(&inverse).sum();
        let weight = scatter.ln_density(ln_det, trace) + ln - proposals.ln_density(ln_det, &inverse);
        if weight.is_finite() {
            peak = peak.max(weight);
            draws.push(Draw { weight, sigma, mean, covariance });
        }
    }
    for draw in &mut draws {
        draw.weight = (draw.weight - peak).exp();
    }
    draws.retain(|draw| draw.weight > NEGLIGIBLE);
    let total: f64 = draws.iter().map(|draw| draw.weight).sum();
    for draw in &mut draws {
        draw.weight /= total;
    }
    draws
}

fn effective(draws: &[Draw]) -> f64 {
    1.0 / draws.iter().map(|draw| draw.weight * draw.weight).sum::<f64>()
}

/// The inverse Wishart distribution with the same `E Σ⁻¹` and `E ln|Σ|`: its degrees of freedom
/// and `E Σ⁻¹`.
fn match_moments(draws: &[Draw]) -> Option<(f64, Matrix3<f64>)> {
    let mut mean_inverse: SMatrix<f64, LOOSE, LOOSE> = Matrix3::zeros();
    let mut mean_ln = 0.0;
    for draw in draws {
        mean_inverse += draw.sigma.cholesky()?.inverse() * draw.weight;
        mean_ln += draw.weight * draw.sigma.determinant().ln();
    }
    let gap = mean_ln + mean_inverse.determinant().ln();
    let gap_at = |df: f64| {
        (0..LOOSE).map(|i| (df / 2.0).ln() - digamma((df - i as f64) / 2.0)).sum::<f64>()
    };
    let (mut low, mut high) = (2.6_f64, 1000.0_f64);
    for _ in 0..60 {
        let middle = (low * high).sqrt();
        if gap_at(middle) > gap { low = middle } else { high = middle }
    }
    (gap.is_finite()).then_some((low, mean_inverse))
}
