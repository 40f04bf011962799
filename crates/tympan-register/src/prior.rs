//! What is believed before the first sheet is read.

use serde::{Deserialize, Serialize};
use statrs::distribution::{ChiSquared, ContinuousCDF};
use tympan_sheet::FeedAxis;

use crate::error::FitError;
use crate::terms::TERMS;

/// What is believed of a set-up before its first sheet is read. The recommended values are common
/// practice of this project, with no published source; they are told to the user.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Prior {
    /// Degrees of freedom of the inverse Wishart distribution of the scatter, given its scale.
    /// Density `|Σ|^−(ν+4)/2 · exp(−tr(S₀Σ⁻¹)/2)`.
    pub scatter_df: f64,
    /// Median standard deviation of the scatter across the feed, mm.
    pub across_mm: f64,
    /// Median standard deviation of the scatter along the feed, mm.
    pub along_mm: f64,
    /// Median standard deviation of the scatter in tilt, degrees.
    pub tilt_deg: f64,
    /// Standard deviation of the logarithm of the scatter's common scale; 0 for a fixed scale.
    pub log_scale_sd: f64,
    /// Standard deviations of the steady error's terms about zero, in the order of
    /// [`crate::Term::ALL`], in mm and mm per 100 mm. Infinite is flat; 0 leaves the term out.
    pub steady_sd: [f64; TERMS],
    /// Standard deviation of each sheet's own stretch and shear, mm per 100 mm (0.03 is 0.03 %).
    pub sheet_stretch_sd: f64,
    /// How many residuals of just the stated noise are taken to have been seen before when the
    /// noise is judged; infinite to take the stated noise as it is.
    pub noise_df: f64,
}

impl Prior {
    /// The recommended prior: 8 degrees of freedom; median scatter 0.20 mm across, 0.30 mm along
    /// and 0.05° at scale 1; `ln s ~ N(0, 0.5²)`; steady error with sd 5 mm in shift, 0.4° in
    /// tilt, 0.2 % in stretch, 0.1° in shear, 0.1 mm in bend.
    pub fn recommended() -> Self {
        let tilt = 100.0 * 0.4_f64.to_radians();
        let shear = 100.0 * 0.1_f64.to_radians();
        Self {
            scatter_df: 8.0,
            across_mm: 0.20,
            along_mm: 0.30,
            tilt_deg: 0.05,
            log_scale_sd: 0.5,
            steady_sd: [5.0, 5.0, tilt, 0.2, 0.2, shear, 0.1, 0.1],
            sheet_stretch_sd: 0.03,
            noise_df: 10.0,
        }
    }

    /// The diagonal of `S₀` in the order shift x, shift y, tilt (mm², mm², (mm per 100 mm)²). A
    /// diagonal element of `Σ ~ IW(ν, S₀)` in three dimensions is `S₀ / χ²` with `ν − 2` degrees
    /// of freedom, so the median variance times that median is the element.
    pub fn scatter_scale(&self, feed: FeedAxis) -> [f64; 3] {
        let median =
            ChiSquared::new(self.scatter_df - 2.0).map_or(f64::NAN, |d| d.inverse_cdf(0.5));
        let (x, y) = match feed {
            FeedAxis::Y => (self.across_mm, self.along_mm),
            FeedAxis::X => (self.along_mm, self.across_mm),
        };
        let tilt = 100.0 * self.tilt_deg.to_radians();
        [x, y, tilt].map(|sd| sd * sd * median)
    }

    pub(crate) fn check(&self) -> Result<(), FitError> {
        let positive = |x: f64| x > 0.0 && x.is_finite();
        let not_negative = |x: f64| x >= 0.0;
        if !(self.scatter_df > 2.0 && self.scatter_df.is_finite()) {
            return Err(FitError::BadPrior(
                "the scatter needs more than two degrees of freedom",
            ));
        }
        if ![self.across_mm, self.along_mm, self.tilt_deg]
            .into_iter()
            .all(positive)
        {
            return Err(FitError::BadPrior("the median scatter must be above zero"));
        }
        if !(not_negative(self.log_scale_sd) && self.log_scale_sd <= 3.0) {
            return Err(FitError::BadPrior(
                "the scale's logarithm must vary by 0 to 3",
            ));
        }
        if !self.steady_sd.into_iter().all(not_negative) {
            return Err(FitError::BadPrior("standard deviations cannot be negative"));
        }
        if !(not_negative(self.sheet_stretch_sd) && self.sheet_stretch_sd.is_finite()) {
            return Err(FitError::BadPrior("standard deviations cannot be negative"));
        }
        if !not_negative(self.noise_df) {
            return Err(FitError::BadPrior("degrees of freedom cannot be negative"));
        }
        Ok(())
    }
}

impl Default for Prior {
    fn default() -> Self {
        Self::recommended()
    }
}
