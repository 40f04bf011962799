//! Printing what was agreed to, and watching it.

use std::fs::File;
use std::io::Read;
use std::sync::Arc;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use serde::Serialize;
use tympan_pdf::{CorrectJob, PageOut, Source};
use tympan_press::ipp::{Job, JobNow, Patience, Printer, PrinterError, Stage, Trouble, Way};
use tympan_press::raster::{self, Drawn, Pass};

use super::plan::Plan;
use crate::refusal::Refusal;

/// How often the printer is asked how it is doing.
const POLL: Duration = Duration::from_millis(500);

/// How often a busy printer is asked again.
const RETRY: Duration = Duration::from_secs(3);

/// How long the printer may take to say how it is doing.
const QUICK: Duration = Duration::from_secs(10);

/// What happens while printing.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "snake_case", tag = "happening")]
pub enum Happening {
    /// The printer is busy with other work; it is tried again.
    Busy,
    /// The printer holds the job until somebody lets it go.
    Held,
    /// Sheets have come out.
    Sheets {
        /// So many.
        out: usize,
        /// Of so many.
        of: usize,
    },
    /// Something is wrong with the printer.
    Trouble(Trouble),
    /// What was wrong is mended.
    Mended {
        /// What it was.
        message: String,
    },
    /// The printer does not answer.
    NoAnswer {
        /// What is known.
        message: String,
        /// What to do.
        hint: String,
    },
    /// The printer answers again.
    AnswersAgain,
}

/// How printing ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Ending {
    /// All sheets are printed.
    Printed,
    /// It was cancelled, here or at the printer.
    Cancelled,
    /// The printer gave it up.
    Aborted,
    /// The printer went off, or has not answered for too long.
    Lost,
    /// It was stopped by something that nobody mended, and the rest was taken back.
    Unmended,
}

/// What came of it. Sheets are counted from 1 as in the file.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Outcome {
    /// How it ended.
    pub ended: Ending,
    /// The first sheet that was to be printed.
    pub first_sheet: usize,
    /// The last one.
    pub last_sheet: usize,
    /// Sheets that came out, where the printer counts them.
    pub sheets_out: Option<usize>,
    /// The sheet to go on with, where not all came out. Where the printer does not count, the
    /// first one, and somebody has to count the tray.
    pub go_on_from: Option<usize>,
    /// The printer's number for the job.
    pub job: Option<i32>,
    /// The last thing that stopped the printer meanwhile.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stopped_by: Option<String>,
    /// What else is to be said.
    pub said: Vec<String>,
}

/// Who watches.
pub struct Watch<'a> {
    /// Is told what happens.
    pub tell: &'a mut dyn FnMut(&Happening),
    /// Set to cancel.
    pub cancel: &'a AtomicBool,
    /// How long a printer may stay silent or busy.
    pub patience: Duration,
    /// How long a printer may stay stopped, out of paper for example; for ever where somebody is
    /// there to mend it.
    pub mend_within: Option<Duration>,
}

/// Prints what was agreed to, and returns when it is over.
///
/// # Errors
/// A [`Refusal`] where nothing was begun. What was begun ends in an [`Outcome`].
pub fn print(printer: &Printer, plan: &Plan, watch: &mut Watch<'_>) -> Result<Outcome, Refusal> {
    let since = Instant::now();
    let mut is_told = false;
    loop {
        match attempt(printer, plan, watch) {
            Ok(outcome) => return Ok(outcome),
            Err(Failed::Refused(refusal)) => return Err(refusal),
            Err(Failed::Printer(e @ PrinterError::Busy { .. })) => {
                if since.elapsed() > watch.patience {
                    return Err(e.into());
                }
                if !is_told {
                    (watch.tell)(&Happening::Busy);
                    is_told = true;
                }
                wait(RETRY, watch.cancel);
            }
            Err(Failed::Printer(e)) => return Err(e.into()),
        }
        if watch.cancel.load(Ordering::Relaxed) {
            return Err(PrinterError::Cancelled.into());
        }
    }
}

enum Failed {
    Printer(PrinterError),
    Refused(Refusal),
}

fn wait(time: Duration, cancel: &AtomicBool) {
    let end = Instant::now() + time;
    while Instant::now() < end && !cancel.load(Ordering::Relaxed) {
        thread::sleep(Duration::from_millis(50));
    }
}

/// What is sent, and what has to be kept until it is.
struct Body {
    reader: Box<dyn Read + Send>,
    stop: Arc<AtomicBool>,
    _folder: Option<tempfile::TempDir>,
}

fn body(plan: &Plan) -> Result<Body, Refusal> {
    let stop = Arc::new(AtomicBool::new(false));
    let (first, last) = plan.pages;
    if let Way::Raster {
        dpi,
        space,
        sheet_back,
    } = plan.way
    {
        let pass = Pass {
            pages: first - 1..last,
            size: plan.paper.size(),
            sides: plan.sides,
            dpi,
            space,
            sheet_back,
            quality: plan.quality,
            kind: plan.kind.clone(),
        };
        let stream = raster::stream(
            plan.file.clone(),
            plan.password.clone(),
            pass,
            Drawn::default(),
            Arc::clone(&stop),
        );
        return Ok(Body {
            reader: Box::new(stream),
            stop,
            _folder: None,
        });
    }
    let is_whole = plan.sheets() == plan.sheets_in_file && plan.password.is_none();
    let (file, folder) = if is_whole {
        (plan.file.clone(), None)
    } else {
        let (file, folder) = part(plan)?;
        (file, Some(folder))
    };
    let reader = File::open(&file).map_err(|e| Refusal::file("read", &file, &e))?;
    Ok(Body {
        reader: Box::new(reader),
        stop,
        _folder: folder,
    })
}

/// The pages that are printed, as a file of their own.
fn part(plan: &Plan) -> Result<(std::path::PathBuf, tempfile::TempDir), Refusal> {
    let fault = |e: &std::io::Error| Refusal::file("write", &std::env::temp_dir(), e);
    let folder = tempfile::tempdir().map_err(|e| fault(&e))?;
    let output = folder.path().join("part.pdf");
    let (first, last) = plan.pages;
    let job = CorrectJob {
        sources: vec![Source {
            file: plan.file.clone(),
            password: plan.password.clone(),
        }],
        output: output.clone(),
        pages: (first..=last)
            .map(|page| PageOut::untouched(0, page))
            .collect(),
        ..CorrectJob::default()
    };
    tympan_pdf::correct(&job, &mut |_| {}, &AtomicBool::new(false))?;
    Ok((output, folder))
}

fn attempt(printer: &Printer, plan: &Plan, watch: &mut Watch<'_>) -> Result<Outcome, Failed> {
    let Body {
        mut reader,
        stop,
        _folder,
    } = body(plan).map_err(Failed::Refused)?;
    let job = Job {
        ticket: &plan.ticket,
        settled: &plan.settled,
        way: plan.way,
    };
    // A connection of its own for the pages, so that it can be broken off; and one for questions,
    // which must not wait behind them.
    let sending = printer.again(Patience::default());
    let asking = printer.again(Patience {
        connect: QUICK,
        answer: QUICK,
        stall: QUICK,
    });
    let number = Mutex::new(None);
    let known = |id: i32| {
        if let Ok(mut number) = number.lock() {
            *number = Some(id);
        }
    };
    let result = thread::scope(|scope| {
        let sender = scope.spawn(|| sending.send(&job, &mut reader, &known));
        let mut round = Round::new(plan, &asking, watch);
        let ended = loop {
            let is_sent = sender.is_finished();
            let id = number.lock().ok().and_then(|number| *number);
            if is_sent && id.is_none() {
                break None;
            }
            if let Some(ending) = round.look(id, is_sent) {
                break Some(ending);
            }
            // Fast at the end, so that a printer that refuses is told at once.
            wait(if is_sent { POLL / 2 } else { POLL }, round.watch.cancel);
        };
        if ended.is_some() && !sender.is_finished() {
            stop.store(true, Ordering::Relaxed);
            sending.break_off();
        }
        let sent = match sender.join() {
            Ok(sent) => sent,
            Err(_) => Err(PrinterError::Pages("the work stopped".to_owned())),
        };
        (ended.map(|ending| round.outcome(ending)), sent)
    });
    match result {
        // Without a number nothing was begun, unless the whole job went in one request.
        (None, Err(e)) => Err(Failed::Printer(e)),
        (None, Ok(id)) => Ok(bare(plan, Ending::Printed, Some(id))),
        (Some(mut outcome), sent) => {
            if let Err(e) = sent
                && outcome.ended == Ending::Aborted
                && !matches!(e, PrinterError::JobGone)
            {
                outcome.said.push(e.to_string());
            }
            Ok(outcome)
        }
    }
}

fn bare(plan: &Plan, ended: Ending, job: Option<i32>) -> Outcome {
    Outcome {
        ended,
        first_sheet: plan.first_sheet,
        last_sheet: plan.last_sheet,
        sheets_out: None,
        go_on_from: (ended != Ending::Printed).then_some(plan.first_sheet),
        job,
        stopped_by: None,
        said: Vec::new(),
    }
}

/// What is known while a job is printed.
struct Round<'a, 'b> {
    plan: &'a Plan,
    asking: &'a Printer,
    watch: &'a mut Watch<'b>,
    job: Option<i32>,
    out: Option<usize>,
    is_held: bool,
    cancelling_since: Option<Instant>,
    silent_since: Option<Instant>,
    up: Option<i32>,
    was_off: bool,
    last: Option<Stage>,
    troubles: Vec<Trouble>,
    said: Vec<String>,
    /// Since when the pages could not be sent although the job goes on.
    broken_since: Option<Instant>,
    /// Since when something stops the printer.
    stopped_since: Option<Instant>,
    /// What stopped it last.
    stopped_by: Option<String>,
}

impl<'a, 'b> Round<'a, 'b> {
    fn new(plan: &'a Plan, asking: &'a Printer, watch: &'a mut Watch<'b>) -> Self {
        Self {
            plan,
            asking,
            watch,
            job: None,
            out: None,
            is_held: false,
            cancelling_since: None,
            silent_since: None,
            up: None,
            was_off: false,
            last: None,
            troubles: Vec::new(),
            said: Vec::new(),
            broken_since: None,
            stopped_since: None,
            stopped_by: None,
        }
    }

    /// Asks the printer once how things are; an ending where it is over.
    fn look(&mut self, id: Option<i32>, is_sent: bool) -> Option<Ending> {
        self.job = id;
        if self.watch.cancel.load(Ordering::Relaxed) && self.cancelling_since.is_none() {
            self.cancelling_since = Some(Instant::now());
            match id.map(|id| self.asking.cancel(id)) {
                Some(Ok(())) => {}
                // Whatever the printer still does: nothing more is sent.
                _ => return Some(Ending::Cancelled),
            }
        }
        match self.asking.now() {
            Ok(now) => {
                if let (Some(before), Some(now)) = (self.up, now.up)
                    && now < before
                {
                    self.was_off = true;
                }
                self.up = now.up.or(self.up);
                self.answers();
                self.told(now.troubles);
                if self.is_left_alone() {
                    if let Some(id) = id {
                        // Whether it hears of it or not: nothing more is waited for.
                        let _ = self.asking.cancel(id);
                    }
                    return Some(Ending::Unmended);
                }
            }
            Err(e) => return self.no_answer(&e),
        }
        match self.asking.job(id?) {
            Ok(job) => self.job_is(&job, is_sent),
            Err(PrinterError::JobGone) => self.gone(is_sent),
            Err(e) => self.no_answer(&e),
        }
    }

    fn answers(&mut self) {
        if self.silent_since.take().is_some() {
            (self.watch.tell)(&Happening::AnswersAgain);
        }
    }

    fn no_answer(&mut self, error: &PrinterError) -> Option<Ending> {
        // Slow to answer is one thing; not there at all is off.
        self.was_off |= !matches!(error, PrinterError::Silent { .. });
        let since = match self.silent_since {
            Some(since) => since,
            None => {
                (self.watch.tell)(&Happening::NoAnswer {
                    message: error.to_string(),
                    hint: error.hint().to_owned(),
                });
                *self.silent_since.insert(Instant::now())
            }
        };
        let is_over = since.elapsed() > self.watch.patience || self.cancelling_since.is_some();
        is_over.then(|| {
            self.said.push(error.to_string());
            match self.cancelling_since.is_some() {
                true => Ending::Cancelled,
                false => Ending::Lost,
            }
        })
    }

    /// Whether the printer has been stopped for longer than anybody waits.
    fn is_left_alone(&mut self) -> bool {
        // Where the printer counts, it is seen whether it goes on in spite of a warning.
        let counts = self.out.is_some();
        let stops = |trouble: &&Trouble| trouble.stops || (trouble.may_stop && counts);
        let Some(stop) = self.troubles.iter().find(stops) else {
            self.stopped_since = None;
            return false;
        };
        self.stopped_by = Some(stop.message.clone());
        let since = *self.stopped_since.get_or_insert_with(Instant::now);
        let within = self.watch.mend_within;
        self.cancelling_since.is_none() && within.is_some_and(|within| since.elapsed() > within)
    }

    fn told(&mut self, now: Vec<Trouble>) {
        for trouble in &now {
            if !self.troubles.contains(trouble) {
                (self.watch.tell)(&Happening::Trouble(trouble.clone()));
            }
        }
        for trouble in &self.troubles {
            if !now.iter().any(|t| t.code == trouble.code) {
                (self.watch.tell)(&Happening::Mended {
                    message: trouble.message.clone(),
                });
            }
        }
        self.troubles = now;
    }

    fn job_is(&mut self, job: &JobNow, is_sent: bool) -> Option<Ending> {
        if let Some(out) = self.sheets_out(job)
            && self.out != Some(out)
        {
            self.out = Some(out);
            self.stopped_since = None;
            let of = self.plan.sheets();
            (self.watch.tell)(&Happening::Sheets { out, of });
        }
        if job.stage == Stage::Held && !self.is_held {
            (self.watch.tell)(&Happening::Held);
        }
        self.is_held = job.stage == Stage::Held;
        self.last = Some(job.stage);
        let is_cancelled = self
            .cancelling_since
            .is_some_and(|since| since.elapsed() > QUICK);
        if !job.stage.is_over() && is_cancelled {
            self.said.push("the printer has not stopped yet".to_owned());
            return Some(Ending::Cancelled);
        }
        if !job.stage.is_over() {
            // The pages are no longer being sent; the printer may still end the job by itself.
            let since = *self.broken_since.get_or_insert_with(Instant::now);
            if !is_sent {
                self.broken_since = None;
            } else if since.elapsed() > self.watch.patience && self.is_idle() {
                return Some(Ending::Lost);
            }
            return None;
        }
        if let Some(message) = &job.message
            && job.stage != Stage::Done
        {
            self.said.push(format!("the printer says \"{message}\""));
        }
        Some(match job.stage {
            Stage::Done => Ending::Printed,
            Stage::Cancelled => Ending::Cancelled,
            _ => Ending::Aborted,
        })
    }

    /// Whether nothing that stops the printer explains why the job does not go on.
    fn is_idle(&self) -> bool {
        self.last == Some(Stage::Waiting) && !self.troubles.iter().any(|trouble| trouble.stops)
    }

    /// The printer has forgotten the job: because it was off, or because it was done and is not
    /// kept.
    fn gone(&mut self, is_sent: bool) -> Option<Ending> {
        let all_out = self.out.is_some_and(|out| out >= self.plan.sheets());
        let is_short = self.out.is_some_and(|out| out > 0 && !all_out);
        let may_be_done = is_sent && !self.was_off && !is_short && self.last.is_some();
        if self.cancelling_since.is_some() {
            return Some(Ending::Cancelled);
        }
        if all_out || may_be_done {
            return Some(Ending::Printed);
        }
        self.said.push(
            "the printer was off in between, or its memory was emptied; it does not know the job \
             any more"
                .to_owned(),
        );
        Some(Ending::Lost)
    }

    /// Sheets that have come out whole.
    fn sheets_out(&self, job: &JobNow) -> Option<usize> {
        let per_sheet = self.plan.sides.per_sheet();
        let pages = self.plan.pages.1 + 1 - self.plan.pages.0;
        let by_sides = job.sides.map(|sides| match sides >= pages {
            true => self.plan.sheets(),
            false => sides / per_sheet,
        });
        // Printers that do not count say 0 for ever.
        let sheets = job.sheets.filter(|n| *n > 0).or(by_sides)?;
        Some(sheets.min(self.plan.sheets()))
    }

    fn outcome(mut self, ended: Ending) -> Outcome {
        let plan = self.plan;
        let out = self.out.filter(|out| *out > 0 || ended != Ending::Printed);
        if ended == Ending::Printed
            && let Some(out) = out
            && out < plan.sheets()
        {
            self.said.push(format!(
                "the printer says that it is done, but counted {out} of {} sheets: count them",
                plan.sheets()
            ));
        }
        let go_on_from = match ended {
            Ending::Printed => None,
            _ => {
                Some(plan.first_sheet + out.unwrap_or(0)).filter(|sheet| *sheet <= plan.last_sheet)
            }
        };
        Outcome {
            sheets_out: out,
            go_on_from,
            stopped_by: self.stopped_by,
            said: self.said,
            ..bare(plan, ended, self.job)
        }
    }
}
