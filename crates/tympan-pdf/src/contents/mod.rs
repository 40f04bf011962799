//! What a page holds: every line, area, picture and run of text in the order of painting, in mm as
//! the page is seen. Text is told only roughly; everything else as exactly as the file has it.
//!
//! The page goes through the same interpreter that draws it, so that what is told here is what is
//! drawn: damaged files are mended in the same way, and layers that are off are left out.

mod bare;
mod device;
mod outline;

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::AtomicBool;
use std::time::Duration;

use hayro::hayro_interpret::hayro_syntax::object::dict::keys::{BLEED_BOX, TRIM_BOX};
use hayro::hayro_interpret::hayro_syntax::object::{Dict, Rect as PdfRect, Stream};
use hayro::hayro_interpret::util::TransformExt;
use hayro::hayro_interpret::{Context, InterpreterCache, InterpreterSettings, interpret_page};
use hayro::hayro_syntax::page::Page as PdfPage;
use hayro::kurbo::{self, Affine};
use tympan_sheet::{Angle, Frame, Map, Page, Point, Rect, Size};

use crate::raster::{Pages, RasterError};

pub use bare::without_pictures;
pub use outline::Outline;

/// How much may be read of one page.
#[derive(Clone, Copy, Debug)]
pub struct Limits<'a> {
    /// The most elements and clips, together.
    pub elements: usize,
    /// The longest time.
    pub time: Duration,
    /// Stops when this becomes true.
    pub cancel: Option<&'a AtomicBool>,
}

impl Default for Limits<'_> {
    fn default() -> Self {
        Self {
            elements: 100_000,
            time: Duration::from_secs(10),
            cancel: None,
        }
    }
}

/// What a page holds.
#[derive(Clone, Debug, PartialEq)]
pub struct Contents {
    /// The page, from 0.
    pub page: usize,
    /// Its size as seen, mm.
    pub size: Size,
    /// The size that it is to be cut to, where the file says so (TrimBox; ISO 32000-1, 14.11.2).
    pub trim_box: Option<Rect<Page>>,
    /// How far the picture goes on beyond that, where the file says so (BleedBox).
    pub bleed_box: Option<Rect<Page>>,
    /// Everything painted, the lowest first.
    pub elements: Vec<Element>,
    /// The areas that painting was held to; elements name them by index.
    pub clips: Vec<Clip>,
    /// Whether the page has layers (optional content; ISO 32000-1, 8.11). What is in those that
    /// are off is not among the elements.
    pub layers: bool,
    /// How far reading went.
    pub extent: Extent,
}

/// How much of a page was read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Extent {
    /// All of it.
    Whole,
    /// As far as the limits or the caller allowed.
    Stopped,
    /// As far as it could be read.
    Broken,
}

/// One thing painted.
#[derive(Clone, Debug, PartialEq)]
pub struct Element {
    /// What it is.
    pub kind: Kind,
    /// How far it reaches, strokes included, before it is clipped. Rough for text.
    pub bounds: Rect<Page>,
    /// What it is held to: an index into [`Contents::clips`]; `None` for the page alone.
    pub clip: Option<usize>,
    /// Whether something behind it may show through, or it changes what is behind it: opacity
    /// under 1, a soft mask, or a blend mode.
    pub transparent: bool,
}

/// What is painted.
#[derive(Clone, Debug, PartialEq)]
pub enum Kind {
    /// One outline, or several that are neither lines nor boxes, painted within.
    Fill {
        /// Its outline.
        outline: Outline,
        /// With what.
        paint: Paint,
    },
    /// One outline, or several that are neither lines nor boxes, drawn as a line.
    Stroke {
        /// The middle of the line.
        outline: Outline,
        /// With what.
        paint: Paint,
        /// How wide, mm; 0 is the thinnest that the printer can make.
        width: f64,
        /// Whether it is broken into dashes.
        dashed: bool,
    },
    /// A picture.
    Picture(Picture),
    /// Text.
    Text(Text),
}

/// A colour as it is shown, and as ink where the file gives it so.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Colour {
    /// Red, green, blue as shown.
    pub rgb: [u8; 3],
    /// Cyan, magenta, yellow, black from 0 to 1, where the colour has four parts.
    pub cmyk: Option<[f32; 4]>,
    /// 1 where nothing shows through.
    pub opacity: f32,
}

/// What something is painted with.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Paint {
    /// One colour.
    Solid(Colour),
    /// A pattern or a shading.
    Pattern,
}

/// The square that a picture fills before it is placed: 1 by 1, origin at the picture's top left.
#[derive(Copy, Clone, Debug, PartialEq, Default)]
pub struct Square;

impl Frame for Square {}

/// Which colours a picture is made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Model {
    /// Grey.
    Grey,
    /// Red, green, blue.
    Rgb,
    /// Cyan, magenta, yellow, black.
    Cmyk,
    /// Something else, or not told outside of the picture's own data.
    Other,
}

/// A picture in its place.
#[derive(Clone, Debug, PartialEq)]
pub struct Picture {
    /// Where it lies.
    pub map: Map<Square, Page>,
    /// Pixels across.
    pub w: u32,
    /// Pixels down.
    pub h: u32,
    /// The same for the same picture in the same file.
    pub id: u128,
    /// Its colours; of one that is a stencil, those that it is painted with are [`Self::stencil`].
    pub model: Model,
    /// What it is painted with, where it is a mask through which paint goes.
    pub stencil: Option<Paint>,
    /// Whether it has a mask of its own.
    pub masked: bool,
}

impl Picture {
    /// The size as placed, along the picture's own edges, mm.
    pub fn size(&self) -> Size {
        Size::new(
            self.map.xx.hypot(self.map.yx),
            self.map.xy.hypot(self.map.yy),
        )
    }

    /// Pixels in an inch as placed, along the edge where there are fewer.
    pub fn ppi(&self) -> f64 {
        let size = self.size();
        let along = |px: u32, mm: f64| f64::from(px) * 25.4 / mm;
        along(self.w, size.w).min(along(self.h, size.h))
    }

    /// Which way its upper edge runs from left to right, clockwise as seen; 0 where the picture
    /// stands upright.
    pub fn reads(&self) -> Angle {
        Angle::radians(self.map.yx.atan2(self.map.xx))
    }

    /// Where its corners lie: top left, top right, bottom right, bottom left of the picture.
    pub fn corners(&self) -> [Point<Page>; 4] {
        [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)]
            .map(|(x, y)| self.map.apply(Point::new(x, y)))
    }
}

/// A run of text.
#[derive(Clone, Debug, PartialEq)]
pub struct Text {
    /// The type size as placed, mm: what the type size of the font has become on the page,
    /// measured up the letters.
    pub size: f64,
    /// How many glyphs.
    pub glyphs: usize,
    /// Which way it reads: the direction of its line, clockwise as seen; 0 from left to right.
    pub reads: Angle,
    /// With what.
    pub paint: Paint,
}

/// An area that painting is held to.
#[derive(Clone, Debug, PartialEq)]
pub struct Clip {
    /// Its outline; [`Outline::Other`] where it is no box, or is made of several parts.
    pub outline: Outline,
    /// What is left of the page within this and all around it.
    pub bounds: Rect<Page>,
    /// The one around it.
    pub parent: Option<usize>,
    /// Whether this is surely the box of a form XObject, which need not be meant as a limit. (For
    /// those that lie askew this cannot be told and is false.)
    pub form: bool,
}

impl Contents {
    /// Of a page that is not to be read.
    pub fn unread(page: usize, size: Size) -> Self {
        Self {
            page,
            size,
            trim_box: None,
            bleed_box: None,
            elements: Vec::new(),
            clips: Vec::new(),
            layers: false,
            extent: Extent::Stopped,
        }
    }

    /// How much of an element can be seen: its bounds, clipped. `None` where nothing is left.
    pub fn seen(&self, element: &Element) -> Option<Rect<Page>> {
        let clip = element.clip.and_then(|clip| self.clips.get(clip));
        let limit = clip.map_or(Rect::whole(self.size), |clip| clip.bounds);
        element.bounds.meet(limit)
    }
}

impl Pages {
    /// What a page holds.
    ///
    /// # Errors
    /// [`RasterError::NoSuchPage`]. A page that is damaged or too rich gives what could be read
    /// of it, see [`Contents::extent`].
    pub fn contents(&self, page: usize, limits: &Limits<'_>) -> Result<Contents, RasterError> {
        let (pdf, unit) = self.page(page)?;
        let size = self.size(page)?;
        let to_page = Affine::scale(unit) * pdf.initial_transform(true).to_kurbo();
        let mut device = device::Collector::new(size, limits);
        let read = catch_unwind(AssertUnwindSafe(|| {
            let bbox = kurbo::Rect::new(0.0, 0.0, size.w, size.h);
            let mut context = Context::new(
                to_page,
                bbox,
                &InterpreterCache::new(),
                pdf.xref(),
                InterpreterSettings::default(),
            );
            interpret_page(pdf, &mut context, &mut device);
        }));
        let named = |key| pdf.raw().get::<PdfRect>(key).map(|b| seen_box(b, to_page));
        let layers = device.layers || has_layers(pdf);
        Ok(Contents {
            page,
            size,
            trim_box: named(TRIM_BOX),
            bleed_box: named(BLEED_BOX),
            extent: match read {
                _ if device.stopped => Extent::Stopped,
                Ok(()) => Extent::Whole,
                Err(_) => Extent::Broken,
            },
            elements: device.elements,
            clips: device.clips,
            layers,
        })
    }
}

fn seen_box(of: PdfRect, to_page: Affine) -> Rect<Page> {
    let seen = to_page.transform_rect_bbox(kurbo::Rect::new(of.x0, of.y0, of.x1, of.y1));
    Rect {
        min: Point::new(seen.x0, seen.y0),
        max: Point::new(seen.x1, seen.y1),
    }
}

/// Whether a form or picture of the page belongs to a layer as a whole. (What layers there are
/// within the page's content is seen as it is read.)
fn has_layers(page: &PdfPage<'_>) -> bool {
    let objects: &Dict<'_> = &page.resources().x_objects;
    objects.keys().take(10_000).any(|key| {
        let object = objects.get::<Stream<'_>>(key);
        object.is_some_and(|object| object.dict().contains_key("OC"))
    })
}
