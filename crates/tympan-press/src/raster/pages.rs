//! Drawing a pass, page by page and band by band.

use std::io::{self, Read};
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::thread;

use tympan_pdf::raster::{Bands, Pages, RasterError};
use tympan_pdf::{CorrectJob, PageOut, Source};
use tympan_sheet::Size;

use super::header::Header;
use super::lines::Packer;
use super::{ColourSpace, SYNC_WORD, SheetBack};
use crate::ipp::{Quality, Sides};

/// The most pixels that are drawn at a time: drawing takes some ten bytes for each.
const BAND_PIXELS: u32 = 6_000_000;

/// Packed bytes that are handed on together.
const CHUNK: usize = 1 << 18;

/// Files over this, bytes, are drawn part by part.
const LARGE: u64 = 48 << 20;

/// Pages in a part.
const PART_PAGES: usize = 10;

/// What is drawn.
#[derive(Clone, Debug)]
pub struct Pass {
    /// The pages of the file, counted from 0.
    pub pages: Range<usize>,
    /// The sheet, mm: across and along the feed.
    pub size: Size,
    /// One side of each sheet, or both.
    pub sides: Sides,
    /// Dots per inch.
    pub dpi: u32,
    /// How a dot is coded.
    pub space: ColourSpace,
    /// How the printer wants the backs.
    pub sheet_back: SheetBack,
    /// How well.
    pub quality: Option<Quality>,
    /// The type of media.
    pub kind: Option<String>,
}

/// How far drawing is.
#[derive(Clone, Debug, Default)]
pub struct Drawn {
    pages: Arc<AtomicUsize>,
}

impl Drawn {
    /// Pages that have been drawn whole.
    pub fn pages(&self) -> usize {
        self.pages.load(Ordering::Relaxed)
    }
}

/// Why a pass could not be drawn.
#[derive(Debug, thiserror::Error)]
pub enum RasterFault {
    /// A page cannot be drawn.
    #[error(transparent)]
    Page(#[from] RasterError),
    /// Some of the pages cannot be taken out of a large file.
    #[error("{0}")]
    Part(String),
    /// Nobody wants the rest.
    #[error("the drawing was broken off")]
    BrokenOff,
}

/// Draws a pass; what is ready goes to `out`, which says whether to go on.
///
/// # Errors
/// [`RasterFault`].
pub fn draw(
    source: &Pages,
    pass: &Pass,
    drawn: &Drawn,
    out: &mut dyn FnMut(Vec<u8>) -> bool,
) -> Result<(), RasterFault> {
    begin(out)?;
    for (at, page) in pass.pages.clone().enumerate() {
        draw_page(source, page, at, pass, out)?;
        drawn.pages.fetch_add(1, Ordering::Relaxed);
    }
    Ok(())
}

/// Draws a pass of a large file, so many pages at a time as a file of their own: drawing needs the
/// whole of a file in memory.
fn draw_in_parts(
    file: &Path,
    password: Option<&str>,
    pass: &Pass,
    drawn: &Drawn,
    out: &mut dyn FnMut(Vec<u8>) -> bool,
) -> Result<(), RasterFault> {
    let folder = tempfile::tempdir().map_err(|e| RasterFault::Part(e.to_string()))?;
    begin(out)?;
    let count = pass.pages.len();
    for start in (0..count).step_by(PART_PAGES) {
        let part = start..(start + PART_PAGES).min(count);
        let job = CorrectJob {
            sources: vec![Source {
                file: file.to_owned(),
                password: password.map(str::to_owned),
            }],
            output: folder.path().join(format!("{start}.pdf")),
            pages: part
                .clone()
                .map(|at| PageOut::untouched(0, pass.pages.start + at + 1))
                .collect(),
            ..CorrectJob::default()
        };
        tympan_pdf::correct(&job, &mut |_| {}, &AtomicBool::new(false))
            .map_err(|e| RasterFault::Part(e.to_string()))?;
        let source = Pages::read(&job.output, password)?;
        // Nothing depends on it: the folder goes in the end.
        let _ = std::fs::remove_file(&job.output);
        for (page, at) in part.enumerate() {
            draw_page(&source, page, at, pass, out)?;
            drawn.pages.fetch_add(1, Ordering::Relaxed);
        }
    }
    Ok(())
}

fn begin(out: &mut dyn FnMut(Vec<u8>) -> bool) -> Result<(), RasterFault> {
    match out(SYNC_WORD.to_vec()) {
        true => Ok(()),
        false => Err(RasterFault::BrokenOff),
    }
}

/// Draws the page of a source that is the `at`th of the pass.
fn draw_page(
    source: &Pages,
    page: usize,
    at: usize,
    pass: &Pass,
    out: &mut dyn FnMut(Vec<u8>) -> bool,
) -> Result<(), RasterFault> {
    let px_per_mm = f64::from(pass.dpi) / 25.4;
    // What is left of a dot at the sheet's edge is no dot.
    let dots = |mm: f64| (mm * px_per_mm + 1e-6).floor() as u32;
    let (width, height) = (dots(pass.size.w), dots(pass.size.h));
    let is_back = pass.sides != Sides::OneSided && at % 2 == 1;
    let mirrors = match is_back {
        true => pass
            .sheet_back
            .mirrors(pass.sides == Sides::TwoSidedLongEdge),
        false => (false, false),
    };
    let header = Header {
        size: pass.size,
        dpi: pass.dpi,
        space: pass.space,
        width,
        height,
        pages: pass.pages.len() as u32,
        sides: pass.sides,
        mirrors,
        quality: match pass.quality {
            None => 0,
            Some(Quality::Draft) => 3,
            Some(Quality::Normal) => 4,
            Some(Quality::High) => 5,
        },
        kind: pass.kind.as_deref(),
    };
    let mut ready = header.bytes();
    let page_size = source.size(page)?;
    let lies_across = (page_size.w > page_size.h) != (pass.size.w > pass.size.h);
    let bands = Bands {
        px_per_mm,
        width,
        height,
        rows: (BAND_PIXELS / width.max(1)).clamp(1, height.max(1)),
        is_turned: lies_across && !page_size.is_close(pass.size, 1.0),
        from_foot: mirrors.1,
    };
    let unit = if pass.space == ColourSpace::Colour {
        3
    } else {
        1
    };
    let mut packer = Packer::new(unit);
    let mut line = Vec::with_capacity(header.bytes_per_line());
    let mut row = if mirrors.1 { height } else { 0 };
    let is_whole = source.bands(page, &bands, &mut |rgb| {
        let rows = rgb.chunks_exact(3 * width as usize);
        let mut take = |rgb: &[u8], row: u32, ready: &mut Vec<u8>| {
            code(rgb, pass.space, row, mirrors.0, &mut line);
            packer.line(&line, ready);
        };
        if mirrors.1 {
            for rgb in rows.rev() {
                row -= 1;
                take(rgb, row, &mut ready);
            }
        } else {
            for rgb in rows {
                take(rgb, row, &mut ready);
                row += 1;
            }
        }
        ready.len() < CHUNK || out(std::mem::take(&mut ready))
    })?;
    packer.finish(&mut ready);
    match is_whole && out(ready) {
        true => Ok(()),
        false => Err(RasterFault::BrokenOff),
    }
}

/// A matrix of thresholds for one bit (Bayer, 8 × 8): recursive, so every prefix of it is spread
/// evenly.
const fn threshold(x: u32, y: u32) -> u8 {
    let (mut value, mut bit) = (0, 0);
    let (mix, mut at) = (x ^ y, 3);
    while at > 0 {
        at -= 1;
        value |= ((y >> at) & 1) << bit;
        value |= ((mix >> at) & 1) << (bit + 1);
        bit += 2;
    }
    (value * 4 + 2) as u8
}

/// Codes a row of pixels as dots.
fn code(rgb: &[u8], space: ColourSpace, row: u32, mirrored: bool, line: &mut Vec<u8>) {
    line.clear();
    let pixels = rgb.as_chunks::<3>().0;
    let each = |emit: &mut dyn FnMut(&[u8; 3], u32)| {
        let numbered = pixels.iter().enumerate();
        if mirrored {
            for (x, pixel) in numbered.rev() {
                emit(pixel, x as u32);
            }
        } else {
            for (x, pixel) in numbered {
                emit(pixel, x as u32);
            }
        }
    };
    match space {
        ColourSpace::Colour if !mirrored => line.extend_from_slice(rgb),
        ColourSpace::Colour => each(&mut |pixel, _| line.extend_from_slice(pixel)),
        ColourSpace::Grey => each(&mut |pixel, _| line.push(grey(pixel))),
        ColourSpace::Black => {
            let (mut byte, mut bits) = (0_u8, 0);
            each(&mut |pixel, x| {
                let is_black = grey(pixel) < threshold(x, row);
                byte = byte << 1 | u8::from(is_black);
                bits += 1;
                if bits == 8 {
                    line.push(byte);
                    (byte, bits) = (0, 0);
                }
            });
            if bits > 0 {
                line.push(byte << (8 - bits));
            }
        }
    }
}

/// The luma of ITU-R BT.709.
fn grey(pixel: &[u8; 3]) -> u8 {
    let [r, g, b] = pixel.map(u32::from);
    ((2126 * r + 7152 * g + 722 * b + 5000) / 10_000) as u8
}

/// A pass being drawn in a thread of its own, to be read as it becomes ready. A fault in drawing
/// is a fault in reading, so that half a pass never looks like a whole one.
pub fn stream(
    file: PathBuf,
    password: Option<String>,
    pass: Pass,
    drawn: Drawn,
    cancel: Arc<AtomicBool>,
) -> impl Read + Send {
    let (sender, receiver) = sync_channel(4);
    let thread = thread::Builder::new().name("raster".into());
    let work = move || {
        let ended = open_and_draw(&file, password.as_deref(), &pass, &drawn, &cancel, &sender);
        if let Err(fault) = ended {
            let _ = sender.send(Err(fault.to_string()));
        }
    };
    let fault = thread.spawn(work).err();
    Stream {
        receiver,
        chunk: Vec::new(),
        at: 0,
        fault,
    }
}

fn open_and_draw(
    file: &Path,
    password: Option<&str>,
    pass: &Pass,
    drawn: &Drawn,
    cancel: &AtomicBool,
    sender: &SyncSender<Result<Vec<u8>, String>>,
) -> Result<(), RasterFault> {
    let mut out = |bytes| !cancel.load(Ordering::Relaxed) && sender.send(Ok(bytes)).is_ok();
    let is_large = std::fs::metadata(file).is_ok_and(|about| about.len() > LARGE);
    if is_large {
        return draw_in_parts(file, password, pass, drawn, &mut out);
    }
    draw(&Pages::read(file, password)?, pass, drawn, &mut out)
}

struct Stream {
    receiver: Receiver<Result<Vec<u8>, String>>,
    chunk: Vec<u8>,
    at: usize,
    fault: Option<io::Error>,
}

impl Read for Stream {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if let Some(fault) = self.fault.take() {
            return Err(fault);
        }
        while self.at == self.chunk.len() {
            match self.receiver.recv() {
                Ok(Ok(chunk)) => (self.chunk, self.at) = (chunk, 0),
                Ok(Err(fault)) => return Err(io::Error::other(fault)),
                // The thread is done.
                Err(_) => return Ok(0),
            }
        }
        let count = buffer.len().min(self.chunk.len() - self.at);
        buffer[..count].copy_from_slice(&self.chunk[self.at..self.at + count]);
        self.at += count;
        Ok(count)
    }
}
