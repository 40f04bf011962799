//! Cards as boxes in rows and columns.

use tympan_sheet::{Page, Point, Rect, Size};

use super::super::cards::LEAST_AREA;
use super::super::evidence::Frame;
use super::super::lattice::{self, Lattice};
use super::axis::Axis;
use super::boxes::Found;
use super::usual;

/// Boxes that have their middles this close are about the same thing, mm.
const SAME_MIDDLE: f64 = 0.5;

/// Frames within cards differ by less than this from each other, mm.
const ALIKE: f64 = 8.0;

/// Lines that neighbours share leave no gutter, mm.
const ADJOIN: f64 = 0.4;

/// White borders of neighbouring cards are together wider than this, mm (a guess).
const CLOSE: f64 = 3.2;

/// The least bleed that boxes alone tell, mm.
const LEAST_BLEED: f64 = 0.9;

/// Boxes in rows and columns, with what they tell.
#[derive(Clone, Copy, Debug)]
pub(super) struct Cards {
    pub(super) x: Axis,
    pub(super) y: Axis,
    pub(super) outlined: bool,
    /// How far the cards go on beyond the boxes, at most, mm.
    pub(super) slack: f64,
    /// How far the boxes go on beyond the cards, mm, where they do.
    pub(super) bleed: Option<f64>,
}

/// Boxes of one size that are the cards themselves: of a usual size, or sharing their lines.
pub(super) fn cut(boxes: &[Found]) -> impl Iterator<Item = Cards> {
    lattices(boxes, |_| true).into_iter().filter_map(|lattice| {
        let size = lattice.size;
        let adjoin = lattice.outline
            && lattice.count() >= 4
            && size.w * size.h >= LEAST_AREA
            && shares_lines(&lattice);
        // A file's own stretch is within lines, too.
        let within = if lattice.outline { 0.5 } else { 0.2 };
        (lattice.is_mostly_taken() && (adjoin || usual(size.w, size.h, within)))
            .then(|| of(&lattice, size))
    })
}

/// Boxes of print that are usual cards with the same bleed on all sides, with room for it between
/// them.
pub(super) fn bleeding(boxes: &[Found]) -> Option<Cards> {
    areas(boxes).into_iter().find_map(|lattice| {
        let size = lattice.size;
        let bleed = super::inset(size.w, size.h).filter(|bleed| *bleed >= LEAST_BLEED)?;
        (lattice.count() >= 2 && lattice.is_mostly_taken()).then(|| Cards {
            bleed: Some(bleed),
            ..of(
                &lattice,
                Size::new(size.w - 2.0 * bleed, size.h - 2.0 * bleed),
            )
        })
    })
}

/// Boxes of print in rows and columns that are no usual cards but stand so close that hardly a border
/// has room between them.
pub(super) fn apart(boxes: &[Found]) -> Option<Cards> {
    areas(boxes).into_iter().find_map(|lattice| {
        let size = lattice.size;
        let gutters = lattice.gutters();
        let close = gutters.iter().all(|gutter| (0.0..=CLOSE).contains(gutter));
        let many = lattice.count() >= 4 && lattice.is_mostly_taken();
        (many && close && size.w * size.h >= LEAST_AREA).then(|| of(&lattice, size))
    })
}

/// Whether what repeats at these steps, across and down, is the fields of a table: boxes that share
/// their lines. If they were cards, the boxes would have told so.
pub(super) fn are_fields(boxes: &[Found], steps: (f64, f64)) -> bool {
    (lattices(boxes, |found| found.outlined).iter())
        .any(|lattice| at_steps(lattice, steps) && shares_lines(lattice))
}

/// Areas of print at these steps, across and down.
pub(super) fn areas_at(boxes: &[Found], steps: (f64, f64)) -> Option<Cards> {
    let areas = areas(boxes);
    let lattice = areas.iter().find(|lattice| at_steps(lattice, steps))?;
    Some(of(lattice, lattice.size))
}

fn at_steps(lattice: &Lattice, steps: (f64, f64)) -> bool {
    const SAME: f64 = 0.25;
    let fits = |own: &lattice::Steps, step: f64| own.count > 1 && (own.pitch - step).abs() <= SAME;
    fits(&lattice.x, steps.0) && fits(&lattice.y, steps.1)
}

/// Whether neighbours leave no more than a line between them.
fn shares_lines(lattice: &Lattice) -> bool {
    lattice.gutters().iter().all(|gutter| *gutter < ADJOIN)
}

/// Areas of print in rows and columns.
fn areas(boxes: &[Found]) -> Vec<Lattice> {
    lattices(boxes, |found| !found.outlined)
}

/// Some of the boxes in rows and columns.
fn lattices(boxes: &[Found], which: impl Fn(&Found) -> bool) -> Vec<Lattice> {
    let frames = (boxes.iter().enumerate())
        .filter(|(_, found)| which(found))
        .map(|(order, found)| Frame {
            rect: found.rect,
            order,
            outline: found.outlined,
            radius: 0.0,
        });
    lattice::lattices(&frames.collect::<Vec<_>>())
}

/// Boxes of about one size within cards, at even steps by their middles; the cards are taken to be
/// the usual ones that leave the least between them.
pub(super) fn about(boxes: &[Found]) -> Option<Cards> {
    let area = |found: &Found| {
        let size = found.rect.size();
        size.w * size.h
    };
    let mut sorted = boxes.to_vec();
    sorted.sort_by(|a, b| area(b).total_cmp(&area(a)));
    let mut outer: Vec<Found> = Vec::new();
    for found in sorted {
        let middle = found.rect.centre();
        let same = |other: &Found| {
            let apart = middle - other.rect.centre();
            apart.length() <= SAME_MIDDLE || other.rect.contains(middle)
        };
        if !outer.iter().any(same) {
            outer.push(found);
        }
    }
    let middle = |of: &dyn Fn(Size) -> f64| {
        let mut all: Vec<f64> = outer.iter().map(|found| of(found.rect.size())).collect();
        all.sort_by(f64::total_cmp);
        all.get(all.len() / 2).copied().unwrap_or(0.0)
    };
    let usual_size = Size::new(middle(&|s| s.w), middle(&|s| s.h));
    let frames: Vec<Frame> = (outer.iter().enumerate())
        .filter(|(_, found)| found.rect.size().is_close(usual_size, ALIKE))
        .map(|(order, found)| Frame {
            rect: around(found.rect.centre(), usual_size),
            order,
            outline: true,
            radius: 0.0,
        })
        .collect();
    let lattice = lattice::lattices(&frames).into_iter().next()?;
    let count = lattice.count();
    if count < 4 || count * 3 < 2 * lattice.taken.len() || count * 3 < 2 * outer.len() {
        return None;
    }
    let largest = (frames.iter())
        .filter_map(|frame| outer.get(frame.order))
        .map(|found| found.rect.size())
        .fold(Size::new(0.0, 0.0), |a, b| {
            Size::new(a.w.max(b.w), a.h.max(b.h))
        });
    let card = likely(&lattice, largest)?;
    let beyond = (card.w - usual_size.w).max(card.h - usual_size.h) / 2.0;
    Some(Cards {
        slack: beyond.max(0.0),
        ..of(&lattice, card)
    })
}

fn around(middle: Point<Page>, size: Size) -> Rect<Page> {
    let corner = Point::new(middle.x - size.w / 2.0, middle.y - size.h / 2.0);
    Rect::at(corner, size)
}

/// The usual card that holds these boxes and leaves the least between its neighbours.
fn likely(lattice: &Lattice, holds: Size) -> Option<Size> {
    let gaps = |trim: Size| {
        let gap = |count: usize, pitch: f64, length: f64, held: f64| {
            if count > 1 {
                pitch - length
            } else {
                length - held
            }
        };
        (
            gap(lattice.x.count, lattice.x.pitch, trim.w, holds.w),
            gap(lattice.y.count, lattice.y.pitch, trim.h, holds.h),
        )
    };
    let cards = tympan_sheet::USUAL_CARDS.iter();
    (cards.flat_map(|card| [card.trim, card.trim.turned()]))
        .filter(|trim| trim.w >= holds.w - 0.3 && trim.h >= holds.h - 0.3)
        .filter(|trim| {
            let (x, y) = gaps(*trim);
            x.min(y) > -0.5 && x.max(y) < 13.0
        })
        .min_by(|a, b| {
            let sum = |trim: &Size| gaps(*trim).0.abs() + gaps(*trim).1.abs();
            sum(a).total_cmp(&sum(b))
        })
}

/// The same boxes' axes, for cards of this size about their middles.
fn of(lattice: &Lattice, card: Size) -> Cards {
    let axis = |steps: &lattice::Steps, length: f64, card: f64| Axis {
        start: steps.start + (length - card) / 2.0,
        length: card,
        pitch: if steps.count > 1 { steps.pitch } else { card },
        count: steps.count,
    };
    Cards {
        x: axis(&lattice.x, lattice.size.w, card.w),
        y: axis(&lattice.y, lattice.size.h, card.h),
        outlined: lattice.outline,
        slack: 0.0,
        bleed: None,
    }
}
