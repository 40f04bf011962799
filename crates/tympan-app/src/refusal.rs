//! Saying no: what is wrong, and what to do about it.

use std::fmt;
use std::path::Path;

use tympan_inspect::AskedError;
use tympan_marks::SheetError;
use tympan_marks::pin::OffGrid;
use tympan_marks::witness::NoRoom;
use tympan_pdf::PdfError;
use tympan_pdf::draw::DrawError;
use tympan_pdf::raster::RasterError;
use tympan_press::behaviour::TeachError;
use tympan_press::find::FindError;
use tympan_press::ipp::PrinterError;
use tympan_register::FitError;
use tympan_store::StoreError;

use crate::pages::PagesError;
use crate::plan::PlanError;
use crate::words::WordsError;

/// Why something was not done, in the user's terms. Nothing was changed or written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refusal {
    /// What is wrong and where: one sentence without a full stop.
    pub message: String,
    /// What to do next, where there is something.
    pub hint: Option<String>,
}

const BROKEN_PIPE: &str = "the reader of the answer went away";

impl Refusal {
    /// A refusal with its remedy.
    pub fn new(message: impl Into<String>, hint: impl Into<String>) -> Self {
        Self {
            message: message.into(),
            hint: Some(hint.into()),
        }
    }

    /// A refusal whose reasons have been told one by one.
    pub fn said_already() -> Self {
        Self {
            message: String::new(),
            hint: None,
        }
    }

    /// Whether the reasons have been told already.
    pub fn is_said_already(&self) -> bool {
        self.message.is_empty()
    }

    /// Where stdout could not be written.
    pub fn of_stdout(error: &std::io::Error) -> Self {
        if error.kind() == std::io::ErrorKind::BrokenPipe {
            return Self {
                message: BROKEN_PIPE.to_owned(),
                hint: None,
            };
        }
        Self::new(
            format!("the answer cannot be written: {error}"),
            "check the disk",
        )
    }

    /// Whether the reader of the answer went away, which is no fault.
    pub fn is_broken_pipe(&self) -> bool {
        self.message == BROKEN_PIPE
    }

    /// A file that could not be read or written.
    pub(crate) fn file(doing: &str, path: &Path, error: &std::io::Error) -> Self {
        use std::io::ErrorKind;
        let hint = match error.kind() {
            ErrorKind::NotFound => "check the name and the folder",
            ErrorKind::PermissionDenied => "choose a folder that you may write to",
            ErrorKind::AlreadyExists => "choose another name, or remove the old file first",
            ErrorKind::StorageFull => "make room on the disk, then try again",
            _ => "check the file and the disk, then try again",
        };
        Self::new(format!("cannot {doing} {}: {error}", path.display()), hint)
    }
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.message)
    }
}

impl std::error::Error for Refusal {}

/// Errors of the crates below become refusals with their own message and hint.
macro_rules! refusal_from {
    ($($error:ty => $hint:expr),* $(,)?) => {$(
        impl From<$error> for Refusal {
            fn from(error: $error) -> Self {
                let hint: fn(&$error) -> Option<&'static str> = $hint;
                let hint = hint(&error).map(str::to_owned);
                Self { message: error.to_string(), hint }
            }
        }
    )*};
}

refusal_from! {
    PagesError => |e| Some(e.hint()),
    AskedError => |e| Some(e.hint()),
    PlanError => |e| Some(e.hint()),
    WordsError => |e| Some(e.hint()),
    SheetError => |e| Some(e.hint()),
    NoRoom => |e| Some(e.hint()),
    OffGrid => |e| Some(e.hint()),
    FitError => |e| Some(e.hint()),
    PdfError => |e| e.hint(),
    DrawError => |e| e.hint(),
    TeachError => |e| Some(e.hint()),
    RasterError => |e| e.hint(),
    FindError => |e| Some(e.hint()),
    PrinterError => |e| Some(e.hint()),
    tympan_sheet::PaperError => |_| None,
    tympan_sheet::StockError => |_| None,
}

impl From<StoreError> for Refusal {
    fn from(error: StoreError) -> Self {
        Self {
            hint: Some(error.hint().to_owned()),
            message: error.to_string(),
        }
    }
}
