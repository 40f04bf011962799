//! Where there is nothing.

use axum::extract::State;
use axum::http::{StatusCode, Uri};
use axum::response::{IntoResponse, Response};
use maud::html;

use tympan_app::on_page;

use super::capital;
use crate::refused::{Answer, Refused};
use crate::shell::{Page, Room, Units, shell};
use crate::state::App;

/// Answers what no route answers.
pub(crate) async fn not_found(State(app): State<App>, units: Units, uri: Uri) -> Response {
    if uri.path().starts_with("/api/") {
        return Refused::not_found().into_response();
    }
    lost(&app, units, "There is nothing at this address.")
}

/// A page that says why what it is about cannot be shown.
pub(super) fn gone(app: &App, units: Units, refused: &Refused) -> Answer<Response> {
    let what = format!("{}.", capital(&on_page(&refused.refusal.message)));
    Ok(lost(app, units, &what))
}

/// A page that says what is not there.
pub(super) fn lost(app: &App, units: Units, what: &str) -> Response {
    let body = html! {
        h1 { "Not here" }
        p.answer { (what) }
        p { a href="/" { "To the first page" } }
    };
    let page = Page {
        room: Room::None,
        title: "Not here",
        script: None,
        body,
    };
    (StatusCode::NOT_FOUND, shell(app, units, page)).into_response()
}
