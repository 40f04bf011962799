//! The first page: a place to drop a file.

use axum::extract::State;
use maud::{Markup, html};
use tympan_app::desk::{Deck, Work};

use crate::refused::{Answer, aside};
use crate::shell::{Page, Room, Units, shell};
use crate::state::App;

/// `GET /`
pub(crate) async fn page(State(app): State<App>, units: Units) -> Answer<Markup> {
    let state = app.clone();
    let (works, decks) = aside(move || Ok((state.desk.list(), state.desk.decks()))).await?;
    let body = html! {
        div.hero {
            h1 { "Make the backs land behind their fronts" }
            p.lead {
                "Drop the PDF of a card game. You see every front with its back held to the light, "
                "say how your printer puts the backs, and save a corrected PDF."
            }
        }
        section #drop .drop aria-labelledby="drop-title" {
            span.corner.a {} span.corner.b {} span.corner.c {} span.corner.d {}
            h2 #drop-title { "Drop your PDF here" }
            p { "One file, or two: the fronts in one, the backs in another." }
            p { "Pictures of single cards, or a deck list with them, are laid out on new sheets." }
            p.actions {
                label.button.primary for="files" { "Choose files" }
                input #files .visually-hidden type="file" multiple
                    accept="application/pdf,.pdf,.png,.jpg,.jpeg,.webp,.tif,.tiff,.svg,.csv,.tsv,.json";
                label.button for="folder" { "Choose a folder" }
                input #folder .visually-hidden type="file" webkitdirectory;
                button #demo .button type="button" { "Try the demo game" }
            }
            div #arriving .arriving hidden {
                p #arriving-text aria-live="polite" {}
                progress #arriving-bar max="1" value="0" aria-label="Arrived so far" {}
                button #arriving-cancel .button.small type="button" { "Cancel" }
            }
        }
        (desk(&works, &decks))
    };
    let page = Page {
        room: Room::Games,
        title: "Correct a card game",
        script: Some("home.js"),
        body,
    };
    Ok(shell(&app, units, page))
}

/// What was dropped before.
fn desk(works: &[Work], decks: &[Deck]) -> Markup {
    html! {
        @if !works.is_empty() || !decks.is_empty() {
            section.desk aria-labelledby="desk-title" {
                h2 #desk-title { "On your desk" }
                ul.works {
                    @for work in works {
                        li data-work=(work.id) {
                            a href={ "/work/" (work.id) } { (work.title()) }
                            span.quiet { (about(work)) }
                            button.button.small type="button" data-put-away=(work.id)
                                aria-label={ "Put away " (work.title()) } { "Put away" }
                        }
                    }
                    @for deck in decks {
                        li data-deck=(deck.id) {
                            a href={ "/deck/" (deck.id) } { (deck.title) }
                            span.quiet { (about_deck(deck)) }
                            button.button.small type="button" data-put-away=(deck.id)
                                aria-label={ "Put away " (deck.title) ", laid out afresh" } { "Put away" }
                        }
                    }
                }
            }
        }
        p #undo .undo role="status" hidden {
            span {}
            button.button.small type="button" { "Bring it back" }
        }
    }
}

fn about_deck(deck: &Deck) -> String {
    let cards = deck.view.as_ref().map_or(0, |view| view.cards.len());
    let saved = if deck.saved.is_some() { ", saved" } else { "" };
    match cards {
        0 => "laid out afresh".to_owned(),
        n => format!("{} laid out afresh{saved}", super::counted(n, "card")),
    }
}

fn about(work: &Work) -> String {
    let pages: usize = work.pages.iter().map(Vec::len).sum();
    let saved = if work.saved.is_some() {
        ", corrected"
    } else {
        ""
    };
    match pages {
        0 => "not looked at yet".to_owned(),
        1 => format!("1 page{saved}"),
        n => format!("{n} pages{saved}"),
    }
}
