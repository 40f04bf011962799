//! Printing: passes of runs, and files that go straight to a printer.

use std::time::Duration;

use tympan_app::Refusal;
use tympan_app::desk::{EndTold, Kept, PlanTold, PrintIn, Printing};

use super::{cancellable, forget_cancel};
use crate::refused::Answer;
use crate::state::App;
use crate::worker::{Ask, Said};

/// How long a printer may take to take a job back.
const TAKING_BACK: Duration = Duration::from_secs(25);

/// What is told when something about what is printed is new.
pub(crate) fn news_of(what: &Kept) -> String {
    match what {
        Kept::Run(run) => super::run::news_of(run),
        Kept::Straight(key) => format!("straight {key}"),
    }
}

/// How printing is cancelled.
fn printing(what: &Kept) -> String {
    format!("print {}", news_of(what))
}

/// Begins to print what a person has agreed to.
pub(crate) fn print(app: &App, what: Kept, print: PrintIn, plan: PlanTold) -> Answer<()> {
    let wish = print.wish.clone();
    app.desk.change_kept(&what, |kept| {
        if kept.printing.as_ref().is_some_and(|p| p.job.is_running()) {
            return Err(Refusal::new(
                "this is being printed already",
                "wait for it, or cancel it",
            ));
        }
        kept.printing = Some(Printing::begun(wish, plan));
        Ok(())
    })?;
    let cancel = cancellable(app, &printing(&what))?;
    let news = news_of(&what);
    app.tell(&news);
    let app = app.clone();
    tokio::spawn(async move {
        let ask = Ask::Print(Box::new(print));
        let said = app
            .crew
            .listen(0, ask, cancel, TAKING_BACK, |said| {
                if let Said::Happened { words, out } = said {
                    let _ = app.desk.change_kept(&what, |kept| {
                        if let Some(printing) = &mut kept.printing {
                            printing.hears(words, *out);
                        }
                        Ok(())
                    });
                    app.tell(&news);
                }
            })
            .await;
        let cancelled = forget_cancel(&app, &printing(&what));
        let ended = said.map(|said| match said {
            Said::PrintEnded(ended) => ended,
            _ => EndTold::default(),
        });
        let _ = app.desk.change_kept(&what, |kept| {
            kept.is_printed(ended, cancelled);
            Ok(())
        });
        app.tell(&news);
    });
    Ok(())
}

/// Takes the job back that is being printed.
pub(crate) fn cancel(app: &App, what: &Kept) -> Answer<()> {
    super::cancel(app, &printing(what))
}
