//! Faults of the page against the paper.

use tympan_sheet::{Page, Paper, Point, Rect, Size};

use super::{Found, PageView, Print};
use crate::findings::Severity;

/// Pages this near a paper's size are that paper: PDF writers round to whole points.
const SIZE_TOLERANCE_MM: f64 = 1.0;
/// Ink that reaches into the margin by less is a renderer's breath, mm.
const LEAST_BEYOND_MM: f64 = 0.3;
/// Darker than this is ink: a paper-white scan has fainter grounds.
const INK_BELOW: u8 = 245;
/// Less ink than this in the margin is a mark or two, mm².
const MARKS_MM2: f64 = 15.0;

pub(super) fn check(view: &PageView<'_>, print: &Print, found: &mut Vec<Found>) {
    let size = view.cells.size;
    let paper = match print.paper {
        Some(paper) => held_like(paper, size),
        None => size,
    };
    match print.paper {
        Some(_) if !size.is_close(paper, SIZE_TOLERANCE_MM) => {
            other_paper(view, print, paper, found);
        }
        None if Paper::known().all(|known| !is(known.size(), size)) => unknown(view, found),
        _ => {}
    }
    margins(view, print, paper, found);
}

fn is(paper: Size, page: Size) -> bool {
    paper
        .portrait()
        .is_close(page.portrait(), SIZE_TOLERANCE_MM)
}

/// The paper held the way the page is.
fn held_like(paper: Size, page: Size) -> Size {
    if paper.is_landscape() == page.is_landscape() {
        paper
    } else {
        paper.turned()
    }
}

fn other_paper(view: &PageView<'_>, print: &Print, paper: Size, found: &mut Vec<Found>) {
    let size = view.cells.size;
    let [top, right, bottom, left] = print.margins;
    let scale = ((paper.w - left - right) / size.w).min((paper.h - top - bottom) / size.h);
    let (over_w, over_h) = ((size.w - paper.w) / 2.0, (size.h - paper.h) / 2.0);
    let cut = over_w.max(over_h);
    let actual = if cut > 0.0 {
        format!("at actual size up to {cut:.1} mm are cut off at each edge")
    } else {
        "at actual size it is placed as the printing program likes".to_owned()
    };
    let fit = view.cells.grids.first().map_or_else(
        || format!("fitted to the page all is scaled to {:.1} %", 100.0 * scale),
        |grid| {
            format!(
                "fitted to the page its cards of {:.1} × {:.1} mm become {:.1} × {:.1} mm",
                grid.trim.w,
                grid.trim.h,
                scale * grid.trim.w,
                scale * grid.trim.h
            )
        },
    );
    found.push(Found {
        code: "paper-size",
        severity: Severity::Serious,
        page: view.cells.page,
        area: None,
        badness: cut,
        message: format!(
            "the page is {:.1} × {:.1} mm and the paper {:.1} × {:.1} mm: {actual}; {fit}",
            size.w, size.h, paper.w, paper.h
        ),
        hint: "put it on the paper at true size with correct --paper, or print on the page's own \
               paper",
    });
}

fn unknown(view: &PageView<'_>, found: &mut Vec<Found>) {
    let size = view.cells.size;
    // A page that is one card is meant to be laid out, not to be printed as it is.
    let one_card = size.w.max(size.h) < 160.0;
    found.push(Found {
        code: "paper-size",
        severity: if one_card {
            Severity::Note
        } else {
            Severity::Warning
        },
        page: view.cells.page,
        area: None,
        badness: 0.0,
        message: format!(
            "the page is {:.1} × {:.1} mm, which is no usual paper: printing programs will scale or \
             move it",
            size.w, size.h
        ),
        hint: "say what you print on with --paper, and put it there at true size with correct \
               --paper",
    });
}

/// Ink where the printer cannot print. The page lies in the middle of the paper.
fn margins(view: &PageView<'_>, print: &Print, paper: Size, found: &mut Vec<Found>) {
    let size = view.cells.size;
    if size.w.max(size.h) < 160.0 && print.paper.is_none() {
        return;
    }
    let (x0, y0) = ((paper.w - size.w) / 2.0, (paper.h - size.h) / 2.0);
    let [top, right, bottom, left] = print.margins;
    let inner: Rect<Page> = Rect {
        min: Point::new(left - x0, top - y0),
        max: Point::new(paper.w - right - x0, paper.h - bottom - y0),
    };
    let mut beyond = [0.0_f64; 4];
    let mut ink = 0_u64;
    let (mut low, mut high) = ((f64::MAX, f64::MAX), (f64::MIN, f64::MIN));
    for (x, y, pixel) in view.picture.enumerate_pixels() {
        let at = |p: u32| (f64::from(p) + 0.5) / view.px_per_mm;
        let (x, y) = (at(x), at(y));
        let off = [
            inner.min.y - y,
            x - inner.max.x,
            y - inner.max.y,
            inner.min.x - x,
        ];
        let deepest = off.into_iter().fold(0.0, f64::max);
        if deepest > LEAST_BEYOND_MM && pixel.0.iter().any(|&v| v < INK_BELOW) {
            ink += 1;
            low = (low.0.min(x), low.1.min(y));
            high = (high.0.max(x), high.1.max(y));
            for (beyond, off) in beyond.iter_mut().zip(off) {
                *beyond = beyond.max(off);
            }
        }
    }
    if ink == 0 {
        return;
    }
    let mm2 = ink as f64 / view.px_per_mm.powi(2);
    let cut = view.cells.grids.iter().any(|grid| {
        let to_page = grid.to_page();
        let (w, h) = (
            (grid.columns - 1) as f64 * grid.pitch.x + grid.trim.w,
            (grid.rows - 1) as f64 * grid.pitch.y + grid.trim.h,
        );
        [(0.0, 0.0), (w, 0.0), (w, h), (0.0, h)]
            .iter()
            .any(|&(x, y)| !inner.grown(0.1).contains(to_page.apply(Point::new(x, y))))
    });
    let edges: Vec<String> = ["top", "right", "bottom", "left"]
        .iter()
        .zip(beyond)
        .filter(|(_, mm)| *mm > 0.0)
        .map(|(edge, mm)| format!("{mm:.1} mm at the {edge}"))
        .collect();
    let where_ = edges.join(", ");
    let (severity, message) = if cut {
        (
            Severity::Serious,
            format!("cards reach into the margin that the printer leaves blank ({where_})"),
        )
    } else if mm2 > MARKS_MM2 {
        (
            Severity::Warning,
            format!("print lies in the margin that the printer leaves blank ({where_})"),
        )
    } else {
        (
            Severity::Note,
            format!("marks lie in the margin that the printer leaves blank ({where_})"),
        )
    };
    found.push(Found {
        code: "outside-printable",
        severity,
        page: view.cells.page,
        area: Some(Rect {
            min: Point::new(low.0, low.1),
            max: Point::new(high.0, high.1),
        }),
        badness: mm2,
        message,
        hint: if cut {
            "use larger paper or fewer cards on a sheet; a printer that prints without margins \
             scales the page, which spoils the size"
        } else {
            "nothing of the cards is lost; if the marks are needed for cutting, use larger paper"
        },
    });
}
