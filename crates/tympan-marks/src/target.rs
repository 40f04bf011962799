//! What a reader looks for in a picture: the marks of a test sheet, or of a production sheet.

use tympan_sheet::{Flip, Front, Page, Point, Rect, Side, Size};

use crate::code::End;
use crate::geometry::{CLEAR_EDGE, Geometry, MARK_RADIUS};
use crate::witness;

/// Where the marks of a sheet should be, and what else is printed near them.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Target {
    paper: Size,
    flip: Flip,
    marks: [Vec<Point<Front>>; 2],
    empty: [Vec<Point<Front>>; 2],
    /// The marks' size against those of a test sheet.
    pub(crate) size: f64,
    /// What a side prints beside its marks, as seen on it: of test sheets only what is dark and
    /// large.
    pub(crate) print: [Vec<Rect<Page>>; 2],
    /// Paper that a side leaves bare inside its edges, mm, as seen: head, right, foot, left.
    pub(crate) bare: [[f64; 4]; 2],
}

impl Target {
    pub(crate) fn paper(&self) -> Size {
        self.paper
    }

    pub(crate) fn flip(&self) -> Flip {
        self.flip
    }

    /// Centres of a side's marks, seen from the front.
    pub(crate) fn marks(&self, side: Side) -> &[Point<Front>] {
        &self.marks[side as usize]
    }

    /// Places where a side has no mark though the pattern has one, seen from the front.
    pub(crate) fn empty_places(&self, side: Side) -> &[Point<Front>] {
        &self.empty[side as usize]
    }

    /// A point of the front as seen on a side: itself, or where the flip takes it.
    pub(crate) fn seen_on(&self, side: Side, p: Point<Front>) -> Point<Page> {
        match side {
            Side::Front => Point::new(p.x, p.y),
            Side::Back => {
                let b = self.flip.to_back(p, self.paper);
                Point::new(b.x, b.y)
            }
        }
    }

    /// A point as seen on a side, seen from the front.
    pub(crate) fn seen_from_front(&self, side: Side, p: Point<Page>) -> Point<Front> {
        match side {
            Side::Front => Point::new(p.x, p.y),
            Side::Back => self.flip.to_front(Point::new(p.x, p.y), self.paper),
        }
    }
}

impl From<&Geometry> for Target {
    fn from(geometry: &Geometry) -> Self {
        Self {
            paper: geometry.paper(),
            flip: geometry.flip(),
            marks: Side::BOTH.map(|side| geometry.marks(side).to_vec()),
            empty: Side::BOTH.map(|side| geometry.empty_places(side).to_vec()),
            size: 1.0,
            print: Side::BOTH.map(|_| {
                let codes = End::BOTH.map(|end| geometry.code_box(end));
                [geometry.panel()].into_iter().chain(codes).collect()
            }),
            bare: [[CLEAR_EDGE; 4]; 2],
        }
    }
}

impl From<&witness::Geometry> for Target {
    fn from(geometry: &witness::Geometry) -> Self {
        let Size { w, h } = geometry.paper();
        let bare = |side| {
            let all = geometry.print(side).into_iter().chain(geometry.boxes(side));
            all.fold([w.min(h) / 2.0; 4], |[head, right, foot, left], rect| {
                [
                    head.min(rect.min.y),
                    right.min(w - rect.max.x),
                    foot.min(h - rect.max.y),
                    left.min(rect.min.x),
                ]
            })
        };
        Self {
            paper: geometry.paper(),
            flip: geometry.flip(),
            marks: Side::BOTH.map(|side| geometry.marks(side)),
            empty: Side::BOTH.map(|side| geometry.empty_places(side)),
            size: witness::MARK_RADIUS / MARK_RADIUS,
            print: Side::BOTH.map(|side| {
                let codes = geometry.codes(side);
                geometry.print(side).into_iter().chain(codes).collect()
            }),
            bare: Side::BOTH.map(bare),
        }
    }
}
