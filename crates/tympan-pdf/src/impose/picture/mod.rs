//! Pictures as they lie on the disk: what their heads say, and how their bytes become those of an
//! image in a PDF (ISO 32000-1, 8.9.5).
//!
//! JPEG data pass through as they are (`DCTDecode`), and so do PNG data where PDF's predictors carry
//! them. All else is decoded and packed again without loss.

mod decode;
mod exif;
mod icc;
mod jpeg;
mod png;

use std::fs::File;
use std::io::{self, BufReader, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};

use tympan_sheet::Size;

pub(crate) use icc::Profile;

use crate::space::Matrix;

/// The most pixels that a picture may have: a sheet of A3 at 1200 dots per inch has 278 million.
const MAX_PIXELS: u64 = 300_000_000;

/// The most bytes that a picture which must be decoded may take in memory.
const MAX_DECODED: u64 = 512 << 20;

/// How much of a picture is in memory at a time while its bytes pass through.
const BLOCK: usize = 1 << 20;

/// What a picture without a stated resolution is taken to have, dots per inch.
const ASSUMED_DPI: f64 = 300.0;

/// Why a picture cannot be used.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum PictureFault {
    /// It is no picture of a kind that is known.
    #[error("it is neither PDF, PNG, JPEG, WebP, TIFF nor SVG")]
    UnknownKind,
    /// It is of a known kind, but uses something of it that cannot be printed from.
    #[error("it uses {0}, which is not supported")]
    Unsupported(&'static str),
    /// It cannot be made sense of.
    #[error("it is damaged: {0}")]
    Damaged(String),
    /// It has more pixels than any print needs.
    #[error("it has {w} × {h} pixels, which is far too large")]
    TooLarge {
        /// Pixels across.
        w: u32,
        /// Pixels from top to bottom.
        h: u32,
    },
    /// It changed between being looked at and being used.
    #[error("it changed while it was being used")]
    Changed,
}

impl PictureFault {
    /// What to do about it.
    pub fn hint(&self) -> &'static str {
        match self {
            Self::UnknownKind => "save it as PNG, JPEG, WebP, TIFF, SVG or PDF",
            Self::Unsupported(_) => "open it in a picture editor and save it as PNG",
            Self::Damaged(_) => "export it again, or open it in a picture editor and save a copy",
            Self::TooLarge { .. } => {
                "make it smaller: 300 to 600 pixels per inch of print are enough"
            }
            Self::Changed => "try again when nothing else writes to it",
        }
    }
}

/// What went wrong while a picture was being read.
#[derive(Debug, thiserror::Error)]
pub(crate) enum ReadError {
    #[error(transparent)]
    Io(#[from] io::Error),
    #[error(transparent)]
    Fault(#[from] PictureFault),
}

impl ReadError {
    /// An end of file where more should be is the picture's fault, not the disk's.
    fn or_cut_off(self) -> Self {
        match self {
            Self::Io(e) if e.kind() == io::ErrorKind::UnexpectedEof => {
                damaged("it stops before its end").into()
            }
            other => other,
        }
    }
}

fn damaged(what: impl Into<String>) -> PictureFault {
    PictureFault::Damaged(what.into())
}

/// A picture whose head has been read.
#[derive(Debug)]
pub(crate) struct Picture {
    pub(crate) file: PathBuf,
    /// Pixels across and from top to bottom, as they are stored.
    stored: [u32; 2],
    /// How the stored picture is turned to be seen (the values of Exif's tag 274, 1 to 8).
    orientation: u8,
    /// Pixels per mm along the stored rows and columns, where the file states them.
    resolution: Option<[f64; 2]>,
    /// How its bytes become an image's; `None` where they must be decoded for that.
    direct: Option<Image>,
}

/// An image of a PDF: its dictionary in parts, and where its data are.
#[derive(Clone, Debug)]
pub(crate) struct Image {
    pub(crate) size: [u32; 2],
    pub(crate) bits: u8,
    pub(crate) colours: Colours,
    pub(crate) profile: Option<Profile>,
    /// The filter's name and parameters, as PDF writes them.
    pub(crate) filter: &'static str,
    pub(crate) parms: Option<String>,
    /// Whether 0 means full ink in a `DeviceCMYK` picture.
    pub(crate) inverted: bool,
    /// The colour that is not painted, one value per channel.
    pub(crate) key: Option<Vec<u16>>,
    pub(crate) data: Data,
    /// The picture's opacity.
    pub(crate) alpha: Option<Box<Image>>,
}

/// What an image's samples mean.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Colours {
    Grey,
    Rgb,
    Cmyk,
    /// Places in a palette of RGB triples.
    Palette(Vec<u8>),
}

impl Colours {
    pub(crate) fn channels(&self) -> u8 {
        match self {
            Self::Grey | Self::Palette(_) => 1,
            Self::Rgb => 3,
            Self::Cmyk => 4,
        }
    }
}

/// Where the bytes of an image's stream are.
#[derive(Clone, Debug)]
pub(crate) enum Data {
    /// In these parts of a file: where each begins, and how long it is.
    Spans(PathBuf, Vec<(u64, u64)>),
    /// In memory.
    Bytes(Vec<u8>),
}

impl Data {
    pub(crate) fn len(&self) -> u64 {
        match self {
            Self::Spans(_, spans) => spans.iter().map(|s| s.1).sum(),
            Self::Bytes(bytes) => bytes.len() as u64,
        }
    }

    /// Hands out all bytes, piece by piece.
    pub(crate) fn read(&self, take: &mut dyn FnMut(&[u8])) -> Result<(), ReadError> {
        let mut reader = self.reader()?;
        let mut block = vec![0; BLOCK];
        let mut left = self.len();
        while left > 0 {
            let n = reader.read(&mut block)?;
            if n == 0 {
                return Err(PictureFault::Changed.into());
            }
            take(&block[..n]);
            left -= n as u64;
        }
        Ok(())
    }

    /// Whether two pictures have the same bytes. Looks no further than the first that differs.
    pub(crate) fn is_same(&self, other: &Self) -> Result<bool, ReadError> {
        if self.len() != other.len() {
            return Ok(false);
        }
        let mut both = [self.reader()?, other.reader()?];
        let mut blocks = [vec![0; 16 << 10], vec![0; 16 << 10]];
        let mut left = self.len();
        while left > 0 {
            let room = left.min(16 << 10) as usize;
            for (reader, block) in both.iter_mut().zip(&mut blocks) {
                reader.read_exact(&mut block[..room])?;
            }
            if blocks[0][..room] != blocks[1][..room] {
                return Ok(false);
            }
            left -= room as u64;
        }
        Ok(true)
    }

    fn reader(&self) -> io::Result<Box<dyn Read + '_>> {
        Ok(match self {
            Self::Bytes(bytes) => Box::new(bytes.as_slice()),
            Self::Spans(file, spans) => Box::new(SpanReader {
                file: File::open(file)?,
                spans,
                done: 0,
            }),
        })
    }
}

/// Parts of a file, one behind the other.
struct SpanReader<'a> {
    file: File,
    /// The part being read, and those behind it.
    spans: &'a [(u64, u64)],
    /// How much of it has been read.
    done: u64,
}

impl Read for SpanReader<'_> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        loop {
            let Some(&(at, length)) = self.spans.first() else {
                return Ok(0);
            };
            let left = length - self.done;
            if left == 0 {
                self.spans = &self.spans[1..];
                self.done = 0;
                continue;
            }
            if self.done == 0 {
                self.file.seek(SeekFrom::Start(at))?;
            }
            let room = left.min(into.len() as u64) as usize;
            let n = self.file.read(&mut into[..room])?;
            self.done += n as u64;
            return Ok(n);
        }
    }
}

/// The kinds of files that art comes in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Kind {
    Pdf,
    Jpeg,
    Png,
    WebP,
    Tiff,
    Svg,
}

/// What a file is, told from its first bytes and not from its name.
pub(crate) fn kind(file: &Path) -> io::Result<Option<Kind>> {
    let mut head = Vec::new();
    File::open(file)?.take(4096).read_to_end(&mut head)?;
    Ok(kind_of(&head))
}

fn kind_of(head: &[u8]) -> Option<Kind> {
    let has = |word: &[u8]| memchr::memmem::find(head, word).is_some();
    if head.starts_with(b"\xff\xd8\xff") {
        Some(Kind::Jpeg)
    } else if head.starts_with(b"\x89PNG\r\n\x1a\n") {
        Some(Kind::Png)
    } else if head.starts_with(b"RIFF") && head.get(8..12) == Some(b"WEBP") {
        Some(Kind::WebP)
    } else if head.starts_with(b"II*\0") || head.starts_with(b"MM\0*") {
        Some(Kind::Tiff)
    } else if has(b"%PDF-") {
        Some(Kind::Pdf)
    } else if has(b"<svg") || (has(b"<?xml") && has(b":svg")) {
        Some(Kind::Svg)
    } else {
        None
    }
}

impl Picture {
    /// Reads the head of a picture.
    pub(crate) fn open(file: &Path, kind: Kind) -> Result<Self, ReadError> {
        let mut reader = BufReader::new(File::open(file)?);
        let length = reader.seek(SeekFrom::End(0))?;
        reader.rewind()?;
        let picture = match kind {
            Kind::Jpeg => jpeg::open(file, &mut reader, length),
            Kind::Png => png::open(file, &mut reader),
            _ => decode::open(file, reader),
        };
        let picture = picture.map_err(ReadError::or_cut_off)?;
        let [w, h] = picture.stored;
        if w == 0 || h == 0 {
            return Err(damaged("it has no pixels").into());
        }
        if u64::from(w) * u64::from(h) > MAX_PIXELS {
            return Err(PictureFault::TooLarge { w, h }.into());
        }
        Ok(picture)
    }

    /// The image that it becomes, decoded only where that must be.
    pub(crate) fn image(&self) -> Result<Image, ReadError> {
        match &self.direct {
            Some(image) => Ok(image.clone()),
            None => decode::image(&self.file).map_err(ReadError::or_cut_off),
        }
    }

    /// Its colours as they are stored, for looking at.
    pub(crate) fn rgb(&self) -> Result<image::RgbImage, ReadError> {
        decode::rgb(&self.file)
    }

    /// Whether its rows are its columns when it is seen.
    fn lies_on_its_side(&self) -> bool {
        self.orientation > 4
    }

    /// Pixels across and from top to bottom, as seen.
    pub(crate) fn pixels(&self) -> [u32; 2] {
        let [w, h] = self.stored;
        if self.lies_on_its_side() {
            [h, w]
        } else {
            [w, h]
        }
    }

    /// Whether the file says how large it is.
    pub(crate) fn states_its_size(&self) -> bool {
        self.resolution.is_some()
    }

    /// How large it is at the resolution that it states, else at 300 dots per inch, mm as seen.
    pub(crate) fn size(&self) -> Size {
        let [x, y] = self.resolution.unwrap_or([ASSUMED_DPI / 25.4; 2]);
        let [w, h] = self.stored.map(f64::from);
        let stored = Size::new(w / x, h / y);
        if self.lies_on_its_side() {
            stored.turned()
        } else {
            stored
        }
    }

    /// From an image's own space, the unit square with y up, to the picture as seen, mm.
    pub(crate) fn to_seen(&self) -> Matrix {
        let Size { w, h } = self.size();
        // Where the top left corner of the stored picture, its first row's end and its first
        // column's end come to lie (Exif 2.3, 4.6.4, tag 274), in parts of the picture as seen.
        let (origin, across, down) = match self.orientation {
            2 => ((1.0, 0.0), (-1.0, 0.0), (0.0, 1.0)),
            3 => ((1.0, 1.0), (-1.0, 0.0), (0.0, -1.0)),
            4 => ((0.0, 1.0), (1.0, 0.0), (0.0, -1.0)),
            5 => ((0.0, 0.0), (0.0, 1.0), (1.0, 0.0)),
            6 => ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0)),
            7 => ((1.0, 1.0), (0.0, -1.0), (-1.0, 0.0)),
            8 => ((0.0, 1.0), (0.0, -1.0), (1.0, 0.0)),
            _ => ((0.0, 0.0), (1.0, 0.0), (0.0, 1.0)),
        };
        // In the image's space y runs up, so that its origin is the stored picture's bottom left.
        Matrix::new(
            across.0 * w,
            across.1 * h,
            -down.0 * w,
            -down.1 * h,
            (origin.0 + down.0) * w,
            (origin.1 + down.1) * h,
        )
    }
}

/// A resolution that a print could have, pixels per mm.
fn sane_resolution(x: f64, y: f64) -> Option<[f64; 2]> {
    let sane = |r: f64| r.is_finite() && (0.4..2000.0).contains(&r);
    (sane(x) && sane(y)).then_some([x, y])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_orientation_puts_the_first_stored_pixel_where_exif_says() {
        // Exif 2.3, tag 274: where the 0th row and the 0th column are in the picture as seen.
        let corner = |orientation: u8| {
            let picture = Picture {
                file: PathBuf::new(),
                stored: [200, 100],
                orientation,
                resolution: Some([10.0, 10.0]),
                direct: None,
            };
            let m = picture.to_seen();
            // The first pixel lies at the top left of the unit square.
            let first = m.apply((0.0, 1.0));
            let along_the_row = m.apply((1.0, 1.0));
            let whole = |(x, y): (f64, f64)| (x.round() as i32, y.round() as i32);
            (whole(first), whole(along_the_row))
        };
        assert_eq!(corner(1), ((0, 0), (20, 0)), "top, left");
        assert_eq!(corner(2), ((20, 0), (0, 0)), "top, right");
        assert_eq!(corner(3), ((20, 10), (0, 10)), "bottom, right");
        assert_eq!(corner(4), ((0, 10), (20, 10)), "bottom, left");
        assert_eq!(corner(5), ((0, 0), (0, 20)), "left, top");
        assert_eq!(corner(6), ((10, 0), (10, 20)), "right, top");
        assert_eq!(corner(7), ((10, 20), (10, 0)), "right, bottom");
        assert_eq!(corner(8), ((0, 20), (0, 0)), "left, bottom");
    }

    #[test]
    fn files_are_told_apart_by_their_first_bytes() {
        assert_eq!(kind_of(b"\xff\xd8\xff\xe0"), Some(Kind::Jpeg));
        assert_eq!(kind_of(b"junk\n%PDF-1.4"), Some(Kind::Pdf));
        assert_eq!(
            kind_of(b"<?xml version='1.0'?><svg:svg xmlns:svg='x'>"),
            Some(Kind::Svg)
        );
        assert_eq!(kind_of(b"GIF89a"), None);
        assert_eq!(kind_of(b""), None);
    }
}
