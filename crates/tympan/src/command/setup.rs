//! `tympan setup`: making, listing and keeping set-ups.

use tympan_app::Refusal;
use tympan_app::sheet::Length;
use tympan_app::store::{Export, IdPolicy, SetUp, Store, Tray, Unprintable};
use tympan_app::{files, measure};

use crate::args::{Cli, SetupCommand, SetupNew};
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
        SetupCommand::Teach(args) => super::teach::run(cli, &mut store, args),
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
