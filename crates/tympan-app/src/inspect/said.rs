//! What was found, for scripts and in words. The form of its JSON is part of the contract for
//! scripts: pages count from 1.

use std::path::PathBuf;

use serde::Serialize;
use tympan_inspect::faults::Figures;
use tympan_inspect::{
    Evidence, Fault, FileError, Grid, PageCells, Pair, Pairing, Role, Severity, Standing, Way,
    verdict,
};
use tympan_sheet::{Flip, Size, nearest_card};

use super::{Looked, Request};
use crate::report::Xy;
use crate::words::{capital, counted};

/// What is in a file.
#[derive(Clone, Debug, Serialize)]
pub struct Inspection {
    /// The version of this form.
    pub schema: u32,
    /// The file, or the fronts.
    pub file: PathBuf,
    /// The backs, where they are in a file of their own.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub back_file: Option<PathBuf>,
    /// The answer in a sentence or two.
    pub answer: String,
    /// How fronts and backs come in the file.
    pub way: String,
    /// How likely that is, 0 to 1.
    pub confidence: f64,
    /// Why, in words.
    pub evidence: Vec<String>,
    /// What the file's own error comes to, in words.
    pub verdict: String,
    /// What it comes to in cards and paper.
    pub totals: Totals,
    /// All pages in order; those of the file of backs last.
    pub pages: Vec<PageSaid>,
    /// Fronts with their backs.
    pub pairs: Vec<PairSaid>,
    /// What will bite, the gravest first.
    pub faults: Vec<FaultSaid>,
    /// What else should be known about the files.
    pub cautions: Vec<String>,
}

/// Cards and paper.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Totals {
    /// Cards on all sheets.
    pub cards: usize,
    /// Sheets of paper.
    pub sheets: usize,
    /// Printed sides.
    pub sides: usize,
}

/// One page.
#[derive(Clone, Debug, Serialize)]
pub struct PageSaid {
    /// From 1.
    pub page: usize,
    /// Whether it is a page of the file of backs.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub back_file: bool,
    /// `front`, `back`, `fold_over` or `other`.
    pub role: &'static str,
    /// As seen, mm.
    pub size_mm: Xy,
    /// The largest group of cells.
    pub grid: Option<GridSaid>,
    /// Further groups.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub grids: Vec<GridSaid>,
    /// Where it is folded: from and to, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fold_mm: Option<[Xy; 2]>,
    /// Whether the page is one picture.
    pub one_picture: bool,
    /// Mean coverage of the page, per cent.
    pub ink_percent: InkSaid,
    /// The lowest resolution of a picture as placed, pixels per inch.
    pub coarsest_ppi: Option<f64>,
    /// The smallest text as placed, points.
    pub smallest_text_pt: Option<f64>,
}

/// Ink, per cent of the page.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct InkSaid {
    /// Cyan.
    pub cyan: f64,
    /// Magenta.
    pub magenta: f64,
    /// Yellow.
    pub yellow: f64,
    /// Black.
    pub black: f64,
}

/// A group of cells.
#[derive(Clone, Debug, Serialize)]
pub struct GridSaid {
    /// Side by side.
    pub columns: usize,
    /// One below the other.
    pub rows: usize,
    /// One card after cutting, mm.
    pub trim_mm: Xy,
    /// From cell to cell, mm.
    pub pitch_mm: Xy,
    /// Between neighbours, mm.
    pub gutter_mm: Xy,
    /// The top left corner of the first cell on the page as seen, mm.
    pub origin_mm: Xy,
    /// Clockwise as seen, degrees.
    pub rotation_deg: f64,
    /// How likely it is that this grid is there and is this one, 0 to 1.
    pub confidence: f64,
    /// Standard uncertainty of the place, mm.
    pub place_sd_mm: f64,
    /// Of the pitch, mm.
    pub pitch_sd_mm: f64,
    /// Of the trim, mm.
    pub trim_sd_mm: f64,
    /// By what it was found.
    pub found_by: Vec<&'static str>,
    /// How far lines along the cuts lie off the middles of the pictures, mm.
    pub disagreement_mm: f64,
    /// Which cells hold something, row by row.
    pub filled: Vec<bool>,
    /// How far pictures go on beyond the cut, mm: the least and the usual.
    pub bleed_mm: Option<[f64; 2]>,
    /// Of the drawn corners, mm.
    pub corner_radius_mm: Option<f64>,
    /// The nearest usual card, and the scale that this implies.
    pub nearest_card: Option<NearestCard>,
}

/// A usual card.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct NearestCard {
    /// Its name.
    pub name: &'static str,
    /// The cards' size against it: 1 is the same.
    pub scale: f64,
}

/// A front with its back.
#[derive(Clone, Debug, Serialize)]
pub struct PairSaid {
    /// The front's page, from 1.
    pub front: usize,
    /// The back's page, from 1; of the file of backs where there is one.
    pub back: usize,
    /// `sideways`, `endways`, or null where either fits.
    pub flip: Option<Flip>,
    /// `head_to_head` or `head_to_foot`, where the pages tell.
    pub standing: Option<&'static str>,
    /// How likely it is that they belong together, 0 to 1.
    pub confidence: f64,
    /// The file's own error: back as seen from the front, less front. Where the flip is null, for
    /// sideways or endways as `flip_taken` says.
    pub file_error: Option<FileErrorSaid>,
    /// The flip that the file's error is told for.
    pub flip_taken: Option<Flip>,
    /// Where the flip is null: what the file's own error would be for the other one.
    pub otherwise: Option<Otherwise>,
}

/// The file's own error for the other flip.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct Otherwise {
    /// The other flip.
    pub flip: Flip,
    /// The file's error for it.
    pub file_error: FileErrorSaid,
}

/// The file's own error about the sheet's centre, in the front frame.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct FileErrorSaid {
    /// Right and down, mm.
    pub shift_mm: Xy,
    /// Clockwise, degrees.
    pub tilt_deg: f64,
    /// Across and from top to bottom, per cent.
    pub stretch_percent: Xy,
    /// Standard uncertainty of the shift, mm.
    pub shift_sd_mm: f64,
    /// Of the tilt, degrees.
    pub tilt_sd_deg: f64,
    /// Of the stretch, per cent.
    pub stretch_sd_percent: f64,
}

/// A fault.
#[derive(Clone, Debug, Serialize)]
pub struct FaultSaid {
    /// Its name, which does not change.
    pub code: &'static str,
    /// `note`, `warning` or `serious`.
    pub severity: &'static str,
    /// Whether its pages are those of the file of backs.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub back_file: bool,
    /// The page where it is worst, from 1; null where it is the file's as a whole.
    pub page: Option<usize>,
    /// All pages that it is on.
    pub pages: Vec<usize>,
    /// The spot on that page: left, top, right, bottom, mm.
    pub area_mm: Option<[f64; 4]>,
    /// What is wrong.
    pub message: String,
    /// What to do.
    pub hint: String,
}

pub(super) fn said(
    request: &Request,
    looked: &[Looked],
    pairing: &Pairing,
    faults: Vec<Fault>,
) -> Inspection {
    let pages: Vec<PageSaid> = looked
        .iter()
        .enumerate()
        .flat_map(|(file, looked)| {
            let roles = if file == 0 {
                &pairing.roles
            } else {
                &pairing.back_roles
            };
            let figures = looked.looks.iter().zip(&looked.figures).zip(roles);
            figures.map(move |((look, figures), role)| page(&look.cells, figures, *role, file > 0))
        })
        .collect();
    let size_of = |front: usize| {
        looked
            .first()
            .and_then(|file| file.looks.get(front))
            .map_or(Size::new(1.0, 1.0), |look| look.cells.size)
    };
    let verdict = if looked.iter().any(|file| file.corrected) {
        "its backs were moved for a printer before, so that nothing tells whether the file was straight"
            .to_owned()
    } else {
        verdict(&pairing.pairs, &size_of)
    };
    let totals = totals(looked, pairing);
    Inspection {
        schema: 1,
        file: request.file.clone(),
        back_file: request.back_file.clone(),
        answer: answer(totals, pairing, &verdict, &faults),
        way: pairing.way.to_string(),
        confidence: pairing.confidence,
        evidence: pairing.evidence.clone(),
        verdict,
        totals,
        pages,
        pairs: pairing.pairs.iter().map(pair).collect(),
        faults: faults.into_iter().map(fault).collect(),
        cautions: looked
            .iter()
            .flat_map(|looked| looked.cautions.clone())
            .collect(),
    }
}

fn totals(looked: &[Looked], pairing: &Pairing) -> Totals {
    let Some(file) = looked.first() else {
        return Totals {
            cards: 0,
            sheets: 0,
            sides: 0,
        };
    };
    let on = |page: usize| -> usize {
        let grids = &file.looks[page].cells.grids;
        grids.iter().map(Grid::count).sum()
    };
    let mut totals = Totals {
        cards: 0,
        sheets: 0,
        sides: 0,
    };
    for (page, role) in pairing.roles.iter().enumerate() {
        match role {
            Role::Front => {
                totals.cards += on(page);
                totals.sheets += 1;
                totals.sides += 1;
                let has_back = pairing.pairs.iter().any(|pair| pair.front == page);
                totals.sides += usize::from(has_back);
            }
            Role::FoldOver => {
                totals.cards += on(page) / 2;
                totals.sheets += 1;
                totals.sides += 1;
            }
            Role::Back | Role::Other => {}
        }
    }
    totals
}

fn answer(totals: Totals, pairing: &Pairing, verdict: &str, faults: &[Fault]) -> String {
    if totals.sheets == 0 {
        return "No cards were found in this file: nothing regular lies on its pages.".into();
    }
    let way = match pairing.way {
        Way::Alternating => "front and back by turns",
        Way::FrontsThenBacks => "all fronts, then all backs",
        Way::BacksReversed => "all fronts, then all backs in reverse order",
        Way::OneBack => "one back for all fronts",
        Way::FoldOver => "fronts and backs on one side, to be folded",
        Way::SeparateFiles => "fronts and backs in two files",
        Way::OneSided => "fronts only",
    };
    let sure = if pairing.confidence < 0.75 {
        " (not sure: say --pairs)"
    } else {
        ""
    };
    let mut text = format!(
        "{} on {}, {}: {way}{sure}.",
        counted(totals.cards, "card"),
        counted(totals.sheets, "sheet"),
        counted(totals.sides, "side"),
    );
    if !matches!(pairing.way, Way::OneSided | Way::FoldOver) {
        text.push_str(&format!(" {}.", capital(verdict)));
    }
    let grave = faults
        .iter()
        .filter(|fault| fault.severity > Severity::Note)
        .count();
    if grave > 0 {
        text.push_str(&format!(
            " {} to look at before printing.",
            counted(grave, "fault")
        ));
    }
    text
}

fn xy(x: f64, y: f64) -> Xy {
    Xy { x, y }
}

fn page(cells: &PageCells, figures: &Figures, role: Role, back_file: bool) -> PageSaid {
    let mut grids = cells.grids.iter().map(grid);
    let [cyan, magenta, yellow, black] = figures.ink.map(|share| 100.0 * share);
    PageSaid {
        page: cells.page + 1,
        back_file,
        role: match role {
            Role::Front => "front",
            Role::Back => "back",
            Role::FoldOver => "fold_over",
            Role::Other => "other",
        },
        size_mm: xy(cells.size.w, cells.size.h),
        grid: grids.next(),
        grids: grids.collect(),
        fold_mm: cells
            .fold
            .map(|line| [line.from, line.to].map(|p| xy(p.x, p.y))),
        one_picture: cells.one_picture,
        ink_percent: InkSaid {
            cyan,
            magenta,
            yellow,
            black,
        },
        coarsest_ppi: figures.coarsest_ppi,
        smallest_text_pt: figures.smallest_text_pt,
    }
}

fn grid(grid: &Grid) -> GridSaid {
    GridSaid {
        columns: grid.columns,
        rows: grid.rows,
        trim_mm: xy(grid.trim.w, grid.trim.h),
        pitch_mm: xy(grid.pitch.x, grid.pitch.y),
        gutter_mm: xy(grid.pitch.x - grid.trim.w, grid.pitch.y - grid.trim.h),
        origin_mm: xy(grid.origin.x, grid.origin.y),
        rotation_deg: grid.rotation.to_degrees(),
        confidence: grid.confidence,
        place_sd_mm: grid.place_sd,
        pitch_sd_mm: grid.pitch_sd,
        trim_sd_mm: grid.trim_sd,
        found_by: grid
            .found_by
            .iter()
            .map(|evidence| match evidence {
                Evidence::TrimMarks => "trim_marks",
                Evidence::Lines => "lines",
                Evidence::Placements => "placements",
                Evidence::Pixels => "pixels",
            })
            .collect(),
        disagreement_mm: grid.disagreement,
        filled: grid.filled.clone(),
        bleed_mm: grid.bleed.map(|bleed| [bleed.least, bleed.usual]),
        corner_radius_mm: grid.corner_radius,
        nearest_card: nearest_card(grid.trim).map(|(card, scale)| NearestCard {
            name: card.name,
            scale,
        }),
    }
}

fn pair(pair: &Pair) -> PairSaid {
    PairSaid {
        front: pair.front + 1,
        back: pair.back + 1,
        flip: pair.flip,
        standing: pair.standing.map(|standing| match standing {
            Standing::HeadToHead => "head_to_head",
            Standing::HeadToFoot => "head_to_foot",
        }),
        confidence: pair.confidence,
        file_error: pair.file_error.as_ref().map(FileErrorSaid::from),
        flip_taken: pair.file_error.map(|error| error.flip),
        otherwise: pair.otherwise.as_ref().map(|error| Otherwise {
            flip: error.flip,
            file_error: FileErrorSaid::from(error),
        }),
    }
}

impl From<&FileError> for FileErrorSaid {
    fn from(error: &FileError) -> Self {
        Self {
            shift_mm: xy(error.shift.x, error.shift.y),
            tilt_deg: error.tilt.to_degrees(),
            stretch_percent: xy(100.0 * error.stretch[0], 100.0 * error.stretch[1]),
            shift_sd_mm: error.shift_sd,
            tilt_sd_deg: error.tilt_sd.to_degrees(),
            stretch_sd_percent: 100.0 * error.stretch_sd,
        }
    }
}

fn fault(fault: Fault) -> FaultSaid {
    FaultSaid {
        code: fault.code,
        severity: match fault.severity {
            Severity::Note => "note",
            Severity::Warning => "warning",
            Severity::Serious => "serious",
        },
        back_file: fault.back_file,
        page: fault.place.map(|place| place.page + 1),
        pages: fault.pages.iter().map(|page| page + 1).collect(),
        area_mm: fault
            .place
            .and_then(|place| place.area)
            .map(|area| [area.min.x, area.min.y, area.max.x, area.max.y]),
        message: fault.message,
        hint: fault.hint,
    }
}
