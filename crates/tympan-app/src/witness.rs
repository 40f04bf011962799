//! Witness marks of production sheets: keeping where they are, so that such sheets can be read.
//!
//! Such sheets are printed corrected, so what is read from them is what the correction left. The
//! log holds what the printer does by itself, from which the next correction is learnt; so it is
//! kept with the marks what the correction did, and taken out again when they are read.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use tympan_marks::picture::KnownRun;
use tympan_marks::witness::{Geometry, RunCode};
use tympan_sheet::{Affine, Front, Point, Vector};
use tympan_store::{SetUp, Store, StoreError, WitnessRecord};

use crate::refusal::Refusal;

/// Where the marks of a job's sheets are, and what was done to the sheets' sides.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Marked {
    geometry: Geometry,
    /// What the correction did to the front's content and to the back's, both seen from the front.
    moved: [[f64; 6]; 2],
}

impl Marked {
    /// What the printer did by itself where the back was printed so far off at a point: the point,
    /// and the register error there.
    ///
    /// Where print lands, back and front, is `B(b(p)) = F(f(p + m))` with the corrections `b`, `f`
    /// and what was read, `m`. Without them it is `B(q) = F(q + r)`, so at `q = b(p)` it is
    /// `r = f(p + m) − b(p)`.
    pub(crate) fn uncorrected(
        &self,
        at: Point<Front>,
        read: Vector<Front>,
    ) -> (Point<Front>, Vector<Front>) {
        let [front, back] = self.moved.map(map);
        let place = back.apply(at);
        (place, front.apply(at + read) - place)
    }
}

/// So many codes are tried for one layout before something else must be wrong.
const MOST_TAKEN: usize = 100;

/// Keeps where the witness marks of a job's sheets are and gives the code that its marks carry.
///
/// The code follows from `plan`, which should hold whatever tells this job's sheets from others;
/// the same job with the same marks gets the same code again. `moved` is what the correction does
/// to the front's content and to the back's, both seen from the front; the marks must be moved
/// with it.
///
/// # Errors
/// A [`Refusal`] where the store fails or the set-up is not in it.
pub fn keep(
    store: &mut Store,
    setup: &SetUp,
    name: &str,
    plan: &[u8],
    geometry: &Geometry,
    moved: [Affine<Front>; 2],
) -> Result<RunCode, Refusal> {
    let marked = Marked {
        geometry: geometry.clone(),
        moved: moved.map(numbers),
    };
    let marks = serde_json::to_value(marked).map_err(|e| Refusal {
        message: format!("the witness marks cannot be kept: {e}"),
        hint: None,
    })?;
    let mut code = RunCode::of(plan);
    for _ in 0..MOST_TAKEN {
        let record = WitnessRecord::new(code.into(), setup.id.clone(), name, marks.clone());
        match store.add_witness(&record) {
            Ok(()) => return Ok(code),
            Err(StoreError::IdTaken(_)) => code = code.next(),
            Err(error) => return Err(error.into()),
        }
    }
    Err(Refusal::new(
        "no free code was found for the witness marks",
        "give the job another name",
    ))
}

/// The runs whose sheets can be read for this set-up. Marks that were kept by another version and
/// are not understood are left out.
///
/// # Errors
/// A [`Refusal`] where the store fails.
pub(crate) fn known(store: &Store, setup: &SetUp) -> Result<BTreeMap<RunCode, Marked>, Refusal> {
    let known = |record: WitnessRecord| {
        let marked = serde_json::from_value(record.marks).ok()?;
        Some((record.code.parse().ok()?, marked))
    };
    let all = store.witnesses(&setup.id)?;
    Ok(all.into_iter().filter_map(known).collect())
}

/// As the readers of pictures want them.
pub(crate) fn runs(known: &BTreeMap<RunCode, Marked>) -> Vec<KnownRun> {
    let run = |(&code, marked): (&RunCode, &Marked)| KnownRun {
        code,
        geometry: marked.geometry.clone(),
    };
    known.iter().map(run).collect()
}

/// A map's six numbers, to about a millionth of a millimetre over a sheet, so that what is kept
/// comes back the same.
fn numbers(map: Affine<Front>) -> [f64; 6] {
    let round = |v: f64, part: f64| (v * part).round() / part;
    let [linear, mm] = [1e9, 1e6];
    [
        round(map.xx, linear),
        round(map.xy, linear),
        round(map.yx, linear),
        round(map.yy, linear),
        round(map.dx, mm),
        round(map.dy, mm),
    ]
}

fn map([xx, xy, yx, yy, dx, dy]: [f64; 6]) -> Affine<Front> {
    Affine::new(xx, xy, yx, yy, dx, dy)
}

#[cfg(test)]
mod tests {
    use tympan_marks::witness::Room;
    use tympan_sheet::{Angle, Flip, Rect, Size};

    use super::*;

    #[test]
    fn what_the_correction_did_is_taken_out_of_what_was_read() {
        let paper = Size::new(210.0, 297.0);
        let centre: Point<Front> = paper.centre();
        let shift = |x, y| Affine::shift(Vector::new(x, y));
        // Where the printer puts the two sides, and two corrections that do not quite undo it.
        let front = Affine::tilt(Angle::degrees(0.1), centre).then(&shift(0.5, -0.2));
        let back = Affine::tilt(Angle::degrees(-0.2), centre).then(&shift(1.5, 2.1));
        let f = Affine::tilt(Angle::degrees(-0.05), centre).then(&shift(-0.1, 0.1));
        let b = Affine::tilt(Angle::degrees(0.25), centre).then(&shift(-1.1, -2.0));
        let geometry = Geometry::new(&Room {
            paper,
            flip: Flip::Sideways,
            printable_front: Rect::whole(paper).grown(-5.0),
            printable_back: Rect::whole(paper).grown(-5.0),
            front: &[],
            back: &[],
        });
        let marked = Marked {
            geometry: geometry.expect("a bare sheet has room"),
            moved: [f, b].map(numbers),
        };
        for p in Rect::<Front>::whole(paper).corners() {
            // A reader looks from the front's print: where in it the back's print lies.
            let landed = b.then(&back).apply(p);
            let in_front = f.then(&front).inverse().expect("no mirror").apply(landed);
            let (at, error) = marked.uncorrected(p, in_front - p);
            let truth = front.inverse().expect("no mirror").apply(back.apply(at)) - at;
            assert!((error - truth).length() < 1e-4, "{error:?} {truth:?}");
        }
    }
}
