//! Hotelling's T² and prediction regions of a multivariate normal distribution.

use nalgebra::{DMatrix, DVector};
use statrs::distribution::{ContinuousCDF, FisherSnedecor};

use super::TextbookError;

/// Hotelling's one-sample test: `T² = n (x̄ − μ)ᵀ S⁻¹ (x̄ − μ)`, which is
/// `p(n−1)/(n−p) · F(p, n−p)` where the mean is `μ`.
#[derive(Clone, Debug, PartialEq)]
pub struct HotellingT2 {
    /// The statistic.
    pub t2: f64,
    /// The probability of one at least as large.
    pub p_value: f64,
    /// The mean of the rows.
    pub mean: Vec<f64>,
    /// Their covariance (divisor `n − 1`).
    pub covariance: DMatrix<f64>,
}

impl HotellingT2 {
    /// The test of rows of equal length against a mean.
    ///
    /// # Errors
    /// [`TextbookError`] where there are not more rows than columns, or they vary too little.
    pub fn of(rows: &[Vec<f64>], mean: &[f64]) -> Result<Self, TextbookError> {
        let (n, p) = (rows.len(), mean.len());
        if p == 0 || n <= p || rows.iter().any(|row| row.len() != p) {
            return Err(TextbookError::TooFew);
        }
        let (centre, covariance) = mean_and_covariance(rows);
        let off = &centre - DVector::from_column_slice(mean);
        let inverse = covariance
            .clone()
            .cholesky()
            .ok_or(TextbookError::Singular)?;
        let t2 = n as f64 * off.dot(&inverse.solve(&off));
        let f = t2 * (n - p) as f64 / (p * (n - 1)) as f64;
        let distribution =
            FisherSnedecor::new(p as f64, (n - p) as f64).map_err(|_| TextbookError::OutOfRange)?;
        Ok(Self {
            t2,
            p_value: distribution.sf(f),
            mean: centre.as_slice().to_vec(),
            covariance,
        })
    }
}

/// Mean and covariance (divisor `n − 1`) of rows.
pub(super) fn mean_and_covariance(rows: &[Vec<f64>]) -> (DVector<f64>, DMatrix<f64>) {
    let n = rows.len() as f64;
    let p = rows[0].len();
    let mean = rows.iter().fold(DVector::zeros(p), |sum, row| {
        sum + DVector::from_column_slice(row) / n
    });
    let square = rows.iter().fold(DMatrix::zeros(p, p), |sum, row| {
        let off = DVector::from_column_slice(row) - &mean;
        sum + &off * off.transpose()
    });
    (mean, square / (n - 1.0).max(1.0))
}

fn f_quantile(p: usize, df: usize, level: f64) -> Result<f64, TextbookError> {
    if p == 0 || df == 0 {
        return Err(TextbookError::TooFew);
    }
    if !(level > 0.0 && level < 1.0) {
        return Err(TextbookError::OutOfRange);
    }
    let f = FisherSnedecor::new(p as f64, df as f64).map_err(|_| TextbookError::OutOfRange)?;
    Ok(f.inverse_cdf(level))
}

/// The `T²` of the mean of `n` rows of `p` numbers that is exceeded with probability `1 − level`.
///
/// # Errors
/// [`TextbookError`] where `n ≤ p` or the level is not within 0 to 1.
pub fn hotelling_limit(p: usize, n: usize, level: f64) -> Result<f64, TextbookError> {
    let f = f_quantile(p, n.saturating_sub(p), level)?;
    Ok((p * (n - 1)) as f64 / (n - p) as f64 * f)
}

/// The limit of `(x − x̄)ᵀ S⁻¹ (x − x̄)` for one new row, from `n` rows of `p` numbers: the region
/// holds it with probability `level`. `p(n−1)(n+1)/(n(n−p)) · F(p, n−p)` (V. Chew, 1966).
///
/// # Errors
/// [`TextbookError`] where `n ≤ p` or the level is not within 0 to 1.
pub fn prediction_limit(p: usize, n: usize, level: f64) -> Result<f64, TextbookError> {
    Ok(hotelling_limit(p, n, level)? * (n + 1) as f64 / n as f64)
}
