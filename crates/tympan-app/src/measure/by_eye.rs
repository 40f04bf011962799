//! Reading by eye: with a pin on the grids, or with a ruler.

use serde::Deserialize;
use tympan_marks::check_rule::{self, Measured};
use tympan_marks::geometry::GRID_REACH;
use tympan_marks::pin::{self, PinNoise, SeenOnBack, ZONES, Zone};
use tympan_register::{Observation, Reading};
use tympan_sheet::{Back, Length, Point, Side, Size};
use tympan_store::{CheckRules, ReadingRecord, SetUp, Store, Way};

use super::told::ReadSheet;
use super::{accept, test_sheet};
use crate::refusal::Refusal;
use crate::words::{OnBack, WordsError};

/// What a person read on one sheet.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ByEye {
    /// The number on the sheet, where it carries one.
    pub sheet: Option<u32>,
    /// Places by their letter, and how the back lies there.
    pub holes: Vec<(char, OnBack)>,
    /// What a ruler says of the whole sheet.
    pub ruler: Option<OnBack>,
    /// What the 100 mm rules measure.
    pub rules: CheckRules,
    /// The side that was printed first, where it was not the set-up's.
    pub first_side: Option<Side>,
}

/// Reads `A: 2.1 low, 0.4 left` or `A 0`.
///
/// # Errors
/// A [`Refusal`] where there is no place or the words are not understood.
pub fn parse_hole(text: &str) -> Result<(char, OnBack), Refusal> {
    let text = text.trim();
    let mut letters = text.chars();
    let name = letters
        .next()
        .filter(char::is_ascii_alphabetic)
        .map(|c| c.to_ascii_uppercase());
    let rest = letters.as_str().trim_start();
    let spaced = text.chars().nth(1).is_some_and(|c| !c.is_alphanumeric());
    let Some(name) = name.filter(|_| spaced) else {
        return Err(Refusal::new(
            format!("\"{text}\" does not begin with the letter of a place"),
            "write it like \"A: 2.1 low, 0.4 left\"",
        ));
    };
    Ok((name, parse_seen(rest.trim_start_matches([':', '=', ',']))?))
}

/// Reads what a hole or a ruler says, where `0` or `on the cross` is nothing at all.
///
/// # Errors
/// [`WordsError`] with the clause that was not understood.
pub fn parse_seen(text: &str) -> Result<OnBack, WordsError> {
    let bare = text.trim().to_lowercase();
    let nothing = [
        "0",
        "0,0",
        "0, 0",
        "0 0",
        "on",
        "on the cross",
        "none",
        "0mm",
        "0 mm",
    ];
    if nothing.contains(&bare.as_str()) {
        return Ok(OnBack::default());
    }
    OnBack::parse(text)
}

/// Reads a table of holes: a line for each, `sheet, place, words…`, as in `1, A, 2.1 low, 0.4
/// left`. Lines that begin with `#` and a heading line are passed over.
///
/// # Errors
/// A [`Refusal`] with the line that was not understood.
pub fn parse_table(text: &str) -> Result<Vec<ByEye>, Refusal> {
    let mut sheets: Vec<ByEye> = Vec::new();
    for (i, line) in text.trim_start_matches('\u{feff}').lines().enumerate() {
        let line = line
            .trim()
            .replace(['"', '\t', ';'], ",")
            .replace(",,", ",");
        let line = line.trim_matches(',');
        if line.is_empty() || line.starts_with('#') {
            continue;
        }
        let refused = |reason: String| {
            Refusal::new(
                format!("line {}: {reason}", i + 1),
                "write lines like \"1, A, 2.1 low, 0.4 left\": sheet, place, and what the grid says",
            )
        };
        let mut parts = line.splitn(3, ',').map(str::trim);
        let (number, place) = (
            parts.next().unwrap_or_default(),
            parts.next().unwrap_or_default(),
        );
        let words = parts.next().unwrap_or_default();
        let Ok(number) = number.parse::<u32>() else {
            if sheets.is_empty() && number.chars().all(char::is_alphabetic) {
                continue;
            }
            return Err(refused(format!("\"{number}\" is no sheet number")));
        };
        let (name, seen) =
            parse_hole(&format!("{place}: {words}")).map_err(|e| refused(e.message))?;
        match sheets.iter_mut().find(|sheet| sheet.sheet == Some(number)) {
            Some(sheet) => sheet.holes.push((name, seen)),
            None => sheets.push(ByEye {
                sheet: Some(number),
                holes: vec![(name, seen)],
                ..ByEye::default()
            }),
        }
    }
    if sheets.is_empty() {
        return Err(Refusal::new(
            "the table holds no readings",
            "write lines like \"1, A, 2.1 low, 0.4 left\"",
        ));
    }
    Ok(sheets)
}

/// Reads what the rules measure: `96.8 across, 96.9 along`, with `front` or `back` before it where
/// only one side was measured; both sides are meant otherwise.
///
/// # Errors
/// A [`Refusal`] where the words are not understood or the lengths are absurd.
pub fn parse_rules(text: &str) -> Result<CheckRules, Refusal> {
    let refused = || {
        Refusal::new(
            format!(
                "\"{}\" does not say what the 100 mm rule measures",
                text.trim()
            ),
            "write it like \"96.8 across, 96.9 along\" or \"back 100.1 across, 99.8 along\"",
        )
    };
    let lower = text.to_lowercase();
    let (front, back, rest) = match lower.trim() {
        t if t.starts_with("front") => (true, false, t[5..].to_owned()),
        t if t.starts_with("back") => (false, true, t[4..].to_owned()),
        t => (true, true, t.to_owned()),
    };
    let mut rules = CheckRules::default();
    let mut found = false;
    for part in rest
        .trim_start_matches([':', ' '])
        .split([',', ';'])
        .map(str::trim)
    {
        let (amount, axis) = part.rsplit_once(' ').ok_or_else(refused)?;
        let length: Length = amount.trim().parse().map_err(|_| refused())?;
        let mm = length.to_mm();
        if !(50.0..=150.0).contains(&mm) {
            return Err(Refusal::new(
                format!("a 100 mm rule that measures {length} was not this rule"),
                "measure from the first to the last line of the rule marked 100 mm",
            ));
        }
        let (on_front, on_back) = match axis {
            "across" | "wide" => (&mut rules.front_across, &mut rules.back_across),
            "along" | "down" | "tall" | "high" => (&mut rules.front_along, &mut rules.back_along),
            _ => return Err(refused()),
        };
        if front {
            *on_front = Some(mm);
        }
        if back {
            *on_back = Some(mm);
        }
        found = true;
    }
    if found { Ok(rules) } else { Err(refused()) }
}

/// What was measured before, and what is measured now in its place.
pub fn with_rules(before: CheckRules, now: CheckRules) -> CheckRules {
    CheckRules {
        front_across: now.front_across.or(before.front_across),
        front_along: now.front_along.or(before.front_along),
        back_across: now.back_across.or(before.back_across),
        back_along: now.back_along.or(before.back_along),
    }
}

/// The places to prick through, as they are found on the back of a set-up's test sheet.
#[derive(Clone, Debug)]
pub struct PinPlaces {
    /// The sheet.
    pub sheet: Size,
    /// The letters and where their grids lie as seen on the back, mm.
    pub places: Vec<(char, Point<Back>)>,
    /// The grids reach so far from their middles, mm.
    pub reach_mm: f64,
    /// The sides of a grid and what is written there.
    pub zones: [Zone; 4],
}

/// Tells where a set-up's test sheet has its places for the pin.
///
/// # Errors
/// A [`Refusal`] where the paper is no size for a test sheet.
pub fn pin_places(setup: &SetUp) -> Result<PinPlaces, Refusal> {
    let sheet = test_sheet(setup, 1)?;
    let paper = sheet.geometry().paper();
    let on_back =
        |station: tympan_marks::Station| (station.name, setup.flip.to_back(station.at, paper));
    Ok(PinPlaces {
        sheet: paper,
        places: sheet.stations().map(on_back).to_vec(),
        reach_mm: GRID_REACH,
        zones: ZONES,
    })
}

/// What a person read on one sheet, in words.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct InTheirWords {
    /// The number on the sheet.
    pub sheet: Option<u32>,
    /// Places by their letter, and what the grid says there.
    pub holes: Vec<(String, String)>,
    /// What a ruler says of the whole sheet.
    pub ruler: String,
    /// What the 100 mm rules measure; may be empty.
    pub rules: Vec<String>,
    /// A sheet that was read before was read once more.
    pub again: bool,
}

/// Takes one sheet that was read by eye into a set-up's log.
///
/// # Errors
/// A [`Refusal`] where the words are not understood, or as for [`read_by_eye`].
pub fn read_words(
    store: &mut Store,
    setup: &SetUp,
    words: &InTheirWords,
) -> Result<Vec<ReadSheet>, Refusal> {
    let mut sheet = ByEye {
        sheet: words.sheet,
        ..ByEye::default()
    };
    for (place, seen) in &words.holes {
        let place = place.trim();
        let hole = parse_hole(&format!("{place}: {seen}")).map_err(|e| Refusal {
            message: format!("place {place}: {}", e.message),
            ..e
        })?;
        sheet.holes.push(hole);
    }
    if !words.ruler.trim().is_empty() {
        sheet.ruler = Some(parse_seen(&words.ruler)?);
    }
    for rule in words.rules.iter().filter(|rule| !rule.trim().is_empty()) {
        sheet.rules = with_rules(sheet.rules, parse_rules(rule)?);
    }
    read_by_eye(store, setup, &[sheet], words.again)
}

/// Takes readings by eye into a set-up's log: all of them or none.
///
/// # Errors
/// A [`Refusal`] where a place is not on the sheet or was read twice, where the rules say that the
/// print was scaled, or where a sheet was read before and `again` was not said. Then nothing is
/// stored.
pub fn read_by_eye(
    store: &mut Store,
    setup: &SetUp,
    sheets: &[ByEye],
    again: bool,
) -> Result<Vec<ReadSheet>, Refusal> {
    let read: Vec<ReadSheet> = sheets
        .iter()
        .map(|sheet| record_of(setup, sheet))
        .collect::<Result<_, _>>()?;
    let records: Vec<ReadingRecord> = read.iter().map(|sheet| sheet.record.clone()).collect();
    accept(store, setup, &records, again)?.keep(store)?;
    Ok(read)
}

fn record_of(setup: &SetUp, sheet: &ByEye) -> Result<ReadSheet, Refusal> {
    let rules = check_rule::judge(measured(sheet.rules), setup.paper.size());
    if !rules.is_usable() {
        return Err(Refusal::new(
            rules.explain(),
            "nothing was logged from this sheet: a scaled print says nothing about where the \
             printer puts the backs",
        ));
    }
    let only_shift = |seen: &OnBack| {
        if seen.tilt.to_radians() != 0.0 || seen.stretch_x != 0.0 || seen.stretch_y != 0.0 {
            return Err(Refusal::new(
                "a hole or a ruler tells only how far low, high, left or right",
                "read two or more places: tilt and stretch follow from them",
            ));
        }
        Ok(SeenOnBack::from_vector(tympan_sheet::Vector::new(
            seen.right.to_mm(),
            seen.down.to_mm(),
        )))
    };
    let (way, observations) = match (&sheet.ruler, sheet.holes.as_slice()) {
        (Some(seen), []) => {
            let step = Length::mm(0.5);
            let seen = only_shift(seen)?;
            (
                Way::Ruler,
                vec![pin::read_ruler(seen, setup.flip, setup.paper.size(), step)],
            )
        }
        (None, holes @ [_, ..]) => (Way::Pin, read_holes(setup, holes, only_shift)?),
        (None, []) => {
            return Err(Refusal::new(
                "nothing was read",
                "give what the grid says at each place, like \"A: 2.1 low, 0.4 left\"",
            ));
        }
        (Some(_), _) => {
            return Err(Refusal::new(
                "a sheet is read with the pin or with a ruler, not both at once",
                "give the pin's figures: they are the better ones",
            ));
        }
    };
    let observations = observations
        .iter()
        .map(|o| Observation::new(o.at, o.error, o.variance.sqrt()));
    let reading = Reading::new(observations.collect());
    let first_side = sheet.first_side.unwrap_or(setup.first_side);
    if first_side != setup.first_side {
        return Err(Refusal::new(
            format!("this set-up prints the {}s first", setup.first_side),
            "printing the other side first is another way of working: make a set-up for it with \
             setup new, and log the sheet there",
        ));
    }
    let mut record = ReadingRecord::new(setup.id.clone(), way, first_side, reading);
    record.sheet = sheet.sheet;
    record.check_rules = sheet.rules;
    Ok(ReadSheet {
        left_mm: None,
        record,
        rules,
        pictures: None,
    })
}

fn measured(rules: CheckRules) -> Measured {
    let CheckRules {
        front_across,
        front_along,
        back_across,
        back_along,
    } = rules;
    Measured {
        front_across,
        front_along,
        back_across,
        back_along,
    }
}

fn read_holes(
    setup: &SetUp,
    holes: &[(char, OnBack)],
    seen: impl Fn(&OnBack) -> Result<SeenOnBack, Refusal>,
) -> Result<Vec<pin::Observation>, Refusal> {
    let stations = test_sheet(setup, 1)?.stations();
    let mut done = Vec::new();
    let mut observations = Vec::new();
    for (name, hole) in holes {
        let station = stations.iter().find(|s| s.name == *name).ok_or_else(|| {
            let names: Vec<String> = stations.iter().map(|s| s.name.to_string()).collect();
            Refusal::new(
                format!("there is no place {name} on the test sheet"),
                format!("the places are {}", names.join(", ")),
            )
        })?;
        if done.contains(name) {
            return Err(Refusal::new(
                format!("place {name} was given twice for the same sheet"),
                "give each place once; other sheets need their own number",
            ));
        }
        done.push(*name);
        observations.push(pin::read(
            *station,
            seen(hole)?,
            setup.flip,
            PinNoise::default(),
        )?);
    }
    Ok(observations)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_hole_is_read_with_its_place() {
        let (name, seen) = parse_hole("b: 2.1 low, 0.4 left").expect("a hole");
        assert_eq!(
            (name, seen.down, seen.right),
            ('B', Length::mm(2.1), Length::mm(-0.4))
        );
        assert_eq!(parse_hole("C 0").expect("a hole"), ('C', OnBack::default()));
        assert!(parse_hole("2.1 low").is_err());
        assert!(parse_hole("low").is_err());
    }

    #[test]
    fn a_table_gathers_the_places_of_each_sheet() {
        let table = "sheet,place,seen\n1,A,2.1 low,0.4 left\n# pricked twice\n1,B,2 low\n\n2,A,0\n";
        let sheets = parse_table(table).expect("a table");
        assert_eq!(sheets.len(), 2);
        assert_eq!(sheets[0].holes.len(), 2);
        assert_eq!(sheets[1].holes, [('A', OnBack::default())]);
    }

    #[test]
    fn a_bad_line_is_named() {
        let message = parse_table("1,A,2 low\n1,B,2 sidewards\n")
            .expect_err("bad")
            .message;
        assert!(message.starts_with("line 2: "), "{message}");
    }

    #[test]
    fn rules_are_meant_for_both_sides_unless_one_is_named() {
        let rules = parse_rules("96.8 across, 96.9 along").expect("rules");
        assert_eq!(
            (rules.front_across, rules.back_along),
            (Some(96.8), Some(96.9))
        );
        let rules = parse_rules("back: 100.1 mm across").expect("rules");
        assert_eq!((rules.front_across, rules.back_across), (None, Some(100.1)));
        for text in ["", "96.8", "9.68 across", "96.8 sideways"] {
            assert!(parse_rules(text).is_err(), "{text}");
        }
    }

    proptest! {
        #[test]
        fn any_text_is_read_or_refused(text in "(.|\n){0,80}") {
            let _ = parse_hole(&text);
            let _ = parse_table(&text);
            let _ = parse_rules(&text);
        }
    }
}
