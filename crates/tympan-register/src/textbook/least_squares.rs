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

/// Fits `y` to the columns of `x` (an intercept is a column of ones), with one step of iterative
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
    let scales: Vec<f64> =
        x.column_iter().map(|c| 2.0_f64.powi(-(c.norm().log2().round() as i32))).collect();
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
    let solve = |b: &DVector<f64>| {
        let mut qb = b.clone();
        qr.q_tr_mul(&mut qb);
        r.solve_upper_triangular(&qb.rows(0, columns).into_owned())
            .ok_or(TextbookError::Singular)
    };
    let mut coefficients = solve(y)?;
    let mut residual = y - &scaled * &coefficients;
    coefficients += solve(&exact_residual(&scaled, &coefficients, y))?;
    residual.copy_from(&exact_residual(&scaled, &coefficients, y));

    let degrees_of_freedom = rows - columns;
    let residual_square = residual.norm_squared();
    let residual_sd = (residual_square / degrees_of_freedom as f64).sqrt();
    let inverse = r
        .solve_upper_triangular(&DMatrix::identity(columns, columns))
        .ok_or(TextbookError::Singular)?;
    let standard_errors =
        inverse.row_iter().zip(&scales).map(|(row, s)| residual_sd * row.norm() * s).collect();
    let about_mean = (y.add_scalar(-y.mean())).norm_squared();
    Ok(LeastSquares {
        coefficients: coefficients.iter().zip(&scales).map(|(c, s)| c * s).collect(),
        standard_errors,
        residual_square,
        residual_sd,
        r_squared: 1.0 - residual_square / about_mean,
        degrees_of_freedom,
    })
}

/// `y − x·c`, each element summed with compensation (Ogita, Rump & Oishi, *Accurate sum and dot
/// product*, 2005), as if in twice the working precision.
fn exact_residual(x: &DMatrix<f64>, c: &DVector<f64>, y: &DVector<f64>) -> DVector<f64> {
    DVector::from_fn(y.len(), |i, _| {
        let (mut sum, mut error) = (y[i], 0.0);
        for j in 0..c.len() {
            let product = -x[(i, j)] * c[j];
            let low = (-x[(i, j)]).mul_add(c[j], -product);
            let next = sum + product;
            let part = next - sum;
            error += (sum - (next - part)) + (product - part) + low;
            sum = next;
        }
        sum + error
    })
}
