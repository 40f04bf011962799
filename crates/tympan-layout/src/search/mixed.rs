//! Pieces of several sizes together on sheets that are cut straight through.

mod cover;
mod fronts;
mod greedy;

use tympan_sheet::Size;

use super::arrangement::{Arrangement, Spot};
use super::class::Class;
use super::guillotine::{Item, micrometres};

/// Arrangements and how many sheets of each make all pieces; `None` where a size fits nowhere.
///
/// Few sizes are searched exhaustively: all mixtures that a sheet can hold by straight cuts, then
/// the fewest sheets of at most three different ones. More sizes, or very small ones, are laid
/// sheet by sheet.
pub(super) fn arrangements(
    classes: &[Class],
    room: Size,
    gutter: f64,
) -> Option<Vec<(Arrangement, usize)>> {
    let items = items(classes, gutter);
    let (w, h) = (micrometres(room.w + gutter), micrometres(room.h + gutter));
    let wanted: Vec<usize> = classes.iter().map(|c| c.count).collect();
    let exact = fronts::Fronts::solve(&items, &wanted, w, h).and_then(|fronts| {
        let chosen = cover::fewest(&fronts.mixtures(), &wanted)?;
        Some(
            chosen
                .into_iter()
                .map(|(mixture, sheets)| (fronts.spots(&items, mixture), sheets))
                .collect::<Vec<_>>(),
        )
    });
    let groups = match exact {
        Some(groups) => groups,
        None => greedy::sheets(&items, &wanted, w, h)?,
    };
    Some(
        groups
            .into_iter()
            .map(|(spots, sheets)| (titled(spots), sheets))
            .collect(),
    )
}

fn items(classes: &[Class], gutter: f64) -> Vec<Item> {
    let mut items = Vec::new();
    for (k, class) in classes.iter().enumerate() {
        let size = class.shape.size();
        items.push(Item::new(k, false, size, gutter, 1.0));
        if class.may_turn {
            items.push(Item::new(k, true, size.turned(), gutter, 1.0));
        }
    }
    items
}

fn titled(spots: Vec<Spot>) -> Arrangement {
    Arrangement {
        title: "sizes together".to_owned(),
        spots,
    }
}
