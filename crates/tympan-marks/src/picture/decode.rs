//! From files to grey pictures, within limits.

use std::io::Cursor;

use image::metadata::Orientation;
use image::{DynamicImage, ImageDecoder, ImageError, ImageFormat, ImageReader, Limits};

use super::luma::Luma;
use super::refusal::Refusal;

/// The most pixels that are decoded: A3 at 1200 dpi has 278 million, but at 600 dpi 70.
const MAX_PIXELS: u64 = 200_000_000;
/// The longest side, px.
const MAX_SIDE: u32 = 32_000;
/// The most memory that a decoder may take, bytes.
const MAX_ALLOC: u64 = 1_700_000_000;
/// The most pages of a TIFF that are looked at.
const MAX_PAGES: usize = 64;

/// All pages of a PNG, JPEG, TIFF or WebP file, upright by their EXIF orientation, in grey.
///
/// # Errors
/// [`Refusal::NotAPicture`], [`Refusal::Format`], [`Refusal::TooLarge`] before anything is
/// decoded, [`Refusal::Damaged`].
pub fn decode(bytes: &[u8]) -> Result<Vec<Luma>, Refusal> {
    let format = format_of(bytes)?;
    if format != ImageFormat::Tiff {
        return Ok(vec![page(bytes, format)?]);
    }
    let Some((order, offsets)) = tiff_pages(bytes) else {
        return Ok(vec![page(bytes, format)?]);
    };
    // The decoder reads the first page; so each page in turn is made the first.
    let mut patched = bytes.to_vec();
    let mut pages = Vec::new();
    let mut pixels = 0_u64;
    for offset in offsets {
        let pointer = match order {
            Order::Little => offset.to_le_bytes(),
            Order::Big => offset.to_be_bytes(),
        };
        patched[4..8].copy_from_slice(&pointer);
        let luma = page(&patched, format)?;
        pixels += (luma.width() * luma.height()) as u64;
        if pixels > MAX_PIXELS {
            return Err(Refusal::TooLarge {
                width: luma.width() as u64,
                height: luma.height() as u64,
            });
        }
        pages.push(luma);
    }
    Ok(pages)
}

/// The format by the file's first bytes.
fn format_of(bytes: &[u8]) -> Result<ImageFormat, Refusal> {
    if bytes.get(4..8) == Some(b"ftyp") {
        return match bytes.get(8..12) {
            Some(b"avif" | b"avis") => Err(Refusal::Format("AVIF")),
            Some(b"heic" | b"heix" | b"hevc" | b"heim" | b"heis" | b"mif1" | b"msf1") => {
                Err(Refusal::Format("HEIC"))
            }
            _ => Err(Refusal::NotAPicture),
        };
    }
    match image::guess_format(bytes) {
        Ok(
            format @ (ImageFormat::Png | ImageFormat::Jpeg | ImageFormat::Tiff | ImageFormat::WebP),
        ) => Ok(format),
        Ok(ImageFormat::Gif) => Err(Refusal::Format("GIF")),
        Ok(ImageFormat::Bmp) => Err(Refusal::Format("BMP")),
        _ => Err(Refusal::NotAPicture),
    }
}

fn page(bytes: &[u8], format: ImageFormat) -> Result<Luma, Refusal> {
    let mut reader = ImageReader::with_format(Cursor::new(bytes), format);
    let mut limits = Limits::default();
    limits.max_alloc = Some(MAX_ALLOC);
    reader.limits(limits);
    let mut decoder = reader.into_decoder().map_err(damaged)?;
    let (width, height) = decoder.dimensions();
    let pixels = u64::from(width) * u64::from(height);
    if pixels > MAX_PIXELS || width.max(height) > MAX_SIDE {
        return Err(Refusal::TooLarge {
            width: width.into(),
            height: height.into(),
        });
    }
    // Deflate packs at most about 1000 to 1, and a scan of paper is far from that: what comes
    // near it is made to fill memory. (Fax compression in a TIFF may do so honestly.)
    let packed = pixels / bytes.len().max(1) as u64;
    if format != ImageFormat::Tiff && pixels > 20_000_000 && packed > 900 {
        return Err(Refusal::TooLarge {
            width: width.into(),
            height: height.into(),
        });
    }
    let orientation = decoder.orientation().unwrap_or(Orientation::NoTransforms);
    let image = DynamicImage::from_decoder(decoder).map_err(damaged)?;
    let mut grey = DynamicImage::ImageLuma8(to_grey(image));
    grey.apply_orientation(orientation);
    let grey = grey.into_luma8();
    let (width, height) = (grey.width() as usize, grey.height() as usize);
    Luma::new(width, height, grey.into_raw()).ok_or(Refusal::NotAPicture)
}

fn damaged(error: ImageError) -> Refusal {
    match error {
        ImageError::Limits(_) => Refusal::Damaged("it asks for too much memory".to_owned()),
        other => Refusal::Damaged(other.to_string()),
    }
}

/// Grey by the weights of Rec. 709 on the coded values; transparency counts as white paper.
fn to_grey(image: DynamicImage) -> image::GrayImage {
    fn grey(r: u32, g: u32, b: u32) -> u32 {
        (r * 54 + g * 183 + b * 19 + 128) >> 8
    }
    let (width, height) = (image.width(), image.height());
    let data: Vec<u8> = match image {
        DynamicImage::ImageLuma8(grey) => return grey,
        DynamicImage::ImageRgb8(rgb) => rgb
            .as_raw()
            .chunks_exact(3)
            .map(|p| grey(p[0].into(), p[1].into(), p[2].into()) as u8)
            .collect(),
        DynamicImage::ImageLuma16(deep) => deep
            .as_raw()
            .iter()
            .map(|&v| ((u32::from(v) * 255 + 32_767) / 65_535) as u8)
            .collect(),
        DynamicImage::ImageRgb16(rgb) => rgb
            .as_raw()
            .chunks_exact(3)
            .map(|p| {
                let v = grey(p[0].into(), p[1].into(), p[2].into());
                ((v * 255 + 32_767) / 65_535) as u8
            })
            .collect(),
        other => other
            .into_rgba8()
            .as_raw()
            .chunks_exact(4)
            .map(|p| {
                let v = grey(p[0].into(), p[1].into(), p[2].into());
                let alpha = u32::from(p[3]);
                ((v * alpha + 255 * (255 - alpha) + 127) / 255) as u8
            })
            .collect(),
    };
    // The count of pixels is the picture's own, so the buffer always fits.
    image::GrayImage::from_raw(width, height, data).unwrap_or_default()
}

#[derive(Clone, Copy)]
enum Order {
    Little,
    Big,
}

/// Where the pages of a classic TIFF begin (TIFF 6.0, section 2). `None` for anything unusual,
/// which is then left to the decoder.
fn tiff_pages(bytes: &[u8]) -> Option<(Order, Vec<u32>)> {
    let order = match bytes.get(..4)? {
        b"II*\0" => Order::Little,
        b"MM\0*" => Order::Big,
        _ => return None,
    };
    let word = |at: usize| -> Option<u32> {
        let b: [u8; 4] = bytes.get(at..at.checked_add(4)?)?.try_into().ok()?;
        Some(match order {
            Order::Little => u32::from_le_bytes(b),
            Order::Big => u32::from_be_bytes(b),
        })
    };
    let short = |at: usize| -> Option<u16> {
        let b: [u8; 2] = bytes.get(at..at.checked_add(2)?)?.try_into().ok()?;
        Some(match order {
            Order::Little => u16::from_le_bytes(b),
            Order::Big => u16::from_be_bytes(b),
        })
    };
    let mut pages = Vec::new();
    let mut next = word(4)?;
    while next != 0 && pages.len() < MAX_PAGES && !pages.contains(&next) {
        pages.push(next);
        let entries = usize::from(short(next as usize)?);
        next = word(next as usize + 2 + 12 * entries)?;
    }
    (!pages.is_empty()).then_some((order, pages))
}

#[cfg(test)]
mod tests;
