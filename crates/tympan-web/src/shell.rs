//! What all pages stand in: head, foot, and the switch between millimetres and inches.

use std::convert::Infallible;

use axum::extract::FromRequestParts;
use axum::http::header;
use axum::http::request::Parts;
use maud::{DOCTYPE, Markup, html};
use tympan_app::words;

use crate::state::State;

/// The units that the visitor has chosen, from the cookie `units`.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Units(pub(crate) words::Units);

impl<S: Sync> FromRequestParts<S> for Units {
    type Rejection = Infallible;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Infallible> {
        let chosen = parts
            .headers
            .get_all(header::COOKIE)
            .iter()
            .filter_map(|cookies| cookies.to_str().ok())
            .flat_map(|cookies| cookies.split(';'))
            .any(|cookie| cookie.trim() == "units=in");
        Ok(Self(if chosen {
            words::Units::Inch
        } else {
            words::Units::Mm
        }))
    }
}

/// Where in the program a page stands, for the way back and on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Room {
    /// Files of cards.
    Games,
    /// Printers and how they do.
    SetUps,
    /// What was and is printed.
    Runs,
    /// Nowhere in particular.
    None,
}

/// The rooms that can be gone to from everywhere: name, address, room.
const ROOMS: [(&str, &str, Room); 3] = [
    ("Games", "/", Room::Games),
    ("Set-ups", "/setups", Room::SetUps),
    ("Print runs", "/runs", Room::Runs),
];

/// A page to be.
pub(crate) struct Page<'a> {
    /// Where it stands.
    pub(crate) room: Room,
    /// What the browser's tab says.
    pub(crate) title: &'a str,
    /// The script of this page, in `assets/js`.
    pub(crate) script: Option<&'a str>,
    /// What stands between head and foot.
    pub(crate) body: Markup,
}

/// The whole page.
pub(crate) fn shell(state: &State, units: Units, page: Page<'_>) -> Markup {
    let is_inch = units.0 == words::Units::Inch;
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="tympan-token" content=(state.token);
                meta name="color-scheme" content="light dark";
                title { (page.title) " · Tympan" }
                link rel="icon" href="/assets/mark.svg" type="image/svg+xml";
                link rel="preload" href="/assets/fonts/atkinson-400.woff2" as="font" type="font/woff2" crossorigin;
                link rel="stylesheet" href="/assets/press.css";
                link rel="stylesheet" href="/assets/bench.css";
                link rel="stylesheet" href="/assets/deck.css";
                script type="module" src="/assets/js/shell.js" {}
                @if let Some(script) = page.script {
                    script type="module" src={ "/assets/js/" (script) } {}
                }
            }
            body {
                a.skip href="#main" { "To the page's content" }
                header.top {
                    a.name href="/" {
                        (mark())
                        span { "Tympan" }
                    }
                    nav.rooms aria-label="Tympan" {
                        @for (name, address, room) in ROOMS {
                            a href=(address) aria-current=[(room == page.room).then_some("page")] { (name) }
                        }
                    }
                    div.units role="group" aria-label="Units" {
                        button type="button" data-units="mm" aria-pressed=(!is_inch) { "mm" }
                        button type="button" data-units="in" aria-pressed=(is_inch) { "inch" }
                    }
                }
                main #main tabindex="-1" {
                    p #problem .problem role="alert" hidden {}
                    (page.body)
                }
                footer.foot {
                    p { "Everything stays on this machine." }
                }
            }
        }
    }
}

/// A frame with its two points, which hold the sheet.
fn mark() -> Markup {
    html! {
        svg viewBox="0 0 32 32" width="32" height="32" aria-hidden="true" focusable="false" {
            rect .frame x="3" y="3" width="26" height="26" rx="2" {}
            rect .sheet x="8" y="7" width="16" height="18" {}
            path .points d="M8 16h5 M24 16h-5" {}
        }
    }
}
