//! Punched holes in a scan over a dark ground.

use std::f64::consts::TAU;

use tympan_sheet::{Page, Point};

use super::luma::{Luma, Pixels};
use super::mark::patches;
use super::side_view::SideView;
use super::solve::{Normal, median, tukey};

/// Diameters of punched holes, mm: ISO 838 has 6 ± 0.5; other punches make 5 to 8.
const DIAMETER: (f64, f64) = (4.6, 8.6);
/// Holes are looked for in a picture of about this many pixels to the mm.
const COARSE: f64 = 3.0;
/// How exactly the two sides of a punched hole lie on each other, mm.
const HOLE_SD: f64 = 0.010;

/// A hole, in the print's own mm as seen on its side.
#[derive(Clone, Copy, Debug)]
pub(super) struct Hole {
    pub(super) at: Point<Page>,
    /// Standard uncertainty of each coordinate, mm.
    pub(super) sd: f64,
    /// Its diameter, mm.
    pub(super) diameter: f64,
}

impl Hole {
    /// A hole of the usual size, found as well as holes can be.
    pub(super) fn found(at: Point<Page>) -> Self {
        Self {
            at,
            sd: HOLE_SD,
            diameter: 6.0,
        }
    }
}

/// The holes of a sheet that show a dark ground.
pub(super) fn find(luma: &Luma, view: &SideView) -> Vec<Hole> {
    let factor = (view.scale() / COARSE).floor().max(1.0) as usize;
    let small = luma.reduced(factor);
    let mut tones: Vec<f64> = small
        .data()
        .iter()
        .step_by(7)
        .map(|&v| f64::from(v))
        .collect();
    let paper = super::solve::quantile(&mut tones, 0.8);
    if !paper.is_finite() {
        return Vec::new();
    }
    let mask: Vec<bool> = small
        .data()
        .iter()
        .map(|&v| f64::from(v) < 0.5 * paper)
        .collect();
    let Ok(back) = view.map.inverse() else {
        return Vec::new();
    };
    let scale = view.scale() / factor as f64;
    let mut found = Vec::new();
    for patch in patches(&mask, small.width()) {
        let [left, top, right, bottom] = patch.bounds;
        let (w, h) = ((right - left + 1) as f64, (bottom - top + 1) as f64);
        let diameter = 2.0 * (patch.count as f64 / std::f64::consts::PI).sqrt() / scale;
        let round = w.max(h) / w.min(h) < 1.35
            && (0.62..0.92).contains(&(patch.count as f64 / (w * h)))
            && (DIAMETER.0 - 0.4..DIAMETER.1 + 0.4).contains(&diameter);
        if !round {
            continue;
        }
        let centre: Point<Pixels> = Point::new(
            (patch.x + 0.5) * factor as f64,
            (patch.y + 0.5) * factor as f64,
        );
        if is_print(view, back.apply(centre)) {
            continue;
        }
        if let Some(hole) = measure(luma, view, centre, diameter)
            .map(|(c, sd, d)| Hole {
                at: back.apply(c),
                sd: sd.max(HOLE_SD),
                diameter: d,
            })
            .filter(|hole| (DIAMETER.0..DIAMETER.1).contains(&hole.diameter))
        {
            found.push(hole);
        }
    }
    found
}

/// Whether the print itself has something dark and round there.
fn is_print(view: &SideView, p: Point<Page>) -> bool {
    let target = &view.target;
    let paper = target.paper();
    let side = view.side();
    let outside = p.x < -8.0 || p.y < -8.0 || p.x > paper.w + 8.0 || p.y > paper.h + 8.0;
    outside
        || target
            .marks(side)
            .iter()
            .any(|&m| (target.seen_on(side, m) - p).length() < 4.0)
        || target.print[side as usize].iter().any(|r| r.contains(p))
}

/// A circle through the rim, robustly: centre, standard uncertainty (mm), diameter (mm).
fn measure(
    luma: &Luma,
    view: &SideView,
    start: Point<Pixels>,
    diameter: f64,
) -> Option<(Point<Pixels>, f64, f64)> {
    let s = view.scale();
    let angles = 160;
    let (mut cx, mut cy, mut r) = (start.x, start.y, diameter / 2.0 * s);
    let mut sd = 0.0;
    for _ in 0..3 {
        let mut rim = Vec::new();
        for k in 0..angles {
            let (sin, cos) = (TAU * f64::from(k) / f64::from(angles)).sin_cos();
            let at = |radius: f64| luma.at(Point::new(cx + cos * radius, cy + sin * radius));
            let step = 0.5;
            let from = (r - 1.2 * s).max(0.5);
            let count = (2.4 * s / step) as usize;
            let profile: Vec<f64> = (0..=count)
                .map_while(|i| at(from + i as f64 * step))
                .collect();
            if profile.len() <= count {
                continue;
            }
            let end = (0.6 * s / step) as usize + 1;
            let inner = median(&mut profile[..end].to_vec());
            let outer = median(&mut profile[profile.len() - end..].to_vec());
            if outer < 1.3 * inner + 10.0 {
                continue;
            }
            let half = (inner + outer) / 2.0;
            let cross = (1..profile.len()).find(|&i| profile[i - 1] < half && profile[i] >= half);
            if let Some(i) = cross {
                let part = (half - profile[i - 1]) / (profile[i] - profile[i - 1]);
                rim.push((cos, sin, from + (i as f64 - 1.0 + part) * step));
            }
        }
        if rim.len() * 10 < angles as usize * 7 {
            return None;
        }
        // Radius along each ray: r + dx·cos + dy·sin, to first order.
        let mut x = [0.0, 0.0, r];
        let mut scale = 0.3 * s;
        let mut normal = Normal::<3>::default();
        for _ in 0..8 {
            normal = Normal::default();
            let off = |x: &[f64; 3], c: f64, n: f64, v: f64| v - (x[0] * c + x[1] * n + x[2]);
            for &(c, n, v) in &rim {
                normal.add(&[c, n, 1.0], v, tukey(off(&x, c, n, v), scale));
            }
            x = normal.solve()?;
            let mut rest: Vec<f64> = rim
                .iter()
                .map(|&(c, n, v)| off(&x, c, n, v).abs())
                .collect();
            scale = (median(&mut rest) / 0.6745).max(0.02 * s);
        }
        let cov = normal.covariance()?;
        // The rim's raggedness is the same from both sides, and correlated along it.
        sd = scale / s * (cov[0][0].max(cov[1][1]) * 3.0).sqrt();
        cx += x[0];
        cy += x[1];
        r = x[2];
    }
    Some((Point::new(cx, cy), sd, 2.0 * r / s))
}
