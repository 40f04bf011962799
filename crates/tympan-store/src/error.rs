//! What can go wrong, said so that the user can act.

use std::io;
use std::path::{Path, PathBuf};

use rusqlite::{ErrorCode, ffi};

use crate::id::{ReadingId, RunId, SetUpId};

/// Why something was not stored, found or opened. [`StoreError::hint`] says what to do.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum StoreError {
    /// Nothing tells whose data it is.
    #[error("there is no home folder to keep the data in")]
    NoDataFolder,
    /// The data folder cannot be made or used.
    #[error("the data folder {} cannot be used: {source}", folder.display())]
    Folder {
        /// The folder.
        folder: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// The folder or the database may only be read.
    #[error("{} cannot be written", file.display())]
    ReadOnly {
        /// The database.
        file: PathBuf,
    },
    /// Not SQLite at all.
    #[error("{} is not a database", file.display())]
    NotADatabase {
        /// The file.
        file: PathBuf,
    },
    /// SQLite, but not of this program.
    #[error("{} belongs to another program", file.display())]
    OtherProgram {
        /// The file.
        file: PathBuf,
    },
    /// Written by a newer version.
    #[error(
        "{} was written by a newer version of Tympan (its format is {found}, this version knows up \
         to {known})", file.display()
    )]
    NewerDatabase {
        /// The database.
        file: PathBuf,
        /// The version of the file's format.
        found: i64,
        /// The newest that this version knows.
        known: i64,
    },
    /// The file's contents do not hold together.
    #[error("{} is damaged: {reason}", file.display())]
    Damaged {
        /// The database.
        file: PathBuf,
        /// What is wrong.
        reason: String,
    },
    /// Another program holds the database for longer than this one waits.
    #[error("{} is in use by another program", file.display())]
    Locked {
        /// The database.
        file: PathBuf,
    },
    /// No room left.
    #[error("the disk is full: nothing was stored in {}", file.display())]
    DiskFull {
        /// The database.
        file: PathBuf,
    },
    /// The disk failed, or any other fault of the database.
    #[error("{} failed: {source}", file.display())]
    Database {
        /// The database.
        file: PathBuf,
        /// What SQLite said.
        source: rusqlite::Error,
    },
    /// No set-up of that name.
    #[error("there is no set-up named \"{name}\"")]
    UnknownSetUp {
        /// The name asked for.
        name: String,
        /// The names that there are.
        known: Vec<String>,
        /// Whether a removed set-up has that name.
        removed: bool,
    },
    /// No set-up of that id.
    #[error("there is no set-up with the id {0}")]
    UnknownSetUpId(SetUpId),
    /// No reading of that id.
    #[error("there is no reading with the id {0}")]
    UnknownReading(ReadingId),
    /// Another set-up has the name.
    #[error("there is a set-up named \"{0}\" already")]
    NameTaken(String),
    /// The name cannot be used.
    #[error("\"{name}\" cannot be a set-up's name: {reason}")]
    BadName {
        /// The name.
        name: String,
        /// Why.
        reason: &'static str,
    },
    /// The set-up holds something absurd.
    #[error("the set-up \"{name}\" cannot be stored: {reason}")]
    BadSetUp {
        /// Its name.
        name: String,
        /// Why.
        reason: String,
    },
    /// The reading holds something absurd.
    #[error("the reading of {} cannot be stored: {reason}", sheet_words(*sheet))]
    BadReading {
        /// The sheet's number.
        sheet: Option<u32>,
        /// Why.
        reason: String,
    },
    /// Sheets with witness marks hold something absurd.
    #[error("the sheets {code} with witness marks cannot be kept: {reason}")]
    BadWitness {
        /// What their marks say.
        code: String,
        /// What is absurd.
        reason: String,
    },
    /// No run of that id.
    #[error("there is no run {0}")]
    UnknownRun(RunId),
    /// The run holds something absurd.
    #[error("the run \"{name}\" cannot be stored: {reason}")]
    BadRun {
        /// Its name.
        name: String,
        /// Why.
        reason: String,
    },
    /// Too late to undo.
    #[error("the run \"{0}\" cannot be undone: paper has moved")]
    PaperMoved(String),
    /// The id is in use.
    #[error("the id {0} is in use already")]
    IdTaken(String),
    /// The readings would lose their meaning.
    #[error(
        "the {what} of \"{name}\" cannot change: it has {readings} readings taken with the old one"
    )]
    HasReadings {
        /// The set-up's name.
        name: String,
        /// What would change.
        what: &'static str,
        /// How many readings it has.
        readings: usize,
    },
    /// The set-up was removed.
    #[error("the set-up \"{0}\" is removed")]
    Removed(String),
    /// Only removed set-ups can be restored or deleted for good.
    #[error("the set-up \"{0}\" is not removed")]
    NotRemoved(String),
    /// More sheets than numbers.
    #[error(
        "the set-up \"{name}\" has used {issued} of {} sheet numbers",
        crate::LAST_SHEET
    )]
    NoSheetNumbers {
        /// The set-up's name.
        name: String,
        /// How many are used.
        issued: u32,
    },
    /// Set aside twice.
    #[error("the reading {0} is set aside already")]
    AlreadySetAside(ReadingId),
    /// Brought back without having been set aside.
    #[error("the reading {0} is not set aside")]
    NotSetAside(ReadingId),
    /// Set aside without a reason.
    #[error("a reading is set aside for a reason of one line, and none was given")]
    NoReason,
    /// The file to import is not one.
    #[error("this is not an export of set-ups: {0}")]
    NotAnExport(String),
    /// The file to import is of a later version.
    #[error("this export is of format {found}; this version knows up to {known}")]
    NewerExport {
        /// The version of its format.
        found: u64,
        /// The newest that this version knows.
        known: u64,
    },
    /// The same id, but something else.
    #[error("\"{name}\" in the file and here have the same id but differ in {what}")]
    Clash {
        /// The set-up's name in the file.
        name: String,
        /// What differs.
        what: String,
    },
    /// Never overwritten.
    #[error("{} exists already", .0.display())]
    FileExists(PathBuf),
    /// A back-up could not be written.
    #[error("{} cannot be written: {source}", file.display())]
    Write {
        /// The file.
        file: PathBuf,
        /// What the system said.
        source: io::Error,
    },
}

fn sheet_words(sheet: Option<u32>) -> String {
    sheet.map_or_else(|| "a sheet".into(), |n| format!("sheet {n}"))
}

const OTHER_FOLDER: &str = "choose another data folder with --data or TYMPAN_DATA";

impl StoreError {
    /// What to do next.
    pub fn hint(&self) -> String {
        match self {
            Self::NoDataFolder => "name a folder for the data with --data or TYMPAN_DATA".into(),
            Self::Folder { .. } => {
                format!("make it a folder that you may write in, or {OTHER_FOLDER}")
            }
            Self::ReadOnly { .. } => {
                format!("allow writing in the folder and to its files, or {OTHER_FOLDER}")
            }
            Self::NotADatabase { .. } | Self::OtherProgram { .. } => {
                format!("move that file away or put a back-up in its place, or {OTHER_FOLDER}")
            }
            Self::NewerDatabase { .. } => {
                format!("use the newer version; nothing was changed; or {OTHER_FOLDER}")
            }
            Self::Damaged { .. } => "keep the damaged file, and put a back-up or an import of an \
                                     export in its place"
                .into(),
            Self::Locked { .. } => "wait until the other program is done, then do it again".into(),
            Self::DiskFull { .. } => {
                "make room and do it again; what was stored before is safe".into()
            }
            Self::Database { .. } => {
                "do it again; if it stays, check the disk and put a back-up in its place".into()
            }
            Self::UnknownSetUp {
                name,
                removed: true,
                ..
            } => {
                format!("it was removed; restore it with: tympan setup restore \"{name}\"")
            }
            Self::UnknownSetUp { known, .. } if known.is_empty() => {
                "there are none yet; make one with: tympan setup new NAME --paper a4".into()
            }
            Self::UnknownSetUp { known, .. } => format!("there are: {}", known.join(", ")),
            Self::UnknownSetUpId(_) => {
                "it was made in another data folder: export it there and import it here".into()
            }
            Self::UnknownReading(_) => "list the readings of the set-up to see their ids".into(),
            Self::NameTaken(_) => "choose another name, or rename or remove the other one".into(),
            Self::BadName { .. } => "choose a name of 1 to 80 characters on one line".into(),
            Self::BadSetUp { .. } | Self::BadRun { .. } | Self::BadWitness { .. } => {
                "correct that and do it again".into()
            }
            Self::UnknownRun(_) => "tympan log --setup NAME lists the runs of a set-up".into(),
            Self::PaperMoved(_) => {
                "say which sheets were spoiled with run --spoiled, and make them again with run \
                 --again"
                    .into()
            }
            Self::BadReading { .. } => "read the sheet again; nothing was stored".into(),
            Self::IdTaken(_) => "it is stored already, or import it as a copy".into(),
            Self::HasReadings { .. } => {
                "another way of working is another set-up: copy this one and change the copy".into()
            }
            Self::Removed(_) => "restore it first".into(),
            Self::NotRemoved(_) => "remove it first".into(),
            Self::NoSheetNumbers { .. } => "ask for fewer sheets, or copy the set-up".into(),
            Self::AlreadySetAside(_) => "bring it back first to give another reason".into(),
            Self::NotSetAside(_) => "it is in use; nothing is to be done".into(),
            Self::NoReason => "say in a few words why".into(),
            Self::NotAnExport(_) => "choose a file that was made by: tympan setup export".into(),
            Self::NewerExport { .. } => "import it with the newer version".into(),
            Self::Clash { .. } => {
                "nothing was imported; import it as copies, which get ids of their own".into()
            }
            Self::FileExists(_) => "choose another name; nothing is overwritten".into(),
            Self::Write { .. } => "choose a folder that you may write in and that has room".into(),
        }
    }

    /// What a fault of SQLite means for this file.
    pub(crate) fn sqlite(file: &Path, source: rusqlite::Error) -> Self {
        let file = file.to_path_buf();
        // What SQLite says where there is no room for the file that processes share.
        let no_room = source.sqlite_extended_error_code() == Some(ffi::SQLITE_IOERR_SHMSIZE);
        if no_room {
            return Self::DiskFull { file };
        }
        match source.sqlite_error_code() {
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => Self::Locked { file },
            Some(ErrorCode::DiskFull) => Self::DiskFull { file },
            Some(ErrorCode::ReadOnly | ErrorCode::CannotOpen | ErrorCode::PermissionDenied) => {
                Self::ReadOnly { file }
            }
            Some(ErrorCode::NotADatabase) => Self::NotADatabase { file },
            Some(ErrorCode::DatabaseCorrupt) => Self::Damaged {
                file,
                reason: source.to_string(),
            },
            _ => Self::Database { file, source },
        }
    }
}
