//! What the drawing of a page says about its cells: frames (areas, pictures, clips, outlines) and
//! straight lines, all brought to where they would be if the page's content lay straight.

use std::f64::consts::FRAC_PI_2;

use tympan_pdf::contents::{Contents, Element, Kind, Outline, Paint};
use tympan_sheet::{Affine, Angle, Page, Point, Rect, Size};

/// Frames with a shorter side than this are no cards, mm.
pub(super) const LEAST_SIDE: f64 = 18.0;

/// Frames with a longer side than this are no cards, mm.
pub(super) const MOST_SIDE: f64 = 185.0;

/// Filled boxes no wider than this are lines, mm.
const LINE: f64 = 0.75;

/// Content that is tilted more than this is not straightened, radians (3°).
const MOST_TILT: f64 = 0.0524;

/// A rectangle that something fills or is held to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Frame {
    /// Where, straightened.
    pub(super) rect: Rect<Page>,
    /// When it was painted.
    pub(super) order: usize,
    /// Whether it is only the line around an area.
    pub(super) outline: bool,
    /// The radius of its corners.
    pub(super) radius: f64,
}

/// A straight line along an axis: at `at` on the axis across it, from `from` to `to` along it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Stroke {
    pub(super) at: f64,
    pub(super) from: f64,
    pub(super) to: f64,
    pub(super) dashed: bool,
}

/// Everything, straightened.
#[derive(Clone, Debug, Default)]
pub(super) struct Drawn {
    /// How the content is tilted about the page's middle, clockwise as seen, radians.
    pub(super) tilt: f64,
    pub(super) frames: Vec<Frame>,
    /// Lines that run down the page; `at` is their x.
    pub(super) down: Vec<Stroke>,
    /// Lines that run across the page; `at` is their y.
    pub(super) across: Vec<Stroke>,
    /// The middles of all runs of text.
    pub(super) words: Vec<Point<Page>>,
    /// Whether one picture covers the page.
    pub(super) one_picture: bool,
}

/// Reads off a page's contents what may be cells and cuts.
pub(super) fn drawn(contents: &Contents) -> Drawn {
    let tilt = tilt_of(contents);
    let centre = Rect::<Page>::whole(contents.size).centre();
    let straighten = Affine::<Page>::tilt(Angle::radians(-tilt), centre);
    let mut drawn = Drawn {
        tilt,
        one_picture: is_one_picture(contents),
        ..Drawn::default()
    };
    let clips: Vec<Option<Rect<Page>>> = clip_rects(contents, &straighten);
    let page = visible(contents.size);
    for (order, element) in contents.elements.iter().enumerate() {
        let held = |rect: Rect<Page>| match element.clip {
            Some(clip) => clips[clip].and_then(|clip| rect.meet(clip)),
            None => rect.meet(page),
        };
        let mut add = |corners: &[Point<Page>; 4], outline: bool, radius: f64, grown: f64| {
            if !is_straight(corners, &straighten) {
                return;
            }
            if let Some(rect) = held(around(corners, &straighten).grown(grown)) {
                drawn.frame(rect, order, outline, radius);
            }
        };
        match &element.kind {
            Kind::Picture(picture) => add(&picture.corners(), false, 0.0, 0.0),
            Kind::Fill {
                outline: Outline::Box { corners, radius },
                ..
            } => match thin(corners) {
                Some(line) => drawn.line(line, &straighten, false),
                None => add(corners, false, *radius, 0.0),
            },
            Kind::Stroke {
                outline: Outline::Box { corners, radius },
                width,
                ..
            } => {
                // The middle of a thin line is the cut; a thick one is a border within it.
                let grown = if *width > LINE { width / 2.0 } else { 0.0 };
                add(corners, true, *radius, grown);
            }
            Kind::Stroke {
                outline, dashed, ..
            } => {
                for line in lines(outline) {
                    drawn.line(line, &straighten, *dashed);
                }
            }
            Kind::Text(_) => {
                let middle = contents.seen(element).map(|seen| seen.centre());
                drawn
                    .words
                    .extend(middle.map(|middle| straighten.apply(middle)));
            }
            _ => {}
        }
    }
    let rounded = rounded_clips(contents, &clips);
    for ((clip, rect), rounded) in contents.clips.iter().zip(&clips).zip(rounded) {
        let Some(rect) = rect.filter(|_| !rounded) else {
            continue;
        };
        let radius = match &clip.outline {
            Outline::Box { corners, .. } if !is_straight(corners, &straighten) => continue,
            Outline::Box { radius, .. } => *radius,
            _ => 0.0,
        };
        drawn.frame(rect, 0, false, radius);
    }
    drawn
}

impl Drawn {
    /// Keeps a frame that has the size of a card.
    fn frame(&mut self, rect: Rect<Page>, order: usize, outline: bool, radius: f64) {
        let size = rect.size();
        if size.w.min(size.h) >= LEAST_SIDE && size.w.max(size.h) <= MOST_SIDE {
            self.frames.push(Frame {
                rect,
                order,
                outline,
                radius,
            });
        }
    }

    fn line(&mut self, [a, b]: [Point<Page>; 2], straighten: &Affine<Page>, dashed: bool) {
        let (a, b) = (straighten.apply(a), straighten.apply(b));
        let (dx, dy) = ((b.x - a.x).abs(), (b.y - a.y).abs());
        let stroke = |at, one: f64, other: f64| Stroke {
            at,
            from: one.min(other),
            to: one.max(other),
            dashed,
        };
        if dx.max(dy) < 1.5 {
            return;
        }
        if dx <= 0.004 * dy + 0.02 {
            self.down.push(stroke((a.x + b.x) / 2.0, a.y, b.y));
        } else if dy <= 0.004 * dx + 0.02 {
            self.across.push(stroke((a.y + b.y) / 2.0, a.x, b.x));
        }
    }
}

/// The tilt of most of what is drawn with straight edges.
fn tilt_of(contents: &Contents) -> f64 {
    let mut turned: Vec<(f64, f64)> = Vec::new();
    let mut edge = |a: Point<Page>, b: Point<Page>| {
        let along = b - a;
        if along.length() >= 3.5 {
            let angle = along.y.atan2(along.x);
            let tilt = angle - (angle / FRAC_PI_2).round() * FRAC_PI_2;
            if tilt.abs() <= MOST_TILT {
                turned.push((tilt, along.length()));
            }
        }
    };
    let mut outline = |outline: &Outline| match outline {
        Outline::Box { corners, .. } => {
            for i in 0..4 {
                edge(corners[i], corners[(i + 1) % 4]);
            }
        }
        other => lines(other).for_each(|[a, b]| edge(a, b)),
    };
    for element in &contents.elements {
        match &element.kind {
            // A pattern is painted over all that it is held to.
            Kind::Fill { paint, .. } if *paint == Paint::Pattern => {}
            Kind::Fill { outline: of, .. } | Kind::Stroke { outline: of, .. } => outline(of),
            Kind::Picture(picture) => outline(&Outline::Box {
                corners: picture.corners(),
                radius: 0.0,
            }),
            Kind::Text(_) => {}
        }
    }
    for clip in contents.clips.iter().filter(|clip| !clip.form) {
        outline(&clip.outline);
    }
    turned.sort_by(|a, b| a.0.total_cmp(&b.0));
    let half: f64 = turned.iter().map(|t| t.1).sum::<f64>() / 2.0;
    let mut so_far = 0.0;
    let median = turned.iter().find(|t| {
        so_far += t.1;
        so_far >= half
    });
    median.map_or(0.0, |t| if t.0.abs() < 1e-5 { 0.0 } else { t.0 })
}

/// What of the page counts. On a page that is no larger than a card the card may lie off its
/// place, and then goes on beyond the page.
fn visible(size: Size) -> Rect<Page> {
    let beyond = if is_card_sized(size) { 12.0 } else { 0.0 };
    Rect::whole(size).grown(beyond)
}

/// Whether a page is no larger than a card with its bleed.
pub(super) fn is_card_sized(size: Size) -> bool {
    size.w.min(size.h) <= 105.0 && size.w.max(size.h) <= 180.0
}

fn clip_rects(contents: &Contents, straighten: &Affine<Page>) -> Vec<Option<Rect<Page>>> {
    let mut rects: Vec<Option<Rect<Page>>> = Vec::with_capacity(contents.clips.len());
    for clip in &contents.clips {
        let own = match &clip.outline {
            Outline::Box { corners, .. } => around(corners, straighten),
            _ => clip.bounds,
        };
        let within = match clip.parent {
            Some(parent) => rects.get(parent).copied().flatten(),
            None => Some(visible(contents.size)),
        };
        rects.push(within.and_then(|within| own.meet(within)));
    }
    rects
}

/// Which clips are only others in whole points: some writers put such a box around each clip.
fn rounded_clips(contents: &Contents, rects: &[Option<Rect<Page>>]) -> Vec<bool> {
    /// One point, and what is read of it, mm.
    const POINT: f64 = 25.4 / 72.0 + 0.01;
    let mut rounded = vec![false; rects.len()];
    for (clip, rect) in contents.clips.iter().zip(rects) {
        let around = (clip.parent).and_then(|parent| Some((parent, (*rects.get(parent)?)?)));
        if let (Some((parent, outer)), Some(inner)) = (around, rect) {
            let beyond = [
                inner.min.x - outer.min.x,
                inner.min.y - outer.min.y,
                outer.max.x - inner.max.x,
                outer.max.y - inner.max.y,
            ];
            let hair = beyond.iter().all(|by| (0.0..=POINT).contains(by));
            rounded[parent] |= hair && beyond.iter().any(|by| *by > 1e-3);
        }
    }
    rounded
}

/// Whether one picture, seen whole, covers nearly all of the page, and hardly anything else is
/// there.
fn is_one_picture(contents: &Contents) -> bool {
    let page = contents.size.w * contents.size.h;
    let covers = |element: &Element| {
        contents.seen(element).is_some_and(|seen| {
            let size = seen.size();
            size.w * size.h >= 0.8 * page
        })
    };
    let pictures = (contents.elements.iter())
        .filter(|element| matches!(element.kind, Kind::Picture(_)) && covers(element));
    let others = (contents.elements.iter())
        .filter(|element| !matches!(element.kind, Kind::Picture(_)) && !covers(element));
    pictures.count() == 1 && others.count() <= 2
}

/// The middle of a box that is no more than a line.
fn thin(corners: &[Point<Page>; 4]) -> Option<[Point<Page>; 2]> {
    let middle = |a: Point<Page>, b: Point<Page>| Point::new((a.x + b.x) / 2.0, (a.y + b.y) / 2.0);
    let [a, b, c, d] = *corners;
    let (first, second) = ((b - a).length(), (c - b).length());
    if first <= LINE && second > first {
        Some([middle(a, b), middle(c, d)])
    } else if second <= LINE && first > second {
        Some([middle(b, c), middle(d, a)])
    } else {
        None
    }
}

fn lines(outline: &Outline) -> impl Iterator<Item = [Point<Page>; 2]> + '_ {
    let (one, many) = match outline {
        Outline::Line(line) => (Some(*line), [].as_slice()),
        Outline::Chain(points) => (None, points.as_slice()),
        _ => (None, [].as_slice()),
    };
    one.into_iter()
        .chain(many.windows(2).map(|pair| [pair[0], pair[1]]))
}

fn around(corners: &[Point<Page>; 4], straighten: &Affine<Page>) -> Rect<Page> {
    let points = corners.map(|corner| straighten.apply(corner));
    // The middle of each side, so that a slight lean of the sides does not make the box larger.
    let mut x = points.map(|p| p.x);
    let mut y = points.map(|p| p.y);
    x.sort_by(f64::total_cmp);
    y.sort_by(f64::total_cmp);
    let mean = |a: f64, b: f64| (a + b) / 2.0;
    Rect {
        min: Point::new(mean(x[0], x[1]), mean(y[0], y[1])),
        max: Point::new(mean(x[2], x[3]), mean(y[2], y[3])),
    }
}

/// Whether a box lies as the rest of the page does; boxes around something tilted do not.
fn is_straight(corners: &[Point<Page>; 4], straighten: &Affine<Page>) -> bool {
    let [a, b, c, _] = corners.map(|corner| straighten.apply(corner));
    let lean = |d: tympan_sheet::Vector<Page>| d.x.abs().min(d.y.abs());
    lean(b - a) <= 0.15 && lean(c - b) <= 0.15
}
