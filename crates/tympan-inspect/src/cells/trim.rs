//! Telling where the cut runs: along a frame, or within one that has bleed.

use tympan_sheet::{Size, nearest_card};

use super::evidence::{Drawn, Stroke};
use super::lattice::{Lattice, Steps};

/// The most bleed that is looked for, mm.
const MOST_BLEED: f64 = 7.0;

/// Lines no farther than this from a cut run along it, mm.
const ALONG: f64 = 0.13;

/// What speaks for a cut at some distance within the frames.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Cut {
    /// How far within the frames it runs, left and right, top and bottom, mm.
    pub(super) inset: (f64, f64),
    /// The share of the cuts along which lines are drawn.
    pub(super) lined: f64,
    /// Whether frames are drawn along it over all else.
    pub(super) outlined: bool,
    /// Whether the cards would have a usual size.
    pub(super) usual: bool,
    /// Whether anything is drawn there at all.
    drawn: bool,
}

impl Cut {
    fn score(&self) -> f64 {
        let lined = if self.lined > 0.98 {
            3.0
        } else if self.lined > 0.7 {
            1.0
        } else {
            0.0
        };
        let bare = self.inset == (0.0, 0.0);
        lined
            + if self.outlined { 3.0 } else { 0.0 }
            + if self.usual { 1.1 } else { 0.0 }
            + if bare { 1.0 } else { 0.0 }
            + if self.drawn && !bare { 0.4 } else { 0.0 }
    }
}

/// Where the cut of the outermost frames runs most likely.
pub(super) fn cut(outer: &Lattice, all: &[Lattice], drawn: &Drawn) -> Cut {
    let mut insets = vec![(0.0, 0.0)];
    let offsets = |steps: &Steps, length: f64, strokes: &[Stroke]| -> Vec<f64> {
        (strokes.iter())
            .filter_map(|stroke| {
                let index = ((stroke.at - steps.start) / steps.pitch).round();
                let near = stroke.at - (steps.start + index * steps.pitch);
                let far = (steps.start + length) + index * steps.pitch - stroke.at;
                let inset = if near.abs() < far.abs() { near } else { far };
                (inset > ALONG && inset <= MOST_BLEED).then_some(inset)
            })
            .collect()
    };
    let by_x = super::lattice::clusters(offsets(&outer.x, outer.size.w, &drawn.down).into_iter());
    let by_y = super::lattice::clusters(offsets(&outer.y, outer.size.h, &drawn.across).into_iter());
    for x in by_x.iter().take(40) {
        for y in by_y.iter().take(40) {
            if (x - y).abs() <= 0.3 {
                insets.push((*x, *y));
            }
        }
    }
    let inner = within(outer, all).map(|(inset, _)| inset);
    insets.extend(inner.filter(|inset| inset.0.max(inset.1) > ALONG));
    insets.extend(usual(outer.size));
    (insets.into_iter())
        .map(|inset| judged(inset, outer, all, drawn))
        .max_by(|a, b| {
            a.score()
                .total_cmp(&b.score())
                .then(b.inset.0.total_cmp(&a.inset.0))
        })
        .unwrap_or_else(|| judged((0.0, 0.0), outer, all, drawn))
}

fn judged(inset: (f64, f64), outer: &Lattice, all: &[Lattice], drawn: &Drawn) -> Cut {
    let size = Size::new(outer.size.w - 2.0 * inset.0, outer.size.h - 2.0 * inset.1);
    let close = |at: (f64, f64)| (at.0 - inset.0).abs() <= ALONG && (at.1 - inset.1).abs() <= ALONG;
    let outlined = (outer.outline && inset == (0.0, 0.0))
        || within(outer, all).any(|(at, over)| over && close(at));
    Cut {
        inset,
        drawn: within(outer, all).any(|(at, _)| close(at)),
        lined: lined(outer, inset, size, drawn),
        outlined,
        usual: nearest_card(size).is_some_and(|(_, scale)| (scale - 1.0).abs() < 0.002),
    }
}

/// The share of all cuts that have a line along them, inside or outside of the cells.
fn lined(outer: &Lattice, inset: (f64, f64), size: Size, drawn: &Drawn) -> f64 {
    let along = |steps: &Steps, inset: f64, length: f64, strokes: &[Stroke]| -> (usize, usize) {
        let cuts = (0..steps.count).flat_map(|i| {
            let near = steps.at(i) + inset;
            [near, near + length]
        });
        let (mut there, mut all) = (0, 0);
        for cut in cuts {
            all += 1;
            there += usize::from(strokes.iter().any(|s| (s.at - cut).abs() <= ALONG));
        }
        (there, all)
    };
    let x = along(&outer.x, inset.0, size.w, &drawn.down);
    let y = along(&outer.y, inset.1, size.h, &drawn.across);
    (x.0 + y.0) as f64 / (x.1 + y.1) as f64
}

/// Frames evenly within the outermost ones, one in each: how far within, and whether they are
/// outlines painted when all cards were there.
fn within<'a>(
    outer: &'a Lattice,
    all: &'a [Lattice],
) -> impl Iterator<Item = ((f64, f64), bool)> + 'a {
    all.iter().filter_map(move |inner| {
        let inset = (
            (outer.size.w - inner.size.w) / 2.0,
            (outer.size.h - inner.size.h) / 2.0,
        );
        let sits = |inner: &Steps, outer: &Steps, inset: f64| {
            inner.count >= outer.count
                && (inner.start + inset.mul_add(-1.0, -outer.start)).abs() <= 2.0 * ALONG
                && (outer.count == 1 || (inner.pitch - outer.pitch).abs() <= 0.05)
        };
        let deep = |inset: f64| inset > -ALONG && inset <= MOST_BLEED;
        let fits = deep(inset.0)
            && deep(inset.1)
            && (inset.0 - inset.1).abs() <= 0.3
            && sits(&inner.x, &outer.x, inset.0)
            && sits(&inner.y, &outer.y, inset.1);
        // One card after the other brings other things between its frame and the next.
        let span = inner.painted.1 + 1 - inner.painted.0;
        let over = inner.outline && inner.count() > 1 && 2 * span < 3 * inner.count();
        fits.then_some((inset, over))
    })
}

/// The bleed that would make the frames those of a usual card.
fn usual(size: Size) -> impl Iterator<Item = (f64, f64)> {
    tympan_sheet::USUAL_CARDS.iter().flat_map(move |card| {
        let both = [card.trim, Size::new(card.trim.h, card.trim.w)];
        both.into_iter().filter_map(move |trim| {
            let bleed = ((size.w - trim.w) / 2.0, (size.h - trim.h) / 2.0);
            let likely = (0.9..=MOST_BLEED).contains(&bleed.0) && (bleed.0 - bleed.1).abs() <= 0.05;
            likely.then_some(bleed)
        })
    })
}

/// The lattice of the cuts themselves: of the lines or outlines drawn along them where there are
/// any, else of the frames.
pub(super) fn along_cuts(outer: &Lattice, all: &[Lattice], cut: &Cut, drawn: &Drawn) -> Lattice {
    let (dx, dy) = cut.inset;
    let mut found = Lattice {
        size: Size::new(outer.size.w - 2.0 * dx, outer.size.h - 2.0 * dy),
        x: Steps {
            start: outer.x.start + dx,
            ..outer.x
        },
        y: Steps {
            start: outer.y.start + dy,
            ..outer.y
        },
        ..outer.clone()
    };
    if cut.outlined && !outer.outline {
        let same = all.iter().find(|inner| {
            inner.outline
                && (inner.size.w - found.size.w).abs() <= 2.0 * ALONG
                && (inner.size.h - found.size.h).abs() <= 2.0 * ALONG
                && (inner.x.start - found.x.start).abs() <= 2.0 * ALONG
                && (inner.y.start - found.y.start).abs() <= 2.0 * ALONG
        });
        if let Some(same) = same {
            return same.clone();
        }
    }
    if cut.lined > 0.98 {
        (found.x, found.size.w) = snapped(found.x, found.size.w, &drawn.down);
        (found.y, found.size.h) = snapped(found.y, found.size.h, &drawn.across);
    }
    found
}

fn snapped(steps: Steps, length: f64, strokes: &[Stroke]) -> (Steps, f64) {
    let near = |cut: f64| {
        let found: Vec<f64> = (strokes.iter())
            .map(|stroke| stroke.at)
            .filter(|at| (at - cut).abs() <= 2.0 * ALONG)
            .collect();
        (!found.is_empty()).then(|| found.iter().sum::<f64>() / found.len() as f64)
    };
    let first: Vec<(usize, f64)> = (0..steps.count)
        .filter_map(|i| Some((i, near(steps.at(i))?)))
        .collect();
    let lengths: Vec<f64> = (0..steps.count)
        .filter_map(|i| Some(near(steps.at(i) + length)? - near(steps.at(i))?))
        .collect();
    if first.len() < steps.count || lengths.is_empty() {
        return (steps, length);
    }
    let fitted = super::lattice::fitted(&first, steps.pitch);
    (fitted, lengths.iter().sum::<f64>() / lengths.len() as f64)
}
