//! The ways in which fronts and backs can lie in a file, weighed against each other.

use tympan_sheet::{Affine, Flip};

use super::look::{Filling, Look};
use super::{SUREST, Sheets, flips};
use crate::file_error::{Behind, adrift, same_steps};
use crate::findings::{Grid, Way};

/// The most pages that are compared each with each.
const MOST_COMPARED: usize = 200;

/// One way of pairing the pages that hold cards.
#[derive(Clone, Debug)]
struct Candidate {
    way: Way,
    pairs: Vec<(usize, usize)>,
    rests: Vec<usize>,
    /// How usual it is, before the file is looked at (a guess at common practice).
    usual: f64,
}

/// The pages that may be fronts or backs: those with cells, and pages without cells that come
/// again and again, as backs do that are one large pattern.
pub(super) fn candidates(pages: &[Look]) -> Vec<usize> {
    let repeats = |i: usize| {
        let page = &pages[i];
        !page.blank
            && page.cells.grids.is_empty()
            && pages
                .iter()
                .take(MOST_COMPARED)
                .enumerate()
                .any(|(j, other)| j != i && page.same_as(other))
    };
    let with_cells = pages.iter().any(|page| !page.cells.grids.is_empty());
    (0..pages.len())
        .filter(|&i| pages[i].cells.fold.is_none())
        .filter(|&i| !pages[i].cells.grids.is_empty() || (with_cells && repeats(i)))
        .collect()
}

fn folded(pages: &[Look]) -> Vec<usize> {
    (0..pages.len())
        .filter(|&i| pages[i].cells.fold.is_some())
        .collect()
}

/// All ways in which so many pages can be paired, by their places in the list of them.
fn all_ways(n: usize) -> Vec<Candidate> {
    let mut ways = Vec::new();
    let mut add = |way, usual: f64, pairs: Vec<(usize, usize)>, rests: Vec<usize>| {
        ways.push(Candidate {
            way,
            pairs,
            rests,
            usual,
        });
    };
    add(Way::OneSided, 0.08, Vec::new(), (0..n).collect());
    let half = n / 2;
    if n >= 2 && n.is_multiple_of(2) {
        let by_turns = |first: usize| {
            (0..half)
                .map(|i| (2 * i + first, 2 * i + 1 - first))
                .collect()
        };
        add(Way::Alternating, 0.5, by_turns(0), Vec::new());
        add(Way::Alternating, 0.02, by_turns(1), Vec::new());
    }
    if n >= 4 && n.is_multiple_of(2) {
        add(
            Way::FrontsThenBacks,
            0.15,
            (0..half).map(|i| (i, half + i)).collect(),
            Vec::new(),
        );
        add(
            Way::FrontsThenBacks,
            0.01,
            (0..half).map(|i| (half + i, i)).collect(),
            Vec::new(),
        );
        add(
            Way::BacksReversed,
            0.05,
            (0..half).map(|i| (i, n - 1 - i)).collect(),
            Vec::new(),
        );
    }
    if n >= 3 {
        add(
            Way::OneBack,
            0.12,
            (0..n - 1).map(|i| (i, n - 1)).collect(),
            Vec::new(),
        );
        add(
            Way::OneBack,
            0.03,
            (1..n).map(|i| (i, 0)).collect(),
            Vec::new(),
        );
    }
    if n >= 3 && n % 2 == 1 {
        // One front without a back, anywhere.
        for alone in (0..n).step_by(2) {
            let others: Vec<usize> = (0..n).filter(|&i| i != alone).collect();
            let pairs = others
                .chunks_exact(2)
                .map(|pair| (pair[0], pair[1]))
                .collect();
            let usual = if alone + 1 == n {
                0.06
            } else {
                0.04 / n as f64
            };
            add(Way::Alternating, usual, pairs, vec![alone]);
        }
    }
    ways
}

/// The best way for a file whose pages these are.
pub(super) fn guess(pages: &[Look]) -> Sheets {
    let folded = folded(pages);
    let cards = candidates(pages);
    let mut sheets = weigh(pages, pages, &cards, all_ways(cards.len()));
    if !folded.is_empty() {
        if cards.is_empty() {
            sheets.way = Way::FoldOver;
            sheets.confidence = SUREST;
            sheets.evidence.clear();
        }
        sheets.pairs.extend(folded.iter().map(|&i| (i, i)));
        sheets.pairs.sort_unstable();
        sheets
            .evidence
            .push("fronts and backs lie on the two sides of a fold".into());
    }
    sheets
}

/// The pages paired in just this way; `None` where their number does not allow it.
pub(super) fn in_way(way: Way, pages: &[Look]) -> Option<Sheets> {
    let cards = candidates(pages);
    let mut ways = all_ways(cards.len());
    ways.retain(|candidate| candidate.way == way);
    if way == Way::FoldOver {
        let all = if folded(pages).is_empty() {
            cards
        } else {
            folded(pages)
        };
        return (!all.is_empty()).then(|| Sheets {
            way,
            pairs: all.iter().map(|&i| (i, i)).collect(),
            rests: Vec::new(),
            confidence: 1.0,
            evidence: Vec::new(),
        });
    }
    (!ways.is_empty()).then(|| weigh(pages, pages, &cards, ways))
}

/// The best way for a file of fronts and one of backs.
pub(super) fn guess_files(fronts: &[Look], backs: &[Look]) -> Sheets {
    let front_pages = some_or_all(candidates(fronts), fronts.len());
    let back_pages = some_or_all(candidates(backs), backs.len());
    let (n, m) = (front_pages.len(), back_pages.len());
    let page = |i: usize, j: usize| (front_pages[i], back_pages[j]);
    let mut ways = Vec::new();
    let mut add = |way, usual, pairs: Vec<(usize, usize)>, rests| {
        ways.push(Candidate {
            way,
            pairs,
            rests,
            usual,
        });
    };
    if m == 1 && n > 1 {
        add(
            Way::OneBack,
            1.0,
            (0..n).map(|i| page(i, 0)).collect(),
            Vec::new(),
        );
    } else {
        let both = n.min(m);
        let rests: Vec<usize> = front_pages[both..].to_vec();
        add(
            Way::SeparateFiles,
            0.8,
            (0..both).map(|i| page(i, i)).collect(),
            rests,
        );
        if n == m && n > 1 {
            let reversed = (0..n).map(|i| page(i, n - 1 - i)).collect();
            add(Way::BacksReversed, 0.2, reversed, Vec::new());
        }
    }
    let mut sheets = choose(fronts, backs, ways, &|_| (0.0, Vec::new()));
    if n != m && m != 1 {
        sheets.confidence = sheets.confidence.min(0.5);
        sheets
            .evidence
            .push(format!("{n} fronts and {m} backs do not pair one by one"));
    }
    sheets
        .evidence
        .insert(0, "fronts and backs are in files of their own".into());
    if sheets.way == Way::BacksReversed {
        sheets
            .evidence
            .push("the backs come in reverse order".into());
    }
    sheets.way = Way::SeparateFiles;
    sheets
}

pub(super) fn in_way_of_files(way: Way, fronts: usize, backs: usize) -> Option<Sheets> {
    let pairs: Vec<(usize, usize)> = match way {
        Way::OneBack if backs > 0 => (0..fronts).map(|i| (i, 0)).collect(),
        Way::BacksReversed if fronts == backs => (0..fronts).map(|i| (i, backs - 1 - i)).collect(),
        Way::SeparateFiles | Way::FrontsThenBacks | Way::Alternating if fronts == backs => {
            (0..fronts).map(|i| (i, i)).collect()
        }
        _ => return None,
    };
    Some(Sheets {
        way: Way::SeparateFiles,
        pairs,
        rests: Vec::new(),
        confidence: 1.0,
        evidence: Vec::new(),
    })
}

fn some_or_all(some: Vec<usize>, count: usize) -> Vec<usize> {
    if some.is_empty() {
        (0..count).collect()
    } else {
        some
    }
}

/// Weighs ways over the pages in `cards` and takes the best one.
fn weigh(fronts: &[Look], backs: &[Look], cards: &[usize], ways: Vec<Candidate>) -> Sheets {
    let ways = ways
        .into_iter()
        .map(|c| Candidate {
            pairs: c.pairs.iter().map(|&(f, b)| (cards[f], cards[b])).collect(),
            rests: c.rests.iter().map(|&i| cards[i]).collect(),
            ..c
        })
        .collect();
    let kinds = Kinds::of(fronts, cards);
    choose(fronts, backs, ways, &|candidate| {
        kinds.weigh(fronts, candidate)
    })
}

/// What the pages themselves say for a way, as the logarithm of a likelihood, and why.
type Weigh<'a> = dyn Fn(&Candidate) -> (f64, Vec<String>) + 'a;

fn choose(fronts: &[Look], backs: &[Look], ways: Vec<Candidate>, pages: &Weigh<'_>) -> Sheets {
    let mut weighed: Vec<(f64, Vec<String>, Candidate)> = ways
        .into_iter()
        .map(|candidate| {
            let (weight, mut why) = pages(&candidate);
            let (fit, fits) = pairs_fit(fronts, backs, &candidate.pairs);
            why.extend(fits);
            (weight + fit + candidate.usual.ln(), why, candidate)
        })
        .collect();
    weighed.sort_by(|a, b| b.0.total_cmp(&a.0));
    let best = weighed.first().map_or(0.0, |w| w.0);
    let all: f64 = weighed.iter().map(|w| (w.0 - best).exp()).sum();
    let Some((_, mut why, candidate)) = weighed.into_iter().next() else {
        return Sheets {
            way: Way::OneSided,
            pairs: Vec::new(),
            rests: Vec::new(),
            confidence: 0.0,
            evidence: vec!["no page holds cards".into()],
        };
    };
    let mut confidence = (1.0 / all).min(SUREST);
    if candidate.pairs.is_empty() && candidate.rests.is_empty() {
        confidence = 0.0;
        why = vec!["no page holds cards".into()];
    } else if why.is_empty() {
        why.push("nothing but the order of the pages speaks for it".into());
        confidence = confidence.min(0.6);
    }
    Sheets {
        way: candidate.way,
        pairs: candidate.pairs,
        rests: candidate.rests,
        confidence,
        evidence: why,
    }
}

/// How well fronts and backs lie behind each other, on their better flip.
fn pairs_fit(fronts: &[Look], backs: &[Look], pairs: &[(usize, usize)]) -> (f64, Vec<String>) {
    let on = |flip: Flip| -> f64 {
        let each = || {
            pairs
                .iter()
                .map(|&(f, b)| pair_fits(&fronts[f], &backs[b], flip))
        };
        // A file's own error is mostly the same on all its pages: they are one witness of it.
        let place: f64 = each().map(|(place, _)| place).sum();
        let filling: f64 = each().map(|(_, filling)| filling).sum();
        1.5 * place / pairs.len().max(1) as f64 + filling
    };
    let (sideways, endways) = (on(Flip::Sideways), on(Flip::Endways));
    let flip = if sideways >= endways {
        Flip::Sideways
    } else {
        Flip::Endways
    };
    let mirrored = pairs.iter().any(|&(f, b)| {
        Behind::find(&fronts[f].cells, &backs[b].cells, flip).is_some_and(|behind| {
            let [both, front_only, back_only] = behind.filled();
            fronts[f].filling() == Filling::Read && both > 0 && front_only + back_only == 0
        })
    });
    let mut why = Vec::new();
    if mirrored {
        why.push("a part-filled front has its backs where they lie behind its cards".to_owned());
    }
    (sideways.max(endways), why)
}

/// How well a back lies behind a front, and how well its cells are filled for that.
fn pair_fits(front: &Look, back: &Look, flip: Flip) -> (f64, f64) {
    if front.cells.grids.is_empty() || back.cells.grids.is_empty() {
        return (0.0, -1.0);
    }
    let Some(behind) = Behind::find(&front.cells, &back.cells, flip) else {
        return (0.0, -5.0);
    };
    let (off, adrift) = behind.slip(front.cells.size);
    let mut place = (flips::lies(off, adrift) / 4.0).max(-3.0);
    if !behind.covers() {
        place -= 4.0;
    } else if !behind.same_shape() {
        place -= 1.0;
    }
    let [both, front_only, back_only] = behind.filled();
    let filling = if front_only + back_only == 0 {
        if behind.front_is_part_filled() && both > 0 {
            1.5
        } else {
            0.0
        }
    } else if front_only == 0 {
        // A full page of backs behind a part-filled front is common.
        -0.5
    } else if front_only == back_only {
        // As many, but not behind each other: a fault that is seen often.
        -1.5
    } else {
        -3.0
    };
    (place, filling)
}

/// How much cards of a page that differ speak against its being one of backs (a guess at common
/// practice: nearly all backs are alike).
const OTHER_BACKS: f64 = 1.4;

/// How far the cells of one page lie off those of another, whole steps aside, and how far pages
/// that were scanned do so by themselves, mm; `None` where they are not the same cards.
fn steps_apart(one: &Look, other: &Look) -> Option<(f64, f64)> {
    let (a, b) = (one.cells.grids.first()?, other.cells.grids.first()?);
    if !(a.trim.is_close(b.trim, 1.0) && same_steps(a, b)) {
        return None;
    }
    let place = |look: &Look, grid: &Grid| {
        let adrift = adrift(grid.rotation, look.cells.one_picture);
        let at = grid.centre(0, 0);
        let level = Affine::tilt(-grid.rotation, look.cells.size.centre());
        (if adrift > 0.0 { level.apply(at) } else { at }, adrift)
    };
    let ((at, adrift), (other_at, other_adrift)) = (place(one, a), place(other, b));
    let apart = other_at - at;
    let within = |d: f64, pitch: f64| d - (d / pitch).round() * pitch;
    let off = within(apart.x, a.pitch.x).hypot(within(apart.y, a.pitch.y));
    Some((off, adrift.hypot(other_adrift)))
}

/// What kind of page each one seems to be.
struct Kinds {
    cards: Vec<usize>,
    /// How much each page's mean card differs from every other's, squared.
    apart: Vec<Vec<f64>>,
    /// How much the mean of each page's cards would differ by chance, squared.
    spread: Vec<Option<f64>>,
    /// How much its cards differ from each other, squared, where there are enough of them.
    varied: Vec<Option<f64>>,
    /// Pages that show the same as another one.
    same: Vec<Vec<bool>>,
}

impl Kinds {
    fn of(pages: &[Look], cards: &[usize]) -> Self {
        let cards: Vec<usize> = cards.iter().copied().take(MOST_COMPARED).collect();
        let table = |value: &dyn Fn(usize, usize) -> f64| -> Vec<Vec<f64>> {
            cards
                .iter()
                .map(|&i| cards.iter().map(|&j| value(i, j)).collect())
                .collect()
        };
        let apart = table(&|i, j| pages[i].mean.apart(&pages[j].mean).powi(2));
        let same = table(&|i, j| f64::from(u8::from(i != j && pages[i].same_as(&pages[j]))))
            .into_iter()
            .map(|row| row.into_iter().map(|v| v > 0.5).collect())
            .collect();
        let spread = cards.iter().map(|&i| pages[i].spread()).collect();
        let varied = cards.iter().map(|&i| pages[i].varied()).collect();
        Self {
            cards,
            apart,
            spread,
            varied,
            same,
        }
    }

    /// The logarithm of how likely the pages look as they do if the candidate is right, and what of
    /// it can be told.
    fn weigh(&self, pages: &[Look], candidate: &Candidate) -> (f64, Vec<String>) {
        let is_back: Vec<bool> = self
            .cards
            .iter()
            .map(|&i| candidate.pairs.iter().any(|&(_, b)| b == i))
            .collect();
        let (mut sum, mut why) = (0.0, Vec::new());
        let backs = is_back.iter().filter(|b| **b).count();
        let fronts = is_back.len() - backs;
        let alike = |back: bool| {
            let of = self.cards.iter().zip(&is_back).filter(|(_, b)| **b == back);
            let known: Vec<bool> = of.filter_map(|(&i, _)| pages[i].all_alike()).collect();
            let yes = known.iter().filter(|a| **a).count();
            (yes, known.len() - yes)
        };
        let ((alike_backs, other_backs), (alike_fronts, other_fronts)) =
            (alike(true), alike(false));
        // Backs are mostly alike, fronts mostly not; pages of one file go together, so that many
        // of them are not many independent witnesses.
        let votes = |count: usize, each: f64| {
            each * (1.0 + (count.max(1) as f64).ln()) * f64::from(u8::from(count > 0))
        };
        sum += votes(alike_backs, 2.0) - votes(other_backs, OTHER_BACKS);
        sum += votes(other_fronts, 0.3) - votes(alike_fronts, 1.8);
        if alike_backs > 0 && alike_backs > other_backs {
            why.push("all cards are alike on the pages taken for backs".to_owned());
            if alike_fronts > other_fronts {
                why.clear();
            }
        }
        // Backs come again from sheet to sheet; fronts seldom do, and never as backs.
        let count = |a: bool, b: bool| {
            let n = self.cards.len();
            let pairs = (0..n).flat_map(|i| (0..i).map(move |j| (i, j)));
            pairs
                .filter(|&(i, j)| self.same[i][j])
                .filter(|&(i, j)| {
                    (is_back[i], is_back[j]) == (a, b) || (is_back[i], is_back[j]) == (b, a)
                })
                .count()
        };
        let (back_back, front_front) = (count(true, true), count(false, false));
        let mixed = count(true, false);
        sum += votes(back_back, 2.0) - votes(front_front, 1.5) - votes(mixed, 2.0);
        if back_back > 0 && front_front == 0 && mixed == 0 {
            why.push("the backs come again from sheet to sheet and the fronts do not".to_owned());
        }
        if backs > 0 && fronts > 0 {
            let gain = self.kinds_apart(&is_back);
            sum += gain;
            if gain > 1.0 {
                why.push(
                    "pages of one kind look more like each other than like the other kind"
                        .to_owned(),
                );
            }
        }
        for (&i, &back) in self.cards.iter().zip(&is_back) {
            match (pages[i].filling(), back) {
                (Filling::Mirrored, false) => sum -= 2.5,
                (Filling::Read, true) => sum -= 0.7,
                _ => {}
            }
        }
        // Of cards without backs only the last page has room to spare.
        if candidate.pairs.is_empty() {
            let part = |&&i: &&usize| pages[i].filling() != Filling::Full;
            let parts = self.cards.iter().rev().skip(1).filter(part).count();
            sum -= 1.2 * parts.min(3) as f64;
            sum += self.in_place(pages);
        }
        (sum, why)
    }

    /// How well the cards of one page lie where those of the next do, as fronts alone would.
    fn in_place(&self, pages: &[Look]) -> f64 {
        let known: Vec<f64> = (self.cards.windows(2))
            .filter_map(|two| {
                let (off, adrift) = steps_apart(&pages[two[0]], &pages[two[1]])?;
                Some(flips::lies(off, adrift) / 4.0)
            })
            .map(|place| place.max(-3.0))
            .collect();
        1.5 * known.iter().sum::<f64>() / known.len().max(1) as f64
    }

    /// How much less pages differ from their own kind than from the other one.
    fn kinds_apart(&self, is_back: &[bool]) -> f64 {
        // Below this, two pages look the same (mean square of the colours' difference).
        const FLOOR: f64 = 4e-4;
        let n = self.cards.len();
        let (mut within, mut between) = ((0.0, 0.0), (0.0, 0.0));
        for i in 0..n {
            for j in 0..i {
                let sum = if is_back[i] == is_back[j] {
                    &mut within
                } else {
                    &mut between
                };
                sum.0 += self.apart[i][j];
                sum.1 += 1.0;
            }
        }
        if between.1 == 0.0 {
            return 0.0;
        }
        if within.1 == 0.0 {
            // One page of each kind: cards differ within a page, and the means of pages of one kind
            // by less than that.
            let known: Vec<f64> = self.spread.iter().filter_map(|s| *s).collect();
            let usual = known.iter().copied().fold(f64::NAN, f64::max);
            let ratio = (between.0 / between.1 + FLOOR) / (2.0 * usual + FLOOR);
            let apart = if ratio.is_finite() {
                (1.2 * ratio.ln() - 1.5).clamp(-2.5, 2.5)
            } else {
                0.0
            };
            return apart + self.plainer(is_back);
        }
        let ratio = (between.0 / between.1 + FLOOR) / (within.0 / within.1 + FLOOR);
        let certainty = (n as f64 / 2.0 - 0.5).min(3.0);
        (certainty * ratio.ln()).clamp(-4.0, 5.0)
    }

    /// Of one front and one back the back's cards differ less from each other.
    fn plainer(&self, is_back: &[bool]) -> f64 {
        const FLOOR: f64 = 1e-4;
        let of = |back: bool| {
            let page = is_back.iter().position(|b| *b == back)?;
            Some(self.varied[page]? + FLOOR)
        };
        match (of(false), of(true)) {
            (Some(front), Some(back)) => (0.8 * (front / back).ln() - 0.8).clamp(0.0, 1.6),
            _ => 0.0,
        }
    }
}
