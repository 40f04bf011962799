//! What the tests share.
#![allow(dead_code, reason = "each test file uses its own part of this")]

use tympan_register::{Observation, Reading};
use tympan_sheet::{Flip, Point, Side, Vector};
use tympan_store::{ReadingRecord, SetUp, Store, StoreError, Way};

/// A set-up of the given name.
pub(crate) fn set_up(name: &str) -> SetUp {
    let mut setup = SetUp::new(name, "a4".parse().expect("a paper"), Flip::Sideways);
    setup.printer = "kitchen ink-jet".into();
    setup.stock = Some("65 lb cover".parse().expect("a stock"));
    setup.feed = "rear".into();
    setup
}

/// A reading by pin of the given sheet, each with numbers of its own.
pub(crate) fn reading(setup: &SetUp, sheet: u32) -> ReadingRecord {
    let at = [(20.0, 25.0), (190.0, 25.0), (20.0, 272.0), (190.0, 272.0)];
    let observations = at
        .into_iter()
        .enumerate()
        .map(|(i, (x, y))| {
            let part = f64::from(sheet) / 7.0 + i as f64 / 3.0;
            Observation::new(
                Point::new(x, y),
                Vector::new(0.4 + part / 100.0, 2.1 - part / 90.0),
                0.15,
            )
        })
        .collect();
    let mut record = ReadingRecord::new(
        setup.id.clone(),
        Way::Pin,
        Side::Front,
        Reading::new(observations),
    );
    record.sheet = Some(sheet);
    record
}

/// A store in memory with one set-up in it.
pub(crate) fn store_with(name: &str) -> (Store, SetUp) {
    let mut store = Store::open_in_memory().expect("a store");
    let setup = set_up(name);
    store.add_set_up(&setup).expect("a new set-up");
    (store, setup)
}

/// What the user sees of an error: the message, then the hint.
pub(crate) fn said(error: &StoreError) -> String {
    format!("{error}\n{}", error.hint())
}

/// Tests that need a second process start their own program again, with the folder in this
/// variable, and take the child's part when they find it.
pub(crate) const CHILD: &str = "TYMPAN_STORE_TEST_FOLDER";

/// The folder to work on, in a child.
pub(crate) fn child_folder() -> Option<std::path::PathBuf> {
    std::env::var_os(CHILD).map(Into::into)
}

/// Starts `test` of this test program as a child that works on `folder`, with its output to read.
pub(crate) fn child(test: &str, folder: &std::path::Path) -> std::process::Command {
    let mut command = std::process::Command::new(std::env::current_exe().expect("this program"));
    command.args([test, "--exact", "--nocapture", "--test-threads=1"]);
    command
        .env(CHILD, folder)
        .stdin(std::process::Stdio::null());
    command
        .stdout(std::process::Stdio::piped())
        .stderr(std::process::Stdio::piped());
    command
}

/// Numbers that look random and are the same in every run (SplitMix64).
pub(crate) fn random(seed: u64) -> impl FnMut() -> u64 {
    let mut state = seed;
    move || {
        state = state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = state;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }
}
