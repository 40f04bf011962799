//! The few inks that everything is printed in.

use tympan_sheet::drawing::Colour;

const fn ink(rgb: u32) -> Colour {
    const fn part(rgb: u32, shift: u32) -> f32 {
        ((rgb >> shift) & 0xff) as f32 / 255.0
    }
    Colour::Rgb(part(rgb, 16), part(rgb, 8), part(rgb, 0))
}

/// Nearly black, a little blue: outlines, figures, text.
pub(crate) const INK: Colour = ink(0x20_2e3c);
/// The paper of the game.
pub(crate) const CREAM: Colour = ink(0xf7_f0e0);
/// Deep water.
pub(crate) const TIDE: Colour = ink(0x2c_6a80);
/// The water behind and before it.
pub(crate) const SHALLOW: Colour = ink(0x6f_a9b5);
/// Foam, far water.
pub(crate) const FOAM: Colour = ink(0xc9_e0e0);
/// Dry sand.
pub(crate) const SAND: Colour = ink(0xe7_d3a6);
/// Wet mud.
pub(crate) const MUD: Colour = ink(0xc2_a67c);
/// Wet mud in shadow, bulrushes, timber.
pub(crate) const PEAT: Colour = ink(0x7a_5c40);
/// Reeds.
pub(crate) const REED: Colour = ink(0x5c_7c43);
/// Reeds far away, marsh grass.
pub(crate) const GRASS: Colour = ink(0xb4_c492);
/// Bells, beaks, the sun.
pub(crate) const OCHRE: Colour = ink(0xd9_9b2b);
/// Lanterns, sails.
pub(crate) const BRICK: Colour = ink(0xb4_4a33);
/// Herons.
pub(crate) const SLATE: Colour = ink(0x5f_7a92);
/// The glow of a lantern.
pub(crate) const GLOW: Colour = ink(0xf8_dc88);
/// The sky after sunset.
pub(crate) const DUSK: Colour = ink(0x34_4a66);
