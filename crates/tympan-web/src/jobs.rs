//! Long work: begun, told about, cancelled.

mod deck;
pub(crate) mod print;
pub(crate) mod run;

use axum::http::StatusCode;
use tokio::sync::watch;
use tympan_app::Refusal;
use tympan_app::desk::{Batch, Job, JobKind, Look, Looked, Outcome, PicturesIn, Saved, Work};
use tympan_app::store::{SetUpId, Timestamp};

use crate::refused::{Answer, Refused};
use crate::state::App;
use crate::worker::{Ask, Said};

pub(crate) use deck::{bytes, deck_in, lay, plan};

/// Begins to look at a work's files.
pub(crate) fn look(app: &App, id: &str) -> Answer<()> {
    let (work, cancel) = begin(app, id, JobKind::Look)?;
    let app = app.clone();
    tokio::spawn(async move {
        let password = app.password(&work.id);
        let has_password = password.is_some();
        let ask = Ask::Look {
            files: app.desk.files(&work),
            password,
        };
        let said = carry_out(&app, &work, ask, cancel).await;
        let found = said.map(|said| match said {
            Said::Looked(look) => Some(look),
            _ => None,
        });
        let is_open = matches!(found, Ok(Some(Look::Open(_))));
        end(&app, &work, found, |work, look| match look {
            Some(Look::Open(looked)) => {
                looked_at(work, looked);
                work.opens_with_password = has_password;
            }
            Some(Look::Locked) => work.locked = true,
            None => {}
        });
        if is_open {
            // What it finds is told when it is found; the page does not wait for it.
            let _ = inspect(&app, &work.id);
        }
    });
    Ok(())
}

/// Begins a close look at a work's files, beside whatever else is done with them.
pub(crate) fn inspect(app: &App, id: &str) -> Answer<()> {
    let (work, ()) = app.desk.change(id, |work| {
        if work.inspecting.as_ref().is_some_and(Job::is_running) {
            return Err(Refusal::new(
                "this is being looked at already",
                "wait for it",
            ));
        }
        work.inspecting = Some(Job::begun(JobKind::Inspect));
        Ok(())
    })?;
    let key = format!("inspect {id}");
    let cancel = cancellable(app, &key)?;
    app.tell(id);
    let app = app.clone();
    tokio::spawn(async move {
        let ask = Ask::Inspect {
            files: app.desk.files(&work),
            has_back_file: work.has_back_file,
            password: app.password(&work.id),
        };
        let bytes = work.files.iter().map(|file| file.bytes).sum();
        let said = app.crew.carry_out(bytes, ask, cancel, |done, total| {
            let _ = app.desk.change(&work.id, |work| {
                if let Some(job) = &mut work.inspecting {
                    (job.done, job.total) = (done, total);
                }
                Ok(())
            });
            app.tell(&work.id);
        });
        let said = said
            .await
            .map_err(|refusal| app.in_their_names(&work, refusal));
        let cancelled = forget_cancel(&app, &key);
        let _ = app.desk.change(&work.id, |work| {
            let Some(job) = work.inspecting.take() else {
                return Ok(());
            };
            work.inspecting = Some(match said {
                Ok(Said::Inspected(found)) => {
                    work.is_inspected(*found);
                    job.well_ended()
                }
                Ok(_) => job.well_ended(),
                Err(why) => job.unfinished(cancelled, &why),
            });
            Ok(())
        });
        app.tell(&work.id);
    });
    Ok(())
}

/// Leaves off looking closely.
pub(crate) fn cancel_inspect(app: &App, id: &str) -> Answer<()> {
    cancel(app, &format!("inspect {id}"))
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
    let receiver = cancellable(app, id)?;
    app.tell(id);
    Ok((work, receiver))
}

fn cancellable(app: &App, id: &str) -> Answer<watch::Receiver<bool>> {
    let (sender, receiver) = watch::channel(false);
    let mut cancels = app.cancels.lock().map_err(|_| Refused::not_found())?;
    cancels.insert(id.to_owned(), sender);
    Ok(receiver)
}

/// Whether it was cancelled; it can no longer be.
fn forget_cancel(app: &App, id: &str) -> bool {
    match app.cancels.lock() {
        Ok(mut cancels) => cancels.remove(id).is_some_and(|c| *c.borrow()),
        Err(_) => false,
    }
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
    let cancelled = forget_cancel(app, &work.id);
    // Where the work was put away meanwhile, nothing is to be told.
    let _ = app.desk.change(&work.id, |work| {
        let Some(job) = work.job.take() else {
            return Ok(());
        };
        work.job = Some(match outcome {
            Ok(found) => {
                keep(work, found);
                job.well_ended()
            }
            Err(why) => job.unfinished(cancelled, &why),
        });
        Ok(())
    });
    app.tell(&work.id);
}

/// What is told when something about a set-up's pictures is new.
pub(crate) fn news_of(setup: &SetUpId) -> String {
    format!("setup {setup}")
}

/// Begins to read pictures of test sheets into the log.
pub(crate) fn read(app: &App, id: &str, again: bool) -> Answer<()> {
    let (batch, ()) = app.desk.change_batch(id, Batch::begin)?;
    let cancel = cancellable(app, id)?;
    let news = news_of(&batch.setup);
    app.tell(&news);
    let app = app.clone();
    tokio::spawn(async move {
        let bytes = batch.files.iter().map(|file| file.bytes).sum();
        let ask = Ask::Read(Box::new(PicturesIn {
            data: app.data.clone(),
            files: app.desk.picture_files(&batch),
            batch: batch.clone(),
            again,
        }));
        let said = app.crew.carry_out(bytes, ask, cancel, |done, total| {
            let _ = app.desk.change_batch(&batch.id, |batch| {
                if let Some(job) = &mut batch.job {
                    (job.done, job.total) = (done, total);
                }
                Ok(())
            });
            app.tell(&news);
        });
        let outcome = said.await.map(|said| match said {
            Said::Read(outcome) => outcome,
            _ => Outcome::default(),
        });
        let cancelled = forget_cancel(&app, &batch.id);
        let _ = app.desk.change_batch(&batch.id, |batch| {
            let Some(job) = batch.job.take() else {
                return Ok(());
            };
            batch.job = Some(match outcome {
                Ok(outcome) => {
                    batch.outcome = Some(outcome);
                    job.well_ended()
                }
                Err(why) => job.unfinished(cancelled, &why),
            });
            Ok(())
        });
        app.tell(&news);
    });
    Ok(())
}

/// Cancels what runs on a work, a deck or pictures.
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
