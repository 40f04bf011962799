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
use maud::{Markup, html};

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
        .route("/print/{pass}/{*file}", get(print::straight))
        .route("/setups", get(setups::page))
        .route("/setups/new", get(new_setup::page))
        .route("/setup/{id}", get(lines_up::page))
        .route("/setup/{id}/measure", get(measure::page))
        .route("/setup/{id}/teach", get(teach::page))
}

/// Asks for the password of a file. `given`: one was, and it does not open it.
fn unlock(given: bool) -> Markup {
    html! {
        p.answer role=[given.then_some("alert")] {
            @if given { "That password does not open this file." } @else { "This file is locked with a password." }
        }
        form #unlock .unlock {
            label for="password" { "Password of the file" }
            input #password type="password" autocomplete="off" required;
            button.button.primary type="submit" { "Open it" }
        }
        p.quiet { "The password is kept only until Tympan is closed, and nowhere else." }
    }
}

/// Why long work did not end well, and what to do: empty where nothing is to be said.
fn why(job: &Job) -> String {
    match (job.message.as_str(), job.hint.as_str()) {
        ("", _) => String::new(),
        (message, "") => format!("{}.", capital(message)),
        (message, hint) => format!("{}. What to do: {hint}.", capital(message)),
    }
}
