//! What is to be written: arts, and pages with places for them.

use std::path::PathBuf;

use serde::{Deserialize, Serialize};
use tympan_sheet::drawing::{Colour, Item};
use tympan_sheet::{Affine, Page, Point, Rect, Shape, Size, Vector};

use super::SourceId;
use crate::Duplex;

/// Something for each of the four edges of an upright rectangle, as seen.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Edges<T> {
    /// The left edge.
    pub left: T,
    /// The upper edge.
    pub top: T,
    /// The right edge.
    pub right: T,
    /// The lower edge.
    pub bottom: T,
}

impl<T: Copy> Edges<T> {
    /// The same for all four.
    pub const fn all(value: T) -> Self {
        Self {
            left: value,
            top: value,
            right: value,
            bottom: value,
        }
    }
}

/// One side of one piece: a rectangle on a page of a source.
#[derive(Clone, Debug, PartialEq)]
pub struct Art {
    /// What to call it when something is wrong with it: the card's name, its file.
    pub name: String,
    /// The file it is in.
    pub source: SourceId,
    /// The page of that file, counted from 1; pictures have one.
    pub page: usize,
    /// Width and height of its trim rectangle, mm on its page.
    pub size: Size,
    /// Where it lies: from its own frame (mm, origin at the top left corner of its trim rectangle)
    /// to its page as seen. A quarter turn and a tilt are undone when it is placed.
    pub at: Affine<Page>,
    /// How far its picture really goes on beyond its trim rectangle, mm on its page.
    pub room: Edges<f64>,
    /// The radius of its corners where they are drawn round on its page with nothing behind them,
    /// mm on its page; 0 for art that fills its corners. Round corners are squared out.
    pub corner_radius: f64,
}

impl Art {
    /// The whole of a page of this size, without bleed.
    pub fn whole(name: impl Into<String>, source: SourceId, page: usize, size: Size) -> Self {
        Self::window(name, source, page, Rect::whole(size))
    }

    /// This part of a page, mm as seen, without bleed.
    pub fn window(
        name: impl Into<String>,
        source: SourceId,
        page: usize,
        window: Rect<Page>,
    ) -> Self {
        Self {
            name: name.into(),
            source,
            page,
            size: window.size(),
            at: Affine::shift(Vector::new(window.min.x, window.min.y)),
            room: Edges::all(0.0),
            corner_radius: 0.0,
        }
    }

    /// The same with this much of its picture around its trim rectangle, mm.
    pub fn with_room(self, room: Edges<f64>) -> Self {
        Self { room, ..self }
    }

    /// The same with corners that are drawn round, mm.
    pub fn with_round_corners(self, corner_radius: f64) -> Self {
        Self {
            corner_radius,
            ..self
        }
    }
}

/// Which of a job's arts, counted from 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct ArtId(pub usize);

/// What is done where an art's trim rectangle has another size than its place.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Fit {
    /// Nothing: it is placed at its own size, and refused where that differs by more than 0.5 mm.
    #[default]
    Refuse,
    /// It is scaled so that the whole of it shows; what is missing is made as bleed is.
    Whole,
    /// It is scaled so that it fills its place; what goes beyond is bleed, or cut off.
    Fill,
    /// It is stretched in both directions by themselves.
    Distort,
}

/// How bleed is made where there is none.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum BleedBy {
    /// It is not: only what is there shows.
    #[default]
    Keep,
    /// The art goes on as in a mirror at its edge.
    Mirror,
    /// The very edge of the art is drawn out.
    Stretch,
    /// Plain colour: the commonest one along the edge, or this one.
    Colour(Option<Colour>),
    /// The whole art is enlarged about its middle until it bleeds. This alone changes the piece
    /// itself.
    Enlarge,
}

/// How far the print goes beyond the trim, and how.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Bleed {
    /// How far it goes on each edge, mm. Bleed that is there beyond that is cut off.
    pub wanted: Edges<f64>,
    /// How the part of it that is not there is made.
    pub by: Edges<BleedBy>,
}

impl Bleed {
    /// The same on all edges.
    pub fn all(mm: f64, by: BleedBy) -> Self {
        Self {
            wanted: Edges::all(mm),
            by: Edges::all(by),
        }
    }
}

/// Something painted over a placed art, in the frame of its trim.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Overlay {
    /// A border of even width along the trim, with its bleed.
    Border {
        /// Its width inside the trim, mm.
        width: f64,
        /// The radius of its inner corners, mm.
        corner_radius: f64,
        /// Its colour; where none is given, the commonest one along the art's edges.
        colour: Option<Colour>,
    },
    /// A rectangle painted over, such as an old crop mark.
    Cover {
        /// The rectangle, mm from the top left corner of the trim.
        area: Rect<Page>,
        /// Its colour; where none is given, the commonest one just around it.
        colour: Option<Colour>,
    },
}

/// An art in its place.
#[derive(Clone, Debug, PartialEq)]
pub struct Placement {
    /// Which art.
    pub art: ArtId,
    /// What the piece is cut to.
    pub trim: Shape,
    /// Where it goes: from the frame of the trim (mm, origin at the top left corner of the
    /// rectangle around the shape) to the sheet's page as seen. It may hold a correction.
    pub map: Affine<Page>,
    /// What is done where the sizes differ.
    pub fit: Fit,
    /// The bleed.
    pub bleed: Bleed,
    /// What is painted over it.
    pub overlays: Vec<Overlay>,
}

impl Placement {
    /// An art at its own size without bleed, with the top left corner of its trim here.
    pub fn at(art: ArtId, trim: Shape, corner: Point<Page>) -> Self {
        Self {
            art,
            trim,
            map: Affine::shift(Vector::new(corner.x, corner.y)),
            fit: Fit::Refuse,
            bleed: Bleed::default(),
            overlays: Vec::new(),
        }
    }
}

/// The boxes of a page (ISO 32000-1, 14.11.2), mm as seen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Boxes {
    /// What remains when the sheet's waste is cut away.
    pub trim: Rect<Page>,
    /// The same with its bleed.
    pub bleed: Rect<Page>,
}

/// One page of the output.
#[derive(Clone, Debug, PartialEq)]
pub struct SheetPage {
    /// Its size as seen, mm.
    pub size: Size,
    /// Its boxes; where none are given, those around all trims and all bleeds, kept upright. Give
    /// them where the placements hold a correction, since the sheet is cut where it was planned.
    pub boxes: Option<Boxes>,
    /// What is painted first.
    pub under: Vec<Item>,
    /// The arts, in order.
    pub placements: Vec<Placement>,
    /// What is painted last: marks, words.
    pub over: Vec<Item>,
}

impl SheetPage {
    /// A bare page.
    pub fn new(size: Size) -> Self {
        Self {
            size,
            boxes: None,
            under: Vec::new(),
            placements: Vec::new(),
            over: Vec::new(),
        }
    }
}

/// What is to be written, and where.
#[derive(Clone, Debug, Default)]
pub struct ImposeJob {
    /// The file to write; it must not exist.
    pub output: PathBuf,
    /// The document's title.
    pub title: String,
    /// What to tell the print dialog about the two sides, if anything.
    pub duplex: Option<Duplex>,
    /// The arts that placements speak of.
    pub arts: Vec<Art>,
    /// The pages in order.
    pub pages: Vec<SheetPage>,
    /// Whether the pages are moved by what a printer errs, which is noted in the file.
    pub corrected: bool,
}

/// What was written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct ImposeReport {
    /// How many pages.
    pub pages: usize,
    /// How many placed arts.
    pub placements: usize,
    /// How many different pieces they were drawn from.
    pub pieces: usize,
    /// How many pages of PDFs lie in the file, each once.
    pub forms: usize,
    /// How many pictures lie in the file, each once.
    pub pictures: usize,
    /// How many of these kept their own compressed bytes.
    pub passed_through: usize,
    /// The file's length, bytes.
    pub bytes: u64,
}
