//! What single sheets say, for people and for scripts.

use std::path::PathBuf;

use serde::Serialize;
use tympan_marks::check_rule::Verdict;
use tympan_marks::picture;
use tympan_register::{Fit, Model, Prior};
use tympan_sheet::Side;
use tympan_store::{ReadingRecord, SetUp, Way};

use crate::refusal::Refusal;
use crate::report::{AffineField, Xy};
use crate::words::Units;

/// What is known from one sheet once it is in the log.
#[derive(Clone, Debug)]
pub struct ReadSheet {
    /// What was stored.
    pub record: ReadingRecord,
    /// What the rules say.
    pub rules: Verdict,
    /// How far the backs of a production sheet lie off as it was printed, mm, at the worst corner.
    pub left_mm: Option<f64>,
    /// Where it comes from, if from pictures.
    pub pictures: Option<FromPictures>,
}

/// What is to be known of a reading from pictures.
#[derive(Clone, Debug, Serialize)]
pub struct FromPictures {
    /// The files.
    pub files: Vec<PathBuf>,
    /// What ties the two sides together.
    #[serde(flatten)]
    pub way: picture::Way,
    /// The least resolution of the pictures, pixels to the inch.
    pub dpi: f64,
    /// How good the reading is, in a word.
    pub quality: &'static str,
    /// Standard uncertainty of the shift, mm, the larger of the two axes.
    pub shift_sd_mm: f64,
    /// Standard uncertainty of the tilt, degrees.
    pub tilt_sd_deg: f64,
    /// Where each side's print lies on the sheet, where its edges show it.
    pub placements: Vec<Placed>,
}

/// Where one side's print lies on its sheet, as seen on that side: x right, y down, tilt clockwise.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct Placed {
    /// The side.
    pub side: Side,
    /// From the sheet's middle to the print's, mm.
    pub shift_mm: Xy,
    /// The print's tilt on the sheet, degrees.
    pub tilt_deg: f64,
    /// Standard uncertainty of the shift along each axis, mm.
    pub shift_sd_mm: f64,
    /// Standard uncertainty of the tilt, degrees.
    pub tilt_sd_deg: f64,
}

impl FromPictures {
    pub(super) fn new(seen: &picture::Reading, files: Vec<PathBuf>) -> Self {
        let [x, y, tilt] = seen.uncertainty();
        let placed = |p: &picture::Placement| Placed {
            side: p.side,
            shift_mm: Xy {
                x: p.shift.x,
                y: p.shift.y,
            },
            tilt_deg: p.tilt.to_degrees(),
            shift_sd_mm: p.shift_sd,
            tilt_sd_deg: p.tilt_sd.to_degrees(),
        };
        Self {
            files,
            way: seen.way,
            dpi: seen.px_per_mm * 25.4,
            quality: seen.quality(),
            shift_sd_mm: x.max(y),
            tilt_sd_deg: tilt.to_degrees(),
            placements: seen.placements.iter().flatten().map(placed).collect(),
        }
    }

    fn in_words(&self) -> String {
        format!(
            "The reading is {}: sure to {:.2} mm and {:.2}°, 19 times in 20.",
            self.quality,
            (2.0 * self.shift_sd_mm).max(0.01),
            (2.0 * self.tilt_sd_deg).max(0.01),
        )
    }
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
    /// The run, of a production sheet read by its witness marks.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub run: Option<String>,
    /// The number on the sheet.
    pub sheet: Option<u32>,
    /// How it was read.
    pub way: Way,
    /// This sheet's own field about the sheet's centre, front frame: not the steady error, which
    /// one sheet tells much less surely.
    pub field: AffineField,
    /// What its points leave over, root mean square, mm; none where nothing can be left over.
    pub residual_mm: Option<f64>,
    /// How far the backs of a production sheet lie off as it was printed, with whatever correction
    /// it had, mm, at the sheet's worst corner; the field is without that correction.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub left_mm: Option<f64>,
    /// What the check rules say.
    pub rules: Verdict,
    /// Where it comes from, if from pictures, and how good it is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pictures: Option<FromPictures>,
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

/// What one sheet says by itself, whatever the others say: its own field, with how sure that is.
pub(crate) fn own_fit(setup: &SetUp, record: &ReadingRecord) -> Result<Fit, Refusal> {
    // With next to no scatter believed, the steady error of a single sheet is its own field.
    let prior = Prior {
        across_mm: 1e-4,
        along_mm: 1e-4,
        tilt_deg: 1e-5,
        log_scale_sd: 0.0,
        sheet_stretch_sd: 0.0,
        ..Prior::recommended()
    };
    // There is next to nothing to integrate over.
    let model = Model::new(setup.paper.size(), setup.leading_edge.axis())
        .with_prior(prior)
        .with_points(256);
    Ok(model.fit(std::slice::from_ref(&record.reading))?)
}

fn sheet_told(setup: &SetUp, read: &ReadSheet) -> Result<SheetTold, Refusal> {
    let record = &read.record;
    let fit = own_fit(setup, record)?;
    let map = fit.field();
    let field = fit.steady_field();
    let observations = &record.reading.observations;
    let residual_mm = (observations.len() > 2).then(|| {
        let squares = observations
            .iter()
            .map(|o| (o.error - field.at(o.at)).length().powi(2));
        (squares.sum::<f64>() / observations.len() as f64).sqrt()
    });
    let mut warnings = record.warnings.clone();
    if matches!(read.rules, Verdict::Unknown) && record.way == Way::Pin {
        warnings.push(
            "measure the 100 mm rules too: a print that was fitted to the page looks like a faulty \
             printer"
                .to_owned(),
        );
    }
    if matches!(read.rules, Verdict::Stretch { .. }) {
        warnings.push(read.rules.explain());
    }
    let name = match (record.sheet, &record.run) {
        (Some(n), Some(run)) => format!("Sheet {n} of run {run}"),
        (Some(n), None) => format!("Sheet {n}"),
        (None, _) => "This sheet".to_owned(),
    };
    let left = read.left_mm.map(|mm| {
        format!(
            " As it was printed, its backs lie off by up to {mm:.2} mm, at a corner of the sheet."
        )
    });
    let left = left.unwrap_or_default();
    let without = if left.is_empty() {
        ""
    } else {
        " without its correction"
    };
    Ok(SheetTold {
        reading: record.id.to_string(),
        run: record.run.clone(),
        sheet: record.sheet,
        way: record.way.clone(),
        field: fit.steady_error().into(),
        residual_mm,
        rules: read.rules,
        left_mm: read.left_mm,
        in_words: match &read.pictures {
            Some(pictures) => format!(
                "{name}{without}: {} {}{left}",
                crate::report::seen_on_back(Units::Mm, setup, &map),
                pictures.in_words()
            ),
            None => format!(
                "{name}: {}",
                crate::report::seen_on_back(Units::Mm, setup, &map)
            ),
        },
        pictures: read.pictures.clone(),
        warnings,
    })
}
