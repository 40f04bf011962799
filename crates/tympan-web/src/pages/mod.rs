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

/// With a capital letter, but where it begins with a file's name.
fn capital(text: &str) -> String {
    let first_word = text.split(' ').next().unwrap_or_default();
    if first_word.contains('.') {
        return text.to_owned();
    }
    let mut chars = text.chars();
    let first = chars.next().map(|c| c.to_uppercase().to_string());
    format!("{}{}", first.unwrap_or_default(), chars.as_str())
}

/// A count with its thing: `1 sheet`, `3 sheets`.
fn counted(count: usize, thing: &str) -> String {
    let s = if count == 1 { "" } else { "s" };
    format!("{count} {thing}{s}")
}
