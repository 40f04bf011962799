//! Print runs: making them, following them, their files.

use axum::Json;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use serde::Deserialize;
use serde_json::{Value, json};
use tympan_app::desk::{self, AgainWish, Look, RunWish};
use tympan_app::run::{self, RunSeen};
use tympan_app::store::{RunId, RunRecord, Store};
use tympan_app::{Refusal, on_page};

use super::{Password, download};
use crate::jobs::run as run_jobs;
use crate::refused::{Answer, Refused, aside};
use crate::state::{App, State as Shared};
use crate::worker::{Ask, Said};

/// The run that an address names.
///
/// # Errors
/// Where it is no id at all.
pub(crate) fn run_id(text: &str) -> Answer<RunId> {
    text.parse().map_err(|_| Refused::not_found())
}

/// `POST /api/work/ID/run`: makes a run of a work.
pub(crate) async fn make(
    State(app): State<App>,
    Path(id): Path<String>,
    Json(wish): Json<RunWish>,
) -> Answer<StatusCode> {
    run_jobs::make(&app, &id, wish)?;
    Ok(StatusCode::ACCEPTED)
}

/// A run as its page needs it to follow what is done.
pub(crate) fn told(app: &Shared, run: &RunId) -> Value {
    let kept = app.desk.run(run);
    json!({ "job": kept.job, "ticked": kept.ticked, "printing": kept.printing })
}

/// A run as it stands.
pub(super) async fn see(app: &App, run: &RunId) -> Answer<RunSeen> {
    let (app, run) = (app.clone(), run.clone());
    aside(move || {
        let store = app.store()?;
        run::see(&store, &store.run(&run)?)
    })
    .await
}

#[derive(Deserialize)]
pub(crate) struct Tick {
    step: String,
    done: bool,
}

/// `POST /api/run/ID/tick`
pub(crate) async fn tick(
    State(app): State<App>,
    Path(id): Path<String>,
    Json(tick): Json<Tick>,
) -> Answer<StatusCode> {
    let run = run_id(&id)?;
    see(&app, &run).await?;
    let news = run_jobs::news_of(&run);
    let state = app.clone();
    aside(move || {
        let change = |kept: &mut desk::RunDesk| kept.tick(&tick.step, tick.done);
        state.desk.change_run(&run, change)
    })
    .await?;
    app.tell(&news);
    Ok(StatusCode::NO_CONTENT)
}

/// `POST /api/run/ID/password`: the password of its files, once more.
pub(crate) async fn password(
    State(app): State<App>,
    Path(id): Path<String>,
    Json(given): Json<Password>,
) -> Answer<StatusCode> {
    let run = run_id(&id)?;
    let files = see(&app, &run).await?.inputs;
    // One that is wrong is said at once, not with the first sheet that is to be printed.
    let ask = Ask::Look {
        files,
        password: Some(given.password.clone()),
    };
    let (_never, cancel) = tokio::sync::watch::channel(false);
    let said = app.crew.carry_out(0, ask, cancel, |_, _| {}).await?;
    if !matches!(said, Said::Looked(Look::Open(_))) {
        return Err(Refusal::new(
            "that password does not open the files of this run",
            "check capitals and keyboard layout, and try again",
        )
        .into());
    }
    app.keep_password(&run_jobs::news_of(&run), given.password);
    Ok(StatusCode::NO_CONTENT)
}

#[derive(Deserialize)]
pub(crate) struct Words {
    seen: String,
}

/// `POST /api/run/ID/adjust`: what was seen on the make-ready sheet is taken out as well.
pub(crate) async fn adjust(
    State(app): State<App>,
    Path(id): Path<String>,
    Json(words): Json<Words>,
) -> Answer<StatusCode> {
    run_jobs::adjust(&app, &run_id(&id)?, words.seen)?;
    Ok(StatusCode::ACCEPTED)
}

/// `POST /api/run/ID/again`
pub(crate) async fn again(
    State(app): State<App>,
    Path(id): Path<String>,
    Json(wish): Json<AgainWish>,
) -> Answer<StatusCode> {
    let run = run_id(&id)?;
    // What is refused at once need not be begun.
    desk::sheets_typed(&wish.sheets)?;
    run_jobs::again(&app, &run, wish)?;
    Ok(StatusCode::ACCEPTED)
}

/// `POST /api/run/ID/cancel`
pub(crate) async fn cancel(State(app): State<App>, Path(id): Path<String>) -> Answer<StatusCode> {
    run_jobs::cancel(&app, &run_id(&id)?)?;
    Ok(StatusCode::ACCEPTED)
}

/// Something done to a run in the store, told in words.
async fn with(
    app: &App,
    id: &str,
    change: impl FnOnce(&mut Store, &RunRecord) -> Result<run::Followed, Refusal> + Send + 'static,
) -> Answer<Json<Value>> {
    let run = run_id(id)?;
    let state = app.clone();
    let news = run_jobs::news_of(&run);
    let words = aside(move || {
        let mut store = state.store()?;
        let record = store.run(&run)?;
        Ok(change(&mut store, &record)?.in_words)
    })
    .await?;
    app.tell(&news);
    Ok(Json(json!({ "said": on_page(&words) })))
}

/// `POST /api/run/ID/release`: the make-ready is right, paper may move.
pub(crate) async fn release(State(app): State<App>, Path(id): Path<String>) -> Answer<Json<Value>> {
    with(&app, &id, run::moved).await
}

/// `POST /api/run/ID/done`
pub(crate) async fn done(State(app): State<App>, Path(id): Path<String>) -> Answer<Json<Value>> {
    with(&app, &id, run::finish).await
}

/// `POST /api/run/ID/undo`: only before paper has moved.
pub(crate) async fn undo(State(app): State<App>, Path(id): Path<String>) -> Answer<Json<Value>> {
    let run = run_id(&id)?;
    let folder = see(&app, &run).await?.told.folder;
    let told = with(&app, &id, run::undo).await?;
    app.desk.forget_run_files(&folder);
    Ok(told)
}

#[derive(Deserialize)]
pub(crate) struct Spoilt {
    sheets: String,
    why: String,
}

/// `POST /api/run/ID/spoiled`: only noted.
pub(crate) async fn spoiled(
    State(app): State<App>,
    Path(id): Path<String>,
    Json(spoilt): Json<Spoilt>,
) -> Answer<Json<Value>> {
    let sheets = desk::sheets_typed(&spoilt.sheets)?;
    with(&app, &id, move |store, record| {
        run::spoil(store, record, &sheets, &spoilt.why)
    })
    .await
}

/// `GET /api/run/ID/file/GROUP/NAME`: a file of the run.
pub(crate) async fn file(
    State(app): State<App>,
    Path((id, group, name)): Path<(String, usize, String)>,
) -> Answer<Response> {
    let seen = see(&app, &run_id(&id)?).await?;
    let path = seen.file(group, &name).ok_or_else(Refused::not_found)?;
    download::file(&path, "application/pdf", &name).await
}
