//! A print run of a game: what, on what, how often.

use axum::extract::{Path, State};
use axum::response::{IntoResponse, Response};
use maud::{Markup, html};
use tympan_app::desk::{Job, JobKind, JobState, Work};
use tympan_app::setups;
use tympan_app::sheet::Side;
use tympan_app::store::SetUp;
use tympan_app::words;

use super::lost::gone;
use super::new_setup::choice;
use super::{drawn, why};
use crate::refused::{Answer, aside};
use crate::shell::{Page, Room, Units, shell};
use crate::state::App;

/// `GET /work/ID/run`
pub(crate) async fn page(
    State(app): State<App>,
    Path(id): Path<String>,
    units: Units,
) -> Answer<Response> {
    let state = app.clone();
    let found = aside(move || {
        let work = state.desk.work(&id)?;
        Ok((work, setups::with_readings(&state.store()?)?))
    })
    .await;
    let (work, setups) = match found {
        Ok(found) => found,
        Err(refused) => return gone(&app, units, &refused),
    };
    let title = format!("Print {}", work.title());
    let page = Page {
        room: Room::Runs,
        title: &title,
        script: Some("new-run.js"),
        body: body(&work, &setups, units),
    };
    Ok(shell(&app, units, page).into_response())
}

fn body(work: &Work, setups: &[(SetUp, usize)], units: Units) -> Markup {
    html! {
        div #new-run data-work=(work.id) data-runs=(work.runs.len()) {
            div.title-line { h1 { "Print “" (work.title()) "”" } }
            p.answer { "In the right order, load by load, every sheet with its number." }
            p { "Nothing is printed yet: first come a make-ready sheet and a job sheet." }
            @if setups.is_empty() {
                p { "A run is printed by a set-up: one printer, one stock, one tray. Describe yours first." }
                p.actions { a.button.primary href="/setups/new" { "Describe a set-up" } }
            } @else {
                form #run-form .questions autocomplete="off" {
                    (by(work, setups))
                    (what(work))
                    (how_many(units))
                    (order())
                    p.actions { button.button.primary.large type="submit" { "Make the run" } }
                }
            }
            (made(work))
            @if !work.runs.is_empty() {
                h2 { "Runs of this game" }
                ul.plain { @for run in work.runs.iter().rev() { li { a href={ "/run/" (run) } { "Run " (run) } } } }
            }
        }
    }
}

/// How far making it is.
fn made(work: &Work) -> Markup {
    let job = work.job.as_ref().filter(|job| job.kind == JobKind::Run);
    let running = job.is_some_and(Job::is_running);
    html! {
        div #making role="status" {
            p #making-text {
                @if let Some(job) = job.filter(|job| matches!(job.state, JobState::Failed | JobState::Stopped)) {
                    (why(job))
                }
            }
            progress #making-bar hidden[!running] aria-label="Done so far" {}
            button #making-cancel .button.small type="button" hidden[!running] { "Cancel" }
        }
    }
}

fn by(work: &Work, setups: &[(SetUp, usize)]) -> Markup {
    let known = work
        .change
        .setup
        .as_ref()
        .map(|learnt| learnt.name.as_str());
    html! {
        fieldset {
            legend { "Which set-up prints it?" }
            label for="setup" { "Set-up" }
            select #setup {
                @for (setup, readings) in setups {
                    option value=(setup.name) selected[known == Some(setup.name.as_str())] {
                        (setup.name) @if *readings == 0 { " (not measured)" }
                    }
                }
            }
        }
    }
}

fn what(work: &Work) -> Markup {
    html! {
        fieldset {
            legend { "What is printed?" }
            div.choices {
                (choice("what", "corrected", true, "This game, corrected", "its backs are moved by what the set-up's readings say", html! {}))
                @if let Some(saved) = &work.saved {
                    (choice("what", "saved", false, "The corrected PDF that you saved", &format!("as it is; backs: {}", saved.in_words), html! {}))
                }
                (choice("what", "as_is", false, "This file as it is", "it is corrected already, or was laid out for this set-up", html! {}))
            }
        }
    }
}

fn how_many(units: Units) -> Markup {
    let (unit, bleed, step) = match units.0 {
        words::Units::Mm => ("mm", "3", "0.1"),
        words::Units::Inch => ("in", "0.125", "0.005"),
    };
    html! {
        fieldset.taking {
            legend { "How many?" }
            div {
                label for="copies" { "Copies of the game" }
                input #copies type="number" min="1" max="999" value="1" required;
            }
            div {
                label for="spares" { "Spare sheets" }
                input #spares type="number" min="0" max="999" placeholder="auto" aria-describedby="many-help";
            }
            div {
                label for="load" { "Sheets at a time" }
                input #load type="number" min="1" max="999" placeholder="auto" aria-describedby="many-help";
            }
            div {
                label for="bleed" { "Bleed of the cards, " (unit) }
                input #bleed type="number" min="0" step=(step) value=(bleed) data-unit=(unit);
            }
            p #many-help .quiet { "Left empty, spares are worked out from how this printer scatters, and loads from its tray and the stock's thickness." }
        }
    }
}

fn order() -> Markup {
    html! {
        fieldset {
            legend { "Which side first?" }
            div.choices {
                (choice("first", "", true, "As the set-up was measured", "the surest", html! {}))
                (choice("first", "front", false, "Fronts first", "", drawn::first(Side::Front)))
                (choice("first", "back", false, "Backs first", "a common back cannot come behind a wrong front", drawn::first(Side::Back)))
            }
        }
        fieldset {
            legend { "When do the second sides follow?" }
            div.choices {
                (choice("turns", "each_load", true, "After each load", "little to mix up", html! {}))
                (choice("turns", "all_first", false, "After all first sides", "ink has time to dry", html! {}))
            }
        }
    }
}
