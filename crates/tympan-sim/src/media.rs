//! The paper or card that is printed on: how it takes light, and how exactly it is cut.

use crate::light::split;
use crate::rng::Rng;

/// A stock as light sees it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Media {
    /// Reflectance in red, green and blue, 0 to 1 in linear light.
    pub white: [f64; 3],
    /// How much of the other side's darkness is seen by reflected light: 0 for an opaque board,
    /// 0.02 to 0.12 for copying paper.
    pub show_through: f64,
    /// How far light spreads within the sheet, mm (sd).
    pub diffusion: f64,
    /// Thickness, mm.
    pub caliper: f64,
    /// Unevenness of the surface by reflected light (relative sd).
    pub fibre: f64,
    /// Cloudiness against the light (relative sd).
    pub formation: f64,
    /// Largest error of the cut size, mm; ISO 216 allows 2 mm for sides from 150 to 600 mm.
    pub size_tolerance: f64,
}

impl Media {
    /// Office paper of 80 g/m².
    pub const PAPER: Self = Self {
        white: [0.84, 0.85, 0.87],
        show_through: 0.08,
        diffusion: 0.25,
        caliper: 0.10,
        fibre: 0.006,
        formation: 0.05,
        size_tolerance: 0.0,
    };

    /// Card of about 200 g/m².
    pub const CARD: Self = Self {
        white: [0.83, 0.83, 0.82],
        show_through: 0.015,
        diffusion: 0.35,
        caliper: 0.25,
        fibre: 0.006,
        formation: 0.03,
        size_tolerance: 0.0,
    };

    /// The same stock cut with errors up to this many mm.
    pub const fn cut_within(mut self, tolerance: f64) -> Self {
        self.size_tolerance = tolerance;
        self
    }
}

impl Default for Media {
    fn default() -> Self {
        Self::CARD
    }
}

/// A tile of smooth noise with unit variance that repeats without a seam.
#[derive(Debug)]
pub(crate) struct Texture {
    cells: Vec<f32>,
}

/// A power of two.
const SIDE: usize = 256;

impl Texture {
    pub(crate) fn new(seed: u64) -> Self {
        let mut rng = Rng::stream(seed, 0x7e87);
        let raw: Vec<f32> = (0..SIDE * SIDE).map(|_| rng.normal() as f32).collect();
        let smooth = |from: &[f32], dx: usize, dy: usize| -> Vec<f32> {
            let get = |x: usize, y: usize| from[(y % SIDE) * SIDE + x % SIDE];
            (0..SIDE * SIDE)
                .map(|i| {
                    let (x, y) = (i % SIDE + SIDE, i / SIDE + SIDE);
                    0.25 * get(x - dx, y - dy) + 0.5 * get(x, y) + 0.25 * get(x + dx, y + dy)
                })
                .collect()
        };
        let mut cells = smooth(&smooth(&raw, 1, 0), 0, 1);
        // Two passes of ¼ ½ ¼ leave a standard deviation of 3/8.
        cells.iter_mut().for_each(|c| *c /= 0.375);
        Self { cells }
    }

    /// The noise of the cell at these cell coordinates.
    pub(crate) fn cell(&self, x: f64, y: f64) -> f32 {
        self.whole(split(x).0, split(y).0)
    }

    fn whole(&self, x: i64, y: i64) -> f32 {
        let wrap = |i: i64| i as usize & (SIDE - 1);
        self.cells[wrap(y) * SIDE + wrap(x)]
    }

    /// The noise interpolated between cells.
    pub(crate) fn smooth(&self, x: f64, y: f64) -> f32 {
        let ((x, fx), (y, fy)) = (split(x), split(y));
        let upper = self.whole(x, y) * (1.0 - fx) + self.whole(x + 1, y) * fx;
        let lower = self.whole(x, y + 1) * (1.0 - fx) + self.whole(x + 1, y + 1) * fx;
        upper * (1.0 - fy) + lower * fy
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_texture_has_unit_variance() {
        let texture = Texture::new(3);
        let n = (SIDE * SIDE) as f32;
        let mean = texture.cells.iter().sum::<f32>() / n;
        let variance = texture
            .cells
            .iter()
            .map(|c| (c - mean).powi(2))
            .sum::<f32>()
            / n;
        assert!(
            mean.abs() < 0.05 && (variance - 1.0).abs() < 0.05,
            "{mean} {variance}"
        );
    }
}
