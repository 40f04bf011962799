//! `tympan log`: the readings of a set-up.

use tympan_app::Refusal;
use tympan_app::store::{ReadingId, ReadingRecord};

use crate::args::{Cli, Log};
use crate::say;

pub(crate) fn run(cli: &Cli, args: &Log) -> Result<(), Refusal> {
    let mut store = super::store(cli)?;
    if let Some(id) = &args.set_aside {
        let record = store.set_aside(&reading_id(id)?, args.why.as_deref().unwrap_or_default())?;
        return told(
            cli,
            &record,
            "set aside; it is kept, and log --bring-back uses it again",
        );
    }
    if let Some(id) = &args.bring_back {
        let record = store.bring_back(&reading_id(id)?)?;
        return told(cli, &record, "in use again");
    }
    let setup = store.set_up_named(args.setup.as_deref().unwrap_or_default())?;
    let readings = store.readings(&setup.id)?;
    if cli.json {
        return say::json(
            &serde_json::json!({ "schema": 1, "setup": setup, "readings": readings }),
        );
    }
    if readings.is_empty() {
        return say::data(&format!("\"{}\" has no readings yet.", setup.name));
    }
    let lines: Vec<String> = readings.iter().map(line).collect();
    say::data(&lines.join("\n"))
}

fn reading_id(text: &str) -> Result<ReadingId, Refusal> {
    text.parse().map_err(|_| {
        Refusal::new(
            format!("\"{text}\" is no reading"),
            "log --setup lists the readings by name",
        )
    })
}

fn told(cli: &Cli, record: &ReadingRecord, what: &str) -> Result<(), Refusal> {
    if cli.json {
        return say::json(&serde_json::json!({ "schema": 1, "reading": record }));
    }
    say::data(&format!("Reading {} is {what}.", record.id))
}

fn line(record: &ReadingRecord) -> String {
    let sheet = record
        .sheet
        .map_or_else(|| "     –".to_owned(), |n| format!("{n:>6}"));
    let points = record.reading.observations.len();
    let places = if points == 1 { "place" } else { "places" };
    let mut line = format!(
        "{}  sheet {sheet}  {}  by {}, {points} {places}",
        record.id, record.taken_at, record.way
    );
    if let Some(aside) = &record.set_aside {
        line.push_str(&format!("  (set aside: {})", aside.reason));
    }
    line
}
