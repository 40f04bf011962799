//! Reading from pictures: two scans of a sheet, or one photo against the light.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};

use serde::Serialize;
use tympan_marks::check_rule::Verdict;
use tympan_marks::picture::{self, Expected, Luma, Reading as Seen, RefusalReport};
use tympan_pdf::raster::{Pages, RasterError, View};
use tympan_register::{Observation, Reading};
use tympan_sheet::{Front, Rect};
use tympan_store::{ReadingRecord, SetUp, Store, Way};

use super::accept;
use super::told::{FromPictures, ReadSheet, ReadTold, told};
use crate::refusal::Refusal;
use crate::witness::{self, Marked};

/// A picture file larger than this is refused unread.
const LARGEST_FILE: u64 = 1 << 30;
/// So many pictures are read at once, and so many pixels in all: each takes a byte of memory.
const MOST_PICTURES: usize = 200;
const MOST_PIXELS: usize = 1_500_000_000;
/// Readings of one sheet may differ by this much beyond what their uncertainty allows, mm.
const APART_MM: f64 = 0.05;
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

/// How pictures are read.
#[derive(Clone, Copy, Debug, Default)]
pub struct PicturesAsked<'a> {
    /// A sheet that was read before was read once more: the earlier reading is set aside.
    pub again: bool,
    /// Where pictures are kept that show what was found; none are where this is not given.
    pub evidence: Option<&'a Path>,
}

/// Reads any mix of scans and photos of a set-up's test sheets into its log. Pictures that cannot
/// be read are told with the reason and leave the others alone. `progress` is told how many files
/// have been opened, and of how many.
///
/// # Errors
/// A [`Refusal`] where a file cannot be opened, where a sheet was read before and `again` was not
/// said, or where the work was cancelled. Then nothing is stored.
pub fn read_pictures(
    store: &mut Store,
    setup: &SetUp,
    files: &[PathBuf],
    asked: PicturesAsked<'_>,
    progress: &mut dyn FnMut(usize, usize),
    cancel: &AtomicBool,
) -> Result<PicturesTold, Refusal> {
    let PicturesAsked { again, evidence } = asked;
    let mut pictures = Vec::new();
    let mut pixels = 0;
    let mut refused = Vec::new();
    let stopped = || Refusal {
        message: "stopped; nothing was logged".into(),
        hint: None,
    };
    for (done, file) in files.iter().enumerate() {
        progress(done, files.len());
        if cancel.load(Ordering::Relaxed) {
            return Err(stopped());
        }
        match decode(file)? {
            Ok(pages) if pages.is_empty() => refused.push(RefusedPictures {
                files: vec![file.clone()],
                refused: RefusalReport {
                    code: "damaged",
                    message: "this file has no pages that can be read".to_owned(),
                    hint: "scan again and save it as JPEG or PNG",
                },
            }),
            Ok(pages) => {
                pixels += pages.iter().map(|p| p.data().len()).sum::<usize>();
                if pixels > MOST_PIXELS || pictures.len() + pages.len() > MOST_PICTURES {
                    return Err(Refusal::new(
                        format!(
                            "too many pictures at once: {} is one too many",
                            file.display()
                        ),
                        "give the pictures of a few sheets at a time",
                    ));
                }
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
    let marked = witness::known(store, setup)?;
    let expected = Expected {
        setup: setup.id.to_string().parse().ok(),
        paper: Some(setup.paper.size()),
        flip: Some(setup.flip),
        caliper_mm: setup
            .stock
            .as_ref()
            .and_then(|s| s.caliper())
            .map(|c| c.um / 1000.0),
        runs: witness::runs(&marked),
    };
    let (names, lumas): (Vec<PathBuf>, Vec<Luma>) =
        pictures.into_iter().map(|p| (p.file, p.luma)).unzip();
    let files_of = |pictures: &[usize]| -> Vec<PathBuf> {
        let mut files: Vec<PathBuf> = pictures.iter().map(|&i| names[i].clone()).collect();
        files.dedup();
        files
    };
    let mut seen: Vec<(Seen, Vec<PathBuf>)> = Vec::new();
    for outcome in picture::read(&lumas, &expected) {
        let files = files_of(&outcome.pictures);
        match outcome.result {
            Ok(reading) => seen.push((reading, files)),
            Err(refusal) => refused.push(RefusedPictures {
                files,
                refused: refusal.report(),
            }),
        }
    }
    let mut read = Vec::new();
    let mut shown = Vec::new();
    for same in by_sheet(seen) {
        match surest(same) {
            Ok((seen, files, notes)) => {
                let run = seen.run.and_then(|run| marked.get(&run));
                let mut sheet = sheet_of(setup, &seen, files, run);
                sheet.record.warnings.extend(notes);
                read.push(sheet);
                shown.push(seen);
            }
            Err(report) => refused.push(report),
        }
    }
    let mut records: Vec<ReadingRecord> = read.iter().map(|sheet| sheet.record.clone()).collect();
    accept(store, setup, &records, again)?;
    progress(files.len(), files.len());
    if cancel.load(Ordering::Relaxed) {
        return Err(stopped());
    }
    if let Some(folder) = evidence {
        for (seen, record) in shown.iter().zip(&mut records) {
            record.evidence = crate::picture::evidence(folder, &lumas, &names, seen)?;
        }
    }
    accept(store, setup, &records, again)?.keep(store)?;
    Ok(PicturesTold {
        read: told(setup, &read)?,
        refused,
    })
}

/// Readings by the sheet that they are of.
fn by_sheet(seen: Vec<(Seen, Vec<PathBuf>)>) -> Vec<Vec<(Seen, Vec<PathBuf>)>> {
    let mut sheets: BTreeMap<_, Vec<(Seen, Vec<PathBuf>)>> = BTreeMap::new();
    for (reading, files) in seen {
        let same = sheets.entry((reading.run, reading.sheet)).or_default();
        same.push((reading, files));
    }
    sheets.into_values().collect()
}

/// Of several readings of one sheet the surest, with what is to be said of the others. They must
/// agree.
fn surest(
    mut same: Vec<(Seen, Vec<PathBuf>)>,
) -> Result<(Seen, Vec<PathBuf>, Vec<String>), RefusedPictures> {
    let doubt = |seen: &Seen| {
        let [x, y, tilt] = seen.uncertainty();
        let reach = seen.paper.w.hypot(seen.paper.h) / 2.0;
        x.hypot(y).hypot(tilt * reach)
    };
    same.sort_by(|a, b| doubt(&a.0).total_cmp(&doubt(&b.0)));
    let mut same = same.into_iter();
    let Some((best, files)) = same.next() else {
        return Err(RefusedPictures {
            files: Vec::new(),
            refused: picture::Refusal::NotATestSheet.report(),
        });
    };
    let mut notes = Vec::new();
    for (other, more) in same {
        let corners = Rect::<Front>::whole(best.paper).corners();
        let apart = corners
            .iter()
            .map(|&p| (best.field.apply(p) - other.field.apply(p)).length())
            .fold(0.0, f64::max);
        let names: Vec<String> = more.iter().map(|f| f.display().to_string()).collect();
        if apart > APART_MM + 4.0 * doubt(&best).hypot(doubt(&other)) {
            return Err(RefusedPictures {
                refused: RefusalReport {
                    code: "readings_disagree",
                    message: format!(
                        "these pictures of sheet {} disagree by {apart:.2} mm",
                        best.sheet
                    ),
                    hint: "were two sheets printed with the same number? Scan both sides of one \
                           sheet again, and give these pictures alone",
                },
                files: files.into_iter().chain(more).collect(),
            });
        }
        notes.push(format!(
            "{} shows this sheet too and agrees to {:.2} mm at the corners; the surer reading was \
             logged",
            names.join(" with "),
            apart.max(0.01)
        ));
    }
    Ok((best, files, notes))
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
        return Ok(scanned_pdf(bytes).map_err(|error| {
            let (code, hint) = match error {
                RasterError::Password => ("pdf_locked", "save it without a password"),
                RasterError::Size { .. } => ("too_large", "scan one sheet at 300 or 600 dpi"),
                _ => ("damaged", "scan again and save it as JPEG or PNG"),
            };
            RefusalReport {
                code,
                message: error.to_string(),
                hint,
            }
        }));
    }
    Ok(picture::decode(&bytes).map_err(|refusal| refusal.report()))
}

/// Scans that a scanner's program put into a PDF.
fn scanned_pdf(bytes: Vec<u8>) -> Result<Vec<Luma>, RasterError> {
    let pages = Pages::open(bytes, None)?;
    let mut pictures = Vec::new();
    for page in 0..pages.count().min(MOST_PICTURES) {
        let grey = pages.grey(page, &View::dpi(PDF_DPI))?;
        let (width, height) = (grey.width() as usize, grey.height() as usize);
        pictures.extend(Luma::new(width, height, grey.into_raw()));
    }
    Ok(pictures)
}

fn sheet_of(setup: &SetUp, seen: &Seen, files: Vec<PathBuf>, run: Option<&Marked>) -> ReadSheet {
    let reading = Reading {
        observations: seen
            .points
            .iter()
            .map(|o| {
                let (at, error) = match run {
                    Some(run) => run.uncorrected(o.at, o.error),
                    None => (o.at, o.error),
                };
                Observation::new(at, error, o.variance.sqrt())
            })
            .collect(),
        link: Some(seen.link),
    };
    let way = match (seen.run, seen.way) {
        (Some(_), _) => Way::Witness,
        (None, picture::Way::TwoScans { .. }) => Way::Scans,
        (None, picture::Way::Photo { .. }) => Way::Photo,
    };
    let mut record = ReadingRecord::new(setup.id.clone(), way, setup.first_side, reading);
    record.sheet = Some(seen.sheet);
    record.run = seen.run.map(String::from);
    record.residual = Some(seen.residual_um / 1000.0);
    record.warnings = seen.warnings.iter().map(ToString::to_string).collect();
    ReadSheet {
        record,
        rules: Verdict::Unknown,
        left_mm: run.is_some().then(|| {
            let corners = Rect::<Front>::whole(seen.paper).corners();
            let off = corners.map(|p| seen.field.displacement(p).length());
            off.into_iter().fold(0.0, f64::max)
        }),
        pictures: Some(FromPictures::new(seen, files)),
    }
}
