//! The sheet's own edges in a scan over a dark ground.

use tympan_sheet::{Page, Point, Size, Vector};

use super::luma::{Luma, Pixels};
use super::side_view::SideView;
use super::solve::{Normal, median, tukey};

/// The sheet's edge is looked for at most so far inside of where the page's edge would lie, mm...
const SEARCH: f64 = 8.0;
/// ... and nearer where print begins sooner, by this distance, mm.
const PRINT: f64 = 0.3;
/// Where print begins sooner than this, an edge cannot be told from it, mm.
const LEAST_SEARCH: f64 = 2.0;
/// And how far outside, mm: there the sheet's edge lies when a program made the print smaller.
const OUTSIDE: f64 = 14.0;
/// Corners are left out: they are rounded, folded, dog-eared, mm.
const CORNER: f64 = 12.0;
/// Profiles along one edge.
const PROFILES: usize = 160;
/// At least this share of the profiles must lie on one line.
const LEAST_SHARE: f64 = 0.4;
/// The ground must be darker than this share of the paper's tone.
const DARK: f64 = 0.6;
/// How straight and how sharply cut a sheet's edge is, mm (sd of a whole edge's place).
const EDGE_SD: f64 = 0.008;
/// A shadow leaves an edge this uncertain, mm.
const SHADOW_SD: f64 = 0.08;
/// The paper just inside an edge is shadowed when darker than this share of its tone.
const SHADOWED: f64 = 0.90;

/// Which edge, as seen on the side.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Which {
    Head,
    Right,
    Foot,
    Left,
}

impl Which {
    pub(super) const ALL: [Self; 4] = [Self::Head, Self::Right, Self::Foot, Self::Left];

    /// The unit vector out of the sheet.
    pub(super) fn outward(self) -> Vector<Page> {
        match self {
            Self::Head => Vector::new(0.0, -1.0),
            Self::Right => Vector::new(1.0, 0.0),
            Self::Foot => Vector::new(0.0, 1.0),
            Self::Left => Vector::new(-1.0, 0.0),
        }
    }

    /// Where it begins on a page and the unit vector along it, to the right or down.
    fn run(self, paper: Size) -> (Point<Page>, Vector<Page>, f64) {
        let (w, h) = (paper.w, paper.h);
        match self {
            Self::Head => (Point::new(0.0, 0.0), Vector::new(1.0, 0.0), w),
            Self::Foot => (Point::new(0.0, h), Vector::new(1.0, 0.0), w),
            Self::Left => (Point::new(0.0, 0.0), Vector::new(0.0, 1.0), h),
            Self::Right => (Point::new(w, 0.0), Vector::new(0.0, 1.0), h),
        }
    }
}

/// One edge, in the print's own mm as seen on its side.
#[derive(Clone, Copy, Debug)]
pub(super) struct Edge {
    pub(super) which: Which,
    /// The middle of what was seen of it.
    pub(super) at: Point<Page>,
    /// How far it runs outwards per mm along it (to the right or down).
    pub(super) slope: f64,
    /// Standard uncertainty of its place, mm.
    pub(super) sd: f64,
    /// Standard uncertainty of its slope.
    pub(super) slope_sd: f64,
    /// A shadow lies along it.
    pub(super) shadowed: bool,
}

/// The edges that stand out against a dark ground.
pub(super) fn find(luma: &Luma, view: &SideView) -> Vec<Edge> {
    let tone = |p: Point<Page>| luma.at(view.map.apply(p));
    let (paper, scale) = (view.target.paper(), view.scale());
    Which::ALL
        .into_iter()
        .filter_map(|which| find_one(&tone, paper, scale, search(view, which)?, which))
        .collect()
}

/// How far inside of the page's edge to look: as far as the paper is bare.
fn search(view: &SideView, which: Which) -> Option<f64> {
    let bare = view.target.bare[view.side() as usize][which as usize] - PRINT;
    (bare >= LEAST_SEARCH).then(|| bare.min(SEARCH))
}

/// The edges of a sheet in a photo, against a ground darker than the sheet or brighter.
pub(super) fn find_in_photo(
    luma: &Luma,
    view: &SideView,
    map: impl Fn(Point<Page>) -> Point<Pixels>,
) -> Vec<Edge> {
    let dark = |p: Point<Page>| luma.at(map(p));
    let bright = |p: Point<Page>| luma.at(map(p)).map(|v| 255.0 - v);
    let (paper, scale) = (view.target.paper(), view.scale());
    let find = |which| {
        let search = search(view, which)?;
        find_one(&dark, paper, scale, search, which)
            .or_else(|| find_one(&bright, paper, scale, search, which))
    };
    Which::ALL.into_iter().filter_map(find).collect()
}

/// The edge through points that were found on it, but for its corners.
pub(super) fn through(which: Which, paper: Size, points: &[Point<Page>]) -> Option<Edge> {
    let (start, along, length) = which.run(paper);
    let out = which.outward();
    let crossings: Vec<(f64, f64)> = points
        .iter()
        .map(|&p| p - start)
        .map(|d| (d.x * along.x + d.y * along.y, d.x * out.x + d.y * out.y))
        .filter(|(u, _)| (CORNER..length - CORNER).contains(u))
        .collect();
    if (crossings.len() as f64) < LEAST_SHARE * PROFILES as f64 {
        return None;
    }
    line(which, start, along, length, &crossings, false)
}

fn find_one(
    tone_at: &impl Fn(Point<Page>) -> Option<f64>,
    paper: Size,
    scale: f64,
    search: f64,
    which: Which,
) -> Option<Edge> {
    let (start, along, length) = which.run(paper);
    let out = which.outward();
    let step = 0.5 / scale;
    let count = ((search + OUTSIDE) / step) as usize;
    let mut crossings = Vec::new();
    let mut inner_tones = Vec::new();
    let mut profiles = Vec::new();
    for k in 0..PROFILES {
        let u = CORNER + (length - 2.0 * CORNER) * (k as f64 + 0.5) / PROFILES as f64;
        let base = start + along * u;
        let profile: Vec<f64> = (0..=count)
            .map_while(|i| tone_at(base + out * (i as f64 * step - search)))
            .collect();
        // Paper deep inside: from here outwards nothing is printed.
        let deep = (search.min(3.0) / 2.0 / step) as usize;
        if profile.len() < 3 * deep {
            continue;
        }
        let mut inside = profile[..deep].to_vec();
        inner_tones.push(median(&mut inside));
        profiles.push((u, profile));
    }
    let tone = median(&mut inner_tones);
    if !tone.is_finite() || tone < 60.0 {
        return None;
    }
    let mut dimmed = Vec::new();
    for (u, profile) in &profiles {
        if let Some((n, near)) = crossing(profile, step, tone) {
            crossings.push((*u, n - search));
            dimmed.push(near / tone);
        }
    }
    if (crossings.len() as f64) < LEAST_SHARE * PROFILES as f64 {
        return None;
    }
    let shadowed = median(&mut dimmed) < SHADOWED;
    line(which, start, along, length, &crossings, shadowed)
}

/// Where a profile from inside outwards leaves the paper, mm from its start, and the paper's tone
/// just inside.
fn crossing(profile: &[f64], step: f64, tone: f64) -> Option<(f64, f64)> {
    let px = |mm: f64| (mm / step).round() as usize;
    // From here on it stays dark for half a millimetre: a speck or a printed line does not.
    let stay = px(0.5).max(3);
    let dark = DARK * tone;
    let first = (1..profile.len().saturating_sub(stay))
        .find(|&i| profile[i] < dark && profile[i..i + stay].iter().all(|&v| v < dark))?;
    let ground = {
        let from = (first + px(0.25)).min(profile.len() - 1);
        let to = (from + px(0.5).max(2)).min(profile.len());
        median(&mut profile[from..to].to_vec())
    };
    // The paper's tone where the edge is, so that a shadow does not shift the half-way point.
    let near = {
        let to = first.saturating_sub(px(0.3));
        let from = to.saturating_sub(px(0.5).max(2));
        if to <= from {
            return None;
        }
        median(&mut profile[from..to].to_vec())
    };
    if near < 1.25 * ground + 8.0 {
        return None;
    }
    let half = (near + ground) / 2.0;
    let from = first.saturating_sub(px(0.5)).max(1);
    let i = (from..(first + px(0.5)).min(profile.len()))
        .find(|&i| profile[i - 1] >= half && profile[i] < half)?;
    let part = (profile[i - 1] - half) / (profile[i - 1] - profile[i]);
    Some(((i as f64 - 1.0 + part) * step, near))
}

/// The line through the crossings, robustly.
fn line(
    which: Which,
    start: Point<Page>,
    along: Vector<Page>,
    length: f64,
    crossings: &[(f64, f64)],
    shadowed: bool,
) -> Option<Edge> {
    let mut offsets: Vec<f64> = crossings.iter().map(|c| c.1).collect();
    let (mut a, mut b) = (median(&mut offsets), 0.0);
    let mut scale = 0.5;
    let middle = length / 2.0;
    let mut normal = Normal::<2>::default();
    let mut kept = 0.0;
    for round in 0..12 {
        normal = Normal::default();
        kept = 0.0;
        for &(u, n) in crossings {
            let w = tukey(n - a - b * (u - middle), scale);
            normal.add(&[1.0, u - middle], n, w);
            kept += w;
        }
        [a, b] = normal.solve()?;
        let mut off: Vec<f64> = crossings
            .iter()
            .map(|&(u, n)| (n - a - b * (u - middle)).abs())
            .collect();
        let spread = median(&mut off) / 0.6745;
        // Begin wide, so that a tilted sheet's line is found before the scale tightens.
        scale = if round < 3 {
            spread.max(0.1)
        } else {
            spread.max(0.01)
        };
    }
    if kept < LEAST_SHARE * PROFILES as f64 {
        return None;
    }
    let cov = normal.covariance()?;
    // Neighbouring profiles share the cut's own waviness: count one in four.
    let systematic = if shadowed { SHADOW_SD } else { EDGE_SD };
    let sd = (4.0 * scale * scale * cov[0][0] + systematic * systematic).sqrt();
    let lean = systematic / (length / 12.0_f64.sqrt());
    let slope_sd = (4.0 * scale * scale * cov[1][1] + lean * lean).sqrt();
    let at = start + along * middle + which.outward() * a;
    Some(Edge {
        which,
        at,
        slope: b,
        sd,
        slope_sd,
        shadowed,
    })
}
