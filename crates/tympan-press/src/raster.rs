//! Pages as PWG raster (PWG 5102.4), for printers that take no PDF or may scale it.
//!
//! A page is drawn at the printer's own resolution with its top left corner at the sheet's, dot for
//! dot, so that nothing is left to scale. The fields and their places are those of the standard,
//! the way each back lies those of its table for `pwg-raster-document-sheet-back`.

mod header;
mod lines;
mod pages;

use serde::{Deserialize, Serialize};

pub use header::HEADER_BYTES;
pub use pages::{Drawn, Pass, RasterFault, draw, stream};

/// The first bytes of a file (PWG 5102.4, 4.1).
pub const SYNC_WORD: &[u8; 4] = b"RaS2";

/// How a dot is coded.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ColourSpace {
    /// One bit: black or white (`black_1`).
    Black,
    /// One byte, sGray (`sgray_8`).
    Grey,
    /// Three bytes, sRGB (`srgb_8`).
    Colour,
}

impl ColourSpace {
    /// From a value of `pwg-raster-document-type-supported`.
    pub fn of_keyword(keyword: &str) -> Option<Self> {
        match keyword {
            "black_1" => Some(Self::Black),
            "sgray_8" => Some(Self::Grey),
            "srgb_8" => Some(Self::Colour),
            _ => None,
        }
    }
}

/// How a printer that turns sheets by itself wants the backs
/// (`pwg-raster-document-sheet-back`).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SheetBack {
    /// As they are.
    #[default]
    Normal,
    /// Upside down when turned about the long edge.
    Rotated,
    /// Upside down when turned about the short edge.
    ManualTumble,
    /// From the foot up when turned about the long edge, from right to left when turned about
    /// the short edge.
    Flipped,
}

impl SheetBack {
    /// From the attribute's value.
    pub fn of_keyword(keyword: &str) -> Option<Self> {
        match keyword {
            "normal" => Some(Self::Normal),
            "rotated" => Some(Self::Rotated),
            "manual-tumble" => Some(Self::ManualTumble),
            "flipped" => Some(Self::Flipped),
            _ => None,
        }
    }

    /// Whether a back is mirrored across the feed, and along it.
    pub(crate) fn mirrors(self, is_long_edge: bool) -> (bool, bool) {
        match (self, is_long_edge) {
            (Self::Normal, _) | (Self::Rotated, false) | (Self::ManualTumble, true) => {
                (false, false)
            }
            (Self::Rotated, true) | (Self::ManualTumble, false) => (true, true),
            (Self::Flipped, true) => (false, true),
            (Self::Flipped, false) => (true, false),
        }
    }
}
