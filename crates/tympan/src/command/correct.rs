//! `tympan correct`: a PDF whose backs land behind its fronts.

use std::sync::atomic::AtomicBool;

use tympan_app::Refusal;
use tympan_app::correct::{self, Asked, Outcome, PageOutcome, Progress, Request};
use tympan_app::sheet::Length;
use tympan_app::words::{self, OnBack};

use crate::args::{Cli, Correct};
use crate::say;

/// Pages that are treated alike are told together, up to so many kinds.
const GROUPS_TOLD: usize = 12;

pub(crate) fn run(cli: &Cli, args: &Correct) -> Result<(), Refusal> {
    let asked = asked(args)?;
    let store = match asked {
        Asked::SetUp(_) => Some(super::store(cli)?),
        _ => None,
    };
    let request = Request {
        inputs: args.inputs.clone(),
        back_file: args.back_file.clone(),
        output: args.output.clone(),
        asked,
        and_file: args.and_file,
        on: args.on.into(),
        backs: args.backs.clone(),
        flip: args.flip,
        paper: args.paper.clone(),
        place: args.place.into(),
        driver_turns: args.driver_turns.map(Into::into),
        password: args.password.clone(),
        really: args.yes_really,
    };
    let cancel = AtomicBool::new(false);
    let mut shown = None;
    let mut progress = |at: Progress| {
        let percent = 100 * at.done / at.total.max(1);
        if shown.replace(percent) != Some(percent) {
            let text = format!("{percent:3} % of {} pages", at.total);
            say::passing(&text, at.done == at.total);
        }
    };
    let outcome = correct::correct(store.as_ref(), &request, &mut progress, &cancel)?;
    if cli.json {
        return say::json(&outcome);
    }
    for caution in &outcome.cautions {
        say::note(caution);
    }
    say::data(&in_words(&outcome))
}

fn asked(args: &Correct) -> Result<Asked, Refusal> {
    if let Some(name) = &args.setup {
        return Ok(Asked::SetUp(name.clone()));
    }
    if let Some(seen) = &args.seen {
        return Ok(Asked::Seen(OnBack::parse(seen)?));
    }
    if args.moved.is_none() && args.tilt.is_none() && args.stretch.is_none() {
        if args.and_file {
            return Ok(Asked::FileOnly);
        }
        return Err(Refusal::new(
            "nothing says how the backs lie",
            "say what you see, looking at the back: --seen \"2mm low, 0.4mm left\"; or name a \
             set-up that has been measured: --setup NAME",
        ));
    }
    let mut moved = match &args.moved {
        None => OnBack::default(),
        Some(text) => match two_numbers(text) {
            Some((right, down)) => OnBack {
                right,
                down,
                ..OnBack::default()
            },
            None => OnBack::parse(text)?,
        },
    };
    let twice = |what: &str| {
        Refusal::new(
            format!("the {what} is given twice"),
            "give it in --move or by itself",
        )
    };
    if let Some(tilt) = args.tilt {
        if moved.tilt.to_radians() != 0.0 {
            return Err(twice("tilt"));
        }
        moved.tilt = tilt;
    }
    if let Some(stretch) = &args.stretch {
        if moved.stretch_x != 0.0 || moved.stretch_y != 0.0 {
            return Err(twice("stretch"));
        }
        let parts = stretch
            .split_once(',')
            .and_then(|(x, y)| Some((words::percent(x)?, words::percent(y)?)));
        (moved.stretch_x, moved.stretch_y) = parts.ok_or_else(|| {
            Refusal::new(
                format!("\"{stretch}\" is no stretch"),
                "write per cent across and from top to bottom, like 0.1%,-0.05%",
            )
        })?;
    }
    Ok(Asked::Move(moved))
}

/// `DX,DY`: to the right and down.
fn two_numbers(text: &str) -> Option<(Length, Length)> {
    let (x, y) = text.split_once(',')?;
    Some((x.parse().ok()?, y.parse().ok()?))
}

fn in_words(outcome: &Outcome) -> String {
    let moved: Vec<&PageOutcome> = outcome.pages.iter().filter(|page| page.moved).collect();
    let mut text = format!(
        "Wrote {}: {} page{}, {} moved.\n",
        say::path(&outcome.output),
        outcome.pages.len(),
        if outcome.pages.len() == 1 { "" } else { "s" },
        moved.len()
    );
    let mut groups: Vec<(Vec<usize>, &PageOutcome)> = Vec::new();
    for page in moved {
        let alike = |other: &PageOutcome| {
            other.side == page.side && other.in_words == page.in_words && other.lost == page.lost
        };
        match groups.iter_mut().find(|(_, first)| alike(first)) {
            Some((pages, _)) => pages.push(page.page),
            None => groups.push((vec![page.page], page)),
        }
    }
    for (pages, page) in groups.iter().take(GROUPS_TOLD) {
        text.push_str(&format!(
            "  {}s, {}: {}\n",
            page.side,
            numbers(pages),
            page.in_words
        ));
        for loss in &page.lost {
            text.push_str(&format!("    {loss}\n"));
        }
    }
    if groups.len() > GROUPS_TOLD {
        text.push_str("  and more: --json tells all\n");
    }
    text.push_str("Print it at actual size (100 %), never fitted to the page.");
    text
}

/// `page 2`, or `pages 2, 4, 6 …` where there are many.
fn numbers(pages: &[usize]) -> String {
    const SHOWN: usize = 8;
    let shown: Vec<String> = pages.iter().take(SHOWN).map(ToString::to_string).collect();
    let more = if pages.len() > SHOWN { " …" } else { "" };
    let s = if pages.len() == 1 { "" } else { "s" };
    format!("page{s} {}{more}", shown.join(", "))
}
