//! Factors of two-sided tolerance intervals of a normal distribution.

use statrs::function::gamma::gamma_ur;

use super::TextbookError;
use crate::numeric::{normal_cdf, normal_pdf, normal_quantile, rising_root};

fn check(n: usize, content: f64, confidence: f64) -> Result<(), TextbookError> {
    let share = |x: f64| x > 0.0 && x < 1.0;
    if n < 2 {
        return Err(TextbookError::TooFew);
    }
    if !share(content) || !share(confidence) {
        return Err(TextbookError::OutOfRange);
    }
    Ok(())
}

/// The factor `k` with which `mean ± k·s` of `n` values holds the share `content` of a normal
/// distribution with this confidence. Exact:
/// `P(χ²_{n−1} ≥ (n−1) r²(z)/k²)` averaged over the mean's error `z/√n`, where `r` is the half
/// width about that mean that holds the content.
///
/// # Errors
/// [`TextbookError`] for fewer than two values or shares outside 0 to 1.
pub fn tolerance_factor(n: usize, content: f64, confidence: f64) -> Result<f64, TextbookError> {
    check(n, content, confidence)?;
    let df = (n - 1) as f64;
    // Simpson's rule over the mean's error; the integrand is smooth and even.
    let steps = 240;
    let reach = 8.0;
    let nodes: Vec<(f64, f64)> = (0..=steps)
        .map(|i| {
            let z = reach * f64::from(i) / f64::from(steps);
            let simpson = if i == 0 || i == steps {
                1.0
            } else if i % 2 == 1 {
                4.0
            } else {
                2.0
            };
            let weight = 2.0 * normal_pdf(z) * simpson * reach / f64::from(steps) / 3.0;
            (weight, half_width(z / (n as f64).sqrt(), content))
        })
        .collect();
    let reached = |k: f64| {
        let held =
            |&(weight, r): &(f64, f64)| weight * gamma_ur(df / 2.0, df * r * r / (2.0 * k * k));
        nodes.iter().map(held).sum::<f64>()
    };
    Ok(rising_root(1e-3, 1e5, 1e-13, |k| reached(k) - confidence))
}

/// The `r` with `Φ(m + r) − Φ(m − r) = content`.
fn half_width(m: f64, content: f64) -> f64 {
    rising_root(0.0, m + 12.0, 1e-13, |r| {
        normal_cdf(m + r) - normal_cdf(m - r) - content
    })
}

/// Howe's approximation `z √((n−1)(1 + 1/n) / χ²_{1−confidence, n−1})`.
///
/// # Errors
/// [`TextbookError`] for fewer than two values or shares outside 0 to 1.
pub fn tolerance_factor_howe(
    n: usize,
    content: f64,
    confidence: f64,
) -> Result<f64, TextbookError> {
    use statrs::distribution::{ChiSquared, ContinuousCDF};
    check(n, content, confidence)?;
    let df = (n - 1) as f64;
    let chi = ChiSquared::new(df).map_err(|_| TextbookError::OutOfRange)?;
    let z = normal_quantile((1.0 + content) / 2.0);
    Ok(z * (df * (1.0 + 1.0 / n as f64) / chi.inverse_cdf(1.0 - confidence)).sqrt())
}
