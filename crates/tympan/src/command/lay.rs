//! `tympan lay`: new sheets from old cards and pictures.

use std::sync::atomic::AtomicBool;

use tympan_app::Refusal;
use tympan_app::lay::{self, Doing, Job, Laid, Progress, Request, Shown};

use crate::args::{Cli, Lay};
use crate::say;

pub(crate) fn run(cli: &Cli, args: &Lay) -> Result<(), Refusal> {
    let job = match &args.job {
        Some(path) => Job::read(path)?,
        None => Job::default(),
    };
    let mut job = args.over(job);
    if job.stock_sheet.is_some() {
        job.stock_sheets = Some(super::stock::library(cli)?);
    }
    let mut store = match job.setup {
        Some(_) => Some(super::store(cli)?),
        None => None,
    };
    let cancel = AtomicBool::new(false);
    let mut progress = |at: Progress| {
        let text = match at.doing {
            Doing::Looking => format!("looked at {} of {} pages", at.done, at.total),
            Doing::Writing => format!("wrote {} of {} pages", at.done, at.total),
        };
        say::passing(&text, at.done == at.total);
    };
    let Some(output) = args.output.clone().filter(|_| !args.show) else {
        let shown = lay::show(store.as_ref(), &job, &mut progress, &cancel)?;
        if cli.json {
            return say::json(&shown);
        }
        for caution in &shown.cautions {
            say::note(caution);
        }
        return say::data(&shown_in_words(&shown));
    };
    let request = Request {
        job,
        output,
        cuts: args.cuts.clone(),
    };
    let laid = lay::lay(store.as_mut(), &request, &mut progress, &cancel)?;
    if cli.json {
        return say::json(&laid);
    }
    for caution in &laid.cautions {
        say::note(caution);
    }
    say::data(&laid_in_words(&laid))
}

fn shown_in_words(shown: &Shown) -> String {
    let mut text = format!("The best plans on {}:\n", shown.paper);
    for plan in &shown.plans {
        text.push_str(&format!("  {}. {}\n", plan.number, plan.in_words()));
    }
    text.push_str("Take one with --plan and -o.");
    text
}

fn laid_in_words(laid: &Laid) -> String {
    let mut text = format!(
        "Wrote {}: {}\n  {}\n",
        say::path(&laid.output),
        laid.answer(),
        laid.plan.in_words()
    );
    if let Some(setup) = &laid.corrected_for {
        text.push_str(&format!("  The backs are corrected for \"{setup}\".\n"));
    }
    let spares = laid.plan.spares_in_words();
    if !spares.is_empty() {
        text.push_str(&format!("  {spares}\n"));
    }
    if let Some(first) = laid.cut_files.first() {
        text.push_str(&format!(
            "  How to cut: {} and others beside it.\n",
            say::path(first)
        ));
    }
    text.push_str("Print it at actual size (100 %), never fitted to the page.");
    text
}
