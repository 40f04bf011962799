//! From a job to the plans that serve it best.

use std::sync::atomic::AtomicBool;

use tympan_inspect::faults::USUAL_MARGIN_MM;
use tympan_layout::{
    ArtId, Edge, FoldOver, Job as LayoutJob, Margins, Measured, Method, Piece, Plan, PreCut,
    Quality, Sheet,
};
use tympan_register::{Basis, Cutting, Field, NextSheet};
use tympan_sheet::{Flip, Front, Length, Paper, Point, Size};
use tympan_store::{SetUp, Store};

use super::gather::{self, Gathered};
use super::job::{CutBy, Job, Order, ShapeAsked};
use super::known::Known;
use super::problem::{self, Problem};
use super::{Doing, Progress, sheets, stock_sheet};
use crate::inspect::CUT_TOLERANCE_MM;
use crate::measure::{self, Learnt};
use crate::refusal::Refusal;

/// Bleed where none is said, mm (common practice).
const USUAL_BLEED_MM: f64 = 3.0;
/// The bend of a fold takes up so much, mm (common practice for card of 0.3 mm).
const FOLD_ALLOWANCE_MM: f64 = 1.0;
/// The scatter of a printer that was not measured: the medians of the priors that measuring starts
/// from, mm across, mm along the feed, and degrees (common practice, no published source).
const USUAL_SCATTER: (f64, f64, f64) = (0.20, 0.30, 0.05);
/// Plans that are told.
const MOST_PLANS: usize = 6;

/// A job with its best plans.
pub(super) struct Planned {
    pub(super) found: Gathered,
    pub(super) setup: Option<(SetUp, Option<Learnt>)>,
    pub(super) paper: Paper,
    pub(super) flip: Flip,
    /// The best first, each with the gutter that it was made for, mm.
    pub(super) plans: Vec<(Plan, f64)>,
    /// Whether each has room for witness marks, where they are asked for.
    pub(super) witness_room: Vec<bool>,
    pub(super) cautions: Vec<String>,
}

impl Planned {
    pub(super) fn learnt(&self) -> Option<(&SetUp, &Learnt)> {
        let (setup, learnt) = self.setup.as_ref()?;
        Some((setup, learnt.as_ref()?))
    }

    /// Which of the plans the job asks for, from 0.
    ///
    /// # Errors
    /// A [`Refusal`] where there are not so many.
    pub(super) fn chosen(&self, job: &Job) -> Result<usize, Refusal> {
        let number = job.plan.unwrap_or(1);
        let index = number.checked_sub(1).filter(|i| *i < self.plans.len());
        index.ok_or_else(|| {
            let count = self.plans.len();
            let message = format!("there is no plan {number}: there are {count}");
            Refusal::new(message, "--show tells them")
        })
    }
}

/// Why a job has no plan: all that is in the way, and what was found all the same.
pub(super) struct Stuck {
    pub(super) found: Box<Gathered>,
    pub(super) cautions: Vec<String>,
    pub(super) problems: Vec<Problem>,
}

impl From<Refusal> for Stuck {
    fn from(refusal: Refusal) -> Self {
        Self {
            found: Box::default(),
            cautions: Vec::new(),
            problems: vec![Problem::refused("", refusal)],
        }
    }
}

impl From<Stuck> for Refusal {
    fn from(stuck: Stuck) -> Self {
        problem::refusal(&stuck.problems)
    }
}

pub(super) fn plan(
    store: Option<&Store>,
    job: &Job,
    known: &mut Known,
    progress: &mut dyn FnMut(Progress),
    cancel: &AtomicBool,
) -> Result<Planned, Stuck> {
    let mut cautions = Vec::new();
    let stock = match &job.stock_sheet {
        Some(asked) => Some(stock_sheet::find(asked, job.stock_sheets.as_ref())?),
        None => None,
    };
    let job = &on_stock(job, stock.as_ref());
    let setup = set_up(store, job, &mut cautions)?;
    let of_setup = setup.as_ref().map(|(setup, _)| setup);
    let flip = job
        .flip
        .or(of_setup.map(|setup| setup.flip))
        .unwrap_or(Flip::Sideways);
    let mut looked = |at: crate::inspect::Progress| {
        progress(Progress {
            doing: Doing::Looking,
            done: at.done,
            total: at.total,
        });
    };
    let (mut found, mut problems) = gather::gather(job, flip, known, &mut looked, cancel);
    cautions.append(&mut found.cautions);
    let learnt = setup.as_ref().is_some_and(|(_, learnt)| learnt.is_some());
    let (corrected, caution) = corrected_before(&found, learnt);
    problems.extend(corrected);
    cautions.extend(caution);
    let paper = match paper(job, of_setup, &found) {
        Ok(paper) if problems.is_empty() => paper,
        other => {
            // Without cards nothing can say which paper they lay on.
            if let (Err(refusal), false) = (other, found.cards.is_empty()) {
                problems.push(Problem::refused("", refusal));
            }
            return Err(Stuck {
                found: Box::new(found),
                cautions,
                problems,
            });
        }
    };
    let sheet = sheet(job, of_setup, paper.size(), flip);
    let next = next_sheet(setup.as_ref(), paper.size());
    if setup.as_ref().is_none_or(|(_, learnt)| learnt.is_none()) {
        cautions.push(
            "no printer was measured for this: rejects are guessed from a usual one, and nothing \
             corrects the backs"
                .to_owned(),
        );
    }
    let quality = Safe {
        inner: Measured {
            next: &next,
            cutting: Cutting::new(CUT_TOLERANCE_MM / 2.0),
        },
        safe: job.safe.map_or(f64::INFINITY, Length::to_mm),
    };
    let bleed = job.bleed.map_or(USUAL_BLEED_MM, |bleed| bleed.to_mm());
    let pieces = pieces(job, &found);
    let gutters = match job.gutter {
        _ if stock.is_some() => vec![0.0],
        Some(gutter) => vec![gutter.to_mm()],
        None if bleed > 0.0 => vec![0.0, bleed, 2.0 * bleed],
        None => vec![0.0],
    };
    let mut plans: Vec<(Plan, f64)> = Vec::new();
    let mut refused = None;
    for gutter in gutters {
        let asked = LayoutJob {
            gutter,
            bleed,
            method: match job.cut.unwrap_or_default() {
                CutBy::Straight => Method::Straight,
                CutBy::Around => Method::Free,
            },
            order: match job.order.unwrap_or_default() {
                Order::Piles => tympan_layout::Order::CutAndStack,
                Order::Rows => tympan_layout::Order::SheetBySheet,
            },
            fold_over: job.fold_over.then_some(FoldOver {
                along: None,
                allowance: FOLD_ALLOWANCE_MM,
            }),
            ..LayoutJob::new(pieces.clone(), sheet)
        };
        let made = match &stock {
            Some(stock) => stock.plan(&asked, &quality).map(|plan| vec![plan]),
            None => tympan_layout::plan(&asked, &quality, MOST_PLANS),
        };
        match made {
            Ok(made) => plans.extend(made.into_iter().map(|plan| (plan, gutter))),
            Err(problems) => refused = refused.or(Some(problems)),
        }
    }
    if let (true, Some(problems)) = (plans.is_empty(), refused) {
        let told = |problem: &tympan_layout::Problem| {
            Problem::new("the plan", problem.to_string(), problem.hint())
        };
        return Err(Stuck {
            found: Box::new(found),
            cautions,
            problems: problems.0.iter().map(told).collect(),
        });
    }
    if let (Some(stock), Some((plan, _))) = (&stock, plans.first()) {
        cautions.extend(of_stock(job, stock, plan));
    }
    plans.sort_by(|(a, _), (b, _)| paper_for(a).total_cmp(&paper_for(b)));
    let mut planned = Planned {
        found,
        setup,
        paper,
        flip,
        plans,
        witness_room: Vec::new(),
        cautions,
    };
    if job.witness {
        sheets::room_for_witness_first(job, &mut planned)?;
    }
    planned.plans.truncate(MOST_PLANS);
    Ok(planned)
}

/// Quality where something that matters is nearer to the cut than the bleed reaches: what is cut
/// into is as bad as white that shows.
struct Safe<Q> {
    inner: Q,
    safe: f64,
}

impl<Q: Quality> Quality for Safe<Q> {
    fn good(&self, place: &tympan_layout::Place) -> f64 {
        self.good_each(std::slice::from_ref(place))[0]
    }

    fn good_each(&self, places: &[tympan_layout::Place]) -> Vec<f64> {
        let places: Vec<_> = places
            .iter()
            .map(|place| tympan_layout::Place {
                bleed: place.bleed.min(self.safe),
                ..*place
            })
            .collect();
        self.inner.good_each(&places)
    }

    fn centre(&self) -> Option<Point<Front>> {
        self.inner.centre()
    }
}

/// A job on a pre-cut sheet: the sheet is the paper, and where all its places are alike, they tell
/// the size of cards that have none of their own.
fn on_stock(job: &Job, stock: Option<&PreCut>) -> Job {
    let mut job = job.clone();
    let Some(stock) = stock else { return job };
    let size = format!("{}x{}mm", stock.sheet.w, stock.sheet.h);
    if job.paper.is_none() && job.setup.is_none() {
        let known = Paper::known().find(|paper| paper.size().is_close(stock.sheet, 1.0));
        job.paper = known.or_else(|| size.parse().ok());
    }
    if let (None, Some(first)) = (job.card, stock.grids.first()) {
        let alike = stock.grids.iter().all(|grid| grid.shape == first.shape);
        job.card = alike.then_some(ShapeAsked(first.shape));
    }
    job
}

/// What to know about a plan on a pre-cut sheet.
fn of_stock(job: &Job, stock: &PreCut, plan: &Plan) -> Vec<String> {
    let mut cautions = Vec::new();
    if job.fronts_seen.is_none() {
        cautions.push(
            "nothing tells where the printer puts the fronts on the sheet: print one on plain paper, \
             hold it against a pre-cut sheet, and say what you see with --fronts-seen"
                .to_owned(),
        );
    }
    let beyond: usize = (0..plan.groups.len())
        .map(|group| plan.beyond_margins(group).len())
        .sum();
    if beyond > 0 {
        cautions.push(format!(
            "{beyond} places of \"{}\" reach into what the printer cannot print: white will show there",
            stock.name
        ));
    }
    cautions
}

/// Files whose backs were moved for a printer: laid for one again, whole pages of them land wrong.
fn corrected_before(found: &Gathered, learnt: bool) -> (Vec<Problem>, Option<String>) {
    let files: Vec<_> = found.sources.corrected().collect();
    if learnt {
        let problem = |file: &std::path::Path| {
            Problem::new(
                file.display().to_string(),
                "its backs were moved for a printer before",
                "give the file as it was before it was corrected",
            )
        };
        return (files.into_iter().map(problem).collect(), None);
    }
    let caution = files.first().map(|file| {
        format!(
            "the backs of {} were moved for a printer before; they are taken from where they lie now",
            file.display()
        )
    });
    (Vec::new(), caution)
}

/// How many sheets a plan takes until all pieces are good, on average; of plans that take the same,
/// the one with fewer cuts.
fn paper_for(plan: &Plan) -> f64 {
    let figures = &plan.figures;
    let good = figures.pieces as f64 - figures.expected_rejects;
    let share = (good / figures.pieces.max(1) as f64).max(1e-3);
    let cuts = figures.cuts.unwrap_or(1000) as f64;
    figures.sheets as f64 / share + 1e-4 * cuts
}

fn set_up(
    store: Option<&Store>,
    job: &Job,
    cautions: &mut Vec<String>,
) -> Result<Option<(SetUp, Option<Learnt>)>, Refusal> {
    let Some(name) = &job.setup else {
        return Ok(None);
    };
    let store =
        store.ok_or_else(|| Refusal::new("there is no data folder", "give it with --data"))?;
    let setup = store.set_up_named(name)?;
    let learnt = if store.readings_in_use(&setup.id)?.is_empty() {
        cautions.push(format!(
            "\"{}\" has no readings yet: measure it with testsheet and read, and lay the cards \
             again",
            setup.name
        ));
        None
    } else {
        Some(measure::learn(store, &setup)?)
    };
    Ok(Some((setup, learnt)))
}

/// The paper that is said, the set-up's, or that of the first PDF of sheets.
fn paper(job: &Job, setup: Option<&SetUp>, found: &Gathered) -> Result<Paper, Refusal> {
    if let (Some(asked), Some(setup)) = (&job.paper, setup)
        && !asked
            .size()
            .portrait()
            .is_close(setup.paper.size().portrait(), 1.0)
    {
        return Err(Refusal::new(
            format!(
                "\"{}\" was measured on {}, and the sheets are to be {asked}",
                setup.name, setup.paper
            ),
            "leave --paper out, or use a set-up for that paper",
        ));
    }
    if let Some(setup) = setup {
        return Ok(setup.paper.clone());
    }
    if let Some(paper) = &job.paper {
        return Ok(paper.clone());
    }
    let of_sheets = found.arts.iter().find_map(|art| {
        let page = found.sources.page(art.source, art.page).ok()?;
        let is_sheet =
            page.pixels.is_none() && page.size.w * page.size.h > 4.0 * art.size.w * art.size.h;
        is_sheet.then_some(page.size.portrait())
    });
    // PDF writers round to whole points, so that a page is never quite its paper.
    of_sheets
        .and_then(|size| Paper::known().find(|paper| paper.size().portrait().is_close(size, 1.0)))
        .or_else(|| job.usual_paper.clone())
        .ok_or_else(|| {
            Refusal::new(
                "nothing says which paper the cards are to lie on",
                "say --paper a4 or --paper letter, or name a set-up with --setup",
            )
        })
}

fn sheet(job: &Job, setup: Option<&SetUp>, size: Size, flip: Flip) -> Sheet {
    let margins = match (job.margins, setup.and_then(|setup| setup.unprintable)) {
        (Some(margin), _) => Margins::all(margin.to_mm()),
        (None, Some(u)) => Margins {
            left: u.left,
            top: u.top,
            right: u.right,
            bottom: u.bottom,
        },
        (None, None) => Margins::all(USUAL_MARGIN_MM),
    };
    // What the driver leaves blank belongs to the page, front or back, held upright.
    Sheet {
        front_margins: margins,
        back_margins: margins,
        ..Sheet::new(size, flip, 0.0)
    }
}

/// What the next sheet will do, once the steady error is corrected.
fn next_sheet(setup: Option<&(SetUp, Option<Learnt>)>, size: Size) -> NextSheet {
    if let Some((_, Some(learnt))) = setup {
        return learnt.fit.next_sheet(&learnt.fit.field());
    }
    let axis = setup.map_or(tympan_sheet::LeadingEdge::Head, |(setup, _)| {
        setup.leading_edge
    });
    let (across, along, tilt) = USUAL_SCATTER;
    let tilt = tilt.to_radians() * 100.0;
    let is_upright = axis.axis() == tympan_sheet::FeedAxis::Y;
    let (x, y) = if is_upright {
        (across, along)
    } else {
        (along, across)
    };
    let basis = Basis {
        sheet: size,
        feed: axis.axis(),
    };
    let none = Field::new(basis, [0.0; 8]);
    NextSheet::known(
        none,
        [
            [x * x, 0.0, 0.0],
            [0.0, y * y, 0.0],
            [0.0, 0.0, tilt * tilt],
        ],
    )
}

fn pieces(job: &Job, found: &Gathered) -> Vec<Piece> {
    let border = job.thicken_border.map(|width| Edge::Border(width.to_mm()));
    let edge = job
        .edges
        .map(|asked| asked.0)
        .or(border)
        .unwrap_or_default();
    let piece = |card: &gather::Card| Piece {
        name: card.name.clone(),
        shape: card.shape,
        front: ArtId(card.front),
        back: card.back.map(ArtId),
        copies: card.copies as usize,
        stands: card.stands,
        may_turn: true,
        edge,
    };
    let laid = found.cards.iter().filter(|card| card.copies > 0);
    laid.map(piece).collect()
}
