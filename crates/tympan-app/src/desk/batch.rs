//! Pictures of test sheets that were dropped together, and what came of reading them.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

use serde::{Deserialize, Serialize};
use tympan_store::{SetUpId, Store, Timestamp};

use super::files::{Incoming, is_id, keep_as, new_id, plain_name};
use super::work::{Job, JobState, WorkFile};
use super::{Desk, JobKind};
use crate::measure::{self, PicturesAsked};
use crate::on_page::on_page;
use crate::refusal::Refusal;

/// Pictures that were dropped together.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Batch {
    /// The version of this form.
    pub schema: u32,
    /// Its name in addresses and folders.
    pub id: String,
    /// When they were dropped.
    pub created: Timestamp,
    /// The set-up that they are for.
    pub setup: SetUpId,
    /// Their names.
    pub files: Vec<WorkFile>,
    /// Whether a phone sent them.
    #[serde(default)]
    pub from_phone: bool,
    /// Reading them.
    #[serde(default)]
    pub job: Option<Job>,
    /// What came of it.
    #[serde(default)]
    pub outcome: Option<Outcome>,
}

/// What came of reading pictures.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Outcome {
    /// Sheets that were read.
    pub read: Vec<BatchRead>,
    /// Pictures that were not.
    pub refused: Vec<BatchRefused>,
}

/// A sheet that was read.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct BatchRead {
    /// The reading's id.
    pub reading: String,
    /// The number on the sheet.
    pub sheet: Option<u32>,
    /// The pictures that it was read from, by their names.
    pub files: Vec<String>,
    /// How good the reading is, in a word.
    pub quality: String,
    /// What to bear in mind.
    pub warnings: Vec<String>,
    /// Pictures that show what was found, by their names in the folder of evidence.
    pub evidence: Vec<String>,
}

/// Pictures that were not read.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct BatchRefused {
    /// By their names.
    pub files: Vec<String>,
    /// Why: a name that does not change.
    pub code: String,
    /// Why, in words.
    pub message: String,
    /// What to do.
    pub hint: String,
}

/// What a child needs to read pictures.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct PicturesIn {
    /// The data folder.
    pub data: PathBuf,
    /// The pictures.
    pub batch: Batch,
    /// Where they lie.
    pub files: Vec<PathBuf>,
    /// A sheet that was read before was read once more.
    pub again: bool,
}

impl PicturesIn {
    /// Reads them into the log.
    ///
    /// # Errors
    /// As for [`measure::read_pictures`]; file names are those that their owner knows.
    pub fn read(
        &self,
        progress: &mut dyn FnMut(usize, usize),
        cancel: &AtomicBool,
    ) -> Result<Outcome, Refusal> {
        let mut store = Store::open(&self.data)?;
        let setup = store.set_up(&self.batch.setup)?;
        let evidence = evidence_folder(&self.data);
        let asked = PicturesAsked {
            again: self.again,
            evidence: Some(&evidence),
        };
        let told = measure::read_pictures(&mut store, &setup, &self.files, asked, progress, cancel)
            .map_err(|refusal| self.in_their_names(refusal))?;
        let names = |files: &[PathBuf]| files.iter().map(|file| self.name_of(file)).collect();
        let read = told.read.sheets.iter().map(|sheet| {
            let pictures = sheet.pictures.as_ref();
            let files: &[PathBuf] = pictures.map_or(&[], |p| &p.files);
            let mut stems: Vec<&str> = files
                .iter()
                .filter_map(|f| f.file_stem()?.to_str())
                .collect();
            stems.dedup();
            BatchRead {
                reading: sheet.reading.clone(),
                sheet: sheet.sheet,
                files: names(files),
                quality: pictures.map_or(String::new(), |p| p.quality.to_owned()),
                warnings: sheet.warnings.iter().map(|w| self.renamed(w)).collect(),
                evidence: evidence_of(&evidence, &stems),
            }
        });
        Ok(Outcome {
            read: read.collect(),
            refused: told
                .refused
                .iter()
                .map(|refused| BatchRefused {
                    files: names(&refused.files),
                    code: refused.refused.code.to_owned(),
                    message: self.renamed(&refused.refused.message),
                    hint: on_page(refused.refused.hint),
                })
                .collect(),
        })
    }

    fn name_of(&self, file: &Path) -> String {
        let index = self.files.iter().position(|known| known == file);
        let named = index.and_then(|index| self.batch.files.get(index));
        named.map_or_else(|| "a picture".to_owned(), |file| file.name.clone())
    }

    fn renamed(&self, text: &str) -> String {
        let mut text = text.to_owned();
        for (file, known) in self.files.iter().zip(&self.batch.files) {
            text = text.replace(&file.display().to_string(), &known.name);
        }
        text
    }

    fn in_their_names(&self, refusal: Refusal) -> Refusal {
        Refusal {
            message: self.renamed(&refusal.message),
            hint: refusal.hint.map(|hint| self.renamed(&hint)),
        }
    }
}

fn evidence_folder(data: &Path) -> PathBuf {
    data.join("evidence")
}

/// The pictures of evidence that were made from files of these stems.
fn evidence_of(folder: &Path, stems: &[&str]) -> Vec<String> {
    let is_of = |name: &str| {
        name.ends_with("-marks.png")
            && stems.iter().any(|stem| {
                name.strip_prefix(stem)
                    .is_some_and(|rest| rest.starts_with('-'))
            })
    };
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    let mut names: Vec<String> = entries
        .filter_map(|entry| entry.file_name().into_string().ok())
        .filter(|name| is_of(name))
        .collect();
    names.sort();
    names
}

impl Desk {
    /// A new batch with a picture that has arrived.
    ///
    /// # Errors
    /// A [`Refusal`] where it cannot be kept.
    pub fn begin_batch(
        &self,
        setup: &SetUpId,
        incoming: Incoming,
        name: &str,
        from_phone: bool,
    ) -> Result<Batch, Refusal> {
        let batch = Batch {
            schema: 1,
            id: new_id()?,
            created: Timestamp::now(),
            setup: setup.clone(),
            files: Vec::new(),
            from_phone,
            job: None,
            outcome: None,
        };
        let folder = self.batch_folder(&batch.id);
        fs::create_dir_all(&folder).map_err(|e| Refusal::file("make the folder", &folder, &e))?;
        self.place_picture(batch, incoming, name)
    }

    /// Adds a picture to a batch.
    ///
    /// # Errors
    /// A [`Refusal`] where there is no such batch, it was begun to be read, or it is full.
    pub fn add_picture(&self, id: &str, incoming: Incoming, name: &str) -> Result<Batch, Refusal> {
        const MOST: usize = 60;
        let batch = self.batch(id)?;
        if batch.job.is_some() {
            return Err(Refusal::new(
                "these pictures are being read already",
                "drop the others once more by themselves",
            ));
        }
        if batch.files.len() >= MOST {
            return Err(Refusal::new(
                format!("more than {MOST} pictures at once"),
                "drop the pictures of a few sheets at a time",
            ));
        }
        self.place_picture(batch, incoming, name)
    }

    fn place_picture(
        &self,
        mut batch: Batch,
        incoming: Incoming,
        name: &str,
    ) -> Result<Batch, Refusal> {
        let path = self.picture_file(&batch.id, batch.files.len());
        let bytes = incoming.bytes();
        incoming.persist(&path)?;
        batch.files.push(WorkFile {
            name: plain_name(name),
            bytes,
        });
        self.keep_batch(&batch)?;
        Ok(batch)
    }

    /// A batch.
    ///
    /// # Errors
    /// A [`Refusal`] where there is none of this id.
    pub fn batch(&self, id: &str) -> Result<Batch, Refusal> {
        let gone = || Refusal::new("these pictures are no longer here", "drop them once more");
        if !is_id(id) {
            return Err(gone());
        }
        let text = fs::read(self.batch_folder(id).join("batch.json")).map_err(|_| gone())?;
        serde_json::from_slice(&text).map_err(|_| gone())
    }

    /// Changes a batch.
    ///
    /// # Errors
    /// A [`Refusal`] where there is none of this id, or the change says no.
    pub fn change_batch<T>(
        &self,
        id: &str,
        change: impl FnOnce(&mut Batch) -> Result<T, Refusal>,
    ) -> Result<(Batch, T), Refusal> {
        let _held = self.hold();
        let mut batch = self.batch(id)?;
        let answer = change(&mut batch)?;
        self.keep_batch(&batch)?;
        Ok((batch, answer))
    }

    fn keep_batch(&self, batch: &Batch) -> Result<(), Refusal> {
        keep_as(&self.batch_folder(&batch.id).join("batch.json"), batch)
    }

    /// The batches of a set-up, the newest first.
    pub fn batches(&self, setup: &SetUpId) -> Vec<Batch> {
        let mut all: Vec<Batch> = self.all_batches();
        all.retain(|batch| batch.setup == *setup);
        all.sort_by_key(|batch| std::cmp::Reverse(batch.created));
        all
    }

    fn all_batches(&self) -> Vec<Batch> {
        let entries = fs::read_dir(self.folder().join("batches"));
        entries
            .into_iter()
            .flatten()
            .flatten()
            .filter_map(|entry| self.batch(entry.file_name().to_str()?).ok())
            .collect()
    }

    /// Takes a batch from the desk. What was read from it stays in the log.
    ///
    /// # Errors
    /// A [`Refusal`] where it is being read or cannot be removed.
    pub fn clear_batch(&self, id: &str) -> Result<(), Refusal> {
        let batch = self.batch(id)?;
        if batch.job.as_ref().is_some_and(Job::is_running) {
            return Err(Refusal::new(
                "these pictures are being read",
                "cancel it first",
            ));
        }
        let folder = self.batch_folder(id);
        fs::remove_dir_all(&folder).map_err(|e| Refusal::file("remove", &folder, &e))
    }

    /// After a start: batches that were read whole are cleared, and those cut short say so.
    pub(super) fn tidy_batches(&self) {
        for mut batch in self.all_batches() {
            let why = Refusal::new(
                "Tympan was closed while these pictures were being read",
                "read them once more; nothing was logged twice",
            );
            if batch.job.as_mut().is_some_and(|job| job.cut_short(&why)) {
                let _ = self.keep_batch(&batch);
            } else if batch.job.is_none_or(|job| job.state == JobState::Done) {
                let _ = fs::remove_dir_all(self.batch_folder(&batch.id));
            }
        }
    }

    fn batch_folder(&self, id: &str) -> PathBuf {
        self.folder().join("batches").join(id)
    }

    /// Where a picture of a batch lies. The evidence made from it is named after it.
    fn picture_file(&self, id: &str, index: usize) -> PathBuf {
        self.batch_folder(id).join(format!("{id}-{index}.picture"))
    }

    /// Where all its pictures lie.
    pub fn picture_files(&self, batch: &Batch) -> Vec<PathBuf> {
        (0..batch.files.len())
            .map(|index| self.picture_file(&batch.id, index))
            .collect()
    }

    /// A picture of evidence, by its plain name.
    pub fn evidence(&self, name: &str) -> Option<PathBuf> {
        let plain = name.ends_with(".png")
            && !name.starts_with('.')
            && name
                .bytes()
                .all(|b| b.is_ascii_alphanumeric() || matches!(b, b'-' | b'.' | b'_'));
        let data = self.folder().parent()?;
        plain.then(|| evidence_folder(data).join(name))
    }
}

impl Batch {
    /// Marks it as being read.
    ///
    /// # Errors
    /// A [`Refusal`] where it is already.
    pub fn begin(&mut self) -> Result<(), Refusal> {
        if self.job.as_ref().is_some_and(Job::is_running) {
            return Err(Refusal::new(
                "these pictures are being read already",
                "wait for it, or cancel it",
            ));
        }
        self.job = Some(Job::begun(JobKind::Read));
        self.outcome = None;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn arrived(desk: &Desk) -> Incoming {
        let mut incoming = desk.incoming().expect("a file");
        incoming.write(b"no picture").expect("written");
        incoming
    }

    #[test]
    fn pictures_cut_short_say_so_after_a_restart_and_read_ones_go() {
        let data = tempfile::tempdir().expect("a folder");
        let desk = Desk::open(data.path()).expect("a desk");
        let setup = SetUpId::random();
        let cut = desk
            .begin_batch(&setup, arrived(&desk), "a.jpg", false)
            .expect("kept");
        desk.change_batch(&cut.id, Batch::begin).expect("begun");
        let read = desk
            .begin_batch(&setup, arrived(&desk), "b.jpg", true)
            .expect("kept");
        desk.change_batch(&read.id, |batch| {
            batch.begin()?;
            let job = batch.job.take().expect("begun");
            batch.job = Some(Job {
                state: JobState::Done,
                ..job
            });
            Ok(())
        })
        .expect("done");
        assert!(desk.clear_batch(&cut.id).is_err(), "it is being read");
        drop(desk);
        let desk = Desk::open(data.path()).expect("again");
        let left = desk.batches(&setup);
        assert_eq!(left.len(), 1);
        let job = left[0].job.as_ref().expect("a job");
        assert_eq!(job.state, JobState::Stopped);
        assert!(job.message.contains("closed"), "{}", job.message);
        desk.clear_batch(&cut.id).expect("cleared");
        assert!(desk.batches(&setup).is_empty());
    }

    #[test]
    fn names_of_evidence_lead_nowhere_else() {
        let data = tempfile::tempdir().expect("a folder");
        let desk = Desk::open(data.path()).expect("a desk");
        for name in [
            "../tympan.sqlite3",
            "a/b.png",
            "..",
            ".png",
            "a.jpg",
            "a b.png",
            "",
        ] {
            assert!(desk.evidence(name).is_none(), "{name}");
        }
        assert!(desk.evidence("abc-0-1-marks.png").is_some());
    }
}
