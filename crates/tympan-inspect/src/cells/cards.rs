//! Whether frames in rows and columns are cards: forms, tables and pages of pictures with captions
//! have rows and columns, too.

use tympan_sheet::{Page, Point, Rect, nearest_card};

use super::evidence::{Drawn, Stroke};
use super::lattice::{Lattice, Steps};
use super::trim::Cut;

/// Grids that are less sure than this are told only where other pages show such cards.
pub(super) const DOUBTED: f64 = 0.3;

/// Cards of no usual size leave no more than this between them, mm (a guess).
pub(super) const GUTTER: f64 = 13.0;

/// The least area of a card of no usual size that has nothing but a line around it, mm².
pub(super) const LEAST_AREA: f64 = 1500.0;

/// More than this is printed on a card that has nothing but a line around it, as a share of it:
/// less are a word or two in a box to fill in (a guess).
const LEAST_INK: f64 = 0.04;

/// The share of the cells that hold something.
pub(super) const MOST: f64 = 2.0 / 3.0;

/// Boxes beside the cells, against their area: forms have boxes of many sizes (a guess).
const BESIDE: f64 = 0.3;

/// Fewer frames than these of one size are no cards where those of other sizes are more of the page:
/// panels of a comic that happen to be as wide as each other.
const LEAST: usize = 4;

/// Whether these frames are cards by themselves. `inked` is the share of each cell that holds
/// anything, row by row.
pub(super) fn told(
    outer: &Lattice,
    all: &[Lattice],
    cut: &Cut,
    inked: &[f64],
    drawn: &Drawn,
) -> bool {
    if cut.lined > 0.98 {
        return true;
    }
    let usual = cut.usual || nearest_card(outer.size).is_some();
    if inked.iter().all(|share| *share == 0.0) {
        // Lines around nothing, where areas were painted before them, are the backs of white cards.
        let over = cut.outlined && !outer.outline;
        return usual && outer.count() >= 4 && (over || white(outer, all).next().is_some());
    }
    usual || odd(outer, inked, drawn)
}

/// Whether lines along a single frame go on far beyond it and end at other lines, as those of a table
/// do: those to cut along go on beyond all others.
pub(super) fn is_field(frame: &Lattice, drawn: &Drawn) -> bool {
    const ALONG: f64 = 0.13;
    const BEYOND: f64 = 30.0;
    const ENDS: f64 = 1.0;
    let on = |steps: &Steps, length: f64, strokes: &[Stroke], across: &[Stroke], along: f64| {
        let cuts = [steps.start, steps.start + length];
        let ends = |at: f64| across.iter().any(|line| (line.at - at).abs() <= ENDS);
        strokes.iter().any(|stroke| {
            stroke.to - stroke.from > along + BEYOND
                && cuts.iter().any(|cut| (stroke.at - cut).abs() <= ALONG)
                && ends(stroke.from)
                && ends(stroke.to)
        })
    };
    let (size, down, across) = (frame.size, &drawn.down, &drawn.across);
    frame.count() == 1
        && nearest_card(size).is_none()
        && (on(&frame.x, size.w, down, across, size.h)
            || on(&frame.y, size.h, across, down, size.w))
}

/// Which cells hold something: what is seen in them, else areas painted white; all that are there
/// where nothing tells.
pub(super) fn filled(outer: &Lattice, all: &[Lattice], inked: &[f64]) -> Vec<bool> {
    let seen: Vec<bool> = inked.iter().map(|share| *share > 0.0).collect();
    if seen.contains(&true) {
        return seen;
    }
    let mut painted = vec![false; outer.taken.len()];
    for at in white(outer, all) {
        painted[at] = true;
    }
    if painted.contains(&true) {
        painted
    } else {
        outer.taken.clone()
    }
}

/// The cells of outlines that areas of the same size were painted in before all of the outlines.
fn white<'a>(outer: &'a Lattice, all: &'a [Lattice]) -> impl Iterator<Item = usize> + 'a {
    const SAME: f64 = 0.25;
    (all.iter())
        .filter(|area| outer.outline && !area.outline && area.size.is_close(outer.size, SAME))
        .filter(|area| area.painted.1 < outer.painted.0)
        .flat_map(move |area| {
            (area.taken.iter().enumerate()).filter_map(move |(index, taken)| {
                let (column, row) = (index % area.x.count, index / area.x.count);
                let column = outer.x.index(area.x.at(column)).filter(|_| *taken)?;
                Some(outer.y.index(area.y.at(row))? * outer.x.count + column)
            })
        })
}

/// Whether frames of no usual size are cards: most of them with something in them, nothing written
/// between them, and where they are few, no more of other sizes; and where there is no more than a
/// line around each, close together, large enough, with more than a few words in it, and the only
/// boxes of the page.
fn odd(outer: &Lattice, inked: &[f64], drawn: &Drawn) -> bool {
    let wide = outer.gutters().iter().any(|gutter| *gutter > GUTTER);
    let least = if outer.outline { LEAST_INK } else { 0.0 };
    let held = (inked.iter().zip(&outer.taken)).filter(|(share, taken)| **taken && **share > least);
    let most = held.count() as f64 >= MOST * outer.count() as f64;
    let small = outer.size.w * outer.size.h < LEAST_AREA;
    let form = outer.outline && (wide || small || beside(outer, drawn) > BESIDE);
    let few = outer.count() < LEAST && beside(outer, drawn) > 1.0;
    most && !form && !few && !labelled(outer, drawn)
}

/// Whether there are words between the cells, for half of them or more; of a lone row or column also
/// beside it.
fn labelled(outer: &Lattice, drawn: &Drawn) -> bool {
    let mut block = outer.block();
    if outer.x.count == 1 {
        block.max.x += 2.0 * outer.size.w;
    }
    if outer.y.count == 1 {
        block.max.y += outer.size.h;
    }
    // Words in pictures of other sizes are those of other cards.
    let most = 2.0 * outer.size.w * outer.size.h;
    let held = |at: Point<Page>| {
        drawn.frames.iter().any(|frame| {
            let size = frame.rect.size();
            !frame.outline && size.w * size.h <= most && frame.rect.contains(at)
        })
    };
    let between = |at: &&Point<Page>| block.contains(**at) && !outer.holds(**at) && !held(**at);
    2 * drawn.words.iter().filter(between).count() >= outer.count()
}

/// The area of all frames that are not in the cells' block nor around it, against that of the cells.
fn beside(outer: &Lattice, drawn: &Drawn) -> f64 {
    let block = outer.block();
    let apart =
        |rect: &Rect<Page>| !block.contains(rect.centre()) && !rect.contains(block.centre());
    let areas = drawn.frames.iter().map(|frame| frame.rect).filter(apart);
    let sum: f64 = areas.map(|rect| rect.size().w * rect.size().h).sum();
    sum / outer.area().max(1.0)
}
