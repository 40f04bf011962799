//! A set-up from simple questions with pictures.

use axum::extract::State;
use maud::{Markup, html};
use tympan_app::sheet::{Flip, LeadingEdge, Side};
use tympan_app::store::FlippedBy;
use tympan_app::words;

use super::drawn::{self, Tray};
use crate::refused::Answer;
use crate::shell::{Page, Room, Units, shell};
use crate::state::App;

/// `GET /setups/new`
pub(crate) async fn page(State(app): State<App>, units: Units) -> Answer<Markup> {
    let body = html! {
        h1 { "Describe a set-up" }
        p.answer { "One printer, one stock, one tray, one way of turning the sheet over." }
        p { "Answer as you really print. Another way of working is another set-up, so that the two can be compared." }
        form #new .questions autocomplete="off" {
            (printer())
            (paper(units))
            (feed())
            (who())
            (flip())
            (first())
            (edge())
            fieldset {
                legend { "What shall it be called?" }
                label for="name" { "Name" }
                input #name type="text" name="name" maxlength="80" aria-describedby="name-help";
                p #name-help .quiet { "Left empty, it is called after your answers." }
            }
            p.actions {
                button.button.primary.large type="submit" { "Make the set-up and measure it" }
            }
        }
    };
    let page = Page {
        room: Room::SetUps,
        title: "Describe a set-up",
        script: Some("new-setup.js"),
        body,
    };
    Ok(shell(&app, units, page))
}

fn printer() -> Markup {
    html! {
        fieldset {
            legend { "Which printer?" }
            label for="printer" { "What you call it" }
            input #printer type="text" name="printer" maxlength="60" placeholder="the grey one in the hall" required;
        }
    }
}

fn paper(units: Units) -> Markup {
    let (a4, letter) = match units.0 {
        words::Units::Mm => ("210 × 297 mm", "216 × 279 mm"),
        words::Units::Inch => ("8.27 × 11.69 in", "8.5 × 11 in"),
    };
    html! {
        fieldset {
            legend { "What do you print on?" }
            div.choices {
                (choice("paper", "a4", true, "A4", a4, html! {}))
                (choice("paper", "letter", false, "Letter", letter, html! {}))
                (choice("paper", "other", false, "Another size", "", html! {}))
            }
            div #other-paper hidden {
                label for="paper-words" { "Its size" }
                input #paper-words type="text" placeholder="a5, or 200x300mm, or 7x10in";
            }
            label for="stock" { "The stock, as its wrapper says" }
            input #stock type="text" name="stock" maxlength="80" placeholder="300 gsm matt, or 110 lb cover" aria-describedby="stock-help";
            p #stock-help .quiet { "May be left empty. Weight in g/m² or lb, thickness in mm or thousandths." }
        }
    }
}

fn feed() -> Markup {
    html! {
        fieldset {
            legend { "Where does the paper go in?" }
            div.choices {
                (choice("feed", "rear tray", true, "Rear tray", "sheets stand at the back", drawn::tray(Tray::Rear)))
                (choice("feed", "cassette", false, "Cassette", "sheets lie in a drawer", drawn::tray(Tray::Cassette)))
                (choice("feed", "manual slot", false, "Manual slot", "one sheet at a time", drawn::tray(Tray::Slot)))
                (choice("feed", "other", false, "Another way", "", html! {}))
            }
            div #other-feed hidden {
                label for="feed-words" { "What you call it" }
                input #feed-words type="text" maxlength="60" placeholder="tray 2";
            }
        }
    }
}

fn who() -> Markup {
    html! {
        fieldset {
            legend { "Who turns the sheet over?" }
            div.choices {
                (choice("flipped_by", "hand", true, "I do, by hand", "print one side, put the stack back, print the other", drawn::who(FlippedBy::Hand)))
                (choice("flipped_by", "machine", false, "The printer does", "two-sided printing", drawn::who(FlippedBy::Machine)))
            }
        }
    }
}

fn flip() -> Markup {
    html! {
        fieldset {
            legend { "Hold a printed sheet and turn it so that the back stands upright. How did you turn it?" }
            div.choices {
                (choice("flip", "sideways", true, "Like a page of a book", "the heads of front and back lie together", drawn::turning(Flip::Sideways, Side::Front)))
                (choice("flip", "endways", false, "Like a page of a notepad", "the back's head lies at the front's foot", drawn::turning(Flip::Endways, Side::Front)))
            }
        }
    }
}

fn first() -> Markup {
    html! {
        fieldset {
            legend { "Which side is printed first?" }
            div.choices {
                (choice("first_side", "front", true, "Fronts first", "", drawn::first(Side::Front)))
                (choice("first_side", "back", false, "Backs first", "as is good for common backs", drawn::first(Side::Back)))
            }
        }
    }
}

fn edge() -> Markup {
    html! {
        fieldset {
            legend { "In the first pass, which edge of the front goes into the printer first?" }
            div.choices.narrow {
                @for (edge, value, text) in [
                    (LeadingEdge::Head, "head", "The head (top)"),
                    (LeadingEdge::Foot, "foot", "The foot (bottom)"),
                    (LeadingEdge::Left, "left", "The left edge"),
                    (LeadingEdge::Right, "right", "The right edge"),
                ] {
                    (choice("leading_edge", value, edge == LeadingEdge::Head, text, "", drawn::feeding(edge, Side::Front)))
                }
            }
            p.quiet { "Not sure? Draw an arrow on a blank sheet as it lies in the tray, print any page on it, and look." }
        }
    }
}

/// One of several answers, with its picture.
pub(super) fn choice(
    name: &str,
    value: &str,
    checked: bool,
    text: &str,
    more: &str,
    picture: Markup,
) -> Markup {
    html! {
        label.choice {
            input type="radio" name=(name) value=(value) checked[checked];
            span {
                (picture)
                strong { (text) }
                @if !more.is_empty() { small { (more) } }
            }
        }
    }
}
