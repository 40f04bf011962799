//! Which pages are the two sides of a sheet, and how they are flipped.
//!
//! A file seldom says so itself. What speaks for a way of pairing: backs that are all alike, pages
//! of one kind that look more like each other than like those of the other kind, cells that are
//! filled the other way round on part-filled sheets, grids that lie behind each other, and what is
//! usual. Every way that the number of pages allows is weighed by all of it; the best one is taken
//! and the share of its weight is how sure it is.

mod asked;
mod flips;
mod look;
mod ways;

use tympan_sheet::{Angle, Flip};

use crate::file_error::file_error;
use crate::findings::{Pair, Role, Standing, Way};

pub use asked::{Asked, AskedError};
pub use look::Look;

/// Nothing that is only weighed is surer than this.
const SUREST: f64 = 0.99;

/// What became of the pages of a file, or of a file of fronts and one of backs.
#[derive(Clone, Debug, PartialEq)]
pub struct Pairing {
    /// How the file says which pages belong together.
    pub way: Way,
    /// The sheets' fronts with their backs, in the order of the fronts.
    pub pairs: Vec<Pair>,
    /// What each page is for; of the second file in `back_roles`.
    pub roles: Vec<Role>,
    /// The same for the file of backs, where there is one.
    pub back_roles: Vec<Role>,
    /// How likely it is that the way is right, 0 to 1.
    pub confidence: f64,
    /// What speaks for it, in words; one sentence each, without full stops.
    pub evidence: Vec<String>,
}

impl Pairing {
    /// Where both flips fit, tells the file's error for the one that is meant.
    pub fn take(&mut self, flip: Flip) {
        for pair in &mut self.pairs {
            let meant = pair.otherwise.is_some_and(|error| error.flip == flip);
            if meant {
                std::mem::swap(&mut pair.file_error, &mut pair.otherwise);
            }
        }
    }
}

/// Pairs the pages of one file.
///
/// # Errors
/// [`AskedError`] where what is asked does not fit the file.
pub fn pair(pages: &[Look], asked: &Asked) -> Result<Pairing, AskedError> {
    let sheets = match asked {
        Asked::Guess => ways::guess(pages),
        other => asked::sheets(other, pages, None)?,
    };
    Ok(finish(pages, pages, false, sheets))
}

/// Pairs the fronts of one file with the backs of another.
///
/// # Errors
/// [`AskedError`] where what is asked does not fit the files.
pub fn pair_files(fronts: &[Look], backs: &[Look], asked: &Asked) -> Result<Pairing, AskedError> {
    let sheets = match asked {
        Asked::Guess => ways::guess_files(fronts, backs),
        other => asked::sheets(other, fronts, Some(backs))?,
    };
    Ok(finish(fronts, backs, true, sheets))
}

/// The flip that makes backs lie behind their fronts on all these sheets; `None` where both do.
pub fn flip_of(sheets: &[(&Look, &Look)]) -> Option<Flip> {
    flips::of(sheets).flip
}

/// Pages with their parts, before it is known how they are flipped.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Sheets {
    way: Way,
    /// Fronts with their backs.
    pairs: Vec<(usize, usize)>,
    /// Fronts that have no back.
    rests: Vec<usize>,
    confidence: f64,
    evidence: Vec<String>,
}

fn finish(fronts: &[Look], backs: &[Look], two_files: bool, sheets: Sheets) -> Pairing {
    let mut roles = vec![Role::Other; fronts.len()];
    let mut back_roles = if two_files {
        vec![Role::Other; backs.len()]
    } else {
        Vec::new()
    };
    let folded = |f: usize, b: usize| !two_files && f == b;
    for &(front, back) in &sheets.pairs {
        if folded(front, back) {
            roles[front] = Role::FoldOver;
            continue;
        }
        roles[front] = Role::Front;
        if two_files {
            back_roles[back] = Role::Back;
        } else {
            roles[back] = Role::Back;
        }
    }
    for &front in &sheets.rests {
        roles[front] = Role::Front;
    }
    let flat: Vec<(&Look, &Look)> = sheets
        .pairs
        .iter()
        .filter(|(f, b)| !folded(*f, *b))
        .map(|&(f, b)| (&fronts[f], &backs[b]))
        .collect();
    let flip = flips::of(&flat);
    let mut evidence = sheets.evidence;
    evidence.extend(flip.why.clone());
    if flip.flip.is_none() {
        evidence.extend(either_way(&flat));
    }
    let why = evidence.join("; ");
    let pairs = sheets
        .pairs
        .iter()
        .map(|&(f, b)| {
            if folded(f, b) {
                return fold(&fronts[f], sheets.confidence);
            }
            let (front, back) = (&fronts[f], &backs[b]);
            let error = |flip| file_error(&front.cells, &back.cells, flip);
            Pair {
                front: f,
                back: b,
                flip: flip.flip,
                standing: standing(front, back, flip.flip),
                file_error: error(flip.best),
                otherwise: (flip.flip.is_none().then(|| error(flip.best.other()))).flatten(),
                confidence: sheets.confidence,
                why: why.clone(),
            }
        })
        .collect();
    Pairing {
        way: sheets.way,
        pairs,
        roles,
        back_roles,
        confidence: sheets.confidence,
        evidence,
    }
}

/// A sheet that is folded about a line is its own back. Folding about an upright line is what
/// flipping sideways is.
fn fold(page: &Look, confidence: f64) -> Pair {
    let flip = page.cells.fold.map(|line| {
        let along = line.to - line.from;
        if along.y.abs() > along.x.abs() {
            Flip::Sideways
        } else {
            Flip::Endways
        }
    });
    Pair {
        front: page.cells.page,
        back: page.cells.page,
        flip,
        standing: (page.about_fold.zip(flip))
            .and_then(|((one, other), flip)| standing_when(one, other, flip)),
        file_error: None,
        otherwise: None,
        confidence,
        why: "fronts and backs lie on the two sides of a fold".into(),
    }
}

/// How the cards' backs stand, from the way the text runs on both sides; the card is turned over
/// like the page of a book. `None` where one side has no text that tells.
fn standing(front: &Look, back: &Look, flip: Option<Flip>) -> Option<Standing> {
    let (front, back) = (front.reads?, back.reads?);
    let one = |flip| standing_when(front, back, flip);
    match flip {
        Some(flip) => one(flip),
        None => {
            let (a, b) = (one(Flip::Sideways), one(Flip::Endways));
            if a == b { a } else { None }
        }
    }
}

/// How the cards of all sheets stand on either flip, in words, where it differs.
fn either_way(sheets: &[(&Look, &Look)]) -> Option<String> {
    let on = |flip| {
        let mut all = sheets
            .iter()
            .map(|(front, back)| standing(front, back, Some(flip)));
        let first = all.next()??;
        all.all(|other| other == Some(first)).then_some(first)
    };
    let (sideways, endways) = (on(Flip::Sideways)?, on(Flip::Endways)?);
    (sideways != endways)
        .then(|| format!("flipped sideways the cards stand {sideways}, endways {endways}"))
}

/// The same where the flip is known. `front` and `back` are the directions of the text, clockwise
/// as seen on each page.
fn standing_when(front: Angle, back: Angle, flip: Flip) -> Option<Standing> {
    // The head of a card is a quarter anticlockwise of the direction of its text.
    let head = |reads: Angle| {
        let (sin, cos) = reads.to_radians().sin_cos();
        (sin, -cos)
    };
    let (front, back) = (head(front), head(back));
    // The back's head seen from the front.
    let seen = match flip {
        Flip::Sideways => (-back.0, back.1),
        Flip::Endways => (back.0, -back.1),
    };
    let agreement = front.0 * seen.0 + front.1 * seen.1;
    if agreement > 0.9 {
        Some(Standing::HeadToHead)
    } else if agreement < -0.9 {
        Some(Standing::HeadToFoot)
    } else {
        None
    }
}

#[cfg(test)]
mod tests;
