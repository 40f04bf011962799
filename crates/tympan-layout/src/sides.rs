//! What lies where on the two sides of each sheet.

use tympan_sheet::drawing::Path;
use tympan_sheet::{Back, Flip, Frame, Front, Map, Page, Point, QuarterTurn, Rect, Shape};

use crate::job::{ArtId, Margins};
use crate::plan::{Cell, Plan, Unit};

/// Both sides of one sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct SheetSides {
    /// Its number, from 1.
    pub number: usize,
    /// What is printed on the front; on a fold-over sheet, fronts and backs.
    pub front: Vec<Placed<Front>>,
    /// What is printed on the back.
    pub back: Vec<Placed<Back>>,
}

/// One piece's art on one side of a sheet.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Placed<F: Frame> {
    /// Which art.
    pub art: ArtId,
    /// Which piece it belongs to.
    pub unit: Unit,
    /// The piece's shape, upright as one holds it.
    pub shape: Shape,
    /// How the art is turned to lie on this side.
    pub turn: QuarterTurn,
    /// The rectangle that the piece just fills, on this side.
    pub trim: Rect<F>,
    /// How far its print may run over the trim at each edge, as seen on this side.
    pub bleed: Margins,
    /// From the art's own frame (upright, origin at the top left of the trim's rectangle) to
    /// this side of the sheet.
    pub map: Map<Page, F>,
}

impl<F: Frame> Placed<F> {
    /// The rectangle that its print may fill.
    pub fn bleed_box(&self) -> Rect<F> {
        self.bleed.around(self.trim)
    }

    /// What its print may fill, on this side of the sheet: a rectangle for cards, whose corners
    /// are rounded after trimming, else the shape with the bleed that there is.
    pub fn clip(&self) -> Path {
        match self.shape {
            Shape::Rect { .. } => {
                let Rect { min, max } = self.bleed_box();
                Path::rect(min.x, min.y, max.x - min.x, max.y - min.y)
            }
            shape => {
                let shape = turned(shape, self.turn);
                let centre = self.trim.centre();
                shape
                    .with_bleed(self.bleed.least())
                    .outline(Point::new(centre.x, centre.y))
            }
        }
    }
}

impl Plan {
    /// Both sides of each sheet, in the order of printing.
    pub fn sides(&self) -> impl Iterator<Item = SheetSides> {
        self.sheets()
            .enumerate()
            .map(|(i, (group, units))| self.sides_of(i + 1, &group.cells, units))
    }

    fn sides_of(&self, number: usize, cells: &[Cell], units: &[Option<Unit>]) -> SheetSides {
        let mut sides = SheetSides {
            number,
            front: Vec::new(),
            back: Vec::new(),
        };
        for (cell, unit) in cells.iter().zip(units) {
            let Some(unit) = *unit else { continue };
            let piece = &self.pieces[unit.piece];
            sides.front.push(cell.front(unit, piece.front));
            let Some(art) = piece.back else { continue };
            match self.fold {
                Some(fold) => sides.front.push(cell.partner(
                    unit,
                    art,
                    piece.stands.flip(),
                    fold.flip(),
                    &fold.map(),
                )),
                None => sides.back.push(cell.partner(
                    unit,
                    art,
                    piece.stands.flip(),
                    self.sheet.flip,
                    &self.sheet.flip.map(self.sheet.size),
                )),
            }
        }
        sides
    }
}

impl Cell {
    /// The front's art in this cell.
    fn front(&self, unit: Unit, art: ArtId) -> Placed<Front> {
        Placed {
            art,
            unit,
            shape: self.shape,
            turn: self.turn,
            trim: self.trim,
            bleed: self.bleed,
            map: self.map(),
        }
    }

    /// From the front art's own frame to the front of the sheet.
    fn map(&self) -> Map<Page, Front> {
        let mut map: Map<Page, Front> = self.turn.map(self.shape.size());
        map.dx += self.trim.min.x;
        map.dy += self.trim.min.y;
        map
    }

    /// The back's art in the partner of this cell, where a mirror carries the front's side to the
    /// side that the back is printed on. `card` says how the piece's back stands to its front,
    /// `mirror` which axis the sheet's mirror reverses, and `across` where it goes.
    fn partner<F: Frame>(
        &self,
        unit: Unit,
        art: ArtId,
        card: Flip,
        mirror: Flip,
        across: &Map<Front, F>,
    ) -> Placed<F> {
        let size = self.shape.size();
        let flip = card.map(size);
        // The back's art seen from the piece's front: the same numbers, another frame.
        let through: Map<Page, Page> =
            Map::new(flip.xx, flip.xy, flip.yx, flip.yy, flip.dx, flip.dy);
        Placed {
            art,
            unit,
            shape: self.shape,
            turn: self.turn.for_back(card, mirror, size),
            trim: carried(self.trim, across),
            bleed: self.bleed.flipped(mirror),
            map: through.then(&self.map()).then(across),
        }
    }
}

/// A shape as it lies on the sheet.
pub(crate) fn turned(shape: Shape, turn: QuarterTurn) -> Shape {
    if turn.is_sideways() {
        shape.turned()
    } else {
        shape
    }
}

/// Where an upright rectangle goes by a map that keeps it upright.
fn carried<A: Frame, B: Frame>(rect: Rect<A>, map: &Map<A, B>) -> Rect<B> {
    let (a, b) = (map.apply(rect.min), map.apply(rect.max));
    Rect {
        min: Point::new(a.x.min(b.x), a.y.min(b.y)),
        max: Point::new(a.x.max(b.x), a.y.max(b.y)),
    }
}
