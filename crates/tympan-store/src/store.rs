//! The store: opening it, and what all its parts share.

mod log;
pub(crate) mod readings;
pub(crate) mod runs;
pub(crate) mod set_ups;
pub(crate) mod witness;

use std::fs::{self, File, TryLockError};
use std::io;
use std::path::{Path, PathBuf};
use std::thread;
use std::time::{Duration, Instant};

use rusqlite::{Connection, Transaction, TransactionBehavior};
use serde::Serialize;
use serde::de::DeserializeOwned;

use crate::error::StoreError;
use crate::schema;

pub use log::{Event, Happening};
pub use set_ups::Purged;

/// The name of the database in the data folder. SQLite keeps two files beside it while it is open
/// (`-wal` and `-shm`); they belong to it.
pub const FILE_NAME: &str = "tympan.sqlite3";

/// Held by the process that makes or migrates the database.
const LOCK_NAME: &str = "tympan.lock";

/// The smallest page that a database can have, bytes (SQLite file format, 1.3.2).
const SHORTEST_DATABASE: u64 = 512;

/// How long to wait for another process by default.
const PATIENCE: Duration = Duration::from_secs(5);

/// All set-ups and readings of one data folder.
///
/// Several processes may have the same folder open; each change is one transaction. Within a
/// process a `Store` can be sent between threads but not shared: open one for each, which is cheap.
///
/// The folder must be on a disk of this machine: SQLite's write-ahead log does not work over a
/// network.
#[derive(Debug)]
pub struct Store {
    db: Connection,
    file: PathBuf,
}

/// Why work inside a transaction ends early.
pub(crate) enum Fault {
    Sqlite(rusqlite::Error),
    Json(serde_json::Error),
    Refused(StoreError),
}

impl From<rusqlite::Error> for Fault {
    fn from(e: rusqlite::Error) -> Self {
        Self::Sqlite(e)
    }
}

impl From<serde_json::Error> for Fault {
    fn from(e: serde_json::Error) -> Self {
        Self::Json(e)
    }
}

impl From<StoreError> for Fault {
    fn from(e: StoreError) -> Self {
        Self::Refused(e)
    }
}

impl Fault {
    fn in_file(self, file: &Path) -> StoreError {
        match self {
            Self::Sqlite(e) => StoreError::sqlite(file, e),
            Self::Json(e) => StoreError::Damaged {
                file: file.into(),
                reason: format!("a record is not readable: {e}"),
            },
            Self::Refused(e) => e,
        }
    }
}

impl Store {
    /// Opens the store in this folder, making both where they do not exist.
    ///
    /// # Errors
    /// When the folder or file cannot be used, is not this program's, is of a newer version or is
    /// held by another process for more than five seconds. In all these cases nothing is changed.
    pub fn open(folder: &Path) -> Result<Self, StoreError> {
        Self::open_waiting(folder, PATIENCE)
    }

    /// Like [`Store::open`], waiting this long for other processes, now and at every later change.
    ///
    /// # Errors
    /// As for [`Store::open`].
    pub fn open_waiting(folder: &Path, patience: Duration) -> Result<Self, StoreError> {
        let unusable = |source| StoreError::Folder {
            folder: folder.into(),
            source,
        };
        fs::create_dir_all(folder).map_err(unusable)?;
        let file = folder.join(FILE_NAME);
        let size = file
            .metadata()
            .map(|m| m.len())
            .or_else(|e| match e.kind() {
                io::ErrorKind::NotFound => Ok(0),
                _ => Err(unusable(e)),
            })?;
        // SQLite takes a file that is too short for its header for an empty database.
        if (1..SHORTEST_DATABASE).contains(&size) {
            return Err(StoreError::NotADatabase { file });
        }
        let until = Instant::now() + patience;
        let db = Connection::open(&file).map_err(|e| StoreError::sqlite(&file, e))?;
        let mut store = Self { db, file };
        store
            .prepare(folder, patience, until)
            .map_err(|e| e.in_file(&store.file))?;
        Ok(store)
    }

    /// An empty store that is gone when it is dropped.
    ///
    /// # Errors
    /// When there is no memory for it.
    pub fn open_in_memory() -> Result<Self, StoreError> {
        let file = PathBuf::from("the store in memory");
        let db = Connection::open_in_memory().map_err(|e| StoreError::sqlite(&file, e))?;
        let mut store = Self { db, file };
        store.migrate().map_err(|e| e.in_file(&store.file))?;
        Ok(store)
    }

    /// The database's file.
    pub fn file(&self) -> &Path {
        &self.file
    }

    fn prepare(&mut self, folder: &Path, patience: Duration, until: Instant) -> Result<(), Fault> {
        self.db.busy_timeout(patience)?;
        let version = self.refuse_foreign()?;
        if self.db.is_readonly("main")? {
            return Err(StoreError::ReadOnly {
                file: self.file.clone(),
            }
            .into());
        }
        let mode: String = self
            .db
            .pragma_query_value(None, "journal_mode", |row| row.get(0))?;
        if version < schema::LATEST || mode != "wal" {
            // SQLite does not wait where two processes change the journal mode at once, and the
            // version must not change between being looked at and being raised.
            let lock = self.lock(folder, until)?;
            self.refuse_foreign()?;
            self.db
                .pragma_update_and_check(None, "journal_mode", "wal", |_| Ok(()))?;
            self.migrate()?;
            drop(lock);
        }
        // FULL has every commit reach the disk before it is acknowledged; on Apple's systems that
        // takes a call of its own.
        self.db.pragma_update(None, "synchronous", "full")?;
        self.db.pragma_update(None, "fullfsync", true)?;
        self.db.pragma_update(None, "checkpoint_fullfsync", true)?;
        self.db.pragma_update(None, "foreign_keys", true)?;
        Ok(())
    }

    /// The version of the database, unless it is not one that this program can use.
    fn refuse_foreign(&self) -> Result<i64, Fault> {
        let file = || self.file.clone();
        let number = |pragma| {
            self.db
                .pragma_query_value(None, pragma, |row| row.get::<_, i64>(0))
        };
        let version = number("user_version")?;
        if number("application_id")? != i64::from(schema::APPLICATION_ID) {
            let tables: i64 =
                self.db
                    .query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))?;
            if version != 0 || tables != 0 {
                return Err(StoreError::OtherProgram { file: file() }.into());
            }
        } else if version > schema::LATEST {
            let known = schema::LATEST;
            return Err(StoreError::NewerDatabase {
                file: file(),
                found: version,
                known,
            }
            .into());
        }
        Ok(version)
    }

    fn migrate(&mut self) -> Result<(), Fault> {
        self.db
            .set_transaction_behavior(TransactionBehavior::Immediate);
        schema::migrations()
            .to_latest(&mut self.db)
            .map_err(|e| match e {
                rusqlite_migration::Error::RusqliteError { err, .. } => Fault::Sqlite(err),
                other => {
                    let reason = other.to_string();
                    StoreError::Damaged {
                        file: self.file.clone(),
                        reason,
                    }
                    .into()
                }
            })
    }

    fn lock(&self, folder: &Path, until: Instant) -> Result<File, StoreError> {
        let unusable = |source: io::Error| match source.kind() {
            io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => {
                StoreError::ReadOnly {
                    file: self.file.clone(),
                }
            }
            io::ErrorKind::StorageFull => StoreError::DiskFull {
                file: self.file.clone(),
            },
            _ => StoreError::Folder {
                folder: folder.into(),
                source,
            },
        };
        let lock = File::create(folder.join(LOCK_NAME)).map_err(unusable)?;
        loop {
            match lock.try_lock() {
                Ok(()) => return Ok(lock),
                Err(TryLockError::Error(e)) => return Err(unusable(e)),
                Err(TryLockError::WouldBlock) if Instant::now() < until => {
                    thread::sleep(Duration::from_millis(5));
                }
                Err(TryLockError::WouldBlock) => {
                    return Err(StoreError::Locked {
                        file: self.file.clone(),
                    });
                }
            }
        }
    }

    /// Looks the whole database over: its pages, its keys and its references.
    ///
    /// # Errors
    /// [`StoreError::Damaged`] with what was found first.
    pub fn check(&self) -> Result<(), StoreError> {
        self.read(|db| {
            let damaged = |reason| StoreError::Damaged {
                file: self.file.clone(),
                reason,
            };
            let found: String = db.query_row("PRAGMA integrity_check(1)", [], |row| row.get(0))?;
            if found != "ok" {
                return Err(damaged(found).into());
            }
            if db.prepare("PRAGMA foreign_key_check")?.exists([])? {
                return Err(damaged("a reading belongs to no set-up".into()).into());
            }
            Ok(())
        })
    }

    /// Writes a copy of the whole store to a new file, which can be put in the database's place
    /// while no program has it open. It is whole or not there at all.
    ///
    /// # Errors
    /// [`StoreError::FileExists`] rather than overwriting; [`StoreError::Write`].
    pub fn backup(&self, to: &Path) -> Result<(), StoreError> {
        let failed = |source| StoreError::Write {
            file: to.into(),
            source,
        };
        if to.try_exists().map_err(failed)? {
            return Err(StoreError::FileExists(to.into()));
        }
        let folder = to
            .parent()
            .filter(|p| !p.as_os_str().is_empty())
            .unwrap_or(Path::new("."));
        let copy = tempfile::Builder::new()
            .prefix(".tympan-backup-")
            .tempfile_in(folder)
            .map_err(failed)?;
        let name = copy.path().to_str().ok_or_else(|| {
            failed(io::Error::new(
                io::ErrorKind::InvalidFilename,
                "its name is not UTF-8",
            ))
        })?;
        self.db
            .execute("VACUUM INTO ?1", [name])
            .map_err(|e| StoreError::sqlite(to, e))?;
        copy.as_file().sync_all().map_err(failed)?;
        copy.persist_noclobber(to)
            .map_err(|e| match e.error.kind() {
                io::ErrorKind::AlreadyExists => StoreError::FileExists(to.into()),
                _ => failed(e.error),
            })?;
        Ok(())
    }

    /// Runs one change: all of it is stored when this returns, or none.
    pub(crate) fn write<T>(
        &mut self,
        work: impl FnOnce(&Transaction) -> Result<T, Fault>,
    ) -> Result<T, StoreError> {
        let change = || {
            let tx = self
                .db
                .transaction_with_behavior(TransactionBehavior::Immediate)?;
            let value = work(&tx)?;
            tx.commit()?;
            Ok(value)
        };
        change().map_err(|e: Fault| e.in_file(&self.file))
    }

    /// Looks at one state of the database, whatever other processes change meanwhile.
    pub(crate) fn read<T>(
        &self,
        work: impl FnOnce(&Connection) -> Result<T, Fault>,
    ) -> Result<T, StoreError> {
        let look = || {
            let tx = self.db.unchecked_transaction()?;
            work(&tx)
        };
        look().map_err(|e: Fault| e.in_file(&self.file))
    }
}

pub(crate) fn to_json(record: &impl Serialize) -> Result<String, Fault> {
    Ok(serde_json::to_string(record)?)
}

pub(crate) fn from_json<T: DeserializeOwned>(text: &str) -> Result<T, Fault> {
    Ok(serde_json::from_str(text)?)
}

/// All records that a query of one column gives.
pub(crate) fn records<T: DeserializeOwned>(
    db: &Connection,
    query: &str,
    params: impl rusqlite::Params,
) -> Result<Vec<T>, Fault> {
    let mut statement = db.prepare_cached(query)?;
    let mut rows = statement.query(params)?;
    let mut all = Vec::new();
    while let Some(row) = rows.next()? {
        all.push(from_json(
            row.get_ref(0)?.as_str().map_err(rusqlite::Error::from)?,
        )?);
    }
    Ok(all)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{ReadingRecord, SetUp, Way};
    use tympan_register::{Observation, Reading};
    use tympan_sheet::{Flip, Point, Side, Vector};

    /// SQLite reports a file that may not grow further as it reports a full disk.
    #[test]
    fn a_full_disk_loses_nothing_and_is_said() {
        let dir = tempfile::tempdir().expect("a folder");
        let mut store = Store::open(dir.path()).expect("a store");
        let setup = SetUp::new("rear tray", "a4".parse().expect("a paper"), Flip::Sideways);
        store.add_set_up(&setup).expect("a set-up");
        let pair = || {
            [(); 2].map(|()| {
                let at = Observation::new(Point::new(20.0, 25.0), Vector::new(0.4, 2.1), 0.15);
                let reading = Reading::new(vec![at]);
                ReadingRecord::new(setup.id.clone(), Way::Pin, Side::Front, reading)
            })
        };
        let limit = |store: &Store, pages: u32| {
            let set = store
                .db
                .pragma_update_and_check(None, "max_page_count", pages, |_| Ok(()));
            set.expect("a limit");
        };
        limit(&store, 24);
        let mut stored = 0;
        let error = loop {
            assert!(stored < 1000, "the limit does nothing");
            match store.add_readings(&pair()) {
                Ok(()) => stored += 2,
                Err(error) => break error,
            }
        };
        assert!(matches!(error, StoreError::DiskFull { .. }), "{error}");
        assert!(
            error
                .to_string()
                .starts_with("the disk is full: nothing was stored in ")
        );
        assert_eq!(
            error.hint(),
            "make room and do it again; what was stored before is safe"
        );
        assert!(stored > 0);
        assert_eq!(store.reading_count(&setup.id).expect("a count"), stored);
        store.check().expect("sound");
        limit(&store, 100_000);
        store.add_readings(&pair()).expect("room again");
    }

    /// SQLite's documentation promises that a commit survives a power cut in the write-ahead log
    /// with `synchronous=FULL` (2) only.
    #[test]
    fn every_commit_reaches_the_disk_before_it_is_acknowledged() {
        let dir = tempfile::tempdir().expect("a folder");
        drop(Store::open(dir.path()).expect("made"));
        let store = Store::open(dir.path()).expect("found");
        for (pragma, wanted) in [("synchronous", 2), ("fullfsync", 1), ("foreign_keys", 1)] {
            let value: i64 = store
                .db
                .pragma_query_value(None, pragma, |row| row.get(0))
                .expect("a value");
            assert_eq!(value, wanted, "{pragma}");
        }
    }
}
