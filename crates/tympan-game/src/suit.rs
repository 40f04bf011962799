//! The four shores of the marsh.

use tympan_sheet::drawing::{Colour, Path};

use crate::motifs::heron;
use crate::motifs::mixed;
use crate::palette::{BRICK, CREAM, DUSK, FOAM, GLOW, GRASS, INK, OCHRE, PEAT, REED, SLATE};
use crate::sketch::{Sketch, curve, smooth};

/// One of the four suits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Suit {
    Reeds,
    Bells,
    Lanterns,
    Herons,
}

impl Suit {
    pub(crate) const ALL: [Self; 4] = [Self::Reeds, Self::Bells, Self::Lanterns, Self::Herons];

    pub(crate) fn name(self) -> &'static str {
        match self {
            Self::Reeds => "Reeds",
            Self::Bells => "Bells",
            Self::Lanterns => "Lanterns",
            Self::Herons => "Herons",
        }
    }

    /// The suit's own colour, on light ground.
    pub(crate) fn colour(self) -> Colour {
        match self {
            Self::Reeds => REED,
            Self::Bells => OCHRE,
            Self::Lanterns => BRICK,
            Self::Herons => SLATE,
        }
    }

    /// The sky over this shore.
    pub(crate) fn sky(self) -> Colour {
        match self {
            Self::Reeds => mixed(CREAM, GRASS, 0.35),
            Self::Bells => mixed(CREAM, GLOW, 0.45),
            Self::Lanterns => DUSK,
            Self::Herons => mixed(CREAM, FOAM, 0.8),
        }
    }

    /// What is printed on that sky.
    pub(crate) fn on_sky(self) -> Colour {
        if self == Self::Lanterns { CREAM } else { INK }
    }

    /// The suit's sign: a roundel of radius 5 about the origin.
    pub(crate) fn sign(self) -> Sketch {
        let mut s = Sketch::new();
        s.disc(0.0, 0.0, 5.0, CREAM);
        s.disc(0.0, 0.0, 4.55, self.colour());
        match self {
            Self::Reeds => {
                for (x, top) in [(-1.5, -1.6), (0.0, -3.0), (1.5, -1.2)] {
                    s.line(Path::line(x * 0.5, 3.2, x, top), CREAM, 0.34);
                    s.line(Path::line(x, top, x, top + 1.5), CREAM, 0.95);
                }
            }
            Self::Bells => {
                let side = [
                    (-2.7, 1.7),
                    (-1.8, 0.4),
                    (-1.5, -1.4),
                    (-0.9, -2.5),
                    (0.0, -2.8),
                ];
                let mut outline = side.to_vec();
                outline.extend(side.iter().rev().skip(1).map(|(x, y)| (-x, *y)));
                s.fill(smooth(&outline), CREAM);
                s.line(Path::line(-2.7, 1.7, 2.7, 1.7), CREAM, 0.5);
                s.disc(0.0, 2.6, 0.75, CREAM);
            }
            Self::Lanterns => {
                let mut lamp_sign = Sketch::new();
                lamp_sign.fill(
                    Path::polygon(&[(-1.5, -1.7), (1.5, -1.7), (1.8, 2.1), (-1.8, 2.1)]),
                    GLOW,
                );
                s.line(Path::circle(0.0, -3.0, 0.5), CREAM, 0.35);
                s.fill(
                    Path::polygon(&[(-0.6, -2.7), (0.6, -2.7), (2.0, -1.6), (-2.0, -1.6)]),
                    CREAM,
                );
                s.put(lamp_sign, 0.0, 0.0, 1.0);
                s.fill(Path::rounded_rect(-2.1, 1.9, 4.2, 0.9, 0.2), CREAM);
                s.line(Path::line(0.0, -1.6, 0.0, 2.0), BRICK, 0.35);
            }
            Self::Herons => {
                s.line(
                    curve((-1.4, 3.3), (2.4, 1.2), (-2.6, -0.6), (0.0, -2.2)),
                    CREAM,
                    0.95,
                );
                s.disc(0.2, -2.2, 0.8, CREAM);
                s.fill(
                    Path::polygon(&[(0.4, -2.95), (3.8, -1.9), (0.6, -1.5)]),
                    GLOW,
                );
                s.line(
                    curve((0.0, -2.8), (-0.8, -2.9), (-1.6, -2.6), (-2.2, -1.9)),
                    CREAM,
                    0.34,
                );
            }
        }
        s
    }

    /// The suit's picture with its feet on the origin, about 40 mm high. A bell floats.
    pub(crate) fn picture(self) -> Sketch {
        match self {
            Self::Reeds => crate::motifs::reeds(),
            Self::Bells => crate::motifs::bell(),
            Self::Lanterns => {
                let mut s = crate::motifs::lantern();
                s.line(Path::line(-9.6, 0.0, -4.4, 0.0), PEAT, 1.0);
                s
            }
            Self::Herons => heron(),
        }
    }
}
