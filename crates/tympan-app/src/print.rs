//! Straight to the printer: finding it, planning what is sent, printing, and going on after a
//! fault with the right sheet.
//!
//! Nothing here prints unless [`print()`] is called with a [`Plan`] that a person has agreed to.

mod known;
mod log;
mod plan;
mod run;
mod said;

use std::path::PathBuf;
use std::time::Duration;

use serde::Serialize;
use tympan_press::find::{self, Found};
use tympan_press::ipp::{self, Queue};
pub use tympan_press::ipp::{
    Abilities, Access, Address, Fingerprint, Patience, Printer, PrinterError, Quality, Sides,
    Trouble, Way,
};

use crate::refusal::Refusal;

pub use known::{forget, known, remember};
pub use log::note;
pub(crate) use plan::page_size;
pub use plan::{Plan, Request, Span, plan};
pub use run::{Ending, Happening, Outcome, Watch, print};
pub use said::{
    abilities_in_words, ended_in_words, happens_in_words, is_about_password, plan_in_words,
    wants_password,
};

/// How long the network is listened to for printers.
const LISTEN: Duration = Duration::from_secs(4);

/// Printers that can be printed to.
#[derive(Clone, Debug, Serialize)]
pub struct Printers {
    /// Those that make themselves known on the network.
    pub found: Vec<Found>,
    /// The queues of this machine's print service.
    pub queues: Vec<Queue>,
}

/// Looks for printers on the network and for queues on this machine.
///
/// # Errors
/// A [`Refusal`] where the network cannot be listened to.
pub fn printers() -> Result<Printers, Refusal> {
    Ok(Printers {
        found: find::printers(LISTEN, None)?,
        queues: ipp::queues(),
    })
}

/// Where a printer is, from its address or from the name that it goes by on the network.
///
/// # Errors
/// A [`Refusal`] where the text is no address and no printer has the name.
pub fn locate(text: &str) -> Result<Address, Refusal> {
    let text = text.trim();
    let looks_like_address = text.contains("://")
        || (!text.contains(' ') && (text.contains('.') || text.contains(':')))
        || text == "localhost";
    if looks_like_address {
        return Ok(text.parse()?);
    }
    let found = find::printers(LISTEN, Some(text))?;
    let is_named = |f: &&Found| f.name.eq_ignore_ascii_case(text);
    let address = found
        .iter()
        .find(is_named)
        .and_then(|f| f.address.as_ref().or(f.secure_address.as_ref()));
    match address {
        Some(address) => Ok(address.parse()?),
        None => {
            let names: Vec<String> = found.iter().map(|f| format!("\"{}\"", f.name)).collect();
            let hint = if names.is_empty() {
                "no printer makes itself known; switch it on, or give its address, like \
                 192.0.2.7"
                    .to_owned()
            } else {
                format!("these are there: {}", names.join(", "))
            };
            Err(Refusal::new(
                format!("no printer called \"{text}\" is on the network"),
                hint,
            ))
        }
    }
}

/// Opens a printer with what is known about it in this data folder.
///
/// # Errors
/// [`PrinterError`]; a face may ask about [`PrinterError::UnknownCertificate`] and
/// [`PrinterError::PasswordWanted`] and try again.
pub fn open(
    data: &Option<PathBuf>,
    address: &Address,
    mut access: Access,
    patience: Patience,
) -> Result<Printer, PrinterError> {
    if access.certificate.is_none() {
        access.certificate = known(data, address);
    }
    Printer::open(address.clone(), access, patience)
}
