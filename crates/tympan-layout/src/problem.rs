//! Why a job cannot be laid out: all reasons at once, each with the piece and the remedy.

use tympan_sheet::{Length, Size};

/// The smallest piece that is believed, mm (common practice: smaller ones cannot be held).
pub(crate) const SMALLEST_PIECE: f64 = 4.0;
/// More pieces than this in one job are taken for a slip of the pen.
pub(crate) const MOST_PIECES: usize = 200_000;

/// All that stands in the way of a plan.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("{}", .0.iter().map(ToString::to_string).collect::<Vec<_>>().join("; "))]
pub struct Problems(pub Vec<Problem>);

/// One thing that stands in the way of a plan.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Problem {
    /// Nothing is to be made.
    #[error("there are no pieces to lay out")]
    NoPieces,
    /// Far too many.
    #[error("{count} pieces are more than one job takes ({MOST_PIECES})")]
    TooManyPieces {
        /// How many were asked for.
        count: usize,
    },
    /// A piece has no size that can be cut.
    #[error("\"{piece}\" has no size that can be cut: {measures}")]
    Shape {
        /// Its name.
        piece: String,
        /// Its measures, as far as they can be told.
        measures: String,
    },
    /// A length that is not one.
    #[error("the {what} is {mm} mm")]
    Length {
        /// Which length.
        what: &'static str,
        /// What it was given as.
        mm: f64,
    },
    /// Margins and reserve leave nothing of the sheet.
    #[error(
        "the margins leave no room: of {} × {} only {} × {} could be printed",
        Length::mm(.sheet.w), Length::mm(.sheet.h), Length::mm(.left.w.max(0.0)),
        Length::mm(.left.h.max(0.0))
    )]
    NoRoom {
        /// The sheet.
        sheet: Size,
        /// What is left of it.
        left: Size,
    },
    /// A piece is larger than the whole sheet.
    #[error(
        "\"{piece}\" ({} × {}) is larger than the sheet ({} × {})",
        Length::mm(.size.w), Length::mm(.size.h), Length::mm(.sheet.w), Length::mm(.sheet.h)
    )]
    LargerThanSheet {
        /// Its name.
        piece: String,
        /// Its size.
        size: Size,
        /// The sheet.
        sheet: Size,
    },
    /// A piece fits on the sheet but not between its margins.
    #[error(
        "\"{piece}\" with its bleed needs {} × {}, and the margins leave {} × {}",
        Length::mm(.needs.w), Length::mm(.needs.h), Length::mm(.room.w.max(0.0)),
        Length::mm(.room.h.max(0.0))
    )]
    NoRoomForPiece {
        /// Its name.
        piece: String,
        /// Its size with bleed.
        needs: Size,
        /// What there is.
        room: Size,
        /// Whether it would fit if it lay on its side.
        fits_turned: bool,
    },
    /// A piece of a fold-over sheet has no back.
    #[error("\"{piece}\" has no back to fold over")]
    NoBackToFold {
        /// Its name.
        piece: String,
    },
    /// No place on the pre-cut sheet has the piece's size.
    #[error("\"{piece}\" ({shape}) fits no place on the pre-cut sheet \"{stock}\" ({places})")]
    NoPlace {
        /// Its name.
        piece: String,
        /// Its shape in words.
        shape: String,
        /// The name of the pre-cut sheet.
        stock: String,
        /// What its places measure.
        places: String,
    },
    /// The measures of a pre-cut sheet contradict each other.
    #[error("the pre-cut sheet \"{stock}\": {what}")]
    PreCut {
        /// Its name.
        stock: String,
        /// What is wrong.
        what: String,
    },
}

impl Problem {
    /// What to do about it.
    pub fn hint(&self) -> String {
        match self {
            Self::NoPieces => "give at least one piece with one copy".into(),
            Self::TooManyPieces { .. } => "check the numbers of copies".into(),
            Self::Shape { .. } => format!(
                "give a width and height (or a diameter) of at least {SMALLEST_PIECE} mm, and a \
                 corner radius of at most half the shorter side"
            ),
            Self::Length { .. } => "give a length of 0 mm or more".into(),
            Self::NoRoom { .. } => {
                "check the set-up's unprintable margins, or keep less room for witness marks".into()
            }
            Self::LargerThanSheet { .. } => {
                "use a larger paper, make the piece smaller, or print it in parts as a board".into()
            }
            Self::NoRoomForPiece {
                fits_turned: true, ..
            } => "it would fit on its side: allow it to be turned".into(),
            Self::NoRoomForPiece { .. } => {
                "use a larger paper, less bleed, or less room for witness marks".into()
            }
            Self::NoBackToFold { .. } => "give it a back, or lay it out without folding".into(),
            Self::NoPlace { .. } => {
                "give the piece the size of a place, or use stock that is cut for it".into()
            }
            Self::PreCut { .. } => "measure the sheet again and correct its definition".into(),
        }
    }
}
