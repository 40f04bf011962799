//! Reading a test sheet by eye: with a pin on the millimetre grids, or with a ruler.
//!
//! The pin goes through a cross on the front, so on the back the hole marks where the *front* is,
//! upon the *back's* grid. Backs that are 2.1 mm low and 0.4 mm left put the hole 2.1 mm above and
//! 0.4 mm right of the grid's middle. The grids are therefore lettered with the answer: "low"
//! above the middle, "high" below it, "left" to the right, "right" to the left. The same holds
//! whichever side was printed first: the register error is always the back's against the front's.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use tympan_sheet::{Back, Flip, Front, Length, Point, Size, Vector};

use crate::geometry::GRID_REACH;
pub use crate::geometry::Station;

/// One of the four sides of a millimetre grid.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Zone {
    /// What is written there: how the back lies when the hole is on this side.
    pub word: &'static str,
    /// Where this side lies from the grid's middle, as seen on the back: x right, y down.
    pub towards: (f64, f64),
}

/// The sides of a millimetre grid and what is written there.
pub const ZONES: [Zone; 4] = [
    Zone {
        word: "low",
        towards: (0.0, -1.0),
    },
    Zone {
        word: "high",
        towards: (0.0, 1.0),
    },
    Zone {
        word: "left",
        towards: (1.0, 0.0),
    },
    Zone {
        word: "right",
        towards: (-1.0, 0.0),
    },
];

/// How the back lies against the front, as a person looking at the back says it: so much low or
/// high, so much left or right.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct SeenOnBack {
    /// Low, mm; negative is high.
    low_mm: f64,
    /// Right, mm; negative is left.
    right_mm: f64,
}

impl SeenOnBack {
    /// The offset from words: `("low", 2.1 mm)` and `("left", 0.4 mm)`, in any order.
    ///
    /// # Errors
    /// [`WordsError`] for other words, for a direction said twice, for negative lengths.
    pub fn from_words<'a>(
        said: impl IntoIterator<Item = (&'a str, Length)>,
    ) -> Result<Self, WordsError> {
        let (mut low, mut right) = (None, None);
        for (word, by) in said {
            let mm = by.to_mm();
            if !mm.is_finite() || mm < 0.0 {
                return Err(WordsError::Negative {
                    word: word.to_owned(),
                });
            }
            let (slot, sign) = match word.to_ascii_lowercase().as_str() {
                "low" | "lower" | "down" => (&mut low, 1.0),
                "high" | "higher" | "up" => (&mut low, -1.0),
                "right" => (&mut right, 1.0),
                "left" => (&mut right, -1.0),
                _ => return Err(WordsError::Word(word.to_owned())),
            };
            if slot.replace(sign * mm).is_some() {
                return Err(WordsError::Twice {
                    word: word.to_owned(),
                });
            }
        }
        Ok(Self {
            low_mm: low.unwrap_or(0.0),
            right_mm: right.unwrap_or(0.0),
        })
    }

    /// The offset as a displacement of the back's print, as seen on the back.
    pub fn vector(self) -> Vector<Back> {
        Vector::new(self.right_mm, self.low_mm)
    }

    /// The offset from a displacement of the back's print, as seen on the back.
    pub fn from_vector(v: Vector<Back>) -> Self {
        Self {
            low_mm: v.y,
            right_mm: v.x,
        }
    }
}

impl fmt::Display for SeenOnBack {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let vertical = if self.low_mm < 0.0 { "high" } else { "low" };
        let sideways = if self.right_mm < 0.0 { "left" } else { "right" };
        let (y, x) = (self.low_mm.abs(), self.right_mm.abs());
        write!(f, "{y:.2} mm {vertical}, {x:.2} mm {sideways}")
    }
}

impl FromStr for SeenOnBack {
    type Err = WordsError;

    /// Reads `2.1mm low, 0.4mm left`, `low 2.1 left 0.4`, `high 1/16in`, `0`.
    fn from_str(text: &str) -> Result<Self, WordsError> {
        let fail = || WordsError::Text(text.trim().to_owned());
        // "2.1 mm" is one length though written as two words.
        let mut tokens: Vec<String> = Vec::new();
        let marks = |c: char| c.is_whitespace() || c == ';';
        for token in text
            .split(marks)
            .map(|t| t.trim_matches(','))
            .filter(|t| !t.is_empty())
        {
            let unit = ["mm", "cm", "in", "inch", "inches", "\"", "um", "µm"].contains(&token);
            match tokens.last_mut() {
                Some(number) if unit && number.parse::<Length>().is_ok() => number.push_str(token),
                _ => tokens.push(token.to_owned()),
            }
        }
        if let [only] = tokens.as_slice()
            && only.parse::<Length>().is_ok_and(|l| l == Length::ZERO)
        {
            return Ok(Self::default());
        }
        if tokens.is_empty() || tokens.len() % 2 == 1 {
            return Err(fail());
        }
        let mut said = Vec::new();
        for pair in tokens.chunks(2) {
            let (a, b) = (pair[0].as_str(), pair[1].as_str());
            match (a.parse::<Length>(), b.parse::<Length>()) {
                (Ok(by), Err(_)) => said.push((b, by)),
                (Err(_), Ok(by)) => said.push((a, by)),
                _ => return Err(fail()),
            }
        }
        Self::from_words(said)
    }
}

/// Why words do not say how a back lies.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum WordsError {
    /// Not understood at all.
    #[error("\"{0}\" does not say how the back lies; write it like \"low 2.1, left 0.4\"")]
    Text(String),
    /// A word that names no direction.
    #[error("\"{0}\" is no direction; use low, high, left and right, looking at the back")]
    Word(String),
    /// Low and high, or left and right, together.
    #[error(
        "\"{word}\" comes after a word for the same axis; say one of low and high, and one of left and right"
    )]
    Twice {
        /// The second word.
        word: String,
    },
    /// The word says the direction already.
    #[error("the length {word} must not be negative: the word says the direction")]
    Negative {
        /// The direction.
        word: String,
    },
}

/// A register error seen at a point.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Observation {
    /// Where.
    pub at: Point<Front>,
    /// Where the back's image lies relative to the front's, seen from the front, mm.
    pub error: Vector<Front>,
    /// The variance of each of its two components, mm².
    pub variance: f64,
}

/// How well holes are made and read.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct PinNoise {
    /// Standard uncertainty of aiming and pricking, each axis, mm. The pin's own slant through
    /// thick stock is part of it. 0.15 mm by default (common practice, no published source).
    pub aim_sd_mm: f64,
    /// The step that readings are rounded to, mm; it adds δ/√12 (JCGM 100:2008, F.2.2.1).
    pub step_mm: f64,
}

impl Default for PinNoise {
    fn default() -> Self {
        Self {
            aim_sd_mm: 0.15,
            step_mm: 0.1,
        }
    }
}

impl PinNoise {
    /// The variance of each component of an error read so, mm².
    pub fn variance(self) -> f64 {
        self.aim_sd_mm.powi(2) + self.step_mm.powi(2) / 12.0
    }
}

/// The hole lies off the grid.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[error("{mm:.1} mm is off the grid of ±{GRID_REACH} mm at {station}")]
pub struct OffGrid {
    /// The station.
    pub station: char,
    /// The larger of what was read, mm.
    pub mm: f64,
}

impl OffGrid {
    /// What to do about it.
    pub fn hint(&self) -> &'static str {
        "correct once by what a ruler says, print a new test sheet with that correction, then read it with the pin"
    }
}

/// What a hole at a station says, read in the grid's words.
///
/// # Errors
/// [`OffGrid`] where the hole lies beyond the grid, where nobody can have read it.
pub fn read(
    station: Station,
    seen: SeenOnBack,
    flip: Flip,
    noise: PinNoise,
) -> Result<Observation, OffGrid> {
    let v = seen.vector();
    let mm = v.x.abs().max(v.y.abs());
    // Half a millimetre past the last line can still be judged.
    if mm > GRID_REACH + 0.5 {
        return Err(OffGrid {
            station: station.name,
            mm,
        });
    }
    let error = flip.vector_to_front(v);
    Ok(Observation {
        at: station.at,
        error,
        variance: noise.variance(),
    })
}

/// What a single offset measured with a ruler says: it stands for the middle of the sheet, and
/// being the difference of two ends read in steps of δ has the uncertainty δ·√(2/12), 0.2 mm for
/// half millimetres.
pub fn read_ruler(seen: SeenOnBack, flip: Flip, sheet: Size, step: Length) -> Observation {
    let variance = step.to_mm().powi(2) / 6.0;
    let error = flip.vector_to_front(seen.vector());
    Observation {
        at: sheet.centre(),
        error,
        variance,
    }
}

#[cfg(test)]
mod tests;
