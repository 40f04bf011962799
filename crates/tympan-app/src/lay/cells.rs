//! Cards that are already on sheets: the cells of a PDF, front by front, each with its back.

use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

use serde::{Deserialize, Serialize};
use tympan_inspect::faults::Print;
use tympan_inspect::{Asked, FoldLine, Grid, PageCells, Pair, Role};
use tympan_layout::Stands;
use tympan_sheet::{Affine, Flip, Front, Page, Point, Size, Vector};

use crate::inspect::{self, Progress};
use crate::refusal::Refusal;

/// One cell of a page as a picture to be laid.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Cell {
    /// Its page, from 0.
    pub(super) page: usize,
    /// Its number on that page, from 1, read like a text.
    pub(super) number: usize,
    /// The size of its trim, mm.
    pub(super) trim: Size,
    /// From its trim (mm from its top left corner) to the page as seen.
    #[serde(with = "numbers")]
    pub(super) to_page: Affine<Page>,
    /// The picture goes on this far beyond the trim, mm.
    pub(super) bleed: f64,
    /// Radius of the drawn corners, mm.
    pub(super) radius: Option<f64>,
}

impl Cell {
    fn centre(&self) -> Point<Page> {
        self.to_page
            .apply(Point::new(self.trim.w / 2.0, self.trim.h / 2.0))
    }
}

/// A map as its six numbers.
mod numbers {
    use serde::{Deserialize, Deserializer, Serialize, Serializer};
    use tympan_sheet::{Affine, Page};

    pub(super) fn serialize<S: Serializer>(m: &Affine<Page>, to: S) -> Result<S::Ok, S::Error> {
        [m.xx, m.xy, m.yx, m.yy, m.dx, m.dy].serialize(to)
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(
        from: D,
    ) -> Result<Affine<Page>, D::Error> {
        let [xx, xy, yx, yy, dx, dy] = <[f64; 6]>::deserialize(from)?;
        Ok(Affine::new(xx, xy, yx, yy, dx, dy))
    }
}

/// A front with its back.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct TwoSides {
    pub(super) front: Cell,
    pub(super) back: Option<Cell>,
    /// How the back's page stood to the front's.
    pub(super) stands: Stands,
}

/// What the cells of a file are.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Found {
    /// All cards, sheet by sheet, read like a text.
    pub(super) cards: Vec<TwoSides>,
    pub(super) cautions: Vec<String>,
}

/// The cells of one page, in the order in which they are numbered.
pub(super) fn of_page(cells: &PageCells) -> Vec<Cell> {
    let mut all = Vec::new();
    for grid in &cells.grids {
        for (column, row) in grid.filled_cells() {
            all.push(cell(cells.page, grid, column, row));
        }
    }
    for (i, cell) in all.iter_mut().enumerate() {
        cell.number = i + 1;
    }
    all
}

fn cell(page: usize, grid: &Grid, column: usize, row: usize) -> Cell {
    let offset = Vector::new(column as f64 * grid.pitch.x, row as f64 * grid.pitch.y);
    Cell {
        page,
        number: 0,
        trim: grid.trim,
        to_page: Affine::shift(offset).then(&grid.to_page()),
        bleed: grid.bleed.map_or(0.0, |bleed| bleed.least),
        radius: grid.corner_radius,
    }
}

/// A file whose cards are looked for.
pub(super) struct File<'a> {
    /// The file, or the fronts.
    pub(super) path: &'a Path,
    /// The backs, where they are in a file of their own.
    pub(super) back_path: Option<&'a Path>,
    pub(super) password: Option<&'a str>,
    /// Which pages are pairs.
    pub(super) pairs: &'a Asked,
    /// How backs stand to fronts where the file does not tell.
    pub(super) flip: Flip,
}

/// Finds the cards of a file.
pub(super) fn find(
    file: &File<'_>,
    progress: &mut dyn FnMut(Progress),
    cancel: &AtomicBool,
) -> Result<Found, Refusal> {
    let paths: Vec<PathBuf> = [Some(file.path), file.back_path]
        .into_iter()
        .flatten()
        .map(Path::to_owned)
        .collect();
    let paths: Vec<&PathBuf> = paths.iter().collect();
    let looked = inspect::look::at(&paths, file.password, &Print::default(), progress, cancel)?;
    let pairing = inspect::pairing(&looked, file.pairs)?;
    let pages = looked[0].cells();
    let back_pages = looked.get(1).map(inspect::Looked::cells);
    let mut found = Found {
        cards: Vec::new(),
        cautions: Vec::new(),
    };
    let mut unsure = false;
    for pair in &pairing.pairs {
        let fronts = &pages[pair.front];
        let backs = &back_pages.as_deref().unwrap_or(&pages)[pair.back];
        unsure |= pair.flip.is_none() && pair.front != pair.back;
        found.cards.extend(match &fronts.fold {
            Some(fold) if pair.front == pair.back && back_pages.is_none() => folded(fronts, fold),
            _ => two_pages(fronts, backs, pair, file.flip),
        });
    }
    let paired = |page: usize| pairing.pairs.iter().any(|pair| pair.front == page);
    for page in &pages {
        // Fronts that no back belongs to.
        if pairing.roles[page.page] == Role::Front && !paired(page.page) {
            found.cards.extend(of_page(page).into_iter().map(alone));
        }
    }
    if unsure {
        found.cautions.push(format!(
            "{} does not tell how its backs stand to its fronts: they were taken as flipped {}",
            file.path.display(),
            file.flip
        ));
    }
    if found.cards.is_empty() {
        return Err(Refusal::new(
            "no cards were found in it",
            "look at it with inspect; if each page is one card, name the pages in a list as \
             cards.pdf#page=1, or cut the pictures out and give a folder of them",
        ));
    }
    Ok(found)
}

fn alone(front: Cell) -> TwoSides {
    TwoSides {
        front,
        back: None,
        stands: Stands::HeadToHead,
    }
}

/// The back of each front is where the flip puts it; it may lie off by the file's own error, but
/// never by half a card.
fn two_pages(fronts: &PageCells, backs: &PageCells, pair: &Pair, flip: Flip) -> Vec<TwoSides> {
    let flip = pair.flip.unwrap_or(flip);
    let there = of_page(backs);
    // Pages of unlike sizes lie on the sheet with their middles together.
    let (f, b): (Point<Page>, Point<Page>) = (fronts.size.centre(), backs.size.centre());
    of_page(fronts)
        .into_iter()
        .map(|front| {
            let at = front.centre();
            let off = flip.vector_to_back(Vector::<Front>::new(at.x - f.x, at.y - f.y));
            let wanted = Point::new(b.x + off.x, b.y + off.y);
            TwoSides {
                front,
                back: nearest(&there, wanted, front.trim),
                stands: stands(flip),
            }
        })
        .collect()
}

/// Two pages that are flipped endways stand head to foot, as do the cards that stand upright on
/// both.
fn stands(flip: Flip) -> Stands {
    match flip {
        Flip::Sideways => Stands::HeadToHead,
        Flip::Endways => Stands::HeadToFoot,
    }
}

/// Fronts on the upper or left half of the sheet, backs as the fold mirrors them.
fn folded(page: &PageCells, fold: &FoldLine) -> Vec<TwoSides> {
    let along = fold.to - fold.from;
    let upright = along.y.abs() > along.x.abs();
    let at = if upright {
        (fold.from.x + fold.to.x) / 2.0
    } else {
        (fold.from.y + fold.to.y) / 2.0
    };
    let before = |cell: &Cell| {
        let centre = cell.centre();
        if upright {
            centre.x < at
        } else {
            centre.y < at
        }
    };
    let (fronts, backs): (Vec<Cell>, Vec<Cell>) = of_page(page).into_iter().partition(before);
    let flip = if upright {
        Flip::Sideways
    } else {
        Flip::Endways
    };
    fronts
        .into_iter()
        .map(|front| {
            let centre = front.centre();
            let wanted = if upright {
                Point::new(2.0 * at - centre.x, centre.y)
            } else {
                Point::new(centre.x, 2.0 * at - centre.y)
            };
            TwoSides {
                front,
                back: nearest(&backs, wanted, front.trim),
                stands: stands(flip),
            }
        })
        .collect()
}

fn nearest(cells: &[Cell], at: Point<Page>, trim: Size) -> Option<Cell> {
    let far = |cell: &Cell| (cell.centre() - at).length();
    cells
        .iter()
        .min_by(|a, b| far(a).total_cmp(&far(b)))
        .filter(|cell| far(cell) < trim.w.min(trim.h) / 2.0)
        .copied()
}
