//! Pictures of pages for the light table, in tiles, kept on disk within a bound.

use std::fs;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use image::codecs::png::{CompressionType, FilterType, PngEncoder};
use image::{ExtendedColorType, GrayImage, ImageEncoder};
use serde::{Deserialize, Serialize};
pub use tympan_pdf::raster::Pages;
use tympan_pdf::raster::View;
use tympan_sheet::{Page, Point, Rect, Size};

use crate::files;
use crate::refusal::Refusal;

/// The sides of a tile, pixels. The last ones of a row or column are smaller.
pub const TILE_PX: u32 = 1024;
/// The scales that pictures are made at, pixels per mm.
pub const SCALES: [u32; 6] = [1, 2, 4, 8, 16, 32];
/// Previews are kept until they take more than this.
pub const KEPT_BYTES: u64 = 400 << 20;

/// How a page is shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Look {
    /// As it prints.
    Print,
    /// Its edges as solid lines: for fronts.
    Solid,
    /// Its edges as broken lines: for backs.
    Broken,
}

/// A part of a page's picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Tile {
    /// Which page, from 1.
    pub page: usize,
    /// Pixels per mm: one of [`SCALES`].
    pub scale: u32,
    /// From the left, from 0.
    pub column: u32,
    /// From the top, from 0.
    pub row: u32,
    /// How it is shown.
    pub look: Look,
}

impl Tile {
    /// Whether it can be a tile of a page of this size.
    pub fn is_on(&self, size: Size) -> bool {
        SCALES.contains(&self.scale)
            && f64::from(self.column) * self.mm() < size.w
            && f64::from(self.row) * self.mm() < size.h
    }

    /// Its sides on the page.
    fn mm(&self) -> f64 {
        f64::from(TILE_PX) / f64::from(self.scale)
    }

    /// The name of its file in a work's folder of pictures.
    pub fn file_name(&self, file: usize) -> String {
        let look = match self.look {
            Look::Print => "p",
            Look::Solid => "s",
            Look::Broken => "b",
        };
        let Self {
            page,
            scale,
            column,
            row,
            ..
        } = self;
        format!("{file}-{page}-{scale}-{column}-{row}{look}.png")
    }
}

/// Opens a file for drawing.
///
/// # Errors
/// A [`Refusal`] where it cannot be read or is locked.
pub fn open(file: &Path, password: Option<&str>) -> Result<Pages, Refusal> {
    Ok(Pages::read(file, password)?)
}

/// Draws a tile into a new PNG file.
///
/// # Errors
/// A [`Refusal`] where there is no such page, it cannot be drawn, or the file cannot be written.
pub fn draw(pages: &Pages, tile: &Tile, output: &Path) -> Result<(), Refusal> {
    let index = tile.page.saturating_sub(1);
    let size = pages.size(index)?;
    let side = tile.mm();
    let min = Point::<Page>::new(f64::from(tile.column) * side, f64::from(tile.row) * side);
    if !tile.is_on(size) {
        return Err(Refusal::new("there is no such part of the page", "reload"));
    }
    let max = Point::new((min.x + side).min(size.w), (min.y + side).min(size.h));
    let view = View::whole(f64::from(tile.scale)).region(Rect { min, max });
    let png = match tile.look {
        Look::Print => {
            let picture = pages.rgb(index, &view)?;
            let (w, h) = picture.dimensions();
            png(picture.as_raw(), w, h, ExtendedColorType::Rgb8)?
        }
        Look::Solid | Look::Broken => {
            let lines = edges(&pages.grey(index, &view)?, tile);
            let (w, h) = (lines.1, lines.2);
            png(&lines.0, w, h, ExtendedColorType::Rgba8)?
        }
    };
    write(output, &png)
}

/// Draws a whole page (from 0) into a new PNG file, with so many pixels per mm.
///
/// # Errors
/// As for [`draw`].
pub fn whole(pages: &Pages, page: usize, px_per_mm: f64, output: &Path) -> Result<(), Refusal> {
    let picture = pages.rgb(page, &View::whole(px_per_mm))?;
    let (w, h) = picture.dimensions();
    write(
        output,
        &png(picture.as_raw(), w, h, ExtendedColorType::Rgb8)?,
    )
}

fn png(pixels: &[u8], w: u32, h: u32, colour: ExtendedColorType) -> Result<Vec<u8>, Refusal> {
    let mut bytes = Vec::new();
    PngEncoder::new_with_quality(&mut bytes, CompressionType::Fast, FilterType::Up)
        .write_image(pixels, w, h, colour)
        .map_err(|e| Refusal::new(e.to_string(), "zoom out"))?;
    Ok(bytes)
}

/// Tiles appear whole or not at all; two that draw the same one draw the same.
fn write(output: &Path, bytes: &[u8]) -> Result<(), Refusal> {
    let folder = output.parent().unwrap_or(Path::new("."));
    fs::create_dir_all(folder).map_err(|e| Refusal::file("write", output, &e))?;
    files::replace(output, bytes)
}

/// Fronts are drawn in ink, backs in the accent; both can be told apart without colour.
const INK: [u8; 3] = [0x1f, 0x2a, 0x33];
const ACCENT: [u8; 3] = [0xb4, 0x2f, 0x14];
/// Broken lines are cut by slanting bands of this period, pixels: lines across and along are cut
/// alike.
const PERIOD_PX: u32 = 14;
const DASH_PX: u32 = 8;
/// A step in grey that counts as an edge, of 255, and one that counts fully.
const FAINT: f32 = 24.0;
const PLAIN: f32 = 72.0;

/// The edges of what is printed, by Sobel's operator, as lines on nothing: RGBA.
fn edges(grey: &GrayImage, tile: &Tile) -> (Vec<u8>, u32, u32) {
    let (w, h) = grey.dimensions();
    let at = |x: i64, y: i64| {
        let x = x.clamp(0, i64::from(w) - 1) as u32;
        let y = y.clamp(0, i64::from(h) - 1) as u32;
        f32::from(grey.get_pixel(x, y).0[0])
    };
    let ink = match tile.look {
        Look::Broken => ACCENT,
        Look::Print | Look::Solid => INK,
    };
    let mut pixels = Vec::with_capacity(w as usize * h as usize * 4);
    for y in 0..i64::from(h) {
        for x in 0..i64::from(w) {
            let across = at(x + 1, y - 1) + 2.0 * at(x + 1, y) + at(x + 1, y + 1)
                - at(x - 1, y - 1)
                - 2.0 * at(x - 1, y)
                - at(x - 1, y + 1);
            let along = at(x - 1, y + 1) + 2.0 * at(x, y + 1) + at(x + 1, y + 1)
                - at(x - 1, y - 1)
                - 2.0 * at(x, y - 1)
                - at(x + 1, y - 1);
            let step = across.hypot(along) / 4.0;
            let mut alpha = ((step - FAINT) / (PLAIN - FAINT)).clamp(0.0, 1.0);
            // The bands go on from tile to tile.
            let band = u64::from(tile.column * TILE_PX + x as u32)
                + u64::from(tile.row * TILE_PX + y as u32);
            if tile.look == Look::Broken && band % u64::from(PERIOD_PX) >= u64::from(DASH_PX) {
                alpha = 0.0;
            }
            pixels.extend([ink[0], ink[1], ink[2], (alpha * 255.0) as u8]);
        }
    }
    (pixels, w, h)
}

/// The block of cards on a page: left, top, right, bottom, mm; the box around all print where no
/// block stands out; `None` for a blank page. Trim marks and page numbers cover little of a row or
/// a column; cards cover much of it.
///
/// # Errors
/// A [`Refusal`] where the page cannot be drawn.
pub fn printed(pages: &Pages, page: usize) -> Result<Option<[f64; 4]>, Refusal> {
    const PX_PER_MM: f64 = 4.0;
    let picture = pages.grey(page.saturating_sub(1), &View::whole(PX_PER_MM))?;
    Ok(block(&picture).map(|edges| edges.map(|px| f64::from(px) / PX_PER_MM)))
}

/// The first and last columns and rows that are much covered: left, top, right, bottom, pixels.
fn block(picture: &GrayImage) -> Option<[u32; 4]> {
    /// Lighter than this is bare paper.
    const WHITE: u8 = 250;
    let mut columns = vec![0u32; picture.width() as usize];
    let mut rows = vec![0u32; picture.height() as usize];
    for (x, y, pixel) in picture.enumerate_pixels() {
        if pixel.0[0] < WHITE {
            columns[x as usize] += 1;
            rows[y as usize] += 1;
        }
    }
    let span = |counts: &[u32]| {
        let most = counts.iter().max().copied().filter(|most| *most > 0)?;
        let much = |count: &u32| *count >= most.div_ceil(4);
        let first = counts.iter().position(much)?;
        let last = counts.iter().rposition(much)?;
        Some((first as u32, last as u32 + 1))
    };
    let ((left, right), (top, bottom)) = (span(&columns)?, span(&rows)?);
    Some([left, top, right, bottom])
}

/// Removes the oldest previews until the rest takes less than `bound` bytes.
pub fn trim(folder: &Path, bound: u64) {
    let mut all: Vec<(SystemTime, u64, PathBuf)> = Vec::new();
    for work in fs::read_dir(folder).into_iter().flatten().flatten() {
        for entry in fs::read_dir(work.path()).into_iter().flatten().flatten() {
            if let Ok(about) = entry.metadata() {
                let when = about.modified().unwrap_or(SystemTime::UNIX_EPOCH);
                all.push((when, about.len(), entry.path()));
            }
        }
    }
    let mut total: u64 = all.iter().map(|(_, bytes, _)| bytes).sum();
    all.sort();
    for (_, bytes, path) in all {
        if total <= bound {
            return;
        }
        if fs::remove_file(path).is_ok() {
            total -= bytes;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::Luma;

    fn tile(look: Look) -> Tile {
        Tile {
            page: 1,
            scale: 4,
            column: 0,
            row: 0,
            look,
        }
    }

    /// A dark square on white: how much of its outline is drawn.
    fn drawn(look: Look, upright: bool) -> f64 {
        let grey = GrayImage::from_fn(200, 200, |x, y| {
            let along = if upright { x } else { y };
            Luma([if along >= 100 { 0 } else { 255 }])
        });
        let (pixels, w, _) = edges(&grey, &tile(look));
        let inked = (20..180)
            .filter(|&i| {
                let (x, y) = if upright { (99, i) } else { (i, 99) };
                pixels[(y * w as usize + x) * 4 + 3] > 200
            })
            .count();
        inked as f64 / 160.0
    }

    #[test]
    fn lines_of_fronts_are_solid_and_of_backs_broken_whichever_way_they_run() {
        for upright in [true, false] {
            assert!((drawn(Look::Solid, upright) - 1.0).abs() < 1e-9);
            let broken = drawn(Look::Broken, upright);
            assert!((0.5..0.65).contains(&broken), "{broken}");
        }
    }

    #[test]
    fn the_block_of_cards_is_found_among_trim_marks() {
        let is_card = |x: u32, y: u32| (20..180).contains(&x) && (30..250).contains(&y);
        let is_mark = |x: u32, y: u32| (x == 20 || x == 179) && !(10..270).contains(&y);
        let page = |x, y| {
            Luma([if is_card(x, y) || is_mark(x, y) {
                90
            } else {
                255
            }])
        };
        let picture = GrayImage::from_fn(200, 280, page);
        assert_eq!(block(&picture), Some([20, 30, 180, 250]));
        assert_eq!(block(&GrayImage::from_pixel(20, 20, Luma([255]))), None);
    }

    #[test]
    fn tiles_off_the_page_are_none() {
        let a4 = Size::new(210.0, 297.0);
        assert!(tile(Look::Print).is_on(a4));
        assert!(
            !Tile {
                scale: 5,
                ..tile(Look::Print)
            }
            .is_on(a4)
        );
        assert!(
            !Tile {
                column: 1,
                ..tile(Look::Print)
            }
            .is_on(a4)
        );
        assert!(
            Tile {
                row: 1,
                ..tile(Look::Print)
            }
            .is_on(a4)
        );
        assert!(
            !Tile {
                row: u32::MAX,
                ..tile(Look::Print)
            }
            .is_on(a4)
        );
    }

    #[test]
    fn the_oldest_previews_go_first() {
        let folder = tempfile::tempdir().expect("a folder");
        let of = |work: &str, name: &str| folder.path().join(work).join(name);
        let long_ago = SystemTime::UNIX_EPOCH + std::time::Duration::from_secs(1_000_000);
        for (work, name, old) in [("a", "1.png", true), ("b", "2.png", false)] {
            let path = of(work, name);
            write(&path, &[0; 1000]).expect("written");
            if old {
                let file = fs::File::options().write(true).open(&path).expect("there");
                file.set_modified(long_ago).expect("made old");
            }
        }
        trim(folder.path(), 1500);
        assert!(!of("a", "1.png").exists() && of("b", "2.png").exists());
        trim(folder.path(), 1500);
        assert!(of("b", "2.png").exists());
    }
}
