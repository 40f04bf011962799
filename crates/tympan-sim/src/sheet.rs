//! A printed sheet: both faces, and the truth about where their images lie.

use std::sync::{Arc, OnceLock};

use image::RgbImage;
use tympan_sheet::{Back, Flip, Front, Point, Side, Size, Vector};

use crate::holes::Hole;
use crate::media::{Media, Texture};
use crate::page::Page;
use crate::paint::{self, Canvas, Depth, Face, Spot};
use crate::printer::{Margins, Printer, turned_over};
use crate::rng::Rng;
use crate::warp::{Linear, Warp, Xy};

/// A corner of the sheet, as named looking at the front.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Corner {
    /// Top left.
    TopLeft,
    /// Top right.
    TopRight,
    /// Bottom right.
    BottomRight,
    /// Bottom left.
    BottomLeft,
}

/// A corner folded over.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fold {
    /// Which corner.
    pub corner: Corner,
    /// How far from the corner the fold meets the sheet's edges, mm: along x and along y.
    pub legs: [f64; 2],
    /// The side on which the folded flap lies, its other face up.
    pub onto: Side,
}

impl Fold {
    /// The fold's corner, and the unit normal of the fold's line that points to the corner, both in
    /// the front frame.
    fn line(&self, size: Xy) -> (Xy, Xy) {
        let (right, below) = match self.corner {
            Corner::TopLeft => (false, false),
            Corner::TopRight => (true, false),
            Corner::BottomRight => (true, true),
            Corner::BottomLeft => (false, true),
        };
        let sign = |far: bool| if far { 1.0 } else { -1.0 };
        let corner = [
            if right { size[0] } else { 0.0 },
            if below { size[1] } else { 0.0 },
        ];
        let (nx, ny) = (sign(right) / self.legs[0], sign(below) / self.legs[1]);
        let length = nx.hypot(ny);
        (corner, [nx / length, ny / length])
    }

    /// How far a place lies inside the fold's line, mm, and the unit normal towards the corner.
    pub(crate) fn inside(&self, p: Xy, size: Xy) -> (f64, Xy) {
        let (corner, n) = self.line(size);
        let [a, b] = self.legs;
        // The line's distance from the corner is the height of the folded triangle.
        let height = a * b / a.hypot(b);
        let from_corner = (corner[0] - p[0]) * n[0] + (corner[1] - p[1]) * n[1];
        (from_corner - height, n)
    }
}

/// Where a pin went through, and what it left to read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Prick {
    /// The place on the sheet, front frame of the sheet as cut.
    pub sheet: Point<Front>,
    /// The place among the front's print: the front page's own coordinates.
    pub front: Point<Front>,
    /// The place among the back's print: the back page's own coordinates, which a grid printed
    /// there shows.
    pub back: Point<Back>,
}

/// A sheet that was printed on both sides.
///
/// *Page* coordinates are those of the rasters given to the printer: the front page in the front
/// frame and the back page in the back frame, both of the nominal size. *Sheet* coordinates are mm
/// on the sheet as it was cut, from its own corner.
#[derive(Debug)]
pub struct PrintedSheet {
    pub(crate) index: u64,
    pub(crate) seed: u64,
    pub(crate) flip: Flip,
    pub(crate) nominal: Xy,
    pub(crate) actual: Xy,
    /// Page to sheet, each in its own side's frame.
    pub(crate) warps: [Warp; 2],
    pub(crate) pages: [Arc<Page>; 2],
    pub(crate) media: Media,
    pub(crate) margins: Margins,
    pub(crate) ink: f64,
    pub(crate) feathering: f64,
    pub(crate) holes: Vec<Hole>,
    pub(crate) fold: Option<Fold>,
    texture: OnceLock<Texture>,
}

impl PrintedSheet {
    pub(crate) fn new(
        printer: &Printer,
        index: u64,
        actual: Xy,
        warps: [Warp; 2],
        pages: [Arc<Page>; 2],
    ) -> Self {
        Self {
            index,
            seed: Rng::stream(printer.seed ^ 0x5ee7, index).bits(),
            flip: printer.flip,
            nominal: [printer.size.w, printer.size.h],
            actual,
            warps,
            pages,
            media: printer.media,
            margins: printer.margins,
            ink: printer.ink,
            feathering: printer.feathering,
            holes: Vec::new(),
            fold: None,
            texture: OnceLock::new(),
        }
    }

    /// The number under which it was printed.
    pub fn index(&self) -> u64 {
        self.index
    }

    /// The size to which the sheet is really cut.
    pub fn cut_size(&self) -> Size {
        Size::new(self.actual[0], self.actual[1])
    }

    /// How the sheet was turned between the passes.
    pub fn flip(&self) -> Flip {
        self.flip
    }

    /// The same sheet with holes through it.
    pub fn punched(mut self, holes: impl IntoIterator<Item = Hole>) -> Self {
        self.holes.extend(holes);
        self
    }

    /// The same sheet with a corner folded over.
    pub fn folded(mut self, fold: Fold) -> Self {
        self.fold = Some(fold);
        self
    }

    /// The holes through it.
    pub fn holes(&self) -> &[Hole] {
        &self.holes
    }

    /// The centres of the holes as they lie on one side, in that side's own frame.
    pub fn holes_on(&self, side: Side) -> Vec<[f64; 2]> {
        // Turning over is its own inverse.
        let to_side = self.side_to_front(side);
        self.holes
            .iter()
            .map(|hole| to_side.at(hole.centre))
            .collect()
    }

    /// Where a place of the front page was printed on the sheet.
    pub fn front(&self, p: Point<Front>) -> Point<Front> {
        let [x, y] = self.warps[0].at([p.x, p.y]);
        Point::new(x, y)
    }

    /// Where a place of the back page was printed on the sheet, looking at the back.
    pub fn back(&self, p: Point<Back>) -> Point<Back> {
        let [x, y] = self.warps[1].at([p.x, p.y]);
        Point::new(x, y)
    }

    /// Where that which the back page has behind the front page's `p` was really printed, seen
    /// from the front.
    pub fn back_seen_from_front(&self, p: Point<Front>) -> Point<Front> {
        let page = turned_over(self.flip, self.nominal).at([p.x, p.y]);
        let [x, y] = turned_over(self.flip, self.actual).at(self.warps[1].at(page));
        Point::new(x, y)
    }

    /// The register error at a place of the front page: where the back's image lies relative to
    /// the front's, seen from the front.
    pub fn register_error(&self, p: Point<Front>) -> Vector<Front> {
        self.back_seen_from_front(p) - self.front(p)
    }

    /// The place of the front page that was printed at a place of the sheet.
    pub fn front_page_at(&self, sheet: Point<Front>) -> Point<Front> {
        let [x, y] = self.warps[0].back([sheet.x, sheet.y]);
        Point::new(x, y)
    }

    /// The place of the back page that was printed at a place of the sheet, looking at the back.
    pub fn back_page_at(&self, sheet: Point<Back>) -> Point<Back> {
        let [x, y] = self.warps[1].back([sheet.x, sheet.y]);
        Point::new(x, y)
    }

    /// The same place of the sheet, looking at the back.
    pub fn turn_over(&self, sheet: Point<Front>) -> Point<Back> {
        let [x, y] = turned_over(self.flip, self.actual).at([sheet.x, sheet.y]);
        Point::new(x, y)
    }

    /// Somebody pricks through a mark of the front page, missing it by `aim_sd` mm in x and in y.
    /// The hole itself is not added: see [`PrintedSheet::punched`] and [`Hole::pricked`].
    pub fn prick(&self, mark: Point<Front>, aim_sd: f64, rng: &mut Rng) -> Prick {
        let printed = self.front(mark);
        let miss: Vector<Front> = Vector::new(aim_sd * rng.normal(), aim_sd * rng.normal());
        let sheet = printed + miss;
        Prick {
            sheet,
            front: self.front_page_at(sheet),
            back: self.back_page_at(self.turn_over(sheet)),
        }
    }

    /// One side's print looked at squarely, without the faults of any scanner and without what
    /// shows through: `px_per_mm` pixels to the mm, the sheet's corner at the picture's corner.
    /// Holes are black.
    pub fn view(&self, side: Side, px_per_mm: f64) -> RgbImage {
        let face = Face::new(self, side, px_per_mm);
        let to_sheet = self.side_to_front(side);
        let canvas = self.square_canvas(px_per_mm);
        let place = |x: f64, y: f64| face.node(to_sheet.at([x / px_per_mm, y / px_per_mm]));
        let shade = |node: &paint::Node, _: f64, _: f64| {
            let cover = face.cover(node.sheet);
            face.ink(node.near).map(|light| light * cover)
        };
        let codes = paint::paint(&canvas, &place, &shade, &[] as &[Spot]);
        let bytes: Vec<u8> = codes.into_iter().map(|c| c as u8).collect();
        RgbImage::from_raw(canvas.width as u32, canvas.height as u32, bytes).unwrap_or_default()
    }

    /// Both sides at once, seen from the front: the front's print in the red channel, the back's
    /// print, as it lies behind, in the green one; blue is 255 on the sheet, 0 in its holes.
    pub fn seen_through(&self, px_per_mm: f64) -> RgbImage {
        let faces = [Side::Front, Side::Back].map(|side| Face::new(self, side, px_per_mm));
        let canvas = self.square_canvas(px_per_mm);
        let place = |x: f64, y: f64| faces[0].node([x / px_per_mm, y / px_per_mm]);
        let shade = |node: &paint::Node, _: f64, _: f64| {
            let front = faces[0].ink(node.near);
            let back = faces[1].ink(node.far);
            let cover = faces[0].cover(node.sheet);
            [front[1], back[1], cover]
        };
        let codes = paint::paint(&canvas, &place, &shade, &[] as &[Spot]);
        let bytes: Vec<u8> = codes.into_iter().map(|c| c as u8).collect();
        RgbImage::from_raw(canvas.width as u32, canvas.height as u32, bytes).unwrap_or_default()
    }

    fn square_canvas(&self, px_per_mm: f64) -> Canvas {
        Canvas {
            width: (self.actual[0] * px_per_mm).ceil() as usize,
            height: (self.actual[1] * px_per_mm).ceil() as usize,
            colour: true,
            blur: 0.0,
            noise: 0.0,
            seed: 0,
            depth: Depth::Eight,
        }
    }

    /// From a side's own sheet coordinates to the front frame's.
    pub(crate) fn side_to_front(&self, side: Side) -> Linear {
        match side {
            Side::Front => Linear::IDENTITY,
            Side::Back => turned_over(self.flip, self.actual),
        }
    }

    pub(crate) fn texture(&self) -> &Texture {
        self.texture.get_or_init(|| Texture::new(self.seed))
    }
}
