//! What Tympan notes in the files that it writes: that their backs are corrected, and which pass
//! of a run they are.
//!
//! The note is a dictionary of the catalogue under a third-class name (ISO 32000-1, annex E), which
//! no other program gives a meaning to. It is read and written here alone.

use qpdf::{QPdf, QPdfObjectLike, QPdfObjectType};
use tympan_sheet::Side;

use crate::changes::Changes;
use crate::dig;

/// The catalogue's key.
const KEY: &str = "/XXTympan";
const CORRECTED: &str = "/Corrected";
const RUN: &str = "/Run";
const SIDE: &str = "/Side";
const SHEETS: &str = "/Sheets";
const AGAIN: &str = "/Again";
/// More sheets than any run has; a longer list is not believed.
const MOST_SHEETS: usize = 20_000;

/// What is noted in a file.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Mark {
    /// Its backs, or its fronts, are moved by what a printer errs: done once more, they land wrong.
    pub corrected: bool,
    /// The pass of a run that it prints.
    pub pass: Option<PassMark>,
}

/// Which pass of which run a file prints.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PassMark {
    /// The run's name in its store.
    pub run: String,
    /// The side; none where the machine prints both.
    pub side: Option<Side>,
    /// The sheets in the order in which they are printed; none in a make-ready, which is no sheet of
    /// the run.
    pub sheets: Vec<u32>,
    /// Whether it prints sheets that were printed before.
    pub again: bool,
}

impl Mark {
    /// What is noted in a file; nothing where another program wrote it.
    pub(crate) fn read(qpdf: &QPdf) -> Self {
        let root = qpdf.get_root();
        let Some(noted) = root.and_then(|root| dig::dictionary(&root, KEY)) else {
            return Self::default();
        };
        let truth = |key: &str| {
            let object = noted.get(key);
            object.is_some_and(|o| o.get_type() == QPdfObjectType::Boolean && o.as_bool())
        };
        let pass = dig::name(&noted, RUN).map(|run| PassMark {
            run: run.trim_start_matches('/').to_owned(),
            side: match dig::name(&noted, SIDE).as_deref() {
                Some("/Front") => Some(Side::Front),
                Some("/Back") => Some(Side::Back),
                _ => None,
            },
            sheets: dig::array(&noted, SHEETS)
                .filter(|sheets| sheets.len() <= MOST_SHEETS)
                .map_or_else(Vec::new, |sheets| {
                    let number = |object| dig::as_number(object).map(|n| n as u32);
                    sheets.iter().filter_map(number).collect()
                }),
            again: truth(AGAIN),
        });
        Self {
            corrected: truth(CORRECTED),
            pass,
        }
    }

    /// Notes this in a file, in the place of what was noted there.
    pub(crate) fn write(&self, qpdf: &QPdf, changes: &Changes) {
        let Some(root) = qpdf.get_root() else { return };
        if *self == Self::default() {
            if root.has(KEY) {
                root.remove(KEY);
                changes.touch(&root);
            }
            return;
        }
        let noted = qpdf.new_dictionary();
        noted.set(CORRECTED, qpdf.new_bool(self.corrected));
        if let Some(pass) = &self.pass {
            noted.set(RUN, qpdf.new_name(&format!("/{}", pass.run)));
            if let Some(side) = pass.side {
                let side = match side {
                    Side::Front => "/Front",
                    Side::Back => "/Back",
                };
                noted.set(SIDE, qpdf.new_name(side));
            }
            let sheets = pass
                .sheets
                .iter()
                .map(|&n| qpdf.new_integer(n.into()).into());
            noted.set(SHEETS, qpdf.new_array_from(sheets));
            noted.set(AGAIN, qpdf.new_bool(pass.again));
        }
        root.set(KEY, noted);
        changes.touch(&root);
    }
}
