//! Reads whatever a printer may answer, and whatever may be typed as its address or certificate.

#![no_main]

use libfuzzer_sys::fuzz_target;
use tympan_press::ipp::{Abilities, Address, Answer, Attributes, Fingerprint, troubles, way};

fuzz_target!(|bytes: &[u8]| {
    if let Ok(answer) = Answer::read(bytes) {
        let nothing = Attributes::default();
        let printer = answer.groups.first().map_or(&nothing, |group| &group.attributes);
        let abilities = Abilities::read(printer);
        let _ = way(&abilities, false);
        let _ = troubles(&printer.texts("printer-state-reasons"));
    }
    if let Ok(text) = std::str::from_utf8(bytes) {
        let _ = (text.parse::<Address>(), text.parse::<Fingerprint>());
    }
});
