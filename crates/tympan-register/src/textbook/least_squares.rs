//! Ordinary least squares by Householder QR of the scaled columns.

use nalgebra::{DMatrix, DVector};

use super::TextbookError;

/// A fitted linear model.
#[derive(Clone, Debug, PartialEq)]
pub struct LeastSquares {
    /// The coefficients, in the order of the columns.
    pub coefficients: Vec<f64>,
    /// Their standard errors.
    pub standard_errors: Vec<f64>,
    /// Residual sum of squares.
    pub residual_square: f64,
    /// Residual standard deviation.
    pub residual_sd: f64,
    /// The share of the variance about the mean that is explained.
    pub r_squared: f64,
    /// Rows less columns.
    pub degrees_of_freedom: usize,
}

/// Fits `y` to the columns of `x` (an intercept is a column of ones), with iterative
/// refinement.
///
/// # Errors
/// [`TextbookError`] where rows do not outnumber columns, columns depend on each other, or a
/// number is not finite.
pub fn least_squares(x: &DMatrix<f64>, y: &DVector<f64>) -> Result<LeastSquares, TextbookError> {
    let (rows, columns) = x.shape();
    if columns == 0 || rows <= columns || y.len() != rows {
        return Err(TextbookError::TooFew);
    }
    if !x.iter().chain(y.iter()).all(|v| v.is_finite()) {
        return Err(TextbookError::OutOfRange);
    }
    // Powers of two scale without rounding.
    let scales: Vec<f64> = x
        .column_iter()
        .map(|c| 2.0_f64.powi(-(c.norm().log2().round() as i32)))
        .collect();
    let mut scaled = x.clone();
    for (mut column, scale) in scaled.column_iter_mut().zip(&scales) {
        column *= *scale;
    }
    let qr = scaled.clone().qr();
    let r = qr.r();
    let diagonal = r.diagonal();
    if diagonal.iter().any(|d| d.abs() <= 1e-13 * diagonal.amax()) {
        return Err(TextbookError::Singular);
    }
    // Refines coefficients and residuals together, for residuals that are not small (Å. Björck,
    // *Iterative refinement of linear least squares solutions*, BIT 7, 1967).
    let r_transposed = r.transpose();
    let mut coefficients = DVector::zeros(columns);
    let mut residual = DVector::zeros(rows);
    for _ in 0..4 {
        let f = misfit(&scaled, &coefficients, y, &residual);
        let slack = leaning(&scaled, &residual);
        let d = r_transposed
            .solve_lower_triangular(&slack)
            .ok_or(TextbookError::Singular)?;
        let mut qf = f.clone();
        qr.q_tr_mul(&mut qf);
        let step = r
            .solve_upper_triangular(&(qf.rows(0, columns) + d))
            .ok_or(TextbookError::Singular)?;
        residual += f - &scaled * &step;
        coefficients += step;
    }

    let degrees_of_freedom = rows - columns;
    let residual_square = residual.norm_squared();
    let residual_sd = (residual_square / degrees_of_freedom as f64).sqrt();
    let inverse = r
        .solve_upper_triangular(&DMatrix::identity(columns, columns))
        .ok_or(TextbookError::Singular)?;
    let standard_errors = inverse
        .row_iter()
        .zip(&scales)
        .map(|(row, s)| residual_sd * row.norm() * s)
        .collect();
    let about_mean = (y.add_scalar(-y.mean())).norm_squared();
    Ok(LeastSquares {
        coefficients: coefficients
            .iter()
            .zip(&scales)
            .map(|(c, s)| c * s)
            .collect(),
        standard_errors,
        residual_square,
        residual_sd,
        r_squared: 1.0 - residual_square / about_mean,
        degrees_of_freedom,
    })
}

/// A sum with what rounding took from it (Ogita, Rump & Oishi, *Accurate sum and dot product*,
/// 2005), as if in twice the working precision.
#[derive(Clone, Copy, Default)]
struct Accurate {
    sum: f64,
    lost: f64,
}

impl Accurate {
    fn add(&mut self, x: f64) {
        let next = self.sum + x;
        let part = next - self.sum;
        self.lost += (self.sum - (next - part)) + (x - part);
        self.sum = next;
    }

    fn add_product(&mut self, x: f64, y: f64) {
        let product = x * y;
        self.add(product);
        self.lost += x.mul_add(y, -product);
    }

    fn value(self) -> f64 {
        self.sum + self.lost
    }
}

/// `y − residual − x·c`.
fn misfit(
    x: &DMatrix<f64>,
    c: &DVector<f64>,
    y: &DVector<f64>,
    residual: &DVector<f64>,
) -> DVector<f64> {
    DVector::from_fn(y.len(), |i, _| {
        let mut sum = Accurate::default();
        sum.add(y[i]);
        sum.add(-residual[i]);
        for j in 0..c.len() {
            sum.add_product(-x[(i, j)], c[j]);
        }
        sum.value()
    })
}

/// `xᵀ·residual`, which is nothing at the solution.
fn leaning(x: &DMatrix<f64>, residual: &DVector<f64>) -> DVector<f64> {
    DVector::from_fn(x.ncols(), |j, _| {
        let mut sum = Accurate::default();
        for i in 0..residual.len() {
            sum.add_product(x[(i, j)], residual[i]);
        }
        sum.value()
    })
}
