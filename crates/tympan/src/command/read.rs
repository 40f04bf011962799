//! `tympan read`: test sheets into the log.

use std::io::{self, BufRead, IsTerminal, Read as _};
use std::path::Path;
use std::sync::atomic::AtomicBool;

use tympan_app::Refusal;
use tympan_app::files;
use tympan_app::measure::{
    self, ByEye, CheckRules, PicturesAsked, ReadSheet, ReadTold, SetUp, Store,
};

use crate::args::{Cli, Read};
use crate::say;

pub(crate) fn run(cli: &Cli, args: &Read) -> Result<(), Refusal> {
    let mut store = super::store(cli)?;
    let setup = store.set_up_named(&args.setup)?;
    if !args.pictures.is_empty() {
        return pictures(cli, &mut store, &setup, args);
    }
    let mut sheets = match &args.table {
        Some(file) => measure::parse_table(&table(file)?)?,
        None => vec![one_sheet(args, &setup)?],
    };
    let mut rules = CheckRules::default();
    for text in &args.rule {
        rules = measure::with_rules(rules, measure::parse_rules(text)?);
    }
    for sheet in &mut sheets {
        sheet.rules = measure::with_rules(sheet.rules, rules);
        sheet.first_side = args.first;
    }
    let read = measure::read_by_eye(&mut store, &setup, &sheets, args.again)?;
    answer(cli, &store, &setup, &read)
}

fn table(file: &Path) -> Result<String, Refusal> {
    if file != Path::new("-") {
        return files::read_text(file);
    }
    let mut text = String::new();
    io::stdin()
        .lock()
        .take(16 << 20)
        .read_to_string(&mut text)
        .map_err(|e| {
            Refusal::new(
                format!("the table cannot be read from stdin: {e}"),
                "give it as a file",
            )
        })?;
    Ok(text)
}

fn one_sheet(args: &Read, setup: &SetUp) -> Result<ByEye, Refusal> {
    let mut sheet = ByEye {
        sheet: args.sheet,
        ..ByEye::default()
    };
    if let Some(words) = &args.ruler {
        sheet.ruler = Some(measure::parse_seen(words)?);
        return Ok(sheet);
    }
    for hole in &args.pin {
        sheet.holes.push(measure::parse_hole(hole)?);
    }
    if sheet.holes.is_empty() {
        ask(setup, &mut sheet)?;
    }
    Ok(sheet)
}

/// Asks place by place; an empty answer skips a place.
fn ask(setup: &SetUp, sheet: &mut ByEye) -> Result<(), Refusal> {
    if io::stdin().is_terminal() {
        say::note(
            "Look at the back. At each place, find the hole on the grid and type the words beside it,\n\
             like: 2.1 low, 0.4 left   (0 if it is on the cross; nothing if there is no hole)",
        );
    }
    let mut lines = io::stdin().lock().lines();
    let mut answer = |prompt: &str| -> Result<Option<String>, Refusal> {
        if io::stdin().is_terminal() {
            say::prompt(prompt);
        }
        match lines.next() {
            None => Ok(None),
            Some(Ok(line)) => Ok(Some(line.trim().to_owned())),
            Some(Err(e)) => Err(Refusal::new(
                format!("no answer: {e}"),
                "give places with --pin",
            )),
        }
    };
    if sheet.sheet.is_none() {
        match answer("Number on the sheet: ")?.as_deref() {
            None | Some("") => {}
            Some(text) => {
                let number = text.parse().map_err(|_| {
                    Refusal::new(
                        format!("\"{text}\" is no sheet number"),
                        "it stands beside the words FRONT and BACK",
                    )
                })?;
                sheet.sheet = Some(number);
            }
        }
    }
    for station in measure::test_sheet(setup, 1)?.stations() {
        loop {
            let Some(text) = answer(&format!("{}: ", station.name))? else {
                return Ok(());
            };
            if text.is_empty() {
                break;
            }
            match measure::parse_seen(&text) {
                Ok(seen) => {
                    sheet.holes.push((station.name, seen));
                    break;
                }
                // A person may try again; a script may not go on with something else.
                Err(error) if io::stdin().is_terminal() => say::refusal(&error.into()),
                Err(error) => return Err(error.into()),
            }
        }
    }
    Ok(())
}

fn answer(cli: &Cli, store: &Store, setup: &SetUp, read: &[ReadSheet]) -> Result<(), Refusal> {
    let told = measure::told(setup, read)?;
    if cli.json {
        return say::json(&told);
    }
    in_words(store, setup, &told)
}

/// Scans and photos. Where none of them can be read, that is a refusal.
fn pictures(cli: &Cli, store: &mut Store, setup: &SetUp, args: &Read) -> Result<(), Refusal> {
    let cancel = AtomicBool::new(false);
    let asked = PicturesAsked {
        again: args.again,
        evidence: args.evidence.as_deref(),
    };
    let told =
        measure::read_pictures(store, setup, &args.pictures, asked, &mut |_, _| {}, &cancel)?;
    let none_read = told.read.sheets.is_empty();
    if cli.json {
        say::json(&told)?;
    } else {
        for refused in &told.refused {
            let files: Vec<String> = refused.files.iter().map(|f| say::path(f)).collect();
            say::refusal(&Refusal::new(
                format!("{}: {}", files.join(" and "), refused.refused.message),
                refused.refused.hint,
            ));
        }
        if !none_read {
            in_words(store, setup, &told.read)?;
        }
    }
    if none_read {
        Err(Refusal::said_already())
    } else {
        Ok(())
    }
}

fn in_words(store: &Store, setup: &SetUp, told: &ReadTold) -> Result<(), Refusal> {
    for sheet in &told.sheets {
        for warning in &sheet.warnings {
            say::note(warning);
        }
        say::data(&sheet.in_words)?;
    }
    let count = store.readings_in_use(&setup.id)?.len();
    let next = if count < 3 {
        format!(
            "\"{}\" has {count} of the three to five sheets that tell a printer well.",
            setup.name
        )
    } else {
        format!(
            "\"{0}\" has {count} sheets. See: tympan report --setup \"{0}\"",
            setup.name
        )
    };
    say::data(&next)
}
