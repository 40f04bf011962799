//! What one printed sheet says, and its reduction to a few sums.

use nalgebra::{Matrix2, Matrix3, Vector2};
use serde::{Deserialize, Serialize};
use tympan_sheet::{Front, Point, Vector};

use crate::error::FitError;
use crate::terms::{Basis, LOOSE, Mat8, Vec8};

/// Variances above this say nothing about a coordinate, mm².
const UNKNOWN: f64 = 1e6;

/// The register error seen at one point of one sheet.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Observation {
    /// Where on the sheet, in the front frame.
    pub at: Point<Front>,
    /// Where the back's image lies relative to the front's, seen from the front, mm.
    pub error: Vector<Front>,
    /// The covariance of `error` (x, y), mm²: aiming, pricking and reading together. A coordinate
    /// that was not read has a huge variance (over 10⁶ mm²).
    pub variance: [[f64; 2]; 2],
}

impl Observation {
    /// An observation with the same standard uncertainty in x and y, mm.
    pub fn new(at: Point<Front>, error: Vector<Front>, u: f64) -> Self {
        Self {
            at,
            error,
            variance: [[u * u, 0.0], [0.0, u * u]],
        }
    }
}

/// What one printed sheet says.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    /// The points that were read.
    pub observations: Vec<Observation>,
    /// The covariance of an error that all points share because the two sides had to be brought
    /// together (holes, edges, camera pose): shift x (mm), shift y (mm) and tilt (mm per 100 mm)
    /// about the sheet's centre.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub link: Option<[[f64; LOOSE]; LOOSE]>,
}

impl Reading {
    /// A reading whose points share no error.
    pub fn new(observations: Vec<Observation>) -> Self {
        Self {
            observations,
            link: None,
        }
    }
}

/// `XᵀR⁻¹X`, `XᵀR⁻¹r` and `rᵀR⁻¹r` of one reading: all that the fit needs of it.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Reduced {
    pub(crate) g: Mat8,
    pub(crate) h: Vec8,
    pub(crate) square: f64,
    /// How many coordinates were read.
    pub(crate) count: usize,
}

impl Reduced {
    /// The sums of a reading, with the noise of its points only.
    pub(crate) fn of_points(reading: &Reading, basis: &Basis) -> Self {
        let mut sums = Self {
            g: Mat8::zeros(),
            h: Vec8::zeros(),
            square: 0.0,
            count: 0,
        };
        for o in &reading.observations {
            let [x, y] = basis.rows(o.at);
            let v = o.variance;
            let det = v[0][0] * v[1][1] - v[0][1] * v[1][0];
            let w = Matrix2::new(v[1][1], -v[0][1], -v[1][0], v[0][0]) / det;
            let r = Vector2::new(o.error.x, o.error.y);
            let wr = w * r;
            sums.g += x * (x * w[(0, 0)] + y * w[(0, 1)]).transpose()
                + y * (x * w[(1, 0)] + y * w[(1, 1)]).transpose();
            sums.h += x * wr[0] + y * wr[1];
            sums.square += r.dot(&wr);
            sums.count += usize::from(v[0][0] < UNKNOWN) + usize::from(v[1][1] < UNKNOWN);
        }
        sums
    }

    /// The same with every point's variance multiplied by `factor`.
    pub(crate) fn inflated(&self, factor: f64) -> Self {
        Self {
            g: self.g / factor,
            h: self.h / factor,
            square: self.square / factor,
            ..self.clone()
        }
    }

    /// The same when all points also share an error in the field with covariance `common`
    /// (matrix inversion lemma).
    pub(crate) fn sharing(&self, common: &Mat8) -> Self {
        let spread = Mat8::identity() + self.g * common;
        // `I + G C` is regular for positive semidefinite G and C.
        let inverse = spread.try_inverse().unwrap_or_else(Mat8::identity);
        let g = inverse * self.g;
        let h = inverse * self.h;
        Self {
            g: (g + g.transpose()) / 2.0,
            h,
            square: self.square - self.h.dot(&(common * h)),
            count: self.count,
        }
    }
}

/// The covariance that a reading's points share: its link, and what each sheet's own stretch and
/// shear add.
pub(crate) fn shared_error(reading: &Reading, sheet_stretch_sd: f64) -> Mat8 {
    let mut common = stretch_scatter(sheet_stretch_sd);
    if let Some(link) = reading.link {
        for (i, row) in link.iter().enumerate() {
            for (j, value) in row.iter().enumerate() {
                common[(i, j)] += value;
            }
        }
    }
    common
}

/// The covariance of a sheet's own stretch and shear.
pub(crate) fn stretch_scatter(sd: f64) -> Mat8 {
    let v = sd * sd;
    Mat8::from_diagonal(&Vec8::from([0.0, 0.0, 0.0, v, v, v, 0.0, 0.0]))
}

/// Refuses readings that cannot be true.
pub(crate) fn check(readings: &[Reading], basis: &Basis) -> Result<(), FitError> {
    let sheet = basis.sheet;
    if !(sheet.w > 0.0 && sheet.h > 0.0 && sheet.w.is_finite() && sheet.h.is_finite()) {
        return Err(FitError::BadSheet);
    }
    if readings.is_empty() {
        return Err(FitError::NoReadings);
    }
    for (j, reading) in readings.iter().enumerate() {
        check_one(reading, j + 1, basis)?;
    }
    Ok(())
}

fn check_one(reading: &Reading, number: usize, basis: &Basis) -> Result<(), FitError> {
    let sheet = basis.sheet;
    if reading.observations.is_empty() {
        return Err(FitError::NoObservations { reading: number });
    }
    for (i, o) in reading.observations.iter().enumerate() {
        let observation = i + 1;
        let v = o.variance;
        let all = [
            o.at.x, o.at.y, o.error.x, o.error.y, v[0][0], v[0][1], v[1][0], v[1][1],
        ];
        if !all.iter().all(|x| x.is_finite()) {
            return Err(FitError::NotFinite {
                reading: number,
                observation,
            });
        }
        let off = |at: f64, length: f64| at < -length || at > 2.0 * length;
        if off(o.at.x, sheet.w) || off(o.at.y, sheet.h) {
            return Err(FitError::OffSheet {
                reading: number,
                observation,
            });
        }
        if o.error.length() > 100.0 {
            return Err(FitError::TooLarge {
                reading: number,
                observation,
            });
        }
        if !is_covariance2(v) {
            return Err(FitError::BadVariance {
                reading: number,
                observation,
            });
        }
    }
    if reading.link.is_some_and(|link| !is_semidefinite3(link)) {
        return Err(FitError::BadLink { reading: number });
    }
    let first = reading.observations[0].at;
    let one_place = reading
        .observations
        .iter()
        .all(|o| (o.at - first).length() < 1.0);
    if reading.observations.len() > 1 && one_place {
        return Err(FitError::OnePlace { reading: number });
    }
    Ok(())
}

/// Whether this is symmetric and clearly positive definite.
fn is_covariance2(v: [[f64; 2]; 2]) -> bool {
    let scale = (v[0][0] * v[1][1]).sqrt();
    v[0][0] > 0.0
        && v[1][1] > 0.0
        && (v[0][1] - v[1][0]).abs() <= 1e-9 * scale
        && v[0][1].abs() < (1.0 - 1e-12) * scale
}

fn is_semidefinite3(link: [[f64; LOOSE]; LOOSE]) -> bool {
    let m = Matrix3::from_fn(|i, j| link[i][j]);
    if !m.iter().all(|x| x.is_finite()) {
        return false;
    }
    let largest = m.amax();
    let symmetric = (m - m.transpose()).amax() <= 1e-9 * largest;
    symmetric
        && m.symmetric_eigenvalues()
            .iter()
            .all(|&e| e >= -1e-9 * largest)
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::{DMatrix, DVector};
    use tympan_sheet::{FeedAxis, Size};

    const BASIS: Basis = Basis {
        sheet: Size::new(210.0, 297.0),
        feed: FeedAxis::Y,
    };

    /// The reduction against the plain dense formula.
    #[test]
    fn shared_errors_are_reduced_as_the_dense_covariance_says() {
        let mut reading = Reading::new(vec![
            Observation::new(Point::new(20.0, 25.0), Vector::new(0.3, 1.9), 0.15),
            Observation::new(Point::new(190.0, 30.0), Vector::new(0.5, 2.2), 0.10),
            Observation::new(Point::new(100.0, 280.0), Vector::new(0.1, 2.0), 0.2),
        ]);
        reading.observations[1].variance = [[0.02, 0.005], [0.005, 0.03]];
        reading.link = Some([
            [0.01, 0.002, 0.0],
            [0.002, 0.02, 0.001],
            [0.0, 0.001, 0.004],
        ]);
        let common = shared_error(&reading, 0.03);
        let got = Reduced::of_points(&reading, &BASIS).sharing(&common);

        let n = reading.observations.len();
        let mut x = DMatrix::zeros(2 * n, 8);
        let mut noise = DMatrix::zeros(2 * n, 2 * n);
        let mut r = DVector::zeros(2 * n);
        for (i, o) in reading.observations.iter().enumerate() {
            for (k, row) in BASIS.rows(o.at).iter().enumerate() {
                x.row_mut(2 * i + k).copy_from(&row.transpose());
                for l in 0..2 {
                    noise[(2 * i + k, 2 * i + l)] = o.variance[k][l];
                }
            }
            r[2 * i] = o.error.x;
            r[2 * i + 1] = o.error.y;
        }
        let dense = noise + &x * common * x.transpose();
        let inverse = dense.try_inverse().expect("regular");
        let g = x.transpose() * &inverse * &x;
        let h = x.transpose() * &inverse * &r;
        let square = (r.transpose() * &inverse * &r)[0];
        assert!((g - got.g).amax() < 1e-8);
        assert!((h - got.h).amax() < 1e-8);
        assert!((square - got.square).abs() < 1e-9);
    }
}
