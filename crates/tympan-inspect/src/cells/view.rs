//! Looking at the page's picture in straightened mm.

use image::GrayImage;
use tympan_sheet::{Affine, Page, Point, Rect};

/// Lighter than this is paper.
const PAPER: u8 = 252;

/// Darker than this is colour that shows a cut that went astray.
const COLOURED: u8 = 235;

/// Places along each side that are looked at.
const AROUND: usize = 40;

/// How finely cells are compared: samples across and down.
const SAMPLES: usize = 24;

/// The page's picture.
pub(super) struct View<'a> {
    pub(super) picture: &'a GrayImage,
    pub(super) px_per_mm: f64,
    /// From the straightened page to the page as seen.
    pub(super) to_page: Affine<Page>,
}

impl View<'_> {
    /// The share of a straightened rectangle that holds anything; 0 for a few specks.
    pub(super) fn inked(&self, rect: Rect<Page>) -> f64 {
        let samples = self.samples(rect, 4 * SAMPLES);
        let ink = samples.iter().filter(|shade| **shade < PAPER).count();
        if ink < 3 {
            0.0
        } else {
            ink as f64 / samples.len() as f64
        }
    }

    /// The share of the way around a straightened rectangle, `by` mm outside of it (inside where
    /// negative), that is coloured. Corners are left out, since they may be round.
    pub(super) fn coloured_around(&self, rect: Rect<Page>, by: f64) -> f64 {
        let (size, around) = (rect.size(), rect.grown(by));
        let mut coloured = 0;
        for i in 0..AROUND {
            let along = 0.08 + 0.84 * (i as f64 + 0.5) / AROUND as f64;
            let (x, y) = (rect.min.x + size.w * along, rect.min.y + size.h * along);
            let sides = [
                Point::new(x, around.min.y),
                Point::new(x, around.max.y),
                Point::new(around.min.x, y),
                Point::new(around.max.x, y),
            ];
            coloured += sides
                .iter()
                .filter(|at| self.shade(**at) < COLOURED)
                .count();
        }
        coloured as f64 / (4 * AROUND) as f64
    }

    /// How far the looks of two straightened rectangles lie apart, in mean steps of grey.
    pub(super) fn apart(&self, a: Rect<Page>, b: Rect<Page>) -> f64 {
        let (a, b) = (self.samples(a, SAMPLES), self.samples(b, SAMPLES));
        let sum: u32 = a
            .iter()
            .zip(&b)
            .map(|(a, b)| u32::from(a.abs_diff(*b)))
            .sum();
        f64::from(sum) / a.len() as f64
    }

    /// Greys at evenly spread places, `count` across and down.
    fn samples(&self, rect: Rect<Page>, count: usize) -> Vec<u8> {
        let size = rect.size();
        let step = |i: usize| (i as f64 + 0.5) / count as f64;
        (0..count * count)
            .map(|i| {
                let (column, row) = (i % count, i / count);
                self.shade(Point::new(
                    rect.min.x + size.w * step(column),
                    rect.min.y + size.h * step(row),
                ))
            })
            .collect()
    }

    /// The mean grey around a straightened place; white off the page.
    fn shade(&self, at: Point<Page>) -> u8 {
        let p = self.to_page.apply(at);
        let (x, y) = ((p.x * self.px_per_mm) as i64, (p.y * self.px_per_mm) as i64);
        let mut sum = 0;
        for dy in -1..=1 {
            for dx in -1..=1 {
                let pixel = (u32::try_from(x + dx).ok()).zip(u32::try_from(y + dy).ok());
                let seen = pixel.and_then(|(x, y)| self.picture.get_pixel_checked(x, y));
                sum += seen.map_or(255, |pixel| u32::from(pixel.0[0]));
            }
        }
        (sum / 9) as u8
    }
}
