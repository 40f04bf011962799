//! `tympan testsheet`: test sheets to print on both sides.

use tympan_app::Refusal;
use tympan_app::measure::{self, FlippedBy};

use crate::args::{Cli, Testsheet};
use crate::say;

pub(crate) fn run(cli: &Cli, args: &Testsheet) -> Result<(), Refusal> {
    let mut store = super::store(cli)?;
    let setup = store.set_up_named(&args.setup)?;
    let numbers = measure::write_test_sheets(&mut store, &setup, args.sheets, &args.output)?;
    if cli.json {
        return say::json(&serde_json::json!({
            "schema": 1,
            "output": args.output,
            "setup": setup.name,
            "sheets": { "first": numbers.start(), "last": numbers.end() },
        }));
    }
    let (first, second) = (setup.first_side, setup.first_side.other());
    let count = args.sheets;
    let which = match count {
        1 => format!("test sheet {}", numbers.start()),
        _ => format!("test sheets {} to {}", numbers.start(), numbers.end()),
    };
    let passes = match setup.flipped_by {
        FlippedBy::Hand => format!(
            "Print pages 1 to {count} (the {first}s), put the stack back for the other side as always,\n\
             then print pages {} to {} (the {second}s). Print one-sided, at actual size (100 %), never\n\
             fitted to the page.",
            count + 1,
            2 * count
        ),
        FlippedBy::Machine => {
            "Print it two-sided on the printer's own duplex unit, at actual size \
                               (100 %), never\nfitted to the page."
                .to_owned()
        }
    };
    say::data(&format!(
        "Wrote {which} for \"{}\" on {} to {}.\n{passes}\n\
         Then measure a 100 mm rule, prick the crosses through with a pin, and read what the grid on\n\
         the back says: tympan read --setup \"{}\" --sheet {}",
        setup.name,
        setup.paper,
        say::path(&args.output),
        setup.name,
        numbers.start()
    ))
}
