//! What stops a printer, in words.

use serde::Serialize;

/// Something that is wrong with a printer, or soon will be.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Trouble {
    /// The keyword, without its severity (RFC 8011, 5.4.12; PWG 5100.9).
    pub code: String,
    /// What is wrong.
    pub message: String,
    /// What to do.
    pub hint: String,
    /// Whether nothing is printed until it is mended, as the printer says.
    pub stops: bool,
    /// Whether such a thing usually stops a printer: some say "warning" of an empty tray, and stop.
    #[serde(skip)]
    pub may_stop: bool,
}

/// Keyword, what is wrong, what to do, whether it stops the printer where nothing else is said.
const KNOWN: &[(&str, &str, &str, bool)] = &[
    (
        "media-empty",
        "the printer is out of paper",
        "load more of the same stock the same way round; the printer then goes on by itself with the \
         next sheet",
        true,
    ),
    (
        "media-needed",
        "the printer wants other paper than is loaded",
        "load the stock that this pass needs, tell the printer its size and type if it asks, and it \
         goes on; if the wrong sheets have gone through already, cancel",
        true,
    ),
    (
        "media-jam",
        "paper is jammed in the printer",
        "open it as its maker shows and pull the sheet out along the paper's way; look whether the \
         printer prints that sheet again; if in doubt, cancel, count the good sheets, and go on \
         with the next one",
        true,
    ),
    (
        "media-low",
        "little paper is left in the tray",
        "have more of the same stock ready",
        false,
    ),
    (
        "input-tray-missing",
        "a tray is not in its place",
        "push the tray in until it clicks",
        true,
    ),
    ("cover-open", "a cover is open", "close it", true),
    ("door-open", "a door is open", "close it", true),
    (
        "interlock-open",
        "a door or a part is not closed",
        "close it",
        true,
    ),
    (
        "output-area-full",
        "the tray for prints is full",
        "take the prints out and keep them in their order",
        true,
    ),
    (
        "output-area-almost-full",
        "the tray for prints is nearly full",
        "take the prints out soon and keep them in their order",
        false,
    ),
    (
        "output-tray-missing",
        "the tray for prints is missing",
        "put it in its place",
        true,
    ),
    (
        "toner-empty",
        "toner is used up",
        "change the cartridge",
        true,
    ),
    (
        "toner-low",
        "toner runs low",
        "sheets printed after a change of cartridge may look different",
        false,
    ),
    (
        "marker-supply-empty",
        "ink or toner is used up",
        "change the cartridge",
        true,
    ),
    (
        "marker-supply-low",
        "ink or toner runs low",
        "sheets printed after a change of cartridge may look different",
        false,
    ),
    (
        "marker-waste-full",
        "the waste box is full",
        "change it as the printer's maker shows",
        true,
    ),
    (
        "marker-waste-almost-full",
        "the waste box is nearly full",
        "have a new one ready",
        false,
    ),
    (
        "fuser-over-temp",
        "the fuser is too hot",
        "let it cool; do not touch it",
        true,
    ),
    ("fuser-under-temp", "the fuser warms up", "wait", false),
    ("opc-life-over", "the drum is worn out", "change it", true),
    (
        "paused",
        "the printer is paused",
        "set it going again at its display or in its queue",
        true,
    ),
    (
        "moving-to-paused",
        "the printer is being paused",
        "set it going again at its display or in its queue",
        true,
    ),
    (
        "shutdown",
        "the printer is off or shutting down",
        "switch it on",
        true,
    ),
    (
        "timed-out",
        "the printer waited too long",
        "look at its display",
        true,
    ),
    (
        "stopping",
        "the printer is stopping",
        "look at its display",
        false,
    ),
    (
        "stopped-partly",
        "a part of the printer is stopped",
        "look at its display",
        false,
    ),
    (
        "spool-area-full",
        "the printer's memory is full",
        "send fewer sheets at a time: --sheets 1-20",
        true,
    ),
    (
        "connecting-to-device",
        "the queue is looking for its printer",
        "switch the printer on",
        false,
    ),
    (
        "offline",
        "the printer is offline",
        "switch it on and see that it is on the network",
        true,
    ),
    (
        "cups-missing-filter",
        "the queue lacks a filter",
        "install the printer's driver anew",
        true,
    ),
];

/// Reasons that say nothing is wrong, or only what is seen anyway.
const NO_TROUBLE: &[&str] = &[
    "none",
    "connecting-to-device",
    "hold-new-jobs",
    "wifi-not-configured",
];

/// What the reasons of a printer's state mean. The worst come first.
pub fn troubles(reasons: &[String]) -> Vec<Trouble> {
    let mut all: Vec<Trouble> = reasons.iter().filter_map(|r| trouble(r)).collect();
    all.sort_by_key(|trouble| !trouble.stops);
    all.dedup_by(|a, b| a.message == b.message);
    all
}

fn trouble(reason: &str) -> Option<Trouble> {
    let (code, severity) = ["-error", "-warning", "-report"]
        .iter()
        .find_map(|end| Some((reason.strip_suffix(end)?, *end)))
        .unwrap_or((reason, ""));
    if NO_TROUBLE.contains(&code) {
        return None;
    }
    let known = KNOWN.iter().find(|(name, ..)| *name == code);
    let (message, hint, usually) = match known {
        Some((_, message, hint, stops)) => ((*message).to_owned(), *hint, *stops),
        None if severity == "-error" => (
            format!("the printer reports \"{}\"", code.replace('-', " ")),
            "look at its display",
            true,
        ),
        None => (
            format!("the printer reports \"{}\"", code.replace('-', " ")),
            "look at its display if it stops",
            false,
        ),
    };
    let stops = match severity {
        "-error" => true,
        "" => usually,
        _ => false,
    };
    Some(Trouble {
        code: code.to_owned(),
        message,
        hint: hint.to_owned(),
        stops,
        may_stop: usually,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(reasons: &[&str]) -> Vec<Trouble> {
        let reasons: Vec<String> = reasons.iter().map(|r| (*r).to_owned()).collect();
        troubles(&reasons)
    }

    #[test]
    fn what_stops_the_printer_is_told_first_and_once() {
        let told = told(&["toner-low-warning", "media-empty-error", "media-empty"]);
        assert_eq!(told.len(), 2);
        assert_eq!(told[0].message, "the printer is out of paper");
        assert!(told[0].stops && told[0].hint.contains("same way round"));
        assert_eq!(told[1].code, "toner-low");
        assert!(!told[1].stops);
    }

    #[test]
    fn a_warning_does_not_stop_and_none_is_no_trouble() {
        assert!(!told(&["media-empty-warning"])[0].stops);
        assert!(told(&["none"]).is_empty());
    }

    #[test]
    fn what_is_not_known_is_told_by_its_own_name() {
        let told = told(&["bander-jam-error"]);
        assert_eq!(told[0].message, "the printer reports \"bander jam\"");
        assert!(told[0].stops);
    }
}
