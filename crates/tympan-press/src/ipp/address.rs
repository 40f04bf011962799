//! Where a printer is.

use std::fmt;
use std::str::FromStr;

use super::PrinterError;

/// The port of IPP, plain and over TLS (RFC 8010, 4.1; RFC 7472, 3).
const PORT: u16 = 631;

/// The path that nearly all printers answer at (PWG 5100.14).
const USUAL_PATH: &str = "/ipp/print";

/// A printer's address: `ipp://host:port/path`, `ipps://…`, or only `host` or `host:port`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Address {
    /// Whether the connection is encrypted.
    pub is_secure: bool,
    /// A name or a number; IPv6 in brackets.
    pub host: String,
    /// The port.
    pub port: u16,
    /// The path, from its `/`.
    pub path: String,
}

impl Address {
    /// The address by which the printer knows itself.
    pub fn uri(&self) -> String {
        let scheme = if self.is_secure { "ipps" } else { "ipp" };
        format!("{scheme}://{}:{}{}", self.host, self.port, self.path)
    }

    /// Where requests are posted.
    pub(crate) fn post(&self) -> String {
        let scheme = if self.is_secure { "https" } else { "http" };
        format!("{scheme}://{}:{}{}", self.host, self.port, self.path)
    }

    /// Host and port, for a person and for what is remembered about the printer.
    pub fn place(&self) -> String {
        format!("{}:{}", self.host, self.port)
    }

    /// Whether this is a queue of a print server on this machine.
    pub fn is_local(&self) -> bool {
        matches!(self.host.as_str(), "localhost" | "127.0.0.1" | "[::1]")
    }
}

impl FromStr for Address {
    type Err = PrinterError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let bad = || PrinterError::Address(text.trim().chars().take(200).collect());
        let (scheme, rest) = match text.trim().split_once("://") {
            Some((scheme, rest)) => (scheme.to_ascii_lowercase(), rest),
            None => ("ipp".to_owned(), text.trim()),
        };
        let is_secure = match scheme.as_str() {
            "ipp" | "http" => false,
            "ipps" | "https" => true,
            _ => return Err(bad()),
        };
        let (place, path) = match rest.find('/') {
            Some(at) if at + 1 < rest.len() => (&rest[..at], rest[at..].to_owned()),
            Some(at) => (&rest[..at], USUAL_PATH.to_owned()),
            None => (rest, USUAL_PATH.to_owned()),
        };
        let end_of_host = place.rfind(']').map_or(0, |at| at + 1);
        let (host, port) = match place[end_of_host..].rfind(':') {
            Some(at) => {
                let (host, port) = place.split_at(end_of_host + at);
                (host, port[1..].parse().map_err(|_| bad())?)
            }
            None => (place, PORT),
        };
        let is_number = host.starts_with('[') && host.ends_with(']') && host.len() > 4;
        let inner = if is_number {
            &host[1..host.len() - 1]
        } else {
            host
        };
        let sound = |c: char| {
            c.is_ascii_alphanumeric() || "-._~".contains(c) || (is_number && ":%".contains(c))
        };
        let sound_path = |c: char| c.is_ascii_graphic() && !"\"<>\\^`{|}#".contains(c);
        if inner.is_empty() || !inner.chars().all(sound) || !path.chars().all(sound_path) {
            return Err(bad());
        }
        Ok(Self {
            is_secure,
            host: host.to_owned(),
            port,
            path,
        })
    }
}

impl fmt::Display for Address {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.uri())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn uri(text: &str) -> String {
        text.parse::<Address>().expect(text).uri()
    }

    #[test]
    fn a_printer_is_named_by_its_address_or_its_host_alone() {
        assert_eq!(uri("study.local"), "ipp://study.local:631/ipp/print");
        assert_eq!(uri("192.0.2.7:8631"), "ipp://192.0.2.7:8631/ipp/print");
        assert_eq!(uri("ipp://printer/"), "ipp://printer:631/ipp/print");
        assert_eq!(uri("http://printer:80/ipp"), "ipp://printer:80/ipp");
        assert_eq!(uri("ipp://[::1]/ipp/print"), "ipp://[::1]:631/ipp/print");
        assert_eq!(uri("[fe80::1]:8631"), "ipp://[fe80::1]:8631/ipp/print");
        assert_eq!(
            uri("ipp://localhost/printers/Study"),
            "ipp://localhost:631/printers/Study"
        );
    }

    /// RFC 7472, 3: the port of `ipps` is 631, not that of https.
    #[test]
    fn the_encrypted_port_is_the_same() {
        assert_eq!(uri("IPPS://printer"), "ipps://printer:631/ipp/print");
    }

    #[test]
    fn what_is_no_address_is_refused() {
        for text in [
            "",
            "ftp://printer",
            "ipp://",
            "printer:port",
            "a b",
            "user:pw@host",
            "[]",
            "[::1",
            "host/pa th",
            "printer:99999",
            "ipp://host\u{e9}",
        ] {
            assert!(text.parse::<Address>().is_err(), "{text}");
        }
    }

    proptest! {
        #[test]
        fn any_text_is_read_or_refused(text in ".{0,60}") {
            if let Ok(address) = text.parse::<Address>() {
                prop_assert_eq!(address.uri().parse::<Address>().expect("own form"), address);
            }
        }
    }
}
