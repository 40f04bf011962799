//! Small least squares: normal equations, Cholesky, Tukey's weights.

/// A symmetric positive definite system of `N` unknowns, gathered row by row.
#[derive(Clone, Debug)]
pub(super) struct Normal<const N: usize> {
    /// The lower half of `AᵀWA`, with its diagonal.
    pub(super) a: [[f64; N]; N],
    /// `AᵀWb`.
    pub(super) b: [f64; N],
}

impl<const N: usize> Default for Normal<N> {
    fn default() -> Self {
        Self {
            a: [[0.0; N]; N],
            b: [0.0; N],
        }
    }
}

impl<const N: usize> Normal<N> {
    /// Adds the equation `row · x = value` with this weight.
    pub(super) fn add(&mut self, row: &[f64; N], value: f64, weight: f64) {
        for (i, &ri) in row.iter().enumerate() {
            let wi = weight * ri;
            for (aij, &rj) in self.a[i][..=i].iter_mut().zip(row) {
                *aij += wi * rj;
            }
            self.b[i] += wi * value;
        }
    }

    /// Cholesky's lower factor, if the system determines all unknowns.
    fn factor(&self) -> Option<[[f64; N]; N]> {
        let mut l = [[0.0; N]; N];
        for i in 0..N {
            for j in 0..=i {
                let dot: f64 = (0..j).map(|k| l[i][k] * l[j][k]).sum();
                let rest = self.a[i][j] - dot;
                if i == j {
                    // Relative to the diagonal: what is left when the unknowns before are known.
                    if !(rest.is_finite() && rest > 1e-12 * self.a[i][i]) {
                        return None;
                    }
                    l[i][i] = rest.sqrt();
                } else {
                    l[i][j] = rest / l[j][j];
                }
            }
        }
        Some(l)
    }

    /// The unknowns.
    pub(super) fn solve(&self) -> Option<[f64; N]> {
        let l = self.factor()?;
        Some(substitute(&l, self.b))
    }

    /// The inverse of `AᵀWA`: the unknowns' covariance where weights are inverse variances.
    pub(super) fn covariance(&self) -> Option<[[f64; N]; N]> {
        let l = self.factor()?;
        let mut inverse = [[0.0; N]; N];
        for k in 0..N {
            let mut unit = [0.0; N];
            unit[k] = 1.0;
            let column = substitute(&l, unit);
            for (row, value) in inverse.iter_mut().zip(column) {
                row[k] = value;
            }
        }
        Some(inverse)
    }
}

/// Solves `L Lᵀ x = b`.
fn substitute<const N: usize>(l: &[[f64; N]; N], b: [f64; N]) -> [f64; N] {
    let mut y = b;
    for i in 0..N {
        let dot: f64 = (0..i).map(|k| l[i][k] * y[k]).sum();
        y[i] = (y[i] - dot) / l[i][i];
    }
    for i in (0..N).rev() {
        let dot: f64 = (i + 1..N).map(|k| l[k][i] * y[k]).sum();
        y[i] = (y[i] - dot) / l[i][i];
    }
    y
}

/// Tukey's biweight of a residual for a scale (sd): 95 % efficient on normal errors at 4.685
/// (common practice).
pub(super) fn tukey(residual: f64, scale: f64) -> f64 {
    let u = residual / (4.685 * scale);
    if u.abs() >= 1.0 {
        0.0
    } else {
        (1.0 - u * u).powi(2)
    }
}

/// The median; reorders. NaN where there is nothing.
pub(super) fn median(values: &mut [f64]) -> f64 {
    quantile(values, 0.5)
}

/// The value below which this share lies; reorders. NaN where there is nothing.
pub(super) fn quantile(values: &mut [f64], share: f64) -> f64 {
    if values.is_empty() {
        return f64::NAN;
    }
    let k = ((values.len() - 1) as f64 * share).round() as usize;
    *values.select_nth_unstable_by(k, f64::total_cmp).1
}

/// The sd of planar residuals from their median length: a Rayleigh distribution's median is
/// 1.1774 sd.
pub(super) fn planar_scale(lengths: &[f64]) -> f64 {
    let mut sorted = lengths.to_vec();
    median(&mut sorted) / 1.1774
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_through_three_points_is_found() {
        let mut normal = Normal::<2>::default();
        for x in [0.0, 1.0, 2.0] {
            normal.add(&[1.0, x], 3.0 + 2.0 * x, 1.0);
        }
        let [a, b] = normal.solve().expect("two unknowns, three points");
        assert!((a - 3.0).abs() < 1e-12 && (b - 2.0).abs() < 1e-12);
        let cov = normal.covariance().expect("determined");
        assert!((cov[1][1] - 0.5).abs() < 1e-12);
    }

    #[test]
    fn an_undetermined_system_is_refused() {
        let mut normal = Normal::<2>::default();
        normal.add(&[1.0, 1.0], 3.0, 1.0);
        assert!(normal.solve().is_none());
    }
}
