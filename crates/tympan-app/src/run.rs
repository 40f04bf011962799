//! A print run: the passes, the loads and the steps that print a job, and what became of them.
//!
//! [`make`] writes a run's files and keeps it in the store; [`again`], [`adjust`], [`spoil`],
//! [`moved`] and [`undo`] follow it; [`teach()`] learns how a printer lays its pile.

mod folder;
mod follow;
mod job;
mod making;
mod seen;
mod sheet;
mod steps;
mod teach;
mod told;
mod work;

use std::path::PathBuf;

use tympan_press::loads::Turns;
use tympan_sheet::{Flip, Length, Paper, Side};
use tympan_store::MOST_SHEETS;

use crate::pages::BackPages;
use crate::plan::Place;

pub use follow::{
    Again, Followed, adjust, again, find, finish, list as sheets_in_words, moved, spoil, undo,
};
pub use making::make;
pub use seen::{RunSeen, all, reasons_in_words, rejects_in_words, see};
pub use steps::{Step, Steps, steps};
pub use teach::{Taught, TeachRequest, known, teach, trial, trial_pdf};
pub use told::{LoadTold, PassTold, ReloadTold, RunTold, pile_svgs};
pub use work::MadeAgain;

pub use tympan_register::Sides;

/// Reads numbers of sheets: `17-20`, or `3,5`.
///
/// # Errors
/// What is wrong with the text.
pub fn parse_sheets(text: &str) -> Result<Vec<u32>, String> {
    let number = |part: &str| {
        let number = part.trim().parse::<u32>().ok();
        number.filter(|n| (1..=MOST_SHEETS).contains(n))
    };
    let span = |part: &str| match part.split_once(['-', '–']) {
        Some((from, to)) => {
            let (from, to) = (number(from)?, number(to)?);
            (from <= to).then_some(from..=to)
        }
        None => number(part).map(|one| one..=one),
    };
    let spans: Option<Vec<_>> = text.split(',').map(span).collect();
    spans
        .map(|spans| spans.into_iter().flatten().collect())
        .ok_or_else(|| format!("\"{text}\" names no sheets; write 17-20, or 3,5"))
}

/// A run as a user asks for it.
#[derive(Clone, Debug)]
pub struct Request {
    /// The files of the job, in order; or the fronts, where the backs are in a file of their own.
    pub inputs: Vec<PathBuf>,
    /// The backs, where they are in a file of their own.
    pub back_file: Option<PathBuf>,
    /// What it is called; after its first file where nothing is said.
    pub name: Option<String>,
    /// The folder to write. It must not exist.
    pub folder: PathBuf,
    /// The set-up's name.
    pub setup: String,
    /// Which pages of each file are backs.
    pub backs: BackPages,
    /// How the file means its backs, page against page.
    pub flip: Option<Flip>,
    /// Put the pages on the set-up's paper at true size, where they are of another size.
    pub paper: Option<Paper>,
    /// Where on it.
    pub place: Place,
    /// Which side the correction moves.
    pub on: Sides,
    /// The file is corrected already, by `correct` or as it was laid: print it as it is.
    pub as_is: bool,
    /// How often the whole job is printed.
    pub copies: u32,
    /// The side to print first, where it is not the set-up's. (That makes it another way of
    /// working: the set-up's readings are then carried over, and it is said.)
    pub first: Option<Side>,
    /// When the second sides follow.
    pub turns: Turns,
    /// The most sheets to put in at a time, where the tray is not to decide.
    pub at_a_time: Option<u32>,
    /// Spare sheets, where the set-up's scatter is not to decide.
    pub spares: Option<u32>,
    /// The bleed that the cards have: what shows white is a reject.
    pub bleed: Length,
    /// Print no sheet numbers in the waste.
    pub no_numbers: bool,
    /// The files' password.
    pub password: Option<String>,
    /// Do it though something moves farther than a correction should.
    pub really: bool,
}
