//! What a printer can do, what would be printed, and what happens then: in words.

use tympan_press::ipp::{Abilities, Delivery, Margins, Media, PrinterError, Sides, Way, way};

use super::plan::Plan;
use super::run::{Ending, Happening, Outcome};
use crate::words::capital;

/// Whether a printer wants a password, or does not take the one that it got.
pub fn wants_password(error: &PrinterError) -> bool {
    matches!(
        error,
        PrinterError::PasswordWanted { .. } | PrinterError::PasswordWrong { .. }
    )
}

/// What a printer can do that matters for cards, a line for each thing.
pub fn abilities_in_words(printer: &Abilities) -> Vec<String> {
    let mut lines = Vec::new();
    lines.push(match (printer.model.is_empty(), printer.is_queue) {
        (_, true) => "a queue of a print service, which may change what is sent".to_owned(),
        (false, _) => printer.model.clone(),
        (true, _) => "a printer".to_owned(),
    });
    lines.push(match way(printer, false) {
        Ok(Way::Pdf) => "takes PDF and leaves its size alone".to_owned(),
        Ok(Way::Queue) => "takes PDF; its filters may scale it".to_owned(),
        Ok(Way::Raster { dpi, .. }) => {
            format!(
                "takes pictures of the pages at {dpi} dpi (PWG raster): nothing is left to scale"
            )
        }
        Err(e) => e.to_string(),
    });
    let two_sided = printer.sides.iter().any(|side| side.starts_with("two"));
    lines.push(if two_sided {
        "prints both sides by itself".to_owned()
    } else {
        "prints one side at a time".to_owned()
    });
    for (what, list) in [
        ("trays and paths", &printer.sources),
        ("types of media", &printer.types),
        ("trays for prints", &printer.output_bins),
    ] {
        if !list.is_empty() {
            lines.push(format!("{what}: {}", list.join(", ")));
        }
    }
    for delivery in &printer.delivery {
        lines.push(comes_out(delivery));
    }
    lines.extend(sheets(&printer.media));
    lines
}

fn comes_out(delivery: &Delivery) -> String {
    let bin = delivery.bin.as_deref();
    let bin = bin.map_or_else(String::new, |bin| format!(" in {bin}"));
    let face = match delivery.face_up {
        Some(true) => "face up",
        Some(false) => "face down",
        None => "some way up",
    };
    match delivery.first_on_top {
        Some(true) => format!("sheets come out {face}{bin}, the first on top in the end"),
        Some(false) => format!("sheets come out {face}{bin}, the last on top in the end"),
        None => format!("sheets come out {face}{bin}"),
    }
}

/// The sheets that it takes, those with the same margins together.
fn sheets(media: &[Media]) -> Vec<String> {
    const SHOWN: usize = 20;
    let mut lines: Vec<String> = Vec::new();
    for entry in media {
        let length = |from: f64, to: f64| match from == to {
            true => short(from),
            false => format!("{} to {}", short(from), short(to)),
        };
        let mut line = format!(
            "{} × {} mm",
            length(entry.width.from, entry.width.to),
            length(entry.height.from, entry.height.to)
        );
        if let Some(margins) = entry.margins {
            let all = [margins.top, margins.right, margins.bottom, margins.left];
            if margins.is_borderless() {
                line.push_str(", printed to the edge (and usually enlarged a little)");
            } else if all.iter().all(|m| *m == all[0]) {
                line.push_str(&format!(", {} mm unprintable all round", short(all[0])));
            } else {
                line.push_str(&format!(", unprintable: {}", edges(margins, "at")));
            }
        }
        if let Some(source) = &entry.source {
            line.push_str(&format!(", from {source}"));
        }
        if let Some(kind) = &entry.kind {
            line.push_str(&format!(", {kind}"));
        }
        if !lines.contains(&line) {
            lines.push(line);
        }
    }
    if lines.len() > SHOWN {
        let more = lines.len() - SHOWN;
        lines.truncate(SHOWN);
        lines.push(format!("and {more} more: --json tells all"));
    }
    lines
}

/// How far from each edge a printer stays, each with its unit, so that any face can tell it in its
/// own.
fn edges(margins: Margins, of: &str) -> String {
    let [top, right, bottom, left] =
        [margins.top, margins.right, margins.bottom, margins.left].map(short);
    format!(
        "{top} mm {of} the head, {right} mm {of} the right edge, {bottom} mm {of} the foot and \
         {left} mm {of} the left edge"
    )
}

fn short(mm: f64) -> String {
    let text = format!("{mm:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// Whether a message is about a password that is missing or wrong: some printers ask for it only
/// when a job comes.
pub fn is_about_password(message: &str) -> bool {
    let wanted = message.ends_with("wants a password");
    wanted || message.contains("does not take this name and password")
}

/// What would be printed and how: what each line is about, and the line.
pub fn plan_in_words(plan: &Plan) -> Vec<(&'static str, String)> {
    let which = if plan.sheets() == plan.sheets_in_file {
        "all of it".to_owned()
    } else {
        format!(
            "sheets {} to {} of {}",
            plan.first_sheet, plan.last_sheet, plan.sheets_in_file
        )
    };
    let stock = plan.stock.as_deref();
    let stock = stock.map_or_else(String::new, |stock| format!(", {stock}"));
    let source = plan.source.as_deref();
    let source = source.map_or_else(
        || ", from the tray that the printer chooses".to_owned(),
        |source| format!(", from {source}"),
    );
    let kind = plan.kind.as_deref();
    let kind = kind.map_or_else(String::new, |kind| format!(", as {kind}"));
    let mut lines = vec![
        ("file", format!("{}, {which}", plan.file.display())),
        ("stock", format!("{}{stock}{source}{kind}", plan.paper)),
        (
            "sides",
            match plan.sides {
                Sides::OneSided => "one",
                Sides::TwoSidedLongEdge => "both, turned about the long edge by the machine",
                Sides::TwoSidedShortEdge => "both, turned about the short edge by the machine",
            }
            .to_owned(),
        ),
    ];
    if let Some(margins) = plan.margins {
        lines.push((
            "edges",
            format!("the printer cannot print within {}", edges(margins, "of")),
        ));
    }
    lines.push((
        "sent as",
        match plan.way {
            Way::Pdf => "PDF, scaling off".to_owned(),
            Way::Raster { dpi, .. } => {
                format!("pictures of the pages at {dpi} dpi: nothing is left to scale")
            }
            Way::Queue => "PDF through a queue, whose filters may scale it".to_owned(),
        },
    ));
    lines
}

/// What happens while printing, in a sentence.
pub fn happens_in_words(happening: &Happening) -> String {
    match happening {
        Happening::Busy => "The printer is busy; it is tried again until you cancel.".to_owned(),
        Happening::Held => {
            "The printer holds the job: let it go at its display or in its queue.".to_owned()
        }
        Happening::Sheets { out, of } => format!("{out} of {of} sheets are out"),
        Happening::Trouble(trouble) => {
            format!("{}: {}.", capital(&trouble.message), trouble.hint)
        }
        Happening::Mended { message } => format!("Mended; no longer so: {message}."),
        Happening::NoAnswer { message, hint } => format!("{}: {hint}.", capital(message)),
        Happening::AnswersAgain => "The printer answers again.".to_owned(),
    }
}

/// How printing ended, in words.
pub fn ended_in_words(outcome: &Outcome) -> String {
    let of = outcome.last_sheet + 1 - outcome.first_sheet;
    let out = match outcome.sheets_out {
        Some(out) => format!("after {out} of {of} sheets"),
        None => format!("before all {of} sheets were out"),
    };
    let mut text = match outcome.ended {
        Ending::Printed => "printed".to_owned(),
        Ending::Cancelled => format!("printing was cancelled {out}"),
        Ending::Aborted => format!("the printer gave the job up {out}"),
        Ending::Lost => format!("the job was lost {out}"),
        Ending::Unmended => {
            let why = outcome
                .stopped_by
                .as_deref()
                .unwrap_or("the printer stopped");
            format!("{why}, and nobody mended it: the rest was taken back {out}")
        }
    };
    for said in &outcome.said {
        text.push_str(&format!("; {said}"));
    }
    text
}
