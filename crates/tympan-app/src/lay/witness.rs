//! Witness marks beside the cards, by which a finished sheet can be read before it is cut.

use tympan_layout::{Group, MarkItems, Plan};
use tympan_marks::witness::{Geometry, Room, RunCode};
use tympan_sheet::drawing::{Item, Segment};
use tympan_sheet::{Affine, Back, Frame, Front, Map, NotInvertible, Page, Point, Rect, Side};
use tympan_store::{SetUp, Store};

use crate::plan::{PlanError, from_page};
use crate::refusal::Refusal;
use crate::witness;

/// What is printed keeps so far from the marks that tell where to cut, mm.
const CLEAR_MM: f64 = 0.3;

/// The witness marks of a group of sheets.
pub(super) struct Witness {
    geometry: Geometry,
    code: RunCode,
}

impl Witness {
    /// What is painted on one side of a sheet, by the sheet's number.
    pub(super) fn items(&self, side: Side, sheet: u32) -> Vec<Item> {
        self.geometry.items(side, self.code, sheet)
    }
}

/// Where the marks of a group of sheets are, and what they keep clear of on both sides.
pub(super) struct Laid {
    geometry: Geometry,
    front: Vec<Rect<Front>>,
    back: Vec<Rect<Back>>,
}

/// Finds places for the marks of a group of sheets.
///
/// # Errors
/// A [`Refusal`] where there is no room beside the cards.
pub(super) fn geometry(
    plan: &Plan,
    number: usize,
    marks: &MarkItems,
    corrections: &[Affine<Page>; 2],
) -> Result<Laid, Refusal> {
    let impossible = |e: NotInvertible| Refusal::from(PlanError::from(e));
    let group = &plan.groups[number];
    let size = plan.sheet.size;
    let flip = plan.sheet.flip;
    let to_back = flip.map(size);
    let mut front: Vec<Rect<Front>> = cells(group);
    let mut back: Vec<Rect<Back>> = front.iter().map(|rect| carried(*rect, &to_back)).collect();
    front.extend(painted(&marks.front));
    back.extend(painted(&marks.back));
    // What goes through the corrections must still be printable then.
    let (on_front, on_back) = in_frames(corrections)?;
    let geometry = Geometry::new(&Room {
        paper: size,
        flip,
        printable_front: inner(
            plan.sheet.printable(false),
            &on_front.inverse().map_err(impossible)?,
        ),
        printable_back: inner(
            plan.sheet.printable_back(),
            &on_back.inverse().map_err(impossible)?,
        ),
        front: &front,
        back: &back,
    })?;
    Ok(Laid {
        geometry,
        front,
        back,
    })
}

/// Finds places for the marks of a group of sheets and keeps them in the store. `corrections` are what
/// the front pages and the back pages go through.
///
/// # Errors
/// A [`Refusal`] where there is no room beside the cards, or the store fails.
pub(super) fn of_group(
    store: &mut Store,
    setup: &SetUp,
    (plan, number): (&Plan, usize),
    marks: &MarkItems,
    corrections: &[Affine<Page>; 2],
    name: &str,
) -> Result<Witness, Refusal> {
    let laid = geometry(plan, number, marks, corrections)?;
    let size = plan.sheet.size;
    let (on_front, on_back) = in_frames(corrections)?;
    let moved = [on_front, plan.sheet.flip.carry_to_front(&on_back, size)];
    let Laid {
        geometry,
        front,
        back,
    } = laid;
    let plan_bytes = format!("{name} {number} {front:?} {back:?} {moved:?}");
    let code = witness::keep(store, setup, name, plan_bytes.as_bytes(), &geometry, moved)?;
    Ok(Witness { geometry, code })
}

/// All cells of the group with their bleed, those too that stay empty on some sheets.
fn cells(group: &Group) -> Vec<Rect<Front>> {
    let cells = group.cells.iter();
    cells.map(|cell| cell.bleed.around(cell.trim)).collect()
}

fn carried<A: Frame, B: Frame>(rect: Rect<A>, map: &Map<A, B>) -> Rect<B> {
    let corners = rect.corners().map(|corner| map.apply(corner));
    around(&corners)
}

fn around<F: Frame>(points: &[Point<F>]) -> Rect<F> {
    let fold = |of: fn(&Point<F>) -> f64, by: fn(f64, f64) -> f64, from: f64| {
        points.iter().map(of).fold(from, by)
    };
    let (most, least) = (f64::INFINITY, f64::NEG_INFINITY);
    Rect {
        min: Point::new(fold(|p| p.x, f64::min, most), fold(|p| p.y, f64::min, most)),
        max: Point::new(
            fold(|p| p.x, f64::max, least),
            fold(|p| p.y, f64::max, least),
        ),
    }
}

/// The maps of the two pages as maps of the two sides.
fn in_frames(corrections: &[Affine<Page>; 2]) -> Result<(Affine<Front>, Affine<Back>), Refusal> {
    let impossible = |e: NotInvertible| Refusal::from(PlanError::from(e));
    let front = in_frame::<Front>(&corrections[0]).map_err(impossible)?;
    let back = in_frame::<Back>(&corrections[1]).map_err(impossible)?;
    Ok((front, back))
}

/// A map of a page as seen as one of that side of the sheet.
fn in_frame<F: Frame>(map: &Affine<Page>) -> Result<Affine<F>, NotInvertible> {
    let to_page = from_page::<F>().inverse()?;
    Ok(to_page.then(map).then(&from_page()))
}

/// The upright rectangle that lies both in this one and in what the map makes of it.
fn inner<F: Frame>(rect: Rect<F>, map: &Affine<F>) -> Rect<F> {
    let [a, b, c, d] = rect.corners().map(|corner| map.apply(corner));
    Rect {
        min: Point::new(rect.min.x.max(a.x).max(d.x), rect.min.y.max(a.y).max(b.y)),
        max: Point::new(rect.max.x.min(b.x).min(c.x), rect.max.y.min(c.y).min(d.y)),
    }
}

/// What the marks that tell where to cut take up, line by line.
fn painted<F: Frame>(items: &[Item]) -> Vec<Rect<F>> {
    let mut rects = Vec::new();
    for item in items {
        let Item::Shape { path, .. } = item else {
            continue;
        };
        let mut part: Vec<Point<F>> = Vec::new();
        let mut close = |part: &mut Vec<Point<F>>| {
            if !part.is_empty() {
                rects.push(around(part).grown(CLEAR_MM));
                part.clear();
            }
        };
        for segment in &path.segments {
            match *segment {
                Segment::Move(p) => {
                    close(&mut part);
                    part.push(Point::new(p.x, p.y));
                }
                Segment::Line(p) => part.push(Point::new(p.x, p.y)),
                Segment::Curve(a, b, p) => {
                    part.extend([a, b, p].map(|p| Point::new(p.x, p.y)));
                }
                Segment::Close => {}
            }
        }
        close(&mut part);
    }
    rects
}

#[cfg(test)]
mod tests {
    use super::*;
    use tympan_sheet::{Size, Vector};

    #[test]
    fn what_a_correction_would_push_into_the_margin_is_not_printable() {
        let sheet = Rect::<Back>::at(Point::new(4.0, 4.0), Size::new(202.0, 289.0));
        let up = Affine::<Back>::shift(Vector::new(0.0, -2.0));
        let kept = inner(sheet, &up.inverse().expect("a shift"));
        // Moved 2 mm up, nothing of it lies above 4 mm.
        assert!((kept.min.y - 6.0).abs() < 1e-9 && (kept.max.y - 293.0).abs() < 1e-9);
    }
}
