//! How the back of a sheet stands to its front.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::frame::{Back, Front, Point, Size, Vector};
use crate::map::{Affine, Map};

/// How the back stands to the front, told by where the back's head lies on the sheet, never by
/// the motion of the hand.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Flip {
    /// Heads together, as in a book: `x_b = W − x_f`, `y_b = y_f`.
    Sideways,
    /// Head to foot, as in a notepad: `x_b = x_f`, `y_b = H − y_f`.
    Endways,
}

/// The edge that a sheet is turned about, as printing programs name it (IPP `sides`, RFC 8011,
/// 5.2.8; PDF `Duplex`, ISO 32000-1, 12.2).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum BindingEdge {
    /// The longer edge of the sheet.
    Long,
    /// The shorter edge of the sheet.
    Short,
}

impl Flip {
    /// Where a point of the front lies as seen on the back of a sheet of this size.
    pub fn to_back(self, p: Point<Front>, sheet: Size) -> Point<Back> {
        self.map(sheet).apply(p)
    }

    /// Where a point of the back lies as seen from the front of a sheet of this size.
    pub fn to_front(self, p: Point<Back>, sheet: Size) -> Point<Front> {
        self.unmap(sheet).apply(p)
    }

    /// A displacement seen on the back, as seen from the front: what is left on the back is right
    /// from the front where the sheet is flipped sideways.
    pub fn vector_to_front(self, v: Vector<Back>) -> Vector<Front> {
        match self {
            Self::Sideways => Vector::new(-v.x, v.y),
            Self::Endways => Vector::new(v.x, -v.y),
        }
    }

    /// A displacement seen from the front, as seen on the back.
    pub fn vector_to_back(self, v: Vector<Front>) -> Vector<Back> {
        match self {
            Self::Sideways => Vector::new(-v.x, v.y),
            Self::Endways => Vector::new(v.x, -v.y),
        }
    }

    /// The flip as a map from the front frame to the back frame.
    pub fn map(self, sheet: Size) -> Map<Front, Back> {
        match self {
            Self::Sideways => Map::new(-1.0, 0.0, 0.0, 1.0, sheet.w, 0.0),
            Self::Endways => Map::new(1.0, 0.0, 0.0, -1.0, 0.0, sheet.h),
        }
    }

    /// The flip as a map from the back frame to the front frame. It has the same coefficients:
    /// either flip is its own inverse.
    pub fn unmap(self, sheet: Size) -> Map<Back, Front> {
        let m = self.map(sheet);
        Map::new(m.xx, m.xy, m.yx, m.yy, m.dx, m.dy)
    }

    /// A map of the front's plane as it looks on the back: `T∘m∘T`. Tilt and shear change sign.
    pub fn carry_to_back(self, m: &Affine<Front>, sheet: Size) -> Affine<Back> {
        self.unmap(sheet).then(m).then(&self.map(sheet))
    }

    /// A map of the back's plane as it looks from the front: `T∘m∘T`. Tilt and shear change sign.
    pub fn carry_to_front(self, m: &Affine<Back>, sheet: Size) -> Affine<Front> {
        self.map(sheet).then(m).then(&self.unmap(sheet))
    }

    /// The flip that turning about this edge makes on a sheet of this size and orientation. For a
    /// square sheet the upright edge counts as the long one.
    pub fn about(edge: BindingEdge, sheet: Size) -> Self {
        match (edge, sheet.is_landscape()) {
            (BindingEdge::Long, false) | (BindingEdge::Short, true) => Self::Sideways,
            (BindingEdge::Short, false) | (BindingEdge::Long, true) => Self::Endways,
        }
    }

    /// The edge that a sheet of this size and orientation is turned about in this flip.
    pub fn edge(self, sheet: Size) -> BindingEdge {
        match (self, sheet.is_landscape()) {
            (Self::Sideways, false) | (Self::Endways, true) => BindingEdge::Long,
            (Self::Endways, false) | (Self::Sideways, true) => BindingEdge::Short,
        }
    }

    /// The other flip.
    pub fn other(self) -> Self {
        match self {
            Self::Sideways => Self::Endways,
            Self::Endways => Self::Sideways,
        }
    }
}

impl fmt::Display for Flip {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Sideways => "sideways",
            Self::Endways => "endways",
        })
    }
}

impl FromStr for Flip {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        match text.trim().to_ascii_lowercase().as_str() {
            "sideways" => Ok(Self::Sideways),
            "endways" => Ok(Self::Endways),
            other => Err(format!(
                "\"{other}\" is not a flip; write sideways (heads together, as in a book) or \
                 endways (head to foot, as in a notepad)"
            )),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::length::Angle;

    const A4: Size = Size::new(210.0, 297.0);

    #[test]
    fn sideways_keeps_heads_together() {
        let p = Flip::Sideways.to_back(Point::new(10.0, 20.0), A4);
        assert_eq!((p.x, p.y), (200.0, 20.0));
    }

    #[test]
    fn endways_puts_head_to_foot() {
        let p = Flip::Endways.to_back(Point::new(10.0, 20.0), A4);
        assert_eq!((p.x, p.y), (10.0, 277.0));
    }

    fn seen_from_front(flip: Flip, x: f64, y: f64) -> (f64, f64) {
        let v = flip.vector_to_front(Vector::new(x, y));
        (v.x + 0.0, v.y + 0.0)
    }

    #[test]
    fn low_on_the_back_flipped_sideways_is_low_from_the_front() {
        assert_eq!(seen_from_front(Flip::Sideways, 0.0, 2.0), (0.0, 2.0));
    }

    #[test]
    fn high_on_the_back_flipped_sideways_is_high_from_the_front() {
        assert_eq!(seen_from_front(Flip::Sideways, 0.0, -2.0), (0.0, -2.0));
    }

    #[test]
    fn left_on_the_back_flipped_sideways_is_right_from_the_front() {
        assert_eq!(seen_from_front(Flip::Sideways, -2.0, 0.0), (2.0, 0.0));
    }

    #[test]
    fn right_on_the_back_flipped_sideways_is_left_from_the_front() {
        assert_eq!(seen_from_front(Flip::Sideways, 2.0, 0.0), (-2.0, 0.0));
    }

    #[test]
    fn low_on_the_back_flipped_endways_is_high_from_the_front() {
        assert_eq!(seen_from_front(Flip::Endways, 0.0, 2.0), (0.0, -2.0));
    }

    #[test]
    fn high_on_the_back_flipped_endways_is_low_from_the_front() {
        assert_eq!(seen_from_front(Flip::Endways, 0.0, -2.0), (0.0, 2.0));
    }

    #[test]
    fn left_on_the_back_flipped_endways_is_left_from_the_front() {
        assert_eq!(seen_from_front(Flip::Endways, -2.0, 0.0), (-2.0, 0.0));
    }

    #[test]
    fn right_on_the_back_flipped_endways_is_right_from_the_front() {
        assert_eq!(seen_from_front(Flip::Endways, 2.0, 0.0), (2.0, 0.0));
    }

    /// The worked A4 example of the design: seen on the back 2.1 low, 0.4 left, tilted 0.2°
    /// clockwise about the sheet's centre.
    #[test]
    fn a_whole_map_is_carried_with_its_tilt_reversed() {
        let seen = Affine::<Back>::tilt(Angle::degrees(0.2), A4.centre())
            .then(&Affine::shift(Vector::new(-0.4, 2.1)));
        for (flip, shift, corner) in [
            (Flip::Sideways, (0.4, 2.1), (-0.118, 2.467)),
            (Flip::Endways, (-0.4, -2.1), (-0.918, -1.733)),
        ] {
            let g = flip.carry_to_front(&seen, A4);
            let at_centre = g.displacement(A4.centre());
            assert!((at_centre.x - shift.0).abs() < 1e-9 && (at_centre.y - shift.1).abs() < 1e-9);
            assert!((g.decompose().tilt.to_degrees() + 0.2).abs() < 1e-9);
            let at_corner = g.displacement(Point::new(0.0, 0.0));
            assert!(
                (at_corner.x - corner.0).abs() < 5e-4,
                "{flip}: {at_corner:?}"
            );
            assert!(
                (at_corner.y - corner.1).abs() < 5e-4,
                "{flip}: {at_corner:?}"
            );
            assert!(flip.carry_to_back(&g, A4).is_close(&seen, 1e-9));
        }
    }

    #[test]
    fn the_long_edge_is_sideways_for_portrait_and_endways_for_landscape() {
        assert_eq!(Flip::about(BindingEdge::Long, A4), Flip::Sideways);
        assert_eq!(Flip::about(BindingEdge::Long, A4.turned()), Flip::Endways);
        for size in [A4, A4.turned()] {
            for edge in [BindingEdge::Long, BindingEdge::Short] {
                assert_eq!(Flip::about(edge, size).edge(size), edge);
            }
        }
    }
}
