//! Why a fit is refused.

/// Why readings cannot be turned into an answer. Readings and observations count from one, as
/// people count them.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum FitError {
    /// There is nothing to learn from.
    #[error("there are no readings")]
    NoReadings,
    /// A reading without points.
    #[error("reading {reading} holds no points")]
    NoObservations {
        /// Which reading.
        reading: usize,
    },
    /// A number that is not one.
    #[error("point {observation} of reading {reading} holds a number that is not finite")]
    NotFinite {
        /// Which reading.
        reading: usize,
        /// Which point of it.
        observation: usize,
    },
    /// A point far off the sheet.
    #[error("point {observation} of reading {reading} lies far off the sheet")]
    OffSheet {
        /// Which reading.
        reading: usize,
        /// Which point of it.
        observation: usize,
    },
    /// An error that no printer makes.
    #[error("point {observation} of reading {reading} says that the back is over 100 mm off")]
    TooLarge {
        /// Which reading.
        reading: usize,
        /// Which point of it.
        observation: usize,
    },
    /// A variance that is not positive definite.
    #[error("the uncertainty of point {observation} of reading {reading} is not a covariance")]
    BadVariance {
        /// Which reading.
        reading: usize,
        /// Which point of it.
        observation: usize,
    },
    /// A link covariance that is not positive semidefinite.
    #[error("the link uncertainty of reading {reading} is not a covariance")]
    BadLink {
        /// Which reading.
        reading: usize,
    },
    /// Several points that cannot tell a shift from a tilt.
    #[error("all points of reading {reading} lie in one place")]
    OnePlace {
        /// Which reading.
        reading: usize,
    },
    /// A sheet without a size.
    #[error("the sheet has no size")]
    BadSheet,
    /// A prior that makes no sense.
    #[error("the prior is not usable: {0}")]
    BadPrior(&'static str),
    /// Flat priors with too few data.
    #[error("the readings do not determine every term")]
    Undetermined,
}

impl FitError {
    /// What to do next.
    pub fn hint(&self) -> &'static str {
        match self {
            Self::NoReadings => "print a test sheet and read it first; three to five are better",
            Self::NoObservations { .. } => "read at least one place on each sheet",
            Self::NotFinite { .. } => "type the number again",
            Self::OffSheet { .. } => "check the paper size, and that places are in millimetres",
            Self::TooLarge { .. } => {
                "check the unit, and that the right side and the right flip were read"
            }
            Self::BadVariance { .. } | Self::BadLink { .. } => {
                "give standard uncertainties above zero, and correlations below one"
            }
            Self::OnePlace { .. } => "read at least two places far apart, best near the corners",
            Self::BadSheet => "give the sheet's width and height in millimetres",
            Self::BadPrior(_) => "use the recommended prior",
            Self::Undetermined => "use the recommended prior, or read more places on more sheets",
        }
    }
}
