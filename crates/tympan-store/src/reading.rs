//! What the store keeps of a printed sheet that was read.

use std::fmt;

use serde::{Deserialize, Serialize};
use tympan_register::Reading;
use tympan_sheet::Side;

use crate::error::StoreError;
use crate::id::{ReadingId, SetUpId};
use crate::set_up::LAST_SHEET;
use crate::time::Timestamp;

/// One printed sheet as it was read.
///
/// Its form in JSON is described in `docs/data-format.md`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ReadingRecord {
    /// The name by which it is known for ever.
    pub id: ReadingId,
    /// The set-up that it belongs to.
    pub setup: SetUpId,
    /// The number on the sheet, 1 to 9999, where it carries one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sheet: Option<u32>,
    /// When it was read.
    pub taken_at: Timestamp,
    /// How it was read.
    pub way: Way,
    /// The side that had been printed first.
    pub first_side: Side,
    /// The points, their register errors in the front frame and the uncertainties.
    pub reading: Reading,
    /// What the check rules measured.
    #[serde(default, skip_serializing_if = "CheckRules::is_empty")]
    pub check_rules: CheckRules,
    /// What the reading's points leave over after its own field is taken out, root mean square,
    /// mm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub residual: Option<f64>,
    /// What the user was warned of when it was read.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub warnings: Vec<String>,
    /// The name of the file that shows how it was read; a plain file name, without a folder.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub evidence: Option<String>,
    /// The run that the sheet was printed in, where it is one of a run's own sheets.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub run: Option<String>,
    /// Why and when it was set aside, where it is not to be learnt from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub set_aside: Option<SetAside>,
}

/// Why and when a reading was set aside.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct SetAside {
    /// Why, in the user's words.
    pub reason: String,
    /// When.
    pub at: Timestamp,
}

/// What the printed 100 mm rules measured, mm. Only what was measured.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct CheckRules {
    /// The rule across on the front.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub front_across: Option<f64>,
    /// The rule down the front.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub front_along: Option<f64>,
    /// The rule across on the back.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub back_across: Option<f64>,
    /// The rule down the back.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub back_along: Option<f64>,
}

impl CheckRules {
    /// Whether nothing was measured.
    pub fn is_empty(&self) -> bool {
        self.all().next().is_none()
    }

    fn all(&self) -> impl Iterator<Item = f64> {
        [
            self.front_across,
            self.front_along,
            self.back_across,
            self.back_along,
        ]
        .into_iter()
        .flatten()
    }
}

/// How a sheet was read.
///
/// Open: ways that a later version adds are kept by their word.
#[derive(Clone, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(into = "String", from = "String")]
#[non_exhaustive]
pub enum Way {
    /// By eye, with a pin through the cross.
    Pin,
    /// With a ruler.
    Ruler,
    /// From two scans.
    Scans,
    /// From one photo against the light.
    Photo,
    /// From the witness marks of a production sheet.
    Witness,
    /// In a way that this version does not know.
    Other(String),
}

impl Way {
    /// The word for it in the data.
    pub fn as_str(&self) -> &str {
        match self {
            Self::Pin => "pin",
            Self::Ruler => "ruler",
            Self::Scans => "scans",
            Self::Photo => "photo",
            Self::Witness => "witness",
            Self::Other(word) => word,
        }
    }
}

impl fmt::Display for Way {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

impl From<Way> for String {
    fn from(way: Way) -> Self {
        way.as_str().to_owned()
    }
}

impl From<String> for Way {
    fn from(word: String) -> Self {
        match word.as_str() {
            "pin" => Self::Pin,
            "ruler" => Self::Ruler,
            "scans" => Self::Scans,
            "photo" => Self::Photo,
            "witness" => Self::Witness,
            _ => Self::Other(word),
        }
    }
}

/// No reading says that the back is further off than this, mm.
const FURTHEST: f64 = 100.0;
/// No point of a sheet lies further from its corner than this, mm.
const LARGEST_SHEET: f64 = 3000.0;
const MOST_POINTS: usize = 100_000;
const MOST_WARNINGS: usize = 100;
const LONGEST_LINE: usize = 1000;
const LONGEST_FILE_NAME: usize = 200;

impl ReadingRecord {
    /// A reading taken now, with a random id; what is optional is left out.
    pub fn new(setup: SetUpId, way: Way, first_side: Side, reading: Reading) -> Self {
        Self {
            id: ReadingId::random(),
            setup,
            sheet: None,
            taken_at: Timestamp::now(),
            way,
            first_side,
            reading,
            check_rules: CheckRules::default(),
            residual: None,
            warnings: Vec::new(),
            evidence: None,
            run: None,
            set_aside: None,
        }
    }

    /// Whether it is to be learnt from.
    pub fn is_in_use(&self) -> bool {
        self.set_aside.is_none()
    }

    /// Refuses what no reading can be, so that whatever is stored can be learnt from.
    pub(crate) fn check(&self) -> Result<(), StoreError> {
        self.fault().map_or(Ok(()), |reason| {
            Err(StoreError::BadReading {
                sheet: self.sheet,
                reason,
            })
        })
    }

    fn fault(&self) -> Option<String> {
        if self.sheet.is_some_and(|n| !(1..=LAST_SHEET).contains(&n)) {
            return Some(format!(
                "its sheet number is not between 1 and {LAST_SHEET}"
            ));
        }
        let word = self.way.as_str();
        let plain = word
            .bytes()
            .all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'_');
        if !plain || !(1..=30).contains(&word.len()) {
            return Some("its way of reading is not a plain word".into());
        }
        if let Some(fault) = points_fault(&self.reading) {
            return Some(fault);
        }
        if !self
            .check_rules
            .all()
            .all(|mm| (10.0..=1000.0).contains(&mm))
        {
            return Some("a check rule does not measure between 10 and 1000 mm".into());
        }
        if self
            .residual
            .is_some_and(|mm| !(0.0..=FURTHEST).contains(&mm))
        {
            return Some(format!("its residual is not between 0 and {FURTHEST} mm"));
        }
        if self.warnings.len() > MOST_WARNINGS || !self.warnings.iter().all(|w| is_line(w)) {
            return Some(format!(
                "its warnings are not at most {MOST_WARNINGS} lines of {LONGEST_LINE} characters"
            ));
        }
        if self
            .evidence
            .as_deref()
            .is_some_and(|name| !is_file_name(name))
        {
            return Some("its evidence is not a plain file name".into());
        }
        if self
            .run
            .as_deref()
            .is_some_and(|run| run.is_empty() || !is_line(run))
        {
            return Some("its run is not a name".into());
        }
        if self
            .set_aside
            .as_ref()
            .is_some_and(|s| check_reason(&s.reason).is_err())
        {
            return Some("it was set aside without a reason of one line".into());
        }
        None
    }
}

/// A reason to set a reading aside must say something.
pub(crate) fn check_reason(reason: &str) -> Result<(), StoreError> {
    if reason.trim().is_empty() || !is_line(reason) {
        Err(StoreError::NoReason)
    } else {
        Ok(())
    }
}

fn is_line(text: &str) -> bool {
    text.chars().count() <= LONGEST_LINE && !text.chars().any(char::is_control)
}

/// Evidence may be opened by its name, so a name must not lead out of its folder.
fn is_file_name(name: &str) -> bool {
    let strange = |c: char| c.is_control() || matches!(c, '/' | '\\' | ':');
    (1..=LONGEST_FILE_NAME).contains(&name.len())
        && !name.starts_with('.')
        && !name.chars().any(strange)
}

fn points_fault(reading: &Reading) -> Option<String> {
    let points = &reading.observations;
    if points.is_empty() || points.len() > MOST_POINTS {
        return Some(format!("it holds no points, or over {MOST_POINTS}"));
    }
    for (i, o) in points.iter().enumerate() {
        let number = i + 1;
        let on_sheet = |mm: f64| (-LARGEST_SHEET..=LARGEST_SHEET).contains(&mm);
        if !on_sheet(o.at.x) || !on_sheet(o.at.y) {
            return Some(format!("point {number} does not lie on any sheet"));
        }
        if !o.error.x.is_finite() || !o.error.y.is_finite() || o.error.length() > FURTHEST {
            return Some(format!(
                "point {number} says that the back is over {FURTHEST} mm off"
            ));
        }
        let [[xx, xy], [yx, yy]] = o.variance;
        let scale = (xx * yy).sqrt();
        let proper = xx > 0.0 && yy > 0.0 && scale.is_finite() && xy.abs() < scale;
        if !proper || (xy - yx).abs() > 1e-9 * scale {
            return Some(format!(
                "the uncertainty of point {number} is not a covariance"
            ));
        }
    }
    reading
        .link
        .is_some_and(|link| !is_covariance(link))
        .then(|| "its link's uncertainty is not a covariance".into())
}

/// Whether this is symmetric and positive semidefinite, but for rounding (Sylvester's criterion
/// on all principal minors).
fn is_covariance(m: [[f64; 3]; 3]) -> bool {
    const ROUNDING: f64 = 1e-9;
    if !m.iter().flatten().all(|x| x.is_finite()) || (0..3).any(|i| m[i][i] < 0.0) {
        return false;
    }
    let product = |i: usize, j: usize| m[i][i] * m[j][j];
    let pairs = [(0, 1), (0, 2), (1, 2)];
    let symmetric = pairs
        .iter()
        .all(|&(i, j)| (m[i][j] - m[j][i]).abs() <= ROUNDING * product(i, j).sqrt());
    let small = pairs
        .iter()
        .all(|&(i, j)| m[i][j] * m[j][i] <= product(i, j) * (1.0 + ROUNDING));
    let det = m[0][0] * (m[1][1] * m[2][2] - m[1][2] * m[2][1])
        - m[0][1] * (m[1][0] * m[2][2] - m[1][2] * m[2][0])
        + m[0][2] * (m[1][0] * m[2][1] - m[1][1] * m[2][0]);
    symmetric && small && det >= -ROUNDING * (product(0, 1) * m[2][2]).abs()
}

#[cfg(test)]
mod tests {
    use super::*;
    use tympan_register::Observation;
    use tympan_sheet::{Point, Vector};

    fn record() -> ReadingRecord {
        let o = Observation::new(Point::new(20.0, 25.0), Vector::new(0.4, 2.1), 0.15);
        ReadingRecord::new(
            SetUpId::random(),
            Way::Pin,
            Side::Front,
            Reading::new(vec![o]),
        )
    }

    fn refused(spoil: impl FnOnce(&mut ReadingRecord)) -> String {
        let mut r = record();
        r.check().expect("sound before it is spoilt");
        spoil(&mut r);
        r.check().expect_err("spoilt").to_string()
    }

    #[test]
    fn a_reading_that_cannot_be_learnt_from_is_refused() {
        assert!(refused(|r| r.reading.observations.clear()).contains("no points"));
        assert!(refused(|r| r.reading.observations[0].error.x = f64::NAN).contains("point 1"));
        assert!(refused(|r| r.reading.observations[0].error.x = 100.5).contains("over 100 mm off"));
        assert!(
            refused(|r| r.reading.observations[0].at.y = f64::INFINITY).contains("on any sheet")
        );
        for variance in [
            [[0.0, 0.0], [0.0, 1.0]],
            [[1.0, 1.0], [1.0, 1.0]],
            [[1.0, 0.5], [0.0, 1.0]],
            [[f64::NAN, 0.0], [0.0, 1.0]],
            [[1.0, f64::NAN], [f64::NAN, 1.0]],
        ] {
            let message = refused(|r| r.reading.observations[0].variance = variance);
            assert!(
                message.contains("not a covariance"),
                "{variance:?}: {message}"
            );
        }
    }

    #[test]
    fn a_link_is_a_covariance_or_refused() {
        let with = |link| {
            let mut r = record();
            r.reading.link = Some(link);
            r.check().is_ok()
        };
        assert!(with([[0.0; 3]; 3]));
        assert!(with([
            [0.01, 0.002, 0.0],
            [0.002, 0.02, 0.001],
            [0.0, 0.001, 0.004]
        ]));
        assert!(
            with([[1.0, 1.0, 1.0], [1.0, 1.0, 1.0], [1.0, 1.0, 1.0]]),
            "one shared cause"
        );
        assert!(
            !with([[1.0, 0.1, 0.0], [0.2, 1.0, 0.0], [0.0, 0.0, 1.0]]),
            "not symmetric"
        );
        assert!(
            !with([[1.0, 2.0, 0.0], [2.0, 1.0, 0.0], [0.0, 0.0, 1.0]]),
            "indefinite pair"
        );
        // Each pair is possible, all three together are not.
        assert!(
            !with([[1.0, 0.9, -0.9], [0.9, 1.0, 0.9], [-0.9, 0.9, 1.0]]),
            "indefinite"
        );
        assert!(
            !with([[-1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]),
            "negative"
        );
    }

    #[test]
    fn evidence_cannot_lead_out_of_its_folder() {
        for name in ["../a.png", "/etc/a", "a/b.png", "..", "c:a", "a\\b", ""] {
            let message = refused(|r| r.evidence = Some(name.into()));
            assert!(message.contains("plain file name"), "{name}: {message}");
        }
    }

    #[test]
    fn other_absurd_values_are_refused() {
        assert!(refused(|r| r.sheet = Some(0)).contains("sheet number"));
        assert!(refused(|r| r.sheet = Some(10_000)).contains("sheet number"));
        assert!(refused(|r| r.residual = Some(-0.1)).contains("residual"));
        assert!(refused(|r| r.check_rules.back_along = Some(f64::NAN)).contains("check rule"));
        assert!(refused(|r| r.way = Way::Other("by ear".into())).contains("plain word"));
        assert!(refused(|r| r.run = Some(String::new())).contains("run"));
        assert!(refused(|r| r.warnings = vec!["a\nb".into()]).contains("warnings"));
        let at = Timestamp::now();
        let aside = Some(SetAside {
            reason: "  ".into(),
            at,
        });
        assert!(refused(|r| r.set_aside = aside).contains("without a reason"));
    }

    #[test]
    fn ways_of_later_versions_are_kept_by_their_word() {
        let way: Way = serde_json::from_str("\"moire\"").expect("a word");
        assert_eq!(way, Way::Other("moire".into()));
        assert_eq!(serde_json::to_string(&way).expect("json"), "\"moire\"");
        let way: Way = serde_json::from_str("\"scans\"").expect("a word");
        assert_eq!(way, Way::Scans);
    }
}
