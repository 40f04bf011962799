//! Reading, correcting and drawing PDF files.

mod annots;
mod changes;
pub mod contents;
mod correct;
mod crypt;
mod dig;
mod document;
pub mod draw;
mod error;
mod form;
mod guard;
pub mod impose;
mod inflate;
mod layers;
mod loss;
mod mark;
mod output;
pub mod raster;
mod second;
mod serial;
mod space;
mod structure;
mod tree;
mod weight;

pub use correct::{
    CorrectJob, CorrectReport, Duplex, Over, PageOut, PageReport, Progress, Source, Way, correct,
    correct_opened,
};
pub use document::{Access, Caution, Document, PageInfo};
pub use error::{PageFault, PdfError};
pub use loss::{Lost, Measure};
pub use mark::{Mark, PassMark};
pub use space::{PageSpace, UserRect};
