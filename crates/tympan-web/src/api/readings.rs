//! The readings of a set-up, and what they teach, to take along.

use axum::Json;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use serde::Deserialize;
use tympan_app::report::{self, Design};
use tympan_app::store::{ReadingId, SetUp, Store};
use tympan_app::{Refusal, lines_up, measure, picture};

use super::download;
use super::setups::setup_id;
use crate::refused::{Answer, Refused, aside};
use crate::state::App;

/// Something made from a set-up and its readings, under the set-up's name.
async fn made(
    app: App,
    id: &str,
    kind: &'static str,
    end: &str,
    make: impl FnOnce(&Store, &SetUp) -> Result<String, Refusal> + Send + 'static,
) -> Answer<Response> {
    let id = setup_id(id)?;
    let (name, text) = aside(move || {
        let store = app.store()?;
        let setup = store.set_up(&id)?;
        let text = make(&store, &setup)?;
        Ok((setup.name, text))
    })
    .await?;
    Ok(download::text(text, kind, &format!("{name}{end}")))
}

/// `GET /api/setup/ID/field.svg`
pub(crate) async fn field(State(app): State<App>, Path(id): Path<String>) -> Answer<Response> {
    made(app, &id, "image/svg+xml", ".svg", |store, setup| {
        let learnt = measure::learn(store, setup)?;
        Ok(picture::error_field(setup, &learnt))
    })
    .await
}

/// `GET /api/setup/ID/readings.csv`
pub(crate) async fn table(State(app): State<App>, Path(id): Path<String>) -> Answer<Response> {
    made(
        app,
        &id,
        "text/csv; charset=utf-8",
        " readings.csv",
        lines_up::table,
    )
    .await
}

/// `GET /api/setup/ID/report.json`: the same as `tympan report --json`.
pub(crate) async fn report(State(app): State<App>, Path(id): Path<String>) -> Answer<Response> {
    made(
        app,
        &id,
        "application/json",
        " report.json",
        |store, setup| {
            let learnt = measure::learn(store, setup)?;
            let report = report::report(setup, &learnt, Design::default())?;
            serde_json::to_string_pretty(&report)
                .map_err(|e| Refusal::new(e.to_string(), "look through the readings"))
        },
    )
    .await
}

fn reading_id(text: &str) -> Answer<ReadingId> {
    text.parse().map_err(|_| Refused::not_found())
}

#[derive(Deserialize)]
pub(crate) struct Why {
    why: String,
}

/// `POST /api/reading/ID/set-aside`: kept, but no longer learnt from.
pub(crate) async fn set_aside(
    State(app): State<App>,
    Path(id): Path<String>,
    Json(why): Json<Why>,
) -> Answer<StatusCode> {
    let id = reading_id(&id)?;
    aside(move || Ok(app.store()?.set_aside(&id, &why.why)?)).await?;
    Ok(StatusCode::NO_CONTENT)
}

/// `POST /api/reading/ID/bring-back`
pub(crate) async fn bring_back(
    State(app): State<App>,
    Path(id): Path<String>,
) -> Answer<StatusCode> {
    let id = reading_id(&id)?;
    aside(move || Ok(app.store()?.bring_back(&id)?)).await?;
    Ok(StatusCode::NO_CONTENT)
}
