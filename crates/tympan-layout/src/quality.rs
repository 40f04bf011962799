//! How likely a piece comes out right at its place on the sheet.

use tympan_register::{Cutting, Field, Look, NextSheet};
use tympan_sheet::{Front, Point, Rect, Vector};

use crate::job::Edge;

/// A place on the sheet, as far as register is concerned.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// Where it is cut, in the front frame.
    pub trim: Rect<Front>,
    /// The bleed at the edge that has least, mm.
    pub bleed: f64,
    /// What the piece shows at its edge.
    pub edge: Edge,
}

/// Tells the chance that a two-sided piece comes out right.
pub trait Quality {
    /// The chance, 0 to 1, of a piece that is cut here.
    fn good(&self, place: &Place) -> f64;

    /// The chances of many places.
    fn good_each(&self, places: &[Place]) -> Vec<f64> {
        places.iter().map(|place| self.good(place)).collect()
    }

    /// Where register is best, if anywhere: pieces are gathered about it.
    fn centre(&self) -> Option<Point<Front>> {
        None
    }
}

impl<T: Fn(&Place) -> f64> Quality for T {
    fn good(&self, place: &Place) -> f64 {
        self(place)
    }
}

/// Nothing is known of the printer: every place is as good as another.
#[derive(Clone, Copy, Debug, Default)]
pub struct Unmeasured;

impl Quality for Unmeasured {
    fn good(&self, _: &Place) -> f64 {
        1.0
    }
}

/// A measured set-up with its correction: the bleed and border rules of `tympan-register` at each
/// place. Farther from the tilt's centre is worse.
#[derive(Clone, Copy, Debug)]
pub struct Measured<'a> {
    /// What the next sheet will do.
    pub next: &'a NextSheet,
    /// How well it is cut, and what still looks even.
    pub cutting: Cutting,
}

/// How many sheets are drawn to find the centre of the tilt.
const SHEETS: u32 = 512;

impl Quality for Measured<'_> {
    fn good(&self, place: &Place) -> f64 {
        self.good_each(std::slice::from_ref(place))[0]
    }

    fn good_each(&self, places: &[Place]) -> Vec<f64> {
        let look = |place: &Place| match place.edge {
            Edge::Bled | Edge::Alike => Look::Bled(place.bleed),
            Edge::Border(width) => Look::Bordered(width),
        };
        let places: Vec<_> = places.iter().map(|p| (p.trim, look(p))).collect();
        let wrong = self.next.share_wrong(&places, self.cutting);
        wrong.iter().map(|w| (1.0 - w).clamp(0.0, 1.0)).collect()
    }

    /// Where the mean square of the register error is least. With `s` the error at the sheet's
    /// centre and `A` how it grows away from there, that is `q = −(E AᵀA)⁻¹ E Aᵀs`.
    fn centre(&self) -> Option<Point<Front>> {
        let fields = self.next.sheets(SHEETS);
        let middle = fields.first()?.basis().sheet.centre();
        let (mut xx, mut xy, mut yy, mut x, mut y) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for map in fields.iter().map(Field::affine) {
            let (a, b, c, d) = (map.xx - 1.0, map.xy, map.yx, map.yy - 1.0);
            let s = map.displacement(middle);
            xx += a * a + c * c;
            xy += a * b + c * d;
            yy += b * b + d * d;
            x += a * s.x + c * s.y;
            y += b * s.x + d * s.y;
        }
        let det = xx * yy - xy * xy;
        if det <= 1e-6 * xx * yy || !det.is_finite() {
            return None;
        }
        let q = Vector::new((xy * y - yy * x) / det, (xy * x - xx * y) / det);
        Some(middle + q)
    }
}
