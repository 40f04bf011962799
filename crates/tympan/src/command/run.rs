//! `tympan run`: the passes, loads and steps that print a job.

use std::sync::atomic::AtomicBool;

use tympan_app::Refusal;
use tympan_app::correct::Progress;
use tympan_app::press::loads::Turns;
use tympan_app::run::{self, Again, Followed, PassTold, Request, RunTold};
use tympan_app::words::OnBack;

use crate::args::{Cli, Run, RunTurns};
use crate::say;

/// Files that are told one by one, up to so many.
const TOLD: usize = 24;

pub(crate) fn run(cli: &Cli, args: &Run) -> Result<(), Refusal> {
    let cancel = AtomicBool::new(false);
    let mut shown = None;
    let mut progress = |at: Progress| {
        let percent = 100 * at.done / at.total.max(1);
        if shown.replace(percent) != Some(percent) {
            let text = format!("{percent:3} % of {} sheets and sides", at.total);
            say::passing(&text, at.done == at.total);
        }
    };
    let mut store = super::store(cli)?;
    if !args.inputs.is_empty() {
        let request = request(args)?;
        let told = run::make(&mut store, &request, &mut progress, &cancel)?;
        return made(cli, &told);
    }
    let of = run::find(&store, args.of.as_deref())?;
    if let Some(seen) = &args.adjust {
        let seen = OnBack::parse(seen)?;
        let password = args.password.as_deref();
        let told = run::adjust(&mut store, &of, &seen, password, &mut progress, &cancel)?;
        return made(cli, &told);
    }
    let followed = if let Some(sheets) = &args.again {
        let asked = Again {
            sheets: sheets.0.clone(),
            only: args.only,
            stopped_in: args.stopped_in,
            why: args.why.clone(),
            folder: args.output.clone().ok_or_else(|| {
                Refusal::new(
                    "nothing says where to write the files",
                    "name a new folder: -o FOLDER",
                )
            })?,
            password: args.password.clone(),
        };
        run::again(&mut store, &of, &asked, &mut progress, &cancel)?
    } else if let Some(sheets) = &args.spoiled {
        let why = args.why.as_deref().unwrap_or("not said");
        run::spoil(&mut store, &of, &sheets.0, why)?
    } else if args.undo {
        run::undo(&mut store, &of)?
    } else if args.started {
        run::moved(&mut store, &of)?
    } else if args.done {
        run::finish(&mut store, &of)?
    } else {
        return Err(Refusal::new(
            "nothing says what to print",
            "name a PDF: tympan run game.pdf --setup NAME -o FOLDER; or say what became of a run, \
             with --again, --spoiled, --started, --done or --undo",
        ));
    };
    if cli.json {
        return say::json(&followed);
    }
    say::data(&followed_in_words(&followed))
}

fn request(args: &Run) -> Result<Request, Refusal> {
    let missing = |what: &str| {
        Refusal::new(
            format!("nothing says {what}"),
            "like this: tympan run game.pdf --setup NAME -o FOLDER",
        )
    };
    Ok(Request {
        inputs: args.inputs.clone(),
        back_file: args.back_file.clone(),
        name: None,
        folder: args
            .output
            .clone()
            .ok_or_else(|| missing("where to write the files"))?,
        setup: args
            .setup
            .clone()
            .ok_or_else(|| missing("which set-up prints it"))?,
        backs: args.backs.clone(),
        flip: args.flip,
        paper: args.paper.clone(),
        place: args.place.into(),
        on: args.on.into(),
        as_is: args.as_is,
        copies: args.copies,
        first: args.first,
        turns: match args.turns {
            RunTurns::Load => Turns::EachLoad,
            RunTurns::Side => Turns::AllFirst,
        },
        at_a_time: args.load,
        spares: args.spares,
        bleed: args.bleed,
        no_numbers: args.no_numbers,
        password: args.password.clone(),
        really: args.yes_really,
    })
}

fn made(cli: &Cli, told: &RunTold) -> Result<(), Refusal> {
    if cli.json {
        return say::json(told);
    }
    for caution in &told.cautions {
        say::note(caution);
    }
    say::data(&in_words(told))
}

fn in_words(told: &RunTold) -> String {
    let s = |n: u32| if n == 1 { "" } else { "s" };
    let mut text = format!(
        "Run {}: {} sheet{} in {} load{}, and {} to spare. No paper has moved.\n\
         Wrote {}. Begin with {}.\n",
        told.run,
        told.sheets,
        s(told.sheets),
        told.loads.len(),
        s(told.loads.len() as u32),
        told.spares,
        say::path(&told.folder),
        told.job_sheet,
    );
    if let Some(expected) = told.expected_rejects {
        text.push_str(&format!(
            "Expected to show white at a cut: {:.1} % of the sheets.\n",
            100.0 * expected
        ));
    }
    text.push_str("Make ready with one sheet on plain paper, then one on the stock:\n");
    text.push_str(&files(&told.make_ready));
    text.push_str("Then print, in this order:\n");
    text.push_str(&files(&told.passes));
    if let Some(back) = &told.reload {
        text.push_str(&format!(
            "Between the two sides of a load: {}\n",
            back.in_words
        ));
    }
    text.push_str("Print at actual size (100 %), never fitted to the page.");
    text
}

fn files(passes: &[PassTold]) -> String {
    let line = |pass: &PassTold| {
        let count = pass.sheets.len();
        let s = if count == 1 { "" } else { "s" };
        format!("  {}  ({count} sheet{s})\n", pass.file)
    };
    let mut text: String = passes.iter().take(TOLD).map(line).collect();
    if passes.len() > TOLD {
        text.push_str(&format!("  and {} more\n", passes.len() - TOLD));
    }
    text
}

fn followed_in_words(followed: &Followed) -> String {
    let mut text = followed.in_words.clone();
    if let Some(folder) = &followed.folder {
        text.push_str(&format!("\nWrote {}:\n", say::path(folder)));
        text.push_str(files(&followed.passes).trim_end());
    }
    let twice = followed
        .passes
        .iter()
        .any(|p| p.side != followed.passes[0].side);
    if let (Some(back), true) = (&followed.reload, twice) {
        text.push_str(&format!("\nBetween the two sides: {}", back.in_words));
    }
    text
}
