//! A job as the page shows it: its cards, its best plans as pictures, how they are cut, and all that
//! is in the way.

use std::fs;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::path::Path;
use std::sync::atomic::AtomicBool;

use serde::{Deserialize, Serialize};
use tympan_layout::Plan;
use tympan_layout::cutting::Trimmer;
use tympan_pdf::draw::svg;
use tympan_pdf::impose::{ArtId, ImposeJob, Placement, SheetPage};
use tympan_sheet::{Point, Shape, Size};
use tympan_store::Store;

use super::gather::{Card, Gathered};
use super::known::Known;
use super::planned::{self, Planned, Stuck};
use super::problem::Problem;
use super::said::{self, CardSaid, PileSaid, PlanSaid};
use super::{Job, Progress, Request, picture, sheets};
use crate::on_page::on_page;
use crate::refusal::Refusal;
use crate::words::counted;

/// What there is to show of a job.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct View {
    /// All cards in the deck's order, those too that are left out by hand.
    pub cards: Vec<CardView>,
    /// The sizes of their pictures, mm, in the order of the pages of the proof.
    pub arts: Vec<Size>,
    /// The proof: a PDF with each picture on a page of its own, by its name in its folder.
    pub proof: Option<String>,
    /// The paper's name.
    pub paper: String,
    /// Its size, mm; `None` where anything is in the way.
    pub sheet: Option<Size>,
    /// The set-up that the backs are corrected for, if one is.
    pub corrected_for: Option<String>,
    /// The plans, the best first; none where anything is in the way.
    pub plans: Vec<PlanView>,
    /// What is in the way.
    pub problems: Vec<Problem>,
    /// What should be known.
    pub cautions: Vec<String>,
}

/// One card.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CardView {
    /// What there is to say of it.
    pub said: CardSaid,
    /// Its front, by its place among the pictures.
    pub front: usize,
    /// Its back.
    pub back: Option<usize>,
    /// What will look poor about it.
    pub caution: Option<String>,
}

/// One plan.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PlanView {
    /// Its figures.
    pub said: PlanSaid,
    /// Whether the sheets are printed on both sides.
    pub two_sided: bool,
    /// The first sheet, as SVG without a title.
    pub picture: String,
    /// The names of the cards on each sheet, in reading order of the front.
    pub sheets: Vec<Vec<String>>,
    /// How the sheets of each kind are cut, where they are cut straight through.
    pub cuts: Vec<CutsView>,
    /// The piles that cutting gives, in the order in which they come together.
    pub piles: Vec<PileSaid>,
}

/// How sheets of one kind are cut.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CutsView {
    /// How many sheets are cut like this.
    pub sheets: usize,
    /// The cuts on the sheet, numbered by their steps, as SVG without a title.
    pub picture: String,
    /// The steps.
    pub rows: Vec<CutRow>,
}

/// One step of the cutting.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct CutRow {
    /// Its number.
    pub step: usize,
    /// Where the stop is set, mm; `None` along the marks.
    pub stop_mm: Option<String>,
    /// How the stack lies.
    pub lay: String,
    /// What comes off.
    pub off: String,
    /// How many sheets at once.
    pub at_once: String,
}

impl View {
    /// What a plan (from 0) comes to, in a sentence or two.
    pub fn answer(&self, plan: usize) -> Option<String> {
        let said = &self.plans.get(plan)?.said;
        let mut text = format!(
            "{} on {} of {}, {} on a sheet.",
            counted(said.cards, "card"),
            counted(said.sheets, "sheet"),
            self.paper,
            said.per_sheet
        );
        let spares = said.spares_in_words();
        if !spares.is_empty() {
            text.push(' ');
            text.push_str(&spares);
        }
        Some(text)
    }
}

/// Looks at a job, and writes the proof of its pictures into a folder where it is not there yet.
pub fn view(
    store: Option<&Store>,
    job: &Job,
    known: &mut Known,
    folder: &Path,
    progress: &mut dyn FnMut(Progress),
    cancel: &AtomicBool,
) -> View {
    let (mut found, mut view) = match planned::plan(store, job, known, progress, cancel) {
        Ok(planned) => {
            let view = View {
                paper: planned.paper.title(),
                sheet: Some(planned.paper.size()),
                corrected_for: planned.learnt().map(|(setup, _)| setup.name.clone()),
                plans: (0..planned.plans.len())
                    .map(|i| plan(&planned, i))
                    .collect(),
                cautions: planned.cautions,
                ..View::default()
            };
            (planned.found, view)
        }
        Err(Stuck {
            found,
            cautions,
            problems,
        }) => {
            let view = View {
                problems,
                cautions,
                ..View::default()
            };
            (*found, view)
        }
    };
    view.cards = found.cards.iter().map(card).collect();
    view.arts = found.arts.iter().map(|art| art.size).collect();
    match proof(&mut found, folder, cancel) {
        Ok(name) => view.proof = name,
        Err(problems) => {
            view.problems.extend(problems);
            view.plans.clear();
        }
    }
    for caution in &mut view.cautions {
        *caution = on_page(caution);
    }
    for problem in &mut view.problems {
        problem.message = on_page(&problem.message);
        problem.hint = on_page(&problem.hint);
    }
    view
}

fn card(card: &Card) -> CardView {
    CardView {
        said: said::card(card),
        front: card.front,
        back: card.back,
        caution: card.caution.as_deref().map(on_page),
    }
}

fn plan(planned: &Planned, index: usize) -> PlanView {
    let (plan, _) = &planned.plans[index];
    let sheet = |units: &[Option<tympan_layout::Unit>]| -> Vec<String> {
        let names = units.iter().flatten();
        names
            .map(|unit| plan.pieces[unit.piece].name.clone())
            .collect()
    };
    PlanView {
        said: said::plan(planned, index),
        two_sided: plan.is_two_sided(),
        picture: plan
            .groups
            .first()
            .map(|group| svg::write(&picture::of_group(plan, group)))
            .unwrap_or_default(),
        sheets: plan.sheets().map(|(_, units)| sheet(units)).collect(),
        cuts: (0..plan.groups.len())
            .filter_map(|i| cuts(plan, i))
            .collect(),
        piles: said::piles(plan),
    }
}

fn cuts(plan: &Plan, number: usize) -> Option<CutsView> {
    if plan.pre_cut {
        return None;
    }
    let group = &plan.groups[number];
    let cutting = plan.cutting(number, &Trimmer::default())?;
    let rows = cutting.rows().into_iter().map(|row| CutRow {
        step: row.step,
        stop_mm: row.stop_mm,
        lay: row.lay,
        off: row.off,
        at_once: row.at_once,
    });
    Some(CutsView {
        sheets: group.sheets.len(),
        rows: rows.collect(),
        picture: svg::write(&cutting.picture(group)),
    })
}

/// Writes all pictures, each as large as it is on its page, into one file that is named after what
/// is in it, and removes those that were there before.
fn proof(
    found: &mut Gathered,
    folder: &Path,
    cancel: &AtomicBool,
) -> Result<Option<String>, Vec<Problem>> {
    if found.arts.is_empty() {
        return Ok(None);
    }
    let mut hasher = DefaultHasher::new();
    for art in &found.arts {
        format!("{:?} {art:?}", found.sources.path(art.source)).hash(&mut hasher);
    }
    let name = format!("proof-{:016x}.pdf", hasher.finish());
    let output = folder.join(&name);
    if output.exists() {
        return Ok(Some(name));
    }
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        if entry.file_name().to_string_lossy().starts_with("proof-") {
            let _ = fs::remove_file(entry.path());
        }
    }
    let page = |(i, art): (usize, &tympan_pdf::impose::Art)| {
        let trim = Shape::rect(art.size, 0.0);
        SheetPage {
            placements: vec![Placement::at(ArtId(i), trim, Point::new(0.0, 0.0))],
            ..SheetPage::new(art.size)
        }
    };
    let job = ImposeJob {
        output,
        title: "Proof".to_owned(),
        pages: found.arts.iter().enumerate().map(page).collect(),
        arts: found.arts.clone(),
        ..ImposeJob::default()
    };
    let sources = std::mem::take(&mut found.sources);
    tympan_pdf::impose::write(&job, sources, &mut |_| {}, cancel).map_err(super::in_the_way)?;
    Ok(Some(name))
}

/// Writes one sheet (from 0) of the plan that a job asks for, as it would be printed but for witness
/// marks: its front and, where it has one, its back.
///
/// # Errors
/// A [`Refusal`] where there is no such sheet, or something is in the way.
pub fn sheet(
    store: Option<&Store>,
    job: &Job,
    known: &mut Known,
    number: usize,
    output: &Path,
) -> Result<(), Refusal> {
    let cancel = AtomicBool::new(false);
    let mut planned = planned::plan(store, job, known, &mut |_| {}, &cancel)?;
    let chosen = planned.chosen(job)?;
    let request = Request {
        job: job.clone(),
        output: output.to_owned(),
        // Cut lines are written with the sheets, so that their crosses are printed.
        cuts: Some(output.to_owned()),
    };
    let written = sheets::job(&planned, chosen, &request, Some(number), None)?;
    if written.pages.is_empty() {
        return Err(Refusal::new(
            "there is no such sheet",
            "load the page again",
        ));
    }
    let sources = std::mem::take(&mut planned.found.sources);
    tympan_pdf::impose::write(&written, sources, &mut |_| {}, &cancel).map_err(super::unwritten)?;
    Ok(())
}
