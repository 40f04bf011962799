//! What follows a run: sheets made again, a correction adjusted after make-ready, spoiled sheets,
//! undoing.

use std::path::PathBuf;
use std::sync::atomic::AtomicBool;

use serde::Serialize;
use tympan_pdf::Progress;
use tympan_press::loads::{self, Pass, rest};
use tympan_sheet::Side;
use tympan_store::{RunId, RunRecord, RunState, Spoiled, Store, Timestamp};

use super::folder::{NewFolder, remove};
use super::job::{Job, Noted, Purpose};
use super::making::{all_passes, named, numbers, told_of, write_all};
use super::told::{PassTold, ReloadTold, RunTold};
use super::work::{MadeAgain, Work};
use crate::refusal::Refusal;
use crate::words::OnBack;

/// Sheets to be made again.
#[derive(Clone, Debug)]
pub struct Again {
    /// Their numbers.
    pub sheets: Vec<u32>,
    /// Only this side of them: the other one is printed and good.
    pub only: Option<Side>,
    /// The pass of this side stopped at the sheet, which is spoiled: all of its load that comes
    /// after it is missing too.
    pub stopped_in: Option<Side>,
    /// Why they are made again.
    pub why: Option<String>,
    /// The folder to write; it must not exist.
    pub folder: PathBuf,
    /// The files' password.
    pub password: Option<String>,
}

/// What followed.
#[derive(Clone, Debug, Serialize)]
pub struct Followed {
    /// The version of this form.
    pub schema: u32,
    /// The run.
    pub run: String,
    /// How far it has come.
    pub state: RunState,
    /// The folder that was written, if one was.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub folder: Option<PathBuf>,
    /// The files to print, in this order.
    pub passes: Vec<PassTold>,
    /// How the pile goes back.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reload: Option<ReloadTold>,
    /// How many sheets were spoiled so far.
    pub spoiled: usize,
    /// What to do now, in words.
    pub in_words: String,
}

/// The run of this name, or the newest.
///
/// # Errors
/// A [`Refusal`] where there is none.
pub fn find(store: &Store, run: Option<&str>) -> Result<RunRecord, Refusal> {
    match run {
        Some(text) => {
            let id: RunId = text.parse().map_err(|_| {
                Refusal::new(
                    format!("\"{text}\" is no run"),
                    "tympan log --setup NAME lists the runs of a set-up",
                )
            })?;
            Ok(store.run(&id)?)
        }
        None => store.last_run()?.ok_or_else(|| {
            Refusal::new(
                "no run was made yet",
                "make one: tympan run game.pdf --setup NAME -o FOLDER",
            )
        }),
    }
}

/// Makes exactly the sheets that are missing, corrected as the others are.
///
/// # Errors
/// A [`Refusal`] where the run has no such sheets, was undone, its files have changed, or the
/// folder exists. Then nothing was written.
pub fn again(
    store: &mut Store,
    run: &RunRecord,
    asked: &Again,
    progress: &mut dyn FnMut(Progress),
    cancel: &AtomicBool,
) -> Result<Followed, Refusal> {
    refuse_undone(run)?;
    let folder = NewFolder::beside(&asked.folder)?;
    let mut work = Work::of(run)?;
    let sheets = known_sheets(run, &asked.sheets)?;
    let passes = missing(run, &work, &sheets, asked)?;
    let setup = store.set_up(&run.setup)?;
    let job = Job::open(&setup, &work, asked.password.as_deref(), cancel)?;
    let files = named(&passes);
    let total = passes.iter().map(|pass| pass.sheets.len()).sum::<usize>();
    let mut done = 0;
    for (pass, file) in passes.iter().zip(&files) {
        progress(Progress { done, total });
        let noted = Noted {
            run: run.id.as_str(),
            purpose: Purpose::Again,
            corrected: work.corrected,
        };
        job.write(pass, noted, &folder.path(&file.file), &mut |_| (), cancel)?;
        done += pass.sheets.len();
    }
    progress(Progress { done, total });
    folder.keep()?;
    let why = asked.why.clone().unwrap_or_else(|| "made again".to_owned());
    let folder = &asked.folder;
    work.again.push(MadeAgain {
        at: Timestamp::now(),
        sheets: sheets.clone(),
        why: why.trim().to_owned(),
        folder: std::fs::canonicalize(folder).unwrap_or(folder.clone()),
        passes: files.clone(),
    });
    let mut changed = run.clone();
    changed.state = RunState::Printing;
    changed.work = work.to_json();
    if asked.only.is_none() {
        add_spoiled(&mut changed, &sheets, &why);
    }
    let changed = store.change_run(&changed)?;
    let reload = work.reload.as_ref();
    let reload = reload.map(|back| ReloadTold::new(back, work.known));
    let names: Vec<&str> = files.iter().map(|pass| pass.file.as_str()).collect();
    let mut in_words = format!("Print {} in this order.", names.join(", then "));
    if asked.stopped_in.is_some() {
        in_words = format!(
            "Take sheet {} away, and leave the rest of the pile as it lies. {in_words}",
            sheets[0]
        );
    }
    Ok(Followed {
        folder: Some(asked.folder.clone()),
        passes: files,
        reload,
        ..followed(&changed, in_words)
    })
}

/// The passes that print what is missing.
fn missing(
    run: &RunRecord,
    work: &Work,
    sheets: &[u32],
    asked: &Again,
) -> Result<Vec<Pass>, Refusal> {
    let all = numbers(run);
    let at_a_time = all.iter().map(Vec::len).max().unwrap_or(1);
    let anew = all_passes(&loads::loads(sheets, at_a_time as u32), work);
    if let Some(side) = asked.stopped_in {
        let (Some(first), &[sheet]) = (work.first, sheets) else {
            return Err(Refusal::new(
                "a pass stops at one sheet, and on one side",
                "name the sheet that stuck; where the machine prints both sides, name all sheets that \
                 are missing",
            ));
        };
        let passes = all_passes(&all, work);
        let stopped = passes
            .iter()
            .find(|pass| pass.side == Some(side) && pass.sheets.contains(&sheet));
        let left = stopped.and_then(|pass| Some((pass, rest(pass, sheet, side == first)?)));
        let mut missing: Vec<Pass> = left
            .into_iter()
            .filter(|(_, sheets)| !sheets.is_empty())
            .map(|(pass, sheets)| Pass {
                sheets,
                ..pass.clone()
            })
            .collect();
        // In a first pass the spoiled sheet is simply printed again among the rest.
        if side != first {
            missing.extend(anew);
        }
        return Ok(missing);
    }
    if asked.only.is_some() && work.first.is_none() {
        return Err(Refusal::new(
            "the machine prints both sides of this run",
            "leave out --only",
        ));
    }
    let wanted = |pass: &Pass| asked.only.is_none() || pass.side == asked.only;
    Ok(anew.into_iter().filter(wanted).collect())
}

/// Makes a run's files anew with what was seen on its make-ready sheet taken out as well.
///
/// # Errors
/// A [`Refusal`] where paper of the run has moved already, its files have changed or cannot be
/// written.
pub fn adjust(
    store: &mut Store,
    run: &RunRecord,
    seen: &OnBack,
    password: Option<&str>,
    progress: &mut dyn FnMut(Progress),
    cancel: &AtomicBool,
) -> Result<RunTold, Refusal> {
    if run.state != RunState::Ready {
        return Err(Refusal::new(
            format!(
                "run {} is {}: its sheets would not be alike",
                run.id,
                run.state.as_str()
            ),
            "make a new run for the rest",
        ));
    }
    let setup = store.set_up(&run.setup)?;
    let mut work = Work::of(run)?;
    let sheet = setup.paper.size();
    // The make-ready was printed with the old correction: what is seen on it comes on top.
    let left = setup.flip.carry_to_front(&seen.map(sheet), sheet);
    work.set_field(&work.field().then(&left));
    work.corrected = true;
    let job = Job::open(&setup, &work, password, cancel)?;
    let told = told_of(&setup, run, &work);
    let folder = NewFolder::replacing(&work.folder)?;
    write_all(&folder, &job, &told, progress, cancel)?;
    let exchanged = folder.in_place_of(&work.files)?;
    work.files = exchanged.files().to_vec();
    let changed = RunRecord {
        work: work.to_json(),
        ..run.clone()
    };
    // Files and record must tell of one correction.
    if let Err(refused) = store.change_run(&changed) {
        exchanged.undo();
        return Err(refused.into());
    }
    exchanged.keep()?;
    Ok(told)
}

/// Notes that sheets were spoiled, and why.
///
/// # Errors
/// A [`Refusal`] where the run has no such sheets or was undone.
pub fn spoil(
    store: &mut Store,
    run: &RunRecord,
    sheets: &[u32],
    why: &str,
) -> Result<Followed, Refusal> {
    refuse_undone(run)?;
    let sheets = known_sheets(run, sheets)?;
    let mut changed = run.clone();
    if changed.state == RunState::Ready {
        changed.state = RunState::Printing;
    }
    add_spoiled(&mut changed, &sheets, why);
    let changed = store.change_run(&changed)?;
    let words = format!(
        "Noted: sheets {} are spoiled ({why}). Make them again: tympan run --again {} --of {} -o FOLDER",
        list(&sheets),
        list(&sheets),
        run.id
    );
    Ok(followed(&changed, words))
}

/// Notes that paper moves: from here on the run cannot be undone.
///
/// # Errors
/// A [`Refusal`] where it was undone.
pub fn moved(store: &mut Store, run: &RunRecord) -> Result<Followed, Refusal> {
    refuse_undone(run)?;
    let changed = store.change_run(&RunRecord {
        state: RunState::Printing,
        ..run.clone()
    })?;
    Ok(followed(&changed, format!("Run {} is printing.", run.id)))
}

/// Notes that all sheets are printed.
///
/// # Errors
/// A [`Refusal`] where it was undone.
pub fn finish(store: &mut Store, run: &RunRecord) -> Result<Followed, Refusal> {
    refuse_undone(run)?;
    let changed = store.change_run(&RunRecord {
        state: RunState::Done,
        ..run.clone()
    })?;
    let seen = changed.seen_rejects().unwrap_or(0.0);
    let expected = run.expected_rejects.map_or_else(String::new, |expected| {
        format!(" ({:.0} % of register were expected)", 100.0 * expected)
    });
    let words = format!(
        "Run {} is done: {} sheets, {} spoiled, {:.0} %{expected}.",
        run.id,
        run.sheets,
        changed.spoiled.len(),
        100.0 * seen
    );
    Ok(followed(&changed, words))
}

/// Undoes a run of which no paper has moved: its files are taken away, unless they were changed.
///
/// # Errors
/// A [`Refusal`] where paper has moved.
pub fn undo(store: &mut Store, run: &RunRecord) -> Result<Followed, Refusal> {
    refuse_undone(run)?;
    let changed = store.change_run(&RunRecord {
        state: RunState::Undone,
        ..run.clone()
    })?;
    let mut words = format!("Run {} is undone.", run.id);
    if let Ok(work) = Work::of(run) {
        remove(&work.folder, &work.files);
        if work.folder.exists() {
            words.push_str(&format!(
                " In {} are files that are not the run's own; they were left there.",
                work.folder.display()
            ));
        }
    }
    Ok(followed(&changed, words))
}

fn followed(run: &RunRecord, in_words: String) -> Followed {
    Followed {
        schema: 1,
        run: run.id.to_string(),
        state: run.state,
        folder: None,
        passes: Vec::new(),
        reload: None,
        spoiled: run.spoiled.len(),
        in_words,
    }
}

fn refuse_undone(run: &RunRecord) -> Result<(), Refusal> {
    if run.state == RunState::Undone {
        return Err(Refusal::new(
            format!("run {} was undone", run.id),
            "make it anew: tympan run game.pdf --setup NAME -o FOLDER",
        ));
    }
    Ok(())
}

fn known_sheets(run: &RunRecord, sheets: &[u32]) -> Result<Vec<u32>, Refusal> {
    if let Some(none) = sheets
        .iter()
        .find(|sheet| !(1..=run.sheets).contains(sheet))
    {
        return Err(Refusal::new(
            format!(
                "run {} has no sheet {none}: it has sheets 1 to {}",
                run.id, run.sheets
            ),
            "look for the number in the waste of the sheet",
        ));
    }
    let mut sheets = sheets.to_vec();
    sheets.sort_unstable();
    sheets.dedup();
    if sheets.is_empty() {
        return Err(Refusal::new(
            "no sheets are named",
            "write them like 17-20 or 3,5",
        ));
    }
    Ok(sheets)
}

fn add_spoiled(run: &mut RunRecord, sheets: &[u32], why: &str) {
    let at = Timestamp::now();
    run.spoiled.extend(sheets.iter().map(|&sheet| Spoiled {
        sheet,
        why: why.trim().to_owned(),
        at,
    }));
}

/// Sheet numbers as they are typed: `3,17-20`.
pub fn list(sheets: &[u32]) -> String {
    let mut parts: Vec<(u32, u32)> = Vec::new();
    for &sheet in sheets {
        match parts.last_mut() {
            Some((_, last)) if *last + 1 == sheet => *last = sheet,
            _ => parts.push((sheet, sheet)),
        }
    }
    let said = |(a, b): &(u32, u32)| {
        if a == b {
            a.to_string()
        } else {
            format!("{a}-{b}")
        }
    };
    parts.iter().map(said).collect::<Vec<_>>().join(",")
}
