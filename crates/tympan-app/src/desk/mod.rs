//! The desk: files that were dropped, what is to be done to them and what came of it, kept in the
//! data folder so that a reload, a second tab or a restart finds them again.
//!
//! ```text
//! DATA/desk/
//!   lock                  held while a program serves this desk; tells where
//!   incoming/             uploads that have not wholly arrived; emptied at the start
//!   work/ID/work.json     a piece of work
//!   work/ID/file-N.pdf    its files as they came
//!   work/ID/saved/        what was written
//!   pictures/ID/          previews, within a bound; may go at any time
//!   batches/ID/           pictures of test sheets that are read
//!   decks/ID/deck.json    cards that are laid out afresh
//!   decks/ID/file-N.…     their files as they came
//!   decks/ID/saved/       the sheets that were written
//!   sheets/SETUP/         test sheets to print
//!   prints/               what else is printed straight from the page
//!   runs/                 print runs: their files, what was ticked, what is printed
//! DATA/evidence/          pictures that show what readings rest on
//! ```

mod batch;
mod deck;
mod files;
mod inspected;
mod issued;
mod laying;
mod look;
pub mod picture;
mod prints;
mod runs;
mod show;
mod straight;
mod ten;
mod wish;
mod work;

pub use batch::{Batch, BatchRead, BatchRefused, Outcome, PicturesIn};
pub use deck::{CardEdit, Deck, DeckSaved};
pub use files::{Desk, Incoming};
pub use inspected::{Cards, Finding, Inspected, look_closely};
pub use issued::Issued;
pub use laying::DeckIn;
pub use look::{Look, Looked, learn, look};
pub use prints::{Answered, EndTold, PlanTold, PrintIn, PrintWish, Printing};
pub use runs::{
    AgainWish, Kept, RunDesk, RunIn, RunWish, RunWork, What, pass_step, sheets as sheets_typed,
};
pub use show::{PageRef, SheetRef, Shown, View, sheets, show};
pub use straight::{Straight, StraightFile, StraightPass};
pub use ten::{Ten, ten};
pub use wish::Wish;
pub use work::{Change, How, Job, JobKind, JobState, Learnt, Placed, Saved, Work, WorkFile};

use tympan_sheet::Affine;
use tympan_sheet::Frame;

/// `[a, b, c, d, e, f]`: (x, y) goes to (a·x + c·y + e, b·x + d·y + f), as canvases have it.
pub type Coefficients = [f64; 6];

fn coefficients<A: Frame, B: Frame>(m: &tympan_sheet::Map<A, B>) -> Coefficients {
    [m.xx, m.yx, m.xy, m.yy, m.dx, m.dy]
}

fn from_coefficients<F: Frame>([a, b, c, d, e, f]: Coefficients) -> Affine<F> {
    Affine::new(a, c, b, d, e, f)
}
