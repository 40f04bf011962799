//! Front and back on one side of the sheet, folded along a line and glued.
//!
//! What lies so far from the fold line on one half comes to lie behind what lies as far from it
//! on the other. Such sheets are printed in one pass and get no correction of the backs.

use serde::{Deserialize, Serialize};
use tympan_sheet::{Flip, Front, Map, Rect, Size};

/// How a sheet is folded.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct FoldOver {
    /// Which way the fold runs; `None` to try both.
    pub along: Option<FoldAxis>,
    /// How much of the sheet, mm across the fold line, the bend of the fold takes up: kept free
    /// of pieces, half on either side. A bend of card takes about three times its thickness
    /// (common practice; π times where it is round).
    pub allowance: f64,
}

/// Which way a fold runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum FoldAxis {
    /// From top to bottom: fronts left, backs right.
    Upright,
    /// From left to right: fronts above, backs below.
    Level,
}

/// A fold in the middle of a sheet.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FoldLine {
    /// Which way it runs.
    pub axis: FoldAxis,
    /// How far it lies from the left edge (upright) or the top edge (level), mm.
    pub at: f64,
    /// What the bend takes up, mm across the line.
    pub allowance: f64,
}

impl FoldLine {
    /// The fold through the middle of a sheet.
    pub fn middle(axis: FoldAxis, sheet: Size, allowance: f64) -> Self {
        let at = match axis {
            FoldAxis::Upright => sheet.w / 2.0,
            FoldAxis::Level => sheet.h / 2.0,
        };
        Self {
            axis,
            at,
            allowance,
        }
    }

    /// The axis that folding reverses, told as a flip.
    pub fn flip(self) -> Flip {
        match self.axis {
            FoldAxis::Upright => Flip::Sideways,
            FoldAxis::Level => Flip::Endways,
        }
    }

    /// From where something lies on one half to where its partner lies on the other.
    pub fn map(self) -> Map<Front, Front> {
        match self.axis {
            FoldAxis::Upright => Map::new(-1.0, 0.0, 0.0, 1.0, 2.0 * self.at, 0.0),
            FoldAxis::Level => Map::new(1.0, 0.0, 0.0, -1.0, 0.0, 2.0 * self.at),
        }
    }

    /// What lies left of the fold, or above it.
    pub(crate) fn front_half(self, sheet: Rect<Front>) -> Rect<Front> {
        let mut half = sheet;
        match self.axis {
            FoldAxis::Upright => half.max.x = self.at,
            FoldAxis::Level => half.max.y = self.at,
        }
        half
    }

    /// What of `usable` the fronts with their bleed may fill: the left or upper half, as far as
    /// the other half can mirror it and the bend leaves it.
    pub(crate) fn half(self, usable: Rect<Front>, sheet: Size) -> Rect<Front> {
        let mut half = usable;
        let near = self.at - self.allowance / 2.0;
        match self.axis {
            FoldAxis::Upright => {
                half.max.x = near.min(usable.max.x);
                half.min.x = usable.min.x.max(sheet.w - usable.max.x);
            }
            FoldAxis::Level => {
                half.max.y = near.min(usable.max.y);
                half.min.y = usable.min.y.max(sheet.h - usable.max.y);
            }
        }
        half
    }
}
