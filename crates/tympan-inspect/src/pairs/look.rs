//! A page as it is compared with others.

use image::RgbImage;
use tympan_pdf::contents::{Contents, Kind};
use tympan_sheet::{Angle, Page, Point};

use crate::findings::{Grid, PageCells};

/// Samples across a cell, and from top to bottom.
const ACROSS: usize = 12;
const DOWN: usize = 16;
/// Points looked at for one sample, each way.
const FINE: usize = 4;
/// What is left out at the edge of a cell, as a share of it: cuts, grid lines, a picture that lies
/// a little off.
const EDGE: f64 = 0.05;
/// Of a page as a whole.
const PAGE_SAMPLES: usize = 24;
/// Cells looked at on a page, at most.
const MOST_CELLS: usize = 36;

/// A page reads the way that this share of it does.
const MOST_READ: f64 = 0.85;
/// Fewer letters than these tell nothing.
const LEAST_GLYPHS: f64 = 4.0;

/// A page with all that pairing looks at.
#[derive(Clone, Debug)]
pub struct Look {
    /// Where its cards are.
    pub cells: PageCells,
    /// The direction in which most of its text runs, clockwise as seen (0 for upright text), where
    /// there is a direction that most of it shares.
    pub reads: Option<Angle>,
    /// The same on either side of the fold, where there is one.
    pub(crate) about_fold: Option<(Angle, Angle)>,
    /// The filled cells of its first grid.
    pub(crate) faces: Vec<Face>,
    /// The mean of those, or of the page where there are none.
    pub(crate) mean: Face,
    /// The page as a whole.
    pub(crate) whole: Face,
    /// Whether there is nothing on it.
    pub(crate) blank: bool,
}

/// A small picture: red, green and blue from 0 to 1, sample by sample.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Face(Vec<f32>);

impl Look {
    /// Looks at a page's picture, which shows the whole page at `px_per_mm`. One pixel per mm is
    /// enough.
    pub fn new(cells: PageCells, picture: &RgbImage, px_per_mm: f64) -> Self {
        let page = Sampler { picture, px_per_mm };
        let whole = page.face(PAGE_SAMPLES, PAGE_SAMPLES, |u, v| {
            Point::new(u * cells.size.w, v * cells.size.h)
        });
        let faces: Vec<Face> = match cells.grids.first() {
            None => Vec::new(),
            Some(grid) => {
                // Cells with nothing on them are the cards of a page that has no others.
                let nothing = grid.count() == 0;
                grid.cells()
                    .zip(&grid.filled)
                    .filter(|(_, is_filled)| nothing || **is_filled)
                    .take(MOST_CELLS)
                    .map(|((column, row), _)| page.cell(grid, column, row))
                    .collect()
            }
        };
        let mean = Face::mean(&faces).unwrap_or_else(|| whole.clone());
        let blank = whole.0.iter().all(|&v| v > 0.995);
        Self {
            cells,
            reads: None,
            about_fold: None,
            faces,
            mean,
            whole,
            blank,
        }
    }

    /// Takes in which way the page reads: its text, or, where there is none, pictures that fill its
    /// cells, if (nearly) all of it reads the same way. Of a sheet with a fold each side of it by
    /// itself.
    #[must_use]
    pub fn reading(mut self, contents: &Contents) -> Self {
        if self.cells.one_picture {
            return self;
        }
        match self.cells.fold {
            None => self.reads = self.reads_where(contents, &|_| true),
            Some(fold) => {
                let along = fold.to - fold.from;
                let first = |at: Point<Page>| {
                    let off = at - fold.from;
                    along.x * off.y - along.y * off.x < 0.0
                };
                let one = self.reads_where(contents, &first);
                let other = self.reads_where(contents, &|at| !first(at));
                self.about_fold = one.zip(other);
            }
        }
        self
    }

    /// Which way the part of the page reads for which that holds.
    fn reads_where(
        &self,
        contents: &Contents,
        part: &dyn Fn(Point<Page>) -> bool,
    ) -> Option<Angle> {
        let is_there = |at: Point<Page>| part(at) && self.is_on_card(at);
        let text = Ways::of(contents.elements.iter().filter_map(|element| {
            let Kind::Text(text) = &element.kind else {
                return None;
            };
            let seen = contents.seen(element)?;
            is_there(seen.centre()).then_some((text.reads, text.glyphs as f64))
        }));
        if text.sum > 0.0 {
            return text.most(LEAST_GLYPHS);
        }
        let trim = self.cells.grids.first()?.trim;
        let least = 0.5 * trim.w * trim.h;
        let pictures = Ways::of(contents.elements.iter().filter_map(|element| {
            let Kind::Picture(picture) = &element.kind else {
                return None;
            };
            let size = picture.size();
            let seen = contents.seen(element)?;
            let fills = size.w * size.h >= least;
            (fills && is_there(seen.centre())).then_some((picture.reads(), 1.0))
        }));
        pictures.most(1.0)
    }

    fn is_on_card(&self, place: Point<Page>) -> bool {
        self.cells.grids.iter().any(|grid| {
            let to_grid = grid.to_page().inverse();
            let within = |at: f64, pitch: f64, trim: f64, count: usize| {
                let end = (count - 1) as f64 * pitch + trim;
                (0.0..=end).contains(&at)
            };
            to_grid.is_ok_and(|to_grid| {
                let at = to_grid.apply(place);
                within(at.x, grid.pitch.x, grid.trim.w, grid.columns)
                    && within(at.y, grid.pitch.y, grid.trim.h, grid.rows)
            })
        })
    }

    /// Whether all filled cells look the same; `None` where there are fewer than two.
    pub(crate) fn all_alike(&self) -> Option<bool> {
        let (first, rest) = self.faces.split_first()?;
        (!rest.is_empty()).then(|| rest.iter().all(|face| first.is_like(face)))
    }

    /// How much the mean of as many cards as these would differ from page to page by chance, mean
    /// square; `None` where there are fewer than two.
    pub(crate) fn spread(&self) -> Option<f64> {
        let count = self.faces.len() as f64;
        let squares: f64 = (self.faces.iter())
            .map(|face| face.apart(&self.mean).powi(2))
            .sum();
        (self.faces.len() > 1).then(|| squares / (count - 1.0) / count)
    }

    /// How much its cards differ from each other, mean square; `None` where there are too few to
    /// tell.
    pub(crate) fn varied(&self) -> Option<f64> {
        let count = self.faces.len() as f64;
        (self.faces.len() >= 4).then(|| Some(self.spread()? * count))?
    }

    /// Whether two pages show the same cards: the same picture where there are no cells, the same
    /// card in every cell where each page has just one card.
    pub(crate) fn same_as(&self, other: &Self) -> bool {
        if self.faces.is_empty() || other.faces.is_empty() {
            return self.faces.is_empty() == other.faces.is_empty()
                && self.whole.is_like(&other.whole);
        }
        self.is_one_card() && other.is_one_card() && self.faces[0].is_like(&other.faces[0])
    }

    /// Whether every cell shows the same card, or there is only one.
    fn is_one_card(&self) -> bool {
        self.faces.len() == 1 || self.all_alike() == Some(true)
    }

    /// The cells that are filled, read like a text, and whether there are empty ones.
    pub(crate) fn filling(&self) -> Filling {
        let Some(grid) = self.cells.grids.first() else {
            return Filling::Full;
        };
        let count = grid.count();
        if count == grid.filled.len() || count == 0 {
            return Filling::Full;
        }
        let prefix = |index: &dyn Fn(usize, usize) -> (usize, usize)| {
            grid.filled_cells().all(|(column, row)| {
                let (column, row) = index(column, row);
                row * grid.columns + column < count
            })
        };
        let (c, r) = (grid.columns - 1, grid.rows - 1);
        if prefix(&|column, row| (column, row)) {
            // A last row that is full, or a single column, is the same either way.
            let sideways_too = prefix(&|column, row| (c - column, row));
            if sideways_too {
                Filling::Full
            } else {
                Filling::Read
            }
        } else if prefix(&|column, row| (c - column, row))
            || prefix(&|column, row| (column, r - row))
        {
            Filling::Mirrored
        } else {
            Filling::Other
        }
    }
}

/// Which cells of a page are filled.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Filling {
    /// All, or so that it tells nothing.
    Full,
    /// The first ones, as one reads.
    Read,
    /// The first ones of a page that is looked at in a mirror.
    Mirrored,
    /// Any others.
    Other,
}

struct Sampler<'a> {
    picture: &'a RgbImage,
    px_per_mm: f64,
}

impl Sampler<'_> {
    fn cell(&self, grid: &Grid, column: usize, row: usize) -> Face {
        let to_page = grid.to_page();
        let corner = (
            column as f64 * grid.pitch.x + EDGE * grid.trim.w,
            row as f64 * grid.pitch.y + EDGE * grid.trim.h,
        );
        let (w, h) = (
            (1.0 - 2.0 * EDGE) * grid.trim.w,
            (1.0 - 2.0 * EDGE) * grid.trim.h,
        );
        // Cards that lie on their side are looked at on their side.
        let (across, down) = if w > h {
            (DOWN, ACROSS)
        } else {
            (ACROSS, DOWN)
        };
        self.face(across, down, |u, v| {
            to_page.apply(Point::new(corner.0 + u * w, corner.1 + v * h))
        })
    }

    /// The mean colours of `across` × `down` parts of an area, each a step of u and v from 0 to 1.
    fn face(&self, across: usize, down: usize, place: impl Fn(f64, f64) -> Point<Page>) -> Face {
        let mut samples = Vec::with_capacity(3 * across * down);
        for y in 0..down {
            for x in 0..across {
                let mut sum = [0.0_f64; 3];
                for fine in 0..FINE * FINE {
                    let at = |i: usize, fine: usize, count: usize| {
                        (i as f64 + (fine as f64 + 0.5) / FINE as f64) / count as f64
                    };
                    let p = place(at(x, fine % FINE, across), at(y, fine / FINE, down));
                    for (sum, value) in sum.iter_mut().zip(self.at(p.x, p.y)) {
                        *sum += value;
                    }
                }
                samples.extend(sum.map(|s| (s / (FINE * FINE) as f64) as f32));
            }
        }
        Face(samples)
    }

    /// The colour at a place, between the pixels around it; white outside of the page.
    fn at(&self, x: f64, y: f64) -> [f64; 3] {
        let (x, y) = (x * self.px_per_mm - 0.5, y * self.px_per_mm - 0.5);
        let (left, top) = (x.floor(), y.floor());
        let mut colour = [0.0; 3];
        for (dx, dy) in [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (1.0, 1.0)] {
            let (px, py) = (left + dx, top + dy);
            let weight = (1.0 - (x - px).abs()) * (1.0 - (y - py).abs());
            let (w, h) = self.picture.dimensions();
            let inside = px >= 0.0 && py >= 0.0 && px < f64::from(w) && py < f64::from(h);
            let pixel = if inside {
                self.picture.get_pixel(px as u32, py as u32).0
            } else {
                [255; 3]
            };
            for (sum, value) in colour.iter_mut().zip(pixel) {
                *sum += weight * f64::from(value) / 255.0;
            }
        }
        colour
    }
}

/// How much reads which way: rightward, downward, on its head, upward.
struct Ways {
    by: [f64; 4],
    sum: f64,
}

impl Ways {
    fn of(all: impl Iterator<Item = (Angle, f64)>) -> Self {
        let mut ways = Self {
            by: [0.0; 4],
            sum: 0.0,
        };
        for (reads, weight) in all {
            ways.sum += weight;
            let quarters = reads.to_degrees() / 90.0;
            // What slants reads no way.
            if (quarters - quarters.round()).abs() < 0.1 {
                ways.by[quarters.round().rem_euclid(4.0) as usize] += weight;
            }
        }
        ways
    }

    /// The way of nearly all, where there is enough.
    fn most(&self, least: f64) -> Option<Angle> {
        let (way, most) = (self.by.iter().enumerate()).max_by(|a, b| a.1.total_cmp(b.1))?;
        let clear = *most >= least && *most >= MOST_READ * self.sum;
        clear.then(|| Angle::degrees(90.0 * way as f64))
    }
}

impl Face {
    fn mean(faces: &[Self]) -> Option<Self> {
        let first = faces.first()?;
        let mut sum = vec![0.0; first.0.len()];
        for face in faces {
            for (sum, value) in sum.iter_mut().zip(&face.0) {
                *sum += value / faces.len() as f32;
            }
        }
        Some(Self(sum))
    }

    /// Whether no sample differs by more than sampling and compression make it.
    pub(crate) fn is_like(&self, other: &Self) -> bool {
        const ANY: f32 = 0.10;
        const MOST: f32 = 0.02;
        if self.0.len() != other.0.len() {
            return false;
        }
        let apart = self.0.iter().zip(&other.0).map(|(a, b)| (a - b).abs());
        let (mut largest, mut sum) = (0.0_f32, 0.0);
        for d in apart {
            largest = largest.max(d);
            sum += d;
        }
        largest < ANY && sum / (self.0.len() as f32) < MOST
    }

    /// How much two faces differ, root mean square, 0 to 1.
    pub(crate) fn apart(&self, other: &Self) -> f64 {
        if self.0.len() != other.0.len() {
            return 1.0;
        }
        let squares: f32 = self
            .0
            .iter()
            .zip(&other.0)
            .map(|(a, b)| (a - b).powi(2))
            .sum();
        f64::from(squares / self.0.len() as f32).sqrt()
    }
}
