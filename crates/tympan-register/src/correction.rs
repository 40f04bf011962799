//! What moves the content of the pages so that backs and fronts meet.

use serde::{Deserialize, Serialize};
use tympan_sheet::{Affine, Back, Flip, Front, NotInvertible, Size};

/// Which pages are moved.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Sides {
    /// The backs come to the fronts.
    #[default]
    Backs,
    /// The fronts come to the backs.
    Fronts,
    /// Each goes half of the way.
    Both,
}

/// What the content of each side goes through before it is printed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Correction {
    /// For the fronts, in the front frame.
    pub fronts: Affine<Front>,
    /// For the backs, in the back frame.
    pub backs: Affine<Back>,
}

/// The correction that undoes the steady error `g`, the map from where the back should be to
/// where it is, seen from the front: `g(p) = p + r(p)`.
///
/// With `T` the flip, the backs go through `T∘g⁻¹∘T`, exactly inverted; put on the fronts it is
/// `g`; on both it is `g^½` for the fronts and `T∘g^−½∘T` for the backs.
///
/// # Errors
/// [`NotInvertible`] where `g` is no map that a printer can make: a mirror, a half turn, or flat.
pub fn correction(
    g: &Affine<Front>,
    flip: Flip,
    sheet: Size,
    sides: Sides,
) -> Result<Correction, NotInvertible> {
    let back = |map: Affine<Front>| flip.carry_to_back(&map, sheet);
    Ok(match sides {
        Sides::Backs => Correction {
            fronts: Affine::IDENTITY,
            backs: back(g.inverse()?),
        },
        Sides::Fronts => {
            g.inverse()?;
            Correction {
                fronts: *g,
                backs: Affine::IDENTITY,
            }
        }
        Sides::Both => {
            let half = g.half()?;
            Correction {
                fronts: half,
                backs: back(half.inverse()?),
            }
        }
    })
}

/// The correction where each side's own placement on the sheet is known: `front` carries what is
/// asked for on the front to where it is printed, `back` does the same on the back, each in its
/// own frame. The backs go through `B⁻¹∘F`, with `F` as it looks on the back; where both sides are
/// to be put right on the sheet, each goes through its own inverse.
///
/// # Errors
/// [`NotInvertible`] where a placement is flat.
pub fn correction_of_placements(
    front: &Affine<Front>,
    back: &Affine<Back>,
    flip: Flip,
    sheet: Size,
    sides: Sides,
) -> Result<Correction, NotInvertible> {
    let front_on_back = flip.carry_to_back(front, sheet);
    let back_on_front = flip.carry_to_front(back, sheet);
    Ok(match sides {
        Sides::Backs => Correction {
            fronts: Affine::IDENTITY,
            backs: front_on_back.then(&back.inverse()?),
        },
        Sides::Fronts => Correction {
            fronts: back_on_front.then(&front.inverse()?),
            backs: Affine::IDENTITY,
        },
        Sides::Both => Correction {
            fronts: front.inverse()?,
            backs: back.inverse()?,
        },
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use tympan_sheet::{Angle, Point, Vector};

    const A4: Size = Size::new(210.0, 297.0);
    const ALL: [Sides; 3] = [Sides::Backs, Sides::Fronts, Sides::Both];

    fn a_map() -> impl Strategy<Value = (f64, f64, f64, f64, f64, f64)> {
        (
            -0.02..0.02f64,
            -0.01..0.01f64,
            -0.01..0.01f64,
            -0.01..0.01f64,
            -9.0..9.0f64,
            -9.0..9.0f64,
        )
    }

    fn map<F: tympan_sheet::Frame>(v: (f64, f64, f64, f64, f64, f64)) -> Affine<F> {
        Affine::linear_about(1.0 + v.1, v.3 - v.0, v.0, 1.0 + v.2, A4.centre())
            .then(&Affine::shift(Vector::new(v.4, v.5)))
    }

    proptest! {
        /// A printer puts fronts where they are asked for and backs, seen from the front, `g` off.
        /// Whatever is corrected, a card's front and back then lie at the same place of the sheet.
        #[test]
        fn corrected_backs_lie_behind_their_fronts(v in a_map(), x in 0.0..210.0f64, y in 0.0..297.0f64) {
            let g: Affine<Front> = map(v);
            for flip in [Flip::Sideways, Flip::Endways] {
                for sides in ALL {
                    let c = correction(&g, flip, A4, sides).expect("near the identity");
                    let front_printed = c.fronts.apply(Point::new(x, y));
                    let back_asked = flip.to_back(Point::new(x, y), A4);
                    let back_sent = c.backs.apply(back_asked);
                    let back_printed = g.apply(flip.to_front(back_sent, A4));
                    prop_assert!((back_printed - front_printed).length() < 1e-9);
                }
            }
        }

        #[test]
        fn known_placements_are_undone_exactly(f in a_map(), b in a_map(), x in 0.0..210.0f64, y in 0.0..297.0f64) {
            let (front, back): (Affine<Front>, Affine<Back>) = (map(f), map(b));
            for flip in [Flip::Sideways, Flip::Endways] {
                for sides in ALL {
                    let c = correction_of_placements(&front, &back, flip, A4, sides)
                        .expect("near the identity");
                    let p = Point::new(x, y);
                    let front_printed = front.apply(c.fronts.apply(p));
                    let back_printed = back.apply(c.backs.apply(flip.to_back(p, A4)));
                    let seen = flip.to_front(back_printed, A4);
                    prop_assert!((seen - front_printed).length() < 1e-9);
                    if sides == Sides::Both {
                        prop_assert!((seen - p).length() < 1e-9, "both right on the sheet");
                    }
                }
            }
        }
    }

    /// By hand, for a plain case: backs 2 mm low on the back must be moved 2 mm up on the back.
    #[test]
    fn low_backs_are_moved_up() {
        for (flip, y) in [(Flip::Sideways, 2.0), (Flip::Endways, -2.0)] {
            let g = Affine::shift(Vector::new(0.0, y));
            let c = correction(&g, flip, A4, Sides::Backs).expect("a shift");
            assert!(
                c.backs
                    .is_close(&Affine::shift(Vector::new(0.0, -2.0)), 1e-12),
                "{flip}"
            );
            assert_eq!(c.fronts, Affine::IDENTITY);
        }
    }

    #[test]
    fn both_halves_are_roots_and_not_halved_numbers() {
        let g = Affine::tilt(Angle::degrees(10.0), A4.centre());
        let c = correction(&g, Flip::Sideways, A4, Sides::Both).expect("a tilt");
        let want: Affine<Front> = Affine::tilt(Angle::degrees(5.0), A4.centre());
        assert!(c.fronts.is_close(&want, 1e-9));
        // The back turns back by as much seen from the front: clockwise as seen on the back.
        let back: Affine<Back> = Affine::tilt(Angle::degrees(5.0), A4.centre());
        assert!(c.backs.is_close(&back, 1e-9));
    }

    #[test]
    fn mirrors_are_refused() {
        let g = Affine::scale(-1.0, 1.0, A4.centre());
        assert_eq!(
            correction(&g, Flip::Sideways, A4, Sides::Both),
            Err(NotInvertible)
        );
        let flat = Affine::scale(0.0, 1.0, A4.centre());
        assert_eq!(
            correction(&flat, Flip::Sideways, A4, Sides::Fronts),
            Err(NotInvertible)
        );
    }
}
