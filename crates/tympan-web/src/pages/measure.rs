//! Measuring a set-up step by step: print, turn over, read, result.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::response::{IntoResponse, Response};
use maud::{Markup, html};
use tympan_app::desk::{Batch, Issued, Job, JobState};
use tympan_app::lines_up::LinesUp;
use tympan_app::measure::{self, FlippedBy, HowToPrint, PinPlaces, SetUp};
use tympan_app::setups::WELL_KNOWN;
use tympan_app::words;

use super::lost::gone;
use super::{capital, counted, drawn};
use crate::refused::{Answer, aside};
use crate::shell::{Page, Room, Units, shell};
use crate::state::App;

/// Test sheets that are made unless another number is asked for.
const USUAL_SHEETS: u32 = 3;

struct Seen {
    lines_up: Arc<LinesUp>,
    issued: Vec<Issued>,
    batches: Vec<Batch>,
    places: PinPlaces,
}

/// `GET /setup/ID/measure`
pub(crate) async fn page(
    State(app): State<App>,
    Path(id): Path<String>,
    units: Units,
) -> Answer<Response> {
    let state = app.clone();
    let found = aside(move || {
        let (store, setup) = state.set_up(&id)?;
        Ok(Seen {
            lines_up: state.lines_up.lines_up(&store, &setup, units.0)?,
            issued: state.desk.issued(&setup.id),
            batches: state.desk.batches(&setup.id),
            places: measure::pin_places(&setup)?,
        })
    })
    .await;
    let seen = match found {
        Ok(seen) => seen,
        Err(refused) => return gone(&app, units, &refused),
    };
    let setup = &seen.lines_up.setup;
    let body = html! {
        div #measure data-setup=(setup.id) {
            div.title-line {
                h1 { "Measure “" (setup.name) "”" }
            }
            p.answer { "Print a few test sheets, turn them over as always, and say where their backs came out." }
            (print(setup, &seen.issued))
            (turn(setup))
            (read(&seen, units))
            (result(&seen.lines_up))
        }
    };
    let title = format!("Measure {}", setup.name);
    let page = Page {
        room: Room::SetUps,
        title: &title,
        script: Some("measure.js"),
        body,
    };
    Ok(shell(&app, units, page).into_response())
}

fn print(setup: &SetUp, issued: &[Issued]) -> Markup {
    html! {
        section.step aria-labelledby="print-title" {
            h2 #print-title { span.number { "1" } "Print this" }
            div #issued aria-live="polite" {
                @match issued.first() {
                    None => {
                        p { "Each sheet gets a number of its own. Three to five sheets tell a printer well: one alone cannot show how much sheets differ." }
                    }
                    Some(latest) => {
                        p.actions {
                            a.button.primary href={ "/api/setup/" (setup.id) "/test-sheets/" (latest.first) "/" (latest.last) } download {
                                "Download test sheets " (numbers(*latest))
                            }
                            a.button href={ "/print/0/test/" (setup.id) "/" (latest.first) "/" (latest.last) } { "Print them straight" }
                        }
                        (how_to_print(&measure::how_to_print(setup, latest.count())))
                        @if issued.len() > 1 {
                            details {
                                summary { "Test sheets made before" }
                                ul.plain {
                                    @for earlier in &issued[1..] {
                                        li { a href={ "/api/setup/" (setup.id) "/test-sheets/" (earlier.first) "/" (earlier.last) } download { "Test sheets " (numbers(*earlier)) } }
                                    }
                                }
                            }
                        }
                    }
                }
            }
            form #issue .actions {
                label for="sheets" { "How many sheets?" }
                input #sheets type="number" min="1" max="50" value=(USUAL_SHEETS) required;
                button.button.primary[issued.is_empty()] type="submit" {
                    @if issued.is_empty() { "Make test sheets" } @else { "Make more test sheets" }
                }
            }
        }
    }
}

fn numbers(issued: Issued) -> String {
    if issued.first == issued.last {
        issued.first.to_string()
    } else {
        format!("{} to {}", issued.first, issued.last)
    }
}

fn how_to_print(how: &HowToPrint) -> Markup {
    html! {
        div.dialog-help {
            div {
                h3 { "In the print dialog" }
                dl.dialog {
                    @for (choice, setting) in &how.dialog { dt { (choice) } dd { (setting) } }
                }
            }
            div {
                h3 { "In this order" }
                ol { @for pass in &how.passes { li { (pass) } } }
            }
        }
    }
}

fn turn(setup: &SetUp) -> Markup {
    html! {
        section.step aria-labelledby="turn-title" {
            h2 #turn-title { span.number { "2" } "Turn it over like this" }
            div.pictures {
                figure {
                    (drawn::feeding(setup.leading_edge, setup.first_side))
                    figcaption { "The " (setup.leading_edge) " of the " (setup.first_side) " goes into the printer first." }
                }
                figure {
                    (drawn::turning(setup.flip, setup.first_side))
                    figcaption {
                        @match setup.flip {
                            tympan_app::sheet::Flip::Sideways => "Like a page of a book: both heads lie together.",
                            tympan_app::sheet::Flip::Endways => "Like a page of a notepad: the back's head lies at the front's foot.",
                        }
                    }
                }
            }
            @match setup.flipped_by {
                FlippedBy::Hand => {
                    p {
                        "Turn the whole stack over at once and put it back into the same tray, just as you do for a game. "
                        "Do not straighten or fan it differently than usual: that is part of what is measured."
                    }
                }
                FlippedBy::Machine => p { "The printer turns the sheets over by itself." }
            }
        }
    }
}

fn read(seen: &Seen, units: Units) -> Markup {
    html! {
        section.step aria-labelledby="read-title" {
            h2 #read-title { span.number { "3" } "Say where the backs came out" }
            fieldset.ways-row {
                legend { "How would you like to read the sheets?" }
                div.choices.narrow {
                    @for (value, text, more) in [
                        ("pin", "With a pin", "nothing else is needed"),
                        ("scans", "Two scans of each", "the surest"),
                        ("photo", "One photo of each", "against a window"),
                        ("ruler", "With a ruler", "the roughest"),
                    ] {
                        label.choice {
                            input type="radio" name="way" value=(value) checked[value == "pin"];
                            span { strong { (text) } small { (more) } }
                        }
                    }
                }
            }
            (pin(seen))
            (pictures_help())
            (ruler(units))
            div #batches aria-live="polite" {
                @for batch in &seen.batches { (batch_told(batch, &seen.lines_up)) }
            }
        }
    }
}

/// The numbers that sheets may have, those not read yet first chosen.
fn sheet_numbers(seen: &Seen, id: &str) -> Markup {
    let last = seen.lines_up.setup.sheets_issued;
    let in_use = |n: u32| {
        let sheets = seen.lines_up.sheets.iter();
        sheets
            .filter(|sheet| sheet.set_aside.is_none())
            .any(|sheet| sheet.number == Some(n))
    };
    let next = (1..=last).find(|&n| !in_use(n));
    html! {
        label for=(id) { "Number on the sheet" }
        select id=(id) {
            @for n in 1..=last {
                option value=(n) selected[Some(n) == next] { (n) @if in_use(n) { " (read)" } }
            }
            option value="" selected[next.is_none()] { "It has none" }
        }
    }
}

fn pin(seen: &Seen) -> Markup {
    let PinPlaces {
        sheet,
        places,
        reach_mm,
        zones,
    } = &seen.places;
    let zones: Vec<String> = zones
        .iter()
        .map(|zone| format!("{},{},{}", zone.word, zone.towards.0, zone.towards.1))
        .collect();
    html! {
        div #by-pin .way {
            ol {
                li { "Lay the sheet front up on something soft. Prick straight down through the middle of each cross, " strong { "A" } " to " strong { "F" } "." }
                li { "Turn it over. Around each hole a millimetre grid is printed." }
                li { "For each place: click in the picture where the hole is on your sheet, or type the words that stand beside the grid." }
            }
            div.pin-bench {
                div.pin-places {
                    svg.pin-sheet viewBox={ "-4 -4 " (sheet.w + 8.0) " " (sheet.h + 8.0) } role="group" aria-label="The back of the test sheet with its places" {
                        rect.back x="0" y="0" width=(sheet.w) height=(sheet.h) {}
                        text.side x=(sheet.w / 2.0) y=(sheet.h / 2.0) { "BACK" }
                        @for (name, at) in places {
                            g.place data-place=(name) role="button" tabindex="0" aria-label={ "Place " (name) } {
                                circle cx=(at.x) cy=(at.y) r="15" {}
                                text x=(at.x) y=(at.y + 6.0) { (name) }
                            }
                        }
                    }
                }
                div.pin-grid {
                    h3 #pin-title { "Place A" }
                    div #grid .grid tabindex="0" role="application" data-zones=(zones.join(";")) data-reach=(reach_mm)
                        aria-label="Millimetre grid of this place: arrow keys move the hole by a tenth of a millimetre, with shift by a whole one" {
                        (grid(*reach_mm, &seen.places))
                    }
                    div.row {
                        label for="hole" { "What the grid says" }
                        input #hole type="text" placeholder="2.1 low, 0.4 left" aria-describedby="hole-help";
                        button #next-place .button type="button" { "Next place" }
                    }
                    p #hole-help .quiet { "In millimetres, as printed; 0 where the hole is on the cross. Places may be left out." }
                }
            }
            form #take-pin .taking {
                div { (sheet_numbers(seen, "pin-sheet")) }
                div {
                    label for="rule-across" { "100 mm rule across measures" }
                    input #rule-across type="text" inputmode="decimal" placeholder="100" aria-describedby="rule-help";
                }
                div {
                    label for="rule-along" { "100 mm rule down measures" }
                    input #rule-along type="text" inputmode="decimal" placeholder="100";
                }
                button.button.primary type="submit" { "Take this sheet down" }
                p #rule-help .quiet { "The rules show whether the program shrank the page. Measure them on one sheet at least." }
                p #pin-said role="status" {}
                button #pin-again .button.small type="button" hidden { "It is the same sheet, read once more" }
            }
        }
    }
}

/// A millimetre grid as it is printed, drawn large.
fn grid(reach: f64, places: &PinPlaces) -> Markup {
    let n = reach as i32;
    let at = |mm: i32| f64::from(mm) * 10.0;
    let end = at(n);
    let weight = |mm: i32| match mm {
        0 => "axis",
        m if m % 5 == 0 => "five",
        _ => "one",
    };
    html! {
        svg viewBox="-84 -84 168 168" aria-hidden="true" focusable="false" {
            @for mm in -n..=n {
                path class=(weight(mm)) d={ "M" (at(mm)) " " (-end) "V" (end) "M" (-end) " " (at(mm)) "H" (end) } {}
            }
            @for zone in &places.zones {
                @let (x, y) = (zone.towards.0 * 72.0, zone.towards.1 * 72.0);
                @if zone.towards.0 == 0.0 {
                    text x=(x) y=(y + 4.0) { (zone.word) }
                } @else {
                    text transform={ "translate(" (x) " " (y) ") rotate(" (90.0 * zone.towards.0) ")" } y="4" { (zone.word) }
                }
            }
            g #the-hole .hole hidden { circle r="4.500" {} circle.point r="1.200" {} }
        }
    }
}

fn pictures_help() -> Markup {
    html! {
        div #by-pictures .way hidden {
            div data-for="scans" {
                ol {
                    li { "Punch four holes with an office punch, one near each corner, or trust the sheet's edges." }
                    li { "Lay something dark behind the sheet. Scan the front and the back at 300 dpi, whole sheet, no automatic cropping. Turn the sheet over on the glass like the page of a book." }
                    li { "Drop all the pictures here, in any order, any way up." }
                }
            }
            div data-for="photo" hidden {
                ol {
                    li { "Hold or tape the sheet flat against a bright window, front towards you." }
                    li { "Photograph it straight on, all four corners in the picture, so that the back's rings shine through." }
                    li { "Drop the photos here, one of each sheet." }
                }
                p.actions { button #phone .button type="button" { "Send photos from my phone" } }
                div #pairing .pairing hidden aria-live="polite" {}
            }
            section #drop .drop.small aria-label="Drop pictures here" {
                span.corner.a {} span.corner.b {} span.corner.c {} span.corner.d {}
                h3 { "Drop pictures here" }
                p { "JPEG, PNG, TIFF, or a PDF from the scanner." }
                p.actions {
                    label.button.primary for="pictures" { "Choose pictures" }
                    input #pictures .visually-hidden type="file" accept="image/*,application/pdf,.pdf" multiple;
                }
                div #arriving .arriving hidden {
                    p #arriving-text aria-live="polite" {}
                    progress #arriving-bar max="1" value="0" aria-label="Arrived so far" {}
                }
            }
        }
    }
}

fn ruler(units: Units) -> Markup {
    let example = match units.0 {
        words::Units::Mm => "2mm low, 0.5mm left",
        words::Units::Inch => "0.08in low, 0.02in left",
    };
    html! {
        div #by-ruler .way hidden {
            p { "Hold the sheet against the light with the " strong { "back" } " towards you. Measure how far the back's print lies from where it should." }
            form #take-ruler .taking {
                div {
                    label for="ruler" { "Looking at the back, the back sits …" }
                    input #ruler type="text" placeholder=(example) required;
                }
                button.button.primary type="submit" { "Take it down" }
                p #ruler-said role="status" {}
            }
        }
    }
}

/// Pictures that were dropped together, and what came of them.
fn batch_told(batch: &Batch, lines_up: &LinesUp) -> Markup {
    let names: Vec<&str> = batch.files.iter().map(|f| f.name.as_str()).collect();
    let who = if batch.from_phone {
        "From your phone: "
    } else {
        ""
    };
    let state = batch.job.as_ref().map(|job| job.state);
    html! {
        article.batch data-batch=(batch.id) aria-label={ (who) (names.join(", ")) } {
            p.quiet { (who) (names.join(", ")) }
            @match (&batch.job, state) {
                (_, Some(JobState::Running)) => {
                    p { "Reading the pictures …" }
                    progress aria-label="Read so far" {}
                    p.actions { button.button.small type="button" data-cancel=(batch.id) { "Cancel" } }
                }
                (Some(job), Some(JobState::Failed | JobState::Cancelled | JobState::Stopped)) => (ended(batch, job)),
                _ => {}
            }
            @if let Some(outcome) = &batch.outcome {
                @for read in &outcome.read {
                    @let sheet = lines_up.sheets.iter().find(|s| s.reading.as_str() == read.reading);
                    div.read {
                        p {
                            strong { @if let Some(n) = read.sheet { "Sheet " (n) } @else { "A sheet" } " was read" }
                            " from " (read.files.join(" and ")) ". The reading is " (read.quality) ". "
                            @if let Some(sheet) = sheet { (sheet.in_words) }
                        }
                        @for warning in &read.warnings { p.bear { "Bear in mind: " (warning) "." } }
                        @if !read.evidence.is_empty() {
                            details {
                                summary { "See what was found" }
                                p.quiet { "Circles are the marks that were found: red the front's, blue the back's. Lines from their middles show what the fit leaves over, 40 times as long as it is." }
                                div.evidence {
                                    @for name in &read.evidence {
                                        a href={ "/api/evidence/" (name) } {
                                            img loading="lazy" src={ "/api/evidence/" (name) } alt={ "The picture with the marks that were found circled" };
                                        }
                                    }
                                }
                            }
                        }
                    }
                }
                @for refused in &outcome.refused {
                    div.problem {
                        p { strong { (refused.files.join(" and ")) " could not be read" } ": " (refused.message) "." }
                        p { "What to do: " (refused.hint) "." }
                    }
                }
            }
            @if state != Some(JobState::Running) {
                p.actions { button.button.small type="button" data-clear=(batch.id) aria-label={ "Clear " (names.join(", ")) } { "Clear" } }
            }
        }
    }
}

fn ended(batch: &Batch, job: &Job) -> Markup {
    // What was read before is refused with a way to say that it was meant.
    let before = measure::is_read_before(&job.message);
    html! {
        div.problem role="alert" {
            p { (capital(&job.message)) "." }
            @if before {
                p.actions {
                    button.button.small type="button" data-again=(batch.id) data-meant="true" {
                        "It is the same sheet, read once more"
                    }
                }
                p.quiet { "The earlier reading is then set aside, not lost." }
            } @else {
                @if !job.hint.is_empty() { p { "What to do: " (job.hint) "." } }
                p.actions {
                    button.button.small type="button" data-again=(batch.id) data-meant="false" { "Read them once more" }
                }
            }
        }
    }
}

fn result(lines_up: &LinesUp) -> Markup {
    let used: Vec<_> = lines_up
        .sheets
        .iter()
        .filter(|sheet| sheet.set_aside.is_none())
        .collect();
    html! {
        section #result .step aria-labelledby="result-title" {
            h2 #result-title { span.number { "4" } "What it says" }
            p.answer aria-live="polite" { (lines_up.answer) }
            @if let Some(report) = &lines_up.report { p { (report.in_words.seen_on_back) } }
            p.tally {
                span.dots aria-hidden="true" {
                    @for n in 0..used.len().max(WELL_KNOWN) { span.done[n < used.len()] {} }
                }
                (counted(used.len(), "sheet")) " read. " (lines_up.next)
            }
            @if !used.is_empty() {
                ul.plain {
                    @for sheet in &used { li { strong { (capital(&sheet.name())) ": " } (sheet.in_words) } }
                }
                p.actions {
                    a.button.primary href={ "/setup/" (lines_up.setup.id) } { "How well they line up" }
                    a.button href="/" { "Correct a game with it" }
                }
            }
        }
    }
}
