//! What is published, counted or drawn independently, against the plans of this crate.

mod any_job;
mod counts;
mod cutting;
mod marks;
mod order;
mod places;
mod problems;
mod quality;
mod signs;
