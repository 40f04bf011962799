//! Measuring one round mark: where it lies to a fraction of a pixel, and what shape it has.

use tympan_sheet::{Map, Page, Point, Side};

use super::luma::{Luma, Pixels};
use super::solve::Normal;
use crate::geometry::{MARK_RADIUS, RING_INNER};

/// Radii between which the paper's own tone around a mark is measured, mm.
const PAPER: (f64, f64) = (3.2, 4.3);
/// The mark itself is looked for within this radius, mm.
const REACH: f64 = 3.2;
/// Darkness between which a mark's rim counts, so that paper noise and solid ink do not.
const SOFT: (f64, f64) = (0.15, 0.85);
/// Least difference of tone between paper and mark, in steps of 255.
const LEAST_CONTRAST: f64 = 12.0;

/// One mark as measured.
#[derive(Clone, Copy, Debug)]
pub(super) struct Mark {
    /// Its centre.
    pub(super) at: Point<Pixels>,
    /// The darkness of its middle against its rim: near 1 for discs, 0 for rings.
    pub(super) core: f64,
    /// Its darkness summed over area against what it should be, 1 when whole.
    pub(super) fullness: f64,
    /// Width of its rim's blur, mm.
    pub(super) blur: f64,
}

impl Mark {
    /// Which side's shape it has, if it is clear.
    pub(super) fn shape(&self) -> Option<Side> {
        match self.core {
            c if c > 0.75 => Some(Side::Front),
            c if c < 0.55 => Some(Side::Back),
            _ => None,
        }
    }
}

/// Area of a mark, mm².
fn area(side: Side) -> f64 {
    let inner = match side {
        Side::Front => 0.0,
        Side::Back => RING_INNER,
    };
    std::f64::consts::PI * (MARK_RADIUS.powi(2) - inner * inner)
}

/// Looks for a mark of a side's shape within `search` mm of where `map` puts `nominal`. Marks of
/// another `size` than a test sheet's are measured as if the sheet were so much larger.
pub(super) fn measure(
    luma: &Luma,
    map: &Map<Page, Pixels>,
    nominal: Point<Page>,
    side: Side,
    size: f64,
    search: f64,
) -> Option<Mark> {
    let expected = map.apply(nominal);
    let map = &Map::new(
        map.xx * size,
        map.xy * size,
        map.yx * size,
        map.yy * size,
        map.dx,
        map.dy,
    );
    let search = search / size;
    let coarse = coarse_centre(luma, map, expected, side, search)?;
    let mut at = coarse;
    let mut mark = None;
    for _ in 0..3 {
        let next = refine(luma, map, at, side)?;
        let step = (next.at - at).length();
        at = next.at;
        mark = Some(next);
        if step < 0.01 {
            break;
        }
    }
    mark.filter(|m| (m.at - coarse).length() < 0.8 * px_per_mm(map))
        .map(|m| Mark {
            blur: m.blur * size,
            ..m
        })
}

/// Pixels to the mm: the geometric mean of both directions.
pub(super) fn px_per_mm(map: &Map<Page, Pixels>) -> f64 {
    map.determinant().abs().sqrt()
}

/// Pixels to the mm where a whole mark covers so many pixels.
pub(super) fn px_per_mm_of_spot(pixels: f64) -> f64 {
    (pixels / std::f64::consts::PI).sqrt() / MARK_RADIUS
}

/// How far a circle of `mm` reaches in the picture along x and y, px.
fn reach(map: &Map<Page, Pixels>, mm: f64) -> [f64; 2] {
    [map.xx.hypot(map.xy) * mm, map.yx.hypot(map.yy) * mm]
}

/// The centre of the dark patch of about the right size that lies nearest.
fn coarse_centre(
    luma: &Luma,
    map: &Map<Page, Pixels>,
    expected: Point<Pixels>,
    side: Side,
    search: f64,
) -> Option<Point<Pixels>> {
    let window = luma.window(expected, reach(map, MARK_RADIUS + 1.5 + search))?;
    let [left, top, right, bottom] = window;
    let (w, h) = (right - left, bottom - top);
    if w < 5 || h < 5 {
        return None;
    }
    let mut counts = [0_u32; 256];
    for y in top..bottom {
        for &v in &luma.row(y)[left..right] {
            counts[usize::from(v)] += 1;
        }
    }
    let at_share = |share: f64| {
        let wanted = (share * (w * h) as f64) as u32;
        let mut sum = 0;
        counts.iter().position(|&n| {
            sum += n;
            sum > wanted
        })
    };
    let (paper, ink) = (at_share(0.75)? as f64, at_share(0.025)? as f64);
    if paper - ink < LEAST_CONTRAST.max(0.08 * paper) {
        return None;
    }
    let threshold = (paper + ink) / 2.0;
    let dark: Vec<bool> = (top..bottom)
        .flat_map(|y| {
            luma.row(y)[left..right]
                .iter()
                .map(|&v| f64::from(v) < threshold)
        })
        .collect();
    let wanted = area(side) * map.determinant().abs();
    let patches = patches(&dark, w);
    patches
        .into_iter()
        // A ring's middle may be closed by blur.
        .filter(|p| p.count as f64 > 0.55 * wanted && (p.count as f64) < 1.7 * wanted)
        .map(|p| Point::new(p.x + left as f64 + 0.5, p.y + top as f64 + 0.5))
        .map(|p| (p, (p - expected).length()))
        .filter(|(_, off)| *off <= (search + 0.3) * px_per_mm(map))
        .min_by(|a, b| a.1.total_cmp(&b.1))
        .map(|(p, _)| p)
}

/// A connected patch of dark pixels.
pub(super) struct Patch {
    pub(super) count: usize,
    /// Mean of the pixels' indices.
    pub(super) x: f64,
    /// Mean of the pixels' indices.
    pub(super) y: f64,
    /// Left, top, right and bottom pixel, all inclusive.
    pub(super) bounds: [usize; 4],
}

/// The patches of a mask of this width, connected over edges.
pub(super) fn patches(mask: &[bool], width: usize) -> Vec<Patch> {
    let mut seen = vec![false; mask.len()];
    let mut stack = Vec::new();
    let mut found = Vec::new();
    for start in 0..mask.len() {
        if !mask[start] || seen[start] {
            continue;
        }
        let (mut count, mut sx, mut sy) = (0_usize, 0_usize, 0_usize);
        let mut bounds = [usize::MAX, usize::MAX, 0, 0];
        seen[start] = true;
        stack.push(start);
        while let Some(k) = stack.pop() {
            let (x, y) = (k % width, k / width);
            count += 1;
            sx += x;
            sy += y;
            bounds = [
                bounds[0].min(x),
                bounds[1].min(y),
                bounds[2].max(x),
                bounds[3].max(y),
            ];
            let mut visit = |n: usize| {
                if mask[n] && !seen[n] {
                    seen[n] = true;
                    stack.push(n);
                }
            };
            if x > 0 {
                visit(k - 1);
            }
            if x + 1 < width {
                visit(k + 1);
            }
            if k >= width {
                visit(k - width);
            }
            if k + width < mask.len() {
                visit(k + width);
            }
        }
        let n = count as f64;
        found.push(Patch {
            count,
            x: sx as f64 / n,
            y: sy as f64 / n,
            bounds,
        });
    }
    found
}

/// The centre of gravity of a mark's darkness about a first guess, after taking out the paper's
/// own tone as a plane. `None` where the mark is cut off or hardly darker than the paper.
fn refine(luma: &Luma, map: &Map<Page, Pixels>, about: Point<Pixels>, side: Side) -> Option<Mark> {
    let half = reach(map, PAPER.1);
    let inside = about.x >= half[0]
        && about.y >= half[1]
        && about.x + half[0] <= luma.width() as f64
        && about.y + half[1] <= luma.height() as f64;
    if !inside {
        return None;
    }
    let [left, top, right, bottom] = luma.window(about, half)?;
    // From pixels to mm about the mark, without shift.
    let to_mm = map.inverse().ok()?;
    let mut pixels = Vec::with_capacity((right - left) * (bottom - top));
    for y in top..bottom {
        let dy = y as f64 + 0.5 - about.y;
        for (x, &v) in luma.row(y)[left..right].iter().enumerate() {
            let dx = (left + x) as f64 + 0.5 - about.x;
            let (mx, my) = (to_mm.xx * dx + to_mm.xy * dy, to_mm.yx * dx + to_mm.yy * dy);
            let r2 = mx * mx + my * my;
            if r2 < PAPER.1 * PAPER.1 {
                pixels.push((dx, dy, r2, f64::from(v)));
            }
        }
    }
    let paper = paper_plane(&pixels)?;
    let tone_of_paper = |dx: f64, dy: f64| paper[0] + paper[1] * dx + paper[2] * dy;

    // Solid ink lies in the rim's middle, on discs and rings alike.
    let mean = |from: f64, to: f64| {
        let (mut sum, mut n) = (0.0, 0.0);
        for &(dx, dy, r2, v) in &pixels {
            if (from * from..to * to).contains(&r2) {
                sum += tone_of_paper(dx, dy) - v;
                n += 1.0;
            }
        }
        (n > 0.0).then_some(sum / n)
    };
    let contrast = mean(1.5, 2.2)?;
    if contrast < LEAST_CONTRAST.max(0.06 * paper[0]) {
        return None;
    }
    let core = mean(0.0, 0.7)? / contrast;
    let (mut sum, mut sx, mut sy, mut total, mut rim) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for &(dx, dy, r2, v) in &pixels {
        if r2 > REACH * REACH {
            continue;
        }
        let darkness = (tone_of_paper(dx, dy) - v) / contrast;
        let weight = darkness.clamp(SOFT.0, SOFT.1) - SOFT.0;
        sum += weight;
        sx += weight * dx;
        sy += weight * dy;
        total += darkness.clamp(0.0, 1.1);
        if r2 > 1.9 * 1.9 && (0.2..0.8).contains(&darkness) {
            rim += 1.0;
        }
    }
    if sum <= 0.0 {
        return None;
    }
    let px_area = map.determinant().abs();
    Some(Mark {
        at: Point::new(about.x + sx / sum, about.y + sy / sum),
        core,
        fullness: total / (area(side) * px_area),
        blur: rim / px_area / (2.0 * std::f64::consts::PI * MARK_RADIUS),
    })
}

/// The paper's tone around a mark: a plane through the ring of bare paper, fitted twice so that
/// specks and lines do not pull it.
fn paper_plane(pixels: &[(f64, f64, f64, f64)]) -> Option<[f64; 3]> {
    let ring = || {
        pixels
            .iter()
            .filter(|p| p.2 > PAPER.0 * PAPER.0)
            .map(|&(dx, dy, _, v)| ([1.0, dx, dy], v))
    };
    let mut normal = Normal::<3>::default();
    for (row, v) in ring() {
        normal.add(&row, v, 1.0);
    }
    let first = normal.solve()?;
    let off = |row: &[f64; 3], v: f64| v - (first[0] + first[1] * row[1] + first[2] * row[2]);
    let (mut square, mut n) = (0.0, 0.0);
    for (row, v) in ring() {
        square += off(&row, v).powi(2);
        n += 1.0;
    }
    let sd = (square / n).sqrt().max(1.0);
    let mut normal = Normal::<3>::default();
    for (row, v) in ring().filter(|(row, v)| off(row, *v).abs() < 2.0 * sd) {
        normal.add(&row, v, 1.0);
    }
    normal.solve()
}
