//! `tympan demo`: the demo game, and a faulty printer to play with.

use std::path::Path;

use tympan_app::Refusal;
use tympan_app::demo;

use crate::args::Cli;
use crate::say;

pub(crate) fn run(cli: &Cli, folder: &Path) -> Result<(), Refusal> {
    let made = demo::write(folder)?;
    if cli.json {
        return say::json(&made);
    }
    say::data(&made.in_words())
}
