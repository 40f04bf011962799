//! What single sheets say, for people and for scripts.

use serde::Serialize;
use tympan_marks::check_rule::Verdict;
use tympan_register::Model;
use tympan_store::{ReadingRecord, SetUp, Way};

use crate::refusal::Refusal;
use crate::report::AffineField;

/// What is known from one sheet once it is in the log.
#[derive(Clone, Debug)]
pub struct ReadSheet {
    /// What was stored.
    pub record: ReadingRecord,
    /// What the rules say.
    pub rules: Verdict,
    /// How good a reading from pictures is.
    pub quality: Option<&'static str>,
}

/// What was read, sheet by sheet. The form of its JSON is part of the contract for scripts.
#[derive(Clone, Debug, Serialize)]
pub struct ReadTold {
    /// The version of this form.
    pub schema: u32,
    /// The set-up.
    pub setup: String,
    /// Each sheet.
    pub sheets: Vec<SheetTold>,
}

/// What one sheet says by itself.
#[derive(Clone, Debug, Serialize)]
pub struct SheetTold {
    /// The reading's id.
    pub reading: String,
    /// The number on the sheet.
    pub sheet: Option<u32>,
    /// How it was read.
    pub way: Way,
    /// This sheet's field about the sheet's centre, front frame.
    pub field: AffineField,
    /// What its points leave over, root mean square, mm; none where nothing can be left over.
    pub residual_mm: Option<f64>,
    /// What the check rules say.
    pub rules: Verdict,
    /// How good a reading from pictures is, in a word.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub quality: Option<&'static str>,
    /// What to bear in mind.
    pub warnings: Vec<String>,
    /// The same in a sentence.
    pub in_words: String,
}

/// Tells what each sheet says by itself.
///
/// # Errors
/// A [`Refusal`] where a reading cannot be fitted.
pub fn told(setup: &SetUp, read: &[ReadSheet]) -> Result<ReadTold, Refusal> {
    let sheets = read
        .iter()
        .map(|sheet| sheet_told(setup, sheet))
        .collect::<Result<_, _>>()?;
    Ok(ReadTold {
        schema: 1,
        setup: setup.name.clone(),
        sheets,
    })
}

fn sheet_told(setup: &SetUp, read: &ReadSheet) -> Result<SheetTold, Refusal> {
    let record = &read.record;
    let model = Model::new(setup.paper.size(), setup.leading_edge.axis());
    let fit = model.fit(std::slice::from_ref(&record.reading))?;
    let map = fit.field();
    let field = fit.sheet_fields().first().copied();
    let observations = &record.reading.observations;
    let residual_mm = field.filter(|_| observations.len() > 2).map(|field| {
        let squares = observations
            .iter()
            .map(|o| (o.error - field.at(o.at)).length().powi(2));
        (squares.sum::<f64>() / observations.len() as f64).sqrt()
    });
    let mut warnings = record.warnings.clone();
    if matches!(read.rules, Verdict::Unknown) && record.way == Way::Pin {
        warnings.push(
            "measure the 100 mm rules too (--rule \"100 across, 100 along\"): a print that was \
             fitted to the page looks like a faulty printer"
                .to_owned(),
        );
    }
    if matches!(read.rules, Verdict::Stretch { .. }) {
        warnings.push(read.rules.explain());
    }
    let name = record
        .sheet
        .map_or_else(|| "This sheet".to_owned(), |n| format!("Sheet {n}"));
    Ok(SheetTold {
        reading: record.id.to_string(),
        sheet: record.sheet,
        way: record.way.clone(),
        field: fit.steady_error().into(),
        residual_mm,
        rules: read.rules,
        quality: read.quality,
        warnings,
        in_words: match read.quality {
            Some(quality) => format!(
                "{name}: {} The reading is {quality}.",
                crate::report::seen_on_back(setup, &map)
            ),
            None => format!("{name}: {}", crate::report::seen_on_back(setup, &map)),
        },
    })
}
