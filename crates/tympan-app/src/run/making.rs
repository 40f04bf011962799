//! Making a run: its files, its job sheet and its record.

use std::path::PathBuf;
use std::sync::atomic::AtomicBool;

use tympan_pdf::Progress;
use tympan_press::behaviour::{Reload, assumed, reload};
use tympan_press::loads::{self, Fill, Pass, Tray, Weight, passes};
use tympan_register::Cutting;
use tympan_sheet::{Affine, Front, Side};
use tympan_store::{FlippedBy, MOST_SHEETS, RunRecord, SetUp, Span, Store};

use super::Request;
use super::folder::{NewFolder, remove};
use super::job::{Job, Noted, Purpose};
use super::sheet;
use super::teach::page_leads;
use super::told::{LoadTold, PassTold, ReloadTold, RunTold};
use super::work::{Stamped, Work};
use crate::correct;
use crate::inspect;
use crate::measure;
use crate::plan::PlanError;
use crate::refusal::Refusal;
use crate::report;

/// Thickness of stock that nothing is known of, µm: ordinary paper.
const UNKNOWN_UM: f64 = 100.0;
/// How well cuts are made where nothing is said: 19 in 20 within this, mm.
const CUT_MM: f64 = 0.5;
/// A machine's duplex is good enough where its 95 % error is no more than this of the hand's.
const GOOD_ENOUGH: f64 = 1.2;

/// Makes a run: writes its folder and keeps it in the store. No paper moves.
///
/// # Errors
/// A [`Refusal`] where a file cannot be read or may not be changed, its pages do not make sheets of
/// the set-up, or the folder exists or cannot be written. Then nothing was written or kept.
pub fn make(
    store: &mut Store,
    request: &Request,
    progress: &mut dyn FnMut(Progress),
    cancel: &AtomicBool,
) -> Result<RunTold, Refusal> {
    let folder = NewFolder::beside(&request.folder)?;
    let setup = store.set_up_named(&request.setup)?;
    let by_hand = setup.flipped_by == FlippedBy::Hand;
    let printer = setup
        .behaviour
        .unwrap_or_else(|| assumed(page_leads(&setup)));
    let learnt = match store.reading_count(&setup.id)? {
        0 => None,
        _ => Some(measure::learn(store, &setup)?),
    };
    let first = request.first.unwrap_or(setup.first_side);
    let is_swapped = by_hand && first != setup.first_side;
    let field = match &learnt {
        _ if request.as_is => Affine::IDENTITY,
        Some(learnt) if is_swapped => swapped(&learnt.fit.field(), &setup)?,
        Some(learnt) => learnt.fit.field(),
        None => Affine::IDENTITY,
    };
    let mut work = Work {
        inputs: request
            .inputs
            .iter()
            .map(|file| Stamped::of(file))
            .collect::<Result<_, _>>()?,
        back_file: request.back_file.as_deref().map(Stamped::of).transpose()?,
        backs: request.backs.to_string(),
        flip: request.flip,
        paper: request.paper.clone(),
        place: request.place,
        on: request.on,
        really: request.really,
        field: [1.0, 0.0, 0.0, 1.0, 0.0, 0.0],
        first: by_hand.then_some(first),
        reload: by_hand.then(|| reload(&printer, setup.flip)),
        turns: request.turns,
        fill: fill(&setup, request.at_a_time),
        spares: 0,
        known: setup.behaviour.is_some(),
        corrected: learnt.is_some() && !request.as_is,
        as_is: request.as_is,
        numbers: !request.no_numbers,
        folder: request.folder.clone(),
        files: Vec::new(),
        cautions: Vec::new(),
        again: Vec::new(),
    };
    work.set_field(&field);
    let job = Job::open(&setup, &work, request.password.as_deref(), cancel)?;
    if let (true, false, Some(before)) = (work.corrected, request.really, &job.corrected_before) {
        return Err(correct::corrected_before(before));
    }
    let count = sheet_count(&job, request.copies)?;
    let expected = learnt
        .as_ref()
        .and_then(|learnt| rejects(&job, learnt, request, cancel));
    let stem = request.inputs.first().and_then(|file| file.file_stem());
    let stem = stem.map_or_else(|| "job".into(), |name| name.to_string_lossy().into_owned());
    let name = request.name.clone().unwrap_or(stem);
    work.spares = request
        .spares
        .unwrap_or_else(|| 1 + loads::spares(count, expected.unwrap_or(0.0)));
    let numbers: Vec<u32> = (1..=count).collect();
    let loads = loads::loads(&numbers, work.fill.at_a_time);
    let mut run = RunRecord {
        copies: request.copies,
        stock: setup
            .stock
            .as_ref()
            .map_or_else(String::new, |s| s.name().to_owned()),
        first_side: work.first,
        loads: loads.iter().filter_map(|load| span(load)).collect(),
        expected_rejects: expected,
        ..RunRecord::new(setup.id.clone(), &name, count)
    };
    work.cautions = cautions(store, &job, &work, learnt.as_ref(), is_swapped)?;
    let told = told_of(&setup, &run, &work);
    write_all(&folder, &job, &told, progress, cancel)?;
    work.files = folder.keep()?;
    // What the store keeps is found whatever folder it is asked from.
    work.folder = std::fs::canonicalize(&request.folder).unwrap_or(request.folder.clone());
    run.work = work.to_json();
    if let Err(refused) = store.add_run(&run) {
        remove(&work.folder, &work.files);
        return Err(refused.into());
    }
    Ok(told)
}

/// Writes all files of a run: its make-ready, its passes and its job sheet.
pub(super) fn write_all(
    folder: &NewFolder,
    job: &Job,
    told: &RunTold,
    progress: &mut dyn FnMut(Progress),
    cancel: &AtomicBool,
) -> Result<(), Refusal> {
    let files = told.make_ready.iter().chain(&told.passes);
    let total: usize = files.clone().map(|pass| pass.sheets.len()).sum();
    let mut before = 0;
    for (i, pass) in files.enumerate() {
        let noted = Noted {
            run: &told.run,
            purpose: if i < told.make_ready.len() {
                Purpose::MakeReady
            } else {
                Purpose::Run
            },
            corrected: told.corrected,
        };
        let part = Pass {
            load: pass.load.unwrap_or(1) - 1,
            side: pass.side,
            sheets: pass.sheets.clone(),
        };
        let mut at = |p: Progress| {
            let done = p.done * pass.sheets.len() / p.total.max(1);
            progress(Progress {
                done: before + done,
                total,
            });
        };
        job.write(&part, noted, &folder.path(&pass.file), &mut at, cancel)?;
        before += pass.sheets.len();
    }
    let page = sheet::drawing(told, &job.setup);
    folder.write(&told.job_sheet, &sheet::pdf(&page)?)?;
    folder.write("job-sheet.svg", sheet::svg(&page).as_bytes())
}

fn sheet_count(job: &Job, copies: u32) -> Result<u32, Refusal> {
    let one = u32::try_from(job.sheets.len()).unwrap_or(u32::MAX);
    let count = one.saturating_mul(copies);
    if (1..=MOST_SHEETS).contains(&count) {
        return Ok(count);
    }
    Err(Refusal::new(
        format!("{copies} copies of {one} sheets make no run"),
        format!("a run has 1 to {MOST_SHEETS} sheets: print fewer copies at a time"),
    ))
}

pub(super) fn span(load: &[u32]) -> Option<Span> {
    Some(Span {
        from: *load.iter().min()?,
        to: *load.iter().max()?,
    })
}

/// How the tray is filled.
fn fill(setup: &SetUp, at_a_time: Option<u32>) -> Fill {
    if let Some(at_a_time) = at_a_time {
        return Fill {
            at_a_time: at_a_time.max(1),
            under: 0,
        };
    }
    let stock = setup.stock.as_ref();
    let tray = setup.tray.unwrap_or_default();
    let tray = Tray::new(weight(setup), tray.holds, tray.from, tray.to);
    let caliper = stock.and_then(|stock| stock.caliper());
    tray.fill(caliper.map_or(UNKNOWN_UM, |caliper| caliper.um))
}

fn weight(setup: &SetUp) -> Weight {
    loads::weight(setup.stock.as_ref(), &setup.media_type)
}

/// The steady error of the same printer with the other side printed first.
///
/// With the first pass's placement `P` and the second one's `Q`, each on its own page, and `T` the
/// flip, the error is `T∘Q∘T∘P⁻¹` where `P` is the fronts', and `T∘P∘T∘Q⁻¹` where `P` is the backs':
/// the one is the other's inverse as it looks from the other side.
fn swapped(field: &Affine<Front>, setup: &SetUp) -> Result<Affine<Front>, Refusal> {
    let m = setup.flip.carry_to_back(
        &field.inverse().map_err(PlanError::from)?,
        setup.paper.size(),
    );
    Ok(Affine::new(m.xx, m.xy, m.yx, m.yy, m.dx, m.dy))
}

/// The share of sheets that show white at a cut somewhere, by the set-up's model: for the cards that
/// are found on the job's first pages, or for a sheet full of poker cards.
fn rejects(
    job: &Job,
    learnt: &measure::Learnt,
    request: &Request,
    cancel: &AtomicBool,
) -> Option<f64> {
    let files: Vec<&PathBuf> = request.inputs.iter().take(1).collect();
    let password = request.password.as_deref();
    let found = job
        .is_light()
        .then(|| inspect::cells_of_first_pages(&files, password, &job.setup, cancel))
        .flatten();
    let cells =
        found.unwrap_or_else(|| report::usual_cells(&job.setup, report::Design::default().card));
    if cells.is_empty() {
        return None;
    }
    let after = learnt.fit.next_sheet(&learnt.fit.field());
    let cards = after.cards(&cells, Cutting::new(CUT_MM / 2.0));
    let share = cards.share_white_sheets(request.bleed.to_mm());
    Some(share.clamp(0.0, 1.0))
}

/// Whether the other way of flipping, where it was measured too, would do better or spare a pass.
fn advice(
    store: &Store,
    setup: &SetUp,
    learnt: Option<&measure::Learnt>,
) -> Result<Option<String>, Refusal> {
    let Some(learnt) = learnt else {
        return Ok(None);
    };
    let is_other = |other: &SetUp| {
        other.id != setup.id
            && other.flipped_by != setup.flipped_by
            && other.paper == setup.paper
            && other.stock == setup.stock
            && other.printer == setup.printer
    };
    let mut best: Option<(f64, String)> = None;
    for other in store.set_ups()?.into_iter().filter(is_other) {
        if store.readings_in_use(&other.id)?.is_empty() {
            continue;
        }
        let theirs = lands_within(&other, &measure::learn(store, &other)?);
        if best.as_ref().is_none_or(|(p95, _)| theirs < *p95) {
            best = Some((theirs, other.name));
        }
    }
    let Some((theirs, name)) = best else {
        return Ok(None);
    };
    let ours = lands_within(setup, learnt);
    let figures = |a: f64, b: f64| format!("{a:.2} mm against {b:.2} mm, 19 times in 20");
    Ok(match setup.flipped_by {
        FlippedBy::Hand if theirs <= ours * GOOD_ENOUGH => Some(format!(
            "The machine's own duplex, \"{name}\", lands the backs well enough ({}): --setup \
             \"{name}\" prints both sides in one pass.",
            figures(theirs, ours)
        )),
        FlippedBy::Machine if ours > theirs * GOOD_ENOUGH => Some(format!(
            "Flipped by hand, \"{name}\" lands the backs better ({}): use --setup \"{name}\" where it \
             matters.",
            figures(theirs, ours)
        )),
        _ => None,
    })
}

fn lands_within(setup: &SetUp, learnt: &measure::Learnt) -> f64 {
    let after = learnt.fit.next_sheet(&learnt.fit.field());
    after.radial(report::printable(setup)).p95
}

/// What the user of a run should know, as far as it is known only while it is made.
fn cautions(
    store: &Store,
    job: &Job,
    work: &Work,
    learnt: Option<&measure::Learnt>,
    is_swapped: bool,
) -> Result<Vec<String>, Refusal> {
    let setup = &job.setup;
    let mut cautions = job.cautions.clone();
    if work.as_is && job.corrected_before.is_none() {
        cautions.push(
            "Nothing in this file says that it was corrected: printed as it is, its backs land \
             where the printer puts them."
                .to_owned(),
        );
    }
    cautions.extend(advice(store, setup, learnt)?);
    if let (true, true, Some(first)) = (is_swapped, work.corrected, work.first) {
        cautions.push(format!(
            "\"{}\" was measured with the {}s printed first; for this run its correction was carried \
             over to {first}s first. Look at the make-ready sheet, or measure that way of working as \
             a set-up of its own.",
            setup.name, setup.first_side
        ));
    }
    if work.first == Some(Side::Front) && job.is_common(Side::Back) {
        cautions.push(
            "All sheets have the same back: printed first, it cannot come to lie behind a wrong \
             front."
                .to_owned(),
        );
    }
    Ok(cautions)
}

/// A run as it is told.
pub(super) fn told_of(setup: &SetUp, run: &RunRecord, work: &Work) -> RunTold {
    let mut cautions = work.cautions.clone();
    if !work.corrected && !work.as_is {
        cautions.push(format!(
            "\"{}\" has no readings: nothing is corrected. Measure it with test sheets first.",
            setup.name
        ));
    }
    if work.reload.is_some() && !work.known {
        cautions.push(
            "Nothing is known of how this printer lays its pile: it is assumed to take the top sheet \
             first, to print the side that lies up, and to deliver face down. Two plain sheets \
             settle it (setup teach)."
                .to_owned(),
        );
    }
    let loads = numbers(run);
    let load = |(i, load): (usize, &Vec<u32>)| {
        let Span { from, to } = span(load)?;
        Some(LoadTold {
            load: i + 1,
            from,
            to,
            sheets: load.len(),
        })
    };
    RunTold {
        schema: 1,
        run: run.id.to_string(),
        name: run.name.clone(),
        folder: work.folder.clone(),
        setup: setup.name.clone(),
        flip: setup.flip,
        first_side: work.first,
        sheets: run.sheets,
        copies: run.copies,
        stock: setup.stock.as_ref().map(|stock| stock.name().to_owned()),
        spares: work.spares,
        expected_rejects: run.expected_rejects,
        corrected: work.corrected,
        make_ready: make_ready(work.first),
        loads: loads.iter().enumerate().filter_map(load).collect(),
        under: work.fill.under,
        weight: weight(setup),
        passes: named(&all_passes(&loads, work)),
        reload: work
            .reload
            .as_ref()
            .map(|back| ReloadTold::new(back, work.known)),
        job_sheet: "job-sheet.pdf".to_owned(),
        cautions,
    }
}

/// The sheets of every load.
pub(super) fn numbers(run: &RunRecord) -> Vec<Vec<u32>> {
    let loads = run.loads.iter();
    loads.map(|load| (load.from..=load.to).collect()).collect()
}

/// The passes of these loads, by hand or by the machine.
pub(super) fn all_passes(loads: &[Vec<u32>], work: &Work) -> Vec<Pass> {
    match (work.first, &work.reload) {
        (Some(first), Some(Reload { order, .. })) => passes(loads, first, *order, work.turns),
        _ => loads
            .iter()
            .enumerate()
            .map(|(load, sheets)| Pass {
                load,
                side: None,
                sheets: sheets.clone(),
            })
            .collect(),
    }
}

fn make_ready(first: Option<Side>) -> Vec<PassTold> {
    let one = |file: String, side: Option<Side>| PassTold {
        file,
        side,
        load: None,
        sheets: vec![1],
    };
    match first {
        None => vec![one("00-make-ready.pdf".into(), None)],
        Some(first) => [first, first.other()]
            .into_iter()
            .zip(["a", "b"])
            .map(|(side, step)| one(format!("00{step}-make-ready-{side}.pdf"), Some(side)))
            .collect(),
    }
}

/// Files that sort in the order in which they are printed, and say what is in them.
pub(super) fn named(passes: &[Pass]) -> Vec<PassTold> {
    let digits = passes.len().to_string().len().max(2);
    passes
        .iter()
        .enumerate()
        .map(|(i, pass)| {
            let side = pass
                .side
                .map_or_else(|| "sheets".into(), |side| format!("{side}s"));
            let which = match span(&pass.sheets) {
                Some(Span { from, to }) if from == to => from.to_string(),
                Some(Span { from, to }) => format!("{from}-{to}"),
                None => "none".to_owned(),
            };
            PassTold {
                file: format!("{:0digits$}-{side}-{which}.pdf", i + 1),
                side: pass.side,
                load: Some(pass.load + 1),
                sheets: pass.sheets.clone(),
            }
        })
        .collect()
}
