//! Where the data lies.

use std::env;
use std::ffi::OsString;
use std::path::PathBuf;

use crate::error::StoreError;

/// The folder that the data lies in: `chosen` if given, else the one that `TYMPAN_DATA` names,
/// else `tympan` in the place that the system has for programs' data:
///
/// - Linux and other Unix: `$XDG_DATA_HOME`, or `~/.local/share` (XDG Base Directory
///   Specification 0.8);
/// - macOS: `~/Library/Application Support`;
/// - Windows: `%LOCALAPPDATA%`, as a write-ahead log must not lie in a roaming profile.
///
/// # Errors
/// [`StoreError::NoDataFolder`] where nothing tells whose data it is.
pub fn data_folder(chosen: Option<PathBuf>) -> Result<PathBuf, StoreError> {
    resolve(chosen, |name| env::var_os(name), env::home_dir()).ok_or(StoreError::NoDataFolder)
}

fn resolve(
    chosen: Option<PathBuf>,
    var: impl Fn(&str) -> Option<OsString>,
    home: Option<PathBuf>,
) -> Option<PathBuf> {
    let set = |name: &str| {
        var(name)
            .filter(|value| !value.is_empty())
            .map(PathBuf::from)
    };
    // The specification has relative paths ignored.
    let absolute = |name: &str| set(name).filter(|path| path.is_absolute());
    if let Some(folder) = chosen.or_else(|| set("TYMPAN_DATA")) {
        return Some(folder);
    }
    let home = home.filter(|path| path.is_absolute());
    let base = if cfg!(target_os = "windows") {
        absolute("LOCALAPPDATA").or_else(|| Some(home?.join("AppData").join("Local")))
    } else if cfg!(target_os = "macos") {
        Some(home?.join("Library").join("Application Support"))
    } else {
        absolute("XDG_DATA_HOME").or_else(|| Some(home?.join(".local").join("share")))
    };
    base.map(|base| base.join("tympan"))
}

#[cfg(test)]
#[cfg(all(unix, not(target_os = "macos")))]
mod tests {
    use super::*;

    fn resolved(
        chosen: Option<&str>,
        vars: &[(&str, &str)],
        home: Option<&str>,
    ) -> Option<PathBuf> {
        let var = |name: &str| {
            vars.iter()
                .find(|(n, _)| *n == name)
                .map(|(_, v)| OsString::from(v))
        };
        resolve(chosen.map(PathBuf::from), var, home.map(PathBuf::from))
    }

    #[test]
    fn a_chosen_folder_comes_before_all() {
        let vars = [("TYMPAN_DATA", "/env"), ("XDG_DATA_HOME", "/xdg")];
        assert_eq!(
            resolved(Some("mine"), &vars, Some("/home/u")),
            Some("mine".into())
        );
        assert_eq!(resolved(None, &vars, Some("/home/u")), Some("/env".into()));
        assert_eq!(
            resolved(None, &vars[1..], Some("/home/u")),
            Some("/xdg/tympan".into())
        );
    }

    #[test]
    fn without_variables_it_lies_in_the_home_folder() {
        let folder = resolved(None, &[], Some("/home/u"));
        assert_eq!(folder, Some("/home/u/.local/share/tympan".into()));
    }

    #[test]
    fn empty_and_relative_variables_are_ignored() {
        let vars = [("TYMPAN_DATA", ""), ("XDG_DATA_HOME", "somewhere")];
        let folder = resolved(None, &vars, Some("/home/u"));
        assert_eq!(folder, Some("/home/u/.local/share/tympan".into()));
    }

    #[test]
    fn without_a_home_there_is_no_folder() {
        assert_eq!(resolved(None, &[], None), None);
        assert_eq!(resolved(None, &[], Some("")), None);
    }
}
