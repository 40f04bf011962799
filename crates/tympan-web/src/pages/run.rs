//! A print run while one works: make ready, print load by load, what went wrong, afterwards.

use std::collections::BTreeSet;

use axum::extract::{Path, State};
use axum::response::{IntoResponse, Response};
use maud::{Markup, html};
use tympan_app::desk::{Job, JobState, RunDesk, pass_step};
use tympan_app::on_page;
use tympan_app::run::{self, MadeAgain, PassTold, RunSeen, Step};
use tympan_app::sheet::Side;
use tympan_app::store::RunState;

use super::lost::gone;
use super::teach::pile;
use super::{capital, counted, why};
use crate::jobs::run::news_of;
use crate::refused::{Answer, Refused, aside};
use crate::shell::{Page, Room, Units, shell};
use crate::state::App;

/// Reasons for spoiled sheets, to be told by one tap.
const REASONS: [&str; 7] = [
    "jam",
    "misfeed",
    "slipped",
    "smeared",
    "creased",
    "wrong way",
    "other",
];

/// `GET /run/ID`
pub(crate) async fn page(
    State(app): State<App>,
    Path(id): Path<String>,
    units: Units,
) -> Answer<Response> {
    let (seen, kept) = match see(&app, &id).await {
        Ok(found) => found,
        Err(refused) => return gone(&app, units, &refused),
    };
    let forgotten = kept.opens_with_password && app.password(&news_of(&id)).is_none();
    let title = format!("Run of {}", seen.record.name);
    let page = Page {
        room: Room::Runs,
        title: &title,
        script: Some("run.js"),
        body: body(&seen, &kept, forgotten, units),
    };
    Ok(shell(&app, units, page).into_response())
}

/// A run with what the page keeps of it.
pub(super) async fn see(app: &App, id: &str) -> Answer<(RunSeen, RunDesk)> {
    let id = id.parse().map_err(|_| {
        Refused::from(tympan_app::Refusal::new(
            "there is no such run",
            "choose another",
        ))
    })?;
    let state = app.clone();
    aside(move || {
        let store = state.store()?;
        let seen = run::see(&store, &store.run(&id)?)?;
        let kept = state.desk.run(&id);
        Ok((seen, kept))
    })
    .await
}

fn body(seen: &RunSeen, kept: &RunDesk, forgotten: bool, units: Units) -> Markup {
    let state = seen.record.state;
    let ticked = &kept.ticked;
    html! {
        div #run data-run=(seen.record.id) data-state=(state.as_str()) {
            div.title-line {
                h1 { (seen.record.name) }
                p.quiet { "run " (seen.record.id) ", by “" (seen.setup.name) "”" }
            }
            p #answer .answer aria-live="polite" { (answer(seen)) }
            @if state == RunState::Undone {
                p { "Its files were taken away." }
                p.actions { a.button href="/runs" { "To all runs" } }
            } @else {
                (about(seen))
                @if forgotten { (unlock()) }
                (working(kept))
                div #steps {
                    (before(seen, ticked))
                    (make_ready(seen, ticked, units))
                    (passes(seen, kept))
                }
                (trouble(seen, kept))
                (after(seen, ticked))
            }
        }
    }
}

/// Where its password was given to a Tympan that was closed since.
fn unlock() -> Markup {
    html! {
        form #unlock .unlock autocomplete="off" {
            p { "The files that this run was made from are locked with a password. Tympan was closed since you gave it, and it keeps no passwords. It is needed once more to adjust the run or to make sheets again; the passes that are made need none." }
            label for="password" { "Password of the files" }
            input #password type="password" autocomplete="off" required;
            button.button type="submit" { "Keep it until Tympan is closed" }
        }
    }
}

fn answer(seen: &RunSeen) -> String {
    let record = &seen.record;
    let sheets = counted(record.sheets as usize, "sheet");
    match record.state {
        RunState::Ready => format!(
            "{sheets} on {}, and {} to spare. No paper has moved.",
            stock(seen),
            seen.told.spares
        ),
        RunState::Printing => format!("{sheets} on {}, being printed.", stock(seen)),
        RunState::Done => {
            let rejects = run::rejects_in_words(record).unwrap_or_default();
            format!("Done: {sheets}. Rejects {rejects}.")
        }
        RunState::Undone => "This run was undone before paper moved.".to_owned(),
    }
}

fn stock(seen: &RunSeen) -> String {
    let paper = seen.setup.paper.title();
    match &seen.told.stock {
        Some(stock) => format!("{paper} {stock}"),
        None => paper,
    }
}

fn about(seen: &RunSeen) -> Markup {
    let told = &seen.told;
    html! {
        p {
            @if let Some(share) = told.expected_rejects {
                @if share < 0.005 { "Fewer than 1 sheet in 100 is expected to show white at a cut. " }
                @else { "Of 100 sheets, about " (format!("{:.0}", 100.0 * share)) " are expected to show white at a cut. " }
            }
            @if told.copies > 1 { (told.copies) " copies of the game. " }
        }
        @if !told.cautions.is_empty() {
            section.cautions aria-labelledby="cautions-title" {
                h2 #cautions-title { "Worth knowing" }
                @for caution in &told.cautions { p.bear { (on_page(caution)) } }
                p.actions {
                    @if told.reload.as_ref().is_some_and(|back| !back.known) {
                        a.button.small href={ "/setup/" (seen.setup.id) "/teach" } { "Teach how the pile goes back" }
                    }
                    @if !told.corrected { a.button.small href={ "/setup/" (seen.setup.id) "/measure" } { "Measure the set-up" } }
                }
            }
        }
        p.actions {
            a.button.small href={ "/api/run/" (told.run) "/file/0/" (told.job_sheet) } download { "Job sheet as PDF" }
            button #print-page .button.small type="button" { "Print this page" }
        }
    }
}

/// What is being done to the run's files.
fn working(kept: &RunDesk) -> Markup {
    let job = kept.job.as_ref();
    let running = job.is_some_and(Job::is_running);
    let failed = job.filter(|job| {
        matches!(
            job.state,
            JobState::Failed | JobState::Stopped | JobState::Cancelled
        )
    });
    html! {
        div #working role="status" {
            p #working-text .problem hidden[failed.is_none()] {
                @if let Some(job) = failed {
                    (why(job))
                }
            }
            progress #working-bar hidden[!running] aria-label="Done so far" {}
            button #working-cancel .button.small type="button" hidden[!running] { "Cancel" }
        }
    }
}

/// Steps with boxes to tick.
fn ticks(steps: &[Step], ticked: &BTreeSet<String>) -> Markup {
    html! {
        ul.ticks {
            @for step in steps { li { (tick(&step.key, &step.text, ticked)) } }
        }
    }
}

fn tick(key: &str, text: &str, ticked: &BTreeSet<String>) -> Markup {
    html! {
        label.tick {
            input type="checkbox" data-step=(key) checked[ticked.contains(key)];
            span { (capital(text)) }
        }
    }
}

fn before(seen: &RunSeen, ticked: &BTreeSet<String>) -> Markup {
    html! {
        section.step aria-labelledby="before-title" {
            h2 #before-title { span.number { "1" } "Stock, tray and print dialog" }
            div.dialog-help {
                div { h3 { "Stock and tray" } (ticks(&seen.steps.before, ticked)) }
                div { h3 { "In the print dialog" } (ticks(&seen.steps.dialog, ticked)) }
            }
            p.quiet { "Figures marked * are common practice; where the makers of your printer or paper say otherwise, do as they say." }
        }
    }
}

fn make_ready(seen: &RunSeen, ticked: &BTreeSet<String>, units: Units) -> Markup {
    let ready = seen.record.state == RunState::Ready;
    let example = match units.0 {
        tympan_app::words::Units::Mm => "0.3mm low, 0.2mm left",
        tympan_app::words::Units::Inch => "0.012in low, 0.008in left",
    };
    html! {
        section.step aria-labelledby="ready-title" {
            h2 #ready-title { span.number { "2" } "Make ready with one sheet" }
            ul.passes {
                @for pass in &seen.told.make_ready { (pass_row(seen, 0, pass, "make-ready", ticked)) }
            }
            @if let Some(back) = &seen.told.reload {
                h3 { "From the one side to the other" }
                (pile(back))
            }
            (ticks(&seen.steps.make_ready, ticked))
            h3 { "On that sheet" }
            (ticks(&seen.steps.first_sheet, ticked))
            @if ready {
                form #adjust .taking {
                    div.wide {
                        label for="left-over" { "Is something left? Looking at the back, the backs sit …" }
                        input #left-over type="text" placeholder=(example) aria-describedby="adjust-help" required;
                    }
                    button.button type="submit" { "Take that out as well" }
                    p #adjust-help .quiet { "All files of the run are made anew; then print the make-ready once more." }
                }
                p.actions {
                    button #release .button.primary.large type="button" { "It is right: release the run" }
                    button #undo .button type="button" { "Undo the run" }
                }
                p.quiet { "Once it is released it can no longer be undone, since paper moves." }
            } @else {
                p { strong { "Released." } " All sheets are corrected alike from here on." }
            }
        }
    }
}

/// A file to print: its tick, its download, the way to a printer.
fn pass_row(
    seen: &RunSeen,
    group: usize,
    pass: &PassTold,
    what: &str,
    ticked: &BTreeSet<String>,
) -> Markup {
    let id = &seen.record.id;
    let key = pass_step(group, &pass.file);
    let side = pass
        .side
        .map_or("both sides".to_owned(), |side| format!("{side}s"));
    let text = match group == 0 && pass.load.is_none() {
        true => format!("{what}, {side}"),
        false => format!(
            "{}, {side}: {}",
            counted(pass.sheets.len(), "sheet"),
            span(&pass.sheets)
        ),
    };
    html! {
        li {
            (tick(&key, &text, ticked))
            span.actions {
                a.button.small href={ "/api/run/" (id) "/file/" (group) "/" (pass.file) } download aria-label={ "Download " (pass.file) } { "Download" }
                a.button.small href={ "/run/" (id) "/print/" (group) "/" (pass.file) } aria-label={ "Print " (pass.file) } { "Print" }
            }
        }
    }
}

/// The first and the last sheet, in the order in which they are printed.
fn span(sheets: &[u32]) -> String {
    match sheets {
        [] => String::new(),
        [one] => format!("sheet {one}"),
        [first, .., last] => format!("{first} to {last}"),
    }
}

fn passes(seen: &RunSeen, kept: &RunDesk) -> Markup {
    let told = &seen.told;
    let open = seen.record.state != RunState::Ready;
    html! {
        section.step aria-labelledby="passes-title" {
            h2 #passes-title { span.number { "3" } "Print the run, in this order" }
            @if !open {
                p { "First make ready, then release the run." }
            } @else {
                @if let Some(back) = &told.reload {
                    h3 { "Between the two sides of a load" }
                    (pile(back))
                }
                @if told.under > 0 {
                    p { (counted(told.under as usize, "sheet")) " of the same thickness stay in the tray beneath each load." }
                }
                @for (turn, (load, passes)) in by_load(&told.passes).into_iter().enumerate() {
                    @if told.loads.len() > 1 {
                        h3 { "Load " (load) @if let Some(load) = told.loads.iter().find(|l| l.load == load) { ", sheets " (load.from) " to " (load.to) } }
                    }
                    ul.passes {
                        @for pass in passes { (pass_row(seen, 0, pass, "", &kept.ticked)) }
                    }
                    @if turn == 0 && told.first_side.is_some() {
                        p.quiet { "Ink-jet prints: let the first side dry before the second (10 minutes or more *), and flatten the pile if it curls." }
                    }
                }
            }
        }
    }
}

/// The passes in their order, those of one load that follow each other together.
fn by_load(passes: &[PassTold]) -> Vec<(usize, Vec<&PassTold>)> {
    let mut all: Vec<(usize, Vec<&PassTold>)> = Vec::new();
    for pass in passes {
        let load = pass.load.unwrap_or(1);
        match all.last_mut() {
            Some((same, passes)) if *same == load => passes.push(pass),
            _ => all.push((load, vec![pass])),
        }
    }
    all
}

fn trouble(seen: &RunSeen, kept: &RunDesk) -> Markup {
    let first = seen.told.first_side;
    html! {
        section #trouble .step aria-labelledby="trouble-title" {
            h2 #trouble-title { span.number { "!" } "Something went wrong" }
            p { "Stop. Keep the pile in its order. The numbers in the waste tell which sheets are spoiled; the others keep theirs." }
            form #again autocomplete="off" {
                div.taking {
                    div {
                        label for="again-sheets" { "Spoiled sheets" }
                        input #again-sheets type="text" inputmode="text" placeholder="17-20" aria-describedby="again-help" required;
                    }
                    div {
                        label for="again-how" { "Make again" }
                        select #again-how {
                            option value="both" { @if first.is_some() { "both sides of them" } @else { "them" } }
                            @if first.is_some() {
                                option value="only-front" { "only their fronts" }
                                option value="only-back" { "only their backs" }
                                option value="stopped-front" { "the fronts stopped at this sheet: the rest, too" }
                                option value="stopped-back" { "the backs stopped at this sheet: the rest, too" }
                            }
                            option value="note" { "nothing, only note it" }
                        }
                    }
                    p #again-help .quiet { "Like 17-20, or 3,5. Then tap why:" }
                }
                p.actions.reasons role="group" aria-label="Why" {
                    @for why in REASONS { button.button.small type="button" data-why=(why) { (capital(why)) } }
                }
            }
            p #again-said role="status" {}
            div #made-again {
                @for (at, again) in seen.again.iter().enumerate() { (made_again(seen, at + 1, again, kept)) }
                @if !seen.record.spoiled.is_empty() {
                    p { (counted(seen.record.spoiled.len(), "sheet")) " spoiled so far: " (run::reasons_in_words(&seen.record)) "." }
                }
            }
        }
    }
}

fn made_again(seen: &RunSeen, group: usize, again: &MadeAgain, kept: &RunDesk) -> Markup {
    let both = again
        .passes
        .iter()
        .any(|pass| pass.side == Some(Side::Front))
        && again
            .passes
            .iter()
            .any(|pass| pass.side == Some(Side::Back));
    html! {
        section.again {
            h3 { "Again: " (run::sheets_in_words(&again.sheets)) " (" (again.why) ")" }
            ul.passes {
                @for pass in &again.passes { (pass_row(seen, group, pass, "", &kept.ticked)) }
            }
            @if let (true, Some(back)) = (both, &seen.told.reload) { p { "Between the two sides: " (back.in_words) } }
        }
    }
}

fn after(seen: &RunSeen, ticked: &BTreeSet<String>) -> Markup {
    html! {
        section.step aria-labelledby="after-title" {
            h2 #after-title { span.number { "4" } "Afterwards" }
            (ticks(&seen.steps.after, ticked))
            @match seen.record.state {
                RunState::Printing => {
                    p.actions { button #done .button.primary.large type="button" { "All sheets are printed" } }
                }
                RunState::Done => p { "This run is done." },
                _ => {}
            }
        }
    }
}
