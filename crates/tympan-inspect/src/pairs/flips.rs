//! Which flip makes the backs lie behind their fronts.

use tympan_sheet::Flip;

use super::look::Look;
use crate::file_error::Behind;
use crate::findings::Standing;

/// A flip that is so many times likelier than the other one is taken for told.
const TOLD_AT: f64 = 12.0;

/// Between upright cards on a sheet flipped sideways, and the same with heads at the feet: cards
/// whose backs stand on their heads are that much rarer (common practice).
const HEADS_TOGETHER: f64 = 8.0;

/// Cells that lie behind no cell weigh so much against a flip.
pub(crate) const OFF_THE_GRID: f64 = 5.0;

/// A side on which no cell lies behind any weighs so much against it.
const NOWHERE: f64 = 20.0;

/// Each card without a back behind it weighs so much against a flip, and each back without a card:
/// backs that fill more cells than the fronts are common where all backs are one page.
const BARE: f64 = 3.0;
const IDLE: f64 = 0.7;

pub(crate) struct Found {
    /// The flip, where it is told.
    pub(crate) flip: Option<Flip>,
    /// The likelier one.
    pub(crate) best: Flip,
    pub(crate) why: Option<String>,
}

/// The flip of all sheets of a file together: nobody mixes two in one.
pub(crate) fn of(pairs: &[(&Look, &Look)]) -> Found {
    let weigh = |flip| {
        let all: Vec<Weight> = pairs.iter().map(|(f, b)| evidence(f, b, flip)).collect();
        let place: f64 = all.iter().map(|weight| weight.place).sum();
        // A file's own error is mostly the same on all its pages: they are one witness of it.
        let witnesses = 1.0 + (all.len().max(1) as f64).ln();
        let place = place / all.len().max(1) as f64 * witnesses;
        place + all.iter().map(|weight| weight.rest).sum::<f64>()
    };
    let (sideways, endways) = (weigh(Flip::Sideways), weigh(Flip::Endways));
    let told = (sideways - endways).abs() > TOLD_AT.ln();
    // As in a book is usual for upright pages; nothing is usual for landscape ones. How cards stand
    // is a habit, too, and never speaks against what places tell.
    let upright = pairs
        .first()
        .is_some_and(|(front, _)| !front.cells.size.is_landscape());
    let usual = if upright { 0.5 } else { 0.0 };
    let habit = if told {
        0.0
    } else {
        usual + stand(pairs, Flip::Sideways) - stand(pairs, Flip::Endways)
    };
    let best = if sideways + habit >= endways {
        Flip::Sideways
    } else {
        Flip::Endways
    };
    let why = match (pairs.is_empty(), told) {
        (true, _) => None,
        (false, true) => Some(format!("the backs fit their fronts when flipped {best}")),
        (false, false) => {
            Some("the backs fit their fronts equally well flipped sideways and endways".into())
        }
    };
    Found {
        flip: told.then_some(best),
        best,
        why,
    }
}

/// Logarithms of how likely two pages are as front and back of one sheet, up to a constant.
#[derive(Default)]
struct Weight {
    /// By where their cells lie, as far as a file's error moves them.
    place: f64,
    /// By everything else.
    rest: f64,
}

fn evidence(front: &Look, back: &Look, flip: Flip) -> Weight {
    let mut weight = Weight::default();
    match Behind::find(&front.cells, &back.cells, flip) {
        Some(behind) => {
            let (off, adrift) = behind.slip(front.cells.size);
            // Every page of a scan lies askew in its own way.
            let place = lies(off, adrift);
            if adrift > 0.0 {
                weight.rest += place;
            } else {
                weight.place = place;
            }
            let [_, front_only, back_only] = behind.filled();
            if !behind.covers() {
                weight.rest -= OFF_THE_GRID;
            }
            if behind.any_filled() {
                weight.rest -= BARE * front_only.min(3) as f64 + IDLE * back_only.min(3) as f64;
            }
        }
        None if !front.cells.grids.is_empty() && !back.cells.grids.is_empty() => {
            weight.rest -= NOWHERE;
        }
        None => {}
    }
    weight
}

/// The same by how cards stand. The pages of a file are one witness of it: who made one of them the
/// wrong way round made all so.
fn stand(pairs: &[(&Look, &Look)], flip: Flip) -> f64 {
    let told: Vec<f64> = (pairs.iter())
        .filter_map(|(front, back)| {
            let standing = super::standing_when(front.reads?, back.reads?, flip);
            Some(match standing {
                Some(Standing::HeadToHead) => 0.0,
                Some(Standing::HeadToFoot) => -HEADS_TOGETHER.ln(),
                None => -2.0 * HEADS_TOGETHER.ln(),
            })
        })
        .collect();
    told.iter().sum::<f64>() / told.len().max(1) as f64
}

/// Logarithm of how likely it is that cells lie `d` mm off by a file's own error, against lying
/// right behind each other: most files have none, and those that have one seldom have more than a
/// few mm. `adrift` is how far pages that were scanned lie off by themselves, see
/// [`Behind::slip`].
pub(crate) fn lies(d: f64, adrift: f64) -> f64 {
    const EXACT_MM: f64 = 0.15;
    const USUAL_MM: f64 = 1.8;
    /// Files that have an error in them (a guess).
    const CROOKED: f64 = 0.2;
    const WILD: f64 = 1e-5;
    let normal = |sd: f64| (-0.5 * (d / sd).powi(2)).exp() / (sd * sd);
    let exact = EXACT_MM.hypot(adrift);
    let likely = (1.0 - CROOKED) * normal(exact) + CROOKED * normal(USUAL_MM.hypot(adrift)) + WILD;
    (likely * exact * exact).ln()
}
