//! The error in the file itself: where its backs lie relative to its fronts before any printer
//! adds its own.
//!
//! The back's grid is looked at through the sheet, from the front, and laid on the front's grid.
//! The map that carries the one onto the other is the file's own error, with the sign of a
//! register error: back as seen from the front, less front.

mod words;

use tympan_sheet::{
    Affine, Angle, Flip, Front, Map, NotInvertible, Page, Paper, Point, Size, Vector,
};

use crate::findings::{FileError, Grid, PageCells};

pub use words::verdict;
pub(crate) use words::{in_words, is_crooked};

/// Trims of fronts and backs that differ by more than this are not the same cards, mm.
const OTHER_CARD_MM: f64 = 2.5;

/// Steps of fronts and backs that differ by a larger share are not those of the same cards.
const MOST_STRETCH: f64 = 0.06;

/// A term of the error is taken for real from so many standard uncertainties on.
const REAL_AT: f64 = 3.0;

/// Pages that are one picture and tilted more than this were scanned askew, radians (0.03°).
const ASKEW: f64 = 5e-4;

/// So far such a page lies off its place, one standard deviation along each axis, mm (a guess).
const ADRIFT_MM: f64 = 0.5;

/// What is not known of where a page lies on paper that it misses, as a share of what it misses it
/// by: in the middle, or with one edge on the paper's.
const ROUNDED_SD: f64 = 0.5;

/// Below this nothing is worth moving for, mm at the corners of the cells.
pub(crate) const STRAIGHT_MM: f64 = 0.1;

/// A front's grid with the back's grid that belongs behind it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Behind<'a> {
    front: &'a Grid,
    back: &'a Grid,
    /// Whether the front's page and the back's are one picture.
    pictures: [bool; 2],
    flip: Flip,
    /// From the back page to the front frame.
    unflip: Map<Page, Front>,
    /// Columns and rows by which the back's first cell, seen from the front, lies off the front's.
    offset: [isize; 2],
}

/// From a back page, as seen, to the front frame of its sheet. Pages that differ a little in size
/// lie middle on middle.
fn unflip(front: Size, back: Size, flip: Flip) -> Map<Page, Front> {
    let middle = Vector::new((front.w - back.w) / 2.0, (front.h - back.h) / 2.0);
    let m = flip.unmap(front);
    Affine::<Page>::shift(middle).then(&Map::new(m.xx, m.xy, m.yx, m.yy, m.dx, m.dy))
}

/// A page's point as a point of the front: the page is the front.
fn on_front(p: Point<Page>) -> Point<Front> {
    Point::new(p.x, p.y)
}

impl<'a> Behind<'a> {
    /// The back's grid that belongs behind a front's, the largest one first; `None` where no card
    /// sizes agree.
    pub(crate) fn find(front: &'a PageCells, back: &'a PageCells, flip: Flip) -> Option<Self> {
        let unflip = unflip(front.size, back.size, flip);
        let pictures = [front.one_picture, back.one_picture];
        front.grids.iter().find_map(|f| {
            let shape = |b: &Grid| (b.columns, b.rows) == (f.columns, f.rows);
            let same = |b: &&Grid| {
                // Where a side's cards are taken too large, with their bleed, the steps still tell.
                (b.trim.is_close(f.trim, OTHER_CARD_MM) && steps_apart(f, b) < MOST_STRETCH)
                    || (shape(b) && f.filled.len() > 1 && same_steps(f, b))
            };
            let mut fitting = back.grids.iter().filter(same).collect::<Vec<_>>();
            fitting.sort_by_key(|b| !shape(b));
            fitting
                .into_iter()
                .find_map(|b| Self::new([f, b], pictures, flip, unflip))
        })
    }

    fn new(
        [front, back]: [&'a Grid; 2],
        pictures: [bool; 2],
        flip: Flip,
        unflip: Map<Page, Front>,
    ) -> Option<Self> {
        let mut pair = Self {
            front,
            back,
            pictures,
            flip,
            unflip,
            offset: [0, 0],
        };
        // The nearest cells belong together: whole columns or rows may be missing on one side, and
        // no file is off by half a card.
        let apart = pair.back_centre(0, 0) - on_front(front.centre(0, 0));
        let local =
            Affine::<Front>::tilt(-front.rotation, Point::new(0.0, 0.0)).apply_vector(apart);
        let steps = |d: f64, pitch: f64| (d / pitch).round();
        let (i, j) = (steps(local.x, front.pitch.x), steps(local.y, front.pitch.y));
        if !(i.abs() < 1e4 && j.abs() < 1e4) {
            return None;
        }
        pair.offset = [i as isize, j as isize];
        pair.cells().next().map(|_| pair)
    }

    /// The middle of a back's cell in the front frame, counted as they are seen from the front.
    fn back_centre(&self, column: usize, row: usize) -> Point<Front> {
        let (column, row) = self.back_index(column, row);
        self.unflip.apply(self.back.centre(column, row))
    }

    fn back_index(&self, column: usize, row: usize) -> (usize, usize) {
        match self.flip {
            Flip::Sideways => (self.back.columns - 1 - column, row),
            Flip::Endways => (column, self.back.rows - 1 - row),
        }
    }

    /// Cells that lie behind each other: column and row on the front, and on the back as it is
    /// seen from the front.
    fn cells(&self) -> impl Iterator<Item = ([usize; 2], [usize; 2])> + '_ {
        let partner = |at: usize, offset: isize, count: usize| {
            at.checked_add_signed(-offset).filter(|&b| b < count)
        };
        (0..self.front.rows).flat_map(move |row| {
            (0..self.front.columns).filter_map(move |column| {
                let back_column = partner(column, self.offset[0], self.back.columns)?;
                let back_row = partner(row, self.offset[1], self.back.rows)?;
                Some(([column, row], [back_column, back_row]))
            })
        })
    }

    /// Whether every cell of the larger side has its partner, as far as the smaller side reaches.
    pub(crate) fn covers(&self) -> bool {
        let most = |a: usize, b: usize| a.min(b);
        let columns = most(self.front.columns, self.back.columns);
        let rows = most(self.front.rows, self.back.rows);
        self.cells().count() == columns * rows
    }

    /// Whether both sides have as many columns and rows.
    pub(crate) fn same_shape(&self) -> bool {
        (self.front.columns, self.front.rows) == (self.back.columns, self.back.rows)
    }

    /// How many cells are filled on both sides, on the front only, and on the back only.
    pub(crate) fn filled(&self) -> [usize; 3] {
        let both = self
            .cells()
            .filter(|([column, row], [back_column, back_row])| {
                let (back_column, back_row) = self.back_index(*back_column, *back_row);
                is_filled(self.front, *column, *row) && is_filled(self.back, back_column, back_row)
            })
            .count();
        [both, self.front.count() - both, self.back.count() - both]
    }

    /// Whether something is seen in the cells of both sides.
    pub(crate) fn any_filled(&self) -> bool {
        self.front.count() > 0 && self.back.count() > 0
    }

    /// Whether the front has empty cells.
    pub(crate) fn front_is_part_filled(&self) -> bool {
        self.front.count() < self.front.filled.len()
    }

    /// How far the middles of the cells lie apart on average: shift in the front frame, mm.
    pub(crate) fn apart(&self) -> Vector<Front> {
        let mut sum = Vector::ZERO;
        let mut count = 0.0;
        for ([column, row], [back_column, back_row]) in self.cells() {
            let back = self.back_centre(back_column, back_row);
            sum = sum + (back - on_front(self.front.centre(column, row)));
            count += 1.0;
        }
        sum * (1.0 / count)
    }

    /// How far off the back's cells lie, mm, as far as that tells of the flip; and the standard
    /// uncertainty, for each axis, of where a page lies that was scanned askew.
    ///
    /// Such a page lies askew about its middle: what its tilt does to cells away from the middle is
    /// left out.
    pub(crate) fn slip(&self, sheet: Size) -> (f64, f64) {
        let [front, back] = [self.front, self.back].map(|grid| grid.rotation);
        let adrift = [(front, self.pictures[0]), (back, self.pictures[1])]
            .map(|(tilt, is_picture)| adrift(tilt, is_picture));
        if adrift == [0.0; 2] {
            return (self.apart().length(), 0.0);
        }
        let middle: Point<Front> = sheet.centre();
        let level = |tilt: Angle, adrift: f64| {
            if adrift > 0.0 {
                Affine::tilt(-tilt, middle)
            } else {
                Affine::IDENTITY
            }
        };
        let front = level(front, adrift[0]);
        // Looked at from the other side, a tilt is reversed.
        let back = level(-back, adrift[1]);
        let mut sum = Vector::ZERO;
        let mut count = 0.0;
        for ([column, row], [back_column, back_row]) in self.cells() {
            let seen = back.apply(self.back_centre(back_column, back_row));
            sum = sum + (seen - front.apply(on_front(self.front.centre(column, row))));
            count += 1.0;
        }
        ((sum * (1.0 / count)).length(), adrift[0].hypot(adrift[1]))
    }

    /// The map from where the back's cells should be, behind the front's, to where they are.
    fn error(&self, sheet: Size) -> FileError {
        let mut middle = Vector::ZERO;
        let mut count = 0.0;
        for ([column, row], _) in self.cells() {
            let from_corner = on_front(self.front.centre(column, row)) - Point::new(0.0, 0.0);
            middle = middle + from_corner;
            count += 1.0;
        }
        let middle: Point<Front> = Point::new(middle.x / count, middle.y / count);
        let across = Scale::of(
            [self.front, self.back],
            |g| g.columns,
            |g| (g.pitch.x, g.trim.w),
        );
        let down = Scale::of(
            [self.front, self.back],
            |g| g.rows,
            |g| (g.pitch.y, g.trim.h),
        );
        let tilt_sd = across.tilt_sd.min(down.tilt_sd);
        let stretch_sd = across.sd.max(down.sd);
        // Along the grid's own axes the back is stretched; then it is tilted to where it stands.
        let to_axes = Affine::tilt(-self.front.rotation, middle);
        let stretched = Affine::scale(across.value, down.value, middle);
        // Looked at from the other side, a tilt is reversed.
        let stands = Affine::tilt(-self.back.rotation, middle);
        let map = to_axes
            .then(&stretched)
            .then(&stands)
            .then(&Affine::shift(self.apart()));
        let parts = map.decompose();
        let centre = sheet.centre();
        let far = (centre - middle).length();
        let place = (self.front.place_sd).hypot(self.back.place_sd);
        let place = place.hypot(ROUNDED_SD * rounded(sheet, self.flip));
        FileError {
            flip: self.flip,
            map,
            shift: map.displacement(centre),
            tilt: parts.tilt,
            stretch: [parts.stretch_x, parts.stretch_y],
            shift_sd: place.hypot(far * tilt_sd).hypot(far * stretch_sd),
            tilt_sd,
            stretch_sd,
        }
    }
}

/// How far a page misses the paper that it is meant for, along the way in which it is flipped, mm:
/// some programs make pages of whole points or pixels. Where they then come to lie on the paper is
/// up to the program that prints them.
fn rounded(page: Size, flip: Flip) -> f64 {
    /// Pages that miss a paper by more are other pages, mm.
    const MOST: f64 = 1.0;
    let along = |size: Size| match flip {
        Flip::Sideways => size.w,
        Flip::Endways => size.h,
    };
    let held = |paper: Size| {
        if paper.is_landscape() == page.is_landscape() {
            paper
        } else {
            paper.turned()
        }
    };
    (Paper::known().map(|paper| held(paper.size())))
        .filter(|paper| paper.is_close(page, MOST))
        .map(|paper| (along(paper) - along(page)).abs())
        .fold(None, |least: Option<f64>, by| {
            Some(least.map_or(by, |least| least.min(by)))
        })
        .unwrap_or(0.0)
}

/// How far a page with a grid tilted so lies off its place, one standard deviation along each axis,
/// mm: 0 unless it was scanned askew.
pub(crate) fn adrift(tilt: Angle, is_picture: bool) -> f64 {
    if is_picture && tilt.to_radians().abs() > ASKEW {
        ADRIFT_MM
    } else {
        0.0
    }
}

/// Whether two grids step alike from cell to cell.
pub(crate) fn same_steps(a: &Grid, b: &Grid) -> bool {
    steps_apart(a, b) < 0.01
}

/// How much two grids differ in their steps from cell to cell, as a share; 0 where one of them has
/// none.
fn steps_apart(a: &Grid, b: &Grid) -> f64 {
    let apart = |count: usize, a: f64, b: f64| {
        if count < 2 {
            0.0
        } else {
            (a - b).abs() / a.max(b)
        }
    };
    let x = apart(a.columns.min(b.columns), a.pitch.x, b.pitch.x);
    x.max(apart(a.rows.min(b.rows), a.pitch.y, b.pitch.y))
}

/// How much longer the back's steps are than the front's along one axis.
struct Scale {
    value: f64,
    sd: f64,
    /// How well steps along this axis tell the tilt.
    tilt_sd: f64,
}

impl Scale {
    /// By the steps from cell to cell where there are any on both sides; by the cards' size where
    /// there is one row only.
    fn of(
        grids: [&Grid; 2],
        count: impl Fn(&Grid) -> usize,
        lengths: impl Fn(&Grid) -> (f64, f64),
    ) -> Self {
        let steps = grids.iter().all(|g| count(g) > 1);
        let of = |g: &Grid| {
            let (pitch, trim) = lengths(g);
            if steps {
                (pitch, g.pitch_sd / pitch)
            } else {
                (trim, g.trim_sd / trim)
            }
        };
        let [(front, front_sd), (back, back_sd)] = grids.map(of);
        let sd = front_sd.hypot(back_sd);
        Self {
            value: back / front,
            sd,
            tilt_sd: sd,
        }
    }
}

fn is_filled(grid: &Grid, column: usize, row: usize) -> bool {
    grid.filled
        .get(row * grid.columns + column)
        .copied()
        .unwrap_or(false)
}

/// The error that the file itself has between a front and its back, flipped so; `None` where they
/// have no grid of the same cards.
pub fn file_error(front: &PageCells, back: &PageCells, flip: Flip) -> Option<FileError> {
    Behind::find(front, back, flip).map(|behind| behind.error(front.size))
}

impl FileError {
    /// The largest displacement over the corners of a sheet's middle two thirds, where cards lie,
    /// mm.
    pub fn largest(&self, sheet: Size) -> f64 {
        let (dx, dy) = (sheet.w / 3.0, sheet.h / 3.0);
        let centre: Point<Front> = sheet.centre();
        [(-dx, -dy), (dx, -dy), (dx, dy), (-dx, dy)]
            .map(|(x, y)| self.map.displacement(centre + Vector::new(x, y)).length())
            .into_iter()
            .fold(0.0, f64::max)
    }

    /// The error with only those terms that stand out from their uncertainty: what is worth taking
    /// out. The identity where nothing does.
    ///
    /// # Errors
    /// [`NotInvertible`] where the file's grids say something impossible.
    pub fn real(&self, sheet: Size) -> Result<Affine<Front>, NotInvertible> {
        self.map.inverse()?;
        let keep = |value: f64, sd: f64, least: f64| {
            if value.abs() > (REAL_AT * sd).max(least) {
                value
            } else {
                0.0
            }
        };
        // What moves no corner by a fiftieth of a millimetre is nothing.
        let reach = sheet.w.hypot(sheet.h) / 3.0;
        let parts = tympan_sheet::Decomposed {
            tilt: Angle::radians(keep(self.tilt.to_radians(), self.tilt_sd, 0.02 / reach)),
            stretch_x: keep(self.stretch[0], self.stretch_sd, 0.02 / reach),
            stretch_y: keep(self.stretch[1], self.stretch_sd, 0.02 / reach),
            shear: 0.0,
        };
        let length = keep(self.shift.length(), self.shift_sd, 0.02);
        let shift = if length > 0.0 {
            self.shift
        } else {
            Vector::ZERO
        };
        Ok(Affine::compose(parts, shift, sheet.centre()))
    }
}

#[cfg(test)]
mod tests;
