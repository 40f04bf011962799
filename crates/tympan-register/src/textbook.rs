//! Methods as textbooks give them, checked against published values. They stand beside the model:
//! its tests compare with them, and trials between set-ups use them.

mod conjugate;
mod hotelling;
mod least_squares;
mod permutation;
mod similarity;
mod tolerance;
mod uncertainty;

pub use conjugate::{ConjugateNormal, MultivariateT, leave_one_out};
pub use hotelling::{HotellingT2, hotelling_limit, prediction_limit};
pub use least_squares::{LeastSquares, least_squares};
pub use permutation::{PermutationTest, permutation_test, smallest_attainable};
pub use similarity::{SimilarityFit, fit_rigid, fit_similarity};
pub use tolerance::{tolerance_factor, tolerance_factor_howe};
pub use uncertainty::{rectangular, resolution, triangular, welch_satterthwaite};

/// Why a textbook method has no answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum TextbookError {
    /// Fewer data than the method needs.
    #[error("too few data for this method")]
    TooFew,
    /// Data that leave the answer open, or a covariance that is not one.
    #[error("the data do not determine the answer")]
    Singular,
    /// A number outside what the method is defined for, or not finite.
    #[error("a number is outside the range of this method")]
    OutOfRange,
}
