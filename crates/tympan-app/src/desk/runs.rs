//! Print runs that are made and followed from the page.
//!
//! What a run is stands in the store; here is only what the page adds to it: what was ticked, what
//! is being done to it, and the files of runs that were made here.
//!
//! ```text
//! DATA/desk/runs/ID/in/          the files that a run is made from, as they were
//! DATA/desk/runs/ID/out/         the run's folder
//! DATA/desk/runs/again/RUN-ID/   sheets that were made again
//! DATA/desk/runs/RUN.json        what the page keeps of a run, by its name in the store
//! ```

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

use serde::{Deserialize, Serialize};
use tympan_press::loads::Turns;
use tympan_sheet::{Length, Side};
use tympan_store::RunId;

use super::Desk;
use super::files::{keep_as, new_id};
use super::prints::{EndTold, PrintWish, Printing};
use super::work::{Job, JobState, Work};
use crate::files;
use crate::pages::BackPages;
use crate::plan::Place;
use crate::print::is_about_password;
use crate::refusal::Refusal;
use crate::run::{self, Again, Request, Sides, parse_sheets};
use crate::words::OnBack;

/// A work may have so many ticks.
const MOST_TICKS: usize = 2000;
/// The bleed that cards are taken to have where nothing is said, mm.
const USUAL_BLEED_MM: f64 = 3.0;

/// Which of a work's files are printed, and how they are corrected.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum What {
    /// The files as they were dropped, corrected for the set-up.
    #[default]
    Corrected,
    /// The files as they were dropped, as they are.
    AsIs,
    /// The corrected file that was saved, as it is.
    Saved,
}

/// A run as it is wished for on the page.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RunWish {
    /// The set-up's name.
    pub setup: String,
    /// What is printed.
    #[serde(default)]
    pub what: What,
    /// How often the whole job is printed.
    pub copies: u32,
    /// The side to print first; the set-up's where nothing is said.
    #[serde(default)]
    pub first: Option<Side>,
    /// When the second sides follow.
    pub turns: Turns,
    /// The most sheets to put in at a time, where the tray is not to decide.
    #[serde(default)]
    pub at_a_time: Option<u32>,
    /// Spare sheets, where the set-up's scatter is not to decide.
    #[serde(default)]
    pub spares: Option<u32>,
    /// The bleed that the cards have, mm.
    #[serde(default)]
    pub bleed_mm: Option<f64>,
}

/// What a child is to do about a run.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct RunIn {
    /// The data folder.
    pub data: PathBuf,
    /// The files' password.
    pub password: Option<String>,
    /// What.
    pub what: RunWork,
}

/// Work on a run.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub enum RunWork {
    /// Make it.
    Make {
        /// The work that it prints.
        work: Box<Work>,
        /// The work's files, or the saved one.
        inputs: Vec<PathBuf>,
        /// The folder to write.
        folder: PathBuf,
        /// How.
        wish: RunWish,
    },
    /// Take out what was seen on its make-ready sheet as well.
    Adjust {
        /// The run.
        run: String,
        /// What was seen on the back, in words.
        seen: String,
    },
    /// Make sheets again.
    Again {
        /// The run.
        run: String,
        /// Which, and why.
        wish: AgainWish,
        /// The folder to write.
        folder: PathBuf,
    },
}

/// Sheets to be made again, as it is wished for on the page.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AgainWish {
    /// Their numbers: `17-20`, or `3,5`.
    pub sheets: String,
    /// Why.
    pub why: String,
    /// Only this side of them.
    #[serde(default)]
    pub only: Option<Side>,
    /// The pass of this side stopped at the sheet.
    #[serde(default)]
    pub stopped_in: Option<Side>,
}

impl RunIn {
    /// Does it, and gives back the run's name in the store.
    ///
    /// # Errors
    /// As for [`run::make`], [`run::adjust`] and [`run::again`].
    pub fn carry_out(
        &self,
        told: &mut dyn FnMut(usize, usize),
        cancel: &AtomicBool,
    ) -> Result<String, Refusal> {
        let mut store = crate::open_store(Some(self.data.clone()))?;
        let mut progress = |at: tympan_pdf::Progress| told(at.done, at.total);
        let password = self.password.as_deref();
        match &self.what {
            RunWork::Make {
                work,
                inputs,
                folder,
                wish,
            } => {
                let request = request(work, inputs, folder, wish, self.password.clone())?;
                Ok(run::make(&mut store, &request, &mut progress, cancel)?.run)
            }
            RunWork::Adjust { run, seen } => {
                let record = run::find(&store, Some(run))?;
                let seen = OnBack::parse(seen)?;
                run::adjust(&mut store, &record, &seen, password, &mut progress, cancel)?;
                Ok(run.clone())
            }
            RunWork::Again { run, wish, folder } => {
                let record = run::find(&store, Some(run))?;
                let asked = Again {
                    sheets: sheets(&wish.sheets)?,
                    only: wish.only,
                    stopped_in: wish.stopped_in,
                    why: Some(wish.why.clone()),
                    folder: folder.clone(),
                    password: self.password.clone(),
                };
                run::again(&mut store, &record, &asked, &mut progress, cancel)?;
                Ok(run.clone())
            }
        }
    }
}

/// Numbers of sheets as they are typed.
///
/// # Errors
/// A [`Refusal`] where they are none.
pub fn sheets(text: &str) -> Result<Vec<u32>, Refusal> {
    parse_sheets(text)
        .map_err(|why| Refusal::new(why, "look for the numbers in the waste of the sheets"))
}

fn request(
    work: &Work,
    inputs: &[PathBuf],
    folder: &Path,
    wish: &RunWish,
    password: Option<String>,
) -> Result<Request, Refusal> {
    let saved = wish.what == What::Saved;
    let mut inputs = inputs.to_vec();
    let back_file = match work.has_back_file && !saved {
        true => inputs.pop(),
        false => None,
    };
    Ok(Request {
        inputs,
        back_file,
        name: Some(work.title()),
        folder: folder.to_owned(),
        setup: wish.setup.clone(),
        // Fronts and backs of two files stand by turns in the one that was saved.
        backs: match work.has_back_file {
            true => BackPages::default(),
            false => work.backs()?,
        },
        flip: work.change.flip,
        paper: None,
        place: Place::Centre,
        on: Sides::Backs,
        as_is: wish.what != What::Corrected,
        copies: wish.copies,
        first: wish.first,
        turns: wish.turns,
        at_a_time: wish.at_a_time,
        spares: wish.spares,
        bleed: Length::mm(wish.bleed_mm.unwrap_or(USUAL_BLEED_MM)),
        no_numbers: false,
        password,
        really: false,
    })
}

/// The name of the step that prints a pass.
pub fn pass_step(group: usize, file: &str) -> String {
    format!("pass {group} {file}")
}

/// What the page keeps of a run.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct RunDesk {
    /// The latest long work on it.
    pub job: Option<Job>,
    /// The names of the steps that were ticked.
    pub ticked: BTreeSet<String>,
    /// What is being printed of it, or was last.
    pub printing: Option<Printing>,
    /// Whether its files open only with a password, which is kept nowhere.
    pub opens_with_password: bool,
}

impl RunDesk {
    /// Notes how printing ended, and ticks the pass where all of it is printed.
    pub fn is_printed(&mut self, ended: Result<EndTold, Refusal>, cancelled: bool) {
        let Some(printing) = &mut self.printing else {
            return;
        };
        let job = printing.job.clone();
        match ended {
            Ok(ended) => {
                if ended.printed {
                    let PrintWish { group, file, .. } = &printing.wish;
                    self.ticked.insert(pass_step(*group, file));
                }
                printing.job = match cancelled {
                    true => Job {
                        state: JobState::Cancelled,
                        ..job
                    },
                    false => job.well_ended(),
                };
                printing.ended = Some(ended);
            }
            Err(why) => {
                printing.wants_password = is_about_password(&why.message);
                printing.job = job.unfinished(cancelled, &why);
            }
        }
    }

    /// Ticks a step, or takes its tick away.
    ///
    /// # Errors
    /// A [`Refusal`] where the step's name is none.
    pub fn tick(&mut self, step: &str, done: bool) -> Result<(), Refusal> {
        let sound = step.len() <= 120 && !step.chars().any(char::is_control);
        if !sound || self.ticked.len() >= MOST_TICKS {
            return Err(Refusal::new("there is no such step", "load the page again"));
        }
        match done {
            true => self.ticked.insert(step.to_owned()),
            false => self.ticked.remove(step),
        };
        Ok(())
    }
}

/// What the page keeps something about that is printed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Kept {
    /// A run.
    Run(RunId),
    /// A file that goes straight to a printer, by its key.
    Straight(String),
}

impl Desk {
    fn runs(&self) -> PathBuf {
        self.folder().join("runs")
    }

    /// What the page keeps of a run; nothing yet where it is new here.
    pub fn run(&self, run: &RunId) -> RunDesk {
        read_kept(&self.kept_in(&Kept::Run(run.clone())))
    }

    /// Changes what the page keeps of a run.
    ///
    /// # Errors
    /// A [`Refusal`] where the change says no, or the disk does not take it.
    pub fn change_run<T>(
        &self,
        run: &RunId,
        change: impl FnOnce(&mut RunDesk) -> Result<T, Refusal>,
    ) -> Result<(RunDesk, T), Refusal> {
        self.change_kept(&Kept::Run(run.clone()), change)
    }

    /// Changes what the page keeps of something that is printed.
    ///
    /// # Errors
    /// A [`Refusal`] where the change says no, or the disk does not take it.
    pub fn change_kept<T>(
        &self,
        what: &Kept,
        change: impl FnOnce(&mut RunDesk) -> Result<T, Refusal>,
    ) -> Result<(RunDesk, T), Refusal> {
        let _held = self.hold();
        let file = self.kept_in(what);
        let mut kept = read_kept(&file);
        let answer = change(&mut kept)?;
        if let Some(folder) = file.parent() {
            fs::create_dir_all(folder).map_err(|e| Refusal::file("make the folder", folder, &e))?;
        }
        keep_as(&file, &kept)?;
        Ok((kept, answer))
    }

    fn kept_in(&self, what: &Kept) -> PathBuf {
        match what {
            Kept::Run(run) => self.runs().join(format!("{run}.json")),
            Kept::Straight(key) => self.straight_kept(key),
        }
    }

    /// A folder for a new run of a work, with the files that it prints in it as they are now: the
    /// work may go, the run stays.
    ///
    /// # Errors
    /// A [`Refusal`] where there is no saved file, or the disk does not take them.
    pub fn begin_run(&self, work: &Work, what: What) -> Result<(Vec<PathBuf>, PathBuf), Refusal> {
        let sources = match what {
            What::Corrected | What::AsIs => self.files(work),
            What::Saved => {
                let saved = work.saved.as_ref().ok_or_else(|| {
                    Refusal::new(
                        "no corrected file was saved yet",
                        "save one, or print the file as it was dropped",
                    )
                })?;
                vec![self.saved_folder(&work.id).join(&saved.file)]
            }
        };
        let base = self.runs().join(new_id()?);
        let folder = base.join("in");
        fs::create_dir_all(&folder).map_err(|e| Refusal::file("make the folder", &folder, &e))?;
        let mut inputs = Vec::new();
        for (at, source) in sources.iter().enumerate() {
            let input = folder.join(format!("file-{at}.pdf"));
            if let Err(refusal) = files::link_or_copy(source, &input) {
                let _ = fs::remove_dir_all(&base);
                return Err(refusal);
            }
            inputs.push(input);
        }
        Ok((inputs, base.join("out")))
    }

    /// Takes away what a run was to be made from, where it was not made or was undone. Only what
    /// was made here goes.
    pub fn forget_run_files(&self, folder: &Path) {
        let runs = self.runs();
        let runs = fs::canonicalize(&runs).unwrap_or(runs);
        let base = folder.parent().map(Path::to_path_buf);
        let base = base.map(|base| fs::canonicalize(&base).unwrap_or(base));
        if let Some(base) = base.filter(|base| base.parent() == Some(&runs)) {
            let _ = fs::remove_dir_all(base.join("in"));
            // Whatever else is in it stays.
            let _ = fs::remove_dir(&base);
        }
    }

    /// A folder for sheets of a run that are made again.
    ///
    /// # Errors
    /// A [`Refusal`] where the disk does not take it.
    pub fn again_folder(&self, run: &RunId) -> Result<PathBuf, Refusal> {
        let base = self.runs().join("again");
        fs::create_dir_all(&base).map_err(|e| Refusal::file("make the folder", &base, &e))?;
        Ok(base.join(format!("{run}-{}", new_id()?)))
    }

    /// After a start: what was being done to runs or printed, and was cut short, says so.
    pub(super) fn tidy_runs(&self, why: &Refusal) {
        for folder in [self.runs(), self.prints()] {
            let Ok(entries) = fs::read_dir(folder) else {
                continue;
            };
            let files = entries.flatten().map(|entry| entry.path());
            for file in files.filter(|path| path.extension().is_some_and(|end| end == "json")) {
                let mut kept = read_kept(&file);
                let job = kept.job.as_mut().is_some_and(|job| job.cut_short(why));
                let printing = kept.printing.as_mut().is_some_and(Printing::was_cut_short);
                if job || printing {
                    let _ = keep_as(&file, &kept);
                }
            }
        }
    }
}

pub(super) fn read_kept(file: &Path) -> RunDesk {
    let text = fs::read(file).unwrap_or_default();
    serde_json::from_slice(&text).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::JobKind;

    #[test]
    fn ticks_are_kept_and_cut_short_work_says_so_after_a_restart() {
        let data = tempfile::tempdir().expect("a folder");
        let desk = Desk::open(data.path()).expect("a desk");
        let run: RunId = "7K2M9".parse().expect("an id");
        let change = |kept: &mut RunDesk| {
            kept.job = Some(Job::begun(JobKind::Run));
            kept.tick("dialog-1", true)?;
            kept.tick("dialog-2", true)?;
            kept.tick("dialog-2", false)
        };
        desk.change_run(&run, change).expect("kept");
        drop(desk);
        let desk = Desk::open(data.path()).expect("again");
        let kept = desk.run(&run);
        assert_eq!(kept.ticked, BTreeSet::from(["dialog-1".to_owned()]));
        assert_eq!(kept.job.expect("a job").state, JobState::Stopped);
        let nonsense = desk.change_run(&run, |kept| kept.tick("a\nb", true));
        assert!(nonsense.is_err());
    }
}
