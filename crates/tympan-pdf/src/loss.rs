//! How much of a page a correction pushes off the sheet or to where the printer cannot print.
//!
//! Measured on a coarse picture of the page. Only a page that is quickly drawn is measured: the
//! answer is a courtesy, the correction must not wait for it.

use std::sync::mpsc;
use std::time::{Duration, Instant};

use image::GrayImage;
use qpdf::{QPdf, QPdfDictionary};
use tympan_sheet::{Affine, Page, Point, Rect, Size};

use crate::raster::{Pages, View};
use crate::weight::{self, Room};

/// Pixels per mm of the picture: about 50 dpi.
const SCALE: f64 = 2.0;

/// Darker than this is ink; renderers leave a breath of grey on bare paper.
const INK_BELOW: u8 = 250;

/// What a page that is measured may ask of a renderer.
const ROOM: Room = Room {
    stream_bytes: 8 << 20,
    unpacked: 96 << 20,
    drawn: 12 << 20,
    surely: true,
};

/// The most bytes of streams that all pages measured may refer to together.
const MAX_ALL_BYTES: u64 = 48 << 20;

/// What to measure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measure {
    /// Where the printer cannot print: from the top, right, bottom and left edge of the output
    /// page as seen, mm.
    pub margins: [f64; 4],
    /// How long it may take for all pages together. Pages that do not fit are not measured.
    pub time: Duration,
}

impl Default for Measure {
    /// Margins of 4.2 mm, as many printers have (common practice), and two seconds.
    fn default() -> Self {
        Self {
            margins: [4.2; 4],
            time: Duration::from_secs(2),
        }
    }
}

/// What a page loses by its correction: ink that would have been printed before.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Lost {
    /// Ink that leaves the sheet, mm².
    pub off_sheet_mm2: f64,
    /// Ink that stays on the sheet but comes where the printer cannot print, mm².
    pub in_margin_mm2: f64,
    /// How far ink that is lost lies beyond the printable area, at the top, right, bottom and
    /// left, mm; half a millimetre more or less.
    pub beyond_mm: [f64; 4],
}

/// Measures pages of one file until time or patience runs out.
pub(crate) struct Meter {
    measure: Measure,
    until: Instant,
    bytes_left: u64,
}

/// One question to a [`Meter`].
#[derive(Clone, Copy)]
pub(crate) struct Question {
    pub(crate) map: Affine<Page>,
    pub(crate) from: Size,
    pub(crate) to: Size,
    /// Whether the output page is the source's own sheet; then only what was printable before can
    /// be lost.
    pub(crate) same_sheet: bool,
}

impl Meter {
    pub(crate) fn new(measure: Measure) -> Self {
        Self {
            measure,
            until: Instant::now() + measure.time,
            bytes_left: MAX_ALL_BYTES,
        }
    }

    /// What a page loses; `None` where it was not measured.
    pub(crate) fn lost(&mut self, page: &QPdfDictionary, question: &Question) -> Option<Lost> {
        let left = self.until.checked_duration_since(Instant::now())?;
        let bytes = weight::of_page(page, &ROOM)?;
        self.bytes_left = self.bytes_left.checked_sub(bytes)?;
        let alone = QPdf::empty();
        alone.add_page(page, false).ok()?;
        let file = alone.writer().write_to_memory().ok()?;
        let picture = draw(file, left)?;
        Some(measured(&picture, question, &self.measure.margins))
    }
}

/// A picture of the only page of `file`, if it comes in time. Drawing cannot be interrupted; a
/// page that takes too long is drawn to its end by a thread that nobody listens to any more.
fn draw(file: Vec<u8>, patience: Duration) -> Option<GrayImage> {
    let (answer, wait) = mpsc::channel();
    std::thread::spawn(move || {
        let view = View {
            max_pixels: 4_000_000,
            ..View::whole(SCALE)
        };
        let picture = Pages::open(file, None).and_then(|pages| pages.grey(0, &view));
        // The listener may have gone.
        let _ = answer.send(picture.ok());
    });
    wait.recv_timeout(patience).ok()?
}

fn measured(picture: &GrayImage, question: &Question, margins: &[f64; 4]) -> Lost {
    let [top, right, bottom, left] = *margins;
    let printable = |size: Size| Rect::<Page> {
        min: Point::new(left, top),
        max: Point::new(size.w - right, size.h - bottom),
    };
    let sheet = Rect::<Page>::whole(question.to);
    let (before, after) = (printable(question.from), printable(question.to));
    let pixel = 1.0 / (SCALE * SCALE);
    let mut lost = Lost::default();
    for (x, y, _) in picture
        .enumerate_pixels()
        .filter(|(.., p)| p.0[0] < INK_BELOW)
    {
        let at = Point::new((f64::from(x) + 0.5) / SCALE, (f64::from(y) + 0.5) / SCALE);
        let goes = question.map.apply(at);
        if after.contains(goes) || (question.same_sheet && !before.contains(at)) {
            continue;
        }
        if sheet.contains(goes) {
            lost.in_margin_mm2 += pixel;
        } else {
            lost.off_sheet_mm2 += pixel;
        }
        let beyond = [
            after.min.y - goes.y,
            goes.x - after.max.x,
            goes.y - after.max.y,
            after.min.x - goes.x,
        ];
        for (most, here) in lost.beyond_mm.iter_mut().zip(beyond) {
            *most = most.max(here);
        }
    }
    lost
}

#[cfg(test)]
mod tests {
    use super::*;
    use tympan_sheet::Vector;

    const SHEET: Size = Size::new(100.0, 50.0);

    /// A sheet of 100 × 50 mm with ink in this rectangle.
    fn inked(x0: f64, y0: f64, x1: f64, y1: f64) -> GrayImage {
        GrayImage::from_fn(200, 100, |x, y| {
            let (x, y) = (f64::from(x) / SCALE, f64::from(y) / SCALE);
            let inside = (x0..x1).contains(&x) && (y0..y1).contains(&y);
            image::Luma([if inside { 0 } else { 255 }])
        })
    }

    fn moved(picture: &GrayImage, dx: f64, dy: f64) -> Lost {
        let question = Question {
            map: Affine::shift(Vector::new(dx, dy)),
            from: SHEET,
            to: SHEET,
            same_sheet: true,
        };
        measured(picture, &question, &[5.0, 3.0, 4.0, 2.0])
    }

    #[test]
    fn nothing_is_lost_where_the_margin_is_wide_enough() {
        assert_eq!(
            moved(&inked(10.0, 10.0, 90.0, 40.0), 2.0, 2.0),
            Lost::default()
        );
    }

    #[test]
    fn ink_pushed_into_the_margin_is_counted_at_its_edge() {
        // From 10 to 20 mm down, 8 mm up: the upper 3 of its 10 mm come above the 5 mm margin.
        let lost = moved(&inked(20.0, 10.0, 40.0, 20.0), 0.0, -8.0);
        assert_eq!((lost.in_margin_mm2, lost.off_sheet_mm2), (60.0, 0.0));
        assert_eq!(lost.beyond_mm, [2.75, 0.0, 0.0, 0.0]);
    }

    #[test]
    fn ink_pushed_off_the_sheet_is_told_apart() {
        // Its right 2 mm leave the sheet, 3 mm more come into the right margin.
        let lost = moved(&inked(80.0, 10.0, 90.0, 20.0), 12.0, 0.0);
        assert_eq!((lost.in_margin_mm2, lost.off_sheet_mm2), (30.0, 20.0));
        assert_eq!(lost.beyond_mm, [0.0, 4.75, 0.0, 0.0]);
    }

    #[test]
    fn what_could_not_be_printed_before_is_not_lost_now() {
        // A background that fills the sheet: only what was inside the margins counts.
        let lost = moved(&inked(0.0, 0.0, 100.0, 50.0), 1.0, 0.0);
        assert_eq!(lost.off_sheet_mm2, 0.0);
        assert_eq!(
            lost.in_margin_mm2, 41.0,
            "1 mm of the 41 mm between top and bottom margin"
        );
    }
}
