//! Small numerical tools: quasi-random points, normal and chi distributions, mixtures, roots.

use nalgebra::{SMatrix, SVector};
use statrs::function::erf::{erfc, erfc_inv};
use statrs::function::gamma::{gamma_lr, gamma_ur, ln_gamma};

/// One coordinate of an Owen-scrambled Sobol point, strictly between 0 and 1.
pub(crate) fn sobol(index: u32, dimension: u32, seed: u32) -> f64 {
    f64::from(sobol_burley::sample(index, dimension, seed)) + 0.5 / f64::from(1_u32 << 24)
}

/// The standard normal distribution function.
pub(crate) fn normal_cdf(z: f64) -> f64 {
    0.5 * erfc(-z / std::f64::consts::SQRT_2)
}

/// The standard normal density.
pub(crate) fn normal_pdf(z: f64) -> f64 {
    (-0.5 * z * z).exp() / (2.0 * std::f64::consts::PI).sqrt()
}

/// The standard normal quantile.
pub(crate) fn normal_quantile(p: f64) -> f64 {
    -std::f64::consts::SQRT_2 * erfc_inv(2.0 * p)
}

/// The probability that a chi variable with an even number of degrees of freedom is at most `r`.
/// Closed form: `1 − e^−x Σ x^j/j!` over `j < df/2`, with `x = r²/2`.
pub(crate) fn chi_cdf_even(df: usize, r: f64) -> f64 {
    let x = 0.5 * r * r;
    if x > 700.0 {
        return 1.0;
    }
    let mut term = (-x).exp();
    let mut sum = 0.0;
    for j in 0..df / 2 {
        sum += term;
        term *= x / (j + 1) as f64;
    }
    1.0 - sum
}

/// The lower triangle `L` with `L Lᵀ = m`; directions without variance are left empty.
pub(crate) fn root_of<const N: usize>(m: &SMatrix<f64, N, N>) -> SMatrix<f64, N, N> {
    let mut l = SMatrix::<f64, N, N>::zeros();
    for j in 0..N {
        let mut pivot = m[(j, j)];
        for k in 0..j {
            pivot -= l[(j, k)] * l[(j, k)];
        }
        if pivot <= 1e-13 * m[(j, j)] {
            continue;
        }
        let root = pivot.sqrt();
        l[(j, j)] = root;
        for i in j + 1..N {
            let mut sum = m[(i, j)];
            for k in 0..j {
                sum -= l[(i, k)] * l[(j, k)];
            }
            l[(i, j)] = sum / root;
        }
    }
    l
}

/// The root of a function that rises from below zero to above it, by the Illinois rule, until
/// the function is within `slack` of zero.
pub(crate) fn rising_root(mut low: f64, mut high: f64, slack: f64, f: impl Fn(f64) -> f64) -> f64 {
    let (mut at_low, mut at_high) = (f(low), f(high));
    if at_low >= 0.0 {
        return low;
    }
    if at_high <= 0.0 {
        return high;
    }
    let mut side = 0;
    for _ in 0..100 {
        let x = (low * at_high - high * at_low) / (at_high - at_low);
        let value = f(x);
        if value.abs() <= slack || (high - low) <= 1e-12 * (high.abs() + low.abs()) {
            return x;
        }
        if value < 0.0 {
            (low, at_low) = (x, value);
            if side == -1 {
                at_high /= 2.0;
            }
            side = -1;
        } else {
            (high, at_high) = (x, value);
            if side == 1 {
                at_low /= 2.0;
            }
            side = 1;
        }
    }
    0.5 * (low + high)
}

/// A mixture of normal distributions in one dimension: weight (summing to one), mean, sd.
pub(crate) struct NormalMixture {
    parts: Vec<(f64, f64, f64)>,
}

impl NormalMixture {
    pub(crate) fn new(parts: Vec<(f64, f64, f64)>) -> Self {
        Self { parts }
    }

    pub(crate) fn mean(&self) -> f64 {
        self.parts.iter().map(|(w, m, _)| w * m).sum()
    }

    pub(crate) fn sd(&self) -> f64 {
        let mean = self.mean();
        let variance: f64 = self
            .parts
            .iter()
            .map(|(w, m, s)| w * (s * s + (m - mean) * (m - mean)))
            .sum();
        variance.sqrt()
    }

    fn cdf_and_density(&self, x: f64) -> (f64, f64) {
        self.parts
            .iter()
            .fold((0.0, 0.0), |(cdf, pdf), &(w, m, s)| {
                if s > 0.0 {
                    let z = (x - m) / s;
                    (cdf + w * normal_cdf(z), pdf + w * normal_pdf(z) / s)
                } else {
                    (cdf + if x >= m { w } else { 0.0 }, pdf)
                }
            })
    }

    /// The quantile by Newton's method inside a bracket.
    pub(crate) fn quantile(&self, p: f64) -> f64 {
        let (mean, sd) = (self.mean(), self.sd());
        if sd <= 0.0 {
            return mean;
        }
        let (mut low, mut high) = (mean - 60.0 * sd, mean + 60.0 * sd);
        let mut x = mean + normal_quantile(p) * sd;
        for _ in 0..60 {
            let (cdf, density) = self.cdf_and_density(x);
            if cdf < p {
                low = x;
            } else {
                high = x;
            }
            let step = (cdf - p) / density;
            let next = x - step;
            if step.abs() <= 1e-9 * sd {
                return next;
            }
            x = if next > low && next < high {
                next
            } else {
                0.5 * (low + high)
            };
        }
        x
    }
}

/// The quantile of weighted values (weights summing to one), between neighbours.
pub(crate) fn weighted_quantile(values: &mut [(f64, f64)], p: f64) -> f64 {
    values.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut before = 0.0;
    let mut last: Option<(f64, f64)> = None;
    for &(value, weight) in values.iter() {
        let middle = before + 0.5 * weight;
        if middle >= p {
            return match last {
                Some((x, at)) if middle > at => x + (value - x) * (p - at) / (middle - at),
                _ => value,
            };
        }
        before += weight;
        last = Some((value, middle));
    }
    last.map_or(f64::NAN, |(value, _)| value)
}

/// The square root of a chi-squared variable as a function of a normal score, from a table of its
/// logarithm with exact slopes: sampling by inversion costs one look-up.
pub(crate) struct ChiTable {
    nodes: Vec<(f64, f64)>,
}

impl ChiTable {
    const REACH: f64 = 6.0;
    const STEP: f64 = 0.2;

    pub(crate) fn new(df: f64) -> Self {
        let shape = df / 2.0;
        let count = (2.0 * Self::REACH / Self::STEP).round() as usize + 1;
        let mut nodes: Vec<(f64, f64)> = Vec::with_capacity(count);
        let norm = shape * std::f64::consts::LN_2 + ln_gamma(shape);
        // d ln χ² / dz = φ(z) / (f(x) x), where f is the density of χ².
        let slope = |z: f64, ln_x: f64| {
            let ln_fx = shape * ln_x - 0.5 * ln_x.exp() - norm;
            (-0.5 * z * z - 0.5 * (2.0 * std::f64::consts::PI).ln() - ln_fx).exp()
        };
        for i in 0..count {
            let z = -Self::REACH + Self::STEP * i as f64;
            // Left of the mode of the distribution the lower tail is `x^(df/2)` to leading order.
            let guess = match nodes.last() {
                Some(&(ln_x, s)) => ln_x + s * Self::STEP,
                None => (normal_cdf(z).ln() + norm + shape.ln()) / shape,
            };
            let ln_x = Self::solve(shape, z, guess);
            nodes.push((ln_x, slope(z, ln_x)));
        }
        Self { nodes }
    }

    fn solve(shape: f64, z: f64, guess: f64) -> f64 {
        let (mut low, mut high) = (guess - 4.0, guess + 4.0);
        let mut ln_x = guess;
        // Far down the lower tail it is `x^shape / (2^shape Γ(shape + 1))` to rounding.
        if z < 0.0 {
            let norm = shape * std::f64::consts::LN_2 + ln_gamma(shape) + shape.ln();
            let leading = (normal_cdf(z).ln() + norm) / shape;
            if leading < -18.0 {
                return leading;
            }
        }
        for _ in 0..100 {
            let half = 0.5 * ln_x.exp();
            // The smaller tail, for full precision; its logarithm is close to linear in `ln x`.
            let (value, target) = if z < 0.0 {
                (gamma_lr(shape, half), normal_cdf(z))
            } else {
                (gamma_ur(shape, half), normal_cdf(-z))
            };
            let too_low = (value < target) == (z < 0.0);
            if too_low {
                low = ln_x;
            } else {
                high = ln_x;
            }
            let density = (shape * half.ln() - half - ln_gamma(shape)).exp();
            let step = (value.ln() - target.ln()) * value / density;
            let next = if z < 0.0 { ln_x - step } else { ln_x + step };
            if (next - ln_x).abs() < 1e-11 {
                return next;
            }
            ln_x = if next > low && next < high {
                next
            } else {
                0.5 * (low + high)
            };
        }
        ln_x
    }

    /// `χ` at the normal score `z`.
    pub(crate) fn chi(&self, z: f64) -> f64 {
        let position = ((z + Self::REACH) / Self::STEP).clamp(0.0, (self.nodes.len() - 1) as f64);
        let i = (position as usize).min(self.nodes.len() - 2);
        let (a, b) = (self.nodes[i], self.nodes[i + 1]);
        (0.5 * hermite(position - i as f64, Self::STEP, a, b)).exp()
    }
}

/// Cubic through two points with given slopes, at the fraction `t` of the step between them.
pub(crate) fn hermite(t: f64, step: f64, a: (f64, f64), b: (f64, f64)) -> f64 {
    let (t2, t3) = (t * t, t * t * t);
    a.0 * (2.0 * t3 - 3.0 * t2 + 1.0)
        + a.1 * step * (t3 - 2.0 * t2 + t)
        + b.0 * (3.0 * t2 - 2.0 * t3)
        + b.1 * step * (t3 - t2)
}

/// The sum of `vᵀ m v`.
pub(crate) fn form<const N: usize>(m: &SMatrix<f64, N, N>, v: &SVector<f64, N>) -> f64 {
    v.dot(&(m * v))
}

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::distribution::{ChiSquared, ContinuousCDF};

    #[test]
    fn chi_table_inverts_the_distribution() {
        for df in [0.8, 2.0, 4.0, 6.0, 9.3, 40.0] {
            let table = ChiTable::new(df);
            let exact = ChiSquared::new(df).expect("positive");
            for z in [-4.1, -2.03, -0.51, 0.0, 0.77, 1.96, 3.33, 5.05] {
                let x = table.chi(z).powi(2);
                if x < 1e-12 {
                    continue;
                }
                let tail = if z < 0.0 { exact.cdf(x) } else { exact.sf(x) };
                let want = normal_cdf(-f64::abs(z));
                assert!(
                    (tail / want - 1.0).abs() < 1e-4,
                    "df {df} z {z}: {tail} {want}"
                );
            }
        }
    }

    #[test]
    fn even_chi_distribution_agrees_with_the_incomplete_gamma_function() {
        for df in [2, 4, 8, 12, 30] {
            for r in [0.1, 1.0, 2.5, 4.0, 9.0] {
                let want = gamma_lr(df as f64 / 2.0, r * r / 2.0);
                assert!((chi_cdf_even(df, r) - want).abs() < 1e-12);
            }
        }
    }

    #[test]
    fn mixture_quantile_inverts_its_distribution() {
        let mixture = NormalMixture::new(vec![(0.3, -1.0, 0.2), (0.5, 0.4, 1.5), (0.2, 2.0, 0.01)]);
        for p in [0.001, 0.025, 0.3, 0.5, 0.9, 0.975] {
            let (cdf, _) = mixture.cdf_and_density(mixture.quantile(p));
            assert!((cdf - p).abs() < 1e-7, "{p}: {cdf}");
        }
    }

    #[test]
    fn root_leaves_directions_without_variance_empty() {
        let mut m = SMatrix::<f64, 3, 3>::zeros();
        m[(0, 0)] = 4.0;
        m[(0, 2)] = 1.0;
        m[(2, 0)] = 1.0;
        m[(2, 2)] = 3.0;
        let l = root_of(&m);
        assert!((l * l.transpose() - m).amax() < 1e-15);
    }
}
