//! `tympan serve`: the page on this machine; and the child that reads files for it.

use std::time::Duration;

use tympan_app::Refusal;
use tympan_web::Options;

use crate::args::{Cli, Serve};

pub(crate) fn run(cli: &Cli, args: &Serve) -> Result<(), Refusal> {
    tympan_web::serve(&Options {
        data: tympan_app::store::data_folder(cli.data.clone())?,
        port: args.port,
        open: !args.no_open,
        patience: Duration::from_secs(args.patience),
    })
}

/// Without a command: serve, and open the browser.
pub(crate) fn run_by_default(cli: &Cli) -> Result<(), Refusal> {
    let args = Serve {
        port: None,
        no_open: false,
        patience: 30,
    };
    run(cli, &args)
}

pub(crate) fn work(memory_mb: u64) -> Result<(), Refusal> {
    tympan_web::worker::work(memory_mb)
        .map_err(|e| Refusal::new(format!("the helper ended: {e}"), "start tympan serve"))
}
