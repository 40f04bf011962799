//! What the store keeps of sheets with witness marks.

use serde::{Deserialize, Serialize};

use crate::error::StoreError;
use crate::id::SetUpId;
use crate::time::Timestamp;

/// Sheets that were laid out with witness marks: what is needed to read them.
///
/// Its form in JSON is described in `docs/data-format.md`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct WitnessRecord {
    /// What the codes in the marks say.
    pub code: String,
    /// The set-up that they were laid out for.
    pub setup: SetUpId,
    /// What is printed, as people call it.
    pub name: String,
    /// When they were laid out.
    pub made: Timestamp,
    /// Where the marks are. Its form is the program's own.
    pub marks: serde_json::Value,
}

const LONGEST_LINE: usize = 200;

impl WitnessRecord {
    /// Sheets laid out now.
    pub fn new(code: String, setup: SetUpId, name: &str, marks: serde_json::Value) -> Self {
        let name = name.split_whitespace().collect::<Vec<_>>().join(" ");
        Self {
            code,
            setup,
            name: name.chars().take(LONGEST_LINE).collect(),
            made: Timestamp::now(),
            marks,
        }
    }

    /// Refuses what no such sheets can be.
    pub(crate) fn check(&self) -> Result<(), StoreError> {
        let plain = |c: u8| c.is_ascii_digit() || c.is_ascii_uppercase();
        let reason = if !(1..=16).contains(&self.code.len()) || !self.code.bytes().all(plain) {
            "their code is not 1 to 16 characters of 0-9 and A-Z"
        } else if self.name.chars().count() > LONGEST_LINE
            || self.name.chars().any(char::is_control)
        {
            "their name is not one line"
        } else if !self.marks.is_object() {
            "nothing says where the marks are"
        } else {
            return Ok(());
        };
        Err(StoreError::BadWitness {
            code: self.code.chars().take(16).collect(),
            reason: reason.to_owned(),
        })
    }
}
