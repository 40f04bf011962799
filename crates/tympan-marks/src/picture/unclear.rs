//! Why no code was read: a picture that is too coarse or too blurred, or one of something else.
//!
//! A test sheet's marks are large enough to be told as dark spots, all of one size, where its codes
//! have long run together.

use super::luma::Luma;
use super::mark::{Patch, patches, px_per_mm_of_spot};
use super::refusal::Refusal;
use super::side_view::COARSEST;
use super::solve::median;

/// The picture is looked at at about this many pixels along its longer side.
const LONG_SIDE: usize = 700;
/// Darker than its surroundings by this share is dark.
const DARKER: f64 = 0.07;
/// Surroundings reach over this share of the longer side.
const AROUND: f64 = 0.05;
/// Spots are alike within this share of their area.
const ALIKE: f64 = 0.4;
/// At least so many alike spots are the marks of a test sheet.
const LEAST_SPOTS: usize = 18;
/// Spots whose half-dark rim takes more than this share of them are blurred.
const SOFT: f64 = 0.45;

/// The refusal of a picture in which no code was read.
pub(super) fn why(luma: &Luma) -> Refusal {
    let longer = luma.width().max(luma.height());
    let factor = (longer / LONG_SIDE).max(1);
    let small = luma.reduced(factor);
    let Some(spots) = Spots::of(&small) else {
        return Refusal::NotATestSheet;
    };
    let px_per_mm = spots.px_per_mm * factor as f64;
    if px_per_mm < COARSEST {
        Refusal::TooCoarse { px_per_mm }
    } else if spots.soft > SOFT {
        Refusal::TooBlurred
    } else {
        Refusal::NotATestSheet
    }
}

/// Many dark spots of one size.
struct Spots {
    px_per_mm: f64,
    /// Share of half-dark pixels in them.
    soft: f64,
}

impl Spots {
    fn of(luma: &Luma) -> Option<Self> {
        let (width, height) = (luma.width(), luma.height());
        let darkness = darkness(luma);
        let mask: Vec<bool> = darkness.iter().map(|&d| d > DARKER).collect();
        let round = |p: &Patch| {
            let [left, top, right, bottom] = p.bounds;
            let (w, h) = ((right - left + 1) as f64, (bottom - top + 1) as f64);
            let inside = left > 0 && top > 0 && right + 1 < width && bottom + 1 < height;
            inside
                && p.count >= 6
                && w.max(h) < 1.5 * w.min(h) + 1.0
                && p.count as f64 > 0.5 * w * h
        };
        let spots: Vec<Patch> = patches(&mask, width).into_iter().filter(round).collect();
        let alike = |area: f64| {
            spots
                .iter()
                .filter(move |s| (s.count as f64 / area - 1.0).abs() < ALIKE)
        };
        let area = spots
            .iter()
            .map(|s| s.count as f64)
            .max_by_key(|&area| alike(area).count())?;
        if alike(area).count() < LEAST_SPOTS {
            return None;
        }
        let mut soft: Vec<f64> = alike(area).map(|s| softness(&darkness, width, s)).collect();
        Some(Self {
            px_per_mm: px_per_mm_of_spot(area),
            soft: median(&mut soft),
        })
    }
}

/// Share of a spot's pixels that are half as dark as its darkest.
fn softness(darkness: &[f64], width: usize, spot: &Patch) -> f64 {
    let [left, top, right, bottom] = spot.bounds;
    let tones = || (top..=bottom).flat_map(|y| &darkness[y * width + left..=y * width + right]);
    let most = tones().copied().fold(0.0, f64::max);
    let half = tones().filter(|&&d| d > 0.25 * most && d < 0.75 * most);
    half.count() as f64 / spot.count as f64
}

/// How much darker each pixel is than the mean of its surroundings, a share.
fn darkness(luma: &Luma) -> Vec<f64> {
    let (width, height) = (luma.width(), luma.height());
    let reach = ((width.max(height) as f64 * AROUND) as usize).max(3);
    // Sums over all that lies above and to the left.
    let stride = width + 1;
    let mut sums = vec![0_u64; stride * (height + 1)];
    for (y, row) in luma.data().chunks_exact(width.max(1)).enumerate() {
        let mut sum = 0;
        for (x, &v) in row.iter().enumerate() {
            sum += u64::from(v);
            sums[(y + 1) * stride + x + 1] = sums[y * stride + x + 1] + sum;
        }
    }
    let mut shares = Vec::with_capacity(width * height);
    for y in 0..height {
        let (top, bottom) = (y.saturating_sub(reach), (y + reach + 1).min(height));
        for x in 0..width {
            let (left, right) = (x.saturating_sub(reach), (x + reach + 1).min(width));
            let area = ((bottom - top) * (right - left)) as f64;
            let sum = sums[bottom * stride + right] + sums[top * stride + left]
                - sums[top * stride + right]
                - sums[bottom * stride + left];
            let mean = (sum as f64 / area).max(1.0);
            shares.push(1.0 - f64::from(luma.data()[y * width + x]) / mean);
        }
    }
    shares
}
