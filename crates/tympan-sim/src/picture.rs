//! What programs do to a picture on its way to the file.

use image::codecs::jpeg::JpegEncoder;
use image::{DynamicImage, ImageFormat};

pub(crate) type Picture = DynamicImage;

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
