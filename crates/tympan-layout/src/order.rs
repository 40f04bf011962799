//! Which piece lies in which cell of which sheet.

use crate::job::{Order, Piece};
use crate::plan::{Group, Plan, Unit};

/// A pile of cut pieces: what comes from one cell of a group of sheets.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pile {
    /// Which group of sheets, from 0.
    pub group: usize,
    /// Which cell, from 0 in reading order.
    pub cell: usize,
    /// How many pieces, to be counted after cutting.
    pub count: usize,
    /// The piece on top when the sheets were stacked with the first one on top, fronts up.
    pub first: Unit,
    /// The piece at the bottom.
    pub last: Unit,
}

impl Plan {
    /// The piles that cutting gives, in the order in which they are laid upon each other: each
    /// pile goes under the ones before it, and all fronts look up. In cut-and-stack order the
    /// deck, or the part of it that has this size, is then in order.
    pub fn piles(&self) -> Vec<Pile> {
        let mut piles = Vec::new();
        for (g, group) in self.groups.iter().enumerate() {
            for cell in 0..group.cells.len() {
                let mut units = group.sheets.iter().filter_map(|units| units[cell]);
                let Some(first) = units.next() else { continue };
                let (mut count, mut last) = (1, first);
                for unit in units {
                    (count, last) = (count + 1, unit);
                }
                piles.push(Pile {
                    group: g,
                    cell,
                    count,
                    first,
                    last,
                });
            }
        }
        piles
    }
}

/// The pieces of one size in the order of the finished deck.
pub(crate) fn units(pieces: &[Piece], of: impl Fn(usize) -> bool) -> Vec<Unit> {
    let mut number = 0;
    let mut units = Vec::new();
    for (i, piece) in pieces.iter().enumerate() {
        for copy in 0..piece.copies {
            if of(i) {
                units.push(Unit {
                    piece: i,
                    copy,
                    number,
                });
            }
            number += 1;
        }
    }
    units
}

/// Fills cells of one size. `places` lists, group by group, the cells of that size; as many
/// pieces as there are places are taken from the front of `units`.
pub(crate) fn fill(groups: &mut [Group], places: &[Vec<usize>], units: &[Unit], order: Order) {
    let mut rest = units;
    for (group, cells) in groups.iter_mut().zip(places) {
        let take = rest.len().min(cells.len() * group.sheets.len());
        let (now, later) = rest.split_at(take);
        rest = later;
        match order {
            Order::CutAndStack => cut_and_stack(group, cells, now),
            Order::SheetBySheet => {
                for (i, &unit) in now.iter().enumerate() {
                    group.sheets[i / cells.len()][cells[i % cells.len()]] = Some(unit);
                }
            }
        }
    }
}

/// Each cell's pile takes the next pieces of the deck. Piles differ by one piece at most, so that
/// only the last sheet that holds this size can be part-filled, and its last cells stay empty.
fn cut_and_stack(group: &mut Group, cells: &[usize], units: &[Unit]) {
    if cells.is_empty() {
        return;
    }
    let (height, higher) = (units.len() / cells.len(), units.len() % cells.len());
    let mut rest = units;
    for (i, &cell) in cells.iter().enumerate() {
        let (pile, later) = rest.split_at(height + usize::from(i < higher));
        rest = later;
        for (sheet, &unit) in group.sheets.iter_mut().zip(pile) {
            sheet[cell] = Some(unit);
        }
    }
}
