//! What people say about where the backs lie, and what should be done about it.
//!
//! Directions are words, never bare signs: "2 mm low, 0.4 mm left, tilted 0.2 clockwise". The same
//! parser serves what was *seen* on the back and the *move* that is asked of it.

use tympan_sheet::{Affine, Angle, Back, Decomposed, Length, Size, Vector};

/// A displacement on the back of a sheet as one looks at it: shift, tilt and stretch about the
/// middle of the sheet.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct OnBack {
    /// To the right, as one looks at the back.
    pub right: Length,
    /// Down, as one looks at the back.
    pub down: Length,
    /// Clockwise, as one looks at the back.
    pub tilt: Angle,
    /// Larger across by this part of itself (0.01 is 1 %).
    pub stretch_x: f64,
    /// Larger from top to bottom by this part of itself.
    pub stretch_y: f64,
}

/// Why the words were not understood.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum WordsError {
    /// Nothing was said.
    #[error("nothing was said about where the backs lie")]
    Empty,
    /// A number without a direction.
    #[error("\"{0}\" does not say which way")]
    NoDirection(String),
    /// A direction without a number.
    #[error("\"{0}\" does not say how much")]
    NoAmount(String),
    /// A part that is neither.
    #[error("\"{0}\" was not understood")]
    Unknown(String),
    /// The same thing said twice, or both opposites.
    #[error("\"{0}\" was said after another {1} had been given")]
    Twice(String, &'static str),
    /// A minus in front of a number that has a direction.
    #[error("\"{0}\" has a minus sign and a direction; say the direction alone")]
    Signed(String),
}

impl WordsError {
    /// What to write instead.
    pub fn hint(&self) -> &'static str {
        "look at the back and write it like \"2mm low, 0.4mm left\" or \
         \"0.08in high, 0.5mm right, tilted 0.2 clockwise\""
    }
}

#[derive(Clone, Copy, PartialEq)]
enum Way {
    Right(f64),
    Down(f64),
    Tilt(f64),
    Across(f64),
    Along(f64),
}

/// Words for each way; they mean the same whether seen or asked for. In a stretch, "wide" and
/// "tall" are too large, "narrow" and "short" too small.
fn way(word: &str) -> Option<Way> {
    Some(match word {
        "left" | "leftwards" => Way::Right(-1.0),
        "right" | "rightwards" => Way::Right(1.0),
        "low" | "lower" | "down" | "below" | "downwards" => Way::Down(1.0),
        "high" | "higher" | "up" | "above" | "upwards" => Way::Down(-1.0),
        "clockwise" => Way::Tilt(1.0),
        "anticlockwise" | "counterclockwise" | "anti-clockwise" | "counter-clockwise" => {
            Way::Tilt(-1.0)
        }
        "wide" | "wider" => Way::Across(1.0),
        "narrow" | "narrower" => Way::Across(-1.0),
        "tall" | "taller" => Way::Along(1.0),
        "short" | "shorter" => Way::Along(-1.0),
        _ => return None,
    })
}

/// Words that may stand in a sentence without changing what it says.
const FILLERS: &[&str] = &[
    "the", "backs", "back", "are", "is", "sit", "land", "lie", "too", "by", "about", "to", "and",
    "move", "moved", "shift", "shifted", "tilt", "tilted", "it", "them", "on", "of", "ca", "a",
];

impl OnBack {
    /// Reads clauses with commas or "and" between them, in any order: `2mm low, 0.4mm left, tilted
    /// 0.2 clockwise, 0.1% wide`. Millimetres where no unit is given; degrees for tilt.
    ///
    /// # Errors
    /// [`WordsError`] with the clause that was not understood.
    pub fn parse(text: &str) -> Result<Self, WordsError> {
        let mut said = Self::default();
        let mut given = [false; 5];
        let text = text.to_lowercase().replace('\u{2212}', "-");
        let clauses = clauses(&text);
        if clauses.is_empty() {
            return Err(WordsError::Empty);
        }
        for clause in clauses {
            said.add(&clause, &mut given)?;
        }
        Ok(said)
    }

    fn add(&mut self, clause: &str, given: &mut [bool; 5]) -> Result<(), WordsError> {
        let mut amount = String::new();
        let mut direction = None;
        for word in clause.split_whitespace() {
            if let Some(found) = way(word) {
                if direction.is_some() {
                    return Err(WordsError::Unknown(clause.to_owned()));
                }
                direction = Some(found);
            } else if word.starts_with(|c: char| c.is_ascii_digit() || "-+.".contains(c))
                || (!amount.is_empty() && is_unit(word))
            {
                if !amount.is_empty() {
                    amount.push(' ');
                }
                amount.push_str(word);
            } else if !FILLERS.contains(&word) {
                return Err(WordsError::Unknown(clause.to_owned()));
            }
        }
        let direction = direction.ok_or_else(|| WordsError::NoDirection(clause.to_owned()))?;
        if amount.is_empty() {
            return Err(WordsError::NoAmount(clause.to_owned()));
        }
        if amount.starts_with('-') {
            return Err(WordsError::Signed(clause.to_owned()));
        }
        let unknown = || WordsError::Unknown(clause.to_owned());
        let length = |amount: &str| amount.parse::<Length>().map_err(|_| unknown());
        let (slot, name) = match direction {
            Way::Right(sign) => {
                self.right = length(&amount)? * sign;
                (0, "shift to the left or right")
            }
            Way::Down(sign) => {
                self.down = length(&amount)? * sign;
                (1, "shift up or down")
            }
            Way::Tilt(sign) => {
                let angle: Angle = amount.parse().map_err(|_| unknown())?;
                self.tilt = Angle::radians(angle.to_radians() * sign);
                (2, "tilt")
            }
            Way::Across(sign) => {
                self.stretch_x = percent(&amount).ok_or_else(unknown)? * sign;
                (3, "stretch across")
            }
            Way::Along(sign) => {
                self.stretch_y = percent(&amount).ok_or_else(unknown)? * sign;
                (4, "stretch from top to bottom")
            }
        };
        if std::mem::replace(&mut given[slot], true) {
            return Err(WordsError::Twice(clause.to_owned(), name));
        }
        Ok(())
    }

    /// The same as a map of the back's plane: `R(tilt)·S` about the middle, then the shift.
    pub fn map(&self, sheet: Size) -> Affine<Back> {
        let parts = Decomposed {
            tilt: self.tilt,
            stretch_x: self.stretch_x,
            stretch_y: self.stretch_y,
            shear: 0.0,
        };
        let shift = Vector::new(self.right.to_mm(), self.down.to_mm());
        Affine::compose(parts, shift, sheet.centre())
    }
}

/// Splits at commas that part clauses (not decimal commas), at semicolons and at "and".
fn clauses(text: &str) -> Vec<String> {
    let chars: Vec<char> = text.chars().collect();
    let mut parts = vec![String::new()];
    for (i, &c) in chars.iter().enumerate() {
        let digit = |j: Option<usize>| {
            j.and_then(|j| chars.get(j))
                .is_some_and(char::is_ascii_digit)
        };
        let decimal = c == ',' && digit(i.checked_sub(1)) && digit(Some(i + 1));
        if (c == ',' && !decimal) || c == ';' {
            parts.push(String::new());
        } else if let Some(part) = parts.last_mut() {
            part.push(c);
        }
    }
    parts
        .iter()
        .flat_map(|part| part.split(" and "))
        .map(|part| part.trim().to_owned())
        .filter(|part| !part.is_empty())
        .collect()
}

fn is_unit(word: &str) -> bool {
    word.contains('/')
        || matches!(
            word,
            "mm" | "cm"
                | "in"
                | "inch"
                | "inches"
                | "\""
                | "pt"
                | "millimetre"
                | "millimetres"
                | "millimeter"
                | "millimeters"
                | "°"
                | "deg"
                | "degree"
                | "degrees"
                | "mrad"
                | "%"
                | "percent"
                | "points"
        )
}

/// A percentage as a part: `0.1%` is 0.001. The sign must be there: a bare number could be mm.
pub fn percent(text: &str) -> Option<f64> {
    let number = text
        .trim()
        .strip_suffix('%')
        .or_else(|| text.trim().strip_suffix("percent"))?;
    let value: f64 = number
        .trim()
        .replace(',', ".")
        .replace('\u{2212}', "-")
        .parse()
        .ok()?;
    value.is_finite().then_some(value / 100.0)
}

/// With a capital letter, but where it begins with a file's name.
pub fn capital(text: &str) -> String {
    let first_word = text.split(' ').next().unwrap_or_default();
    if first_word.contains('.') {
        return text.to_owned();
    }
    let mut chars = text.chars();
    let first = chars.next().map(|c| c.to_uppercase().to_string());
    format!("{}{}", first.unwrap_or_default(), chars.as_str())
}

/// A count with its thing: `1 sheet`, `3 sheets`.
pub fn counted(count: usize, thing: &str) -> String {
    let s = if count == 1 { "" } else { "s" };
    format!("{count} {thing}{s}")
}

/// The units that lengths are told in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Units {
    /// Millimetres, to a hundredth.
    #[default]
    Mm,
    /// Inches, to a thousandth.
    Inch,
}

impl Units {
    /// As it is written behind a number.
    pub fn name(self) -> &'static str {
        match self {
            Self::Mm => "mm",
            Self::Inch => "in",
        }
    }

    /// How many places are told behind the point.
    pub fn decimals(self) -> usize {
        match self {
            Self::Mm => 2,
            Self::Inch => 3,
        }
    }

    /// So many mm in these units.
    pub fn of_mm(self, mm: f64) -> f64 {
        match self {
            Self::Mm => mm,
            Self::Inch => Length::mm(mm).to_inch(),
        }
    }

    /// A length as it was typed, whose bare number is meant in these units; a comma is taken for a
    /// point.
    pub(crate) fn meant(self, text: &str) -> String {
        let plain = text.replace(',', ".");
        if plain.parse::<f64>().is_ok() {
            format!("{plain}{}", self.name())
        } else {
            plain
        }
    }

    /// A sentence with its millimetres told in these units: `3 mm`, `63.5 × 88.9 mm`. Inches
    /// get two places more than the millimetres had, so that nothing of their sense is lost.
    pub fn said(self, sentence: &str) -> String {
        if self == Self::Mm {
            return sentence.to_owned();
        }
        let mut said = String::with_capacity(sentence.len());
        let mut parts = sentence.split(" mm").peekable();
        while let Some(part) = parts.next() {
            let Some(after) = parts.peek() else {
                said.push_str(part);
                break;
            };
            let is_unit = !after.starts_with(|c: char| c.is_alphanumeric() || c == '²');
            match self.converted(part).filter(|_| is_unit) {
                Some(converted) => said.push_str(&format!("{converted} {}", self.name())),
                None => said.push_str(&format!("{part} mm")),
            }
        }
        said
    }

    /// Words that end in one number, or in several with `×` or `to` between them, with these
    /// converted.
    fn converted(self, words: &str) -> Option<String> {
        let is_of_number = |c: char| c.is_ascii_digit() || c == '.';
        let before = words.trim_end_matches(is_of_number);
        let number = &words[before.len()..];
        let mm: f64 = number.parse().ok()?;
        let decimals = number.split_once('.').map_or(0, |(_, part)| part.len()) + 2;
        let number = format!("{:.decimals$}", self.of_mm(mm));
        let chain = [" × ", " to "].into_iter().find_map(|between| {
            let words = before.strip_suffix(between)?;
            Some(format!("{}{between}{number}", self.converted(words)?))
        });
        Some(chain.unwrap_or_else(|| format!("{before}{number}")))
    }

    /// A length without its sign and without idle zeros: `2.1 mm`; `None` where it rounds to
    /// nothing.
    pub fn size(self, length: Length) -> Option<String> {
        let decimals = self.decimals();
        let size = format!("{:.decimals$}", self.of_mm(length.abs().to_mm()));
        let size = size.trim_end_matches('0').trim_end_matches('.');
        (size != "0").then(|| format!("{size} {}", self.name()))
    }
}

/// How far a displacement seen on the back is, in words: "2.1 mm too low and 0.4 mm too far left".
/// What rounds to nothing is left out; `None` where nothing is left.
pub fn seen_in_words_in(units: Units, right: Length, down: Length) -> Option<String> {
    let part = |length: Length, plus: &str, minus: &str| {
        let word = if length > Length::ZERO { plus } else { minus };
        Some(format!("{} too {word}", units.size(length)?))
    };
    let parts: Vec<String> = [
        part(down, "low", "high"),
        part(right, "far right", "far left"),
    ]
    .into_iter()
    .flatten()
    .collect();
    (!parts.is_empty()).then(|| parts.join(" and "))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn parse(text: &str) -> OnBack {
        OnBack::parse(text).expect(text)
    }

    #[test]
    fn the_usual_sentence_is_read() {
        let said = parse("2.1mm low, 0.4mm left, tilted 0.2 clockwise");
        assert_eq!((said.right, said.down), (Length::mm(-0.4), Length::mm(2.1)));
        assert!((said.tilt.to_degrees() - 0.2).abs() < 1e-12);
    }

    #[test]
    fn people_write_it_in_many_ways() {
        let want = parse("2mm low, 0.5mm right");
        for text in [
            "2 low, .5 right",
            "the backs are 2 mm too low and 0.5 mm to the right",
            "0,5 mm right; 2,0mm down",
            "2 mm lower, 0.5 mm right",
        ] {
            assert_eq!(parse(text), want, "{text}");
        }
        assert!((parse("1/8 in high").down.to_mm() + 3.175).abs() < 1e-12);
        assert!((parse("0.1% wide, 0.2 % short").stretch_y + 0.002).abs() < 1e-12);
        assert!((parse("0.2° anticlockwise").tilt.to_degrees() + 0.2).abs() < 1e-12);
    }

    #[test]
    fn a_bare_number_is_asked_which_way() {
        assert_eq!(
            OnBack::parse("2mm"),
            Err(WordsError::NoDirection("2mm".into()))
        );
        assert_eq!(
            OnBack::parse("2,1"),
            Err(WordsError::NoDirection("2,1".into()))
        );
        assert_eq!(
            OnBack::parse("low"),
            Err(WordsError::NoAmount("low".into()))
        );
        assert_eq!(OnBack::parse(" , "), Err(WordsError::Empty));
    }

    #[test]
    fn contradictions_are_refused() {
        assert!(matches!(
            OnBack::parse("2mm low, 1mm high"),
            Err(WordsError::Twice(..))
        ));
        assert!(matches!(
            OnBack::parse("-2mm low"),
            Err(WordsError::Signed(_))
        ));
        assert!(matches!(
            OnBack::parse("2mm low left"),
            Err(WordsError::Unknown(_))
        ));
        assert!(matches!(
            OnBack::parse("2mm sideways"),
            Err(WordsError::Unknown(_))
        ));
        assert!(matches!(
            OnBack::parse("2 parsecs low"),
            Err(WordsError::Unknown(_))
        ));
        assert!(matches!(
            OnBack::parse("0.1 wide"),
            Err(WordsError::Unknown(_))
        ));
    }

    #[test]
    fn what_is_seen_is_said_with_its_side_of_the_cross() {
        let words = seen_in_words_in(Units::Mm, Length::mm(-0.4), Length::mm(2.1));
        assert_eq!(
            words.as_deref(),
            Some("2.1 mm too low and 0.4 mm too far left")
        );
        assert_eq!(
            seen_in_words_in(Units::Inch, Length::mm(0.001), Length::ZERO),
            None
        );
    }

    proptest! {
        #[test]
        fn any_text_is_read_or_refused(text in ".{0,60}") {
            let _ = OnBack::parse(&text);
        }
    }

    #[test]
    fn a_sentence_s_millimetres_are_told_in_inches() {
        for (mm, inches) in [
            (
                "the cards are 63.5 × 88.9 mm: a poker card",
                "the cards are 2.500 × 3.500 in: a poker card",
            ),
            (
                "make it 3 mm or wider, not 0.5 mm.",
                "make it 0.12 in or wider, not 0.020 in.",
            ),
            ("3 of 4 cards, 300 g/m²", "3 of 4 cards, 300 g/m²"),
            ("no mm here, nor 3 mmHg", "no mm here, nor 3 mmHg"),
            ("page 2: ±0.25 mm", "page 2: ±0.0098 in"),
            (
                "89 to 216 × 127 to 356 mm, 3 mm unprintable all round",
                "3.50 to 8.50 × 5.00 to 14.02 in, 0.12 in unprintable all round",
            ),
            ("turn to 5 mm", "turn to 0.20 in"),
        ] {
            assert_eq!(Units::Inch.said(mm), inches);
            assert_eq!(Units::Mm.said(mm), mm);
        }
    }
}
