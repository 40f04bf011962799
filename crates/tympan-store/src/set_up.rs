//! What a set-up is.

use serde::{Deserialize, Serialize};
use tympan_sheet::{Behaviour, Flip, LeadingEdge, Paper, Side, Stock};

use crate::error::StoreError;
use crate::id::SetUpId;
use crate::time::Timestamp;

/// One printer (with its program, driver and quality setting), one stock, one feed path, one flip
/// by hand or by the machine, the side that is printed first and the edge that feeds first. Two
/// ways of working are two set-ups.
///
/// Its form in JSON is described in `docs/data-format.md`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SetUp {
    /// The name by which it is known for ever; test sheets carry it.
    pub id: SetUpId,
    /// The name that people call it by: 1 to 80 characters, unique whatever the case.
    pub name: String,
    /// Sheet size and name.
    pub paper: Paper,
    /// How the back stands to the front.
    pub flip: Flip,
    /// Who flips the stack between the passes.
    #[serde(default)]
    pub flipped_by: FlippedBy,
    /// The side that is printed first.
    #[serde(default = "front")]
    pub first_side: Side,
    /// The edge of the front that goes into the printer first, in the first pass.
    #[serde(default = "head")]
    pub leading_edge: LeadingEdge,
    /// What it prints on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stock: Option<Stock>,
    /// The printer, as people call it.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub printer: String,
    /// The program printed from.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub program: String,
    /// The driver, or the way the job reaches the printer.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub driver: String,
    /// The media type chosen in the print dialog.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub media_type: String,
    /// The quality chosen in the print dialog.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub quality: String,
    /// Which ream or packet the stock is from.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub ream: String,
    /// Tray or path that the sheets feed from, such as `rear`.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub feed: String,
    /// Where the printer cannot print, as seen on the front held upright.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unprintable: Option<Unprintable>,
    /// What the printer does with a pile on this feed path, where it was taught.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub behaviour: Option<Behaviour>,
    /// The feed tray, where something is known of it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tray: Option<Tray>,
    /// Whatever is worth remembering.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub notes: String,
    /// How many test sheets have been numbered for it: the next one gets the number after this.
    #[serde(default)]
    pub sheets_issued: u32,
    /// When it was made.
    pub created: Timestamp,
    /// When its name or details last changed.
    pub changed: Timestamp,
    /// When it was removed, if it was. Removed set-ups keep their readings and can be restored.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub removed: Option<Timestamp>,
}

/// Who flips the stack between the passes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum FlippedBy {
    /// A person puts the stack back.
    #[default]
    Hand,
    /// The printer's own duplex unit.
    Machine,
}

/// Widths of the margins that the printer leaves blank, mm, as seen on the front held upright.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Unprintable {
    /// Along the head.
    pub top: f64,
    /// Along the right edge.
    pub right: f64,
    /// Along the foot.
    pub bottom: f64,
    /// Along the left edge.
    pub left: f64,
}

/// What a feed tray holds, and between which fills it feeds best.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Tray {
    /// Sheets of ordinary paper (80 g/m², 0.1 mm) that it holds, as makers state it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub holds: Option<u32>,
    /// The share of its height below which it feeds badly, 0 to 1.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from: Option<f64>,
    /// The share above which it feeds badly.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to: Option<f64>,
}

fn front() -> Side {
    Side::Front
}

fn head() -> LeadingEdge {
    LeadingEdge::Head
}

/// The highest number a test sheet can carry.
pub const LAST_SHEET: u32 = 9999;
const LONGEST_NAME: usize = 80;
const LONGEST_LINE: usize = 200;
const LONGEST_NOTES: usize = 10_000;
/// No tray of a desk printer holds more.
const MOST_IN_TRAY: u32 = 5000;
/// A margin over this leaves nothing to print on, mm.
const WIDEST_MARGIN: f64 = 100.0;

impl SetUp {
    /// A new set-up with a random id, flipped by hand, fronts first, head first; everything else
    /// is left open for the caller to fill in.
    pub fn new(name: &str, paper: Paper, flip: Flip) -> Self {
        let now = Timestamp::now();
        Self {
            id: SetUpId::random(),
            name: tidy_name(name),
            paper,
            flip,
            flipped_by: FlippedBy::default(),
            first_side: front(),
            leading_edge: head(),
            stock: None,
            printer: String::new(),
            program: String::new(),
            driver: String::new(),
            media_type: String::new(),
            quality: String::new(),
            ream: String::new(),
            feed: String::new(),
            unprintable: None,
            behaviour: None,
            tray: None,
            notes: String::new(),
            sheets_issued: 0,
            created: now,
            changed: now,
            removed: None,
        }
    }

    /// Refuses what no set-up can be.
    pub(crate) fn check(&self) -> Result<(), StoreError> {
        check_name(&self.name)?;
        let bad = |reason: String| StoreError::BadSetUp {
            name: self.name.clone(),
            reason,
        };
        for (what, text) in [
            ("printer", &self.printer),
            ("program", &self.program),
            ("driver", &self.driver),
            ("media type", &self.media_type),
            ("quality", &self.quality),
            ("ream", &self.ream),
            ("feed", &self.feed),
        ] {
            if text.chars().count() > LONGEST_LINE || text.chars().any(char::is_control) {
                return Err(bad(format!(
                    "its {what} is not one line of at most {LONGEST_LINE} characters"
                )));
            }
        }
        if self.notes.chars().count() > LONGEST_NOTES {
            return Err(bad(format!(
                "its notes are longer than {LONGEST_NOTES} characters"
            )));
        }
        if let Some(u) = self.unprintable
            && ![u.top, u.right, u.bottom, u.left]
                .iter()
                .all(|m| (0.0..=WIDEST_MARGIN).contains(m))
        {
            return Err(bad(format!(
                "an unprintable margin is not between 0 and {WIDEST_MARGIN} mm"
            )));
        }
        if let Some(tray) = self.tray {
            let share = |s: Option<f64>| s.is_none_or(|s| (0.0..=1.0).contains(&s));
            let holds = tray.holds.is_none_or(|n| (1..=MOST_IN_TRAY).contains(&n));
            let ordered = tray.from.unwrap_or(0.0) < tray.to.unwrap_or(1.0);
            if !(holds && share(tray.from) && share(tray.to) && ordered) {
                return Err(bad(format!(
                    "a tray holds 1 to {MOST_IN_TRAY} sheets, and its good fills are shares from a \
                     lower to a higher one"
                )));
            }
        }
        if self.sheets_issued > LAST_SHEET {
            return Err(bad(format!(
                "more than {LAST_SHEET} test sheets are numbered"
            )));
        }
        Ok(())
    }

    /// The first thing that differs of those that give readings their meaning.
    pub(crate) fn differs_in(&self, other: &Self) -> Option<&'static str> {
        if self.paper != other.paper {
            Some("paper")
        } else if self.flip != other.flip {
            Some("flip")
        } else if self.flipped_by != other.flipped_by {
            Some("way of flipping")
        } else if self.first_side != other.first_side {
            Some("first side")
        } else if self.leading_edge != other.leading_edge {
            Some("leading edge")
        } else {
            None
        }
    }
}

/// A name without spaces around it and with single spaces within.
pub(crate) fn tidy_name(name: &str) -> String {
    name.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// What must be unique about a name.
pub(crate) fn name_key(name: &str) -> String {
    tidy_name(name).to_lowercase()
}

pub(crate) fn check_name(name: &str) -> Result<(), StoreError> {
    let bad = |reason: &'static str| {
        Err(StoreError::BadName {
            name: name.chars().take(LONGEST_NAME).collect(),
            reason,
        })
    };
    if name.is_empty() {
        bad("it is empty")
    } else if name.chars().count() > LONGEST_NAME {
        bad("it is longer than 80 characters")
    } else if name.chars().any(char::is_control) {
        bad("it holds a control character")
    } else if tidy_name(name) != name {
        bad("it has spaces at an end or several in a row")
    } else {
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn named(name: &str) -> SetUp {
        SetUp::new(name, "a4".parse().expect("a paper"), Flip::Sideways)
    }

    #[test]
    fn names_are_tidied() {
        assert_eq!(named("  rear \t tray ").name, "rear tray");
        assert!(named("rear tray").check().is_ok());
    }

    #[test]
    fn names_that_cannot_be_told_or_printed_are_refused() {
        for name in ["", "   ", "a\u{7}b", &"n".repeat(81)] {
            let refused = named(name).check().expect_err(name);
            assert!(matches!(refused, StoreError::BadName { .. }), "{refused}");
        }
    }

    #[test]
    fn absurd_margins_are_refused() {
        for margin in [-1.0, 100.1, f64::NAN, f64::INFINITY] {
            let mut s = named("rear tray");
            s.unprintable = Some(Unprintable {
                top: 4.2,
                right: 4.2,
                bottom: margin,
                left: 4.2,
            });
            assert!(s.check().is_err(), "{margin}");
        }
    }

    #[test]
    fn what_json_leaves_out_is_by_hand_fronts_first_and_head_first() {
        let s: SetUp = serde_json::from_str(
            r#"{"id": "K7Q2", "name": "rear tray", "paper": "a4", "flip": "endways",
                "created": "2026-03-01T09:30:00Z", "changed": "2026-03-01T09:30:00Z"}"#,
        )
        .expect("enough");
        assert_eq!(s.flipped_by, FlippedBy::Hand);
        assert_eq!(
            (s.first_side, s.leading_edge),
            (Side::Front, LeadingEdge::Head)
        );
        assert_eq!(s.paper.name(), "iso_a4_210x297mm");
    }
}
