//! Why a printer cannot be used just now, and what to do.

use super::{AnswerError, Fingerprint};

/// Why a printer cannot be used. Printers are told by host and port.
#[derive(Debug, thiserror::Error)]
pub enum PrinterError {
    /// The text is no address.
    #[error("\"{0}\" is no address of a printer")]
    Address(String),
    /// Nothing answers there.
    #[error("the printer at {place} cannot be reached: {why}")]
    Unreachable {
        /// Host and port.
        place: String,
        /// What the system says.
        why: String,
    },
    /// Something is there, but says nothing.
    #[error("the printer at {place} does not answer; {seconds} seconds were waited")]
    Silent {
        /// Host and port.
        place: String,
        /// How long.
        seconds: u64,
    },
    /// The connection broke.
    #[error("the connection to the printer at {place} broke: {why}")]
    Broken {
        /// Host and port.
        place: String,
        /// What the system says.
        why: String,
    },
    /// The printer wants a name and a password.
    #[error("the printer at {place} wants a password")]
    PasswordWanted {
        /// Host and port.
        place: String,
    },
    /// The password was not taken.
    #[error("the printer at {place} does not take this name and password")]
    PasswordWrong {
        /// Host and port.
        place: String,
    },
    /// A password would go over the wire for all to read.
    #[error("the printer at {place} wants a password, but the connection is not encrypted")]
    PasswordOpen {
        /// Host and port.
        place: String,
    },
    /// The printer wants a password in a way that is not known here.
    #[error("the printer at {place} wants a password in a way that is not known here{}", named(.ways))]
    PasswordUnknown {
        /// Host and port.
        place: String,
        /// The ways that it offers, by their names.
        ways: String,
    },
    /// The printer's certificate has not been seen before.
    #[error("the printer at {place} shows a certificate that is not known here: {shown}")]
    UnknownCertificate {
        /// Host and port.
        place: String,
        /// What it shows.
        shown: Fingerprint,
    },
    /// The printer's certificate is another one than it was.
    #[error("the printer at {place} shows another certificate than before: {shown}")]
    ChangedCertificate {
        /// Host and port.
        place: String,
        /// What it shows.
        shown: Fingerprint,
    },
    /// There is a server, but it is no printer.
    #[error("what answers at {place} is no printer (HTTP {status})")]
    NoPrinter {
        /// Host and port.
        place: String,
        /// The status of HTTP.
        status: u16,
    },
    /// The answer cannot be read.
    #[error("the printer at {place} gave an answer that cannot be read: {source}")]
    Garbled {
        /// Host and port.
        place: String,
        /// Why.
        source: AnswerError,
    },
    /// The printer has other work and takes no more.
    #[error("the printer is busy{}", in_words(.said))]
    Busy {
        /// What it says itself.
        said: Option<String>,
    },
    /// The printer has been told to take no jobs.
    #[error("the printer takes no jobs at present{}", in_words(.said))]
    NotAccepting {
        /// What it says itself.
        said: Option<String>,
    },
    /// The job is not there any more.
    #[error("the printer does not know the job any more")]
    JobGone,
    /// The printer refuses.
    #[error("the printer refuses{}: {}{}", what(.unsupported), meaning(*.status), in_words(.said))]
    Refused {
        /// The status of IPP.
        status: u16,
        /// What it says itself.
        said: Option<String>,
        /// What it does not support, by name.
        unsupported: Vec<String>,
    },
    /// What is to be printed could not be made or read.
    #[error("the pages cannot be sent: {0}")]
    Pages(String),
    /// The work was broken off on request.
    #[error("cancelled")]
    Cancelled,
}

fn in_words(said: &Option<String>) -> String {
    said.as_ref()
        .map_or_else(String::new, |said| format!("; it says \"{said}\""))
}

fn named(ways: &str) -> String {
    if ways.is_empty() {
        String::new()
    } else {
        format!(" ({ways})")
    }
}

fn what(unsupported: &[String]) -> String {
    if unsupported.is_empty() {
        String::new()
    } else {
        format!(" {}", unsupported.join(", "))
    }
}

/// A status of IPP in words (RFC 8011, appendix B).
fn meaning(status: u16) -> String {
    let words = match status {
        0x0400 => "the request was not understood",
        0x0401 => "it is not allowed",
        0x0402 | 0x0403 => "you are not allowed to print there",
        0x0404 => "not possible at present",
        0x0405 => "the printer waited too long for the file",
        0x0406 => "there is no such printer at this address",
        0x0408 => "the file is too large for it",
        0x040a => "it does not take this kind of file",
        0x040b => "it does not have what the job asks for",
        0x040e => "the job asks for things that exclude each other",
        0x040f | 0x0410 => "it cannot unpack the file",
        0x0411 => "it cannot read the file",
        0x0500 => "something went wrong in the printer",
        0x0501 => "it does not know this request",
        0x0502 => "it is out of service",
        0x0503 => "it speaks another version of IPP",
        0x0504 => "a fault of the printer",
        0x0505 => "a passing fault",
        0x0508 => "the job was cancelled at the printer",
        _ => return format!("status 0x{status:04x}"),
    };
    words.to_owned()
}

impl PrinterError {
    /// What a person can do about it.
    pub fn hint(&self) -> &'static str {
        match self {
            Self::Address(_) => {
                "write the printer's name or number, like study-printer.local or 192.0.2.7, or its \
                 full address, like ipp://study-printer.local/ipp/print"
            }
            Self::Unreachable { .. } => {
                "switch the printer on, see that it is on the same network, and check the address \
                 (tympan print --list looks for printers)"
            }
            Self::Silent { .. } => {
                "look at the printer's display; if it shows nothing to do, switch it off and on, \
                 wait a minute, and try again"
            }
            Self::Broken { .. } => {
                "see whether the printer is still on; count the sheets in the tray before going on"
            }
            Self::PasswordWanted { .. } => {
                "give --user NAME, and the password when asked or in a file with --password-file"
            }
            Self::PasswordWrong { .. } => "check the name and the password",
            Self::PasswordOpen { .. } => "use the encrypted address, with ipps:// in front",
            Self::PasswordUnknown { .. } => {
                "on the printer's own page, let it take Basic or Digest passwords, or print without \
                 one"
            }
            Self::UnknownCertificate { .. } => {
                "compare the fingerprint with the one on the printer's own page or display if it \
                 shows one; to take it from now on, give it with --certificate"
            }
            Self::ChangedCertificate { .. } => {
                "a new printer, a factory reset or a firmware update makes a new certificate; if \
                 none of these happened, something else may answer in the printer's place; to take \
                 it all the same, give the fingerprint with --certificate"
            }
            Self::NoPrinter { .. } => {
                "check the address; most printers answer at ipp://HOST/ipp/print"
            }
            Self::Garbled { .. } => {
                "switch the printer off and on; if it stays so, print the file from a dialog with \
                 scaling off"
            }
            Self::Busy { .. } => "wait until it is done, then try again",
            Self::NotAccepting { .. } => {
                "look at the printer's display, or set its queue going again, then try again"
            }
            Self::JobGone => "count the sheets in the tray, then go on with --from-sheet",
            Self::Refused { status, .. } => match status {
                0x0401..=0x0403 => "ask whoever looks after the printer",
                0x0406 => "check the address",
                0x0408 => "send fewer sheets at a time: --sheets 1-20",
                0x040b | 0x040e => {
                    "see what the printer has: tympan print --printer ADDRESS --abilities"
                }
                _ => "look at the printer's display, then try again",
            },
            Self::Pages(_) => "check the file, then try again",
            Self::Cancelled => "count the sheets in the tray, then go on with --from-sheet",
        }
    }

    /// Whether trying again soon makes sense without a person doing anything.
    pub fn is_passing(&self) -> bool {
        match self {
            Self::Busy { .. } | Self::Silent { .. } | Self::Broken { .. } => true,
            Self::Unreachable { .. } => true,
            Self::Refused { status, .. } => matches!(status, 0x0502 | 0x0505),
            _ => false,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_refusal_says_what_and_why_in_words() {
        let error = PrinterError::Refused {
            status: 0x040b,
            said: Some("Unsupported media".into()),
            unsupported: vec!["media-col".into()],
        };
        assert_eq!(
            error.to_string(),
            "the printer refuses media-col: it does not have what the job asks for; it says \
             \"Unsupported media\""
        );
        assert!(error.hint().contains("--abilities"));
    }

    #[test]
    fn a_status_without_words_is_told_by_its_number() {
        let error = PrinterError::Refused {
            status: 0x05ff,
            said: None,
            unsupported: Vec::new(),
        };
        assert_eq!(error.to_string(), "the printer refuses: status 0x05ff");
    }
}
