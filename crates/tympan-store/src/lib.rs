//! Set-ups and readings, kept in one SQLite file.
//!
//! A [`Store`] is one data folder ([`data_folder`] tells which). It holds [`SetUp`]s, the
//! [`ReadingRecord`]s and [`RunRecord`]s that belong to them and a log of what happened to all. What a call has
//! stored when it returns survives a crash or a power cut; of several readings given in one call
//! all are stored or none. Nothing is deleted without being asked for by name: set-ups are removed
//! and can be restored, readings are set aside for a reason and can be brought back.
//!
//! [`Export`] is the same data as documented JSON (`docs/data-format.md`).

mod error;
mod folder;
mod id;
mod reading;
mod run;
mod schema;
mod set_up;
mod store;
mod time;
mod transfer;
mod witness;

pub use error::StoreError;
pub use folder::data_folder;
pub use id::{NotAnId, ReadingId, RunId, SetUpId};
pub use reading::{CheckRules, ReadingRecord, SetAside, Way};
pub use run::{MOST_SHEETS, RunRecord, RunState, Sent, Span, Spoiled};
pub use set_up::{FlippedBy, LAST_SHEET, SetUp, Tray, Unprintable};
pub use store::{Event, FILE_NAME, Happening, Purged, Store};
pub use time::{NotATimestamp, Timestamp};
pub use transfer::{Export, IdPolicy, Imported, ImportedSetUp, Outcome};
pub use witness::WitnessRecord;
