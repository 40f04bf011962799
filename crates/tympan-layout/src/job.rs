//! What is to be laid on sheets: pieces, the sheet, and how it will be cut.

use serde::{Deserialize, Serialize};
use tympan_sheet::{Back, Flip, Frame, Front, Point, Rect, Shape, Size};

use crate::fold_over::FoldOver;

/// A picture or a cell of a file, by its number in whatever list the caller keeps.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub struct ArtId(pub usize);

/// How the back of a piece stands to its front, when the piece is turned over like the page of a
/// book.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Stands {
    /// The back is upright.
    #[default]
    HeadToHead,
    /// The back is upside down.
    HeadToFoot,
}

impl Stands {
    /// The flip of the piece itself that brings its back up with its print upright.
    pub fn flip(self) -> Flip {
        match self {
            Self::HeadToHead => Flip::Sideways,
            Self::HeadToFoot => Flip::Endways,
        }
    }
}

/// What a piece shows at its edge: from that follows how it can go wrong.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Edge {
    /// Print runs over the edge: with too little bleed, white or a neighbour shows.
    #[default]
    Bled,
    /// One colour, the same on all pieces, runs over the edge, so that a neighbour's edge does as
    /// bleed where two pieces share a cut.
    Alike,
    /// A border of this width, mm, that looks lopsided when it is cut unevenly.
    Border(f64),
}

/// One kind of piece: a card, a tile or a token.
#[derive(Clone, Debug, PartialEq)]
pub struct Piece {
    /// What people call it.
    pub name: String,
    /// What it is cut to, as one holds it upright.
    pub shape: Shape,
    /// What is on its front.
    pub front: ArtId,
    /// What is on its back; `None` for a piece that is printed on one side. One common back, backs
    /// by kind, unique backs and a filler are all told by which art pieces share.
    pub back: Option<ArtId>,
    /// How many are wanted.
    pub copies: usize,
    /// How its back stands to its front.
    pub stands: Stands,
    /// Whether it may lie on its side on the sheet.
    pub may_turn: bool,
    /// What it shows at its edge.
    pub edge: Edge,
}

impl Piece {
    /// One copy of a bled piece that may be turned, with its back head to head.
    pub fn new(name: impl Into<String>, shape: Shape, front: ArtId, back: Option<ArtId>) -> Self {
        Self {
            name: name.into(),
            shape,
            front,
            back,
            copies: 1,
            stands: Stands::HeadToHead,
            may_turn: true,
            edge: Edge::Bled,
        }
    }

    /// So many of them.
    pub fn copies(self, copies: usize) -> Self {
        Self { copies, ..self }
    }
}

/// Widths along the four edges of a rectangle, mm, named as seen on the side that they belong to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Margins {
    /// Along the left edge.
    pub left: f64,
    /// Along the top edge.
    pub top: f64,
    /// Along the right edge.
    pub right: f64,
    /// Along the bottom edge.
    pub bottom: f64,
}

impl Margins {
    /// The same width along all edges.
    pub const fn all(mm: f64) -> Self {
        Self {
            left: mm,
            top: mm,
            right: mm,
            bottom: mm,
        }
    }

    /// The same margins as they are called when the sheet is seen from its other side.
    pub fn flipped(self, flip: Flip) -> Self {
        match flip {
            Flip::Sideways => Self {
                left: self.right,
                right: self.left,
                ..self
            },
            Flip::Endways => Self {
                top: self.bottom,
                bottom: self.top,
                ..self
            },
        }
    }

    /// The wider of two at each edge.
    pub fn max(self, other: Self) -> Self {
        self.zip(other, f64::max)
    }

    /// Both together at each edge.
    pub fn plus(self, other: Self) -> Self {
        self.zip(other, |a, b| a + b)
    }

    /// The narrowest of the four.
    pub fn least(self) -> f64 {
        self.left.min(self.top).min(self.right).min(self.bottom)
    }

    /// The rectangle without its margins; its edges cross where they take more than there is.
    pub fn inside<F: Frame>(self, rect: Rect<F>) -> Rect<F> {
        Rect {
            min: Point::new(rect.min.x + self.left, rect.min.y + self.top),
            max: Point::new(rect.max.x - self.right, rect.max.y - self.bottom),
        }
    }

    /// The rectangle with these widths around it.
    pub fn around<F: Frame>(self, rect: Rect<F>) -> Rect<F> {
        self.zip(Self::default(), |a, _| -a).inside(rect)
    }

    /// Left, top, right, bottom.
    pub fn edges(self) -> [f64; 4] {
        [self.left, self.top, self.right, self.bottom]
    }

    fn zip(self, other: Self, with: fn(f64, f64) -> f64) -> Self {
        Self {
            left: with(self.left, other.left),
            top: with(self.top, other.top),
            right: with(self.right, other.right),
            bottom: with(self.bottom, other.bottom),
        }
    }
}

/// The sheet of a set-up, in the orientation of its test sheet: so nobody has to guess which way
/// a quarter turn went, and pieces are turned on the sheet instead.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Sheet {
    /// Its size, mm.
    pub size: Size,
    /// How its back stands to its front.
    pub flip: Flip,
    /// What the printer cannot print along the edges of the front, as seen on the front.
    pub front_margins: Margins,
    /// What the printer cannot print along the edges of the back, as seen on the back.
    pub back_margins: Margins,
    /// What more is to be kept free of pieces and their bleed, for witness marks, within what can
    /// be printed; as seen on the front, for both sides.
    pub reserve: Margins,
}

impl Sheet {
    /// A sheet with the same unprintable margin all round, on both sides.
    pub fn new(size: Size, flip: Flip, margin: f64) -> Self {
        Self {
            size,
            flip,
            front_margins: Margins::all(margin),
            back_margins: Margins::all(margin),
            reserve: Margins::default(),
        }
    }

    /// What can be printed on the front; where `both` is set, what can be printed on both sides,
    /// seen from the front.
    pub fn printable(&self, both: bool) -> Rect<Front> {
        let mut margins = self.front_margins;
        if both {
            margins = margins.max(self.back_margins.flipped(self.flip));
        }
        margins.inside(Rect::whole(self.size))
    }

    /// What can be printed on the back, as seen on the back.
    pub fn printable_back(&self) -> Rect<Back> {
        self.back_margins.inside(Rect::whole(self.size))
    }

    /// Where pieces with their bleed may lie: printable, on both sides where `both` is set, and
    /// not kept for witness marks.
    pub fn usable(&self, both: bool) -> Rect<Front> {
        self.reserve.inside(self.printable(both))
    }
}

/// How pieces are cut from the sheet.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Method {
    /// A guillotine or a sliding trimmer: every cut goes straight through what lies under it.
    #[default]
    Straight,
    /// Scissors, a knife, a cutting machine or a punch: every piece for itself.
    Free,
}

/// In which order the pieces come to lie on the sheets.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Order {
    /// So that the piles of the cut stack, laid upon each other, are the deck in order.
    #[default]
    CutAndStack,
    /// Sheet by sheet.
    SheetBySheet,
}

/// What is to be laid out.
#[derive(Clone, Debug, PartialEq)]
pub struct Job {
    /// The kinds of pieces, in the order of the finished deck; copies of one lie together.
    pub pieces: Vec<Piece>,
    /// The sheet.
    pub sheet: Sheet,
    /// Between the trims of neighbours, mm: 0 where one cut serves both.
    pub gutter: f64,
    /// How far print runs over the trim, mm; less where a neighbour is nearer.
    pub bleed: f64,
    /// With how little bleed, mm, the outer edges of a sheet's block of pieces may do where the
    /// full bleed would leave room for fewer pieces.
    pub least_bleed: f64,
    /// How the pieces are cut out.
    pub method: Method,
    /// In which order they lie on the sheets.
    pub order: Order,
    /// For front and back on one side of the sheet, to be folded and glued.
    pub fold_over: Option<FoldOver>,
}

impl Job {
    /// Pieces on a sheet with 3 mm of bleed, but 1.5 mm will do at the sheet's edge; one cut between neighbours, cut straight through, in
    /// cut-and-stack order.
    pub fn new(pieces: Vec<Piece>, sheet: Sheet) -> Self {
        Self {
            pieces,
            sheet,
            gutter: 0.0,
            bleed: 3.0,
            least_bleed: 1.5,
            method: Method::Straight,
            order: Order::CutAndStack,
            fold_over: None,
        }
    }

    /// Whether anything is printed on the back of the sheet.
    pub fn is_two_sided(&self) -> bool {
        self.fold_over.is_none() && self.pieces.iter().any(|piece| piece.back.is_some())
    }
}
