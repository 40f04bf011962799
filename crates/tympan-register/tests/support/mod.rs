//! What the tests and the coverage report share.

pub(crate) mod printer;
pub(crate) mod tally;
