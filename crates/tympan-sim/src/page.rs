//! Rendered pages: the rasters that the simulated printers are given.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, OnceLock};

use image::{DynamicImage, RgbImage};
use tympan_sheet::{QuarterTurn, Size};

use crate::light::{blur_plane, linear_of, split, srgb_byte};

/// A page as somebody rendered it: grey or colour, its top left corner at the frame's origin.
/// What lies outside the raster is unprinted.
#[derive(Debug)]
pub struct Page {
    /// Every level is half as fine as the one before; the first is as given.
    levels: Vec<OnceLock<Level>>,
    px_per_mm: f64,
    ghosts: Mutex<HashMap<u64, Arc<Ghost>>>,
}

/// One resolution of a page: sRGB bytes, one plane for each colour.
#[derive(Debug)]
pub(crate) struct Level {
    pub(crate) width: usize,
    pub(crate) height: usize,
    pub(crate) planes: Vec<Vec<u8>>,
}

/// A page as it shows through paper: lightness, 0 to 1 in linear light, blurred by diffusion.
#[derive(Debug)]
pub(crate) struct Ghost {
    width: usize,
    height: usize,
    light: Vec<f32>,
    pub(crate) px_per_mm: f64,
}

const LEVELS: usize = 6;

impl Page {
    /// A page from a picture with this many pixels to the mm. Transparency counts as white paper.
    pub fn new(picture: &DynamicImage, px_per_mm: f64) -> Self {
        let (width, height) = (picture.width() as usize, picture.height() as usize);
        let planes = if picture.color().has_color() || picture.color().has_alpha() {
            let rgba = picture.to_rgba8();
            let over_white = |channel: usize| {
                let whiten = |p: &image::Rgba<u8>| {
                    let (value, alpha) = (u32::from(p.0[channel]), u32::from(p.0[3]));
                    ((value * alpha + 255 * (255 - alpha) + 127) / 255) as u8
                };
                rgba.pixels().map(whiten).collect::<Vec<u8>>()
            };
            let (red, green, blue) = (over_white(0), over_white(1), over_white(2));
            if red == green && green == blue {
                vec![red]
            } else {
                vec![red, green, blue]
            }
        } else {
            vec![picture.to_luma8().into_raw()]
        };
        Self::of(
            Level {
                width,
                height,
                planes,
            },
            px_per_mm,
        )
    }

    /// A page rendered at this resolution (`pdftoppm -r` and the like).
    pub fn at_dpi(picture: &DynamicImage, dpi: f64) -> Self {
        Self::new(picture, dpi / 25.4)
    }

    /// An unprinted page.
    pub fn blank(size: Size) -> Self {
        let (width, height) = (size.w.ceil() as usize, size.h.ceil() as usize);
        Self::of(
            Level {
                width,
                height,
                planes: vec![vec![255; width * height]],
            },
            1.0,
        )
    }

    fn of(level: Level, px_per_mm: f64) -> Self {
        let levels: Vec<OnceLock<Level>> = (0..LEVELS).map(|_| OnceLock::new()).collect();
        let _ = levels[0].set(level);
        Self {
            levels,
            px_per_mm,
            ghosts: Mutex::default(),
        }
    }

    /// Pixels to the mm.
    pub fn px_per_mm(&self) -> f64 {
        self.px_per_mm
    }

    /// The raster's width and height, mm.
    pub fn size(&self) -> Size {
        let level = self.level(0);
        Size::new(
            level.width as f64 / self.px_per_mm,
            level.height as f64 / self.px_per_mm,
        )
    }

    /// The same page laid on its sheet in another way, pixel for pixel: a landscape page on a
    /// portrait sheet, say.
    pub fn turned(&self, turn: QuarterTurn) -> Self {
        let old = self.level(0);
        let (w, h) = (old.width, old.height);
        let (width, height) = match turn {
            QuarterTurn::Upright | QuarterTurn::Half => (w, h),
            QuarterTurn::Clockwise | QuarterTurn::Anticlockwise => (h, w),
        };
        let from = |x: usize, y: usize| match turn {
            QuarterTurn::Upright => (x, y),
            QuarterTurn::Clockwise => (y, h - 1 - x),
            QuarterTurn::Half => (w - 1 - x, h - 1 - y),
            QuarterTurn::Anticlockwise => (w - 1 - y, x),
        };
        let turn_plane = |plane: &Vec<u8>| {
            let mut out = Vec::with_capacity(plane.len());
            for y in 0..height {
                out.extend((0..width).map(|x| {
                    let (x, y) = from(x, y);
                    plane[y * w + x]
                }));
            }
            out
        };
        let planes = old.planes.iter().map(turn_plane).collect();
        Self::of(
            Level {
                width,
                height,
                planes,
            },
            self.px_per_mm,
        )
    }

    /// The page as a colour picture, as given.
    pub fn picture(&self) -> RgbImage {
        let level = self.level(0);
        RgbImage::from_fn(level.width as u32, level.height as u32, |x, y| {
            let at = y as usize * level.width + x as usize;
            image::Rgb([0, 1, 2].map(|c| level.plane(c)[at]))
        })
    }

    /// The finest level with at most two of its pixels to one of the picture being made, and the
    /// mm-to-pixel scale of that level.
    pub(crate) fn level_for(&self, px_per_out_px: f64) -> (&Level, f64) {
        let step = px_per_out_px.max(1.0).log2().floor() as usize;
        let step = step.min(LEVELS - 1);
        (self.level(step), self.px_per_mm / (1u32 << step) as f64)
    }

    fn level(&self, step: usize) -> &Level {
        self.levels[step].get_or_init(|| self.level(step - 1).halved())
    }

    /// The page as seen through paper that spreads light by `diffusion` mm (sd).
    pub(crate) fn ghost(&self, diffusion: f64) -> Arc<Ghost> {
        let mut ghosts = self
            .ghosts
            .lock()
            .unwrap_or_else(std::sync::PoisonError::into_inner);
        let ghost = ghosts.entry(diffusion.to_bits()).or_insert_with(|| {
            let wanted = (3.0 / diffusion.max(0.05)).max(4.0);
            let step = (self.px_per_mm / wanted).max(1.0).log2().floor() as usize;
            let step = step.min(LEVELS - 1);
            let level = self.level(step);
            let px_per_mm = self.px_per_mm / (1u32 << step) as f64;
            let mut light = level.lightness();
            blur_plane(
                &mut light,
                level.width,
                level.height,
                (diffusion * px_per_mm) as f32,
                1.0,
            );
            Arc::new(Ghost {
                width: level.width,
                height: level.height,
                light,
                px_per_mm,
            })
        });
        Arc::clone(ghost)
    }
}

impl Level {
    /// The plane of a colour (red, green, blue); a grey page has one for all.
    pub(crate) fn plane(&self, channel: usize) -> &[u8] {
        &self.planes[channel.min(self.planes.len() - 1)]
    }

    fn halved(&self) -> Self {
        let (width, height) = (self.width.div_ceil(2), self.height.div_ceil(2));
        let halve = |plane: &Vec<u8>| {
            let mut out = Vec::with_capacity(width * height);
            let get = |x: usize, y: usize| {
                // An odd row or column has bare paper beyond it.
                if x < self.width && y < self.height {
                    linear_of(plane[y * self.width + x])
                } else {
                    1.0
                }
            };
            for y in 0..height {
                for x in 0..width {
                    let (x, y) = (2 * x, 2 * y);
                    let sum = get(x, y) + get(x + 1, y) + get(x, y + 1) + get(x + 1, y + 1);
                    out.push(srgb_byte(sum / 4.0));
                }
            }
            out
        };
        Self {
            width,
            height,
            planes: self.planes.iter().map(halve).collect(),
        }
    }

    fn lightness(&self) -> Vec<f32> {
        let weights: &[f32] = if self.planes.len() == 1 {
            &[1.0]
        } else {
            &[0.2126, 0.7152, 0.0722]
        };
        let mut light = vec![0.0; self.width * self.height];
        for (plane, weight) in self.planes.iter().zip(weights) {
            for (l, &byte) in light.iter_mut().zip(plane) {
                *l += weight * linear_of(byte);
            }
        }
        light
    }

    /// Linear light at a place in this level's pixels (0, 0 is the corner of the first pixel),
    /// interpolated between pixel centres.
    pub(crate) fn sample(&self, plane: &[u8], x: f64, y: f64) -> f32 {
        let ((left, fx), (top, fy)) = (split(x - 0.5), split(y - 0.5));
        let (w, h) = (self.width as i64, self.height as i64);
        let (a, b, c, d) = if left >= 0 && top >= 0 && left + 1 < w && top + 1 < h {
            let at = top as usize * self.width + left as usize;
            let (upper, lower) = (
                &plane[at..at + 2],
                &plane[at + self.width..at + self.width + 2],
            );
            (upper[0], upper[1], lower[0], lower[1])
        } else {
            let get = |x: i64, y: i64| {
                if x >= 0 && y >= 0 && x < w && y < h {
                    plane[(y * w + x) as usize]
                } else {
                    255
                }
            };
            (
                get(left, top),
                get(left + 1, top),
                get(left, top + 1),
                get(left + 1, top + 1),
            )
        };
        if a == b && b == c && c == d {
            return linear_of(a);
        }
        let upper = linear_of(a) * (1.0 - fx) + linear_of(b) * fx;
        let lower = linear_of(c) * (1.0 - fx) + linear_of(d) * fx;
        upper * (1.0 - fy) + lower * fy
    }
}

impl Ghost {
    /// Lightness at a place in the ghost's pixels.
    pub(crate) fn sample(&self, x: f64, y: f64) -> f32 {
        let ((left, fx), (top, fy)) = (split(x - 0.5), split(y - 0.5));
        if left < 0 || top < 0 || left + 1 >= self.width as i64 || top + 1 >= self.height as i64 {
            return 1.0;
        }
        let at = top as usize * self.width + left as usize;
        let (upper, lower) = (
            &self.light[at..at + 2],
            &self.light[at + self.width..at + self.width + 2],
        );
        let upper = upper[0] * (1.0 - fx) + upper[1] * fx;
        let lower = lower[0] * (1.0 - fx) + lower[1] * fx;
        upper * (1.0 - fy) + lower * fy
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::GrayImage;

    fn two_by_three() -> Page {
        let picture = GrayImage::from_raw(2, 3, vec![10, 20, 30, 40, 50, 60]).expect("2 × 3 bytes");
        Page::new(&DynamicImage::ImageLuma8(picture), 1.0)
    }

    #[test]
    fn a_page_turned_clockwise_has_its_head_at_the_right() {
        let turned = two_by_three().turned(QuarterTurn::Clockwise);
        assert_eq!(turned.level(0).planes[0], [50, 30, 10, 60, 40, 20]);
    }

    #[test]
    fn a_page_turned_anticlockwise_has_its_head_at_the_left() {
        let turned = two_by_three().turned(QuarterTurn::Anticlockwise);
        assert_eq!(turned.level(0).planes[0], [20, 40, 60, 10, 30, 50]);
    }

    #[test]
    fn the_coarser_levels_keep_the_light() {
        let black_and_white =
            GrayImage::from_fn(8, 8, |x, _| image::Luma([if x % 2 == 0 { 0 } else { 255 }]));
        let page = Page::new(&DynamicImage::ImageLuma8(black_and_white), 1.0);
        let byte = page.level(1).planes[0][0];
        assert!(
            (linear_of(byte) - 0.5).abs() < 0.01,
            "half the light is {byte}, not 128"
        );
    }
}
