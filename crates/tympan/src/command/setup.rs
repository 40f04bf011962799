//! `tympan setup`: making, listing and keeping set-ups.

use tympan_app::Refusal;
use tympan_app::press::behaviour::{Seen, SeenAgain, Took};
use tympan_app::run::{self, TeachRequest};
use tympan_app::sheet::Length;
use tympan_app::store::{Export, IdPolicy, SetUp, Store, Tray, Unprintable};
use tympan_app::{files, measure};

use crate::args::{Cli, Heads, SetupCommand, SetupNew, SetupTeach, TookArg, YesNo};
use crate::say;

pub(crate) fn run(cli: &Cli, command: &SetupCommand) -> Result<(), Refusal> {
    let mut store = super::store(cli)?;
    match command {
        SetupCommand::New(args) => {
            let setup = new(args)?;
            store.add_set_up(&setup)?;
            let next = format!(
                "Made the set-up \"{0}\". Next: tympan testsheet --setup \"{0}\" -o test.pdf",
                setup.name
            );
            told(cli, &setup, &next)
        }
        SetupCommand::List => list(cli, &store),
        SetupCommand::Show { name } => {
            let setup = store.set_up_named(name)?;
            let count = store.reading_count(&setup.id)?;
            told(cli, &setup, &in_words(&setup, count))
        }
        SetupCommand::Rename { name, to } => {
            let setup = store.set_up_named(name)?;
            let setup = store.rename_set_up(&setup.id, to)?;
            told(
                cli,
                &setup,
                &format!("\"{name}\" is now \"{}\".", setup.name),
            )
        }
        SetupCommand::Copy { name, to } => {
            let setup = store.set_up_named(name)?;
            let copy = store.copy_set_up(&setup.id, to)?;
            told(
                cli,
                &copy,
                &format!("Made \"{}\" like \"{}\".", copy.name, setup.name),
            )
        }
        SetupCommand::Remove { name } => {
            let setup = store.set_up_named(name)?;
            let setup = store.remove_set_up(&setup.id)?;
            let undo = format!(
                "Removed \"{0}\". To undo: tympan setup restore \"{0}\"",
                setup.name
            );
            told(cli, &setup, &undo)
        }
        SetupCommand::Restore { name } => restore(cli, &mut store, name),
        SetupCommand::Teach(args) => teach(cli, &mut store, args),
        SetupCommand::Tray {
            name,
            holds,
            from,
            to,
        } => {
            let mut setup = store.set_up_named(name)?;
            let old = setup.tray.unwrap_or_default();
            let share = |percent: &Option<f64>| percent.map(|percent| percent / 100.0);
            setup.tray = Some(Tray {
                holds: holds.or(old.holds),
                from: share(from).or(old.from),
                to: share(to).or(old.to),
            });
            let setup = store.change_set_up(&setup)?;
            told(
                cli,
                &setup,
                &format!("Noted the tray of \"{}\".", setup.name),
            )
        }
        SetupCommand::Export { names, output } => {
            let ids = names
                .iter()
                .map(|name| store.set_up_named(name).map(|setup| setup.id))
                .collect::<Result<Vec<_>, _>>()?;
            let export = if ids.is_empty() {
                store.export_all()?
            } else {
                store.export(&ids)?
            };
            match output {
                Some(file) => {
                    files::write_new(file, export.to_json().as_bytes())?;
                    say::note(&format!("Wrote {}.", say::path(file)));
                    Ok(())
                }
                None => say::data(export.to_json().trim_end()),
            }
        }
        SetupCommand::Import { file, as_new } => {
            let export = Export::from_json(files::read_text(file)?.as_bytes())?;
            let policy = if *as_new {
                IdPolicy::Renew
            } else {
                IdPolicy::Keep
            };
            let imported = store.import(&export, policy)?;
            let lines: Vec<String> = imported.setups.iter().map(ToString::to_string).collect();
            if cli.json {
                return say::json(&serde_json::json!({
                    "schema": 1, "imported": lines, "ignored": imported.ignored,
                }));
            }
            for ignored in &imported.ignored {
                say::note(&format!(
                    "not known to this version and left out: {ignored}"
                ));
            }
            say::data(&lines.join("\n"))
        }
    }
}

fn teach(cli: &Cli, store: &mut Store, args: &SetupTeach) -> Result<(), Refusal> {
    let setup = store.set_up_named(&args.name)?;
    let seen = Seen {
        on_top_sheet: args.on_top_sheet,
        took: args.took.map(|took| match took {
            TookArg::Pencilled => Took::Pencilled,
            TookArg::Other => Took::Other,
        }),
        at_arrow: args.at_arrow,
        pile_top: args.uppermost,
        pile_faces: args.faces,
    };
    let again = args.behind.map(|behind_first| SeenAgain {
        behind_first,
        same_face: args.same_face == Some(YesNo::Yes),
        heads_together: args.heads == Some(Heads::Together),
    });
    let request = TeachRequest { seen, again };
    if seen == Seen::default() && again.is_none() {
        let Some(output) = &args.output else {
            return Err(Refusal::new(
                "nothing was seen yet",
                "write the two sheets to print with -o trial.pdf, then say what you see",
            ));
        };
        run::trial(&setup, None, output)?;
        if cli.json {
            return say::json(&serde_json::json!({ "schema": 1, "output": output }));
        }
        return say::data(&format!(
            "Wrote {}.\n\
             1. Put two plain sheets into the tray. On each, pencil an arrow on the face that lies up,\n   \
             pointing to the end that goes in first; write TOP on the upper sheet.\n\
             2. Print the file one-sided, at actual size.\n\
             3. Look at the two sheets as they were delivered, and say what you see:\n   \
             tympan setup teach \"{}\" --on-top-sheet 1|2 --took pencilled|other \\\n     \
             --at-arrow head|foot|left|right --uppermost 1|2 --faces up|down",
            say::path(output),
            setup.name
        ));
    }
    let taught = run::teach(store, &setup, &request)?;
    if let (false, Some(output)) = (taught.sure, &args.output) {
        run::trial(&setup, Some(&request), output)?;
    }
    if cli.json {
        return say::json(&taught);
    }
    for caution in &taught.cautions {
        say::note(caution);
    }
    let words = &taught.reload.in_words;
    if taught.sure {
        return say::data(&format!(
            "Learnt how the printer of \"{}\" lays its pile. For the second side: {words}",
            setup.name
        ));
    }
    let file = match &args.output {
        Some(output) => format!("print {} on them", say::path(output)),
        None => "print the second pass, which -o second.pdf writes".to_owned(),
    };
    say::data(&format!(
        "That leaves a doubt, which a second pass settles. {words}\nThen {file}, look at the sheet \
         with the plain 1, and give the same answers again with:\n  --behind 1|2 --same-face yes|no \
         --heads together|apart"
    ))
}

fn new(args: &SetupNew) -> Result<SetUp, Refusal> {
    let mut setup = SetUp::new(&args.name, args.paper.clone(), args.flip);
    setup.flipped_by = args.flipped_by.into();
    setup.first_side = args.first;
    setup.leading_edge = args.leading;
    setup.stock.clone_from(&args.stock);
    setup.printer.clone_from(&args.printer);
    setup.program.clone_from(&args.program);
    setup.driver.clone_from(&args.driver);
    setup.media_type.clone_from(&args.media_type);
    setup.quality.clone_from(&args.quality);
    setup.ream.clone_from(&args.ream);
    setup.feed.clone_from(&args.feed);
    setup.notes.clone_from(&args.notes);
    setup.unprintable = unprintable(&args.unprintable)?;
    Ok(setup)
}

fn unprintable(widths: &[Length]) -> Result<Option<Unprintable>, Refusal> {
    let mm: Vec<f64> = widths.iter().map(|width| width.to_mm()).collect();
    match mm.as_slice() {
        [] => Ok(None),
        &[all] => Ok(Some(Unprintable {
            top: all,
            right: all,
            bottom: all,
            left: all,
        })),
        &[top, right, bottom, left] => Ok(Some(Unprintable {
            top,
            right,
            bottom,
            left,
        })),
        _ => Err(Refusal::new(
            format!("{} widths do not say which edges they are for", mm.len()),
            "give one width for all edges, or four: top,right,bottom,left",
        )),
    }
}

fn told(cli: &Cli, setup: &SetUp, words: &str) -> Result<(), Refusal> {
    if cli.json {
        return say::json(&serde_json::json!({ "schema": 1, "setup": setup }));
    }
    say::data(words)
}

fn list(cli: &Cli, store: &Store) -> Result<(), Refusal> {
    let setups = store.set_ups()?;
    if cli.json {
        return say::json(&serde_json::json!({ "schema": 1, "setups": setups }));
    }
    if setups.is_empty() {
        return say::data(
            "No set-ups yet. Make one: tympan setup new \"rear tray\" --paper a4 --flip sideways",
        );
    }
    let mut lines = Vec::new();
    for setup in &setups {
        let count = store.reading_count(&setup.id)?;
        let stock = setup
            .stock
            .as_ref()
            .map(|s| format!(", {}", s.name()))
            .unwrap_or_default();
        lines.push(format!(
            "{}  ({}{stock}, flipped {}, {count} reading{})",
            setup.name,
            setup.paper,
            setup.flip,
            if count == 1 { "" } else { "s" }
        ));
    }
    say::data(&lines.join("\n"))
}

fn restore(cli: &Cli, store: &mut Store, name: &str) -> Result<(), Refusal> {
    let removed = store.removed_set_ups()?;
    let found = removed
        .iter()
        .rfind(|setup| setup.name.to_lowercase() == name.to_lowercase());
    let Some(setup) = found else {
        let names: Vec<&str> = removed.iter().map(|setup| setup.name.as_str()).collect();
        return Err(Refusal::new(
            format!("no set-up \"{name}\" was removed"),
            match names.as_slice() {
                [] => "there is nothing to bring back".to_owned(),
                names => format!("removed are: {}", names.join(", ")),
            },
        ));
    };
    let setup = store.restore_set_up(&setup.id, None)?;
    told(cli, &setup, &format!("\"{}\" is back.", setup.name))
}

fn in_words(setup: &SetUp, readings: usize) -> String {
    let mut lines = vec![setup.name.clone()];
    let mut add = |label: &str, value: &str| {
        if !value.is_empty() {
            lines.push(format!("  {label:<14}{value}"));
        }
    };
    add("paper", &setup.paper.to_string());
    add(
        "stock",
        setup.stock.as_ref().map_or("", |stock| stock.name()),
    );
    add("printer", &setup.printer);
    add("feed", &setup.feed);
    let by = match setup.flipped_by {
        measure::FlippedBy::Hand => "by hand",
        measure::FlippedBy::Machine => "by the machine",
    };
    add("flip", &format!("{}, {by}", setup.flip));
    add("first side", &setup.first_side.to_string());
    add("leading edge", &setup.leading_edge.to_string());
    add("program", &setup.program);
    add("driver", &setup.driver);
    add("media type", &setup.media_type);
    add("quality", &setup.quality);
    add("ream", &setup.ream);
    if let Some(u) = setup.unprintable {
        let edges = format!(
            "{} {} {} {} mm (top right bottom left)",
            u.top, u.right, u.bottom, u.left
        );
        add("unprintable", &edges);
    }
    add("notes", &setup.notes);
    add("test sheets", &setup.sheets_issued.to_string());
    add("readings", &readings.to_string());
    lines.join("\n")
}
