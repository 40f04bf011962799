//! `tympan inspect`: what is in a file of cards, and what will bite.

use std::sync::atomic::AtomicBool;

use tympan_app::Refusal;
use tympan_app::inspect::{self, FaultSaid, GridSaid, Inspection, PageSaid, Progress, Request};

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
        text.push_str(&format!(", {:.1} and {:.1} mm apart", gutter.x, gutter.y));
    }
    if let Some([least, _]) = grid.bleed_mm {
        text.push_str(&format!(", {least:.1} mm bleed"));
    }
    if grid.rotation_deg.abs() >= 0.02 {
        text.push_str(&format!(", tilted {:.2}°", grid.rotation_deg));
    }
    if grid.confidence < 0.5 {
        text.push_str(" (not sure)");
    }
    text
}

fn fault_in_words(fault: &FaultSaid) -> String {
    let mark = match fault.severity {
        "serious" => "Serious",
        "warning" => "Mind",
        _ => "Note",
    };
    let place = if fault.pages.is_empty() {
        "the file".to_owned()
    } else {
        numbers(&fault.pages)
    };
    format!(
        "{mark}, {place}: {}.\n  What to do: {}.\n",
        fault.message, fault.hint
    )
}

/// `page 2`, or `pages 2, 4, 6 …` where there are many.
fn numbers(pages: &[usize]) -> String {
    const SHOWN: usize = 8;
    let shown: Vec<String> = pages.iter().take(SHOWN).map(ToString::to_string).collect();
    let more = if pages.len() > SHOWN { " …" } else { "" };
    let s = if pages.len() == 1 { "" } else { "s" };
    format!("page{s} {}{more}", shown.join(", "))
}
