//! Bringing the two scans of a sheet together: by holes, by edges, by both.
//!
//! Each scan has a *plane*: its pixels made into mm by one factor and turned so that the print
//! stands upright with its middle at the page's middle. The back's plane is seen through the
//! paper (mirrored by the flip). The link is the map from the back's plane, so mirrored, to the
//! front's: a shift and a tilt, and as far as scanners are not alike along their two axes, a
//! little stretch and shear, which is known in advance to be small when both scans lay the same
//! way up on the same scanner.

use tympan_sheet::{Flip, Front, Map, Page, Point, Side, Size, Vector};

use super::edges::{Edge, Which};
use super::holes::Hole;
use super::luma::Pixels;
use super::refusal::Refusal;
use super::side_view::SideView;
use super::solve::Normal;

/// Holes of one sheet lie on each other within this, mm.
const HOLES_MATCH: f64 = 0.35;
/// No printer misses by more than this at the sheet's centre, mm...
const FARTHEST: f64 = 15.0;
/// ... nor tilts by more, radians.
const MOST_TILT: f64 = 0.06;
/// Holes and edges may disagree by this many standard uncertainties, and by this much, mm: beyond
/// both, the two scans show two sheets whose holes chanced to be punched alike.
const MOST_APART: (f64, f64) = (4.0, 0.13);
/// Between holes and edges, a carriage goes astray by up to so many times its unevenness (sd).
const CARRIED: f64 = 3.0;
/// Resolutions alike within this share are one resolution.
const SAME_SCALE: f64 = 0.012;

/// What one scan offers to the link.
#[derive(Clone, Debug)]
pub(super) struct Physical {
    pub(super) view: SideView,
    pub(super) edges: Vec<Edge>,
    pub(super) holes: Vec<Hole>,
}

/// How a scan's plane stands to its page and its pixels.
#[derive(Clone, Copy, Debug)]
pub(super) struct Plane {
    /// From the page as printed to the plane.
    pub(super) of_page: Map<Page, Page>,
    /// From pixels to the plane.
    pub(super) of_pixels: Map<Pixels, Page>,
    /// How far the print is turned in the picture, radians clockwise.
    pub(super) turned: f64,
}

impl Plane {
    /// The plane of a scan at this many pixels to the mm.
    pub(super) fn new(view: &SideView, scale: f64) -> Option<Self> {
        let m = &view.map;
        // The nearest rotation to a plane's linear map (Umeyama's closed form, in two dimensions).
        let turned = (m.yx - m.xy).atan2(m.xx + m.yy);
        let (sin, cos) = turned.sin_cos();
        let centre: Point<Page> = view.target.paper().centre();
        let middle = m.apply(centre);
        let (c, s) = (cos / scale, sin / scale);
        let of_pixels = Map::new(
            c,
            s,
            -s,
            c,
            centre.x - c * middle.x - s * middle.y,
            centre.y + s * middle.x - c * middle.y,
        );
        scale.is_finite().then(|| Self {
            of_page: m.then(&of_pixels),
            of_pixels,
            turned,
        })
    }
}

/// A side's plane, seen from the front.
fn from_front(side: Side, flip: Flip, paper: Size, p: Point<Page>) -> Point<Front> {
    match side {
        Side::Front => Point::new(p.x, p.y),
        Side::Back => flip.to_front(Point::new(p.x, p.y), paper),
    }
}

/// The link, and how well it is known.
#[derive(Clone, Debug)]
pub(super) struct Link {
    /// From the back's plane seen from the front to the front's plane.
    pub(super) map: Map<Front, Front>,
    /// The front's plane.
    pub(super) front: Plane,
    /// The back's plane.
    pub(super) back: Plane,
    /// Covariance of the link about the sheet's centre: x and y (mm), then mm per 100 mm of
    /// x by x, x by y, y by x, y by y.
    pub(super) covariance: [[f64; 6]; 6],
    /// What ties the sides together.
    pub(super) by: LinkedBy,
    /// How far the two scans' axes disagree in scale, a share, and how well that is known.
    pub(super) axes: [f64; 2],
    pub(super) axes_sd: [f64; 2],
    /// Quarter turns between the two scans: 0 to 3.
    pub(super) quarters: u8,
    /// Chi-square per degree of freedom of the link's own features.
    pub(super) misfit: f64,
    /// The edges used lie in a shadow.
    pub(super) shadowed: bool,
    /// Holes that did not match.
    pub(super) stray_holes: usize,
}

/// What ties the two sides together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct LinkedBy {
    pub(super) holes: usize,
    pub(super) edges: usize,
}

/// One equation of the link: a weighted direction in which a point of the back's plane must fall
/// on a place of the front's.
struct Condition {
    /// On the back's plane, seen from the front.
    from: Point<Front>,
    /// The direction that is known.
    along: Vector<Front>,
    /// How far along it the front has it from `from`, mm.
    gap: f64,
    sd: f64,
}

impl Condition {
    /// What each of the link's six numbers adds along its direction.
    fn row(&self, paper: Size) -> [f64; 6] {
        let centre: Point<Front> = paper.centre();
        let q = (self.from - centre) * 0.01;
        let (ax, ay) = (self.along.x, self.along.y);
        [ax, ay, ax * q.x, ax * q.y, ay * q.x, ay * q.y]
    }

    /// How far the front has it from where a link puts it, mm.
    fn off(&self, link: &[f64; 6], paper: Size) -> f64 {
        self.gap - dot(&self.row(paper), link)
    }
}

fn dot(a: &[f64; 6], b: &[f64; 6]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// Ties the two scans together.
pub(super) fn link(front: &Physical, back: &Physical) -> Result<Link, Refusal> {
    let target = &front.view.target;
    let (paper, flip) = (target.paper(), target.flip());
    let ratio = back.view.scale() / front.view.scale();
    let same_scale = (ratio - 1.0).abs() < SAME_SCALE;
    let front_scale = front.view.scale();
    let back_scale = if same_scale {
        front_scale
    } else {
        back.view.scale()
    };
    let front_plane = Plane::new(&front.view, front_scale).ok_or(Refusal::NotATestSheet)?;
    let back_plane = Plane::new(&back.view, back_scale).ok_or(Refusal::NotATestSheet)?;

    let plane_of = |p: &Physical| {
        if p.view.side() == Side::Front {
            front_plane
        } else {
            back_plane
        }
    };
    let place = |physical: &Physical, p: Point<Page>| {
        let plane = plane_of(physical);
        from_front(physical.view.side(), flip, paper, plane.of_page.apply(p))
    };
    let holes_of = |physical: &Physical| -> Vec<(Point<Front>, f64)> {
        physical
            .holes
            .iter()
            .map(|h| (place(physical, h.at), h.sd))
            .collect()
    };
    let (front_holes, back_holes) = (holes_of(front), holes_of(back));
    let pairs = match_holes(&front_holes, &back_holes, paper)?;

    let mut conditions = Vec::new();
    for &(f, b) in &pairs {
        let ((at, sd), (from, other_sd)) = (front_holes[f], back_holes[b]);
        let gap = at - from;
        let sd = sd.hypot(other_sd);
        conditions.push(Condition {
            from,
            along: Vector::new(1.0, 0.0),
            gap: gap.x,
            sd,
        });
        conditions.push(Condition {
            from,
            along: Vector::new(0.0, 1.0),
            gap: gap.y,
            sd,
        });
    }
    let by_holes = conditions.len();
    let mut edges_used = 0;
    let mut shadowed = false;
    for b in &back.edges {
        let Some(f) = front
            .edges
            .iter()
            .find(|f| f.which == behind(b.which, flip))
        else {
            continue;
        };
        edges_used += 1;
        shadowed |= f.shadowed || b.shadowed;
        conditions.extend(edge_conditions(front, f, back, b, &place));
    }
    let across = |which: [Which; 2]| {
        back.edges
            .iter()
            .filter(|b| front.edges.iter().any(|f| f.which == behind(b.which, flip)))
            .any(|b| which.contains(&b.which))
    };
    let by_edges = across([Which::Head, Which::Foot]) && across([Which::Left, Which::Right]);
    if pairs.len() < 2 && !by_edges {
        return Err(Refusal::NoLink);
    }

    let turn = (back_plane.turned - front_plane.turned).rem_euclid(std::f64::consts::TAU);
    let quarters = ((turn / std::f64::consts::FRAC_PI_2).round() as u8) % 4;
    let prior = prior_sd(same_scale, quarters);
    let solved = solve(&conditions, paper, prior)?;
    if by_edges && by_holes > 0 {
        let (holes, edges) = conditions.split_at(by_holes);
        let carried = [front, back].map(|p| p.view.uneven_mm());
        let carried = carried.as_flattened().iter().copied().fold(0.0, f64::max);
        check_holes_by_edges(holes, edges, paper, prior, CARRIED * carried)?;
    }
    let by = LinkedBy {
        holes: pairs.len(),
        edges: edges_used,
    };
    let (x, mut covariance, misfit) = solved;
    if misfit > 1.0 {
        covariance.iter_mut().flatten().for_each(|v| *v *= misfit);
    }
    Ok(Link {
        map: link_map(&x, paper),
        front: front_plane,
        back: back_plane,
        axes: [x[2] / 100.0, x[5] / 100.0],
        axes_sd: [
            covariance[2][2].sqrt() / 100.0,
            covariance[5][5].sqrt() / 100.0,
        ],
        covariance,
        by,
        quarters,
        misfit,
        shadowed,
        stray_holes: front_holes.len().max(back_holes.len()) - pairs.len(),
    })
}

/// The edge of the front behind an edge of the back.
fn behind(which: Which, flip: Flip) -> Which {
    match (flip, which) {
        (Flip::Sideways, Which::Left) => Which::Right,
        (Flip::Sideways, Which::Right) => Which::Left,
        (Flip::Endways, Which::Head) => Which::Foot,
        (Flip::Endways, Which::Foot) => Which::Head,
        (_, same) => same,
    }
}

/// An edge pair as two conditions, at two points a quarter of its length from either end.
fn edge_conditions(
    front: &Physical,
    f: &Edge,
    back: &Physical,
    b: &Edge,
    place: &impl Fn(&Physical, Point<Page>) -> Point<Front>,
) -> Vec<Condition> {
    let paper = front.view.target.paper();
    let upright = matches!(f.which, Which::Left | Which::Right);
    let length = if upright { paper.h } else { paper.w };
    // Two points of an edge as seen on its side, in its plane seen from the front.
    let points = |physical: &Physical, edge: &Edge| {
        let along: Vector<Page> = if upright {
            Vector::new(0.0, 1.0)
        } else {
            Vector::new(1.0, 0.0)
        };
        let reach = length / 4.0;
        [-reach, reach].map(|u| {
            let p = edge.at + along * u + edge.which.outward() * (edge.slope * u);
            place(physical, p)
        })
    };
    let mut fs = points(front, f);
    let bs = points(back, b);
    // The flip may turn the two points about.
    let key = |p: Point<Front>| if upright { p.y } else { p.x };
    if (key(fs[0]) < key(fs[1])) != (key(bs[0]) < key(bs[1])) {
        fs.swap(0, 1);
    }
    let d = fs[1] - fs[0];
    let normal: Vector<Front> = Vector::new(-d.y, d.x) * (1.0 / d.length());
    let sd = |f: f64, b: f64| f.hypot(b);
    // A place and a slope of these uncertainties are two points of this one, each.
    let place_sd = sd(f.sd, b.sd);
    let slope_sd = sd(f.slope_sd, b.slope_sd);
    let each = (2.0_f64.sqrt() * place_sd).max(slope_sd * length / 4.0 * 2.0_f64.sqrt());
    (0..2)
        .map(|k| {
            let gap = fs[k] - bs[k];
            let gap = gap.x * normal.x + gap.y * normal.y;
            Condition {
                from: bs[k],
                along: normal,
                gap,
                sd: each,
            }
        })
        .collect()
}

/// What is known of stretch and shear between the two planes before looking, mm per 100 mm (sd).
/// One scanner repeats its scales the same way up and upside down; but columns that lean by some
/// 0.2 mrad lean the other way when the sheet is turned over, and the two axes may differ by 0.3 %
/// when one scan lies a quarter turned.
fn prior_sd(same_scale: bool, quarters: u8) -> [f64; 2] {
    match (same_scale, quarters.is_multiple_of(2)) {
        (true, true) => [0.015, 0.02],
        (true, false) => [0.3, 0.06],
        (false, true) => [3.0, 0.06],
        (false, false) => [3.0, 0.06],
    }
}

/// Whether the sheet's holes lie where its edges say that they do. Where they do not, the holes are
/// of two sheets.
fn check_holes_by_edges(
    holes: &[Condition],
    edges: &[Condition],
    paper: Size,
    prior: [f64; 2],
    carried: f64,
) -> Result<(), Refusal> {
    let (x, covariance, _) = solve(edges, paper, prior)?;
    for hole in holes {
        let row = hole.row(paper);
        let apart = hole.off(&x, paper).abs();
        let by_edges = dot(&row, &covariance.map(|of| dot(&row, &of)));
        let sd = (by_edges + hole.sd * hole.sd + carried * carried).sqrt();
        if apart > MOST_APART.0 * sd && apart > MOST_APART.1 {
            return Err(Refusal::LinkDisagrees { mm: apart });
        }
    }
    Ok(())
}

type Solved = ([f64; 6], [[f64; 6]; 6], f64);

/// The link's six numbers: shift (mm), and x by x, x by y, y by x, y by y (mm per 100 mm).
fn solve(
    conditions: &[Condition],
    paper: Size,
    [stretch_sd, shear_sd]: [f64; 2],
) -> Result<Solved, Refusal> {
    let mut normal = Normal::<6>::default();
    for c in conditions {
        normal.add(&c.row(paper), c.gap, 1.0 / (c.sd * c.sd));
    }
    let stretch = 1.0 / (stretch_sd * stretch_sd);
    normal.add(&[0.0, 0.0, 1.0, 0.0, 0.0, 0.0], 0.0, stretch);
    normal.add(&[0.0, 0.0, 0.0, 0.0, 0.0, 1.0], 0.0, stretch);
    // Shear: x by y and y by x alike; a tilt has them opposite.
    normal.add(
        &[0.0, 0.0, 0.0, 0.5, 0.5, 0.0],
        0.0,
        1.0 / (shear_sd * shear_sd),
    );
    let x = normal.solve().ok_or(Refusal::NoLink)?;
    let covariance = normal.covariance().ok_or(Refusal::NoLink)?;
    let off = |c: &Condition| c.off(&x, paper);
    let mut square: f64 = conditions.iter().map(|c| (off(c) / c.sd).powi(2)).sum();
    square += (x[2] / stretch_sd).powi(2) + (x[5] / stretch_sd).powi(2);
    square += ((x[3] + x[4]) / 2.0 / shear_sd).powi(2);
    let freedom = (conditions.len() as f64 + 3.0 - 6.0).max(1.0);
    let worst = conditions.iter().map(|c| off(c).abs()).fold(0.0, f64::max);
    if worst > 0.3 {
        return Err(Refusal::LinkDisagrees { mm: worst });
    }
    Ok((x, covariance, square / freedom))
}

fn link_map(x: &[f64; 6], paper: Size) -> Map<Front, Front> {
    let centre: Point<Front> = paper.centre();
    let l = |v: f64| v / 100.0;
    Map::linear_about(1.0 + l(x[2]), l(x[3]), l(x[4]), 1.0 + l(x[5]), centre)
        .then(&Map::shift(Vector::new(x[0], x[1])))
}

/// Whether the holes of two pictures of one page are each other's mirror images: then they are
/// two sides of one sheet with the same page on both.
pub(super) fn is_seen_through(a: &Physical, b: &Physical) -> bool {
    let paper = a.view.target.paper();
    let centre: Point<Front> = paper.centre();
    let planes = [a, b].map(|p| Plane::new(&p.view, p.view.scale()));
    let [Some(pa), Some(pb)] = planes else {
        return false;
    };
    let places = |physical: &Physical, plane: Plane| -> Vec<Point<Front>> {
        let place = |h: &Hole| plane.of_page.apply(h.at);
        physical
            .holes
            .iter()
            .map(place)
            .map(|p| Point::new(p.x, p.y))
            .collect()
    };
    let (ha, hb) = (places(a, pa), places(b, pb));
    let straight = best_match(&ha, &hb, centre).map_or(0, |m| m.0.len());
    [Flip::Sideways, Flip::Endways].into_iter().any(|flip| {
        let turned: Vec<Point<Front>> = hb
            .iter()
            .map(|p| flip.to_front(Point::new(p.x, p.y), paper))
            .collect();
        best_match(&ha, &turned, centre).map_or(0, |m| m.0.len()) > straight
    })
}

/// Which holes of the two sides are the same. Empty where either side shows fewer than two.
///
/// # Errors
/// [`Refusal::WrongFlip`] when they match only with one side turned by half,
/// [`Refusal::DifferentSheets`] when they do not match at all.
fn match_holes(
    front: &[(Point<Front>, f64)],
    back: &[(Point<Front>, f64)],
    paper: Size,
) -> Result<Vec<(usize, usize)>, Refusal> {
    if front.len() < 2 || back.len() < 2 {
        return Ok(Vec::new());
    }
    let f: Vec<Point<Front>> = front.iter().map(|h| h.0).collect();
    let b: Vec<Point<Front>> = back.iter().map(|h| h.0).collect();
    let centre: Point<Front> = paper.centre();
    let turned: Vec<Point<Front>> = b
        .iter()
        .map(|p| Point::new(2.0 * centre.x - p.x, 2.0 * centre.y - p.y))
        .collect();
    let upright = best_match(&f, &b, centre);
    let half = best_match(&f, &turned, centre);
    let count = |m: &Option<(Vec<(usize, usize)>, f64)>| m.as_ref().map_or(0, |m| m.0.len());
    let rms = |m: &Option<(Vec<(usize, usize)>, f64)>| m.as_ref().map_or(f64::INFINITY, |m| m.1);
    let clearer = count(&half) > count(&upright)
        || (count(&half) == count(&upright)
            && count(&half) > 2
            && rms(&half) < 0.3 * rms(&upright));
    if count(&half) >= 2 && clearer {
        return Err(Refusal::WrongFlip);
    }
    match upright {
        Some((pairs, _)) => Ok(pairs),
        None => Err(Refusal::DifferentSheets),
    }
}

/// The most holes that a small shift and tilt bring onto each other, and how well (rms, mm).
fn best_match(
    f: &[Point<Front>],
    b: &[Point<Front>],
    centre: Point<Front>,
) -> Option<(Vec<(usize, usize)>, f64)> {
    let mut best: Option<(Vec<(usize, usize)>, f64)> = None;
    for i in 0..f.len() {
        for j in (0..f.len()).filter(|&j| j != i) {
            for k in 0..b.len() {
                for l in (0..b.len()).filter(|&l| l != k) {
                    let (df, db) = (f[j] - f[i], b[l] - b[k]);
                    if (df.length() - db.length()).abs() > HOLES_MATCH + 0.002 * df.length() {
                        continue;
                    }
                    let (sin, cos) = (db.x * df.y - db.y * df.x, db.x * df.x + db.y * df.y);
                    let tilt = sin.atan2(cos);
                    let turn = Map::<Front, Front>::tilt(tympan_sheet::Angle::radians(tilt), b[k]);
                    let map = turn.then(&Map::shift(f[i] - b[k]));
                    let far = map.displacement(centre).length();
                    if tilt.abs() > MOST_TILT || far > FARTHEST {
                        continue;
                    }
                    let mut pairs = Vec::new();
                    let mut square = 0.0;
                    for (n, &p) in b.iter().enumerate() {
                        let p = map.apply(p);
                        let near = f
                            .iter()
                            .enumerate()
                            .map(|(m, &q)| (m, (q - p).length()))
                            .min_by(|a, b| a.1.total_cmp(&b.1));
                        if let Some((m, off)) = near
                            && off < 2.0 * HOLES_MATCH
                        {
                            pairs.push((m, n));
                            square += off * off;
                        }
                    }
                    let rms = (square / pairs.len().max(1) as f64).sqrt();
                    let better = best.as_ref().is_none_or(|(old, old_rms)| {
                        pairs.len() > old.len() || (pairs.len() == old.len() && rms < *old_rms)
                    });
                    if pairs.len() >= 2 && better {
                        best = Some((pairs, rms));
                    }
                }
            }
        }
    }
    best
}
