//! What the pages' scripts ask for.

mod events;
mod tiles;
mod uploads;
mod work;

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::routing::{get, post};

use crate::state::App;

/// Bodies that are no uploads are small.
const SMALL: usize = 64 << 10;

pub(crate) fn routes() -> Router<App> {
    Router::new()
        .route("/hello", get(work::hello))
        .route("/demo", post(work::demo))
        .route("/work/{id}", get(work::get))
        .route("/work/{id}/sheet/{sheet}", get(work::sheet))
        .route("/work/{id}/change", post(work::change))
        .route("/work/{id}/password", post(work::password))
        .route("/work/{id}/swap", post(work::swap))
        .route("/work/{id}/look", post(work::look))
        .route("/work/{id}/save", post(work::save))
        .route("/work/{id}/cancel", post(work::cancel))
        .route("/work/{id}/put-away", post(work::put_away))
        .route("/work/{id}/bring-back", post(work::bring_back))
        .route("/work/{id}/saved", get(work::saved))
        .route("/work/{id}/events", get(events::events))
        .route("/work/{id}/printed/{file}/{page}", get(tiles::printed))
        .route(
            "/work/{id}/tile/{file}/{page}/{scale}/{column}/{row}/{look}",
            get(tiles::tile),
        )
        .layer(DefaultBodyLimit::max(SMALL))
        // These read their bodies piece by piece and count them themselves.
        .route("/work", post(uploads::begin))
        .route("/work/{id}/backs", post(uploads::add_backs))
}
