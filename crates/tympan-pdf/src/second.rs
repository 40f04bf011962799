//! A second, independent reader, asked only how many pages it finds.

use std::path::{Path, PathBuf};
use std::sync::mpsc;
use std::time::Duration;

use hayro::hayro_syntax::Pdf;

/// The second reader holds the whole file in memory, so that only smaller files are shown to it;
/// damaged ones, where pages go missing, up to a larger size.
const MAX_SOUND: u64 = 24 << 20;
const MAX_DAMAGED: u64 = 256 << 20;

/// How long it may think.
const PATIENCE: Duration = Duration::from_secs(3);

/// How many pages the second reader finds; `None` where it was not asked or has no answer.
pub(crate) fn count_pages(
    file: &Path,
    bytes: u64,
    password: Option<&str>,
    is_damaged: bool,
) -> Option<usize> {
    if bytes > if is_damaged { MAX_DAMAGED } else { MAX_SOUND } {
        return None;
    }
    let file: PathBuf = file.to_path_buf();
    let password = password.unwrap_or("").to_owned();
    let (answer, wait) = mpsc::channel();
    // A thread of its own, so that a file that confuses this reader costs no more than `PATIENCE`
    // and a panic in it no more than the answer.
    std::thread::spawn(move || {
        let data = std::fs::read(file).ok()?;
        let pdf = Pdf::new_with_password(data, &password).ok()?;
        answer.send(pdf.pages().len()).ok()
    });
    wait.recv_timeout(PATIENCE).ok()
}
