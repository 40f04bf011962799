//! Style, scripts and faces, embedded in the program.

use axum::extract::Path;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use rust_embed::RustEmbed;

use crate::refused::Refused;

#[derive(RustEmbed)]
#[folder = "assets"]
struct Assets;

/// `GET /assets/…`
pub(crate) async fn get(Path(path): Path<String>) -> Response {
    let Some(file) = Assets::get(&path) else {
        return Refused::not_found().into_response();
    };
    let kind = match path.rsplit('.').next() {
        Some("css") => "text/css; charset=utf-8",
        Some("js") => "text/javascript; charset=utf-8",
        Some("svg") => "image/svg+xml",
        Some("woff2") => "font/woff2",
        Some("txt") => "text/plain; charset=utf-8",
        _ => "application/octet-stream",
    };
    ([(header::CONTENT_TYPE, kind)], file.data).into_response()
}
