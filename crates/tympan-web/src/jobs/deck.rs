//! Long work on decks: looking at them, and writing their sheets.

use tympan_app::Refusal;
use tympan_app::desk::{Deck, DeckIn, Job, JobKind};
use tympan_app::store::Timestamp;

use super::{cancellable, forget_cancel};
use crate::refused::Answer;
use crate::state::App;
use crate::worker::{Ask, Said};

/// What a child needs to know of a deck.
pub(crate) fn deck_in(app: &App, deck: &Deck) -> DeckIn {
    DeckIn {
        data: app.data.clone(),
        folder: app.desk.deck_folder(&deck.id),
        title: deck.title.clone(),
        files: app.desk.named(deck),
        wish: deck.wish.clone(),
        usual_paper: deck.usual_paper.clone(),
        password: app.password(&deck.id),
    }
}

/// How long its files are, all in all.
pub(crate) fn bytes(deck: &Deck) -> u64 {
    deck.files.iter().map(|file| file.bytes).sum()
}

/// Begins to find what there is to show of a deck. What is chosen while that goes on begins it anew.
pub(crate) fn plan(app: &App, id: &str) -> Answer<()> {
    let (_, begins) = app.desk.change_deck(id, |deck| match &deck.job {
        Some(job) if job.is_running() && job.kind == JobKind::Plan => Ok(false),
        Some(job) if job.is_running() => Err(Refusal::new(
            "the sheets are being written",
            "wait for it, or cancel it",
        )),
        _ => {
            deck.job = Some(Job::begun(JobKind::Plan));
            Ok(true)
        }
    })?;
    // What goes on is not cut short, since what it finds in the files is kept: it sees at its end that
    // something else is wanted.
    if !begins {
        return Ok(());
    }
    app.tell(id);
    let (app, id) = (app.clone(), id.to_owned());
    tokio::spawn(async move { while plan_once(&app, &id).await {} });
    Ok(())
}

/// Whether it is to be done again, because something else was chosen meanwhile.
async fn plan_once(app: &App, id: &str) -> bool {
    let Ok(deck) = app.desk.deck(id) else {
        return false;
    };
    let Ok(cancel) = cancellable(app, id) else {
        return false;
    };
    let ask = Ask::View(Box::new(deck_in(app, &deck)));
    let said = carry_out(app, &deck, ask, cancel).await;
    let cancelled = forget_cancel(app, id);
    let again = app.desk.change_deck(id, |now| {
        if now.wish != deck.wish {
            return Ok(true);
        }
        let Some(job) = now.job.take() else {
            return Ok(false);
        };
        now.job = Some(match said {
            Ok(Said::Viewed(view)) => {
                now.view = Some(*view);
                job.well_ended()
            }
            Ok(_) => job.well_ended(),
            Err(why) => job.unfinished(cancelled, &why),
        });
        Ok(false)
    });
    app.tell(id);
    again.is_ok_and(|(_, again)| again)
}

async fn carry_out(
    app: &App,
    deck: &Deck,
    ask: Ask,
    cancel: tokio::sync::watch::Receiver<bool>,
) -> Result<Said, Refusal> {
    let progress = |done, total| {
        // A step that cannot be told is told with the next.
        let _ = app.desk.change_deck(&deck.id, |deck| {
            if let Some(job) = &mut deck.job {
                (job.done, job.total) = (done, total);
            }
            Ok(())
        });
        app.tell(&deck.id);
    };
    app.crew.carry_out(bytes(deck), ask, cancel, progress).await
}

/// Begins to write a deck's sheets.
pub(crate) fn lay(app: &App, id: &str) -> Answer<()> {
    let (deck, ()) = app.desk.change_deck(id, |deck| {
        if deck.job.as_ref().is_some_and(Job::is_running) {
            return Err(Refusal::new(
                "this is being worked on already",
                "wait for it, or cancel it",
            ));
        }
        deck.job = Some(Job::begun(JobKind::Lay));
        Ok(())
    })?;
    let cancel = cancellable(app, id)?;
    app.tell(id);
    let app = app.clone();
    tokio::spawn(async move {
        let folder = app
            .desk
            .deck_saved(&deck.id)
            .join(Timestamp::now().unix_ms().to_string());
        let ask = Ask::Lay {
            deck: Box::new(deck_in(&app, &deck)),
            folder: folder.clone(),
        };
        let said = carry_out(&app, &deck, ask, cancel).await;
        let cancelled = forget_cancel(&app, &deck.id);
        let old = match &said {
            // What was written before makes room for what was written now.
            Ok(Said::Laid(_)) => {
                (deck.saved.as_ref()).map(|saved| app.desk.deck_saved(&deck.id).join(&saved.folder))
            }
            _ => Some(folder),
        };
        let _ = app.desk.change_deck(&deck.id, |now| {
            let Some(job) = now.job.take() else {
                return Ok(());
            };
            now.job = Some(match said {
                Ok(Said::Laid(saved)) => {
                    now.saved = Some(*saved);
                    job.well_ended()
                }
                Ok(_) => job.well_ended(),
                Err(why) => job.unfinished(cancelled, &why),
            });
            Ok(())
        });
        if let Some(old) = old {
            let _ = tokio::fs::remove_dir_all(old).await;
        }
        app.tell(&deck.id);
    });
    Ok(())
}
