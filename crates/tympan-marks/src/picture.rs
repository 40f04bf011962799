//! Reading test sheets from pictures: two scans, or one photo against the light.

mod camera;
mod codes;
mod decode;
mod edges;
mod holes;
mod light;
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

use crate::code::{End, SetupCode, SheetCode};
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
                outcomes.push(Outcome {
                    pictures: vec![index],
                    result: Err(refusal),
                });
            }
        }
    }
    // A photo against the light shows both sides by itself.
    let (photos, mut scans): (Vec<_>, Vec<_>) =
        scans.into_iter().partition(|s| s.physical.view.is_photo);
    for photo in &photos {
        let result = light::read(photo, true, expected.caliper_mm);
        outcomes.push(Outcome {
            pictures: vec![photo.index],
            result,
        });
    }
    while !scans.is_empty() {
        let first = scans.remove(0);
        let of = |scan: &Scan<'_>| {
            let code = &scan.physical.view.code;
            (code.setup.clone(), code.sheet)
        };
        let same: Vec<usize> = (0..scans.len())
            .filter(|&k| of(&scans[k]) == of(&first))
            .collect();
        let side = |scan: &Scan<'_>| scan.physical.view.side();
        let other = same
            .iter()
            .copied()
            .find(|&k| side(&scans[k]) != side(&first));
        // Two pictures that are all there is are meant as a pair even when they cannot be one.
        let lone_pair = (scans.len() == 1 && outcomes.is_empty()).then_some(0);
        match other.or(same.first().copied()).or(lone_pair) {
            Some(k) => {
                let second = scans.remove(k);
                outcomes.extend(together(&first, &second, expected));
            }
            None => {
                let result = light::read(&first, false, expected.caliper_mm);
                outcomes.push(Outcome {
                    pictures: vec![first.index],
                    result,
                });
            }
        }
    }
    outcomes.sort_by_key(|o| o.pictures.clone());
    outcomes
}

/// One picture by itself: which side of which sheet it shows.
fn look<'a>(index: usize, luma: &'a Luma, expected: &Expected) -> Result<Scan<'a>, Refusal> {
    let codes = codes::find(luma);
    let view = side_view::view(luma, &codes)?;
    check_expected(&view, expected)?;
    // Only scans are tied together by them.
    let (edges, holes) = if view.is_photo {
        (Vec::new(), Vec::new())
    } else {
        (edges::find(luma, &view), holes::find(luma, &view))
    };
    let physical = Physical { view, edges, holes };
    Ok(Scan {
        index,
        luma,
        physical,
        codes: codes.found.len(),
    })
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
        return Err(Refusal::OtherPaper {
            found: code.paper,
            expected: paper.portrait(),
        });
    }
    if expected.flip.is_some_and(|flip| flip != code.flip) {
        return Err(Refusal::OtherFlip);
    }
    Ok(())
}

/// Two pictures that belong together: two scans, or two photos taken so squarely that they look
/// like scans.
fn together(a: &Scan<'_>, b: &Scan<'_>, expected: &Expected) -> Vec<Outcome> {
    let pair = pair_up(a, b);
    if let Err(Refusal::NoLink | Refusal::SameSideTwice(_)) = pair {
        let alone = [a, b].map(|scan| Outcome {
            pictures: vec![scan.index],
            result: light::read(scan, false, expected.caliper_mm),
        });
        if alone.iter().all(|o| o.result.is_ok()) {
            return alone.into();
        }
    }
    vec![Outcome {
        pictures: vec![a.index, b.index],
        result: pair,
    }]
}

fn pair_up(a: &Scan<'_>, b: &Scan<'_>) -> Result<Reading, Refusal> {
    let (va, vb) = (&a.physical.view, &b.physical.view);
    let same_sheet = SheetCode {
        side: Side::Front,
        end: End::Head,
        ..va.code.clone()
    } == SheetCode {
        side: Side::Front,
        end: End::Head,
        ..vb.code.clone()
    };
    if !same_sheet {
        return Err(Refusal::DifferentSheets);
    }
    match (va.side(), vb.side()) {
        (Side::Front, Side::Back) => pair::read(a, b),
        (Side::Back, Side::Front) => pair::read(b, a),
        (side, _) if link::is_seen_through(&a.physical, &b.physical) => {
            Err(Refusal::PrintedTwice(side))
        }
        (side, _) => Err(Refusal::SameSideTwice(side)),
    }
}
