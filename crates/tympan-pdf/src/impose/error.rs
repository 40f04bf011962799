//! What can be wrong with art and its places: all of it at once, each by its name.

use std::fmt;
use std::io;
use std::path::PathBuf;

use tympan_sheet::Size;

use super::PictureFault;
use crate::draw::DrawError;
use crate::error::PdfError;

/// Why a file cannot be a source of art.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SourceError {
    /// The file could not be read from the disk.
    #[error("{} cannot be read: {source}", file.display())]
    Read {
        /// The file.
        file: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// It is a PDF that cannot be used.
    #[error(transparent)]
    Pdf(#[from] PdfError),
    /// It is a picture that cannot be used.
    #[error("{} cannot be used: {fault}", file.display())]
    Picture {
        /// The file.
        file: PathBuf,
        /// What is wrong with it.
        fault: PictureFault,
    },
}

impl SourceError {
    /// What to do about it.
    pub fn hint(&self) -> Option<&'static str> {
        match self {
            Self::Read { source, .. } if source.kind() == io::ErrorKind::NotFound => {
                Some("check the name, and that the file is where the list says")
            }
            Self::Read { .. } => Some("check the path, and that you may read the file"),
            Self::Pdf(e) => e.hint(),
            Self::Picture { fault, .. } => Some(fault.hint()),
        }
    }

    /// Whether it is a PDF that opens only with a password, or with another one than was given.
    pub fn is_locked(&self) -> bool {
        matches!(self, Self::Pdf(error) if error.is_locked())
    }
}

/// One thing that is wrong with an art or a place.
#[derive(Clone, Debug, PartialEq)]
pub struct Problem {
    /// The art's name.
    pub art: String,
    /// What is wrong.
    pub fault: Fault,
}

/// What is wrong with an art or its place.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum Fault {
    /// The art lies on a page that its file does not have, or cannot show.
    #[error("{0}")]
    Page(String),
    /// Its rectangle has no size or lies beside its page.
    #[error("its part of page {page} lies outside the page or has no size")]
    Window {
        /// The page, counted from 1.
        page: usize,
    },
    /// Its size is not that of its place.
    #[error(
        "it is {:.1} × {:.1} mm, and its place is {:.1} × {:.1} mm", art.w, art.h, place.w, place.h
    )]
    OtherSize {
        /// The art's size, mm.
        art: Size,
        /// The place's size, mm.
        place: Size,
    },
    /// A place that makes no sense.
    #[error("its place on page {page} squeezes it flat or is no number")]
    Place {
        /// The page of the output, counted from 1.
        page: usize,
    },
    /// Its picture could not be read when it was needed.
    #[error("{0}")]
    Unreadable(String),
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.art, self.fault)
    }
}

impl Problem {
    /// What to do about it.
    pub fn hint(&self) -> &'static str {
        match self.fault {
            Fault::Page(_) => "check the page number, or print that page to a new PDF and use that",
            Fault::Window { .. } => "check where the piece lies on its page",
            Fault::OtherSize { .. } => {
                "choose whether it is shown whole, fills its place or is distorted to its size"
            }
            Fault::Place { .. } => "check the stretch: it is a small percentage, not a factor",
            Fault::Unreadable(_) => "export the picture again, and check that nothing changes it",
        }
    }
}

/// Why nothing was written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ImposeError {
    /// Arts or places that cannot be used: all that were found.
    #[error("{}", all(.0))]
    Problems(Vec<Problem>),
    /// Marks or words that cannot be drawn.
    #[error(transparent)]
    Draw(#[from] DrawError),
    /// Anything about the output, and a stop that was asked for.
    #[error(transparent)]
    Pdf(#[from] PdfError),
}

fn all(problems: &[Problem]) -> String {
    let lines: Vec<_> = problems.iter().map(ToString::to_string).collect();
    lines.join("\n")
}

impl ImposeError {
    /// What to do about it.
    pub fn hint(&self) -> Option<&'static str> {
        match self {
            Self::Problems(problems) => problems.first().map(Problem::hint),
            Self::Draw(e) => e.hint(),
            Self::Pdf(e) => e.hint(),
        }
    }
}
