//! What the store keeps of a print run.

use serde::{Deserialize, Serialize};
use tympan_sheet::Side;

use crate::error::StoreError;
use crate::id::{RunId, SetUpId};
use crate::time::Timestamp;

/// One print run: a job on so many sheets, with what became of them.
///
/// Its form in JSON is described in `docs/data-format.md`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RunRecord {
    /// The name by which it is known for ever.
    pub id: RunId,
    /// The set-up that it is printed by.
    pub setup: SetUpId,
    /// What is printed, as people call it.
    pub name: String,
    /// When it was made.
    pub made: Timestamp,
    /// How far it has come.
    #[serde(default)]
    pub state: RunState,
    /// How many sheets it has, numbered from 1.
    pub sheets: u32,
    /// How often the job is on them.
    #[serde(default = "one")]
    pub copies: u32,
    /// The stock, in words.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub stock: String,
    /// The side that is printed first; none where the machine prints both.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub first_side: Option<Side>,
    /// How the sheets are put into the tray.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub loads: Vec<Span>,
    /// The share of sheets that was expected to be spoiled by register, where it was worked out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expected_rejects: Option<f64>,
    /// Sheets that were spoiled, in the order in which it was told.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub spoiled: Vec<Spoiled>,
    /// What was sent to a printer from here, in the order in which it was.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub sent: Vec<Sent>,
    /// All that is needed to make the same sheets again. Its form is the program's own.
    #[serde(default, skip_serializing_if = "serde_json::Value::is_null")]
    pub work: serde_json::Value,
}

/// How far a run has come.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum RunState {
    /// Its files are made and no paper has moved.
    #[default]
    Ready,
    /// Paper has moved.
    Printing,
    /// All its sheets are printed.
    Done,
    /// It was undone before paper moved.
    Undone,
}

impl RunState {
    /// The word for it.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Ready => "ready",
            Self::Printing => "printing",
            Self::Done => "done",
            Self::Undone => "undone",
        }
    }
}

/// Sheets from one number to another, both included.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Span {
    /// The first sheet.
    pub from: u32,
    /// The last sheet.
    pub to: u32,
}

/// A sheet that was spoiled.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Spoiled {
    /// Its number.
    pub sheet: u32,
    /// Why, in a word or a line.
    pub why: String,
    /// When it was told.
    pub at: Timestamp,
}

/// Sheets that were sent to a printer as one job.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Sent {
    /// When it was over.
    pub at: Timestamp,
    /// The printer's name.
    pub printer: String,
    /// The side; none where the machine prints both.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub side: Option<Side>,
    /// The sheets in the order in which they were sent; none for a make-ready.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub sheets: Vec<u32>,
    /// How many came out, where the printer counts them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub out: Option<u32>,
    /// Whether all of it was printed.
    pub whole: bool,
    /// What stopped it, where something did.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub stopped_by: String,
}

impl Sent {
    /// Sheets that have come out by the printer's count.
    pub fn came_out(&self) -> &[u32] {
        let out = match (self.out, self.whole) {
            (Some(out), _) => out as usize,
            (None, true) => self.sheets.len(),
            (None, false) => 0,
        };
        &self.sheets[..out.min(self.sheets.len())]
    }
}

fn one() -> u32 {
    1
}

/// The most sheets that a run can have.
pub const MOST_SHEETS: u32 = 9999;
const LONGEST_LINE: usize = 200;
/// More spoiled sheets than this are no run.
const MOST_SPOILED: usize = 20_000;
/// So many jobs are kept of a run; of more, the last.
const MOST_SENT: usize = 500;

impl RunRecord {
    /// A new run with a random id, of which nothing is known but its sheets.
    pub fn new(setup: SetUpId, name: &str, sheets: u32) -> Self {
        let name = name.split_whitespace().collect::<Vec<_>>().join(" ");
        Self {
            id: RunId::random(),
            setup,
            name: name.chars().take(LONGEST_LINE).collect(),
            made: Timestamp::now(),
            state: RunState::Ready,
            sheets,
            copies: 1,
            stock: String::new(),
            first_side: None,
            loads: Vec::new(),
            expected_rejects: None,
            spoiled: Vec::new(),
            sent: Vec::new(),
            work: serde_json::Value::Null,
        }
    }

    /// Notes what was sent to a printer.
    pub fn note_sent(&mut self, sent: Sent) {
        self.sent.push(sent);
        let more = self.sent.len().saturating_sub(MOST_SENT);
        self.sent.drain(..more);
    }

    /// The share of its sheets that was spoiled, counting each sheet as often as it was spoiled,
    /// of all that were printed. `None` before paper has moved.
    pub fn seen_rejects(&self) -> Option<f64> {
        match self.state {
            RunState::Ready | RunState::Undone => None,
            RunState::Printing | RunState::Done => {
                let spoiled = self.spoiled.len() as f64;
                Some(spoiled / (spoiled + f64::from(self.sheets)))
            }
        }
    }

    /// Refuses what no run can be.
    pub(crate) fn check(&self) -> Result<(), StoreError> {
        let bad = |reason: String| StoreError::BadRun {
            name: self.name.chars().take(LONGEST_LINE).collect(),
            reason,
        };
        let is_line = |text: &str| {
            text.chars().count() <= LONGEST_LINE && !text.chars().any(char::is_control)
        };
        if self.name.is_empty() || !is_line(&self.name) || !is_line(&self.stock) {
            return Err(bad(format!(
                "its name or stock is not one line of at most {LONGEST_LINE} characters"
            )));
        }
        if !(1..=MOST_SHEETS).contains(&self.sheets) || self.copies == 0 {
            return Err(bad(format!("it has not 1 to {MOST_SHEETS} sheets")));
        }
        let is_sheet = |n: u32| (1..=self.sheets).contains(&n);
        if !self
            .loads
            .iter()
            .all(|load| is_sheet(load.from) && is_sheet(load.to) && load.from <= load.to)
        {
            return Err(bad("a load is not of its sheets".into()));
        }
        if self.spoiled.len() > MOST_SPOILED
            || !self
                .spoiled
                .iter()
                .all(|s| is_sheet(s.sheet) && !s.why.trim().is_empty() && is_line(&s.why))
        {
            return Err(bad(
                "a spoiled sheet is none of its own, or nothing says why it was spoiled".into(),
            ));
        }
        let sound = |sent: &Sent| {
            sent.sheets.iter().all(|&n| is_sheet(n))
                && sent.sheets.len() <= self.sheets as usize
                && is_line(&sent.printer)
                && is_line(&sent.stopped_by)
        };
        if self.sent.len() > MOST_SENT || !self.sent.iter().all(sound) {
            return Err(bad(
                "what was sent to a printer is none of its sheets".into()
            ));
        }
        if self
            .expected_rejects
            .is_some_and(|share| !(0.0..=1.0).contains(&share))
        {
            return Err(bad("its expected rejects are no share".into()));
        }
        Ok(())
    }
}
