//! A piece of work, as it is kept.

use std::path::PathBuf;

use serde::{Deserialize, Serialize};
use tympan_sheet::{Angle, Flip, Length, Size};
use tympan_store::Timestamp;

use super::Coefficients;
use super::inspected::Inspected;
use crate::correct::{Asked, Request, Sides};
use crate::pages::BackPages;
use crate::plan::Place;
use crate::refusal::Refusal;
use crate::words::OnBack;

/// A piece of work: files that were dropped together and what is to be done to them.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Work {
    /// The version of this form.
    pub schema: u32,
    /// Its name in addresses and folders.
    pub id: String,
    /// When it was dropped.
    pub created: Timestamp,
    /// The files in order. Where the backs have a file of their own, it is the last.
    pub files: Vec<WorkFile>,
    /// Whether the last file holds the backs of the others.
    #[serde(default)]
    pub has_back_file: bool,
    /// Whether a file opens only with a password.
    #[serde(default)]
    pub locked: bool,
    /// Whether a password opened it. The password itself is kept nowhere, so it is asked for again
    /// after the program was closed.
    #[serde(default)]
    pub opens_with_password: bool,
    /// The sizes of all pages, file by file, mm; none before they were looked at.
    #[serde(default)]
    pub pages: Vec<Vec<Size>>,
    /// What its owner should know about the files.
    #[serde(default)]
    pub cautions: Vec<String>,
    /// The close look at the files.
    #[serde(default)]
    pub inspecting: Option<Job>,
    /// What it found.
    #[serde(default)]
    pub inspected: Option<Inspected>,
    /// What is to be done.
    #[serde(default)]
    pub change: Change,
    /// The latest long work on it.
    #[serde(default)]
    pub job: Option<Job>,
    /// What was written last.
    #[serde(default)]
    pub saved: Option<Saved>,
    /// Print runs that were made of it, by their names in the store, the latest last.
    #[serde(default)]
    pub runs: Vec<String>,
    /// When it was put away, if it was; it can be brought back until the program ends.
    #[serde(default)]
    pub put_away: bool,
}

/// A file that was dropped.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct WorkFile {
    /// Its name on its owner's machine. Only ever shown.
    pub name: String,
    /// Its length.
    pub bytes: u64,
}

/// A displacement as it is kept: looking at the back, about the middle of the sheet.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Placed {
    /// To the right, mm.
    pub right_mm: f64,
    /// Down, mm.
    pub down_mm: f64,
    /// Clockwise, degrees.
    pub tilt_deg: f64,
    /// Larger across by this part of itself.
    pub stretch_x: f64,
    /// Larger from top to bottom by this part of itself.
    pub stretch_y: f64,
}

impl From<OnBack> for Placed {
    fn from(said: OnBack) -> Self {
        Self {
            right_mm: said.right.to_mm(),
            down_mm: said.down.to_mm(),
            tilt_deg: said.tilt.to_degrees(),
            stretch_x: said.stretch_x,
            stretch_y: said.stretch_y,
        }
    }
}

impl From<Placed> for OnBack {
    fn from(placed: Placed) -> Self {
        Self {
            right: Length::mm(placed.right_mm),
            down: Length::mm(placed.down_mm),
            tilt: Angle::degrees(placed.tilt_deg),
            stretch_x: placed.stretch_x,
            stretch_y: placed.stretch_y,
        }
    }
}

impl Placed {
    /// Whether it can be what someone meant: finite, and within a metre, a quarter turn and a
    /// tenth of stretch.
    pub fn is_sane(&self) -> bool {
        let within = |value: f64, most: f64| value.is_finite() && value.abs() <= most;
        within(self.right_mm, 1000.0)
            && within(self.down_mm, 1000.0)
            && within(self.tilt_deg, 45.0)
            && within(self.stretch_x, 0.1)
            && within(self.stretch_y, 0.1)
    }
}

/// What the correction is made from.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum How {
    /// How the backs lie on a printed sheet.
    #[default]
    Seen,
    /// What is to be done to the backs in the file.
    Move,
    /// A set-up that was measured.
    Setup,
}

/// What is to be done to a file.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Change {
    /// What the correction is made from. The others are kept for coming back to them.
    pub how: How,
    /// Where the backs were seen to lie.
    pub seen: Placed,
    /// What is to be done to the backs.
    pub moved: Placed,
    /// The set-up, with what it teaches.
    pub setup: Option<Learnt>,
    /// Which pages are backs, in the words of [`BackPages`].
    pub backs: String,
    /// How the file means its backs.
    pub flip: Option<Flip>,
    /// Moves farther than is likely are meant.
    pub really: bool,
}

impl Change {
    /// The set-up, where the correction is made from it.
    pub fn by_set_up(&self) -> Option<&Learnt> {
        self.setup.as_ref().filter(|_| self.how == How::Setup)
    }
}

/// What a set-up teaches, as far as the light table needs it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Learnt {
    /// The set-up's name.
    pub name: String,
    /// Its steady error as a map of the front's plane, mm.
    pub field: Coefficients,
    /// Its sheet.
    pub sheet: Size,
    /// How its back stands to its front.
    pub flip: Flip,
    /// What to expect of it, in a sentence.
    pub answer: String,
}

/// Long work.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Job {
    /// What is done.
    pub kind: JobKind,
    /// How far it is.
    pub state: JobState,
    /// Steps done.
    #[serde(default)]
    pub done: usize,
    /// Steps in all; 0 where that is not known.
    #[serde(default)]
    pub total: usize,
    /// Why it ended, where it did not end well: a sentence.
    #[serde(default)]
    pub message: String,
    /// What to do then.
    #[serde(default)]
    pub hint: String,
}

/// What kind of long work.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum JobKind {
    /// Finding out what is in the files.
    Look,
    /// Writing the corrected file.
    Save,
    /// Reading pictures of test sheets.
    Read,
    /// Looking closely at the files: cells, pairs, faults.
    Inspect,
    /// Finding the cards of a deck and the best plans for them.
    Plan,
    /// Writing new sheets.
    Lay,
    /// Making a print run, or some of its sheets again.
    Run,
    /// Printing a pass.
    Print,
}

/// How far long work is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum JobState {
    /// It is being done.
    Running,
    /// It ended well.
    Done,
    /// It could not be done.
    Failed,
    /// Its owner stopped it.
    Cancelled,
    /// The program ended before it was done.
    Stopped,
}

impl Job {
    /// Work that begins.
    pub fn begun(kind: JobKind) -> Self {
        Self {
            kind,
            state: JobState::Running,
            done: 0,
            total: 0,
            message: String::new(),
            hint: String::new(),
        }
    }

    /// Whether it goes on.
    pub fn is_running(&self) -> bool {
        self.state == JobState::Running
    }

    /// The same, ended well.
    #[must_use]
    pub fn well_ended(self) -> Self {
        Self {
            state: JobState::Done,
            ..self
        }
    }

    /// Whether it was being done when the program ended, which it then says.
    pub(super) fn cut_short(&mut self, why: &Refusal) -> bool {
        let is_running = self.is_running();
        if is_running {
            *self = self.clone().ended(JobState::Stopped, why);
        }
        is_running
    }

    /// The same, ended with what could not be done, or cancelled.
    #[must_use]
    pub fn unfinished(self, cancelled: bool, why: &Refusal) -> Self {
        let state = match cancelled {
            true => JobState::Cancelled,
            false => JobState::Failed,
        };
        self.ended(state, why)
    }

    /// The same, ended for a reason.
    #[must_use]
    pub fn ended(self, state: JobState, why: &Refusal) -> Self {
        let Refusal { message, hint } = why.clone().on_page();
        Self {
            state,
            message,
            hint: hint.unwrap_or_default(),
            ..self
        }
    }
}

/// A file that was written.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Saved {
    /// The name that it is offered under.
    pub name: String,
    /// Its name in the work's `saved` folder.
    pub file: String,
    /// What was done to the backs, in words.
    pub in_words: String,
    /// What is lost at the edges, and what else to know.
    pub cautions: Vec<String>,
    /// The change that it was made by.
    pub change: Change,
}

impl Work {
    /// Which pages are backs.
    ///
    /// # Errors
    /// A [`Refusal`] where the words name no pages.
    pub fn backs(&self) -> Result<BackPages, Refusal> {
        if self.change.backs.is_empty() {
            return Ok(BackPages::default());
        }
        self.change
            .backs
            .parse()
            .map_err(|e| Refusal::new(format!("{e}"), "write page numbers like 2, 4, 6-10"))
    }

    /// The backs as it is likely that a file of so many pages has them.
    pub fn likely_backs(pages: usize) -> BackPages {
        match pages {
            1 => BackPages::All,
            n if n.is_multiple_of(2) => BackPages::Even,
            _ => BackPages::Last,
        }
    }

    /// What is asked of the correction, its set-up by name.
    pub fn asked(&self) -> Option<Asked> {
        Some(match self.change.how {
            How::Seen => Asked::Seen(self.change.seen.into()),
            How::Move => Asked::Move(self.change.moved.into()),
            How::Setup => Asked::SetUp(self.change.setup.as_ref()?.name.clone()),
        })
    }

    /// The correction as the command line would ask for it.
    ///
    /// # Errors
    /// A [`Refusal`] where something is still to be chosen.
    pub fn request(
        &self,
        files: Vec<PathBuf>,
        output: PathBuf,
        password: Option<String>,
    ) -> Result<Request, Refusal> {
        let asked = self.asked().ok_or_else(|| {
            Refusal::new("no set-up is chosen", "choose one, or say what you see")
        })?;
        let mut inputs = files;
        let back_file = if self.has_back_file {
            inputs.pop()
        } else {
            None
        };
        Ok(Request {
            inputs,
            back_file,
            output,
            asked,
            on: Sides::Backs,
            backs: self.backs()?,
            flip: self.change.flip,
            paper: None,
            place: Place::Centre,
            driver_turns: None,
            password,
            really: self.change.really,
            and_file: false,
        })
    }

    /// What people know it by: its first file's name without the ending.
    pub fn title(&self) -> String {
        let name = self.files.first().map_or("", |file| file.name.as_str());
        let stem = name
            .strip_suffix(".pdf")
            .or_else(|| name.strip_suffix(".PDF"))
            .unwrap_or(name);
        if stem.is_empty() { "untitled" } else { stem }.to_owned()
    }
}
