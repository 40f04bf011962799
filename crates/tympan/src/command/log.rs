//! `tympan log`: the readings and runs of a set-up.

use tympan_app::Refusal;
use tympan_app::run;
use tympan_app::store::{ReadingId, ReadingRecord, RunRecord, Sent};

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
    let runs = store.runs(&setup.id)?;
    if cli.json {
        return say::json(&serde_json::json!({
            "schema": 1, "setup": setup, "readings": readings, "runs": runs,
        }));
    }
    let mut lines: Vec<String> = readings.iter().map(line).collect();
    if readings.is_empty() {
        lines.push(format!("\"{}\" has no readings yet.", setup.name));
    }
    if !runs.is_empty() {
        lines.push("Runs:".to_owned());
        lines.extend(runs.iter().map(run_line));
    }
    say::data(&lines.join("\n"))
}

/// A run: what it was, how far it came, and the rejects expected and seen.
fn run_line(run: &RunRecord) -> String {
    let mut line = format!(
        "{}  {}  {}: {} sheets in {} load{}, {}",
        run.id,
        run.made,
        run.name,
        run.sheets,
        run.loads.len(),
        if run.loads.len() == 1 { "" } else { "s" },
        run.state.as_str()
    );
    if !run.stock.is_empty() {
        line.push_str(&format!(", on {}", run.stock));
    }
    if !run.spoiled.is_empty() {
        line.push_str(&format!(
            "; {} spoiled ({})",
            run.spoiled.len(),
            run::reasons_in_words(run)
        ));
    }
    if let Some(rejects) = run::rejects_in_words(run) {
        line.push_str(&format!("; rejects {rejects}"));
    }
    for sent in &run.sent {
        line.push_str(&format!("\n    {}", sent_line(sent)));
    }
    line
}

/// What was sent to a printer, and what came of it.
fn sent_line(sent: &Sent) -> String {
    let what = match (sent.sheets.len(), sent.side) {
        (0, _) => "the make-ready".to_owned(),
        (1, None) => "1 sheet".to_owned(),
        (n, None) => format!("{n} sheets"),
        (1, Some(side)) => format!("1 {side}"),
        (n, Some(side)) => format!("{n} {side}s"),
    };
    let mut line = format!("{}  {what} sent to {}", sent.at, sent.printer);
    match (sent.whole, sent.out) {
        (true, _) => line.push_str(", all printed"),
        (false, Some(out)) => line.push_str(&format!(", {out} came out")),
        (false, None) => line.push_str(", not all printed"),
    }
    if !sent.stopped_by.is_empty() {
        line.push_str(&format!("; {}", sent.stopped_by));
    }
    line
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
