//! Finding and reading the codes of a test sheet.

use rxing::common::HybridBinarizer;
use rxing::multi::MultipleBarcodeReader;
use rxing::multi::qrcode::QRCodeMultiReader;
use rxing::qrcode::QRCodeReader;
use rxing::{BinaryBitmap, DecodeHints, Luma8Source, RXingResult, Reader};
use tympan_sheet::{Map, Page, Point};

use super::luma::{Luma, Pixels};
use crate::code::{CodeError, MODULE_MM, MODULES, QUIET_MODULES, SheetCode};
use crate::geometry::Geometry;

/// Codes are looked for in pictures of at most about this many pixels along the longer side.
const LONG_SIDE: usize = 1900;

/// A code in a picture.
#[derive(Clone, Debug)]
pub(super) struct Found {
    /// What it says.
    pub(super) code: SheetCode,
    /// Centres of its finder patterns: top left, top right, bottom left of the symbol.
    pub(super) corners: [Point<Pixels>; 3],
}

impl Found {
    /// Where the finder patterns' centres lie as seen on the side.
    pub(super) fn places(&self, geometry: &Geometry) -> [Point<Page>; 3] {
        let quiet = QUIET_MODULES as f64;
        let corner = geometry.code_box(self.code.end).min;
        // Finder patterns are 7 modules wide (ISO/IEC 18004).
        let (near, far) = (quiet + 3.5, quiet + MODULES as f64 - 3.5);
        let place = |x: f64, y: f64| Point::new(corner.x + x * MODULE_MM, corner.y + y * MODULE_MM);
        [place(near, near), place(far, near), place(near, far)]
    }

    /// The affine map that this code alone gives.
    pub(super) fn pose(&self, geometry: &Geometry) -> Option<Map<Page, Pixels>> {
        let [o, x, y] = self.places(geometry);
        let [po, px, py] = self.corners;
        let (w, h) = (x.x - o.x, y.y - o.y);
        let (xx, yx) = ((px.x - po.x) / w, (px.y - po.y) / w);
        let (xy, yy) = ((py.x - po.x) / h, (py.y - po.y) / h);
        let linear: Map<Page, Pixels> = Map::new(xx, xy, yx, yy, 0.0, 0.0);
        let at = linear.apply(o);
        let pose = Map::new(xx, xy, yx, yy, po.x - at.x, po.y - at.y);
        (linear.determinant().abs() > 1e-6).then_some(pose)
    }
}

/// What was found in looking for codes.
#[derive(Clone, Debug, Default)]
pub(super) struct Codes {
    /// Codes of test sheets.
    pub(super) found: Vec<Found>,
    /// A code of another version of the test sheet was seen.
    pub(super) other_version: bool,
}

/// Looks for codes: first all of them in a reduced picture, then one at other sizes.
pub(super) fn find(luma: &Luma) -> Codes {
    let longer = luma.width().max(luma.height());
    let first = longer.div_ceil(LONG_SIDE).max(1);
    let mut codes = Codes::default();
    let mut sizes = vec![first];
    for other in [first.div_ceil(2), first * 2, 1] {
        if !sizes.contains(&other) && longer / other >= 400 && longer / other <= 6000 {
            sizes.push(other);
        }
    }
    for factor in sizes {
        let small = luma.reduced(factor);
        for result in read_all(&small) {
            let Some(corners) = corners(&result, factor) else {
                continue;
            };
            match result.getText().parse::<SheetCode>() {
                Ok(code) => {
                    let known = codes.found.iter().any(|f| {
                        f.code == code
                            && (f.corners[0] - corners[0]).length() < 20.0 * factor as f64
                    });
                    if !known {
                        codes.found.push(Found { code, corners });
                    }
                }
                Err(CodeError::Version) => codes.other_version = true,
                Err(CodeError::Foreign | CodeError::Garbled) => {}
            }
        }
        if !codes.found.is_empty() {
            break;
        }
    }
    codes
}

fn read_all(luma: &Luma) -> Vec<RXingResult> {
    let (width, height) = (luma.width() as u32, luma.height() as u32);
    let Ok(source) = Luma8Source::new_with_slice(luma.data(), width, height) else {
        return Vec::new();
    };
    let mut image = BinaryBitmap::new(HybridBinarizer::new(source));
    let hints = DecodeHints {
        TryHarder: Some(true),
        ..DecodeHints::default()
    };
    let several = QRCodeMultiReader::new().decode_multiple_with_hints(&mut image, &hints);
    match several {
        Ok(results) if !results.is_empty() => results,
        _ => QRCodeReader::new()
            .decode_with_hints(&mut image, &hints)
            .into_iter()
            .collect(),
    }
}

/// The finder patterns of a result, in pixels of the whole picture: top left, top right, bottom
/// left. The decoder lists bottom left first, then top left, then top right, also for mirrored
/// symbols.
fn corners(result: &RXingResult, factor: usize) -> Option<[Point<Pixels>; 3]> {
    let points = result.getPoints();
    let at = |k: usize| {
        let p = points.get(k)?;
        let (x, y) = (f64::from(p.x), f64::from(p.y));
        let scale = factor as f64;
        (x.is_finite() && y.is_finite()).then(|| Point::new(x * scale, y * scale))
    };
    Some([at(1)?, at(2)?, at(0)?])
}
