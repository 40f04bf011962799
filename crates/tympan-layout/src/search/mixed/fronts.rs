//! Every mixture of sizes that straight-through cuts can take from a rectangle.
//!
//! The same recursion over rectangles as for one size, but each rectangle keeps all counts of
//! pieces that no other counts beat ("Pareto front") rather than one best value: exact for any
//! demand, and small where sizes are few.

use super::super::arrangement::Spot;
use super::super::guillotine::{Axis, Item};

/// How many sizes are counted together.
pub(super) const MOST_CLASSES: usize = 4;
/// More steps than this take too long (about a tenth of a second here).
const MOST_STEPS: usize = 8_000_000;
/// No more counts than this are told apart on one rectangle.
const MOST_PLACES: usize = 2000;

/// How many pieces of each size.
pub(super) type Counts = [u32; MOST_CLASSES];

#[derive(Clone, Copy, Debug)]
enum How {
    Nothing,
    /// As this mixture of the next smaller width.
    Narrower(usize),
    /// As this mixture of the next smaller height.
    Lower(usize),
    One(usize),
    /// An upright cut at this place of `xs`, and the mixtures of both parts.
    Upright(usize, usize, usize),
    /// A level cut at this place of `ys`, and the mixtures of both parts.
    Level(usize, usize, usize),
}

pub(super) struct Fronts {
    xs: Axis,
    ys: Axis,
    fronts: Vec<Vec<(Counts, How)>>,
}

/// One rectangle's mixtures while they are gathered: for every count of all sizes but one, the
/// most of that one.
struct Gather {
    /// The size that is maximised.
    free: usize,
    /// How far apart counts of each size lie in `best`.
    strides: Counts,
    /// The most of each size on one sheet.
    most: Counts,
    best: Vec<Option<(u32, How)>>,
    /// Room to work in.
    reach: Vec<i64>,
}

impl Gather {
    /// `None` where there are too many counts.
    fn new(most: Counts) -> Option<Self> {
        let free = (0..MOST_CLASSES).max_by_key(|&k| (most[k], MOST_CLASSES - k))?;
        let mut strides = Counts::default();
        let mut places = 1_u32;
        for k in (0..MOST_CLASSES).filter(|&k| k != free) {
            strides[k] = places;
            places = places.checked_mul(most[k] + 1)?;
        }
        (places as usize <= MOST_PLACES).then(|| Self {
            free,
            strides,
            most,
            best: vec![None; places as usize],
            reach: Vec::new(),
        })
    }

    fn place(&self, counts: &Counts) -> usize {
        let places = counts.iter().zip(&self.strides).map(|(c, s)| c * s);
        places.sum::<u32>() as usize
    }

    /// Counts that are asked for more often than once a sheet can hold do not count.
    fn add(&mut self, a: &Counts, b: &Counts, how: How) {
        let mut sum = Counts::default();
        for k in 0..MOST_CLASSES {
            sum[k] = (a[k] + b[k]).min(self.most[k]);
        }
        let place = self.place(&sum);
        let most = sum[self.free];
        if self.best[place].is_none_or(|(other, _)| most > other) {
            self.best[place] = Some((most, how));
        }
    }

    /// What no other mixture beats; leaves nothing behind.
    fn front(&mut self) -> Vec<(Counts, How)> {
        // For each place, the most of the free size at this place or with more of any other.
        self.reach.clear();
        let most_at = |best: &Option<(u32, How)>| best.map_or(-1, |(most, _)| i64::from(most));
        self.reach.extend(self.best.iter().map(most_at));
        let others: Vec<usize> = (0..MOST_CLASSES)
            .filter(|&k| k != self.free && self.most[k] > 0)
            .collect();
        for &k in &others {
            for place in (0..self.reach.len()).rev() {
                if self.count(place, k) < self.most[k] {
                    let beyond = self.reach[place + self.strides[k] as usize];
                    self.reach[place] = self.reach[place].max(beyond);
                }
            }
        }
        let mut front = Vec::new();
        for place in 0..self.best.len() {
            let Some((most, how)) = self.best[place].take() else {
                continue;
            };
            let beaten = others.iter().any(|&k| {
                self.count(place, k) < self.most[k]
                    && self.reach[place + self.strides[k] as usize] >= i64::from(most)
            });
            if !beaten {
                let mut counts = Counts::default();
                for &k in &others {
                    counts[k] = self.count(place, k);
                }
                counts[self.free] = most;
                front.push((counts, how));
            }
        }
        front
    }

    /// How many of size `k` a place stands for.
    fn count(&self, place: usize, k: usize) -> u32 {
        place as u32 / self.strides[k] % (self.most[k] + 1)
    }
}

impl Fronts {
    /// `None` where there are too many sizes or too many mixtures.
    pub(super) fn solve(items: &[Item], wanted: &[usize], w: u64, h: u64) -> Option<Self> {
        if wanted.len() > MOST_CLASSES {
            return None;
        }
        let fitting = || items.iter().filter(|i| i.w <= w && i.h <= h);
        let xs = Axis::new(fitting().map(|i| i.w), w)?;
        let ys = Axis::new(fitting().map(|i| i.h), h)?;
        let mut most = Counts::default();
        for (k, &n) in wanted.iter().enumerate() {
            let area = items.iter().find(|i| i.class == k)?;
            let room = (w * h) / (area.w * area.h).max(1);
            most[k] = u32::try_from(room.min(n as u64)).ok()?;
        }
        let mut gather = Gather::new(most)?;
        let (nx, ny) = (xs.sums.len(), ys.sums.len());
        if nx * ny * (nx + ny + gather.best.len()) / 4 > MOST_STEPS {
            return None;
        }
        let empty = vec![(Counts::default(), How::Nothing)];
        let mut fronts = vec![empty; nx * ny];
        let mut steps = 0_usize;
        let nothing = Counts::default();
        for i in 1..nx {
            for j in 1..ny {
                let at = |i: usize, j: usize| &fronts[i * ny + j];
                for (k, (counts, _)) in at(i - 1, j).iter().enumerate() {
                    gather.add(counts, &nothing, How::Narrower(k));
                }
                for (k, (counts, _)) in at(i, j - 1).iter().enumerate() {
                    gather.add(counts, &nothing, How::Lower(k));
                }
                for (k, item) in items.iter().enumerate() {
                    if item.w <= xs.sums[i] && item.h <= ys.sums[j] {
                        let mut counts = Counts::default();
                        counts[item.class] = 1;
                        gather.add(&counts, &nothing, How::One(k));
                    }
                }
                for a in xs.cuts(i) {
                    let (left, right) = (at(a, j), at(xs.rest(i, a), j));
                    steps += left.len() * right.len();
                    for (p, (l, _)) in left.iter().enumerate() {
                        for (q, (r, _)) in right.iter().enumerate() {
                            gather.add(l, r, How::Upright(a, p, q));
                        }
                    }
                }
                for b in ys.cuts(j) {
                    let (upper, lower) = (at(i, b), at(i, ys.rest(j, b)));
                    steps += upper.len() * lower.len();
                    for (p, (u, _)) in upper.iter().enumerate() {
                        for (q, (l, _)) in lower.iter().enumerate() {
                            gather.add(u, l, How::Level(b, p, q));
                        }
                    }
                }
                if steps > MOST_STEPS {
                    return None;
                }
                fronts[i * ny + j] = gather.front();
            }
        }
        Some(Self { xs, ys, fronts })
    }

    /// The mixtures of the whole rectangle that no other beats.
    pub(super) fn mixtures(&self) -> Vec<Counts> {
        let whole = self.fronts.last().map_or(&[][..], Vec::as_slice);
        whole.iter().map(|(counts, _)| *counts).collect()
    }

    /// Where the pieces of a mixture lie.
    pub(super) fn spots(&self, items: &[Item], mixture: usize) -> Vec<Spot> {
        let mut spots = Vec::new();
        let (nx, ny) = (self.xs.sums.len(), self.ys.sums.len());
        let mut open = vec![(nx - 1, ny - 1, mixture, 0_u64, 0_u64)];
        while let Some((i, j, m, x, y)) = open.pop() {
            match self.fronts[i * ny + j][m].1 {
                How::Nothing => {}
                How::Narrower(k) => open.push((i - 1, j, k, x, y)),
                How::Lower(k) => open.push((i, j - 1, k, x, y)),
                How::One(k) => spots.push(Spot {
                    class: items[k].class,
                    turned: items[k].turned,
                    x: x as f64 / 1000.0,
                    y: y as f64 / 1000.0,
                }),
                How::Upright(a, p, q) => {
                    open.push((a, j, p, x, y));
                    open.push((self.xs.rest(i, a), j, q, x + self.xs.sums[a], y));
                }
                How::Level(b, p, q) => {
                    open.push((i, b, p, x, y));
                    open.push((i, self.ys.rest(j, b), q, x, y + self.ys.sums[b]));
                }
            }
        }
        spots
    }
}
