//! What programs do to a picture on its way to the file.

use image::codecs::jpeg::JpegEncoder;
use image::{DynamicImage, ImageBuffer, ImageFormat};

use crate::paint::{Canvas, Depth};

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
