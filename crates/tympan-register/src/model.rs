//! From readings to a fit.

use nalgebra::{Matrix5, Vector5};

use crate::error::FitError;
use crate::fit::Fit;
use crate::numeric::form;
use crate::prior::Prior;
use crate::reading::{Reading, Reduced, check, shared_error};
use crate::scatter::{Draw, sample};
use crate::terms::{Basis, LOOSE, TERMS};
use tympan_sheet::{FeedAxis, Size};

/// Points that the posterior is computed with where nothing else is asked for.
const POINTS: u32 = 4096;

/// The measurement model of a set-up.
///
/// For sheet `j` and point `i`, `r_ij = X(p_ij)(β + b_j + l_j) + ε_ij`: the steady error `β` (the
/// terms of [`crate::Term`]), the sheet's own shift and tilt `b_j ~ N(0, Σ)` with a small fixed
/// scatter of stretch and shear, the reading's link error `l_j` and the noise `ε` of a point. All
/// terms are always fitted, shrunk by their priors.
#[derive(Clone, Debug, PartialEq)]
pub struct Model {
    basis: Basis,
    prior: Prior,
    points: u32,
}

impl Model {
    /// The model of a set-up that feeds sheets of this size (as the front is seen) along this
    /// axis, with the recommended prior.
    pub fn new(sheet: Size, feed: FeedAxis) -> Self {
        Self {
            basis: Basis { sheet, feed },
            prior: Prior::recommended(),
            points: POINTS,
        }
    }

    /// The same with another prior.
    pub fn with_prior(self, prior: Prior) -> Self {
        Self { prior, ..self }
    }

    /// The same with another number of quasi-random points (4096 by default; 256 to 65 536).
    pub fn with_points(self, points: u32) -> Self {
        Self {
            points: points.clamp(256, 1 << 16),
            ..self
        }
    }

    /// The sheet and the feed.
    pub fn basis(&self) -> Basis {
        self.basis
    }

    /// The prior.
    pub fn prior(&self) -> &Prior {
        &self.prior
    }

    pub(crate) fn points(&self) -> u32 {
        self.points
    }

    /// Learns the steady error and the scatter from readings of one set-up. The same readings
    /// give the same bits.
    ///
    /// # Errors
    /// [`FitError`] for readings that are missing, impossible or not numbers.
    pub fn fit(&self, readings: &[Reading]) -> Result<Fit, FitError> {
        self.prior.check()?;
        check(readings, &self.basis)?;
        let noise = self.judge_noise(readings);
        let reduced = self.reduce(readings, noise.factor);
        let (draws, worth) = self.posterior(&reduced)?;
        Ok(Fit::new(self.clone(), reduced, noise, draws, worth))
    }

    pub(crate) fn posterior(&self, reduced: &[Reduced]) -> Result<(Vec<Draw>, f64), FitError> {
        sample(reduced, &self.prior, self.basis.feed, self.points)
    }

    fn reduce(&self, readings: &[Reading], factor: f64) -> Vec<Reduced> {
        let one = |reading: &Reading| {
            Reduced::of_points(reading, &self.basis)
                .inflated(factor)
                .sharing(&shared_error(reading, self.prior.sheet_stretch_sd))
        };
        readings.iter().map(one).collect()
    }

    /// Judges the stated noise by the residuals within sheets: what is left when every sheet may
    /// have its own shift and tilt, and the steady stretch, shear and bend come from their priors,
    /// is chi-squared if the noise is as stated. The variance factor is
    /// `max(1, (χ² + ν₀) / (ν + ν₀))`, as if `ν₀` residuals of just the stated noise had been seen
    /// before: noise is inflated, never deflated.
    fn judge_noise(&self, readings: &[Reading]) -> Noise {
        let mut precision = Matrix5::zeros();
        let mut freedom = 0.0;
        for i in 0..TERMS - LOOSE {
            let sd = self.prior.steady_sd[LOOSE + i];
            // A term left out has no room; a flat one costs a degree of freedom.
            precision[(i, i)] = if sd == 0.0 { 1e12 } else { 1.0 / (sd * sd) };
            if sd.is_infinite() {
                precision[(i, i)] = 1e-9;
                freedom -= 1.0;
            }
        }
        let mut pull = Vector5::zeros();
        let mut square = 0.0;
        for reduced in self.reduce(readings, 1.0) {
            let loose = reduced
                .g
                .fixed_view::<LOOSE, LOOSE>(0, 0)
                .into_owned()
                .symmetric_eigen();
            let largest = loose.eigenvalues.max();
            let f = reduced.h.fixed_rows::<LOOSE>(0).into_owned();
            let cross = reduced.g.fixed_view::<5, LOOSE>(LOOSE, 0).into_owned();
            let mut g = reduced.g.fixed_view::<5, 5>(LOOSE, LOOSE).into_owned();
            let mut h = reduced.h.fixed_rows::<5>(LOOSE).into_owned();
            square += reduced.square;
            freedom += reduced.count as f64;
            for k in 0..LOOSE {
                let value = loose.eigenvalues[k];
                // What was not read (or only with a huge variance) takes no degree of freedom.
                if value <= 1e-9 * largest {
                    continue;
                }
                let v = loose.eigenvectors.column(k).into_owned();
                let along = cross * v;
                g -= along * along.transpose() / value;
                h -= along * (v.dot(&f) / value);
                square -= v.dot(&f).powi(2) / value;
                freedom -= 1.0;
            }
            precision += g;
            pull += h;
        }
        if let Some(inverse) = precision.try_inverse() {
            square -= form(&inverse, &pull);
        }
        let (square, freedom) = (square.max(0.0), freedom.max(0.0));
        let before = self.prior.noise_df;
        let factor = if before.is_infinite() || freedom == 0.0 {
            1.0
        } else {
            ((square + before) / (freedom + before)).max(1.0)
        };
        Noise {
            chi_square: square,
            degrees_of_freedom: freedom,
            factor,
        }
    }
}

/// What the residuals within sheets say about the stated noise of the points.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Noise {
    /// The residual sum of squares in units of the stated variances.
    pub chi_square: f64,
    /// Its degrees of freedom; about what `chi_square` should be.
    pub degrees_of_freedom: f64,
    /// What the stated variances were multiplied by: one or more.
    pub factor: f64,
}
