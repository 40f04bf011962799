//! Laying cards out afresh: from cards on old sheets, pictures and deck lists to sheets that suit
//! a set-up.

mod cells;
mod cuts;
mod deck;
mod dropped;
mod folder;
mod gather;
mod job;
mod known;
pub(crate) mod labels;
mod picture;
mod planned;
mod problem;
mod said;
mod sheets;
mod stock_sheet;
mod view;
mod witness;

use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, Ordering};

use tympan_pdf::impose::ImposeError;
use tympan_store::Store;

use crate::refusal::Refusal;

pub use dropped::Named;
pub use folder::is_picture;
pub use job::{
    BleedBy, CutBy, EdgesAsked, Fit, Job, Marks, Order, SeenOnSheet, ShapeAsked, Source,
    StandingAsked, Wanted,
};
pub use known::Known;
pub use labels::label;
pub use problem::Problem;
pub use said::{CardSaid, Laid, PileSaid, PlanSaid, Shown};
pub use stock_sheet::{Places, StockSheet, StockSheets};
pub use tympan_layout::cut_lines::NOTE as CUT_LINES_NOTE;
pub use tympan_layout::cutting::CAUTIONS as CUTTING_CAUTIONS;
pub use view::{CardView, CutRow, CutsView, PlanView, View, sheet, view};

/// What is asked for.
#[derive(Clone, Debug, Default)]
pub struct Request {
    /// The cards and how they are to lie.
    pub job: Job,
    /// The file to write. It must not exist.
    pub output: PathBuf,
    /// The folder for the order of the cuts and the cut lines, if they are wanted.
    pub cuts: Option<PathBuf>,
}

/// How far the work has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Progress {
    /// What is being done.
    pub doing: Doing,
    /// Pages done.
    pub done: usize,
    /// Of so many.
    pub total: usize,
}

/// The parts of the work.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Doing {
    /// Looking for cards on old sheets.
    Looking,
    /// Writing new ones.
    Writing,
}

/// Tells the best few plans for a job and writes nothing.
///
/// # Errors
/// A [`Refusal`] with all that is in the way.
pub fn show(
    store: Option<&Store>,
    job: &Job,
    progress: &mut dyn FnMut(Progress),
    cancel: &AtomicBool,
) -> Result<Shown, Refusal> {
    let planned = planned::plan(store, job, &mut Known::default(), progress, cancel)?;
    Ok(said::shown(&planned))
}

/// Lays a job out by one of its best plans and writes the sheets.
///
/// # Errors
/// A [`Refusal`] with all that is in the way. Then nothing was written.
pub fn lay(
    store: Option<&mut Store>,
    request: &Request,
    progress: &mut dyn FnMut(Progress),
    cancel: &AtomicBool,
) -> Result<Laid, Refusal> {
    lay_known(store, request, &mut Known::default(), progress, cancel)
}

/// The same with what is known of its files.
///
/// # Errors
/// As for [`lay`].
pub fn lay_known(
    store: Option<&mut Store>,
    request: &Request,
    known: &mut Known,
    progress: &mut dyn FnMut(Progress),
    cancel: &AtomicBool,
) -> Result<Laid, Refusal> {
    crate::correct::refuse_existing(&request.output)?;
    let mut planned = planned::plan(store.as_deref(), &request.job, known, progress, cancel)?;
    let chosen = planned.chosen(&request.job)?;
    if cancel.load(Ordering::Relaxed) {
        return Err(stopped());
    }
    let job = sheets::job(&planned, chosen, request, None, store)?;
    let mut step = |at: tympan_pdf::Progress| {
        progress(Progress {
            doing: Doing::Writing,
            done: at.done,
            total: at.total,
        });
    };
    let sources = std::mem::take(&mut planned.found.sources);
    let report = tympan_pdf::impose::write(&job, sources, &mut step, cancel).map_err(unwritten)?;
    let cuts = match &request.cuts {
        Some(folder) => {
            let plan = &planned.plans[chosen].0;
            let crosses = sheets::prints_crosses(&request.job, plan);
            cuts::write(plan, planned.paper.size(), crosses, folder)?
        }
        None => Vec::new(),
    };
    Ok(said::laid(&planned, chosen, &request.output, &report, cuts))
}

fn unwritten(error: ImposeError) -> Refusal {
    problem::refusal(&in_the_way(error))
}

/// Why sheets could not be written, card by card.
fn in_the_way(error: ImposeError) -> Vec<Problem> {
    let hint = error.hint().map(str::to_owned);
    match error {
        ImposeError::Problems(problems) => {
            let told = |problem: &tympan_pdf::impose::Problem| {
                Problem::new(&problem.art, problem.fault.to_string(), problem.hint())
            };
            problems.iter().map(told).collect()
        }
        other => vec![Problem::new(
            "",
            other.to_string(),
            hint.unwrap_or_default(),
        )],
    }
}

fn stopped() -> Refusal {
    Refusal {
        message: "stopped".to_owned(),
        hint: None,
    }
}
