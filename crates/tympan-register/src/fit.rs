//! What was learnt from the readings.

use serde::{Deserialize, Serialize};
use tympan_sheet::{Affine, Front, Vector};

use crate::model::{Model, Noise};
use crate::next::NextSheet;
use crate::numeric::{NormalMixture, weighted_quantile};
use crate::reading::Reduced;
use crate::scatter::Draw;
use crate::terms::{Field, LOOSE, Mat8, TERMS, Term, Vec8};

/// What is known of a number: its value and where it lies with 95 % probability.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Estimate {
    /// The value: a mean for terms, a median for standard deviations.
    pub value: f64,
    /// Standard deviation of what is believed of it.
    pub sd: f64,
    /// 2.5 % quantile.
    pub low: f64,
    /// 97.5 % quantile.
    pub high: f64,
}

impl Estimate {
    pub(crate) fn of_mixture(mixture: &NormalMixture, factor: f64) -> Self {
        Self {
            value: mixture.mean() * factor,
            sd: mixture.sd() * factor,
            low: mixture.quantile(0.025) * factor,
            high: mixture.quantile(0.975) * factor,
        }
    }

    /// Half the width of the 95 % interval.
    pub fn half_width(&self) -> f64 {
        (self.high - self.low) / 2.0
    }
}

/// One term of the steady error, in the unit of [`Term::unit`].
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct TermEstimate {
    /// Which term.
    pub term: Term,
    /// Its value and 95 % interval.
    #[serde(flatten)]
    pub estimate: Estimate,
    /// Whether the 95 % interval excludes zero.
    pub real: bool,
}

/// The steady error as the affine map that describes it best over the whole sheet, taken apart
/// exactly: `centre + shift + R(tilt)·[[1+sx, k(1+sy)], [0, 1+sy]]·(p − centre)`,
/// `shear = atan k`, in the front frame about the sheet's centre.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct SteadyError {
    /// Where the back's middle lies, seen from the front.
    pub shift_mm: Vector<Front>,
    /// Clockwise seen from the front.
    pub tilt_deg: f64,
    /// Along x and along y.
    pub stretch_percent: [f64; 2],
    /// `atan k`.
    pub shear_deg: f64,
    /// Covariance in the order shift x, shift y (mm), tilt (°), stretch x, stretch y (%), shear (°).
    pub covariance: [[f64; 6]; 6],
}

/// The scatter of sheets about the steady error: standard deviations (medians of what is believed
/// of them) in the front frame.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Scatter {
    /// Of the shift across the page, mm.
    pub x_mm: Estimate,
    /// Of the shift down the page, mm.
    pub y_mm: Estimate,
    /// Of the tilt, degrees.
    pub tilt_deg: Estimate,
    /// How many sheets were read.
    pub sheets: usize,
}

/// What was learnt about a set-up from its readings.
#[derive(Clone, Debug)]
pub struct Fit {
    pub(crate) model: Model,
    pub(crate) reduced: Vec<Reduced>,
    noise: Noise,
    pub(crate) draws: Vec<Draw>,
    worth: f64,
    mean: Vec8,
    covariance: Mat8,
}

impl Fit {
    pub(crate) fn new(
        model: Model,
        reduced: Vec<Reduced>,
        noise: Noise,
        draws: Vec<Draw>,
        worth: f64,
    ) -> Self {
        let mean: Vec8 = draws.iter().map(|d| d.mean * d.weight).sum();
        let covariance: Mat8 = draws
            .iter()
            .map(|d| (d.covariance + (d.mean - mean) * (d.mean - mean).transpose()) * d.weight)
            .sum();
        Self {
            model,
            reduced,
            noise,
            draws,
            worth,
            mean,
            covariance,
        }
    }

    /// The model that was fitted.
    pub fn model(&self) -> &Model {
        &self.model
    }

    /// How many sheets were read.
    pub fn sheets(&self) -> usize {
        self.reduced.len()
    }

    /// What the residuals within sheets say about the stated noise.
    pub fn noise(&self) -> Noise {
        self.noise
    }

    /// How many independent points the computation is worth.
    pub fn effective_points(&self) -> f64 {
        self.worth
    }

    /// The best estimate of the steady error field, bend included.
    pub fn steady_field(&self) -> Field {
        Field::from_vec(self.model.basis(), self.mean)
    }

    /// The best affine map from where the back should be to where it is: what a correction undoes.
    pub fn field(&self) -> Affine<Front> {
        self.steady_field().affine()
    }

    /// One term of the steady error.
    pub fn term(&self, term: Term) -> TermEstimate {
        let i = term as usize;
        let parts = self
            .draws
            .iter()
            .map(|d| (d.weight, d.mean[i], d.covariance[(i, i)].sqrt()));
        let mixture = NormalMixture::new(parts.collect());
        let estimate = Estimate::of_mixture(&mixture, term.per_coefficient());
        TermEstimate {
            term,
            estimate,
            real: estimate.low > 0.0 || estimate.high < 0.0,
        }
    }

    /// All terms of the steady error.
    pub fn terms(&self) -> [TermEstimate; TERMS] {
        Term::ALL.map(|term| self.term(term))
    }

    /// The steady error as an affine map taken apart, with its covariance.
    pub fn steady_error(&self) -> SteadyError {
        let basis = self.model.basis();
        let map = self.field();
        let parts = map.decompose();
        let shift = map.displacement(basis.sheet.centre());
        let fold = basis.affine_part();
        let affine = fold * self.covariance * fold.transpose();
        let value = |c: &Vec8| {
            let map = Field::from_vec(basis, *c).affine();
            let parts = map.decompose();
            [
                c[0],
                c[1],
                parts.tilt.to_degrees(),
                100.0 * parts.stretch_x,
                100.0 * parts.stretch_y,
                parts.shear.atan().to_degrees(),
            ]
        };
        let centre = fold * self.mean;
        let slopes: [[f64; 6]; 6] = std::array::from_fn(|k| {
            let mut step = Vec8::zeros();
            step[k] = 1e-4;
            let (up, down) = (value(&(centre + step)), value(&(centre - step)));
            std::array::from_fn(|i| (up[i] - down[i]) / 2e-4)
        });
        let covariance = std::array::from_fn(|i| {
            std::array::from_fn(|j| {
                let pairs = (0..6).flat_map(|k| (0..6).map(move |l| (k, l)));
                pairs
                    .map(|(k, l)| slopes[k][i] * affine[(k, l)] * slopes[l][j])
                    .sum()
            })
        });
        SteadyError {
            shift_mm: shift,
            tilt_deg: parts.tilt.to_degrees(),
            stretch_percent: [100.0 * parts.stretch_x, 100.0 * parts.stretch_y],
            shear_deg: parts.shear.atan().to_degrees(),
            covariance,
        }
    }

    /// The scatter from sheet to sheet.
    pub fn scatter(&self) -> Scatter {
        let of = |i: usize, factor: f64| {
            let mut sds: Vec<(f64, f64)> = self
                .draws
                .iter()
                .map(|d| (d.sigma[(i, i)].sqrt() * factor, d.weight))
                .collect();
            let mean: f64 = sds.iter().map(|(x, w)| x * w).sum();
            let variance: f64 = sds.iter().map(|(x, w)| w * (x - mean) * (x - mean)).sum();
            Estimate {
                value: weighted_quantile(&mut sds, 0.5),
                sd: variance.sqrt(),
                low: weighted_quantile(&mut sds, 0.025),
                high: weighted_quantile(&mut sds, 0.975),
            }
        };
        Scatter {
            x_mm: of(0, 1.0),
            y_mm: of(1, 1.0),
            tilt_deg: of(2, Term::Tilt.per_coefficient()),
            sheets: self.sheets(),
        }
    }

    /// The mean of what is believed of the scatter's covariance in shift x, shift y (mm) and tilt
    /// (mm per 100 mm).
    pub fn scatter_covariance(&self) -> [[f64; LOOSE]; LOOSE] {
        let mean: nalgebra::Matrix3<f64> = self.draws.iter().map(|d| d.sigma * d.weight).sum();
        std::array::from_fn(|i| std::array::from_fn(|j| mean[(i, j)]))
    }

    /// The best estimate of each read sheet's own field: steady error and the sheet's own shift
    /// and tilt, in the order of the readings.
    pub fn sheet_fields(&self) -> Vec<Field> {
        let own = |reading: &Reduced| {
            let f = reading.h.fixed_rows::<LOOSE>(0);
            let u = reading.g.fixed_columns::<LOOSE>(0);
            let loose = reading.g.fixed_view::<LOOSE, LOOSE>(0, 0);
            let mut field = self.mean;
            for d in &self.draws {
                let Some(inverse) = d.sigma.try_inverse() else {
                    continue;
                };
                let Some(m) = (inverse + loose).try_inverse() else {
                    continue;
                };
                let b = m * (f - u.transpose() * d.mean);
                for i in 0..LOOSE {
                    field[i] += d.weight * b[i];
                }
            }
            Field::from_vec(self.model.basis(), field)
        };
        self.reduced.iter().map(own).collect()
    }

    /// What the next sheet's register error will be once the backs are corrected by the inverse
    /// of `corrected_by` (usually [`Fit::field`]; the identity for no correction). It predicts the
    /// true register error, not a reading of it.
    pub fn next_sheet(&self, corrected_by: &Affine<Front>) -> NextSheet {
        let basis = self.model.basis();
        let correction = basis.coefficients_of(corrected_by);
        NextSheet::of_draws(
            basis,
            &self.draws,
            &correction,
            self.model.prior().sheet_stretch_sd,
        )
    }
}
