//! The cards, to be named, counted and put in order; and spoiled ones for printing once more.

use maud::{Markup, html};
use tympan_app::desk::Deck;
use tympan_app::lay::{CardView, View};

use crate::pages::capital;
use crate::shell::Units;

pub(super) fn list(deck: &Deck, view: &View, units: Units) -> Markup {
    html! {
        section #cards aria-labelledby="cards-title" {
            h2 #cards-title { "The cards" }
            p.quiet {
                "In the order in which the cut deck will lie. Drag a card by its grip, or move it with the arrow keys "
                "on the grip. No copies leave a card out."
            }
            p #moved .visually-hidden role="status" {}
            ol #card-list .cards {
                @for card in &view.cards { (one(deck, view, card, units)) }
            }
        }
    }
}

fn one(deck: &Deck, view: &View, card: &CardView, units: Units) -> Markup {
    let said = &card.said;
    let number = said.number;
    html! {
        li id={ "card-" (number) } .left-out[said.copies == 0] data-number=(number) {
            div.faces {
                (face(deck, view, card.front, "front"))
                @if let Some(back) = card.back { (face(deck, view, back, "back")) }
            }
            div.card-words {
                label {
                    span.visually-hidden { "Name of card " (number) }
                    input type="text" data-what="name" value=(said.name) maxlength="120";
                }
                div.card-row {
                    label.copies {
                        span { "Copies" span.visually-hidden { " of " (said.name) } }
                        input type="number" data-what="copies" min="0" max="1000" value=(said.copies);
                    }
                    span.moves role="group" aria-label={ "Move " (said.name) } {
                        button.button.small type="button" data-move="-1" aria-label={ "Earlier: " (said.name) } { "↑" }
                        button.button.small.grip type="button" draggable="true"
                            aria-label={ "Grip of " (said.name) ": drag, or arrow keys" } { "⠿" }
                        button.button.small type="button" data-move="1" aria-label={ "Later: " (said.name) } { "↓" }
                    }
                }
                p.quiet {
                    (size(said.size_mm, units))
                    @if !said.two_sided { ", no back" }
                }
                @if let Some(caution) = &card.caution { p.caution { (capital(caution)) "." } }
            }
        }
    }
}

fn size([w, h]: [f64; 2], units: Units) -> String {
    use tympan_app::words::Units::{Inch, Mm};
    let (w, h) = (units.0.of_mm(w), units.0.of_mm(h));
    match units.0 {
        Mm => format!("{w:.1} × {h:.1} mm"),
        Inch => format!("{w:.2} × {h:.2} in"),
    }
}

fn face(deck: &Deck, view: &View, art: usize, side: &str) -> Markup {
    let proof = view.proof.as_deref().unwrap_or("none");
    let size = view.arts.get(art);
    let (w, h) = size.map_or((63, 88), |size| {
        (size.w.ceil() as u32, size.h.ceil() as u32)
    });
    html! {
        @if view.proof.is_some() {
            img class=(side) loading="lazy" alt="" width=(w) height=(h)
                src={ "/api/deck/" (deck.id) "/art/" (proof) "/" (art) };
        }
    }
}

/// Single spoiled cards, ganged on a sheet of their own.
pub(super) fn again(view: &View) -> Markup {
    html! {
        section #again aria-labelledby="again-title" hidden[view.cards.len() < 2] {
            h2 #again-title { "Some came out spoiled?" }
            p { "Choose the cards, and they are laid out together, on as few sheets as will do. This deck stays as it is." }
            form #again-form .again {
                label {
                    span { "Card" }
                    select #again-card {
                        @for card in &view.cards {
                            option value=(card.said.number) { (card.said.name) }
                        }
                    }
                }
                label {
                    span { "How many" }
                    input #again-count type="number" min="1" max="1000" value="1";
                }
                button.button type="submit" { "Add it" }
            }
            ul #again-list .again-list aria-label="Cards to print once more" {}
            p.actions { button #again-lay .button.primary type="button" disabled { "Lay these out" } }
        }
    }
}
