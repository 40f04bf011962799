//! Lengths and angles that carry their unit.

use std::fmt;
use std::iter::Sum;
use std::ops::{Add, Div, Mul, Neg, Sub};
use std::str::FromStr;

use serde::{Deserialize, Serialize};

/// Millimetres in one inch (exact by definition of the international inch).
const MM_PER_INCH: f64 = 25.4;
/// PDF points in one inch (ISO 32000-1, 8.3.2.3).
const PT_PER_INCH: f64 = 72.0;

/// A length. Made from and read in a named unit; millimetres in JSON.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Length {
    mm: f64,
}

impl Length {
    /// No length at all.
    pub const ZERO: Self = Self { mm: 0.0 };

    /// A length in millimetres.
    pub const fn mm(value: f64) -> Self {
        Self { mm: value }
    }

    /// A length in micrometres.
    pub fn um(value: f64) -> Self {
        Self { mm: value / 1000.0 }
    }

    /// A length in inches of 25.4 mm.
    pub fn inch(value: f64) -> Self {
        Self {
            mm: value * MM_PER_INCH,
        }
    }

    /// A length in PDF points of 1/72 inch (ISO 32000-1, 8.3.2.3).
    pub fn pt(value: f64) -> Self {
        Self {
            mm: value * MM_PER_INCH / PT_PER_INCH,
        }
    }

    /// The length in millimetres.
    pub const fn to_mm(self) -> f64 {
        self.mm
    }

    /// The length in micrometres.
    pub fn to_um(self) -> f64 {
        self.mm * 1000.0
    }

    /// The length in inches.
    pub fn to_inch(self) -> f64 {
        self.mm / MM_PER_INCH
    }

    /// The length in PDF points.
    pub fn to_pt(self) -> f64 {
        self.mm * PT_PER_INCH / MM_PER_INCH
    }

    /// The length without its sign.
    pub fn abs(self) -> Self {
        Self { mm: self.mm.abs() }
    }

    /// The longer of two lengths.
    pub fn max(self, other: Self) -> Self {
        Self {
            mm: self.mm.max(other.mm),
        }
    }

    /// The shorter of two lengths.
    pub fn min(self, other: Self) -> Self {
        Self {
            mm: self.mm.min(other.mm),
        }
    }
}

impl Add for Length {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self {
            mm: self.mm + other.mm,
        }
    }
}

impl Sub for Length {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self {
            mm: self.mm - other.mm,
        }
    }
}

impl Neg for Length {
    type Output = Self;
    fn neg(self) -> Self {
        Self { mm: -self.mm }
    }
}

impl Mul<f64> for Length {
    type Output = Self;
    fn mul(self, factor: f64) -> Self {
        Self {
            mm: self.mm * factor,
        }
    }
}

impl Div<f64> for Length {
    type Output = Self;
    fn div(self, divisor: f64) -> Self {
        Self {
            mm: self.mm / divisor,
        }
    }
}

impl Sum for Length {
    fn sum<I: Iterator<Item = Self>>(lengths: I) -> Self {
        Self {
            mm: lengths.map(Self::to_mm).sum(),
        }
    }
}

impl fmt::Display for Length {
    /// Millimetres with at most three decimals: `2.1 mm`. A precision asks for that many: `{:.1}`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match f.precision() {
            Some(decimals) => write!(f, "{:.decimals$} mm", self.mm + 0.0),
            None => write!(f, "{} mm", trimmed(self.mm, 3)),
        }
    }
}

/// Why a text is not a length.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("\"{text}\" is not a length; write it like 2.1mm, 0.08in, 1/8in or 6pt")]
pub struct ParseLengthError {
    text: String,
}

impl FromStr for Length {
    type Err = ParseLengthError;

    /// Reads `2.1mm`, `2,1 mm`, `0.08in`, `1/8"`, `6pt`, `2cm`, `120um`; millimetres where no
    /// unit is given.
    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let fail = || ParseLengthError {
            text: text.trim().to_owned(),
        };
        let (number, unit) = split_unit(text);
        let value = parse_number(number).ok_or_else(fail)?;
        match unit.to_ascii_lowercase().as_str() {
            "" | "mm" | "millimetre" | "millimetres" | "millimeter" | "millimeters" => {
                Ok(Self::mm(value))
            }
            "cm" => Ok(Self::mm(value * 10.0)),
            "um" | "µm" | "μm" | "micron" | "microns" => Ok(Self::um(value)),
            "in" | "inch" | "inches" | "\"" | "″" => Ok(Self::inch(value)),
            "pt" | "point" | "points" => Ok(Self::pt(value)),
            _ => Err(fail()),
        }
    }
}

/// A rotation. Positive is clockwise as seen, because y runs down the sheet.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct Angle {
    radians: f64,
}

impl Angle {
    /// No rotation.
    pub const ZERO: Self = Self { radians: 0.0 };

    /// An angle in radians, clockwise as seen.
    pub const fn radians(value: f64) -> Self {
        Self { radians: value }
    }

    /// An angle in degrees, clockwise as seen.
    pub fn degrees(value: f64) -> Self {
        Self {
            radians: value.to_radians(),
        }
    }

    /// The angle in radians, clockwise as seen.
    pub const fn to_radians(self) -> f64 {
        self.radians
    }

    /// The angle in degrees, clockwise as seen.
    pub fn to_degrees(self) -> f64 {
        self.radians.to_degrees()
    }
}

impl Neg for Angle {
    type Output = Self;
    fn neg(self) -> Self {
        Self {
            radians: -self.radians,
        }
    }
}

impl fmt::Display for Angle {
    /// Degrees with at most three decimals: `0.2°`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}°", trimmed(self.to_degrees(), 3))
    }
}

/// Why a text is not an angle.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("\"{text}\" is not an angle; write degrees like 0.2 or 0.2deg")]
pub struct ParseAngleError {
    text: String,
}

impl FromStr for Angle {
    type Err = ParseAngleError;

    /// Reads `0.2`, `0.2°`, `0.2deg`, `0.2 degrees`: degrees, clockwise as seen.
    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let fail = || ParseAngleError {
            text: text.trim().to_owned(),
        };
        let (number, unit) = split_unit(text);
        let value = parse_number(number).ok_or_else(fail)?;
        match unit.to_ascii_lowercase().as_str() {
            "" | "°" | "deg" | "degree" | "degrees" => Ok(Self::degrees(value)),
            "mrad" => Ok(Self::radians(value / 1000.0)),
            _ => Err(fail()),
        }
    }
}

/// A number as people write it: a decimal point or comma, or a fraction like `1/8` or `2 1/2`.
pub(crate) fn parse_number(text: &str) -> Option<f64> {
    let text = text.trim();
    let value = if let Some((whole, denominator)) = text.split_once('/') {
        let (whole, numerator) = match whole.trim().rsplit_once([' ', '-']) {
            Some((whole, numerator)) if !whole.trim().is_empty() => (plain(whole)?, numerator),
            _ => (0.0, whole),
        };
        let fraction = plain(numerator)? / plain(denominator)?;
        whole + if whole < 0.0 { -fraction } else { fraction }
    } else {
        plain(text)?
    };
    value.is_finite().then_some(value)
}

fn plain(text: &str) -> Option<f64> {
    let text = text.trim().replace(',', ".").replace('−', "-");
    let ordinary = text
        .chars()
        .all(|c| c.is_ascii_digit() || matches!(c, '.' | '-' | '+'));
    if ordinary { text.parse().ok() } else { None }
}

/// Splits a text into the number at its head and the unit behind it.
pub(crate) fn split_unit(text: &str) -> (&str, &str) {
    let text = text.trim();
    let is_number =
        |c: char| c.is_ascii_digit() || matches!(c, '.' | ',' | '-' | '+' | '−' | '/' | ' ');
    let end = text.find(|c: char| !is_number(c)).unwrap_or(text.len());
    (text[..end].trim(), text[end..].trim())
}

/// A number with at most so many decimals and no idle noughts.
pub(crate) fn trimmed(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    let text = if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.')
    } else {
        &text
    };
    if text == "-0" {
        "0".to_owned()
    } else {
        text.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn length(text: &str) -> f64 {
        text.parse::<Length>().expect(text).to_mm()
    }

    #[test]
    fn millimetres_are_taken_where_no_unit_is_given() {
        assert_eq!(length("2.1"), 2.1);
        assert_eq!(length(" 2,1 "), 2.1);
        assert_eq!(length("-0.4"), -0.4);
    }

    #[test]
    fn units_and_fractions_are_read() {
        assert_eq!(length("2.1mm"), 2.1);
        assert!((length("0.08in") - 2.032).abs() < 1e-12);
        assert!((length("1/8\"") - 3.175).abs() < 1e-12);
        assert!((length("2 1/2 in") - 63.5).abs() < 1e-12);
        assert!((length("72pt") - 25.4).abs() < 1e-12);
        assert!((length("254 µm") - 0.254).abs() < 1e-12);
        assert_eq!(length("2 cm"), 20.0);
    }

    #[test]
    fn nonsense_is_refused_with_an_example() {
        for text in [
            "",
            "mm",
            "2 parsecs",
            "1/0 in",
            "nan",
            "inf",
            "1e400",
            "2..1",
        ] {
            let error = text.parse::<Length>().expect_err(text);
            assert!(error.to_string().contains("2.1mm"), "{error}");
        }
    }

    #[test]
    fn angles_are_degrees_for_people_and_radians_inside() {
        let quarter: Angle = "90°".parse().expect("an angle");
        assert!((quarter.to_radians() - std::f64::consts::FRAC_PI_2).abs() < 1e-15);
        assert_eq!(
            "0.2 deg".parse::<Angle>().expect("an angle").to_string(),
            "0.2°"
        );
    }

    #[test]
    fn lengths_print_without_idle_noughts() {
        assert_eq!(Length::mm(2.10).to_string(), "2.1 mm");
        assert_eq!(Length::mm(-0.0001).to_string(), "0 mm");
        assert_eq!(Length::mm(10.0).to_string(), "10 mm");
        assert_eq!(format!("{:.2}", Length::mm(2.1)), "2.10 mm");
    }
}
