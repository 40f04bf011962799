//! Pictures of pages, for previews and for finding what would leave the sheet.
//!
//! Rendering a hostile file can take long, since a page may ask for any amount of painting; what
//! is bounded here is the picture asked for. Where files come from strangers, call this from a
//! process with limits of its own.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

use hayro::hayro_interpret::InterpreterSettings;
use hayro::hayro_interpret::util::TransformExt;
use hayro::hayro_syntax::object::dict::keys::USER_UNIT;
use hayro::hayro_syntax::page::Page as PdfPage;
use hayro::hayro_syntax::{LoadPdfError, Pdf};
use hayro::kurbo::Affine;
use hayro::vello_cpu::color::palette::css::WHITE;
use hayro::vello_cpu::{Pixmap, RasterizerSettings, RenderContext, Resources, TargetInit};
use hayro::{RenderCache, RenderSettings, render_into};
use image::{GrayImage, ImageBuffer, Luma, Rgb, RgbImage};
use tympan_sheet::{Length, Page, Rect, Size};

/// The most pixels that a picture may have unless the caller says otherwise: an A4 page at
/// 600 dots per inch has 35 million. Drawing takes about 8 bytes for each.
pub const MAX_PIXELS: u64 = 40_000_000;

/// The longest side of a picture, pixels.
const MAX_SIDE: f64 = 65_000.0;

/// Why there is no picture. Pages count from 0.
#[derive(Debug, thiserror::Error)]
pub enum RasterError {
    /// The file could not be read from the disk.
    #[error("{path} cannot be read")]
    Read {
        /// The file.
        path: std::path::PathBuf,
        /// Why not.
        #[source]
        source: std::io::Error,
    },
    /// The file opens only with a password.
    #[error("this file is locked with a password")]
    Password,
    /// The file is no PDF, or is damaged beyond reading.
    #[error("this file cannot be read as a PDF")]
    NotPdf,
    /// There is no such page.
    #[error("there is no page {}; the last one is {count}", page + 1)]
    NoSuchPage {
        /// The page asked for.
        page: usize,
        /// How many there are.
        count: usize,
    },
    /// The picture would be too large, or have no size at all.
    #[error("page {} at {px_per_mm} pixels per mm would be {w:.0} × {h:.0} pixels", page + 1)]
    Size {
        /// The page.
        page: usize,
        /// The scale asked for.
        px_per_mm: f64,
        /// The picture's width, pixels.
        w: f64,
        /// The picture's height, pixels.
        h: f64,
    },
    /// The renderer gave up on the page.
    #[error("page {} could not be drawn; it is damaged", page + 1)]
    Broken {
        /// The page.
        page: usize,
    },
}

impl RasterError {
    /// What a person can do about it, if anything.
    pub fn hint(&self) -> Option<&'static str> {
        match self {
            Self::Password => Some("give the password"),
            Self::NotPdf => Some("open it in a PDF viewer and print it to a new PDF"),
            Self::Size { .. } => Some("ask for a smaller picture"),
            _ => None,
        }
    }
}

/// What part of a page to draw, and how large.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct View {
    /// Pixels in a millimetre.
    pub px_per_mm: f64,
    /// The part of the page to draw, mm as seen; the whole page where nothing is said. What lies
    /// outside the page is white.
    pub region: Option<Rect<Page>>,
    /// The most pixels that the picture may have.
    pub max_pixels: u64,
}

impl View {
    /// The whole page at this scale.
    pub fn whole(px_per_mm: f64) -> Self {
        Self {
            px_per_mm,
            region: None,
            max_pixels: MAX_PIXELS,
        }
    }

    /// The whole page at this many dots per inch.
    pub fn dpi(dpi: f64) -> Self {
        Self::whole(dpi / 25.4)
    }

    /// Only this part of the page.
    pub fn region(self, region: Rect<Page>) -> Self {
        Self {
            region: Some(region),
            ..self
        }
    }
}

/// How a sheet is drawn band by band, for printing: in less memory than all of it would take.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bands {
    /// Pixels in a millimetre.
    pub px_per_mm: f64,
    /// The sheet's width, pixels. What lies outside the page is white; what does not fit is left
    /// out.
    pub width: u32,
    /// The sheet's height, pixels.
    pub height: u32,
    /// The most rows in a band.
    pub rows: u32,
    /// Whether the page lies on the sheet a quarter turned anticlockwise, its head at the left.
    pub is_turned: bool,
    /// Whether the band at the foot comes first. The rows of a band come in their order.
    pub from_foot: bool,
}

/// A PDF file opened for drawing.
///
/// The top left corner of the picture is exactly the top left corner of the page as seen (its
/// CropBox after Rotate and UserUnit), or of the region; a part of a pixel that is left over at
/// the right or at the bottom makes the picture one pixel larger.
pub struct Pages {
    pdf: Pdf,
}

/// Draws one page of a PDF in grey.
///
/// # Errors
/// As for [`Pages::open`] and [`Pages::grey`].
pub fn grey(pdf: &[u8], page: usize, px_per_mm: f64) -> Result<GrayImage, RasterError> {
    Pages::open(pdf.to_vec(), None)?.grey(page, &View::whole(px_per_mm))
}

/// Draws one page of a PDF in colour.
///
/// # Errors
/// As for [`Pages::open`] and [`Pages::rgb`].
pub fn rgb(pdf: &[u8], page: usize, px_per_mm: f64) -> Result<RgbImage, RasterError> {
    Pages::open(pdf.to_vec(), None)?.rgb(page, &View::whole(px_per_mm))
}

impl Pages {
    /// Opens a PDF that is in memory.
    ///
    /// # Errors
    /// [`RasterError::Password`] or [`RasterError::NotPdf`].
    pub fn open(pdf: Vec<u8>, password: Option<&str>) -> Result<Self, RasterError> {
        let open = || Pdf::new_with_password(pdf, password.unwrap_or(""));
        match catch_unwind(AssertUnwindSafe(open)) {
            Ok(Ok(pdf)) => Ok(Self { pdf }),
            Ok(Err(LoadPdfError::Decryption(_))) => Err(RasterError::Password),
            Ok(Err(LoadPdfError::Invalid)) | Err(_) => Err(RasterError::NotPdf),
        }
    }

    /// Opens a PDF file.
    ///
    /// # Errors
    /// [`RasterError::Read`], or as for [`Pages::open`].
    pub fn read(path: &Path, password: Option<&str>) -> Result<Self, RasterError> {
        match std::fs::read(path) {
            Ok(bytes) => Self::open(bytes, password),
            Err(source) => Err(RasterError::Read {
                path: path.to_owned(),
                source,
            }),
        }
    }

    /// How many pages there are.
    pub fn count(&self) -> usize {
        self.pdf.pages().len()
    }

    /// The size of a page as seen, mm.
    ///
    /// # Errors
    /// [`RasterError::NoSuchPage`].
    pub fn size(&self, page: usize) -> Result<Size, RasterError> {
        let (page, unit) = self.page(page)?;
        let (w, h) = page.render_dimensions();
        Ok(Size::new(f64::from(w) * unit, f64::from(h) * unit))
    }

    /// Draws a page in colour, on white.
    ///
    /// # Errors
    /// [`RasterError::NoSuchPage`], [`RasterError::Size`] or [`RasterError::Broken`].
    pub fn rgb(&self, page: usize, view: &View) -> Result<RgbImage, RasterError> {
        let pixmap = self.draw(page, view)?;
        let mut pixels = pixmap.data().iter();
        let (w, h) = (u32::from(pixmap.width()), u32::from(pixmap.height()));
        Ok(ImageBuffer::from_fn(w, h, |_, _| {
            pixels
                .next()
                .map_or(Rgb([255; 3]), |p| Rgb([p.r, p.g, p.b]))
        }))
    }

    /// Draws a page in grey, on white: the luma of ITU-R BT.709 of the colours as they are coded.
    ///
    /// # Errors
    /// [`RasterError::NoSuchPage`], [`RasterError::Size`] or [`RasterError::Broken`].
    pub fn grey(&self, page: usize, view: &View) -> Result<GrayImage, RasterError> {
        let pixmap = self.draw(page, view)?;
        let mut pixels = pixmap.data().iter();
        let (w, h) = (u32::from(pixmap.width()), u32::from(pixmap.height()));
        Ok(ImageBuffer::from_fn(w, h, |_, _| {
            let [r, g, b] = pixels
                .next()
                .map_or([255; 3], |p| [p.r, p.g, p.b])
                .map(u32::from);
            Luma([((2126 * r + 7152 * g + 722 * b + 5000) / 10_000) as u8])
        }))
    }

    /// Draws a page onto a sheet band by band, in colour on white, with the page's top left corner
    /// at the sheet's. Each band is given as three bytes for a pixel, row by row from its top;
    /// `each` says whether to go on. Returns whether all bands were drawn.
    ///
    /// # Errors
    /// [`RasterError::NoSuchPage`], [`RasterError::Size`] or [`RasterError::Broken`].
    pub fn bands(
        &self,
        index: usize,
        sheet: &Bands,
        each: &mut dyn FnMut(&[u8]) -> bool,
    ) -> Result<bool, RasterError> {
        let (page, unit) = self.page(index)?;
        let (w, h) = (f64::from(sheet.width), f64::from(sheet.height));
        let rows = sheet.rows.min(sheet.height);
        let is_sound = w >= 1.0 && rows >= 1 && w <= MAX_SIDE && f64::from(rows) <= MAX_SIDE;
        if !is_sound || w * f64::from(rows) > MAX_PIXELS as f64 {
            return Err(RasterError::Size {
                page: index,
                px_per_mm: sheet.px_per_mm,
                w,
                h,
            });
        }
        let scale = sheet.px_per_mm;
        let mut to_sheet = Affine::scale(unit * scale) * page.initial_transform(true).to_kurbo();
        if sheet.is_turned {
            let page_width = self.size(index)?.w * scale;
            to_sheet = Affine::new([0.0, -1.0, 1.0, 0.0, 0.0, page_width]) * to_sheet;
        }
        let count = sheet.height.div_ceil(rows);
        let cache = RenderCache::new();
        let mut rgb = Vec::new();
        for at in 0..count {
            let band = if sheet.from_foot { count - 1 - at } else { at };
            let top = band * rows;
            let rows = rows.min(sheet.height - top);
            let to_pixels = Affine::translate((0.0, -f64::from(top))) * to_sheet;
            let paint = || paint_with(&cache, page, to_pixels, sheet.width as u16, rows as u16);
            let pixmap = catch_unwind(AssertUnwindSafe(paint))
                .map_err(|_| RasterError::Broken { page: index })?;
            rgb.clear();
            rgb.extend(pixmap.data().iter().flat_map(|p| [p.r, p.g, p.b]));
            drop(pixmap);
            if !each(&rgb) {
                return Ok(false);
            }
        }
        Ok(true)
    }

    /// The page, and how many mm one unit of its space is.
    pub(crate) fn page(&self, index: usize) -> Result<(&PdfPage<'_>, f64), RasterError> {
        let pages = self.pdf.pages();
        let Some(page) = pages.get(index) else {
            return Err(RasterError::NoSuchPage {
                page: index,
                count: pages.len(),
            });
        };
        let unit = page
            .raw()
            .get::<f64>(USER_UNIT)
            .filter(|u| u.is_finite() && *u > 0.0);
        Ok((page, Length::pt(unit.unwrap_or(1.0)).to_mm()))
    }

    fn draw(&self, index: usize, view: &View) -> Result<Pixmap, RasterError> {
        let (page, unit) = self.page(index)?;
        let region = match view.region {
            Some(region) => region,
            None => Rect::whole(self.size(index)?),
        };
        let scale = view.px_per_mm;
        let size = region.size();
        // A hair less than a whole pixel more is rounding, not content.
        let side = |mm: f64| (mm * scale - 1e-3).ceil();
        let (w, h) = (side(size.w), side(size.h));
        let sound = w >= 1.0 && h >= 1.0 && w <= MAX_SIDE && h <= MAX_SIDE;
        if !(sound && w * h <= view.max_pixels as f64) {
            return Err(RasterError::Size {
                page: index,
                px_per_mm: scale,
                w,
                h,
            });
        }
        let to_pixels = Affine::translate((-region.min.x * scale, -region.min.y * scale))
            * Affine::scale(unit * scale)
            * page.initial_transform(true).to_kurbo();
        let paint = || paint(page, to_pixels, w as u16, h as u16);
        catch_unwind(AssertUnwindSafe(paint)).map_err(|_| RasterError::Broken { page: index })
    }
}

fn paint(page: &PdfPage<'_>, to_pixels: Affine, w: u16, h: u16) -> Pixmap {
    paint_with(&RenderCache::new(), page, to_pixels, w, h)
}

fn paint_with<'a>(
    cache: &RenderCache<'a>,
    page: &'a PdfPage<'a>,
    to_pixels: Affine,
    w: u16,
    h: u16,
) -> Pixmap {
    // Hinting would move stems to whole pixels, away from where they print.
    let settings = RenderSettings {
        hinting: false,
        // Otherwise a picture is moved to whole pixels, by up to half of one.
        force_image_interpolation: true,
        ..RenderSettings::default()
    };
    let mut context = RenderContext::new(w, h);
    let interpreter = InterpreterSettings::default();
    render_into(
        page,
        cache,
        &interpreter,
        &settings,
        &mut context,
        to_pixels,
    );
    context.flush();
    let mut pixmap = Pixmap::new(w, h);
    let white = RasterizerSettings {
        target_init: TargetInit::Clear(WHITE),
        ..Default::default()
    };
    context.render_with(&mut pixmap, &mut Resources::default(), white);
    pixmap
}
