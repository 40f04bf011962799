//! Paper sizes, by standard name, by common name and by measure.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::frame::Size;
use crate::length::{Length, trimmed};

/// A sheet of paper: its size and the name that it goes by.
///
/// The name is self-describing in the form of PWG 5101.1 (`class_name_WxHunit`), so that it can be
/// given to a printer as it is; that is also its form in JSON.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(into = "String", try_from = "String")]
pub struct Paper {
    name: String,
    size: Size,
}

/// Why a text names no paper.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PaperError {
    /// No such name, and not a size either.
    #[error(
        "\"{0}\" is not a paper that Tympan knows; write a name like a4, letter or legal, or a size \
         like 210x297mm or 8.5x11in"
    )]
    Unknown(String),
    /// A name that stands for different sizes in different places.
    #[error("\"{0}\" is two papers: write \"iso {0}\" or \"jis {0}\" (the Japanese one is larger)")]
    Ambiguous(String),
    /// Smaller or larger than any sheet that goes through a desk printer.
    #[error(
        "a sheet of {} × {} mm is not one for a desk printer; sheets from {SMALLEST} to {LARGEST} mm \
         are understood", trimmed(.0.w, 2), trimmed(.0.h, 2)
    )]
    OutOfRange(Size),
}

/// The shortest edge of a sheet that a desk printer feeds, mm (common practice: postcards less
/// a good margin).
const SMALLEST: f64 = 50.0;
/// The longest edge that is believed, mm: the banner length of common desk printers.
const LARGEST: f64 = 1300.0;

/// Papers that people ask for by name: PWG 5101.1 name, common names. Sizes are read from the
/// PWG names (source: the media table of PWG 5101.1 as carried in libcups).
const KNOWN: &[(&str, &[&str])] = &[
    ("iso_a2_420x594mm", &["a2"]),
    ("iso_a3_297x420mm", &["a3"]),
    ("iso_a4_210x297mm", &["a4"]),
    ("iso_a5_148x210mm", &["a5"]),
    ("iso_a6_105x148mm", &["a6"]),
    ("iso_a7_74x105mm", &["a7"]),
    ("iso_b4_250x353mm", &["iso b4"]),
    ("iso_b5_176x250mm", &["iso b5"]),
    ("iso_b6_125x176mm", &["iso b6"]),
    ("iso_c4_229x324mm", &["c4"]),
    ("iso_c5_162x229mm", &["c5"]),
    ("iso_c6_114x162mm", &["c6"]),
    ("iso_ra4_215x305mm", &["ra4"]),
    ("iso_sra4_225x320mm", &["sra4"]),
    ("iso_sra3_320x450mm", &["sra3"]),
    ("jis_b4_257x364mm", &["jis b4"]),
    ("jis_b5_182x257mm", &["jis b5"]),
    ("jis_b6_128x182mm", &["jis b6"]),
    ("jpn_hagaki_100x148mm", &["hagaki", "postcard"]),
    ("na_letter_8.5x11in", &["letter", "us letter", "ansi a"]),
    ("na_legal_8.5x14in", &["legal", "us legal"]),
    (
        "na_ledger_11x17in",
        &["tabloid", "ledger", "11x17", "ansi b"],
    ),
    ("na_super-b_13x19in", &["super b", "13x19", "a3+"]),
    ("na_arch-a_9x12in", &["arch a", "9x12"]),
    ("na_arch-b_12x18in", &["arch b", "12x18"]),
    ("na_executive_7.25x10.5in", &["executive"]),
    (
        "na_invoice_5.5x8.5in",
        &["half letter", "statement", "invoice"],
    ),
    ("na_index-3x5_3x5in", &["3x5"]),
    ("na_index-4x6_4x6in", &["4x6"]),
    ("na_index-5x8_5x8in", &["5x8"]),
    ("na_5x7_5x7in", &["5x7"]),
    ("na_foolscap_8.5x13in", &["folio", "foolscap", "8.5x13"]),
];

impl Paper {
    /// The paper of this size, with its standard name if it has one (within 0.5 mm).
    ///
    /// # Errors
    /// [`PaperError::OutOfRange`] for sizes that no desk printer takes.
    pub fn of_size(size: Size) -> Result<Self, PaperError> {
        let range = SMALLEST..=LARGEST;
        if !range.contains(&size.w) || !range.contains(&size.h) {
            return Err(PaperError::OutOfRange(size));
        }
        let known = Self::known().find(|paper| paper.size.is_close(size, 0.5));
        Ok(known.unwrap_or_else(|| {
            let name = format!(
                "custom_sheet_{}x{}mm",
                trimmed(size.w, 3),
                trimmed(size.h, 3)
            );
            // What the name says, so that a paper that is stored by its name is the same again.
            let size = pwg_size(&name).unwrap_or(size);
            Self { name, size }
        }))
    }

    /// All papers that have a common name.
    pub fn known() -> impl Iterator<Item = Self> {
        KNOWN.iter().filter_map(|(name, _)| {
            Some(Self {
                name: (*name).to_owned(),
                size: pwg_size(name)?,
            })
        })
    }

    /// The self-describing name (PWG 5101.1).
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The size as the name gives it, mm: most papers are named upright.
    pub fn size(&self) -> Size {
        self.size
    }

    /// The name that people use: `A4`, `Letter`, `200 × 250 mm`.
    pub fn title(&self) -> String {
        let common = KNOWN
            .iter()
            .find(|(name, _)| *name == self.name)
            .map(|(_, names)| names[0]);
        match common {
            Some(name) => match name.split_once('x') {
                Some((w, h)) if w.parse::<f64>().is_ok() => format!("{w} × {h} in"),
                _ if name.len() <= 4 || name.ends_with(char::is_numeric) => {
                    name.to_ascii_uppercase()
                }
                // The single letter of a series is large, as in Arch A.
                _ => match name.rsplit_once(' ') {
                    Some((series, letter)) if letter.len() == 1 => {
                        format!("{} {}", capital(series), letter.to_ascii_uppercase())
                    }
                    _ => capital(name),
                },
            },
            None => format!(
                "{} × {} mm",
                trimmed(self.size.w, 2),
                trimmed(self.size.h, 2)
            ),
        }
    }
}

fn capital(name: &str) -> String {
    let mut letters = name.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

/// The size that a self-describing name states (PWG 5101.1: readers take the size from the
/// dimensions and ignore the class).
fn pwg_size(name: &str) -> Option<Size> {
    let dimensions = name.rsplit('_').next()?;
    let (unit, make): (&str, fn(f64) -> Length) = match dimensions {
        d if d.ends_with("mm") => ("mm", Length::mm),
        d if d.ends_with("in") => ("in", Length::inch),
        _ => return None,
    };
    let (w, h) = dimensions.strip_suffix(unit)?.split_once('x')?;
    let number = |text: &str| {
        let plain = text.chars().all(|c| c.is_ascii_digit() || c == '.');
        if plain {
            text.parse::<f64>().ok()
        } else {
            None
        }
    };
    let (w, h) = (number(w)?, number(h)?);
    // The one name in the standard whose dimensions are an inner and an outer diameter.
    let w = if name.starts_with("disc_") { h } else { w };
    Some(Size::new(make(w).to_mm(), make(h).to_mm()))
}

/// A size as people write it: `210x297mm`, `8.5 x 11 in`, `210mm x 297mm`.
fn written_size(text: &str) -> Option<Size> {
    let (w, h) = text.split_once(['x', '×', '*'])?;
    let h: Length = h.parse().ok()?;
    let unit: String = text
        .chars()
        .rev()
        .take_while(|c| c.is_alphabetic() || *c == '"')
        .collect();
    let unit: String = unit.chars().rev().collect();
    let w = if w.trim().ends_with(|c: char| c.is_ascii_digit()) {
        format!("{w}{unit}")
    } else {
        w.to_owned()
    };
    Some(Size::new(w.parse::<Length>().ok()?.to_mm(), h.to_mm()))
}

impl FromStr for Paper {
    type Err = PaperError;

    /// Reads a PWG 5101.1 name, a common name (`A4`, `Letter`, `JIS B5`) or a size
    /// (`210x297mm`, `8.5x11in`; millimetres where no unit is given).
    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let plain = text.trim().to_lowercase();
        if plain.contains('_') {
            let size = pwg_size(&plain).ok_or_else(|| PaperError::Unknown(text.trim().into()))?;
            return Self::of_size(size);
        }
        let words = plain
            .split([' ', '-'])
            .filter(|w| !w.is_empty())
            .collect::<Vec<_>>()
            .join(" ");
        if matches!(words.as_str(), "b4" | "b5" | "b6") {
            return Err(PaperError::Ambiguous(words));
        }
        if let Some((name, _)) = KNOWN
            .iter()
            .find(|(_, names)| names.contains(&words.as_str()))
            && let Some(size) = pwg_size(name)
        {
            return Ok(Self {
                name: (*name).to_owned(),
                size,
            });
        }
        match written_size(&plain) {
            Some(size) => Self::of_size(size),
            None => Err(PaperError::Unknown(text.trim().to_owned())),
        }
    }
}

impl fmt::Display for Paper {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.title())
    }
}

impl From<Paper> for String {
    fn from(paper: Paper) -> Self {
        paper.name
    }
}

impl TryFrom<String> for Paper {
    type Error = PaperError;
    fn try_from(text: String) -> Result<Self, Self::Error> {
        text.parse()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn size(text: &str) -> (f64, f64) {
        let s = text.parse::<Paper>().expect(text).size();
        (s.w, s.h)
    }

    /// Sizes by name: ISO 216, JIS P 0138 and ANSI/ASME Y14.1 as listed in the media table of
    /// PWG 5101.1.
    #[test]
    fn papers_have_their_published_sizes() {
        assert_eq!(size("A4"), (210.0, 297.0));
        assert_eq!(size("a3"), (297.0, 420.0));
        assert_eq!(size("jis b5"), (182.0, 257.0));
        assert_eq!(size("ISO B5"), (176.0, 250.0));
        let close = |text: &str, w: f64, h: f64| {
            let (a, b) = size(text);
            assert!(
                (a - w).abs() < 1e-9 && (b - h).abs() < 1e-9,
                "{text}: {a} × {b}"
            );
        };
        close("Letter", 215.9, 279.4);
        close("legal", 215.9, 355.6);
        close("Tabloid", 279.4, 431.8);
        close("na_executive_7.25x10.5in", 184.15, 266.7);
        close("8.5 x 11 in", 215.9, 279.4);
        close("8.5x11\"", 215.9, 279.4);
    }

    #[test]
    fn the_class_of_a_pwg_name_is_ignored_and_discs_are_round() {
        assert_eq!(size("oe_anything_210x297mm"), (210.0, 297.0));
        assert_eq!(size("disc_standard_40x118mm"), (118.0, 118.0));
    }

    #[test]
    fn a_size_that_has_a_name_gets_it() {
        let paper: Paper = "210x297".parse().expect("a size");
        assert_eq!(paper.name(), "iso_a4_210x297mm");
        assert_eq!(paper.title(), "A4");
        for (name, title) in [
            ("letter", "Letter"),
            ("half letter", "Half letter"),
            ("super b", "Super B"),
            ("arch a", "Arch A"),
            ("3x5", "3 × 5 in"),
            ("jis b5", "JIS B5"),
        ] {
            let paper: Paper = name.parse().expect("a paper");
            assert_eq!(paper.title(), title);
            // What is shown can be typed, too.
            assert!(title.parse::<Paper>().is_ok(), "{title}");
        }
        assert_eq!(
            "200x250mm".parse::<Paper>().expect("a size").name(),
            "custom_sheet_200x250mm"
        );
    }

    #[test]
    fn b5_is_asked_about() {
        assert_eq!(
            "B5".parse::<Paper>(),
            Err(PaperError::Ambiguous("b5".into()))
        );
    }

    #[test]
    fn nonsense_and_absurd_sizes_are_refused() {
        for text in [
            "",
            "a",
            "a44",
            "parchment",
            "x",
            "_",
            "0x0",
            "10x10mm",
            "-210x297",
            "9e9x1",
        ] {
            assert!(text.parse::<Paper>().is_err(), "{text}");
        }
        let message = "1x2000mm".parse::<Paper>().expect_err("absurd").to_string();
        assert!(message.contains("1 × 2000 mm"), "{message}");
    }

    proptest! {
        #[test]
        fn any_text_is_read_or_refused(text in ".{0,40}") {
            let _: Result<Paper, _> = text.parse();
        }

        #[test]
        fn names_read_back_as_the_same_size(w in 50.0..1300.0f64, h in 50.0..1300.0f64) {
            let paper = Paper::of_size(Size::new(w, h)).expect("in range");
            let again: Paper = paper.name().parse().expect("own name");
            prop_assert!(paper.size().is_close(Size::new(w, h), 0.51));
            prop_assert_eq!(again, paper);
        }
    }
}
