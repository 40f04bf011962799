//! Rows and columns that are no cards: boxes to fill in, fields of a table, pictures with captions.

use tympan_sheet::{Page, Point, Rect, Size, nearest_card};

use super::super::cards::{GUTTER, MOST};
use super::axis::Axis;
use super::plane::Plane;

/// Less print than this in a cell is a word in a box to fill in, as a share of it (a guess).
const LEAST_INK: f64 = 0.02;

/// Cards' bleed and the lines along them reach into the gutter this far, mm; those of a usual size,
/// which are not doubted for less, as far as any bleed does.
const EDGE: (f64, f64) = (1.2, 3.2);

/// Room for words between the rows, mm.
const ROOM: f64 = 1.6;

/// Words between the rows print at least this share of the gutter (a guess).
const WORDS: f64 = 0.015;

/// Whether cells are rather those of a form, a table or a page of pictures: words between them where
/// their size is guessed; and where it is told but is no usual one, hardly anything in most of them,
/// words between them, or wide apart. `inked` is the share of print in each cell, row by row.
pub(super) fn are(
    plane: &Plane,
    px_per_mm: f64,
    (across, down): (&Axis, &Axis),
    inked: &[f64],
    told: bool,
) -> bool {
    let trim = Size::new(across.length, down.length);
    let usual = nearest_card(trim).is_some();
    let words = written(plane, px_per_mm, (across, down), usual);
    if usual {
        return words && !told;
    }
    let held = inked.iter().filter(|share| **share >= LEAST_INK).count() as f64;
    let empty = inked.len() > 1 && held < MOST * inked.len() as f64;
    empty || words || (told && across.gutter().max(down.gutter()) > GUTTER)
}

/// Whether something is printed between the rows of cells, as far from them as no bleed reaches.
pub(super) fn written(
    plane: &Plane,
    px_per_mm: f64,
    (across, down): (&Axis, &Axis),
    usual: bool,
) -> bool {
    let edge = if usual { EDGE.1 } else { EDGE.0 };
    if down.gutter() < 2.0 * edge + ROOM {
        return false;
    }
    let end = across.at(across.count - 1) + across.length;
    let between = (1..down.count).map(|row| Rect::<Page> {
        min: Point::new(across.start, down.at(row - 1) + down.length + edge),
        max: Point::new(end, down.at(row) - edge),
    });
    let written = between.filter(|rect| plane.inked(*rect, px_per_mm) >= WORDS);
    2 * written.count() >= down.count - 1
}
