//! Reads whatever text as words about backs, as a table of holes, as paper and as stock.

#![no_main]

use libfuzzer_sys::fuzz_target;
use tympan_sheet::{Angle, Length, Paper, Stock};

fuzz_target!(|text: &str| {
    let _ = tympan_app::words::OnBack::parse(text);
    let _ = tympan_app::measure::parse_table(text);
    let _ = tympan_app::measure::parse_rules(text);
    let _ = text.parse::<tympan_app::pages::BackPages>();
    let _ = (text.parse::<Length>(), text.parse::<Angle>());
    let _ = (text.parse::<Paper>(), text.parse::<Stock>());
});
