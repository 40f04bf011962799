//! Finding the cells of a page: from what is drawn where that tells, from its picture where it
//! does not.

mod cards;
mod evidence;
mod fold;
mod lattice;
mod marks;
mod pixels;
mod settle;
mod trim;
mod view;

use image::GrayImage;
use tympan_pdf::contents::Contents;
use tympan_sheet::{Affine, Angle, Page, Point, Rect, Size, Vector};

use crate::findings::{Bleed, Evidence, Grid, PageCells};
use evidence::{Drawn, Frame};
use lattice::Lattice;
pub use settle::settle;
use view::View;

/// The most grids that a page is said to have.
const MOST_GRIDS: usize = 4;

/// The most frames that are kept in case that other pages tell what they are.
const MOST_LOOSE: usize = 12;

/// Finds the cells of a page.
///
/// `picture` shows the same page, as seen, at `px_per_mm` pixels per mm.
pub fn find(contents: &Contents, picture: &GrayImage, px_per_mm: f64) -> PageCells {
    let drawn = evidence::drawn(contents);
    let mut page = PageCells {
        page: contents.page,
        size: contents.size,
        grids: Vec::new(),
        loose: Vec::new(),
        fold: None,
        one_picture: drawn.one_picture,
    };
    let view = View {
        picture,
        px_per_mm,
        to_page: straight_to_page(contents.size, drawn.tilt),
    };
    if let Some(grid) = whole_page(contents, &drawn) {
        page.grids.push(grid);
        return page;
    }
    (page.grids, page.loose) = from_frames(&drawn, contents.size, &view);
    page.fold = fold::find(&mut page.grids, &drawn, contents.size, &view);
    if page.grids.is_empty() && drawn.one_picture {
        (page.grids, page.loose) = pixels::find(picture, px_per_mm, contents.size);
    }
    page
}

/// Tells anew which cells of a page's grids hold something, on a page that is one picture: where
/// other pages told the grid, this one has not been looked at for it.
pub fn look_again(page: &mut PageCells, picture: &GrayImage, px_per_mm: f64) {
    if page.one_picture {
        for grid in &mut page.grids {
            pixels::fill(grid, picture, px_per_mm);
        }
    }
}

/// From the straightened page to the page as seen.
fn straight_to_page(size: Size, tilt: f64) -> Affine<Page> {
    Affine::tilt(Angle::radians(tilt), Rect::<Page>::whole(size).centre())
}

/// A page that is no larger than a card is one; the card may lie off its place on it.
fn whole_page(contents: &Contents, drawn: &Drawn) -> Option<Grid> {
    if !evidence::is_card_sized(contents.size) || contents.elements.is_empty() {
        return None;
    }
    let page = Rect::<Page>::whole(contents.size);
    let cut = contents.trim_box.filter(|trim| {
        let size = trim.size();
        size.w > 10.0 && size.h > 10.0
    });
    let inset = cut.map_or((0.0, 0.0), |cut| (cut.min.x, cut.min.y));
    let painted = drawn.frames.iter().find(|frame| {
        let size = frame.rect.size();
        !frame.outline
            && (size.w / contents.size.w - 1.0).abs() <= 0.012
            && (size.h / contents.size.h - 1.0).abs() <= 0.012
            && (frame.rect.centre() - page.centre()).length() <= 6.0
    });
    // What fills the page to within a pixel is the page.
    let painted = painted.filter(|frame| {
        let off = |a: Point<Page>, b: Point<Page>| (a - b).length() > 0.3;
        off(frame.rect.min, page.min) || off(frame.rect.max, page.max)
    });
    let trim = match (painted, cut) {
        (Some(frame), _) => Rect {
            min: frame.rect.min + Vector::new(inset.0, inset.1),
            max: frame.rect.max - Vector::new(inset.0, inset.1),
        },
        (None, Some(cut)) => cut,
        (None, None) => page,
    };
    let tilt = if painted.is_some() { drawn.tilt } else { 0.0 };
    let bleed = inset.0.min(inset.1);
    let sure = cut.is_some() || !drawn.frames.is_empty();
    let size = trim.size();
    Some(Grid {
        columns: 1,
        rows: 1,
        trim: size,
        pitch: Vector::new(size.w, size.h),
        origin: straight_to_page(contents.size, tilt).apply(trim.min),
        rotation: Angle::radians(tilt),
        place_sd: if sure { 0.02 } else { 0.5 },
        pitch_sd: 0.02,
        trim_sd: if sure { 0.02 } else { 0.3 },
        confidence: if sure { 0.95 } else { 0.7 },
        found_by: vec![Evidence::Placements],
        disagreement: 0.0,
        filled: vec![true],
        bleed: (bleed > 0.05).then_some(Bleed {
            least: bleed,
            usual: bleed,
        }),
        corner_radius: None,
    })
}

/// Grids that the frames of a page form, and frames that stand alone.
fn from_frames(drawn: &Drawn, page: Size, view: &View<'_>) -> (Vec<Grid>, Vec<Grid>) {
    let mut frames: Vec<Frame> = drawn.frames.clone();
    let (mut grids, mut doubted, mut between) = (Vec::new(), Vec::new(), Vec::new());
    if let Some(grid) = marked(&mut frames, drawn, page, view) {
        grids.push(grid);
    }
    while grids.len() < MOST_GRIDS {
        let lattices = lattice::lattices(&frames);
        let Some(found) = best(&lattices, drawn) else {
            break;
        };
        match cut_grid(&found, &lattices, drawn, page, view) {
            Some(grid) if grid.confidence < cards::DOUBTED => doubted.push(grid),
            grid => grids.extend(grid),
        }
        let block = found.block().grown(0.5);
        let before = frames.len();
        let (inside, others): (Vec<Frame>, Vec<Frame>) =
            (frames.into_iter()).partition(|frame| block.contains(frame.rect.centre()));
        between.extend((inside.into_iter()).filter(|frame| !found.holds(frame.rect.centre())));
        frames = others;
        if frames.len() == before {
            break;
        }
    }
    // Of pictures of unlike sizes some lie between the others.
    frames.extend(between);
    let mut loose = doubted;
    while loose.len() < MOST_LOOSE {
        let lattices = lattice::lattices(&frames);
        let Some(single) = lattices
            .iter()
            .find(|lattice| lattice.size.w.max(lattice.size.h) <= 165.0)
        else {
            break;
        };
        loose.extend(cut_grid(single, &lattices, drawn, page, view));
        let block = single.block().grown(0.5);
        frames.retain(|frame| !block.contains(frame.rect.centre()));
    }
    let area = |grid: &Grid| grid.count() as f64 * grid.trim.w * grid.trim.h;
    grids.sort_by(|a, b| area(b).total_cmp(&area(a)));
    (grids, loose)
}

/// The grid that trim marks show where the frames alone do not lead to it. Its frames are taken out.
fn marked(frames: &mut Vec<Frame>, drawn: &Drawn, page: Size, view: &View<'_>) -> Option<Grid> {
    let (lattice, bleed) = marks::lattice(frames, drawn)?;
    let lattices = lattice::lattices(frames);
    if best(&lattices, drawn).is_some_and(|found| is_marked(&found, &lattices, drawn)) {
        return None;
    }
    let grid = cut_grid(&lattice, &[], drawn, page, view)?;
    let block = lattice.block().grown(0.5);
    frames.retain(|frame| !block.contains(frame.rect.centre()));
    let bleed = (bleed.usual > 0.05).then_some(bleed);
    Some(Grid {
        bleed: bleed.or(grid.bleed),
        ..grid
    })
}

/// The lattice that most likely is the cells': the outermost of the largest, but several cells
/// rather than one.
fn best(lattices: &[Lattice], drawn: &Drawn) -> Option<Lattice> {
    let likely = |lattice: &&Lattice| {
        let card = lattice.size.w.max(lattice.size.h) <= 165.0;
        let marked = || is_marked(lattice, &[], drawn) && !cards::is_field(lattice, drawn);
        card && (lattice.count() > 1 || marked())
    };
    let largest = lattices.iter().filter(likely).max_by(|a, b| {
        let worth = |lattice: &Lattice| {
            let several = if lattice.count() > 1 { 2.0 } else { 1.0 };
            // Of an area and the line around it the area.
            let line = if lattice.outline { 0.999 } else { 1.0 };
            lattice.area() * several * line
        };
        worth(a).total_cmp(&worth(b))
    })?;
    Some(largest.clone())
}

/// Whether lines outside of frames show where they are cut.
fn is_marked(lattice: &Lattice, all: &[Lattice], drawn: &Drawn) -> bool {
    let cut = trim::cut(lattice, all, drawn);
    cut.lined > 0.98
}

/// The grid that frames make, cut where they are most likely to be cut; less sure than
/// [`cards::DOUBTED`] where only other pages can tell that these are cards. `None` for a single frame
/// around nothing, unless it is marked as cards are.
fn cut_grid(
    outer: &Lattice,
    all: &[Lattice],
    drawn: &Drawn,
    page: Size,
    view: &View<'_>,
) -> Option<Grid> {
    let cut = trim::cut(outer, all, drawn);
    let found = trim::along_cuts(outer, all, &cut, drawn);
    let (trim, origin) = (found.size, Point::new(found.x.start, found.y.start));
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
    let next = |pitch: f64, trim: f64, count: usize| count > 1 && pitch - trim < 0.3;
    let adjoin = next(pitch.x, trim.w, found.x.count) || next(pitch.y, trim.h, found.y.count);
    let (mut inked, mut ends_at_trim) = (Vec::new(), 0);
    for row in 0..found.y.count {
        for column in 0..found.x.count {
            let min = Point::new(
                origin.x + column as f64 * pitch.x,
                origin.y + row as f64 * pitch.y,
            );
            let inside = Rect::at(min, trim).grown(-(trim.w.min(trim.h) * 0.06).max(1.2));
            inked.push(view.inked(inside));
            let cell = Rect::at(min, trim);
            let coloured = |by: f64| view.coloured_around(cell, by);
            // Where cards adjoin, what lies beyond the cut is the next card.
            let ends = adjoin || coloured(0.7) < 0.6;
            ends_at_trim += usize::from(ends && coloured(-0.7) > 0.6);
        }
    }
    let told = cards::told(outer, all, &cut, &inked, drawn);
    if !told && found.count() == 1 && !inked.iter().any(|share| *share > 0.0) {
        return None;
    }
    let filled = cards::filled(outer, all, &inked);
    let mut found_by = vec![Evidence::Placements];
    if cut.lined > 0.98 {
        found_by.push(Evidence::TrimMarks);
    }
    if cut.outlined {
        found_by.push(Evidence::Lines);
    }
    found_by.sort_unstable();
    let told_by_lines = cut.lined > 0.98;
    let several = found.count() > 1;
    let confidence = match (cut.lined > 0.98 || cut.outlined, cut.usual, several) {
        _ if !told => cards::DOUBTED / 2.0,
        (true, _, true) => 0.98,
        (true, _, false) => 0.9,
        // Only the size speaks for the bleed.
        (false, true, true) if cut.inset.0 > 0.05 => 0.75,
        (false, true, true) => 0.93,
        (false, false, true) => 0.8,
        (false, _, false) => 0.4,
    };
    Some(Grid {
        columns: found.x.count,
        rows: found.y.count,
        trim,
        pitch,
        origin: straight_to_page(page, drawn.tilt).apply(origin),
        rotation: Angle::radians(drawn.tilt),
        // Some programs round where they place things.
        place_sd: if told_by_lines || cut.outlined {
            0.01
        } else {
            0.04
        },
        pitch_sd: 0.01,
        trim_sd: 0.02,
        confidence,
        found_by,
        disagreement: if told_by_lines {
            off_lines(&found, drawn)
        } else {
            0.0
        },
        filled,
        bleed: bleed(cut.inset, 2 * ends_at_trim > outer.count()),
        corner_radius: (outer.radius > 0.2).then_some(outer.radius),
    })
}

/// How far the middles of what is painted in the cells lie off the middles of the cells, which
/// lines tell, mm. 0 where the areas are of unlike sizes: they bleed freely, and their middles tell
/// nothing.
fn off_lines(cells: &Lattice, drawn: &Drawn) -> f64 {
    const LESS: f64 = 0.3;
    const MORE: f64 = 14.0;
    const SAME: f64 = 0.2;
    let mut found: Vec<(Size, Vector<Page>)> = Vec::new();
    for row in 0..cells.y.count {
        for column in 0..cells.x.count {
            let corner = Point::new(cells.x.at(column), cells.y.at(row));
            let middle = Rect::at(corner, cells.size).centre();
            let beyond = |frame: &&Frame| {
                let size = frame.rect.size();
                (size.w - cells.size.w).max(size.h - cells.size.h)
            };
            let fits = |frame: &&Frame| {
                let (size, off) = (frame.rect.size(), frame.rect.centre() - middle);
                let fit = |has: f64, cell: f64| (-LESS..=MORE).contains(&(has - cell));
                !frame.outline
                    && fit(size.w, cells.size.w)
                    && fit(size.h, cells.size.h)
                    && off.x.abs().max(off.y.abs()) <= MORE / 2.0
            };
            let own = (drawn.frames.iter())
                .filter(fits)
                .min_by(|a, b| beyond(a).total_cmp(&beyond(b)));
            found.extend(own.map(|frame| (frame.rect.size(), frame.rect.centre() - middle)));
        }
    }
    let Some((first, _)) = found.first() else {
        return 0.0;
    };
    let along = |size: fn(&Size) -> f64, off: fn(&Vector<Page>) -> f64| {
        let alike = found
            .iter()
            .all(|(s, _)| (size(s) - size(first)).abs() <= SAME);
        let sum: f64 = found.iter().map(|(_, by)| off(by)).sum();
        if alike { sum / found.len() as f64 } else { 0.0 }
    };
    along(|s| s.w, |v| v.x).hypot(along(|s| s.h, |v| v.y))
}

/// The bleed of cells that are cut so far within what is painted; none where colour goes up to the
/// cut and ends there. Cells with paper along their edges tell nothing.
fn bleed(inset: (f64, f64), ends_at_trim: bool) -> Option<Bleed> {
    let painted = inset.0 > 0.05;
    (painted || ends_at_trim).then_some(Bleed {
        least: if painted { inset.0.min(inset.1) } else { 0.0 },
        usual: if painted { inset.0.max(inset.1) } else { 0.0 },
    })
}
