//! New sheets from old pages and pictures.
//!
//! [`Sources`] are files of art: PDFs, pictures, SVG. An [`Art`] is one side of one piece on one of
//! their pages. A [`SheetPage`] is a new page with arts placed on it. [`write()`] makes the file.
//!
//! Pages of PDFs stay as they are: each becomes one form XObject, drawn as often as it is needed
//! through clips and matrices, so that vectors stay vectors, and fonts and pictures are shared.
//! Pictures keep their compressed bytes where PDF can carry them, each once in the file. SVG becomes
//! vectors. The same inputs always give the same bytes.

mod art;
mod check;
mod error;
mod job;
mod ops;
mod picture;
mod piece;
mod sources;
mod splice;
mod svg;
mod tint;
mod write;

pub use check::check;
pub use error::{Fault, ImposeError, Problem, SourceError};
pub use job::{
    Art, ArtId, Bleed, BleedBy, Boxes, Edges, Fit, ImposeJob, ImposeReport, Overlay, Placement,
    SheetPage,
};
pub use picture::PictureFault;
pub use sources::{SourceId, SourcePage, Sources};
pub use write::write;
