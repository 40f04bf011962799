//! The child process that reads files from strangers: the same program, started with a hidden
//! command, with limits on its memory and time. A hostile file costs only this child.
//!
//! It is asked in lines of JSON on its standard input and answers in lines on its standard output.
//! When its input ends, it ends.

use std::io::{self, BufRead, Write};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc;
use std::time::Duration;

use serde::{Deserialize, Serialize};
use tympan_app::Refusal;
use tympan_app::desk::picture::{self, Tile};
use tympan_app::desk::{
    Answered, DeckIn, DeckSaved, EndTold, Inspected, Look, Outcome, PicturesIn, PrintIn, RunIn,
    Work, look, look_closely,
};
use tympan_app::lay::{self, View};
use tympan_app::{correct, inspect, on_page};

/// What can be asked of the child.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(crate) enum Ask {
    /// A first look at files.
    Look {
        files: Vec<PathBuf>,
        password: Option<String>,
    },
    /// A picture of a part of a page, written to `output`.
    Tile {
        file: PathBuf,
        password: Option<String>,
        tile: Tile,
        output: PathBuf,
    },
    /// Where on a page (from 1) anything is printed.
    Printed {
        file: PathBuf,
        password: Option<String>,
        page: usize,
    },
    /// The corrected file.
    Save {
        data: PathBuf,
        work: Box<Work>,
        files: Vec<PathBuf>,
        password: Option<String>,
        output: PathBuf,
    },
    /// A close look at files; the last one holds the backs of the others where that is said.
    Inspect {
        files: Vec<PathBuf>,
        has_back_file: bool,
        password: Option<String>,
    },
    /// Pictures of test sheets, into the log.
    Read(Box<PicturesIn>),
    /// The demo game as a PDF.
    Demo { output: PathBuf },
    /// What there is to show of a deck.
    View(Box<DeckIn>),
    /// Both sides of one of its sheets (from 0), drawn into `STEM-front.png` and `STEM-back.png`.
    Sheet {
        deck: Box<DeckIn>,
        sheet: usize,
        stem: PathBuf,
    },
    /// Its sheets, written into a new folder.
    Lay { deck: Box<DeckIn>, folder: PathBuf },
    /// Work on a print run.
    Run(Box<RunIn>),
    /// What would be printed on a printer.
    PrintPlan(Box<PrintIn>),
    /// Print it.
    Print(Box<PrintIn>),
}

/// What the child says.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(crate) enum Said {
    /// How far it is.
    Progress { done: usize, total: usize },
    /// Files were looked at.
    Looked(Look),
    /// A picture was drawn, or a demo written.
    Drawn,
    /// Where anything is printed.
    Printed(Option<[f64; 4]>),
    /// The corrected file was written.
    Saved {
        in_words: String,
        cautions: Vec<String>,
    },
    /// Files were looked at closely.
    Inspected(Box<Inspected>),
    /// Pictures were read.
    Read(Outcome),
    /// What there is to show of a deck.
    Viewed(Box<View>),
    /// Its sheets were written.
    Laid(Box<DeckSaved>),
    /// A print run was made or changed: its name in the store.
    Ran(String),
    /// What a printer answered.
    Answered(Box<Answered>),
    /// Something happened while printing, and how many sheets are out by now.
    Happened { words: String, out: Option<usize> },
    /// Nothing new, but the work goes on.
    Alive,
    /// Printing has ended.
    PrintEnded(EndTold),
    /// It was not done.
    Refused {
        message: String,
        hint: Option<String>,
    },
}

impl Said {
    /// Whether more is to be said before the work is done.
    pub(crate) fn is_passing(&self) -> bool {
        matches!(
            self,
            Self::Progress { .. } | Self::Happened { .. } | Self::Alive
        )
    }
}

/// What comes on the child's standard input.
#[derive(Debug, Serialize, Deserialize)]
pub(crate) enum Order {
    /// Do this.
    Do(Box<Ask>),
    /// Leave off what is being done.
    Cancel,
}

/// Works as the child until standard input ends, with at most so many MB of memory.
///
/// # Errors
/// Where standard input or output fail.
pub fn work(memory_mb: u64) -> io::Result<()> {
    limit(memory_mb)?;
    let cancel = Arc::new(AtomicBool::new(false));
    let (orders, waiting) = mpsc::channel();
    let seen = Arc::clone(&cancel);
    std::thread::spawn(move || {
        for line in io::stdin().lock().lines() {
            match line.map(|line| serde_json::from_str(&line)) {
                Ok(Ok(Order::Do(ask))) => {
                    if orders.send(ask).is_err() {
                        break;
                    }
                }
                Ok(Ok(Order::Cancel)) => seen.store(true, Ordering::Relaxed),
                Ok(Err(_)) | Err(_) => break,
            }
        }
        // Nobody is left to hear the answer.
        std::process::exit(0);
    });
    let mut open = Open::default();
    for ask in waiting {
        cancel.store(false, Ordering::Relaxed);
        let said = answer(*ask, &mut open, &cancel).unwrap_or_else(|refusal| {
            let Refusal { message, hint } = refusal.on_page();
            Said::Refused { message, hint }
        });
        say(&said)?;
    }
    Ok(())
}

fn say(said: &Said) -> io::Result<()> {
    let mut out = io::stdout().lock();
    serde_json::to_writer(&mut out, said)?;
    out.write_all(b"\n")?;
    out.flush()
}

/// Longer than any honest work takes, seconds of processor time.
#[cfg(unix)]
const LONGEST_CPU: u64 = 1800;

#[cfg(unix)]
fn limit(memory_mb: u64) -> io::Result<()> {
    use rustix::process::{Resource, Rlimit, setrlimit};
    let both = |most: u64| Rlimit {
        current: Some(most),
        maximum: Some(most),
    };
    setrlimit(Resource::As, both(memory_mb << 20))?;
    setrlimit(Resource::Cpu, both(LONGEST_CPU))?;
    // A crash leaves no copy of the user's files behind.
    setrlimit(Resource::Core, both(0))?;
    Ok(())
}

#[cfg(not(unix))]
fn limit(_memory_mb: u64) -> io::Result<()> {
    Ok(())
}

/// What the visitor looks at comes before what is looked through meanwhile.
fn stand_back() {
    #[cfg(unix)]
    let _ = rustix::process::nice(10);
}

/// The files that were drawn from last stay open.
#[derive(Default)]
struct Open {
    files: Vec<(PathBuf, Option<String>, picture::Pages)>,
}

impl Open {
    const KEPT: usize = 2;

    fn pages(
        &mut self,
        file: PathBuf,
        password: Option<String>,
    ) -> Result<&picture::Pages, Refusal> {
        let found = self
            .files
            .iter()
            .position(|(path, given, _)| *path == file && *given == password);
        if let Some(index) = found {
            return Ok(&self.files[index].2);
        }
        if self.files.len() >= Self::KEPT {
            self.files.remove(0);
        }
        let pages = picture::open(&file, password.as_deref())?;
        self.files.push((file, password, pages));
        Ok(&self.files[self.files.len() - 1].2)
    }
}

fn answer(ask: Ask, open: &mut Open, cancel: &AtomicBool) -> Result<Said, Refusal> {
    Ok(match ask {
        Ask::Look { files, password } => Said::Looked(look(&files, password.as_deref())?),
        Ask::Tile {
            file,
            password,
            tile,
            output,
        } => {
            picture::draw(open.pages(file, password)?, &tile, &output)?;
            Said::Drawn
        }
        Ask::Printed {
            file,
            password,
            page,
        } => Said::Printed(picture::printed(open.pages(file, password)?, page)?),
        Ask::Save {
            data,
            work,
            files,
            password,
            output,
        } => save(data, &work, files, password, output, cancel)?,
        Ask::Inspect {
            files,
            has_back_file,
            password,
        } => {
            stand_back();
            let mut told = said_by_percent();
            let mut progress = |at: inspect::Progress| told(at.done, at.total);
            let found = look_closely(&files, has_back_file, password, &mut progress, cancel)?;
            Said::Inspected(Box::new(found))
        }
        Ask::Read(pictures) => Said::Read(pictures.read(&mut said_by_percent(), cancel)?),
        Ask::Run(run) => Said::Ran(run.carry_out(&mut said_by_percent(), cancel)?),
        Ask::PrintPlan(print) => Said::Answered(Box::new(print.ask()?)),
        Ask::Print(print) => print_it(&print, cancel)?,
        Ask::Demo { output } => {
            tympan_app::demo::write_deck(&output)?;
            Said::Drawn
        }
        Ask::View(deck) => {
            let mut told = said_by_percent();
            let mut progress = |at: lay::Progress| told(at.done, at.total);
            let view = deck.view(&mut progress, cancel);
            if cancel.load(Ordering::Relaxed) {
                return Err(Refusal::new(
                    "this was cancelled",
                    "start it again when you like",
                ));
            }
            Said::Viewed(Box::new(view))
        }
        Ask::Sheet { deck, sheet, stem } => {
            deck.draw_sheet(sheet, &stem)?;
            Said::Drawn
        }
        Ask::Lay { deck, folder } => {
            let mut told = said_by_percent();
            let mut progress = |at: lay::Progress| told(at.done, at.total);
            Said::Laid(Box::new(deck.save(&folder, &mut progress, cancel)?))
        }
    })
}

/// Says how far something is; a line for each per cent is enough.
fn said_by_percent() -> impl FnMut(usize, usize) {
    let mut told = None;
    move |done, total| {
        let percent = 100 * done / total.max(1);
        if told.replace(percent) != Some(percent) {
            // Where nobody listens, the end of standard input ends this process.
            let _ = say(&Said::Progress { done, total });
        }
    }
}

/// How often a word is given while a printer is waited for.
const STILL_THERE: Duration = Duration::from_secs(20);

/// Prints, and says so every now and then: a printer may wait for paper for hours.
fn print_it(print: &PrintIn, cancel: &AtomicBool) -> Result<Said, Refusal> {
    let (done, waiting) = mpsc::channel::<()>();
    std::thread::scope(|scope| {
        scope.spawn(move || {
            while waiting.recv_timeout(STILL_THERE) == Err(mpsc::RecvTimeoutError::Timeout) {
                let _ = say(&Said::Alive);
            }
        });
        let mut told = |words: &str, out: Option<usize>| {
            let _ = say(&Said::Happened {
                words: words.to_owned(),
                out,
            });
        };
        let ended = print.print(&mut told, cancel);
        drop(done);
        Ok(Said::PrintEnded(ended?))
    })
}

fn save(
    data: PathBuf,
    work: &Work,
    files: Vec<PathBuf>,
    password: Option<String>,
    output: PathBuf,
    cancel: &AtomicBool,
) -> Result<Said, Refusal> {
    let request = work.request(files, output, password)?;
    let store = match &request.asked {
        correct::Asked::SetUp(_) => Some(tympan_app::open_store(Some(data))?),
        _ => None,
    };
    let mut told = said_by_percent();
    let mut progress = |at: correct::Progress| told(at.done, at.total);
    let outcome = correct::correct(store.as_ref(), &request, &mut progress, cancel)?;
    Ok(Said::Saved {
        in_words: outcome.backs_in_words(),
        cautions: outcome
            .worth_knowing()
            .iter()
            .map(|text| on_page(text))
            .collect(),
    })
}
