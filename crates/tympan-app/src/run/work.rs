//! What a run's record keeps so that the same sheets can be made again.

use std::fs;
use std::path::{Path, PathBuf};
use std::time::UNIX_EPOCH;

use serde::{Deserialize, Serialize};
use tympan_press::behaviour::Reload;
use tympan_press::loads::{Fill, Turns};
use tympan_register::Sides;
use tympan_sheet::{Affine, Flip, Front, Paper, Side};
use tympan_store::{RunRecord, Timestamp};

use super::told::PassTold;
use crate::correct;
use crate::plan::Place;
use crate::refusal::Refusal;

/// What a run is made from. The password is not kept.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Work {
    pub(super) inputs: Vec<Stamped>,
    pub(super) back_file: Option<Stamped>,
    pub(super) backs: String,
    pub(super) flip: Option<Flip>,
    pub(super) paper: Option<Paper>,
    pub(super) place: Place,
    pub(super) on: Sides,
    pub(super) really: bool,
    /// The steady error that is taken out, as a map of the front's plane: xx, xy, yx, yy, dx, dy.
    /// All sheets of a run are corrected alike, whatever is measured meanwhile.
    pub(super) field: [f64; 6],
    /// The first side, where a person flips; none where the machine does.
    pub(super) first: Option<Side>,
    pub(super) reload: Option<Reload>,
    pub(super) turns: Turns,
    pub(super) fill: Fill,
    pub(super) spares: u32,
    /// Whether the printer's behaviour was known.
    pub(super) known: bool,
    /// Whether the set-up had readings, and they were used.
    pub(super) corrected: bool,
    /// Whether the file was corrected before.
    pub(super) as_is: bool,
    pub(super) numbers: bool,
    pub(super) folder: PathBuf,
    /// The files of the run, with their sizes, so that undoing takes away these and no others.
    pub(super) files: Vec<(String, u64)>,
    /// What its user should know.
    #[serde(default)]
    pub(super) cautions: Vec<String>,
    /// Sheets that were made again.
    #[serde(default)]
    pub(super) again: Vec<MadeAgain>,
}

/// Sheets that were made again.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct MadeAgain {
    /// When.
    pub at: Timestamp,
    /// Their numbers.
    pub sheets: Vec<u32>,
    /// Why.
    pub why: String,
    /// The folder of their files.
    pub folder: PathBuf,
    /// The files, in the order in which they are printed.
    pub passes: Vec<PassTold>,
}

/// A file as it was when the run was made.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Stamped {
    pub(super) file: PathBuf,
    bytes: u64,
    changed_ms: Option<u64>,
}

impl Stamped {
    pub(super) fn of(file: &Path) -> Result<Self, Refusal> {
        let fail = |e: &std::io::Error| Refusal::file("read", file, e);
        let about = fs::metadata(file).map_err(|e| fail(&e))?;
        let changed = about.modified().ok();
        let since = changed.and_then(|at| at.duration_since(UNIX_EPOCH).ok());
        Ok(Self {
            file: fs::canonicalize(file).map_err(|e| fail(&e))?,
            bytes: about.len(),
            changed_ms: since.and_then(|since| u64::try_from(since.as_millis()).ok()),
        })
    }

    /// The file, if it is still what it was.
    pub(super) fn unchanged(&self) -> Result<PathBuf, Refusal> {
        if Self::of(&self.file)? == *self {
            return Ok(self.file.clone());
        }
        Err(Refusal::new(
            format!("{} has changed since the run was made", self.file.display()),
            "sheets made from it now would not match those that are printed: make a new run",
        ))
    }
}

impl Work {
    pub(super) fn of(run: &RunRecord) -> Result<Self, Refusal> {
        serde_json::from_value(run.work.clone()).map_err(|_| {
            Refusal::new(
                format!("nothing tells how run {} was made", run.id),
                "it came from elsewhere, or from another version: make a new run",
            )
        })
    }

    pub(super) fn to_json(&self) -> serde_json::Value {
        serde_json::to_value(self).unwrap_or_default()
    }

    pub(super) fn field(&self) -> Affine<Front> {
        let [xx, xy, yx, yy, dx, dy] = self.field;
        Affine::new(xx, xy, yx, yy, dx, dy)
    }

    pub(super) fn set_field(&mut self, m: &Affine<Front>) {
        self.field = [m.xx, m.xy, m.yx, m.yy, m.dx, m.dy];
    }

    /// The same as a correction asks for it; its output is never written.
    pub(super) fn correction(&self, password: Option<&str>) -> Result<correct::Request, Refusal> {
        let inputs = self.inputs.iter().map(Stamped::unchanged);
        Ok(correct::Request {
            inputs: inputs.collect::<Result<_, _>>()?,
            back_file: self
                .back_file
                .as_ref()
                .map(Stamped::unchanged)
                .transpose()?,
            output: PathBuf::new(),
            asked: correct::Asked::FileOnly,
            and_file: false,
            on: self.on,
            backs: self.backs.parse()?,
            flip: self.flip,
            paper: self.paper.clone(),
            place: self.place,
            driver_turns: None,
            password: password.map(str::to_owned),
            really: self.really,
        })
    }
}
