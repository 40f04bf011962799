//! The pages, one file for each.

mod deck;
mod drawn;
mod home;
mod lines_up;
mod lost;
mod measure;
mod new_run;
mod new_setup;
mod plots;
mod print;
mod run;
mod runs;
mod setups;
mod teach;
mod work;

use axum::Router;
use axum::routing::get;

pub(crate) use lost::not_found;
use tympan_app::desk::Job;
use tympan_app::words::{capital, counted};

use crate::state::App;

pub(crate) fn routes() -> Router<App> {
    Router::new()
        .route("/", get(home::page))
        .route("/work/{id}", get(work::page))
        .route("/deck/{id}", get(deck::page))
        .route("/work/{id}/run", get(new_run::page))
        .route("/runs", get(runs::page))
        .route("/run/{id}", get(run::page))
        .route("/run/{id}/print/{group}/{file}", get(print::page))
        .route("/setups", get(setups::page))
        .route("/setups/new", get(new_setup::page))
        .route("/setup/{id}", get(lines_up::page))
        .route("/setup/{id}/measure", get(measure::page))
        .route("/setup/{id}/teach", get(teach::page))
}

/// Why long work did not end well, and what to do: empty where nothing is to be said.
fn why(job: &Job) -> String {
    match (job.message.as_str(), job.hint.as_str()) {
        ("", _) => String::new(),
        (message, "") => format!("{}.", capital(message)),
        (message, hint) => format!("{}. What to do: {hint}.", capital(message)),
    }
}
