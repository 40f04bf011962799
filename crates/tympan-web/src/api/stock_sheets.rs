//! Pre-cut sheets of the user's own.

use std::collections::BTreeMap;

use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use serde_json::{Value, json};
use tympan_app::lay::{StockSheet, StockSheets};

use crate::refused::{Answer, aside};
use crate::shell::Units;
use crate::state::App;

/// `POST /api/stock-sheets`: a sheet by its measures as they are typed.
pub(crate) async fn keep(
    State(app): State<App>,
    units: Units,
    Json(typed): Json<BTreeMap<String, String>>,
) -> Answer<(StatusCode, Json<Value>)> {
    let sheet = aside(move || {
        let sheet = StockSheet::typed(&typed, units.0)?;
        StockSheets::of(&app.data).keep(&sheet)?;
        Ok(sheet)
    })
    .await?;
    let told = json!({ "name": sheet.name, "places": sheet.count() });
    Ok((StatusCode::CREATED, Json(told)))
}
