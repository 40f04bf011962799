//! Writing a file beside its name first, and giving it the name only when it is whole.

use std::fs::{self, File, OpenOptions};
use std::io;
use std::path::{Path, PathBuf};

use tempfile::TempPath;

use crate::error::PdfError;

/// A file being written. Dropped without [`Output::keep`], it leaves nothing behind.
pub(crate) struct Output {
    target: PathBuf,
    temporary: TempPath,
}

impl Output {
    /// Begins an output that must not exist yet.
    pub(crate) fn create(target: &Path, sources: &[&Path]) -> Result<Self, PdfError> {
        let file = || target.to_path_buf();
        if fs::symlink_metadata(target).is_ok() {
            let same = |source: &&Path| match (fs::canonicalize(source), fs::canonicalize(target)) {
                (Ok(a), Ok(b)) => a == b,
                _ => false,
            };
            return Err(if sources.iter().any(same) {
                PdfError::OutputIsSource { file: file() }
            } else {
                PdfError::OutputExists { file: file() }
            });
        }
        let fail = |e: io::Error| PdfError::Write {
            file: file(),
            reason: e.to_string(),
        };
        let name = target
            .file_name()
            .ok_or_else(|| fail(io::Error::other("it names no file")))?
            .to_string_lossy();
        let folder = match target.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder,
            _ => Path::new("."),
        };
        // Not a private temporary file: the corrected one gets the permissions that any new file
        // of this user gets.
        for attempt in 0..100 {
            let part = format!(".{name}.{}-{attempt}.part", std::process::id());
            let path = folder.join(part);
            match OpenOptions::new().write(true).create_new(true).open(&path) {
                Ok(_) => {
                    let temporary = TempPath::try_from_path(&path).map_err(fail)?;
                    return Ok(Self {
                        target: file(),
                        temporary,
                    });
                }
                Err(e) if e.kind() == io::ErrorKind::AlreadyExists => {}
                Err(e) => return Err(fail(e)),
            }
        }
        Err(fail(io::Error::other(
            "too many unfinished outputs lie beside it",
        )))
    }

    /// Where to write.
    pub(crate) fn path(&self) -> &Path {
        &self.temporary
    }

    /// What to say when writing failed.
    pub(crate) fn fault(&self, reason: impl ToString) -> PdfError {
        PdfError::Write {
            file: self.target.clone(),
            reason: reason.to_string(),
        }
    }

    /// Makes sure that all is on the disk, and gives the file its name.
    pub(crate) fn keep(self) -> Result<(), PdfError> {
        let Self { target, temporary } = self;
        let fail = |e: io::Error| PdfError::Write {
            file: target.clone(),
            reason: e.to_string(),
        };
        File::options()
            .write(true)
            .open(&temporary)
            .and_then(|f| f.sync_all())
            .map_err(fail)?;
        temporary
            .persist_noclobber(&target)
            .map_err(|e| match e.error.kind() {
                io::ErrorKind::AlreadyExists => PdfError::OutputExists {
                    file: target.clone(),
                },
                _ => fail(e.error),
            })?;
        // The name itself is on the disk only when its folder is. Not every system lets a folder
        // be opened; the file is whole either way.
        if let Some(folder) = target.parent() {
            let folder = if folder.as_os_str().is_empty() {
                Path::new(".")
            } else {
                folder
            };
            let _ = File::open(folder).and_then(|f| f.sync_all());
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        let entries = fs::read_dir(folder).expect("a folder");
        entries
            .map(|e| {
                e.expect("an entry")
                    .file_name()
                    .to_string_lossy()
                    .into_owned()
            })
            .collect()
    }

    #[test]
    fn an_output_that_is_given_up_leaves_nothing_behind() {
        let folder = tempfile::tempdir().expect("a folder");
        let output = Output::create(&folder.path().join("out.pdf"), &[]).expect("an output");
        fs::write(output.path(), b"half").expect("written");
        assert_eq!(names(folder.path()).len(), 1);
        drop(output);
        assert!(names(folder.path()).is_empty());
    }

    #[test]
    fn an_output_that_is_kept_has_its_name_and_nothing_else_remains() {
        let folder = tempfile::tempdir().expect("a folder");
        let target = folder.path().join("out.pdf");
        let output = Output::create(&target, &[]).expect("an output");
        fs::write(output.path(), b"whole").expect("written");
        output.keep().expect("kept");
        assert_eq!(names(folder.path()), ["out.pdf"]);
        assert_eq!(fs::read(&target).expect("read"), b"whole");
    }

    #[test]
    fn nothing_is_overwritten_even_when_it_appears_meanwhile() {
        let folder = tempfile::tempdir().expect("a folder");
        let target = folder.path().join("out.pdf");
        let output = Output::create(&target, &[]).expect("an output");
        fs::write(&target, b"theirs").expect("written");
        assert!(matches!(output.keep(), Err(PdfError::OutputExists { .. })));
        assert_eq!(fs::read(&target).expect("read"), b"theirs");
        assert_eq!(names(folder.path()), ["out.pdf"]);
    }

    #[test]
    fn the_source_itself_is_refused_by_whatever_path() {
        let folder = tempfile::tempdir().expect("a folder");
        let source = folder.path().join("in.pdf");
        fs::write(&source, b"source").expect("written");
        let detour = folder
            .path()
            .join("..")
            .join(folder.path().file_name().expect("named"));
        let result = Output::create(&detour.join("in.pdf"), &[&source]);
        assert!(matches!(result, Err(PdfError::OutputIsSource { .. })));
    }

    #[test]
    fn a_missing_folder_is_said_plainly() {
        let result = Output::create(Path::new("/nowhere/at/all/out.pdf"), &[]);
        let Err(error @ PdfError::Write { .. }) = result else {
            panic!("refused")
        };
        assert!(
            error
                .to_string()
                .contains("/nowhere/at/all/out.pdf cannot be written"),
            "{error}"
        );
    }
}
