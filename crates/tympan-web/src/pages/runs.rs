//! All print runs: what became of them, and how many sheets were spoiled.

use axum::extract::State;
use maud::{Markup, html};
use tympan_app::run;
use tympan_app::store::{RunRecord, RunState};

use super::{capital, counted};
use crate::refused::{Answer, aside};
use crate::shell::{Page, Room, Units, shell};
use crate::state::App;

/// `GET /runs`
pub(crate) async fn page(State(app): State<App>, units: Units) -> Answer<Markup> {
    let state = app.clone();
    let runs = aside(move || run::all(&state.store()?)).await?;
    let body = html! {
        div.title-line { h1 { "Print runs" } }
        p.answer { (answer(&runs)) }
        @if runs.is_empty() {
            p { "A run is a game on so many sheets, printed by a set-up: in the right order, load by load, every sheet with its number. Open a game and choose “Print it”." }
            p.actions { a.button.primary href="/" { "To the games" } }
        }
        ul.setups {
            @for (record, setup) in &runs { (row(record, setup)) }
        }
    };
    let page = Page {
        room: Room::Runs,
        title: "Print runs",
        script: None,
        body,
    };
    Ok(shell(&app, units, page))
}

fn answer(runs: &[(RunRecord, String)]) -> String {
    let open = |record: &&(RunRecord, String)| {
        matches!(record.0.state, RunState::Ready | RunState::Printing)
    };
    match (runs.len(), runs.iter().filter(open).count()) {
        (0, _) => "Nothing was printed yet.".to_owned(),
        (n, 0) => format!("{}, none of them open.", counted(n, "run")),
        (n, k) => format!("{}, {k} not done yet.", counted(n, "run")),
    }
}

fn row(record: &RunRecord, setup: &str) -> Markup {
    html! {
        li.run-row {
            div.setup-words {
                h2 { a href={ "/run/" (record.id) } { (record.name) } }
                p { (counted(record.sheets as usize, "sheet")) @if !record.stock.is_empty() { " of " (record.stock) } " · " (setup) " · " time datetime=(record.made) { (day(record)) } }
                @if !record.spoiled.is_empty() {
                    p { (counted(record.spoiled.len(), "sheet")) " spoiled: " (run::reasons_in_words(record)) }
                }
                @if let Some(rejects) = run::rejects_in_words(record) { p.quiet { "Rejects " (rejects) "." } }
            }
            p.state { (capital(record.state.as_str())) }
        }
    }
}

/// The day that it was made on.
fn day(record: &RunRecord) -> String {
    record.made.to_string().chars().take(10).collect()
}
