//! Geometry of test sheets, and reading them by eye and from pictures.

pub mod check_rule;
pub mod code;
mod draw;
pub mod geometry;
pub mod picture;
pub mod pin;
mod sheet;
mod target;
pub mod witness;

pub use code::{End, SetupCode, SheetCode};
pub use geometry::{Geometry, Station};
pub use pin::Observation;
pub use sheet::{SheetError, TestSheet, TestSheetSpec};
