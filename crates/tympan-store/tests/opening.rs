//! Stores that cannot be opened or written, and back-ups.
#![expect(clippy::print_stdout, reason = "the child speaks to its parent")]

mod support;

use std::fs::{self, File};
use std::path::Path;
use std::time::{Duration, Instant};

use rusqlite::Connection;
use support::{child, child_folder, reading, said, set_up};
use tympan_store::{FILE_NAME, Store, StoreError};

fn refused(folder: &Path) -> StoreError {
    Store::open(folder).expect_err("cannot be opened")
}

/// A store in a new folder with one set-up in it.
fn filled() -> tempfile::TempDir {
    let dir = tempfile::tempdir().expect("a folder");
    let mut store = Store::open(dir.path()).expect("a store");
    store.add_set_up(&set_up("rear tray")).expect("a set-up");
    dir
}

/// The message with the folder taken out.
fn said_in(folder: &Path, error: &StoreError) -> String {
    said(error).replace(folder.to_str().expect("UTF-8"), "DIR")
}

#[test]
fn a_store_is_made_with_its_folders_and_found_again() {
    let dir = tempfile::tempdir().expect("a folder");
    let folder = dir.path().join("a").join("b");
    let setup = set_up("rear tray");
    Store::open(&folder)
        .expect("made")
        .add_set_up(&setup)
        .expect("a set-up");
    let store = Store::open(&folder).expect("found");
    assert_eq!(store.set_ups().expect("a list"), [setup]);
    assert_eq!(store.file(), folder.join(FILE_NAME));
}

/// Every commit must reach the disk before it is acknowledged: SQLite documents this for the
/// write-ahead log with `synchronous=FULL` only.
#[test]
fn the_file_is_kept_in_a_write_ahead_log() {
    let dir = filled();
    let db = Connection::open(dir.path().join(FILE_NAME)).expect("SQLite");
    let mode: String = db
        .pragma_query_value(None, "journal_mode", |row| row.get(0))
        .expect("a mode");
    assert_eq!(mode, "wal");
    let id: i32 = db
        .pragma_query_value(None, "application_id", |row| row.get(0))
        .expect("an id");
    assert_eq!(&id.to_be_bytes(), b"TYMP");
}

#[test]
fn a_newer_database_is_refused_and_left_as_it_is() {
    let dir = filled();
    let file = dir.path().join(FILE_NAME);
    let db = Connection::open(&file).expect("SQLite");
    db.pragma_update(None, "user_version", 99)
        .expect("a later version");
    db.close().expect("closed");
    let before = fs::read(&file).expect("the file");
    let error = refused(dir.path());
    assert_eq!(
        said_in(dir.path(), &error),
        "DIR/tympan.sqlite3 was written by a newer version of Tympan (its format is 99, this \
         version knows up to 3)\n\
         use the newer version; nothing was changed; or choose another data folder with --data or \
         TYMPAN_DATA"
    );
    assert_eq!(fs::read(&file).expect("the file"), before);
}

#[test]
fn a_database_from_before_there_were_runs_is_brought_up_to_date() {
    let dir = tempfile::tempdir().expect("a folder");
    let setup = support::set_up("rear tray");
    let db = Connection::open(dir.path().join(FILE_NAME)).expect("SQLite");
    db.execute_batch(include_str!("../src/schema/1.sql"))
        .expect("the first form");
    db.pragma_update(None, "user_version", 1)
        .expect("its version");
    let record = serde_json::to_string(&setup).expect("json");
    db.execute(
        "INSERT INTO setup (id, name_key, record) VALUES (?1, ?2, ?3)",
        [setup.id.as_str(), "rear tray", &record],
    )
    .expect("a set-up");
    db.close().expect("closed");
    let store = Store::open(dir.path()).expect("brought up to date");
    assert_eq!(store.set_up_named("rear tray").expect("kept"), setup);
    assert_eq!(store.runs(&setup.id).expect("a table"), []);
    store.check().expect("sound");
}

#[test]
fn a_file_that_is_no_database_is_refused_and_left_as_it_is() {
    for content in [
        "a letter, long enough to be taken for something else\n".repeat(100),
        "x".into(),
    ] {
        let dir = tempfile::tempdir().expect("a folder");
        fs::write(dir.path().join(FILE_NAME), &content).expect("a letter");
        let error = refused(dir.path());
        assert_eq!(
            said_in(dir.path(), &error),
            "DIR/tympan.sqlite3 is not a database\n\
             move that file away or put a back-up in its place, or choose another data folder with \
             --data or TYMPAN_DATA"
        );
        assert_eq!(
            fs::read(dir.path().join(FILE_NAME)).expect("the file"),
            content.as_bytes()
        );
    }
}

#[test]
fn another_programs_database_is_refused_and_left_as_it_is() {
    let dir = tempfile::tempdir().expect("a folder");
    let file = dir.path().join(FILE_NAME);
    let db = Connection::open(&file).expect("SQLite");
    db.execute_batch("CREATE TABLE recipes (name TEXT)")
        .expect("a table");
    db.close().expect("closed");
    let before = fs::read(&file).expect("the file");
    let error = refused(dir.path());
    assert!(
        said(&error).contains("belongs to another program"),
        "{error}"
    );
    assert_eq!(fs::read(&file).expect("the file"), before);
}

#[test]
fn an_empty_file_is_filled() {
    let dir = tempfile::tempdir().expect("a folder");
    File::create(dir.path().join(FILE_NAME)).expect("an empty file");
    Store::open(dir.path()).expect("an empty file is an empty database");
}

#[test]
fn a_damaged_database_is_told_from_a_sound_one() {
    let dir = filled();
    let mut store = Store::open(dir.path()).expect("a store");
    let setup = store.set_up_named("rear tray").expect("a set-up");
    let readings: Vec<_> = (1..=60).map(|sheet| reading(&setup, sheet)).collect();
    store.add_readings(&readings).expect("readings");
    drop(store);
    let file = dir.path().join(FILE_NAME);
    let mut bytes = fs::read(&file).expect("the file");
    for page in bytes.chunks_mut(4096).skip(2).step_by(3) {
        page[..200].fill(0x5A);
    }
    fs::write(&file, bytes).expect("damaged");
    let store = Store::open(dir.path()).expect("its first page is sound");
    let error = store.check().expect_err("damaged");
    assert!(matches!(error, StoreError::Damaged { .. }), "{error}");
    assert!(error.hint().contains("back-up"), "{}", error.hint());
}

#[test]
fn a_file_in_the_folders_place_is_refused() {
    let dir = tempfile::tempdir().expect("a folder");
    let folder = dir.path().join("data");
    fs::write(&folder, "").expect("a file");
    let error = refused(&folder);
    assert!(matches!(error, StoreError::Folder { .. }), "{error}");
    assert!(
        said(&error).contains("choose another data folder"),
        "{error}"
    );
}

#[test]
fn a_store_that_another_process_holds_is_waited_for_and_then_refused() {
    let dir = filled();
    let patience = Duration::from_millis(200);
    let mut store = Store::open_waiting(dir.path(), patience).expect("a store");
    let other = Connection::open(dir.path().join(FILE_NAME)).expect("SQLite");
    other
        .execute_batch("BEGIN IMMEDIATE")
        .expect("the other one writes");
    let started = Instant::now();
    let error = store.add_set_up(&set_up("front tray")).expect_err("held");
    assert!(started.elapsed() >= patience);
    assert_eq!(
        said_in(dir.path(), &error),
        "DIR/tympan.sqlite3 is in use by another program\n\
         wait until the other program is done, then do it again"
    );
    assert_eq!(store.set_ups().expect("reading goes on").len(), 1);
    other.execute_batch("COMMIT").expect("done");
    store.add_set_up(&set_up("front tray")).expect("free");
}

/// Root may write anywhere, so the child gives that up first (with setpriv of util-linux).
#[cfg(unix)]
#[test]
fn what_may_only_be_read_is_refused_and_said() {
    use std::os::unix::fs::PermissionsExt;
    use std::process::Command;

    if let Some(folder) = child_folder() {
        println!("child: {}", said(&refused(&folder)));
        return;
    }
    let allow = |path: &Path, mode| {
        fs::set_permissions(path, fs::Permissions::from_mode(mode)).expect("permissions");
    };
    let is_root = fs::read_dir("/proc/self/map_files").is_ok()
        && Command::new("id")
            .arg("-u")
            .output()
            .is_ok_and(|o| o.stdout == b"0\n");
    let home = tempfile::tempdir().expect("a folder");
    allow(home.path(), 0o755);
    let program = home.path().join("child");
    fs::copy(std::env::current_exe().expect("this program"), &program).expect("a copy");
    allow(&program, 0o755);

    let said_by_child = |folder: &Path| {
        let same = child("what_may_only_be_read_is_refused_and_said", folder);
        let mut command = if is_root {
            Command::new("setpriv")
        } else {
            Command::new(&program)
        };
        if is_root {
            command
                .args(["--reuid=65534", "--regid=65534", "--clear-groups"])
                .arg(&program);
        }
        let variables = same
            .get_envs()
            .filter_map(|(name, value)| Some((name, value?)));
        let done = command
            .args(same.get_args())
            .envs(variables)
            .current_dir("/")
            .output();
        let done = done.expect("setpriv is there: apt-get install util-linux");
        let text = String::from_utf8_lossy(&done.stdout).into_owned();
        let (_, said) = text.split_once("child: ").unwrap_or_else(|| {
            panic!(
                "the child failed: {text}{}",
                String::from_utf8_lossy(&done.stderr)
            )
        });
        said.replace(folder.to_str().expect("UTF-8"), "DIR")
            .lines()
            .take(2)
            .collect::<Vec<_>>()
            .join("\n")
    };
    let expected = "DIR/tympan.sqlite3 cannot be written\n\
                    allow writing in the folder and to its files, or choose another data folder \
                    with --data or TYMPAN_DATA";

    let empty = tempfile::tempdir().expect("a folder");
    allow(empty.path(), 0o555);
    assert_eq!(said_by_child(empty.path()), expected, "an empty folder");

    let full = filled();
    allow(full.path(), 0o555);
    allow(&full.path().join(FILE_NAME), 0o444);
    assert_eq!(
        said_by_child(full.path()),
        expected,
        "a folder with a store"
    );

    allow(&full.path().join(FILE_NAME), 0o666);
    assert_eq!(
        said_by_child(full.path()),
        expected,
        "a folder that takes no new files"
    );
    allow(full.path(), 0o777);
    allow(&full.path().join(FILE_NAME), 0o444);
    assert_eq!(
        said_by_child(full.path()),
        expected,
        "a file that may only be read"
    );

    allow(empty.path(), 0o755);
    allow(full.path(), 0o755);
    let inside = home.path().join("new");
    let said = said_by_child(&inside);
    assert!(
        said.starts_with("the data folder DIR cannot be used: Permission denied"),
        "{said}"
    );
}

#[test]
fn a_back_up_holds_everything_and_overwrites_nothing() {
    let dir = filled();
    let mut store = Store::open(dir.path()).expect("a store");
    let setup = store.set_up_named("rear tray").expect("a set-up");
    store.add_reading(&reading(&setup, 1)).expect("a reading");
    let elsewhere = tempfile::tempdir().expect("a folder");
    let to = elsewhere.path().join(FILE_NAME);
    store.backup(&to).expect("a back-up");
    let error = store.backup(&to).expect_err("there is one");
    assert!(matches!(error, StoreError::FileExists(_)), "{error}");
    assert_eq!(
        fs::read_dir(elsewhere.path()).expect("a folder").count(),
        1,
        "nothing half-made"
    );

    let restored = Store::open(elsewhere.path()).expect("the back-up is a store");
    restored.check().expect("sound");
    let (a, b) = (
        store.export_all().expect("all"),
        restored.export_all().expect("all"),
    );
    assert_eq!(a, b);
    assert_eq!(
        store.history(&setup.id).expect("a log"),
        restored.history(&setup.id).expect("a log")
    );
    let error = store
        .backup(&elsewhere.path().join("missing").join("b"))
        .expect_err("no folder");
    assert!(matches!(error, StoreError::Write { .. }), "{error}");
}
