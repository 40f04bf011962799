//! What the codes on a test sheet say.
//!
//! Each side carries two QR codes (ISO/IEC 18004, version 2, level M), one at its head and one at
//! its foot. The text is of the alphanumeric mode's characters only:
//!
//! ```text
//! TYMPAN1/FHS/21000X29700/12/K7Q2
//! │      │││  │           │  └ set-up, 1 to 8 of 0-9 A-Z
//! │      │││  │           └ sheet number, 1 to 9999
//! │      │││  └ paper, width X height in 1/100 mm, portrait
//! │      ││└ flip: S sideways, E endways
//! │      │└ which end of the side, as seen: H head, F foot
//! │      └ side: F front, B back
//! └ target and the version of its geometry
//! ```
//!
//! Paper and flip are all that the places of the marks depend on, so a picture of a sheet can be
//! read without knowing anything else.

use std::fmt;
use std::str::FromStr;

use qrcode::types::QrError;
use qrcode::{EcLevel, QrCode, Version};
use serde::{Deserialize, Serialize};
use tympan_sheet::{Flip, Side, Size};

/// Target id and version of the geometry: a change of where marks lie needs a new number.
const TARGET: &str = "TYMPAN1";

/// Modules along one side of a version 2 symbol (17 + 4·2; ISO/IEC 18004).
pub const MODULES: usize = 25;
/// Width of one module, mm.
pub const MODULE_MM: f64 = 0.8;
/// Modules of quiet zone on every side (ISO/IEC 18004).
pub const QUIET_MODULES: usize = 4;
/// Side of the code's dark square, mm.
pub const CODE_MM: f64 = MODULES as f64 * MODULE_MM;
/// Side of the code with its quiet zone, mm.
pub const CODE_BOX_MM: f64 = (MODULES + 2 * QUIET_MODULES) as f64 * MODULE_MM;

/// One end of a side of a sheet, as seen with its print upright.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum End {
    /// The top.
    Head,
    /// The bottom.
    Foot,
}

impl End {
    /// Both ends, the head first.
    pub const BOTH: [Self; 2] = [Self::Head, Self::Foot];
}

/// The short name of a set-up that its test sheets carry: 1 to 8 characters of 0-9 and A-Z.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct SetupCode(String);

impl SetupCode {
    /// The text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for SetupCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// The text is not a set-up code.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("\"{0}\" is not a set-up code; it has 1 to 8 characters of 0-9 and A-Z")]
pub struct NotASetupCode(String);

impl FromStr for SetupCode {
    type Err = NotASetupCode;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let code = text.trim().to_ascii_uppercase();
        let fits = (1..=8).contains(&code.len())
            && code
                .bytes()
                .all(|b| b.is_ascii_digit() || b.is_ascii_uppercase());
        if fits {
            Ok(Self(code))
        } else {
            Err(NotASetupCode(text.to_owned()))
        }
    }
}

impl TryFrom<String> for SetupCode {
    type Error = NotASetupCode;
    fn try_from(text: String) -> Result<Self, Self::Error> {
        text.parse()
    }
}

impl From<SetupCode> for String {
    fn from(code: SetupCode) -> Self {
        code.0
    }
}

/// What one code says.
#[derive(Clone, Debug, PartialEq)]
pub struct SheetCode {
    /// The side that it is printed on.
    pub side: Side,
    /// The end of that side where it stands.
    pub end: End,
    /// The flip that the sheet is made for.
    pub flip: Flip,
    /// The sheet's size upright, mm, to 1/100 mm.
    pub paper: Size,
    /// The number of the sheet.
    pub sheet: u32,
    /// The set-up that the sheet belongs to.
    pub setup: SetupCode,
}

/// The text is not the code of a test sheet that this version knows.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CodeError {
    /// Some other QR code.
    #[error("this code is not a test sheet's")]
    Foreign,
    /// A test sheet of another version of the geometry.
    #[error("this test sheet was made by another version of Tympan")]
    Version,
    /// Begins like a test sheet's code and goes on unlike one.
    #[error("this test sheet's code is garbled")]
    Garbled,
}

impl SheetCode {
    /// The symbol that carries this text.
    ///
    /// # Errors
    /// Only where the text is longer than a version 2 symbol holds, which a valid set-up code and
    /// sheet number never make it.
    pub fn symbol(&self) -> Result<QrCode, QrError> {
        QrCode::with_version(self.to_string(), Version::Normal(2), EcLevel::M)
    }
}

impl fmt::Display for SheetCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let side = match self.side {
            Side::Front => 'F',
            Side::Back => 'B',
        };
        let end = match self.end {
            End::Head => 'H',
            End::Foot => 'F',
        };
        let flip = match self.flip {
            Flip::Sideways => 'S',
            Flip::Endways => 'E',
        };
        let (w, h) = (hundredths(self.paper.w), hundredths(self.paper.h));
        write!(
            f,
            "{TARGET}/{side}{end}{flip}/{w}X{h}/{}/{}",
            self.sheet, self.setup
        )
    }
}

/// A length of some hundred mm in 1/100 mm.
fn hundredths(mm: f64) -> u32 {
    (mm * 100.0).round().max(0.0) as u32
}

impl FromStr for SheetCode {
    type Err = CodeError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let mut parts = text.split('/');
        let target = parts.next().unwrap_or_default();
        if target != TARGET {
            let other = target
                .strip_prefix("TYMPAN")
                .is_some_and(|v| v.parse::<u32>().is_ok());
            return Err(if other {
                CodeError::Version
            } else {
                CodeError::Foreign
            });
        }
        let mut next = || parts.next().ok_or(CodeError::Garbled);
        let (place, paper, sheet, setup) = (next()?, next()?, next()?, next()?);
        if parts.next().is_some() {
            return Err(CodeError::Garbled);
        }
        let [side, end, flip] = place.as_bytes() else {
            return Err(CodeError::Garbled);
        };
        let side = match side {
            b'F' => Side::Front,
            b'B' => Side::Back,
            _ => return Err(CodeError::Garbled),
        };
        let end = match end {
            b'H' => End::Head,
            b'F' => End::Foot,
            _ => return Err(CodeError::Garbled),
        };
        let flip = match flip {
            b'S' => Flip::Sideways,
            b'E' => Flip::Endways,
            _ => return Err(CodeError::Garbled),
        };
        let number = |text: &str| {
            let digits = (1..=5).contains(&text.len()) && text.bytes().all(|b| b.is_ascii_digit());
            if digits {
                text.parse::<u32>().ok()
            } else {
                None
            }
            .ok_or(CodeError::Garbled)
        };
        let (w, h) = paper.split_once('X').ok_or(CodeError::Garbled)?;
        let paper = Size::new(f64::from(number(w)?) / 100.0, f64::from(number(h)?) / 100.0);
        let sheet = number(sheet)?;
        let setup = setup.parse().map_err(|_| CodeError::Garbled)?;
        Ok(Self {
            side,
            end,
            flip,
            paper,
            sheet,
            setup,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn code() -> SheetCode {
        SheetCode {
            side: Side::Front,
            end: End::Head,
            flip: Flip::Sideways,
            paper: Size::new(210.0, 297.0),
            sheet: 12,
            setup: "k7q2".parse().expect("a valid code"),
        }
    }

    #[test]
    fn a_code_says_what_it_is_documented_to_say() {
        assert_eq!(code().to_string(), "TYMPAN1/FHS/21000X29700/12/K7Q2");
    }

    #[test]
    fn every_code_comes_back_from_its_text() {
        for side in Side::BOTH {
            for end in End::BOTH {
                for flip in [Flip::Sideways, Flip::Endways] {
                    let paper = Size::new(184.15, 266.7);
                    let code = SheetCode {
                        side,
                        end,
                        flip,
                        paper,
                        ..code()
                    };
                    assert_eq!(code.to_string().parse(), Ok(code));
                }
            }
        }
    }

    #[test]
    fn the_longest_text_fits_its_symbol() {
        let code = SheetCode {
            paper: Size::new(329.99, 482.99),
            sheet: 9999,
            setup: "ABCDEFGH".parse().expect("a valid code"),
            ..code()
        };
        assert_eq!(code.symbol().expect("fits").width(), MODULES);
    }

    #[test]
    fn other_codes_are_told_from_garbled_ones() {
        assert_eq!(
            "https://example.org".parse::<SheetCode>(),
            Err(CodeError::Foreign)
        );
        assert_eq!(
            "TYMPAN2/whatever".parse::<SheetCode>(),
            Err(CodeError::Version)
        );
        for text in [
            "TYMPAN1",
            "TYMPAN1/FHS/21000X29700/12",
            "TYMPAN1/FHS/-1X2/1/A",
        ] {
            assert_eq!(text.parse::<SheetCode>(), Err(CodeError::Garbled), "{text}");
        }
    }

    #[test]
    fn a_set_up_code_has_one_to_eight_plain_characters() {
        for bad in ["", "ABCDEFGHI", "A-B", "ä"] {
            assert!(bad.parse::<SetupCode>().is_err(), "{bad}");
        }
    }
}
