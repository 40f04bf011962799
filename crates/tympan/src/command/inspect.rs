//! `tympan inspect`: what is in a file of cards, and what will bite.

use std::sync::atomic::AtomicBool;

use tympan_app::Refusal;
use tympan_app::inspect::{
    self, FaultSaid, GridSaid, Inspection, PageSaid, PairSaid, Progress, Request,
};

use crate::args::{Cli, Inspect};
use crate::say;

/// Kinds of pages told, at most.
const KINDS_TOLD: usize = 16;

pub(crate) fn run(cli: &Cli, args: &Inspect) -> Result<(), Refusal> {
    let store = match args.setup {
        Some(_) => Some(super::store(cli)?),
        None => None,
    };
    let request = Request {
        file: args.file.clone(),
        back_file: args.backs.clone().or_else(|| args.back_file.clone()),
        setup: args.setup.clone(),
        paper: args.paper.clone(),
        pairs: args.pairs.clone().unwrap_or_default(),
        password: args.password.clone(),
    };
    let cancel = AtomicBool::new(false);
    let mut progress = |at: Progress| {
        let text = format!("looked at {} of {} pages", at.done, at.total);
        say::passing(&text, at.done == at.total);
    };
    let found = inspect::inspect(store.as_ref(), &request, &mut progress, &cancel)?;
    if cli.json {
        return say::json(&found);
    }
    for caution in &found.cautions {
        say::note(caution);
    }
    say::data(&in_words(&found))
}

fn in_words(found: &Inspection) -> String {
    let mut text = format!("{}\n", found.answer);
    let mut kinds: Vec<(Vec<usize>, String)> = Vec::new();
    for page in &found.pages {
        let words = page_in_words(page);
        match kinds.iter_mut().find(|(_, known)| *known == words) {
            Some((pages, _)) => pages.push(page.page),
            None => kinds.push((vec![page.page], words)),
        }
    }
    text.push('\n');
    for (pages, words) in kinds.iter().take(KINDS_TOLD) {
        text.push_str(&format!("  {}: {words}\n", numbers(pages)));
    }
    if kinds.len() > KINDS_TOLD {
        text.push_str("  and more: --json tells all\n");
    }
    for words in pairs_in_words(&found.pairs, &found.pages) {
        text.push_str(&format!("  {words}\n"));
    }
    if let Some(words) = ink_in_words(&found.pages) {
        text.push_str(&format!("  {words}\n"));
    }
    if !found.evidence.is_empty() {
        text.push_str(&format!("\nWhy: {}.\n", found.evidence.join("; ")));
    }
    if !found.faults.is_empty() {
        text.push('\n');
    }
    for fault in &found.faults {
        text.push_str(&fault_in_words(fault));
    }
    text.trim_end().to_owned()
}

/// How sheets are flipped and how their cards stand, each way once, with its pages.
fn pairs_in_words(pairs: &[PairSaid], pages: &[PageSaid]) -> Vec<String> {
    let mut kinds: Vec<(Vec<String>, String)> = Vec::new();
    for pair in pairs {
        // A sheet that is folded is its own back.
        let folded = pages
            .iter()
            .any(|p| p.page == pair.front && p.role == "fold_over");
        let flip = match pair.flip {
            _ if folded => "folded".to_owned(),
            Some(flip) => format!("flipped {flip}"),
            None => "flipped sideways or endways".to_owned(),
        };
        let stands = match pair.standing {
            Some("head_to_head") => ", the cards stand head to head",
            Some("head_to_foot") => ", the cards stand head to foot",
            _ => "",
        };
        let words = format!("{flip}{stands}");
        let sheet = format!("{}-{}", pair.front, pair.back);
        match kinds.iter_mut().find(|(_, known)| *known == words) {
            Some((all, _)) => all.push(sheet),
            None => kinds.push((vec![sheet], words)),
        }
    }
    let line = |(sheets, words): (Vec<String>, String)| {
        let shown = listed(&sheets);
        let s = if sheets.len() == 1 { "" } else { "s" };
        format!("sheet{s} {shown} (front-back): {words}")
    };
    kinds.into_iter().take(KINDS_TOLD).map(line).collect()
}

fn page_in_words(page: &PageSaid) -> String {
    let role = match page.role {
        "front" => "fronts",
        "back" => "backs",
        "fold_over" => "fronts and backs about a fold",
        _ => "no cards",
    };
    let of = if page.back_file {
        " of the backs' file"
    } else {
        ""
    };
    let grids: Vec<String> = page
        .grid
        .iter()
        .chain(&page.grids)
        .map(grid_in_words)
        .collect();
    if grids.is_empty() {
        format!("{role}{of}")
    } else {
        format!("{role}{of}, {}", grids.join("; and "))
    }
}

fn grid_in_words(grid: &GridSaid) -> String {
    let mut text = format!(
        "{} × {} cells of {:.1} × {:.1} mm",
        grid.columns, grid.rows, grid.trim_mm.x, grid.trim_mm.y
    );
    if let Some(card) = grid.nearest_card {
        let percent = 100.0 * card.scale;
        if (percent - 100.0).abs() < 0.3 {
            text.push_str(&format!(" ({})", card.name));
        } else {
            text.push_str(&format!(" ({} at {percent:.1} %)", card.name));
        }
    }
    let filled = grid.filled.iter().filter(|filled| **filled).count();
    if filled < grid.filled.len() {
        text.push_str(&format!(", {filled} filled"));
    }
    let gutter = grid.gutter_mm;
    if grid.columns * grid.rows > 1 && gutter.x.max(gutter.y) > 0.05 {
        let (x, y) = (gutter.x.max(0.0), gutter.y.max(0.0));
        text.push_str(&if (x - y).abs() < 0.05 {
            format!(", {x:.1} mm apart")
        } else {
            format!(", {x:.1} and {y:.1} mm apart")
        });
    }
    match grid.bleed_mm {
        Some([least, _]) if least < 0.05 => text.push_str(", no bleed"),
        Some([least, _]) => text.push_str(&format!(", {least:.1} mm bleed")),
        None => {}
    }
    if grid.rotation_deg.abs() >= 0.02 {
        text.push_str(&format!(", tilted {:.2}°", grid.rotation_deg));
    }
    if let Some(radius) = grid.corner_radius_mm {
        text.push_str(&format!(", corners of {radius:.1} mm"));
    }
    let by: Vec<&str> = grid.found_by.iter().map(|by| told_by(by)).collect();
    text.push_str(&format!(", told by {}", by.join(" and ")));
    if grid.confidence < 0.5 {
        text.push_str(" (not sure)");
    } else {
        text.push_str(&format!(" ({:.0} % sure)", 100.0 * grid.confidence));
    }
    text
}

/// How much ink the sides with cards take, and which takes most.
fn ink_in_words(pages: &[PageSaid]) -> Option<String> {
    let all = pages
        .iter()
        .filter(|page| page.role != "other")
        .map(|page| {
            let ink = page.ink_percent;
            let sum = ink.cyan + ink.magenta + ink.yellow + ink.black;
            (sum, page)
        });
    let mut all: Vec<(f64, &PageSaid)> = all.collect();
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    let ((least, _), (most, page)) = (all.first()?, all.last()?);
    let of = if page.back_file {
        " of the backs' file"
    } else {
        ""
    };
    let (least, most) = (format!("{least:.0}"), format!("{most:.0}"));
    Some(if least == most {
        format!("ink: about {most} % of a side")
    } else {
        format!(
            "ink: about {least} to {most} % of a side, most on page {}{of}",
            page.page
        )
    })
}

fn told_by(evidence: &str) -> &'static str {
    match evidence {
        "trim_marks" => "trim marks",
        "lines" => "lines",
        "placements" => "what is placed",
        _ => "what is seen",
    }
}

fn fault_in_words(fault: &FaultSaid) -> String {
    let mark = match fault.severity {
        "serious" => "Serious",
        "warning" => "Mind",
        _ => "Note",
    };
    let of = if fault.back_file {
        " of the backs' file"
    } else {
        ""
    };
    let place = match (fault.pages.as_slice(), fault.back_file) {
        ([], false) => "the file".to_owned(),
        ([], true) => "the backs' file".to_owned(),
        (pages, _) => format!("{}{of}", numbers(pages)),
    };
    format!(
        "{mark}, {place}: {}.\n  What to do: {}.\n",
        fault.message, fault.hint
    )
}

/// `page 2`, or `pages 2, 4, 6 …` where there are many.
fn numbers(pages: &[usize]) -> String {
    let pages: Vec<String> = pages.iter().map(ToString::to_string).collect();
    let s = if pages.len() == 1 { "" } else { "s" };
    format!("page{s} {}", listed(&pages))
}

/// The first ones of many.
fn listed(all: &[String]) -> String {
    const SHOWN: usize = 8;
    let shown = &all[..all.len().min(SHOWN)];
    let more = if all.len() > SHOWN { " …" } else { "" };
    format!("{}{more}", shown.join(", "))
}
