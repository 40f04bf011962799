//! The statistics of register: steady error, scatter and what the next sheet will do.
//!
//! Pure: no input or output, and the same readings give the same bits.
//!
//! [`Model::fit`] learns from [`Reading`]s; a [`Fit`] tells the steady error, the scatter and,
//! through [`Fit::next_sheet`], what the next sheet will do and which bleed and border that asks
//! for. [`correction()`] turns a steady error into what moves the content of the pages.

mod belong;
mod cards;
mod correction;
mod error;
mod fit;
mod model;
mod more;
mod next;
mod numeric;
mod prior;
mod reading;
mod scatter;
mod terms;
pub mod textbook;

pub use belong::Belonging;
pub use cards::{Cards, Cutting, Look};
pub use correction::{Correction, Sides, correction, correction_of_placements};
pub use error::FitError;
pub use fit::{Estimate, Fit, Scatter, SteadyError, TermEstimate};
pub use model::{Model, Noise};
pub use more::{Change, Promise, worth_without_noise};
pub use next::{NextSheet, Quantiles};
pub use prior::Prior;
pub use reading::{Observation, Reading};
pub use terms::{Basis, Field, Term};
