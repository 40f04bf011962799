//! Reading, correcting and drawing PDF files.

mod annots;
mod correct;
mod crypt;
mod dig;
mod document;
pub mod draw;
mod error;
mod form;
mod inflate;
mod output;
pub mod raster;
mod second;
mod space;

pub use correct::{
    CorrectJob, CorrectReport, Duplex, PageOut, PageReport, Progress, Source, Way, correct,
};
pub use document::{Access, Caution, Document, PageInfo};
pub use error::{PageFault, PdfError};
pub use space::{PageSpace, UserRect};
