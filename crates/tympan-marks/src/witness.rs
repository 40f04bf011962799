//! Witness marks: small marks in the waste of a production sheet, from which it can be read like
//! a test sheet before it is cut.
//!
//! They stand in two strips along opposite edges of the sheet. A strip has an axis with places
//! every [`PITCH`] mm; discs of the front and rings of the back take them by turns, so that what
//! shows through never lies under a mark. Each side has a code in each strip, on the same axis:
//! bars that say run, sheet, side and strip. Where a side's code stands, the other side prints
//! nothing.

mod code;
mod draw;
mod geometry;
mod place;

pub use code::{CELLS, NotARunCode, RunCode, StripCode};
pub(crate) use geometry::cell_mm;
pub use geometry::{Edge, Geometry, Strip};
pub use place::{Beside, NoRoom, Room};

/// From one place on a strip's axis to the next, mm. One side's marks lie twice as far apart.
pub const PITCH: f64 = 6.0;
/// Outer radius of a mark, mm.
pub const MARK_RADIUS: f64 = 1.5;
/// Inner radius of a ring, mm.
pub const RING_INNER: f64 = 0.75;
/// Paper kept bare about a mark's centre, mm: readers measure the paper's own tone there.
pub const BARE: f64 = 2.6;
/// Width of one bar of a code, mm.
pub const BAR: f64 = 0.66;
/// Length of a code's bars across the strip, mm.
pub const BAR_LENGTH: f64 = 3.0;
/// A code takes the places between two marks that lie so many places apart.
pub const CODE_PLACES: u16 = 8;
