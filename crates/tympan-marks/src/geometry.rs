//! Where everything on a test sheet lies: the one description that the drawing and every reader
//! use.
//!
//! Both sides are furnished alike *as seen*, each in its own frame: codes, pin stations, rules and
//! the panel in the middle. Places as seen are `Point<Page>`. The round marks lie on one lattice
//! of 15 mm pitch about the sheet's centre, in a checkerboard seen from the front: discs of the
//! front on one colour, rings of the back on the other, so that what shows through never lies
//! under a mark. Some places are left empty, chosen so that no mirror, half turn or exchange of
//! the sides brings the pattern near itself.

use tympan_sheet::{Flip, Front, Page, Point, Rect, Side, Size};

use crate::code::{CODE_BOX_MM, End};
use crate::sheet::SheetError;

/// Pitch of the lattice, mm.
pub const PITCH: f64 = 15.0;
/// Outer radius of a mark, mm.
pub const MARK_RADIUS: f64 = 2.5;
/// Inner radius of a ring, mm.
pub const RING_INNER: f64 = 1.25;
/// No mark's edge lies nearer to the sheet's edge than this, mm.
pub const MARK_EDGE: f64 = 20.0;
/// Nothing at all is printed nearer to the sheet's edge than this, mm: the holes of office
/// punches reach 16 mm in (ISO 838: 6 mm holes, centres 12 ± 1 mm from the edge).
pub const CLEAR_EDGE: f64 = 18.0;
/// Paper kept bare around a mark, mm: readers measure the paper's own tone there.
pub const MARK_GUARD: f64 = 2.0;
/// From a sheet's edges to the centre of a corner pin station, mm.
pub const STATION_INSET: f64 = 28.0;
/// Half the side of the square that a pin station takes, mm.
pub const STATION_HALF: f64 = 10.0;
/// The millimetre grids reach this far from their centre, mm.
pub const GRID_REACH: f64 = 6.0;
/// Length of the check rules, mm.
pub const RULE: f64 = 100.0;

/// Codes and texts begin this far from the left and right edges, beside the corner stations, mm.
const BAND_INSET: f64 = STATION_INSET + STATION_HALF + 2.0;
/// Gap between a code's quiet zone and the text beside it, mm.
const TEXT_GAP: f64 = 2.0;
/// The widest text beside a code, mm.
const TEXT_WIDTH: f64 = 64.0;
/// Half the height of the panel in the middle, mm.
const PANEL_HALF: f64 = 19.0;
/// The widest panel, mm.
const PANEL_WIDTH: f64 = 104.0;
/// Below this width a panel stands off the middle to be wider, mm.
const PANEL_NARROW: f64 = 60.0;
/// From the down rule to the panel, mm.
const RULE_GAP: f64 = 3.5;
/// About one place in so many is left empty.
const EMPTY_ONE_IN: u64 = 6;
/// How many patterns of empty places are tried; the best is taken.
const PATTERNS: u64 = 512;

/// The smallest and the largest sheets, upright, mm: half Letter is narrower than A5, Super B
/// larger than A3.
const SMALLEST: Size = Size::new(139.0, 205.0);
const LARGEST: Size = Size::new(330.5, 483.0);

/// A place to prick through: a cross on the front, a lettered millimetre grid on the back.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Station {
    /// Its letter, on both sides.
    pub name: char,
    /// Where it lies.
    pub at: Point<Front>,
}

/// Where everything on a test sheet of one paper and flip lies.
#[derive(Clone, Debug, PartialEq)]
pub struct Geometry {
    paper: Size,
    flip: Flip,
    lattice: Lattice,
    discs: Vec<Point<Front>>,
    rings: Vec<Point<Front>>,
    empty_discs: Vec<Point<Front>>,
    empty_rings: Vec<Point<Front>>,
}

impl Geometry {
    /// The geometry for this paper, held upright, and this flip. The paper's sides are taken to
    /// the nearest 1/100 mm, as the codes carry them.
    ///
    /// # Errors
    /// [`SheetError::Paper`] for sheets smaller than half Letter or larger than Super B, and for
    /// ribbons.
    pub fn new(paper: Size, flip: Flip) -> Result<Self, SheetError> {
        let round = |mm: f64| (mm * 100.0).round() / 100.0;
        let upright = paper.portrait();
        let paper = Size::new(round(upright.w), round(upright.h));
        let fits = (SMALLEST.w..=LARGEST.w).contains(&paper.w)
            && (SMALLEST.h..=LARGEST.h).contains(&paper.h);
        if !fits {
            return Err(SheetError::Paper(paper));
        }
        let lattice = Lattice::new(paper);
        let mut geometry = Self {
            paper,
            flip,
            lattice,
            discs: Vec::new(),
            rings: Vec::new(),
            empty_discs: Vec::new(),
            empty_rings: Vec::new(),
        };
        let free = geometry.free_places();
        let worst = |seed| pattern_distance(lattice, &free, seed);
        // The first of the best, so that the choice is the same everywhere.
        let seed = (0..PATTERNS)
            .rev()
            .max_by_key(|&seed| worst(seed))
            .unwrap_or(0);
        for &(i, j) in &free {
            let list = match (side_of(i, j), is_empty(seed, i, j)) {
                (Side::Front, false) => &mut geometry.discs,
                (Side::Front, true) => &mut geometry.empty_discs,
                (Side::Back, false) => &mut geometry.rings,
                (Side::Back, true) => &mut geometry.empty_rings,
            };
            list.push(lattice.at(i, j));
        }
        Ok(geometry)
    }

    /// The sheet's size, upright, mm.
    pub fn paper(&self) -> Size {
        self.paper
    }

    /// The flip that the sheet is made for.
    pub fn flip(&self) -> Flip {
        self.flip
    }

    /// Centres of a side's marks, seen from the front: where the back's belong, if register is
    /// perfect.
    pub fn marks(&self, side: Side) -> &[Point<Front>] {
        match side {
            Side::Front => &self.discs,
            Side::Back => &self.rings,
        }
    }

    /// Places where a side has no mark though the lattice has one, seen from the front.
    pub fn empty_places(&self, side: Side) -> &[Point<Front>] {
        match side {
            Side::Front => &self.empty_discs,
            Side::Back => &self.empty_rings,
        }
    }

    /// A point of the front as seen on a side: itself, or where the flip takes it.
    pub fn seen_on(&self, side: Side, p: Point<Front>) -> Point<Page> {
        match side {
            Side::Front => Point::new(p.x, p.y),
            Side::Back => {
                let b = self.flip.to_back(p, self.paper);
                Point::new(b.x, b.y)
            }
        }
    }

    /// A point as seen on a side, seen from the front.
    pub fn seen_from_front(&self, side: Side, p: Point<Page>) -> Point<Front> {
        match side {
            Side::Front => Point::new(p.x, p.y),
            Side::Back => self.flip.to_front(Point::new(p.x, p.y), self.paper),
        }
    }

    /// The six places for the pin, in reading order on the front: the corners and the middles of
    /// the two long edges, which show a bend along the feed.
    pub fn stations(&self) -> [Station; 6] {
        let Size { w, h } = self.paper;
        let (left, right) = (STATION_INSET, w - STATION_INSET);
        let rows = [STATION_INSET, h / 2.0, h - STATION_INSET];
        let station = |name, x, y| Station {
            name,
            at: Point::new(x, y),
        };
        [
            station('A', left, rows[0]),
            station('B', right, rows[0]),
            station('C', left, rows[1]),
            station('D', right, rows[1]),
            station('E', left, rows[2]),
            station('F', right, rows[2]),
        ]
    }

    /// The square that a code with its quiet zone takes, as seen: left at the head and right at
    /// the foot of either side. Whatever the flip, the four codes of a sheet lie at four
    /// different places, none behind another.
    pub fn code_box(&self, end: End) -> Rect<Page> {
        let Size { w, h } = self.paper;
        let min = match end {
            End::Head => Point::new(BAND_INSET, CLEAR_EDGE),
            End::Foot => Point::new(w - BAND_INSET - CODE_BOX_MM, h - CLEAR_EDGE - CODE_BOX_MM),
        };
        Rect::at(min, Size::new(CODE_BOX_MM, CODE_BOX_MM))
    }

    /// The space for text beside a code, as seen.
    pub fn text_box(&self, end: End) -> Rect<Page> {
        let code = self.code_box(end);
        let room = self.paper.w - 2.0 * BAND_INSET - CODE_BOX_MM - TEXT_GAP;
        let size = Size::new(room.min(TEXT_WIDTH), CODE_BOX_MM);
        let x = match end {
            End::Head => code.max.x + TEXT_GAP,
            End::Foot => code.min.x - TEXT_GAP - size.w,
        };
        Rect::at(Point::new(x, code.min.y), size)
    }

    /// The ends of the rule across, as seen: in a gutter of the lattice below the panel.
    pub fn rule_across(&self) -> [Point<Page>; 2] {
        let Size { w, h } = self.paper;
        let gutters = Lattice::gutters(self.lattice.rows);
        let below = gutters
            .into_iter()
            .find(|&g| g > PANEL_HALF + RULE_GAP)
            .unwrap_or(PITCH);
        let y = h / 2.0 + below;
        [
            Point::new((w - RULE) / 2.0, y),
            Point::new((w + RULE) / 2.0, y),
        ]
    }

    /// The ends of the rule down, as seen: in a gutter of the lattice, left of the station at the
    /// middle of the right edge.
    pub fn rule_down(&self) -> [Point<Page>; 2] {
        let Size { w, h } = self.paper;
        let room = w / 2.0 - STATION_INSET - STATION_HALF - RULE_GAP;
        let gutters = Lattice::gutters(self.lattice.columns);
        let x = w / 2.0
            + gutters
                .into_iter()
                .rev()
                .find(|&g| g <= room)
                .unwrap_or(0.0);
        [
            Point::new(x, (h - RULE) / 2.0),
            Point::new(x, (h + RULE) / 2.0),
        ]
    }

    /// The panel in the middle, as seen.
    pub fn panel(&self) -> Rect<Page> {
        let Size { w, h } = self.paper;
        let right = self.rule_down()[0].x - RULE_GAP;
        let centred = 2.0 * right - w;
        let (left, right) = if centred >= PANEL_NARROW {
            let half = centred.min(PANEL_WIDTH) / 2.0;
            (w / 2.0 - half, w / 2.0 + half)
        } else {
            (BAND_INSET, right)
        };
        Rect {
            min: Point::new(left, h / 2.0 - PANEL_HALF),
            max: Point::new(right, h / 2.0 + PANEL_HALF),
        }
    }

    /// What marks keep clear of, and its mirror images, since it lies on both sides.
    fn furniture(&self) -> Vec<Rect<Front>> {
        let Size { w, h } = self.paper;
        let mut boxes = vec![self.panel()];
        boxes.extend(End::BOTH.map(|end| self.code_box(end)));
        boxes.extend(End::BOTH.map(|end| self.text_box(end)));
        boxes.extend(self.stations().map(|s| {
            let corner = Point::new(s.at.x - STATION_HALF, s.at.y - STATION_HALF);
            Rect::at(corner, Size::new(2.0 * STATION_HALF, 2.0 * STATION_HALF))
        }));
        let mut mirrored = Vec::new();
        for b in boxes {
            for (left, right) in [(b.min.x, b.max.x), (w - b.max.x, w - b.min.x)] {
                for (top, bottom) in [(b.min.y, b.max.y), (h - b.max.y, h - b.min.y)] {
                    let (min, max) = (Point::new(left, top), Point::new(right, bottom));
                    mirrored.push(Rect { min, max });
                }
            }
        }
        mirrored
    }

    /// Columns and rows of the lattice that are clear of everything else.
    fn free_places(&self) -> Vec<(usize, usize)> {
        let furniture = self.furniture();
        let clear = MARK_RADIUS + MARK_GUARD;
        let mut free = Vec::new();
        for j in 0..self.lattice.rows {
            for i in 0..self.lattice.columns {
                let p = self.lattice.at(i, j);
                if furniture.iter().all(|b| distance_to(*b, p) >= clear) {
                    free.push((i, j));
                }
            }
        }
        free
    }
}

/// How far a point lies outside a rectangle, mm; 0 inside.
fn distance_to(b: Rect<Front>, p: Point<Front>) -> f64 {
    let dx = (b.min.x - p.x).max(p.x - b.max.x).max(0.0);
    let dy = (b.min.y - p.y).max(p.y - b.max.y).max(0.0);
    dx.hypot(dy)
}

/// The lattice that marks of both sides lie on.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Lattice {
    centre: Point<Front>,
    columns: usize,
    rows: usize,
}

impl Lattice {
    fn new(paper: Size) -> Self {
        let count = |side: f64| {
            ((side - 2.0 * (MARK_EDGE + MARK_RADIUS)) / PITCH + 1e-9).floor() as usize + 1
        };
        Self {
            centre: paper.centre(),
            columns: count(paper.w),
            rows: count(paper.h),
        }
    }

    fn at(&self, i: usize, j: usize) -> Point<Front> {
        let along = |k: usize, count: usize| (k as f64 - (count as f64 - 1.0) / 2.0) * PITCH;
        Point::new(
            self.centre.x + along(i, self.columns),
            self.centre.y + along(j, self.rows),
        )
    }

    /// Where the gutters between columns or rows lie from the middle, to one side, outwards.
    fn gutters(count: usize) -> Vec<f64> {
        let first = if count.is_multiple_of(2) {
            PITCH
        } else {
            PITCH / 2.0
        };
        (0..count / 2).map(|k| first + k as f64 * PITCH).collect()
    }
}

/// The side whose marks lie on this colour of the checkerboard.
fn side_of(i: usize, j: usize) -> Side {
    if (i + j).is_multiple_of(2) {
        Side::Front
    } else {
        Side::Back
    }
}

/// Whether a pattern leaves this place empty: a hash (SplitMix64, Steele and others 2014) of the
/// place and the pattern's number.
fn is_empty(seed: u64, i: usize, j: usize) -> bool {
    let mut z = (seed << 40 | (i as u64) << 20 | j as u64).wrapping_add(0x9e37_79b9_7f4a_7c15);
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    (z ^ (z >> 31)).is_multiple_of(EMPTY_ONE_IN)
}

/// The least number of marks of one side that a mirror or the half turn takes to places without a
/// mark of that side, or of the other.
fn pattern_distance(lattice: Lattice, free: &[(usize, usize)], seed: u64) -> usize {
    let (columns, rows) = (lattice.columns, lattice.rows);
    let mut marks = vec![None; columns * rows];
    for &(i, j) in free.iter().filter(|&&(i, j)| !is_empty(seed, i, j)) {
        marks[j * columns + i] = Some(side_of(i, j));
    }
    let mut least = usize::MAX;
    for op in 1..4 {
        for from in Side::BOTH {
            for to in Side::BOTH {
                let lost = free.iter().filter(|&&(i, j)| {
                    let mi = if op & 1 == 1 { columns - 1 - i } else { i };
                    let mj = if op & 2 == 2 { rows - 1 - j } else { j };
                    marks[j * columns + i] == Some(from) && marks[mj * columns + mi] != Some(to)
                });
                least = least.min(lost.count());
            }
        }
    }
    least
}

#[cfg(test)]
mod tests;
