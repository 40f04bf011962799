//! Reading from pictures: two scans of a sheet, or one photo against the light.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};

use serde::Serialize;
use tympan_marks::check_rule::Verdict;
use tympan_marks::picture::{self, Expected, Luma, Reading as Seen, RefusalReport};
use tympan_pdf::raster::{Pages, View};
use tympan_register::{Observation, Reading};
use tympan_store::{ReadingRecord, SetUp, Store, Way};

use super::keep;
use super::told::{ReadSheet, ReadTold, told};
use crate::refusal::Refusal;

/// A picture file larger than this is refused unread.
const LARGEST_FILE: u64 = 1 << 30;
/// Scans that come as PDF are looked at this sharply.
const PDF_DPI: f64 = 300.0;

/// What pictures said. The form of its JSON is part of the contract for scripts.
#[derive(Clone, Debug, Serialize)]
pub struct PicturesTold {
    /// The sheets that were read, as from any other way of reading.
    #[serde(flatten)]
    pub read: ReadTold,
    /// Pictures that were not read; nothing is logged from them.
    pub refused: Vec<RefusedPictures>,
}

/// Pictures that were not read.
#[derive(Clone, Debug, Serialize)]
pub struct RefusedPictures {
    /// The files.
    pub files: Vec<PathBuf>,
    /// Why.
    pub refused: RefusalReport,
}

/// One picture with the file that it comes from.
struct Picture {
    file: PathBuf,
    luma: Luma,
}

/// Reads any mix of scans and photos of a set-up's test sheets into its log. Pictures that cannot
/// be read are told with the reason and leave the others alone.
///
/// # Errors
/// A [`Refusal`] where a file cannot be opened, where a sheet was read before and `again` was not
/// said, or where the work was cancelled. Then nothing is stored.
pub fn read_pictures(
    store: &mut Store,
    setup: &SetUp,
    files: &[PathBuf],
    again: bool,
    evidence: Option<&Path>,
    cancel: &AtomicBool,
) -> Result<PicturesTold, Refusal> {
    let mut pictures = Vec::new();
    let mut refused = Vec::new();
    for file in files {
        if cancel.load(Ordering::Relaxed) {
            return Err(Refusal {
                message: "stopped; nothing was logged".into(),
                hint: None,
            });
        }
        match decode(file)? {
            Ok(pages) => {
                pictures.extend(pages.into_iter().map(|luma| Picture {
                    file: file.clone(),
                    luma,
                }));
            }
            Err(report) => {
                refused.push(RefusedPictures {
                    files: vec![file.clone()],
                    refused: report,
                });
            }
        }
    }
    let expected = Expected {
        setup: setup.id.to_string().parse().ok(),
        paper: Some(setup.paper.size()),
        flip: Some(setup.flip),
        caliper_mm: setup
            .stock
            .as_ref()
            .and_then(|s| s.caliper())
            .map(|c| c.um / 1000.0),
    };
    let (names, lumas): (Vec<PathBuf>, Vec<Luma>) =
        pictures.into_iter().map(|p| (p.file, p.luma)).unzip();
    let mut read = Vec::new();
    for outcome in picture::read(&lumas, &expected) {
        match outcome.result {
            Ok(seen) => {
                if let Some(folder) = evidence {
                    crate::picture::evidence(folder, &lumas, &names, &seen)?;
                }
                read.push(sheet_of(setup, &seen));
            }
            Err(refusal) => {
                let mut files: Vec<PathBuf> =
                    outcome.pictures.iter().map(|&i| names[i].clone()).collect();
                files.dedup();
                refused.push(RefusedPictures {
                    files,
                    refused: refusal.report(),
                });
            }
        }
    }
    let records: Vec<ReadingRecord> = read.iter().map(|sheet| sheet.record.clone()).collect();
    keep(store, setup, &records, again)?;
    Ok(PicturesTold {
        read: told(setup, &read)?,
        refused,
    })
}

/// All pictures of a file; inner error: it cannot be read as a picture.
fn decode(file: &Path) -> Result<Result<Vec<Luma>, RefusalReport>, Refusal> {
    let size = fs::metadata(file)
        .map_err(|e| Refusal::file("read", file, &e))?
        .len();
    if size > LARGEST_FILE {
        return Err(Refusal::new(
            format!("{} is too large for a scan or a photo", file.display()),
            "scan at 300 dpi, which is enough",
        ));
    }
    let bytes = fs::read(file).map_err(|e| Refusal::file("read", file, &e))?;
    if bytes.starts_with(b"%PDF") {
        return scanned_pdf(bytes).map(Ok);
    }
    Ok(picture::decode(&bytes).map_err(|refusal| refusal.report()))
}

/// Scans that a scanner's program put into a PDF.
fn scanned_pdf(bytes: Vec<u8>) -> Result<Vec<Luma>, Refusal> {
    let pages = Pages::open(bytes, None)?;
    let mut pictures = Vec::new();
    for page in 0..pages.count() {
        let grey = pages.grey(page, &View::dpi(PDF_DPI))?;
        let (width, height) = (grey.width() as usize, grey.height() as usize);
        pictures.extend(Luma::new(width, height, grey.into_raw()));
    }
    Ok(pictures)
}

fn sheet_of(setup: &SetUp, seen: &Seen) -> ReadSheet {
    let reading = Reading {
        observations: seen
            .points
            .iter()
            .map(|o| Observation::new(o.at, o.error, o.variance.sqrt()))
            .collect(),
        link: Some(seen.link),
    };
    let way = match seen.way {
        picture::Way::TwoScans { .. } => Way::Scans,
        picture::Way::Photo { .. } => Way::Photo,
    };
    let mut record = ReadingRecord::new(setup.id.clone(), way, setup.first_side, reading);
    record.sheet = Some(seen.sheet);
    record.residual = Some(seen.residual_um / 1000.0);
    record.warnings = seen.warnings.iter().map(ToString::to_string).collect();
    ReadSheet {
        record,
        rules: Verdict::Unknown,
        quality: Some(seen.quality()),
    }
}
