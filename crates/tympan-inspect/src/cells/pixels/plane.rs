//! A straightened picture.

use image::GrayImage;
use tympan_sheet::{Page, Rect};

/// Lighter than this is paper.
pub(super) const PAPER: f32 = 238.0;

/// A grey picture, 0 black to 255 white, row by row.
pub(super) struct Plane {
    pub(super) w: usize,
    pub(super) h: usize,
    grey: Vec<f32>,
}

impl Plane {
    /// The picture turned back by `tilt` radians (clockwise as seen) about its middle.
    pub(super) fn straight(picture: &GrayImage, tilt: f64) -> Self {
        let (w, h) = (picture.width() as usize, picture.height() as usize);
        let raw = picture.as_raw();
        if tilt == 0.0 {
            let grey = raw.iter().map(|v| f32::from(*v)).collect();
            return Self { w, h, grey };
        }
        let (sin, cos) = (tilt.sin() as f32, tilt.cos() as f32);
        let (cx, cy) = (w as f32 / 2.0, h as f32 / 2.0);
        let at = |x: usize, y: usize| f32::from(raw[y * w + x]);
        let mut grey = Vec::with_capacity(w * h);
        for y in 0..h {
            let v = y as f32 + 0.5 - cy;
            for x in 0..w {
                let u = x as f32 + 0.5 - cx;
                let px = cos * u - sin * v + cx - 0.5;
                let py = sin * u + cos * v + cy - 0.5;
                let (fx, fy) = (px.floor(), py.floor());
                let inside = fx >= 0.0 && fy >= 0.0;
                let (ix, iy) = (fx as usize, fy as usize);
                if !inside || ix + 1 >= w || iy + 1 >= h {
                    grey.push(255.0);
                    continue;
                }
                let (dx, dy) = (px - fx, py - fy);
                let top = at(ix, iy) * (1.0 - dx) + at(ix + 1, iy) * dx;
                let foot = at(ix, iy + 1) * (1.0 - dx) + at(ix + 1, iy + 1) * dx;
                grey.push(top * (1.0 - dy) + foot * dy);
            }
        }
        Self { w, h, grey }
    }

    /// With rows and columns exchanged.
    pub(super) fn transposed(&self) -> Self {
        let mut grey = vec![0.0; self.grey.len()];
        for y in 0..self.h {
            for (x, value) in self.row(y).iter().enumerate() {
                grey[x * self.h + y] = *value;
            }
        }
        Self {
            w: self.h,
            h: self.w,
            grey,
        }
    }

    pub(super) fn row(&self, y: usize) -> &[f32] {
        &self.grey[y * self.w..(y + 1) * self.w]
    }

    /// The share of a rectangle, mm, that is not paper.
    pub(super) fn inked(&self, rect: Rect<Page>, px_per_mm: f64) -> f64 {
        let px = |mm: f64, most: usize| ((mm * px_per_mm).max(0.0) as usize).min(most);
        let (x0, x1) = (px(rect.min.x, self.w), px(rect.max.x, self.w));
        let (y0, y1) = (px(rect.min.y, self.h), px(rect.max.y, self.h));
        let all = (x1.saturating_sub(x0) * y1.saturating_sub(y0)).max(1);
        let ink: usize = (y0..y1)
            .map(|y| self.row(y)[x0..x1].iter().filter(|v| **v < PAPER).count())
            .sum();
        ink as f64 / all as f64
    }
}
