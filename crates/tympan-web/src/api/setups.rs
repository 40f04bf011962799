//! Set-ups: making and keeping them.

use axum::Json;
use axum::body::Bytes;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use serde::Deserialize;
use serde_json::{Value, json};
use tympan_app::Refusal;
use tympan_app::setups::{self, Answers};
use tympan_app::store::{SetUp, SetUpId, Store};

use super::download;
use crate::refused::{Answer, Refused, aside};
use crate::state::App;

/// The set-up that an address names.
///
/// # Errors
/// Where it is no id at all.
pub(crate) fn setup_id(text: &str) -> Answer<SetUpId> {
    text.parse().map_err(|_| Refused::not_found())
}

/// Something done to a set-up in the store, which then is told by its id and name.
async fn with(
    app: &App,
    id: &str,
    work: impl FnOnce(&mut Store, &SetUpId) -> Result<SetUp, Refusal> + Send + 'static,
) -> Answer<Json<Value>> {
    let id = setup_id(id)?;
    let state = app.clone();
    let setup = aside(move || work(&mut state.store()?, &id)).await?;
    Ok(Json(json!({ "id": setup.id, "name": setup.name })))
}

/// `POST /api/setups`: a set-up from answers.
pub(crate) async fn make(
    State(app): State<App>,
    Json(answers): Json<Answers>,
) -> Answer<(StatusCode, Json<Value>)> {
    let setup = aside(move || setups::make(&mut app.store()?, &answers)).await?;
    let told = json!({ "id": setup.id, "name": setup.name });
    Ok((StatusCode::CREATED, Json(told)))
}

#[derive(Deserialize)]
pub(crate) struct Named {
    name: String,
}

/// `POST /api/setup/ID/rename`
pub(crate) async fn rename(
    State(app): State<App>,
    Path(id): Path<String>,
    Json(named): Json<Named>,
) -> Answer<Json<Value>> {
    with(&app, &id, move |store, id| {
        Ok(store.rename_set_up(id, &named.name)?)
    })
    .await
}

/// `POST /api/setup/ID/copy`
pub(crate) async fn copy(State(app): State<App>, Path(id): Path<String>) -> Answer<Json<Value>> {
    with(&app, &id, setups::copy).await
}

/// `POST /api/setup/ID/remove`: out of sight, with its readings; it can be brought back.
pub(crate) async fn remove(State(app): State<App>, Path(id): Path<String>) -> Answer<Json<Value>> {
    with(&app, &id, |store, id| Ok(store.remove_set_up(id)?)).await
}

/// `POST /api/setup/ID/restore`
pub(crate) async fn restore(State(app): State<App>, Path(id): Path<String>) -> Answer<Json<Value>> {
    with(&app, &id, setups::restore).await
}

/// `GET /api/setup/ID/export`
pub(crate) async fn export(State(app): State<App>, Path(id): Path<String>) -> Answer<Response> {
    let id = setup_id(&id)?;
    let (name, json) = aside(move || {
        let store = app.store()?;
        let name = store.set_up(&id)?.name;
        Ok((name, store.export(std::slice::from_ref(&id))?.to_json()))
    })
    .await?;
    let name = format!("{name}.json");
    Ok(download::text(json, "application/json", &name))
}

/// `GET /api/setups/export`: all of them.
pub(crate) async fn export_all(State(app): State<App>) -> Answer<Response> {
    let json = aside(move || Ok(app.store()?.export_all()?.to_json())).await?;
    Ok(download::text(json, "application/json", "set-ups.json"))
}

/// `POST /api/setups/import`: an export comes in.
pub(crate) async fn import(State(app): State<App>, body: Bytes) -> Answer<Json<Value>> {
    let said = aside(move || setups::import(&mut app.store()?, &body)).await?;
    Ok(Json(json!({ "said": said })))
}
