//! One axis of a grid: where cells start, how long they are, at what step they follow.

use super::SIDES;
use super::lines::Line;
use super::plane::{PAPER, Plane};
use super::tilt::peak;

/// Lines that stand together belong together within this, mm.
const NEAR: f64 = 0.25;

/// The widest gutter, mm.
const GUTTER: f64 = 12.0;

/// Cells along an axis, mm.
#[derive(Clone, Copy, Debug)]
pub(super) struct Axis {
    pub(super) start: f64,
    pub(super) length: f64,
    pub(super) pitch: f64,
    pub(super) count: usize,
}

impl Axis {
    pub(super) fn at(&self, index: usize) -> f64 {
        self.start + index as f64 * self.pitch
    }

    pub(super) fn inset(self, by: f64) -> Self {
        Self {
            start: self.start + by,
            length: self.length - 2.0 * by,
            ..self
        }
    }

    /// The places of all cuts.
    fn cuts(&self) -> impl Iterator<Item = f64> + '_ {
        (0..self.count).flat_map(|i| [self.at(i), self.at(i) + self.length])
    }
}

/// How far print reaches along an axis, mm.
#[derive(Clone, Copy, Debug)]
pub(super) struct Reach {
    pub(super) from: f64,
    pub(super) to: f64,
    /// Whether both ends are straight edges.
    pub(super) sharp: bool,
}

/// How far more than thin lines reaches along the plane's x axis. `None` where there is nothing.
pub(super) fn reach(plane: &Plane, px_per_mm: f64) -> Option<Reach> {
    let mut solid = vec![0_usize; plane.w];
    for y in 2..plane.h - 2 {
        let (above, row, below) = (plane.row(y - 2), plane.row(y), plane.row(y + 2));
        for x in 2..plane.w - 2 {
            let ink = |r: &[f32]| r[x - 2] < PAPER && r[x] < PAPER && r[x + 2] < PAPER;
            solid[x] += usize::from(ink(row) && ink(above) && ink(below));
        }
    }
    let least = (1.0 * px_per_mm) as usize;
    let first = solid.iter().position(|n| *n >= least)?;
    let last = solid.iter().rposition(|n| *n >= least)?;
    let (from, sharp_from) = edge(plane, first, -1, px_per_mm);
    let (to, sharp_to) = edge(plane, last, 1, px_per_mm);
    Some(Reach {
        from: from / px_per_mm,
        to: to / px_per_mm,
        sharp: sharp_from && sharp_to,
    })
}

/// The place of an edge near a column, px: where the grey of most rows passes halfway to paper.
fn edge(plane: &Plane, near: usize, outward: i64, px_per_mm: f64) -> (f64, bool) {
    let mut found = Vec::new();
    for y in 0..plane.h {
        let row = plane.row(y);
        let at = |k: i64| {
            let x = near as i64 + k * outward;
            usize::try_from(x)
                .ok()
                .and_then(|x| row.get(x))
                .copied()
                .unwrap_or(255.0)
        };
        let within = at(-1);
        if within > 200.0 || (at(6) - 255.0).abs() > 20.0 {
            continue;
        }
        let half = (within + at(6)) / 2.0;
        let crossing = (-1..6).find(|k| at(*k) <= half && at(k + 1) > half);
        if let Some(k) = crossing {
            let part = f64::from((half - at(k)) / (at(k + 1) - at(k)));
            found.push(near as f64 + 0.5 + outward as f64 * (k as f64 + part));
        }
    }
    if found.is_empty() {
        return (near as f64 + 0.5 + 1.5 * outward as f64, false);
    }
    found.sort_by(f64::total_cmp);
    let middle = found[found.len() / 2];
    let close = found.iter().filter(|v| (**v - middle).abs() <= 0.6).count() as f64;
    let sharp = close >= 8.0 * px_per_mm && close >= 0.6 * found.len() as f64;
    (middle, sharp)
}

/// The axis whose cuts all have lines, if there is one.
pub(super) fn from_lines(lines: &[Line], reach: &Reach) -> Option<Axis> {
    let strong: Vec<&Line> = (lines.iter())
        .filter(|line| line.strokes >= 2 || line.length >= 25.0 || lines.len() <= 12)
        .collect();
    if strong.len() > 60 {
        return None;
    }
    let mut best: Option<(f64, Axis)> = None;
    for (i, first) in strong.iter().enumerate() {
        for second in &strong[i + 1..] {
            let length = second.at - first.at;
            if !(SIDES.0..=SIDES.1).contains(&length) {
                continue;
            }
            let mut pitches = vec![length];
            pitches.extend(
                (strong.iter())
                    .map(|line| line.at - first.at)
                    .filter(|pitch| (length + 0.4..=length + GUTTER).contains(pitch)),
            );
            for pitch in pitches {
                let Some((axis, support)) = follow(&strong, first.at, length, pitch) else {
                    continue;
                };
                let end = axis.at(axis.count - 1) + axis.length;
                let holds = axis.start <= reach.from + 12.0 && end >= reach.to - 12.0;
                // Cells that leave print outside are not all of them.
                let score = support - if holds { 0.0 } else { 2.5 };
                let better = |(top, other): &(f64, Axis)| {
                    let level = (score - top).abs() <= 0.01;
                    if level {
                        axis.length > other.length
                    } else {
                        score > *top
                    }
                };
                if best.as_ref().is_none_or(better) {
                    best = Some((score, axis));
                }
            }
        }
    }
    best.map(|(_, axis)| axis)
}

/// Goes on from the first cell as long as lines are there; how many cuts that makes, less what is
/// left unexplained.
fn follow(lines: &[&Line], start: f64, length: f64, pitch: f64) -> Option<(Axis, f64)> {
    let near = |at: f64| {
        (lines.iter())
            .enumerate()
            .map(|(i, line)| (i, line.at))
            .min_by(|a, b| (a.1 - at).abs().total_cmp(&(b.1 - at).abs()))
            .filter(|(_, place)| (place - at).abs() <= NEAR)
    };
    let mut points: Vec<(f64, f64, f64)> = Vec::new();
    let mut used = vec![false; lines.len()];
    let mut count = 0;
    let mut step = pitch;
    while count < 40 {
        let base = start + count as f64 * step;
        let (Some(a), Some(b)) = (near(base), near(base + length)) else {
            break;
        };
        used[a.0] = true;
        used[b.0] = true;
        points.push((count as f64, 0.0, a.1));
        points.push((count as f64, 1.0, b.1));
        if count > 0 {
            step = (a.1 - start) / count as f64;
        }
        count += 1;
    }
    if count == 0 || (count == 1 && pitch > length) {
        return None;
    }
    let axis = fitted(&points, count, length, pitch > length);
    // Lines along cuts reach beyond those within cards.
    let first = lines.iter().map(|line| line.from).fold(f64::MAX, f64::min);
    let last = lines.iter().map(|line| line.to).fold(f64::MIN, f64::max);
    let worth = |line: &Line| {
        let ends = [line.from < first + 1.5, line.to > last - 1.5];
        0.16 + 0.42 * ends.iter().filter(|end| **end).count() as f64
    };
    let score = |taken: bool| -> f64 {
        (lines.iter().zip(&used))
            .filter(|(_, used)| **used == taken)
            .map(|(line, _)| worth(line))
            .sum()
    };
    let (taken, left) = (score(true), score(false));
    (taken >= left).then_some((axis, taken - 0.5 * left))
}

/// Least squares for start, length and pitch.
fn fitted(points: &[(f64, f64, f64)], count: usize, length: f64, gutter: bool) -> Axis {
    let n = count as f64;
    let mean_i = (n - 1.0) / 2.0;
    let side = |which: f64| {
        let of: Vec<_> = points.iter().filter(|p| p.1 == which).collect();
        let mean = of.iter().map(|p| p.2).sum::<f64>() / n;
        let up: f64 = of.iter().map(|p| (p.0 - mean_i) * (p.2 - mean)).sum();
        let down: f64 = of.iter().map(|p| (p.0 - mean_i).powi(2)).sum();
        (mean, up, down)
    };
    let (near, far) = (side(0.0), side(1.0));
    let mut fit = far.0 - near.0;
    let mut pitch = length;
    if count > 1 {
        pitch = (near.1 + far.1) / (near.2 + far.2);
        if !gutter {
            // One line is both the end of a cell and the start of the next.
            let first = points.first().map_or(0.0, |p| p.2);
            let last = points.last().map_or(0.0, |p| p.2);
            pitch = (pitch + (last - first) / n) / 2.0;
            fit = pitch;
        }
    }
    let middle = (near.0 + far.0) / 2.0;
    Axis {
        start: middle - mean_i * pitch - fit / 2.0,
        length: fit,
        pitch,
        count,
    }
}

/// Where lines run that go through all cuts of an axis, by what is seen of them beyond the cells
/// and in the gutters between: number of the cell, 0 for its near side and 1 for its far one, and
/// the place, mm. `None` where a cut has no line there.
pub(super) fn cuts_beyond(
    plane: &Plane,
    axis: &Axis,
    other: &Axis,
    px_per_mm: f64,
) -> Option<Vec<(f64, f64, f64)>> {
    const FAR: f64 = 8.0;
    const CLEAR: f64 = 0.6;
    let end = other.at(other.count - 1) + other.length;
    let mut free = vec![
        (other.start - FAR, other.start - CLEAR),
        (end + CLEAR, end + FAR),
    ];
    let gutters = (1..other.count).map(|i| (other.at(i - 1) + other.length, other.at(i)));
    free.extend(gutters.map(|(from, to)| (from + CLEAR, to - CLEAR)));
    let px = |mm: f64| ((mm * px_per_mm).max(0.0) as usize).min(plane.h);
    let rows: Vec<usize> = (free.iter())
        .flat_map(|(from, to)| px(*from)..px(*to))
        .collect();
    let least = (1.0 * px_per_mm) as usize;
    let side = ((0.52 * px_per_mm).round() as usize).max(2);
    let place = |cut: f64| {
        let about = (cut * px_per_mm) as usize;
        let columns = about.checked_sub(2)?.max(side + 1)..(about + 3).min(plane.w - side - 1);
        let mut places: Vec<f64> = (rows.iter())
            .filter_map(|y| {
                let row = plane.row(*y);
                let at = |x: usize| Some(x as f64 + 0.5 + super::lines::ridge(row, x, side)?);
                columns.clone().find_map(at)
            })
            .collect();
        places.sort_by(f64::total_cmp);
        (places.len() >= least).then(|| places[places.len() / 2] / px_per_mm)
    };
    let cuts = axis.cuts().enumerate();
    cuts.map(|(i, cut)| Some(((i / 2) as f64, (i % 2) as f64, place(cut)?)))
        .collect()
}

/// The axis through these places, and the sum of squares of what is left, mm².
pub(super) fn through(axis: &Axis, places: &[(f64, f64, f64)]) -> (Axis, f64) {
    let gutter = axis.count > 1 && axis.pitch - axis.length > 0.3;
    let fitted = fitted(places, axis.count, axis.length, gutter);
    let squares = (places.iter())
        .map(|(i, side, at)| (at - fitted.at(*i as usize) - side * fitted.length).powi(2))
        .sum();
    (fitted, squares)
}

/// The outermost axis along lines within one that was found from the print.
pub(super) fn within(outer: &Axis, lines: &[Line]) -> Option<Axis> {
    let mut best: Option<(usize, f64, Axis)> = None;
    for line in lines {
        let by = line.at - outer.start;
        if !(-0.4..=super::MOST_BLEED).contains(&by) {
            continue;
        }
        let axis = outer.inset(by);
        let cuts: Vec<f64> = axis.cuts().collect();
        let places: Vec<Option<f64>> = (cuts.iter())
            .map(|cut| {
                (lines.iter())
                    .map(|line| line.at)
                    .filter(|at| (at - cut).abs() <= NEAR)
                    .min_by(|a, b| (a - cut).abs().total_cmp(&(b - cut).abs()))
            })
            .collect();
        if places.iter().any(Option::is_none) {
            continue;
        }
        let points: Vec<(f64, f64, f64)> = (places.iter().flatten().enumerate())
            .map(|(i, at)| ((i / 2) as f64, (i % 2) as f64, *at))
            .collect();
        let gutter = axis.pitch - axis.length > 0.3;
        let found = fitted(&points, axis.count, axis.length, gutter);
        if best.as_ref().is_none_or(|(_, other, _)| by < *other) {
            best = Some((places.len(), by, found));
        }
    }
    best.map(|(_, _, axis)| axis)
}

/// What the print's reach and repeats tell.
#[derive(Clone, Copy, Debug)]
pub(super) struct Print {
    pub(super) axis: Axis,
    /// How alike the cells are along the axis, 0 to 1; 1 where there is only one.
    pub(super) alike: f64,
    /// Whether steps too short for cells repeat as well.
    pub(super) fine: bool,
}

/// The axis that the print's reach and repeats tell.
pub(super) fn from_repeats(plane: &Plane, reach: &Reach, px_per_mm: f64) -> Option<Print> {
    let long = reach.to - reach.from;
    let profile = profile(plane, px_per_mm);
    let likeness = |lag: usize| correlation(&profile, lag);
    let shortest = (SIDES.0 * px_per_mm) as usize;
    let longest = ((SIDES.1 + GUTTER).min(long) * px_per_mm) as usize;
    let all: Vec<f64> = (0..=longest + 1).map(likeness).collect();
    let mut best: Option<(f64, Axis)> = None;
    for lag in shortest.max(1)..longest {
        let Some(off) = peak(all[lag - 1], all[lag], all[lag + 1]) else {
            continue;
        };
        if all[lag] < 0.3 {
            continue;
        }
        let mut pitch = (lag as f64 + off) / px_per_mm;
        let count = (long / pitch - 0.03).ceil().max(1.0) as usize;
        if count < 2 {
            continue;
        }
        let mut weight = all[lag];
        // Farther repeats tell the pitch better.
        for k in 2..count {
            let about = (k as f64 * pitch * px_per_mm).round() as usize;
            let range = about.saturating_sub(3)..=about + 3;
            let Some(top) = range.max_by(|a, b| likeness(*a).total_cmp(&likeness(*b))) else {
                break;
            };
            let (a, b, c) = (likeness(top - 1), likeness(top), likeness(top + 1));
            weight += b;
            if let Some(off) = peak(a, b, c).filter(|_| b > 0.25) {
                pitch = (top as f64 + off) / px_per_mm / k as f64;
            }
        }
        weight /= (count - 1) as f64;
        let length = (long - (count - 1) as f64 * pitch).min(pitch);
        if length < 0.12 * pitch {
            continue;
        }
        let axis = Axis {
            start: reach.from,
            length,
            pitch,
            count,
        };
        // A whole multiple of a pitch repeats as well as the pitch itself, often better.
        let better = |(top, other): &(f64, Axis)| {
            let part = axis.pitch / other.pitch;
            let multiple = part > 1.5 && (part - part.round()).abs() < 0.02;
            weight > if multiple { top / 0.8 } else { *top }
        };
        if best.as_ref().is_none_or(better) {
            best = Some((weight, axis));
        }
    }
    // What repeats as well at a step too short for cells is lines of text or a fine pattern.
    let fine = (all.windows(3).enumerate())
        .skip((2.5 * px_per_mm) as usize)
        .take((15.5 * px_per_mm) as usize)
        .filter(|(_, three)| peak(three[0], three[1], three[2]).is_some())
        .map(|(_, three)| three[1])
        .fold(0.0, f64::max);
    match best {
        Some((weight, axis)) if weight >= 0.3 => Some(Print {
            axis,
            alike: weight.min(1.0),
            fine: fine >= 0.85 * weight,
        }),
        _ if long <= SIDES.1 => Some(Print {
            axis: Axis {
                start: reach.from,
                length: long,
                pitch: long,
                count: 1,
            },
            alike: 1.0,
            fine: false,
        }),
        _ => None,
    }
}

/// How much edge there is at each column, less what is usual around it.
fn profile(plane: &Plane, px_per_mm: f64) -> Vec<f64> {
    let mut sum = vec![0.0; plane.w];
    for y in 0..plane.h {
        let row = plane.row(y);
        for x in 1..plane.w - 1 {
            sum[x] += f64::from((row[x + 1] - row[x - 1]).abs());
        }
    }
    let half = (1.5 * px_per_mm) as usize;
    let mut total = vec![0.0; plane.w + 1];
    for (x, value) in sum.iter().enumerate() {
        total[x + 1] = total[x] + value;
    }
    (0..plane.w)
        .map(|x| {
            let (a, b) = (x.saturating_sub(half), (x + half + 1).min(plane.w));
            let over = sum[x] - (total[b] - total[a]) / (b - a) as f64;
            // The ends of the whole print must not outweigh what repeats.
            over.max(0.0).sqrt()
        })
        .collect()
}

fn correlation(profile: &[f64], lag: usize) -> f64 {
    if lag >= profile.len() {
        return 0.0;
    }
    let (a, b) = (&profile[..profile.len() - lag], &profile[lag..]);
    let dot: f64 = a.iter().zip(b).map(|(a, b)| a * b).sum();
    let power = |v: &[f64]| v.iter().map(|v| v * v).sum::<f64>();
    dot / (power(a) * power(b)).sqrt().max(1e-9)
}
