//! Light and its coding: sRGB (IEC 61966-2-1), blur.

use std::sync::OnceLock;

fn decode(value: f64) -> f64 {
    if value <= 0.04045 {
        value / 12.92
    } else {
        ((value + 0.055) / 1.055).powf(2.4)
    }
}

fn encode(light: f64) -> f64 {
    if light <= 0.003_130_8 {
        light * 12.92
    } else {
        1.055 * light.powf(1.0 / 2.4) - 0.055
    }
}

fn decode_table() -> &'static [f32; 256] {
    static TABLE: OnceLock<[f32; 256]> = OnceLock::new();
    TABLE.get_or_init(|| std::array::from_fn(|i| decode(i as f64 / 255.0) as f32))
}

const STEPS: usize = 8192;

fn encode_table() -> &'static [f32] {
    static TABLE: OnceLock<Vec<f32>> = OnceLock::new();
    TABLE.get_or_init(|| {
        (0..=STEPS + 1)
            .map(|i| encode(i as f64 / STEPS as f64) as f32)
            .collect()
    })
}

/// The light, 0 to 1, that a coded byte stands for.
pub(crate) fn linear_of(byte: u8) -> f32 {
    decode_table()[byte as usize]
}

/// The code, 0 to 1, of an amount of light; what is brighter than 1 is cut off.
pub(crate) fn code_of(light: f32) -> f32 {
    let table = encode_table();
    let at = light.clamp(0.0, 1.0) * STEPS as f32;
    let i = at as usize;
    table[i] + (table[i + 1] - table[i]) * (at - i as f32)
}

/// The byte that codes an amount of light.
pub(crate) fn srgb_byte(light: f32) -> u8 {
    (code_of(light) * 255.0 + 0.5) as u8
}

/// A coordinate's whole part, rounded down, and what is left. (`f64::floor` is a call into the C
/// library on plain x86-64, and this is asked several times for every pixel.)
pub(crate) fn split(x: f64) -> (i64, f32) {
    let toward_zero = x as i64;
    let whole = if toward_zero as f64 > x {
        toward_zero - 1
    } else {
        toward_zero
    };
    (whole, (x - whole as f64) as f32)
}

/// Half a Gaussian kernel that sums to one, its middle first.
pub(crate) fn kernel(sigma: f32) -> Vec<f32> {
    if sigma < 0.15 {
        return vec![1.0];
    }
    let radius = (3.2 * sigma).ceil() as i32;
    // Each tap is the Gaussian's mean over its pixel, which keeps narrow kernels honest.
    let weight = |i: i32| {
        let mean = (-4..=4).map(|k| {
            let x = i as f32 + k as f32 / 9.0;
            (-0.5 * (x / sigma).powi(2)).exp()
        });
        mean.sum::<f32>()
    };
    let half: Vec<f32> = (0..=radius).map(weight).collect();
    let sum = half[0] + 2.0 * half[1..].iter().sum::<f32>();
    half.into_iter().map(|w| w / sum).collect()
}

/// Blurs one row into another of the same length; beyond the ends lies `outside`, or the end
/// pixel repeated.
pub(crate) fn blur_row(from: &[f32], to: &mut [f32], kernel: &[f32], outside: Option<f32>) {
    let (n, radius) = (from.len(), kernel.len() - 1);
    let get = |i: isize| {
        if i >= 0 && (i as usize) < n {
            from[i as usize]
        } else {
            outside.unwrap_or_else(|| from[if i < 0 { 0 } else { n - 1 }])
        }
    };
    for (x, out) in to.iter_mut().enumerate() {
        if x >= radius && x + radius < n {
            let mut sum = kernel[0] * from[x];
            for (k, weight) in kernel.iter().enumerate().skip(1) {
                sum += weight * (from[x - k] + from[x + k]);
            }
            *out = sum;
        } else {
            let mut sum = kernel[0] * from[x];
            for (k, weight) in kernel.iter().enumerate().skip(1) {
                let (x, k) = (x as isize, k as isize);
                sum += weight * (get(x - k) + get(x + k));
            }
            *out = sum;
        }
    }
}

/// Blurs a plane in place by a Gaussian of `sigma` pixels, with `outside` all around it.
pub(crate) fn blur_plane(plane: &mut [f32], width: usize, height: usize, sigma: f32, outside: f32) {
    let kernel = kernel(sigma);
    if kernel.len() == 1 || width == 0 || height == 0 {
        return;
    }
    let mut rows = vec![0.0; plane.len()];
    for (from, to) in plane.chunks(width).zip(rows.chunks_mut(width)) {
        blur_row(from, to, &kernel, Some(outside));
    }
    let radius = kernel.len() as isize - 1;
    for (y, out) in plane.chunks_mut(width).enumerate() {
        out.fill(0.0);
        for k in -radius..=radius {
            let (weight, row) = (kernel[k.unsigned_abs()], y as isize + k);
            if row < 0 || row >= height as isize {
                out.iter_mut().for_each(|o| *o += weight * outside);
            } else {
                let row = row as usize * width;
                out.iter_mut()
                    .zip(&rows[row..row + width])
                    .for_each(|(o, r)| *o += weight * r);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_byte_survives_decoding_and_coding() {
        for byte in 0..=255 {
            assert_eq!(srgb_byte(linear_of(byte)), byte);
        }
    }

    #[test]
    fn mid_grey_carries_a_fifth_of_the_light() {
        assert!(
            (linear_of(128) - 0.215_86).abs() < 1e-4,
            "IEC 61966-2-1: 128 is 21.586 %"
        );
    }

    #[test]
    fn a_blurred_spot_keeps_its_weight_and_has_the_width_asked_for() {
        let (n, sigma) = (61, 2.5);
        let mut plane = vec![0.0; n * n];
        plane[30 * n + 30] = 1.0;
        blur_plane(&mut plane, n, n, sigma, 0.0);
        let sum: f32 = plane.iter().sum();
        let spread = |i: usize| (i as f32 - 30.0).powi(2);
        let variance: f32 = (0..n * n).map(|i| plane[i] * spread(i % n)).sum();
        assert!((sum - 1.0).abs() < 1e-4);
        assert!((variance.sqrt() - sigma).abs() < 0.1, "{}", variance.sqrt());
    }
}
