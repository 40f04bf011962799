//! Teaching how a printer lays its pile: two marked sheets, and questions with pictures.

use axum::extract::{Path, State};
use axum::response::{IntoResponse, Response};
use maud::{Markup, PreEscaped, html};
use tympan_app::measure;
use tympan_app::run::{self, ReloadTold};
use tympan_app::sheet::LeadingEdge;
use tympan_app::store::{FlippedBy, SetUp};

use super::drawn;
use super::lost::gone;
use super::new_setup::choice;
use crate::refused::{Answer, aside};
use crate::shell::{Page, Room, Units, shell};
use crate::state::App;

/// `GET /setup/ID/teach`
pub(crate) async fn page(
    State(app): State<App>,
    Path(id): Path<String>,
    units: Units,
) -> Answer<Response> {
    let state = app.clone();
    let found = aside(move || state.set_up(&id)).await;
    let setup = match found {
        Ok((_, setup)) => setup,
        Err(refused) => return gone(&app, units, &refused),
    };
    let title = format!("How the pile goes back: {}", setup.name);
    let page = Page {
        room: Room::SetUps,
        title: &title,
        script: Some("teach.js"),
        body: body(&setup),
    };
    Ok(shell(&app, units, page).into_response())
}

fn body(setup: &SetUp) -> Markup {
    let by_machine = setup.flipped_by == FlippedBy::Machine;
    html! {
        div #teach data-setup=(setup.id) {
            div.title-line { h1 { "How the pile goes back: “" (setup.name) "”" } }
            (known(setup))
            @if by_machine {
                p { "This printer turns its sheets over by itself, so no pile has to be put back." }
                p.actions { a.button href="/setups" { "To the set-ups" } }
            } @else {
                (mark())
                (print(setup))
                (questions())
                (second(setup))
            }
        }
    }
}

/// What is known already, in a picture.
fn known(setup: &SetUp) -> Markup {
    let back = run::known(setup);
    html! {
        div #known aria-live="polite" tabindex="-1" {
            @match &back {
                Some(back) => {
                    p.answer { "Tympan knows how this printer lays its pile." }
                    (pile(back))
                }
                None if setup.flipped_by == FlippedBy::Machine => p.answer { "Nothing needs to be learnt." }
                None => p.answer { "Two plain sheets and five looks tell how a pile goes back for its second side." }
            }
        }
    }
}

/// How a pile goes back, in three pictures and words.
pub(super) fn pile(back: &ReloadTold) -> Markup {
    let [blank, turn, printed] = run::pile_svgs(back);
    html! {
        ol.pile {
            li { (PreEscaped(blank)) span { "First side: blank stock" } }
            li { (PreEscaped(turn)) span { "Take the prints as they came" } }
            li { (PreEscaped(printed)) span { "Second side: put back like this" } }
        }
        p { (back.in_words) }
        @if !back.known {
            p.bear { "This is assumed, not known of your printer: try it with two plain sheets first." }
        }
    }
}

fn mark() -> Markup {
    html! {
        section.step aria-labelledby="mark-title" {
            h2 #mark-title { span.number { "1" } "Mark two plain sheets" }
            div.pictures {
                figure {
                    (drawn::pencilled())
                    figcaption { "Put two plain sheets into the tray. On each, pencil an arrow on the face that lies up, to the end that goes in first. Write TOP on the upper sheet." }
                }
            }
        }
    }
}

fn print(setup: &SetUp) -> Markup {
    let how = measure::how_to_print(setup, 2);
    html! {
        section.step aria-labelledby="print-title" {
            h2 #print-title { span.number { "2" } "Print two pages on them" }
            p.actions {
                a.button.primary href={ "/api/setup/" (setup.id) "/trial" } download { "Download the two pages" }
                a.button href={ "/print/0/trial/" (setup.id) } { "Print them straight" }
            }
            dl.dialog { @for (choice, setting) in &how.dialog { dt { (choice) } dd { (setting) } } }
            p { "Leave the two sheets lying as the printer gives them back." }
        }
    }
}

fn questions() -> Markup {
    let open = "I did not see it";
    html! {
        form #answers .questions.step autocomplete="off" {
            h2 { span.number { "3" } "Look, and answer what you see" }
            fieldset {
                legend { "As the two sheets lie there: which number is on the uppermost?" }
                p.quiet { "Lift it if its print lies underneath." }
                div.choices.narrow {
                    (choice("pile_top", "1", false, "The 1", "", drawn::uppermost("1")))
                    (choice("pile_top", "2", false, "The 2", "", drawn::uppermost("2")))
                    (choice("pile_top", "", true, open, "", html! {}))
                }
            }
            fieldset {
                legend { "How do the prints lie there?" }
                div.choices.narrow {
                    (choice("pile_faces", "up", false, "You see them", "print up", drawn::lies(true)))
                    (choice("pile_faces", "down", false, "They lie underneath", "print down", drawn::lies(false)))
                    (choice("pile_faces", "", true, open, "", html! {}))
                }
            }
            fieldset {
                legend { "Which number did the sheet get that says TOP?" }
                div.choices.narrow {
                    (choice("on_top_sheet", "1", false, "The 1", "", drawn::on_top("1")))
                    (choice("on_top_sheet", "2", false, "The 2", "", drawn::on_top("2")))
                    (choice("on_top_sheet", "", true, open, "", html! {}))
                }
            }
            fieldset {
                legend { "Which face took the print?" }
                div.choices.narrow {
                    (choice("took", "pencilled", false, "The pencilled one", "", drawn::took(true)))
                    (choice("took", "other", false, "The other one", "", drawn::took(false)))
                    (choice("took", "", true, open, "", html! {}))
                }
            }
            fieldset {
                legend { "Which edge of the print lies at the end that the pencil arrow points to?" }
                p.quiet { "The words head, foot, left and right stand at the edges of the print. If it is on the other face, turn the sheet like a page of a book, so that the arrow's end stays above." }
                div.choices.narrow {
                    @for (edge, value, text) in [
                        (LeadingEdge::Head, "head", "Its head"),
                        (LeadingEdge::Foot, "foot", "Its foot"),
                        (LeadingEdge::Left, "left", "Its left edge"),
                        (LeadingEdge::Right, "right", "Its right edge"),
                    ] {
                        (choice("at_arrow", value, false, text, "", drawn::at_arrow(edge)))
                    }
                    (choice("at_arrow", "", true, open, "", html! {}))
                }
            }
            p.actions { button.button.primary.large type="submit" { "Learn from this" } }
        }
    }
}

/// Asked only where the first answers leave a doubt.
fn second(setup: &SetUp) -> Markup {
    html! {
        form #second .questions.step autocomplete="off" hidden tabindex="-1" aria-labelledby="second-title" {
            h2 #second-title { span.number { "4" } "A second pass settles it" }
            p #second-words {}
            div #second-pile {}
            p.actions {
                a #second-pages .button.primary href={ "/api/setup/" (setup.id) "/trial" } download { "Download the second two pages" }
                a #second-print .button href={ "/print/0/trial/" (setup.id) } target="_blank" { "Print them straight, in a new tab" }
            }
            p { "Print them on the same two sheets. Then find the sheet with the plain 1." }
            fieldset {
                legend { "Which ringed number did it get?" }
                div.choices.narrow {
                    (choice("behind_first", "1", true, "The ringed 1", "", drawn::ringed("1")))
                    (choice("behind_first", "2", false, "The ringed 2", "", drawn::ringed("2")))
                }
            }
            fieldset {
                legend { "Is the ringed number on the same face as the plain one?" }
                div.choices.narrow {
                    (choice("same_face", "false", true, "On the other face", "", drawn::took(false)))
                    (choice("same_face", "true", false, "On the same face", "", drawn::took(true)))
                }
            }
            fieldset {
                legend { "Are the two heads at the same edge of the sheet?" }
                div.choices.narrow {
                    (choice("heads_together", "true", true, "At the same edge", "", drawn::at_arrow(LeadingEdge::Head)))
                    (choice("heads_together", "false", false, "At other edges", "", drawn::at_arrow(LeadingEdge::Foot)))
                }
            }
            p.actions { button.button.primary.large type="submit" { "Learn from both" } }
        }
    }
}
