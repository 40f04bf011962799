//! Long work on print runs: making them, making sheets again.

use std::fmt::Display;

use tympan_app::Refusal;
use tympan_app::desk::{AgainWish, Job, JobKind, RunIn, RunWish, RunWork};
use tympan_app::store::RunId;

use super::{begin, cancellable, carry_out, end, forget_cancel};
use crate::refused::Answer;
use crate::state::App;
use crate::worker::{Ask, Said};

/// What is told when something about a run is new; cancelling and its password go by the same name.
pub(crate) fn news_of(run: &impl Display) -> String {
    format!("run {run}")
}

/// Begins to make a run of a work. Where it ends well, the work names the run.
pub(crate) fn make(app: &App, id: &str, wish: RunWish) -> Answer<()> {
    let (work, cancel) = begin(app, id, JobKind::Run)?;
    let app = app.clone();
    tokio::spawn(async move {
        let said = match app.desk.begin_run(&work, wish.what) {
            Ok((inputs, folder)) => {
                let ask = Ask::Run(Box::new(RunIn {
                    data: app.data.clone(),
                    password: app.password(&work.id),
                    what: RunWork::Make {
                        work: Box::new(work.clone()),
                        inputs,
                        folder: folder.clone(),
                        wish,
                    },
                }));
                let said = carry_out(&app, &work, ask, cancel).await;
                if said.is_err() {
                    app.desk.forget_run_files(&folder);
                }
                said
            }
            Err(refusal) => Err(refusal),
        };
        if let (Ok(Said::Ran(run)), Some(password)) = (&said, app.password(&work.id)) {
            if let Ok(id) = run.parse::<RunId>() {
                let _ = app.desk.change_run(&id, |kept| {
                    kept.opens_with_password = true;
                    Ok(())
                });
            }
            app.keep_password(&news_of(run), password);
        }
        let made = said.map(|said| match said {
            Said::Ran(run) => Some(run),
            _ => None,
        });
        end(&app, &work, made, |work, run| work.runs.extend(run));
    });
    Ok(())
}

/// Begins to make a run's files anew with what was seen on its make-ready sheet taken out as well.
pub(crate) fn adjust(app: &App, run: &RunId, seen: String) -> Answer<()> {
    let what = RunWork::Adjust {
        run: run.to_string(),
        seen,
    };
    work_on(app, run, what)
}

/// Begins to make sheets of a run again.
pub(crate) fn again(app: &App, run: &RunId, wish: AgainWish) -> Answer<()> {
    let folder = app.desk.again_folder(run)?;
    let what = RunWork::Again {
        run: run.to_string(),
        wish,
        folder,
    };
    work_on(app, run, what)
}

fn work_on(app: &App, run: &RunId, what: RunWork) -> Answer<()> {
    let news = news_of(run);
    let password = app.opener(&news, app.desk.run(run).opens_with_password)?;
    app.desk.change_run(run, |kept| {
        if kept.job.as_ref().is_some_and(Job::is_running) {
            return Err(Refusal::new(
                "this run is being worked on already",
                "wait for it, or cancel it",
            ));
        }
        kept.job = Some(Job::begun(JobKind::Run));
        Ok(())
    })?;
    let cancel = cancellable(app, &news)?;
    app.tell(&news);
    let (app, run) = (app.clone(), run.clone());
    tokio::spawn(async move {
        let ask = Ask::Run(Box::new(RunIn {
            data: app.data.clone(),
            password,
            what,
        }));
        let said = app
            .crew
            .carry_out(0, ask, cancel, |done, total| {
                // A step that cannot be told is told with the next.
                let _ = app.desk.change_run(&run, |kept| {
                    if let Some(job) = &mut kept.job {
                        (job.done, job.total) = (done, total);
                    }
                    Ok(())
                });
                app.tell(&news);
            })
            .await;
        let cancelled = forget_cancel(&app, &news);
        let _ = app.desk.change_run(&run, |kept| {
            kept.job = kept.job.take().map(|job| match said {
                Ok(_) => job.well_ended(),
                Err(why) => job.unfinished(cancelled, &why),
            });
            Ok(())
        });
        app.tell(&news);
    });
    Ok(())
}

/// Leaves off making sheets.
pub(crate) fn cancel(app: &App, run: &RunId) -> Answer<()> {
    super::cancel(app, &news_of(run))
}
