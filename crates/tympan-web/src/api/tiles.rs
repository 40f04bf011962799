//! Pictures of pages.

use axum::Json;
use axum::extract::{Path, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use serde_json::{Value, json};
use std::sync::atomic::{AtomicU32, Ordering};
use tympan_app::desk::Work;
use tympan_app::desk::picture::{self, KEPT_BYTES, Look, Tile};

use crate::refused::{Answer, Refused};
use crate::state::App;
use crate::worker::{Ask, Said};

/// After so many new pictures the oldest are looked through.
const BETWEEN_TRIMS: u32 = 64;

/// `GET /api/work/ID/tile/FILE/PAGE/SCALE/COLUMN/ROW/LOOK`
pub(crate) async fn tile(
    State(app): State<App>,
    Path((id, file, page, scale, column, row, look)): Path<(
        String,
        usize,
        usize,
        u32,
        u32,
        u32,
        Look,
    )>,
) -> Answer<Response> {
    let work = app.desk.work(&id)?;
    let tile = Tile {
        page,
        scale,
        column,
        row,
        look,
    };
    let size = page_size(&work, file, page)?;
    if !tile.is_on(size) {
        return Err(Refused::not_found());
    }
    let output = app.desk.pictures(&id).join(tile.file_name(file));
    if let Ok(png) = tokio::fs::read(&output).await {
        return Ok(picture(png));
    }
    let path = app.desk.file(&id, file);
    let ask = Ask::Tile {
        file: path.clone(),
        password: app.password(&id),
        tile,
        output: output.clone(),
    };
    app.crew
        .ask(&path, bytes(&work, file), ask)
        .await
        .map_err(|refusal| app.in_their_names(&work, refusal))?;
    trim_now_and_then(&app);
    let png = tokio::fs::read(&output)
        .await
        .map_err(|_| Refused::not_found())?;
    Ok(picture(png))
}

pub(super) fn picture(png: Vec<u8>) -> Response {
    let headers = [
        (header::CONTENT_TYPE, "image/png"),
        // A work's files never change; its id is its own.
        (header::CACHE_CONTROL, "private, max-age=3600"),
    ];
    (headers, png).into_response()
}

fn page_size(work: &Work, file: usize, page: usize) -> Answer<tympan_app::sheet::Size> {
    let found = page
        .checked_sub(1)
        .and_then(|page| work.pages.get(file)?.get(page));
    found.copied().ok_or_else(Refused::not_found)
}

fn bytes(work: &Work, file: usize) -> u64 {
    work.files.get(file).map_or(0, |file| file.bytes)
}

pub(super) fn trim_now_and_then(app: &App) {
    static DRAWN: AtomicU32 = AtomicU32::new(0);
    if DRAWN.fetch_add(1, Ordering::Relaxed) % BETWEEN_TRIMS == BETWEEN_TRIMS - 1 {
        let folder = app.desk.all_pictures();
        tokio::task::spawn_blocking(move || picture::trim(&folder, KEPT_BYTES));
    }
}

/// `GET /api/work/ID/printed/FILE/PAGE`: the box around all that is printed on a page.
pub(crate) async fn printed(
    State(app): State<App>,
    Path((id, file, page)): Path<(String, usize, usize)>,
) -> Answer<Json<Value>> {
    let work = app.desk.work(&id)?;
    page_size(&work, file, page)?;
    let path = app.desk.file(&id, file);
    let ask = Ask::Printed {
        file: path.clone(),
        password: app.password(&id),
        page,
    };
    let said = app
        .crew
        .ask(&path, bytes(&work, file), ask)
        .await
        .map_err(|refusal| app.in_their_names(&work, refusal))?;
    match said {
        Said::Printed(bounds) => Ok(Json(json!({ "box": bounds }))),
        _ => Err(Refused::not_found()),
    }
}
