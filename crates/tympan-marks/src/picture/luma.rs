//! Grey pictures.

use tympan_sheet::{Frame, Point};

/// The frame of a picture's pixels: x to the right, y down, the top left pixel's centre at
/// (0.5, 0.5).
#[derive(Copy, Clone, Debug, PartialEq, Default)]
pub struct Pixels;

impl Frame for Pixels {}

/// A grey picture, 8 bits to a pixel.
#[derive(Clone, PartialEq)]
pub struct Luma {
    width: usize,
    height: usize,
    data: Vec<u8>,
}

impl std::fmt::Debug for Luma {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Luma({} × {})", self.width, self.height)
    }
}

impl Luma {
    /// A picture from its rows, top to bottom. `None` where the count of bytes does not fit.
    pub fn new(width: usize, height: usize, data: Vec<u8>) -> Option<Self> {
        (width.checked_mul(height) == Some(data.len())).then_some(Self {
            width,
            height,
            data,
        })
    }

    /// Width, px.
    pub fn width(&self) -> usize {
        self.width
    }

    /// Height, px.
    pub fn height(&self) -> usize {
        self.height
    }

    /// Rows, top to bottom.
    pub fn data(&self) -> &[u8] {
        &self.data
    }

    /// One row of pixels.
    pub(super) fn row(&self, y: usize) -> &[u8] {
        &self.data[y * self.width..][..self.width]
    }

    /// Whether a point lies in the picture, at least `margin` px from its border.
    pub(super) fn holds(&self, p: Point<Pixels>, margin: f64) -> bool {
        p.x >= margin
            && p.y >= margin
            && p.x <= self.width as f64 - margin
            && p.y <= self.height as f64 - margin
    }

    /// The tone at a point, between the four nearest pixel centres. `None` outside.
    pub(super) fn at(&self, p: Point<Pixels>) -> Option<f64> {
        let (x, y) = (p.x - 0.5, p.y - 0.5);
        let inside = x >= 0.0 && y >= 0.0 && x < self.width as f64 && y < self.height as f64;
        if !inside {
            return None;
        }
        let (i, j) = (x as usize, y as usize);
        if i + 1 >= self.width || j + 1 >= self.height {
            return None;
        }
        let (fx, fy) = (x - i as f64, y - j as f64);
        let k = j * self.width + i;
        let tone = |k: usize| f64::from(self.data[k]);
        let top = tone(k) * (1.0 - fx) + tone(k + 1) * fx;
        let bottom = tone(k + self.width) * (1.0 - fx) + tone(k + self.width + 1) * fx;
        Some(top * (1.0 - fy) + bottom * fy)
    }

    /// The pixels whose centres lie within a box, cut to the picture: left, top, right, bottom
    /// (exclusive). `None` where nothing is left.
    pub(super) fn window(&self, centre: Point<Pixels>, half: [f64; 2]) -> Option<[usize; 4]> {
        let cut = |v: f64, size: usize| v.clamp(0.0, size as f64) as usize;
        let left = cut((centre.x - half[0]).floor(), self.width);
        let right = cut((centre.x + half[0]).ceil(), self.width);
        let top = cut((centre.y - half[1]).floor(), self.height);
        let bottom = cut((centre.y + half[1]).ceil(), self.height);
        (left < right && top < bottom).then_some([left, top, right, bottom])
    }

    /// The picture made smaller by a whole factor, each new pixel the mean of a square of old
    /// ones. What is left over at the right and the bottom is dropped.
    pub(super) fn reduced(&self, factor: usize) -> Self {
        if factor <= 1 {
            return self.clone();
        }
        let (width, height) = (self.width / factor, self.height / factor);
        let mut data = Vec::with_capacity(width * height);
        let mut sums = vec![0_u32; width];
        let area = (factor * factor) as u32;
        for y in 0..height {
            sums.fill(0);
            for row in 0..factor {
                let row = self.row(y * factor + row);
                for (sum, pixels) in sums.iter_mut().zip(row.chunks_exact(factor)) {
                    *sum += pixels.iter().map(|&v| u32::from(v)).sum::<u32>();
                }
            }
            data.extend(sums.iter().map(|&sum| ((sum + area / 2) / area) as u8));
        }
        Self {
            width,
            height,
            data,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reduced_picture_keeps_its_means() {
        let luma = Luma::new(4, 2, vec![0, 10, 20, 30, 10, 20, 30, 40]).expect("eight pixels");
        let half = luma.reduced(2);
        assert_eq!(
            (half.width(), half.height(), half.data()),
            (2, 1, &[10, 30][..])
        );
    }

    #[test]
    fn tones_are_taken_at_pixel_centres() {
        let luma = Luma::new(2, 2, vec![0, 100, 100, 200]).expect("four pixels");
        assert_eq!(luma.at(Point::new(0.5, 0.5)), Some(0.0));
        assert_eq!(luma.at(Point::new(1.0, 1.0)), Some(100.0));
        assert_eq!(luma.at(Point::new(0.4, 0.5)), None);
    }

    #[test]
    fn a_picture_needs_all_its_pixels() {
        assert!(Luma::new(2, 2, vec![0; 3]).is_none());
        assert!(Luma::new(usize::MAX, 2, vec![0; 3]).is_none());
    }
}
