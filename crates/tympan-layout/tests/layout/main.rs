//! What is published, counted or drawn independently, against the plans of this crate.

mod cutting;
mod signs;
