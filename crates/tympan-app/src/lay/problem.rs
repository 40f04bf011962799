//! What is in the way of laying a deck out: all of it at once, each with the card's name.

use serde::{Deserialize, Serialize};

use crate::refusal::Refusal;

/// So many problems are told; of more, only the number.
const MOST_TOLD: usize = 30;

/// One thing in the way.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Problem {
    /// The card, or the file and line.
    pub place: String,
    /// What is wrong.
    pub message: String,
    /// What to do.
    pub hint: String,
    /// The number of the card that it concerns, where it concerns one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub card: Option<usize>,
    /// Whether a password is what is missing.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub locked: bool,
}

impl Problem {
    /// A problem with its place and remedy.
    pub fn new(
        place: impl Into<String>,
        message: impl Into<String>,
        hint: impl Into<String>,
    ) -> Self {
        Self {
            place: place.into(),
            message: message.into(),
            hint: hint.into(),
            card: None,
            locked: false,
        }
    }

    /// The same, of a file that opens only with a password.
    #[must_use]
    pub(super) fn of_locked(self, locked: bool) -> Self {
        Self { locked, ..self }
    }

    /// The same, of this card.
    #[must_use]
    pub(super) fn of_card(self, number: usize) -> Self {
        Self {
            card: Some(number),
            ..self
        }
    }

    /// What another part of the program refused, at this place.
    pub(super) fn refused(place: impl Into<String>, refusal: Refusal) -> Self {
        Self::new(place, refusal.message, refusal.hint.unwrap_or_default())
    }
}

/// One refusal that tells them all. Remedies that many problems share are told once.
pub(super) fn refusal(problems: &[Problem]) -> Refusal {
    let line = |problem: &Problem| match problem.place.as_str() {
        "" => problem.message.clone(),
        place => format!("{place}: {}", problem.message),
    };
    let mut hints: Vec<&str> = Vec::new();
    for problem in problems.iter().take(MOST_TOLD) {
        if !problem.hint.is_empty() && !hints.contains(&problem.hint.as_str()) {
            hints.push(&problem.hint);
        }
    }
    let message = match problems {
        [one] => line(one),
        many => {
            let mut text = format!("{} things are in the way", many.len());
            for problem in many.iter().take(MOST_TOLD) {
                text.push_str(&format!("\n  {}", line(problem)));
            }
            if many.len() > MOST_TOLD {
                text.push_str(&format!("\n  and {} more", many.len() - MOST_TOLD));
            }
            text
        }
    };
    Refusal {
        message,
        hint: (!hints.is_empty()).then(|| hints.join("; ")),
    }
}
