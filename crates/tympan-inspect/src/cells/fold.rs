//! Fold-over sheets: fronts and backs on one side, mirrored about a line.

use tympan_sheet::{Affine, Angle, Page, Point, Rect, Size, Vector};

use super::evidence::{Drawn, Stroke};
use super::view::View;
use crate::findings::{FoldLine, Grid};

/// The fold lies in the middle of the page, or no farther from it than this, mm.
const OFF_MIDDLE: f64 = 4.0;

/// Cells that look the same are no farther apart than this, in mean steps of grey: they lie at
/// different places among the pixels.
const ALIKE: f64 = 8.0;

/// Which way a fold runs.
#[derive(Clone, Copy, PartialEq)]
enum Way {
    Down,
    Across,
}

/// Finds the line about which the page is folded, if it is a fold-over sheet, and parts a grid
/// that goes through it.
pub(super) fn find(
    grids: &mut Vec<Grid>,
    drawn: &Drawn,
    page: Size,
    view: &View<'_>,
) -> Option<FoldLine> {
    if grids.is_empty() || grids.len() > 2 {
        return None;
    }
    // Lines and the picture are looked at in straightened places; so are the grids here.
    let tilt = drawn.tilt;
    let straight = view.to_page.inverse().ok()?;
    let moved = |grid: &Grid, by: f64, map: &Affine<Page>| Grid {
        origin: map.apply(grid.origin),
        rotation: Angle::radians(grid.rotation.to_radians() + by),
        ..grid.clone()
    };
    let straightened: Vec<Grid> = (grids.iter())
        .map(|grid| moved(grid, -tilt, &straight))
        .collect();
    [Way::Across, Way::Down].into_iter().find_map(|way| {
        let (halves, at, gap) = halves(&straightened, way)?;
        let (length, breadth) = match way {
            Way::Down => (page.h, page.w),
            Way::Across => (page.w, page.h),
        };
        if (at - breadth / 2.0).abs() > OFF_MIDDLE {
            return None;
        }
        let line = match way {
            Way::Down => drawn_fold(&drawn.down, at, length),
            Way::Across => drawn_fold(&drawn.across, at, length),
        };
        let gutter = match way {
            Way::Down => halves[0].pitch.y - halves[0].trim.h,
            Way::Across => halves[0].pitch.x - halves[0].trim.w,
        };
        let apart = gap - gutter > 0.5;
        if line.is_none() && !(apart && has_backs(&halves, view)) {
            return None;
        }
        let at = line.unwrap_or(at);
        *grids = halves
            .each_ref()
            .map(|half| moved(half, tilt, &view.to_page))
            .into();
        let to_page = |x: f64, y: f64| view.to_page.apply(Point::new(x, y));
        Some(match way {
            Way::Down => FoldLine {
                from: to_page(at, 0.0),
                to: to_page(at, page.h),
            },
            Way::Across => FoldLine {
                from: to_page(0.0, at),
                to: to_page(page.w, at),
            },
        })
    })
}

/// Two halves with as many rows and columns, the middle between them, and the gap there.
fn halves(grids: &[Grid], way: Way) -> Option<([Grid; 2], f64, f64)> {
    let along = |grid: &Grid| match way {
        Way::Down => (grid.columns, grid.origin.x, grid.pitch.x, grid.trim.w),
        Way::Across => (grid.rows, grid.origin.y, grid.pitch.y, grid.trim.h),
    };
    let (first, second) = match grids {
        [one] => {
            let (count, ..) = along(one);
            if count % 2 == 1 {
                return None;
            }
            (
                part(one, way, 0, count / 2),
                part(one, way, count / 2, count),
            )
        }
        [a, b] => {
            if (a.columns, a.rows) != (b.columns, b.rows)
                || (a.trim.w - b.trim.w).abs() > 0.1
                || (a.trim.h - b.trim.h).abs() > 0.1
            {
                return None;
            }
            let (a, b) = (a.clone(), b.clone());
            if along(&a).1 <= along(&b).1 {
                (a, b)
            } else {
                (b, a)
            }
        }
        _ => return None,
    };
    let across = match way {
        Way::Down => (first.origin.y, second.origin.y),
        Way::Across => (first.origin.x, second.origin.x),
    };
    let (count, start, pitch, length) = along(&first);
    let end = start + (count - 1) as f64 * pitch + length;
    let gap = along(&second).1 - end;
    // Halves that lie askew to each other are none.
    let level = (across.0 - across.1).abs() < 0.5;
    (level && gap > -0.5 && gap < 40.0).then_some(([first, second], end + gap / 2.0, gap))
}

/// Some of a grid's columns or rows.
fn part(grid: &Grid, way: Way, from: usize, to: usize) -> Grid {
    let mut part = grid.clone();
    let step = from as f64;
    let local = match way {
        Way::Down => Point::new(step * grid.pitch.x, 0.0),
        Way::Across => Point::new(0.0, step * grid.pitch.y),
    };
    part.origin = grid.to_page().apply(local);
    let cells = grid.cells().zip(&grid.filled);
    part.filled = cells
        .filter(|((column, row), _)| {
            (from..to).contains(if way == Way::Down { column } else { row })
        })
        .map(|(_, is_filled)| *is_filled)
        .collect();
    match way {
        Way::Down => part.columns = to - from,
        Way::Across => part.rows = to - from,
    }
    if part.columns == 1 {
        part.pitch.x = part.trim.w;
    }
    if part.rows == 1 {
        part.pitch.y = part.trim.h;
    }
    part
}

/// A line drawn along most of the page near there: one, or dashes.
fn drawn_fold(strokes: &[Stroke], at: f64, length: f64) -> Option<f64> {
    let near: Vec<&Stroke> = (strokes.iter())
        .filter(|s| (s.at - at).abs() <= 1.0)
        .collect();
    let first = near.iter().map(|s| s.from).fold(f64::INFINITY, f64::min);
    let last = near.iter().map(|s| s.to).fold(f64::NEG_INFINITY, f64::max);
    // Cuts are drawn on both sides of a gutter; a fold is one line, often broken.
    let broken = near.len() >= 8 || near.iter().any(|s| s.dashed);
    let whole = last - first >= 0.9 * length;
    // Where there are others like it, all are cuts.
    let alone = !strokes
        .iter()
        .any(|s| (s.at - at).abs() > 1.0 && s.to - s.from >= 0.5 * length);
    let covered: f64 = near.iter().map(|s| s.to - s.from).sum();
    (whole && alone && (broken || near.len() == 1) && covered >= 0.3 * length)
        .then(|| near.iter().map(|s| s.at).sum::<f64>() / near.len() as f64)
}

/// Whether all cells of one half look alike and those of the other clearly do not.
fn has_backs(halves: &[Grid; 2], view: &View<'_>) -> bool {
    if halves.iter().any(|half| half.filled.contains(&false)) || halves[0].filled.len() < 3 {
        return false;
    }
    let [a, b] = halves.each_ref().map(|half| apart(half, view));
    let (backs, fronts) = if a.1 < b.1 { (a, b) } else { (b, a) };
    backs.1 <= ALIKE && fronts.0 >= 2.5 * backs.1 + 2.0
}

/// How far the looks of a straightened grid's cells lie apart: least and most.
fn apart(grid: &Grid, view: &View<'_>) -> (f64, f64) {
    let cells: Vec<Rect<Page>> = (grid.cells())
        .map(|(column, row)| {
            let by = Vector::new(column as f64 * grid.pitch.x, row as f64 * grid.pitch.y);
            Rect::at(grid.origin + by, grid.trim).grown(-1.0)
        })
        .collect();
    let mut range = (f64::INFINITY, 0.0_f64);
    for (i, a) in cells.iter().enumerate() {
        for b in &cells[i + 1..] {
            let apart = view.apart(*a, *b);
            range = (range.0.min(apart), range.1.max(apart));
        }
    }
    range
}
