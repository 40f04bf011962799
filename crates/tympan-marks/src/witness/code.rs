//! What the code in a strip says.
//!
//! A code is 64 cells along the strip's axis, a bar where the bit is 1:
//!
//! ```text
//! 1 0 │ 2 version │ 1 side │ 1 strip │ 25 run │ 14 sheet │ 16 check │ 0 1 1
//! ```
//!
//! Numbers stand with their highest bit first. The check is CRC-16/IBM-3740 (polynomial 0x1021,
//! start 0xFFFF) of the 43 bits before it; then those 59 bits are whitened, so that no run of
//! equal cells grows long. The two ends differ, so that a code read from its end is known as such.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use tympan_sheet::Side;

/// Cells of a code.
pub const CELLS: usize = 64;

const VERSION: u64 = 0;
const START: [bool; 2] = [true, false];
const END: [bool; 3] = [false, true, true];
/// Whitens the bits between start and end: digits of π in binary, where no long runs are.
const WHITE: u64 = 0x243f_6a88_85a3_08d3 >> 5;

const RUN_BITS: u32 = 25;
const SHEET_BITS: u32 = 14;
const CHECK_BITS: u32 = 16;
/// Version, side, strip, run and sheet.
const SAID_BITS: u32 = 2 + 1 + 1 + RUN_BITS + SHEET_BITS;
const BITS: u32 = SAID_BITS + CHECK_BITS;

/// Digits and letters without those that are taken for digits, and U.
const LETTERS: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";
const RUN_LETTERS: usize = 5;

/// The short name of a run that its sheets carry: five of the digits and letters without I, L, O
/// and U.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct RunCode(u32);

impl RunCode {
    /// A code that follows from these bytes: the same plan gets the same code (FNV-1a, Fowler, Noll
    /// and Vo, folded).
    pub fn of(bytes: &[u8]) -> Self {
        let hash = bytes.iter().fold(0xcbf2_9ce4_8422_2325_u64, |hash, &b| {
            (hash ^ u64::from(b)).wrapping_mul(0x0100_0000_01b3)
        });
        let folded = hash ^ (hash >> 25) ^ (hash >> 50);
        Self(folded as u32 & ((1 << RUN_BITS) - 1))
    }

    /// The next code, for one that is taken.
    pub fn next(self) -> Self {
        Self((self.0 + 1) & ((1 << RUN_BITS) - 1))
    }
}

impl fmt::Display for RunCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for k in (0..RUN_LETTERS).rev() {
            let letter = LETTERS[(self.0 >> (5 * k)) as usize & 31];
            write!(f, "{}", char::from(letter))?;
        }
        Ok(())
    }
}

/// The text is not the code of a run.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "\"{0}\" is not a run's code; it has {RUN_LETTERS} digits and letters without I, L, O and U"
)]
pub struct NotARunCode(String);

impl FromStr for RunCode {
    type Err = NotARunCode;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let wrong = || NotARunCode(text.to_owned());
        let letters = text.trim().to_ascii_uppercase();
        if letters.len() != RUN_LETTERS {
            return Err(wrong());
        }
        letters
            .bytes()
            .try_fold(0, |code, letter| {
                let value = LETTERS.iter().position(|&l| l == letter)?;
                Some(code << 5 | value as u32)
            })
            .map(Self)
            .ok_or_else(wrong)
    }
}

impl TryFrom<String> for RunCode {
    type Error = NotARunCode;
    fn try_from(text: String) -> Result<Self, Self::Error> {
        text.parse()
    }
}

impl From<RunCode> for String {
    fn from(code: RunCode) -> Self {
        code.to_string()
    }
}

/// What one strip's code says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct StripCode {
    /// The run.
    pub run: RunCode,
    /// The number of the sheet in it, up to 9999.
    pub sheet: u32,
    /// The side that it is printed on.
    pub side: Side,
    /// Which of the two strips, 0 or 1.
    pub strip: usize,
}

impl StripCode {
    /// The cells in the direction of the strip's axis: true for a bar.
    pub fn cells(&self) -> [bool; CELLS] {
        let mut said = VERSION << 2 | u64::from(self.side == Side::Back) << 1;
        said |= self.strip as u64 & 1;
        said = said << RUN_BITS | u64::from(self.run.0);
        said = said << SHEET_BITS | u64::from(self.sheet) & ((1 << SHEET_BITS) - 1);
        let bits = (said << CHECK_BITS | u64::from(check(said))) ^ WHITE;
        std::array::from_fn(|k| match k {
            0..2 => START[k],
            k if k < CELLS - 3 => bits >> (BITS as usize + 1 - k) & 1 == 1,
            k => END[k - (CELLS - 3)],
        })
    }

    /// What these cells say. `None` where they are no code.
    pub fn of(cells: &[bool; CELLS]) -> Option<Self> {
        let ends = cells[..2] == START && cells[CELLS - 3..] == END;
        if !ends {
            return None;
        }
        let bits = cells[2..CELLS - 3]
            .iter()
            .fold(0_u64, |bits, &bar| bits << 1 | u64::from(bar))
            ^ WHITE;
        let said = bits >> CHECK_BITS;
        let take = |from: u32, count: u32| (said >> from & ((1 << count) - 1)) as u32;
        let whole = bits as u16 == check(said) && said >> (SAID_BITS - 2) == VERSION;
        let sheet = take(0, SHEET_BITS);
        whole.then(|| Self {
            run: RunCode(take(SHEET_BITS, RUN_BITS)),
            sheet,
            side: match take(SHEET_BITS + RUN_BITS + 1, 1) {
                0 => Side::Front,
                _ => Side::Back,
            },
            strip: take(SHEET_BITS + RUN_BITS, 1) as usize,
        })
    }
}

/// CRC-16/IBM-3740 of what a code says.
fn check(said: u64) -> u16 {
    crc((0..SAID_BITS).rev().map(|k| said >> k & 1 == 1))
}

fn crc(bits: impl Iterator<Item = bool>) -> u16 {
    bits.fold(0xffff, |crc: u16, bit| {
        let out = (crc >> 15 == 1) != bit;
        crc << 1 ^ if out { 0x1021 } else { 0 }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn code() -> StripCode {
        StripCode {
            run: "7FERY".parse().expect("a code"),
            sheet: 12,
            side: Side::Back,
            strip: 1,
        }
    }

    #[test]
    fn the_check_is_the_published_one() {
        // CRC RevEng's catalogue: CRC-16/IBM-3740 of the nine digits.
        let bits = b"123456789"
            .iter()
            .flat_map(|&byte| (0..8).rev().map(move |k| byte >> k & 1 == 1));
        assert_eq!(crc(bits), 0x29b1);
    }

    #[test]
    fn codes_come_back_from_their_cells() {
        for side in Side::BOTH {
            for strip in 0..2 {
                for sheet in [1, 77, 9999] {
                    for run in ["00000", "ZZZZZ", "7FERY"] {
                        let run = run.parse().expect("a code");
                        let code = StripCode {
                            run,
                            sheet,
                            side,
                            strip,
                        };
                        assert_eq!(StripCode::of(&code.cells()), Some(code));
                    }
                }
            }
        }
    }

    #[test]
    fn cells_read_from_the_end_or_with_up_to_three_faults_are_no_code() {
        let cells = code().cells();
        let mut reversed = cells;
        reversed.reverse();
        assert_eq!(StripCode::of(&reversed), None);
        for a in 0..CELLS {
            for b in 0..=a {
                for c in 0..=b {
                    let mut spoilt = cells;
                    // Each cell once, so that faults do not mend each other.
                    let mut places = vec![a, b, c];
                    places.dedup();
                    places.iter().for_each(|&k| spoilt[k] = !spoilt[k]);
                    assert_eq!(StripCode::of(&spoilt), None, "{places:?}");
                }
            }
        }
    }

    #[test]
    fn no_run_of_equal_cells_is_long() {
        for sheet in 1..2000 {
            let code = StripCode {
                run: RunCode::of(&sheet.to_string().into_bytes()),
                sheet,
                ..code()
            };
            let longest = code
                .cells()
                .chunk_by(|a, b| a == b)
                .map(<[bool]>::len)
                .max();
            assert!(longest <= Some(20), "{code:?}");
        }
    }

    #[test]
    fn run_codes_are_five_plain_letters() {
        let code = RunCode::of(b"Saltmarsh Ferry, poker, A4");
        assert_eq!(code.to_string().parse(), Ok(code));
        assert_ne!(code, RunCode::of(b"Saltmarsh Ferry, poker, Letter"));
        assert_eq!(
            "ZZZZZ".parse::<RunCode>().map(RunCode::next),
            "00000".parse()
        );
        for bad in ["", "ABCD", "ABCDEF", "ABCDU", "ÄBCD"] {
            assert!(bad.parse::<RunCode>().is_err(), "{bad}");
        }
    }
}
