//! Cards that are laid out afresh: choices, plans, the sheets, the cards, cutting.

mod cards;
mod choices;
mod cutting;
mod plans;
mod stock_sheet;

use axum::extract::{Path, State};
use axum::response::{IntoResponse, Response};
use maud::{Markup, html};
use tympan_app::desk::{Deck, Job, JobKind, JobState};
use tympan_app::lay::{StockSheets, View};

use super::lost::lost;
use super::{capital, unlock, why};
use crate::refused::{Answer, aside};
use crate::shell::{Page, Room, Units, shell};
use crate::state::App;

/// `GET /deck/ID`
pub(crate) async fn page(
    State(app): State<App>,
    Path(id): Path<String>,
    units: Units,
) -> Answer<Response> {
    let state = app.clone();
    let found = aside(move || {
        let deck = state.desk.deck(&id)?;
        // Without a store there are no set-ups.
        let setups = state.store().and_then(|store| Ok(store.set_ups()?));
        let known = choices::Known {
            setups: setups.unwrap_or_default(),
            stock_sheets: StockSheets::of(&state.data).all(),
        };
        Ok((deck, known))
    })
    .await;
    let Ok((deck, known)) = found else {
        let gone = "This deck is no longer here. Drop its files once more.";
        return Ok(lost(&app, units, gone));
    };
    let has_password = app.password(&deck.id).is_some();
    let body = html! {
        div #deck data-id=(deck.id) data-stamp=(deck.stamp()) data-ready=(deck.view.is_some()) {
            @match &deck.view {
                None => (waiting(&deck)),
                Some(view) => (bench(&deck, view, has_password, &known, units)),
            }
        }
    };
    let page = Page {
        room: Room::Games,
        title: &deck.title,
        script: Some("deck.js"),
        body,
    };
    Ok(shell(&app, units, page).into_response())
}

/// Before there is anything to show.
fn waiting(deck: &Deck) -> Markup {
    let ended = deck.job.as_ref().filter(|job| !job.is_running());
    html! {
        h1 { (deck.title) }
        @match ended {
            Some(job) => {
                p.answer role="alert" { (capital(&job.message)) "." }
                @if !job.hint.is_empty() { p { "What to do: " (job.hint) "." } }
                p.actions {
                    a.button.primary href="/" { "Choose other files" }
                    button #look-again .button type="button" { "Look again" }
                }
            }
            None => {
                p.answer aria-live="polite" { "Looking for the cards …" }
                progress #looking-bar aria-label="Pages looked at" {}
                p.actions { button #cancel-look .button type="button" { "Cancel" } }
            }
        }
    }
}

fn bench(
    deck: &Deck,
    view: &View,
    has_password: bool,
    known: &choices::Known,
    units: Units,
) -> Markup {
    html! {
        div.title-line {
            h1 { (deck.title) }
            p.quiet { "Laid out afresh" }
        }
        p #answer .answer aria-live="polite" { (answer(deck, view)) }
        (in_the_way(deck, view, has_password))
        div.bench.laying {
            div {
                (plans::choose(deck, view, units))
                (plans::sheets(deck, view))
            }
            aside.panel {
                (choices::form(deck, view, known, units))
                (save(deck, view))
                (worth_knowing(view))
            }
        }
        (cards::list(deck, view, units))
        (cutting::cutting(deck, view, units))
        (cards::again(view))
        (stock_sheet::define(units))
    }
}

fn answer(deck: &Deck, view: &View) -> String {
    match view.answer(deck.plan()) {
        Some(answer) => answer,
        None if view.cards.is_empty() => "No cards were found.".to_owned(),
        None => format!(
            "{}, and something is in the way.",
            super::counted(view.cards.len(), "card")
        ),
    }
}

/// All that is in the way at once, with its remedies.
fn in_the_way(deck: &Deck, view: &View, has_password: bool) -> Markup {
    let failed = deck.job.as_ref().filter(|job| {
        let ended_badly = matches!(
            job.state,
            JobState::Failed | JobState::Stopped | JobState::Cancelled
        );
        ended_badly && job.kind == JobKind::Plan
    });
    html! {
        section #in-the-way aria-live="polite" {
            @if let Some(job) = failed {
                p.problem { (why(job)) }
                p.actions { button #look-again .button.small type="button" { "Look again" } }
            }
            @if view.problems.iter().any(|problem| problem.locked) { (unlock(has_password)) }
            @if !view.problems.is_empty() {
                h2 { "In the way" }
                ul.problems {
                    @for problem in &view.problems {
                        li {
                            p {
                                @if !problem.place.is_empty() {
                                    @match problem.card {
                                        Some(card) => a href={ "#card-" (card) } { (problem.place) },
                                        None => strong { (problem.place) },
                                    }
                                    ": "
                                }
                                (problem.message) "."
                            }
                            @if !problem.hint.is_empty() { p { "What to do: " (problem.hint) "." } }
                        }
                    }
                }
            }
        }
    }
}

fn worth_knowing(view: &View) -> Markup {
    html! {
        section #worth .cautions aria-labelledby="worth-title" hidden[view.cautions.is_empty()] {
            h2 #worth-title { "Worth knowing" }
            ul { @for caution in &view.cautions { li { (capital(caution)) "." } } }
        }
    }
}

fn save(deck: &Deck, view: &View) -> Markup {
    let running = deck
        .job
        .as_ref()
        .filter(|job| job.is_running() && job.kind == JobKind::Lay);
    let failed = deck.job.as_ref().filter(|job: &&Job| {
        job.kind == JobKind::Lay && matches!(job.state, JobState::Failed | JobState::Stopped)
    });
    let current = deck.saved.as_ref().filter(|saved| saved.wish == deck.wish);
    html! {
        section #saving .save aria-labelledby="save-title" {
            h2 #save-title .visually-hidden { "Save" }
            button #save .button.primary.large type="button" disabled[view.plans.is_empty() || running.is_some()] {
                "Save the sheets (PDF)"
            }
            div #job role="status" {
                @if running.is_some() {
                    p { "Writing the sheets …" }
                    progress #job-bar aria-label="Pages written" {}
                    button #cancel .button.small type="button" { "Cancel" }
                }
                @if let Some(job) = failed {
                    p { "They were not written: " (job.message) "." }
                    @if !job.hint.is_empty() { p { "What to do: " (job.hint) "." } }
                }
            }
            @if let Some(saved) = current {
                div #saved .saved {
                    p { (saved.in_words) }
                    ul.downloads {
                        @for (index, (file, name)) in saved.files.iter().enumerate() {
                            li { a href={ "/api/deck/" (deck.id) "/saved/" (index) } download=(name) { (called(file)) } }
                        }
                    }
                    p.quiet { "Print the sheets at actual size (100 %), never fitted to the page." }
                    p.actions {
                        button #to-work .button.small type="button" { "See them against the light, and print them as a run" }
                        a.button.small href={ "/print/0/laid/" (deck.id) } { "Print them straight" }
                    }
                    @if deck.wish.is_on("crosses") || deck.wish.get("cut") == "around" {
                        p.quiet { (tympan_app::lay::CUT_LINES_NOTE) }
                    }
                }
            }
        }
    }
}

/// What a saved file is, in words.
fn called(file: &str) -> String {
    let kind = |rest: &str| {
        let number = rest.split('.').next().unwrap_or_default();
        match number {
            "1" => String::new(),
            n => format!(" of sheets of kind {n}"),
        }
    };
    match file.strip_prefix("cut-lines-") {
        Some(rest) if rest.ends_with(".svg") => format!("Cut lines{} (SVG)", kind(rest)),
        Some(rest) => format!("Cut lines{} (DXF)", kind(rest)),
        None if file == "cut-order.pdf" => "The order of the cuts (PDF)".to_owned(),
        None => "The sheets (PDF)".to_owned(),
    }
}
