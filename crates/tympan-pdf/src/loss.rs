//! How much of a page a correction pushes off the sheet or to where the printer cannot print.
//!
//! Measured on a coarse picture of the page. Only a page that is quickly drawn is measured: the
//! answer is a courtesy, the correction must not wait for it.

use std::collections::HashSet;
use std::sync::mpsc;
use std::time::{Duration, Instant};

use image::GrayImage;
use qpdf::{
    QPdf, QPdfDictionary, QPdfObject, QPdfObjectLike, QPdfObjectType, QPdfStream, StreamDecodeLevel,
};
use tympan_sheet::{Affine, Page, Point, Rect, Size};

use crate::dig::{self, Id};
use crate::inflate;
use crate::raster::{Pages, View};

/// Pixels per mm of the picture: about 50 dpi.
const SCALE: f64 = 2.0;

/// Darker than this is ink; renderers leave a breath of grey on bare paper.
const INK_BELOW: u8 = 250;

/// The most bytes of streams that a page measured may refer to, and all of them together.
const MAX_PAGE_BYTES: u64 = 8 << 20;
const MAX_ALL_BYTES: u64 = 48 << 20;

/// The most bytes that the streams of a page may unpack to.
const MAX_UNPACKED: usize = 96 << 20;

/// The most bytes that a stream other than a picture may unpack to: a renderer keeps several times
/// as much in memory for what is drawn piece by piece.
const MAX_DRAWN: usize = 12 << 20;

/// The most objects looked at to find out how much a page refers to.
const MAX_OBJECTS: usize = 4000;

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
        let bytes = referred_bytes(page)?;
        self.bytes_left = self.bytes_left.checked_sub(bytes)?;
        let alone = QPdf::empty();
        alone.add_page(page, false).ok()?;
        let file = alone.writer().write_to_memory().ok()?;
        let picture = draw(file, left)?;
        Some(measured(&picture, question, &self.measure.margins))
    }
}

/// How many bytes of streams the page refers to; `None` beyond what is worth drawing.
fn referred_bytes(page: &QPdfDictionary) -> Option<u64> {
    let mut seen: HashSet<Id> = HashSet::new();
    let mut waiting: Vec<QPdfObject> = Vec::new();
    for key in ["/Contents", "/Annots"] {
        waiting.extend(page.get(key));
    }
    waiting.extend(dig::inherited(page, "/Resources"));
    let (mut bytes, mut objects, mut unpacked) = (0, 0, 0);
    while let Some(object) = waiting.pop() {
        objects += 1;
        if objects > MAX_OBJECTS {
            return None;
        }
        if object.is_indirect() && !seen.insert(dig::id(&object)) {
            continue;
        }
        let mut push_all = |entries: &QPdfDictionary| {
            // In an annotation some keys lead back to the page tree or on to other pages; in
            // resources the same words are names like any other.
            let leads_away = |key: &str| {
                entries.has("/Rect")
                    && ["/Parent", "/P", "/Dest", "/A", "/Popup", "/Kids"].contains(&key)
            };
            for key in entries.keys() {
                if !leads_away(&key) {
                    waiting.extend(entries.get(&key));
                }
            }
        };
        match object.get_type() {
            QPdfObjectType::Array => {
                let array: qpdf::QPdfArray = object.into();
                waiting.extend(array.iter());
            }
            QPdfObjectType::Dictionary => push_all(&object.into()),
            QPdfObjectType::Stream => {
                let stream = QPdfStream::from(object);
                let about = stream.get_dictionary();
                bytes += dig::integer(&about, "/Length").map_or(0, |n| n.max(0) as u64);
                if bytes > MAX_PAGE_BYTES {
                    return None;
                }
                unpacked += unpacked_bytes(&stream, &about, MAX_UNPACKED - unpacked)?;
                push_all(&about);
            }
            _ => {}
        }
    }
    Some(bytes)
}

/// How many bytes a stream unpacks to; `None` beyond `room`, and for streams of which nobody can
/// tell before a reader has taken the memory for them.
fn unpacked_bytes(stream: &QPdfStream, about: &QPdfDictionary, room: usize) -> Option<usize> {
    let side = |key| dig::integer(about, key).map_or(0, |n| n.max(0) as usize);
    let picture = side("/Width")
        .checked_mul(side("/Height"))?
        .checked_mul(4)?;
    if picture > room || oddly_predicted(about) {
        return None;
    }
    let room = room.min(picture.max(MAX_DRAWN));
    let data = stream.get_data(StreamDecodeLevel::None).ok()?;
    let unpacked = match inflate::filters(about).as_slice() {
        [] => data.len(),
        [one] if inflate::is_flate(one) => {
            inflate::inflate(&data, room, &mut std::io::sink()).ok()?
        }
        [one] if matches!(one.as_str(), "/DCTDecode" | "/DCT") => {
            let reader = image::ImageReader::with_format(
                std::io::Cursor::new(&*data),
                image::ImageFormat::Jpeg,
            );
            let (width, height) = reader.into_dimensions().ok()?;
            4 * width as usize * height as usize
        }
        _ => return None,
    };
    let most = unpacked.max(picture);
    (most <= room).then_some(most)
}

/// Whether the stream's rows are said to be wider than any honest picture's.
fn oddly_predicted(about: &QPdfDictionary) -> bool {
    let odd = |parms: &QPdfDictionary| {
        [
            ("/Columns", 100_000),
            ("/Colors", 32),
            ("/BitsPerComponent", 16),
        ]
        .iter()
        .any(|(key, most)| {
            parms.get(key).is_some()
                && !dig::integer(parms, key).is_some_and(|n| (1..=*most).contains(&n))
        })
    };
    match about.get("/DecodeParms") {
        None => false,
        Some(parms) => match dig::as_dictionary(parms) {
            Some(parms) => odd(&parms),
            // A list of them, or something else.
            None => dig::array(about, "/DecodeParms").is_none_or(|list| {
                list.iter()
                    .any(|one| dig::as_dictionary(one).is_some_and(|one| odd(&one)))
            }),
        },
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
