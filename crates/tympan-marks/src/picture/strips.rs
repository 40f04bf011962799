//! Finding the strips of witness marks in a picture and reading their codes.
//!
//! Nothing is known beforehand of where the sheet lies. Round spots of one size that follow each
//! other at four times their width are a chain of marks; a code stands between the end of a chain
//! and one more mark. The check of the code tells whether it was one.

use tympan_sheet::{Point, Vector};

use super::luma::{Luma, Pixels};
use super::mark::patches;
use super::solve::quantile;
use crate::witness::{BAR, CELLS, CODE_PLACES, MARK_RADIUS, PITCH, StripCode, cell_mm};

/// Spots are looked for in a picture of at most about this many pixels along its longer side.
const LONG_SIDE: usize = 1800;
/// The longer side of a picture shows between so many mm.
const SHOWN: (f64, f64) = (190.0, 620.0);
/// Tones below which a pixel is dark, tried in turn.
const TONES: [u8; 7] = [120, 150, 90, 180, 60, 205, 40];
/// No picture of a sheet has more spots of the right size than this; more are noise.
const MOST_SPOTS: usize = 4000;
/// Distance from one mark of a side to its next over their width.
const STEP_OF_WIDTH: f64 = 2.0 * PITCH / (2.0 * MARK_RADIUS);
/// Spots are of one width within this share.
const ALIKE: f64 = 0.25;
/// A chain has at least so many marks.
const LEAST_CHAIN: usize = 4;
/// So many of the longest chains are tried.
const MOST_CHAINS: usize = 16;
/// So many spots at the end of a chain may be something else.
const MOST_DROPPED: usize = 5;
/// Bars that are hardly darker than the paper are none: darkness over the paper's tone.
const PALEST: f64 = 0.75;

/// A strip whose code was read.
#[derive(Clone, Debug)]
pub(super) struct FoundStrip {
    pub(super) code: StripCode,
    /// Marks of the chain and beside the code: how far along the strip from the mark before the
    /// code, mm, and where in the picture.
    pub(super) marks: Vec<(f64, Point<Pixels>)>,
}

/// A dark round spot.
#[derive(Clone, Copy, Debug)]
struct Spot {
    at: Point<Pixels>,
    width: f64,
}

/// Marks that follow each other: the spot, and how many steps from the first.
type Chain = Vec<(Spot, i32)>;

/// All strips whose codes can be read, each once.
pub(super) fn find(luma: &Luma) -> Vec<FoundStrip> {
    let longer = luma.width().max(luma.height());
    let factor = ((longer as f64 / LONG_SIDE as f64).round() as usize).max(1);
    let small = luma.reduced(factor);
    let spots = spots(&small);
    let mut found: Vec<FoundStrip> = Vec::new();
    for chain in chains(&spots).into_iter().take(MOST_CHAINS) {
        for towards_end in [true, false] {
            let Some(strip) = beside(luma, factor as f64, &spots, &chain, towards_end) else {
                continue;
            };
            let near = |f: &FoundStrip| {
                let apart = f.marks[0].1 - strip.marks[0].1;
                f.code == strip.code && apart.length() < chain[0].0.width * factor as f64 * 40.0
            };
            match found.iter_mut().find(|f| near(f)) {
                // The longer chain says more.
                Some(known) if known.marks.len() < strip.marks.len() => *known = strip,
                Some(_) => {}
                None => found.push(strip),
            }
        }
    }
    found
}

/// Dark round spots of the size that marks may have.
fn spots(luma: &Luma) -> Vec<Spot> {
    let longer = luma.width().max(luma.height()) as f64;
    let width = |shown: f64| 2.0 * MARK_RADIUS * longer / shown;
    let (least, most) = ((width(SHOWN.1) - 1.0).max(4.0), width(SHOWN.0) + 1.0);
    let (columns, rows) = (luma.width(), luma.height());
    let mut spots: Vec<Spot> = Vec::new();
    // Spots by cells of this size, so that what was found at another tone is known again.
    let cell = |p: Point<Pixels>| ((p.x / most) as i64, (p.y / most) as i64);
    let mut by_cell = std::collections::HashMap::<(i64, i64), Vec<usize>>::new();
    for tone in TONES {
        let mask: Vec<bool> = luma.data().iter().map(|&v| v < tone).collect();
        for patch in patches(&mask, columns) {
            let [left, top, right, bottom] = patch.bounds;
            let (w, h) = ((right - left + 1) as f64, (bottom - top + 1) as f64);
            let inside = left > 0 && top > 0 && right + 1 < columns && bottom + 1 < rows;
            let share = patch.count as f64 / (w * h);
            // A disc fills 79 % of its square, a ring 59 %; thick bars of codes fill more.
            let round = w.max(h) < 1.3 * w.min(h) + 1.0 && (0.42..0.87).contains(&share);
            let size = (w + h) / 2.0;
            if !(inside && round && (least..most).contains(&size)) {
                continue;
            }
            let at = Point::new(patch.x + 0.5, patch.y + 0.5);
            if !stands_alone(luma, at, size / 2.0, tone) {
                continue;
            }
            let (i, j) = cell(at);
            let around = (-1..=1).flat_map(|dy| (-1..=1).map(move |dx| (i + dx, j + dy)));
            let known = around
                .filter_map(|c| by_cell.get(&c))
                .flatten()
                .any(|&k| (spots[k].at - at).length() < 0.4 * size);
            if !known {
                by_cell.entry((i, j)).or_default().push(spots.len());
                spots.push(Spot { at, width: size });
            }
        }
        if spots.len() > MOST_SPOTS {
            spots.truncate(MOST_SPOTS);
            break;
        }
    }
    spots
}

/// Whether a spot is bare all around, as a mark is and a code's bar is not.
fn stands_alone(luma: &Luma, at: Point<Pixels>, radius: f64, tone: u8) -> bool {
    let angles = (0..16).map(|k| f64::from(k) * std::f64::consts::PI / 8.0);
    let dark = angles.flat_map(|a| {
        let way: Vector<Pixels> = Vector::new(a.cos(), a.sin());
        [1.4, 1.65].map(|r| luma.at(at + way * (r * radius)).unwrap_or(0.0))
    });
    dark.filter(|&v| v < f64::from(tone)).count() <= 2
}

/// Chains of spots, the longest first.
fn chains(spots: &[Spot]) -> Vec<Chain> {
    let mut used = std::collections::HashSet::new();
    let mut chains = Vec::new();
    for a in 0..spots.len() {
        for b in a + 1..spots.len() {
            let apart = (spots[b].at - spots[a].at).length();
            let width = (spots[a].width + spots[b].width) / 2.0;
            let step = apart / width / STEP_OF_WIDTH;
            if !(0.78..1.22).contains(&step) || !alike(spots[a], spots[b]) || used.contains(&(a, b))
            {
                continue;
            }
            let ahead = walk(spots, a, b);
            let behind = walk(spots, b, a);
            // From the hindmost to the foremost.
            let mut chain: Vec<(usize, i32)> =
                behind[2..].iter().rev().map(|&(k, n)| (k, 1 - n)).collect();
            chain.extend(ahead);
            for pair in chain.windows(2) {
                let (x, y) = (pair[0].0, pair[1].0);
                used.insert((x.min(y), x.max(y)));
            }
            if chain.len() >= LEAST_CHAIN {
                let first = chain[0].1;
                chains.push(
                    chain
                        .into_iter()
                        .map(|(k, n)| (spots[k], n - first))
                        .collect(),
                );
            }
        }
    }
    chains.sort_by_key(|chain: &Chain| std::cmp::Reverse(chain.len()));
    chains
}

fn alike(a: Spot, b: Spot) -> bool {
    (a.width - b.width).abs() < ALIKE * a.width.min(b.width) + 1.0
}

/// Spots from `a` over `b` onwards, with their steps from `a`, as long as one follows, or one
/// after a missing one.
fn walk(spots: &[Spot], a: usize, b: usize) -> Vec<(usize, i32)> {
    let mut chain = vec![(a, 0), (b, 1)];
    let mut step = spots[b].at - spots[a].at;
    loop {
        let Some(&(last, number)) = chain.last() else {
            return chain;
        };
        let next = [1, 2].into_iter().find_map(|steps| {
            let reach = f64::from(steps);
            let wanted = spots[last].at + step * reach;
            let off = |k: usize| (spots[k].at - wanted).length();
            (0..spots.len())
                .filter(|&k| off(k) < 0.12 * reach * step.length() && alike(spots[k], spots[last]))
                .min_by(|&j, &k| off(j).total_cmp(&off(k)))
                .map(|k| (k, steps))
        });
        let Some((k, steps)) = next else {
            return chain;
        };
        if chain.iter().any(|&(known, _)| known == k) {
            return chain;
        }
        step = (spots[k].at - spots[last].at) * (1.0 / f64::from(steps));
        chain.push((k, number + steps));
    }
}

/// The code beyond one end of a chain, if there is one.
fn beside(
    luma: &Luma,
    factor: f64,
    spots: &[Spot],
    chain: &[(Spot, i32)],
    towards_end: bool,
) -> Option<FoundStrip> {
    let mut outward: Vec<(Spot, f64)> = chain
        .iter()
        .map(|&(spot, steps)| (spot, f64::from(steps) * 2.0 * PITCH))
        .collect();
    if !towards_end {
        let length = outward.last()?.1;
        outward.reverse();
        outward.iter_mut().for_each(|(_, mm)| *mm = length - *mm);
    }
    // A thick bar may pass for the last mark, or the mark beside the code have been missed.
    let tries = [(0, 0.0), (1, 0.0), (0, 1.0)].into_iter();
    let tries = tries.chain((2..=MOST_DROPPED).map(|dropped| (dropped, 0.0)));
    for (dropped, missed) in tries {
        let kept = outward.len().saturating_sub(dropped);
        if kept < LEAST_CHAIN - 1 {
            break;
        }
        if let Some(strip) = code_after(luma, factor, spots, &outward[..kept], missed) {
            return Some(strip);
        }
    }
    None
}

/// The code after the last of these marks, given with their way along the strip in mm, or after
/// the mark that should follow.
fn code_after(
    luma: &Luma,
    factor: f64,
    spots: &[Spot],
    marks: &[(Spot, f64)],
    missed: f64,
) -> Option<FoundStrip> {
    let (last, reached) = *marks.last()?;
    // The step at the end, over the last few marks.
    let (before, from) = marks[marks.len().saturating_sub(4)];
    let per_mm = (last.at - before.at) * (1.0 / (reached - from));
    let across = f64::from(CODE_PLACES) * PITCH;
    let start = reached + missed * 2.0 * PITCH;
    let flank = last.at + per_mm * (start - reached);
    let wanted = flank + per_mm * across;
    let (far, _) = spots
        .iter()
        .filter(|s| alike(**s, last))
        .map(|s| (s, (s.at - wanted).length()))
        .filter(|(_, off)| *off < 0.12 * across * per_mm.length())
        .min_by(|a, b| a.1.total_cmp(&b.1))?;
    let way = far.at - flank;
    // Perspective: the step at this end against the mean one.
    let bent = (per_mm.length() * across / way.length() - 1.0).clamp(-0.06, 0.06);
    for bend in [bent, 0.0, bent / 2.0] {
        for slip in [0.0, -0.15, 0.15] {
            let at = |mm: f64| {
                let t = (mm + slip) / across;
                let p = flank + way * (t + bend * t * (1.0 - t));
                Point::new(p.x * factor, p.y * factor)
            };
            let Some(cells) = cells(luma, &at) else {
                continue;
            };
            let mut backwards = cells;
            backwards.reverse();
            let (code, reversed) = match (StripCode::of(&cells), StripCode::of(&backwards)) {
                (Some(code), _) => (code, false),
                (None, Some(code)) => (code, true),
                (None, None) => continue,
            };
            // Along the strip from the mark before the code.
            let along = |mm: f64| if reversed { across - mm } else { mm };
            let scaled = |p: Point<Pixels>| Point::new(p.x * factor, p.y * factor);
            let mut found: Vec<_> = marks
                .iter()
                .map(|(spot, mm)| (along(mm - start), scaled(spot.at)))
                .collect();
            found.push((along(across), scaled(far.at)));
            return Some(FoundStrip { code, marks: found });
        }
    }
    None
}

/// The cells of a code, by the picture's tone along a way given in mm from the mark before it.
fn cells(luma: &Luma, at: &impl Fn(f64) -> Point<Pixels>) -> Option<[bool; CELLS]> {
    let across = f64::from(CODE_PLACES) * PITCH;
    let tone = |mm: f64, width: f64| -> Option<f64> {
        let along = at(mm + 0.5) - at(mm - 0.5);
        let side: Vector<Pixels> = Vector::new(-along.y, along.x);
        let mut sum = 0.0;
        for u in [-0.25, 0.0, 0.25] {
            let p = at(mm + u * width);
            for v in [-0.8, -0.4, 0.0, 0.4, 0.8] {
                sum += luma.at(p + side * v)?;
            }
        }
        Some(sum / 15.0)
    };
    // Paper between mark and bars, at either end.
    let gap = (MARK_RADIUS + cell_mm(0) - BAR / 2.0) / 2.0;
    let (before, after) = (tone(gap, 0.4)?, tone(across - gap, 0.4)?);
    let paper = |mm: f64| before + (after - before) * mm / across;
    let mut shares = [0.0; CELLS];
    for (k, share) in shares.iter_mut().enumerate() {
        let mm = cell_mm(k);
        *share = tone(mm, BAR)? / paper(mm).max(1.0);
    }
    let bar = quantile(&mut shares.to_vec(), 0.1);
    (bar < PALEST).then(|| shares.map(|share| share < (1.0 + bar) / 2.0))
}
