//! Reading, correcting and drawing PDF files.
pub mod draw;
