//! How a pile of sheets lies before and behind a printer, and what the printer does with it.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::lay::LeadingEdge;

/// Which way a face of a sheet looks as the sheet lies in a tray. In an upright tray the face that
/// one sees from the front of the printer counts as up.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Facing {
    /// One sees it.
    Up,
    /// It lies on the tray, or on the next sheet.
    Down,
}

/// One end of a pile.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum PileEnd {
    /// The sheet that one sees.
    Top,
    /// The sheet that lies on the tray.
    Bottom,
}

impl Facing {
    /// Both.
    pub const BOTH: [Self; 2] = [Self::Up, Self::Down];

    /// The other way.
    pub fn other(self) -> Self {
        match self {
            Self::Up => Self::Down,
            Self::Down => Self::Up,
        }
    }
}

impl PileEnd {
    /// Both.
    pub const BOTH: [Self; 2] = [Self::Top, Self::Bottom];

    /// The other end: where a sheet lies when its pile is turned over as one.
    pub fn other(self) -> Self {
        match self {
            Self::Top => Self::Bottom,
            Self::Bottom => Self::Top,
        }
    }
}

/// What a printer does with a pile, by one feed path: all that decides how a pile is put back for
/// its second side. Pages are those of the file that is printed, in its order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Behaviour {
    /// The sheet of the loaded pile that gets the file's first page.
    pub first_page_on: PileEnd,
    /// The face of a loaded sheet that takes the print.
    pub prints: Facing,
    /// The edge of the page, seen upright, that goes in first.
    pub leads: LeadingEdge,
    /// Where the sheet with the first page lies in the delivered pile.
    pub first_page_comes: PileEnd,
    /// How the print lies in the delivered pile.
    pub comes: Facing,
}

impl fmt::Display for Facing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Up => "up",
            Self::Down => "down",
        })
    }
}

impl FromStr for Facing {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        match text.trim().to_ascii_lowercase().as_str() {
            "up" | "face up" => Ok(Self::Up),
            "down" | "face down" => Ok(Self::Down),
            other => Err(format!("\"{other}\" is not a way to lie; write up or down")),
        }
    }
}

impl fmt::Display for PileEnd {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Top => "top",
            Self::Bottom => "bottom",
        })
    }
}
