//! Marks that tell where to cut, fold and round corners.
//!
//! They lie in the waste: outside the bleed of every piece. Where a sheet has no waste left beyond
//! the bleed, they reach over the outermost bleed, on a strip of bare paper so that they show on
//! dark print, and stay clear of the trim.

use tympan_sheet::drawing::{Colour, Item, Path, Segment, Stroke};
use tympan_sheet::{Frame, Front, Map, Page, Point, QuarterTurn, Rect, Shape};

use crate::plan::{Cell, Group, Plan};
use crate::sides::turned;

/// Which marks are wanted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Marks {
    /// What tells where to cut.
    pub cuts: CutMarks,
    /// Whether the backs carry them too. A sheet is cut by the marks of one side, the front; marks
    /// on the back that lie elsewhere only confuse.
    pub on_backs: bool,
    /// Whether the corners to be rounded are drawn, in what is then cut away.
    pub corners: bool,
}

impl Default for Marks {
    /// Trim marks on the front, nothing else.
    fn default() -> Self {
        Self {
            cuts: CutMarks::Trim,
            on_backs: false,
            corners: false,
        }
    }
}

/// What tells where to cut.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum CutMarks {
    /// Nothing.
    None,
    /// Short lines beyond the bleed, in line with the trim.
    Trim,
    /// Short lines at the edge of what can be printed, in line with the trim.
    Ticks,
    /// Light lines along the trim itself.
    Lines,
}

/// The marks of one group of sheets.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct MarkItems {
    /// What is painted on the front, in mm from the top left of the sheet as seen.
    pub front: Vec<Item>,
    /// What is painted on the back, in mm from its top left as seen.
    pub back: Vec<Item>,
    /// How many ends of cuts at the block's outside have no room for a mark.
    pub without_mark: usize,
}

/// Trim marks begin so far beyond the bleed, mm.
const CLEAR: f64 = 0.5;
/// Their greatest length, mm.
const LENGTH: f64 = 5.0;
/// Shorter than this nobody sees them, mm.
const SHORTEST: f64 = 0.8;
/// What reaches over the bleed stays so far from the trim, mm.
const FROM_TRIM: f64 = 1.0;
const WIDTH: f64 = 0.1;
const LIGHT: Colour = Colour::Grey(0.7);
const SAME: f64 = 1e-4;

impl Plan {
    /// The marks of a group's sheets; nothing where there is no such group. A fold line is always
    /// marked.
    pub fn marks(&self, group: usize, marks: &Marks) -> MarkItems {
        let Some(group) = self.groups.get(group) else {
            return MarkItems::default();
        };
        let identity: Map<Front, Page> = Map::new(1.0, 0.0, 0.0, 1.0, 0.0, 0.0);
        let mut items = MarkItems::default();
        let area = self.sheet.printable(false);
        items.without_mark = side(group, area, marks, &identity, &mut items.front);
        self.fold_marks(group, area, &mut items.front);
        if marks.on_backs && self.is_two_sided() {
            let flip = self.sheet.flip;
            let sheet = Rect::<Front>::whole(self.sheet.size);
            let area = self.sheet.back_margins.flipped(flip).inside(sheet);
            let m = flip.map(self.sheet.size);
            let across = Map::new(m.xx, m.xy, m.yx, m.yy, m.dx, m.dy);
            side(group, area, marks, &across, &mut items.back);
        }
        items
    }

    fn fold_marks(&self, group: &Group, area: Rect<Front>, items: &mut Vec<Item>) {
        let Some(fold) = self.fold else { return };
        let upright = fold.flip() == tympan_sheet::Flip::Sideways;
        let boxes = || group.cells.iter().map(|c| c.bleed.around(c.trim));
        let span = |r: Rect<Front>| {
            if upright {
                (r.min.y, r.max.y)
            } else {
                (r.min.x, r.max.x)
            }
        };
        let low = boxes().map(|b| span(b).0).fold(f64::INFINITY, f64::min);
        let high = boxes().map(|b| span(b).1).fold(f64::NEG_INFINITY, f64::max);
        let (from, to) = span(area);
        // Where the bend takes up paper the line may run through; else only beyond the pieces.
        let ends = if fold.allowance >= 1.0 {
            vec![(from, to)]
        } else {
            vec![(from, low - CLEAR), (high + CLEAR, to)]
        };
        for (from, to) in ends.into_iter().filter(|(from, to)| to - from >= SHORTEST) {
            let path = if upright {
                Path::line(fold.at, from, fold.at, to)
            } else {
                Path::line(from, fold.at, to, fold.at)
            };
            items.push(Item::Shape {
                path,
                fill: None,
                stroke: Some(Stroke::solid(Colour::BLACK, WIDTH).dashed(&[2.0, 1.0])),
            });
        }
    }
}

/// A line along x or y, in the front frame.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Line {
    from: Point<Front>,
    to: Point<Front>,
    /// It lies on print and needs bare paper under it.
    on_print: bool,
}

/// Draws the marks of one side and tells how many found no room.
fn side(
    group: &Group,
    area: Rect<Front>,
    marks: &Marks,
    across: &Map<Front, Page>,
    items: &mut Vec<Item>,
) -> usize {
    let mut without = 0;
    match marks.cuts {
        CutMarks::None => {}
        CutMarks::Trim | CutMarks::Ticks => {
            let ticks = marks.cuts == CutMarks::Ticks;
            let mut lines = rays(&group.cells, area, ticks, &mut without);
            tidy(&mut lines);
            draw(&lines, across, items);
        }
        CutMarks::Lines => {
            for path in trim_lines(&group.cells) {
                items.push(light(mapped(&path, across)));
            }
        }
    }
    if marks.corners {
        let arcs = group.cells.iter().filter_map(corner_arcs);
        items.extend(arcs.map(|path| light(mapped(&path, across))));
    }
    without
}

fn light(path: Path) -> Item {
    Item::Shape {
        path,
        fill: None,
        stroke: Some(Stroke::solid(LIGHT, WIDTH)),
    }
}

fn draw(lines: &[Line], across: &Map<Front, Page>, items: &mut Vec<Item>) {
    let path = |of: &dyn Fn(&Line) -> bool| {
        lines
            .iter()
            .filter(|line| of(line))
            .map(|line| {
                let (a, b) = (across.apply(line.from), across.apply(line.to));
                Path::line(a.x, a.y, b.x, b.y)
            })
            .fold(Path::default(), Path::and)
    };
    let mut stroke = |path: Path, colour: Colour, width: f64| {
        if !path.segments.is_empty() {
            items.push(Item::Shape {
                path,
                fill: None,
                stroke: Some(Stroke::solid(colour, width)),
            });
        }
    };
    stroke(path(&|line| line.on_print), Colour::WHITE, 6.0 * WIDTH);
    stroke(path(&|_| true), Colour::BLACK, WIDTH);
}

/// From each corner of each cell outwards, in line with its two edges.
fn rays(cells: &[Cell], area: Rect<Front>, ticks: bool, without: &mut usize) -> Vec<Line> {
    let boxes: Vec<Rect<Front>> = cells.iter().map(|c| c.bleed.around(c.trim)).collect();
    let mut lines = Vec::new();
    for (i, cell) in cells.iter().enumerate() {
        let [left, top, right, bottom] = cell.bleed.edges();
        for (x, out_x, bleed_x) in [(cell.trim.min.x, -1.0, left), (cell.trim.max.x, 1.0, right)] {
            for (y, out_y, bleed_y) in
                [(cell.trim.min.y, -1.0, top), (cell.trim.max.y, 1.0, bottom)]
            {
                let up_down = Ray::new(y, x, out_y, bleed_y, false);
                let sideways = Ray::new(x, y, out_x, bleed_x, true);
                for ray in [up_down, sideways] {
                    match ray.mark(i, &boxes, area, ticks) {
                        Mark::Here(line) => lines.push(line),
                        Mark::Blocked => {}
                        Mark::NoRoom => *without += 1,
                    }
                }
            }
        }
    }
    lines
}

/// A way outwards from the corner of a trim, along x where `level`, else along y.
struct Ray {
    /// Where it starts along its way.
    start: f64,
    /// Where it lies across its way.
    at: f64,
    /// Its sense.
    sense: f64,
    bleed: f64,
    level: bool,
}

enum Mark {
    Here(Line),
    /// A neighbour is in the way, whose own marks do.
    Blocked,
    NoRoom,
}

impl Ray {
    fn new(start: f64, at: f64, sense: f64, bleed: f64, level: bool) -> Self {
        Self {
            start,
            at,
            sense,
            bleed,
            level,
        }
    }

    /// From where to where a rectangle reaches along this way, and across it.
    fn spans(&self, r: Rect<Front>) -> ((f64, f64), (f64, f64)) {
        let (x, y) = ((r.min.x, r.max.x), (r.min.y, r.max.y));
        if self.level { (x, y) } else { (y, x) }
    }

    /// How far away along the way a place is.
    fn distance(&self, place: f64) -> f64 {
        (place - self.start) * self.sense
    }

    fn mark(&self, own: usize, boxes: &[Rect<Front>], area: Rect<Front>, ticks: bool) -> Mark {
        let (along, across) = self.spans(area);
        let end = self.distance(if self.sense > 0.0 { along.1 } else { along.0 });
        if !(across.0 - SAME..=across.1 + SAME).contains(&self.at) {
            return Mark::NoRoom;
        }
        let mut room = end;
        for (_, other) in boxes.iter().enumerate().filter(|&(j, _)| j != own) {
            let (along, across) = self.spans(*other);
            let near = self.distance(if self.sense > 0.0 { along.0 } else { along.1 });
            let beside = (across.0 - SAME..=across.1 + SAME).contains(&self.at);
            if beside && near > -SAME {
                room = room.min(near);
            }
        }
        let blocked = room < end - SAME;
        if blocked && (ticks || room < 2.0 * (self.bleed + CLEAR) + SHORTEST) {
            return Mark::Blocked;
        }
        let (mut from, mut to) = if ticks {
            ((self.bleed + CLEAR).max(end - LENGTH), end)
        } else {
            let from = self.bleed + CLEAR;
            (from, room.min(from + LENGTH))
        };
        let mut on_print = false;
        if to - from < SHORTEST {
            if blocked {
                return Mark::Blocked;
            }
            (from, to) = (FROM_TRIM, end.min(FROM_TRIM + LENGTH));
            on_print = true;
            if to - from < SHORTEST {
                return Mark::NoRoom;
            }
        }
        let place = |distance: f64| {
            let along = self.start + self.sense * distance;
            if self.level {
                Point::new(along, self.at)
            } else {
                Point::new(self.at, along)
            }
        };
        Mark::Here(Line {
            from: place(from),
            to: place(to),
            on_print,
        })
    }
}

/// Each line once, in a fixed order.
fn tidy(lines: &mut Vec<Line>) {
    for line in lines.iter_mut() {
        let (a, b) = (line.from, line.to);
        if (b.x, b.y) < (a.x, a.y) {
            (line.from, line.to) = (b, a);
        }
    }
    let key =
        |l: &Line| [l.from.y, l.from.x, l.to.y, l.to.x].map(|mm| (mm * 1000.0).round() as i64);
    lines.sort_by_key(key);
    lines.dedup_by_key(|line| key(line));
}

/// The outline of each cell as it is trimmed; between neighbours that share a cut, one line.
fn trim_lines(cells: &[Cell]) -> Vec<Path> {
    let mut lines = Vec::new();
    let mut paths = Vec::new();
    for cell in cells {
        let [a, b, c, d] = cell.trim.corners();
        match cell.shape {
            Shape::Rect { .. } => {
                lines.extend([(a, b), (d, c), (a, d), (b, c)].map(|(from, to)| Line {
                    from,
                    to,
                    on_print: false,
                }));
            }
            shape => paths.push(outline(shape, cell.turn, cell.trim)),
        }
    }
    tidy(&mut lines);
    let line = |l: &Line| Path::line(l.from.x, l.from.y, l.to.x, l.to.y);
    paths.extend(lines.iter().map(line));
    paths
}

/// The outline of a shape as it lies on the sheet.
pub(crate) fn outline<F: Frame>(shape: Shape, turn: QuarterTurn, trim: Rect<F>) -> Path {
    let centre = trim.centre();
    turned(shape, turn).outline(Point::new(centre.x, centre.y))
}

/// The four round corners of a card, without the straight edges between them.
fn corner_arcs(cell: &Cell) -> Option<Path> {
    let Shape::Rect { corner_radius, .. } = cell.shape else {
        return None;
    };
    if corner_radius <= 0.0 {
        return None;
    }
    let mut arcs = Path::default();
    let mut at = Point::new(0.0, 0.0);
    for segment in outline(cell.shape, cell.turn, cell.trim).segments {
        match segment {
            Segment::Move(p) | Segment::Line(p) => at = p,
            Segment::Curve(_, _, end) => {
                arcs.segments.extend([Segment::Move(at), segment]);
                at = end;
            }
            Segment::Close => {}
        }
    }
    Some(arcs)
}

/// An outline of the front's plane where `across` brings it.
fn mapped(path: &Path, across: &Map<Front, Page>) -> Path {
    let to = |p: Point<Page>| across.apply(Point::new(p.x, p.y));
    let step = |segment: &Segment| match *segment {
        Segment::Move(p) => Segment::Move(to(p)),
        Segment::Line(p) => Segment::Line(to(p)),
        Segment::Curve(a, b, c) => Segment::Curve(to(a), to(b), to(c)),
        Segment::Close => Segment::Close,
    };
    Path {
        segments: path.segments.iter().map(step).collect(),
    }
}
