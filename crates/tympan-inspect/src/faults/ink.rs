//! How much ink a page takes.

use std::collections::HashMap;

use tympan_pdf::contents::{Colour, Kind, Paint};

use super::{Found, PageView};
use crate::findings::Severity;

/// All four inks together, above which uncoated stock stays wet and curls (common practice: 280 to
/// 300 % for offset; desk printers like less).
const RICH: f32 = 2.8;
/// A rich area smaller than this does not matter, mm².
const RICH_MM2: f64 = 100.0;
/// A page that is covered so far with solid colour will curl or take long to dry (a guess at common
/// practice).
const SOLID_SHARE: f64 = 0.4;
/// Solid colour is as much as one whole ink.
const SOLID: f64 = 0.95;

/// Cyan, magenta, yellow and black of a colour as shown: its complement, with all that is grey in
/// it taken as black (PLRM, 7.2.3 and 7.2.4, with full undercolour removal).
fn inks([r, g, b]: [u8; 3]) -> [f64; 4] {
    let [c, m, y] = [r, g, b].map(|v| 1.0 - f64::from(v) / 255.0);
    let k = c.min(m).min(y);
    [c - k, m - k, y - k, k]
}

/// The mean of each ink over a page: of what is painted in four inks as the file states it, of all
/// else as it is shown.
pub(super) fn coverage(view: &PageView<'_>) -> [f64; 4] {
    let picture = view.picture;
    let stated = Stated::of(view);
    let mut sum = [0.0; 4];
    for (x, y, pixel) in picture.enumerate_pixels() {
        let ink = stated.at(pixel.0, x, y).unwrap_or_else(|| inks(pixel.0));
        for (sum, ink) in sum.iter_mut().zip(ink) {
            *sum += ink;
        }
    }
    let count = (f64::from(picture.width()) * f64::from(picture.height())).max(1.0);
    sum.map(|s| s / count)
}

/// Colours that are stated in four inks, by how they are shown.
struct Stated(HashMap<[u8; 3], Vec<Mix>>);

/// Four inks, and the pixels among which they are: left, top, right, bottom.
struct Mix {
    area: [u32; 4],
    inks: [f64; 4],
}

/// The most places that are kept of one colour.
const MOST_PLACES: usize = 32;

impl Stated {
    fn of(view: &PageView<'_>) -> Self {
        let mut all: HashMap<[u8; 3], Vec<Mix>> = HashMap::new();
        for element in &view.contents.elements {
            let paint = match &element.kind {
                Kind::Fill { paint, .. } | Kind::Stroke { paint, .. } => paint,
                Kind::Text(text) => &text.paint,
                Kind::Picture(_) => continue,
            };
            let Paint::Solid(Colour {
                rgb,
                cmyk: Some(cmyk),
                opacity,
            }) = paint
            else {
                continue;
            };
            let Some(seen) = view.contents.seen(element).filter(|_| *opacity >= 1.0) else {
                continue;
            };
            let px = |mm: f64| (mm * view.px_per_mm).max(0.0);
            let (min, max) = (seen.min, seen.max);
            let area = [
                px(min.x).floor() as u32,
                px(min.y).floor() as u32,
                px(max.x).ceil() as u32,
                px(max.y).ceil() as u32,
            ];
            let places = all.entry(*rgb).or_default();
            let inks = cmyk.map(f64::from);
            // The same mix in many places is told by the area around them.
            if let Some(mix) = places.iter_mut().find(|mix| mix.inks == inks) {
                let around = &mut mix.area;
                around[0] = around[0].min(area[0]);
                around[1] = around[1].min(area[1]);
                around[2] = around[2].max(area[2]);
                around[3] = around[3].max(area[3]);
            } else if places.len() < MOST_PLACES {
                places.push(Mix { area, inks });
            }
        }
        Self(all)
    }

    fn at(&self, shown: [u8; 3], x: u32, y: u32) -> Option<[f64; 4]> {
        if self.0.is_empty() {
            return None;
        }
        let within =
            |area: &[u32; 4]| (area[0]..area[2]).contains(&x) && (area[1]..area[3]).contains(&y);
        let places = self.0.get(&shown)?;
        places
            .iter()
            .find_map(|mix| within(&mix.area).then_some(mix.inks))
    }
}

pub(super) fn check(view: &PageView<'_>, found: &mut Vec<Found>) {
    let page = view.cells.page;
    for element in &view.contents.elements {
        let (Kind::Fill { paint, .. } | Kind::Stroke { paint, .. }) = &element.kind else {
            continue;
        };
        let Paint::Solid(Colour {
            cmyk: Some(cmyk), ..
        }) = paint
        else {
            continue;
        };
        let total: f32 = cmyk.iter().sum();
        let Some(seen) = view.contents.seen(element) else {
            continue;
        };
        let size = seen.size();
        if total > RICH && size.w * size.h > RICH_MM2 {
            found.push(Found {
                code: "heavy-ink",
                severity: Severity::Warning,
                page,
                area: Some(seen),
                badness: f64::from(total),
                message: format!(
                    "an area of {:.0} × {:.0} mm asks for {:.0} % of ink",
                    size.w,
                    size.h,
                    100.0 * total
                ),
                hint: "use a lighter mix, such as plain black instead of black over other inks: \
                       over 280 % smears and makes the stock curl",
            });
        }
    }
    let pixels = f64::from(view.picture.width()) * f64::from(view.picture.height());
    let solid = view
        .picture
        .pixels()
        .filter(|pixel| inks(pixel.0).iter().sum::<f64>() >= SOLID)
        .count() as f64
        / pixels.max(1.0);
    if solid > SOLID_SHARE {
        found.push(Found {
            code: "heavy-ink",
            severity: Severity::Warning,
            page,
            area: None,
            badness: solid,
            message: format!(
                "{:.0} % of the page is covered with solid colour",
                100.0 * solid
            ),
            hint: "lighten large dark areas, or let the first side dry flat under a weight before \
                   the second: such sheets curl, smear and feed badly",
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn grey_is_black_ink_and_blue_is_cyan_and_magenta() {
        assert_eq!(inks([0, 0, 0]), [0.0, 0.0, 0.0, 1.0]);
        assert_eq!(inks([0, 0, 255]), [1.0, 1.0, 0.0, 0.0]);
        assert_eq!(inks([255, 255, 255]), [0.0; 4]);
    }
}
