//! What programs do to a picture on its way to the file.

use image::codecs::jpeg::{JpegEncoder, PixelDensity};
use image::{DynamicImage, ImageBuffer, ImageFormat, ImageResult, RgbImage};

use crate::light::linear_of;
use crate::paint::{Canvas, Depth};

/// The picture as a JPEG file of this quality that states its pixels to the inch.
///
/// # Errors
/// Where the picture has 16 bits or is too large for a JPEG.
pub fn jpeg_bytes(picture: &DynamicImage, quality: u8, dpi: f64) -> ImageResult<Vec<u8>> {
    let mut bytes = Vec::new();
    let mut encoder = JpegEncoder::new_with_quality(&mut bytes, quality);
    encoder.set_pixel_density(PixelDensity::dpi(dpi.round() as u16));
    encoder.encode_image(picture)?;
    Ok(bytes)
}

/// The picture as a PNG file that states its pixels to the inch.
///
/// # Errors
/// Where the encoder fails.
pub fn png_bytes(picture: &DynamicImage, dpi: f64) -> ImageResult<Vec<u8>> {
    let mut bytes = std::io::Cursor::new(Vec::new());
    picture.write_to(&mut bytes, ImageFormat::Png)?;
    let mut bytes = bytes.into_inner();
    // pHYs (PNG, third edition, 11.3.4.3): pixels to the metre along x and y, unit 1. It stands
    // anywhere before the pixels: here after the signature and IHDR, 8 and 25 bytes.
    let per_metre = ((dpi / 0.0254).round() as u32).to_be_bytes();
    let mut chunk = b"pHYs".to_vec();
    chunk.extend(per_metre);
    chunk.extend(per_metre);
    chunk.push(1);
    let crc = crc32(&chunk).to_be_bytes();
    let whole = [&9u32.to_be_bytes()[..], &chunk, &crc].concat();
    bytes.splice(33..33, whole);
    Ok(bytes)
}

/// The check of PNG, annex D: CRC-32, bit by bit.
fn crc32(bytes: &[u8]) -> u32 {
    let step = |crc: u32, _| {
        if crc & 1 == 1 {
            0xedb8_8320 ^ (crc >> 1)
        } else {
            crc >> 1
        }
    };
    !bytes
        .iter()
        .fold(!0, |crc, &byte| (0..8).fold(crc ^ u32::from(byte), step))
}

/// The picture after it was written as a JPEG of this quality (1 to 100) and read again.
///
/// # Panics
/// Where the picture is too large for a JPEG (65,535 pixels a side).
pub fn through_jpeg(picture: &DynamicImage, quality: u8) -> DynamicImage {
    let mut bytes = Vec::new();
    JpegEncoder::new_with_quality(&mut bytes, quality)
        .encode_image(picture)
        .expect("an 8-bit picture within JPEG's limits");
    image::load_from_memory_with_format(&bytes, ImageFormat::Jpeg).expect("what was just encoded")
}

/// Where a dark mark lies: the centroid of the light that is missing, in one channel (red 0, green
/// 1, blue 2), within a square of `2 half` px about a place. What is missing is counted from the
/// brightest of the square's rim, so the square must hold the mark whole and nothing else. Px from
/// the picture's top left corner; nothing where there is no mark or the square leaves the picture.
pub fn dark_centroid(
    picture: &RgbImage,
    channel: usize,
    about: [f64; 2],
    half: f64,
) -> Option<[f64; 2]> {
    let [left, top] = about.map(|c| (c - half).round());
    let [right, bottom] = about.map(|c| (c + half).round());
    if left < 0.0 || top < 0.0 {
        return None;
    }
    let (left, top, right, bottom) = (left as u32, top as u32, right as u32, bottom as u32);
    if right > picture.width() || bottom > picture.height() || left >= right || top >= bottom {
        return None;
    }
    let light = |x: u32, y: u32| f64::from(linear_of(picture.get_pixel(x, y).0[channel]));
    let across = (left..right).flat_map(|x| [light(x, top), light(x, bottom - 1)]);
    let down = (top..bottom).flat_map(|y| [light(left, y), light(right - 1, y)]);
    let ground = across.chain(down).fold(0.0, f64::max);
    let (mut sum, mut sx, mut sy) = (0.0, 0.0, 0.0);
    for y in top..bottom {
        for x in left..right {
            let missing = ground - light(x, y);
            sum += missing;
            sx += missing * (f64::from(x) + 0.5);
            sy += missing * (f64::from(y) + 0.5);
        }
    }
    (sum > 1.0).then(|| [sx / sum, sy / sum])
}

/// A picture of painted codes.
pub(crate) fn picture_of(codes: Vec<u16>, canvas: &Canvas) -> DynamicImage {
    let (w, h) = (canvas.width as u32, canvas.height as u32);
    let picture: Option<DynamicImage> = match (canvas.depth, canvas.colour) {
        (Depth::Eight, colour) => {
            let bytes: Vec<u8> = codes.into_iter().map(|c| c as u8).collect();
            if colour {
                ImageBuffer::from_raw(w, h, bytes).map(DynamicImage::ImageRgb8)
            } else {
                ImageBuffer::from_raw(w, h, bytes).map(DynamicImage::ImageLuma8)
            }
        }
        (Depth::Sixteen, true) => ImageBuffer::from_raw(w, h, codes).map(DynamicImage::ImageRgb16),
        (Depth::Sixteen, false) => {
            ImageBuffer::from_raw(w, h, codes).map(DynamicImage::ImageLuma16)
        }
    };
    picture.unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_centroid_of_a_block_is_its_middle() {
        let block = |x: u32, y: u32| (10..14).contains(&x) && (20..26).contains(&y);
        let picture = RgbImage::from_fn(40, 40, |x, y| {
            image::Rgb([255, if block(x, y) { 0 } else { 255 }, 255])
        });
        assert_eq!(
            dark_centroid(&picture, 1, [13.0, 22.0], 8.0),
            Some([12.0, 23.0])
        );
        assert_eq!(
            dark_centroid(&picture, 0, [13.0, 22.0], 8.0),
            None,
            "no mark in red"
        );
        assert_eq!(
            dark_centroid(&picture, 1, [2.0, 22.0], 8.0),
            None,
            "beyond the edge"
        );
    }

    /// The check value of CRC-32 for the digits 1 to 9, as catalogues of CRCs give it.
    #[test]
    fn the_crc_has_its_check_value() {
        assert_eq!(crc32(b"123456789"), 0xcbf4_3926);
    }

    #[test]
    fn a_png_with_its_resolution_is_still_the_same_picture() {
        let picture = DynamicImage::ImageLuma8(ImageBuffer::from_fn(9, 5, |x, y| {
            image::Luma([(x * 20 + y) as u8])
        }));
        let bytes = png_bytes(&picture, 300.0).expect("a small picture");
        assert!(image::load_from_memory(&bytes).expect("a PNG") == picture);
        // 300 dpi are 11,811 pixels to the metre.
        assert!(
            bytes
                .windows(8)
                .any(|w| w == [b'p', b'H', b'Y', b's', 0, 0, 0x2e, 0x23])
        );
    }
}
