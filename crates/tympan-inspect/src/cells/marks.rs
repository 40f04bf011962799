//! Cells told by the marks outside of all print, where the pictures themselves are of unlike
//! sizes: at the outside of a block they bleed freely, inside only as far as their neighbours
//! leave room.

use tympan_sheet::{Page, Rect, Size};

use super::evidence::{Drawn, Frame, LEAST_SIDE, MOST_SIDE, Stroke};
use super::lattice::{Lattice, Steps, clusters};
use crate::findings::Bleed;

/// Positions that differ by less are the same, mm.
const SAME: f64 = 0.13;

/// The most bleed that is believed, mm.
const MOST_BLEED: f64 = 7.0;

/// Marks are no longer than this, mm.
const LONGEST: f64 = 15.0;

/// The cells that trim marks show, and the bleed of the pictures in them.
pub(super) fn lattice(frames: &[Frame], drawn: &Drawn) -> Option<(Lattice, Bleed)> {
    let (x, w) = steps(&drawn.down, frames, |at, along| (at, along))?;
    let (y, h) = steps(&drawn.across, frames, |at, along| (along, at))?;
    let size = Size::new(w, h);
    let mut lattice = Lattice {
        size,
        x,
        y,
        taken: Vec::new(),
        outline: false,
        painted: (usize::MAX, 0),
        radius: 0.0,
    };
    let mut beyond: Vec<f64> = Vec::new();
    for row in 0..y.count {
        for column in 0..x.count {
            let cell = Rect::at(tympan_sheet::Point::new(x.at(column), y.at(row)), size);
            let own = frames.iter().filter(|frame| !frame.outline);
            let own = own.filter_map(|frame| Some((frame, around(frame.rect, cell)?)));
            let largest = own.max_by(|a, b| total(&a.1).total_cmp(&total(&b.1)));
            lattice.taken.push(largest.is_some());
            if let Some((frame, edges)) = largest {
                let (first, last) = lattice.painted;
                lattice.painted = (first.min(frame.order), last.max(frame.order));
                beyond.extend(edges);
            }
        }
    }
    if lattice.count() == 0 || lattice.taken.len() < 2 {
        return None;
    }
    beyond.sort_by(f64::total_cmp);
    let bleed = Bleed {
        least: beyond[0].max(0.0),
        usual: beyond[beyond.len() / 2].max(0.0),
    };
    Some((lattice, bleed))
}

fn total(edges: &[f64; 4]) -> f64 {
    edges.iter().sum()
}

/// How far a frame goes beyond a cell at each edge, where it is that cell's picture.
fn around(frame: Rect<Page>, cell: Rect<Page>) -> Option<[f64; 4]> {
    let edges = [
        cell.min.x - frame.min.x,
        cell.min.y - frame.min.y,
        frame.max.x - cell.max.x,
        frame.max.y - cell.max.y,
    ];
    let fits = |edge: &f64| (-SAME..=MOST_BLEED).contains(edge);
    edges.iter().all(fits).then_some(edges)
}

/// The steps of the cells along one axis and their length, from the marks across it. `place` makes
/// x and y of a position across and one along a mark.
fn steps(
    strokes: &[Stroke],
    frames: &[Frame],
    place: impl Fn(f64, f64) -> (f64, f64),
) -> Option<(Steps, f64)> {
    let outside = |stroke: &&Stroke| {
        let (x, y) = place(stroke.at, (stroke.from + stroke.to) / 2.0);
        let middle = tympan_sheet::Point::new(x, y);
        stroke.to - stroke.from <= LONGEST
            && !frames.iter().any(|frame| frame.rect.contains(middle))
    };
    let at = clusters(strokes.iter().filter(outside).map(|stroke| stroke.at));
    let is_side = |length: f64| (LEAST_SIDE..=MOST_SIDE).contains(&length);
    let gaps: Vec<f64> = at.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let alike = |gaps: &[f64]| {
        let mean = gaps.iter().sum::<f64>() / gaps.len() as f64;
        (gaps.iter().all(|gap| (gap - mean).abs() <= SAME)).then_some(mean)
    };
    // One cut between neighbours.
    if let Some(length) = alike(&gaps).filter(|length| !gaps.is_empty() && is_side(*length)) {
        let steps = Steps {
            start: at[0],
            pitch: length,
            count: gaps.len(),
        };
        return Some((steps, length));
    }
    // Two, with a gutter between them.
    if at.len() < 4 || at.len() % 2 == 1 {
        return None;
    }
    let lengths: Vec<f64> = gaps.iter().step_by(2).copied().collect();
    let gutters: Vec<f64> = gaps.iter().skip(1).step_by(2).copied().collect();
    let (length, gutter) = (alike(&lengths)?, alike(&gutters)?);
    let count = lengths.len();
    let fits = is_side(length) && gutter < length / 2.0;
    let pitch = (at[at.len() - 2] - at[0]) / (count - 1) as f64;
    let steps = Steps {
        start: at[0],
        pitch,
        count,
    };
    fits.then_some((steps, length))
}
