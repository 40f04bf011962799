//! How one piece is painted in the frame of its trim: the art, its bleed, its corners.
//!
//! Bleed is made of the art itself where it can be: the same form drawn again through a mirror or a
//! stretch and clipped to the strip that is missing, so that vectors stay vectors. Strips are
//! painted first and reach a little under the art, so that no seam shows between them.

use tympan_sheet::{Affine, Page, Point, Rect, Size, Vector};

use super::{Art, Bleed, BleedBy, Edges, Fit};
use crate::space::{Matrix, UserRect};

use super::ops::matrix;

/// How far strips reach under the art, mm.
const UNDER: f64 = 0.05;

/// How far inside the edge the slice that is drawn out begins, mm: the very edge may be blended
/// with what is behind it.
const INSIDE: f64 = 0.1;

/// How thick the slice is that is drawn out, mm: a pixel or two of common pictures.
const SLICE: f64 = 0.15;

/// What is painted for a piece, all in mm in the frame of its trim, y down.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Plan {
    /// From the art's own frame to the frame of the trim.
    pub(super) fit: Matrix,
    /// The trim with its bleed; nothing is painted outside it.
    pub(super) bleed: UserRect,
    /// The art with the bleed that is there.
    pub(super) have: UserRect,
    /// The radius of the art's round corners in the frame of the trim; 0 for none.
    pub(super) corner_radius: f64,
    /// What is painted under the art, in order.
    pub(super) strips: Vec<Strip>,
}

/// A part of the bleed, or of a corner.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Strip {
    pub(super) clip: Clip,
    pub(super) paint: Paint,
}

#[derive(Clone, Debug, PartialEq)]
pub(super) enum Clip {
    Rect(UserRect),
    Triangle([(f64, f64); 3]),
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Paint {
    /// The art through this map within the frame of the trim.
    Art(Matrix),
    /// The colour for this edge.
    Colour(Edge),
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) enum Edge {
    Left,
    Top,
    Right,
    Bottom,
}

impl<T: Copy> Edges<T> {
    pub(super) fn of(&self, edge: Edge) -> T {
        match edge {
            Edge::Left => self.left,
            Edge::Top => self.top,
            Edge::Right => self.right,
            Edge::Bottom => self.bottom,
        }
    }
}

/// How an art is painted at a place of this size.
pub(super) fn plan(art: &Art, place: Size, fit: Fit, bleed: &Bleed) -> Plan {
    let fit = fitted(art.size, place, fit);
    let wanted = bleed.wanted;
    let outer = UserRect::new(
        -wanted.left,
        -wanted.top,
        place.w + wanted.right,
        place.h + wanted.bottom,
    );
    // Behind round corners lies nothing that could be bleed.
    let round = art.corner_radius > 0.0;
    let room = if round { Edges::all(0.0) } else { art.room };
    let real = UserRect::new(
        -room.left,
        -room.top,
        art.size.w + room.right,
        art.size.h + room.bottom,
    );
    let fit = enlarged(fit, place, &real.moved(&matrix(&fit)), bleed);
    let fit = matrix(&fit);
    let have = real.moved(&fit);
    Plan {
        bleed: outer,
        have,
        corner_radius: art.corner_radius * fit.a.max(fit.d),
        strips: strips(&have, &outer, &bleed.by),
        fit,
    }
}

/// From an art's own frame to that of its place.
fn fitted(art: Size, place: Size, fit: Fit) -> Affine<Page> {
    let (x, y) = (place.w / art.w, place.h / art.h);
    let (x, y) = match fit {
        Fit::Refuse => (1.0, 1.0),
        Fit::Whole => (x.min(y), x.min(y)),
        Fit::Fill => (x.max(y), x.max(y)),
        Fit::Distort => (x, y),
    };
    let shift = Vector::new((place.w - x * art.w) / 2.0, (place.h - y * art.h) / 2.0);
    Affine::scale(x, y, Point::new(0.0, 0.0)).then(&Affine::shift(shift))
}

/// The same enlarged about the middle of the place, until the edges that ask for it bleed.
fn enlarged(fit: Affine<Page>, place: Size, have: &UserRect, bleed: &Bleed) -> Affine<Page> {
    let centre: Point<Page> = place.centre();
    let edges = [
        (Edge::Left, centre.x, centre.x - have.x0),
        (Edge::Top, centre.y, centre.y - have.y0),
        (Edge::Right, centre.x, have.x1 - centre.x),
        (Edge::Bottom, centre.y, have.y1 - centre.y),
    ];
    let needed = |(edge, half, reach): (Edge, f64, f64)| {
        let asks = bleed.by.of(edge) == BleedBy::Enlarge && reach > 0.0;
        asks.then(|| (half + bleed.wanted.of(edge)) / reach)
    };
    let factor = edges.into_iter().filter_map(needed).fold(1.0, f64::max);
    if factor > 1.0 {
        fit.then(&Affine::scale(factor, factor, centre))
    } else {
        fit
    }
}

/// One stretch of an axis.
#[derive(Clone, Copy)]
struct Band {
    from: f64,
    to: f64,
    kind: Kind,
}

#[derive(Clone, Copy, PartialEq)]
enum Kind {
    /// The art as it is.
    Art,
    /// The art through `x' = scale·x + shift`.
    Map { scale: f64, shift: f64 },
    /// The colour for this edge.
    Colour(Edge),
    /// Nothing.
    Bare,
}

fn strips(have: &UserRect, outer: &UserRect, by: &Edges<BleedBy>) -> Vec<Strip> {
    let across = bands(
        (have.x0, have.x1),
        (outer.x0, outer.x1),
        (Edge::Left, by.left),
        (Edge::Right, by.right),
    );
    let down = bands(
        (have.y0, have.y1),
        (outer.y0, outer.y1),
        (Edge::Top, by.top),
        (Edge::Bottom, by.bottom),
    );
    let (mut corners, mut sides) = (Vec::new(), Vec::new());
    for x in &across {
        for y in &down {
            let paint = match (x.kind, y.kind) {
                (Kind::Bare, _) | (_, Kind::Bare) | (Kind::Art, Kind::Art) => continue,
                (Kind::Colour(edge), _) | (_, Kind::Colour(edge)) => Paint::Colour(edge),
                (x, y) => {
                    let ((a, e), (d, f)) = (x.linear(), y.linear());
                    Paint::Art(Matrix::new(a, 0.0, 0.0, d, e, f))
                }
            };
            let clip = Clip::Rect(UserRect::new(x.from, y.from, x.to, y.to));
            let is_side = x.kind == Kind::Art || y.kind == Kind::Art;
            let all = if is_side { &mut sides } else { &mut corners };
            all.push(Strip { clip, paint });
        }
    }
    corners.extend(sides);
    corners
}

impl Kind {
    fn linear(self) -> (f64, f64) {
        match self {
            Self::Map { scale, shift } => (scale, shift),
            _ => (1.0, 0.0),
        }
    }
}

/// The bands of one axis: what is missing at its low end, the art, what is missing at its high end.
fn bands(
    have: (f64, f64),
    outer: (f64, f64),
    low: (Edge, BleedBy),
    high: (Edge, BleedBy),
) -> Vec<Band> {
    let mut bands = Vec::new();
    if have.0 > outer.0 + 1e-6 {
        let kind = made(low, have.0, 1.0, have.1 - have.0, have.0 - outer.0);
        let to = have.0 + UNDER;
        bands.push(Band {
            from: outer.0,
            to,
            kind,
        });
    }
    bands.push(Band {
        from: have.0.max(outer.0),
        to: have.1.min(outer.1),
        kind: Kind::Art,
    });
    if have.1 < outer.1 - 1e-6 {
        let kind = made(high, have.1, -1.0, have.1 - have.0, outer.1 - have.1);
        let from = have.1 - UNDER;
        bands.push(Band {
            from,
            to: outer.1,
            kind,
        });
    }
    bands
}

/// How the strip beyond an edge is made. `inward` is 1 where the art lies at higher numbers.
fn made((edge, by): (Edge, BleedBy), at: f64, inward: f64, extent: f64, missing: f64) -> Kind {
    let seam = at + inward * UNDER;
    match by {
        BleedBy::Mirror if missing + 2.0 * UNDER <= extent => Kind::Map {
            scale: -1.0,
            shift: 2.0 * seam,
        },
        // There is not enough of it to fill the strip as a mirror does.
        BleedBy::Mirror | BleedBy::Stretch => drawn_out(seam, at, inward, extent, missing + UNDER),
        BleedBy::Colour(_) => Kind::Colour(edge),
        // What enlarging leaves is nothing, but for another edge that asks for more.
        BleedBy::Keep | BleedBy::Enlarge => Kind::Bare,
    }
}

/// A thin slice just inside the edge drawn out to this length, its inner side outermost.
fn drawn_out(seam: f64, at: f64, inward: f64, extent: f64, length: f64) -> Kind {
    let slice = SLICE.min(extent / 4.0);
    let from = at + inward * INSIDE.min(extent / 4.0);
    let scale = -length / slice;
    Kind::Map {
        scale,
        shift: seam - scale * from,
    }
}

/// What fills the corners of art that is drawn with round ones: for each the nearest of the art
/// drawn out, from beside it and from above or below it, each to the corner's bisector.
pub(super) fn corners(have: &UserRect, radius: f64) -> Vec<Strip> {
    let side = radius + UNDER;
    let (w, h) = (have.width(), have.height());
    let mut strips = Vec::new();
    for (x, inward_x) in [(have.x0, 1.0), (have.x1, -1.0)] {
        for (y, inward_y) in [(have.y0, 1.0), (have.y1, -1.0)] {
            let (inner_x, inner_y) = (x + inward_x * side, y + inward_y * side);
            let beside = drawn_out(inner_x, inner_x, inward_x, w - 2.0 * side, side);
            let below = drawn_out(inner_y, inner_y, inward_y, h - 2.0 * side, side);
            let ((a, e), (d, f)) = (beside.linear(), below.linear());
            strips.push(Strip {
                clip: Clip::Rect(UserRect::new(x, y, inner_x, inner_y)),
                paint: Paint::Art(Matrix::new(a, 0.0, 0.0, 1.0, e, 0.0)),
            });
            strips.push(Strip {
                clip: Clip::Triangle([(x, y), (x, inner_y), (inner_x, inner_y)]),
                paint: Paint::Art(Matrix::new(1.0, 0.0, 0.0, d, 0.0, f)),
            });
        }
    }
    strips
}

/// The smallest upright rectangle around one that is moved with its middle and stretched, but not
/// tilted: cuts are upright.
pub(super) fn kept_upright(rect: Rect<Page>, by: &Affine<Page>) -> Rect<Page> {
    let centre = by.apply(rect.centre());
    let Size { w, h } = rect.size();
    let size = if by.xx.abs() + by.yy.abs() >= by.xy.abs() + by.yx.abs() {
        Size::new(w * by.xx.hypot(by.yx), h * by.xy.hypot(by.yy))
    } else {
        // A quarter turn swaps the sides.
        Size::new(h * by.xy.hypot(by.yy), w * by.xx.hypot(by.yx))
    };
    Rect::at(
        Point::new(centre.x - size.w / 2.0, centre.y - size.h / 2.0),
        size,
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::impose::{SourceId, Sources};

    const CARD: Size = Size::new(60.0, 90.0);

    fn art(size: Size) -> Art {
        // Planning does not look at the source.
        Art::whole("card", SourceId(0), 1, size)
    }

    fn painted_at(plan: &Plan, x: f64, y: f64) -> Option<(f64, f64)> {
        // The last one painted there shows; where its paint comes from on the art.
        let inside = |r: &UserRect| x >= r.x0 && x <= r.x1 && y >= r.y0 && y <= r.y1;
        if inside(&plan.have) {
            return Some((x, y));
        }
        let strip = plan.strips.iter().rev().find(|s| match &s.clip {
            Clip::Rect(r) => inside(r),
            Clip::Triangle(_) => false,
        })?;
        match strip.paint {
            Paint::Art(m) => Some(m.inverse().expect("invertible").apply((x, y))),
            Paint::Colour(_) => None,
        }
    }

    fn close(got: Option<(f64, f64)>, meant: (f64, f64), within: f64) {
        let (x, y) = got.expect("painted");
        assert!(
            (x - meant.0).hypot(y - meant.1) < within,
            "{x} {y} and not {meant:?}"
        );
    }

    #[test]
    fn a_mirror_shows_as_far_inside_as_the_bleed_lies_outside_and_both_at_corners() {
        let bleed = Bleed::all(3.0, BleedBy::Mirror);
        let plan = plan(&art(CARD), CARD, Fit::Refuse, &bleed);
        close(painted_at(&plan, -2.0, 40.0), (2.0, 40.0), 0.11);
        close(painted_at(&plan, 62.0, 40.0), (58.0, 40.0), 0.11);
        close(painted_at(&plan, 30.0, -1.0), (30.0, 1.0), 0.11);
        close(painted_at(&plan, 30.0, 92.0), (30.0, 88.0), 0.11);
        close(painted_at(&plan, -2.0, -1.0), (2.0, 1.0), 0.2);
        close(painted_at(&plan, 61.0, 92.0), (59.0, 88.0), 0.2);
    }

    #[test]
    fn a_stretched_edge_shows_only_what_lies_just_inside_it() {
        let bleed = Bleed::all(3.0, BleedBy::Stretch);
        let plan = plan(&art(CARD), CARD, Fit::Refuse, &bleed);
        for out in [0.01, 1.0, 2.99] {
            let (x, y) = painted_at(&plan, -out, 40.0).expect("painted");
            assert!((0.09..0.26).contains(&x) && y == 40.0, "{x}");
            let (x, y) = painted_at(&plan, 60.0 + out, 90.0 + out).expect("painted");
            assert!((59.74..59.91).contains(&x) && (89.74..89.91).contains(&y));
        }
    }

    #[test]
    fn bleed_that_is_there_is_used_first_and_only_the_rest_is_made() {
        let with_room = art(CARD).with_room(Edges {
            left: 1.0,
            top: 9.0,
            ..Edges::all(0.0)
        });
        let bleed = Bleed::all(3.0, BleedBy::Mirror);
        let plan = plan(&with_room, CARD, Fit::Refuse, &bleed);
        close(painted_at(&plan, -0.9, 40.0), (-0.9, 40.0), 1e-9);
        close(painted_at(&plan, -2.0, 40.0), (0.0, 40.0), 0.11);
        close(painted_at(&plan, 30.0, -2.9), (30.0, -2.9), 1e-9);
        assert_eq!(plan.bleed.y0, -3.0, "more than is wanted is cut off");
    }

    #[test]
    fn what_a_whole_picture_leaves_bare_is_made_as_bleed_is() {
        let bleed = Bleed::all(2.0, BleedBy::Stretch);
        let plan = plan(&art(Size::new(50.0, 90.0)), CARD, Fit::Whole, &bleed);
        assert!((plan.have.x0 - 5.0).abs() < 1e-9 && (plan.have.x1 - 55.0).abs() < 1e-9);
        let (x, _) = painted_at(&plan, -2.0, 40.0).expect("painted");
        assert!((5.09..5.26).contains(&x));
    }

    #[test]
    fn filling_cuts_off_evenly_and_what_is_cut_off_bleeds() {
        let bleed = Bleed::all(2.0, BleedBy::Keep);
        let plan = plan(&art(Size::new(70.0, 90.0)), CARD, Fit::Fill, &bleed);
        assert_eq!((plan.have.x0, plan.have.x1), (-5.0, 65.0));
        assert!(plan.strips.is_empty());
    }

    #[test]
    fn enlarging_reaches_the_bleed_on_every_edge_about_the_middle() {
        let bleed = Bleed::all(3.0, BleedBy::Enlarge);
        let plan = plan(&art(CARD), CARD, Fit::Refuse, &bleed);
        assert!(plan.have.x0 <= -3.0 + 1e-9 && plan.have.y1 >= 93.0 - 1e-9);
        assert!((plan.have.x0 + plan.have.x1 - 60.0).abs() < 1e-9);
        assert!((plan.fit.a - 1.1).abs() < 1e-9 && plan.strips.is_empty());
    }

    #[test]
    fn an_edge_that_keeps_leaves_its_strip_and_its_corners_bare() {
        let mut bleed = Bleed::all(3.0, BleedBy::Mirror);
        bleed.by.left = BleedBy::Keep;
        let plan = plan(&art(CARD), CARD, Fit::Refuse, &bleed);
        assert_eq!(painted_at(&plan, -1.0, 40.0), None);
        assert_eq!(painted_at(&plan, -1.0, -1.0), None);
        assert!(painted_at(&plan, 61.0, -1.0).is_some());
    }

    #[test]
    fn a_box_keeps_its_size_when_its_piece_is_tilted() {
        use tympan_sheet::Angle;
        let rect = Rect::at(Point::new(10.0, 20.0), CARD);
        let tilt = Affine::tilt(Angle::degrees(2.0), Point::new(0.0, 0.0));
        let kept = kept_upright(rect, &tilt);
        assert!(kept.size().is_close(CARD, 1e-9));
        let quarter = Affine::tilt(Angle::degrees(90.0), Point::new(0.0, 0.0));
        assert!(
            kept_upright(rect, &quarter)
                .size()
                .is_close(CARD.turned(), 1e-9)
        );
        let _ = Sources::new();
    }
}
