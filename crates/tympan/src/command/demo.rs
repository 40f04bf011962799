//! `tympan demo`: the demo game, and a faulty printer to play with.

use std::path::{Path, PathBuf};

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

/// What happens without a command: the demo goes into a folder of its own.
pub(crate) fn run_by_default(cli: &Cli) -> Result<(), Refusal> {
    const NAME: &str = "saltmarsh-ferry-demo";
    let names = std::iter::once(PathBuf::from(NAME))
        .chain((2..1000).map(|n| PathBuf::from(format!("{NAME}-{n}"))));
    let folder = names
        .into_iter()
        .find(|folder| !folder.exists())
        .ok_or_else(|| {
            Refusal::new(
                "there are a thousand demos here",
                "remove some, or name a folder: demo DIR",
            )
        })?;
    run(cli, &folder)
}
