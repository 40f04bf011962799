//! Where a sheet's witness marks lie: the one description that is drawn, kept with the run and
//! read by.

use serde::{Deserialize, Serialize};
use tympan_sheet::{Flip, Front, Page, Point, Rect, Side, Size, Vector};

use super::code::CELLS;
use super::{BAR, BAR_LENGTH, CODE_PLACES, MARK_RADIUS, PITCH};

/// How far along the axis from the mark before a code a cell's middle lies, mm.
pub(crate) fn cell_mm(k: usize) -> f64 {
    let length = f64::from(CODE_PLACES) * PITCH;
    (length - CELLS as f64 * BAR) / 2.0 + (k as f64 + 0.5) * BAR
}

/// An edge of the sheet, named as seen on its front.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Edge {
    /// The top edge.
    Head,
    /// The right edge.
    Right,
    /// The bottom edge.
    Foot,
    /// The left edge.
    Left,
}

impl Edge {
    /// The direction of a strip's axis along this edge: to the right, or down.
    pub(super) fn along(self) -> Vector<Front> {
        match self {
            Self::Head | Self::Foot => Vector::new(1.0, 0.0),
            Self::Left | Self::Right => Vector::new(0.0, 1.0),
        }
    }

    /// The point so far inside this edge and so far along it, mm.
    pub(super) fn inside(self, paper: Size, inside: f64, along: f64) -> Point<Front> {
        match self {
            Self::Head => Point::new(along, inside),
            Self::Foot => Point::new(along, paper.h - inside),
            Self::Left => Point::new(inside, along),
            Self::Right => Point::new(paper.w - inside, along),
        }
    }
}

/// One strip: places along an axis, by their numbers.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Strip {
    /// The edge that it lies along.
    pub edge: Edge,
    /// Place 0, mm.
    pub from: Point<Front>,
    /// Places of the marks: of the front, of the back.
    pub marks: [Vec<u16>; 2],
    /// Places that a side leaves empty though they are its own.
    pub empty: [Vec<u16>; 2],
    /// A code stands between the mark at this place and the one eight places on: the front's, the
    /// back's.
    pub code: [u16; 2],
}

impl Strip {
    /// Where a place is, whole or between.
    pub(crate) fn at(&self, place: f64) -> Point<Front> {
        self.from + self.edge.along() * (place * PITCH)
    }

    /// The rectangle of some cells of a code, seen from the front.
    pub(super) fn bars(&self, side: Side, first: usize, count: usize) -> Rect<Front> {
        let mark = self.at(f64::from(self.code[side as usize]));
        let along = self.edge.along();
        let (from, to) = (
            cell_mm(first) - BAR / 2.0,
            cell_mm(first + count - 1) + BAR / 2.0,
        );
        let across = Vector::new(along.y, along.x) * (BAR_LENGTH / 2.0);
        let (a, b) = (mark + along * from, mark + along * to);
        Rect {
            min: Point::new(a.x - across.x, a.y - across.y),
            max: b + across,
        }
    }
}

/// Where the witness marks of a run's sheets lie, and what else these sheets print.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Geometry {
    pub(super) paper: Size,
    pub(super) flip: Flip,
    pub(super) strips: [Strip; 2],
    /// What else is printed, seen from the front: on the front, on the back.
    pub(super) print: [Vec<Rect<Front>>; 2],
}

impl Geometry {
    /// The sheet's size, mm.
    pub fn paper(&self) -> Size {
        self.paper
    }

    /// The flip that the sheet is made for.
    pub fn flip(&self) -> Flip {
        self.flip
    }

    /// The two strips.
    pub fn strips(&self) -> &[Strip; 2] {
        &self.strips
    }

    /// Centres of a side's marks, seen from the front: where the back's belong, if register is
    /// perfect.
    pub fn marks(&self, side: Side) -> Vec<Point<Front>> {
        self.places(side, |strip| &strip.marks)
    }

    /// Places that a side leaves empty, seen from the front.
    pub fn empty_places(&self, side: Side) -> Vec<Point<Front>> {
        self.places(side, |strip| &strip.empty)
    }

    fn places(&self, side: Side, list: fn(&Strip) -> &[Vec<u16>; 2]) -> Vec<Point<Front>> {
        let of = |strip| {
            let places: &Vec<u16> = &list(strip)[side as usize];
            places.iter().map(move |&k| strip.at(f64::from(k)))
        };
        self.strips.iter().flat_map(of).collect()
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

    /// A rectangle of the front as seen on a side.
    pub fn rect_on(&self, side: Side, rect: Rect<Front>) -> Rect<Page> {
        let (a, b) = (self.seen_on(side, rect.min), self.seen_on(side, rect.max));
        Rect {
            min: Point::new(a.x.min(b.x), a.y.min(b.y)),
            max: Point::new(a.x.max(b.x), a.y.max(b.y)),
        }
    }

    /// What the marks and codes of a side take, as seen on it, without the paper about them.
    pub fn boxes(&self, side: Side) -> Vec<Rect<Page>> {
        let mark = |p: Point<Front>| Rect { min: p, max: p }.grown(MARK_RADIUS);
        let marks = self.marks(side).into_iter().map(mark);
        let marks = marks.map(|rect| self.rect_on(side, rect));
        self.codes(side).into_iter().chain(marks).collect()
    }

    /// What the codes of a side take, as seen on it.
    pub(crate) fn codes(&self, side: Side) -> Vec<Rect<Page>> {
        let bars = self.strips.iter().map(|strip| strip.bars(side, 0, CELLS));
        bars.map(|rect| self.rect_on(side, rect)).collect()
    }

    /// What a side prints beside its witness marks, as seen on it.
    pub(crate) fn print(&self, side: Side) -> Vec<Rect<Page>> {
        let rects = self.print[side as usize].iter();
        rects.map(|&rect| self.rect_on(side, rect)).collect()
    }
}
