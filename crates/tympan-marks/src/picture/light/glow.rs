//! Where the far side's marks lie, looked for all together: the page laid flat at a coarse grid, and
//! the one shift and tilt that explains them best.

use tympan_sheet::{Angle, Map, Page, Point, Side, Vector};

use super::super::camera::Camera;
use super::super::luma::Luma;
use super::super::side_view::SideView;
use super::super::solve::{median, quantile};
use crate::geometry::MARK_RADIUS;

// Lengths that go with the marks are those of a test sheet's; others' are taken by their size.

/// Grid of the search, mm.
const GRID: f64 = 0.5;
/// The search goes so far in shift, mm...
const SHIFT: f64 = 8.0;
/// ... and in so many steps of tilt to either side, each of so many degrees.
const TILTS: i32 = 3;
const TILT: f64 = 0.5;
/// The marks of a production sheet stand in rows that look like themselves a step further on: they
/// are not taken to be off by more than this, mm.
const WITNESS_SHIFT: f64 = 2.6;
/// No single mark counts for more than this share of the light in the search.
const VOTE: f64 = 0.06;
/// Radius about a node that its score looks at, mm.
const KERNEL: f64 = 3.6;
/// The near side's ink is darker than this share of the paper.
const INK: f64 = 0.4;

/// The page laid flat at a coarse grid, to search for what shines through.
pub(super) struct Glow {
    /// The marks' size against a test sheet's.
    size: f64,
    /// The best place is no further off, mm.
    shift: f64,
    columns: usize,
    rows: usize,
    light: Vec<f32>,
    /// Nodes that a mark of the near side, with its surroundings, covers.
    covered: Vec<bool>,
}

/// Nodes that carry the near side's own solid ink: far darker than the paper about them.
fn ink(light: &[f32], columns: usize, rows: usize, grid: f64) -> Vec<(usize, usize)> {
    let block = (10.0 / grid) as usize;
    let mut nodes = Vec::new();
    for top in (0..rows).step_by(block) {
        for left in (0..columns).step_by(block) {
            let cells = || {
                (top..(top + block).min(rows))
                    .flat_map(move |j| (left..(left + block).min(columns)).map(move |i| (i, j)))
            };
            let mut tones: Vec<f64> = cells()
                .map(|(i, j)| f64::from(light[j * columns + i]))
                .filter(|v| v.is_finite())
                .collect();
            let paper = quantile(&mut tones, 0.85);
            nodes.extend(cells().filter(|&(i, j)| f64::from(light[j * columns + i]) < INK * paper));
        }
    }
    nodes
}

/// For each node, how much darker its surroundings are in a mark's shape than around it, a share;
/// not a number where that cannot be told.
pub(super) struct Scores {
    /// Of a disc its rim alone, which paper's cloudiness disturbs least: it finds marks.
    found: Vec<f32>,
    /// The middle counts as much as the rim, which tells discs from rings.
    shape: Vec<f32>,
}

/// The best place for a set of marks.
pub(super) struct Best {
    pub(super) map: Map<Page, Page>,
    /// By how many sd it stands out.
    pub(super) clearness: f64,
    /// How dark the marks there are in their own shape, a share of the light.
    pub(super) strength: f64,
}

impl Best {
    /// Whether these marks explain the picture better: they stand out more and are no weaker, or,
    /// where both are plain to see, more of them are there in their own shape.
    pub(super) fn beats(&self, other: &Self) -> bool {
        (self.clearness >= 1.15 * other.clearness && self.strength >= 0.9 * other.strength)
            || (self.strength >= 1.15 * other.strength && self.clearness >= 0.5 * other.clearness)
    }
}

impl Glow {
    pub(super) fn new(luma: &Luma, camera: &Camera, view: &SideView) -> Self {
        let paper = view.target.paper();
        let size = view.target.size;
        let grid = GRID * size;
        let factor = (view.scale() * grid * 0.6).floor().max(1.0) as usize;
        let small = luma.reduced(factor);
        let (columns, rows) = ((paper.w / grid) as usize, (paper.h / grid) as usize);
        let mut light = Vec::with_capacity(columns * rows);
        let inverse = 1.0 / factor as f64;
        for j in 0..rows {
            for i in 0..columns {
                let p = Point::new((i as f64 + 0.5) * grid, (j as f64 + 0.5) * grid);
                let px = camera.ideal(p);
                let v = small.at(Point::new(px.x * inverse, px.y * inverse));
                light.push(v.map_or(f32::NAN, |v| v as f32));
            }
        }
        let mut covered = vec![false; columns * rows];
        let mut cover = |i: usize, j: usize, mm: f64| {
            let reach = (mm / grid) as usize;
            for y in j.saturating_sub(reach)..(j + reach + 1).min(rows) {
                for x in i.saturating_sub(reach)..(i + reach + 1).min(columns) {
                    if (x as f64 - i as f64).hypot(y as f64 - j as f64) * grid <= mm {
                        covered[y * columns + x] = true;
                    }
                }
            }
        };
        for seen in &view.marks {
            let at = |v: f64, count: usize| ((v / grid).max(0.0) as usize).min(count - 1);
            cover(
                at(seen.nominal.x, columns),
                at(seen.nominal.y, rows),
                (MARK_RADIUS + KERNEL) * size,
            );
        }
        // Codes, grids and lettering of the near side.
        for (i, j) in ink(&light, columns, rows, grid) {
            cover(i, j, KERNEL * size);
        }
        // Pictures, which may be no darker than paper.
        for rect in &view.target.print[view.side() as usize] {
            let r = rect.grown(KERNEL * size);
            let cells = |from: f64, to: f64, count: usize| {
                let at = |v: f64| ((v / grid).max(0.0) as usize).min(count);
                at(from)..at(to)
            };
            for y in cells(r.min.y, r.max.y, rows) {
                covered[y * columns..][cells(r.min.x, r.max.x, columns)].fill(true);
            }
        }
        let shift = match view.run {
            Some(_) => WITNESS_SHIFT,
            None => f64::INFINITY,
        };
        Self {
            size,
            shift,
            columns,
            rows,
            light,
            covered,
        }
    }

    /// How much darker each node's surroundings are in a mark's shape than around it.
    pub(super) fn scores(&self, side: Side) -> Scores {
        let reach = (KERNEL / GRID) as i64;
        let (mut rim, mut around, mut core) = (Vec::new(), Vec::new(), Vec::new());
        for j in -reach..=reach {
            for i in -reach..=reach {
                let r = (i as f64).hypot(j as f64) * GRID;
                let offset = j * self.columns as i64 + i;
                match r {
                    r if r < 1.0 => core.push(offset),
                    r if (1.3..2.4).contains(&r) => rim.push(offset),
                    r if (2.7..KERNEL).contains(&r) => around.push(offset),
                    _ => {}
                }
            }
        }
        let reach = reach as usize;
        let first = reach * self.columns + reach;
        let last = self.light.len().saturating_sub(first);
        // All nodes for one offset after the other: rows follow each other, and what wraps around
        // at their ends is not used.
        let mean = |offsets: &[i64]| -> Vec<f32> {
            let mut sums = vec![0.0_f32; last.saturating_sub(first)];
            for offset in offsets {
                let from = (first as i64 + offset) as usize;
                for (sum, v) in sums.iter_mut().zip(&self.light[from..]) {
                    *sum += v;
                }
            }
            let share = 1.0 / offsets.len() as f32;
            sums.iter_mut().for_each(|v| *v *= share);
            sums
        };
        let (around, rim, core) = (mean(&around), mean(&rim), mean(&core));
        let mut scores = Scores {
            found: vec![f32::NAN; self.light.len()],
            shape: vec![f32::NAN; self.light.len()],
        };
        for j in reach..self.rows - reach {
            for i in reach..self.columns - reach {
                let k = j * self.columns + i;
                if self.covered[k] {
                    continue;
                }
                let (outside, rim, core) = (around[k - first], rim[k - first], core[k - first]);
                let shape = match side {
                    Side::Front => outside - (rim + core) / 2.0,
                    Side::Back => (outside + core) / 2.0 - rim,
                };
                let found = match side {
                    Side::Front => outside - rim,
                    Side::Back => shape,
                };
                scores.found[k] = found / outside;
                scores.shape[k] = shape / outside;
            }
        }
        scores
    }

    /// The shift and tilt at which the marks are darkest, and how clearly.
    pub(super) fn search(
        &self,
        places: &[Point<Page>],
        scores: &Scores,
        centre: Point<Page>,
    ) -> Best {
        let grid = GRID * self.size;
        let steps = (SHIFT / GRID) as i64;
        let mut all = Vec::new();
        let mut best = (f64::NEG_INFINITY, Map::IDENTITY);
        for tilt in -TILTS..=TILTS {
            let tilt = f64::from(tilt) * TILT * self.size;
            let turn = Map::<Page, Page>::tilt(Angle::degrees(tilt), centre);
            let nodes: Vec<(i64, i64)> = places
                .iter()
                .map(|&p| turn.apply(p))
                .map(|p| ((p.x / grid).floor() as i64, (p.y / grid).floor() as i64))
                .collect();
            for dy in -steps..=steps {
                for dx in -steps..=steps {
                    let (mut sum, mut n) = (0.0, 0);
                    for &(i, j) in &nodes {
                        let (i, j) = (i + dx, j + dy);
                        if i < 0 || j < 0 || i >= self.columns as i64 || j >= self.rows as i64 {
                            continue;
                        }
                        let v = f64::from(scores.found[j as usize * self.columns + i as usize]);
                        if v.is_finite() {
                            sum += v.clamp(-VOTE, VOTE);
                            n += 1;
                        }
                    }
                    if n * 8 < nodes.len() || n < 5 {
                        continue;
                    }
                    // Few marks say less than many.
                    let score = sum / f64::from(n as u32).sqrt();
                    all.push(score);
                    let shift = Vector::new(dx as f64 * grid, dy as f64 * grid);
                    let farthest = shift.x.abs().max(shift.y.abs());
                    if score > best.0 && farthest < self.shift {
                        best = (score, turn.then(&Map::shift(shift)));
                    }
                }
            }
        }
        let middle = median(&mut all.clone());
        let mut off: Vec<f64> = all.iter().map(|v| (v - middle).abs()).collect();
        let sd = (median(&mut off) / 0.6745).max(1e-4);
        let clearness = (best.0 - middle) / sd;
        let strengths: Vec<f64> = places
            .iter()
            .map(|&p| best.1.apply(p))
            .filter(|p| p.x > 0.0 && p.y > 0.0)
            .map(|p| ((p.x / grid) as usize, (p.y / grid) as usize))
            .filter(|&(i, j)| i < self.columns && j < self.rows)
            .map(|(i, j)| f64::from(scores.shape[j * self.columns + i]))
            .filter(|v| v.is_finite())
            .collect();
        let finite = |v: f64| if v.is_finite() { v } else { 0.0 };
        let strength = finite(strengths.iter().sum::<f64>() / strengths.len() as f64);
        Best {
            map: best.1,
            clearness: finite(clearness),
            strength,
        }
    }
}
