//! What is chosen for laying cards out afresh, in the words of a job file.

use std::collections::BTreeMap;
use std::fmt;

use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};

use crate::lay::{self, Job, Named, Source, Wanted};
use crate::refusal::Refusal;
use crate::words::Units;

/// What can be said of the whole job.
const OF_JOB: [&str; 20] = [
    "setup",
    "paper",
    "flip",
    "card",
    "corners",
    "bleed",
    "bleed-by",
    "edges",
    "gutter",
    "margins",
    "cut",
    "marks",
    "fit",
    "order",
    "plan",
    "stock-sheet",
    "fronts-seen",
    "backs-seen",
    "safe",
    "thicken-border",
];
/// What is so or not.
const SWITCHES: [&str; 7] = [
    "crosses",
    "drop-bleed",
    "marks-on-backs",
    "round-corners",
    "one-sided",
    "fold-over",
    "witness",
];
/// What can be said of where the cards come from.
const OF_SOURCE: [&str; 3] = ["standing", "bleed-within", "pairs"];
/// What is a length, so that a bare number is meant in the units that are chosen.
const LENGTHS: [&str; 7] = [
    "safe",
    "thicken-border",
    "corners",
    "bleed",
    "gutter",
    "margins",
    "bleed-within",
];

/// What is chosen.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Wish {
    /// By the keys of a job file; `back` is the name of one of the deck's files.
    #[serde(default)]
    said: BTreeMap<String, String>,
    /// The deck by hand; empty as long as nobody has touched it.
    #[serde(default)]
    pub deck: Vec<Wanted>,
}

impl Wish {
    /// What is said under a key; empty where nothing is.
    pub fn get(&self, key: &str) -> &str {
        self.said.get(key).map_or("", String::as_str)
    }

    /// Whether a switch is on.
    pub fn is_on(&self, key: &str) -> bool {
        self.said.contains_key(key)
    }

    /// Which plan is chosen, from 1.
    pub fn plan(&self) -> usize {
        self.get("plan").parse().unwrap_or(1)
    }

    /// Takes back which plan is chosen: other choices make other plans.
    pub fn any_plan(&mut self) {
        self.said.remove("plan");
    }

    /// Says something; nothing where the text is empty.
    ///
    /// # Errors
    /// A [`Refusal`] where there is no such key, or the text is not understood.
    pub fn say(&mut self, key: &str, text: &str, units: Units) -> Result<(), Refusal> {
        let text = text.trim();
        let mut next = self.clone();
        if text.is_empty() || (SWITCHES.contains(&key) && text == "false") {
            next.said.remove(key);
        } else {
            next.said.insert(key.to_owned(), meant(key, text, units));
        }
        if key != "plan" {
            next.any_plan();
        }
        if key == "pairs" && next.get(key) != self.get(key) {
            // Other pairs are other cards.
            next.deck.clear();
        }
        let known = [&OF_JOB[..], &SWITCHES, &OF_SOURCE, &["back"]].concat();
        if !known.contains(&key) {
            return Err(Refusal::new(
                format!("there is nothing called {key} to choose"),
                "load the page again",
            ));
        }
        next.parsed()?;
        *self = next;
        Ok(())
    }

    /// The choices as a job and a source, without their files.
    fn parsed(&self) -> Result<(Job, Source), Refusal> {
        let mut job = Map::new();
        let mut source = Map::new();
        for (key, text) in &self.said {
            let value = match key.as_str() {
                key if SWITCHES.contains(&key) => Value::Bool(true),
                "plan" => Value::from(self.plan()),
                _ => Value::from(text.as_str()),
            };
            if OF_SOURCE.contains(&key.as_str()) {
                source.insert(key.clone(), value);
            } else if key != "back" {
                job.insert(key.clone(), value);
            }
        }
        // One by one first: so that what is not understood is told with its place.
        for (key, value) in &job {
            let one = Map::from_iter([(key.clone(), value.clone())]);
            serde_json::from_value::<Job>(Value::Object(one)).map_err(|e| wrong(key, &e))?;
        }
        for (key, value) in &source {
            let one = Map::from_iter([(key.clone(), value.clone())]);
            serde_json::from_value::<Source>(Value::Object(one)).map_err(|e| wrong(key, &e))?;
        }
        let job = serde_json::from_value(Value::Object(job)).map_err(|e| wrong("card", &e))?;
        let source =
            serde_json::from_value(Value::Object(source)).map_err(|e| wrong("card", &e))?;
        Ok((job, source))
    }

    /// The job that the choices make of files.
    ///
    /// # Errors
    /// A [`Refusal`] where something is not understood, or the common back is not among the files.
    pub fn job(&self, files: &[Named], password: Option<String>) -> Result<Job, Refusal> {
        let (mut job, mut source) = self.parsed()?;
        let back = self.get("back");
        if !back.is_empty() {
            let found = files.iter().find(|file| file.name == back).ok_or_else(|| {
                Refusal::new(
                    format!("{back} is not among the files"),
                    "choose another back",
                )
            })?;
            source.back = Some(found.path.display().to_string());
        }
        source.dropped = files.to_vec();
        source.password = password;
        job.sources = vec![source];
        job.deck.clone_from(&self.deck);
        Ok(job)
    }
}

/// What is not understood, with the field that it stands in.
fn wrong(key: &str, error: &impl fmt::Display) -> Refusal {
    Refusal::new(
        format!("{}: {error}", lay::label(key)),
        "change it, or leave it empty for what is usual",
    )
}

/// A bare number, or a bare size, in the units that are chosen.
fn meant(key: &str, text: &str, units: Units) -> String {
    let is_bare = |text: &str| text.trim().replace(',', ".").parse::<f64>().is_ok();
    if LENGTHS.contains(&key) && is_bare(text) {
        return units.meant(text);
    }
    match text.split_once(['x', '×']) {
        Some((w, h)) if key == "card" && is_bare(w) && is_bare(h) => {
            let w = w.trim().replace(',', ".");
            format!("{w}x{}", units.meant(h.trim()))
        }
        _ => text.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bare_numbers_are_meant_in_the_chosen_units() {
        let mut wish = Wish::default();
        wish.say("bleed", "0.125", Units::Inch).expect("a length");
        wish.say("card", "2.5 x 3.5", Units::Inch).expect("a size");
        wish.say("gutter", "3", Units::Mm).expect("a length");
        wish.say("corners", "2,5", Units::Mm).expect("a length");
        let job = wish.job(&[], None).expect("a job");
        assert!((job.bleed.expect("said").to_mm() - 3.175).abs() < 1e-9);
        assert!((job.gutter.expect("said").to_mm() - 3.0).abs() < 1e-9);
        assert!((job.corners.expect("said").to_mm() - 2.5).abs() < 1e-9);
        let size = job.card.expect("said").0.size();
        assert!((size.w - 63.5).abs() < 1e-9 && (size.h - 88.9).abs() < 1e-9);
    }

    #[test]
    fn what_is_not_understood_is_told_by_its_label_and_not_kept() {
        let mut wish = Wish::default();
        let refusal = wish.say("bleed", "much", Units::Mm).expect_err("no length");
        assert!(refusal.message.starts_with("Bleed: "), "{refusal:?}");
        assert!(wish.say("source", "/etc/passwd", Units::Mm).is_err());
        assert!(wish.say("filler", "/etc/passwd", Units::Mm).is_err());
        assert_eq!(wish, Wish::default());
    }

    #[test]
    fn another_choice_takes_back_which_plan_was_chosen() {
        let mut wish = Wish::default();
        wish.say("plan", "3", Units::Mm).expect("a number");
        assert_eq!(wish.plan(), 3);
        wish.say("fold-over", "true", Units::Mm).expect("a switch");
        assert_eq!((wish.plan(), wish.is_on("fold-over")), (1, true));
        wish.say("fold-over", "false", Units::Mm).expect("a switch");
        assert!(!wish.is_on("fold-over"));
    }
}
