//! Correcting a file: which pages, by how much, and what came of it.

mod in_file;

use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

use serde::Serialize;
use tympan_pdf::raster::{Pages, View};
use tympan_pdf::{
    CorrectJob, Document, Duplex, Lost, Mark, Measure, PageOut, PageReport, Source, Way,
};
use tympan_sheet::{Affine, Flip, Page, Paper, Point, QuarterTurn, Size};
use tympan_store::{FlippedBy, SetUp, Store};

use crate::inspect::FileErrorSaid;
use crate::measure;
use crate::pages::{BackPages, Role};
use crate::plan::{self, Cause, Laying, PageIn, PagePlan, Place, as_page};
use crate::refusal::Refusal;
use crate::words::{OnBack, Units};

pub use tympan_pdf::Progress;
pub use tympan_register::Sides;

/// A correction that moves anything farther than this asks to be confirmed, mm.
pub const FARTHEST_UNASKED_MM: f64 = 25.0;

/// What the correction is made from.
#[derive(Clone, Debug, PartialEq)]
pub enum Asked {
    /// The readings of a set-up, by its name.
    SetUp(String),
    /// Where the backs were seen to lie, looking at the back.
    Seen(OnBack),
    /// What is to be done to the back pages, looking at them.
    Move(OnBack),
    /// Nothing is known of the printer: only the file's own error is taken out.
    FileOnly,
}

/// A correction as a user asks for it.
#[derive(Clone, Debug)]
pub struct Request {
    /// The files of the game, in order; or the fronts, where the backs are in a file of their own.
    pub inputs: Vec<PathBuf>,
    /// The backs, where they are in a file of their own: one page for each front, or one for all.
    pub back_file: Option<PathBuf>,
    /// The file to write. It must not exist.
    pub output: PathBuf,
    /// What the correction is made from.
    pub asked: Asked,
    /// Take out the error that the file itself has as well.
    pub and_file: bool,
    /// Which side is moved.
    pub on: Sides,
    /// Which pages of each file are backs.
    pub backs: BackPages,
    /// How the file means its backs, page against page.
    pub flip: Option<Flip>,
    /// The paper to put the pages on at true size.
    pub paper: Option<Paper>,
    /// Where on it.
    pub place: Place,
    /// Keep landscape pages landscape; the printing program turns them so.
    pub driver_turns: Option<QuarterTurn>,
    /// The files' password.
    pub password: Option<String>,
    /// Do it though something moves farther than [`FARTHEST_UNASKED_MM`].
    pub really: bool,
}

/// What was done.
#[derive(Clone, Debug, Serialize)]
pub struct Outcome {
    /// The version of this form.
    pub schema: u32,
    /// The file that was written.
    pub output: PathBuf,
    /// How it was written.
    pub way: Way,
    /// The set-up whose steady error was taken out, if one was named.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub setup: Option<String>,
    /// How the file's backs stand to its fronts, as it was taken.
    pub flip: Flip,
    /// The pages of the output, in order.
    pub pages: Vec<PageOutcome>,
    /// What should be known about the source files.
    pub cautions: Vec<String>,
}

/// What was done to one page.
#[derive(Clone, Debug, Serialize)]
pub struct PageOutcome {
    /// Its place in the output, from 1.
    pub page: usize,
    /// The file that it comes from.
    pub file: PathBuf,
    /// Its place there, from 1.
    pub source_page: usize,
    /// `front` or `back`.
    pub side: &'static str,
    /// Whether anything on it was moved.
    pub moved: bool,
    /// `[a, b, c, d, e, f]`: a point (x, y) in mm of the page as it was seen, from the top left
    /// corner, y down, goes to (a·x + c·y + e, b·x + d·y + f) of the page as it is seen now.
    pub matrix_mm: [f64; 6],
    /// The part of it that corrects, about the middle of the page: to the right and down, mm.
    pub shift_mm: [f64; 2],
    /// Clockwise as seen, degrees.
    pub tilt_deg: f64,
    /// Across and from top to bottom, per cent.
    pub stretch_percent: [f64; 2],
    /// The size of the page as seen now, mm.
    pub size_mm: [f64; 2],
    /// What the correction does, in words.
    pub in_words: String,
    /// What leaves the sheet or comes where the printer cannot print, in words.
    pub lost: Vec<String>,
    /// The file's own error that was looked for on this back, in the front frame.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub file_error: Option<FileErrorSaid>,
}

impl Outcome {
    /// What was done to the backs: the first moved one's in words.
    pub fn backs_in_words(&self) -> String {
        let moved = self.pages.iter().find(|page| page.moved);
        moved.map_or_else(|| "not moved".to_owned(), |page| page.in_words.clone())
    }

    /// What its user should know, once each: about the sources, and what is lost at the edges.
    pub fn worth_knowing(&self) -> Vec<String> {
        let mut said = self.cautions.clone();
        let lossy = self.pages.iter().filter(|page| !page.lost.is_empty());
        if let Some(page) = lossy.clone().next() {
            let others = match lossy.count() {
                1 => String::new(),
                n => format!(" (and on {} other pages)", n - 1),
            };
            said.push(format!(
                "On page {}{others}: {}.",
                page.page,
                page.lost.join("; ")
            ));
        }
        said
    }
}

/// One page of the output before anything is known of its map.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Item {
    /// Which file, from 0.
    pub(crate) source: usize,
    /// Which page of it, from 1.
    pub(crate) page: usize,
    pub(crate) size: Size,
    pub(crate) role: Role,
}

/// Corrects files.
///
/// # Errors
/// A [`Refusal`] where a file cannot be read or may not be changed, where its pages cannot be told
/// apart or do not fit the set-up, where the output exists, or where the work was cancelled. Then
/// nothing was written.
pub fn correct(
    store: Option<&Store>,
    request: &Request,
    progress: &mut dyn FnMut(Progress),
    cancel: &AtomicBool,
) -> Result<Outcome, Refusal> {
    refuse_existing(&request.output)?;
    let (cause, setup) = match &request.asked {
        Asked::Seen(seen) => (Cause::Seen(*seen), None),
        Asked::Move(moved) => (Cause::Move(*moved), None),
        Asked::FileOnly => (Cause::Move(OnBack::default()), None),
        Asked::SetUp(name) => {
            let store = store
                .ok_or_else(|| Refusal::new("there is no data folder", "give it with --data"))?;
            let setup = store.set_up_named(name)?;
            let field = measure::learn(store, &setup)?.fit.field();
            let (sheet, flip) = (setup.paper.size(), setup.flip);
            (Cause::SetUp { field, sheet, flip }, Some(setup))
        }
    };
    let Prepared {
        sources,
        documents,
        items,
        plans,
        flip,
        in_file,
    } = prepare(request, &cause, cancel)?;
    let before = documents.iter().find(|document| document.mark().corrected);
    let caution = match (before, &cause) {
        (Some(before), Cause::SetUp { .. }) if !request.really => {
            return Err(corrected_before(before.path()));
        }
        (Some(before), _) => Some(format!(
            "{} was corrected before; this comes on top of it",
            before.path().display()
        )),
        (None, _) => None,
    };
    let job = CorrectJob {
        mark: Mark {
            corrected: corrects(&cause),
            pass: None,
        },
        output: request.output.clone(),
        pages: outputs(&items, &plans),
        over: Vec::new(),
        duplex: duplex(setup.as_ref(), request, &items, &plans),
        measure: are_light(&sources).then(|| Measure {
            margins: margins(setup.as_ref()),
            ..Measure::default()
        }),
        sources,
    };
    let report = tympan_pdf::correct_opened(&job, documents, progress, cancel)?;
    Ok(Outcome {
        schema: 1,
        output: request.output.clone(),
        way: report.way,
        setup: setup.map(|setup| setup.name),
        flip,
        pages: items
            .iter()
            .zip(&plans)
            .zip(&report.pages)
            .enumerate()
            .map(|(i, ((item, plan), page))| {
                let error = in_file.as_ref().and_then(|found| found.errors[i].as_ref());
                PageOutcome {
                    file_error: error.map(FileErrorSaid::from),
                    ..told(i + 1, &job.sources[item.source].file, item, plan, page)
                }
            })
            .collect(),
        cautions: report
            .cautions
            .iter()
            .map(|(_, caution)| caution.to_string())
            .chain(in_file.iter().flat_map(|found| found.cautions.clone()))
            .chain(caution)
            .collect(),
    })
}

/// Whether anything that a printer does is taken out.
fn corrects(cause: &Cause) -> bool {
    match cause {
        Cause::SetUp { .. } => true,
        Cause::Seen(on_back) | Cause::Move(on_back) => *on_back != OnBack::default(),
    }
}

/// Why a file is not corrected for a set-up once more.
pub(crate) fn corrected_before(file: &Path) -> Refusal {
    Refusal::new(
        format!(
            "{} was corrected before: corrected twice, its backs land wrong",
            file.display()
        ),
        "give the file as it was; or print this one as it is, if it was corrected for this set-up \
         (run --as-is)",
    )
}

/// The files of a request, opened, and what is to become of each of their pages.
pub(crate) struct Prepared {
    pub(crate) sources: Vec<Source>,
    pub(crate) documents: Vec<Document>,
    pub(crate) items: Vec<Item>,
    pub(crate) plans: Vec<PagePlan>,
    pub(crate) flip: Flip,
    in_file: Option<in_file::InFile>,
}

/// Opens the files of a request and plans all their pages, from `cause` and not from what the
/// request itself names.
pub(crate) fn prepare(
    request: &Request,
    cause: &Cause,
    cancel: &AtomicBool,
) -> Result<Prepared, Refusal> {
    let sources = sources(request);
    let documents = sources
        .iter()
        .map(|source| Document::open(&source.file, source.password.as_deref()))
        .collect::<Result<Vec<_>, _>>()?;
    let items = items(request, &documents)?;
    let flip = file_flip(request, cause, &items);
    let laying = Laying {
        page_flip: request.flip,
        paper: request.paper.as_ref().map(Paper::size),
        place: request.place,
        driver_turns: request.driver_turns,
    };
    let pages = pages_in(&items, &sources, request.place)?;
    let mut plans = plan::plan(&pages, cause, request.on, &laying)?;
    let mut in_file = None;
    if request.and_file {
        let files: Vec<&PathBuf> = sources.iter().map(|source| &source.file).collect();
        let password = request.password.as_deref();
        let asked = request.flip.is_some();
        let found = in_file::find(&files, password, &items, flip, asked, cancel)?;
        for ((plan, error), item) in plans.iter_mut().zip(&found.errors).zip(&items) {
            if let Some(error) = error {
                *plan = in_file::take_out(plan, error, item.size)?;
            }
        }
        in_file = Some(found);
    }
    refuse_far(&plans, request.really)?;
    Ok(Prepared {
        sources,
        documents,
        items,
        plans,
        flip,
        in_file,
    })
}

fn told(
    number: usize,
    file: &Path,
    item: &Item,
    plan: &PagePlan,
    report: &PageReport,
) -> PageOutcome {
    let PagePlan {
        map: m,
        correction,
        size,
        ..
    } = *plan;
    let parts = correction.decompose();
    let shift = correction.displacement(size.centre());
    PageOutcome {
        page: number,
        file: file.to_path_buf(),
        source_page: item.page,
        side: if matches!(item.role, Role::Back { .. }) {
            "back"
        } else {
            "front"
        },
        moved: report.moved,
        matrix_mm: [m.xx, m.yx, m.xy, m.yy, m.dx, m.dy],
        shift_mm: [shift.x, shift.y],
        tilt_deg: parts.tilt.to_degrees(),
        stretch_percent: [100.0 * parts.stretch_x, 100.0 * parts.stretch_y],
        size_mm: [size.w, size.h],
        in_words: move_in_words(&correction, size),
        lost: report.lost.as_ref().map(lost_in_words).unwrap_or_default(),
        file_error: None,
    }
}

/// The output must be a new file; said before any long work.
pub(crate) fn refuse_existing(output: &Path) -> Result<(), Refusal> {
    if output.exists() {
        return Err(Refusal::new(
            format!("{} already exists", output.display()),
            "choose another name, or remove the old file first",
        ));
    }
    Ok(())
}

fn sources(request: &Request) -> Vec<Source> {
    let files = request.inputs.iter().chain(&request.back_file);
    files
        .map(|file| Source {
            file: file.clone(),
            password: request.password.clone(),
        })
        .collect()
}

fn items(request: &Request, documents: &[Document]) -> Result<Vec<Item>, Refusal> {
    let mut sizes = Vec::new();
    for document in documents {
        let pages = document.pages()?;
        sizes.push(pages.iter().map(|page| page.size).collect::<Vec<_>>());
    }
    items_of(&sizes, &request.backs, request.back_file.is_some())
}

/// All pages of the output in order: as in the files, or front and back by turns where the backs
/// are in a file of their own, which is then the last.
pub(crate) fn items_of(
    sizes: &[Vec<Size>],
    backs: &BackPages,
    has_back_file: bool,
) -> Result<Vec<Item>, Refusal> {
    if has_back_file {
        return with_back_file(sizes);
    }
    let mut items = Vec::new();
    for (source, sizes) in sizes.iter().enumerate() {
        let before = items.len();
        for (i, role) in backs.roles(sizes.len())?.into_iter().enumerate() {
            let role = match role {
                Role::Front { back } => Role::Front {
                    back: back.map(|b| b + before),
                },
                Role::Back { front } => Role::Back {
                    front: front.map(|f| f + before),
                },
            };
            items.push(Item {
                source,
                page: i + 1,
                size: sizes[i],
                role,
            });
        }
    }
    Ok(items)
}

fn with_back_file(sizes: &[Vec<Size>]) -> Result<Vec<Item>, Refusal> {
    let Some((back_sizes, front_sizes)) = sizes.split_last() else {
        return Ok(Vec::new());
    };
    let fronts: Vec<(usize, usize, Size)> = front_sizes
        .iter()
        .enumerate()
        .flat_map(|(s, sizes)| {
            sizes
                .iter()
                .enumerate()
                .map(move |(i, size)| (s, i + 1, *size))
        })
        .collect();
    if back_sizes.len() != 1 && back_sizes.len() != fronts.len() {
        return Err(Refusal::new(
            format!(
                "{} fronts do not pair with {} backs",
                fronts.len(),
                back_sizes.len()
            ),
            "give one back page for each front page, or a single page that is the back of all",
        ));
    }
    let mut items = Vec::new();
    for (i, (source, page, size)) in fronts.into_iter().enumerate() {
        let here = items.len();
        items.push(Item {
            source,
            page,
            size,
            role: Role::Front {
                back: Some(here + 1),
            },
        });
        let back = if back_sizes.len() == 1 { 0 } else { i };
        items.push(Item {
            source: sizes.len() - 1,
            page: back + 1,
            size: back_sizes[back],
            role: Role::Back { front: Some(here) },
        });
    }
    Ok(items)
}

fn file_flip(request: &Request, cause: &Cause, items: &[Item]) -> Flip {
    let landscape = items.first().is_some_and(|item| item.size.is_landscape());
    match (request.flip, cause) {
        (Some(flip), _) => flip,
        (None, Cause::SetUp { flip, .. }) if !landscape => *flip,
        _ => Flip::Sideways,
    }
}

fn pages_in(items: &[Item], sources: &[Source], place: Place) -> Result<Vec<PageIn>, Refusal> {
    let mut open: Vec<Option<Pages>> = sources.iter().map(|_| None).collect();
    items
        .iter()
        .map(|item| {
            let marks_centre = if place == Place::Marks {
                let source = &sources[item.source];
                if open[item.source].is_none() {
                    open[item.source] =
                        Some(Pages::read(&source.file, source.password.as_deref())?);
                }
                match &open[item.source] {
                    Some(pages) => printed_centre(pages, item.page - 1)?,
                    None => None,
                }
            } else {
                None
            };
            Ok(PageIn {
                size: item.size,
                role: item.role,
                marks_centre,
            })
        })
        .collect()
}

/// The middle of all that is printed on a page (counted from 0); `None` for a blank page.
fn printed_centre(pages: &Pages, page: usize) -> Result<Option<Point<Page>>, Refusal> {
    let bounds = printed_bounds(pages, page)?;
    Ok(bounds.map(|[x0, y0, x1, y1]| Point::new((x0 + x1) / 2.0, (y0 + y1) / 2.0)))
}

/// All that is printed on a page (counted from 0): left, top, right and bottom in mm, from a
/// picture of it at 4 pixels per mm. `None` for a blank page.
fn printed_bounds(pages: &Pages, page: usize) -> Result<Option<[f64; 4]>, Refusal> {
    const PX_PER_MM: f64 = 4.0;
    /// Lighter than this is bare paper.
    const WHITE: u8 = 250;
    let picture = pages.grey(page, &View::whole(PX_PER_MM))?;
    let mut bounds: Option<[u32; 4]> = None;
    for (x, y, pixel) in picture.enumerate_pixels() {
        if pixel.0[0] < WHITE {
            let [x0, y0, x1, y1] = bounds.unwrap_or([x, y, x + 1, y + 1]);
            bounds = Some([x0.min(x), y0.min(y), x1.max(x + 1), y1.max(y + 1)]);
        }
    }
    Ok(bounds.map(|edges| edges.map(|px| f64::from(px) / PX_PER_MM)))
}

fn refuse_far(plans: &[PagePlan], really: bool) -> Result<(), Refusal> {
    let farthest = plans
        .iter()
        .map(|p| plan::farthest(&p.correction, p.size))
        .fold(0.0, f64::max);
    if farthest > FARTHEST_UNASKED_MM && !really {
        return Err(Refusal::new(
            format!("this correction moves parts of the page by {farthest:.0} mm"),
            "check the numbers and their units; if it is meant, say --yes-really",
        ));
    }
    Ok(())
}

pub(crate) fn outputs(items: &[Item], plans: &[PagePlan]) -> Vec<PageOut> {
    items
        .iter()
        .zip(plans)
        .map(|(item, plan)| PageOut {
            source: item.source,
            page: item.page,
            map: plan.map,
            size: (!plan.size.is_close(item.size, 0.01) || plan.turn != QuarterTurn::Upright)
                .then_some(plan.size),
        })
        .collect()
}

/// What the print dialog is told: one side at a time where the stack is flipped by hand; the edge
/// where the machine flips and fronts and backs come by turns.
fn duplex(
    setup: Option<&SetUp>,
    request: &Request,
    items: &[Item],
    plans: &[PagePlan],
) -> Option<Duplex> {
    let setup = setup?;
    if setup.flipped_by == FlippedBy::Hand {
        return Some(Duplex::Simplex);
    }
    let by_turns = items.len().is_multiple_of(2)
        && items.chunks(2).all(|pair| {
            matches!(
                pair,
                [
                    Item {
                        role: Role::Front { .. },
                        ..
                    },
                    Item {
                        role: Role::Back { .. },
                        ..
                    }
                ]
            )
        });
    let size = plans.first()?.size;
    let flip = if request.driver_turns.is_some() {
        request.flip?
    } else {
        setup.flip
    };
    by_turns.then(|| match flip.edge(size) {
        tympan_sheet::BindingEdge::Long => Duplex::LongEdge,
        tympan_sheet::BindingEdge::Short => Duplex::ShortEdge,
    })
}

/// Whether the files are small enough to be looked at for what their pages lose: a courtesy that a
/// large job must not wait for.
pub(crate) fn are_light(sources: &[Source]) -> bool {
    const HEAVY: u64 = 64 << 20;
    let size = |source: &Source| std::fs::metadata(&source.file).map_or(0, |about| about.len());
    sources.iter().map(size).sum::<u64>() < HEAVY
}

/// Where the printer cannot print: the set-up's own margins, or the usual ones.
pub(crate) fn margins(setup: Option<&SetUp>) -> [f64; 4] {
    match setup.and_then(|setup| setup.unprintable) {
        Some(u) => [u.top, u.right, u.bottom, u.left],
        None => Measure::default().margins,
    }
}

/// What a page loses, in words; nothing where nothing is lost.
fn lost_in_words(lost: &Lost) -> Vec<String> {
    let edges = ["top", "right", "bottom", "left"]
        .iter()
        .zip(lost.beyond_mm);
    let beyond: Vec<String> = edges
        .filter(|(_, mm)| *mm > 0.0)
        .map(|(edge, mm)| format!("{mm:.1} mm at the {edge}"))
        .collect();
    let mut said = Vec::new();
    let mut add = |mm2: f64, what: &str| {
        if mm2 > 0.0 {
            said.push(format!(
                "{mm2:.0} mm² of print {what} ({})",
                beyond.join(", ")
            ));
        }
    };
    add(lost.off_sheet_mm2, "leave the sheet");
    add(lost.in_margin_mm2, "come where the printer cannot print");
    said
}

/// The correction of the backs of a sheet of this size in words, as it is done to the page.
pub fn move_in_words(correction: &Affine<Page>, size: Size) -> String {
    move_in_words_in(Units::Mm, correction, size)
}

/// The same in these units.
pub fn move_in_words_in(units: Units, correction: &Affine<Page>, size: Size) -> String {
    let shift = correction.displacement(size.centre());
    let parts = correction.decompose();
    let mut said = Vec::new();
    let mut add = |value: f64, unit: &str, decimals: usize, plus: &str, minus: &str| {
        let text = format!("{:.decimals$}", value.abs());
        if text.parse::<f64>().is_ok_and(|rounded| rounded > 0.0) {
            said.push(format!(
                "{text}{unit} {}",
                if value > 0.0 { plus } else { minus }
            ));
        }
    };
    let (unit, decimals) = (units.name(), units.decimals());
    let unit = format!(" {unit}");
    add(units.of_mm(shift.y), &unit, decimals, "down", "up");
    add(
        units.of_mm(shift.x),
        &unit,
        decimals,
        "to the right",
        "to the left",
    );
    add(
        parts.tilt.to_degrees(),
        "°",
        3,
        "clockwise",
        "anticlockwise",
    );
    add(100.0 * parts.stretch_x, " %", 3, "wider", "narrower");
    add(100.0 * parts.stretch_y, " %", 3, "taller", "shorter");
    if said.is_empty() {
        "not moved".to_owned()
    } else {
        said.join(", ")
    }
}
