//! Bleed, borders, and the share of cards that come out right.

use tympan_sheet::{Front, Rect};

use crate::next::{NextSheet, RAYS, Ray};
use crate::numeric::{chi_cdf_even, rising_root};

/// How the sheet is cut, and what still looks right.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cutting {
    /// Standard deviation of where a cut falls against the front's trim line, mm. Cuts along one
    /// line through the sheet are one cut. A tolerance of ±t that is kept 19 times in 20 is a
    /// standard deviation of about t/2.
    pub sd_mm: f64,
    /// How thin the thinnest side of a border may be against its thickest one and still look
    /// even.
    pub thin_over_thick: f64,
}

impl Cutting {
    /// Cuts of this standard deviation, mm, and two thirds for the border.
    pub fn new(sd_mm: f64) -> Self {
        Self {
            sd_mm,
            ..Self::default()
        }
    }
}

impl Default for Cutting {
    /// Perfect cuts, and two thirds for the border.
    fn default() -> Self {
        Self {
            sd_mm: 0.0,
            thin_over_thick: 2.0 / 3.0,
        }
    }
}

/// What has to hold at the edge of a card for it to look right.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Look {
    /// No white at the edge, with this bleed, mm.
    Bled(f64),
    /// A border of this width, mm, that is even.
    Bordered(f64),
}

impl NextSheet {
    /// The share of cards that go wrong at each of these places, by the rules of [`Cards`]. Much
    /// quicker for many places than [`NextSheet::cards`] for each, and good to about a hundredth.
    pub fn share_wrong(&self, places: &[(Rect<Front>, Look)], cutting: Cutting) -> Vec<f64> {
        let trims: Vec<Rect<Front>> = places.iter().map(|(trim, _)| *trim).collect();
        let plan = Plan::new(&trims, cutting);
        let thin_over_thick = cutting.thin_over_thick.clamp(0.0, 0.999);
        let others = if plan.cut_sd > 0.0 { 4 } else { 0 };
        let dimensions = self.dimensions(others);
        let rays = self.rays(
            others,
            if places.len() > 150 {
                RAYS / 16
            } else {
                RAYS / 4
            },
        );
        let mut right = vec![0.0; places.len()];
        let mut lines = Vec::new();
        for ray in &rays {
            for ((cell, (_, look)), right) in plan.cells.iter().zip(places).zip(&mut right) {
                let sides = Edges::of(self, cell, ray, [0, 1, 2, 3], plan.cut_sd);
                lines.clear();
                let limit = match look {
                    Look::Bled(bleed) => {
                        sides.white(&mut lines);
                        *bleed
                    }
                    Look::Bordered(width) => {
                        sides.uneven(thin_over_thick, &mut lines);
                        width * (1.0 - thin_over_thick)
                    }
                };
                *right += share_along(dimensions, &lines, limit);
            }
        }
        right.iter().map(|r| 1.0 - r / rays.len() as f64).collect()
    }
}

/// What becomes of the cards of the next sheet. A card is right when nothing shows white at a
/// bled edge of either side; or, of a border, when the thinnest side is not too thin against the
/// thickest. Fronts go wrong by the cut alone, backs by the register error and the cut. Of a card,
/// each figure is the average over the cells of a sheet; of a sheet, all its cards must be right.
#[derive(Clone, Debug)]
pub struct Cards {
    white: Tolerance,
    white_sheet: Tolerance,
    uneven: Tolerance,
    uneven_sheet: Tolerance,
    /// What of a border's width its sides may differ by: the thin side is at least that share of
    /// the thick one.
    thin_over_thick: f64,
}

impl Cards {
    pub(crate) fn new(next: &NextSheet, cells: &[Rect<Front>], cutting: Cutting) -> Self {
        let plan = Plan::new(cells, cutting);
        let thin_over_thick = cutting.thin_over_thick.clamp(0.0, 0.999);
        let (each, all) = if plan.cut_sd > 0.0 {
            (4, plan.cuts)
        } else {
            (0, 0)
        };
        let (of_card, of_sheet) = (next.dimensions(each), next.dimensions(all));
        let mut cards = Self {
            white: Tolerance::new(of_card),
            white_sheet: Tolerance::new(of_sheet),
            uneven: Tolerance::new(of_card),
            uneven_sheet: Tolerance::new(of_sheet),
            thin_over_thick,
        };
        let mut lines = Vec::new();
        // Many cells on one ray are many answers: fewer rays will do.
        let rays = match cells.len() {
            0..=2 => RAYS,
            3..=16 => RAYS / 2,
            _ => RAYS / 4,
        };
        for ray in next.rays(each, rays) {
            for cell in &plan.cells {
                let sides = Edges::of(next, cell, &ray, [0, 1, 2, 3], plan.cut_sd);
                sides.white(&mut lines);
                cards.white.push(&mut lines);
                sides.uneven(thin_over_thick, &mut lines);
                cards.uneven.push(&mut lines);
            }
        }
        for ray in next.rays(all, RAYS) {
            let (mut white, mut uneven) = (Vec::new(), Vec::new());
            for cell in &plan.cells {
                let sides = Edges::of(next, cell, &ray, cell.cuts, plan.cut_sd);
                sides.white(&mut white);
                sides.uneven(thin_over_thick, &mut uneven);
            }
            cards.white_sheet.push(&mut white);
            cards.uneven_sheet.push(&mut uneven);
        }
        cards
    }

    /// The bleed, mm, that keeps this share of cards free of white (0.95 is 19 of 20).
    pub fn bleed_for(&self, share: f64) -> f64 {
        self.white.needed(share)
    }

    /// The bleed, mm, that keeps all cards of a sheet free of white on this share of sheets.
    pub fn bleed_for_sheets(&self, share: f64) -> f64 {
        self.white_sheet.needed(share)
    }

    /// The border, mm wide, that looks even on this share of cards.
    pub fn border_for(&self, share: f64) -> f64 {
        self.uneven.needed(share) / (1.0 - self.thin_over_thick)
    }

    /// The border, mm wide, that looks even on all cards of a sheet on this share of sheets.
    pub fn border_for_sheets(&self, share: f64) -> f64 {
        self.uneven_sheet.needed(share) / (1.0 - self.thin_over_thick)
    }

    /// The share of cards that show white with this bleed, mm.
    pub fn share_white(&self, bleed: f64) -> f64 {
        1.0 - self.white.share(bleed)
    }

    /// The share of sheets with at least one card that shows white with this bleed, mm.
    pub fn share_white_sheets(&self, bleed: f64) -> f64 {
        1.0 - self.white_sheet.share(bleed)
    }

    /// The share of cards whose border of this width, mm, looks lopsided.
    pub fn share_lopsided(&self, border: f64) -> f64 {
        1.0 - self.uneven.share(border * (1.0 - self.thin_over_thick))
    }

    /// The share of sheets with at least one card whose border of this width, mm, looks lopsided.
    pub fn share_lopsided_sheets(&self, border: f64) -> f64 {
        1.0 - self
            .uneven_sheet
            .share(border * (1.0 - self.thin_over_thick))
    }
}

/// A cell and the cuts at its left, right, top and bottom.
struct Cell {
    trim: Rect<Front>,
    cuts: [usize; 4],
}

struct Plan {
    cells: Vec<Cell>,
    /// How many different lines the sheet is cut along.
    cuts: usize,
    cut_sd: f64,
}

impl Plan {
    fn new(cells: &[Rect<Front>], cutting: Cutting) -> Self {
        let (mut upright, mut level): (Vec<f64>, Vec<f64>) = (Vec::new(), Vec::new());
        let line = |at: f64, lines: &mut Vec<f64>| {
            lines
                .iter()
                .position(|&l| (l - at).abs() < 0.01)
                .unwrap_or_else(|| {
                    lines.push(at);
                    lines.len() - 1
                })
        };
        let mut made: Vec<Cell> = cells
            .iter()
            .map(|&trim| Cell {
                trim,
                cuts: [
                    line(trim.min.x, &mut upright),
                    line(trim.max.x, &mut upright),
                    line(trim.min.y, &mut level),
                    line(trim.max.y, &mut level),
                ],
            })
            .collect();
        for cell in &mut made {
            cell.cuts[2] += upright.len();
            cell.cuts[3] += upright.len();
        }
        // Sobol points reach so far; more different cuts than this share directions.
        let cuts = (upright.len() + level.len()).min(200);
        for cell in &mut made {
            cell.cuts = cell.cuts.map(|cut| cut % cuts.max(1));
        }
        Self {
            cells: made,
            cuts,
            cut_sd: cutting.sd_mm.max(0.0),
        }
    }
}

/// A number that changes along a ray: `at + slope·t`.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Line {
    at: f64,
    slope: f64,
}

/// How much each side of a card has lost at its two ends, along a ray: positive where the back's
/// image has moved inwards from the cut edge. Left, right, top, bottom; and what the cut alone
/// takes, which is all that happens to the front.
struct Edges {
    back: [[Line; 2]; 4],
    front: Option<[f64; 4]>,
}

impl Edges {
    fn of(next: &NextSheet, cell: &Cell, ray: &Ray, cuts: [usize; 4], cut_sd: f64) -> Self {
        let [tl, tr, br, bl] = cell.trim.corners().map(|corner| {
            let rows = next.basis().rows(corner);
            rows.map(|row| Line {
                at: row.dot(&ray.from),
                slope: row.dot(&ray.along),
            })
        });
        let cut = cuts.map(|cut| {
            if cut_sd > 0.0 {
                cut_sd * ray.others[cut]
            } else {
                0.0
            }
        });
        let side = |ends: [Line; 2], sign: f64, cut: f64| {
            ends.map(|l| Line {
                at: sign * l.at,
                slope: sign * (l.slope - cut),
            })
        };
        Self {
            back: [
                side([tl[0], bl[0]], 1.0, cut[0]),
                side([tr[0], br[0]], -1.0, cut[1]),
                side([tl[1], tr[1]], 1.0, cut[2]),
                side([bl[1], br[1]], -1.0, cut[3]),
            ],
            front: (cut_sd > 0.0).then_some([-cut[0], cut[1], -cut[2], cut[3]]),
        }
    }

    /// White shows where a side has lost more than the bleed.
    fn white(&self, lines: &mut Vec<Line>) {
        lines.extend(self.back.iter().flatten());
        if let Some(front) = self.front {
            lines.extend(front.map(|slope| Line { at: 0.0, slope }));
        }
    }

    /// With a border `B` a side is `B − lost` thick. The thin side `i` is too thin against side
    /// `j` where `lost_i − ρ·lost_j > B(1 − ρ)`.
    fn uneven(&self, ratio: f64, lines: &mut Vec<Line>) {
        for i in 0..4 {
            for j in (0..4).filter(|&j| j != i) {
                for thin in self.back[i] {
                    for thick in self.back[j] {
                        lines.push(Line {
                            at: thin.at - ratio * thick.at,
                            slope: thin.slope - ratio * thick.slope,
                        });
                    }
                }
                if let Some(front) = self.front {
                    lines.push(Line {
                        at: 0.0,
                        slope: front[i] - ratio * front[j],
                    });
                }
            }
        }
    }
}

/// The probability that the largest of many errors stays within a limit, as a function of the
/// limit. Along each ray the largest error is the upper envelope of straight lines.
#[derive(Clone, Debug)]
struct Tolerance {
    dimensions: usize,
    envelopes: Vec<Vec<Line>>,
}

impl Tolerance {
    fn new(dimensions: usize) -> Self {
        Self {
            dimensions,
            envelopes: Vec::new(),
        }
    }

    /// Takes in the lines of one ray and leaves the list empty.
    fn push(&mut self, lines: &mut Vec<Line>) {
        self.envelopes.push(upper_envelope(lines));
        lines.clear();
    }

    fn share(&self, limit: f64) -> f64 {
        if self.envelopes.is_empty() {
            return 1.0;
        }
        let inside = |envelope: &Vec<Line>| share_along(self.dimensions, envelope, limit);
        self.envelopes.iter().map(inside).sum::<f64>() / self.envelopes.len() as f64
    }

    fn needed(&self, share: f64) -> f64 {
        let share = share.clamp(0.0, 0.999_999);
        let far = |envelope: &Vec<Line>| {
            envelope
                .iter()
                .map(|l| l.at + 14.0 * l.slope.max(0.0))
                .fold(0.0, f64::max)
        };
        let reach = self.envelopes.iter().map(far).fold(0.0, f64::max) + 1e-9;
        rising_root(0.0, reach, 1e-7, |limit| self.share(limit) - share)
    }
}

/// The probability that all these errors stay within a limit along a ray.
fn share_along(dimensions: usize, lines: &[Line], limit: f64) -> f64 {
    let (mut low, mut high) = (0.0_f64, f64::INFINITY);
    for line in lines {
        let room = limit - line.at;
        if line.slope > 0.0 {
            high = high.min(room / line.slope);
        } else if line.slope < 0.0 {
            low = low.max(room / line.slope);
        } else if room < 0.0 {
            return 0.0;
        }
    }
    if high <= low {
        return 0.0;
    }
    let before = if low > 0.0 {
        chi_cdf_even(dimensions, low)
    } else {
        0.0
    };
    chi_cdf_even(dimensions, high) - before
}

/// The lines that are largest somewhere at `t ≥ 0`, by rising slope: from the one that is largest
/// at `t = 0`, always on to the one that overtakes first.
fn upper_envelope(lines: &[Line]) -> Vec<Line> {
    let higher = |a: &Line, b: &Line| a.at > b.at || (a.at == b.at && a.slope > b.slope);
    let Some(&first) = lines.iter().reduce(|a, b| if higher(b, a) { b } else { a }) else {
        return Vec::new();
    };
    let mut hull = vec![first];
    let mut current = first;
    loop {
        let mut best: Option<(f64, Line)> = None;
        for &line in lines {
            let steeper = line.slope - current.slope;
            if steeper > 0.0 {
                let gap = current.at - line.at;
                if best.is_none_or(|(t, of)| {
                    let reach = t * steeper;
                    gap < reach || (gap == reach && line.slope > of.slope)
                }) {
                    best = Some((gap / steeper, line));
                }
            }
        }
        let Some((_, next)) = best else { return hull };
        hull.push(next);
        current = next;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn envelope_keeps_the_largest_line_everywhere() {
        let lines: Vec<Line> = (0..40)
            .map(|i| Line {
                at: f64::from(i * 37 % 41) / 7.0,
                slope: f64::from(i * 29 % 43) - 20.0,
            })
            .collect();
        let hull = upper_envelope(&lines);
        assert!(hull.len() < 12, "{}", hull.len());
        let largest = |of: &[Line], t: f64| {
            of.iter()
                .map(|l| l.at + t * l.slope)
                .fold(f64::NEG_INFINITY, f64::max)
        };
        for k in 0..200 {
            let t = f64::from(k) / 50.0;
            let missed = largest(&lines, t) - largest(&hull, t);
            assert!((0.0..1e-12).contains(&missed), "at {t}: {missed}");
        }
    }
}
