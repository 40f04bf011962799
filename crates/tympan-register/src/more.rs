//! What more sheets would be worth.

use statrs::distribution::{ContinuousCDF, StudentsT};
use statrs::function::gamma::ln_gamma;

use crate::fit::Fit;
use crate::scatter::trigamma;
use crate::terms::{LOOSE, Term};

/// A 95 % half width now, and what it is expected to be after more sheets.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Change {
    /// Now, in the unit of the term.
    pub now: f64,
    /// After more sheets, on average.
    pub then: f64,
}

impl Change {
    /// Then over now.
    pub fn ratio(self) -> f64 {
        if self.now > 0.0 {
            self.then / self.now
        } else {
            1.0
        }
    }
}

/// What more sheets promise for one term. Knowing the steady error better and knowing better
/// where the next sheet will lie are different promises: sheets go on scattering.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Promise {
    /// Shift x, shift y or tilt.
    pub term: Term,
    /// Of the steady error.
    pub steady: Change,
    /// Of the next sheet.
    pub next: Change,
}

/// Expected half widths after `m` more sheets over those after `n`, for one coordinate without
/// reading noise, where `df` are the degrees of freedom of its t distribution now: the steady
/// error and the next sheet.
///
/// `t_{ν+m}/t_ν · √(n/(n+m)) · √(ν/(ν+m)) · E√(SS′/SS)`, with `SS/SS′ ~ Beta(ν/2, m/2)`; for the
/// next sheet `1 + 1/n` stands for `1/n`.
pub fn worth_without_noise(n: usize, m: usize, df: f64) -> (f64, f64) {
    let learnt = Learning { df, m: m as f64 };
    let factor = (learnt.scale_then() / learnt.scale_now()).sqrt();
    let (n, all) = (n as f64, (n + m) as f64);
    (
        factor * (n / all).sqrt(),
        factor * ((1.0 + 1.0 / all) / (1.0 + 1.0 / n)).sqrt(),
    )
}

/// How an interval of one coordinate shrinks as its variance becomes better known.
struct Learning {
    df: f64,
    m: f64,
}

impl Learning {
    /// What the variance is multiplied by within an interval now: `t²/z²`.
    fn scale_now(&self) -> f64 {
        (t(self.df) / 1.959_963_984_540_054).powi(2)
    }

    /// The same after `m` more sheets, against the variance as it is known now, on average.
    fn scale_then(&self) -> f64 {
        let (df, m) = (self.df, self.m);
        let ln_beta = |a: f64, b: f64| ln_gamma(a) + ln_gamma(b) - ln_gamma(a + b);
        let growth = if m > 0.0 {
            (ln_beta((df - 1.0) / 2.0, m / 2.0) - ln_beta(df / 2.0, m / 2.0)).exp()
        } else {
            1.0
        };
        let root = t(df + m) / 1.959_963_984_540_054 * growth;
        root * root * df / (df + m)
    }
}

fn t(df: f64) -> f64 {
    StudentsT::new(0.0, 1.0, df).map_or(f64::NAN, |d| d.inverse_cdf(0.975))
}

impl Fit {
    /// What `m` more sheets, read like those so far, are expected to bring: for shift x, shift y
    /// and tilt, in mm and degrees.
    ///
    /// The formula without noise is carried over by giving the scatter the degrees of freedom
    /// that match what is known of it, and adding the reading noise, which is known.
    pub fn worth_of(&self, m: usize) -> [Promise; LOOSE] {
        let now = self.next_sheet(&tympan_sheet::Affine::IDENTITY);
        [Term::ShiftX, Term::ShiftY, Term::Tilt].map(|term| {
            let (steady, next) = self.ratios(term as usize, m);
            let change = |now: f64, ratio: f64| Change {
                now,
                then: now * ratio,
            };
            Promise {
                term,
                steady: change(self.term(term).estimate.half_width(), steady),
                next: change(now.term(term).half_width(), next),
            }
        })
    }

    fn ratios(&self, i: usize, m: usize) -> (f64, f64) {
        let (mut mean, mut square, mut variance) = (0.0, 0.0, 0.0);
        for d in &self.draws {
            let ln = d.sigma[(i, i)].ln();
            mean += d.weight * ln;
            square += d.weight * ln * ln;
            variance += d.weight * d.sigma[(i, i)];
        }
        let df = degrees_of_freedom(square - mean * mean);
        // The t distribution's scale: what the mean would be times `(ν − 2)/ν`.
        let variance = variance * (df - 2.0) / df;
        let learnt = Learning { df, m: m as f64 };
        // A reading that says nothing of this term adds nothing.
        let noise = |reading: &crate::reading::Reduced| {
            let loose = reading.g.fixed_view::<LOOSE, LOOSE>(0, 0).into_owned();
            loose
                .try_inverse()
                .map(|inverse| inverse[(i, i)])
                .filter(|&v| v > 0.0 && v < 1e6)
        };
        let noises: Vec<f64> = self.reduced.iter().filter_map(noise).collect();
        if noises.is_empty() {
            return (1.0, 1.0);
        }
        let noise = noises.iter().sum::<f64>() / noises.len() as f64;
        let prior = self.model().prior().steady_sd[i].powi(-2);
        let width = |scale: f64, sheets: f64| {
            let own = scale * variance;
            let steady = 1.0 / (sheets / (own + noise) + prior);
            (steady.sqrt(), (own + steady).sqrt())
        };
        let n = noises.len() as f64;
        let (now, then) = (
            width(learnt.scale_now(), n),
            width(learnt.scale_then(), n + m as f64),
        );
        (then.0 / now.0, then.1 / now.1)
    }
}

/// The degrees of freedom of the inverse chi-squared distribution whose logarithm has this
/// variance: `ψ′(ν/2)`.
fn degrees_of_freedom(variance: f64) -> f64 {
    let (mut low, mut high) = (2.2_f64, 1e5_f64);
    for _ in 0..60 {
        let middle = (low * high).sqrt();
        if trigamma(middle / 2.0) > variance {
            low = middle;
        } else {
            high = middle;
        }
    }
    low
}
