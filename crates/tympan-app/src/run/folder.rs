//! The folder of a run's files: whole, or not there.

use std::ffi::{OsStr, OsString};
use std::io;
use std::path::{Path, PathBuf};

use crate::files;
use crate::refusal::Refusal;

/// Takes away files that are still as they were written, and the folder if nothing is left in it.
pub(super) fn remove(folder: &Path, files: &[(String, u64)]) {
    for (name, size) in files {
        let file = folder.join(name);
        let is_ours = std::fs::metadata(&file).is_ok_and(|about| about.len() == *size);
        if is_ours {
            // What cannot be taken away stays; it does no harm.
            let _ = std::fs::remove_file(&file);
        }
    }
    let _ = std::fs::remove_dir(folder);
}

/// A folder that is filled beside its name, and gets it when it is whole.
pub(super) struct NewFolder {
    folder: tempfile::TempDir,
    to: PathBuf,
}

impl NewFolder {
    pub(super) fn beside(to: &Path) -> Result<Self, Refusal> {
        if to.exists() {
            return Err(Refusal::new(
                format!("{} already exists", to.display()),
                "choose another folder: nothing is overwritten",
            ));
        }
        Self::replacing(to)
    }

    /// One whose files will go into a folder that is there.
    pub(super) fn replacing(to: &Path) -> Result<Self, Refusal> {
        let parent = match to.parent() {
            Some(parent) if !parent.as_os_str().is_empty() => parent,
            _ => Path::new("."),
        };
        let folder = tempfile::Builder::new()
            .prefix(".tympan-run-")
            .tempdir_in(parent)
            .map_err(|e| Refusal::file("write", to, &e))?;
        Ok(Self {
            folder,
            to: to.to_path_buf(),
        })
    }

    pub(super) fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub(super) fn write(&self, name: &str, bytes: &[u8]) -> Result<(), Refusal> {
        files::write_new(&self.path(name), bytes)
    }

    /// Takes the place of a folder that is there already; what is in that besides these files of
    /// its own comes along. Until [`Exchanged::keep`] is called it can all be taken back.
    pub(super) fn in_place_of(self, old: &[(String, u64)]) -> Result<Exchanged, Refusal> {
        let fail = |e: &io::Error| Refusal::file("write", &self.to, e);
        let size = |name: &str| std::fs::metadata(self.to.join(name)).map(|about| about.len());
        let changed = old
            .iter()
            .find(|(name, bytes)| size(name).is_ok_and(|size| size != *bytes));
        if let Some((name, _)) = changed {
            return Err(Refusal::new(
                format!("{} is not as it was written", self.to.join(name).display()),
                "move it away, then try again: nothing is overwritten",
            ));
        }
        let strangers = strangers(&self.to, old).map_err(|e| fail(&e))?;
        let in_the_way = strangers.iter().find(|name| self.path_of(name).exists());
        if let Some(name) = in_the_way {
            return Err(Refusal::new(
                format!("{} is not the run's own file", self.to.join(name).display()),
                "move it away, then try again: nothing is overwritten",
            ));
        }
        let aside = tempfile::Builder::new()
            .prefix(".tympan-run-old-")
            .tempdir_in(self.to.parent().unwrap_or(Path::new(".")))
            .map_err(|e| fail(&e))?;
        let before = aside.path().join("run");
        let had = self.to.exists();
        if had {
            std::fs::rename(&self.to, &before).map_err(|e| fail(&e))?;
        }
        let to = self.to.clone();
        match self.keep() {
            Ok(files) => Ok(Exchanged {
                to,
                aside,
                had,
                strangers,
                files,
            }),
            Err(refusal) => {
                if had {
                    // Nothing took its place.
                    let _ = std::fs::rename(&before, &to);
                }
                Err(refusal)
            }
        }
    }

    fn path_of(&self, name: &OsStr) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Gives the folder its name. The names and sizes of its files are told.
    pub(super) fn keep(self) -> Result<Vec<(String, u64)>, Refusal> {
        let fail = |e: &io::Error| Refusal::file("write", &self.to, e);
        let mut written = Vec::new();
        for entry in std::fs::read_dir(self.folder.path()).map_err(|e| fail(&e))? {
            let entry = entry.map_err(|e| fail(&e))?;
            let size = entry.metadata().map_err(|e| fail(&e))?.len();
            written.push((entry.file_name().to_string_lossy().into_owned(), size));
        }
        written.sort();
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            // As a folder that its user makes: what is temporary is for its user alone.
            let usual = std::fs::Permissions::from_mode(0o755);
            std::fs::set_permissions(self.folder.path(), usual).map_err(|e| fail(&e))?;
        }
        std::fs::rename(self.folder.path(), &self.to).map_err(|e| fail(&e))?;
        // There is nothing left to be cleared away under its first name.
        let _ = self.folder.keep();
        Ok(written)
    }
}

/// What is in a folder besides these files.
fn strangers(folder: &Path, own: &[(String, u64)]) -> Result<Vec<OsString>, io::Error> {
    let entries = match std::fs::read_dir(folder) {
        Ok(entries) => entries,
        Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
        Err(e) => return Err(e),
    };
    let names = entries.map(|entry| Ok(entry?.file_name()));
    let names: Result<Vec<_>, io::Error> = names.collect();
    let is_own = |name: &OsString| own.iter().any(|(own, _)| name == own.as_str());
    Ok(names?.into_iter().filter(|name| !is_own(name)).collect())
}

/// A folder that has taken another one's place.
pub(super) struct Exchanged {
    to: PathBuf,
    /// Holds the folder that was there before.
    aside: tempfile::TempDir,
    had: bool,
    strangers: Vec<OsString>,
    files: Vec<(String, u64)>,
}

impl Exchanged {
    /// The names and sizes of the new files.
    pub(super) fn files(&self) -> &[(String, u64)] {
        &self.files
    }

    /// Leaves it at that: what was its user's own comes along, the old files go.
    pub(super) fn keep(self) -> Result<(), Refusal> {
        let before = self.aside.path().join("run");
        for name in &self.strangers {
            if let Err(e) = std::fs::rename(before.join(name), self.to.join(name)) {
                // Whatever cannot be moved is not thrown away.
                let left = self.aside.keep();
                return Err(Refusal::new(
                    format!(
                        "{} could not be brought along: {e}",
                        before.join(name).display()
                    ),
                    format!("it is still in {}", left.display()),
                ));
            }
        }
        Ok(())
    }

    /// Puts the folder back that was there before.
    pub(super) fn undo(self) {
        remove(&self.to, &self.files);
        if self.had {
            // Where even that fails, it is not thrown away.
            if std::fs::rename(self.aside.path().join("run"), &self.to).is_err() {
                let _ = self.aside.keep();
            }
        }
    }
}
