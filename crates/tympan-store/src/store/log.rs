//! What happened to set-ups and readings.

use rusqlite::{Connection, params};
use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::{Fault, Store, from_json, to_json};
use crate::error::StoreError;
use crate::id::{ReadingId, RunId, SetUpId};
use crate::time::Timestamp;

/// One line of the log.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Event {
    /// When it happened.
    pub at: Timestamp,
    /// The set-up it happened to.
    pub setup: SetUpId,
    /// The reading it happened to, if it was one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reading: Option<ReadingId>,
    /// The run it happened to, if it was one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub run: Option<RunId>,
    /// What happened.
    pub what: Happening,
    /// The record as it was before, where one was changed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub before: Option<Value>,
}

/// What can happen to a set-up or a reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum Happening {
    /// A set-up was made.
    Created,
    /// A set-up came in from an export.
    Imported,
    /// A set-up's name or details were changed.
    Changed,
    /// A set-up was removed.
    Removed,
    /// A removed set-up was restored.
    Restored,
    /// A removed set-up was deleted for good, with its readings.
    Purged,
    /// A sheet was read.
    ReadingAdded,
    /// A reading came in from an export.
    ReadingImported,
    /// A reading was set aside.
    SetAside,
    /// A reading was brought back.
    BroughtBack,
    /// A print run was made.
    RunMade,
    /// What is known of a run was changed.
    RunChanged,
    /// A run was undone before paper moved.
    RunUndone,
    /// A run came in from an export.
    RunImported,
}

/// Adds a line to the log. `before` is the record as it was, in JSON.
pub(super) fn note(
    db: &Connection,
    setup: &SetUpId,
    reading: Option<&ReadingId>,
    what: Happening,
    before: Option<&str>,
) -> Result<(), Fault> {
    write(
        db,
        setup,
        (reading.map(ReadingId::as_str), None),
        what,
        before,
    )
}

/// Adds a line about a run to the log.
pub(super) fn note_run(
    db: &Connection,
    setup: &SetUpId,
    run: &RunId,
    what: Happening,
    before: Option<&str>,
) -> Result<(), Fault> {
    write(db, setup, (None, Some(run.as_str())), what, before)
}

fn write(
    db: &Connection,
    setup: &SetUpId,
    (reading, run): (Option<&str>, Option<&str>),
    what: Happening,
    before: Option<&str>,
) -> Result<(), Fault> {
    let word = to_json(&what)?;
    let mut statement = db.prepare_cached(
        "INSERT INTO event (at, setup, reading, run, what, before) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
    )?;
    let at = Timestamp::now().to_string();
    statement.execute(params![
        at,
        setup.as_str(),
        reading,
        run,
        word.trim_matches('"'),
        before
    ])?;
    Ok(())
}

impl Store {
    /// Everything that happened to a set-up and its readings, oldest first. A set-up that was
    /// deleted for good still has its log.
    ///
    /// # Errors
    /// When the database fails.
    pub fn history(&self, setup: &SetUpId) -> Result<Vec<Event>, StoreError> {
        self.read(|db| {
            let mut statement = db.prepare_cached(
                "SELECT at, setup, reading, run, what, before FROM event WHERE setup = ?1 \
                 ORDER BY number",
            )?;
            let mut rows = statement.query([setup.as_str()])?;
            let mut events = Vec::new();
            while let Some(row) = rows.next()? {
                let text = |column: usize| row.get::<_, Option<String>>(column);
                events.push(from_json(&to_json(&serde_json::json!({
                    "at": text(0)?, "setup": text(1)?, "reading": text(2)?, "run": text(3)?,
                    "what": text(4)?, "before": text(5)?.map(|json| from_json::<Value>(&json)).transpose()?,
                }))?)?);
            }
            Ok(events)
        })
    }
}
