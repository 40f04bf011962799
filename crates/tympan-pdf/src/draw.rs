//! Drawings as PDF and as SVG.
//!
//! A [`Drawing`](tympan_sheet::drawing::Drawing) is in mm with y down. Its PDF is in vectors at
//! true size, with the faces embedded as subsets, black as black ink alone (`DeviceGray`), and the
//! same bytes every time for the same drawings.

mod content;
mod embed;
mod error;
mod faces;
mod pdf;
pub mod svg;

pub use crate::Duplex;
pub use error::DrawError;
pub use faces::{cap_height, missing_characters, text_width};
pub use pdf::{Meta, write};
