//! The manual page and completions, made from the commands themselves.

use clap::CommandFactory;
use clap_complete::Shell;
use tympan_app::Refusal;

use crate::args::{Cli, Generated};
use crate::say;

pub(crate) fn run(what: Generated) -> Result<(), Refusal> {
    let mut command = Cli::command();
    let mut out = Vec::new();
    let shell = match what {
        Generated::Man => {
            let page = clap_mangen::Man::new(command);
            page.render(&mut out).map_err(|e| Refusal::of_stdout(&e))?;
            return say::data(&String::from_utf8_lossy(&out));
        }
        Generated::Bash => Shell::Bash,
        Generated::Zsh => Shell::Zsh,
        Generated::Fish => Shell::Fish,
        Generated::Powershell => Shell::PowerShell,
    };
    clap_complete::generate(shell, &mut command, "tympan", &mut out);
    say::data(&String::from_utf8_lossy(&out))
}
