//! What a printer can do, in words.

use tympan_press::ipp::{Abilities, Delivery, Media, Way, way};

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
                let [top, right, bottom, left] = all.map(short);
                line.push_str(&format!(
                    ", unprintable: {top} mm at the head, {right} right, {bottom} foot, {left} left"
                ));
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

fn short(mm: f64) -> String {
    let text = format!("{mm:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}
