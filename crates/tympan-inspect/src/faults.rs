//! What else will bite: faults of pages, of pairs and of the file, each with its place and a
//! remedy.
//!
//! Pages are looked at one by one, so that a long file needs no more memory than a short one; what
//! is found on them is then gathered, one fault of each kind with all its pages. The thresholds
//! and their sources are in `docs/inspect.md`.

mod cards;
mod content;
mod ink;
mod paper;
mod sides;

use image::RgbImage;
use tympan_pdf::contents::Contents;
use tympan_sheet::{Page, Rect, Size};

use crate::findings::{Fault, PageCells, Place, Severity};

pub use cards::{CardEdges, of_cards};
pub use sides::of_pairs;

/// Margins where the printer's own are not known, mm: the usual 1/6 inch (common practice).
pub const USUAL_MARGIN_MM: f64 = 4.2;

/// What the file is to be printed on, as far as that is known.
#[derive(Clone, Copy, Debug)]
pub struct Print {
    /// The sheet.
    pub paper: Option<Size>,
    /// Where the printer cannot print, from the top, right, bottom and left edge, mm.
    pub margins: [f64; 4],
}

impl Default for Print {
    fn default() -> Self {
        Self {
            paper: None,
            margins: [USUAL_MARGIN_MM; 4],
        }
    }
}

/// What becomes of cards on a set-up, after correction.
#[derive(Clone, Copy)]
pub struct Expect<'a> {
    /// The bleed that keeps 19 of 20 cards free of white, mm.
    pub bleed_mm: f64,
    /// The share of cards whose border of this width, mm, looks lopsided.
    pub lopsided: &'a dyn Fn(f64) -> f64,
}

impl std::fmt::Debug for Expect<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Expect")
            .field("bleed_mm", &self.bleed_mm)
            .finish_non_exhaustive()
    }
}

/// A page as it is looked at for faults.
#[derive(Clone, Copy, Debug)]
pub struct PageView<'a> {
    /// Where its cards are.
    pub cells: &'a PageCells,
    /// What it holds.
    pub contents: &'a Contents,
    /// A picture of it.
    pub picture: &'a RgbImage,
    /// The picture's sharpness; 4 is enough.
    pub px_per_mm: f64,
}

/// What was measured on a page.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Figures {
    /// The share of the page covered with cyan, magenta, yellow and black, each weighted by its
    /// amount, 0 to 1: of colours that the file states in four inks as it states them, of all else
    /// as it is shown, its grey part as black.
    pub ink: [f64; 4],
    /// The lowest resolution of a picture as placed, pixels per inch.
    pub coarsest_ppi: Option<f64>,
    /// The smallest text as placed, points.
    pub smallest_text_pt: Option<f64>,
}

/// One fault on one page.
#[derive(Clone, Debug)]
pub struct Found {
    code: &'static str,
    severity: Severity,
    page: usize,
    area: Option<Rect<Page>>,
    /// How bad it is among those of its kind.
    badness: f64,
    message: String,
    hint: &'static str,
}

/// All that one page says.
#[derive(Clone, Debug)]
pub struct Seen {
    /// Its faults.
    pub found: Vec<Found>,
    /// What was measured.
    pub figures: Figures,
    /// Its cards, which can be judged when all pages have been seen; see [`of_cards`].
    pub cards: Vec<CardEdges>,
}

/// Looks at one page.
pub fn of_page(view: &PageView<'_>, print: &Print) -> Seen {
    let mut found = Vec::new();
    let mut figures = Figures {
        ink: ink::coverage(view),
        ..Figures::default()
    };
    paper::check(view, print, &mut found);
    let cards = cards::check(view, &mut found);
    content::check(view, &mut figures, &mut found);
    ink::check(view, &mut found);
    Seen {
        found,
        figures,
        cards,
    }
}

/// Gathers what was found on the pages: one fault of each kind, the gravest first.
pub fn gather(found: Vec<Found>) -> Vec<Fault> {
    let mut faults: Vec<(Fault, f64)> = Vec::new();
    for one in found {
        let place = Place {
            page: one.page,
            area: one.area,
        };
        match faults.iter_mut().find(|(fault, _)| fault.code == one.code) {
            None => {
                let fault = Fault {
                    code: one.code,
                    severity: one.severity,
                    back_file: false,
                    pages: vec![one.page],
                    place: Some(place),
                    message: one.message,
                    hint: one.hint.to_owned(),
                };
                faults.push((fault, one.badness));
            }
            Some((fault, badness)) => {
                if !fault.pages.contains(&one.page) {
                    fault.pages.push(one.page);
                }
                if (one.severity, one.badness) > (fault.severity, *badness) {
                    fault.severity = one.severity;
                    fault.place = Some(place);
                    fault.message = one.message;
                    fault.hint = one.hint.to_owned();
                    *badness = one.badness;
                }
            }
        }
    }
    let mut faults: Vec<Fault> = faults.into_iter().map(|(fault, _)| fault).collect();
    sort(&mut faults);
    faults
}

/// The gravest first, then by page.
pub fn sort(faults: &mut [Fault]) {
    for fault in faults.iter_mut() {
        fault.pages.sort_unstable();
    }
    faults.sort_by(|a, b| {
        b.severity
            .cmp(&a.severity)
            .then_with(|| a.back_file.cmp(&b.back_file))
            .then_with(|| a.pages.cmp(&b.pages))
    });
}
