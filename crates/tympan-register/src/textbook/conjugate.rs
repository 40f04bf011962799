//! The normal model with an inverse Wishart prior of the covariance and a flat prior of the mean,
//! without reading noise: all answers are multivariate t distributions in closed form.

use nalgebra::{DMatrix, DVector};
use statrs::distribution::{ContinuousCDF, FisherSnedecor, StudentsT};

use super::TextbookError;
use super::hotelling::mean_and_covariance;

/// Rows of numbers, each a draw of one normal distribution, and what was believed of its
/// covariance: `Σ ~ IW(ν, S₀)` with density `|Σ|^−(ν+p+1)/2 · exp(−tr(S₀Σ⁻¹)/2)`.
#[derive(Clone, Debug, PartialEq)]
pub struct ConjugateNormal {
    mean: DVector<f64>,
    square: DMatrix<f64>,
    rows: usize,
    /// Degrees of freedom of the t distributions.
    df: f64,
}

/// A multivariate t distribution.
#[derive(Clone, Debug, PartialEq)]
pub struct MultivariateT {
    /// Degrees of freedom.
    pub df: f64,
    /// Location.
    pub mean: DVector<f64>,
    /// Scale matrix (not the covariance).
    pub scale: DMatrix<f64>,
}

impl ConjugateNormal {
    /// With the reference prior `|Σ|^−(p+1)/2`: answers agree with the textbook prediction region.
    ///
    /// # Errors
    /// [`TextbookError::TooFew`] where there are not more rows than columns.
    pub fn reference(rows: &[Vec<f64>]) -> Result<Self, TextbookError> {
        let p = rows.first().map_or(0, Vec::len);
        Self::with_prior(rows, 0.0, &DMatrix::zeros(p, p))
    }

    /// With an inverse Wishart prior.
    ///
    /// # Errors
    /// [`TextbookError`] where rows differ in length or leave no degrees of freedom.
    pub fn with_prior(
        rows: &[Vec<f64>],
        df: f64,
        scale: &DMatrix<f64>,
    ) -> Result<Self, TextbookError> {
        let (n, p) = (rows.len(), scale.nrows());
        let left = df + n as f64 - p as f64;
        if n == 0 || p == 0 || left.is_nan() || left <= 0.0 {
            return Err(TextbookError::TooFew);
        }
        if rows
            .iter()
            .any(|row| row.len() != p || row.iter().any(|x| !x.is_finite()))
        {
            return Err(TextbookError::OutOfRange);
        }
        let (mean, covariance) = mean_and_covariance(rows);
        let square = scale + covariance * (n as f64 - 1.0);
        Ok(Self {
            mean,
            square,
            rows: n,
            df: left,
        })
    }

    /// What is believed of the mean.
    pub fn mean(&self) -> MultivariateT {
        self.scaled(1.0 / self.rows as f64)
    }

    /// What is believed of the next row.
    pub fn next(&self) -> MultivariateT {
        self.scaled(1.0 + 1.0 / self.rows as f64)
    }

    fn scaled(&self, factor: f64) -> MultivariateT {
        let scale = &self.square * (factor / self.df);
        MultivariateT {
            df: self.df,
            mean: self.mean.clone(),
            scale,
        }
    }
}

impl MultivariateT {
    /// Half the width of the central interval of one coordinate.
    ///
    /// # Errors
    /// [`TextbookError::OutOfRange`] for a coordinate or level that is none.
    pub fn half_width(&self, coordinate: usize, level: f64) -> Result<f64, TextbookError> {
        if coordinate >= self.mean.len() || !(level > 0.0 && level < 1.0) {
            return Err(TextbookError::OutOfRange);
        }
        let t = StudentsT::new(0.0, 1.0, self.df).map_err(|_| TextbookError::OutOfRange)?;
        Ok(t.inverse_cdf(0.5 + level / 2.0) * self.scale[(coordinate, coordinate)].sqrt())
    }

    /// The limit of `(x − mean)ᵀ scale⁻¹ (x − mean)` that holds `x` with this probability.
    ///
    /// # Errors
    /// [`TextbookError::OutOfRange`] for a level outside 0 to 1.
    pub fn limit(&self, level: f64) -> Result<f64, TextbookError> {
        if !(level > 0.0 && level < 1.0) {
            return Err(TextbookError::OutOfRange);
        }
        Ok(self.mean.len() as f64 * self.f()?.inverse_cdf(level))
    }

    /// The probability of an `x` at least as far out.
    ///
    /// # Errors
    /// [`TextbookError`] where the scale is singular or `x` has another length.
    pub fn p_value(&self, x: &[f64]) -> Result<f64, TextbookError> {
        if x.len() != self.mean.len() {
            return Err(TextbookError::OutOfRange);
        }
        let off = DVector::from_column_slice(x) - &self.mean;
        let factor = self
            .scale
            .clone()
            .cholesky()
            .ok_or(TextbookError::Singular)?;
        Ok(self.f()?.sf(off.dot(&factor.solve(&off)) / x.len() as f64))
    }

    fn f(&self) -> Result<FisherSnedecor, TextbookError> {
        FisherSnedecor::new(self.mean.len() as f64, self.df).map_err(|_| TextbookError::OutOfRange)
    }
}

/// For each row the probability of one at least as far out, predicted from the others, under an
/// inverse Wishart prior.
///
/// # Errors
/// [`TextbookError`] where the others are too few or singular.
pub fn leave_one_out(
    rows: &[Vec<f64>],
    df: f64,
    scale: &DMatrix<f64>,
) -> Result<Vec<f64>, TextbookError> {
    let others = |j: usize| {
        let rest = rows.iter().enumerate().filter(|(i, _)| *i != j);
        rest.map(|(_, row)| row.clone()).collect::<Vec<_>>()
    };
    (0..rows.len())
        .map(|j| {
            ConjugateNormal::with_prior(&others(j), df, scale)?
                .next()
                .p_value(&rows[j])
        })
        .collect()
}
