//! Pictures whose own bytes no PDF can carry: decoded, and packed again without loss.

use std::fs::File;
use std::io::{BufReader, Read};
use std::path::Path;

use image::metadata::Orientation;
use image::{ColorType, DynamicImage, ImageDecoder, ImageError, ImageReader, RgbImage};

use super::{
    Colours, Data, Image, MAX_DECODED, Picture, PictureFault, Profile, ReadError, damaged, exif,
    png,
};

/// Reads the head of a WebP or TIFF file.
pub(super) fn open(file: &Path, reader: BufReader<File>) -> Result<Picture, ReadError> {
    let mut decoder = decoder(reader)?;
    let (w, h) = decoder.dimensions();
    let exif = decoder
        .exif_metadata()
        .ok()
        .flatten()
        .map(|block| exif::read(&block))
        .unwrap_or_default();
    let orientation = decoder.orientation().map_or(1, Orientation::to_exif);
    drop(decoder);
    // A TIFF file is itself what Exif calls a block.
    let mut head = Vec::new();
    File::open(file)?.take(1 << 20).read_to_end(&mut head)?;
    let resolution = exif.resolution.or_else(|| tiff_resolution(file, &head));
    Ok(Picture {
        file: file.to_path_buf(),
        stored: [w, h],
        orientation,
        resolution,
        direct: None,
    })
}

/// The colour profile of a TIFF file, which the common decoder does not always find.
fn tiff_profile(file: &Path) -> Option<Vec<u8>> {
    let reader = BufReader::new(File::open(file).ok()?);
    let mut decoder = tiff::decoder::Decoder::new(reader).ok()?;
    decoder.get_tag_u8_vec(tiff::tags::Tag::IccProfile).ok()
}

/// The resolution of a TIFF file, whose directory may stand anywhere in it.
fn tiff_resolution(file: &Path, head: &[u8]) -> Option<[f64; 2]> {
    if !(head.starts_with(b"II*\0") || head.starts_with(b"MM\0*")) {
        return None;
    }
    use tiff::tags::Tag;
    let reader = BufReader::new(File::open(file).ok()?);
    let mut decoder = tiff::decoder::Decoder::new(reader).ok()?;
    let mut rational = |tag| match decoder.find_tag(tag).ok()?? {
        tiff::decoder::ifd::Value::Rational(n, d) if d > 0 => Some(f64::from(n) / f64::from(d)),
        _ => None,
    };
    let (x, y) = (rational(Tag::XResolution)?, rational(Tag::YResolution)?);
    let unit = decoder.find_tag_unsigned::<u16>(Tag::ResolutionUnit);
    let per_mm = match unit.ok()?.unwrap_or(2) {
        2 => 1.0 / 25.4,
        3 => 0.1,
        _ => return None,
    };
    super::sane_resolution(x * per_mm, y * per_mm)
}

fn decoder(reader: BufReader<File>) -> Result<impl ImageDecoder, ReadError> {
    let mut limits = image::Limits::default();
    limits.max_alloc = Some(MAX_DECODED);
    let mut reader = ImageReader::new(reader);
    reader.limits(limits);
    let reader = reader.with_guessed_format()?;
    reader.into_decoder().map_err(fault)
}

fn fault(error: ImageError) -> ReadError {
    match error {
        ImageError::IoError(e) => e.into(),
        ImageError::Unsupported(_) => {
            PictureFault::Unsupported("a kind of picture data that is rare").into()
        }
        ImageError::Limits(_) => damaged("it asks for more memory than its size tells").into(),
        other => damaged(other.to_string()).into(),
    }
}

/// Decodes a picture to sRGB as it is coded, on white.
pub(super) fn rgb(file: &Path) -> Result<RgbImage, ReadError> {
    let decoder = decoder(BufReader::new(File::open(file)?))?;
    if decoder.total_bytes() > MAX_DECODED {
        let (w, h) = decoder.dimensions();
        return Err(PictureFault::TooLarge { w, h }.into());
    }
    let decoded = DynamicImage::from_decoder(decoder).map_err(fault)?;
    if !decoded.color().has_alpha() {
        return Ok(decoded.into_rgb8());
    }
    let mut on_white = RgbImage::new(decoded.width(), decoded.height());
    for (to, from) in on_white.pixels_mut().zip(decoded.into_rgba8().pixels()) {
        let [r, g, b, a] = from.0.map(u32::from);
        let mix = |c: u32| ((c * a + 255 * (255 - a) + 127) / 255) as u8;
        to.0 = [mix(r), mix(g), mix(b)];
    }
    Ok(on_white)
}

/// Decodes a picture and packs it as an image with its opacity apart.
pub(super) fn image(file: &Path) -> Result<Image, ReadError> {
    if let Some(image) = cmyk_tiff(file)? {
        return Ok(image);
    }
    let mut decoder = decoder(BufReader::new(File::open(file)?))?;
    let (w, h) = decoder.dimensions();
    if decoder.total_bytes() > MAX_DECODED {
        return Err(PictureFault::TooLarge { w, h }.into());
    }
    let profile = decoder.icc_profile().ok().flatten();
    let profile = profile.or_else(|| tiff_profile(file));
    let decoded = DynamicImage::from_decoder(decoder).map_err(fault)?;
    let size = [decoded.width(), decoded.height()];
    let (has_alpha, bits) = match decoded.color() {
        ColorType::L8 | ColorType::Rgb8 => (false, 8),
        ColorType::La8 | ColorType::Rgba8 => (true, 8),
        ColorType::L16 | ColorType::Rgb16 => (false, 16),
        ColorType::La16 | ColorType::Rgba16 => (true, 16),
        _ => return Err(PictureFault::Unsupported("numbers with a floating point").into()),
    };
    let colours = if decoded.color().has_color() {
        Colours::Rgb
    } else {
        Colours::Grey
    };
    let samples = big_endian(decoded, bits);
    let (samples, opacity) = if has_alpha {
        apart(
            &samples,
            usize::from(colours.channels()),
            usize::from(bits / 8),
        )
    } else {
        (samples, None)
    };
    let alpha = match opacity {
        None => None,
        Some(opacity) => Some(Box::new(packed(size, bits, Colours::Grey, None, &opacity)?)),
    };
    Ok(Image {
        alpha,
        ..packed(size, bits, colours, profile, &samples)?
    })
}

fn packed(
    size: [u32; 2],
    bits: u8,
    colours: Colours,
    profile: Option<Vec<u8>>,
    samples: &[u8],
) -> Result<Image, ReadError> {
    let (parms, data) = png::pack(size, bits, &colours, samples)?;
    Ok(Image {
        size,
        bits,
        profile: profile.and_then(|bytes| Profile::new(bytes, &colours)),
        colours,
        filter: "/FlateDecode",
        parms: Some(parms),
        inverted: false,
        key: None,
        data: Data::Bytes(data),
        alpha: None,
    })
}

/// The samples as PDF has them: 16 bits with the higher byte first (ISO 32000-1, 8.9.3).
fn big_endian(decoded: DynamicImage, bits: u8) -> Vec<u8> {
    if bits == 8 {
        return decoded.into_bytes();
    }
    let wide = |samples: &[u16]| samples.iter().flat_map(|s| s.to_be_bytes()).collect();
    match &decoded {
        DynamicImage::ImageLuma16(i) => wide(i.as_raw()),
        DynamicImage::ImageLumaA16(i) => wide(i.as_raw()),
        DynamicImage::ImageRgb16(i) => wide(i.as_raw()),
        DynamicImage::ImageRgba16(i) => wide(i.as_raw()),
        _ => Vec::new(),
    }
}

/// Colours and opacities of interleaved samples; no opacities where all is opaque.
fn apart(samples: &[u8], channels: usize, width: usize) -> (Vec<u8>, Option<Vec<u8>>) {
    let (of_colours, of_pixel) = (channels * width, (channels + 1) * width);
    let pixels = samples.len() / of_pixel;
    let mut colours = Vec::with_capacity(pixels * of_colours);
    let mut opacity = Vec::with_capacity(pixels * width);
    for pixel in samples.chunks_exact(of_pixel) {
        colours.extend_from_slice(&pixel[..of_colours]);
        opacity.extend_from_slice(&pixel[of_colours..]);
    }
    let is_opaque = opacity.iter().all(|&o| o == 255);
    (colours, (!is_opaque).then_some(opacity))
}

/// A TIFF file in four colours, which the common decoder would turn into RGB.
fn cmyk_tiff(file: &Path) -> Result<Option<Image>, ReadError> {
    use tiff::decoder::DecodingResult;
    let Ok(mut decoder) = tiff::decoder::Decoder::new(BufReader::new(File::open(file)?)) else {
        return Ok(None);
    };
    let Ok(tiff::ColorType::CMYK(bits @ (8 | 16))) = decoder.colortype() else {
        return Ok(None);
    };
    let fault = |e: tiff::TiffError| damaged(e.to_string());
    let (w, h) = decoder.dimensions().map_err(fault)?;
    let bytes = u64::from(w) * u64::from(h) * 4 * u64::from(bits / 8);
    if bytes > MAX_DECODED {
        return Err(PictureFault::TooLarge { w, h }.into());
    }
    let profile = decoder.get_tag_u8_vec(tiff::tags::Tag::IccProfile).ok();
    let samples = match decoder.read_image().map_err(fault)? {
        DecodingResult::U8(samples) => samples,
        DecodingResult::U16(samples) => samples.iter().flat_map(|s| s.to_be_bytes()).collect(),
        _ => return Err(PictureFault::Unsupported("an odd kind of TIFF").into()),
    };
    if samples.len() as u64 != bytes {
        return Err(damaged("it has fewer pixels than it says").into());
    }
    packed([w, h], bits, Colours::Cmyk, profile, &samples).map(Some)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::impose::picture::Kind;

    fn written(name: &str, picture: &DynamicImage) -> (tempfile::TempDir, std::path::PathBuf) {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join(name);
        picture.save(&file).expect("saved");
        (folder, file)
    }

    #[test]
    fn opacity_is_kept_apart_and_left_out_where_all_is_opaque() {
        let clear = image::RgbaImage::from_fn(3, 2, |x, _| image::Rgba([9, 8, 7, x as u8 * 100]));
        let (_folder, file) = written("clear.png", &clear.into());
        let picture = Picture::open(&file, Kind::Png).expect("a picture");
        let image = picture.image().expect("an image");
        assert_eq!(image.colours, Colours::Rgb);
        assert_eq!(image.alpha.expect("an opacity").colours, Colours::Grey);
        let opaque = image::RgbaImage::from_pixel(3, 2, image::Rgba([9, 8, 7, 255]));
        let (_folder, file) = written("opaque.png", &opaque.into());
        let picture = Picture::open(&file, Kind::Png).expect("a picture");
        assert!(picture.image().expect("an image").alpha.is_none());
    }

    #[test]
    fn webp_and_tiff_are_read_and_damaged_ones_refused() {
        let any = image::RgbImage::from_fn(40, 30, |x, y| image::Rgb([x as u8, y as u8, 5]));
        for (name, kind) in [("a.webp", Kind::WebP), ("a.tiff", Kind::Tiff)] {
            let (_folder, file) = written(name, &any.clone().into());
            let picture = Picture::open(&file, kind).expect("a picture");
            assert_eq!(picture.pixels(), [40, 30]);
            assert_eq!(picture.image().expect("an image").size, [40, 30]);
            let whole = std::fs::read(&file).expect("read");
            for end in (0..whole.len()).step_by(7) {
                std::fs::write(&file, &whole[..end]).expect("written");
                let outcome = Picture::open(&file, kind).and_then(|p| p.image());
                assert!(outcome.is_err(), "{name} cut at {end}");
            }
        }
    }
}
