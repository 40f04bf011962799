//! Set-ups: making, finding, changing and removing them.

use std::ops::RangeInclusive;

use rusqlite::{Connection, OptionalExtension, params};
use serde::Serialize;

use super::log::{Happening, note};
use super::{Fault, Store, from_json, records, to_json};
use crate::error::StoreError;
use crate::id::SetUpId;
use crate::set_up::{LAST_SHEET, SetUp, name_key, tidy_name};
use crate::time::Timestamp;

/// What was deleted for good.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Purged {
    /// The set-up's name.
    pub name: String,
    /// How many readings went with it.
    pub readings: usize,
}

impl Store {
    /// Stores a new set-up.
    ///
    /// # Errors
    /// [`StoreError::NameTaken`], [`StoreError::BadName`], [`StoreError::BadSetUp`],
    /// [`StoreError::IdTaken`].
    pub fn add_set_up(&mut self, setup: &SetUp) -> Result<(), StoreError> {
        self.write(|db| insert(db, setup, Happening::Created))
    }

    /// All set-ups that are not removed, by name.
    ///
    /// # Errors
    /// When the database fails.
    pub fn set_ups(&self) -> Result<Vec<SetUp>, StoreError> {
        self.read(|db| all(db, false))
    }

    /// All removed set-ups, by name.
    ///
    /// # Errors
    /// When the database fails.
    pub fn removed_set_ups(&self) -> Result<Vec<SetUp>, StoreError> {
        self.read(|db| all(db, true))
    }

    /// The set-up of this name, whatever the case; not a removed one.
    ///
    /// # Errors
    /// [`StoreError::UnknownSetUp`], which lists the names that there are.
    pub fn set_up_named(&self, name: &str) -> Result<SetUp, StoreError> {
        self.read(|db| {
            if let Some(setup) = by_name(db, name)? {
                return Ok(setup);
            }
            let key = name_key(name);
            let known = all(db, false)?.into_iter().map(|s| s.name).collect();
            let removed = all(db, true)?.iter().any(|s| name_key(&s.name) == key);
            Err(StoreError::UnknownSetUp {
                name: tidy_name(name),
                known,
                removed,
            }
            .into())
        })
    }

    /// The set-up of this id, removed or not.
    ///
    /// # Errors
    /// [`StoreError::UnknownSetUpId`].
    pub fn set_up(&self, id: &SetUpId) -> Result<SetUp, StoreError> {
        self.read(|db| by_id(db, id))
    }

    /// Changes the details of a set-up. Its id, when it was made, whether it is removed and how
    /// many sheets were numbered stay as they are stored; the time of the change is now.
    ///
    /// # Errors
    /// [`StoreError::HasReadings`] for a change that would give the readings another meaning:
    /// paper, flip, who flips, first side, leading edge. As for [`Store::add_set_up`] otherwise.
    pub fn change_set_up(&mut self, setup: &SetUp) -> Result<SetUp, StoreError> {
        self.write(|db| {
            let old = present(by_id(db, &setup.id)?)?;
            if let Some(what) = old.differs_in(setup) {
                let readings = count_readings(db, &setup.id)?;
                if readings > 0 {
                    return Err(StoreError::HasReadings {
                        name: old.name,
                        what,
                        readings,
                    }
                    .into());
                }
            }
            let new = SetUp {
                name: tidy_name(&setup.name),
                created: old.created,
                removed: old.removed,
                sheets_issued: old.sheets_issued,
                ..setup.clone()
            };
            replace(db, &old, new, Happening::Changed)
        })
    }

    /// Gives a set-up another name.
    ///
    /// # Errors
    /// [`StoreError::NameTaken`], [`StoreError::BadName`], [`StoreError::UnknownSetUpId`].
    pub fn rename_set_up(&mut self, id: &SetUpId, name: &str) -> Result<SetUp, StoreError> {
        self.write(|db| {
            let old = present(by_id(db, id)?)?;
            let new = SetUp {
                name: tidy_name(name),
                ..old.clone()
            };
            replace(db, &old, new, Happening::Changed)
        })
    }

    /// Makes a new set-up with the details of this one and no readings: another way of working
    /// must be measured anew.
    ///
    /// # Errors
    /// As for [`Store::add_set_up`].
    pub fn copy_set_up(&mut self, id: &SetUpId, name: &str) -> Result<SetUp, StoreError> {
        self.write(|db| {
            let now = Timestamp::now();
            let copy = SetUp {
                id: SetUpId::random(),
                name: tidy_name(name),
                sheets_issued: 0,
                created: now,
                changed: now,
                removed: None,
                ..by_id(db, id)?
            };
            insert(db, &copy, Happening::Created)?;
            Ok(copy)
        })
    }

    /// Puts a set-up out of sight. It and its readings are kept, and its name is free.
    ///
    /// # Errors
    /// [`StoreError::Removed`] if it is already.
    pub fn remove_set_up(&mut self, id: &SetUpId) -> Result<SetUp, StoreError> {
        self.write(|db| {
            let old = present(by_id(db, id)?)?;
            let new = SetUp {
                removed: Some(Timestamp::now()),
                ..old.clone()
            };
            replace(db, &old, new, Happening::Removed)
        })
    }

    /// Brings a removed set-up back, under another name if one is given.
    ///
    /// # Errors
    /// [`StoreError::NotRemoved`]; [`StoreError::NameTaken`] where the name was given to another
    /// meanwhile.
    pub fn restore_set_up(
        &mut self,
        id: &SetUpId,
        name: Option<&str>,
    ) -> Result<SetUp, StoreError> {
        self.write(|db| {
            let old = by_id(db, id)?;
            if old.removed.is_none() {
                return Err(StoreError::NotRemoved(old.name).into());
            }
            let name = name.map_or_else(|| old.name.clone(), tidy_name);
            let new = SetUp {
                name,
                removed: None,
                ..old.clone()
            };
            replace(db, &old, new, Happening::Restored)
        })
    }

    /// Deletes a removed set-up, its readings and its runs for good, and says what is gone.
    ///
    /// # Errors
    /// [`StoreError::NotRemoved`]: only what was removed before can be deleted.
    pub fn purge_set_up(&mut self, id: &SetUpId) -> Result<Purged, StoreError> {
        self.write(|db| {
            let setup = by_id(db, id)?;
            if setup.removed.is_none() {
                return Err(StoreError::NotRemoved(setup.name).into());
            }
            let readings = db.execute("DELETE FROM reading WHERE setup = ?1", [id.as_str()])?;
            db.execute("DELETE FROM run WHERE setup = ?1", [id.as_str()])?;
            db.execute("DELETE FROM witness WHERE setup = ?1", [id.as_str()])?;
            db.execute("DELETE FROM setup WHERE id = ?1", [id.as_str()])?;
            note(db, id, None, Happening::Purged, Some(&to_json(&setup)?))?;
            Ok(Purged {
                name: setup.name,
                readings,
            })
        })
    }

    /// Takes the next numbers for test sheets of a set-up, so that no two sheets that were ever
    /// printed for it have the same number.
    ///
    /// # Errors
    /// [`StoreError::NoSheetNumbers`] when they would go beyond [`LAST_SHEET`].
    pub fn issue_sheets(
        &mut self,
        id: &SetUpId,
        count: u32,
    ) -> Result<RangeInclusive<u32>, StoreError> {
        self.write(|db| {
            let mut setup = present(by_id(db, id)?)?;
            let first = setup.sheets_issued + 1;
            match setup.sheets_issued.checked_add(count) {
                Some(last) if last <= LAST_SHEET => setup.sheets_issued = last,
                _ => {
                    let SetUp {
                        name,
                        sheets_issued: issued,
                        ..
                    } = setup;
                    return Err(StoreError::NoSheetNumbers { name, issued }.into());
                }
            }
            update(db, &setup)?;
            Ok(first..=setup.sheets_issued)
        })
    }
}

/// Stores a set-up that is not there yet.
pub(crate) fn insert(db: &Connection, setup: &SetUp, what: Happening) -> Result<(), Fault> {
    setup.check()?;
    refuse_taken_name(db, setup)?;
    if find(db, &setup.id)?.is_some() {
        return Err(StoreError::IdTaken(setup.id.to_string()).into());
    }
    db.execute(
        "INSERT INTO setup (id, name_key, record) VALUES (?1, ?2, ?3)",
        params![setup.id.as_str(), name_key(&setup.name), to_json(setup)?],
    )?;
    note(db, &setup.id, None, what, None)
}

/// Stores a set-up's new record as it is.
pub(crate) fn update(db: &Connection, setup: &SetUp) -> Result<(), Fault> {
    db.execute(
        "UPDATE setup SET name_key = ?2, record = ?3 WHERE id = ?1",
        params![setup.id.as_str(), name_key(&setup.name), to_json(setup)?],
    )?;
    Ok(())
}

fn replace(db: &Connection, old: &SetUp, new: SetUp, what: Happening) -> Result<SetUp, Fault> {
    let new = SetUp {
        changed: Timestamp::now(),
        ..new
    };
    new.check()?;
    if new.removed.is_none() {
        refuse_taken_name(db, &new)?;
    }
    update(db, &new)?;
    note(db, &new.id, None, what, Some(&to_json(old)?))?;
    Ok(new)
}

fn refuse_taken_name(db: &Connection, setup: &SetUp) -> Result<(), Fault> {
    match by_name(db, &setup.name)? {
        Some(other) if other.id != setup.id && setup.removed.is_none() => {
            Err(StoreError::NameTaken(other.name).into())
        }
        _ => Ok(()),
    }
}

/// Passes a set-up on unless it is removed.
pub(crate) fn present(setup: SetUp) -> Result<SetUp, StoreError> {
    if setup.removed.is_some() {
        Err(StoreError::Removed(setup.name))
    } else {
        Ok(setup)
    }
}

pub(crate) fn find(db: &Connection, id: &SetUpId) -> Result<Option<SetUp>, Fault> {
    Ok(records(db, "SELECT record FROM setup WHERE id = ?1", [id.as_str()])?.pop())
}

pub(crate) fn by_id(db: &Connection, id: &SetUpId) -> Result<SetUp, Fault> {
    find(db, id)?.ok_or_else(|| StoreError::UnknownSetUpId(id.clone()).into())
}

pub(crate) fn by_name(db: &Connection, name: &str) -> Result<Option<SetUp>, Fault> {
    let query = "SELECT record FROM setup WHERE name_key = ?1 AND removed IS NULL";
    let found: Option<String> = db
        .query_row(query, [name_key(name)], |row| row.get(0))
        .optional()?;
    found.map(|json| from_json(&json)).transpose()
}

pub(crate) fn all(db: &Connection, removed: bool) -> Result<Vec<SetUp>, Fault> {
    records(
        db,
        "SELECT record FROM setup WHERE (removed IS NOT NULL) = ?1 ORDER BY name_key, id",
        [removed],
    )
}

pub(crate) fn count_readings(db: &Connection, id: &SetUpId) -> Result<usize, Fault> {
    let query = "SELECT count(*) FROM reading WHERE setup = ?1";
    let count: i64 = db.query_row(query, [id.as_str()], |row| row.get(0))?;
    Ok(usize::try_from(count).unwrap_or_default())
}
