//! How well the backs line up: the report of a set-up.

use axum::extract::{Path, State};
use axum::response::{IntoResponse, Response};
use maud::{Markup, html};
use tympan_app::lines_up::{LinesUp, SheetSeen, length};
use tympan_app::on_page;
use tympan_app::report::Report;
use tympan_app::store::SetUp;

use super::lost::gone;
use super::setups::about;
use super::{capital, counted, drawn, plots};
use crate::refused::{Answer, aside};
use crate::shell::{Page, Room, Units, shell};
use crate::state::App;

/// `GET /setup/ID`
pub(crate) async fn page(
    State(app): State<App>,
    Path(id): Path<String>,
    units: Units,
) -> Answer<Response> {
    let state = app.clone();
    let found = aside(move || {
        let (store, setup) = state.set_up(&id)?;
        state.lines_up.lines_up(&store, &setup, units.0)
    })
    .await;
    let seen = match found {
        Ok(seen) => seen,
        Err(refused) => return gone(&app, units, &refused),
    };
    let setup = &seen.setup;
    let body = html! {
        div #setup data-setup=(setup.id) {
            div.title-line {
                h1 { (setup.name) }
                p.quiet { (about(setup)) }
            }
            p.answer { (seen.answer) }
            @if !seen.next.is_empty() { p.lead { (seen.next) } }
            p.actions {
                a.button.primary[seen.report.is_none()] href={ "/setup/" (setup.id) "/measure" } {
                    @if seen.report.is_none() { "Measure it" } @else { "Measure more sheets" }
                }
                @if seen.report.is_some() { a.button.primary href="/" { "Correct a game with it" } }
            }
            @if let Some(report) = &seen.report {
                (figures(&seen, report, units))
                (pictures(&seen, units))
                (words(report))
            }
            (sheets(&seen))
            @if seen.report.is_some() { (take_along(setup)) }
            (this_setup(setup))
        }
    };
    let title = format!("How well they line up: {}", setup.name);
    let page = Page {
        room: Room::SetUps,
        title: &title,
        script: Some("lines-up.js"),
        body,
    };
    Ok(shell(&app, units, page).into_response())
}

/// The few numbers that matter, large, with their unit and the side one looks at.
fn figures(seen: &LinesUp, report: &Report, units: Units) -> Markup {
    let u = units.0;
    let steady = seen.steady.map(|steady| steady.middle);
    let (x, y) = steady.map_or((0.0, 0.0), |m| (m.x, m.y));
    let known = seen
        .steady
        .map_or(0.0, |steady| steady.half_x.max(steady.half_y));
    let big = |mm: f64| length(u, mm.abs());
    html! {
        dl.figures {
            div {
                dt { "Without correction the backs sit" }
                dd { span.big { (big(y)) } " too " @if y < 0.0 { "high" } @else { "low" } }
                dd { span.big { (big(x)) } " too far " @if x < 0.0 { "left" } @else { "right" } }
                dd.side { "looking at the back, known to ±" (big(known)) }
            }
            div {
                dt { "Once corrected, 19 of 20 points lie within" }
                dd { span.big { (big(report.expected_after_mm.p95)) } }
                dd.side { "half of them within " (big(report.expected_after_mm.p50)) }
            }
            div {
                dt { "From sheet to sheet they wander by" }
                dd { span.big { (big(report.scatter.sd_mm.x)) } " across" }
                dd { span.big { (big(report.scatter.sd_mm.y)) } " up and down" }
                dd.side { "standard deviations; no correction takes this away" }
            }
            div {
                dt { "Bleed that hides the rest on 19 of 20 cards" }
                dd { span.big { (big(report.cards.bleed_mm)) } }
                dd.side { "or a border of " (big(report.cards.border_mm)) }
            }
        }
    }
}

fn pictures(seen: &LinesUp, units: Units) -> Markup {
    html! {
        div.plots {
            figure {
                (plots::arrows(seen, units))
            }
            figure {
                (plots::sheets(seen, units))
            }
            figure.wide {
                (plots::over_time(seen, units))
            }
        }
    }
}

fn words(report: &Report) -> Markup {
    let said = &report.in_words;
    html! {
        section.in-words aria-labelledby="words-title" {
            h2 #words-title { "In words" }
            p { (said.seen_on_back) " To the back page, the correction does this: " (said.correction) "." }
            p { (said.scatter) }
            p { (said.cards) }
            p { (said.more_sheets) }
            @for caution in &report.cautions {
                p.bear { "Bear in mind: " (on_page(caution)) "." }
            }
            details {
                summary { "Which parts of the steady error are sure" }
                p { (said.terms) }
            }
        }
    }
}

fn sheets(seen: &LinesUp) -> Markup {
    html! {
        @if !seen.sheets.is_empty() {
            section aria-labelledby="sheets-title" {
                h2 #sheets-title { "The sheets" }
                p.quiet { (counted(seen.sheets.len(), "reading")) ". One that slipped or was misread can be set aside; it is kept, and can be brought back." }
                ul.readings {
                    @for sheet in &seen.sheets { (reading(sheet)) }
                }
            }
        }
    }
}

fn reading(sheet: &SheetSeen) -> Markup {
    let name = capital(&sheet.name());
    let when: String = sheet.taken_at.to_string().chars().take(10).collect();
    html! {
        li.aside[sheet.set_aside.is_some()] {
            p {
                strong { (name) }
                " · " (when) " · " (way(&sheet.way))
                @if let Some(aside) = &sheet.set_aside {
                    " · " em { "set aside: " (aside.reason) }
                }
            }
            p { (sheet.in_words) }
            @if sheet.doubtful { p.bear { "It does not seem to belong with the others." } }
            @for warning in &sheet.warnings { p.bear { "Bear in mind: " (warning) "." } }
            div.actions {
                @if let Some(evidence) = &sheet.evidence {
                    a href={ "/api/evidence/" (evidence) } { "See what was found" span.visually-hidden { " on " (name) } }
                }
                @if sheet.set_aside.is_some() {
                    button.button.small type="button" data-bring-back=(sheet.reading) aria-label={ "Bring back " (name) } { "Bring back" }
                } @else {
                    details.more {
                        summary { "Set aside" span.visually-hidden { ": " (name) } " …" }
                        form data-set-aside=(sheet.reading) {
                            label { "Why?" input type="text" name="why" maxlength="200" placeholder="it slipped in the tray" required; }
                            button.button.small type="submit" { "Set it aside" }
                        }
                    }
                }
            }
        }
    }
}

fn way(way: &tympan_app::store::Way) -> String {
    use tympan_app::store::Way;
    match way {
        Way::Pin => "with a pin".to_owned(),
        Way::Ruler => "with a ruler".to_owned(),
        Way::Scans => "from two scans".to_owned(),
        Way::Photo => "from a photo".to_owned(),
        Way::Witness => "from witness marks".to_owned(),
        other => other.to_string(),
    }
}

fn take_along(setup: &SetUp) -> Markup {
    let at = |what: &str| format!("/api/setup/{}/{what}", setup.id);
    html! {
        section aria-labelledby="along-title" {
            h2 #along-title { "Take along" }
            p.actions {
                a.button.small href=(at("field.svg")) download { "The picture (SVG)" }
                a.button.small href=(at("readings.csv")) download { "The readings (CSV)" }
                a.button.small href=(at("report.json")) download { "The report (JSON)" }
                a.button.small href=(at("export")) download { "The set-up with its readings (JSON)" }
            }
        }
    }
}

fn this_setup(setup: &SetUp) -> Markup {
    html! {
        section aria-labelledby="this-title" {
            h2 #this-title { "This set-up" }
            div.pictures {
                figure {
                    (drawn::feeding(setup.leading_edge, setup.first_side))
                    figcaption { "The " (setup.leading_edge) " of the " (setup.first_side) " goes in first." }
                }
                figure {
                    (drawn::turning(setup.flip, setup.first_side))
                    figcaption { "Turned over " (setup.flip) "." }
                }
            }
            dl.dialog {
                @for (what, text) in [
                    ("Printer", setup.printer.as_str()),
                    ("Tray", setup.feed.as_str()),
                    ("Program", setup.program.as_str()),
                    ("Paper type", setup.media_type.as_str()),
                    ("Quality", setup.quality.as_str()),
                    ("Notes", setup.notes.as_str()),
                ] {
                    @if !text.is_empty() { dt { (what) } dd { (text) } }
                }
            }
        }
    }
}
