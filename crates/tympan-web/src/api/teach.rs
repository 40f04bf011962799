//! Teaching how a printer lays its pile.

use axum::Json;
use axum::extract::{Path, Query, State};
use axum::response::Response;
use serde::Deserialize;
use serde_json::{Value, json};
use tympan_app::on_page;
use tympan_app::press::behaviour::Seen;
use tympan_app::run::{self, TeachRequest};

use super::download;
use super::setups::setup_id;
use crate::refused::{Answer, aside};
use crate::state::App;

#[derive(Deserialize)]
pub(crate) struct Which {
    /// The answers after the first pass as JSON, for the pages of the second one.
    seen: Option<String>,
}

/// `GET /api/setup/ID/trial`: the two pages to print on two marked sheets.
pub(crate) async fn trial(
    State(app): State<App>,
    Path(id): Path<String>,
    Query(which): Query<Which>,
) -> Answer<Response> {
    let id = setup_id(&id)?;
    let seen: Option<Seen> = which.seen.and_then(|text| serde_json::from_str(&text).ok());
    let name = match seen {
        None => "two sheets.pdf",
        Some(_) => "two sheets, second pass.pdf",
    };
    let pdf = aside(move || run::trial_pdf(&app.store()?.set_up(&id)?, seen.as_ref())).await?;
    Ok(download::bytes(pdf, "application/pdf", name))
}

/// `POST /api/setup/ID/teach`: what was seen.
pub(crate) async fn teach(
    State(app): State<App>,
    Path(id): Path<String>,
    Json(request): Json<TeachRequest>,
) -> Answer<Json<Value>> {
    let id = setup_id(&id)?;
    let taught = aside(move || {
        let mut store = app.store()?;
        let setup = store.set_up(&id)?;
        run::teach(&mut store, &setup, &request)
    })
    .await?;
    Ok(Json(json!({
        "sure": taught.sure,
        "words": taught.reload.in_words,
        "pictures": run::pile_svgs(&taught.reload),
        "cautions": taught.cautions.iter().map(|text| on_page(text)).collect::<Vec<_>>(),
    })))
}
