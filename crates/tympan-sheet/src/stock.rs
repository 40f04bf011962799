//! Stock: paper or card by grammage, caliper and grain.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::length::{Length, parse_number, split_unit, trimmed};

/// Grades of paper that are sold by the pound, each by a ream of its own basic size.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Grade {
    /// Bond, writing and copy paper: 17 × 22 in.
    Bond,
    /// Book, text and offset paper: 25 × 38 in.
    Text,
    /// Cover: 20 × 26 in.
    Cover,
    /// Bristol: 22.5 × 28.5 in.
    Bristol,
    /// Index: 25.5 × 30.5 in.
    Index,
    /// Tag: 24 × 36 in.
    Tag,
}

impl Grade {
    /// All grades.
    pub const ALL: [Self; 6] = [
        Self::Bond,
        Self::Text,
        Self::Cover,
        Self::Bristol,
        Self::Index,
        Self::Tag,
    ];

    /// Area of the basic size in square inches (basic sizes as in the TAPPI T 410 draft and
    /// merchants' tables).
    pub fn basic_area_sq_in(self) -> f64 {
        match self {
            Self::Bond => 17.0 * 22.0,
            Self::Text => 25.0 * 38.0,
            Self::Cover => 20.0 * 26.0,
            Self::Bristol => 22.5 * 28.5,
            Self::Index => 25.5 * 30.5,
            Self::Tag => 24.0 * 36.0,
        }
    }

    /// Grammage of one pound of this grade, g/m²: the mass of a pound (453.59237 g) over a ream of
    /// 500 sheets of the basic size.
    pub fn grammage_per_pound(self) -> f64 {
        const GRAMS_PER_POUND: f64 = 453.592_37;
        const SQ_M_PER_SQ_IN: f64 = 0.000_645_16;
        GRAMS_PER_POUND / (500.0 * self.basic_area_sq_in() * SQ_M_PER_SQ_IN)
    }

    fn named(word: &str) -> Option<Self> {
        match word {
            "bond" | "writing" | "copy" | "ledger" => Some(Self::Bond),
            "text" | "book" | "offset" => Some(Self::Text),
            "cover" => Some(Self::Cover),
            "bristol" => Some(Self::Bristol),
            "index" => Some(Self::Index),
            "tag" => Some(Self::Tag),
            _ => None,
        }
    }
}

impl fmt::Display for Grade {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Bond => "bond",
            Self::Text => "text",
            Self::Cover => "cover",
            Self::Bristol => "bristol",
            Self::Index => "index",
            Self::Tag => "tag",
        })
    }
}

/// Which way the fibres run.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Grain {
    /// Parallel to the long side.
    Long,
    /// Parallel to the short side.
    Short,
}

/// A sheet's thickness, µm.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Caliper {
    /// The thickness, or the middle of the estimate, µm.
    pub um: f64,
    /// The range that the estimate spans, µm; none where the thickness was measured or stated.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub estimated: Option<(f64, f64)>,
}

/// Paper or card.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(into = "StockFields", try_from = "StockFields")]
pub struct Stock {
    name: String,
    grammage: Option<f64>,
    caliper: Option<Caliper>,
    grain: Option<Grain>,
}

#[derive(Clone, Serialize, Deserialize)]
struct StockFields {
    name: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    grammage: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    caliper: Option<Caliper>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    grain: Option<Grain>,
}

/// Why a text describes no stock.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum StockError {
    /// Pounds without the grade.
    #[error(
        "{pounds} lb of which grade? {pounds} lb cover is {cover:.0} g/m² and {pounds} lb index is \
         {index:.0} g/m²; write the grade too: bond, text, cover, bristol, index or tag"
    )]
    GradeMissing {
        /// The weight as written.
        pounds: String,
        /// What it would be as cover, g/m².
        cover: f64,
        /// What it would be as index, g/m².
        index: f64,
    },
    /// Neither a weight nor a thickness was found.
    #[error(
        "\"{0}\" names neither a weight nor a thickness; write it like \"65 lb cover\", \
         \"300 g/m2\" or \"0.30 mm\""
    )]
    Unknown(String),
    /// A value no paper has.
    #[error("{value} is not a {what} that paper or card has ({range})")]
    OutOfRange {
        /// What the value was for.
        what: &'static str,
        /// The value with its unit.
        value: String,
        /// What is believed.
        range: &'static str,
    },
}

/// Bulk by class of finish, cm³/g = µm per g/m² (from memory: makers' usual classes; not a
/// published table).
const BULK: &[(&str, f64, f64)] = &[
    ("gloss", 0.75, 0.90),
    ("glossy", 0.75, 0.90),
    ("matt", 0.90, 1.10),
    ("matte", 0.90, 1.10),
    ("silk", 0.85, 1.00),
    ("coated", 0.75, 1.10),
    ("uncoated", 1.15, 1.35),
];

/// Bulk where the finish is not known: uncoated card, as in printer makers' media tables, which
/// pair 163 g/m² with about 0.20 mm and 176 g/m² with about 0.23 mm.
const USUAL_BULK: (f64, f64) = (1.15, 1.35);

impl Stock {
    /// What the user calls it.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Mass per area, g/m², where known.
    pub fn grammage(&self) -> Option<f64> {
        self.grammage
    }

    /// Thickness, stated or estimated.
    pub fn caliper(&self) -> Option<Caliper> {
        self.caliper
    }

    /// Which way the fibres run, where known.
    pub fn grain(&self) -> Option<Grain> {
        self.grain
    }

    /// The weight in pounds of each grade.
    pub fn pounds(&self) -> Vec<(Grade, f64)> {
        let Some(grammage) = self.grammage else {
            return Vec::new();
        };
        Grade::ALL
            .map(|grade| (grade, grammage / grade.grammage_per_pound()))
            .to_vec()
    }

    fn checked(self) -> Result<Self, StockError> {
        if let Some(g) = self.grammage
            && !(20.0..=1200.0).contains(&g)
        {
            let value = format!("{} g/m²", trimmed(g, 1));
            return Err(StockError::OutOfRange {
                what: "weight",
                value,
                range: "20 to 1200 g/m²",
            });
        }
        if let Some(c) = self.caliper
            && c.estimated.is_none()
            && !(20.0..=3000.0).contains(&c.um)
        {
            let value = format!("{} mm", trimmed(c.um / 1000.0, 4));
            return Err(StockError::OutOfRange {
                what: "thickness",
                value,
                range: "0.02 to 3 mm",
            });
        }
        Ok(self)
    }
}

fn estimate(grammage: f64, (low, high): (f64, f64)) -> Caliper {
    let (low, high) = (grammage * low, grammage * high);
    Caliper {
        um: (low + high) / 2.0,
        estimated: Some((low, high)),
    }
}

impl FromStr for Stock {
    type Err = StockError;

    /// Reads what is on the wrapper: `65 lb cover`, `65# cover`, `300 gsm matt`, `300 g/m2`,
    /// `0.30 mm`, `12 pt` (thousandths of an inch, as card is sold), and these together with
    /// commas: `65 lb cover, 0.23 mm, grain long`.
    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let name = text.trim().to_owned();
        let plain = name
            .to_lowercase()
            .replace(['(', ')', ';'], " ")
            .replace(", ", " ");
        let mut words = Vec::new();
        for word in plain.split_whitespace() {
            // "65lb" is "65 lb", but a bare number stands with its unit as the next word.
            let (number, unit) = split_unit(word);
            words.extend([number, unit].into_iter().filter(|part| !part.is_empty()));
        }
        let (mut grammage, mut measured, mut pounds, mut grade) = (None, None, None, None);
        let (mut bulk, mut grain) = (USUAL_BULK, None);
        let mut number: Option<(f64, &str)> = None;
        for (i, word) in words.iter().enumerate() {
            if let Some(value) = parse_number(word) {
                number = Some((value, word));
                continue;
            }
            match (*word, number.take()) {
                ("g" | "gsm" | "g/m2" | "g/m²" | "g/m^2" | "grams", Some((value, _))) => {
                    grammage = Some(value);
                }
                ("lb" | "lbs" | "lb." | "#" | "pound" | "pounds", Some((value, word))) => {
                    pounds = Some((value, word));
                }
                ("pt" | "point" | "points" | "mil" | "mils" | "thou", Some((value, _))) => {
                    measured = Some(Length::inch(value / 1000.0));
                }
                ("mm" | "um" | "µm" | "μm" | "micron" | "microns", Some((value, _))) => {
                    let mm = if *word == "mm" { value } else { value / 1000.0 };
                    measured = Some(Length::mm(mm));
                }
                ("in" | "inch" | "\"", Some((value, _))) => measured = Some(Length::inch(value)),
                ("long", _) if i > 0 && words[i - 1] == "grain" => grain = Some(Grain::Long),
                ("short", _) if i > 0 && words[i - 1] == "grain" => grain = Some(Grain::Short),
                ("grain", _) if i > 0 && words[i - 1] == "long" => grain = Some(Grain::Long),
                ("grain", _) if i > 0 && words[i - 1] == "short" => grain = Some(Grain::Short),
                (word, _) => {
                    grade = grade.or_else(|| Grade::named(word));
                    if let Some((_, low, high)) = BULK.iter().find(|(name, ..)| *name == word) {
                        bulk = (*low, *high);
                    }
                }
            }
        }
        if let Some((value, written)) = pounds
            && grammage.is_none()
        {
            let of = |grade: Grade| value * grade.grammage_per_pound();
            let grade = grade.ok_or_else(|| StockError::GradeMissing {
                pounds: written.to_owned(),
                cover: of(Grade::Cover),
                index: of(Grade::Index),
            })?;
            grammage = Some(of(grade));
        }
        let caliper = match (measured, grammage) {
            (Some(length), _) => Some(Caliper {
                um: length.to_um(),
                estimated: None,
            }),
            (None, Some(grammage)) => Some(estimate(grammage, bulk)),
            (None, None) => return Err(StockError::Unknown(name)),
        };
        Self {
            name,
            grammage,
            caliper,
            grain,
        }
        .checked()
    }
}

impl fmt::Display for Stock {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.name)
    }
}

impl From<Stock> for StockFields {
    fn from(stock: Stock) -> Self {
        let Stock {
            name,
            grammage,
            caliper,
            grain,
        } = stock;
        Self {
            name,
            grammage,
            caliper,
            grain,
        }
    }
}

impl TryFrom<StockFields> for Stock {
    type Error = StockError;
    fn try_from(fields: StockFields) -> Result<Self, Self::Error> {
        let StockFields {
            name,
            grammage,
            caliper,
            grain,
        } = fields;
        Self {
            name,
            grammage,
            caliper,
            grain,
        }
        .checked()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn grammage(text: &str) -> f64 {
        text.parse::<Stock>()
            .expect(text)
            .grammage()
            .expect("a weight")
    }

    /// g/m² per pound by basic size: computed from the definition of the pound and the basic
    /// sizes in TAPPI T 410 (draft 2013) and merchants' tables.
    #[test]
    fn a_pound_of_each_grade_weighs_as_published() {
        let published = [
            (Grade::Bond, 3.75973),
            (Grade::Text, 1.480146),
            (Grade::Cover, 2.704114),
            (Grade::Bristol, 2.192810),
            (Grade::Index, 1.807958),
            (Grade::Tag, 1.627476),
        ];
        for (grade, factor) in published {
            assert!(
                (grade.grammage_per_pound() - factor).abs() < 1e-5,
                "{grade}"
            );
        }
    }

    /// Rows as merchants print them (common practice, rounded by custom): within 1.5 %.
    #[test]
    fn merchants_rows_agree_within_their_rounding() {
        for (bond, text, cover, bristol, index, tag, metric) in [
            (47.0, 119.0, 65.0, 80.0, 97.0, 108.0, 176.0),
            (53.0, 134.0, 74.0, 90.0, 110.0, 122.0, 199.0),
            (65.0, 165.0, 90.0, 111.0, 135.0, 150.0, 244.0),
            (72.0, 183.0, 100.0, 123.0, 150.0, 166.0, 271.0),
        ] {
            let pounds = [bond, text, cover, bristol, index, tag];
            for (grade, pounds) in Grade::ALL.into_iter().zip(pounds) {
                let exact = pounds * grade.grammage_per_pound();
                assert!(
                    (exact / metric - 1.0).abs() < 0.015,
                    "{pounds} lb {grade}: {exact}"
                );
            }
        }
    }

    #[test]
    fn wrappers_are_read_as_people_copy_them() {
        for text in [
            "65 lb cover",
            "65lb Cover",
            "65# cover",
            "65 lbs. white cover stock",
        ] {
            let text = text.replace("lbs.", "lbs");
            assert!((grammage(&text) - 175.77).abs() < 0.01, "{text}");
        }
        assert_eq!(grammage("300 gsm"), 300.0);
        assert_eq!(grammage("300 g/m²"), 300.0);
        assert_eq!(grammage("300gsm matt coated"), 300.0);
    }

    #[test]
    fn pounds_without_a_grade_are_asked_about() {
        let message = "110 lb".parse::<Stock>().expect_err("no grade").to_string();
        assert!(message.contains("110 lb cover is 297 g/m²"), "{message}");
        assert!(message.contains("110 lb index is 199 g/m²"), "{message}");
    }

    /// A printer maker's media table pairs 176 g/m² with about 0.23 mm.
    #[test]
    fn a_caliper_that_nobody_measured_is_an_estimate() {
        let caliper = "65 lb cover"
            .parse::<Stock>()
            .expect("cover")
            .caliper()
            .expect("a caliper");
        let (low, high) = caliper.estimated.expect("an estimate");
        assert!(low < 230.0 && 230.0 < high, "{low} to {high}");
        let stock: Stock = "65 lb cover, 0.24 mm, grain long".parse().expect("cover");
        let measured = stock.caliper();
        assert_eq!(
            measured,
            Some(Caliper {
                um: 240.0,
                estimated: None
            })
        );
        assert_eq!(stock.grain(), Some(Grain::Long));
    }

    #[test]
    fn card_sold_by_thickness_has_no_known_weight() {
        let stock: Stock = "12 pt".parse().expect("a thickness");
        assert_eq!(stock.grammage(), None);
        assert!((stock.caliper().expect("a caliper").um - 304.8).abs() < 1e-9);
    }

    #[test]
    fn nonsense_and_absurd_stock_is_refused() {
        for text in [
            "",
            "cover",
            "thick",
            "9000 gsm",
            "-80 gsm",
            "0 lb cover",
            "40 mm",
        ] {
            assert!(text.parse::<Stock>().is_err(), "{text}");
        }
    }

    #[test]
    fn stock_survives_json() {
        let stock: Stock = "65 lb cover, grain long".parse().expect("cover");
        let json = serde_json::to_string(&stock).expect("json");
        assert_eq!(serde_json::from_str::<Stock>(&json).expect("stock"), stock);
    }
}
