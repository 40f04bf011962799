//! What cannot be drawn, and what to do about it.

/// Why a drawing could not be written. Pages count from 1.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum DrawError {
    /// There is nothing to write.
    #[error("there are no pages to draw")]
    NoPages,
    /// A page of no size, or larger than PDF allows (14 400 units; ISO 32000-1, annex C).
    #[error("page {page} is {w} × {h} mm, which no PDF page can be")]
    PageSize {
        /// The page.
        page: usize,
        /// Its width, mm.
        w: f64,
        /// Its height, mm.
        h: f64,
    },
    /// A coordinate, width or colour that is not a finite number.
    #[error("page {page} has a {what} that is not a number")]
    NotFinite {
        /// The page.
        page: usize,
        /// What it belongs to.
        what: &'static str,
    },
    /// A line without a width, or a dash pattern of no length.
    #[error("page {page} has a line of width {width} mm with dashes {dash:?}")]
    Line {
        /// The page.
        page: usize,
        /// The width, mm.
        width: f64,
        /// Dashes and gaps, mm.
        dash: Vec<f64>,
    },
    /// The faces have no picture for a character.
    #[error("page {page} says \"{text}\", and the embedded faces have no {character:?}")]
    MissingCharacter {
        /// The page.
        page: usize,
        /// The character.
        character: char,
        /// The whole line of text.
        text: String,
    },
    /// An embedded face could not be cut down to the characters in use.
    #[error("the face {face} could not be embedded: {reason}")]
    Embedding {
        /// The face's name.
        face: &'static str,
        /// What the font library says.
        reason: String,
    },
}

impl DrawError {
    /// What a person can do about it, if anything.
    pub fn hint(&self) -> Option<&'static str> {
        match self {
            Self::MissingCharacter { .. } => {
                Some("write it with Latin letters, figures and common punctuation")
            }
            Self::PageSize { .. } => Some("a page may be up to 5080 mm long"),
            _ => None,
        }
    }
}
