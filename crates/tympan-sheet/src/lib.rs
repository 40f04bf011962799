//! Units, frames, flips, affine maps, paper, stock and card sizes.
//!
//! Everything that the rest of Tympan says about a sheet is said in the types of this crate.
//! Lengths are millimetres and angles radians inside; the frames of the two sides of a sheet are
//! different types, so that a point of one cannot be taken for a point of the other.

mod card;
pub mod drawing;
mod flip;
mod frame;
mod lay;
mod length;
mod map;
mod paper;
mod pile;
mod shape;
mod side;
mod stock;

pub use card::{CardSize, USUAL_CARDS, nearest_card};
pub use flip::{BindingEdge, Flip};
pub use frame::{Back, Frame, Front, Page, Point, Rect, Size, Vector};
pub use lay::{FeedAxis, LeadingEdge, QuarterTurn};
pub use length::{Angle, Length, ParseAngleError, ParseLengthError};
pub use map::{Affine, Decomposed, Map, NotInvertible};
pub use paper::{Paper, PaperError};
pub use pile::{Behaviour, Facing, PileEnd};
pub use shape::{HexagonTop, Shape};
pub use side::Side;
pub use stock::{Caliper, Grade, Grain, Stock, StockError};
