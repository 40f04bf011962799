//! Saltmarsh Ferry, the invented game that the demo and all examples use.

mod deck;
mod motifs;
mod palette;
mod piece;
mod sketch;
mod suit;

pub use deck::{BLEED, CARD, CORNER, deck};
pub use piece::Piece;
