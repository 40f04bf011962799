//! Pieces of one size on a sheet.

use tympan_sheet::{Shape, Size};

use super::arrangement::{Arrangement, Spot, fit, grid};
use super::class::Class;
use super::guillotine::{Item, Table, micrometres};
use super::rows;
use crate::job::Method;

/// The arrangements worth comparing, the one that holds most first; of equals, the one that is
/// easier to cut. Empty where not even one piece fits.
pub(super) fn arrangements(
    class: &Class,
    number: usize,
    room: Size,
    gutter: f64,
    method: Method,
) -> Vec<Arrangement> {
    let mut found: Vec<Arrangement> = grids(class, number, room, gutter);
    found.extend(blocks(class, number, room, gutter, method));
    if method == Method::Free {
        found.extend(rows::arrangements(class, number, room, gutter));
    }
    found.retain(|a| !a.spots.is_empty());
    // Stable: grids stay before blocks of as many.
    found.sort_by_key(|a| std::cmp::Reverse(a.spots.len()));
    found
}

/// How the class's pieces may lie: turned or not, with their size then.
fn turns(class: &Class) -> impl Iterator<Item = (bool, Size)> {
    let size = class.shape.size();
    let turned = class.may_turn.then(|| (true, size.turned()));
    std::iter::once((false, size)).chain(turned)
}

fn grids(class: &Class, number: usize, room: Size, gutter: f64) -> Vec<Arrangement> {
    let one = |(turned, size): (bool, Size)| {
        let count = (fit(room.w, size.w, gutter), fit(room.h, size.h, gutter));
        let how = match (class.may_turn, turned) {
            (false, _) => "",
            (true, false) => " upright",
            (true, true) => " on their sides",
        };
        Arrangement {
            title: format!("{} × {}{how}", count.0, count.1),
            spots: grid(number, turned, count, (size.w + gutter, size.h + gutter)),
        }
    };
    turns(class).map(one).collect()
}

/// Upright pieces and pieces on their sides on one sheet.
fn blocks(
    class: &Class,
    number: usize,
    room: Size,
    gutter: f64,
    method: Method,
) -> Vec<Arrangement> {
    let free = method == Method::Free && matches!(class.shape, Shape::Rect { .. });
    if !class.may_turn {
        return Vec::new();
    }
    let items: Vec<Item> = turns(class)
        .map(|(turned, size)| Item::new(number, turned, size, gutter, 1.0))
        .collect();
    let (w, h) = (micrometres(room.w + gutter), micrometres(room.h + gutter));
    let mut found = Vec::new();
    match Table::solve(&items, w, h, false) {
        Some(table) => found.push(table.spots(&items)),
        None => found.push(two_blocks(class, number, room, gutter)),
    }
    if free && let Some(table) = Table::solve(&items, w, h, true) {
        found.push(table.spots(&items));
    }
    let titled = |spots: Vec<Spot>| {
        let on_sides = spots.iter().filter(|s| s.turned).count();
        Arrangement {
            title: format!(
                "{} upright and {on_sides} on their sides",
                spots.len() - on_sides
            ),
            spots,
        }
    };
    found
        .into_iter()
        // All one way is a grid, which has been seen.
        .filter(|spots| spots.iter().any(|s| s.turned) && spots.iter().any(|s| !s.turned))
        .map(titled)
        .collect()
}

/// The best of two grids side by side or one above the other, for pieces so small that trying
/// everything would take too long.
fn two_blocks(class: &Class, number: usize, room: Size, gutter: f64) -> Vec<Spot> {
    let mut best = Vec::new();
    for (turned, size) in turns(class) {
        let other = size.turned();
        let (px, py) = (size.w + gutter, size.h + gutter);
        let (qx, qy) = (other.w + gutter, other.h + gutter);
        let (columns, rows) = (fit(room.w, size.w, gutter), fit(room.h, size.h, gutter));
        let mut consider = |first: (usize, usize), second: (usize, usize), x: f64, y: f64| {
            if first.0 * first.1 + second.0 * second.1 > best.len() {
                best = grid(number, turned, first, (px, py));
                let beside = grid(number, !turned, second, (qx, qy));
                best.extend(beside.into_iter().map(|s| Spot {
                    x: s.x + x,
                    y: s.y + y,
                    ..s
                }));
            }
        };
        for k in 1..columns {
            let x = k as f64 * px;
            let second = (
                fit(room.w - x, other.w, gutter),
                fit(room.h, other.h, gutter),
            );
            consider((k, rows), second, x, 0.0);
        }
        for k in 1..rows {
            let y = k as f64 * py;
            let second = (
                fit(room.w, other.w, gutter),
                fit(room.h - y, other.h, gutter),
            );
            consider((columns, k), second, 0.0, y);
        }
    }
    best
}
