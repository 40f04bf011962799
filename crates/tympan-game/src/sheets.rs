//! The pieces on sheets, as somebody would lay them out who prints at home: as many as fit, with
//! gutters as there is room, backs mirrored for the flip, trim marks on the fronts.

use tympan_sheet::drawing::{Colour, Drawing, Path, Stroke};
use tympan_sheet::{Affine, Flip, Front, Page, Point, Rect, Size, Vector};

use crate::deck::deck;
use crate::piece::Piece;
use crate::tiles::tiles;

/// Room that the layout leaves at the sheet's edge where it can, for trim marks, mm.
const MARK: f64 = 3.0;
/// Between a trim mark and the picture, mm.
const MARK_GAP: f64 = 0.5;

/// Where the cells of a sheet lie, in the front frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Grid {
    /// The sheet, mm.
    pub paper: Size,
    /// One piece, trimmed, mm.
    pub trim: Size,
    /// How far each picture goes on beyond the trim at the outside of the grid, mm.
    pub bleed: f64,
    /// How many side by side.
    pub columns: usize,
    /// How many one below the other.
    pub rows: usize,
    /// Between the trims of neighbours, across and down, mm.
    pub gutter: Size,
    /// The top left corner of the first trim.
    pub origin: Point<Front>,
}

impl Grid {
    /// As many pieces as the paper holds, in its middle.
    pub fn fitting(paper: Size, trim: Size, bleed: f64) -> Self {
        let along = |paper: f64, trim: f64| {
            let count = ((paper - 2.0 * bleed) / trim).floor().max(1.0);
            let free = paper - count * trim - 2.0 * (bleed + MARK);
            let gutter = (free / (count - 1.0).max(1.0)).clamp(0.0, 2.0 * bleed);
            // A round number is easier to set on a trimmer.
            let gutter = (gutter * 2.0).floor() / 2.0;
            let start = (paper - count * trim - (count - 1.0) * gutter) / 2.0;
            (count as usize, gutter, start)
        };
        let (columns, across, x) = along(paper.w, trim.w);
        let (rows, down, y) = along(paper.h, trim.h);
        let (gutter, origin) = (Size::new(across, down), Point::new(x, y));
        Self {
            paper,
            trim,
            bleed,
            columns,
            rows,
            gutter,
            origin,
        }
    }

    /// How many pieces one sheet holds.
    pub fn cells(&self) -> usize {
        self.columns * self.rows
    }

    /// The trim of a cell, counted from the top left by rows.
    pub fn trim_of(&self, cell: usize) -> Rect<Front> {
        let (column, row) = ((cell % self.columns) as f64, (cell / self.columns) as f64);
        let x = self.origin.x + column * (self.trim.w + self.gutter.w);
        let y = self.origin.y + row * (self.trim.h + self.gutter.h);
        Rect::at(Point::new(x, y), self.trim)
    }

    /// How far the picture in a cell may go on beyond its trim: left, top, right, bottom.
    fn room(&self, cell: usize) -> [f64; 4] {
        let (column, row) = (cell % self.columns, cell / self.columns);
        let edge = |outer: bool, gutter: f64| {
            if outer {
                self.bleed
            } else {
                self.bleed.min(gutter / 2.0)
            }
        };
        [
            edge(column == 0, self.gutter.w),
            edge(row == 0, self.gutter.h),
            edge(column + 1 == self.columns, self.gutter.w),
            edge(row + 1 == self.rows, self.gutter.h),
        ]
    }
}

/// The deck on sheets: front, back, front, back. The cards with the common back come first, then
/// the four ferries, whose backs differ, on a sheet of their own. Cards stand upright on the
/// paper, which may be portrait or landscape.
pub fn deck_sheets(paper: Size, flip: Flip) -> Vec<Drawing> {
    let (unique, common): (Vec<_>, Vec<_>) = deck().into_iter().partition(is_ferry);
    let mut pages = sheets(&common, paper, flip);
    pages.extend(sheets(&unique, paper, flip));
    pages
}

/// The tiles on sheets: front, back, front, back.
pub fn tile_sheets(paper: Size, flip: Flip) -> Vec<Drawing> {
    sheets(&tiles(), paper, flip)
}

fn is_ferry(card: &Piece) -> bool {
    ["Avocet", "Curlew", "Dunlin", "Sandpiper"].contains(&card.name.as_str())
}

/// The same pages with every back moved in the file, as seen on the page: what a careless layout
/// looks like, and no printer's fault.
pub fn crooked(pages: &[Drawing], by: Vector<Page>) -> Vec<Drawing> {
    let moved = |page: &Drawing| {
        let mut moved = Drawing::new(page.size);
        moved.place(Affine::shift(by), None, page.items.clone());
        moved
    };
    pages
        .iter()
        .enumerate()
        .map(|(i, p)| if i % 2 == 1 { moved(p) } else { p.clone() })
        .collect()
}

/// The error that [`crooked_deck_sheets`] puts into the file: 1.3 mm, to the right and down as
/// seen on the back.
pub const CROOKED: Vector<Page> = Vector::new(1.2, 0.5);

/// [`deck_sheets`] with the backs 1.3 mm out of place in the file itself.
pub fn crooked_deck_sheets(paper: Size, flip: Flip) -> Vec<Drawing> {
    crooked(&deck_sheets(paper, flip), CROOKED)
}

/// Pieces of one size on sheets: front, back, front, back.
pub fn sheets(pieces: &[Piece], paper: Size, flip: Flip) -> Vec<Drawing> {
    let Some(first) = pieces.first() else {
        return Vec::new();
    };
    let grid = Grid::fitting(paper, first.trim, first.bleed);
    pieces
        .chunks(grid.cells())
        .flat_map(|chunk| [fronts(&grid, chunk), backs(&grid, chunk, flip)])
        .collect()
}

fn fronts(grid: &Grid, pieces: &[Piece]) -> Drawing {
    let mut page = Drawing::new(grid.paper);
    trim_marks(&mut page, grid);
    for (cell, piece) in pieces.iter().enumerate() {
        let trim = grid.trim_of(cell);
        let (x, y) = (trim.min.x - piece.bleed, trim.min.y - piece.bleed);
        let clip = picture(piece, grid.room(cell));
        page.place(
            Affine::new(1.0, 0.0, 0.0, 1.0, x, y),
            Some(clip),
            piece.front.items.clone(),
        );
    }
    page
}

/// The backs as seen on the back page. A piece is turned over like the page of a book; where the
/// sheet is flipped endways, its back stands on its head.
fn backs(grid: &Grid, pieces: &[Piece], flip: Flip) -> Drawing {
    let mut page = Drawing::new(grid.paper);
    for (cell, piece) in pieces.iter().enumerate() {
        let corners = grid
            .trim_of(cell)
            .corners()
            .map(|p| flip.to_back(p, grid.paper));
        let (left, top) = corners
            .iter()
            .fold((f64::MAX, f64::MAX), |(x, y), p| (x.min(p.x), y.min(p.y)));
        let b = piece.bleed;
        let map = match flip {
            Flip::Sideways => Affine::new(1.0, 0.0, 0.0, 1.0, left - b, top - b),
            Flip::Endways => Affine::new(
                -1.0,
                0.0,
                0.0,
                -1.0,
                left + grid.trim.w + b,
                top + grid.trim.h + b,
            ),
        };
        let [l, t, r, bottom] = grid.room(cell);
        // Seen from behind, what is left of the front is right of the back.
        let clip = picture(piece, [r, t, l, bottom]);
        page.place(map, Some(clip), piece.back.items.clone());
    }
    page
}

/// The part of a piece's picture that is printed, in the picture's own frame.
fn picture(piece: &Piece, [l, t, r, b]: [f64; 4]) -> Path {
    let (x, y) = (piece.bleed - l, piece.bleed - t);
    Path::rect(x, y, l + piece.trim.w + r, t + piece.trim.h + b)
}

/// Short lines in line with every cut, outside the pictures.
fn trim_marks(page: &mut Drawing, grid: &Grid) {
    let last = grid.trim_of(grid.cells() - 1).max;
    let (first, reach) = (grid.origin, grid.bleed + MARK_GAP);
    let line = Stroke::solid(Colour::BLACK, 0.15);
    let mut mark =
        |x1: f64, y1: f64, x2: f64, y2: f64| page.stroke(Path::line(x1, y1, x2, y2), line.clone());
    for column in 0..grid.columns {
        let trim = grid.trim_of(column);
        for x in [trim.min.x, trim.max.x] {
            mark(x, (first.y - reach - MARK).max(0.0), x, first.y - reach);
            mark(
                x,
                last.y + reach,
                x,
                (last.y + reach + MARK).min(grid.paper.h),
            );
        }
    }
    for row in 0..grid.rows {
        let trim = grid.trim_of(row * grid.columns);
        for y in [trim.min.y, trim.max.y] {
            mark((first.x - reach - MARK).max(0.0), y, first.x - reach, y);
            mark(
                last.x + reach,
                y,
                (last.x + reach + MARK).min(grid.paper.w),
                y,
            );
        }
    }
}
