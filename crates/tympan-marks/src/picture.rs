//! Reading test sheets from pictures: two scans, or one photo against the light.

mod codes;
mod decode;
mod edges;
mod holes;
mod link;
mod luma;
mod mark;
mod pair;
mod reading;
mod refusal;
mod side_view;
mod solve;

use tympan_sheet::{Flip, Side, Size};

pub use decode::decode;
pub use luma::{Luma, Pixels};
pub use reading::{Evidence, Placement, Reading, Warning, Way};
pub use refusal::{Refusal, RefusalReport};

use crate::code::SetupCode;
use link::Physical;
use pair::Scan;
use side_view::SideView;

/// What the pictures should show. What is not given is not checked.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Expected {
    /// The set-up whose sheets they should be.
    pub setup: Option<SetupCode>,
    /// Its paper, mm, either way up.
    pub paper: Option<Size>,
    /// Its flip.
    pub flip: Option<Flip>,
    /// The stock's thickness, mm: for photos, where the two faces lie so far apart.
    pub caliper_mm: Option<f64>,
}

/// What became of some of the pictures.
#[derive(Clone, Debug, PartialEq)]
pub struct Outcome {
    /// Indices of the pictures.
    pub pictures: Vec<usize>,
    /// What they say, or why they are refused.
    pub result: Result<Reading, Refusal>,
}

/// Reads any mix of pictures of test sheets: sides and sheets are told by their codes. Every
/// picture appears in exactly one outcome.
pub fn read(pictures: &[Luma], expected: &Expected) -> Vec<Outcome> {
    let mut outcomes = Vec::new();
    let mut scans: Vec<Scan<'_>> = Vec::new();
    for (index, luma) in pictures.iter().enumerate() {
        match look(index, luma, expected) {
            Ok(scan) => scans.push(scan),
            Err(refusal) => {
                outcomes.push(Outcome { pictures: vec![index], result: Err(refusal) });
            }
        }
    }
    while !scans.is_empty() {
        let first = scans.remove(0);
        let sheet = first.physical.view.code.sheet;
        let same: Vec<usize> = (0..scans.len())
            .filter(|&k| {
                let code = &scans[k].physical.view.code;
                code.sheet == sheet && code.setup == first.physical.view.code.setup
            })
            .collect();
        let other = same
            .iter()
            .copied()
            .find(|&k| scans[k].physical.view.side() != first.physical.view.side());
        // Two leftover pictures of one side each: a front and a back of different sheets.
        let (pictures, result) = match other.or_else(|| same.first().copied()) {
            Some(k) => {
                let second = scans.remove(k);
                (vec![first.index, second.index], together(&first, &second))
            }
            None if scans.len() == 1 && outcomes.is_empty() => {
                let second = scans.remove(0);
                (vec![first.index, second.index], together(&first, &second))
            }
            None => (vec![first.index], alone(&first)),
        };
        outcomes.push(Outcome { pictures, result });
    }
    outcomes.sort_by_key(|o| o.pictures.clone());
    outcomes
}

/// One picture by itself: which side of which sheet it shows.
fn look<'a>(index: usize, luma: &'a Luma, expected: &Expected) -> Result<Scan<'a>, Refusal> {
    let codes = codes::find(luma);
    let view = side_view::view(luma, &codes)?;
    check_expected(&view, expected)?;
    let edges = edges::find(luma, &view);
    let holes = holes::find(luma, &view);
    let physical = Physical { view, edges, holes };
    Ok(Scan { index, luma, physical, codes: codes.found.len() })
}

fn check_expected(view: &SideView, expected: &Expected) -> Result<(), Refusal> {
    let code = &view.code;
    if let Some(setup) = &expected.setup
        && *setup != code.setup
    {
        return Err(Refusal::OtherSetup {
            found: code.setup.to_string(),
            expected: setup.to_string(),
        });
    }
    if let Some(paper) = expected.paper
        && !paper.portrait().is_close(code.paper, 0.02)
    {
        return Err(Refusal::OtherPaper { found: code.paper, expected: paper.portrait() });
    }
    if expected.flip.is_some_and(|flip| flip != code.flip) {
        return Err(Refusal::OtherFlip);
    }
    Ok(())
}

/// Two pictures that belong together.
fn together(a: &Scan<'_>, b: &Scan<'_>) -> Result<Reading, Refusal> {
    let (va, vb) = (&a.physical.view, &b.physical.view);
    if va.code.setup != vb.code.setup || va.code.sheet != vb.code.sheet {
        return Err(Refusal::DifferentSheets);
    }
    if va.code.paper != vb.code.paper || va.code.flip != vb.code.flip {
        return Err(Refusal::DifferentSheets);
    }
    match (va.side(), vb.side()) {
        (Side::Front, Side::Back) => pair::read(a, b),
        (Side::Back, Side::Front) => pair::read(b, a),
        (side, _) => Err(Refusal::SameSideTwice(side)),
    }
}

/// A picture without a partner.
fn alone(scan: &Scan<'_>) -> Result<Reading, Refusal> {
    Err(Refusal::OtherSideMissing(scan.physical.view.side()))
}
