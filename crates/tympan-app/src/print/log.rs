//! What was sent to a printer, in the log of its run.

use tympan_store::{RunId, RunRecord, RunState, Sent, Spoiled, Store, Timestamp};

use super::plan::Plan;
use super::run::{Ending, Outcome};
use crate::refusal::Refusal;

/// Notes what came of printing a pass: what was sent, and the sheets that were spoiled because they
/// had come out before and had to be printed once more. Where the file is no pass, or one of a run
/// that is not in this store, there is nothing to note.
///
/// # Errors
/// A [`Refusal`] where the store cannot be written.
pub fn note(
    store: &mut Store,
    plan: &Plan,
    outcome: &Outcome,
) -> Result<Option<RunRecord>, Refusal> {
    let Some(pass) = &plan.pass else {
        return Ok(None);
    };
    let Ok(run) = pass.run.parse::<RunId>() else {
        return Ok(None);
    };
    let Ok(mut run) = store.run(&run) else {
        return Ok(None);
    };
    if run.state == RunState::Undone {
        return Ok(None);
    }
    let at = Timestamp::now();
    let (first, last) = (outcome.first_sheet - 1, outcome.last_sheet);
    let sheets = pass.sheets.get(first..last).unwrap_or_default().to_vec();
    if !pass.again {
        spoil_what_is_printed_again(&mut run, pass.side, &sheets, at);
    }
    if !sheets.is_empty() && run.state == RunState::Ready {
        run.state = RunState::Printing;
    }
    let line = |text: &str| text.chars().filter(|c| !c.is_control()).take(200).collect();
    run.note_sent(Sent {
        at,
        printer: line(&plan.printer),
        side: pass.side,
        sheets,
        out: outcome.sheets_out.and_then(|out| u32::try_from(out).ok()),
        whole: outcome.ended == Ending::Printed,
        stopped_by: line(outcome.stopped_by.as_deref().unwrap_or_default()),
    });
    Ok(Some(store.change_run(&run)?))
}

/// Sheets of a job that stopped which had come out, and are now printed once more, were no good.
fn spoil_what_is_printed_again(
    run: &mut RunRecord,
    side: Option<tympan_sheet::Side>,
    sheets: &[u32],
    at: Timestamp,
) {
    // Only the latest job of this side tells: what came before it is told already.
    let mut before = run.sent.iter().rev();
    let before = before.find(|sent| sent.side == side && !sent.sheets.is_empty());
    let Some(stopped) = before.filter(|sent| !sent.whole) else {
        return;
    };
    let why = match stopped.stopped_by.as_str() {
        "" => "printed again",
        why => why,
    };
    let again = stopped.came_out().iter().filter(|n| sheets.contains(n));
    let spoiled: Vec<Spoiled> = again
        .map(|&sheet| Spoiled {
            sheet,
            why: why.to_owned(),
            at,
        })
        .collect();
    run.spoiled.extend(spoiled);
}
