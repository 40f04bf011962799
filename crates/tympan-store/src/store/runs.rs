//! Print runs: making them, and what becomes of them.

use rusqlite::{Connection, params};

use super::log::{Happening, note_run};
use super::set_ups::{by_id, present};
use super::{Fault, Store, records, to_json};
use crate::error::StoreError;
use crate::id::{RunId, SetUpId};
use crate::run::{RunRecord, RunState};

impl Store {
    /// Stores a new run.
    ///
    /// # Errors
    /// [`StoreError::BadRun`], [`StoreError::UnknownSetUpId`], [`StoreError::Removed`],
    /// [`StoreError::IdTaken`].
    pub fn add_run(&mut self, run: &RunRecord) -> Result<(), StoreError> {
        self.write(|db| {
            present(by_id(db, &run.setup)?)?;
            insert(db, run, Happening::RunMade)
        })
    }

    /// All runs of a set-up, the oldest first.
    ///
    /// # Errors
    /// When the database fails.
    pub fn runs(&self, setup: &SetUpId) -> Result<Vec<RunRecord>, StoreError> {
        self.read(|db| of(db, setup))
    }

    /// One run.
    ///
    /// # Errors
    /// [`StoreError::UnknownRun`].
    pub fn run(&self, id: &RunId) -> Result<RunRecord, StoreError> {
        self.read(|db| known(db, id))
    }

    /// The run that was made last and not undone, of whatever set-up.
    ///
    /// # Errors
    /// When the database fails.
    pub fn last_run(&self) -> Result<Option<RunRecord>, StoreError> {
        self.read(|db| {
            let query =
                "SELECT record FROM run WHERE state <> 'undone' ORDER BY number DESC LIMIT 1";
            Ok(records(db, query, [])?.pop())
        })
    }

    /// Changes what is known of a run: its state, its spoiled sheets, what it is made from. What it
    /// is of stays as it is stored.
    ///
    /// # Errors
    /// [`StoreError::PaperMoved`] where it would be undone after paper has moved,
    /// [`StoreError::UnknownRun`], [`StoreError::BadRun`].
    pub fn change_run(&mut self, run: &RunRecord) -> Result<RunRecord, StoreError> {
        self.write(|db| {
            let old = known(db, &run.id)?;
            let undone = run.state == RunState::Undone;
            if undone && matches!(old.state, RunState::Printing | RunState::Done) {
                return Err(StoreError::PaperMoved(old.name).into());
            }
            let new = RunRecord {
                setup: old.setup.clone(),
                name: old.name.clone(),
                made: old.made,
                sheets: old.sheets,
                ..run.clone()
            };
            new.check()?;
            db.execute(
                "UPDATE run SET record = ?2 WHERE id = ?1",
                params![new.id.as_str(), to_json(&new)?],
            )?;
            let what = if undone {
                Happening::RunUndone
            } else {
                Happening::RunChanged
            };
            note_run(db, &new.setup, &new.id, what, Some(&to_json(&old)?))?;
            Ok(new)
        })
    }
}

/// Stores a run that is not there yet.
pub(crate) fn insert(db: &Connection, run: &RunRecord, what: Happening) -> Result<(), Fault> {
    run.check()?;
    if find(db, &run.id)?.is_some() {
        return Err(StoreError::IdTaken(run.id.to_string()).into());
    }
    db.execute(
        "INSERT INTO run (id, setup, record) VALUES (?1, ?2, ?3)",
        params![run.id.as_str(), run.setup.as_str(), to_json(run)?],
    )?;
    note_run(db, &run.setup, &run.id, what, None)
}

pub(crate) fn find(db: &Connection, id: &RunId) -> Result<Option<RunRecord>, Fault> {
    let query = "SELECT record FROM run WHERE id = ?1";
    Ok(records(db, query, [id.as_str()])?.pop())
}

fn known(db: &Connection, id: &RunId) -> Result<RunRecord, Fault> {
    find(db, id)?.ok_or_else(|| StoreError::UnknownRun(id.clone()).into())
}

pub(crate) fn of(db: &Connection, setup: &SetUpId) -> Result<Vec<RunRecord>, Fault> {
    let query = "SELECT record FROM run WHERE setup = ?1 ORDER BY number";
    records(db, query, [setup.as_str()])
}
