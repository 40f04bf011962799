//! A small renderer of drawings, for the tests only: filled and stroked shapes without text, four
//! lines to a pixel and exact along each line. It shares nothing with the readers.
#![allow(dead_code, reason = "every test file uses a part of it")]

pub(crate) mod ways;

use std::sync::{Arc, OnceLock};

use image::{DynamicImage, GrayImage};
use tympan_marks::picture::{KnownRun, Luma};
use tympan_marks::witness::{Geometry, Room, RunCode};
use tympan_marks::{TestSheet, TestSheetSpec};
use tympan_sheet::drawing::{Colour, Drawing, Item, Path, Segment};
use tympan_sheet::{Flip, LeadingEdge, Point, Rect, Side, Size};
use tympan_sim::{Page, Placement, Printer};

pub(crate) const A4: Size = Size::new(210.0, 297.0);
pub(crate) const LETTER: Size = Size::new(215.9, 279.4);

/// Pixels to the mm of rendered pages.
const FINE: f64 = 16.0;
const LINES: usize = 4;

pub(crate) fn sheet(paper: Size, flip: Flip, setup: &str, number: u32) -> TestSheet {
    TestSheet::new(TestSheetSpec {
        paper,
        flip,
        leading_edge: LeadingEdge::Head,
        first_side: Side::Front,
        setup_code: setup.to_owned(),
        sheet: number,
        setup_name: "Ferry inkjet".to_owned(),
        paper_name: "A4".to_owned(),
        stock: "card".to_owned(),
    })
    .expect("a sheet that fits")
}

/// Both sides of a test sheet, rendered.
pub(crate) fn pages(sheet: &TestSheet) -> [Arc<Page>; 2] {
    Side::BOTH.map(|side| Arc::new(render(&sheet.drawing(side))))
}

/// Both sides of test sheet 3 of set-up K7Q2 on A4, rendered once.
pub(crate) fn a4(flip: Flip) -> &'static [Arc<Page>; 2] {
    static SIDEWAYS: OnceLock<[Arc<Page>; 2]> = OnceLock::new();
    static ENDWAYS: OnceLock<[Arc<Page>; 2]> = OnceLock::new();
    let once = match flip {
        Flip::Sideways => &SIDEWAYS,
        Flip::Endways => &ENDWAYS,
    };
    once.get_or_init(|| pages(&sheet(A4, flip, "K7Q2", 3)))
}

pub(crate) fn render(drawing: &Drawing) -> Page {
    Page::new(&DynamicImage::ImageLuma8(painted(drawing)), FINE)
}

/// A drawing as a picture of [`FINE`] pixels to the mm.
pub(crate) fn painted(drawing: &Drawing) -> GrayImage {
    let width = (drawing.size.w * FINE).round() as usize;
    let height = (drawing.size.h * FINE).round() as usize;
    let mut canvas = Canvas {
        width,
        height,
        light: vec![255; width * height],
    };
    for item in &drawing.items {
        if let Item::Shape { path, fill, stroke } = item {
            if let Some(colour) = fill {
                canvas.fill(&flatten(path), *colour);
            }
            if let Some(stroke) = stroke {
                for line in flatten(path) {
                    for ends in line.windows(2) {
                        canvas.fill(&[quad(ends[0], ends[1], stroke.width)], stroke.colour);
                    }
                }
            }
        }
    }
    GrayImage::from_raw(width as u32, height as u32, canvas.light).expect("all pixels")
}

type Xy = (f64, f64);

fn flatten(path: &Path) -> Vec<Vec<Xy>> {
    let mut lines: Vec<Vec<Xy>> = Vec::new();
    for segment in &path.segments {
        match segment {
            Segment::Move(p) => lines.push(vec![(p.x, p.y)]),
            Segment::Line(p) => lines.last_mut().expect("begun").push((p.x, p.y)),
            Segment::Curve(a, b, p) => {
                let line = lines.last_mut().expect("begun");
                let from = *line.last().expect("begun");
                for k in 1..=24 {
                    let t = f64::from(k) / 24.0;
                    let u = 1.0 - t;
                    let mix = |f: f64, a: f64, b: f64, p: f64| {
                        u * u * u * f + 3.0 * u * u * t * a + 3.0 * u * t * t * b + t * t * t * p
                    };
                    line.push((mix(from.0, a.x, b.x, p.x), mix(from.1, a.y, b.y, p.y)));
                }
            }
            Segment::Close => {
                let line = lines.last_mut().expect("begun");
                line.push(line[0]);
            }
        }
    }
    lines
}

fn quad(a: Xy, b: Xy, width: f64) -> Vec<Xy> {
    let (dx, dy) = (b.0 - a.0, b.1 - a.1);
    let length = dx.hypot(dy).max(1e-9);
    let (nx, ny) = (-dy / length * width / 2.0, dx / length * width / 2.0);
    vec![
        (a.0 + nx, a.1 + ny),
        (b.0 + nx, b.1 + ny),
        (b.0 - nx, b.1 - ny),
        (a.0 - nx, a.1 - ny),
    ]
}

struct Canvas {
    width: usize,
    height: usize,
    light: Vec<u8>,
}

impl Canvas {
    /// Fills polygons, non-zero rule.
    fn fill(&mut self, polygons: &[Vec<Xy>], colour: Colour) {
        let tone = match colour {
            Colour::Grey(g) => f64::from(g),
            Colour::Rgb(r, g, b) => f64::from(r + g + b) / 3.0,
        } * 255.0;
        let ys = polygons.iter().flatten().map(|p| p.1 * FINE);
        let top = ys.clone().fold(f64::INFINITY, f64::min).floor().max(0.0) as usize;
        let bottom = (ys.fold(0.0, f64::max).ceil() as usize).min(self.height);
        let mut cover = vec![0.0_f64; self.width];
        for y in top..bottom {
            cover.fill(0.0);
            let mut reach = (usize::MAX, 0);
            for line in 0..LINES {
                let at = (y as f64 + (line as f64 + 0.5) / LINES as f64) / FINE;
                let mut crossings: Vec<(f64, i32)> = Vec::new();
                for polygon in polygons {
                    for k in 0..polygon.len() {
                        let (a, b) = (polygon[k], polygon[(k + 1) % polygon.len()]);
                        if (a.1 <= at) != (b.1 <= at) {
                            let x = a.0 + (at - a.1) / (b.1 - a.1) * (b.0 - a.0);
                            crossings.push((x * FINE, if a.1 < b.1 { 1 } else { -1 }));
                        }
                    }
                }
                crossings.sort_by(|a, b| a.0.total_cmp(&b.0));
                let mut winding = 0;
                for pair in crossings.windows(2) {
                    winding += pair[0].1;
                    if winding != 0 {
                        self.span(&mut cover, pair[0].0, pair[1].0, &mut reach);
                    }
                }
            }
            let (from, to) = (reach.0, reach.1.min(self.width));
            for (x, cover) in cover.iter().enumerate().take(to).skip(from) {
                let share = (cover / LINES as f64).min(1.0);
                let old = &mut self.light[y * self.width + x];
                *old = (f64::from(*old) * (1.0 - share) + tone * share).round() as u8;
            }
        }
    }

    fn span(&self, cover: &mut [f64], from: f64, to: f64, reach: &mut (usize, usize)) {
        let from = from.clamp(0.0, self.width as f64);
        let to = to.clamp(0.0, self.width as f64);
        let (first, last) = (from as usize, (to.ceil() as usize).min(self.width));
        for (x, cover) in cover.iter_mut().enumerate().take(last).skip(first) {
            let (l, r) = (x as f64, x as f64 + 1.0);
            *cover += (r.min(to) - l.max(from)).max(0.0);
        }
        *reach = (reach.0.min(first), reach.1.max(last));
    }
}

/// A simulated picture as the reader takes it.
pub(crate) fn luma(image: &DynamicImage) -> Luma {
    let grey = image.to_luma8();
    let (width, height) = (grey.width() as usize, grey.height() as usize);
    Luma::new(width, height, grey.into_raw()).expect("all pixels")
}

/// Nine poker cards with 3 mm of bleed, and witness marks in what is left: both sides' drawings.
pub(crate) struct Production {
    pub(crate) geometry: Geometry,
    pub(crate) run: RunCode,
}

impl Production {
    /// On this paper, 4.2 mm of which cannot be printed at each edge.
    pub(crate) fn new(paper: Size, flip: Flip, run: &str) -> Self {
        let geometry = Geometry::new(&Room {
            paper,
            flip,
            printable_front: Rect::whole(paper).grown(-4.2),
            printable_back: Rect::whole(paper).grown(-4.2),
            front: &[nine_cards(paper)],
            back: &[nine_cards(paper)],
        });
        Self {
            geometry: geometry.expect("room for marks"),
            run: run.parse().expect("a run's code"),
        }
    }

    pub(crate) fn known(&self) -> KnownRun {
        KnownRun {
            code: self.run,
            geometry: self.geometry.clone(),
        }
    }

    /// Both sides of a sheet, rendered.
    pub(crate) fn pages(&self, sheet: u32) -> [Arc<Page>; 2] {
        Side::BOTH.map(|side| Arc::new(render(&self.drawing(side, sheet))))
    }

    pub(crate) fn drawing(&self, side: Side, sheet: u32) -> Drawing {
        let paper = self.geometry.paper();
        let mut drawing = Drawing::new(paper);
        let block = nine_cards::<tympan_sheet::Page>(paper);
        // Bleed to the block's edge; within, frames, stripes, and rows of pips that look like
        // marks, a little larger or smaller.
        for k in 0..9 {
            let (column, row) = (f64::from(k % 3), f64::from(k / 3));
            let (w, h) = ((block.size().w - 6.0) / 3.0, (block.size().h - 6.0) / 3.0);
            let (x, y) = (block.min.x + 3.0 + column * w, block.min.y + 3.0 + row * h);
            let tone = 0.1 + 0.09 * k as f32;
            let shade = if side == Side::Front { tone } else { 0.35 };
            let (left, top) = (
                if k % 3 == 0 { x - 3.0 } else { x },
                if k < 3 { y - 3.0 } else { y },
            );
            let right = if k % 3 == 2 { x + w + 3.0 } else { x + w };
            let foot = if k >= 6 { y + h + 3.0 } else { y + h };
            drawing.fill(
                Path::rect(left, top, right - left, foot - top),
                Colour::Grey(shade),
            );
            drawing.fill(
                Path::rect(x + 6.0, y + 6.0, w - 12.0, h - 12.0),
                Colour::Grey(0.97),
            );
            for pip in 0..4 {
                let at = (x + 10.0 + 12.5 * f64::from(pip), y + 12.0 + 5.0 * column);
                drawing.fill(
                    Path::circle(at.0, at.1, 1.3 + 0.15 * row),
                    Colour::Grey(0.05),
                );
                if side == Side::Front {
                    let bar = Path::rect(x + 12.0 + 3.0 * f64::from(pip), y + 30.0, 1.2, 40.0);
                    drawing.fill(bar, Colour::Grey(0.2));
                }
            }
        }
        drawing
            .items
            .extend(self.geometry.items(side, self.run, sheet));
        drawing
    }
}

fn nine_cards<F: tympan_sheet::Frame>(paper: Size) -> Rect<F> {
    let size = Size::new(3.0 * 63.5 + 6.0, 3.0 * 88.9 + 6.0);
    let corner = Point::new((paper.w - size.w) / 2.0, (paper.h - size.h) / 2.0);
    Rect::at(corner, size)
}

/// A printer that was put right before: so much is left of the faults of a usual one.
pub(crate) fn put_right(seed: u64, paper: Size, flip: Flip, left: f64) -> Printer {
    let printer = Printer::faulty(seed, paper, flip);
    let less = |p: Placement| Placement {
        shift: p.shift.map(|mm| mm * left),
        tilt_deg: p.tilt_deg * left,
        stretch: p.stretch.map(|s| s * left),
        shear_deg: p.shear_deg * left,
        bend: p.bend,
    };
    Printer {
        fronts: less(printer.fronts),
        backs: less(printer.backs),
        ..printer
    }
}
