//! The desk's folders and files.

use std::fs::{self, File};
use std::io::{Seek, Write};
use std::path::{Path, PathBuf};
use std::sync::Mutex;

use serde::Serialize;
use tympan_store::Timestamp;

use super::work::{Change, Job, Work, WorkFile};
use crate::files;
use crate::refusal::Refusal;

/// The longest name of a file that is kept, characters.
const LONGEST_NAME: usize = 120;
/// Letters and digits that ids are made of: none that are taken for one another.
const ALPHABET: &[u8; 32] = b"abcdefghijkmnpqrstuvwxyz23456789";
const ID_LENGTH: usize = 12;

/// Writes what is kept of something down whole, or leaves it as it was.
pub(super) fn keep_as(path: &Path, kept: &impl Serialize) -> Result<(), Refusal> {
    let text =
        serde_json::to_vec(kept).map_err(|e| Refusal::new(e.to_string(), "try once more"))?;
    files::replace(path, &text)
}

/// The desk of a data folder. One program at a time serves it.
pub struct Desk {
    folder: PathBuf,
    lock: Mutex<File>,
    /// Held while a piece of work is changed.
    writing: Mutex<()>,
}

/// A file that is arriving. It goes away unless it becomes part of a piece of work.
pub struct Incoming {
    file: tempfile::NamedTempFile,
    bytes: u64,
}

impl Incoming {
    /// Takes the next piece.
    ///
    /// # Errors
    /// A [`Refusal`] where the disk does not take it.
    pub fn write(&mut self, piece: &[u8]) -> Result<(), Refusal> {
        self.bytes += piece.len() as u64;
        let path = self.file.path().to_path_buf();
        self.file
            .write_all(piece)
            .map_err(|e| Refusal::file("write", &path, &e))
    }

    /// Where it lies while it arrives.
    pub fn path(&self) -> &Path {
        self.file.path()
    }

    /// The same with the content of a file that was written here.
    ///
    /// # Errors
    /// A [`Refusal`] where that cannot be read.
    pub fn filled_from(mut self, path: &Path) -> Result<Self, Refusal> {
        let fail = |e: &std::io::Error| Refusal::file("read", path, e);
        let mut from = File::open(path).map_err(|e| fail(&e))?;
        self.bytes = std::io::copy(&mut from, &mut self.file).map_err(|e| fail(&e))?;
        Ok(self)
    }

    /// Gives it its place for good.
    ///
    /// # Errors
    /// A [`Refusal`] where something is there already or the disk fails.
    pub(super) fn persist(self, path: &Path) -> Result<(), Refusal> {
        self.file
            .persist_noclobber(path)
            .map_err(|e| Refusal::file("keep", path, &e.error))?;
        Ok(())
    }

    /// How much has arrived.
    pub fn bytes(&self) -> u64 {
        self.bytes
    }
}

impl Desk {
    /// Opens the desk of a data folder, makes it where there is none, throws away what did not
    /// wholly arrive, and marks work that a program's end cut short.
    ///
    /// # Errors
    /// A [`Refusal`] where the folder cannot be used, or another program serves this desk.
    pub fn open(data: &Path) -> Result<Self, Refusal> {
        let folder = data.join("desk");
        for name in [
            "", "incoming", "work", "pictures", "batches", "decks", "sheets", "runs",
        ] {
            let folder = folder.join(name);
            fs::create_dir_all(&folder)
                .map_err(|e| Refusal::file("make the folder", &folder, &e))?;
        }
        let path = folder.join("lock");
        let lock = File::options()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .open(&path)
            .map_err(|e| Refusal::file("open", &path, &e))?;
        if lock.try_lock().is_err() {
            return Err(Refusal::new(
                "Tympan already serves this data folder",
                "use the page that is open, or give another folder with --data",
            ));
        }
        let desk = Self {
            folder,
            lock: Mutex::new(lock),
            writing: Mutex::new(()),
        };
        desk.tidy();
        Ok(desk)
    }

    /// Where the program that serves this data folder is to be reached, if one does and has said.
    pub fn served_at(data: &Path) -> Option<String> {
        let text = fs::read_to_string(data.join("desk").join("lock")).ok()?;
        let address = text.trim();
        address.starts_with("http://").then(|| address.to_owned())
    }

    /// Writes down where this desk is served.
    pub fn is_served_at(&self, address: &str) {
        let Ok(mut lock) = self.lock.lock() else {
            return;
        };
        // A second program that cannot read it says so; nothing depends on it.
        let _ = lock
            .set_len(0)
            .and_then(|()| lock.rewind())
            .and_then(|()| writeln!(lock, "{address}"))
            .and_then(|()| lock.flush());
    }

    /// After a start: nothing is half there.
    fn tidy(&self) {
        if let Ok(entries) = fs::read_dir(self.folder.join("incoming")) {
            for entry in entries.flatten() {
                let _ = fs::remove_file(entry.path());
            }
        }
        self.tidy_batches();
        let why = Refusal::new(
            "Tympan was closed while this was being done",
            "start it once more; nothing else was lost",
        );
        self.tidy_decks(&why);
        self.tidy_runs(&why);
        for mut work in self.all() {
            if work.put_away {
                let _ = self.throw_away(&work.id);
                continue;
            }
            self.tidy_saved(&work);
            let stop = |job: &mut Option<Job>| job.as_mut().is_some_and(|job| job.cut_short(&why));
            if stop(&mut work.job) | stop(&mut work.inspecting) {
                let _ = self.keep(&work);
            }
        }
        self.tidy_prints();
    }

    /// Removes what a work's `saved` folder has beside the file that is offered.
    fn tidy_saved(&self, work: &Work) {
        let Ok(entries) = fs::read_dir(self.saved_folder(&work.id)) else {
            return;
        };
        let kept = work.saved.as_ref().map(|saved| saved.file.as_str());
        for entry in entries.flatten() {
            if entry.file_name().to_str() != kept {
                let _ = fs::remove_file(entry.path());
            }
        }
    }

    /// A file that will arrive.
    ///
    /// # Errors
    /// A [`Refusal`] where the disk takes no more.
    pub fn incoming(&self) -> Result<Incoming, Refusal> {
        let folder = self.folder.join("incoming");
        let file = tempfile::Builder::new()
            .prefix("part-")
            .tempfile_in(&folder)
            .map_err(|e| Refusal::file("write into", &folder, &e))?;
        Ok(Incoming { file, bytes: 0 })
    }

    /// A new piece of work with a file that has arrived.
    ///
    /// # Errors
    /// A [`Refusal`] where it cannot be kept.
    pub fn begin(&self, incoming: Incoming, name: &str) -> Result<Work, Refusal> {
        let work = Work {
            schema: 1,
            id: new_id()?,
            created: Timestamp::now(),
            files: Vec::new(),
            has_back_file: false,
            locked: false,
            opens_with_password: false,
            pages: Vec::new(),
            cautions: Vec::new(),
            inspecting: None,
            inspected: None,
            change: Change::default(),
            job: None,
            saved: None,
            runs: Vec::new(),
            put_away: false,
        };
        let folder = self.work_folder(&work.id);
        fs::create_dir_all(&folder).map_err(|e| Refusal::file("make the folder", &folder, &e))?;
        let added = self.place(work, incoming, name);
        if added.is_err() {
            // It was made just now: nothing of anybody's is in it.
            let _ = fs::remove_dir_all(&folder);
        }
        added
    }

    /// Adds the file that holds the backs of those that are there.
    ///
    /// # Errors
    /// A [`Refusal`] where there is no such work, it has a file of backs already, or the disk does
    /// not take it.
    pub fn add_backs(&self, id: &str, incoming: Incoming, name: &str) -> Result<Work, Refusal> {
        let mut work = self.work(id)?;
        if work.has_back_file {
            return Err(Refusal::new(
                "this game has a file of backs already",
                "drop the fronts and the backs anew",
            ));
        }
        work.has_back_file = true;
        work.pages.clear();
        work.inspected = None;
        self.place(work, incoming, name)
    }

    fn place(&self, mut work: Work, incoming: Incoming, name: &str) -> Result<Work, Refusal> {
        let path = self.file(&work.id, work.files.len());
        let bytes = incoming.bytes;
        incoming.persist(&path)?;
        work.files.push(WorkFile {
            name: plain_name(name),
            bytes,
        });
        self.keep(&work)?;
        Ok(work)
    }

    /// Fronts and backs change places.
    ///
    /// # Errors
    /// A [`Refusal`] where there are not just two files.
    pub fn swap_files(&self, id: &str) -> Result<Work, Refusal> {
        let mut work = self.work(id)?;
        if work.files.len() != 2 || !work.has_back_file {
            return Err(Refusal::new(
                "there are no two files to change places",
                "drop the fronts and the backs in files of their own",
            ));
        }
        let (first, second) = (self.file(id, 0), self.file(id, 1));
        let aside = self.work_folder(id).join("aside.pdf");
        fs::rename(&first, &aside)
            .and_then(|()| fs::rename(&second, &first))
            .and_then(|()| fs::rename(&aside, &second))
            .map_err(|e| Refusal::file("move", &first, &e))?;
        work.files.swap(0, 1);
        work.pages.reverse();
        work.inspected = None;
        self.forget_pictures(id);
        self.keep(&work)?;
        Ok(work)
    }

    /// A piece of work.
    ///
    /// # Errors
    /// A [`Refusal`] where there is none of this id.
    pub fn work(&self, id: &str) -> Result<Work, Refusal> {
        let gone = || {
            Refusal::new(
                "this piece of work is no longer here",
                "drop the file once more",
            )
        };
        if !is_id(id) {
            return Err(gone());
        }
        let text = fs::read(self.work_folder(id).join("work.json")).map_err(|_| gone())?;
        serde_json::from_slice(&text).map_err(|_| gone())
    }

    /// Changes a piece of work.
    ///
    /// # Errors
    /// A [`Refusal`] where there is none of this id, or the change says no.
    pub fn change<T>(
        &self,
        id: &str,
        change: impl FnOnce(&mut Work) -> Result<T, Refusal>,
    ) -> Result<(Work, T), Refusal> {
        let _held = self.hold();
        let mut work = self.work(id)?;
        let answer = change(&mut work)?;
        self.keep(&work)?;
        Ok((work, answer))
    }

    /// Writes a piece of work down whole, or leaves it as it was.
    fn keep(&self, work: &Work) -> Result<(), Refusal> {
        keep_as(&self.work_folder(&work.id).join("work.json"), work)
    }

    /// All work that is not put away, the newest first.
    pub fn list(&self) -> Vec<Work> {
        let mut all = self.all();
        all.retain(|work| !work.put_away);
        all.sort_by_key(|work| std::cmp::Reverse(work.created));
        all
    }

    fn all(&self) -> Vec<Work> {
        let Ok(entries) = fs::read_dir(self.folder.join("work")) else {
            return Vec::new();
        };
        entries
            .flatten()
            .filter_map(|entry| self.work(entry.file_name().to_str()?).ok())
            .collect()
    }

    /// Removes what was put away for good.
    fn throw_away(&self, id: &str) -> Result<(), Refusal> {
        let folder = self.work_folder(id);
        self.forget_pictures(id);
        fs::remove_dir_all(&folder).map_err(|e| Refusal::file("remove", &folder, &e))
    }

    fn forget_pictures(&self, id: &str) {
        let _ = fs::remove_dir_all(self.pictures(id));
    }

    pub(super) fn folder(&self) -> &Path {
        &self.folder
    }

    /// Held while something on the desk is changed.
    pub(super) fn hold(&self) -> impl Drop + '_ {
        self.writing
            .lock()
            .unwrap_or_else(std::sync::PoisonError::into_inner)
    }

    fn work_folder(&self, id: &str) -> PathBuf {
        self.folder.join("work").join(id)
    }

    /// Where a work's file lies.
    pub fn file(&self, id: &str, index: usize) -> PathBuf {
        self.work_folder(id).join(format!("file-{index}.pdf"))
    }

    /// Where all its files lie.
    pub fn files(&self, work: &Work) -> Vec<PathBuf> {
        (0..work.files.len())
            .map(|index| self.file(&work.id, index))
            .collect()
    }

    /// Where a work's corrected files are written.
    pub fn saved_folder(&self, id: &str) -> PathBuf {
        self.work_folder(id).join("saved")
    }

    /// Where a work's previews lie.
    pub fn pictures(&self, id: &str) -> PathBuf {
        self.folder.join("pictures").join(id)
    }

    /// Where the previews of all works lie.
    pub fn all_pictures(&self) -> PathBuf {
        self.folder.join("pictures")
    }
}

pub(super) fn is_id(text: &str) -> bool {
    text.len() == ID_LENGTH && text.bytes().all(|b| ALPHABET.contains(&b))
}

pub(super) fn new_id() -> Result<String, Refusal> {
    let mut bytes = [0u8; ID_LENGTH];
    getrandom::fill(&mut bytes).map_err(|e| {
        Refusal::new(
            format!("the system gives no random numbers: {e}"),
            "try again",
        )
    })?;
    Ok(bytes
        .iter()
        .map(|b| char::from(ALPHABET[usize::from(b % 32)]))
        .collect())
}

/// A file's name as it can be shown: without folders and control characters.
pub(super) fn plain_name(name: &str) -> String {
    let last = name.rsplit(['/', '\\']).next().unwrap_or_default();
    let name: String = last
        .chars()
        .filter(|c| !c.is_control() && !is_bidi_control(*c))
        .take(LONGEST_NAME)
        .collect();
    let name = name.trim();
    if name.is_empty() {
        "dropped.pdf".to_owned()
    } else {
        name.to_owned()
    }
}

/// Characters that make a name read backwards.
fn is_bidi_control(c: char) -> bool {
    matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::JobKind;
    use crate::desk::JobState;

    fn arrived(desk: &Desk) -> Incoming {
        let mut incoming = desk.incoming().expect("a file");
        incoming.write(b"%PDF-1.4").expect("written");
        incoming
    }

    fn count(folder: PathBuf) -> usize {
        fs::read_dir(folder).expect("a folder").count()
    }

    #[test]
    fn what_has_not_arrived_leaves_nothing_behind() {
        let data = tempfile::tempdir().expect("a folder");
        let desk = Desk::open(data.path()).expect("a desk");
        drop(arrived(&desk));
        assert_eq!(count(data.path().join("desk/incoming")), 0);
        let kept = arrived(&desk).file.keep().expect("left by a crash");
        drop((desk, kept));
        let _desk = Desk::open(data.path()).expect("again");
        assert_eq!(count(data.path().join("desk/incoming")), 0);
    }

    #[test]
    fn work_cut_short_says_so_after_a_restart() {
        let data = tempfile::tempdir().expect("a folder");
        let desk = Desk::open(data.path()).expect("a desk");
        let work = desk.begin(arrived(&desk), "game.pdf").expect("kept");
        desk.change(&work.id, |work| {
            work.job = Some(Job::begun(JobKind::Save));
            Ok(())
        })
        .expect("changed");
        drop(desk);
        let desk = Desk::open(data.path()).expect("again");
        let job = desk.work(&work.id).expect("still there").job.expect("told");
        assert_eq!(job.state, JobState::Stopped);
        assert_eq!(job.message, "Tympan was closed while this was being done");
    }

    #[test]
    fn two_programs_do_not_serve_one_desk() {
        let data = tempfile::tempdir().expect("a folder");
        let desk = Desk::open(data.path()).expect("a desk");
        desk.is_served_at("http://127.0.0.1:4000/");
        assert!(Desk::open(data.path()).is_err());
        assert_eq!(
            Desk::served_at(data.path()).as_deref(),
            Some("http://127.0.0.1:4000/")
        );
    }

    #[test]
    fn ids_from_outside_are_never_paths() {
        let data = tempfile::tempdir().expect("a folder");
        let desk = Desk::open(data.path()).expect("a desk");
        for id in [
            "",
            "..",
            "../../../etc",
            "aaaaaaaaaaa/",
            "AAAAAAAAAAAA",
            "aaaaaaaaaaaaa",
        ] {
            assert!(desk.work(id).is_err(), "{id}");
        }
    }

    #[test]
    fn names_are_shown_without_folders_and_tricks() {
        assert_eq!(plain_name("../../etc/passwd"), "passwd");
        assert_eq!(plain_name("C:\\games\\deck.pdf"), "deck.pdf");
        assert_eq!(plain_name("a\u{202e}fdp.exe\n"), "afdp.exe");
        assert_eq!(plain_name("\u{0}"), "dropped.pdf");
        assert_eq!(plain_name(&"x".repeat(500)).len(), LONGEST_NAME);
    }
}
