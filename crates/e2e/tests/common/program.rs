//! The built program.

#![allow(unreachable_pub)]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;
use std::time::SystemTime;

/// The folder of the workspace's build.
pub fn target() -> PathBuf {
    let test = std::env::current_exe().expect("this test's own file");
    let folder = test.ancestors().nth(3).expect("target/PROFILE/deps/TEST");
    folder.to_path_buf()
}

/// The program, built anew where it is older than its sources.
pub fn program() -> &'static Path {
    static PROGRAM: OnceLock<PathBuf> = OnceLock::new();
    PROGRAM.get_or_init(|| {
        // Of the same profile as this test.
        let test = std::env::current_exe().expect("this test's own file");
        let profile = test.ancestors().nth(2).expect("target/PROFILE/deps/TEST");
        let path = profile.join("tympan");
        let crates = Path::new(env!("CARGO_MANIFEST_DIR"))
            .parent()
            .expect("crates");
        let is_of = |name: &str| name.starts_with("tympan");
        let newest = fs::read_dir(crates)
            .expect("the crates")
            .flatten()
            .filter(|entry| entry.file_name().to_str().is_some_and(is_of))
            .flat_map(|entry| ["src", "assets"].map(|part| newest_in(&entry.path().join(part))))
            .max()
            .expect("sources");
        let built = fs::metadata(&path).and_then(|about| about.modified()).ok();
        if built.is_none_or(|built| built < newest) {
            let cargo = std::env::var("CARGO").unwrap_or_else(|_| "cargo".into());
            let release = profile.ends_with("release").then_some("--release");
            let built = Command::new(cargo)
                .args(["build", "--quiet", "--package", "tympan"])
                .args(release)
                .env("CARGO_TARGET_DIR", target())
                .status()
                .expect("cargo runs");
            assert!(built.success(), "tympan does not build");
        }
        path
    })
}

/// When anything in a folder last changed.
fn newest_in(folder: &Path) -> SystemTime {
    let mut newest = SystemTime::UNIX_EPOCH;
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        let about = entry.metadata().expect("a file");
        newest = newest.max(if about.is_dir() {
            newest_in(&entry.path())
        } else {
            about.modified().expect("a time")
        });
    }
    newest
}
