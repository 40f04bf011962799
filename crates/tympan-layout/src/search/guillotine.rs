//! The most valuable pieces that straight-through cuts can take from a rectangle.
//!
//! Dynamic programming over rectangles (Gilmore and Gomory, "Multistage cutting stock problems of
//! two and more dimensions", Operations Research 13, 1965): the best of a rectangle is the best of
//! the two parts of some cut. Only places that are sums of pieces' lengths need be tried ("normal
//! patterns": Herz, "Recursive computational procedure for two-dimensional stock cutting", IBM
//! Journal of Research and Development 16, 1972). Where pieces are cut out freely, four rectangles
//! round a fifth are tried as well (the five-block way of Bischoff and Dowsland, 1982, made
//! recursive by Morabito and Morales, "A simple and effective recursive procedure for the
//! manufacturer's pallet loading problem", Journal of the Operational Research Society 49, 1998).
//!
//! Lengths are whole micrometres, each piece with the gutter on two of its sides.

use tympan_sheet::Size;

use super::arrangement::Spot;

/// A piece that may be cut, in one of its turns.
#[derive(Clone, Copy, Debug)]
pub(super) struct Item {
    pub(super) class: usize,
    pub(super) turned: bool,
    pub(super) w: u64,
    pub(super) h: u64,
    pub(super) value: f64,
}

impl Item {
    pub(super) fn new(class: usize, turned: bool, size: Size, gutter: f64, value: f64) -> Self {
        Self {
            class,
            turned,
            w: micrometres_needed(size.w + gutter),
            h: micrometres_needed(size.h + gutter),
            value,
        }
    }
}

/// The room there is, in whole micrometres.
pub(super) fn micrometres(mm: f64) -> u64 {
    (mm * 1000.0 + A_HAIR).floor().max(0.0) as u64
}

/// The room that something needs, in whole micrometres: never less than it measures.
fn micrometres_needed(mm: f64) -> u64 {
    (mm * 1000.0 - A_HAIR).ceil().max(0.0) as u64
}

/// Forgiven rounding, µm.
const A_HAIR: f64 = 1e-3;

/// More steps than this take too long (well under a tenth of a second here).
const MOST_STEPS: f64 = 2e7;
/// More places along one axis than this are never worth it.
const MOST_SUMS: usize = 600;

/// How the best of a rectangle is cut.
#[derive(Clone, Copy, Debug)]
enum How {
    Nothing,
    /// As the rectangle of the next smaller width.
    Narrower,
    /// As the rectangle of the next smaller height.
    Lower,
    One(usize),
    /// An upright cut at this place of `xs`.
    Upright(usize),
    /// A level cut at this place of `ys`.
    Level(usize),
    /// Four rectangles round a fifth: places of `xs` and of `ys`.
    Around([usize; 2], [usize; 2]),
}

/// The best of every rectangle up to a size.
pub(super) struct Table {
    xs: Axis,
    ys: Axis,
    /// By place of the width, then of the height.
    best: Vec<(f64, How)>,
}

/// The sums of lengths along one axis.
pub(super) struct Axis {
    pub(super) sums: Vec<u64>,
    /// For each sum and each smaller one, which sum the rest leaves room for.
    rests: Vec<Vec<usize>>,
}

impl Axis {
    /// All sums of these lengths up to a limit; `None` where there are too many.
    pub(super) fn new(lengths: impl Iterator<Item = u64>, limit: u64) -> Option<Self> {
        let mut lengths: Vec<u64> = lengths.filter(|&l| l > 0 && l <= limit).collect();
        lengths.sort_unstable();
        lengths.dedup();
        let mut reached = std::collections::BTreeSet::from([0_u64]);
        let mut at = Some(0_u64);
        while let Some(sum) = at {
            reached.extend(lengths.iter().map(|l| sum + l).filter(|&s| s <= limit));
            if reached.len() > MOST_SUMS {
                return None;
            }
            at = reached.range(sum + 1..).next().copied();
        }
        let sums: Vec<u64> = reached.into_iter().collect();
        let rests = (0..sums.len())
            .map(|i| {
                let rest = |a: usize| sums.partition_point(|&s| s <= sums[i] - sums[a]) - 1;
                (0..=i).map(rest).collect()
            })
            .collect();
        Some(Self { sums, rests })
    }

    /// Which sum is left of place `i` when the part up to place `a` is taken.
    pub(super) fn rest(&self, i: usize, a: usize) -> usize {
        self.rests[i][a]
    }

    /// The places where a length of place `i` may be cut; the larger part always comes second.
    pub(super) fn cuts(&self, i: usize) -> impl Iterator<Item = usize> + '_ {
        (1..i).take_while(move |&a| 2 * self.sums[a] <= self.sums[i])
    }
}

impl Table {
    /// Fills the table for a rectangle of this size; `None` where that would take too long. With
    /// `around`, patterns that only free cutting can cut are tried too; then all items must be
    /// worth 1.
    pub(super) fn solve(items: &[Item], w: u64, h: u64, around: bool) -> Option<Self> {
        let fitting = || items.iter().filter(|i| i.w <= w && i.h <= h);
        let xs = Axis::new(fitting().map(|i| i.w), w)?;
        let ys = Axis::new(fitting().map(|i| i.h), h)?;
        let (nx, ny) = (xs.sums.len() as f64, ys.sums.len() as f64);
        if nx * ny * (nx + ny) / 4.0 > MOST_STEPS {
            return None;
        }
        // Round a fifth everywhere, or only on the whole sheet, or nowhere.
        let (everywhere, once) = ((nx * ny).powi(3) / 36.0, (nx * ny).powi(2) / 4.0);
        let from = match around {
            true if everywhere <= MOST_STEPS => 0,
            true if once <= MOST_STEPS => xs.sums.len() * ys.sums.len() - 1,
            true => return None,
            false => usize::MAX,
        };
        let smallest = items.iter().map(|i| i.w * i.h).min().unwrap_or(1);
        let mut table = Self {
            best: vec![(0.0, How::Nothing); xs.sums.len() * ys.sums.len()],
            xs,
            ys,
        };
        for i in 1..table.xs.sums.len() {
            for j in 1..table.ys.sums.len() {
                let mut found = table.straight(items, i, j);
                let place = table.place(i, j);
                let bound = (table.xs.sums[i] * table.ys.sums[j] / smallest) as f64;
                if place >= from && found.0 < bound {
                    table.around(i, j, bound, &mut found);
                }
                table.best[place] = found;
            }
        }
        Some(table)
    }

    fn place(&self, i: usize, j: usize) -> usize {
        i * self.ys.sums.len() + j
    }

    fn value(&self, i: usize, j: usize) -> f64 {
        self.best[self.place(i, j)].0
    }

    fn straight(&self, items: &[Item], i: usize, j: usize) -> (f64, How) {
        let (w, h) = (self.xs.sums[i], self.ys.sums[j]);
        let mut best = (0.0, How::Nothing);
        let mut consider = |value: f64, how: How| {
            // Values that differ by rounding only are the same.
            if value > best.0 + 1e-9 {
                best = (value, how);
            }
        };
        consider(self.value(i - 1, j), How::Narrower);
        consider(self.value(i, j - 1), How::Lower);
        for (k, item) in items.iter().enumerate() {
            if item.w <= w && item.h <= h {
                consider(item.value, How::One(k));
            }
        }
        for a in self.xs.cuts(i) {
            let both = self.value(a, j) + self.value(self.xs.rest(i, a), j);
            consider(both, How::Upright(a));
        }
        for b in self.ys.cuts(j) {
            let both = self.value(i, b) + self.value(i, self.ys.rest(j, b));
            consider(both, How::Level(b));
        }
        best
    }

    /// Four rectangles round a fifth: `x1 < x2` and `y1 < y2` are where they meet.
    fn around(&self, i: usize, j: usize, bound: f64, best: &mut (f64, How)) {
        for x2 in 2..i {
            for x1 in 1..x2 {
                for y2 in 2..j {
                    let right = self.value(self.xs.rest(i, x2), y2);
                    let below = self.value(self.xs.rest(i, x1), self.ys.rest(j, y2));
                    for y1 in 1..y2 {
                        let value = self.value(x2, y1)
                            + right
                            + below
                            + self.value(x1, self.ys.rest(j, y1))
                            + self.value(self.xs.rest(x2, x1), self.ys.rest(y2, y1));
                        if value > best.0 + 1e-9 {
                            *best = (value, How::Around([x1, x2], [y1, y2]));
                            if value >= bound {
                                return;
                            }
                        }
                    }
                }
            }
        }
    }

    /// The pieces of the best of the whole rectangle.
    pub(super) fn spots(&self, items: &[Item]) -> Vec<Spot> {
        let mut spots = Vec::new();
        let (i, j) = (self.xs.sums.len() - 1, self.ys.sums.len() - 1);
        let mut open = vec![(i, j, 0, 0)];
        while let Some((i, j, x, y)) = open.pop() {
            match self.best[self.place(i, j)].1 {
                How::Nothing => {}
                How::Narrower => open.push((i - 1, j, x, y)),
                How::Lower => open.push((i, j - 1, x, y)),
                How::One(k) => spots.push(Spot {
                    class: items[k].class,
                    turned: items[k].turned,
                    x: x as f64 / 1000.0,
                    y: y as f64 / 1000.0,
                }),
                How::Upright(a) => {
                    open.push((a, j, x, y));
                    open.push((self.xs.rest(i, a), j, x + self.xs.sums[a], y));
                }
                How::Level(b) => {
                    open.push((i, b, x, y));
                    open.push((i, self.ys.rest(j, b), x, y + self.ys.sums[b]));
                }
                How::Around([x1, x2], [y1, y2]) => {
                    let (xs, ys) = (&self.xs, &self.ys);
                    open.push((x2, y1, x, y));
                    open.push((xs.rest(i, x2), y2, x + xs.sums[x2], y));
                    open.push((
                        xs.rest(i, x1),
                        ys.rest(j, y2),
                        x + xs.sums[x1],
                        y + ys.sums[y2],
                    ));
                    open.push((x1, ys.rest(j, y1), x, y + ys.sums[y1]));
                    let middle = (xs.rest(x2, x1), ys.rest(y2, y1));
                    open.push((middle.0, middle.1, x + xs.sums[x1], y + ys.sums[y1]));
                }
            }
        }
        spots
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The example of Herz (1972), as it is quoted in later papers on guillotine cutting: sheet
    /// 127 × 98, five sizes that may not be turned, each worth its area. Sizes and optimum (12348
    /// of 12446) are from memory.
    #[test]
    fn the_published_example_of_herz_is_solved() {
        let sizes = [(21, 13), (36, 17), (54, 20), (24, 27), (18, 65)];
        let item = |(class, &(w, h)): (usize, &(u64, u64))| Item {
            class,
            turned: false,
            w,
            h,
            value: (w * h) as f64,
        };
        let items: Vec<Item> = sizes.iter().enumerate().map(item).collect();
        let table = Table::solve(&items, 127, 98, false).expect("a small problem");
        let area: u64 = table
            .spots(&items)
            .iter()
            .map(|spot| sizes[spot.class].0 * sizes[spot.class].1)
            .sum();
        assert_eq!(area, 12348);
    }
}
