//! Sheets with witness marks: keeping where their marks are.

use rusqlite::{Connection, params};

use super::set_ups::{by_id, present};
use super::{Fault, Store, records, to_json};
use crate::error::StoreError;
use crate::id::SetUpId;
use crate::witness::WitnessRecord;

impl Store {
    /// Keeps where the marks of these sheets are. The same sheets may be kept again, and are then
    /// kept once.
    ///
    /// # Errors
    /// [`StoreError::IdTaken`] where other sheets have this code,
    /// [`StoreError::BadWitness`], [`StoreError::UnknownSetUpId`], [`StoreError::Removed`].
    pub fn add_witness(&mut self, witness: &WitnessRecord) -> Result<(), StoreError> {
        self.write(|db| {
            present(by_id(db, &witness.setup)?)?;
            insert(db, witness).map(drop)
        })
    }

    /// All sheets with witness marks of a set-up, the oldest first.
    ///
    /// # Errors
    /// When the database fails.
    pub fn witnesses(&self, setup: &SetUpId) -> Result<Vec<WitnessRecord>, StoreError> {
        self.read(|db| of(db, setup))
    }
}

/// Keeps sheets that are not there yet; tells whether they are new.
pub(crate) fn insert(db: &Connection, witness: &WitnessRecord) -> Result<bool, Fault> {
    witness.check()?;
    let query = "SELECT record FROM witness WHERE code = ?1";
    let known: Option<WitnessRecord> = records(db, query, [witness.code.as_str()])?.pop();
    if let Some(known) = known {
        let same = WitnessRecord {
            made: known.made,
            ..witness.clone()
        } == known;
        return if same {
            Ok(false)
        } else {
            Err(StoreError::IdTaken(witness.code.clone()).into())
        };
    }
    db.execute(
        "INSERT INTO witness (code, setup, record) VALUES (?1, ?2, ?3)",
        params![witness.code, witness.setup.as_str(), to_json(witness)?],
    )?;
    Ok(true)
}

pub(crate) fn of(db: &Connection, setup: &SetUpId) -> Result<Vec<WitnessRecord>, Fault> {
    let query = "SELECT record FROM witness WHERE setup = ?1 ORDER BY number";
    records(db, query, [setup.as_str()])
}
