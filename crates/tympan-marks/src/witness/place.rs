//! Choosing where witness marks go: in whatever bare paper a sheet has along two opposite edges.
//!
//! Every strip is tried at many distances from its edge and with its places begun at many points;
//! what gives most marks and most paper about them is taken. The choice is the same everywhere
//! for the same sheet.

use tympan_sheet::{Back, Flip, Front, Point, Rect, Side, Size};

use super::code::CELLS;
use super::geometry::{Edge, Geometry, Strip};
use super::{BARE, CODE_PLACES, MARK_RADIUS, PITCH};

/// Steps in which a strip's axis is moved from the edge and along it, mm.
const STEP: f64 = 0.25;
/// No strip's axis lies further from its edge, mm.
const DEEPEST: f64 = 25.0;
/// A code's bars keep so far from all other print, mm.
const QUIET: f64 = 1.0;
/// Each side has at least so many marks in a strip.
const LEAST_MARKS: usize = 6;
/// So many of them follow each other with no more than one missing between two.
const LEAST_CHAIN: usize = 4;
/// More bare paper than this around marks, beyond what they need, is worth nothing, mm.
const AMPLE: f64 = 3.0;
/// What one mm of it is worth, in marks.
const WORTH: f64 = 2.0;
/// About one place in so many is left empty.
const EMPTY_ONE_IN: u64 = 4;
/// How many patterns of empty places are tried.
const PATTERNS: u64 = 48;
/// Marks nearer to each other than this could be taken for one another, mm.
const ALIKE: f64 = 1.5;

/// What is known of a sheet before its witness marks are placed: all seen upright, as the set-up's
/// test sheets are.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Room<'a> {
    /// The sheet's size, mm.
    pub paper: Size,
    /// How the back stands to the front.
    pub flip: Flip,
    /// Where the printer can print on the front.
    pub printable_front: Rect<Front>,
    /// Where it can print on the back.
    pub printable_back: Rect<Back>,
    /// All that is printed on the front: cells with their bleed, trim marks, texts.
    pub front: &'a [Rect<Front>],
    /// All that is printed on the back.
    pub back: &'a [Rect<Back>],
}

/// Why a sheet has no room for witness marks.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum NoRoom {
    /// The strips beside the print are too narrow.
    #[error(
        "there is no room for witness marks: the strips {beside} are {missing:.1} mm too narrow"
    )]
    Narrow {
        /// Where they are.
        beside: Beside,
        /// What the narrower one lacks, mm.
        missing: f64,
    },
    /// The strips are wide enough, but too short or too much cut up.
    #[error(
        "there is no room for witness marks: {beside}, print leaves {found} places of the {needed} \
         that each side needs in one row, and the length of a code"
    )]
    CutUp {
        /// Where the strips are.
        beside: Beside,
        /// Places that one side found.
        found: usize,
        /// Places that it needs.
        needed: usize,
    },
}

impl NoRoom {
    /// What to do about it.
    pub fn hint(&self) -> &'static str {
        match self {
            Self::Narrow { .. } => {
                "use less bleed, narrower gutters or fewer pieces on a sheet, or leave witness \
                 marks out"
            }
            Self::CutUp { .. } => "leave trim marks out of the strips, or leave witness marks out",
        }
    }
}

/// A pair of opposite edges.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Beside {
    /// Head and foot.
    HeadAndFoot,
    /// Left and right.
    LeftAndRight,
}

impl Beside {
    const BOTH: [Self; 2] = [Self::HeadAndFoot, Self::LeftAndRight];

    fn edges(self) -> [Edge; 2] {
        match self {
            Self::HeadAndFoot => [Edge::Head, Edge::Foot],
            Self::LeftAndRight => [Edge::Left, Edge::Right],
        }
    }
}

impl std::fmt::Display for Beside {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::HeadAndFoot => "at head and foot",
            Self::LeftAndRight => "at the left and the right",
        })
    }
}

impl Geometry {
    /// Places witness marks on a sheet.
    ///
    /// # Errors
    /// [`NoRoom`], which says how much is missing.
    pub fn new(room: &Room<'_>) -> Result<Self, NoRoom> {
        let ground = Ground::new(room);
        let mut best: Option<(f64, [Strip; 2])> = None;
        let mut lacking: Option<NoRoom> = None;
        for beside in Beside::BOTH {
            match ground.pair(beside) {
                Ok((worth, strips)) => {
                    if best.as_ref().is_none_or(|(most, _)| worth > *most) {
                        best = Some((worth, strips));
                    }
                }
                Err(no_room) => {
                    // Say what comes nearest: what is cut up, then what is least too narrow.
                    let lack = |n: &NoRoom| match n {
                        NoRoom::CutUp { .. } => 0.0,
                        NoRoom::Narrow { missing, .. } => *missing,
                    };
                    if lacking.as_ref().is_none_or(|n| lack(&no_room) < lack(n)) {
                        lacking = Some(no_room);
                    }
                }
            }
        }
        match (best, lacking) {
            (Some((_, strips)), _) => Ok(Self {
                paper: room.paper,
                flip: room.flip,
                strips: with_empty_places(strips, room.paper),
                print: ground.print,
            }),
            (None, Some(no_room)) => Err(no_room),
            (None, None) => unreachable!("each pair of edges has room or lacks it"),
        }
    }
}

/// The sheet seen from the front.
struct Ground {
    paper: Size,
    /// Where both sides can be printed.
    printable: Rect<Front>,
    print: [Vec<Rect<Front>>; 2],
}

/// One way to place a strip.
#[derive(Clone, Copy)]
struct Try {
    worth: f64,
    inside: f64,
    begin: f64,
    code: [u16; 2],
}

impl Ground {
    fn new(room: &Room<'_>) -> Self {
        let seen = |rect: Rect<Back>| {
            let [a, b] = [rect.min, rect.max].map(|p| room.flip.to_front(p, room.paper));
            Rect {
                min: Point::new(a.x.min(b.x), a.y.min(b.y)),
                max: Point::new(a.x.max(b.x), a.y.max(b.y)),
            }
        };
        let nothing = Rect::at(room.paper.centre(), Size::new(0.0, 0.0));
        let printable = room.printable_front.meet(seen(room.printable_back));
        // To 1/1000 mm, so that what is kept comes back the same.
        let rounded = |rect: Rect<Front>| {
            let round = |p: Point<Front>| Point::new(thousandth(p.x), thousandth(p.y));
            Rect {
                min: round(rect.min),
                max: round(rect.max),
            }
        };
        Self {
            paper: room.paper,
            printable: printable.unwrap_or(nothing),
            print: [
                room.front.iter().map(|&rect| rounded(rect)).collect(),
                room.back.iter().map(|&rect| rounded(seen(rect))).collect(),
            ],
        }
    }

    fn pair(&self, beside: Beside) -> Result<(f64, [Strip; 2]), NoRoom> {
        let edges = beside.edges();
        let tries = edges.map(|edge| self.best(edge));
        if let [Ok(a), Ok(b)] = tries {
            let worth = a.worth.min(b.worth);
            let [first, second] = edges;
            return Ok((worth, [self.strip(first, a), self.strip(second, b)]));
        }
        let missing = edges
            .map(|edge| self.missing(edge))
            .into_iter()
            .fold(0.0, f64::max);
        if missing > 0.0 {
            return Err(NoRoom::Narrow { beside, missing });
        }
        let found = tries.into_iter().filter_map(Result::err).min().unwrap_or(0);
        Err(NoRoom::CutUp {
            beside,
            found,
            needed: LEAST_MARKS,
        })
    }

    /// From an edge to where print may begin, mm.
    fn margin(&self, edge: Edge) -> f64 {
        match edge {
            Edge::Head => self.printable.min.y,
            Edge::Foot => self.paper.h - self.printable.max.y,
            Edge::Left => self.printable.min.x,
            Edge::Right => self.paper.w - self.printable.max.x,
        }
    }

    /// The stretch of an edge along which print is possible, mm along the axis.
    fn stretch(&self, edge: Edge) -> (f64, f64) {
        match edge {
            Edge::Head | Edge::Foot => (self.printable.min.x, self.printable.max.x),
            Edge::Left | Edge::Right => (self.printable.min.y, self.printable.max.y),
        }
    }

    /// The least distance of a strip's axis from its edge, mm.
    fn least_inside(&self, edge: Edge) -> f64 {
        (self.margin(edge) + MARK_RADIUS).max(BARE)
    }

    fn rects(&self) -> impl Iterator<Item = &Rect<Front>> {
        self.print.iter().flatten()
    }

    /// How much the strip along an edge is too narrow, mm; 0 where it is not.
    fn missing(&self, edge: Edge) -> f64 {
        let (paper, least) = (self.paper, self.least_inside(edge));
        let depth = |rect: &Rect<Front>| match edge {
            Edge::Head => rect.min.y,
            Edge::Foot => paper.h - rect.max.y,
            Edge::Left => rect.min.x,
            Edge::Right => paper.w - rect.max.x,
        };
        // What is shorter than a code cuts a strip up, but does not narrow it.
        let long = |rect: &&Rect<Front>| {
            let along = edge.along();
            rect.size().w * along.x + rect.size().h * along.y > f64::from(CODE_PLACES) * PITCH / 2.0
        };
        let print = self
            .rects()
            .filter(long)
            .map(depth)
            .fold(f64::INFINITY, f64::min);
        (least + BARE - print).max(0.0)
    }

    /// The best way to place a strip along an edge. Error: the most places that a side found.
    fn best(&self, edge: Edge) -> Result<Try, usize> {
        let least = self.least_inside(edge);
        let steps = ((DEEPEST - least) / STEP).max(0.0) as usize;
        let mut best: Option<Try> = None;
        let mut most = 0;
        for depth in 0..=steps {
            let inside = least + depth as f64 * STEP;
            for phase in 0..(PITCH / STEP) as usize {
                let begin = self.stretch(edge).0 + MARK_RADIUS + phase as f64 * STEP;
                match self.attempt(edge, inside, begin) {
                    Ok(next) => {
                        if best.as_ref().is_none_or(|b| next.worth > b.worth + 1e-9) {
                            best = Some(next);
                        }
                    }
                    Err(found) => most = most.max(found),
                }
            }
        }
        best.ok_or(most)
    }

    /// How far a point lies from the nearest print, mm.
    fn clear(&self, p: Point<Front>) -> f64 {
        self.rects()
            .map(|&rect| distance_to(rect, p))
            .fold(f64::INFINITY, f64::min)
    }

    fn attempt(&self, edge: Edge, inside: f64, begin: f64) -> Result<Try, usize> {
        let at = |place: usize| edge.inside(self.paper, inside, begin + place as f64 * PITCH);
        let last = ((self.stretch(edge).1 - MARK_RADIUS - begin) / PITCH)
            .floor()
            .max(0.0) as usize;
        let clear: Vec<f64> = (0..=last).map(|k| self.clear(at(k))).collect();
        let free = |k: usize| k <= last && clear[k] >= BARE;
        let all = (0..=last).filter(|&k| free(k)).count();
        if all < 2 * LEAST_MARKS {
            return Err(all / 2);
        }
        let mut blank = Strip {
            edge,
            from: at(0),
            marks: Default::default(),
            empty: Default::default(),
            code: [0; 2],
        };
        let flank = usize::from(CODE_PLACES);
        let mut codes = |side: Side| -> Vec<u16> {
            let fits = |k: &usize| {
                blank.code[side as usize] = *k as u16;
                let bars = blank.bars(side, 0, CELLS).grown(QUIET - 1e-9);
                free(*k) && free(*k + flank) && self.rects().all(|r| r.meet(bars).is_none())
            };
            let own = (side as usize..=last).step_by(2);
            own.filter(fits).map(|k| k as u16).collect()
        };
        let (front, back) = (codes(Side::Front), codes(Side::Back));
        // How much paper there is beyond need: towards the print, and towards what the printer
        // cannot reach, where half as much will do.
        let outer = 2.0 * (inside - self.least_inside(edge));
        let mut best: Option<Try> = None;
        let mut most = 0;
        for &f in &front {
            // The front's code comes first in both strips, so that a half turn shows.
            for &b in back.iter().filter(|&&b| b > f + CODE_PLACES) {
                let code = [f, b];
                let marks = Side::BOTH.map(|side| own_places(side, code, last, &free));
                let fewest = marks.iter().map(Vec::len).min().unwrap_or(0);
                most = most.max(fewest);
                let chain = marks.iter().map(|m| chain(m)).min().unwrap_or(0);
                if fewest < LEAST_MARKS || chain < LEAST_CHAIN {
                    continue;
                }
                let used = marks.iter().flatten().map(|&k| clear[usize::from(k)]);
                let spare = used.fold(f64::INFINITY, f64::min) - BARE;
                let worth =
                    fewest as f64 + WORTH * spare.min(outer).min(AMPLE) + 0.01 * f64::from(b - f);
                if best.as_ref().is_none_or(|old| worth > old.worth + 1e-9) {
                    best = Some(Try {
                        worth,
                        inside,
                        begin,
                        code,
                    });
                }
            }
        }
        best.ok_or(most)
    }

    fn strip(&self, edge: Edge, taken: Try) -> Strip {
        let Try {
            inside,
            begin,
            code,
            ..
        } = taken;
        let from = edge.inside(self.paper, inside, begin);
        let last = ((self.stretch(edge).1 - MARK_RADIUS - begin) / PITCH).floor() as usize;
        let free = |k: usize| {
            let p = edge.inside(self.paper, inside, begin + k as f64 * PITCH);
            self.clear(p) >= BARE
        };
        Strip {
            edge,
            from: Point::new(thousandth(from.x), thousandth(from.y)),
            marks: Side::BOTH.map(|side| own_places(side, code, last, &free)),
            empty: Default::default(),
            code,
        }
    }
}

/// A length rounded to 1/1000 mm.
fn thousandth(mm: f64) -> f64 {
    (mm * 1000.0).round() / 1000.0
}

/// The free places of a side: every other one, and none where a code stands.
fn own_places(side: Side, code: [u16; 2], last: usize, free: &impl Fn(usize) -> bool) -> Vec<u16> {
    let behind = |k: u16| code.iter().any(|&c| c < k && k < c + CODE_PLACES);
    (side as usize..=last)
        .step_by(2)
        .filter(|&k| free(k))
        .map(|k| k as u16)
        .filter(|&k| !behind(k))
        .collect()
}

/// The most marks that follow each other with at most one missing between two.
fn chain(marks: &[u16]) -> usize {
    let runs = marks.chunk_by(|a, b| b - a <= 4);
    runs.map(<[u16]>::len).max().unwrap_or(0)
}

/// Leaves some places empty, such that no mirror, half turn or exchange of the sides brings the
/// marks near themselves. Marks beside codes stay, and no chain is torn.
fn with_empty_places(strips: [Strip; 2], paper: Size) -> [Strip; 2] {
    let tried = (0..PATTERNS).map(|seed| {
        let mut strips = strips.clone();
        for (number, strip) in strips.iter_mut().enumerate() {
            for side in Side::BOTH {
                thin_out(strip, side, seed << 8 | (number as u64) << 4 | side as u64);
            }
        }
        (likeness(&strips, paper), strips)
    });
    // The first of the best.
    let best = tried.reduce(|a, b| if b.0 < a.0 { b } else { a });
    best.map_or(strips, |(_, strips)| strips)
}

fn thin_out(strip: &mut Strip, side: Side, seed: u64) {
    let own = strip.code[side as usize];
    let marks = &mut strip.marks[side as usize];
    let candidates = marks.clone();
    for k in candidates {
        let flanks = k == own || k == own + CODE_PLACES;
        if flanks || !is_empty(seed, k) || marks.len() <= LEAST_MARKS {
            continue;
        }
        let thinned: Vec<u16> = marks.iter().copied().filter(|&m| m != k).collect();
        if chain(&thinned) + 1 >= chain(marks) && chain(&thinned) >= LEAST_CHAIN {
            *marks = thinned;
            strip.empty[side as usize].push(k);
        }
    }
}

/// Whether a pattern leaves this place empty: a hash (SplitMix64, Steele and others 2014).
fn is_empty(seed: u64, place: u16) -> bool {
    let mut z = (seed << 16 | u64::from(place)).wrapping_add(0x9e37_79b9_7f4a_7c15);
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    (z ^ (z >> 31)).is_multiple_of(EMPTY_ONE_IN)
}

/// The largest share of a side's marks that a mirror or the half turn takes to marks of either
/// side, if the sheet is also moved along its strips as far as register errors do.
pub(super) fn likeness(strips: &[Strip; 2], paper: Size) -> f64 {
    let marks = Side::BOTH.map(|side| -> Vec<Point<Front>> {
        let of = |s| {
            let strip: &Strip = s;
            strip.marks[side as usize]
                .iter()
                .map(|&k| strip.at(f64::from(k)))
        };
        strips.iter().flat_map(of).collect()
    });
    let along = strips[0].edge.along();
    let mut most = 0.0_f64;
    for op in 1..4 {
        for from in &marks {
            for to in &marks {
                for shift in -2..=2 {
                    let moved = from.iter().map(|&p| {
                        let x = if op & 1 == 1 { paper.w - p.x } else { p.x };
                        let y = if op & 2 == 2 { paper.h - p.y } else { p.y };
                        Point::<Front>::new(x, y) + along * f64::from(shift)
                    });
                    let alike = moved.filter(|&p| to.iter().any(|&q| (q - p).length() < ALIKE));
                    most = most.max(alike.count() as f64 / from.len() as f64);
                }
            }
        }
    }
    most
}

/// How far a point lies outside a rectangle, mm; 0 inside.
fn distance_to(b: Rect<Front>, p: Point<Front>) -> f64 {
    let dx = (b.min.x - p.x).max(p.x - b.max.x).max(0.0);
    let dy = (b.min.y - p.y).max(p.y - b.max.y).max(0.0);
    dx.hypot(dy)
}

#[cfg(test)]
mod tests;
