//! Takes whatever bytes as an export: it is refused, or taken into an empty store whole.

#![no_main]

use libfuzzer_sys::fuzz_target;
use tympan_store::{Export, IdPolicy, Store};

fuzz_target!(|data: &[u8]| {
    if let Ok(export) = Export::from_json(data) {
        let mut store = Store::open_in_memory().expect("memory");
        let _ = store.import(&export, IdPolicy::Keep);
    }
});
