//! Whether a password is the owner's.

use std::path::Path;

use qpdf::{QPdf, QPdfDictionary};

/// Whether `password`, which opened the file, is the owner's rather than the user's.
pub(crate) fn is_owner(
    _qpdf: &QPdf,
    _encrypt: &QPdfDictionary,
    file: &Path,
    password: &str,
) -> bool {
    // A file that opens without a password has an empty user password; another one that opens it
    // too is the owner's.
    !password.is_empty() && QPdf::read(file).is_ok()
}
