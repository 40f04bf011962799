//! What can go wrong with a PDF file, said so that its owner can act.

use std::io;
use std::path::PathBuf;

/// Why a file was not read, corrected or written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PdfError {
    /// The file could not be opened or read at all.
    #[error("{} cannot be read: {source}", file.display())]
    Read {
        /// The file.
        file: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// The file has no trace of a PDF in it.
    #[error("{} is not a PDF file", file.display())]
    NotPdf {
        /// The file.
        file: PathBuf,
    },
    /// The file opens only with a password and none was given.
    #[error("{} is locked with a password", file.display())]
    PasswordNeeded {
        /// The file.
        file: PathBuf,
    },
    /// The password given is not the file's.
    #[error("the password does not open {}", file.display())]
    PasswordWrong {
        /// The file.
        file: PathBuf,
    },
    /// The file is encrypted in a way that cannot be read.
    #[error("{} is encrypted in a way that is not known: {reason}", file.display())]
    EncryptionUnknown {
        /// The file.
        file: PathBuf,
        /// What the reader said.
        reason: String,
    },
    /// The owner's permission flags forbid what is asked.
    #[error("the owner of {} does not allow {what}", file.display())]
    Forbidden {
        /// The file.
        file: PathBuf,
        /// What is forbidden, as it follows "does not allow".
        what: &'static str,
    },
    /// The file is too badly damaged to be repaired.
    #[error("{} is damaged and could not be repaired: {reason}", file.display())]
    Damaged {
        /// The file.
        file: PathBuf,
        /// What the reader said.
        reason: String,
    },
    /// The file has no pages.
    #[error("{} has no pages", file.display())]
    NoPages {
        /// The file.
        file: PathBuf,
    },
    /// A page that the file does not have was asked for.
    #[error("{} has no page {page}; it has {pages}", file.display())]
    NoSuchPage {
        /// The file.
        file: PathBuf,
        /// The page asked for, counted from 1.
        page: usize,
        /// How many pages there are.
        pages: usize,
    },
    /// One page cannot be handled.
    #[error("{}, page {page}: {reason}", file.display())]
    Page {
        /// The file.
        file: PathBuf,
        /// The page, counted from 1.
        page: usize,
        /// What is wrong with it.
        reason: PageFault,
    },
    /// The job asks for no pages.
    #[error("no pages were asked for")]
    NothingToDo,
    /// The output would overwrite something.
    #[error("{} already exists", file.display())]
    OutputExists {
        /// The file.
        file: PathBuf,
    },
    /// The output is one of the sources.
    #[error("{} is the file being corrected; it is never overwritten", file.display())]
    OutputIsSource {
        /// The file.
        file: PathBuf,
    },
    /// The output could not be written.
    #[error("{} cannot be written: {reason}", file.display())]
    Write {
        /// The file.
        file: PathBuf,
        /// What the system or the writer said.
        reason: String,
    },
    /// What was written did not read back as what was meant; nothing was kept.
    #[error("{} did not read back as it should: {reason}; nothing was kept", file.display())]
    Unproven {
        /// The file.
        file: PathBuf,
        /// What was found instead.
        reason: String,
    },
    /// The work was stopped as asked.
    #[error("stopped; nothing was written")]
    Cancelled,
}

/// What is wrong with one page.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum PageFault {
    /// The page's boxes leave nothing to show, or are not numbers that make sense.
    #[error("its size makes no sense")]
    Size,
    /// The transform asked for squeezes the page flat or is not finite.
    #[error("the transform asked for would squeeze it flat")]
    Transform,
    /// Its content cannot be decoded; moving it might leave a blank page.
    #[error("its content is damaged and cannot be decoded")]
    Content,
    /// Its content decodes to more than can be held.
    #[error("its content is far too large")]
    TooLarge,
    /// Something in it is not what it should be.
    #[error("{0}")]
    Other(String),
}

impl PdfError {
    /// Whether the file opens only with a password, or with another one than was given.
    pub fn is_locked(&self) -> bool {
        matches!(
            self,
            Self::PasswordNeeded { .. } | Self::PasswordWrong { .. }
        )
    }

    /// What to do next, where there is something to do.
    pub fn hint(&self) -> Option<&'static str> {
        Some(match self {
            Self::Read { .. } => "check the path, and that you may read the file",
            Self::NotPdf { .. } => "export or print your design to PDF first",
            Self::PasswordNeeded { .. } => "give the password that opens it",
            Self::PasswordWrong { .. } => "check capitals and keyboard layout, and try again",
            Self::EncryptionUnknown { .. } => {
                "open it in the program it was made for and save a copy without encryption"
            }
            Self::Forbidden { .. } => {
                "give the owner's password if you have it, or ask the publisher for a file that \
                 may be changed"
            }
            Self::Damaged { .. } => {
                "download or export it again, or print it to a new PDF from a viewer that shows it"
            }
            Self::NoPages { .. } => "check that it is the right file",
            Self::NoSuchPage { .. } => "pages are counted from 1, as the viewer counts them",
            Self::Page {
                reason: PageFault::Transform,
                ..
            } => "check the stretch: it is a small percentage, not a factor",
            Self::Page { .. } => {
                "print that page to a new PDF from a viewer that shows it, and use that"
            }
            Self::NothingToDo => "name the pages to correct",
            Self::OutputExists { .. } | Self::OutputIsSource { .. } => {
                "choose another name for the output, or move the old file away"
            }
            Self::Write { .. } => {
                "check that the folder exists, that you may write to it and that the disk is not \
                 full"
            }
            Self::Unproven { .. } => "check that the disk is sound, and try again",
            Self::Cancelled => return None,
        })
    }
}
