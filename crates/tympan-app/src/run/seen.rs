//! A run as it stands: what it was made of, what is to be done, what was printed again.

use std::path::PathBuf;

use tympan_store::{RunRecord, SetUp, Store};

use super::making::told_of;
use super::steps::{Steps, steps};
use super::told::RunTold;
use super::work::{MadeAgain, Work};
use crate::refusal::Refusal;

/// A run as it stands.
#[derive(Clone, Debug)]
pub struct RunSeen {
    /// Its record.
    pub record: RunRecord,
    /// The set-up that prints it.
    pub setup: SetUp,
    /// What it was made of.
    pub told: RunTold,
    /// What there is to do.
    pub steps: Steps,
    /// Sheets that were made again, the first ones first.
    pub again: Vec<MadeAgain>,
    /// The files that it was made from, that of the backs last where they have their own.
    pub inputs: Vec<PathBuf>,
}

/// A run as it stands.
///
/// # Errors
/// A [`Refusal`] where its set-up is gone, or nothing tells how it was made.
pub fn see(store: &Store, record: &RunRecord) -> Result<RunSeen, Refusal> {
    let setup = store.set_up(&record.setup)?;
    let work = Work::of(record)?;
    let told = told_of(&setup, record, &work);
    Ok(RunSeen {
        steps: steps(&told, &setup),
        record: record.clone(),
        setup,
        told,
        inputs: work
            .inputs
            .iter()
            .chain(&work.back_file)
            .map(|stamped| stamped.file.clone())
            .collect(),
        again: work.again,
    })
}

impl RunSeen {
    /// A file of the run by its name: of the run itself (group 0), or of sheets that were made again
    /// (from 1). None where the run has no such file.
    pub fn file(&self, group: usize, name: &str) -> Option<PathBuf> {
        let (folder, passes) = match group.checked_sub(1) {
            None => (
                &self.told.folder,
                self.told.make_ready.iter().chain(&self.told.passes),
            ),
            Some(at) => {
                let again = self.again.get(at)?;
                (&again.folder, again.passes.iter().chain(&[]))
            }
        };
        let is_sheet = group == 0 && name == self.told.job_sheet;
        let known = is_sheet || passes.into_iter().any(|pass| pass.file == name);
        known.then(|| folder.join(name))
    }
}

/// All runs with the names of their set-ups, the newest first.
///
/// # Errors
/// A [`Refusal`] where the store cannot be read.
pub fn all(store: &Store) -> Result<Vec<(RunRecord, String)>, Refusal> {
    let mut all = Vec::new();
    for setup in store.set_ups()? {
        let runs = store.runs(&setup.id)?;
        all.extend(runs.into_iter().map(|run| (run, setup.name.clone())));
    }
    all.sort_by_key(|(run, _)| std::cmp::Reverse(run.made));
    Ok(all)
}

/// How many sheets of a run were spoiled for each reason, the commonest first: `jam 3, slipped 1`.
pub fn reasons_in_words(record: &RunRecord) -> String {
    let mut all: Vec<(&str, usize)> = Vec::new();
    for spoiled in &record.spoiled {
        match all.iter_mut().find(|(why, _)| *why == spoiled.why) {
            Some((_, count)) => *count += 1,
            None => all.push((&spoiled.why, 1)),
        }
    }
    all.sort_by_key(|(_, count)| std::cmp::Reverse(*count));
    let all: Vec<String> = all.iter().map(|(why, n)| format!("{why} {n}")).collect();
    all.join(", ")
}

/// Rejects expected and seen, in words: `seen 4 %, of register expected 3 %`; none before paper has
/// moved.
pub fn rejects_in_words(record: &RunRecord) -> Option<String> {
    let percent = |share: f64| format!("{:.0} %", 100.0 * share);
    let seen = percent(record.seen_rejects()?);
    let expected = record
        .expected_rejects
        .map_or("not known".to_owned(), percent);
    Some(format!("seen {seen}, of register expected {expected}"))
}
