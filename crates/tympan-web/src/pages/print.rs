//! A pass straight on a printer: which printer, what would be printed, yes, and how it goes.

use axum::extract::{Path, State};
use axum::response::{IntoResponse, Response};
use maud::{Markup, html};
use tympan_app::desk::{JobState, Printing};
use tympan_app::run::RunSeen;

use super::lost::{gone, lost};
use super::run::see;
use super::{capital, why};
use crate::refused::Answer;
use crate::shell::{Page, Room, Units, shell};
use crate::state::App;

/// `GET /run/ID/print/GROUP/FILE`
pub(crate) async fn page(
    State(app): State<App>,
    Path((id, group, file)): Path<(String, usize, String)>,
    units: Units,
) -> Answer<Response> {
    let found = see(&app, &id).await;
    let found = found.map(|(seen, kept)| {
        let known = seen.file(group, &file).is_some();
        known.then_some((seen, kept))
    });
    let (seen, kept) = match found {
        Ok(Some(found)) => found,
        Ok(None) => return Ok(lost(&app, units, "This run has no such file.")),
        Err(refused) => return gone(&app, units, &refused),
    };
    let printing = kept.printing.as_ref();
    let mine = printing.filter(|p| p.wish.group == group && p.wish.file == file);
    let other = printing.filter(|p| p.job.is_running() && mine.is_none());
    let title = format!("Print {file}");
    let page = Page {
        room: Room::Runs,
        title: &title,
        script: Some("print.js"),
        body: body(&seen, group, &file, mine, other, units),
    };
    Ok(shell(&app, units, page).into_response())
}

fn body(
    seen: &RunSeen,
    group: usize,
    file: &str,
    mine: Option<&Printing>,
    other: Option<&Printing>,
    units: Units,
) -> Markup {
    let back = format!("/run/{}", seen.record.id);
    html! {
        div #print data-run=(seen.record.id) data-group=(group) data-file=(file) {
            div.title-line { h1 { "Print " (file) } p.quiet { "of “" (seen.record.name) "”" } }
            p { a href=(back) { "Back to the run" } }
            @if let Some(other) = other {
                p.answer { (other.wish.file) " is being printed." }
                p.actions { a.button.primary href={ (back) "/print/" (other.wish.group) "/" (other.wish.file) } { "Look how it goes" } }
            } @else {
                (going(mine, units))
                (printer(mine))
                (asked(mine))
                (plan())
            }
        }
    }
}

/// How printing goes, or went.
fn going(mine: Option<&Printing>, units: Units) -> Markup {
    let running = mine.is_some_and(|p| p.job.is_running());
    html! {
        section #going .step hidden[mine.is_none()] aria-labelledby="going-title" {
            h2 #going-title { "How it goes" }
            @if let Some(printing) = mine {
                p #going-answer .answer role="status" { (answer(printing)) }
                progress #going-bar max=(printing.plan.sheets) value=(printing.job.done) hidden[!running] aria-label="Sheets that are out" {}
                ul #going-said .plain aria-live="polite" { @for said in &printing.said { li { (units.0.said(said)) } } }
                p.actions { button #going-cancel .button type="button" hidden[!running] { "Cancel the job" } }
                @if let Some(ended) = printing.ended.as_ref().filter(|ended| !ended.printed) {
                    form #go-on .taking {
                        p { "Mend the printer, count the good sheets in the tray, and load stock for the rest." @if !ended.counted { " This printer does not count its sheets." } }
                        div {
                            label for="go-on-from" { "Go on with sheet (of this file)" }
                            input #go-on-from type="number" min="1" max=(ended.last) value=(ended.go_on_from.unwrap_or(1)) required;
                        }
                        button.button.primary type="submit" { "Show what is left" }
                    }
                }
                @if printing.ended.as_ref().is_some_and(|ended| ended.printed) {
                    p { "Measure the 100 mm check rule, or a length that you know, on the first sheet. Look whether the numbers in the waste are complete." }
                }
            }
        }
    }
}

fn answer(printing: &Printing) -> String {
    if let Some(ended) = &printing.ended {
        return format!("{}.", capital(&ended.in_words));
    }
    match printing.job.state {
        JobState::Running => format!(
            "{} of {} sheets are out.",
            printing.job.done, printing.plan.sheets
        ),
        // It is asked for below.
        _ if printing.wants_password => "Nothing was printed yet.".to_owned(),
        _ => why(&printing.job),
    }
}

fn printer(mine: Option<&Printing>) -> Markup {
    let known = mine.map_or("", |p| p.wish.printer.as_str());
    html! {
        form #printer .step autocomplete="off" {
            h2 { "Which printer?" }
            p { "It must speak IPP, as most network printers do. Nothing on the way scales the pages." }
            div.taking {
                div.wide {
                    label for="address" { "Its address, or its name on the network" }
                    input #address type="text" value=(known) placeholder="study-printer.local" required;
                }
                div {
                    label for="sheets" { "Sheets of this file" }
                    input #sheets type="text" placeholder="all" aria-describedby="sheets-help";
                }
                button.button.primary type="submit" { "Ask this printer" }
                p #sheets-help .quiet { "Like 1, 3-7 or 3-; counted from 1 in this file. Where anything is new, print one sheet first." }
            }
            p.actions { button #find .button.small type="button" { "Look for printers on the network" } span #finding .quiet role="status" {} }
            ul #found .plain {}
            details {
                summary { "Tray, media and quality" }
                div.taking {
                    div { label for="source" { "Tray or path" } input #source type="text" list="sources" placeholder="as the set-up says"; datalist #sources {} }
                    div { label for="kind" { "Type of media" } input #kind type="text" list="kinds" placeholder="as the set-up says"; datalist #kinds {} }
                    div {
                        label for="quality" { "Quality" }
                        select #quality {
                            option value="" { "as the printer is set" }
                            option value="draft" { "draft" }
                            option value="normal" { "normal" }
                            option value="high" { "high" }
                        }
                    }
                }
            }
        }
    }
}

/// What a printer may want to know before it answers.
fn asked(mine: Option<&Printing>) -> Markup {
    let locked = mine.filter(|p| p.wants_password);
    html! {
        section #certificate .step hidden tabindex="-1" aria-labelledby="certificate-title" {
            h2 #certificate-title {}
            p #certificate-said {}
            p #fingerprint .fingerprint {}
            p.actions { button #trust .button.primary type="button" { "Take this certificate from now on" } }
        }
        form #password-form .step hidden[locked.is_none()] aria-labelledby="password-title" {
            h2 #password-title { "This printer wants a password" }
            p #password-said { @if let Some(printing) = locked { (capital(&printing.job.message)) "." } }
            div.taking {
                div { label for="user" { "Name" } input #user type="text" autocomplete="off" required; }
                div { label for="printer-password" { "Password" } input #printer-password type="password" autocomplete="off" required; }
                button.button.primary type="submit" { "Ask again with these" }
            }
            p.quiet { "The password is kept in this page only. Over an open connection only a digest of it is sent, never the password itself." }
        }
    }
}

/// What would be printed, and the yes.
fn plan() -> Markup {
    html! {
        section #plan .step hidden tabindex="-1" aria-labelledby="plan-title" {
            h2 #plan-title { "This would be printed" }
            dl #plan-lines .dialog {}
            ul #plan-cautions .plain {}
            p #plan-stake .answer {}
            p.actions {
                button #yes .button.primary.large type="button" {}
                button #no .button type="button" { "No" }
            }
            details {
                summary { "What this printer can do" }
                ul #abilities .plain {}
            }
        }
    }
}
