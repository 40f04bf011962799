//! Drawing witness marks.

use tympan_sheet::Side;
use tympan_sheet::drawing::{Colour, Item, Path, Stroke};

use super::code::{CELLS, RunCode, StripCode};
use super::geometry::Geometry;
use super::{MARK_RADIUS, RING_INNER};

impl Geometry {
    /// What to paint on one side of a sheet, in that side's own page frame. In black ink only:
    /// marks of several inks would blur where the inks do not meet.
    pub fn items(&self, side: Side, run: RunCode, sheet: u32) -> Vec<Item> {
        let mut items: Vec<Item> = self
            .marks(side)
            .into_iter()
            .map(|p| {
                let p = self.seen_on(side, p);
                match side {
                    Side::Front => fill(Path::circle(p.x, p.y, MARK_RADIUS)),
                    Side::Back => Item::Shape {
                        path: Path::circle(p.x, p.y, (MARK_RADIUS + RING_INNER) / 2.0),
                        fill: None,
                        stroke: Some(Stroke::solid(Colour::BLACK, MARK_RADIUS - RING_INNER)),
                    },
                }
            })
            .collect();
        for (number, strip) in self.strips.iter().enumerate() {
            let cells = StripCode {
                run,
                sheet,
                side,
                strip: number,
            }
            .cells();
            let mut path = Path {
                segments: Vec::new(),
            };
            let mut first = 0;
            while first < CELLS {
                let count = cells[first..]
                    .iter()
                    .take_while(|&&bar| bar == cells[first])
                    .count();
                if cells[first] {
                    let bar = self.rect_on(side, strip.bars(side, first, count));
                    let size = bar.size();
                    path = path.and(Path::rect(bar.min.x, bar.min.y, size.w, size.h));
                }
                first += count;
            }
            items.push(fill(path));
        }
        items
    }
}

fn fill(path: Path) -> Item {
    Item::Shape {
        path,
        fill: Some(Colour::BLACK),
        stroke: None,
    }
}
