//! Laying pieces out on sheets: how many there is room for and where, what lies behind what, in
//! which order the sheets are filled and cut, and the marks and lines that this needs.
//!
//! Pure geometry: no input or output, and the same job gives the same plan. [`plan()`] makes the
//! best few [`Plan`]s of a [`Job`]; [`Plan::sides`] tells what is printed where on both sides of
//! each sheet. Everything is in mm in the frames of `tympan-sheet`: x to the right, y down.

mod cell_bleed;
pub mod cut_lines;
pub mod cutting;
pub mod fold_over;
mod job;
mod marks;
mod order;
mod plan;
mod precut;
mod problem;
mod quality;
mod search;
mod sides;

pub use fold_over::FoldOver;
pub use job::{ArtId, Edge, Job, Margins, Method, Order, Piece, Sheet, Stands};
pub use marks::{CutMarks, MarkItems, Marks};
pub use order::Pile;
pub use plan::{Cell, Figures, Group, Plan, Unit};
pub use precut::{PreCut, PreCutGrid};
pub use problem::{Problem, Problems};
pub use quality::{Measured, Place, Quality, Unmeasured};
pub use search::plan;
pub use sides::{Placed, SheetSides};
