//! The commands, one file for each.

mod correct;
mod demo;
mod generate;
mod inspect;
mod lay;
mod log;
mod print;
mod read;
mod report;
mod run;
mod serve;
mod setup;
mod stock;
mod teach;
mod testsheet;

use tympan_app::Refusal;
use tympan_app::store::Store;

use crate::args::{Cli, Command};

/// Does what was asked.
pub(crate) fn run(cli: &Cli) -> Result<(), Refusal> {
    match &cli.command {
        Some(Command::Serve(args)) => serve::run(cli, args),
        Some(Command::Setup(command)) => setup::run(cli, command),
        Some(Command::Testsheet(args)) => testsheet::run(cli, args),
        Some(Command::Read(args)) => read::run(cli, args),
        Some(Command::Report(args)) => report::run(cli, args),
        Some(Command::Inspect(args)) => inspect::run(cli, args),
        Some(Command::Correct(args)) => correct::run(cli, args),
        Some(Command::Lay(args)) => lay::run(cli, args),
        Some(Command::Run(args)) => run::run(cli, args),
        Some(Command::Print(args)) => print::run(cli, args),
        Some(Command::Stock(args)) => stock::run(cli, args),
        Some(Command::Log(args)) => log::run(cli, args),
        Some(Command::Demo(args)) => demo::run(cli, &args.folder),
        Some(Command::Generate(args)) => generate::run(args.what),
        Some(Command::Worker { memory }) => serve::work(*memory),
        None => serve::run_by_default(cli),
    }
}

/// The store in the data folder.
fn store(cli: &Cli) -> Result<Store, Refusal> {
    tympan_app::open_store(cli.data.clone())
}
