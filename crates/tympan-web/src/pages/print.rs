//! Straight on a printer: which printer, what would be printed, yes, and how it goes.

use axum::extract::{Path, Query, RawQuery, State};
use axum::response::{IntoResponse, Response};
use maud::{Markup, html};
use tympan_app::desk::{JobState, PrintWish, Printing, Straight, StraightFile, StraightPass};

use super::lost::{gone, lost};
use super::run::see;
use super::{capital, why};
use crate::api::prints::{self, Which};
use crate::refused::Answer;
use crate::shell::{Page, Room, Units, shell};
use crate::state::App;

/// What is printed, as the page shows it.
struct Subject<'a> {
    title: String,
    /// What it is a part of, and where that is.
    of: String,
    back: String,
    back_said: &'a str,
    /// Where the script asks; `VERB` stands for what it asks.
    at: String,
    events: String,
    group: usize,
    /// The name by which its printing is known.
    file: String,
    /// The sheets that this is about, where these are not all of the file.
    within: Option<(usize, usize)>,
    /// Whether it can be printed here at all.
    can_be_printed: bool,
    /// What is printed of it now or was last.
    printing: Option<&'a Printing>,
}

impl Subject<'_> {
    fn is(&self, printing: &Printing) -> bool {
        printing.wish.group == self.group && printing.wish.file == self.file
    }

    fn mine(&self) -> Option<&Printing> {
        self.printing.filter(|printing| self.is(printing))
    }

    /// Something else of the same is being printed.
    fn other(&self) -> Option<&Printing> {
        self.printing
            .filter(|printing| printing.job.is_running() && !self.is(printing))
    }
}

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
    let run = &seen.record.id;
    let subject = Subject {
        title: file.clone(),
        of: seen.record.name.clone(),
        back: format!("/run/{run}"),
        back_said: "Back to the run",
        at: format!("/api/run/{run}/print/VERB"),
        events: format!("/api/run/{run}/events"),
        group,
        file,
        within: None,
        can_be_printed: true,
        printing: kept.printing.as_ref(),
    };
    let elsewhere = |other: &Printing| {
        let PrintWish { group, file, .. } = &other.wish;
        format!("/run/{run}/print/{group}/{file}")
    };
    let before = html! {};
    Ok(answer_with(
        &app,
        units,
        Room::Runs,
        &subject,
        before,
        elsewhere,
    ))
}

/// `GET /print/PASS/FILE`: a file that goes straight to a printer, pass by pass.
pub(crate) async fn straight(
    State(app): State<App>,
    Path((group, address)): Path<(usize, String)>,
    Query(which): Query<Which>,
    RawQuery(query): RawQuery,
    units: Units,
) -> Answer<Response> {
    let Ok(what) = prints::straight(&address, &which) else {
        return Ok(lost(&app, units, "There is nothing at this address."));
    };
    let file = match prints::straight_file(&app, what.clone()).await {
        Ok(file) => file,
        Err(refused) => return gone(&app, units, &refused),
    };
    let kept = app.desk.straight(&what);
    let query = query.map_or_else(String::new, |query| format!("?{query}"));
    let pass = file.passes.get(group);
    if pass.is_none() && !file.passes.is_empty() {
        return Ok(lost(&app, units, "There is no such pass."));
    }
    let subject = Subject {
        title: file.name.clone(),
        of: file.of.clone(),
        back: file.back.clone(),
        back_said: "Back",
        at: format!("/api/print/VERB/{address}{query}"),
        events: format!("/api/print/events/{address}{query}"),
        group,
        file: file.name.clone(),
        within: pass.and_then(|pass| pass.within),
        can_be_printed: pass.is_some(),
        printing: kept.printing.as_ref(),
    };
    let room = match what {
        Straight::Test(..) | Straight::Trial(..) => Room::SetUps,
        Straight::Saved(_) | Straight::Laid(_) => Room::Games,
    };
    let at = |pass: usize| format!("/print/{pass}/{address}{query}");
    let before = passes(&file, group, at);
    let elsewhere = |other: &Printing| at(other.wish.group);
    Ok(answer_with(&app, units, room, &subject, before, elsewhere))
}

/// The passes of a file, or why it has none.
fn passes(file: &StraightFile, now: usize, at: impl Fn(usize) -> String) -> Markup {
    html! {
        @if file.passes.len() > 1 {
            nav aria-label="Passes" {
                ol.plain {
                    @for (index, pass) in file.passes.iter().enumerate() {
                        @let said = pass_in_words(pass);
                        li {
                            @if index == now { strong aria-current="page" { "Now: " (said) } } @else { a href=(at(index)) { (said) } }
                        }
                    }
                }
            }
        }
        @if !file.note.is_empty() { p.bear { (file.note) } }
        @if let Some(run) = &file.run {
            p.actions { a.button.primary[file.passes.is_empty()] href=(run) { "Print it as a run" } }
        } @else if file.passes.is_empty() {
            p.actions { a.button.primary href=(file.back) { "See it against the light, and make a run of it" } }
        }
    }
}

fn pass_in_words(pass: &StraightPass) -> String {
    match pass.within {
        None => pass.label.clone(),
        Some((one, last)) if one == last => format!("{}, page {one} of the file", pass.label),
        Some((first, last)) => format!("{}, pages {first} to {last} of the file", pass.label),
    }
}

fn answer_with(
    app: &App,
    units: Units,
    room: Room,
    subject: &Subject<'_>,
    before: Markup,
    elsewhere: impl Fn(&Printing) -> String,
) -> Response {
    let title = format!("Print {}", subject.title);
    let other = subject.other();
    let body = html! {
        div #print data-at=(subject.at) data-events=(subject.events) data-group=(subject.group) data-file=(subject.file) {
            div.title-line { h1 { (title) } p.quiet { "of “" (subject.of) "”" } }
            p { a href=(subject.back) { (subject.back_said) } }
            @if let Some(other) = other {
                p.answer { (capital(&other.wish.file)) " is being printed." }
                p.actions { a.button.primary href=(elsewhere(other)) { "Look how it goes" } }
            } @else {
                (before)
                @if subject.can_be_printed {
                    (going(subject.mine(), units))
                    (printer(subject))
                    (asked(subject.mine()))
                    (plan())
                }
            }
        }
    };
    let page = Page {
        room,
        title: &title,
        script: Some("print.js"),
        body,
    };
    shell(app, units, page).into_response()
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

fn printer(subject: &Subject<'_>) -> Markup {
    let known = subject.mine().map_or("", |p| p.wish.printer.as_str());
    let (all, like) = match subject.within {
        None => ("all".to_owned(), "1, 3-7 or 3-".to_owned()),
        Some((one, last)) if one == last => (one.to_string(), one.to_string()),
        Some((one, last)) => (
            format!("{one}-{last}"),
            format!("{last}, {one}-{last} or {last}-"),
        ),
    };
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
                    input #sheets type="text" placeholder=(all) aria-describedby="sheets-help";
                }
                button.button.primary type="submit" { "Ask this printer" }
                p #sheets-help .quiet { "Like " (like) "; counted from 1 in this file. Where anything is new, print one sheet first." }
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
