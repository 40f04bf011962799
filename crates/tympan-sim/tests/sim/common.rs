//! Pages to print and eyes to look with. Nothing here calls the simulation's own geometry.

use std::sync::Arc;

use image::{DynamicImage, GrayImage, Luma};
use tympan_sheet::Size;
use tympan_sim::Page;

/// A shape on a test page.
pub(crate) enum Shape {
    /// Centre and radius, mm.
    Disc(f64, f64, f64),
    /// Left, top, right, bottom, mm.
    Block(f64, f64, f64, f64),
}

/// A page with black shapes, edges softened over one pixel so that centroids are exact.
pub(crate) fn page(size: Size, px_per_mm: f64, shapes: &[Shape]) -> Arc<Page> {
    let mut picture = GrayImage::from_pixel(
        (size.w * px_per_mm).ceil() as u32,
        (size.h * px_per_mm).ceil() as u32,
        Luma([255]),
    );
    let ramp = |inside: f64| (inside * px_per_mm + 0.5).clamp(0.0, 1.0);
    for shape in shapes {
        let (left, top, right, bottom) = match *shape {
            Shape::Disc(x, y, r) => (x - r, y - r, x + r, y + r),
            Shape::Block(left, top, right, bottom) => (left, top, right, bottom),
        };
        let low = |mm: f64| (mm * px_per_mm - 2.0).max(0.0) as u32;
        let high = |mm: f64, end: u32| ((mm * px_per_mm + 2.0) as u32).min(end);
        for j in low(top)..high(bottom, picture.height()) {
            for i in low(left)..high(right, picture.width()) {
                let (px, py) = (
                    (f64::from(i) + 0.5) / px_per_mm,
                    (f64::from(j) + 0.5) / px_per_mm,
                );
                let ink = match *shape {
                    Shape::Disc(x, y, r) => ramp(r - (px - x).hypot(py - y)),
                    Shape::Block(left, top, right, bottom) => {
                        ramp((px - left).min(right - px)) * ramp((py - top).min(bottom - py))
                    }
                };
                let old = decode(picture.get_pixel(i, j).0[0]);
                picture.put_pixel(i, j, Luma([encode(old.min(1.0 - ink))]));
            }
        }
    }
    Arc::new(Page::new(&DynamicImage::ImageLuma8(picture), px_per_mm))
}

/// IEC 61966-2-1, written apart from the simulation's.
pub(crate) fn decode(code: u8) -> f64 {
    let c = f64::from(code) / 255.0;
    if c <= 0.04045 {
        c / 12.92
    } else {
        ((c + 0.055) / 1.055).powf(2.4)
    }
}

fn encode(light: f64) -> u8 {
    let c = if light <= 0.003_130_8 {
        12.92 * light
    } else {
        1.055 * light.powf(1.0 / 2.4) - 0.055
    };
    (c * 255.0).round() as u8
}

/// Light in one channel of a picture, pixel by pixel.
pub(crate) struct Light {
    pub(crate) width: usize,
    pub(crate) height: usize,
    pub(crate) values: Vec<f64>,
}

impl Light {
    /// Grey light.
    pub(crate) fn of(picture: &DynamicImage) -> Self {
        Self::channel(picture, 1)
    }

    /// Red (0), green (1) or blue (2).
    pub(crate) fn channel(picture: &DynamicImage, channel: usize) -> Self {
        let rgb = picture.to_rgb8();
        let table: Vec<f64> = (0..=255).map(decode).collect();
        let values = rgb
            .pixels()
            .map(|p| table[usize::from(p.0[channel])])
            .collect();
        Self {
            width: rgb.width() as usize,
            height: rgb.height() as usize,
            values,
        }
    }

    pub(crate) fn at(&self, x: usize, y: usize) -> f64 {
        self.values[y * self.width + x]
    }

    /// The centroid of what is darker (or, where `bright`, brighter) than the rim of a square
    /// window about a place, px from the picture's corner, and the weight: missing light in
    /// pixels.
    fn blob(&self, about: [f64; 2], half: f64, bright: bool) -> ([f64; 2], f64) {
        let low = |c: f64| (c - half).round().max(0.0) as usize;
        let high = |c: f64, end: usize| ((c + half).round() as usize).min(end);
        let (x0, x1) = (low(about[0]), high(about[0], self.width));
        let (y0, y1) = (low(about[1]), high(about[1], self.height));
        let mut rim: Vec<f64> = (x0..x1)
            .flat_map(|x| [self.at(x, y0), self.at(x, y1 - 1)])
            .collect();
        rim.sort_by(f64::total_cmp);
        let ground = rim[rim.len() / 2];
        let (mut sum, mut sx, mut sy) = (0.0, 0.0, 0.0);
        for y in y0..y1 {
            for x in x0..x1 {
                let weight = if bright {
                    self.at(x, y) - ground
                } else {
                    ground - self.at(x, y)
                };
                sum += weight;
                sx += weight * (x as f64 + 0.5);
                sy += weight * (y as f64 + 0.5);
            }
        }
        ([sx / sum, sy / sum], sum / ground)
    }

    /// Centroid of a dark mark within a window of `2 half` px about a place.
    pub(crate) fn dark_at(&self, about: [f64; 2], half: f64) -> [f64; 2] {
        self.blob(about, half, false).0
    }

    /// Missing light within the window, in pixels' worth of its ground.
    pub(crate) fn dark_area(&self, about: [f64; 2], half: f64) -> f64 {
        self.blob(about, half, false).1
    }

    /// Mean over a square.
    pub(crate) fn mean(&self, about: [f64; 2], half: f64) -> f64 {
        let (mut sum, mut n) = (0.0, 0.0);
        for y in (about[1] - half) as usize..(about[1] + half) as usize {
            for x in (about[0] - half) as usize..(about[0] + half) as usize {
                sum += self.at(x, y);
                n += 1.0;
            }
        }
        sum / n
    }
}

/// Asserts that two places agree.
#[track_caller]
pub(crate) fn assert_near(found: [f64; 2], wanted: [f64; 2], tolerance: f64, what: &str) {
    let off = (found[0] - wanted[0]).hypot(found[1] - wanted[1]);
    assert!(
        off <= tolerance,
        "{what}: found {found:?}, wanted {wanted:?}, {off} apart"
    );
}
