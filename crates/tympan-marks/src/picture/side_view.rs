//! One side of a test sheet in one picture: which it is, and where its marks lie.

use tympan_sheet::{Map, Page, Point, Side};

use super::KnownRun;
use super::camera::Camera;
use super::codes::{Codes, Found};
use super::luma::{Luma, Pixels};
use super::mark::{Mark, measure, px_per_mm};
use super::refusal::Refusal;
use super::solve::{Normal, median, planar_scale, tukey};
use super::strips::FoundStrip;
use super::unclear;
use crate::code::{End, SetupCode, SheetCode};
use crate::geometry::Geometry;
use crate::target::Target;
use crate::witness::{self, RunCode, StripCode};

/// Fewer pixels to the mm than this do not show marks and codes (60 dpi).
pub(super) const COARSEST: f64 = 2.35;
/// At least this share of the marks must be found.
const LEAST_SHARE: f64 = 0.45;
/// And at least this many.
const LEAST_MARKS: usize = 7;
/// They must reach over this share of the marked area, both ways.
const LEAST_SPREAD: f64 = 0.55;
/// Marks off by less than this are never slips, mm.
const SLIP: f64 = 0.15;
/// Marks that lie off an affine map by more than this are seen in perspective, mm.
const PHOTO: f64 = 0.2;

/// A mark that was found: where it should be as seen on its side, and where it is.
#[derive(Clone, Copy, Debug)]
pub(super) struct Seen {
    pub(super) nominal: Point<Page>,
    pub(super) mark: Mark,
}

/// One side as one picture shows it.
#[derive(Clone, Debug)]
pub(super) struct SideView {
    /// Of a production sheet only side, flip, paper and sheet number count.
    pub(super) code: SheetCode,
    /// The run, of a production sheet.
    pub(super) run: Option<RunCode>,
    pub(super) target: Target,
    /// Marks that were found and belong.
    pub(super) marks: Vec<Seen>,
    /// How many marks this side has.
    pub(super) expected: usize,
    /// The affine map that fits the marks best.
    pub(super) map: Map<Page, Pixels>,
    /// Distance of the marks from that map, one axis, px (robust sd).
    pub(super) residual: f64,
    /// Marks lie as in a photo's perspective, not as in a scan.
    pub(super) is_photo: bool,
    /// Typical width of the rims' blur, mm.
    pub(super) blur: f64,
}

impl SideView {
    pub(super) fn side(&self) -> Side {
        self.code.side
    }

    /// Pixels to the mm.
    pub(super) fn scale(&self) -> f64 {
        px_per_mm(&self.map)
    }

    /// What is left of each mark's place along the picture's x and y when a quadratic map has taken
    /// out perspective, bend and stretch, mm: an uneven carriage, paper not flat, the mark's own
    /// noise. Empty where the marks do not determine that map.
    pub(super) fn waves(&self) -> Vec<[f64; 2]> {
        let (seen, scale) = (&self.marks, self.scale());
        let centre: Point<Page> = self.target.paper().centre();
        let row = |s: &Seen| {
            let q = (s.nominal - centre) * 0.01;
            [1.0, q.x, q.y, q.x * q.x, q.y * q.y]
        };
        let fit = |value: fn(&Seen) -> f64| {
            let mut normal = Normal::<5>::default();
            seen.iter().for_each(|s| normal.add(&row(s), value(s), 1.0));
            normal.solve()
        };
        let (Some(x), Some(y)) = (fit(|s| s.mark.at.x), fit(|s| s.mark.at.y)) else {
            return Vec::new();
        };
        let at = |s: &Seen, by: &[f64; 5]| row(s).iter().zip(by).map(|(r, b)| r * b).sum::<f64>();
        seen.iter()
            .map(|s| [s.mark.at.x - at(s, &x), s.mark.at.y - at(s, &y)].map(|px| px / scale))
            .collect()
    }

    /// The sd of its [`waves`](Self::waves) along the picture's x and y, mm.
    pub(super) fn uneven_mm(&self) -> [f64; 2] {
        let waves = self.waves();
        if waves.is_empty() {
            return [self.residual / self.scale(); 2];
        }
        let freedom = (waves.len() as f64 - 5.0).max(1.0);
        [0, 1].map(|axis| (waves.iter().map(|w| w[axis].powi(2)).sum::<f64>() / freedom).sqrt())
    }

    /// Share of the marks that were found.
    pub(super) fn share(&self) -> f64 {
        self.marks.len() as f64 / self.expected as f64
    }
}

/// Places that are known before the marks are looked for: on the page, in the picture, and how
/// far they are to be trusted against marks.
type Known = Vec<(Point<Page>, Point<Pixels>, f64)>;

/// Reads one side of a test sheet from a picture.
pub(super) fn view(luma: &Luma, codes: &Codes) -> Result<SideView, Refusal> {
    let first = single_sheet(luma, codes)?;
    let geometry =
        Geometry::new(first.code.paper, first.code.flip).map_err(|_| Refusal::NotATestSheet)?;
    let start = first.pose(&geometry).ok_or(Refusal::NotATestSheet)?;
    // Mirrored codes are decoded all the same; their finder patterns then run the other way.
    if start.determinant() < 0.0 {
        return Err(Refusal::Mirrored);
    }
    if px_per_mm(&start) < COARSEST {
        return Err(Refusal::TooCoarse {
            px_per_mm: px_per_mm(&start),
        });
    }
    let mut known = Known::new();
    for code in &codes.found {
        let pairs = code.places(&geometry).into_iter().zip(code.corners);
        known.extend(pairs.map(|(p, q)| (p, q, 0.02)));
    }
    let code = first.code.clone();
    finish(luma, code, None, Target::from(&geometry), known, &start)
}

/// Reads one side of a production sheet from a picture, by the strips that were found in it.
pub(super) fn witness_view(
    luma: &Luma,
    strips: &[FoundStrip],
    runs: &[KnownRun],
    setup: Option<&SetupCode>,
) -> Result<SideView, Refusal> {
    let Some(first) = strips.first().map(|s| s.code) else {
        return Err(unclear::why(luma));
    };
    let one_side = |s: &FoundStrip| StripCode { strip: 0, ..s.code };
    let alone = strips.iter().all(|s| one_side(s) == one_side(&strips[0]));
    let twice = |n| strips.iter().filter(|s| s.code.strip == n).count() > 1;
    if !alone || twice(0) || twice(1) {
        return Err(Refusal::SeveralSheets);
    }
    let run = runs
        .iter()
        .find(|r| r.code == first.run)
        .ok_or(Refusal::OtherRun(first.run))?;
    let (geometry, side) = (&run.geometry, first.side);
    let mut known = Known::new();
    for found in strips {
        let strip = &geometry.strips()[found.code.strip];
        let code = f64::from(strip.code[side as usize]);
        let place = |mm: f64| geometry.seen_on(side, strip.at(code + mm / witness::PITCH));
        known.extend(found.marks.iter().map(|&(mm, px)| (place(mm), px, 1.0)));
    }
    let target = Target::from(geometry);
    let centre = geometry.paper().centre();
    let start = if strips.len() == 2 {
        local_map(&known, centre).ok_or(Refusal::NotATestSheet)?
    } else {
        one_strip(luma, &target, side, &mut known).ok_or(Refusal::Cropped {
            found: known.len(),
            expected: target.marks(side).len(),
        })?
    };
    // Bars alone look the same from behind; how the two strips lie to each other tells.
    if start.determinant() < 0.0 {
        return Err(Refusal::Mirrored);
    }
    let coarsest = COARSEST / target.size;
    if px_per_mm(&start) < coarsest {
        return Err(Refusal::TooCoarse {
            px_per_mm: px_per_mm(&start),
        });
    }
    let setup = setup
        .cloned()
        .or_else(|| first.run.to_string().parse().ok());
    let code = SheetCode {
        side,
        end: End::Head,
        flip: geometry.flip(),
        paper: geometry.paper(),
        sheet: first.sheet,
        setup: setup.ok_or(Refusal::NotATestSheet)?,
    };
    finish(luma, code, Some(first.run), target, known, &start)
}

/// Where the code of one strip only was read: the sheet seen squarely, or in a mirror, whichever
/// finds marks of the other strip. Adds what was found there.
fn one_strip(
    luma: &Luma,
    target: &Target,
    side: Side,
    known: &mut Known,
) -> Option<Map<Page, Pixels>> {
    let (&(p0, q0, _), &(p1, q1, _)) = (known.first()?, known.last()?);
    let (d, e) = (p1 - p0, q1 - q0);
    let square = d.length().powi(2);
    // Similar, and similar in a mirror, by complex division.
    let maps = [1.0, -1.0].map(|hand| {
        let (cos, sin) = (
            (d.x * e.x + hand * d.y * e.y) / square,
            (d.x * e.y - hand * d.y * e.x) / square,
        );
        let linear: Map<Page, Pixels> = Map::new(cos, -hand * sin, sin, hand * cos, 0.0, 0.0);
        let at = linear.apply(p0);
        let (dx, dy) = (q0.x - at.x, q0.y - at.y);
        Map::new(linear.xx, linear.xy, linear.yx, linear.yy, dx, dy)
    });
    let strip = |p: Point<Page>| ((p - p0).x * d.y - (p - p0).y * d.x).abs() < square.sqrt() * 20.0;
    let other: Vec<Point<Page>> = (target.marks(side).iter())
        .map(|&m| target.seen_on(side, m))
        .filter(|&p| !strip(p))
        .collect();
    let found = maps.map(|map| -> Known {
        let look =
            |&p: &Point<Page>| Some((p, measure(luma, &map, p, side, target.size, 3.0)?.at, 1.0));
        other.iter().filter_map(look).collect()
    });
    let best = if found[0].len() >= found[1].len() {
        0
    } else {
        1
    };
    if found[best].len() < 4 {
        return None;
    }
    known.extend(&found[best]);
    local_map(known, target.paper().centre())
}

/// Finds the marks outwards from what is known, and judges them.
fn finish(
    luma: &Luma,
    code: SheetCode,
    run: Option<RunCode>,
    target: Target,
    known: Known,
    start: &Map<Page, Pixels>,
) -> Result<SideView, Refusal> {
    let side = code.side;
    let mut seen = grow(luma, &target, side, known);
    let expected = target.marks(side).len();
    // Marks half covered by a hole, a fold or the picture's edge are not where they seem.
    let mut full: Vec<f64> = seen.iter().map(|s| s.mark.fullness).collect();
    let typical = median(&mut full);
    seen.retain(|s| (s.mark.fullness / typical - 1.0).abs() < 0.12);
    check_count(luma, &target, side, &seen, start)?;
    check_shapes(&seen, side)?;

    // Perspective and lens bend a photo, which an affine map alone would take for slips.
    let centre = target.paper().centre();
    let fit = Camera::fit(luma, centre, &seen, px_per_mm(start)).ok_or(Refusal::NotATestSheet)?;
    let keep = |seen: Vec<Seen>, kept: &[bool]| -> Vec<Seen> {
        seen.into_iter()
            .zip(kept)
            .filter(|(_, k)| **k)
            .map(|(s, _)| s)
            .collect()
    };
    let mut seen = keep(seen, &fit.kept);
    let (map, residual, kept) = fit_affine(&seen).ok_or(Refusal::NotATestSheet)?;
    let on_map = kept.iter().filter(|k| **k).count() as f64 / kept.len() as f64;
    let is_photo = residual > PHOTO * px_per_mm(&map) || on_map < 0.85;
    if !is_photo {
        seen = keep(seen, &kept);
    }
    check_count(luma, &target, side, &seen, &map)?;
    check_empty_places(luma, &target, side, &seen)?;
    let mut blurs: Vec<f64> = seen.iter().map(|s| s.mark.blur).collect();
    Ok(SideView {
        code,
        run,
        expected,
        map,
        residual,
        is_photo,
        blur: median(&mut blurs),
        target,
        marks: seen,
    })
}

/// The code to start from; all codes must be of one side of one sheet.
fn single_sheet<'a>(luma: &Luma, codes: &'a Codes) -> Result<&'a Found, Refusal> {
    let Some(first) = codes.found.first() else {
        return Err(if codes.other_version {
            Refusal::OtherVersion
        } else {
            unclear::why(luma)
        });
    };
    let same = |f: &Found| SheetCode {
        end: End::Head,
        ..f.code.clone()
    };
    let one = same(first);
    let ends = |end| codes.found.iter().filter(|f| f.code.end == end).count();
    let alone = codes.found.iter().all(|f| same(f) == one);
    if !alone || End::BOTH.into_iter().any(|end| ends(end) > 1) {
        return Err(Refusal::SeveralSheets);
    }
    Ok(first)
}

/// Finds marks outwards from what is known: each is looked for where its nearest neighbours put it.
fn grow(luma: &Luma, target: &Target, side: Side, mut known: Known) -> Vec<Seen> {
    let mut waiting: Vec<Point<Page>> = target
        .marks(side)
        .iter()
        .map(|&m| target.seen_on(side, m))
        .collect();
    let mut seen: Vec<Seen> = Vec::new();
    // The nearest to what is known first. Marks that are missed are tried again when more of their
    // neighbours are known.
    let mut missed = Vec::new();
    let mut known_when_missed = 0;
    loop {
        let nearest = |p: Point<Page>| {
            let far = known.iter().map(|k| (k.0 - p).length());
            far.fold(f64::INFINITY, f64::min)
        };
        let next = waiting
            .iter()
            .map(|&p| nearest(p))
            .enumerate()
            .min_by(|a, b| a.1.total_cmp(&b.1));
        let Some((k, close)) = next else {
            if missed.is_empty() || seen.len() == known_when_missed {
                break;
            }
            known_when_missed = seen.len();
            waiting = std::mem::take(&mut missed);
            continue;
        };
        let p = waiting.swap_remove(k);
        let Some(map) = local_map(&known, p) else {
            continue;
        };
        // Perspective may lead a local map astray where marks are few: then look further about.
        let narrow = 0.8 + 0.012 * close;
        let wide = (1.0 + 0.06 * close).min(4.5);
        let narrow = if seen.len() < 6 { wide } else { narrow };
        let look = |search| measure(luma, &map, p, side, target.size, search);
        let found = look(narrow).or_else(|| (wide > narrow).then(|| look(wide))?);
        match found {
            Some(mark) => {
                known.push((p, mark.at, 1.0));
                seen.push(Seen { nominal: p, mark });
            }
            None => missed.push(p),
        }
    }
    seen
}

/// The affine map near a place, from known pairs weighted by nearness: it follows perspective and
/// lens, which one map for the whole sheet would not.
fn local_map(
    known: &[(Point<Page>, Point<Pixels>, f64)],
    near: Point<Page>,
) -> Option<Map<Page, Pixels>> {
    let (mut x, mut y) = (Normal::<3>::default(), Normal::<3>::default());
    for (p, q, trust) in known {
        let d = *p - near;
        let distance = d.length();
        let weight = trust / (distance.powi(2) + 30.0 * 30.0).powi(2);
        let row = [1.0, d.x, d.y];
        x.add(&row, q.x, weight);
        y.add(&row, q.y, weight);
    }
    let ([x0, xx, xy], [y0, yx, yy]) = (x.solve()?, y.solve()?);
    let dx = x0 - xx * near.x - xy * near.y;
    let dy = y0 - yx * near.x - yy * near.y;
    Some(Map::new(xx, xy, yx, yy, dx, dy))
}

/// One affine map for all marks, by iterated Tukey weights; the sd of one axis of those that it
/// keeps, px; which it keeps.
pub(super) fn fit_affine(seen: &[Seen]) -> Option<(Map<Page, Pixels>, f64, Vec<bool>)> {
    let mut weights = vec![1.0; seen.len()];
    let mut result = None;
    for round in 0..12 {
        let (mut x, mut y) = (Normal::<3>::default(), Normal::<3>::default());
        for (s, &w) in seen.iter().zip(&weights) {
            let row = [1.0, s.nominal.x, s.nominal.y];
            x.add(&row, s.mark.at.x, w);
            y.add(&row, s.mark.at.y, w);
        }
        let ([dx, xx, xy], [dy, yx, yy]) = (x.solve()?, y.solve()?);
        let map = Map::<Page, Pixels>::new(xx, xy, yx, yy, dx, dy);
        let off: Vec<f64> = seen
            .iter()
            .map(|s| (s.mark.at - map.apply(s.nominal)).length())
            .collect();
        // What a bent feed or an uneven carriage does to the outermost marks is no slip.
        let least = if round == 0 { 0.2 } else { SLIP } * px_per_mm(&map) / 4.685;
        let scale = (1.3 * planar_scale(&off)).max(least);
        let (mut square, mut n) = (0.0, 0.0);
        for (w, &r) in weights.iter_mut().zip(&off) {
            *w = tukey(r, scale);
            if *w > 0.05 {
                square += r * r;
                n += 1.0;
            }
        }
        let residual = (square / (2.0 * f64::max(n - 3.0, 1.0))).sqrt();
        result = Some((map, residual, weights.iter().map(|&w| w > 0.05).collect()));
    }
    result
}

/// Whether enough marks are there, spread over enough of the sheet. If not, says why.
fn check_count(
    luma: &Luma,
    target: &Target,
    side: Side,
    seen: &[Seen],
    map: &Map<Page, Pixels>,
) -> Result<(), Refusal> {
    let all: Vec<Point<Page>> = target
        .marks(side)
        .iter()
        .map(|&m| target.seen_on(side, m))
        .collect();
    let span = |points: &mut dyn Iterator<Item = f64>| {
        let (mut least, mut most) = (f64::INFINITY, f64::NEG_INFINITY);
        for v in points {
            least = least.min(v);
            most = most.max(v);
        }
        most - least
    };
    let spread = |f: fn(Point<Page>) -> f64| {
        let found = span(&mut seen.iter().map(|s| f(s.nominal)));
        found / span(&mut all.iter().map(|&p| f(p)))
    };
    let enough = seen.len() >= LEAST_MARKS
        && seen.len() as f64 >= LEAST_SHARE * all.len() as f64
        && spread(|p| p.x) >= LEAST_SPREAD
        && spread(|p| p.y) >= LEAST_SPREAD;
    if enough {
        return Ok(());
    }

    let inside = all
        .iter()
        .filter(|&&p| luma.holds(map.apply(p), 4.0 * px_per_mm(map)))
        .count();
    if seen.len() as f64 >= 0.7 * inside as f64 || (inside as f64) < 0.6 * all.len() as f64 {
        return Err(Refusal::Cropped {
            found: seen.len(),
            expected: all.len(),
        });
    }
    Err(Refusal::TooBlurred)
}

/// Whether the marks have this side's shape.
fn check_shapes(seen: &[Seen], side: Side) -> Result<(), Refusal> {
    let right = seen.iter().filter(|s| s.mark.shape() == Some(side)).count();
    let wrong = seen
        .iter()
        .filter(|s| s.mark.shape() == Some(side.other()))
        .count();
    if right >= 4 * wrong.max(1) && right * 2 > seen.len() {
        return Ok(());
    }
    if wrong > right {
        Err(Refusal::WrongMarks(side))
    } else {
        Err(Refusal::TooBlurred)
    }
}

/// Whether the places that this side leaves empty are empty: a mirrored or turned pattern fills
/// most of them.
fn check_empty_places(
    luma: &Luma,
    target: &Target,
    side: Side,
    seen: &[Seen],
) -> Result<(), Refusal> {
    let known: Vec<_> = seen.iter().map(|s| (s.nominal, s.mark.at, 1.0)).collect();
    let (mut empty, mut filled) = (0, 0);
    for &place in target.empty_places(side) {
        let p = target.seen_on(side, place);
        let Some(map) = local_map(&known, p) else {
            continue;
        };
        if !luma.holds(map.apply(p), 4.0 * px_per_mm(&map)) {
            continue;
        }
        match measure(luma, &map, p, side, target.size, 0.8) {
            Some(mark) if mark.fullness > 0.6 => filled += 1,
            _ => empty += 1,
        }
    }
    if filled > 0 && filled * 3 > empty {
        Err(Refusal::WrongMarks(side))
    } else {
        Ok(())
    }
}
