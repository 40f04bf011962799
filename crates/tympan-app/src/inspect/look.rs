//! Reading the pages: what they hold, their pictures, their cells and faults.

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, mpsc};
use std::thread;
use std::time::{Duration, Instant};

use tympan_inspect::faults::{self, Figures, Found, PageView, Print, Seen};
use tympan_inspect::{Fault, Grid, Look, PageCells, Severity, cells};
use tympan_pdf::contents::{Contents, Extent, Limits};
use tympan_pdf::raster::{Pages, RasterError, View};
use tympan_pdf::{Access, Caution, Document};

use super::Looked;
use crate::refusal::Refusal;

/// Sharpness of the pictures that pages are looked at in: 150 dpi.
const PX_PER_MM: f64 = 150.0 / 25.4;
/// The most pixels of such a picture; larger pages are looked at more coarsely.
const MOST_PIXELS: f64 = 8e6;
/// Pages beyond this are not looked at: nobody prints so many cards at home.
const MOST_PAGES: usize = 1000;
/// A page that takes longer than this is not looked at. (What is refused for its weight would take
/// longer; a page of a card file takes a tenth of a second.)
const MOST_TIME: Duration = Duration::from_secs(40);
/// So many such pages are taken for accidents; after them no more pages are begun.
const MOST_LATE: usize = 3;
/// How often it is seen whether a page is late, or all should stop.
const LOOK_UP: Duration = Duration::from_millis(100);
/// Pages are looked at by so many threads at most: each holds pictures.
const MOST_THREADS: usize = 4;

/// How far looking has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Progress {
    /// Pages looked at.
    pub done: usize,
    /// Of so many.
    pub total: usize,
}

/// What one page gave.
struct PageSeen {
    look: Look,
    seen: Seen,
}

/// A file that is open for both readers.
struct Opened {
    pages: Pages,
    count: usize,
    /// Which pages ask for more than honest pages do: these are not looked at.
    too_heavy: Vec<bool>,
    cautions: Vec<String>,
    faults: Vec<Fault>,
    /// Whether Tympan has moved its backs before.
    corrected: bool,
}

/// Looks at all pages of the files.
pub(crate) fn at(
    files: &[&PathBuf],
    password: Option<&str>,
    print: &Print,
    progress: &mut dyn FnMut(Progress),
    cancel: &AtomicBool,
) -> Result<Vec<Looked>, Refusal> {
    let all = Reach {
        pages: usize::MAX,
        threads: MOST_THREADS,
    };
    at_first(files, password, all, print, progress, cancel)
}

/// How much is looked at.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Reach {
    /// No more than so many pages at the head of each file.
    pub(crate) pages: usize,
    /// No more than so many at a time: each holds pictures.
    pub(crate) threads: usize,
}

/// Looks at the pages at the head of each file.
pub(crate) fn at_first(
    files: &[&PathBuf],
    password: Option<&str>,
    reach: Reach,
    print: &Print,
    progress: &mut dyn FnMut(Progress),
    cancel: &AtomicBool,
) -> Result<Vec<Looked>, Refusal> {
    let first = |file: &&PathBuf| {
        let opened = open(file, password)?;
        Ok(Arc::new(Opened {
            count: opened.count.min(reach.pages),
            ..opened
        }))
    };
    let opened = files
        .iter()
        .map(first)
        .collect::<Result<Vec<_>, Refusal>>()?;
    let total = opened.iter().map(|file| file.count).sum();
    let mut done = 0;
    let mut seen = Vec::new();
    for file in &opened {
        seen.push(all_pages(
            file,
            print,
            Patience::default(),
            reach.threads,
            cancel,
            &mut || {
                done += 1;
                progress(Progress { done, total });
            },
        )?);
    }
    settle(&opened, &mut seen, print, cancel)?;
    Ok(opened
        .into_iter()
        .zip(seen)
        .map(|(file, pages)| gathered(&file, pages))
        .collect())
}

/// Some cells are told only by other pages, of any of the files; what was seen without them is seen
/// anew.
fn settle(
    files: &[Arc<Opened>],
    seen: &mut [Vec<PageSeen>],
    print: &Print,
    cancel: &AtomicBool,
) -> Result<(), Refusal> {
    let places: Vec<(usize, usize)> = (seen.iter().enumerate())
        .flat_map(|(file, pages)| (0..pages.len()).map(move |page| (file, page)))
        .collect();
    let mut settled: Vec<PageCells> = (places.iter())
        .map(|&(file, page)| seen[file][page].look.cells.clone())
        .collect();
    cells::settle(&mut settled);
    for (&(file, page), cells) in places.iter().zip(settled) {
        let look = &mut seen[file][page].look;
        if shows_the_same(&look.cells.grids, &cells.grids) {
            look.cells = cells;
        } else {
            seen[file][page] = one_page(&files[file], page, Some(cells), print, cancel)?;
        }
    }
    Ok(())
}

/// Whether the same cells hold something, however many are empty.
fn shows_the_same(before: &[Grid], after: &[Grid]) -> bool {
    const NEAR_MM: f64 = 0.05;
    let same = |a: &Grid, b: &Grid| {
        let mut cells = a.filled_cells().zip(b.filled_cells());
        a.trim.is_close(b.trim, NEAR_MM)
            && a.count() == b.count()
            && cells.all(|((c, r), (d, s))| (a.centre(c, r) - b.centre(d, s)).length() < NEAR_MM)
    };
    before.len() == after.len() && before.iter().zip(after).all(|(a, b)| same(a, b))
}

fn open(path: &Path, password: Option<&str>) -> Result<Opened, Refusal> {
    let document = Document::open(path, password)?;
    let pages = Pages::read(path, password)?;
    let both = document.page_count().min(pages.count());
    let mut faults = Vec::new();
    let mut cautions = Vec::new();
    for caution in document.cautions() {
        if matches!(caution, Caution::Repaired | Caution::PagesDisagree { .. }) {
            faults.push(of_file(
                "damaged",
                Severity::Warning,
                caution.to_string(),
                "download or export it again, or print it to a new PDF from a viewer that shows it",
            ));
        } else {
            cautions.push(caution.to_string());
        }
    }
    if let Access::User { print, change, .. } = document.access()
        && !(print && change)
    {
        let what = if print {
            "to be changed"
        } else {
            "to be printed"
        };
        faults.push(of_file(
            "locked",
            Severity::Warning,
            format!("its owner does not allow it {what}"),
            "give the owner's password with --password if you have it, or ask the publisher for a \
             file that may be changed and printed",
        ));
    }
    if both > MOST_PAGES {
        cautions.push(format!(
            "only the first {MOST_PAGES} of {both} pages were looked at"
        ));
    }
    let count = both.min(MOST_PAGES);
    let too_heavy = (1..=count)
        .map(|number| document.may_be_drawn(number).map(|may| !may))
        .collect::<Result<_, _>>()?;
    Ok(Opened {
        pages,
        count,
        too_heavy,
        cautions,
        faults,
        corrected: document.mark().corrected,
    })
}

fn of_file(code: &'static str, severity: Severity, message: String, hint: &str) -> Fault {
    Fault {
        code,
        severity,
        back_file: false,
        pages: Vec::new(),
        place: None,
        message,
        hint: hint.to_owned(),
    }
}

/// How long looking at a page may take, and how many pages may take longer.
#[derive(Clone, Copy, Debug)]
struct Patience {
    page: Duration,
    pages: usize,
}

impl Default for Patience {
    fn default() -> Self {
        Self {
            page: MOST_TIME,
            pages: MOST_LATE,
        }
    }
}

/// What the threads that look at pages tell.
enum Told {
    Begun(usize),
    Seen(usize, Box<Result<PageSeen, RasterError>>),
}

/// Looks at the pages of one file, several at a time. Drawing cannot be asked to stop, so that a
/// page that takes too long is left to its thread, and the work goes on without it.
fn all_pages(
    file: &Arc<Opened>,
    print: &Print,
    patience: Patience,
    most_threads: usize,
    cancel: &AtomicBool,
    step: &mut dyn FnMut(),
) -> Result<Vec<PageSeen>, Refusal> {
    let stop = Arc::new(AtomicBool::new(false));
    let next = Arc::new(AtomicUsize::new(0));
    let (sender, receiver) = mpsc::channel();
    let start = || {
        let (file, stop, next) = (Arc::clone(file), Arc::clone(&stop), Arc::clone(&next));
        let (sender, print) = (sender.clone(), *print);
        thread::spawn(move || {
            loop {
                let page = next.fetch_add(1, Ordering::Relaxed);
                if page >= file.count || stop.load(Ordering::Relaxed) {
                    return;
                }
                if sender.send(Told::Begun(page)).is_err() {
                    return;
                }
                let one = Box::new(one_page(&file, page, None, &print, &stop));
                if sender.send(Told::Seen(page, one)).is_err() {
                    return;
                }
            }
        });
    };
    let threads = thread::available_parallelism().map_or(1, usize::from);
    for _ in 0..threads.min(most_threads).min(file.count) {
        start();
    }
    let mut seen: Vec<Option<PageSeen>> = (0..file.count).map(|_| None).collect();
    let mut begun: Vec<Option<Instant>> = vec![None; file.count];
    let (mut left, mut late) = (file.count, 0);
    let finish = |error: Refusal| {
        stop.store(true, Ordering::Relaxed);
        Err(error)
    };
    while left > 0 {
        if cancel.load(Ordering::Relaxed) {
            return finish(Refusal {
                message: "stopped".to_owned(),
                hint: None,
            });
        }
        match receiver.recv_timeout(LOOK_UP) {
            Ok(Told::Begun(page)) => begun[page] = Some(Instant::now()),
            Ok(Told::Seen(page, one)) => match *one {
                Err(error) => return finish(error.into()),
                // One that was given up may come after all.
                Ok(one) if seen[page].is_none() => {
                    seen[page] = Some(one);
                    left -= 1;
                    step();
                }
                Ok(_) => {}
            },
            Err(_) => {}
        }
        for page in 0..file.count {
            let waited = begun[page].is_some_and(|at| at.elapsed() > patience.page);
            // Pages that are nobody's turn any more are not looked at, either.
            let nobody = late > patience.pages && begun[page].is_none();
            if seen[page].is_some() || !(waited || nobody) {
                continue;
            }
            seen[page] = Some(unseen(file, page, print)?);
            left -= 1;
            step();
            if waited {
                late += 1;
                if late <= patience.pages {
                    start();
                } else {
                    next.store(file.count, Ordering::Relaxed);
                }
            }
        }
    }
    stop.store(true, Ordering::Relaxed);
    Ok(seen.into_iter().flatten().collect())
}

/// What is told of a page that is not looked at.
fn unseen(file: &Opened, page: usize, print: &Print) -> Result<PageSeen, RasterError> {
    let size = file.pages.size(page)?;
    let blank = image::RgbImage::from_pixel(1, 1, image::Rgb([255; 3]));
    Ok(seen_in(
        Contents::unread(page, size),
        blank,
        1.0,
        None,
        print,
    ))
}

/// Looks at one page; `known` are its cells, where others have told them.
fn one_page(
    file: &Opened,
    page: usize,
    known: Option<PageCells>,
    print: &Print,
    cancel: &AtomicBool,
) -> Result<PageSeen, RasterError> {
    if file.too_heavy[page] {
        return unseen(file, page, print);
    }
    let pages = &file.pages;
    let size = pages.size(page)?;
    let sharp = PX_PER_MM.min((MOST_PIXELS / (size.w * size.h)).sqrt());
    let limits = Limits {
        cancel: Some(cancel),
        ..Limits::default()
    };
    let mut contents = pages.contents(page, &limits)?;
    let picture = match pages.rgb(page, &View::whole(sharp)) {
        Ok(picture) => picture,
        Err(RasterError::Broken { .. }) => {
            // A page that cannot be drawn is a fault of that page, not the end of looking.
            contents.extent = Extent::Broken;
            image::RgbImage::from_pixel(1, 1, image::Rgb([255; 3]))
        }
        Err(error) => return Err(error),
    };
    Ok(seen_in(contents, picture, sharp, known, print))
}

/// What a page's contents and picture give.
fn seen_in(
    contents: Contents,
    picture: image::RgbImage,
    px_per_mm: f64,
    known: Option<PageCells>,
    print: &Print,
) -> PageSeen {
    let grey = image::imageops::grayscale(&picture);
    let cells = match known {
        Some(mut known) => {
            cells::look_again(&mut known, &grey, px_per_mm);
            known
        }
        None => cells::find(&contents, &grey, px_per_mm),
    };
    drop(grey);
    let view = PageView {
        cells: &cells,
        contents: &contents,
        picture: &picture,
        px_per_mm,
    };
    let seen = faults::of_page(&view, print);
    let look = Look::new(cells, &picture, px_per_mm).reading(&contents);
    PageSeen { look, seen }
}

fn gathered(file: &Opened, pages: Vec<PageSeen>) -> Looked {
    let mut looked = Looked {
        looks: Vec::new(),
        figures: Vec::<Figures>::new(),
        found: Vec::<Found>::new(),
        cards: Vec::new(),
        cautions: file.cautions.clone(),
        faults: file.faults.clone(),
        corrected: file.corrected,
    };
    for page in pages {
        looked.looks.push(page.look);
        looked.figures.push(page.seen.figures);
        looked.found.extend(page.seen.found);
        looked.cards.extend(page.seen.cards);
    }
    looked
}

#[cfg(test)]
mod tests {
    use super::*;
    use tympan_pdf::draw::{self, Meta};
    use tympan_sheet::{Flip, Size};

    #[test]
    fn a_file_whose_pages_take_too_long_is_told_and_not_waited_for() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("demo.pdf");
        let sheets = tympan_game::sheets::deck_sheets(Size::new(210.0, 297.0), Flip::Sideways);
        let game = draw::write(&sheets, &Meta::new("deck")).expect("drawn");
        std::fs::write(&path, game).expect("written");
        let file = Arc::new(open(&path, None).expect("opened"));
        let none = Patience {
            page: Duration::ZERO,
            pages: 2,
        };
        let cancel = AtomicBool::new(false);
        let mut steps = 0;
        let seen = all_pages(&file, &Print::default(), none, 2, &cancel, &mut || {
            steps += 1;
        })
        .expect("an answer");
        assert_eq!((seen.len(), steps), (file.count, file.count));
        let looked = gathered(&file, seen);
        let faults = faults::gather(looked.found);
        assert_eq!(faults[0].code, "too-rich");
        assert!(looked.looks.iter().all(|look| look.cells.grids.is_empty()));
    }

    #[test]
    fn progress_is_told_page_by_page_and_a_cancelled_look_stops() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("demo.pdf");
        let sheets = tympan_game::sheets::deck_sheets(Size::new(210.0, 297.0), Flip::Sideways);
        let game = draw::write(&sheets, &Meta::new("deck")).expect("drawn");
        std::fs::write(&path, game).expect("written");
        let cancel = AtomicBool::new(false);
        let mut told = Vec::new();
        let print = Print::default();
        let looked = at(&[&path], None, &print, &mut |at| told.push(at), &cancel);
        let count = looked.expect("an answer")[0].looks.len();
        let all: Vec<Progress> = (1..=count)
            .map(|done| Progress { done, total: count })
            .collect();
        assert_eq!(told, all);
        let mut begun = 0;
        let mut stop = |at: Progress| {
            begun = at.done;
            cancel.store(true, Ordering::Relaxed);
        };
        let stopped = at(&[&path], None, &print, &mut stop, &cancel);
        assert_eq!(
            stopped.err().map(|refusal| refusal.message),
            Some("stopped".to_owned())
        );
        assert!(begun < count, "{begun} of {count} pages");
    }
}
