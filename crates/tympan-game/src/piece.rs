//! One thing with two sides.

use tympan_sheet::Size;
use tympan_sheet::drawing::Drawing;

/// A card or a tile.
#[derive(Clone, Debug, PartialEq)]
pub struct Piece {
    /// What it is called; no two pieces of a set share a name.
    pub name: String,
    /// Its size once cut, mm.
    pub trim: Size,
    /// How far its pictures go on beyond the trim on every side, mm.
    pub bleed: f64,
    /// The radius of its corners, mm.
    pub corner: f64,
    /// The front, `trim` and the bleed around it.
    pub front: Drawing,
    /// The back as seen when the piece is turned over like the page of a book.
    pub back: Drawing,
}
