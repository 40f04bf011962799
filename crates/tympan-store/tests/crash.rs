//! What was acknowledged survives, whenever a process is killed and whoever else is writing.
#![expect(clippy::print_stdout, reason = "what a run covered is worth seeing")]

mod support;

use std::collections::HashSet;
use std::fs;
use std::io::{BufRead, BufReader, Read, Write};
use std::path::Path;
use std::process::Child;
use std::thread;
use std::time::{Duration, Instant};

use support::{child, child_folder, random, reading, set_up};
use tympan_store::{FILE_NAME, Store};

/// How many readings the child stores in one call: all are there afterwards, or none.
const BATCH: u32 = 3;

/// The child's part: stores readings for ever, and says each batch once it is stored.
fn write_for_ever(folder: &Path) -> ! {
    let mut store = Store::open(folder).expect("a store");
    let setup = store.set_up_named("rear tray").expect("made before");
    let mut out = std::io::stdout().lock();
    loop {
        let sheets = store.issue_sheets(&setup.id, BATCH).unwrap_or(1..=BATCH);
        let batch: Vec<_> = sheets.map(|sheet| reading(&setup, sheet)).collect();
        store.add_readings(&batch).expect("stored");
        for r in &batch {
            writeln!(out, "stored {}", r.id).expect("the parent listens");
        }
        out.flush().expect("the parent listens");
    }
}

/// Waits for the child's first words, lets it run for `time`, kills it, and returns the ids that
/// it had acknowledged.
fn kill_after(mut child: Child, time: Duration) -> Vec<String> {
    let mut out = BufReader::new(child.stdout.take().expect("piped"));
    let mut said = String::new();
    while !said.contains("stored ") {
        assert!(
            out.read_line(&mut said).expect("text") > 0,
            "the child ended: {said}"
        );
    }
    thread::sleep(time);
    child.kill().expect("killed");
    child.wait().expect("ended");
    out.read_to_string(&mut said).expect("text");
    // A last line without its end was cut off by the kill, and is still an acknowledgement only
    // if the whole id was written.
    let whole = said.rsplit_once('\n').map_or("", |(whole, _)| whole);
    whole
        .lines()
        .filter_map(|l| l.split_once("stored "))
        .map(|(_, id)| id.to_owned())
        .collect()
}

#[test]
fn acknowledged_readings_survive_a_kill_at_any_moment() {
    if let Some(folder) = child_folder() {
        write_for_ever(&folder);
    }
    const KILLS: u32 = 40;
    let dir = tempfile::tempdir().expect("a folder");
    let setup = set_up("rear tray");
    Store::open(dir.path())
        .expect("a store")
        .add_set_up(&setup)
        .expect("a set-up");
    let mut random = random(7);
    let mut acknowledged = HashSet::new();
    let mut unacknowledged = 0;
    for kill in 0..KILLS {
        let test = "acknowledged_readings_survive_a_kill_at_any_moment";
        let child = child(test, dir.path()).spawn().expect("a child");
        let time = Duration::from_micros(random() % 60_000);
        acknowledged.extend(kill_after(child, time));

        let store = Store::open(dir.path()).expect("opens after a kill");
        store.check().expect("sound after a kill");
        let readings = store.readings(&setup.id).expect("readings");
        let ids: HashSet<_> = readings.iter().map(|r| r.id.to_string()).collect();
        let lost: Vec<_> = acknowledged.difference(&ids).collect();
        assert!(
            lost.is_empty(),
            "kill {kill}: {lost:?} were acknowledged and are gone"
        );
        assert_eq!(
            readings.len() as u32 % BATCH,
            0,
            "kill {kill}: a part of a batch is stored"
        );
        // Each run can have stored one batch that it did not come to acknowledge.
        unacknowledged = ids.len() - acknowledged.len();
        assert!(unacknowledged as u32 <= (kill + 1) * BATCH);
        assert_eq!(
            store.history(&setup.id).expect("a log").len(),
            readings.len() + 1
        );
    }
    assert!(
        acknowledged.len() as u32 >= KILLS * BATCH,
        "every child stored at least one batch"
    );
    println!(
        "{} acknowledged and {unacknowledged} unacknowledged readings kept",
        acknowledged.len()
    );
}

#[test]
fn a_kill_while_the_database_is_made_leaves_one_that_opens() {
    if let Some(folder) = child_folder() {
        let mut store = Store::open(&folder).expect("a store");
        store.add_set_up(&set_up("rear tray")).expect("a set-up");
        return;
    }
    let mut random = random(8);
    let mut finished = 0;
    for kill in 0..30_u32 {
        let dir = tempfile::tempdir().expect("a folder");
        let test = "a_kill_while_the_database_is_made_leaves_one_that_opens";
        let started = Instant::now();
        let mut child = child(test, dir.path()).spawn().expect("a child");
        // The first stroke comes when the folder has its first file, the rest at random from there.
        while fs::read_dir(dir.path()).expect("a folder").next().is_none() {
            assert!(
                started.elapsed() < Duration::from_secs(60),
                "the child does nothing"
            );
            thread::sleep(Duration::from_micros(50));
        }
        thread::sleep(Duration::from_micros(random() % 40_000));
        child.kill().expect("killed");
        child.wait().expect("ended");

        let mut store = Store::open(dir.path()).expect("opens after a kill");
        store.check().expect("sound");
        match store.set_ups().expect("a list").len() {
            0 => store.add_set_up(&set_up("rear tray")).expect("usable"),
            1 => finished += 1,
            n => panic!("kill {kill}: {n} set-ups"),
        }
    }
    println!("{finished} of 30 had finished before the kill");
}

#[test]
fn several_processes_may_make_and_fill_the_same_store() {
    const EACH: u32 = 25;
    const PROCESSES: u32 = 4;
    if let Some(folder) = child_folder() {
        let mut store = Store::open_waiting(&folder, Duration::from_secs(60)).expect("a store");
        let mine = set_up(&format!("of process {}", std::process::id()));
        store.add_set_up(&mine).expect("a set-up");
        for sheet in 1..=EACH {
            store
                .add_reading(&reading(&mine, sheet))
                .expect("a reading");
        }
        return;
    }
    let dir = tempfile::tempdir().expect("a folder");
    let folder = dir.path().join("new").join("data");
    let test = "several_processes_may_make_and_fill_the_same_store";
    let children: Vec<_> = (0..PROCESSES)
        .map(|_| child(test, &folder).spawn().expect("a child"))
        .collect();
    for child in children {
        let done = child.wait_with_output().expect("ended");
        let said = String::from_utf8_lossy(&done.stderr);
        assert!(
            done.status.success(),
            "{}{said}",
            String::from_utf8_lossy(&done.stdout)
        );
    }
    let store = Store::open(&folder).expect("opens");
    store.check().expect("sound");
    let setups = store.set_ups().expect("a list");
    assert_eq!(setups.len() as u32, PROCESSES);
    for setup in setups {
        let sheets: Vec<_> = store
            .readings(&setup.id)
            .expect("readings")
            .iter()
            .filter_map(|r| r.sheet)
            .collect();
        assert_eq!(sheets, (1..=EACH).collect::<Vec<_>>(), "{}", setup.name);
    }
}

/// What a power cut can leave: the write-ahead log cut off or spoilt anywhere. The readings before
/// that place are there, those after it are not, and the store is sound.
#[test]
fn a_torn_write_ahead_log_loses_only_what_came_after_the_tear() {
    const READINGS: u32 = 12;
    let dir = tempfile::tempdir().expect("a folder");
    let mut store = Store::open(dir.path()).expect("a store");
    let setup = set_up("rear tray");
    store.add_set_up(&setup).expect("a set-up");
    let wal_name = format!("{FILE_NAME}-wal");
    let length = || {
        fs::metadata(dir.path().join(&wal_name))
            .expect("a log")
            .len() as usize
    };
    let start = length();
    let mut ends = vec![start];
    for sheet in 1..=READINGS {
        store
            .add_reading(&reading(&setup, sheet))
            .expect("a reading");
        ends.push(length());
    }
    let database = fs::read(dir.path().join(FILE_NAME)).expect("the database");
    let wal = fs::read(dir.path().join(&wal_name)).expect("the log");

    let found = |log: &[u8]| {
        let copy = tempfile::tempdir().expect("a folder");
        fs::write(copy.path().join(FILE_NAME), &database).expect("a copy");
        fs::write(copy.path().join(&wal_name), log).expect("a copy");
        let store = Store::open(copy.path()).expect("opens");
        store.check().expect("sound");
        let readings = store.readings(&setup.id).expect("readings");
        let sheets: Vec<_> = readings.iter().filter_map(|r| r.sheet).collect();
        assert_eq!(
            sheets,
            (1..=sheets.len() as u32).collect::<Vec<_>>(),
            "a gap"
        );
        sheets.len()
    };
    let whole = |tear: usize| ends.iter().filter(|end| **end <= tear).count() - 1;

    let mut random = random(9);
    let mut index = || start + random() as usize % (wal.len() - start);
    let mut tears: Vec<usize> = (0..40).map(|_| index()).collect();
    tears.extend(
        ends.iter()
            .flat_map(|end| [*end, end - 1])
            .filter(|tear| *tear >= start),
    );
    for tear in tears {
        assert_eq!(found(&wal[..tear]), whole(tear), "cut at {tear}");
    }
    for _ in 0..40 {
        let place = index();
        let mut spoilt = wal.clone();
        spoilt[place] ^= 0x40;
        assert_eq!(found(&spoilt), whole(place), "spoilt at {place}");
    }
}
