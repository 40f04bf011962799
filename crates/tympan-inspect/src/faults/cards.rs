//! Faults of the cards themselves: bleed, borders, size.

use tympan_sheet::{Point, Size, nearest_card};

use super::{Expect, Found, PageView};
use crate::findings::{Evidence, Grid, Severity};

/// Less bleed than this is none, mm.
const NONE_MM: f64 = 0.3;
/// Less than this is little where nothing is known about the printer, mm (common practice: 3 mm for
/// trade printing; desk printers scatter by more than a trade press).
const LITTLE_MM: f64 = 2.0;
/// Narrower borders show a shift of half a millimetre as lopsided, mm (common practice).
const THIN_MM: f64 = 2.5;
/// With a measured set-up, a share of lopsided cards worth a warning.
const LOPSIDED: f64 = 0.05;
/// Gutters below this are none, mm.
const NO_GUTTER_MM: f64 = 0.2;
/// A card is scaled when it is off by more than this share ...
const SCALED: f64 = 0.008;
/// ... and no usual card is as near as this, mm.
const SAME_CARD_MM: f64 = 0.35;
/// Lines for cutting that lie off the pictures by this show, mm (half of a usual cut's tolerance).
const OFF_MARKS_MM: f64 = 0.3;
/// The same where both are told from a picture (from files with known truth at 150 dpi).
const OFF_MARKS_SEEN_MM: f64 = 0.5;
/// Cells whose edges are looked at on a page.
const CELLS_SEEN: usize = 6;

/// The edges of one grid's cards.
#[derive(Clone, Debug)]
pub struct CardEdges {
    page: usize,
    /// How far the pictures go on beyond the cut, mm, where that can be told.
    bleed: Option<f64>,
    /// Whether cells meet without a gutter.
    meet: bool,
    /// Whether nothing but white lies along the cuts.
    white: bool,
    /// The width of a plain border all around, mm, where there is one.
    border: Option<f64>,
}

pub(super) fn check(view: &PageView<'_>, found: &mut Vec<Found>) -> Vec<CardEdges> {
    let mut cards = Vec::new();
    for grid in view.cells.grids.iter().filter(|g| g.confidence >= 0.5) {
        scaled(view, grid, found);
        off_marks(view, grid, found);
        let gutter = (grid.pitch.x - grid.trim.w).max(grid.pitch.y - grid.trim.h);
        let meet = grid.columns * grid.rows > 1 && gutter < NO_GUTTER_MM;
        let bleed = grid
            .bleed
            .map(|bleed| if meet { bleed.usual } else { bleed.least });
        let (white, border) = edges(view, grid);
        cards.push(CardEdges {
            page: view.cells.page,
            bleed,
            meet,
            white,
            border,
        });
    }
    cards
}

/// Judges bleed and borders: by what the set-up does to cards where that has been measured, by
/// common practice otherwise.
pub fn of_cards(cards: &[CardEdges], expect: Option<&Expect<'_>>) -> Vec<Found> {
    let mut found = Vec::new();
    for card in cards {
        bleed(card, expect, &mut found);
        border(card, expect, &mut found);
    }
    found
}

fn scaled(view: &PageView<'_>, grid: &Grid, found: &mut Vec<Found>) {
    let Some((card, scale)) = nearest_card(grid.trim) else {
        return;
    };
    let off = |size: Size| {
        let (a, b) = (size.portrait(), grid.trim.portrait());
        (a.w - b.w).abs().max((a.h - b.h).abs())
    };
    let near = tympan_sheet::USUAL_CARDS
        .iter()
        .any(|card| off(card.trim) <= SAME_CARD_MM.max(2.0 * grid.trim_sd));
    if near || (scale - 1.0).abs() < SCALED {
        return;
    }
    // Another size than any card's by chance is commoner than an enlarged file.
    let severity = if (0.90..0.992).contains(&scale) {
        Severity::Warning
    } else {
        Severity::Note
    };
    found.push(Found {
        code: "scaled",
        severity,
        page: view.cells.page,
        area: None,
        badness: (scale - 1.0).abs(),
        message: format!(
            "the cards are {:.1} × {:.1} mm: a {} card of {:.1} × {:.1} mm at {:.1} %, as \"fit to \
             page\" would make it",
            grid.trim.w,
            grid.trim.h,
            card.name,
            turned_like(card.trim, grid.trim).w,
            turned_like(card.trim, grid.trim).h,
            100.0 * scale
        ),
        hint: "look for the file at its true size, or export it again at 100 %; if the cards are \
               meant to be this size, all is well",
    });
}

fn off_marks(view: &PageView<'_>, grid: &Grid, found: &mut Vec<Found>) {
    let seen = grid.found_by.contains(&Evidence::Pixels);
    if grid.disagreement
        < if seen {
            OFF_MARKS_SEEN_MM
        } else {
            OFF_MARKS_MM
        }
    {
        return;
    }
    found.push(Found {
        code: "marks-off",
        severity: Severity::Warning,
        page: view.cells.page,
        area: None,
        badness: grid.disagreement,
        message: format!(
            "the lines for cutting lie {:.1} mm off the middles of the pictures",
            grid.disagreement
        ),
        hint: "cards cut along them will look lopsided: cut one sheet and look, or lay the cards \
               out afresh with lay",
    });
}

fn turned_like(card: Size, like: Size) -> Size {
    if card.is_landscape() == like.is_landscape() {
        card
    } else {
        card.turned()
    }
}

fn bleed(card: &CardEdges, expect: Option<&Expect<'_>>, found: &mut Vec<Found>) {
    let Some(have) = card.bleed else { return };
    // White paper that shows beside a white edge is no fault.
    if card.white {
        return;
    }
    let mut add = |code, severity, message: String, hint| {
        found.push(Found {
            code,
            severity,
            page: card.page,
            area: None,
            badness: -have,
            message,
            hint,
        });
    };
    if have < NONE_MM {
        if card.meet {
            // One cut parts two cards: what strays over it is the neighbour's picture.
            add(
                "no-bleed",
                Severity::Note,
                "the cards meet without a gutter, so that none has bleed towards its neighbour"
                    .into(),
                "a cut that strays takes from one card and gives to the other; lay them out with \
                 gutters if that shows",
            );
        } else {
            add(
                "no-bleed",
                Severity::Warning,
                format!(
                    "the pictures end at the cut: a cut or a back that is a little off shows a white \
                     edge{}",
                    expect.map_or_else(String::new, |expect| format!(
                        " (this set-up needs {:.1} mm of bleed to keep 19 of 20 cards free of it)",
                        expect.bleed_mm
                    ))
                ),
                "make the pictures go on for 3 mm beyond the cut, or give the cards a white border",
            );
        }
        return;
    }
    match expect {
        Some(expect) if have < expect.bleed_mm => add(
            "little-bleed",
            Severity::Warning,
            format!(
                "the bleed is {have:.1} mm; this set-up needs {:.1} mm to keep 19 of 20 cards free \
                 of white edges",
                expect.bleed_mm
            ),
            "make the pictures go on farther beyond the cut, or measure more sheets: what is \
             needed may be less than it seems after one",
        ),
        None if have < LITTLE_MM => add(
            "little-bleed",
            Severity::Warning,
            format!("the bleed is {have:.1} mm, and desk printers scatter by more"),
            "make the pictures go on for 3 mm beyond the cut; --setup tells what your own printer \
             needs",
        ),
        _ => {}
    }
}

fn border(card: &CardEdges, expect: Option<&Expect<'_>>, found: &mut Vec<Found>) {
    let Some(width) = card.border else { return };
    let (severity, message, hint) = match expect {
        Some(expect) => {
            let share = (expect.lopsided)(width);
            if share < LOPSIDED / 2.0 {
                return;
            }
            let severity = if share > LOPSIDED {
                Severity::Warning
            } else {
                Severity::Note
            };
            (
                severity,
                format!(
                    "the border is {width:.1} mm wide: on this set-up {:.0} of 100 cards will look \
                     lopsided",
                    100.0 * share
                ),
                "make the border wider, or let the picture bleed off instead: report tells the \
                 width that this set-up needs",
            )
        }
        None if width < THIN_MM => (
            Severity::Warning,
            format!("the border is {width:.1} mm wide, so that a small shift looks lopsided"),
            "make the border 3 mm or wider, or let the picture bleed off instead; --setup tells \
             how many cards will show it on your printer",
        ),
        None => return,
    };
    found.push(Found {
        code: "thin-border",
        severity,
        page: card.page,
        area: None,
        badness: -width,
        message,
        hint,
    });
}

/// Whether the cards' edges are all white, and how wide a plain border is.
fn edges(view: &PageView<'_>, grid: &Grid) -> (bool, Option<f64>) {
    let cards: Vec<CardEdge> = (grid.filled_cells())
        .take(CELLS_SEEN)
        .map(|(column, row)| CardEdge::of(view, grid, column, row))
        .collect();
    let white = !cards.is_empty() && cards.iter().all(|card| card.white);
    let mut widths: Vec<f64> = cards.iter().filter_map(|card| card.border).collect();
    widths.sort_by(f64::total_cmp);
    // Most cards of a page have it, or it is no border.
    let border = (2 * widths.len() > cards.len()).then(|| widths[widths.len() / 2]);
    (white, border)
}

struct CardEdge {
    white: bool,
    border: Option<f64>,
}

/// The first look inside the cut, and how far in a border is looked for, mm.
const FIRST_MM: f64 = 0.4;
const DEEPEST_MM: f64 = 7.0;
const STEP_MM: f64 = 0.125;
/// Places along an edge.
const ALONG: usize = 40;
/// Colours farther apart than this are two, of 255.
const OTHER_COLOUR: f64 = 36.0;

impl CardEdge {
    fn of(view: &PageView<'_>, grid: &Grid, column: usize, row: usize) -> Self {
        let to_page = grid.to_page();
        let (x0, y0) = (column as f64 * grid.pitch.x, row as f64 * grid.pitch.y);
        let (w, h) = (grid.trim.w, grid.trim.h);
        // A place along an edge (the corners left out, which may be round) and so far in from it.
        let place = |edge: usize, along: f64, depth: f64| {
            let t = 0.12 + 0.76 * along;
            let (x, y) = match edge {
                0 => (t * w, depth),
                1 => (w - depth, t * h),
                2 => (t * w, h - depth),
                _ => (depth, t * h),
            };
            to_page.apply(Point::new(x0 + x, y0 + y))
        };
        let colour = |edge, i: usize, depth| {
            let p = place(edge, (i as f64 + 0.5) / ALONG as f64, depth);
            let px = |mm: f64| (mm * view.px_per_mm).max(0.0) as u32;
            let pixel = view.picture.get_pixel_checked(px(p.x), px(p.y));
            pixel.map_or([255.0; 3], |pixel| pixel.0.map(f64::from))
        };
        let first: Vec<[f64; 3]> = (0..4)
            .flat_map(|edge| (0..ALONG).map(move |i| (edge, i)))
            .map(|(edge, i)| colour(edge, i, FIRST_MM))
            .collect();
        let white = first.iter().all(|c| c.iter().all(|&v| v > 245.0));
        let mut ground = [0.0; 3];
        for c in &first {
            for (sum, v) in ground.iter_mut().zip(c) {
                *sum += v / first.len() as f64;
            }
        }
        let is_other = |c: [f64; 3]| {
            let far = c.iter().zip(ground).map(|(a, b)| (a - b).abs());
            far.fold(0.0, f64::max) > OTHER_COLOUR
        };
        let plain = first.iter().filter(|c| !is_other(**c)).count() * 20 >= first.len() * 19;
        // How far a ring at some depth differs from the border, in the mean along an edge.
        let apart = |edge: usize, depth: f64| -> f64 {
            let far = |i: usize| {
                let far = colour(edge, i, depth)
                    .into_iter()
                    .zip(ground)
                    .map(|(a, b)| (a - b).abs());
                far.fold(0.0, f64::max)
            };
            (0..ALONG).map(far).sum::<f64>() / ALONG as f64
        };
        // A border ends where half of what lies within shows.
        let ends = |edge: usize, near: f64| -> f64 {
            const WITHIN_MM: f64 = 0.5;
            let half = apart(edge, near + WITHIN_MM) / 2.0;
            let steps = (0..=16).map(|i| near + (f64::from(i) / 16.0 - 0.5) * WITHIN_MM);
            let beyond = |depth: &f64| apart(edge, *depth) >= half;
            steps.into_iter().find(beyond).unwrap_or(near)
        };
        let border = plain
            .then(|| {
                let widths: Option<Vec<f64>> = (0..4)
                    .map(|edge| {
                        let steps = ((DEEPEST_MM - FIRST_MM) / STEP_MM) as usize;
                        (0..steps)
                            .map(|step| FIRST_MM + step as f64 * STEP_MM)
                            .find_map(|depth| {
                                let other = (0..ALONG)
                                    .filter(|&i| is_other(colour(edge, i, depth)))
                                    .count();
                                // A border ends along its whole length at once.
                                (10 * other >= 8 * ALONG).then(|| ends(edge, depth))
                            })
                    })
                    .collect();
                widths.map(|widths| widths.into_iter().fold(f64::MAX, f64::min))
            })
            .flatten();
        Self { white, border }
    }
}
