//! The way to a printer by the Internet Printing Protocol (RFC 8010, RFC 8011).
//!
//! [`Printer::open`] asks a printer what it can do, [`way()`] chooses how a file is sent so that
//! nothing scales it, [`settle()`] compares what a job asks for with what the printer has, and
//! [`Printer::send`] and what follows send the job and tell how it goes.
//!
//! Requests are written with the `ipp` crate. Answers are read by `answer`, since the crate
//! (8.0) loses all but the first value of a list inside a collection, and may panic on lengths
//! that lie; the connection is our own, since a printer's certificate is pinned by fingerprint.

mod abilities;
mod address;
mod answer;
mod certificate;
mod client;
mod error;
mod password;
mod printer;
mod queues;
mod state;
mod ticket;
mod way;

pub use abilities::{Abilities, Delivery, Margins, Media, RasterAbilities, Span};
pub use address::Address;
pub use answer::{Answer, AnswerError, Attributes, Group, Value};
pub use certificate::Fingerprint;
pub use client::{Access, Patience};
pub use error::PrinterError;
pub use printer::{Job, JobNow, Printer, PrinterNow, Stage};
pub use queues::{Queue, queues};
pub use state::{Trouble, troubles};
pub use ticket::{Quality, Settled, Sides, Ticket, Unfit, settle};
pub use way::{NoWay, Way, way};

/// A length in mm with at most one decimal place.
pub(crate) fn short_mm(mm: f64) -> String {
    let text = format!("{mm:.1}");
    text.strip_suffix(".0").unwrap_or(&text).to_owned()
}
