//! A reading from one photo against the light.
//!
//! The side that faces the camera gives perspective and lens from its own strong marks. The other
//! side's marks shine through, faint and soft. They are first looked for all together, by one
//! shift and tilt that explains them best, then each by itself to a fraction of a pixel.

mod glow;

use tympan_sheet::{Front, Map, Page, Point, Rect, Side, Vector};

use super::camera::Camera;
use super::luma::Luma;
use super::pair::{Scan, add_unevenness, scaled};
use super::reading::{Evidence, Reading, Warning, Way, fit_field, split_covariance};
use super::refusal::Refusal;
use super::side_view::SideView;
use super::solve::{Normal, median};
use glow::{Best, Glow};

use crate::geometry::{MARK_RADIUS, RING_INNER};
use crate::pin::Observation;
use crate::target::Target;

// Lengths that go with the marks are those of a test sheet's; others' are taken by their size.

/// The best place must stand out from all others by so many of their sd.
const CLEAR: f64 = 8.0;
/// So many are enough for the right place in a picture that is surely one against the light...
const CLEAR_BACKLIT: f64 = 5.5;
/// ... where at least this share of the marks is then found one by one. (Where nothing shines
/// through, less than half of them are found in cloudiness.)
const SHARE_BACKLIT: f64 = 0.65;
/// How softly a mark's rim shines through, mm (sd).
const SOFT: f64 = 0.35;
/// Radius about a mark that is fitted, mm.
const REACH: f64 = 4.3;
/// The near side's print blurs over so much of what is beside it, mm.
const GUARD: f64 = 0.4;
/// At least this share of a mark's surroundings must be bare.
const LEAST_BARE: f64 = 0.6;
/// Paper's cloudiness pulls neighbouring marks alike: their errors average out less than errors of
/// their own would, by this factor of variance (found on simulated photos).
const CLOUDY: f64 = 1.5;
/// The same where all of them together hardly stand out: a few are then cloudiness taken for marks.
const CLOUDY_FAINT: f64 = 2.5;
/// Rounds of fitting every mark from where its neighbours put it.
const ROUNDS: usize = 3;
/// What shines through less than this in what may be a scan is no photo against the light.
const LEAST_UNLIT: f64 = 0.012;
/// At least this share of the marks must be found one by one.
const LEAST_SHARE: f64 = 0.5;
/// A stock whose thickness is not known is taken to be so thick, mm, and so uncertain.
const CALIPER: (f64, f64) = (0.20, 0.10);
/// Share by which a known thickness and the lens' height are uncertain together.
const PARALLAX_SHARE: f64 = 0.2;
/// Marks may lie off their places by more than this only in a picture that is not believed, mm.
const MOST_RESIDUAL: f64 = 0.25;

/// Reads a sheet from one photo. `backlit` tells whether the picture is a photo rather than a
/// scan, which decides how a failure is worded.
pub(super) fn read(
    scan: &Scan<'_>,
    backlit: bool,
    caliper_mm: Option<f64>,
) -> Result<Reading, Refusal> {
    let view = &scan.physical.view;
    let (target, facing) = (&view.target, view.side());
    let through = facing.other();
    let missing = || {
        if backlit {
            Refusal::TooFaint(through)
        } else {
            Refusal::OtherSideMissing(facing)
        }
    };
    let paper = target.paper();
    let fit = Camera::fit(scan.luma, paper.centre(), &view.marks, view.scale())
        .ok_or(Refusal::NotATestSheet)?;
    let camera = fit.camera;
    let residual_mm = fit.residual / view.scale();
    if residual_mm > MOST_RESIDUAL {
        return Err(Refusal::Distorted {
            residual_um: residual_mm * 1000.0,
        });
    }

    let edges = super::edges::find_in_photo(scan.luma, view, |p| camera.ideal(p));
    if let Some(factor) = scaled(&[(paper, &edges)]) {
        return Err(Refusal::Scaled { factor });
    }

    let places = |side: Side| -> Vec<Point<Page>> {
        target
            .marks(side)
            .iter()
            .map(|&m| target.seen_on(facing, m))
            .collect()
    };
    let wanted = places(through);
    let glow = Glow::new(scan.luma, &camera, view);
    let (far_shape, near_shape) = (glow.scores(through), glow.scores(facing));
    let right = glow.search(&wanted, &far_shape, paper.centre());
    let half_turned: Vec<Point<Page>> = wanted
        .iter()
        .map(|p| Point::new(paper.w - p.x, paper.h - p.y))
        .collect();
    let wrong = glow.search(&half_turned, &far_shape, paper.centre());
    // The facing side's own page, printed on the other side too, by either flip.
    let own = places(facing);
    let sideways: Vec<Point<Page>> = own.iter().map(|p| Point::new(paper.w - p.x, p.y)).collect();
    let endways: Vec<Point<Page>> = own.iter().map(|p| Point::new(p.x, paper.h - p.y)).collect();
    let [sideways, endways] =
        [sideways, endways].map(|p| glow.search(&p, &near_shape, paper.centre()));
    let twice = if sideways.clearness > endways.clearness {
        sideways
    } else {
        endways
    };
    let clear = if backlit { CLEAR_BACKLIT } else { CLEAR };
    if right.clearness < clear || !(right.beats(&wrong) && right.beats(&twice)) {
        let is_plain =
            |best: &Best| best.clearness > CLEAR && (backlit || best.strength > LEAST_UNLIT);
        return Err(
            if is_plain(&twice) && twice.beats(&wrong) && twice.beats(&right) {
                Refusal::PrintedTwice(facing)
            } else if is_plain(&wrong) && wrong.beats(&twice) && wrong.beats(&right) {
                Refusal::WrongFlip
            } else {
                missing()
            },
        );
    }

    let near = NearPrint::new(target, facing);
    let found = refine(scan.luma, &camera, &near, &wanted, through, right.map);
    let (least, cloudy) = if right.clearness < CLEAR {
        (SHARE_BACKLIT, CLOUDY_FAINT)
    } else {
        (LEAST_SHARE, CLOUDY)
    };
    if (found.len() as f64) < least * wanted.len() as f64 || found.len() < 8 {
        return Err(missing());
    }
    let mut contrasts: Vec<f64> = found.iter().map(|f| f.contrast).collect();
    let contrast = median(&mut contrasts);
    if !backlit && contrast < LEAST_UNLIT {
        return Err(missing());
    }
    let (caliper, caliper_sd) = match caliper_mm {
        Some(mm) => (mm, mm * PARALLAX_SHARE),
        None => CALIPER,
    };
    let (foot, height) = camera.lens().unwrap_or((paper.centre(), 400.0));
    let points = register_errors(view, &found, |q| q + (q - foot) * (caliper / height));
    let fitted = fit_field(&points, paper).ok_or(Refusal::NotATestSheet)?;
    let inliers = fitted.kept.iter().filter(|k| **k).count();
    if (inliers as f64) < LEAST_SHARE * wanted.len() as f64 {
        return Err(missing());
    }
    fitted.believable(paper)?;
    let points = fitted.keep(points);

    let mut shared = [[0.0; 6]; 6];
    add_unevenness(&mut shared, residual_mm, view.marks.len());
    add_parallax(&mut shared, foot - paper.centre(), caliper_sd / height);
    let places: Vec<Point<Front>> = points.iter().map(|p| p.0).collect();
    let (link, extra) = split_covariance(&shared, &places, paper);
    let variance = cloudy * fitted.sd.powi(2).max(0.003_f64.powi(2)) + extra;
    let mut covariance = fitted.covariance.map(|row| row.map(|v| cloudy * v));
    for (row, more) in covariance.iter_mut().zip(&shared) {
        for (v, m) in row.iter_mut().zip(more) {
            *v += m;
        }
    }
    let expected = wanted.len();
    Ok(Reading {
        setup: view.code.setup.clone(),
        run: view.run,
        sheet: view.code.sheet,
        paper,
        warnings: warnings(
            scan,
            points.len(),
            expected,
            residual_mm,
            contrast,
            caliper_mm,
        ),
        points: points
            .into_iter()
            .map(|(at, error)| Observation {
                at,
                error,
                variance,
            })
            .collect(),
        link,
        field: fitted.map,
        covariance,
        way: Way::Photo { facing },
        residual_um: fitted.sd * 1000.0,
        px_per_mm: view.scale(),
        placements: [None, None],
        evidence: evidence(scan, &camera, &found, through),
    })
}

/// A mark of the far side, on the near side's page.
struct Found {
    /// Where it belongs, as seen on the near side.
    nominal: Point<Page>,
    /// Where it is seen, in the near side's print.
    at: Point<Page>,
    /// How much light it takes, a share.
    contrast: f64,
}

/// The register error at each mark: always the back's against the front's.
fn register_errors(
    view: &SideView,
    found: &[Found],
    without_parallax: impl Fn(Point<Page>) -> Point<Page>,
) -> Vec<(Point<Front>, Vector<Front>)> {
    let (target, facing) = (&view.target, view.side());
    found
        .iter()
        .map(|f| {
            let at = target.seen_from_front(facing, without_parallax(f.at));
            let nominal = target.seen_from_front(facing, f.nominal);
            match facing {
                // A ring of the back, in the front's print.
                Side::Front => (nominal, at - nominal),
                // A disc of the front, in the back's print: the back is off the other way.
                Side::Back => (at, nominal - at),
            }
        })
        .collect()
}

/// What an uncertain thickness adds: a stretch about the foot of the camera's perpendicular.
fn add_parallax(shared: &mut [[f64; 6]; 6], foot: Vector<Page>, share: f64) {
    // r += share · (p − foot): per mm of share, shift −foot and 100 mm of stretch per 100 mm.
    let d = [-foot.x, -foot.y, 100.0, 0.0, 0.0, 100.0].map(|v| v * share);
    for (row, a) in shared.iter_mut().zip(d) {
        for (v, b) in row.iter_mut().zip(d) {
            *v += a * b;
        }
    }
}

fn warnings(
    scan: &Scan<'_>,
    found: usize,
    expected: usize,
    residual_mm: f64,
    contrast: f64,
    caliper_mm: Option<f64>,
) -> Vec<Warning> {
    let view = &scan.physical.view;
    let mut warnings = Vec::new();
    let least = view.share().min(found as f64 / expected as f64);
    if least < 0.8 {
        warnings.push(Warning::MarksMissing { found, expected });
    }
    if residual_mm > 0.04 {
        warnings.push(Warning::Uneven {
            residual_um: residual_mm * 1000.0,
        });
    }
    if contrast < 0.03 {
        // Pictures are coded to about the 2.4th root of light (IEC 61966-2-1).
        let light = 1.0 - (1.0 - contrast).powf(2.4);
        warnings.push(Warning::Faint {
            percent: light * 100.0,
        });
    }
    let dpi = view.scale() * 25.4;
    if dpi < 140.0 {
        warnings.push(Warning::LowResolution { dpi });
    }
    if caliper_mm.is_none() {
        warnings.push(Warning::Parallax);
    }
    if scan.codes < 2 {
        warnings.push(Warning::OneCode);
    }
    warnings
}

fn evidence(scan: &Scan<'_>, camera: &Camera, found: &[Found], through: Side) -> Vec<Evidence> {
    let view = &scan.physical.view;
    let near = view.marks.iter().map(|s| {
        let off = s.mark.at - camera.ideal(s.nominal);
        let at = (s.mark.at.x, s.mark.at.y);
        Evidence {
            picture: scan.index,
            side: view.side(),
            at,
            off: (off.x, off.y),
        }
    });
    let far = found.iter().map(|f| {
        let at = camera.ideal(f.at);
        Evidence {
            picture: scan.index,
            side: through,
            at: (at.x, at.y),
            off: (0.0, 0.0),
        }
    });
    near.chain(far).collect()
}

/// What the near side prints, which hides the far side's marks.
struct NearPrint {
    size: f64,
    rects: Vec<Rect<Page>>,
    marks: Vec<Point<Page>>,
}

impl NearPrint {
    fn new(target: &Target, facing: Side) -> Self {
        let mark = |&m: &Point<Front>| target.seen_on(facing, m);
        Self {
            size: target.size,
            rects: target.print[facing as usize].clone(),
            marks: target.marks(facing).iter().map(mark).collect(),
        }
    }

    /// What of it is so near to a place that it could be taken for a mark there.
    fn about(&self, p: Point<Page>) -> Self {
        let reach = REACH * self.size + GUARD;
        let near = |r: &&Rect<Page>| r.grown(reach).contains(p);
        let apart = |m: &&Point<Page>| (**m - p).length() < reach + MARK_RADIUS * self.size;
        Self {
            size: self.size,
            rects: self.rects.iter().filter(near).copied().collect(),
            marks: self.marks.iter().filter(apart).copied().collect(),
        }
    }

    /// Whether a place shows bare paper of the near side.
    fn leaves_bare(&self, p: Point<Page>) -> bool {
        let radius = MARK_RADIUS * self.size + GUARD;
        self.rects.iter().all(|r| !r.grown(GUARD).contains(p))
            && self.marks.iter().all(|&m| (m - p).length() > radius)
    }
}

/// Each mark by itself, from where the search put all of them; then again from where its fitted
/// neighbours put it.
fn refine(
    luma: &Luma,
    camera: &Camera,
    near: &NearPrint,
    places: &[Point<Page>],
    shape: Side,
    start: Map<Page, Page>,
) -> Vec<Found> {
    let template = Template::new(shape, near.size);
    let mut map = start;
    let mut found = Vec::new();
    for round in 0..ROUNDS {
        found = places
            .iter()
            .filter_map(|&p| {
                let (at, contrast) = fit_mark(luma, camera, near, map.apply(p), &template)?;
                Some(Found {
                    nominal: p,
                    at,
                    contrast,
                })
            })
            .collect();
        let mut contrasts: Vec<f64> = found.iter().map(|f| f.contrast).collect();
        let typical = median(&mut contrasts);
        found.retain(|f| (0.35 * typical..2.2 * typical).contains(&f.contrast));
        let Some((next, spread)) = affine_of(&found, &map) else {
            return Vec::new();
        };
        map = next;
        if round + 1 == ROUNDS {
            let limit = (4.0 * spread).max(0.1);
            found.retain(|f| (f.at - map.apply(f.nominal)).length() < limit);
        }
    }
    found
}

/// The affine map through what was found, robustly about an earlier one; and the typical
/// distance from it, mm.
fn affine_of(found: &[Found], earlier: &Map<Page, Page>) -> Option<(Map<Page, Page>, f64)> {
    let mut map = *earlier;
    let mut spread = 0.0;
    for _ in 0..6 {
        let off: Vec<f64> = found
            .iter()
            .map(|f| (f.at - map.apply(f.nominal)).length())
            .collect();
        spread = super::solve::planar_scale(&off);
        let scale = spread.max(0.01);
        let (mut x, mut y) = (Normal::<3>::default(), Normal::<3>::default());
        for (f, r) in found.iter().zip(off) {
            let w = super::solve::tukey(r, 1.5 * scale);
            let row = [1.0, f.nominal.x, f.nominal.y];
            x.add(&row, f.at.x, w);
            y.add(&row, f.at.y, w);
        }
        let ([dx, xx, xy], [dy, yx, yy]) = (x.solve()?, y.solve()?);
        map = Map::new(xx, xy, yx, yy, dx, dy);
    }
    spread.is_finite().then_some((map, spread))
}

/// A soft mark's darkness by distance from its middle, and the darkness's change per mm: 1 where
/// it is solid, soft at the rims. Looked up in steps of 1/100 mm.
struct Template(Vec<(f64, f64)>);

impl Template {
    const STEPS: f64 = 100.0;

    fn new(shape: Side, size: f64) -> Self {
        let (mark_radius, ring_inner) = (MARK_RADIUS * size, RING_INNER * size);
        // A logistic edge of about the same width as a Gaussian of this sd.
        let edge = |d: f64| {
            let t = 1.0 / (1.0 + (-1.7 * d / SOFT).exp());
            (t, t * (1.0 - t) * 1.7 / SOFT)
        };
        let at = |r: f64| {
            let (outer, outer_slope) = edge(mark_radius - r);
            match shape {
                Side::Front => (outer, -outer_slope),
                Side::Back => {
                    let (inner, inner_slope) = edge(ring_inner - r);
                    (outer - inner, -outer_slope + inner_slope)
                }
            }
        };
        let count = (REACH * size * Self::STEPS) as usize + 2;
        Self(
            (0..count)
                .map(|k| at((k as f64 + 0.5) / Self::STEPS))
                .collect(),
        )
    }

    fn at(&self, r: f64) -> (f64, f64) {
        self.0
            .get((r * Self::STEPS) as usize)
            .copied()
            .unwrap_or_default()
    }
}

/// One soft mark near a place of the near page: its place there and the share of light it takes.
/// Least squares of a plane of light and the mark's template, moved until it fits.
fn fit_mark(
    luma: &Luma,
    camera: &Camera,
    near: &NearPrint,
    start: Point<Page>,
    template: &Template,
) -> Option<(Point<Page>, f64)> {
    let (near, size) = (near.about(start), near.size);
    let reach = REACH * size;
    let mut at = start;
    let mut contrast = 0.0;
    for _ in 0..5 {
        let px = camera.ideal(at);
        let [xx, xy, yx, yy] = camera.slope(at);
        let det = xx * yy - xy * yx;
        let half = [(xx.abs() + xy.abs()) * reach, (yx.abs() + yy.abs()) * reach];
        let fits = px.x >= half[0]
            && px.y >= half[1]
            && px.x + half[0] <= luma.width() as f64
            && px.y + half[1] <= luma.height() as f64;
        if !fits || det.abs() < 1e-6 {
            return None;
        }
        let [left, top, right, bottom] = luma.window(px, half)?;
        // Every pixel of a coarse photo, every second or third of a fine one: paper's cloudiness
        // is coarser than either.
        let stride = (det.abs().sqrt() * size / 4.0).floor().max(1.0) as usize;
        let mut normal = Normal::<6>::default();
        let (mut bare, mut all) = (0_usize, 0_usize);
        for y in (top..bottom).step_by(stride) {
            let dy = y as f64 + 0.5 - px.y;
            for x in (left..right).step_by(stride) {
                let dx = x as f64 + 0.5 - px.x;
                let (mx, my) = ((yy * dx - xy * dy) / det, (xx * dy - yx * dx) / det);
                let r = mx.hypot(my);
                if r > reach {
                    continue;
                }
                all += 1;
                if !near.leaves_bare(at + Vector::new(mx, my)) {
                    continue;
                }
                bare += 1;
                let (t, slope) = template.at(r);
                let (ux, uy) = if r > 1e-9 {
                    (mx / r, my / r)
                } else {
                    (0.0, 0.0)
                };
                let v = f64::from(luma.row(y)[x]);
                normal.add(&[1.0, mx, my, t, -slope * ux, -slope * uy], v, 1.0);
            }
        }
        if (bare as f64) < LEAST_BARE * all as f64 {
            return None;
        }
        let x = normal.solve()?;
        contrast = -x[3] / x[0];
        if !(x[3] < 0.0 && contrast > 0.002) {
            return None;
        }
        let step: Vector<Page> = Vector::new(x[4] / x[3], x[5] / x[3]);
        let length = step.length();
        // Beyond the template's slopes the linear step says only where to.
        let most = 0.4 * size;
        let step = if length > most {
            step * (most / length)
        } else {
            step
        };
        at = at + step;
        if (at - start).length() > 1.6 * size {
            return None;
        }
        if length < 0.004 {
            break;
        }
    }
    Some((at, contrast))
}
