//! What can be found in a file. Pages count from 0 here; faces count them from 1. Places are on
//! the page as seen: mm from its top left corner, x to the right, y down; angles clockwise.

use std::fmt;

use tympan_sheet::{Affine, Angle, Flip, Front, Page, Point, Rect, Size, Vector};

/// What a page is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Role {
    /// The fronts of cards.
    Front,
    /// The backs of cards.
    Back,
    /// Fronts and backs on one side, to be folded and glued.
    FoldOver,
    /// Rules, a cover, anything else.
    Other,
}

/// By what a grid was found.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Evidence {
    /// Marks at the ends of the cuts, outside the cards.
    TrimMarks,
    /// Lines or frames drawn along the cuts.
    Lines,
    /// Where pictures and forms are placed, and what they are clipped to.
    Placements,
    /// Edges and repeats in the rendered page.
    Pixels,
}

/// How far the picture goes on beyond the trim, mm. Never more than half of the gutter where
/// neighbours meet.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bleed {
    /// The least of all outer and inner edges.
    pub least: f64,
    /// The usual one.
    pub usual: f64,
}

/// Cells of one size in rows and columns.
#[derive(Clone, Debug, PartialEq)]
pub struct Grid {
    /// Cells side by side.
    pub columns: usize,
    /// Cells one below the other.
    pub rows: usize,
    /// The size of one cell after cutting, along the grid's own axes, mm.
    pub trim: Size,
    /// From a cell to its neighbour on the right (x) and below (y), along the grid's own axes, mm.
    /// Equal to the trim where there is no gutter, and where there is only one column or row.
    pub pitch: Vector<Page>,
    /// The top left corner of the first cell's trim.
    pub origin: Point<Page>,
    /// How the grid is tilted about `origin`, clockwise as seen. Small; a card that lies on its
    /// side is a cell that is wider than high.
    pub rotation: Angle,
    /// Standard uncertainty of where the grid lies (its middle), mm.
    pub place_sd: f64,
    /// Standard uncertainty of the pitch, mm.
    pub pitch_sd: f64,
    /// Standard uncertainty of the trim's width and height, mm.
    pub trim_sd: f64,
    /// How likely it is that this grid is there at all and is this one, 0 to 1.
    pub confidence: f64,
    /// By what it was found; where two kinds of evidence disagree, see `disagreement`.
    pub found_by: Vec<Evidence>,
    /// How far the lines along the cuts lie off the middles of what is printed in the cells, mm; 0
    /// where one of the two is not there or does not tell.
    pub disagreement: f64,
    /// Which cells hold something, row by row; `columns * rows` of them.
    pub filled: Vec<bool>,
    /// Bleed, where it can be told.
    pub bleed: Option<Bleed>,
    /// Radius of the drawn corners, mm, where they are round.
    pub corner_radius: Option<f64>,
}

impl Grid {
    /// How many cells hold something.
    pub fn count(&self) -> usize {
        self.filled.iter().filter(|filled| **filled).count()
    }

    /// Column and row of each cell, read like a text.
    pub fn cells(&self) -> impl Iterator<Item = (usize, usize)> + use<> {
        let columns = self.columns;
        (0..self.rows).flat_map(move |row| (0..columns).map(move |column| (column, row)))
    }

    /// Column and row of each cell that holds something, read like a text.
    pub fn filled_cells(&self) -> impl Iterator<Item = (usize, usize)> + '_ {
        let cells = self.cells().zip(&self.filled);
        cells.filter_map(|(cell, filled)| filled.then_some(cell))
    }

    /// From the grid's own axes (mm from the first trim's top left corner) to the page.
    pub fn to_page(&self) -> Affine<Page> {
        let shift = Affine::<Page>::shift(self.origin - Point::new(0.0, 0.0));
        shift.then(&Affine::tilt(self.rotation, self.origin))
    }

    /// The middle of a cell.
    pub fn centre(&self, column: usize, row: usize) -> Point<Page> {
        self.to_page().apply(Point::new(
            column as f64 * self.pitch.x + self.trim.w / 2.0,
            row as f64 * self.pitch.y + self.trim.h / 2.0,
        ))
    }
}

/// The line about which a fold-over sheet is folded.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FoldLine {
    /// Where it starts.
    pub from: Point<Page>,
    /// Where it ends.
    pub to: Point<Page>,
}

/// The cells of one page.
#[derive(Clone, Debug, PartialEq)]
pub struct PageCells {
    /// The page, from 0.
    pub page: usize,
    /// Its size as seen, mm.
    pub size: Size,
    /// The cells found, the grid with the most area first. Empty where nothing is regular.
    pub grids: Vec<Grid>,
    /// Single frames that may be cells or not; other pages of the file may tell. See
    /// [`settle`](crate::cells::settle).
    pub loose: Vec<Grid>,
    /// Where it is folded, if it is a fold-over sheet.
    pub fold: Option<FoldLine>,
    /// Whether the whole page is one picture.
    pub one_picture: bool,
}

/// How a file says which pages are the two sides of a sheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Way {
    /// Front, back, front, back.
    Alternating,
    /// All fronts, then all backs in the same order.
    FrontsThenBacks,
    /// All fronts, then all backs in reverse order.
    BacksReversed,
    /// One back for all fronts.
    OneBack,
    /// Fronts and backs on the same page, to be folded.
    FoldOver,
    /// Fronts in one file, backs in another.
    SeparateFiles,
    /// Fronts without backs.
    OneSided,
}

/// How a card's back stands to its front.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Standing {
    /// Head to head.
    HeadToHead,
    /// Head to foot.
    HeadToFoot,
}

impl fmt::Display for Standing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::HeadToHead => "head to head",
            Self::HeadToFoot => "head to foot",
        })
    }
}

/// The error that is in the file itself: where its backs lie relative to its fronts, seen from
/// the front, before any printer adds its own.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FileError {
    /// The flip that it is told for.
    pub flip: Flip,
    /// From where the back should be to where the file has it, in the front frame.
    pub map: Affine<Front>,
    /// Its shift at the sheet's centre, mm.
    pub shift: Vector<Front>,
    /// Its tilt.
    pub tilt: Angle,
    /// Its stretch in x and y, as a share (0.01 is one per cent).
    pub stretch: [f64; 2],
    /// Standard uncertainty of the shift at the centre, mm.
    pub shift_sd: f64,
    /// Standard uncertainty of the tilt, radians.
    pub tilt_sd: f64,
    /// Standard uncertainty of the stretch.
    pub stretch_sd: f64,
}

/// A front with its back.
#[derive(Clone, Debug, PartialEq)]
pub struct Pair {
    /// The front's page, from 0.
    pub front: usize,
    /// The back's page, from 0; of the second file where backs are in a file of their own. The
    /// front's own page on a fold-over sheet.
    pub back: usize,
    /// The flip that makes the grids match; `None` where both do.
    pub flip: Option<Flip>,
    /// How the cards' backs stand, where the pictures tell.
    pub standing: Option<Standing>,
    /// The file's own error, where both sides have a grid that tells: for `flip`, or for the
    /// likelier one where both fit.
    pub file_error: Option<FileError>,
    /// What it would be for the other flip, where both fit.
    pub otherwise: Option<FileError>,
    /// How likely it is that these two belong together, 0 to 1.
    pub confidence: f64,
    /// Why they were taken for a pair, in words.
    pub why: String,
}

/// How much a fault matters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Severity {
    /// Good to know.
    Note,
    /// May spoil cards.
    Warning,
    /// Will spoil the sheets.
    Serious,
}

/// Where on a page a fault is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// The page, from 0.
    pub page: usize,
    /// The spot on it; the whole page where nothing is said.
    pub area: Option<Rect<Page>>,
}

/// Something that will bite.
#[derive(Clone, Debug, PartialEq)]
pub struct Fault {
    /// A stable name for scripts.
    pub code: &'static str,
    /// How much it matters.
    pub severity: Severity,
    /// Whether its pages are those of the file of backs, where these are in one of their own.
    pub back_file: bool,
    /// All pages that it is on, from 0; none where it is the file's as a whole.
    pub pages: Vec<usize>,
    /// Where it is worst; `None` for the file as a whole.
    pub place: Option<Place>,
    /// What is wrong, in words.
    pub message: String,
    /// What to do.
    pub hint: String,
}
