//! Files, read within bounds and written whole.

use std::fs::{self, OpenOptions};
use std::io::Write;
use std::path::Path;

use crate::refusal::Refusal;

/// Writes a new file whole or not at all.
///
/// # Errors
/// A [`Refusal`] where it exists or cannot be written.
pub fn write_new(path: &Path, bytes: &[u8]) -> Result<(), Refusal> {
    let folder = match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    let fail = |e: &std::io::Error| Refusal::file("write", path, e);
    let mut file = new_beside(folder).map_err(|e| fail(&e))?;
    file.write_all(bytes)
        .and_then(|()| file.as_file().sync_all())
        .map_err(|e| fail(&e))?;
    file.persist_noclobber(path).map_err(|e| fail(&e.error))?;
    // The new name should survive a power cut too; where a folder cannot be synced, it need not.
    if let Ok(folder) = OpenOptions::new().read(true).open(folder) {
        let _ = folder.sync_all();
    }
    Ok(())
}

/// Writes a file whole in the place of one that may be there, or leaves that as it was. For files that
/// are the program's own.
///
/// # Errors
/// A [`Refusal`] where its folder is not there or cannot be written.
pub(crate) fn replace(path: &Path, bytes: &[u8]) -> Result<(), Refusal> {
    let folder = path.parent().unwrap_or(Path::new("."));
    let fail = |e: &std::io::Error| Refusal::file("write", path, e);
    let mut file = tempfile::NamedTempFile::new_in(folder).map_err(|e| fail(&e))?;
    file.write_all(bytes).map_err(|e| fail(&e))?;
    file.persist(path).map_err(|e| fail(&e.error))?;
    Ok(())
}

/// Brings a file to another place: as a further name of it, or, where the disk has no such, as a
/// copy.
///
/// # Errors
/// A [`Refusal`] where neither can be done.
pub(crate) fn link_or_copy(from: &Path, to: &Path) -> Result<(), Refusal> {
    fs::hard_link(from, to)
        .or_else(|_| fs::copy(from, to).map(drop))
        .map_err(|e| Refusal::file("copy", from, &e))
}

/// A temporary file that becomes an ordinary one of the user's, with the usual permissions.
fn new_beside(folder: &Path) -> std::io::Result<tempfile::NamedTempFile> {
    let mut builder = tempfile::Builder::new();
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        // The system takes away what the user's mask says.
        builder.permissions(fs::Permissions::from_mode(0o666));
    }
    builder.tempfile_in(folder)
}

/// Reads a whole text file of moderate size.
///
/// # Errors
/// A [`Refusal`] where it cannot be read, is not text, or is over 16 MB.
pub fn read_text(path: &Path) -> Result<String, Refusal> {
    const LARGEST: u64 = 16 << 20;
    let size = fs::metadata(path)
        .map_err(|e| Refusal::file("read", path, &e))?
        .len();
    if size > LARGEST {
        return Err(Refusal::new(
            format!("{} is too large for a table of readings", path.display()),
            "give the right file",
        ));
    }
    fs::read_to_string(path).map_err(|e| Refusal::file("read", path, &e))
}
