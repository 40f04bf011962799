//! Boxes in a straightened picture: areas of print with straight edges, and paper within lines.

use tympan_sheet::{Page, Point, Rect};

use super::plane::{PAPER, Plane};

/// Sides of boxes that are looked at, mm.
const SIDES: (f64, f64) = (18.0, 165.0);

/// A box must keep to its sides along this share of them: corners may be round.
const STRAIGHT: f64 = 0.5;

/// Lines around paper are no wider than this, mm.
const LINE: f64 = 0.9;

/// The most stretches of rows that are looked at: noise has far more.
const MOST_RUNS: usize = 3_000_000;

/// The most boxes that are kept.
const MOST_BOXES: usize = 400;

/// A box of about the size of a card.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Found {
    /// Where, mm: along the edges of print, along the middles of the lines around paper.
    pub(super) rect: Rect<Page>,
    /// Whether it is paper within lines.
    pub(super) outlined: bool,
}

/// All boxes. `down` is the same picture transposed.
pub(super) fn find(across: &Plane, down: &Plane, px_per_mm: f64) -> Vec<Found> {
    let mut found = Vec::new();
    for outlined in [true, false] {
        for part in parts(across, outlined, px_per_mm) {
            let place = |plane: &Plane, near: usize, along: (usize, usize), outward: i64| {
                let place = if outlined { line } else { edge };
                place(plane, near, along, outward, px_per_mm).map(|at| at / px_per_mm)
            };
            let (x, y) = ((part.left, part.right), (part.top, part.foot));
            let sides = (
                place(across, x.0, y, -1),
                place(across, x.1, y, 1),
                place(down, y.0, x, -1),
                place(down, y.1, x, 1),
            );
            if let (Some(left), Some(right), Some(top), Some(foot)) = sides {
                let rect = Rect {
                    min: Point::new(left, top),
                    max: Point::new(right, foot),
                };
                found.push(Found { rect, outlined });
            }
        }
    }
    found
}

/// What hangs together: its first and last column and row, px.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Part {
    left: usize,
    right: usize,
    top: usize,
    foot: usize,
}

/// A stretch of a row.
#[derive(Clone, Copy)]
struct Run {
    y: usize,
    from: usize,
    to: usize,
}

/// Parts of the paper (or of the print) that are boxes of the right size.
fn parts(plane: &Plane, paper: bool, px_per_mm: f64) -> Vec<Part> {
    let Some((runs, mut parents)) = runs(plane, paper) else {
        return Vec::new();
    };
    let mut whole: Vec<Option<Part>> = vec![None; runs.len()];
    for (i, run) in runs.iter().enumerate() {
        let root = root(&mut parents, i);
        let part = whole[root].get_or_insert(Part {
            left: run.from,
            right: run.to,
            top: run.y,
            foot: run.y,
        });
        part.left = part.left.min(run.from);
        part.right = part.right.max(run.to);
        part.foot = run.y;
    }
    let fits = |from: usize, to: usize| {
        let length = (to + 1 - from) as f64 / px_per_mm;
        (SIDES.0..=SIDES.1).contains(&length)
    };
    for part in &mut whole {
        *part = part.filter(|part| {
            let within = part.left > 3
                && part.top > 3
                && part.right + 4 < plane.w
                && part.foot + 4 < plane.h;
            // Print may hang together with what sticks out of its neighbours.
            within && (!paper || (fits(part.left, part.right) && fits(part.top, part.foot)))
        });
    }
    // How far each keeps to its sides: left, right, top, foot.
    let mut along = vec![[0_usize; 4]; runs.len()];
    let mut rows: Vec<Vec<Row>> = vec![Vec::new(); runs.len()];
    for (i, run) in runs.iter().enumerate() {
        let root = root(&mut parents, i);
        if let Some(part) = whole[root] {
            along[root] = added(along[root], keeps(&part, run));
            if !paper {
                take_in(&mut rows[root], run);
            }
        }
    }
    let straight = |part: &Part, along: [usize; 4]| {
        fits(part.left, part.right) && fits(part.top, part.foot) && is_straight(part, along)
    };
    let mut found = Vec::new();
    for ((part, along), rows) in whole.into_iter().zip(along).zip(rows) {
        let Some(part) = part else {
            continue;
        };
        if straight(&part, along) {
            found.push(part);
            continue;
        }
        found.extend(bodies(&rows).filter(|body| {
            let along = rows.iter().map(|row| keeps(body, row));
            straight(body, along.fold([0; 4], added))
        }));
    }
    found.retain(|part| paper || is_area(plane, part, px_per_mm));
    found.truncate(MOST_BOXES);
    found
}

/// From the first to the last column of a part in one row.
type Row = Run;

/// Adds a stretch to the rows of its part; they come from the top.
fn take_in(rows: &mut Vec<Row>, run: &Run) {
    match rows.last_mut().filter(|row| row.y == run.y) {
        Some(row) => {
            row.from = row.from.min(run.from);
            row.to = row.to.max(run.to);
        }
        None => rows.push(*run),
    }
}

/// What is left of a part without what sticks out of it and joins it to others: rows at least half as
/// wide as most, between the columns where most of them begin and end.
fn bodies(rows: &[Row]) -> impl Iterator<Item = Part> + '_ {
    let middle = |of: &dyn Fn(&Row) -> usize, rows: &[Row]| {
        let mut all: Vec<usize> = rows.iter().map(of).collect();
        all.sort_unstable();
        all.get(all.len() / 2).copied().unwrap_or(0)
    };
    let width = |row: &Row| row.to + 1 - row.from;
    let usual = middle(&width, rows);
    let wide = move |row: &Row| 2 * width(row) >= usual;
    (rows.chunk_by(move |a, b| wide(a) == wide(b)))
        .filter(move |kept| wide(&kept[0]))
        .map(move |kept| Part {
            left: middle(&|row| row.from, kept),
            right: middle(&|row| row.to, kept),
            top: kept[0].y,
            foot: kept[kept.len() - 1].y,
        })
}

/// How much a stretch of a row adds to the part's keeping to its sides: left, right, top, foot.
fn keeps(part: &Part, run: &Run) -> [usize; 4] {
    let within = (part.top..=part.foot).contains(&run.y);
    let long = run.to + 1 - run.from;
    let near = |a: usize, b: usize| usize::from(within && a.abs_diff(b) <= 1);
    [
        near(run.from, part.left),
        near(run.to, part.right),
        if run.y == part.top + 1 { long } else { 0 },
        if run.y + 1 == part.foot { long } else { 0 },
    ]
}

fn added(a: [usize; 4], b: [usize; 4]) -> [usize; 4] {
    [a[0] + b[0], a[1] + b[1], a[2] + b[2], a[3] + b[3]]
}

fn is_straight(part: &Part, along: [usize; 4]) -> bool {
    let (w, h) = (part.right - part.left, part.foot - part.top);
    [h, h, w, w]
        .iter()
        .zip(along)
        .all(|(side, along)| along as f64 >= STRAIGHT * *side as f64)
}

/// All stretches of paper (or print) with what they hang together with: paper by its sides, print
/// by its corners, too. `None` where there are too many.
fn runs(plane: &Plane, paper: bool) -> Option<(Vec<Run>, Vec<usize>)> {
    let mut runs: Vec<Run> = Vec::new();
    let mut parents: Vec<usize> = Vec::new();
    let reach = usize::from(!paper);
    let mut above = 0..0;
    for y in 0..plane.h {
        let (row, first) = (plane.row(y), runs.len());
        let mut x = 0;
        let mut other = above.start;
        while x < plane.w {
            if (row[x] >= PAPER) != paper {
                x += 1;
                continue;
            }
            let from = x;
            while x < plane.w && (row[x] >= PAPER) == paper {
                x += 1;
            }
            let this = runs.len();
            runs.push(Run { y, from, to: x - 1 });
            parents.push(this);
            // Stretches of the row above that end before this one are done with.
            while other < above.end && runs[other].to + reach < from {
                other += 1;
            }
            let mut next = other;
            while next < above.end && runs[next].from <= x - 1 + reach {
                let (a, b) = (root(&mut parents, next), root(&mut parents, this));
                parents[a.max(b)] = a.min(b);
                next += 1;
            }
        }
        if runs.len() > MOST_RUNS {
            return None;
        }
        above = first..runs.len();
    }
    Some((runs, parents))
}

fn root(parents: &mut [usize], mut of: usize) -> usize {
    while parents[of] != of {
        parents[of] = parents[parents[of]];
        of = parents[of];
    }
    of
}

/// Whether print fills a box along its edge, and is not only a line around something.
fn is_area(plane: &Plane, part: &Part, px_per_mm: f64) -> bool {
    let by = (1.2 * px_per_mm) as usize;
    let ink = |x: usize, y: usize| usize::from(plane.row(y)[x] < PAPER);
    let (x0, x1) = (part.left + by, part.right - by);
    let (y0, y1) = (part.top + by, part.foot - by);
    let across: usize = (x0..x1).map(|x| ink(x, y0) + ink(x, y1)).sum();
    let down: usize = (y0..y1).map(|y| ink(x0, y) + ink(x1, y)).sum();
    (across + down) as f64 >= 0.5 * (2 * (x1 - x0 + y1 - y0)) as f64
}

/// How dark it is at each step from `near` outward (the first ones are within), in the middle of
/// the side; the median over the rows there.
fn profile(
    plane: &Plane,
    near: usize,
    along: (usize, usize),
    outward: i64,
    steps: std::ops::Range<i64>,
) -> Vec<f64> {
    let long = along.1 - along.0;
    let (from, to) = (along.0 + long / 6, along.1 - long / 6);
    let rows = || (from..to).step_by(((to - from) / 200).max(1));
    steps
        .map(|k| {
            let x = near as i64 + outward * k;
            let x = usize::try_from(x).unwrap_or(0).min(plane.w - 1);
            let mut dark: Vec<f32> = rows().map(|y| 255.0 - plane.row(y)[x]).collect();
            dark.sort_by(f32::total_cmp);
            f64::from(dark[dark.len() / 2])
        })
        .collect()
}

/// Steps that are looked at within a side.
const WITHIN: i64 = 5;

/// Where the middle of a step lies, px.
fn place(near: usize, outward: i64, step: f64) -> f64 {
    near as f64 + 0.5 + outward as f64 * step
}

/// Where the middle of the line beyond a side of paper lies, px; its inner edge where print goes on
/// beyond it.
fn line(
    plane: &Plane,
    near: usize,
    along: (usize, usize),
    outward: i64,
    px_per_mm: f64,
) -> Option<f64> {
    let widest = (LINE * px_per_mm).ceil() as i64;
    let dark = profile(plane, near, along, outward, -WITHIN..widest + 3);
    let paper = dark[0].min(dark[1]).min(dark[2]);
    let dark: Vec<f64> = dark.iter().map(|d| (d - paper).max(0.0)).collect();
    let step = |i: usize| i as f64 - WITHIN as f64;
    let top = (3..dark.len() - 1).find(|&i| dark[i] >= 12.0 && dark[i] >= dark[i + 1])?;
    let ends = (top..dark.len()).find(|&i| dark[i] <= 0.3 * dark[top]);
    let Some(end) = ends else {
        let half = dark[top] / 2.0;
        let before = (0..top).rev().find(|&i| dark[i] <= half)?;
        let part = (half - dark[before]) / (dark[before + 1] - dark[before]).max(1e-9);
        return Some(place(near, outward, step(before) + part));
    };
    // What is left beyond the line is not of it.
    let beyond = dark[end];
    let (mut sum, mut moment) = (0.0, 0.0);
    for (i, dark) in dark.iter().enumerate().take(end + 1).skip(2) {
        let over = if i > top { dark - beyond } else { *dark };
        sum += over;
        moment += over * step(i);
    }
    (sum > 0.0).then(|| place(near, outward, moment / sum))
}

/// Where the edge of print lies, px: where it is half as dark as within, against beyond.
fn edge(plane: &Plane, near: usize, along: (usize, usize), outward: i64, _: f64) -> Option<f64> {
    let dark = profile(plane, near, along, outward, -WITHIN..7);
    let (within, beyond) = (dark[1], dark[dark.len() - 1].min(dark[dark.len() - 2]));
    if within - beyond < 20.0 {
        return None;
    }
    let half = (within + beyond) / 2.0;
    let last = (1..dark.len() - 1).find(|&i| dark[i] >= half && dark[i + 1] < half)?;
    let part = (dark[last] - half) / (dark[last] - dark[last + 1]);
    Some(place(near, outward, last as f64 - WITHIN as f64 + part))
}
