//! A printer that answers, and the jobs sent to it.

use std::io::Read;

use ipp::prelude::{IppValue, Operation};
use serde::Serialize;

use super::answer::{JOB, PRINTER, UNSUPPORTED};
use super::client::{Client, Request, granted, keyword, mime, name};
use super::state::{Trouble, troubles};
use super::{Abilities, Access, Address, Attributes, Patience, PrinterError, Settled, Ticket, Way};

/// Paths that printers answer at, the usual one first.
const PATHS: &[&str] = &["/ipp/print", "/ipp", "/ipp/printer", "/"];

/// What a job must not be printed without: where the printer leaves one of these out, the job is
/// taken back before paper moves.
const VITAL: &[&str] = &["print-scaling", "media-col", "sides", "media"];

/// A printer that answers.
#[derive(Clone, Debug)]
pub struct Printer {
    client: Client,
    /// What it can do.
    pub abilities: Abilities,
    /// What it says about itself, whole.
    pub attributes: Attributes,
}

/// What is sent.
#[derive(Clone, Debug)]
pub struct Job<'a> {
    /// What is asked for.
    pub ticket: &'a Ticket,
    /// What that comes to on this printer.
    pub settled: &'a Settled,
    /// How the file is sent.
    pub way: Way,
}

/// How far a job is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Stage {
    /// It waits for its turn.
    Waiting,
    /// It is held until somebody lets it go.
    Held,
    /// It is being printed.
    Printing,
    /// The printer has stopped in the middle.
    Stopped,
    /// It was cancelled.
    Cancelled,
    /// The printer gave it up.
    Aborted,
    /// All of it is printed.
    Done,
}

impl Stage {
    /// Whether nothing more will come.
    pub fn is_over(self) -> bool {
        matches!(self, Self::Cancelled | Self::Aborted | Self::Done)
    }
}

/// How a job is doing.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct JobNow {
    /// How far it is.
    pub stage: Stage,
    /// Sheets that have come out, where the printer counts them.
    pub sheets: Option<usize>,
    /// Sides that are printed, where the printer counts them.
    pub sides: Option<usize>,
    /// Why it is where it is, as the printer says (RFC 8011, 5.3.8).
    pub reasons: Vec<String>,
    /// What the printer says in words.
    pub message: Option<String>,
}

/// How a printer is doing.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PrinterNow {
    /// Whether it is stopped.
    pub is_stopped: bool,
    /// Whether it takes jobs.
    pub accepts: bool,
    /// What is wrong, the worst first.
    pub troubles: Vec<Trouble>,
    /// Jobs that it has.
    pub jobs: usize,
    /// Seconds since it was switched on; a smaller number than before means that it was off.
    pub up: Option<i32>,
}

impl Printer {
    /// Asks a printer what it can do.
    ///
    /// # Errors
    /// [`PrinterError`] where it cannot be reached or does not answer as a printer.
    pub fn open(
        address: Address,
        access: Access,
        patience: Patience,
    ) -> Result<Self, PrinterError> {
        let asked = address.path.clone();
        let is_usual = asked == PATHS[0];
        let client = Client::new(address, access, patience);
        let mut refusal = match Self::open_at(client.clone()) {
            Ok(printer) => return Ok(printer),
            Err(e) => e,
        };
        // Only where no path was asked for: a queue that is gone is not looked for elsewhere.
        for path in PATHS.iter().skip(1) {
            let wrong_path = matches!(
                refusal,
                PrinterError::NoPrinter { .. }
                    | PrinterError::JobGone
                    | PrinterError::Refused { status: 0x0400, .. }
            );
            if !is_usual || !wrong_path {
                break;
            }
            match Self::open_at(client.at_path(path)) {
                Ok(printer) => return Ok(printer),
                Err(e @ PrinterError::NoPrinter { .. }) | Err(e @ PrinterError::JobGone) => {
                    refusal = e;
                }
                Err(e) => return Err(e),
            }
        }
        match refusal {
            PrinterError::JobGone => Err(PrinterError::Refused {
                status: 0x0406,
                said: None,
                unsupported: Vec::new(),
            }),
            other => Err(other),
        }
    }

    fn open_at(client: Client) -> Result<Self, PrinterError> {
        let mut request = client.request(Operation::GetPrinterAttributes);
        // The database must be asked for by name (PWG 5100.7).
        let wanted = vec![keyword("all"), keyword("media-col-database")];
        request.operation("requested-attributes", IppValue::Array(wanted));
        let answer = granted(client.ask(&request)?)?;
        let attributes = answer.group(PRINTER).cloned().unwrap_or_default();
        Ok(Self {
            abilities: Abilities::read(&attributes),
            attributes,
            client,
        })
    }

    /// Where it is.
    pub fn address(&self) -> &Address {
        &self.client.address
    }

    /// How it lets one in.
    pub fn access(&self) -> &Access {
        self.client.access()
    }

    /// How it is doing.
    ///
    /// # Errors
    /// [`PrinterError`] where it cannot be asked.
    pub fn now(&self) -> Result<PrinterNow, PrinterError> {
        let mut request = self.client.request(Operation::GetPrinterAttributes);
        let wanted = [
            "printer-state",
            "printer-state-reasons",
            "printer-is-accepting-jobs",
            "queued-job-count",
            "printer-up-time",
        ];
        let wanted = wanted.into_iter().map(keyword).collect();
        request.operation("requested-attributes", IppValue::Array(wanted));
        let answer = granted(self.client.ask(&request)?)?;
        let nothing = Attributes::default();
        let printer = answer.group(PRINTER).unwrap_or(&nothing);
        Ok(PrinterNow {
            is_stopped: printer.integer("printer-state") == Some(5),
            accepts: printer.boolean("printer-is-accepting-jobs").unwrap_or(true),
            troubles: troubles(&printer.texts("printer-state-reasons")),
            jobs: count(printer, "queued-job-count").unwrap_or(0),
            up: printer.integer("printer-up-time"),
        })
    }

    /// Sends a job. The number that the printer gives it is told as soon as it is known; the
    /// pages may take as long as the printer prints.
    ///
    /// # Errors
    /// [`PrinterError`]. A job that was begun and could not be sent whole is taken back.
    pub fn send(
        &self,
        job: &Job<'_>,
        pages: &mut (dyn Read + Send),
        known: &(dyn Fn(i32) + Sync),
    ) -> Result<i32, PrinterError> {
        let can_create = [Operation::CreateJob, Operation::SendDocument];
        if !can_create.iter().all(|op| self.abilities.knows(*op as i32)) {
            return self.print_at_once(job, pages, known);
        }
        let mut request = self.client.request(Operation::CreateJob);
        job.ask_for(&mut request);
        let answer = granted(self.client.ask(&request)?)?;
        let id = job_id(&answer)?;
        let left_out: Vec<String> = answer
            .group(UNSUPPORTED)
            .map(|group| group.names().map(str::to_owned).collect())
            .unwrap_or_default();
        if left_out.iter().any(|name| VITAL.contains(&name.as_str())) {
            // Nothing is printed yet; should this fail, the printer drops the empty job itself.
            let _ = self.cancel(id);
            return Err(PrinterError::Refused {
                status: 0x040b,
                said: answer.message().map(str::to_owned),
                unsupported: left_out,
            });
        }
        known(id);
        let mut request = self.client.request(Operation::SendDocument);
        request.operation("job-id", IppValue::Integer(id));
        request.operation("document-name", name(&job.ticket.name));
        request.operation("document-format", mime(job.way.format()));
        request.operation("last-document", IppValue::Boolean(true));
        let sent = self.client.send(&request, pages).and_then(granted);
        match sent {
            Ok(_) => Ok(id),
            Err(e) => {
                let _ = self.cancel(id);
                Err(e)
            }
        }
    }

    /// One request for the job and its pages, for printers that know no other.
    fn print_at_once(
        &self,
        job: &Job<'_>,
        pages: &mut (dyn Read + Send),
        known: &(dyn Fn(i32) + Sync),
    ) -> Result<i32, PrinterError> {
        let mut request = self.client.request(Operation::PrintJob);
        request.operation("document-format", mime(job.way.format()));
        // Better refused than printed otherwise: there is no looking before paper moves.
        request.operation("ipp-attribute-fidelity", IppValue::Boolean(true));
        job.ask_for(&mut request);
        let answer = granted(self.client.send(&request, pages)?)?;
        let id = job_id(&answer)?;
        known(id);
        Ok(id)
    }

    /// How a job is doing.
    ///
    /// # Errors
    /// [`PrinterError::JobGone`] where the printer has forgotten it, as after a restart.
    pub fn job(&self, id: i32) -> Result<JobNow, PrinterError> {
        let mut request = self.client.request(Operation::GetJobAttributes);
        request.operation("job-id", IppValue::Integer(id));
        let wanted = [
            "job-state",
            "job-state-reasons",
            "job-state-message",
            "job-impressions-completed",
            "job-media-sheets-completed",
        ];
        let wanted = wanted.into_iter().map(keyword).collect();
        request.operation("requested-attributes", IppValue::Array(wanted));
        let answer = granted(self.client.ask(&request)?)?;
        let nothing = Attributes::default();
        let job = answer.group(JOB).unwrap_or(&nothing);
        let stage = match job.integer("job-state") {
            Some(4) => Stage::Held,
            Some(5) => Stage::Printing,
            Some(6) => Stage::Stopped,
            Some(7) => Stage::Cancelled,
            Some(8) => Stage::Aborted,
            Some(9) => Stage::Done,
            _ => Stage::Waiting,
        };
        let message = job.text("job-state-message").filter(|m| !m.is_empty());
        Ok(JobNow {
            stage,
            sheets: count(job, "job-media-sheets-completed"),
            sides: count(job, "job-impressions-completed"),
            reasons: job.texts("job-state-reasons"),
            message: message.map(str::to_owned),
        })
    }

    /// Cancels a job.
    ///
    /// # Errors
    /// [`PrinterError`] where the printer refuses, as it does when the job is over.
    pub fn cancel(&self, id: i32) -> Result<(), PrinterError> {
        let mut request = self.client.request(Operation::CancelJob);
        request.operation("job-id", IppValue::Integer(id));
        granted(self.client.ask(&request)?).map(drop)
    }

    /// The same printer over a connection of its own, so that breaking that off does not break
    /// off this one.
    pub fn again(&self, patience: Patience) -> Self {
        Self {
            client: Client::new(
                self.client.address.clone(),
                self.client.access().clone(),
                patience,
            ),
            abilities: self.abilities.clone(),
            attributes: self.attributes.clone(),
        }
    }

    /// Breaks off what is being sent, from another thread.
    pub fn break_off(&self) {
        self.client.break_off();
    }
}

impl Job<'_> {
    fn ask_for(&self, request: &mut Request) {
        request.operation("job-name", name(&self.ticket.name));
        for (name, value) in &self.settled.attributes {
            request.job(name, value.clone());
        }
        if let Way::Raster { dpi, .. } = self.way {
            let dpi = i32::try_from(dpi).unwrap_or(600);
            request.job("printer-resolution", IppValue::new_resolution(dpi, dpi, 3));
        }
    }
}

fn job_id(answer: &super::Answer) -> Result<i32, PrinterError> {
    let job = answer.group(JOB);
    job.and_then(|job| job.integer("job-id"))
        .ok_or(PrinterError::JobGone)
}

fn count(attributes: &Attributes, name: &str) -> Option<usize> {
    usize::try_from(attributes.integer(name)?).ok()
}
