//! Thin lines in a straightened picture.

use super::plane::Plane;

/// A stroke must be at least this long, mm.
const SHORTEST: f64 = 1.8;

/// Gaps that a stroke may have, mm.
const GAP: f64 = 0.7;

/// How much a line differs from what is on both sides of it, grey values.
const DEPTH: f32 = 18.0;

/// A thin line down the plane, mm.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stroke {
    pub(super) at: f64,
    pub(super) from: f64,
    pub(super) to: f64,
}

/// Where strokes stand: the place across them, their total length, and how many there are.
#[derive(Clone, Copy, Debug)]
pub(super) struct Line {
    pub(super) at: f64,
    pub(super) length: f64,
    pub(super) strokes: usize,
    /// How far apart the first and the last of the strokes reach.
    pub(super) from: f64,
    pub(super) to: f64,
}

#[derive(Clone, Copy, Default)]
struct Run {
    from: usize,
    last: usize,
    hits: usize,
    sum: f64,
}

/// All thin lines that run down the plane outside of these rows, mm.
pub(super) fn down(plane: &Plane, px_per_mm: f64, but: Option<(f64, f64)>) -> Vec<Stroke> {
    let within = |y: usize| {
        let y = y as f64 / px_per_mm;
        but.is_some_and(|(from, to)| y > from - 0.3 && y < to + 0.3)
    };
    let gap = (GAP * px_per_mm).ceil() as usize;
    let least = SHORTEST * px_per_mm;
    // Lines up to 0.5 mm wide have something else this far on both sides.
    let side = ((0.52 * px_per_mm).round() as usize).max(2);
    let mut runs: Vec<Run> = vec![Run::default(); plane.w];
    let mut found = Vec::new();
    let mut finish = |x: usize, run: &Run| {
        let length = (run.last - run.from) as f64;
        if run.hits > 0 && length >= least && run.hits as f64 >= 0.6 * length {
            found.push((x, *run));
        }
    };
    for y in (0..plane.h).filter(|y| !within(*y)) {
        let row = plane.row(y);
        for x in side + 1..plane.w - side - 1 {
            let Some(off) = ridge(row, x, side) else {
                continue;
            };
            // A line that wanders between two columns belongs to both.
            for column in [x - 1, x, x + 1] {
                let run = &mut runs[column];
                if run.hits > 0 && y - run.last > gap {
                    finish(column, run);
                    *run = Run::default();
                }
                if run.hits == 0 {
                    run.from = y;
                }
                if run.hits == 0 || run.last != y {
                    run.hits += 1;
                    run.sum += x as f64 + 0.5 + off;
                }
                run.last = y;
            }
        }
    }
    for (x, run) in runs.iter().enumerate() {
        finish(x, run);
    }
    // Of the runs in neighbouring columns the one with the most hits stands for the line.
    found.sort_by_key(|(_, run)| std::cmp::Reverse(run.hits));
    let mut kept: Vec<(usize, Run)> = Vec::new();
    for (x, run) in found.into_iter().take(4000) {
        let near = kept.iter().any(|(other, with)| {
            other.abs_diff(x) <= 3 && run.from <= with.last && with.from <= run.last
        });
        if !near {
            kept.push((x, run));
        }
    }
    kept.iter()
        .map(|(_, run)| Stroke {
            at: run.sum / run.hits as f64 / px_per_mm,
            from: run.from as f64 / px_per_mm,
            to: (run.last + 1) as f64 / px_per_mm,
        })
        .collect()
}

/// Whether paper lies on both sides of a light line, which then is a gap between dark ones.
fn between(row: &[f32], x: usize, far: usize) -> bool {
    let paper = |at: Option<usize>| {
        at.and_then(|at| row.get(at))
            .is_none_or(|grey| *grey + DEPTH > row[x])
    };
    paper(x.checked_sub(far)) || paper(Some(x + far))
}

/// Where within a pixel the middle of a line lies that crosses the row there.
pub(super) fn ridge(row: &[f32], x: usize, side: usize) -> Option<f64> {
    let here = row[x];
    let (left, right) = (row[x - side], row[x + side]);
    let dark = left.min(right) - here;
    let light = here - left.max(right);
    let is_dark = dark >= DEPTH && here <= row[x - 1] && here < row[x + 1];
    let is_light =
        light >= DEPTH && !between(row, x, 2 * side) && here >= row[x - 1] && here > row[x + 1];
    if !(is_dark || is_light) {
        return None;
    }
    // How much of each pixel the line covers; what lies beside it differs from side to side.
    let covered = |k: usize, value: f32| {
        let beside = match k.cmp(&x) {
            std::cmp::Ordering::Less => left,
            std::cmp::Ordering::Greater => right,
            std::cmp::Ordering::Equal => return 1.0,
        };
        f64::from((beside - value) / (beside - here)).clamp(0.0, 1.0)
    };
    let (mut sum, mut moment) = (0.0, 0.0);
    let near = row.iter().enumerate().take(x + side).skip(x + 1 - side);
    for (k, value) in near {
        let weight = covered(k, *value);
        sum += weight;
        moment += weight * (k as f64 - x as f64);
    }
    (sum > 0.0).then(|| moment / sum)
}

/// Where strokes stand, sorted.
pub(super) fn places(mut strokes: Vec<Stroke>) -> Vec<Line> {
    strokes.sort_by(|a, b| a.at.total_cmp(&b.at));
    (strokes.chunk_by(|a, b| b.at - a.at <= 0.2))
        .map(|chunk| {
            let length: f64 = chunk.iter().map(|s| s.to - s.from).sum();
            let at = chunk.iter().map(|s| s.at * (s.to - s.from)).sum::<f64>() / length;
            Line {
                at,
                length,
                strokes: chunk.len(),
                from: chunk.iter().map(|s| s.from).fold(f64::MAX, f64::min),
                to: chunk.iter().map(|s| s.to).fold(f64::MIN, f64::max),
            }
        })
        .collect()
}
