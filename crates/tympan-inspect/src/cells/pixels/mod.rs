//! Finding cells in the picture of a page alone: a scan, or a page that was made one picture.
//!
//! The picture is straightened first. Then each axis is told by itself: from lines that run along
//! cuts where there are any, else from how far the print reaches and at what step it repeats.

mod axis;
mod lines;
mod plane;
#[cfg(test)]
mod tests;
mod tilt;

use image::GrayImage;
use tympan_sheet::{Affine, Angle, Page, Point, Rect, Size, Vector, nearest_card};

use crate::findings::{Bleed, Evidence, Grid};
use axis::{Axis, Print, Reach};
use plane::Plane;

/// The shortest and the longest side of a cell, mm.
const SIDES: (f64, f64) = (20.0, 165.0);

/// The share of a page's print that its cells must hold.
const LEAST_HELD: f64 = 0.8;

/// The most bleed that is looked for, mm.
const MOST_BLEED: f64 = 5.0;

/// Finds the cells in the picture of a page of this size.
pub(super) fn find(picture: &GrayImage, px_per_mm: f64, size: Size) -> Vec<Grid> {
    if picture.width() < 100 || picture.height() < 100 {
        return Vec::new();
    }
    let tilt = tilt::of(picture);
    let across = Plane::straight(picture, tilt);
    let down = across.transposed();
    let x = Told::of(&across, &down, px_per_mm);
    let y = Told::of(&down, &across, px_per_mm);
    let (Some(x), Some(y)) = (x, y) else {
        return Vec::new();
    };
    grid(&x, &y, &across, px_per_mm, size, tilt)
        .into_iter()
        .collect()
}

/// What is told of one axis.
struct Told {
    /// From lines that stick out of the print.
    marks: Option<Axis>,
    /// From lines within the print.
    outline: Option<Axis>,
    /// From lines anywhere.
    frames: Option<Axis>,
    /// From the print alone.
    print: Option<Print>,
    reach: Reach,
}

impl Told {
    /// Along the x axis of this plane; `other` is the same transposed.
    fn of(plane: &Plane, other: &Plane, px_per_mm: f64) -> Option<Self> {
        let reach = axis::reach(plane, px_per_mm)?;
        let block = axis::reach(other, px_per_mm)?;
        let outside = lines::down(plane, px_per_mm, Some((block.from, block.to)));
        let marks = axis::from_lines(&lines::places(outside), &reach);
        let print = axis::from_repeats(plane, &reach, px_per_mm);
        let all = lines::places(lines::down(plane, px_per_mm, None));
        let outline = print.and_then(|print| axis::within(&print.axis, &all));
        Some(Self {
            marks,
            outline,
            frames: axis::from_lines(&all, &reach),
            print,
            reach,
        })
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
    fn trusted(&self) -> Option<Axis> {
        let several = (self.print).is_some_and(|print| print.axis.count > 1 && print.alike >= 0.45);
        self.marks.filter(|marks| marks.count > 1 || !several)
    }

    /// Lines along the cuts, the surest first.
    fn cut(&self) -> Option<Axis> {
        let reaches = |axis: &Axis| {
            let long = |print: Print| axis.length >= print.axis.length - 0.3;
            self.agrees(axis) && self.print.is_some_and(long)
        };
        (self.trusted().or(self.outline)).or(self.frames.filter(reaches))
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
}

/// What both axes say together.
fn choose(x: &Told, y: &Told) -> Option<Choice> {
    if let (Some(x), Some(y)) = (x.trusted(), y.trusted()) {
        return Some(Choice {
            x,
            y,
            lined: true,
            known: true,
            bleed: None,
            alike: 1.0,
        });
    }
    let (print_x, print_y) = (x.print?, y.print?);
    let (px, py) = (print_x.axis, print_y.axis);
    let choice = |x: Axis, y: Axis, lined: bool, known: bool, bleed: Option<f64>| Choice {
        x,
        y,
        lined,
        known,
        bleed,
        alike: print_x.alike.min(print_y.alike),
    };
    let sharp = x.reach.sharp && y.reach.sharp;
    if sharp && usual(px.length, py.length, 0.2) {
        return Some(choice(px, py, false, true, None));
    }
    let (cut_x, cut_y) = (x.cut(), y.cut());
    if let (Some(x), Some(y)) = (cut_x, cut_y)
        && usual(x.length, y.length, 0.35)
    {
        let bleed = (px.length - x.length) / 2.0;
        return Some(choice(x, y, true, true, (bleed > 0.2).then_some(bleed)));
    }
    if let Some(by) = inset(px.length, py.length).filter(|_| sharp) {
        return Some(choice(px.inset(by), py.inset(by), false, true, Some(by)));
    }
    for (x, y) in [(cut_x, Some(py)), (Some(px), cut_y)] {
        if let (Some(x), Some(y)) = (x, y)
            && usual(x.length, y.length, 0.35)
        {
            return Some(choice(x, y, false, true, None));
        }
    }
    let spread = (x.spread(px), y.spread(py));
    if px.count > 1 && py.count > 1 && usual(spread.0.length, spread.1.length, 0.2) {
        return Some(choice(spread.0, spread.1, false, true, None));
    }
    let full = |axis: &Axis| axis.length >= 0.8 * axis.pitch;
    if let (Some(x), Some(y)) = (cut_x.filter(full), cut_y.filter(full)) {
        return Some(choice(x, y, true, false, None));
    }
    // One that stands alone must at least have straight ends.
    let stands = |told: &Told, axis: &Axis| axis.count > 1 || told.reach.sharp;
    let fine = print_x.fine || print_y.fine;
    if fine || !(stands(x, &px) && stands(y, &py)) {
        return None;
    }
    Some(choice(spread.0, spread.1, false, false, None))
}

/// Whether a card of this size is a usual one, within some mm.
fn usual(w: f64, h: f64, within: f64) -> bool {
    nearest_card(Size::new(w, h)).is_some_and(|(card, _)| {
        let (a, b) = (card.trim.portrait(), Size::new(w, h).portrait());
        a.is_close(b, within)
    })
}

fn grid(x: &Told, y: &Told, plane: &Plane, px_per_mm: f64, size: Size, tilt: f64) -> Option<Grid> {
    let choice = choose(x, y)?;
    let (across, down) = (choice.x, choice.y);
    let trim = Size::new(across.length, down.length);
    let side = |length: f64| (SIDES.0..=SIDES.1).contains(&length);
    if !(side(trim.w) && side(trim.h)) {
        return None;
    }
    let several = across.count * down.count > 1;
    // Steps alone must be clearer where nothing else tells of cards.
    let least = if choice.known { 0.3 } else { 0.45 };
    let sure = choice.lined
        || if several {
            choice.alike >= least
        } else {
            choice.known
        };
    if !sure || holds(plane, px_per_mm, &across, &down) < LEAST_HELD {
        return None;
    }
    let centre = Rect::<Page>::whole(size).centre();
    let to_page = Affine::<Page>::tilt(Angle::radians(tilt), centre);
    let mut filled = Vec::new();
    for row in 0..down.count {
        for column in 0..across.count {
            let rect = Rect::at(Point::new(across.at(column), down.at(row)), trim);
            filled.push(plane.inked(rect.grown(-1.5), px_per_mm) > 0.004);
        }
    }
    if !filled.contains(&true) {
        return None;
    }
    let step = |axis: &Axis| {
        if axis.count > 1 {
            axis.pitch
        } else {
            axis.length
        }
    };
    let confidence = match (choice.lined, choice.known, several) {
        (true, true, true) => 0.95,
        (true, true, false) => 0.8,
        (false, true, true) => 0.8,
        (false, true, false) => 0.6,
        // Half of those that nothing else bears out are wrong in something.
        (true, false, _) => 0.49,
        (false, false, _) => 0.49 * choice.alike.min(1.0),
    };
    let known = choice.known;
    Some(Grid {
        columns: across.count,
        rows: down.count,
        trim,
        pitch: Vector::new(step(&across), step(&down)),
        origin: to_page.apply(Point::new(across.start, down.start)),
        rotation: Angle::radians(tilt),
        place_sd: if known { 0.06 } else { 1.0 },
        pitch_sd: 0.03,
        trim_sd: if known { 0.07 } else { 2.0 },
        confidence,
        found_by: if choice.lined {
            vec![Evidence::Lines, Evidence::Pixels]
        } else {
            vec![Evidence::Pixels]
        },
        disagreement: 0.0,
        filled,
        bleed: choice.bleed.map(|by| Bleed {
            least: by,
            usual: by,
        }),
        corner_radius: None,
    })
}

/// The share of all print that lies in the cells and close around them.
fn holds(plane: &Plane, px_per_mm: f64, across: &Axis, down: &Axis) -> f64 {
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

/// The bleed that would make a card of usual size of this.
fn inset(w: f64, h: f64) -> Option<f64> {
    let cards = tympan_sheet::USUAL_CARDS.iter();
    cards
        .flat_map(|card| [card.trim, card.trim.turned()])
        .map(|trim| ((w - trim.w) / 2.0, (h - trim.h) / 2.0))
        .filter(|(x, y)| (0.7..=MOST_BLEED).contains(x) && (x - y).abs() <= 0.1)
        .min_by(|a, b| (a.0 - a.1).abs().total_cmp(&(b.0 - b.1).abs()))
        .map(|(x, y)| (x + y) / 2.0)
}
