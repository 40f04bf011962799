//! Looking at a file of cards before stock is spent on it.

pub(crate) mod look;
mod said;

use std::path::PathBuf;
use std::sync::atomic::AtomicBool;

use tympan_inspect::faults::{self, Expect, Print};
use tympan_inspect::{
    Asked, Fault, Look, PageCells, Pair, Pairing, Place, Role, Severity, pair, pair_files,
};
use tympan_register::Cutting;
use tympan_sheet::{Front, Paper, Point, Rect};
use tympan_store::{SetUp, Store};

use crate::measure;
use crate::refusal::Refusal;
use crate::report;

pub use look::Progress;
pub use said::{FaultSaid, FileErrorSaid, GridSaid, Inspection, PageSaid, PairSaid};
pub use tympan_inspect::{Asked as AskedPairs, AskedError};

/// Cuts fall within this of where they should 19 times in 20, mm (common practice for a desk
/// trimmer).
pub(crate) const CUT_TOLERANCE_MM: f64 = 0.5;

/// The share of cards that bleed and border are judged for.
const SHARE: f64 = 0.95;
/// So many pages tell what cards a run has.
const FIRST_PAGES: usize = 4;

/// What is asked about which file.
#[derive(Clone, Debug, Default)]
pub struct Request {
    /// The file, or the fronts, where the backs are in a file of their own.
    pub file: PathBuf,
    /// The backs.
    pub back_file: Option<PathBuf>,
    /// The set-up that it is to be printed on, by its name.
    pub setup: Option<String>,
    /// The paper, where it is not the set-up's.
    pub paper: Option<Paper>,
    /// Which pages are pairs.
    pub pairs: Asked,
    /// The files' password.
    pub password: Option<String>,
}

/// A file that was looked at, page by page.
pub(crate) struct Looked {
    pub(crate) looks: Vec<Look>,
    pub(crate) figures: Vec<faults::Figures>,
    pub(crate) found: Vec<faults::Found>,
    pub(crate) cards: Vec<faults::CardEdges>,
    pub(crate) cautions: Vec<String>,
    pub(crate) faults: Vec<Fault>,
    /// Whether Tympan has moved its backs before.
    pub(crate) corrected: bool,
}

impl Looked {
    pub(crate) fn cells(&self) -> Vec<PageCells> {
        self.looks.iter().map(|look| look.cells.clone()).collect()
    }
}

/// Looks at a file.
///
/// # Errors
/// A [`Refusal`] where a file cannot be read, the set-up is not known, the pairs asked for are not
/// there, or the work was cancelled.
pub fn inspect(
    store: Option<&Store>,
    request: &Request,
    progress: &mut dyn FnMut(Progress),
    cancel: &AtomicBool,
) -> Result<Inspection, Refusal> {
    let setup = match (&request.setup, store) {
        (None, _) => None,
        (Some(name), Some(store)) => {
            let setup = store.set_up_named(name)?;
            let learnt = measure::learn(store, &setup)?;
            Some((setup, learnt))
        }
        (Some(_), None) => {
            return Err(Refusal::new(
                "there is no data folder",
                "give it with --data",
            ));
        }
    };
    let set_up = setup.as_ref().map(|(setup, _)| setup);
    let print = Print {
        paper: request
            .paper
            .as_ref()
            .or(set_up.map(|setup| &setup.paper))
            .map(Paper::size),
        margins: margins(set_up),
    };
    let mut files = vec![&request.file];
    files.extend(&request.back_file);
    let mut looked = look::at(
        &files,
        request.password.as_deref(),
        &print,
        progress,
        cancel,
    )?;
    let expected = setup.as_ref().map(|(setup, learnt)| {
        // The cards that the file has, on the set-up that it is for.
        let after = learnt.fit.next_sheet(&learnt.fit.field());
        let cells = cells_on_sheet(&looked, setup);
        after.cards(&cells, Cutting::new(CUT_TOLERANCE_MM / 2.0))
    });
    for file in &mut looked {
        let lopsided = |border| expected.as_ref().map_or(0.0, |c| c.share_lopsided(border));
        let expect = expected.as_ref().map(|cards| Expect {
            bleed_mm: cards.bleed_for(SHARE),
            lopsided: &lopsided,
        });
        file.found
            .extend(faults::of_cards(&file.cards, expect.as_ref()));
    }
    let mut pairing = pairing(&looked, &request.pairs)?;
    if let Some(setup) = set_up {
        pairing.take(setup.flip);
    }
    let backs = looked.get(1).map(Looked::cells);
    let of_pairs = faults::of_pairs(&looked[0].cells(), backs.as_deref(), &pairing.pairs);
    let mut faults = of_pairs;
    if looked.iter().any(|file| file.corrected) {
        corrected_before(&mut faults);
    }
    faults.extend(set_up.and_then(|setup| other_flip(&looked[0], &pairing, setup)));
    for (file, looked) in looked.iter_mut().enumerate() {
        let mut own = faults::gather(std::mem::take(&mut looked.found));
        own.append(&mut looked.faults);
        faults.extend(own.into_iter().map(|fault| Fault {
            back_file: file > 0,
            ..fault
        }));
    }
    faults::sort(&mut faults);
    Ok(said::said(request, &looked, &pairing, faults))
}

/// The pages paired, of one file or of two.
pub(crate) fn pairing(looked: &[Looked], asked: &Asked) -> Result<Pairing, Refusal> {
    Ok(match looked {
        [fronts, backs] => pair_files(&fronts.looks, &backs.looks, asked)?,
        [file, ..] => pair(&file.looks, asked)?,
        [] => return Err(Refusal::new("no file was given", "name a PDF file")),
    })
}

/// Tells of a file that was corrected before what lies off in it as what is meant.
fn corrected_before(faults: &mut Vec<Fault>) {
    let off = faults.iter().position(|fault| fault.code == "file-error");
    let off = off.map(|at| faults.remove(at));
    let message = match &off {
        Some(off) => format!(
            "it was corrected for a printer before, and this is part of that: {}",
            off.message
        ),
        None => "it was corrected for a printer before".to_owned(),
    };
    let place = off.as_ref().and_then(|off| off.place);
    let back_file = off.as_ref().is_some_and(|off| off.back_file);
    faults.push(Fault {
        code: "corrected-before",
        severity: Severity::Note,
        back_file,
        pages: off.map_or_else(Vec::new, |off| off.pages),
        place,
        message,
        hint: "print it as it is on the set-up that it was corrected for; for another one correct \
               the file as it was"
            .into(),
    });
}

/// The fault of backs that are meant for the other flip than the set-up's. Of pages that lie on their
/// side on the sheet it is not said: there it depends on which way they are turned.
fn other_flip(fronts: &Looked, pairing: &Pairing, setup: &SetUp) -> Option<Fault> {
    let sheet = setup.paper.size();
    let wrong = |pair: &&Pair| {
        let size = fronts.looks[pair.front].cells.size;
        let folded = pairing.roles[pair.front] == Role::FoldOver;
        let upright = size.is_landscape() == sheet.is_landscape();
        !folded && upright && pair.flip == Some(setup.flip.other())
    };
    let mut pages: Vec<usize> = pairing.pairs.iter().filter(wrong).map(|p| p.back).collect();
    pages.dedup();
    let place = Place {
        page: *pages.first()?,
        area: None,
    };
    Some(Fault {
        code: "other-flip",
        severity: Severity::Serious,
        back_file: !pairing.back_roles.is_empty(),
        place: Some(place),
        pages,
        message: format!(
            "the backs fit their fronts when the sheet is flipped {}, and this set-up flips {}",
            setup.flip.other(),
            setup.flip
        ),
        hint: format!(
            "measure a set-up that flips {} and print it on that, or lay the cards out afresh for \
             this one with lay",
            setup.flip.other()
        ),
    })
}

fn margins(setup: Option<&SetUp>) -> [f64; 4] {
    match setup.and_then(|setup| setup.unprintable) {
        Some(u) => [u.top, u.right, u.bottom, u.left],
        None => [faults::USUAL_MARGIN_MM; 4],
    }
}

/// The cards of the fullest of the first pages of these files, on the set-up's sheet; none where
/// none are found, or the files cannot be looked at.
pub(crate) fn cells_of_first_pages(
    files: &[&PathBuf],
    password: Option<&str>,
    setup: &SetUp,
    cancel: &AtomicBool,
) -> Option<Vec<Rect<Front>>> {
    let print = Print {
        paper: Some(setup.paper.size()),
        margins: margins(Some(setup)),
    };
    // One page at a time: what this holds is much of what a run holds at all.
    let few = look::Reach {
        pages: FIRST_PAGES,
        threads: 1,
    };
    let looked = look::at_first(files, password, few, &print, &mut |_| (), cancel).ok()?;
    found_cells(&looked, setup)
}

/// The cells of the fullest page, on the set-up's sheet; usual ones where none were found.
fn cells_on_sheet(looked: &[Looked], setup: &SetUp) -> Vec<Rect<Front>> {
    found_cells(looked, setup)
        .unwrap_or_else(|| report::usual_cells(setup, report::Design::default().card))
}

/// The cells of the fullest page, on the set-up's sheet. On a
/// page that lies a quarter turned on the sheet the cards are taken as they would lie upright:
/// what matters here is their size and how far they lie from the middle.
fn found_cells(looked: &[Looked], setup: &SetUp) -> Option<Vec<Rect<Front>>> {
    let sheet = setup.paper.size();
    let grids = looked
        .iter()
        .flat_map(|file| &file.looks)
        .filter_map(|look| Some((&look.cells, look.cells.grids.first()?)));
    let (cells, grid) = grids.max_by_key(|(_, grid)| grid.count())?;
    let turned = cells.size.is_landscape() != sheet.is_landscape();
    let (page, paper): (Point<Front>, Point<Front>) = (cells.size.centre(), sheet.centre());
    let cells = grid
        .cells()
        .map(|(column, row)| {
            let middle = grid.centre(column, row);
            let (x, y) = (middle.x - page.x, middle.y - page.y);
            let (off, trim) = if turned {
                ((y, x), grid.trim.turned())
            } else {
                ((x, y), grid.trim)
            };
            let corner = Point::new(
                paper.x + off.0 - trim.w / 2.0,
                paper.y + off.1 - trim.h / 2.0,
            );
            Rect::at(corner, trim)
        })
        .collect();
    Some(cells)
}
