//! A small renderer of drawings, for the tests only: filled and stroked shapes without text, four
//! lines to a pixel and exact along each line. It shares nothing with the readers.
#![allow(dead_code, reason = "every test file uses a part of it")]

use std::sync::{Arc, OnceLock};

use image::{DynamicImage, GrayImage};
use tympan_marks::picture::Luma;
use tympan_marks::{TestSheet, TestSheetSpec};
use tympan_sheet::drawing::{Colour, Drawing, Item, Path, Segment};
use tympan_sheet::{Flip, LeadingEdge, Side, Size};
use tympan_sim::Page;

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
    let grey = GrayImage::from_raw(width as u32, height as u32, canvas.light).expect("all pixels");
    Page::new(&DynamicImage::ImageLuma8(grey), FINE)
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
