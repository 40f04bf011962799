//! Saltmarsh Ferry, the invented game that the demo and all examples use.

mod board;
mod deck;
mod motifs;
mod palette;
mod piece;
mod rules;
pub mod sheets;
mod sketch;
mod suit;
mod tiles;
mod tuck_box;

pub use board::{BOARD, BOARD_BLEED, board};
pub use deck::{BLEED, CARD, CORNER, deck};
pub use piece::Piece;
pub use rules::{RULES_PAGE, rules};
pub use tiles::{TILE, tiles};
pub use tuck_box::{INSIDE, tuck_box};
