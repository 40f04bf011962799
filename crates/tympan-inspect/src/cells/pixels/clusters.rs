//! Print that stands apart from other print.

use tympan_sheet::{Page, Point, Rect};

use super::plane::{PAPER, Plane};

/// The side of the squares that are looked at, mm: print that is less than about one of them apart
/// hangs together.
const SQUARE: f64 = 1.0;

/// Smaller pieces of print are marks, letters and dirt, mm.
const LEAST: f64 = 8.0;

/// The most pieces that are kept; a page with more of them is no page of cards.
const MOST: usize = 60;

/// The bounds of all pieces of print, straightened, mm; of pieces within others only the others.
/// None where there are too many.
pub(super) fn find(plane: &Plane, px_per_mm: f64) -> Vec<Rect<Page>> {
    let (w, h) = (squares(plane.w, px_per_mm), squares(plane.h, px_per_mm));
    let mut inked = vec![false; w * h];
    for y in 0..plane.h {
        let row = &mut inked[squares(y, px_per_mm).min(h - 1) * w..][..w];
        for (x, grey) in plane.row(y).iter().enumerate() {
            if *grey < PAPER {
                row[squares(x, px_per_mm).min(w - 1)] = true;
            }
        }
    }
    let mut pieces = Vec::new();
    let mut open = Vec::new();
    for start in 0..w * h {
        if !inked[start] {
            continue;
        }
        let (mut x, mut y) = ((w, 0), (h, 0));
        inked[start] = false;
        open.push(start);
        while let Some(at) = open.pop() {
            let (column, row) = (at % w, at / w);
            x = (x.0.min(column), x.1.max(column));
            y = (y.0.min(row), y.1.max(row));
            for near_row in row.saturating_sub(1)..(row + 2).min(h) {
                for near in column.saturating_sub(1)..(column + 2).min(w) {
                    let next = near_row * w + near;
                    if std::mem::take(&mut inked[next]) {
                        open.push(next);
                    }
                }
            }
        }
        let piece: Rect<Page> = Rect {
            min: Point::new(x.0 as f64 * SQUARE, y.0 as f64 * SQUARE),
            max: Point::new((x.1 + 1) as f64 * SQUARE, (y.1 + 1) as f64 * SQUARE),
        };
        let size = piece.size();
        if size.w.max(size.h) >= LEAST {
            pieces.push(piece);
        }
    }
    outermost(pieces)
}

fn squares(px: usize, px_per_mm: f64) -> usize {
    (px as f64 / px_per_mm / SQUARE) as usize
}

fn outermost(pieces: Vec<Rect<Page>>) -> Vec<Rect<Page>> {
    if pieces.len() > MOST {
        return Vec::new();
    }
    let holds = |a: &Rect<Page>, b: &Rect<Page>| {
        a != b && a.grown(0.1).contains(b.min) && a.grown(0.1).contains(b.max)
    };
    let outer = |piece: &&Rect<Page>| !pieces.iter().any(|other| holds(other, piece));
    pieces.iter().filter(outer).copied().collect()
}
