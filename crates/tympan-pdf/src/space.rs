//! Between a page's own space and the page as seen.
//!
//! A page's user space counts in units of `UserUnit`/72 inch, y up, from an origin that its boxes
//! set (ISO 32000-1, 8.3.2.3 and 7.7.3.3). A reader shows the part of it within the crop box,
//! turned clockwise by `Rotate`. Here, and nowhere else in Tympan, one becomes the other.

use tympan_sheet::{Affine, Page, Size};

/// Millimetres in a point.
pub(crate) const MM_PER_POINT: f64 = 25.4 / 72.0;

/// A matrix as PDF writes it: `x' = a·x + c·y + e`, `y' = b·x + d·y + f` (ISO 32000-1, 8.3.4).
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Matrix {
    pub(crate) a: f64,
    pub(crate) b: f64,
    pub(crate) c: f64,
    pub(crate) d: f64,
    pub(crate) e: f64,
    pub(crate) f: f64,
}

impl Matrix {
    pub(crate) const IDENTITY: Self = Self::new(1.0, 0.0, 0.0, 1.0, 0.0, 0.0);

    pub(crate) const fn new(a: f64, b: f64, c: f64, d: f64, e: f64, f: f64) -> Self {
        Self { a, b, c, d, e, f }
    }

    /// Where a point goes.
    pub(crate) fn apply(&self, (x, y): (f64, f64)) -> (f64, f64) {
        (
            self.a * x + self.c * y + self.e,
            self.b * x + self.d * y + self.f,
        )
    }

    /// This matrix first, then `next`: the product `self × next` of the standard's row vectors.
    pub(crate) fn then(&self, next: &Self) -> Self {
        let (e, f) = next.apply((self.e, self.f));
        Self {
            a: next.a * self.a + next.c * self.b,
            b: next.b * self.a + next.d * self.b,
            c: next.a * self.c + next.c * self.d,
            d: next.b * self.c + next.d * self.d,
            e,
            f,
        }
    }

    /// The matrix back; `None` where the plane is squeezed flat.
    pub(crate) fn inverse(&self) -> Option<Self> {
        let det = self.a * self.d - self.b * self.c;
        if !det.is_normal() {
            return None;
        }
        let (a, b, c, d) = (self.d / det, -self.b / det, -self.c / det, self.a / det);
        Some(Self {
            a,
            b,
            c,
            d,
            e: -(a * self.e + c * self.f),
            f: -(b * self.e + d * self.f),
        })
    }

    /// Without its shift.
    pub(crate) fn linear(&self) -> Self {
        Self {
            e: 0.0,
            f: 0.0,
            ..*self
        }
    }

    /// Whether it only shifts: tilt and stretch move nothing on a page by a hundredth of a point.
    pub(crate) fn is_shift(&self) -> bool {
        let linear = [self.a - 1.0, self.b, self.c, self.d - 1.0];
        linear.iter().all(|x| x.abs() < 1e-6)
    }

    pub(crate) fn is_finite(&self) -> bool {
        [self.a, self.b, self.c, self.d, self.e, self.f]
            .iter()
            .all(|x| x.is_finite())
    }

    /// The six numbers as a content stream writes them.
    pub(crate) fn operands(&self) -> String {
        let numbers = [self.a, self.b, self.c, self.d, self.e, self.f];
        numbers.map(number).join(" ")
    }
}

/// A number as PDF writes it: no exponent, no idle noughts.
pub(crate) fn number(value: f64) -> String {
    let text = format!("{value:.9}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" {
        "0".to_owned()
    } else {
        text.to_owned()
    }
}

/// An upright rectangle in user space: left, bottom, right, top.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct UserRect {
    /// Left.
    pub x0: f64,
    /// Bottom.
    pub y0: f64,
    /// Right.
    pub x1: f64,
    /// Top.
    pub y1: f64,
}

impl UserRect {
    /// The rectangle between two opposite corners, whichever they are (ISO 32000-1, 7.9.5).
    pub fn new(xa: f64, ya: f64, xb: f64, yb: f64) -> Self {
        Self {
            x0: xa.min(xb),
            y0: ya.min(yb),
            x1: xa.max(xb),
            y1: ya.max(yb),
        }
    }

    /// Width in user units.
    pub fn width(&self) -> f64 {
        self.x1 - self.x0
    }

    /// Height in user units.
    pub fn height(&self) -> f64 {
        self.y1 - self.y0
    }

    pub(crate) fn intersection(&self, other: &Self) -> Option<Self> {
        let cut = Self {
            x0: self.x0.max(other.x0),
            y0: self.y0.max(other.y0),
            x1: self.x1.min(other.x1),
            y1: self.y1.min(other.y1),
        };
        (cut.width() > 0.0 && cut.height() > 0.0).then_some(cut)
    }

    pub(crate) fn corners(&self) -> [(f64, f64); 4] {
        [
            (self.x0, self.y0),
            (self.x1, self.y0),
            (self.x1, self.y1),
            (self.x0, self.y1),
        ]
    }

    /// The smallest upright rectangle around this one moved by `matrix`.
    pub(crate) fn moved(&self, matrix: &Matrix) -> Self {
        bounds(self.corners().map(|p| matrix.apply(p)))
    }

    pub(crate) fn operands(&self) -> String {
        [self.x0, self.y0, self.x1, self.y1].map(number).join(" ")
    }
}

/// The smallest upright rectangle around some points.
pub(crate) fn bounds(points: [(f64, f64); 4]) -> UserRect {
    let fold = |pick: fn(&(f64, f64)) -> f64, best: fn(f64, f64) -> f64| {
        points.iter().map(pick).reduce(best).unwrap_or(0.0)
    };
    UserRect {
        x0: fold(|p| p.0, f64::min),
        y0: fold(|p| p.1, f64::min),
        x1: fold(|p| p.0, f64::max),
        y1: fold(|p| p.1, f64::max),
    }
}

/// How a page's user space is shown.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PageSpace {
    /// What is shown: the crop box, cut to the media box, in user space.
    pub shown: UserRect,
    /// By how many degrees the page is turned clockwise to be shown: 0, 90, 180 or 270.
    pub rotate: u16,
    /// The size of a user space unit in points.
    pub user_unit: f64,
}

impl PageSpace {
    /// The space of a new page of this size, not turned.
    pub(crate) fn for_sheet(size: Size) -> Self {
        let points = |mm: f64| mm / MM_PER_POINT;
        // Beyond 14 400 units many readers refuse a page (ISO 32000-1, annex C.2).
        let user_unit = (points(size.w.max(size.h)) / 14_400.0).ceil().max(1.0);
        let shown = UserRect::new(
            0.0,
            0.0,
            points(size.w) / user_unit,
            points(size.h) / user_unit,
        );
        Self {
            shown,
            rotate: 0,
            user_unit,
        }
    }

    /// Width and height as seen, mm.
    pub fn size(&self) -> Size {
        let k = self.mm_per_unit();
        let upright = Size::new(self.shown.width() * k, self.shown.height() * k);
        if self.rotate % 180 == 90 {
            upright.turned()
        } else {
            upright
        }
    }

    fn mm_per_unit(&self) -> f64 {
        self.user_unit * MM_PER_POINT
    }

    /// From user space to the page as seen, mm from its top left corner, y down.
    pub(crate) fn to_seen(self) -> Matrix {
        let k = self.mm_per_unit();
        let UserRect { x0, y0, x1, y1 } = self.shown;
        match self.rotate {
            90 => Matrix::new(0.0, k, k, 0.0, -y0 * k, -x0 * k),
            180 => Matrix::new(-k, 0.0, 0.0, k, x1 * k, -y0 * k),
            270 => Matrix::new(0.0, -k, -k, 0.0, y1 * k, x1 * k),
            _ => Matrix::new(k, 0.0, 0.0, -k, -x0 * k, y1 * k),
        }
    }

    /// From this page's user space to that of `sheet`, where `map` carries this page as seen to
    /// the sheet as seen. `None` for spaces without extent.
    pub(crate) fn matrix_to(self, sheet: &Self, map: &Affine<Page>) -> Option<Matrix> {
        let map = Matrix::new(map.xx, map.yx, map.xy, map.yy, map.dx, map.dy);
        let matrix = self.to_seen().then(&map).then(&sheet.to_seen().inverse()?);
        matrix.is_finite().then_some(matrix)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use tympan_sheet::{Angle, Decomposed, Point, Vector};

    const SHOWN: UserRect = UserRect {
        x0: 10.0,
        y0: 20.0,
        x1: 110.0,
        y1: 220.0,
    };

    fn seen(rotate: u16, user_unit: f64, p: (f64, f64)) -> (f64, f64) {
        let (x, y) = PageSpace {
            shown: SHOWN,
            rotate,
            user_unit,
        }
        .to_seen()
        .apply(p);
        (
            (x / MM_PER_POINT * 1e9).round() / 1e9,
            (y / MM_PER_POINT * 1e9).round() / 1e9,
        )
    }

    #[test]
    fn an_upright_page_has_its_origin_at_the_crop_boxs_top_left_corner() {
        assert_eq!(seen(0, 1.0, (10.0, 220.0)), (0.0, 0.0));
        assert_eq!(seen(0, 1.0, (110.0, 20.0)), (100.0, 200.0));
        assert_eq!(seen(0, 2.0, (110.0, 20.0)), (200.0, 400.0));
    }

    /// `Rotate` turns clockwise (ISO 32000-1, table 30): the bottom left corner goes to the top
    /// left, then the top right, then the bottom right.
    #[test]
    fn rotate_turns_the_page_clockwise() {
        assert_eq!(seen(90, 1.0, (10.0, 20.0)), (0.0, 0.0));
        assert_eq!(seen(90, 1.0, (10.0, 220.0)), (200.0, 0.0));
        assert_eq!(seen(180, 1.0, (10.0, 20.0)), (100.0, 0.0));
        assert_eq!(seen(270, 1.0, (10.0, 20.0)), (200.0, 100.0));
        assert_eq!(seen(270, 1.0, (10.0, 220.0)), (0.0, 100.0));
    }

    #[test]
    fn a_shift_down_as_seen_lowers_y_on_an_upright_page_and_moves_right_on_a_turned_one() {
        let down = Affine::shift(Vector::new(0.0, 25.4));
        let in_space = |rotate| {
            let space = PageSpace {
                shown: SHOWN,
                rotate,
                user_unit: 2.0,
            };
            let m = space.matrix_to(&space, &down).expect("a page with extent");
            ((m.e * 1e9).round() / 1e9, (m.f * 1e9).round() / 1e9)
        };
        assert_eq!(in_space(0), (0.0, -36.0));
        assert_eq!(in_space(90), (36.0, 0.0));
        assert_eq!(in_space(180), (0.0, 36.0));
        assert_eq!(in_space(270), (-36.0, 0.0));
    }

    /// ISO 32000-1, 8.3.4: the new matrix comes first; computed by hand in the list of check
    /// values.
    #[test]
    fn matrices_follow_each_other_as_cm_does() {
        let first = Matrix::new(0.5, 0.0, 0.0, 0.5, 10.0, 20.0);
        let second = Matrix::new(0.0, 1.0, -1.0, 0.0, 100.0, 0.0);
        let both = second.then(&first);
        assert_eq!(both, Matrix::new(0.0, 0.5, -0.5, 0.0, 60.0, 20.0));
        assert_eq!(both.apply((3.0, 4.0)), (58.0, 21.5));
    }

    #[test]
    fn numbers_have_no_exponent_and_no_idle_noughts() {
        assert_eq!(number(1.0), "1");
        assert_eq!(number(-0.000_000_000_01), "0");
        assert_eq!(number(1e-7), "0.0000001");
        assert_eq!(number(-12.5), "-12.5");
    }

    fn any_space() -> impl Strategy<Value = PageSpace> {
        let corner = -500.0..500.0f64;
        let extent = 10.0..2000.0f64;
        let turn = prop::sample::select(vec![0u16, 90, 180, 270]);
        (
            corner.clone(),
            corner,
            extent.clone(),
            extent,
            turn,
            0.1..10.0f64,
        )
            .prop_map(|(x0, y0, w, h, rotate, user_unit)| PageSpace {
                shown: UserRect::new(x0, y0, x0 + w, y0 + h),
                rotate,
                user_unit,
            })
    }

    fn any_map() -> impl Strategy<Value = Affine<Page>> {
        let part = -0.05..0.05f64;
        (
            part.clone(),
            part.clone(),
            part.clone(),
            part,
            -25.0..25.0f64,
            -25.0..25.0f64,
        )
            .prop_map(|(tilt, stretch_x, stretch_y, shear, dx, dy)| {
                let parts = Decomposed {
                    tilt: Angle::radians(tilt),
                    stretch_x,
                    stretch_y,
                    shear,
                };
                Affine::compose(parts, Vector::new(dx, dy), Point::new(105.0, 148.5))
            })
    }

    proptest! {
        #[test]
        fn whatever_the_boxes_the_page_moves_as_asked_when_seen(
            from in any_space(), to in any_space(), map in any_map(),
            x in 0.0..1.0f64, y in 0.0..1.0f64,
        ) {
            let user = (
                from.shown.x0 + x * from.shown.width(),
                from.shown.y0 + y * from.shown.height(),
            );
            let matrix = from.matrix_to(&to, &map).expect("a page with extent");
            let (sx, sy) = from.to_seen().apply(user);
            let asked = map.apply(Point::new(sx, sy));
            let (gx, gy) = to.to_seen().apply(matrix.apply(user));
            prop_assert!((gx - asked.x).hypot(gy - asked.y) < 1e-6);
        }

        #[test]
        fn what_is_shown_fills_the_page_as_seen(space in any_space()) {
            let seen = space.shown.moved(&space.to_seen());
            let size = space.size();
            prop_assert!(seen.x0.abs() < 1e-9 && seen.y0.abs() < 1e-9);
            prop_assert!((seen.x1 - size.w).abs() < 1e-9 && (seen.y1 - size.h).abs() < 1e-9);
        }
    }
}
