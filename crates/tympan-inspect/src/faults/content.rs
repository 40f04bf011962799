//! Faults of what a page holds: pictures, text, lines, transparency, layers.

use tympan_pdf::contents::{Element, Extent, Kind, Paint, Text};
use tympan_sheet::{Length, Page, Rect};

use super::{Figures, Found, PageView};
use crate::findings::Severity;

/// Pictures below this look coarse on a card held in the hand, pixels per inch (common practice).
const COARSE_PPI: f64 = 150.0;
/// Below this they are softer than print is usually made from (common practice).
const SOFT_PPI: f64 = 300.0;
/// A rounded resolution is not a lower one.
const PPI_ROOM: f64 = 3.0;
/// Text below this is hard to read on card stock from a desk printer, points (common practice).
const TINY_PT: f64 = 5.0;
/// Light text on dark below this fills in, points (common practice).
const REVERSED_PT: f64 = 8.0;
/// Lines thinner than this may vanish: a quarter of a point (common practice).
const HAIRLINE_MM: f64 = 0.088;
/// Lighter than this is light text, darker than that a dark ground: luma.
const LIGHT: f64 = 200.0;
const DARK: f64 = 110.0;

pub(super) fn check(view: &PageView<'_>, figures: &mut Figures, found: &mut Vec<Found>) {
    let page = view.cells.page;
    let mut add = |code, severity, area, badness, message: String, hint| {
        found.push(Found {
            code,
            severity,
            page,
            area,
            badness,
            message,
            hint,
        });
    };
    for element in &view.contents.elements {
        let Some(seen) = view.contents.seen(element) else {
            continue;
        };
        let area = Some(seen);
        if element.transparent {
            add(
                "transparency",
                Severity::Note,
                area,
                0.0,
                "parts of it are see-through, which some printers and programs drop or print as \
                 boxes"
                    .into(),
                "look at the first printed sheet; if something is missing, print the file to a new \
                 PDF with transparency flattened",
            );
        }
        match &element.kind {
            Kind::Picture(picture) => {
                let ppi = picture.ppi();
                if !ppi.is_finite() {
                    continue;
                }
                keep_least(&mut figures.coarsest_ppi, ppi);
                // A picture of a few pixels is a plain colour or a blend, and none can be seen.
                let plain = picture.w.min(picture.h) <= 4;
                if ppi < SOFT_PPI - PPI_ROOM && !plain {
                    let coarse = ppi < COARSE_PPI - PPI_ROOM;
                    add(
                        "coarse-picture",
                        if coarse {
                            Severity::Warning
                        } else {
                            Severity::Note
                        },
                        area,
                        -ppi,
                        format!("a picture has {ppi:.0} pixels per inch as placed"),
                        if coarse {
                            "use a picture with more pixels: 300 per inch look sharp, under 150 \
                             looks coarse"
                        } else {
                            "good enough for most pictures; small text in it will look soft, and \
                             300 pixels per inch look sharp"
                        },
                    );
                }
            }
            Kind::Text(text) => {
                let pt = Length::mm(text.size).to_pt();
                if !(text.glyphs > 0 && pt.is_finite() && pt > 0.0) {
                    continue;
                }
                keep_least(&mut figures.smallest_text_pt, pt);
                if pt < TINY_PT - 0.02 {
                    add(
                        "tiny-text",
                        Severity::Warning,
                        area,
                        -pt,
                        format!("text is {pt:.1} pt as placed"),
                        "make it 5 pt or larger: smaller text is hard to read on card stock",
                    );
                }
                if pt < REVERSED_PT && is_light(text) && lies_on_dark(view, seen) {
                    add(
                        "light-text-on-dark",
                        Severity::Warning,
                        area,
                        -pt,
                        format!("light text of {pt:.1} pt stands on a dark ground"),
                        "make it 8 pt or larger, or bold: ink that spreads closes thin light \
                         strokes",
                    );
                }
            }
            Kind::Stroke { width, .. } if *width < HAIRLINE_MM => {
                let inside = is_on_card(view, element);
                let thin = Length::mm(*width).to_pt();
                add(
                    "hairline",
                    if inside {
                        Severity::Warning
                    } else {
                        Severity::Note
                    },
                    area,
                    -width,
                    if *width > 0.0 {
                        format!("a line is {thin:.2} pt thin")
                    } else {
                        "a line is as thin as the printer can make it".into()
                    },
                    "make lines 0.25 pt or wider: thinner ones may vanish or look broken",
                );
            }
            _ => {}
        }
    }
    if view.contents.layers {
        add(
            "layers",
            Severity::Note,
            None,
            0.0,
            "it has layers, of which some programs print all and some only those shown".into(),
            "see in the print preview that the right layers are on, or print the file to a new PDF",
        );
    }
    if view.contents.extent == Extent::Stopped {
        add(
            "too-rich",
            Severity::Warning,
            None,
            0.0,
            "it holds more than can be looked at in a reasonable time, or says so; what is said of \
             it is incomplete"
                .into(),
            "look at it in a PDF viewer; if it shows well there, print it to a new PDF and try that",
        );
    }
    if view.contents.extent == Extent::Broken {
        add(
            "damaged",
            Severity::Serious,
            None,
            0.0,
            "its content is damaged and can be read in part only".into(),
            "download or export the file again, or print it to a new PDF from a viewer that shows \
             it",
        );
    }
}

fn keep_least(least: &mut Option<f64>, value: f64) {
    *least = Some(least.map_or(value, |least| least.min(value)));
}

fn is_light(text: &Text) -> bool {
    match text.paint {
        Paint::Solid(colour) => colour.opacity > 0.0 && luma(colour.rgb) > LIGHT,
        Paint::Pattern => false,
    }
}

fn luma([r, g, b]: [u8; 3]) -> f64 {
    // ITU-R BT.601, as everywhere for such rough questions.
    0.299 * f64::from(r) + 0.587 * f64::from(g) + 0.114 * f64::from(b)
}

/// Whether most of an area is dark.
fn lies_on_dark(view: &PageView<'_>, area: Rect<Page>) -> bool {
    const MOST_SAMPLES: f64 = 64.0;
    let px = |mm: f64| mm * view.px_per_mm;
    let (w, h) = (px(area.max.x - area.min.x), px(area.max.y - area.min.y));
    let (nx, ny) = (w.clamp(1.0, MOST_SAMPLES), h.clamp(1.0, MOST_SAMPLES));
    let (mut dark, mut all) = (0, 0);
    for j in 0..ny as u32 {
        for i in 0..nx as u32 {
            let x = px(area.min.x) + (f64::from(i) + 0.5) * w / nx.floor();
            let y = px(area.min.y) + (f64::from(j) + 0.5) * h / ny.floor();
            if x >= 0.0 && y >= 0.0 {
                let pixel = view.picture.get_pixel_checked(x as u32, y as u32);
                if let Some(pixel) = pixel {
                    all += 1;
                    dark += u32::from(luma(pixel.0) < DARK);
                }
            }
        }
    }
    2 * dark > all
}

/// Whether something lies on a card rather than around the cards.
fn is_on_card(view: &PageView<'_>, element: &Element) -> bool {
    let middle = element.bounds.centre();
    view.cells.grids.iter().any(|grid| {
        grid.cells().any(|(column, row)| {
            let off = middle - grid.centre(column, row);
            // Not the cut itself, which is often a hairline.
            off.x.abs() < grid.trim.w / 2.0 - 0.5 && off.y.abs() < grid.trim.h / 2.0 - 0.5
        })
    })
}
