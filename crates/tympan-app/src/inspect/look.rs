//! Reading the pages: what they hold, their pictures, their cells and faults.

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc;
use std::thread;

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
}

/// Looks at all pages of the files.
pub(crate) fn at(
    files: &[&PathBuf],
    password: Option<&str>,
    print: &Print,
    progress: &mut dyn FnMut(Progress),
    cancel: &AtomicBool,
) -> Result<Vec<Looked>, Refusal> {
    let opened = files
        .iter()
        .map(|file| open(file, password))
        .collect::<Result<Vec<_>, _>>()?;
    let total = opened.iter().map(|file| file.count).sum();
    let mut done = 0;
    let mut seen = Vec::new();
    for file in &opened {
        seen.push(all_pages(file, print, cancel, &mut || {
            done += 1;
            progress(Progress { done, total });
        })?);
    }
    settle(&opened, &mut seen, print, cancel)?;
    Ok(opened
        .into_iter()
        .zip(seen)
        .map(|(file, pages)| gathered(file, pages))
        .collect())
}

/// Some cells are told only by other pages, of any of the files; what was seen without them is seen
/// anew.
fn settle(
    files: &[Opened],
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
    })
}

fn of_file(code: &'static str, severity: Severity, message: String, hint: &str) -> Fault {
    Fault {
        code,
        severity,
        pages: Vec::new(),
        place: None,
        message,
        hint: hint.to_owned(),
    }
}

/// Looks at the pages of one file, several at a time.
fn all_pages(
    file: &Opened,
    print: &Print,
    cancel: &AtomicBool,
    step: &mut dyn FnMut(),
) -> Result<Vec<PageSeen>, Refusal> {
    let threads = thread::available_parallelism().map_or(1, usize::from);
    let next = AtomicUsize::new(0);
    let mut seen: Vec<Option<PageSeen>> = (0..file.count).map(|_| None).collect();
    thread::scope(|scope| {
        let (sender, receiver) = mpsc::channel();
        for _ in 0..threads.min(MOST_THREADS).min(file.count) {
            let (sender, next) = (sender.clone(), &next);
            scope.spawn(move || {
                loop {
                    let page = next.fetch_add(1, Ordering::Relaxed);
                    if page >= file.count || cancel.load(Ordering::Relaxed) {
                        return;
                    }
                    let one = one_page(file, page, None, print, cancel);
                    if sender.send((page, one)).is_err() {
                        return;
                    }
                }
            });
        }
        drop(sender);
        let mut refused = None;
        for (page, one) in receiver {
            match one {
                Ok(one) => seen[page] = Some(one),
                Err(error) => {
                    next.store(file.count, Ordering::Relaxed);
                    refused.get_or_insert(error);
                }
            }
            step();
        }
        match refused {
            Some(error) => Err(Refusal::from(error)),
            None => Ok(()),
        }
    })?;
    let all: Option<Vec<PageSeen>> = seen.into_iter().collect();
    all.ok_or_else(|| Refusal {
        message: "stopped".to_owned(),
        hint: None,
    })
}

/// Looks at one page; `known` are its cells, where others have told them.
fn one_page(
    file: &Opened,
    page: usize,
    known: Option<PageCells>,
    print: &Print,
    cancel: &AtomicBool,
) -> Result<PageSeen, RasterError> {
    let pages = &file.pages;
    let size = pages.size(page)?;
    let sharp = PX_PER_MM.min((MOST_PIXELS / (size.w * size.h)).sqrt());
    let limits = Limits {
        cancel: Some(cancel),
        ..Limits::default()
    };
    let blank = || image::RgbImage::from_pixel(1, 1, image::Rgb([255; 3]));
    let (contents, picture) = if file.too_heavy[page] {
        (Contents::unread(page, size), blank())
    } else {
        let mut contents = pages.contents(page, &limits)?;
        match pages.rgb(page, &View::whole(sharp)) {
            Ok(picture) => (contents, picture),
            Err(RasterError::Broken { .. }) => {
                // A page that cannot be drawn is a fault of that page, not the end of looking.
                contents.extent = Extent::Broken;
                (contents, blank())
            }
            Err(error) => return Err(error),
        }
    };
    let grey = image::imageops::grayscale(&picture);
    let cells = match known {
        Some(mut known) => {
            cells::look_again(&mut known, &grey, sharp);
            known
        }
        None => cells::find(&contents, &grey, sharp),
    };
    drop(grey);
    let view = PageView {
        cells: &cells,
        contents: &contents,
        picture: &picture,
        px_per_mm: sharp,
    };
    let seen = faults::of_page(&view, print);
    Ok(PageSeen {
        look: Look::new(cells, &picture, sharp),
        seen,
    })
}

fn gathered(file: Opened, pages: Vec<PageSeen>) -> Looked {
    let mut looked = Looked {
        looks: Vec::new(),
        figures: Vec::<Figures>::new(),
        found: Vec::<Found>::new(),
        cards: Vec::new(),
        cautions: file.cautions,
        faults: file.faults,
    };
    for page in pages {
        looked.looks.push(page.look);
        looked.figures.push(page.seen.figures);
        looked.found.extend(page.seen.found);
        looked.cards.extend(page.seen.cards);
    }
    looked
}
