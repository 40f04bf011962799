//! Finding cells in the picture of a page alone: a scan, or a page that was made one picture.
//!
//! The picture is straightened first. Then each axis is told by itself: from lines that run along
//! cuts where there are any, else from how far the print reaches and at what step it repeats. Boxes
//! of the cards' own size, or about their middles, tell both axes at once.

mod axis;
mod boxes;
mod cards;
mod clusters;
mod forms;
mod lines;
mod plane;
#[cfg(test)]
mod tests;
mod tilt;

use image::GrayImage;
use tympan_sheet::{Affine, Angle, Page, Point, Rect, Size, Vector, nearest_card};

use crate::findings::{Bleed, Evidence, Grid};
use axis::{Axis, Lined, Print, Reach};
use boxes::Found;
use cards::Cards;
use plane::Plane;

/// The shortest and the longest side of a cell, mm.
const SIDES: (f64, f64) = (20.0, 165.0);

/// The share of a cell that holds something that is at least printed.
const LEAST_INK: f64 = 0.004;

/// The share of a page's print that its cells must hold.
const LEAST_HELD: f64 = 0.8;

/// How well the edge of print and the middle of a line are read, mm (from files with known truth at
/// 150 dpi).
const EDGE_SD: f64 = 0.04;
const LINE_SD: f64 = 0.02;

/// How well steps are told by what repeats, mm (from files that nothing was tuned on).
const REPEAT_SD: f64 = 0.065;

/// The same for lines that are seen along print only, mm (from files that nothing was tuned on).
const OVER_SD: f64 = 0.07;

/// How far the edges of print lie off the cuts where no lines tell these, mm (from files that nothing
/// was tuned on).
const PRINT_SD: f64 = 0.1;

/// The least and the most bleed that is looked for, mm: lines around cards reach less far.
const LEAST_BLEED: f64 = 0.4;
const MOST_BLEED: f64 = 5.0;

/// What a frame leaves on each side of a card at most, mm.
const FRAME_MM: f64 = 6.0;

/// How far off cells may lie of which nothing shows the edges, mm, at least.
const UNKNOWN_MM: f64 = 2.0;

/// Lines that are cuts explain at least this share of all lines, where nothing else bears them out.
const CLEAR: f64 = 0.9;

/// How sure one is of cells that only other pages can tell.
const DOUBTED: f64 = 0.3;

/// The same where they look like those of a form.
const FORM: f64 = 0.1;

/// The most pairs of axes that are kept for other pages to tell.
const MOST_CROSSED: usize = 6;

/// Lines along the cuts of cards lie no farther off the middle of the print, mm, unless the file is
/// at fault.
const OFF_MIDDLE: f64 = 0.4;

/// Gutters across and down differ by less than this, mm (a guess at common practice).
const UNEVEN: f64 = 6.0;

/// What the size of a usual card is worth, against lines at cuts (a guess).
const USUAL: f64 = 1.5;

/// A grid that is surer than this needs no other pages to bear it out.
const SURE: f64 = 0.5;

/// Finds the cells in the picture of a page of this size: grids, and where it is not sure of them,
/// what other pages may tell to be cells.
pub(super) fn find(picture: &GrayImage, px_per_mm: f64, size: Size) -> (Vec<Grid>, Vec<Grid>) {
    if picture.width() < 100 || picture.height() < 100 {
        return (Vec::new(), Vec::new());
    }
    let tilt = tilt::of(picture);
    let across = Plane::straight(picture, tilt);
    let down = across.transposed();
    let x = Told::of(&across, &down, px_per_mm);
    let y = Told::of(&down, &across, px_per_mm);
    let page = Flat {
        across: &across,
        down: &down,
        px_per_mm,
        to_page: Affine::tilt(Angle::radians(tilt), Rect::<Page>::whole(size).centre()),
        tilt,
    };
    let boxes = boxes::find(&across, &down, px_per_mm);
    let (grid, mut loose) = page.grid(&x, &y, &boxes);
    let sure = grid.as_ref().is_some_and(|grid| grid.confidence >= SURE);
    loose.extend(page.crossed(&x, &y));
    if !sure {
        loose.extend(page.apart(&x, &y));
    }
    (grid.into_iter().collect(), loose)
}

/// Tells which cells of a grid hold something, in a picture of its page.
pub(super) fn fill(grid: &mut Grid, picture: &GrayImage, px_per_mm: f64) {
    const SAMPLES: usize = 60;
    let to_page = grid.to_page();
    let holds = |(column, row): (usize, usize)| {
        let corner = Vector::new(column as f64 * grid.pitch.x, row as f64 * grid.pitch.y);
        let inside = Rect::at(Point::<Page>::new(0.0, 0.0) + corner, grid.trim).grown(-1.5);
        let size = inside.size();
        let part = |i: usize| (i as f64 + 0.5) / SAMPLES as f64;
        let ink = (0..SAMPLES * SAMPLES).filter(|i| {
            let by = Vector::new(part(i % SAMPLES) * size.w, part(i / SAMPLES) * size.h);
            let at = to_page.apply(inside.min + by);
            let (x, y) = (at.x * px_per_mm, at.y * px_per_mm);
            let pixel = (x >= 0.0 && y >= 0.0)
                .then(|| picture.get_pixel_checked(x as u32, y as u32))
                .flatten();
            pixel.is_some_and(|pixel| f32::from(pixel.0[0]) < plane::PAPER)
        });
        ink.count() as f64 > LEAST_INK * (SAMPLES * SAMPLES) as f64
    };
    let filled: Vec<bool> = grid.cells().map(holds).collect();
    if filled.contains(&true) {
        grid.filled = filled;
    }
}

/// What is told of one axis.
struct Told {
    /// From lines that stick out of the print, the likeliest first.
    marks: Vec<Lined>,
    /// From lines within the print, the outermost first.
    outline: Vec<Axis>,
    /// From lines anywhere, the likeliest first.
    frames: Vec<Lined>,
    /// From the print alone.
    print: Option<Print>,
    reach: Reach,
}

impl Told {
    /// Along the x axis of this plane; `other` is the same transposed.
    fn of(plane: &Plane, other: &Plane, px_per_mm: f64) -> Self {
        let none = |plane: &Plane| Reach::nothing(plane.w as f64 / px_per_mm / 2.0);
        let reach = axis::reach(plane, px_per_mm).unwrap_or_else(|| none(plane));
        let block = axis::reach(other, px_per_mm).unwrap_or_else(|| none(other));
        let outside = lines::down(plane, px_per_mm, Some((block.from, block.to)));
        let marks = axis::from_lines(&lines::places(outside), &reach);
        let print = axis::from_repeats(plane, &reach, px_per_mm);
        let all = lines::places(lines::down(plane, px_per_mm, None));
        let outline = print.map_or_else(Vec::new, |print| axis::within(&print.axis, &all));
        Self {
            marks,
            outline,
            frames: axis::from_lines(&all, &reach),
            print,
            reach,
        }
    }
}

impl Told {
    /// Whether lines and print tell of the same steps.
    fn agrees(&self, lines: &Axis) -> bool {
        self.print.is_some_and(|Print { axis, .. }| {
            (axis.pitch - lines.pitch).abs() <= 0.25 && axis.count <= lines.count
        })
    }

    /// The marks, unless the print clearly has several cells where they show one.
    fn trusted(&self) -> impl Iterator<Item = &Lined> {
        let several = (self.print).is_some_and(|print| print.axis.count > 1 && print.alike >= 0.45);
        (self.marks.iter()).filter(move |marks| marks.axis.count > 1 || !several)
    }

    /// Lines along the cuts, the surest first.
    fn cuts(&self) -> impl Iterator<Item = Axis> {
        let reaches = |axis: &Axis| {
            let long = |print: Print| axis.length >= print.axis.length - 0.3;
            self.agrees(axis) && self.print.is_some_and(long)
        };
        let marks = self.trusted().map(|lined| lined.axis);
        let frames = self.frames.iter().map(|lined| lined.axis);
        (marks.chain(self.outline.iter().copied())).chain(frames.filter(reaches))
    }

    /// The surest of them.
    fn cut(&self) -> Option<Axis> {
        self.cuts().next()
    }

    /// Cells as long as their pitch about the middles of print that does not reach their edges.
    fn spread(&self, axis: Axis) -> Axis {
        if self.reach.sharp || axis.count < 2 {
            return axis;
        }
        axis.inset((axis.length - axis.pitch) / 2.0)
    }
}

/// Two axes, what they were told from, and how surely.
struct Choice {
    x: Axis,
    y: Axis,
    lined: bool,
    known: bool,
    bleed: Option<f64>,
    alike: f64,
    /// How far cells go on beyond what was found of them, at most, mm: they are taken to lie about
    /// its middle.
    slack: f64,
    /// How far lines lie off the middle of the print, mm, where both tell.
    apart: f64,
}

impl Choice {
    /// Cards that boxes tell of.
    fn of_cards(cards: Cards, known: bool) -> Self {
        Self {
            x: cards.x,
            y: cards.y,
            lined: known && cards.outlined,
            known,
            bleed: cards.bleed,
            alike: 1.0,
            slack: cards.slack,
            apart: 0.0,
        }
    }
}

/// What lines, edges and repeats of both axes say together, where they bear each other out.
fn known(x: &Told, y: &Told) -> Option<Choice> {
    let told = sharp(x, y).or_else(|| lined(x, y));
    (told.or_else(|| borne_out(x, y))).or_else(|| crossed(x, y))
}

/// Whether the gutters across are much wider than those down, or the other way round: cells are laid
/// out evenly, and what leaves such gutters is mostly a line within the cards and one along them.
fn uneven(x: &Axis, y: &Axis) -> bool {
    x.count > 1 && y.count > 1 && (x.gutter() - y.gutter()).abs() > UNEVEN
}

/// A choice that edges and repeats tell, without lines.
fn printed(x: &Told, y: &Told, axes: (Axis, Axis), bleed: Option<f64>) -> Option<Choice> {
    Some(Choice {
        x: axes.0,
        y: axes.1,
        lined: false,
        known: true,
        bleed,
        alike: x.print?.alike.min(y.print?.alike),
        slack: 0.0,
        apart: 0.0,
    })
}

/// Print of a usual card's size with straight ends.
fn sharp(x: &Told, y: &Told) -> Option<Choice> {
    let (px, py) = (x.print?.axis, y.print?.axis);
    let sharp = x.reach.sharp && y.reach.sharp;
    (sharp && usual(px.length, py.length, 0.2)).then(|| printed(x, y, (px, py), None))?
}

/// Marks beside the cells on both axes. Frames within white cards stick out of what is printed in
/// them, too: usual cards are likelier, and others must be all that lines tell.
fn marked(x: &Told, y: &Told) -> Option<Choice> {
    let usual = |(a, b): &(&Lined, &Lined)| usual(a.axis.length, b.axis.length, 0.35);
    let all = x.trusted().flat_map(|a| y.trusted().map(move |b| (a, b)));
    let worth = |pair: &(&Lined, &Lined)| {
        let likely = if usual(pair) { USUAL } else { 0.0 };
        pair.0.score + pair.1.score + likely
    };
    // The first of the best.
    let best = all.min_by(|a, b| worth(b).total_cmp(&worth(a)))?;
    let clear = best.0.explained.min(best.1.explained) >= CLEAR;
    Some(Choice {
        known: usual(&best) || clear,
        bleed: None,
        ..along_cuts(x, y, (best.0.axis, best.1.axis))
    })
}

/// All pairs of axes, those first whose places in their lists are lowest.
fn pairs(x: impl Iterator<Item = Axis>, y: impl Iterator<Item = Axis>) -> Vec<(Axis, Axis)> {
    let (x, y): (Vec<Axis>, Vec<Axis>) = (x.collect(), y.collect());
    let mut all: Vec<(usize, (Axis, Axis))> = (x.iter().enumerate())
        .flat_map(|(i, x)| (y.iter().enumerate()).map(move |(j, y)| (i + j, (*x, *y))))
        .collect();
    all.sort_by_key(|(place, _)| *place);
    all.into_iter().map(|(_, pair)| pair).collect()
}

/// Lines along the cuts of usual cards on both axes.
fn lined(x: &Told, y: &Told) -> Option<Choice> {
    let fits = |(x, y): &(Axis, Axis)| usual(x.length, y.length, 0.35);
    // Lines that only happen to be there lie off the middle of the print; marks beside it may.
    let middle = |axes: &(Axis, Axis)| apart((x, axes.0), (y, axes.1)) <= OFF_MIDDLE;
    let marks = |told: &Told| -> Vec<Axis> { told.trusted().map(|lined| lined.axis).collect() };
    let cuts = pairs(x.cuts(), y.cuts());
    let likely = || cuts.iter().filter(|axes| fits(axes) && middle(axes));
    let axes = (likely().find(|(x, y)| !uneven(x, y)).copied())
        .or_else(|| {
            let marked = pairs(marks(x).into_iter(), marks(y).into_iter());
            marked.into_iter().find(fits)
        })
        .or_else(|| likely().next().copied())?;
    Some(along_cuts(x, y, axes))
}

/// Lines anywhere that make usual cards of nearly all lines there are, whatever the print repeats.
fn crossed(x: &Told, y: &Told) -> Option<Choice> {
    let clear = |told: &Told| -> Vec<Axis> {
        let clear = told.frames.iter().filter(|lined| lined.explained >= CLEAR);
        clear.map(|lined| lined.axis).collect()
    };
    let fits = |(x, y): &(Axis, Axis)| x.count * y.count >= 4 && usual(x.length, y.length, 0.35);
    let all = pairs(clear(x).into_iter(), clear(y).into_iter());
    Some(along_cuts(x, y, all.into_iter().find(fits)?))
}

/// A choice of cuts that lines tell.
fn along_cuts(x: &Told, y: &Told, axes: (Axis, Axis)) -> Choice {
    let bleed = (x.print).map(|print| (print.axis.length - axes.0.length) / 2.0);
    Choice {
        x: axes.0,
        y: axes.1,
        lined: true,
        known: true,
        bleed: bleed.filter(|bleed| (LEAST_BLEED..=MOST_BLEED).contains(bleed)),
        alike: 1.0,
        slack: 0.0,
        apart: apart((x, axes.0), (y, axes.1)),
    }
}

/// How far the middle of the print lies off the middle of cells that lines tell, mm; 0 where the
/// print has no straight edges that go on beyond the cells equally far on both axes: then it is not
/// the cells' edges that are seen.
fn apart(x: (&Told, Axis), y: (&Told, Axis)) -> f64 {
    const SAME: f64 = 0.3;
    let of = |(told, lines): (&Told, Axis)| {
        let print = told.print.filter(|print| print.axis.count == lines.count)?;
        let beyond = print.axis.length - lines.length;
        let middle = |axis: &Axis| axis.start + axis.length / 2.0;
        let tells = told.reach.sharp && told.agrees(&lines) && beyond > -SAME;
        tells.then(|| (beyond, middle(&print.axis) - middle(&lines)))
    };
    match (of(x), of(y)) {
        (Some((wider, dx)), Some((longer, dy))) if (wider - longer).abs() <= SAME => dx.hypot(dy),
        _ => 0.0,
    }
}

/// Print that makes usual cards with what else is known of one axis or of both.
fn borne_out(x: &Told, y: &Told) -> Option<Choice> {
    let (px, py) = (x.print?.axis, y.print?.axis);
    let sharp = x.reach.sharp && y.reach.sharp;
    if let Some(by) = inset(px.length, py.length).filter(|_| sharp) {
        return printed(x, y, (px.inset(by), py.inset(by)), Some(by));
    }
    let mixed = (x.cuts().map(|x| (x, py))).chain(y.cuts().map(|y| (px, y)));
    let fits = |(x, y): &(Axis, Axis)| usual(x.length, y.length, 0.35);
    if let Some(axes) = mixed.into_iter().find(fits) {
        return printed(x, y, axes, None);
    }
    let spread = (x.spread(px), y.spread(py));
    let several = px.count > 1 && py.count > 1;
    if !(several && usual(spread.0.length, spread.1.length, 0.2)) {
        return None;
    }
    Some(Choice {
        slack: slack((px, spread.0), (py, spread.1)),
        ..printed(x, y, spread, None)?
    })
}

/// What they say where nothing bears it out.
fn guessed(x: &Told, y: &Told) -> Option<Choice> {
    let (print_x, print_y) = (x.print?, y.print?);
    let (px, py) = (print_x.axis, print_y.axis);
    let choice = |x: Axis, y: Axis, lined: bool| Choice {
        x,
        y,
        lined,
        known: false,
        bleed: None,
        alike: print_x.alike.min(print_y.alike),
        slack: 0.0,
        apart: 0.0,
    };
    let full = |axis: &Axis| axis.length >= 0.8 * axis.pitch;
    if let (Some(x), Some(y)) = (x.cut().filter(full), y.cut().filter(full)) {
        return Some(choice(x, y, true));
    }
    // One that stands alone must at least have straight ends.
    let stands = |told: &Told, axis: &Axis| axis.count > 1 || told.reach.sharp;
    let fine = print_x.fine || print_y.fine;
    if fine || !(stands(x, &px) && stands(y, &py)) {
        return None;
    }
    let (spread_x, spread_y) = (x.spread(px), y.spread(py));
    Some(Choice {
        slack: slack((px, spread_x), (py, spread_y)).max(UNKNOWN_MM),
        ..choice(spread_x, spread_y, false)
    })
}

/// How far cells were spread beyond the print, mm.
fn slack(x: (Axis, Axis), y: (Axis, Axis)) -> f64 {
    let by = |(print, cell): (Axis, Axis)| (cell.length - print.length) / 2.0;
    by(x).max(by(y)).max(0.0)
}

/// Whether a card of this size is a usual one, within some mm.
fn usual(w: f64, h: f64, within: f64) -> bool {
    nearest_card(Size::new(w, h)).is_some_and(|(card, _)| {
        let (a, b) = (card.trim.portrait(), Size::new(w, h).portrait());
        a.is_close(b, within)
    })
}

/// A straightened page that is one picture.
struct Flat<'a> {
    across: &'a Plane,
    down: &'a Plane,
    px_per_mm: f64,
    /// From the straightened page to the page as seen.
    to_page: Affine<Page>,
    tilt: f64,
}

impl Flat<'_> {
    /// The surest grid that the page bears out, and those that look like forms. Only lines are told
    /// where nothing is more than that.
    fn grid(&self, x: &Told, y: &Told, boxes: &[Found]) -> (Option<Grid>, Vec<Grid>) {
        let mut forms = Vec::new();
        let mut bear_out = |choice: Choice| {
            let grid = self.checked(&choice)?;
            if grid.confidence > FORM {
                return Some(grid);
            }
            forms.push(grid);
            None
        };
        let of = |cards: Option<Cards>, known| Some(Choice::of_cards(cards?, known));
        let marked = marked(x, y);
        let is_marked = marked.is_some();
        let grid = match marked {
            Some(choice) => bear_out(choice),
            None => (cards::cut(boxes).find_map(|cards| bear_out(Choice::of_cards(cards, true))))
                .or_else(|| bear_out(known(x, y)?))
                .or_else(|| bear_out(of(cards::bleeding(boxes), true)?))
                .or_else(|| bear_out(of(cards::apart(boxes), true)?))
                .or_else(|| bear_out(of(cards::about(boxes), false)?)),
        };
        if grid.is_some() || is_marked || !forms.is_empty() {
            return (grid, forms);
        }
        (self.guess(x, y, boxes), forms)
    }

    /// What repeats, where nothing bears it out and nothing speaks against its being cards.
    fn guess(&self, x: &Told, y: &Told, boxes: &[Found]) -> Option<Grid> {
        let guess = guessed(x, y)?;
        let steps = (guess.x.pitch, guess.y.pitch);
        let written = cards::areas_at(boxes, steps).is_some_and(|pictures| {
            let axes = (&pictures.x, &pictures.y);
            forms::written(self.across, self.px_per_mm, axes, false)
        });
        if written || cards::are_fields(boxes, steps) {
            return None;
        }
        self.checked(&guess).filter(|grid| grid.confidence > FORM)
    }

    /// Lines that make usual cards: other pages may tell which of them are cells.
    fn crossed(&self, x: &Told, y: &Told) -> Vec<Grid> {
        let lines =
            |told: &Told| -> Vec<Axis> { told.frames.iter().map(|lined| lined.axis).collect() };
        let fits = |(x, y): &(Axis, Axis)| x.count * y.count > 1 && usual(x.length, y.length, 0.35);
        let crossed = pairs(lines(x).into_iter(), lines(y).into_iter());
        (crossed.into_iter().filter(fits))
            .filter_map(|axes| {
                let grid = self.checked(&along_cuts(x, y, axes))?;
                Some(Grid {
                    confidence: DOUBTED,
                    ..grid
                })
            })
            .take(MOST_CROSSED)
            .collect()
    }

    /// All print as one frame, and print that stands apart from other print: other pages may tell
    /// whether they are cells.
    fn apart(&self, x: &Told, y: &Told) -> Vec<Grid> {
        let block = self.block(&x.reach, &y.reach);
        let apart = clusters::find(self.across, self.px_per_mm);
        (block.into_iter())
            .chain(apart.into_iter().map(|rect| self.lone(rect, 2.0)))
            .collect()
    }

    /// The grid of a choice that the page bears out.
    fn checked(&self, choice: &Choice) -> Option<Grid> {
        let trim = Size::new(choice.x.length, choice.y.length);
        let side = |length: f64| (SIDES.0..=SIDES.1).contains(&length);
        // As with marks: nobody lays cards further apart than half of one.
        let close = |axis: &Axis| axis.gutter() < axis.length / 2.0;
        if !(side(trim.w) && side(trim.h) && close(&choice.x) && close(&choice.y)) {
            return None;
        }
        let several = choice.x.count * choice.y.count > 1;
        // Steps alone must be clearer where nothing else tells of cards.
        let least = if choice.known { 0.3 } else { 0.45 };
        let sure = choice.lined
            || if several {
                choice.alike >= least
            } else {
                choice.known
            };
        let held = self.holds(&choice.x, &choice.y) >= LEAST_HELD;
        if !(sure && held && (choice.lined || self.on_page(&choice.x, &choice.y))) {
            return None;
        }
        let (across, down) = if choice.lined {
            (
                self.along_lines(self.across, &choice.x, &choice.y),
                self.along_lines(self.down, &choice.y, &choice.x),
            )
        } else {
            (Along::edges(choice.x), Along::edges(choice.y))
        };
        self.told(choice, across, down)
    }

    /// Whether all cells lie on the page.
    fn on_page(&self, across: &Axis, down: &Axis) -> bool {
        const OFF: f64 = 2.0;
        let within = |axis: &Axis, px: usize| {
            let end = axis.at(axis.count - 1) + axis.length;
            axis.start >= -OFF && end <= px as f64 / self.px_per_mm + OFF
        };
        within(across, self.across.w) && within(down, self.across.h)
    }

    /// An axis by the lines beyond the cells and between them: what runs along a card may be
    /// covered by it in part.
    fn along_lines(&self, plane: &Plane, axis: &Axis, other: &Axis) -> Along {
        let Some(cuts) = axis::cuts_beyond(plane, axis, other, self.px_per_mm) else {
            return Along {
                axis: *axis,
                sd: OVER_SD,
                slope: (0.0, 0.0),
            };
        };
        let (axis, squares) = axis::through(axis, &cuts.places);
        let beyond = cuts.places.len().saturating_sub(3);
        // Few lines tell little of how well they are read: what is usual is taken in.
        const USUAL: f64 = 4.0;
        let sd = (USUAL * LINE_SD * LINE_SD + squares) / (USUAL + beyond as f64);
        Along {
            axis,
            sd: sd.sqrt(),
            slope: cuts.slope,
        }
    }

    fn told(&self, choice: &Choice, across: Along, down: Along) -> Option<Grid> {
        let tilt = left_tilt(&across, &down);
        let sd = across.sd.max(down.sd);
        let (across, down) = (across.axis, down.axis);
        let trim = Size::new(across.length, down.length);
        let cells =
            (0..down.count).flat_map(|row| (0..across.count).map(move |column| (column, row)));
        let inked: Vec<f64> = cells
            .map(|(column, row)| {
                let rect = Rect::at(Point::new(across.at(column), down.at(row)), trim);
                self.across.inked(rect.grown(-1.5), self.px_per_mm)
            })
            .collect();
        // Lines that go on beyond the cells are there to cut along.
        let form = !(choice.lined && sd < OVER_SD)
            && forms::are(
                self.across,
                self.px_per_mm,
                (&across, &down),
                &inked,
                choice.lined || choice.known,
            );
        let mut filled: Vec<bool> = inked.iter().map(|share| *share > LEAST_INK).collect();
        if !filled.contains(&true) {
            // Lines around nothing are cards only where they are those of cards.
            if !(choice.lined && choice.known && filled.len() >= 4) {
                return None;
            }
            filled.fill(true);
        }
        let step = |axis: &Axis| {
            if axis.count > 1 {
                axis.pitch
            } else {
                axis.length
            }
        };
        let several = across.count * down.count > 1;
        let confidence = match (choice.lined, choice.known, several) {
            _ if form => FORM,
            // Where the cards lie about what is seen of them is no more than guessed.
            (false, true, _) if choice.slack > FRAME_MM => 0.49,
            // Lines that only happen to be there make usual cards, too.
            (_, true, _) if uneven(&across, &down) => 0.49,
            (true, true, true) => 0.95,
            (true, true, false) | (false, true, true) => 0.8,
            (false, true, false) => 0.6,
            // Half of those that nothing else bears out are wrong in something.
            (true, false, _) => 0.49,
            (false, false, _) => 0.49 * choice.alike.min(1.0),
        };
        let each =
            |axis: &Axis, of: f64, floor: f64| (sd * (of / axis.count as f64).sqrt()).max(floor);
        // A lone row or column has no step of its own.
        let stepped = |axis: &Axis| {
            let n = axis.count as f64;
            if axis.count > 1 {
                sd * (6.0 / (n * (n * n - 1.0))).sqrt()
            } else {
                0.0
            }
        };
        let known = choice.known;
        let place_sd = each(&across, 0.5, 0.012).max(each(&down, 0.5, 0.012));
        let place_sd = place_sd.max(match choice.lined {
            true if sd >= OVER_SD => OVER_SD,
            true => EDGE_SD / 3.0,
            false => PRINT_SD,
        });
        let place_sd = place_sd.hypot(off_middle_sd(choice.slack));
        let trim_sd = each(&across, 2.0, 0.015).max(each(&down, 2.0, 0.015));
        Some(Grid {
            columns: across.count,
            rows: down.count,
            trim,
            pitch: Vector::new(step(&across), step(&down)),
            origin: self
                .to_page
                .apply(about(&across, &down, tilt).apply(Point::new(across.start, down.start))),
            rotation: Angle::radians(self.tilt + tilt),
            place_sd,
            pitch_sd: (stepped(&across).max(stepped(&down))).max(if choice.lined {
                0.008
            } else {
                REPEAT_SD
            }),
            trim_sd: if known { trim_sd } else { 2.0 },
            confidence,
            found_by: if choice.lined {
                vec![Evidence::Lines, Evidence::Pixels]
            } else {
                vec![Evidence::Pixels]
            },
            disagreement: choice.apart,
            filled,
            bleed: choice.bleed.map(|by| Bleed {
                least: by,
                usual: by,
            }),
            corner_radius: None,
        })
    }

    /// All print as one frame, where it has straight edges.
    fn block(&self, x: &Reach, y: &Reach) -> Option<Grid> {
        let whole = Rect {
            min: Point::new(x.from, y.from),
            max: Point::new(x.to, y.to),
        };
        let size = whole.size();
        let large = size.w > SIDES.0 && size.h > SIDES.0;
        (x.sharp && y.sharp && large).then(|| self.lone(whole, EDGE_SD))
    }

    /// A frame that may be a cell or some; `sd` is that of its edges, mm.
    fn lone(&self, rect: Rect<Page>, sd: f64) -> Grid {
        let trim = rect.size();
        Grid {
            columns: 1,
            rows: 1,
            trim,
            pitch: Vector::new(trim.w, trim.h),
            origin: self.to_page.apply(rect.min),
            rotation: Angle::radians(self.tilt),
            place_sd: sd,
            pitch_sd: sd,
            trim_sd: 1.5 * sd,
            confidence: 0.3,
            found_by: vec![Evidence::Pixels],
            disagreement: 0.0,
            filled: vec![true],
            bleed: None,
            corner_radius: None,
        }
    }

    /// The share of all print that lies in the cells and close around them.
    fn holds(&self, across: &Axis, down: &Axis) -> f64 {
        let (plane, px_per_mm) = (self.across, self.px_per_mm);
        let whole = Size::new(plane.w as f64 / px_per_mm, plane.h as f64 / px_per_mm);
        let end = |axis: &Axis| axis.at(axis.count - 1) + axis.length;
        let block = Rect::<Page> {
            min: Point::new(across.start, down.start),
            max: Point::new(end(across), end(down)),
        };
        let ink = |rect: Rect<Page>| {
            let size = rect.size();
            plane.inked(rect, px_per_mm) * size.w * size.h
        };
        let around = block.grown(MOST_BLEED);
        let (min, max) = (around.min, around.max);
        let near = Rect {
            min: Point::new(min.x.max(0.0), min.y.max(0.0)),
            max: Point::new(max.x.min(whole.w), max.y.min(whole.h)),
        };
        ink(near) / ink(Rect::whole(whole)).max(1e-9)
    }
}

/// An axis, the standard uncertainty of one cut, and how lines along the cuts still slope in the
/// straightened page, with its standard uncertainty (0 where nothing tells).
#[derive(Clone, Copy, Debug)]
struct Along {
    axis: Axis,
    sd: f64,
    slope: (f64, f64),
}

impl Along {
    fn edges(axis: Axis) -> Self {
        Self {
            axis,
            sd: EDGE_SD,
            slope: (0.0, 0.0),
        }
    }
}

/// The tilt that straightening left, clockwise as seen, by lines down the page and across it.
fn left_tilt(across: &Along, down: &Along) -> f64 {
    let (mut sum, mut weight) = (0.0, 0.0);
    for (tilt, sd) in [
        (-across.slope.0, across.slope.1),
        (down.slope.0, down.slope.1),
    ] {
        if sd > 0.0 {
            sum += tilt / (sd * sd);
            weight += 1.0 / (sd * sd);
        }
    }
    if weight > 0.0 { sum / weight } else { 0.0 }
}

/// A tilt about the middle of the cells.
fn about(across: &Axis, down: &Axis, tilt: f64) -> Affine<Page> {
    let middle = |axis: &Axis| (axis.start + axis.at(axis.count - 1) + axis.length) / 2.0;
    Affine::tilt(
        Angle::radians(tilt),
        Point::new(middle(across), middle(down)),
    )
}

/// Standard uncertainty of the middle of a card that goes on beyond what is seen of it by as much as
/// `slack`, mm: frames are drawn even, anything else lies where it likes (a guess).
fn off_middle_sd(slack: f64) -> f64 {
    if slack <= FRAME_MM {
        0.05 * slack
    } else {
        0.6 * slack
    }
}

/// The bleed that would make a card of usual size of this.
fn inset(w: f64, h: f64) -> Option<f64> {
    let cards = tympan_sheet::USUAL_CARDS.iter();
    cards
        .flat_map(|card| [card.trim, card.trim.turned()])
        .map(|trim| ((w - trim.w) / 2.0, (h - trim.h) / 2.0))
        .filter(|(x, y)| (LEAST_BLEED..=MOST_BLEED).contains(x) && (x - y).abs() <= 0.1)
        .min_by(|a, b| (a.0 - a.1).abs().total_cmp(&(b.0 - b.1).abs()))
        .map(|(x, y)| (x + y) / 2.0)
}
