//! Readings: adding them, and setting them aside.

use rusqlite::{Connection, params};

use super::log::{Happening, note};
use super::set_ups::{by_id, count_readings, present};
use super::{Fault, Store, records, to_json};
use crate::error::StoreError;
use crate::id::{ReadingId, SetUpId};
use crate::reading::{ReadingRecord, SetAside, check_reason};
use crate::time::Timestamp;

impl Store {
    /// Stores readings, of one or several set-ups: all of them or none.
    ///
    /// # Errors
    /// [`StoreError::BadReading`], [`StoreError::UnknownSetUpId`], [`StoreError::Removed`],
    /// [`StoreError::IdTaken`].
    pub fn add_readings(&mut self, readings: &[ReadingRecord]) -> Result<(), StoreError> {
        self.write(|db| add(db, readings))
    }

    /// Stores readings and sets aside those that they replace, all of it or nothing.
    ///
    /// # Errors
    /// As for [`Store::add_readings`] and [`Store::set_aside`].
    pub fn replace_readings(
        &mut self,
        replaced: &[ReadingId],
        readings: &[ReadingRecord],
        reason: &str,
    ) -> Result<(), StoreError> {
        self.write(|db| {
            for id in replaced {
                lay_aside(db, id, reason)?;
            }
            add(db, readings)
        })
    }

    /// Stores one reading.
    ///
    /// # Errors
    /// As for [`Store::add_readings`].
    pub fn add_reading(&mut self, reading: &ReadingRecord) -> Result<(), StoreError> {
        self.add_readings(std::slice::from_ref(reading))
    }

    /// All readings of a set-up in the order in which they came in, those set aside too.
    ///
    /// # Errors
    /// When the database fails.
    pub fn readings(&self, setup: &SetUpId) -> Result<Vec<ReadingRecord>, StoreError> {
        self.read(|db| of(db, setup))
    }

    /// The readings of a set-up that are to be learnt from, in the order in which they came in.
    ///
    /// # Errors
    /// When the database fails.
    pub fn readings_in_use(&self, setup: &SetUpId) -> Result<Vec<ReadingRecord>, StoreError> {
        self.read(|db| {
            records(
                db,
                "SELECT record FROM reading WHERE setup = ?1 AND set_aside IS NULL ORDER BY number",
                [setup.as_str()],
            )
        })
    }

    /// How many readings a set-up has, those set aside too.
    ///
    /// # Errors
    /// When the database fails.
    pub fn reading_count(&self, setup: &SetUpId) -> Result<usize, StoreError> {
        self.read(|db| count_readings(db, setup))
    }

    /// One reading.
    ///
    /// # Errors
    /// [`StoreError::UnknownReading`].
    pub fn reading(&self, id: &ReadingId) -> Result<ReadingRecord, StoreError> {
        self.read(|db| known(db, id))
    }

    /// Sets a reading aside: it is kept, and not learnt from.
    ///
    /// # Errors
    /// [`StoreError::NoReason`], [`StoreError::AlreadySetAside`], [`StoreError::UnknownReading`].
    pub fn set_aside(&mut self, id: &ReadingId, reason: &str) -> Result<ReadingRecord, StoreError> {
        self.write(|db| lay_aside(db, id, reason))
    }

    /// Brings back a reading that was set aside.
    ///
    /// # Errors
    /// [`StoreError::NotSetAside`], [`StoreError::UnknownReading`].
    pub fn bring_back(&mut self, id: &ReadingId) -> Result<ReadingRecord, StoreError> {
        self.write(|db| {
            let old = known(db, id)?;
            if old.is_in_use() {
                return Err(StoreError::NotSetAside(id.clone()).into());
            }
            let new = ReadingRecord {
                set_aside: None,
                ..old.clone()
            };
            replace(db, &old, new, Happening::BroughtBack)
        })
    }
}

/// Stores a reading that is not there yet.
pub(crate) fn insert(
    db: &Connection,
    reading: &ReadingRecord,
    what: Happening,
) -> Result<(), Fault> {
    reading.check()?;
    if find(db, &reading.id)?.is_some() {
        return Err(StoreError::IdTaken(reading.id.to_string()).into());
    }
    let mut statement =
        db.prepare_cached("INSERT INTO reading (id, setup, record) VALUES (?1, ?2, ?3)")?;
    let (id, setup) = (reading.id.as_str(), reading.setup.as_str());
    statement.execute(params![id, setup, to_json(reading)?])?;
    note(db, &reading.setup, Some(&reading.id), what, None)
}

fn replace(
    db: &Connection,
    old: &ReadingRecord,
    new: ReadingRecord,
    what: Happening,
) -> Result<ReadingRecord, Fault> {
    db.execute(
        "UPDATE reading SET record = ?2 WHERE id = ?1",
        params![new.id.as_str(), to_json(&new)?],
    )?;
    note(db, &new.setup, Some(&new.id), what, Some(&to_json(old)?))?;
    Ok(new)
}

pub(crate) fn find(db: &Connection, id: &ReadingId) -> Result<Option<ReadingRecord>, Fault> {
    Ok(records(
        db,
        "SELECT record FROM reading WHERE id = ?1",
        [id.as_str()],
    )?
    .pop())
}

fn add(db: &Connection, readings: &[ReadingRecord]) -> Result<(), Fault> {
    for reading in readings {
        present(by_id(db, &reading.setup)?)?;
        insert(db, reading, Happening::ReadingAdded)?;
    }
    Ok(())
}

fn lay_aside(db: &Connection, id: &ReadingId, reason: &str) -> Result<ReadingRecord, Fault> {
    check_reason(reason)?;
    let old = known(db, id)?;
    if !old.is_in_use() {
        return Err(StoreError::AlreadySetAside(id.clone()).into());
    }
    let set_aside = Some(SetAside {
        reason: reason.trim().to_owned(),
        at: Timestamp::now(),
    });
    let new = ReadingRecord {
        set_aside,
        ..old.clone()
    };
    replace(db, &old, new, Happening::SetAside)
}

fn known(db: &Connection, id: &ReadingId) -> Result<ReadingRecord, Fault> {
    find(db, id)?.ok_or_else(|| StoreError::UnknownReading(id.clone()).into())
}

pub(crate) fn of(db: &Connection, setup: &SetUpId) -> Result<Vec<ReadingRecord>, Fault> {
    records(
        db,
        "SELECT record FROM reading WHERE setup = ?1 ORDER BY number",
        [setup.as_str()],
    )
}
