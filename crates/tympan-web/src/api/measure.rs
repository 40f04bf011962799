//! Measuring: test sheets out, readings in.

use axum::Json;
use axum::extract::{Path, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use serde_json::{Value, json};
use tympan_app::desk::Issued;
use tympan_app::measure::{self, InTheirWords};
use tympan_app::store::SetUpId;

use super::download;
use super::setups::setup_id;
use crate::refused::{Answer, Refused, aside};
use crate::state::{App, State as Shared};
use crate::{jobs, phone};

#[derive(Deserialize)]
pub(crate) struct Sheets {
    sheets: u32,
}

/// `POST /api/setup/ID/test-sheets`: makes so many.
pub(crate) async fn issue(
    State(app): State<App>,
    Path(id): Path<String>,
    Json(asked): Json<Sheets>,
) -> Answer<(StatusCode, Json<Value>)> {
    let id = setup_id(&id)?;
    let issued = aside(move || {
        let mut store = app.store()?;
        let setup = store.set_up(&id)?;
        app.desk.issue(&mut store, &setup, asked.sheets)
    })
    .await?;
    let told = json!({ "first": issued.first, "last": issued.last });
    Ok((StatusCode::CREATED, Json(told)))
}

/// `GET /api/setup/ID/test-sheets/FIRST/LAST`: the PDF.
pub(crate) async fn issued(
    State(app): State<App>,
    Path((id, first, last)): Path<(String, u32, u32)>,
) -> Answer<Response> {
    let id = setup_id(&id)?;
    let path = app.desk.issued_file(&id, Issued { first, last });
    let name = if first == last {
        format!("test sheet {first}.pdf")
    } else {
        format!("test sheets {first}-{last}.pdf")
    };
    download::file(&path, "application/pdf", &name).await
}

/// `POST /api/setup/ID/read`: a sheet that was read by eye.
pub(crate) async fn read(
    State(app): State<App>,
    Path(id): Path<String>,
    Json(words): Json<InTheirWords>,
) -> Answer<(StatusCode, Json<Value>)> {
    let id = setup_id(&id)?;
    let state = app.clone();
    let news = jobs::news_of(&id);
    let told = aside(move || {
        let mut store = state.store()?;
        let setup = store.set_up(&id)?;
        let read = measure::read_words(&mut store, &setup, &words)?;
        measure::told(&setup, &read)
    })
    .await
    .map_err(|refused| {
        // The page asks then whether it was read once more.
        let before = measure::is_read_before(&refused.refusal.message);
        let status = if before {
            StatusCode::CONFLICT
        } else {
            refused.status
        };
        Refused { status, ..refused }
    })?;
    app.tell(&news);
    let said: Vec<&str> = told.sheets.iter().map(|s| s.in_words.as_str()).collect();
    Ok((StatusCode::CREATED, Json(json!({ "said": said }))))
}

/// `POST /api/setup/ID/phone`: a link by which one phone may send photos for a while.
pub(crate) async fn pair(
    State(app): State<App>,
    Path(id): Path<String>,
) -> Answer<(StatusCode, Json<Value>)> {
    let setup = setup_id(&id)?;
    let (state, known) = (app.clone(), setup.clone());
    aside(move || Ok(state.store()?.set_up(&known)?)).await?;
    let pairing = phone::pair(&app, setup).await?;
    let told = json!({
        "address": pairing.address,
        "picture": phone::code(&pairing.address).into_string(),
        "minutes": phone::MINUTES,
    });
    Ok((StatusCode::CREATED, Json(told)))
}

/// `POST /api/setup/ID/phone/stop`: the link is good for nothing any more.
pub(crate) async fn stop_pairing(
    State(app): State<App>,
    Path(id): Path<String>,
) -> Answer<StatusCode> {
    setup_id(&id)?;
    phone::stop(&app);
    Ok(StatusCode::NO_CONTENT)
}

/// What is done to a set-up's pictures.
pub(crate) fn told(app: &Shared, setup: &SetUpId) -> Value {
    let batches = app.desk.batches(setup);
    let all: Vec<Value> = batches
        .iter()
        .map(|batch| json!({ "id": batch.id, "job": batch.job }))
        .collect();
    json!({ "pictures": all, "phone": phone::told(app, setup) })
}

#[derive(Deserialize)]
pub(crate) struct Again {
    /// Sheets that were read before were read once more.
    #[serde(default)]
    again: bool,
}

/// `POST /api/pictures/ID/again`: reads them once more.
pub(crate) async fn again(
    State(app): State<App>,
    Path(id): Path<String>,
    Json(asked): Json<Again>,
) -> Answer<StatusCode> {
    jobs::read(&app, &id, asked.again)?;
    Ok(StatusCode::ACCEPTED)
}

/// `POST /api/pictures/ID/cancel`
pub(crate) async fn cancel(State(app): State<App>, Path(id): Path<String>) -> Answer<StatusCode> {
    app.desk.batch(&id)?;
    jobs::cancel(&app, &id)?;
    Ok(StatusCode::ACCEPTED)
}

/// `POST /api/pictures/ID/clear`: off the desk; what was read stays in the log.
pub(crate) async fn clear(State(app): State<App>, Path(id): Path<String>) -> Answer<StatusCode> {
    let state = app.clone();
    let news = aside(move || {
        let batch = state.desk.batch(&id)?;
        state.desk.clear_batch(&id)?;
        Ok(jobs::news_of(&batch.setup))
    })
    .await?;
    app.tell(&news);
    Ok(StatusCode::NO_CONTENT)
}

/// `GET /api/evidence/NAME`: a picture that shows what a reading rests on.
pub(crate) async fn evidence(State(app): State<App>, Path(name): Path<String>) -> Answer<Response> {
    let path = app.desk.evidence(&name).ok_or_else(Refused::not_found)?;
    let png = tokio::fs::read(&path)
        .await
        .map_err(|_| Refused::not_found())?;
    let headers = [
        (header::CONTENT_TYPE, "image/png"),
        (header::CACHE_CONTROL, "private, max-age=3600"),
    ];
    Ok((headers, png).into_response())
}
