//! How much ink a page takes.

use image::RgbImage;
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

/// The mean of each ink over a picture.
pub(super) fn coverage(picture: &RgbImage) -> [f64; 4] {
    let mut sum = [0.0; 4];
    for pixel in picture.pixels() {
        for (sum, ink) in sum.iter_mut().zip(inks(pixel.0)) {
            *sum += ink;
        }
    }
    let count = (f64::from(picture.width()) * f64::from(picture.height())).max(1.0);
    sum.map(|s| s / count)
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
