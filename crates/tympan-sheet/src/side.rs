//! The two sides of a sheet.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

/// One side of a sheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Side {
    /// The front.
    Front,
    /// The back.
    Back,
}

impl Side {
    /// Both sides, the front first.
    pub const BOTH: [Self; 2] = [Self::Front, Self::Back];

    /// The other side.
    pub fn other(self) -> Self {
        match self {
            Self::Front => Self::Back,
            Self::Back => Self::Front,
        }
    }
}

impl fmt::Display for Side {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Front => "front",
            Self::Back => "back",
        })
    }
}

impl FromStr for Side {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        match text.trim().to_ascii_lowercase().as_str() {
            "front" | "fronts" => Ok(Self::Front),
            "back" | "backs" => Ok(Self::Back),
            other => Err(format!("\"{other}\" is not a side; write front or back")),
        }
    }
}
