//! Plane geometry of the simulation's own, written apart from the types that it helps to test.
//!
//! Everything here is plain pairs of mm, x to the right and y down in whichever frame is meant.

/// A place or a displacement in the plane: x to the right, y down.
pub(crate) type Xy = [f64; 2];

/// `x' = m[0] x + m[1] y + m[2]`, `y' = m[3] x + m[4] y + m[5]`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Linear {
    m: [f64; 6],
}

impl Linear {
    pub(crate) const IDENTITY: Self = Self {
        m: [1.0, 0.0, 0.0, 0.0, 1.0, 0.0],
    };

    pub(crate) const fn new(m: [f64; 6]) -> Self {
        Self { m }
    }

    pub(crate) const fn shift(by: Xy) -> Self {
        Self::new([1.0, 0.0, by[0], 0.0, 1.0, by[1]])
    }

    /// The matrix `[[a, b], [c, d]]` about a point that stays where it is.
    pub(crate) fn about(a: f64, b: f64, c: f64, d: f64, centre: Xy) -> Self {
        let [x, y] = centre;
        Self::new([a, b, x - a * x - b * y, c, d, y - c * x - d * y])
    }

    /// Clockwise as seen (y is down), radians.
    pub(crate) fn rotation(angle: f64, centre: Xy) -> Self {
        let (sin, cos) = angle.sin_cos();
        Self::about(cos, -sin, sin, cos, centre)
    }

    /// `x → width − x`.
    pub(crate) const fn mirror_x(width: f64) -> Self {
        Self::new([-1.0, 0.0, width, 0.0, 1.0, 0.0])
    }

    /// `y → height − y`.
    pub(crate) const fn mirror_y(height: f64) -> Self {
        Self::new([1.0, 0.0, 0.0, 0.0, -1.0, height])
    }

    pub(crate) fn at(&self, [x, y]: Xy) -> Xy {
        let m = &self.m;
        [m[0] * x + m[1] * y + m[2], m[3] * x + m[4] * y + m[5]]
    }

    /// This first, then `next`.
    pub(crate) fn then(&self, next: &Self) -> Self {
        let (a, b) = (&self.m, &next.m);
        Self::new([
            b[0] * a[0] + b[1] * a[3],
            b[0] * a[1] + b[1] * a[4],
            b[0] * a[2] + b[1] * a[5] + b[2],
            b[3] * a[0] + b[4] * a[3],
            b[3] * a[1] + b[4] * a[4],
            b[3] * a[2] + b[4] * a[5] + b[5],
        ])
    }

    /// The way back. The simulated machines never squeeze a plane flat.
    pub(crate) fn inverse(&self) -> Self {
        let [a, b, e, c, d, f] = self.m;
        let det = a * d - b * c;
        let (ia, ib, ic, id) = (d / det, -b / det, -c / det, a / det);
        Self::new([ia, ib, -(ia * e + ib * f), ic, id, -(ic * e + id * f)])
    }
}

/// A displacement that grows with the square of the distance from the middle along one axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Bend {
    /// 0 for x, 1 for y.
    pub(crate) axis: usize,
    pub(crate) middle: f64,
    /// Displacement at 100 mm from the middle, mm.
    pub(crate) by: Xy,
}

impl Bend {
    fn at(&self, p: Xy) -> Xy {
        let q = (p[self.axis] - self.middle) / 100.0;
        [self.by[0] * q * q, self.by[1] * q * q]
    }
}

/// Where print lands: an affine map, a bend of what it gives, and another affine map after it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Warp {
    inner: Linear,
    bend: Bend,
    outer: Linear,
    inner_back: Linear,
    outer_back: Linear,
}

impl Warp {
    pub(crate) fn new(inner: Linear, bend: Bend, outer: Linear) -> Self {
        Self {
            inner,
            bend,
            outer,
            inner_back: inner.inverse(),
            outer_back: outer.inverse(),
        }
    }

    pub(crate) fn at(&self, p: Xy) -> Xy {
        let ([x, y], [dx, dy]) = (self.inner.at(p), self.bend.at(p));
        self.outer.at([x + dx, y + dy])
    }

    /// What lands at `q`, to better than a nanometre for any bend below a centimetre.
    pub(crate) fn back(&self, q: Xy) -> Xy {
        let [x, y] = self.outer_back.at(q);
        let mut p = self.inner_back.at([x, y]);
        if self.bend.by == [0.0, 0.0] {
            return p;
        }
        for _ in 0..30 {
            let [dx, dy] = self.bend.at(p);
            let next = self.inner_back.at([x - dx, y - dy]);
            let moved = (next[0] - p[0]).abs().max((next[1] - p[1]).abs());
            p = next;
            if moved < 1e-10 {
                break;
            }
        }
        p
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quarter_turn_clockwise_sends_right_down() {
        let [x, y] = Linear::rotation(std::f64::consts::FRAC_PI_2, [0.0, 0.0]).at([1.0, 0.0]);
        assert!(x.abs() < 1e-12 && (y - 1.0).abs() < 1e-12);
    }

    #[test]
    fn a_warp_and_its_way_back_meet() {
        let bend = Bend {
            axis: 1,
            middle: 148.5,
            by: [0.3, -0.8],
        };
        let inner = Linear::about(1.002, 0.003, -0.004, 0.997, [105.0, 148.5]);
        let outer = Linear::mirror_x(210.0).then(&Linear::shift([1.5, -2.5]));
        let warp = Warp::new(inner, bend, outer);
        for p in [[0.0, 0.0], [210.0, 0.0], [17.0, 290.0], [105.0, 148.5]] {
            let [x, y] = warp.back(warp.at(p));
            assert!(
                (x - p[0]).abs() < 1e-9 && (y - p[1]).abs() < 1e-9,
                "{p:?} came back {x} {y}"
            );
        }
    }
}
