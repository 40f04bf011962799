//! A reading from one scan of each side.

use tympan_sheet::{Flip, Front, Page, Point, Side, Size, Vector};

use super::edges::{Edge, Which};
use super::link::{Link, Physical, link};
use super::luma::Luma;
use super::reading::{Evidence, Placement, Reading, Warning, Way, fit_field, split_covariance};
use super::refusal::Refusal;
use super::side_view::SideView;
use crate::geometry::MARK_RADIUS;
use crate::pin::Observation;

/// A program's scaling is told from paper cut short or long beyond this share.
const SCALED: f64 = 0.013;
/// Marks may lie off a flat print by this much before the picture is not believed, mm.
const MOST_RESIDUAL: f64 = 0.25;
/// A scanner is steady whose carriage leaves marks within this of their places, mm (sd).
const STEADY: f64 = 0.018;
/// Two pictures show the same waves that differ by less than this share of them.
const ONE_CARRIAGE: f64 = 0.55;
/// Noise of a single mark's place, mm.
const MARK_SD: f64 = 0.006;
/// About so many parts of a sheet move by themselves where a carriage runs unevenly.
const UNEVEN_PARTS: f64 = 6.0;

/// A scan of one side, with the picture that it came from.
pub(super) struct Scan<'a> {
    pub(super) index: usize,
    pub(super) luma: &'a Luma,
    pub(super) physical: Physical,
    pub(super) codes: usize,
}

/// Reads a sheet from a scan of its front and one of its back.
pub(super) fn read(front: &Scan<'_>, back: &Scan<'_>) -> Result<Reading, Refusal> {
    let (f, b) = (&front.physical, &back.physical);
    if (f.view.run, f.view.code.sheet) != (b.view.run, b.view.code.sheet) {
        return Err(Refusal::DifferentSheets);
    }
    for view in [&f.view, &b.view] {
        if !is_flat(view) {
            return Err(Refusal::Distorted {
                residual_um: view.residual / view.scale() * 1000.0,
            });
        }
    }
    if let Some(factor) = scaled(&[f, b].map(|p| (p.view.target.paper(), p.edges.as_slice()))) {
        return Err(Refusal::Scaled { factor });
    }
    let link = link(f, b)?;
    if link.by.holes < 2 {
        check_flip_by_show_through(front, back, &link)?;
    }
    let points = register_errors(&f.view, &b.view, &link);
    let paper = f.view.target.paper();
    let fitted = fit_field(&points, paper).ok_or(Refusal::NotATestSheet)?;
    fitted.believable(paper)?;
    let points = fitted.keep(points);

    let mut shared = link.covariance;
    for view in [&f.view, &b.view] {
        let [x, y] = view.uneven_mm();
        add_unevenness(&mut shared, x.hypot(y) / 2.0_f64.sqrt(), view.marks.len());
    }
    add_carriage(&mut shared, &f.view, &b.view, &link);
    let places: Vec<Point<Front>> = points.iter().map(|p| p.0).collect();
    let (link_covariance, extra) = split_covariance(&shared, &places, paper);
    let variance = fitted.sd.powi(2).max(0.003_f64.powi(2)) + extra;
    let mut covariance = fitted.covariance;
    for (row, more) in covariance.iter_mut().zip(&shared) {
        for (v, m) in row.iter_mut().zip(more) {
            *v += m;
        }
    }
    Ok(Reading {
        setup: f.view.code.setup.clone(),
        run: f.view.run,
        sheet: f.view.code.sheet,
        paper,
        points: points
            .into_iter()
            .map(|(at, error)| Observation {
                at,
                error,
                variance,
            })
            .collect(),
        link: link_covariance,
        field: fitted.map,
        covariance,
        way: Way::TwoScans {
            holes: link.by.holes,
            edges: link.by.edges,
        },
        residual_um: fitted.sd * 1000.0,
        px_per_mm: f.view.scale().min(b.view.scale()),
        warnings: warnings(front, back, &link),
        placements: [placement(f), placement(b)],
        evidence: [front, back].into_iter().flat_map(evidence).collect(),
    })
}

/// Whether a side's marks lie as in a scan, if an uneven one.
pub(super) fn is_flat(view: &SideView) -> bool {
    view.residual / view.scale() <= MOST_RESIDUAL
}

/// The register error at each mark of the back.
fn register_errors(
    front: &SideView,
    back: &SideView,
    link: &Link,
) -> Vec<(Point<Front>, Vector<Front>)> {
    let target = &front.target;
    back.marks
        .iter()
        .map(|seen| {
            let at = target.seen_from_front(Side::Back, seen.nominal);
            let in_plane = link.back.of_pixels.apply(seen.mark.at);
            let behind = link.map.apply(target.seen_from_front(Side::Back, in_plane));
            let printed = link.front.of_page.apply(Point::new(at.x, at.y));
            (at, behind - Point::new(printed.x, printed.y))
        })
        .collect()
}

/// What an uneven carriage or paper adds to the link: each side's residuals, as if a few parts of
/// the sheet moved by themselves, and the marks' own noise.
pub(super) fn add_unevenness(shared: &mut [[f64; 6]; 6], residual: f64, marks: usize) {
    // Noise of single marks averages out; what is above it is shared by neighbours.
    let noise = MARK_SD * MARK_SD;
    let uneven = (residual * residual - noise).max(0.0) / UNEVEN_PARTS;
    let v = uneven + noise / marks as f64;
    // Parts lie some 70 mm from the middle, one axis (rms on A4).
    let lever = 0.7 * 0.7;
    for (i, row) in shared.iter_mut().enumerate() {
        row[i] += if i < 2 { v } else { v / lever };
    }
}

/// Whether the same part of the sheet lay at the same place along the carriage's way both times:
/// the sheet was turned over like the page of a book, or, lying on its side, top over.
fn lay_alike(front: &SideView, link: &Link) -> bool {
    let lying = is_lying(link.front.turned);
    match (lying, front.target.flip()) {
        (false, Flip::Sideways) | (true, Flip::Endways) => link.quarters == 0,
        (false, Flip::Endways) | (true, Flip::Sideways) => link.quarters == 2,
    }
}

fn is_lying(turned: f64) -> bool {
    turned.sin().abs() > 0.7
}

/// What an uneven carriage adds to the link: holes and edges lie at other places along its way than
/// the marks on average, and the longest waves pass for stretch and tilt in the marks. Along its
/// way it cancels where the same part of the sheet passed at the same place both times: of a steady
/// scanner that is believed, of an uneven one as far as both pictures show the same waves.
fn add_carriage(shared: &mut [[f64; 6]; 6], front: &SideView, back: &SideView, link: &Link) {
    let alike = lay_alike(front, link);
    let sides = [(front, link.front.turned), (back, link.back.turned)];
    let uneven = sides.map(|(view, _)| view.uneven_mm());
    let steady = uneven.as_flattened().iter().all(|&mm| mm < STEADY);
    // What bends once over the whole bed is not told from the printer's own bend: along the
    // carriage's way it is worst. (Shares found on simulated sheets.)
    let along = match (alike, steady) {
        (true, true) => 0.3,
        (true, false) if have_one_carriage(front, back, uneven, is_lying(link.front.turned)) => 2.5,
        (false, true) => 10.0,
        _ => 14.0,
    };
    for ((_, turned), [x, y]) in sides.into_iter().zip(uneven) {
        let (x, y) = (x * x, y * y);
        let across = if steady { 0.3 * x } else { 2.5 * x + 0.5 * y };
        let mut more = [across, along * y];
        if is_lying(turned) {
            more.reverse();
        }
        shared[0][0] += more[0];
        shared[1][1] += more[1];
        if !steady {
            // Few holes, each carried off by itself, tilt more than edges do.
            let tilted = if link.by.holes > 1 { 1.0 } else { 0.7 } * (x + y);
            shared[3][3] += tilted;
            shared[4][4] += tilted;
        }
    }
}

/// Whether two pictures of a sheet that lay alike in both show the same waves along the carriage's
/// way, as those of one scanner do.
fn have_one_carriage(
    front: &SideView,
    back: &SideView,
    uneven: [[f64; 2]; 2],
    lying: bool,
) -> bool {
    const PARTS: usize = 10;
    let paper = front.target.paper();
    let noise = MARK_SD * MARK_SD;
    // For each part of the sheet along the way, the mean wave and how many marks show it.
    let means = |view: &SideView| {
        let mut parts = [([0.0; 2], 0.0); PARTS];
        for (s, wave) in view.marks.iter().zip(view.waves()) {
            let p = front.target.seen_from_front(view.side(), s.nominal);
            let along = if lying { p.x / paper.w } else { p.y / paper.h };
            let (sum, count) = &mut parts[((along * PARTS as f64) as usize).min(PARTS - 1)];
            *sum = [sum[0] + wave[0], sum[1] + wave[1]];
            *count += 1.0;
        }
        parts
    };
    let mut apart: Vec<f64> = Vec::new();
    for ((f, fs), (b, bs)) in means(front).into_iter().zip(means(back)) {
        if fs > 0.0 && bs > 0.0 {
            let off = (0..2).map(|axis| (f[axis] / fs - b[axis] / bs).powi(2));
            apart.push(off.sum::<f64>() - 2.0 * noise * (1.0 / fs + 1.0 / bs));
        }
    }
    let square: f64 = uneven.as_flattened().iter().map(|mm| mm * mm).sum();
    let all = square / 2.0 - 2.0 * noise;
    let mean = apart.iter().sum::<f64>() / apart.len() as f64;
    apart.len() > PARTS / 2 && mean < ONE_CARRIAGE * ONE_CARRIAGE * all
}

/// How much larger than true the print is, where the sheet's own edges show that a program scaled
/// it: both axes alike, by more than paper is ever cut wrong.
pub(super) fn scaled(sides: &[(Size, &[Edge])]) -> Option<f64> {
    let mut factors = Vec::new();
    for (paper, edges) in sides {
        // In the print's own mm a sheet seems too large when the print was made smaller.
        let span = |a: Which, b: Which| {
            let find = |which| edges.iter().find(|e| e.which == which);
            let (a, b) = (find(a)?, find(b)?);
            let d = b.at - a.at;
            let n = b.which.outward();
            Some(d.x * n.x + d.y * n.y)
        };
        let (across, along) = (
            span(Which::Left, Which::Right),
            span(Which::Head, Which::Foot),
        );
        if let (Some(w), Some(h)) = (across, along) {
            factors.push((paper.w / w, paper.h / h));
        }
    }
    if factors.is_empty() {
        return None;
    }
    let alike = factors.iter().all(|(w, h)| {
        (w - 1.0).abs() > SCALED && (h - 1.0).abs() > SCALED && (w - h).abs() < 0.012
    });
    let mean = factors.iter().map(|(w, h)| (w + h) / 2.0).sum::<f64>() / factors.len() as f64;
    alike.then_some(mean)
}

/// With edges alone, a back that stands on its head looks like any other; but what shines through
/// tells. Nothing is concluded where nothing shines through.
fn check_flip_by_show_through(
    front: &Scan<'_>,
    back: &Scan<'_>,
    link: &Link,
) -> Result<(), Refusal> {
    let (f, b) = (&front.physical.view, &back.physical.view);
    let target = &f.target;
    let middle = sheet_middle(&front.physical, link);
    // Where the back's marks lie in the front's picture, if the sheet was flipped rightly or not.
    let in_front_plane = |p: Point<Page>| {
        let plane = link.back.of_page.apply(p);
        link.map.apply(target.seen_from_front(Side::Back, plane))
    };
    let half_turned =
        |p: Point<Front>| Point::<Front>::new(2.0 * middle.x - p.x, 2.0 * middle.y - p.y);
    let Ok(front_pixels) = link.front.of_pixels.inverse() else {
        return Ok(());
    };
    let on_page = |p: Point<Front>| -> Option<Point<Page>> {
        let px = front_pixels.apply(Point::new(p.x, p.y));
        f.map.inverse().ok().map(|m| m.apply(px))
    };
    let rings: Vec<Point<Front>> = b.marks.iter().map(|s| in_front_plane(s.nominal)).collect();
    let right: Vec<Point<Page>> = rings.iter().filter_map(|&p| on_page(p)).collect();
    let wrong: Vec<Point<Page>> = rings
        .iter()
        .filter_map(|&p| on_page(half_turned(p)))
        .collect();
    let (right, wrong) = (ghost(front.luma, f, &right), ghost(front.luma, f, &wrong));
    match (right, wrong) {
        (_, Some(w)) if w.is_clear() && !right.is_some_and(|r| r.is_clear()) => {
            Err(Refusal::WrongFlip)
        }
        _ => Ok(()),
    }
}

/// The middle of the sheet in the front's plane.
fn sheet_middle(front: &Physical, link: &Link) -> Point<Front> {
    let middle = placement(front).map_or(Vector::new(0.0, 0.0), |p| p.shift);
    let centre: Point<Page> = front.view.target.paper().centre();
    let p = link.front.of_page.apply(centre - middle);
    Point::new(p.x, p.y)
}

/// How dark the paper is where the other side's marks should shine through, in steps of 255.
#[derive(Clone, Copy, Debug)]
struct Ghost {
    mean: f64,
    sd: f64,
}

impl Ghost {
    fn is_clear(self) -> bool {
        self.mean > 0.3 && self.mean > 6.0 * self.sd
    }
}

fn ghost(luma: &Luma, view: &SideView, places: &[Point<Page>]) -> Option<Ghost> {
    let own: Vec<Point<Page>> = view.marks.iter().map(|s| s.nominal).collect();
    let size = view.target.size;
    let mut dark = Vec::new();
    for &p in places {
        if own
            .iter()
            .any(|&m| (m - p).length() < 3.0 * MARK_RADIUS * size)
        {
            continue;
        }
        let (mut inner, mut outer) = ((0.0, 0.0), (0.0, 0.0));
        let step = 0.25 * size;
        let reach = 18_i32;
        for j in -reach..=reach {
            for i in -reach..=reach {
                let d: Vector<Page> = Vector::new(f64::from(i) * step, f64::from(j) * step);
                let r = d.length() / size;
                let sum = match r {
                    r if r < 2.3 => &mut inner,
                    r if (3.4..4.4).contains(&r) => &mut outer,
                    _ => continue,
                };
                if let Some(v) = luma.at(view.map.apply(p + d)) {
                    sum.0 += v;
                    sum.1 += 1.0;
                }
            }
        }
        if inner.1 > 100.0 && outer.1 > 100.0 {
            dark.push(outer.0 / outer.1 - inner.0 / inner.1);
        }
    }
    if dark.len() < 3 {
        return None;
    }
    // Print under a place makes it an outlier: take the middle and the spread about it.
    let middle = super::solve::median(&mut dark);
    let mut off: Vec<f64> = dark.iter().map(|d| (d - middle).abs()).collect();
    let sd = super::solve::median(&mut off) / 0.6745 / (dark.len() as f64).sqrt();
    Some(Ghost {
        mean: middle,
        sd: sd.max(0.02),
    })
}

fn warnings(front: &Scan<'_>, back: &Scan<'_>, link: &Link) -> Vec<Warning> {
    let mut warnings = Vec::new();
    let (f, b) = (&front.physical.view, &back.physical.view);
    for view in [f, b] {
        if view.share() < 0.9 {
            let (found, expected) = (view.marks.len(), view.expected);
            warnings.push(Warning::MarksMissing { found, expected });
        }
    }
    match link.quarters {
        1 | 3 => warnings.push(Warning::QuarterTurn),
        _ if !lay_alike(f, link) => warnings.push(Warning::EndForEnd),
        _ => {}
    }
    let ratio = f.scale() / b.scale();
    if (ratio - 1.0).abs() > 0.012 {
        warnings.push(Warning::Resolutions);
    } else {
        let worst = link
            .axes
            .iter()
            .zip(&link.axes_sd)
            .map(|(a, sd)| (a.abs(), *sd));
        for (axis, sd) in worst {
            if axis > 0.0008 && axis > 3.0 * sd {
                warnings.push(Warning::Axes {
                    percent: axis * 100.0,
                });
                break;
            }
        }
    }
    if link.shadowed {
        warnings.push(Warning::Shadow);
    }
    if link.by.holes < 2 {
        warnings.push(Warning::EdgesOnly);
    }
    if link.stray_holes > 0 {
        warnings.push(Warning::StrayHoles);
    }
    if link.misfit > 3.0 {
        warnings.push(Warning::LinkMisfit);
    }
    let dpi = f.scale().min(b.scale()) * 25.4;
    if dpi < 140.0 {
        warnings.push(Warning::LowResolution { dpi });
    }
    let residual = (f.residual / f.scale()).max(b.residual / b.scale());
    if residual > 0.04 {
        warnings.push(Warning::Uneven {
            residual_um: residual * 1000.0,
        });
    }
    if f.blur.max(b.blur) > 0.6 {
        warnings.push(Warning::Blurred);
    }
    if front.codes.min(back.codes) < 2 {
        warnings.push(Warning::OneCode);
    }
    warnings
}

/// Where a side's print lies on its sheet.
pub(super) fn placement(physical: &Physical) -> Option<Placement> {
    let paper = physical.view.target.paper();
    let find = |which| physical.edges.iter().find(|e: &&Edge| e.which == which);
    // Along one axis: where the sheet's middle lies on the page, and its uncertainty.
    let middle = |low: Which, high: Which, size: f64, pick: fn(Point<Page>) -> f64| match (
        find(low),
        find(high),
    ) {
        (Some(a), Some(b)) => Some(((pick(a.at) + pick(b.at)) / 2.0, a.sd.hypot(b.sd) / 2.0)),
        (Some(a), None) => Some((pick(a.at) + size / 2.0, a.sd)),
        (None, Some(b)) => Some((pick(b.at) - size / 2.0, b.sd)),
        (None, None) => None,
    };
    let (x, x_sd) = middle(Which::Left, Which::Right, paper.w, |p| p.x)?;
    let (y, y_sd) = middle(Which::Head, Which::Foot, paper.h, |p| p.y)?;
    let (mut sum, mut weight) = (0.0, 0.0);
    for e in &physical.edges {
        // How far the edge turns clockwise on the page.
        let turn = match e.which {
            Which::Head => -e.slope,
            Which::Foot => e.slope,
            Which::Left => e.slope,
            Which::Right => -e.slope,
        };
        let w = 1.0 / (e.slope_sd * e.slope_sd);
        sum += w * turn;
        weight += w;
    }
    let centre: Point<Page> = paper.centre();
    Some(Placement {
        side: physical.view.side(),
        shift: Vector::new(centre.x - x, centre.y - y),
        // The print turns on the sheet as the sheet turns on the print, the other way.
        tilt: -sum / weight,
        shift_sd: x_sd.max(y_sd),
        tilt_sd: weight.sqrt().recip(),
    })
}

fn evidence<'a>(scan: &'a Scan<'_>) -> impl Iterator<Item = Evidence> + 'a {
    let view = &scan.physical.view;
    view.marks.iter().map(|s| {
        let off = s.mark.at - view.map.apply(s.nominal);
        Evidence {
            picture: scan.index,
            side: view.side(),
            at: (s.mark.at.x, s.mark.at.y),
            off: (off.x, off.y),
        }
    })
}
