//! The pages of a job as sheets, and the files that print some of them.

use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;
use std::time::Duration;

use tympan_pdf::contents::{Contents, Extent, Kind, Limits, Paint, without_pictures};
use tympan_pdf::draw;
use tympan_pdf::{CorrectJob, Duplex, Mark, Over, PageOut, PassMark, Progress, Source};
use tympan_press::loads::Pass;
use tympan_press::waste::{self, Place};
use tympan_sheet::drawing::Drawing;
use tympan_sheet::{BindingEdge, Page, Rect, Side, Size};
use tympan_store::SetUp;

use super::work::Work;
use crate::correct::{self, Prepared};
use crate::pages::Role;
use crate::plan::Cause;
use crate::refusal::Refusal;

/// Boxes around all that is printed.
type Boxes = Vec<Rect<Page>>;

/// How long one page is looked at for free places.
const LOOK_AT_MOST: Duration = Duration::from_secs(2);

/// What a pass is printed for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Purpose {
    /// To see whether all is right, before the run.
    MakeReady,
    /// The run's own sheets.
    Run,
    /// Sheets that are printed once more.
    Again,
}

/// What is noted in the file of a pass.
#[derive(Clone, Copy, Debug)]
pub(super) struct Noted<'a> {
    /// The run's name in the store.
    pub(super) run: &'a str,
    pub(super) purpose: Purpose,
    /// Whether the run takes out what the printer errs.
    pub(super) corrected: bool,
}

impl Noted<'_> {
    /// What stands in the waste of a sheet.
    fn label(&self, sheet: u32) -> String {
        match self.purpose {
            Purpose::MakeReady => "make-ready".to_owned(),
            Purpose::Run | Purpose::Again => sheet.to_string(),
        }
    }

    fn mark(&self, pass: &Pass) -> Mark {
        Mark {
            corrected: self.corrected,
            pass: Some(PassMark {
                run: self.run.to_owned(),
                side: pass.side,
                sheets: match self.purpose {
                    Purpose::MakeReady => Vec::new(),
                    Purpose::Run | Purpose::Again => pass.sheets.clone(),
                },
                again: self.purpose == Purpose::Again,
            }),
        }
    }
}

/// A job, ready to be written sheet by sheet.
pub(super) struct Job {
    pub(super) setup: SetUp,
    /// The sheet as the pages of both sides lie on it.
    pub(super) sheet: Size,
    sources: Vec<Source>,
    outputs: Vec<PageOut>,
    /// The pages of the sheets of one copy: front and back; a side without a page stays blank.
    pub(super) sheets: Vec<[Option<usize>; 2]>,
    /// Where numbers stand: on the fronts, on the backs.
    places: [Option<Place>; 2],
    /// A file that was corrected before.
    pub(super) corrected_before: Option<PathBuf>,
    /// What its user should know.
    pub(super) cautions: Vec<String>,
}

impl Job {
    pub(super) fn open(
        setup: &SetUp,
        work: &Work,
        password: Option<&str>,
        cancel: &AtomicBool,
    ) -> Result<Self, Refusal> {
        let cause = Cause::SetUp {
            field: work.field(),
            sheet: setup.paper.size(),
            flip: setup.flip,
        };
        let request = work.correction(password)?;
        let prepared = correct::prepare(&request, &cause, cancel)?;
        let sheets = sheets(&prepared);
        let mut job = Self {
            setup: setup.clone(),
            sheet: setup.paper.size(),
            outputs: correct::outputs(&prepared.items, &prepared.plans),
            sheets,
            places: [None, None],
            corrected_before: prepared
                .documents
                .iter()
                .find(|document| document.mark().corrected)
                .map(|document| document.path().to_path_buf()),
            cautions: Vec::new(),
            sources: prepared.sources,
        };
        let said = prepared.documents.iter().flat_map(|d| d.cautions());
        job.cautions.extend(said.map(|caution| caution.to_string()));
        if work.numbers {
            job.find_places(cancel);
        }
        Ok(job)
    }

    /// The page of one side of a sheet of the run, counted from 1.
    fn page(&self, sheet: u32, side: Side) -> Option<PageOut> {
        let sheets = self.sheets.len();
        let at = (sheet.max(1) as usize - 1) % sheets.max(1);
        let pair = self.sheets.get(at)?;
        let page = match side {
            Side::Front => pair[0],
            Side::Back => pair[1],
        };
        page.map(|page| self.outputs[page])
    }

    /// Whether its files are small enough to be looked through for a courtesy.
    pub(super) fn is_light(&self) -> bool {
        correct::are_light(&self.sources)
    }

    /// Whether a side has anything to print at all.
    pub(super) fn has(&self, side: Side) -> bool {
        let at = usize::from(side == Side::Back);
        self.sheets.iter().any(|pair| pair[at].is_some())
    }

    /// Whether all sheets have the same page on this side.
    pub(super) fn is_common(&self, side: Side) -> bool {
        let at = usize::from(side == Side::Back);
        let mut pages = self
            .sheets
            .iter()
            .map(|pair| pair[at].map(|page| (self.outputs[page].source, self.outputs[page].page)));
        let first = pages.next().flatten();
        first.is_some() && self.sheets.len() > 1 && pages.all(|page| page == first)
    }

    fn find_places(&mut self, cancel: &AtomicBool) {
        let mut known: Vec<(usize, usize, Option<Boxes>)> = Vec::new();
        let mut bare: Vec<Option<_>> = self.sources.iter().map(|_| None).collect();
        let margins = correct::margins(Some(&self.setup));
        for side in Side::BOTH {
            let at = usize::from(side == Side::Back);
            let mut ink = Some(Vec::new());
            for page in self.sheets.iter().filter_map(|pair| pair[at]) {
                let out = self.outputs[page];
                let is_it = |k: &&(usize, usize, _)| (k.0, k.1) == (out.source, out.page);
                if !known.iter().any(|k| is_it(&k)) {
                    let source = &self.sources[out.source];
                    let pages = bare[out.source].get_or_insert_with(|| {
                        without_pictures(&source.file, source.password.as_deref()).ok()
                    });
                    let limits = Limits {
                        elements: 20_000,
                        time: LOOK_AT_MOST,
                        cancel: Some(cancel),
                    };
                    let seen = pages
                        .as_ref()
                        .and_then(|pages| pages.contents(out.page - 1, &limits).ok());
                    known.push((out.source, out.page, seen.as_ref().and_then(printed)));
                }
                let found = known.iter().find(is_it).and_then(|k| k.2.as_ref());
                ink = match (ink, found) {
                    (Some(mut ink), Some(found)) => {
                        ink.extend(found.iter().map(|rect| moved(*rect, &out)));
                        Some(ink)
                    }
                    _ => None,
                };
            }
            // Both sides go through the printer in the same orientation of their pages.
            self.places[at] = ink.and_then(|ink| waste::place(self.sheet, margins, &ink));
        }
        let missing: Vec<&str> = Side::BOTH
            .into_iter()
            .zip(self.places)
            .filter(|(side, place)| place.is_none() && self.has(*side))
            .map(|(side, _)| {
                if side == Side::Front {
                    "fronts"
                } else {
                    "backs"
                }
            })
            .collect();
        if !missing.is_empty() {
            self.cautions.push(format!(
                "The {} have no room in the waste for sheet numbers: keep the pile in its order with \
                 care.",
                missing.join(" and the ")
            ));
        }
    }

    /// Writes the file that prints a pass.
    pub(super) fn write(
        &self,
        pass: &Pass,
        noted: Noted<'_>,
        file: &Path,
        progress: &mut dyn FnMut(Progress),
        cancel: &AtomicBool,
    ) -> Result<(), Refusal> {
        let sides: Vec<Side> = pass.side.map_or(Side::BOTH.to_vec(), |side| vec![side]);
        let of = |&sheet: &u32| sides.clone().into_iter().map(move |side| (sheet, side));
        let faces: Vec<(u32, Side)> = pass.sheets.iter().flat_map(of).collect();
        let marks: Vec<Drawing> = faces
            .iter()
            .map(
                |&(sheet, side)| match &self.places[usize::from(side == Side::Back)] {
                    Some(place) => waste::mark(self.sheet, place, &noted.label(sheet), side),
                    None => Drawing::new(self.sheet),
                },
            )
            .collect();
        let title = format!(
            "{}, {}",
            self.setup.name,
            file.file_stem().unwrap_or_default().display()
        );
        let duplex = match pass.side {
            Some(_) => Duplex::Simplex,
            None => match self.setup.flip.edge(self.sheet) {
                BindingEdge::Long => Duplex::LongEdge,
                BindingEdge::Short => Duplex::ShortEdge,
            },
        };
        let drawn = draw::write(&marks, &draw::Meta::new(title).duplex(duplex))?;
        // The marks are the file that all else is brought into: of the job's own files nothing
        // comes along but what these pages use.
        let marks_file = tempfile::Builder::new()
            .suffix(".pdf")
            .tempfile()
            .map_err(|e| Refusal::file("write", file, &e))?;
        std::fs::write(marks_file.path(), drawn).map_err(|e| Refusal::file("write", file, &e))?;
        let mut sources = vec![Source {
            file: marks_file.path().to_path_buf(),
            password: None,
        }];
        sources.extend(self.sources.iter().cloned());
        let (mut pages, mut over) = (Vec::new(), Vec::new());
        for (on, &(sheet, side)) in faces.iter().enumerate() {
            let Some(page) = self.page(sheet, side) else {
                pages.push(PageOut::untouched(0, on + 1));
                continue;
            };
            pages.push(PageOut {
                source: page.source + 1,
                ..page
            });
            if self.places[usize::from(side == Side::Back)].is_some() {
                over.push(Over {
                    on,
                    source: 0,
                    page: on + 1,
                });
            }
        }
        let job = CorrectJob {
            sources,
            output: file.to_path_buf(),
            pages,
            over,
            duplex: Some(duplex),
            measure: None,
            mark: noted.mark(pass),
        };
        tympan_pdf::correct(&job, progress, cancel)?;
        Ok(())
    }
}

/// The sheets of one copy: each front with its back, then backs that no front has.
fn sheets(prepared: &Prepared) -> Vec<[Option<usize>; 2]> {
    let items = &prepared.items;
    let mut has_front = vec![false; items.len()];
    for item in items {
        if let Role::Front { back: Some(back) } = item.role {
            has_front[back] = true;
        }
    }
    let pair = |(i, item): (usize, &correct::Item)| match item.role {
        Role::Front { back } => Some([Some(i), back]),
        Role::Back { .. } if !has_front[i] => Some([None, Some(i)]),
        Role::Back { .. } => None,
    };
    items.iter().enumerate().filter_map(pair).collect()
}

/// All that is printed on a page, as boxes; `None` where it cannot be told. White areas count as
/// bare: number on them is seen.
fn printed(contents: &Contents) -> Option<Boxes> {
    const WHITE: u8 = 250;
    if contents.extent != Extent::Whole {
        return None;
    }
    let is_white = |paint: &Paint| match paint {
        Paint::Solid(colour) => colour.rgb.iter().all(|&part| part >= WHITE),
        Paint::Pattern => false,
    };
    let inked = contents
        .elements
        .iter()
        .filter(|element| match &element.kind {
            Kind::Fill { paint, .. } | Kind::Stroke { paint, .. } => !is_white(paint),
            Kind::Text(text) => !is_white(&text.paint),
            Kind::Picture(_) => true,
        });
    Some(inked.filter_map(|element| contents.seen(element)).collect())
}

fn moved(rect: Rect<Page>, out: &PageOut) -> Rect<Page> {
    let corners = rect.corners().map(|corner| out.map.apply(corner));
    let (mut min, mut max) = (corners[0], corners[0]);
    for corner in corners {
        min.x = min.x.min(corner.x);
        min.y = min.y.min(corner.y);
        max.x = max.x.max(corner.x);
        max.y = max.y.max(corner.y);
    }
    Rect { min, max }
}
