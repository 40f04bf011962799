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

    /// What lies between neighbours; 0 where there are none.
    pub(super) fn gutter(&self) -> f64 {
        if self.count > 1 {
            self.pitch - self.length
        } else {
            0.0
        }
    }

    pub(super) fn inset(self, by: f64) -> Self {
        Self {
            start: self.start + by,
            length: self.length - 2.0 * by,
            ..self
        }
    }

    fn is_close(&self, other: &Self) -> bool {
        let near = |a: f64, b: f64| (a - b).abs() <= 0.1;
        self.count == other.count
            && near(self.start, other.start)
            && near(self.length, other.length)
            && near(self.pitch, other.pitch)
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

impl Reach {
    /// Of a page that holds no more than thin lines: the middle of the page.
    pub(super) fn nothing(middle: f64) -> Self {
        Self {
            from: middle,
            to: middle,
            sharp: false,
        }
    }
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

/// An axis whose cuts all have lines.
#[derive(Clone, Copy, Debug)]
pub(super) struct Lined {
    pub(super) axis: Axis,
    /// How many cuts that makes, less what is left unexplained.
    pub(super) score: f64,
    /// The share of all lines that it explains, by how much each speaks for a cut.
    pub(super) explained: f64,
}

/// The most lines that are looked at.
const MOST_LINES: usize = 48;

/// The most axes that are kept.
const MOST_AXES: usize = 12;

/// The axes whose cuts all have lines, the best first.
pub(super) fn from_lines(lines: &[Line], reach: &Reach) -> Vec<Lined> {
    let mut strong: Vec<&Line> = (lines.iter())
        .filter(|line| line.strokes >= 2 || line.length >= 25.0 || lines.len() <= 12)
        .collect();
    if strong.len() > MOST_LINES {
        // Cuts go all the way through; what is drawn on cards does not.
        strong.sort_by(|a, b| (b.to - b.from).total_cmp(&(a.to - a.from)));
        strong.truncate(MOST_LINES);
        strong.sort_by(|a, b| a.at.total_cmp(&b.at));
    }
    let mut found: Vec<Lined> = Vec::new();
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
                let Some(mut lined) = follow(&strong, first.at, length, pitch) else {
                    continue;
                };
                let axis = lined.axis;
                let end = axis.at(axis.count - 1) + axis.length;
                let holds = axis.start <= reach.from + 12.0 && end >= reach.to - 12.0;
                // Cells that leave print outside are not all of them.
                lined.score -= if holds { 0.0 } else { 2.5 };
                found.push(lined);
            }
        }
    }
    // Of those as good as each other the longer cells.
    let level = |score: f64| (score / 0.02).round();
    found.sort_by(|a, b| {
        let score = level(b.score).total_cmp(&level(a.score));
        score.then(b.axis.length.total_cmp(&a.axis.length))
    });
    let mut kept: Vec<Lined> = Vec::new();
    for lined in found {
        let known = kept.iter().any(|other| lined.axis.is_close(&other.axis));
        if !known && kept.len() < MOST_AXES {
            kept.push(lined);
        }
    }
    kept
}

/// Goes on from the first cell as long as lines are there; how many cuts that makes, less what is
/// left unexplained.
fn follow(lines: &[&Line], start: f64, length: f64, pitch: f64) -> Option<Lined> {
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
    let ends = |line: &Line| {
        let ends = [line.from < first + 1.5, line.to > last - 1.5];
        ends.iter().filter(|end| **end).count()
    };
    let worth = |line: &Line| 0.16 + 0.42 * ends(line) as f64;
    // However much is drawn on the cards.
    let through = lines
        .iter()
        .zip(&used)
        .all(|(line, used)| !used || ends(line) == 2);
    let score = |taken: bool| -> f64 {
        (lines.iter().zip(&used))
            .filter(|(_, used)| **used == taken)
            .map(|(line, _)| worth(line))
            .sum()
    };
    let (taken, left) = (score(true), score(false));
    (taken >= left || through).then_some(Lined {
        axis,
        score: taken - 0.5 * left,
        explained: taken / (taken + left).max(1e-9),
    })
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

/// Lines through all cuts of an axis, by what is seen of them beyond the cells and in the gutters
/// between.
pub(super) struct Cuts {
    /// Number of the cell, 0 for its near side and 1 for its far one, and the place at the middle of
    /// the block, mm.
    pub(super) places: Vec<(f64, f64, f64)>,
    /// How the lines still slope, mm to the mm along them, and the standard uncertainty of that.
    pub(super) slope: (f64, f64),
}

/// Where lines run that go through all cuts of an axis; `other` is the axis along them. `None` where
/// a cut has no line there.
pub(super) fn cuts_beyond(
    plane: &Plane,
    axis: &Axis,
    other: &Axis,
    px_per_mm: f64,
) -> Option<Cuts> {
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
    // Along each line from the middle of the block, and across.
    let middle = (other.start + end) / 2.0;
    let points = |cut: f64| {
        let about = (cut * px_per_mm) as usize;
        let columns = about.checked_sub(2)?.max(side + 1)..(about + 3).min(plane.w - side - 1);
        let points: Vec<(f64, f64)> = (rows.iter())
            .filter_map(|y| {
                let row = plane.row(*y);
                let at = |x: usize| Some(x as f64 + 0.5 + super::lines::ridge(row, x, side)?);
                let across = columns.clone().find_map(at)?;
                Some(((*y as f64 + 0.5) / px_per_mm - middle, across / px_per_mm))
            })
            .collect();
        (points.len() >= least).then_some(points)
    };
    let lines: Vec<Vec<(f64, f64)>> = axis.cuts().map(points).collect::<Option<_>>()?;
    let slope = slope(&lines);
    let place = |points: &Vec<(f64, f64)>| {
        let level = points.iter().map(|(along, at)| at - slope.0 * along);
        median(level.collect())
    };
    let places = (lines.iter().enumerate())
        .map(|(i, points)| ((i / 2) as f64, (i % 2) as f64, place(points)))
        .collect();
    Some(Cuts { places, slope })
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

/// The common slope of lines by least squares, with its standard uncertainty; 0 where it is not
/// told well.
fn slope(lines: &[Vec<(f64, f64)>]) -> (f64, f64) {
    /// Neighbouring rows are not read independently of each other.
    const ROWS: f64 = 9.0;
    /// A slope that is known worse than this tells nothing (0.02°).
    const WORST: f64 = 3.5e-4;
    let mut found = 0.0;
    // Points that are not of a line are left out the second time.
    for within in [0.4, 0.12] {
        let (mut up, mut down, mut squares, mut count) = (0.0, 0.0, 0.0, 0.0);
        for points in lines {
            let level = |(along, at): &(f64, f64)| at - found * along;
            let middle = median(points.iter().map(level).collect());
            let near = points
                .iter()
                .filter(|p| (level(p) - middle).abs() <= within);
            let near: Vec<(f64, f64)> = near.map(|p| (p.0, level(p) - middle)).collect();
            let n = near.len().max(1) as f64;
            let mean = |of: fn(&(f64, f64)) -> f64| near.iter().map(of).sum::<f64>() / n;
            let (u, v) = (mean(|p| p.0), mean(|p| p.1));
            for (along, off) in &near {
                up += (along - u) * (off - v);
                down += (along - u).powi(2);
                squares += (off - v).powi(2);
            }
            count += n;
        }
        if down <= 0.0 {
            return (0.0, 0.0);
        }
        found += up / down;
        let sd = (squares / f64::max(count, 1.0) * ROWS / down).sqrt();
        if sd > WORST {
            return (0.0, 0.0);
        }
        if within < 0.2 {
            return (found, sd.max(1e-6));
        }
    }
    (found, 0.0)
}

/// The axis through these places, and the sum of squares of what is left, mm².
pub(super) fn through(axis: &Axis, places: &[(f64, f64, f64)]) -> (Axis, f64) {
    let gutter = axis.gutter() > 0.3;
    let fitted = fitted(places, axis.count, axis.length, gutter);
    let squares = (places.iter())
        .map(|(i, side, at)| (at - fitted.at(*i as usize) - side * fitted.length).powi(2))
        .sum();
    (fitted, squares)
}

/// The axes along lines within one that was found from the print, or a little beyond it where its
/// edges are pale: those in its middle first, and of these the outermost.
pub(super) fn within(outer: &Axis, lines: &[Line]) -> Vec<Axis> {
    /// Pale print may end before the cut by this, mm.
    const BEYOND: f64 = 1.5;
    let by = -BEYOND..=super::MOST_BLEED;
    let all = || lines.iter().map(|line| line.at);
    let nearest = |cut: f64| {
        all()
            .filter(|at| (at - cut).abs() <= NEAR)
            .min_by(|a, b| (a - cut).abs().total_cmp(&(b - cut).abs()))
    };
    let mut found: Vec<(bool, Axis)> = Vec::new();
    for near in all().filter(|at| by.contains(&(at - outer.start))) {
        let ends = all().filter(|at| by.contains(&(outer.start + outer.length - at)));
        for far in ends {
            let length = (far - near).min(outer.pitch);
            if outer.count > 1 && outer.pitch - length > GUTTER {
                continue;
            }
            let axis = Axis {
                start: near,
                length,
                ..*outer
            };
            let places: Option<Vec<f64>> = axis.cuts().map(nearest).collect();
            let Some(places) = places else {
                continue;
            };
            let points: Vec<(f64, f64, f64)> = (places.iter().enumerate())
                .map(|(i, at)| ((i / 2) as f64, (i % 2) as f64, *at))
                .collect();
            let gutter = axis.pitch - axis.length > 0.3;
            let axis = fitted(&points, axis.count, axis.length, gutter);
            let off = 2.0 * (axis.start - outer.start) + axis.length - outer.length;
            if !found.iter().any(|(_, other)| axis.is_close(other)) {
                found.push((off.abs() > 2.0 * NEAR, axis));
            }
        }
    }
    // Print mostly goes on beyond the cuts equally far on both sides.
    found.sort_by(|a, b| a.0.cmp(&b.0).then(b.1.length.total_cmp(&a.1.length)));
    found.truncate(MOST_AXES);
    found.into_iter().map(|(_, axis)| axis).collect()
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
    let mut best: Option<(f64, f64, Axis)> = None;
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
        let last = long - (count - 1) as f64 * pitch;
        let length = last.min(pitch);
        if length < 0.12 * pitch {
            continue;
        }
        // Lines around cards go beyond them, on both sides alike.
        let axis = Axis {
            start: reach.from + (last - length) / 2.0,
            length,
            pitch,
            count,
        };
        // A whole multiple of a pitch repeats as well as the pitch itself, often better. Much
        // better it does only where the pitch is but a part of a card's.
        let better = |(top, own, other): &(f64, f64, Axis)| {
            let part = axis.pitch / other.pitch;
            let multiple = part > 1.5 && (part - part.round()).abs() < 0.02;
            let card = multiple && axis.pitch - axis.length <= GUTTER;
            weight > if multiple { top / 0.8 } else { *top } || (card && all[lag] > own / 0.8)
        };
        if best.as_ref().is_none_or(better) {
            best = Some((weight, all[lag], axis));
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
        Some((weight, _, axis)) if weight >= 0.3 => Some(Print {
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
