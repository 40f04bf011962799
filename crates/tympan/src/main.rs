//! The command line.
//!
//! Data goes to stdout, everything else to stderr. Exit status: 0 done, 1 refused with a reason,
//! 2 wrong usage.

mod args;
mod command;
mod say;

use std::process::ExitCode;

use clap::Parser;
use tympan_app::Refusal;

use crate::args::Cli;

fn main() -> ExitCode {
    let cli = Cli::parse();
    match command::run(&cli) {
        Ok(()) => ExitCode::SUCCESS,
        Err(refusal) => refused(&refusal, cli.json),
    }
}

fn refused(refusal: &Refusal, json: bool) -> ExitCode {
    if refusal.is_broken_pipe() {
        return ExitCode::SUCCESS;
    }
    if refusal.is_said_already() {
        return ExitCode::from(1);
    }
    if json {
        let said = serde_json::json!({
            "schema": 1,
            "refused": { "message": refusal.message, "hint": refusal.hint },
        });
        // Nothing is left to be done where stdout is gone too.
        let _ = say::data(&format!("{said:#}"));
    }
    say::refusal(refusal);
    ExitCode::from(1)
}
