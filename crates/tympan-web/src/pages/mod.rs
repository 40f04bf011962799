//! The pages, one file for each.

mod home;
mod lost;
mod work;

use axum::Router;
use axum::routing::get;

pub(crate) use lost::not_found;

use crate::state::App;

pub(crate) fn routes() -> Router<App> {
    Router::new()
        .route("/", get(home::page))
        .route("/work/{id}", get(work::page))
}
