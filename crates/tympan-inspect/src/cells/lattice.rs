//! Frames of one size that stand in rows and columns.

use tympan_sheet::{Page, Rect, Size};

use super::evidence::Frame;

/// Lengths nearer than this are the same, mm.
const SAME: f64 = 0.12;

/// How far frames may lap over their neighbours, mm: bleed that is not clipped.
const LAP: f64 = 7.0;

/// The most frames of a page that are looked at.
const MOST_FRAMES: usize = 4000;

/// The steps along one axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Steps {
    /// The first frame's near edge, mm.
    pub(super) start: f64,
    /// From one to the next, mm.
    pub(super) pitch: f64,
    /// How many.
    pub(super) count: usize,
}

impl Steps {
    pub(super) fn at(&self, index: usize) -> f64 {
        self.start + index as f64 * self.pitch
    }

    /// The index of what starts there.
    pub(super) fn index(&self, at: f64) -> Option<usize> {
        let index = ((at - self.start) / self.pitch).round().max(0.0) as usize;
        (index < self.count && (self.at(index) - at).abs() <= 2.0 * SAME).then_some(index)
    }
}

/// Frames of one size in rows and columns, straightened.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Lattice {
    pub(super) size: Size,
    pub(super) x: Steps,
    pub(super) y: Steps,
    /// Which places are taken, row by row.
    pub(super) taken: Vec<bool>,
    /// Whether all frames are outlines only.
    pub(super) outline: bool,
    /// When the first and the last of the frames were painted.
    pub(super) painted: (usize, usize),
    /// The usual radius of their corners.
    pub(super) radius: f64,
}

impl Lattice {
    /// What lies between neighbours, across and down; 0 where there are none.
    pub(super) fn gutters(&self) -> [f64; 2] {
        [(&self.x, self.size.w), (&self.y, self.size.h)].map(|(steps, length)| {
            if steps.count > 1 {
                steps.pitch - length
            } else {
                0.0
            }
        })
    }

    /// Whether two thirds of its places or more are taken.
    pub(super) fn is_mostly_taken(&self) -> bool {
        self.count() * 3 >= 2 * self.taken.len()
    }

    pub(super) fn count(&self) -> usize {
        self.taken.iter().filter(|taken| **taken).count()
    }

    pub(super) fn area(&self) -> f64 {
        self.count() as f64 * self.size.w * self.size.h
    }

    /// From the first cell's top left corner to the last one's bottom right corner.
    pub(super) fn block(&self) -> Rect<Page> {
        let (w, h) = (self.x.at(self.x.count - 1), self.y.at(self.y.count - 1));
        Rect {
            min: tympan_sheet::Point::new(self.x.start, self.y.start),
            max: tympan_sheet::Point::new(w + self.size.w, h + self.size.h),
        }
    }
}

impl Lattice {
    /// Whether a point lies in one of its places, taken or not.
    pub(super) fn holds(&self, at: tympan_sheet::Point<Page>) -> bool {
        let within = |steps: &Steps, length: f64, at: f64| {
            let index = ((at - steps.start) / steps.pitch).floor().max(0.0);
            let index = index.min((steps.count - 1) as f64);
            (0.0..=length).contains(&(at - steps.start - index * steps.pitch))
        };
        within(&self.x, self.size.w, at.x) && within(&self.y, self.size.h, at.y)
    }
}

/// All lattices that frames form, the one with the most area first.
pub(super) fn lattices(frames: &[Frame]) -> Vec<Lattice> {
    let mut found = Vec::new();
    for class in classes(frames) {
        split(&class, &mut found);
    }
    found.sort_by(|a, b| b.area().total_cmp(&a.area()));
    found
}

/// Frames of the same size, no two in the same place; outlines apart from areas.
fn classes(frames: &[Frame]) -> Vec<Vec<Frame>> {
    let mut sorted: Vec<Frame> = frames.iter().take(MOST_FRAMES).copied().collect();
    sorted.sort_by_key(|frame| frame.order);
    let mut classes: Vec<Vec<Frame>> = Vec::new();
    for frame in sorted {
        let size = frame.rect.size();
        let room = classes.len() < 400;
        let alike = classes.iter_mut().find(|class| {
            let first = class[0].rect.size();
            class[0].outline == frame.outline
                && (first.w - size.w).abs() <= SAME
                && (first.h - size.h).abs() <= SAME
        });
        match alike {
            Some(class) => {
                let there = class
                    .iter()
                    .any(|other| (other.rect.min - frame.rect.min).length() <= SAME);
                if !there {
                    class.push(frame);
                }
            }
            None if room => classes.push(vec![frame]),
            None => {}
        }
    }
    classes
}

/// Splits frames of one size where they do not go on at the same pitch.
fn split(class: &[Frame], found: &mut Vec<Lattice>) {
    let mean = |of: fn(&Size) -> f64| {
        class
            .iter()
            .map(|frame| of(&frame.rect.size()))
            .sum::<f64>()
            / class.len() as f64
    };
    let size = Size::new(mean(|s| s.w), mean(|s| s.h));
    let xs = clusters(class.iter().map(|frame| frame.rect.min.x));
    for x in runs(&xs, size.w) {
        let within: Vec<Frame> = (class.iter())
            .filter(|frame| x.index(frame.rect.min.x).is_some())
            .copied()
            .collect();
        let ys = clusters(within.iter().map(|frame| frame.rect.min.y));
        for y in runs(&ys, size.h) {
            let held: Vec<&Frame> = (within.iter())
                .filter(|frame| y.index(frame.rect.min.y).is_some())
                .collect();
            // Columns that only other rows have do not belong here.
            let own = clusters(held.iter().map(|frame| frame.rect.min.x));
            for x in runs(&own, size.w) {
                let mut taken = vec![false; x.count * y.count];
                let mut painted = (usize::MAX, 0);
                let mut radii = Vec::new();
                for frame in &held {
                    let at = (x.index(frame.rect.min.x), y.index(frame.rect.min.y));
                    if let (Some(column), Some(row)) = at {
                        taken[row * x.count + column] = true;
                        painted = (painted.0.min(frame.order), painted.1.max(frame.order));
                        radii.push(frame.radius);
                    }
                }
                radii.sort_by(f64::total_cmp);
                let sparse = taken.iter().filter(|t| **t).count() * 5 < 2 * taken.len();
                if radii.is_empty() || sparse {
                    continue;
                }
                found.push(Lattice {
                    size,
                    x,
                    y,
                    taken,
                    outline: class[0].outline,
                    painted,
                    radius: radii[radii.len() / 2],
                });
            }
        }
    }
}

/// The different values among these, sorted; those that are the same are averaged.
pub(super) fn clusters(values: impl Iterator<Item = f64>) -> Vec<f64> {
    let mut sorted: Vec<f64> = values.collect();
    sorted.sort_by(f64::total_cmp);
    (sorted.chunk_by(|a, b| b - a <= SAME))
        .map(|chunk| chunk.iter().sum::<f64>() / chunk.len() as f64)
        .collect()
}

/// Regular runs among positions: each is as long as it can be.
fn runs(positions: &[f64], size: f64) -> Vec<Steps> {
    let one = |at: f64| Steps {
        start: at,
        pitch: size,
        count: 1,
    };
    if positions.len() < 2 {
        return positions.iter().map(|at| one(*at)).collect();
    }
    let gaps: Vec<f64> = positions.windows(2).map(|pair| pair[1] - pair[0]).collect();
    // The commonest step of those that leave room for a cell; of equally common ones the shortest.
    let usual = (gaps.iter().filter(|gap| **gap >= size - LAP))
        .map(|gap| {
            let alike = gaps.iter().filter(|other| (*other - gap).abs() <= SAME);
            (alike.count(), *gap)
        })
        .max_by(|a, b| a.0.cmp(&b.0).then(b.1.total_cmp(&a.1)));
    let Some((_, base)) = usual else {
        return positions.iter().map(|at| one(*at)).collect();
    };
    let mut made = Vec::new();
    let mut run: Vec<(usize, f64)> = Vec::new();
    for at in positions {
        let next = run.last().map(|(index, last)| {
            let steps = ((at - last) / base).round();
            let off = (at - last - steps * base).abs();
            let fits = (1.0..=3.0).contains(&steps) && off <= SAME * steps;
            fits.then_some(index + steps as usize)
        });
        match next {
            None => run.push((0, *at)),
            Some(Some(index)) => run.push((index, *at)),
            Some(None) => {
                made.push(fitted(&run, size));
                run = vec![(0, *at)];
            }
        }
    }
    made.push(fitted(&run, size));
    made
}

/// The least-squares line through numbered positions.
pub(super) fn fitted(run: &[(usize, f64)], size: f64) -> Steps {
    let n = run.len() as f64;
    let mean_i = run.iter().map(|(i, _)| *i as f64).sum::<f64>() / n;
    let mean_at = run.iter().map(|(_, at)| at).sum::<f64>() / n;
    let (mut up, mut down) = (0.0, 0.0);
    for (i, at) in run {
        up += (*i as f64 - mean_i) * (at - mean_at);
        down += (*i as f64 - mean_i).powi(2);
    }
    let pitch = if down > 0.0 { up / down } else { size };
    Steps {
        start: mean_at - mean_i * pitch,
        pitch,
        count: run.last().map_or(1, |(i, _)| i + 1),
    }
}
