//! Standard uncertainties of the GUM (JCGM 100:2008; clauses from memory).

use super::TextbookError;

/// The standard uncertainty of a reading to the nearest step of this size: `δ/√12` (JCGM 100,
/// F.2.2.1).
pub fn resolution(step: f64) -> f64 {
    step / 12.0_f64.sqrt()
}

/// The standard uncertainty of a value that lies anywhere within `±half_width`: `a/√3`
/// (JCGM 100, 4.3.7).
pub fn rectangular(half_width: f64) -> f64 {
    half_width / 3.0_f64.sqrt()
}

/// The standard uncertainty of a value that lies within `±half_width`, likeliest in the middle:
/// `a/√6` (JCGM 100, 4.3.9).
pub fn triangular(half_width: f64) -> f64 {
    half_width / 6.0_f64.sqrt()
}

/// The effective degrees of freedom of a sum of independent components, each with a standard
/// uncertainty and its degrees of freedom (infinite where it is known): `u⁴ / Σ(uᵢ⁴/νᵢ)`
/// (JCGM 100, G.4).
///
/// # Errors
/// [`TextbookError::OutOfRange`] for negative uncertainties or degrees of freedom not above zero.
pub fn welch_satterthwaite(components: &[(f64, f64)]) -> Result<f64, TextbookError> {
    if components
        .iter()
        .any(|&(u, df)| u.is_nan() || u < 0.0 || df.is_nan() || df <= 0.0)
    {
        return Err(TextbookError::OutOfRange);
    }
    let variance: f64 = components.iter().map(|(u, _)| u * u).sum();
    let spread: f64 = components.iter().map(|(u, df)| u.powi(4) / df).sum();
    Ok(if spread == 0.0 {
        f64::INFINITY
    } else {
        variance * variance / spread
    })
}
