//! A piece of work: its sheets, the light table, and saving.

use axum::extract::{Path, State};
use axum::response::{IntoResponse, Response};
use maud::{Markup, html};
use tympan_app::desk::{self, Finding, How, Job, JobState, SheetRef, Work};
use tympan_app::sheet::{Flip, Side};
use tympan_app::{Refusal, setups, words};

use super::lost::lost;
use super::{capital, drawn, unlock};
use crate::refused::{Answer, aside};
use crate::shell::{Page, Room, Units, shell};
use crate::state::App;

/// `GET /work/ID`
pub(crate) async fn page(
    State(app): State<App>,
    Path(id): Path<String>,
    units: Units,
) -> Answer<Response> {
    let state = app.clone();
    let (work, setups) = match aside(move || {
        let work = state.desk.work(&id)?;
        Ok((work, measured(&state.data)))
    })
    .await
    {
        Ok(found) => found,
        Err(_) => {
            let gone = "This piece of work is no longer here. Drop the file once more.";
            return Ok(lost(&app, units, gone));
        }
    };
    let has_password = app.password(&work.id).is_some();
    let forgotten = work.opens_with_password && !has_password;
    let body = html! {
        div #work data-id=(work.id) data-ready=(!work.pages.is_empty()) {
            @if work.pages.is_empty() || work.locked || forgotten {
                (waiting(&work, has_password))
            } @else {
                (table(&work, &setups, units))
            }
        }
    };
    let title = work.title();
    let page = Page {
        room: Room::Games,
        title: &title,
        script: Some("work.js"),
        body,
    };
    Ok(shell(&app, units, page).into_response())
}

/// The names of set-ups that were measured. Without a store there are none.
fn measured(data: &std::path::Path) -> Vec<String> {
    let Ok(store) = tympan_app::open_store(Some(data.to_owned())) else {
        return Vec::new();
    };
    let all = setups::with_readings(&store).unwrap_or_default();
    let measured = all.into_iter().filter(|(_, readings)| *readings > 0);
    measured.map(|(setup, _)| setup.name).collect()
}

/// While the file is looked at, or where it could not be.
fn waiting(work: &Work, has_password: bool) -> Markup {
    let job = work.job.as_ref();
    html! {
        h1 { (work.title()) }
        @let forgotten = work.opens_with_password && !has_password;
        @if (work.locked || forgotten) && !job.is_some_and(Job::is_running) {
            @if forgotten { p { "Tympan was closed since you opened this file, and it keeps no passwords. All that you said about the file is still here." } }
            (unlock(has_password))
        } @else if let Some(job) = job.filter(|job| !job.is_running()) {
            @let refused = job.state == JobState::Failed;
            p.answer role=[refused.then_some("alert")] { (capital(&job.message)) "." }
            @if !job.hint.is_empty() {
                p { "What to do: " (job.hint) "." }
            }
            p.actions {
                a.button.primary href="/" { "Choose another file" }
                button #again .button type="button" { "Look again" }
            }
        } @else {
            p.answer aria-live="polite" { "Looking at the file …" }
            progress aria-label="Looking at the file" {}
            p.actions { button #cancel .button type="button" { "Cancel" } }
        }
    }
}

fn table(work: &Work, setups: &[String], units: Units) -> Markup {
    let sheets = desk::sheets(work);
    html! {
        div.title-line {
            h1 { (work.title()) }
            p.quiet { (counted(work, sheets.as_ref(), units)) }
        }
        p #answer .answer aria-live="polite" { "Say how the backs sit on your print." }
        p #moves .moves aria-live="polite" {}
        div.bench {
            section.light aria-labelledby="light-title" {
                h2 #light-title .visually-hidden { "Light table" }
                (toolbar())
                div #table .table tabindex="0" role="application" aria-roledescription="light table"
                    aria-label="Light table: a front with its back seen through it. Arrow keys move the backs by a tenth of a millimetre, with shift by a whole one. Plus and minus zoom, alt and arrow keys pan, 0 shows the whole sheet, T turns the sheet over." {
                    canvas {}
                    p #looking .looking {}
                    p #live .live aria-hidden="true" hidden {}
                }
                p.legend {
                    span.key.solid { "front: solid lines" }
                    span.key.broken { "back: broken lines" }
                    span.quiet { "Arrow keys move the backs by " (step(units)) "; wheel or + and − zoom; hold space to pan." }
                }
                section.corners aria-labelledby="corners-title" {
                    h3 #corners-title { "Corners, close up" }
                    div.corner-row {
                        @for (key, name) in [("tl", "top left"), ("tr", "top right"), ("bl", "bottom left"), ("br", "bottom right")] {
                            figure {
                                canvas data-corner=(key) role="img" aria-label={ "The " (name) " corner of the print" } {}
                                figcaption { (name) }
                            }
                        }
                    }
                }
            }
            aside.panel {
                (how(work, setups, units))
                (save(work))
                (afresh())
                (file(work, units))
            }
        }
        (ten_sheets(work))
        (strip(work, sheets))
    }
}

/// Ten sheets before they are printed, where the printer is known.
fn ten_sheets(work: &Work) -> Markup {
    let known = work.change.by_set_up().is_some();
    html! {
        section #ten .ten hidden[!known] aria-labelledby="ten-title" {
            h2 #ten-title { "Ten sheets from your printer" }
            p #ten-words .quiet { "Working out ten sheets …" }
            div.ten-rows {
                @for (when, title) in [("before", "As it is now"), ("after", "After correction")] {
                    div {
                        h3 { (title) }
                        div.ten-row data-ten=(when) role="img" aria-label={ "Backs of one card from ten sheets: " (title) } {
                            @for _ in 0..10 { canvas {} }
                        }
                    }
                }
            }
            p.actions {
                button #ten-back .button.small type="button" { "Card before" }
                span #ten-card .quiet aria-live="polite" {}
                button #ten-on .button.small type="button" { "Next card" }
            }
        }
    }
}

fn counted(work: &Work, sheets: Result<&Vec<SheetRef>, &Refusal>, units: Units) -> String {
    let pages: usize = work.pages.iter().map(Vec::len).sum();
    let s = |n: usize| if n == 1 { "" } else { "s" };
    let first = work.pages.iter().flatten().next();
    let size = first.map_or(String::new(), |size| {
        let (w, h) = (units.0.of_mm(size.w), units.0.of_mm(size.h));
        let (decimals, unit) = match units.0 {
            words::Units::Mm => (0, "mm"),
            words::Units::Inch => (2, "in"),
        };
        format!(", {w:.decimals$} × {h:.decimals$} {unit}")
    });
    match sheets {
        Ok(sheets) => format!(
            "{pages} page{}{size}: {} sheet{} with a front and a back",
            s(pages),
            sheets.len(),
            s(sheets.len())
        ),
        Err(_) => format!("{pages} page{}{size}", s(pages)),
    }
}

fn step(units: Units) -> &'static str {
    match units.0 {
        words::Units::Mm => "0.1 mm, with shift 1 mm",
        words::Units::Inch => "0.1 mm (0.004 in), with shift 1 mm (0.04 in)",
    }
}

fn toolbar() -> Markup {
    html! {
        div.tools {
            fieldset.switch {
                legend { "Show" }
                label { input type="radio" name="when" value="before"; span { "Before" } }
                label { input type="radio" name="when" value="after" checked; span { "After" } }
            }
            fieldset.switch {
                legend { "As" }
                label { input type="radio" name="look" value="print" checked; span { "Print" } }
                label { input type="radio" name="look" value="outline"; span { "Outlines" } }
            }
            label.slider {
                span { "See through" }
                input #through type="range" min="0" max="100" value="55";
            }
            button #turn .button.small type="button" { "Turn the sheet over" }
            span.zoom role="group" aria-label="Zoom" {
                button #zoom-out .button.small type="button" aria-label="Zoom out" { "−" }
                button #zoom-fit .button.small type="button" { "Whole sheet" }
                button #zoom-in .button.small type="button" aria-label="Zoom in" { "+" }
            }
        }
    }
}

fn how(work: &Work, setups: &[String], units: Units) -> Markup {
    let chosen = work.change.how;
    let example = match units.0 {
        words::Units::Mm => "2mm low, 0.4mm left",
        words::Units::Inch => "0.08in low, 0.02in left",
    };
    let named = work
        .change
        .setup
        .as_ref()
        .map(|learnt| learnt.name.as_str());
    html! {
        form #how .how autocomplete="off" {
            fieldset.ways {
                legend { "What do you know?" }
                @for (value, is, text) in [
                    ("seen", How::Seen, "How the backs sit on my print"),
                    ("move", How::Move, "How far to move them in the file"),
                    ("setup", How::Setup, "My printer is measured"),
                ] {
                    label { input type="radio" name="how" value=(value) checked[chosen == is]; span { (text) } }
                }
            }
            div #typed hidden[chosen == How::Setup] {
                label for="words" {
                    span data-for="seen" hidden[chosen == How::Move] { "Look at the back of your print. The backs sit …" }
                    span data-for="move" hidden[chosen != How::Move] { "Looking at the back, move the backs …" }
                }
                div.row {
                    input #words type="text" placeholder=(example) aria-describedby="words-help";
                    button.button type="submit" { "Show" }
                }
                p #words-help .quiet {
                    span data-for="seen" hidden[chosen == How::Move] {
                        "Type it like “" (example) "”, or drag the backs until the picture looks like your print."
                    }
                    span data-for="move" hidden[chosen != How::Move] {
                        "Type it like “" (example.replace("low", "up")) "”, or drag the backs to where they should be."
                    }
                }
                button #clear .button.small type="button" { "Start again from nothing" }
            }
            div #from-setup hidden[chosen != How::Setup] {
                @if setups.is_empty() {
                    p {
                        "No printer has been measured yet. Until then, say how the backs sit on a print of yours, or "
                        a href="/setups/new" { "measure your printer" } "."
                    }
                } @else {
                    label for="setup" { "Set-up" }
                    select #setup {
                        option value="" { "Choose one" }
                        @for name in setups {
                            option value=(name) selected[named == Some(name.as_str())] { (name) }
                        }
                    }
                }
            }
        }
    }
}

fn save(work: &Work) -> Markup {
    html! {
        section.save aria-labelledby="save-title" {
            h2 #save-title .visually-hidden { "Save" }
            label #meant .meant hidden {
                input #really type="checkbox";
                span {}
            }
            button #save .button.primary.large type="button" { "Save the corrected PDF" }
            p.print-it { a href={ "/work/" (work.id) "/run" } { "Print it as a run" } ", sheet by sheet in the right order" }
            div #job role="status" {
                p #job-text {}
                progress #job-bar hidden aria-label="Done so far" {}
                button #cancel .button.small type="button" hidden { "Cancel" }
            }
            div #saved .saved hidden {
                p #saved-text {}
                ul #saved-cautions {}
                p {
                    a #download .button download { "Download it again" }
                    " "
                    a .button href={ "/print/0/saved/" (work.id) } { "Print it straight" }
                }
                p.quiet { "Print it at actual size (100 %), never fitted to the page." }
            }
        }
    }
}

/// Where a shift cannot save the file.
fn afresh() -> Markup {
    html! {
        section aria-labelledby="afresh-title" {
            h2 #afresh-title { "Or new sheets" }
            p { "No bleed, another paper, backs that are not mirrored: a shift cannot mend that. New sheets can." }
            button #afresh .button type="button" { "Lay these cards out afresh" }
        }
    }
}

/// What was found in the file, in plain words.
fn worth_knowing(work: &Work, units: Units) -> Markup {
    let looking = work.inspecting.as_ref();
    html! {
        section #worth .cautions aria-labelledby="cautions-title" aria-live="polite" {
            h2 #cautions-title { "Worth knowing" }
            @for caution in &work.cautions { p { (units.0.said(caution)) } }
            @if let Some(job) = looking {
                @match job.state {
                    JobState::Running => {
                        p { "Looking for cards, and for what might bite …" }
                        progress #worth-bar aria-label="Pages looked at" {}
                        button #worth-cancel .button.small type="button" { "Never mind" }
                    }
                    JobState::Failed | JobState::Stopped | JobState::Cancelled => {
                        p { "The cards were not looked at: " (job.message) "." }
                        button #worth-again .button.small type="button" { "Look at them" }
                    }
                    JobState::Done => {}
                }
            }
            @if let Some(found) = &work.inspected {
                p { strong { (units.0.said(&found.answer)) } }
                @let said = found.answer.to_lowercase().contains(&found.verdict.to_lowercase());
                @if !said { p { (capital(&units.0.said(&found.verdict))) "." } }
                @if found.findings.is_empty() {
                    p.quiet { "Nothing else stands out." }
                } @else {
                    ul.findings {
                        @for finding in found.findings.iter().take(MOST_FINDINGS) { (told(finding, units)) }
                    }
                    @if found.findings.len() > MOST_FINDINGS {
                        details {
                            summary { (found.findings.len() - MOST_FINDINGS) " more" }
                            ul.findings { @for finding in found.findings.iter().skip(MOST_FINDINGS) { (told(finding, units)) } }
                        }
                    }
                }
            }
        }
    }
}

/// More than these are told when they are asked for.
const MOST_FINDINGS: usize = 4;

fn told(finding: &Finding, units: Units) -> Markup {
    let weight = match finding.severity.as_str() {
        "serious" => "Mend this first",
        "warning" => "Look at this",
        _ => "Good to know",
    };
    html! {
        li class=(finding.severity) {
            strong { (weight) ": " } (units.0.said(&finding.message))
            @if let Some(page) = finding.page {
                span.quiet {
                    " Page " (page) @if finding.back_file { " of the backs" }
                    @if finding.pages > 1 { " and " (super::counted(finding.pages - 1, "other")) }
                    "."
                }
            }
            p { (units.0.said(&finding.hint)) }
        }
    }
}

fn file(work: &Work, units: Units) -> Markup {
    let backs = if work.change.backs.is_empty() {
        "even"
    } else {
        work.change.backs.as_str()
    };
    let usual = [
        ("even", "Every second page: 2, 4, 6 …"),
        ("odd", "Every second page: 1, 3, 5 …"),
        ("second-half", "The second half, in the same order"),
        ("last", "The last page, for all fronts"),
        ("all", "All pages"),
    ];
    let is_list = !usual.iter().any(|(value, _)| *value == backs);
    let flip = work.change.flip.unwrap_or(Flip::Sideways);
    html! {
        (worth_knowing(work, units))
        details.file {
            summary { "More about this file" }
            @if work.has_back_file {
                p {
                    "Fronts: " strong { (work.files.first().map_or("", |f| f.name.as_str())) } br;
                    "Backs: " strong { (work.files.last().map_or("", |f| f.name.as_str())) }
                }
                button #swap .button.small type="button" { "They are the other way round" }
            } @else {
                label for="backs" { "Which pages are backs?" }
                select #backs {
                    @for (value, text) in usual {
                        option value=(value) selected[value == backs] { (text) }
                    }
                    option value="list" selected[is_list] { "These pages …" }
                }
                div #backs-list hidden[!is_list] {
                    label for="backs-pages" { "Pages, like 2, 4, 6-10" }
                    input #backs-pages type="text" value=(if is_list { backs } else { "" });
                }
            }
            fieldset.flips {
                legend { "How do the backs stand in this file?" }
                @for (value, is, text) in [
                    ("sideways", Flip::Sideways, "Heads together, as in a book"),
                    ("endways", Flip::Endways, "Head to foot, as in a notepad"),
                ] {
                    label {
                        input type="radio" name="flip" value=(value) checked[flip == is];
                        span { (drawn::turning(is, Side::Front)) (text) }
                    }
                }
            }
        }
    }
}

/// All sheets, paired.
fn strip(work: &Work, sheets: Result<Vec<SheetRef>, Refusal>) -> Markup {
    html! {
        section #sheets .strip aria-labelledby="sheets-title" {
            h2 #sheets-title { "Sheets" }
            @match sheets {
                Err(refusal) => {
                    p.problem role="alert" {
                        (capital(&refusal.message)) ". "
                        @if let Some(hint) = refusal.hint { "What to do: " (hint) "." }
                    }
                }
                Ok(sheets) => {
                    ol.sheets {
                        @for (index, sheet) in sheets.iter().enumerate() {
                            li {
                                button type="button" data-sheet=(index) aria-current=(if index == 0 { "true" } else { "false" }) {
                                    span.pair {
                                        @if let Some(page) = sheet.front { (thumb(work, page, "front")) }
                                        @if let Some(page) = sheet.back { (thumb(work, page, "back")) }
                                    }
                                    span { (named(index, sheet)) }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn named(index: usize, sheet: &SheetRef) -> String {
    let pages: Vec<String> = [sheet.front, sheet.back]
        .into_iter()
        .flatten()
        .map(|page| page.page.to_string())
        .collect();
    format!("Sheet {} (pages {})", index + 1, pages.join(" and "))
}

fn thumb(work: &Work, page: desk::PageRef, side: &str) -> Markup {
    let source = format!(
        "/api/work/{}/tile/{}/{}/1/0/0/print",
        work.id, page.file, page.page
    );
    html! {
        img class=(side) loading="lazy" alt="" src=(source)
            width=(page.w.round() as u32) height=(page.h.round() as u32);
    }
}
