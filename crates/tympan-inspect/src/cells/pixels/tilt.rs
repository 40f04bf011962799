//! How a picture's straight edges are tilted.

use image::GrayImage;

/// The most tilt that is looked for, radians (1.6°).
const MOST: f64 = 0.028;

/// The most edge points that are looked at.
const POINTS: usize = 60_000;

/// The tilt of most straight edges, radians, clockwise as seen; 0 where nothing tells.
///
/// Each edge point is thrown onto the axis across its edge, turned by the tilt in question; where
/// the tilt is right the points of an edge fall together. The sum of squares of the heap heights
/// is greatest there.
pub(super) fn of(picture: &GrayImage) -> f64 {
    // Upright edges and level ones: they are thrown onto different axes.
    let kinds = points(picture);
    if kinds.iter().map(Vec::len).sum::<usize>() < 200 {
        return 0.0;
    }
    let reach = f64::from(picture.width().max(picture.height()));
    let mut heaps = vec![0.0; reach as usize * 4 + 400];
    let mut best = (0.0, f64::MIN);
    let mut span = MOST;
    let mut middle = 0.0;
    // Each round looks closer; the heaps get narrower, too.
    for (bin, steps) in [(2.0, 28), (1.0, 10), (0.5, 10), (0.5, 10)] {
        let step = span / f64::from(steps);
        for i in -steps..=steps {
            let tilt = middle + f64::from(i) * step;
            let sharp: f64 = (kinds.iter())
                .map(|points| sharpness(points, tilt, bin, &mut heaps))
                .sum();
            if sharp > best.1 || i == -steps {
                best = (tilt, sharp);
            }
        }
        middle = best.0;
        span = 2.0 * step;
    }
    let tilt = along_edges(&kinds, best.0, &mut heaps);
    // Straight within the reading of it: leave the picture as it is.
    if tilt.abs() < 4e-5 { 0.0 } else { tilt }
}

/// The tilt of the longest straight edges, by least squares through the points of each.
fn along_edges(kinds: &[Vec<Edge>; 2], near: f64, heaps: &mut [f64]) -> f64 {
    let mut tilt = near;
    for _ in 0..2 {
        let (mut up, mut down) = (0.0, 0.0);
        for points in kinds {
            let sums = slope(points, tilt, heaps);
            up += sums.0;
            down += sums.1;
        }
        if down <= 0.0 {
            return near;
        }
        // What still slopes away is tilt that was not taken out.
        tilt -= (up / down).clamp(-0.002, 0.002);
    }
    tilt
}

/// What edges of one kind say about their common slope at a tilt: it is the first by the second.
fn slope(points: &[Edge], tilt: f64, heaps: &mut [f64]) -> (f64, f64) {
    /// Points farther from an edge than this are not of it, px.
    const OFF: f64 = 1.2;
    sharpness(points, tilt, 1.0, heaps);
    let (sin, cos) = tilt.sin_cos();
    let middle = heaps.len() as f64 / 2.0;
    let highest = heaps.iter().copied().fold(0.0, f64::max);
    let mut edges: Vec<usize> = (1..heaps.len() - 1)
        .filter(|&i| heaps[i] >= 0.3 * highest)
        .filter(|&i| heaps[i] > heaps[i - 1] && heaps[i] >= heaps[i + 1])
        .collect();
    edges.sort_by(|a, b| heaps[*b].total_cmp(&heaps[*a]));
    edges.truncate(80);
    let mut of: Vec<Option<usize>> = vec![None; heaps.len()];
    for (number, edge) in edges.iter().enumerate().rev() {
        of[edge - 1..=edge + 1].fill(Some(number));
    }
    // For each edge: weight, along, across, along², along × across.
    let mut sums = vec![[0.0_f64; 5]; edges.len()];
    for edge in points {
        let at = edge.across * cos + edge.along * sin + middle;
        let Some(number) = of.get(at.round() as usize).copied().flatten() else {
            continue;
        };
        let off = at - edges[number] as f64;
        if off.abs() <= OFF {
            let a = edge.along;
            for (sum, add) in (sums[number].iter_mut()).zip([1.0, a, off, a * a, a * off]) {
                *sum += edge.weight * add;
            }
        }
    }
    (sums.iter())
        .filter(|[weight, ..]| *weight > 0.0)
        .map(|[w, a, off, aa, a_off]| (a_off - a * off / w, aa - a * a / w))
        .fold((0.0, 0.0), |sum, add| (sum.0 + add.0, sum.1 + add.1))
}

struct Edge {
    /// Along the axis across the edge, from the middle, px.
    across: f64,
    /// Along the edge, from the middle, px; its sign such that both kinds turn alike.
    along: f64,
    weight: f64,
}

fn points(picture: &GrayImage) -> [Vec<Edge>; 2] {
    let (w, h) = (picture.width() as usize, picture.height() as usize);
    let raw = picture.as_raw();
    let at = |x: usize, y: usize| f64::from(raw[y * w + x]);
    let mut found = [Vec::new(), Vec::new()];
    let (cx, cy) = (w as f64 / 2.0, h as f64 / 2.0);
    for y in 2..h - 2 {
        for x in 2..w - 2 {
            let gx = at(x + 1, y) - at(x - 1, y);
            let gy = at(x, y + 1) - at(x, y - 1);
            if gx.abs() > 40.0 && gx.abs() > 3.0 * gy.abs() {
                let before = (at(x, y) - at(x - 2, y)).abs();
                let after = (at(x + 2, y) - at(x, y)).abs();
                if let Some(off) = peak(before, gx.abs(), after) {
                    found[0].push(Edge {
                        across: x as f64 + off + 0.5 - cx,
                        along: y as f64 + 0.5 - cy,
                        weight: gx.abs().min(120.0),
                    });
                }
            } else if gy.abs() > 40.0 && gy.abs() > 3.0 * gx.abs() {
                let before = (at(x, y) - at(x, y - 2)).abs();
                let after = (at(x, y + 2) - at(x, y)).abs();
                if let Some(off) = peak(before, gy.abs(), after) {
                    found[1].push(Edge {
                        across: y as f64 + off + 0.5 - cy,
                        along: -(x as f64 + 0.5 - cx),
                        weight: gy.abs().min(120.0),
                    });
                }
            }
        }
    }
    let every = (found[0].len() + found[1].len()).div_ceil(POINTS).max(1);
    found.map(|points| points.into_iter().step_by(every).collect())
}

/// Where within ±0.5 the top of a parabola through three heights lies; `None` if not there.
pub(super) fn peak(before: f64, top: f64, after: f64) -> Option<f64> {
    let bend = before - 2.0 * top + after;
    if top < before || top <= after || bend >= 0.0 {
        return None;
    }
    Some((0.5 * (before - after) / bend).clamp(-0.5, 0.5))
}

fn sharpness(points: &[Edge], tilt: f64, bin: f64, heaps: &mut [f64]) -> f64 {
    heaps.fill(0.0);
    let (sin, cos) = tilt.sin_cos();
    let middle = heaps.len() as f64 / 2.0;
    for edge in points {
        let at = (edge.across * cos + edge.along * sin) / bin + middle;
        let (whole, part) = (at.floor(), at - at.floor());
        let i = whole as usize;
        if i + 1 < heaps.len() {
            heaps[i] += edge.weight * (1.0 - part);
            heaps[i + 1] += edge.weight * part;
        }
    }
    heaps.iter().map(|v| v * v).sum()
}
