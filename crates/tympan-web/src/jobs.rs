//! Long work: begun, told about, cancelled.

use axum::http::StatusCode;
use tokio::sync::watch;
use tympan_app::Refusal;
use tympan_app::desk::{Job, JobKind, JobState, Look, Looked, Saved, Work};
use tympan_app::store::Timestamp;

use crate::refused::{Answer, Refused};
use crate::state::App;
use crate::worker::{Ask, Said};

/// Begins to look at a work's files.
pub(crate) fn look(app: &App, id: &str) -> Answer<()> {
    let (work, cancel) = begin(app, id, JobKind::Look)?;
    let app = app.clone();
    tokio::spawn(async move {
        let ask = Ask::Look {
            files: app.desk.files(&work),
            password: app.password(&work.id),
        };
        let said = carry_out(&app, &work, ask, cancel).await;
        let found = said.map(|said| match said {
            Said::Looked(look) => Some(look),
            _ => None,
        });
        end(&app, &work, found, |work, look| match look {
            Some(Look::Open(looked)) => looked_at(work, looked),
            Some(Look::Locked) => work.locked = true,
            None => {}
        });
    });
    Ok(())
}

fn looked_at(work: &mut Work, looked: Looked) {
    work.locked = false;
    work.cautions = looked.cautions;
    if !work.has_back_file && work.change.backs.is_empty() {
        let pages = looked.pages.first().map_or(0, Vec::len);
        work.change.backs = Work::likely_backs(pages).to_string();
    }
    work.pages = looked.pages;
}

/// Begins to write the corrected file.
pub(crate) fn save(app: &App, id: &str) -> Answer<()> {
    let (work, cancel) = begin(app, id, JobKind::Save)?;
    let app = app.clone();
    tokio::spawn(async move {
        let folder = app.desk.saved_folder(&work.id);
        let file = format!("{}.pdf", Timestamp::now().unix_ms());
        let ask = Ask::Save {
            data: app.data.clone(),
            files: app.desk.files(&work),
            password: app.password(&work.id),
            output: folder.join(&file),
            work: Box::new(work.clone()),
        };
        let said = match tokio::fs::create_dir_all(&folder).await {
            Ok(()) => carry_out(&app, &work, ask, cancel).await,
            Err(e) => Err(Refusal::new(
                format!("the corrected file cannot be kept: {e}"),
                "make room on the disk, then try again",
            )),
        };
        let saved = said.map(|said| match said {
            Said::Saved { in_words, cautions } => Some(Saved {
                name: format!("{} corrected.pdf", work.title()),
                file: file.clone(),
                in_words,
                cautions,
                change: work.change.clone(),
            }),
            _ => None,
        });
        let before = work.saved.as_ref().map(|saved| saved.file.clone());
        if saved.is_err() {
            let _ = tokio::fs::remove_file(folder.join(&file)).await;
        } else if let Some(before) = before {
            let _ = tokio::fs::remove_file(folder.join(before)).await;
        }
        end(&app, &work, saved, |work, saved| work.saved = saved);
    });
    Ok(())
}

/// Marks a work as being worked on.
fn begin(app: &App, id: &str, kind: JobKind) -> Answer<(Work, watch::Receiver<bool>)> {
    let (work, ()) = app.desk.change(id, |work| {
        if work.job.as_ref().is_some_and(Job::is_running) {
            return Err(Refusal::new(
                "this is being worked on already",
                "wait for it, or cancel it",
            ));
        }
        work.job = Some(Job::begun(kind));
        Ok(())
    })?;
    let (sender, receiver) = watch::channel(false);
    let mut cancels = app.cancels.lock().map_err(|_| Refused::not_found())?;
    cancels.insert(id.to_owned(), sender);
    app.tell(id);
    Ok((work, receiver))
}

async fn carry_out(
    app: &App,
    work: &Work,
    ask: Ask,
    cancel: watch::Receiver<bool>,
) -> Result<Said, Refusal> {
    let bytes = work.files.iter().map(|file| file.bytes).sum();
    app.crew
        .carry_out(bytes, ask, cancel, |done, total| {
            // A step that cannot be told is told with the next.
            let _ = app.desk.change(&work.id, |work| {
                if let Some(job) = &mut work.job {
                    (job.done, job.total) = (done, total);
                }
                Ok(())
            });
            app.tell(&work.id);
        })
        .await
        .map_err(|refusal| app.in_their_names(work, refusal))
}

/// Marks it as ended, and what came of it.
fn end<T>(app: &App, work: &Work, outcome: Result<T, Refusal>, keep: impl FnOnce(&mut Work, T)) {
    let cancelled = match app.cancels.lock() {
        Ok(mut cancels) => cancels.remove(&work.id).is_some_and(|c| *c.borrow()),
        Err(_) => false,
    };
    // Where the work was put away meanwhile, nothing is to be told.
    let _ = app.desk.change(&work.id, |work| {
        let Some(job) = work.job.take() else {
            return Ok(());
        };
        work.job = Some(match outcome {
            Ok(found) => {
                keep(work, found);
                Job {
                    state: JobState::Done,
                    ..job
                }
            }
            Err(why) if cancelled => job.ended(JobState::Cancelled, &why),
            Err(why) => job.ended(JobState::Failed, &why),
        });
        Ok(())
    });
    app.tell(&work.id);
}

/// Cancels what runs on a work.
pub(crate) fn cancel(app: &App, id: &str) -> Answer<()> {
    let cancels = app.cancels.lock().map_err(|_| Refused::not_found())?;
    match cancels.get(id) {
        Some(sender) => {
            sender.send_replace(true);
            Ok(())
        }
        None => Err(Refused::new(
            StatusCode::CONFLICT,
            "nothing is being done to this",
            "load the page again",
        )),
    }
}
