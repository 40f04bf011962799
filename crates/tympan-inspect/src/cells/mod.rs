//! Finding the cells of a page: from what is drawn where that tells, from its picture where it
//! does not.

mod evidence;
mod lattice;
mod trim;

use image::GrayImage;
use tympan_pdf::contents::Contents;
use tympan_sheet::{Affine, Angle, Page, Point, Rect, Size, Vector};

use crate::findings::{Bleed, Evidence, Grid, PageCells};
use evidence::{Drawn, Frame};
use lattice::Lattice;

/// The most grids that a page is said to have.
const MOST_GRIDS: usize = 4;

/// Lighter than this is paper.
const PAPER: u8 = 247;

/// Finds the cells of a page.
///
/// `picture` shows the same page, as seen, at `px_per_mm` pixels per mm.
pub fn find(contents: &Contents, picture: &GrayImage, px_per_mm: f64) -> PageCells {
    let drawn = evidence::drawn(contents);
    let mut page = PageCells {
        page: contents.page,
        size: contents.size,
        grids: Vec::new(),
        fold: None,
        one_picture: drawn.one_picture,
    };
    if let Some(grid) = whole_page(contents) {
        page.grids.push(grid);
        return page;
    }
    let view = View {
        picture,
        px_per_mm,
        to_page: straight_to_page(contents.size, drawn.tilt),
    };
    page.grids = from_frames(&drawn, contents.size, &view);
    page
}

/// From the straightened page to the page as seen.
fn straight_to_page(size: Size, tilt: f64) -> Affine<Page> {
    Affine::tilt(Angle::radians(tilt), Rect::<Page>::whole(size).centre())
}

/// A page that is no larger than a card is one.
fn whole_page(contents: &Contents) -> Option<Grid> {
    let rect = contents.trim_box.filter(|trim| {
        let size = trim.size();
        size.w > 10.0 && size.h > 10.0
    });
    let rect = rect.unwrap_or(Rect::whole(contents.size));
    let size = rect.size();
    let card = size.w.min(size.h) <= 100.0 && size.w.max(size.h) <= 180.0;
    if !card || contents.elements.is_empty() {
        return None;
    }
    let cut = contents.trim_box.is_some();
    let bleed = contents.bleed_box.filter(|_| cut).map(|bleed| {
        let least = (rect.min.x - bleed.min.x)
            .min(rect.min.y - bleed.min.y)
            .min(bleed.max.x - rect.max.x)
            .min(bleed.max.y - rect.max.y);
        Bleed {
            least,
            usual: least,
        }
    });
    Some(Grid {
        columns: 1,
        rows: 1,
        trim: size,
        pitch: Vector::new(size.w, size.h),
        origin: rect.min,
        rotation: Angle::ZERO,
        place_sd: 0.01,
        pitch_sd: 0.01,
        trim_sd: if cut { 0.01 } else { 0.3 },
        confidence: if cut { 0.95 } else { 0.8 },
        found_by: vec![Evidence::Placements],
        disagreement: 0.0,
        filled: vec![true],
        bleed,
        corner_radius: None,
    })
}

/// The page's picture, looked at in straightened mm.
struct View<'a> {
    picture: &'a GrayImage,
    px_per_mm: f64,
    to_page: Affine<Page>,
}

impl View<'_> {
    /// The share of a straightened rectangle that is not paper.
    fn inked(&self, rect: Rect<Page>) -> f64 {
        let size = rect.size();
        let (columns, rows) = (24_usize, 24_usize);
        let mut ink = 0;
        for row in 0..rows {
            for column in 0..columns {
                let at = Point::new(
                    rect.min.x + size.w * (column as f64 + 0.5) / columns as f64,
                    rect.min.y + size.h * (row as f64 + 0.5) / rows as f64,
                );
                ink += usize::from(self.shade(at).is_some_and(|shade| shade < PAPER));
            }
        }
        ink as f64 / (columns * rows) as f64
    }

    /// The grey at a straightened place; `None` off the page.
    fn shade(&self, at: Point<Page>) -> Option<u8> {
        let p = self.to_page.apply(at);
        let (x, y) = (p.x * self.px_per_mm, p.y * self.px_per_mm);
        if x < 0.0 || y < 0.0 {
            return None;
        }
        self.picture
            .get_pixel_checked(x as u32, y as u32)
            .map(|pixel| pixel.0[0])
    }
}

fn from_frames(drawn: &Drawn, page: Size, view: &View<'_>) -> Vec<Grid> {
    let mut frames: Vec<Frame> = drawn.frames.clone();
    let mut grids = Vec::new();
    while grids.len() < MOST_GRIDS {
        let lattices = lattice::lattices(&frames);
        let Some(found) = best(&lattices, drawn) else {
            break;
        };
        let cut = trim::cut(&found, &lattices, drawn);
        grids.push(grid(&found, &cut, drawn, page, view));
        let block = found.block().grown(0.5);
        let before = frames.len();
        frames.retain(|frame| {
            let middle = frame.rect.centre();
            !block.contains(middle)
        });
        if frames.len() == before {
            break;
        }
    }
    grids.sort_by(|a, b| {
        let area = |grid: &Grid| grid.count() as f64 * grid.trim.w * grid.trim.h;
        area(b).total_cmp(&area(a))
    });
    grids
}

/// The lattice that most likely is the cells': the outermost of the largest, but several cells
/// rather than one.
fn best(lattices: &[Lattice], drawn: &Drawn) -> Option<Lattice> {
    let likely = |lattice: &&Lattice| {
        let card = lattice.size.w.max(lattice.size.h) <= 165.0;
        card && (lattice.count() > 1 || is_marked(lattice, drawn))
    };
    let largest = lattices.iter().filter(likely).max_by(|a, b| {
        let worth = |lattice: &Lattice| {
            let several = if lattice.count() > 1 { 2.0 } else { 1.0 };
            lattice.area() * several
        };
        worth(a).total_cmp(&worth(b))
    })?;
    Some(largest.clone())
}

/// Whether lines outside of a single frame show where it is cut.
fn is_marked(lattice: &Lattice, drawn: &Drawn) -> bool {
    let cut = trim::cut(lattice, &[], drawn);
    cut.lined > 0.98
}

fn grid(found: &Lattice, cut: &trim::Cut, drawn: &Drawn, page: Size, view: &View<'_>) -> Grid {
    let (dx, dy) = cut.inset;
    let trim = Size::new(found.size.w - 2.0 * dx, found.size.h - 2.0 * dy);
    let origin = Point::new(found.x.start + dx, found.y.start + dy);
    let pitch = Vector::new(
        if found.x.count > 1 {
            found.x.pitch
        } else {
            trim.w
        },
        if found.y.count > 1 {
            found.y.pitch
        } else {
            trim.h
        },
    );
    let mut filled = Vec::new();
    for row in 0..found.y.count {
        for column in 0..found.x.count {
            let min = Point::new(
                origin.x + column as f64 * pitch.x,
                origin.y + row as f64 * pitch.y,
            );
            let inside = Rect::at(min, trim).grown(-(trim.w.min(trim.h) * 0.06).max(1.2));
            filled.push(view.inked(inside) > 0.002);
        }
    }
    let mut found_by = vec![Evidence::Placements];
    if cut.lined > 0.98 {
        found_by.push(Evidence::TrimMarks);
    }
    if cut.outlined {
        found_by.push(Evidence::Lines);
    }
    found_by.sort_unstable();
    let several = found.count() > 1;
    let confidence = match (cut.lined > 0.98 || cut.outlined, cut.usual, several) {
        (true, _, true) => 0.98,
        (true, _, false) => 0.9,
        (false, true, true) => 0.93,
        (false, false, true) => 0.8,
        (false, _, false) => 0.4,
    };
    Grid {
        columns: found.x.count,
        rows: found.y.count,
        trim,
        pitch,
        origin: straight_to_page(page, drawn.tilt).apply(origin),
        rotation: Angle::radians(drawn.tilt),
        place_sd: 0.01,
        pitch_sd: 0.01,
        trim_sd: 0.02,
        confidence,
        found_by,
        disagreement: 0.0,
        filled,
        bleed: (dx > 0.05).then_some(Bleed {
            least: dx.min(dy),
            usual: dx,
        }),
        corner_radius: (found.radius > 0.2).then_some(found.radius),
    }
}
