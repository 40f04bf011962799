//! Knowing a file of cards before stock is spent on it: where the cards are on its pages, which
//! pages are the two sides of a sheet, what error is in the file itself, and what else will bite.

pub mod cells;
pub mod faults;
mod file_error;
mod findings;
mod pairs;
#[cfg(test)]
mod testing;

pub use file_error::{file_error, verdict};
pub use findings::{
    Bleed, Evidence, Fault, FileError, FoldLine, Grid, PageCells, Pair, Place, Role, Severity,
    Standing, Way,
};
pub use pairs::{Asked, AskedError, Look, Pairing, flip_of, pair, pair_files};
