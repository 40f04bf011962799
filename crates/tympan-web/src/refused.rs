//! Refusals as answers of the server.

use axum::Json;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde_json::json;
use tympan_app::Refusal;

/// A refusal with the status that it is answered with.
#[derive(Debug)]
pub(crate) struct Refused {
    pub(crate) status: StatusCode,
    pub(crate) refusal: Refusal,
}

impl Refused {
    pub(crate) fn new(status: StatusCode, message: &str, hint: &str) -> Self {
        Self {
            status,
            refusal: Refusal::new(message, hint),
        }
    }

    /// There is nothing of that name.
    pub(crate) fn not_found() -> Self {
        Self::new(
            StatusCode::NOT_FOUND,
            "there is nothing here",
            "go to the first page",
        )
    }
}

impl From<Refusal> for Refused {
    fn from(refusal: Refusal) -> Self {
        Self {
            status: StatusCode::UNPROCESSABLE_ENTITY,
            refusal,
        }
    }
}

impl IntoResponse for Refused {
    fn into_response(self) -> Response {
        let Refusal { message, hint } = self.refusal.on_page();
        let told = json!({ "refused": { "message": message, "hint": hint } });
        (self.status, Json(told)).into_response()
    }
}

/// What handlers answer.
pub(crate) type Answer<T> = Result<T, Refused>;

/// Runs work that may wait for the disk off the threads that answer requests.
///
/// # Errors
/// What the work refuses.
pub(crate) async fn aside<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, Refusal> + Send + 'static,
) -> Answer<T> {
    match tokio::task::spawn_blocking(work).await {
        Ok(done) => Ok(done?),
        Err(_) => Err(Refused::new(
            StatusCode::INTERNAL_SERVER_ERROR,
            "this went wrong inside Tympan",
            "try again; if it happens again, start Tympan once more",
        )),
    }
}
