//! All set-ups.

use axum::extract::State;
use maud::{Markup, html};
use tympan_app::setups::{self, WELL_KNOWN};
use tympan_app::sheet::Side;
use tympan_app::store::{FlippedBy, SetUp};

use super::{counted, drawn};
use crate::refused::{Answer, aside};
use crate::shell::{Page, Room, Units, shell};
use crate::state::App;

/// `GET /setups`
pub(crate) async fn page(State(app): State<App>, units: Units) -> Answer<Markup> {
    let state = app.clone();
    let (setups, removed) = aside(move || {
        let store = state.store()?;
        Ok((setups::with_readings(&store)?, store.removed_set_ups()?))
    })
    .await?;
    let body = html! {
        div.title-line {
            h1 { "Your set-ups" }
        }
        p.answer { (answer(&setups)) }
        p.lead {
            "A set-up is one printer with one stock, one tray and one way of turning the sheet over. "
            "Measure it once with a few test sheets; from then on every game can be corrected for it."
        }
        p.actions { a.button.primary href="/setups/new" { "Describe a set-up" } }
        p #said .said role="status" hidden {}
        ul #setups .setups {
            @for (setup, readings) in &setups { (row(setup, *readings)) }
        }
        (keeping(!setups.is_empty(), &removed))
    };
    let page = Page {
        room: Room::SetUps,
        title: "Set-ups",
        script: Some("setups.js"),
        body,
    };
    Ok(shell(&app, units, page))
}

fn answer(setups: &[(SetUp, usize)]) -> String {
    let known = setups.iter().filter(|(_, n)| *n >= WELL_KNOWN).count();
    match (setups.len(), known) {
        (0, _) => "You have not described a printer yet.".to_owned(),
        (n, 0) => format!("{}, none of them measured well yet.", counted(n, "set-up")),
        (n, k) if n == k => format!("{}, well measured.", counted(n, "set-up")),
        (n, k) => format!("{}, {k} of them well measured.", counted(n, "set-up")),
    }
}

fn row(setup: &SetUp, readings: usize) -> Markup {
    let address = format!("/setup/{}", setup.id);
    html! {
        li data-setup=(setup.id) {
            div.setup-picture { (drawn::turning(setup.flip, setup.first_side)) }
            div.setup-words {
                h2 { a href=(address) { (setup.name) } }
                p { (about(setup)) }
                p.quiet { (standing(readings)) }
            }
            div.actions {
                a.button.primary[readings == 0] href={ (address) "/measure" } { "Measure" }
                @if readings > 0 { a.button href=(address) { "How well they line up" } }
                details.more {
                    summary { "More" span.visually-hidden { " for " (setup.name) } }
                    form.rename data-rename=(setup.id) {
                        label { "Name" input type="text" name="name" value=(setup.name) maxlength="80" required; }
                        button.button.small type="submit" { "Rename" }
                    }
                    p.actions {
                        a.button.small href={ (address) "/teach" } { "How the pile goes back" }
                        button.button.small type="button" data-copy=(setup.id) { "Copy" }
                        a.button.small href={ "/api/setup/" (setup.id) "/export" } download { "Export" }
                        button.button.small type="button" data-remove=(setup.id) { "Remove" }
                    }
                }
            }
        }
    }
}

/// What a set-up is, in a line.
pub(super) fn about(setup: &SetUp) -> String {
    let mut parts = vec![setup.paper.title()];
    if let Some(stock) = &setup.stock {
        parts.push(stock.name().to_owned());
    }
    if !setup.feed.is_empty() {
        parts.push(setup.feed.clone());
    }
    let by = match setup.flipped_by {
        FlippedBy::Hand => "turned over by hand",
        FlippedBy::Machine => "turned over by the printer",
    };
    parts.push(by.to_owned());
    if setup.first_side == Side::Back {
        parts.push("backs printed first".to_owned());
    }
    parts.join(" · ")
}

/// How far it is measured.
fn standing(readings: usize) -> String {
    match readings {
        0 => "Not measured yet".to_owned(),
        n if n < WELL_KNOWN => format!(
            "{} read; {} more would tell it well",
            counted(n, "sheet"),
            WELL_KNOWN - n
        ),
        n => format!("{} read", counted(n, "sheet")),
    }
}

fn keeping(any: bool, removed: &[SetUp]) -> Markup {
    html! {
        section.keeping aria-labelledby="keeping-title" {
            h2 #keeping-title { "Keep and share" }
            p {
                "An export holds set-ups with all their readings, as a file that another Tympan reads."
            }
            p.actions {
                @if any { a.button.small href="/api/setups/export" download { "Export all" } }
                label.button.small for="import" { "Import a file" }
                input #import .visually-hidden type="file" accept="application/json,.json";
            }
            @if !removed.is_empty() {
                h3 { "Removed" }
                p.quiet { "Removed set-ups keep their readings." }
                ul.removed {
                    @for setup in removed {
                        li {
                            span { (setup.name) }
                            button.button.small type="button" data-restore=(setup.id)
                                aria-label={ "Bring back " (setup.name) } { "Bring back" }
                        }
                    }
                }
            }
        }
    }
}
