//! `tympan setup teach`: how a printer lays its pile, from answers given as options or asked on the
//! terminal.

use std::io::{self, IsTerminal};
use std::path::{Path, PathBuf};

use tympan_app::Refusal;
use tympan_app::press::behaviour::{Seen, SeenAgain, Took};
use tympan_app::run::{self, Taught, TeachRequest};
use tympan_app::sheet::{Facing, LeadingEdge};
use tympan_app::store::{SetUp, Store};

use crate::args::{Cli, Heads, SetupTeach, TookArg, YesNo};
use crate::say;

pub(crate) fn run(cli: &Cli, store: &mut Store, args: &SetupTeach) -> Result<(), Refusal> {
    let setup = store.set_up_named(&args.name)?;
    let mut request = given(args);
    let can_ask = !cli.json && io::stdin().is_terminal();
    if request.seen == Seen::default() && request.again.is_none() {
        if let Some(output) = &args.output {
            run::trial(&setup, None, output)?;
            if cli.json {
                return say::json(&serde_json::json!({ "schema": 1, "output": output }));
            }
            return say::data(&what_to_do(&setup, &say::path(output)));
        }
        if !can_ask {
            return Err(Refusal::new(
                "nothing was seen yet",
                "write the two sheets to print with -o trial.pdf, then say what you see",
            ));
        }
        request.seen = asked()?;
    }
    let mut taught = run::teach(store, &setup, &request)?;
    let mut second = args.output.clone();
    if !taught.sure && request.again.is_none() {
        if can_ask && second.is_none() {
            second = Some(where_to()?);
        }
        if let Some(output) = &second {
            run::trial(&setup, Some(&request), output)?;
        }
        if let (true, Some(output)) = (can_ask, &second) {
            request.again = Some(asked_again(&taught, &say::path(output))?);
            taught = run::teach(store, &setup, &request)?;
        }
    }
    if !taught.sure && request.again.is_some() {
        return Err(Refusal::new(
            "the answers to both passes leave a doubt still; nothing was kept",
            "print the two sheets once more, and answer whatever you can see",
        ));
    }
    told(cli, second.as_deref(), &taught)
}

/// The answers that were given as options.
fn given(args: &SetupTeach) -> TeachRequest {
    TeachRequest {
        seen: Seen {
            on_top_sheet: args.on_top_sheet,
            took: args.took.map(|took| match took {
                TookArg::Pencilled => Took::Pencilled,
                TookArg::Other => Took::Other,
            }),
            at_arrow: args.at_arrow,
            pile_top: args.uppermost,
            pile_faces: args.faces,
        },
        again: args.behind.map(|behind_first| SeenAgain {
            behind_first,
            same_face: args.same_face == Some(YesNo::Yes),
            heads_together: args.heads == Some(Heads::Together),
        }),
    }
}

/// Asks what was seen after the first pass. What was not seen is left out.
fn asked() -> Result<Seen, Refusal> {
    say::note(
        "Look at the two sheets as the printer gave them back. Press Enter where you did not see it.",
    );
    let number = [("1", 1), ("2", 2)];
    let pile_top = answer("Which number is on the uppermost sheet? (1/2): ", &number)?;
    let pile_faces = answer(
        "How do the prints lie there? (up/down): ",
        &[("up", Facing::Up), ("down", Facing::Down)],
    )?;
    let on_top_sheet = answer(
        "Which number did the sheet get that says TOP? (1/2): ",
        &number,
    )?;
    let took = answer(
        "Which face took the print? (pencilled/other): ",
        &[("pencilled", Took::Pencilled), ("other", Took::Other)],
    )?;
    let at_arrow = answer(
        "Which edge of the print lies where the pencil arrow points? (head/foot/left/right): ",
        &[
            ("head", LeadingEdge::Head),
            ("foot", LeadingEdge::Foot),
            ("left", LeadingEdge::Left),
            ("right", LeadingEdge::Right),
        ],
    )?;
    Ok(Seen {
        on_top_sheet,
        took,
        at_arrow,
        pile_top,
        pile_faces,
    })
}

/// Asks where the second pass is written; a name that is free where none is typed.
fn where_to() -> Result<PathBuf, Refusal> {
    let names = (1..).map(|n| match n {
        1 => PathBuf::from("second-pass.pdf"),
        n => PathBuf::from(format!("second-pass-{n}.pdf")),
    });
    let free = names.into_iter().find(|name| !name.exists());
    let free = free.unwrap_or_default();
    let question = format!(
        "That leaves a doubt, which a second short pass settles. Write its file to ({}): ",
        say::path(&free)
    );
    let typed = say::ask_as_typed(&question)?;
    Ok(if typed.is_empty() { free } else { typed.into() })
}

/// Says how the second pass is printed, and asks what was seen after it.
fn asked_again(taught: &Taught, file: &str) -> Result<SeenAgain, Refusal> {
    say::note(&format!(
        "Wrote {file}. Print it on the same two sheets, and leave this open meanwhile:\n\
         1. {}\n\
         2. Print the file one-sided, at actual size.\n\
         3. Find the sheet with the plain 1, and answer these three.",
        taught.reload.in_words
    ));
    let yes_or_no = [("yes", true), ("no", false)];
    Ok(SeenAgain {
        behind_first: needed(
            "Which ringed number did that sheet get? (1/2): ",
            &[("1", 1), ("2", 2)],
        )?,
        same_face: needed(
            "Are the plain and the ringed number on the same face? (yes/no): ",
            &yes_or_no,
        )?,
        heads_together: needed(
            "Are the heads of the two prints at the same edge of the sheet? (yes/no): ",
            &yes_or_no,
        )?,
    })
}

/// As [`answer`], but asks until there is one.
fn needed<T: Copy>(question: &str, words: &[(&str, T)]) -> Result<T, Refusal> {
    loop {
        if let Some(value) = answer(question, words)? {
            return Ok(value);
        }
        say::note("This one is needed: look at the sheet.");
    }
}

/// One of these words, or their beginning; nothing where nothing is typed.
fn answer<T: Copy>(question: &str, words: &[(&str, T)]) -> Result<Option<T>, Refusal> {
    loop {
        let typed = say::ask(question)?;
        if typed.is_empty() {
            return Ok(None);
        }
        let mut meant = words.iter().filter(|(word, _)| word.starts_with(&typed));
        if let (Some((_, value)), None) = (meant.next(), meant.next()) {
            return Ok(Some(*value));
        }
        let all: Vec<&str> = words.iter().map(|(word, _)| *word).collect();
        say::note(&format!("Type one of: {}.", all.join(", ")));
    }
}

fn what_to_do(setup: &SetUp, file: &str) -> String {
    format!(
        "Wrote {file}.\n\
         1. Put two plain sheets into the tray. On each, pencil an arrow on the face that lies up,\n   \
         pointing to the end that goes in first; write TOP on the upper sheet.\n\
         2. Print the file one-sided, at actual size.\n\
         3. Look at the two sheets as they were delivered, and let Tympan ask what you see:\n   \
         tympan setup teach \"{0}\"\n   or say it at once:\n   \
         tympan setup teach \"{0}\" --on-top-sheet 1|2 --took pencilled|other \\\n     \
         --at-arrow head|foot|left|right --uppermost 1|2 --faces up|down",
        setup.name
    )
}

fn told(cli: &Cli, second: Option<&Path>, taught: &Taught) -> Result<(), Refusal> {
    if cli.json {
        return say::json(taught);
    }
    for caution in &taught.cautions {
        say::note(caution);
    }
    let words = &taught.reload.in_words;
    if taught.sure {
        return say::data(&format!(
            "Learnt how the printer of \"{}\" lays its pile. For the second side: {words}",
            taught.setup
        ));
    }
    let file = match second {
        Some(output) => format!("print {} on them", say::path(output)),
        None => "print the second pass, which the same answers with -o second.pdf write".to_owned(),
    };
    say::data(&format!(
        "That leaves a doubt, which a second pass settles. {words}\nThen {file}, look at the sheet \
         with the plain 1, and give the same answers again with:\n  --behind 1|2 --same-face yes|no \
         --heads together|apart"
    ))
}
