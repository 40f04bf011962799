use std::io::Cursor;

use image::{DynamicImage, GrayImage, ImageEncoder, Luma as Grey, Rgb, RgbImage, Rgba, RgbaImage};

use super::*;

fn picture() -> DynamicImage {
    DynamicImage::ImageLuma8(GrayImage::from_fn(30, 20, |x, y| Grey([(x * 5 + y) as u8])))
}

fn encoded(image: &DynamicImage, format: ImageFormat) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    image.write_to(&mut bytes, format).expect("encodes");
    bytes.into_inner()
}

#[test]
fn png_tiff_and_webp_keep_their_pixels() {
    for format in [ImageFormat::Png, ImageFormat::Tiff, ImageFormat::WebP] {
        let image = if format == ImageFormat::WebP {
            DynamicImage::ImageRgb8(picture().to_rgb8())
        } else {
            picture()
        };
        let pages = decode(&encoded(&image, format)).expect("decodes");
        assert_eq!(pages.len(), 1);
        let own = picture().to_luma8().into_raw();
        assert_eq!(pages[0].data(), own, "{format:?}");
    }
}

#[test]
fn jpeg_is_read() {
    let pages = decode(&encoded(&picture(), ImageFormat::Jpeg)).expect("decodes");
    assert_eq!((pages[0].width(), pages[0].height()), (30, 20));
}

#[test]
fn sixteen_bits_become_eight() {
    let deep = DynamicImage::ImageLuma16(picture().to_luma16());
    let pages = decode(&encoded(&deep, ImageFormat::Png)).expect("decodes");
    assert_eq!(pages[0].data(), picture().to_luma8().into_raw());
}

#[test]
fn transparent_paper_is_white() {
    let clear = DynamicImage::ImageRgba8(RgbaImage::from_pixel(3, 3, Rgba([0, 0, 0, 0])));
    let pages = decode(&encoded(&clear, ImageFormat::Png)).expect("decodes");
    assert_eq!(pages[0].data(), [255; 9]);
}

#[test]
fn colours_become_grey_by_their_weight() {
    let green = DynamicImage::ImageRgb8(RgbImage::from_pixel(1, 1, Rgb([0, 255, 0])));
    let pages = decode(&encoded(&green, ImageFormat::Png)).expect("decodes");
    assert_eq!(pages[0].data(), [182]);
}

/// An EXIF block with one entry, the orientation (EXIF 2.3, tag 0x0112).
fn exif(orientation: u8) -> Vec<u8> {
    let mut exif = b"MM\0*\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01\0".to_vec();
    exif.extend([orientation, 0, 0, 0, 0, 0, 0]);
    exif
}

#[test]
fn exif_orientation_is_honoured() {
    let mut bytes = Vec::new();
    let mut encoder = image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, 95);
    encoder.set_exif_metadata(exif(6)).expect("takes EXIF");
    let image = picture().to_luma8();
    let kind = image::ExtendedColorType::L8;
    encoder
        .write_image(image.as_raw(), 30, 20, kind)
        .expect("encodes");
    let pages = decode(&bytes).expect("decodes");
    assert_eq!((pages[0].width(), pages[0].height()), (20, 30));
    // Turned a quarter clockwise: the old bottom left corner comes to the top left.
    let corner = i32::from(pages[0].data()[0]);
    assert!((corner - 19).abs() < 8, "{corner}");
}

/// Two pages in one file, by hand: the second's directory is appended and chained.
#[test]
fn every_page_of_a_tiff_is_read() {
    let first = encoded(&picture(), ImageFormat::Tiff);
    let second = encoded(
        &DynamicImage::ImageLuma8(GrayImage::from_pixel(7, 5, Grey([9]))),
        ImageFormat::Tiff,
    );
    let bytes = chained(&first, &second);
    let pages = decode(&bytes).expect("decodes");
    let sizes: Vec<_> = pages.iter().map(|p| (p.width(), p.height())).collect();
    assert_eq!(sizes, [(30, 20), (7, 5)]);
    assert_eq!(pages[1].data(), [9; 35]);
}

/// Appends a little-endian TIFF of one uncompressed strip to another one.
fn chained(first: &[u8], second: &[u8]) -> Vec<u8> {
    let word = |b: &[u8], at: usize| u32::from_le_bytes(b[at..at + 4].try_into().expect("four"));
    let short = |b: &[u8], at: usize| u16::from_le_bytes(b[at..at + 2].try_into().expect("two"));
    let mut bytes = first.to_vec();
    if bytes.len() % 2 == 1 {
        bytes.push(0);
    }
    let base = bytes.len() as u32;
    let mut moved = second.to_vec();
    let ifd = word(second, 4) as usize;
    let sizes = [0, 1, 1, 2, 4, 8, 1, 1, 2, 4, 8, 4, 8];
    for k in 0..usize::from(short(second, ifd)) {
        let entry = ifd + 2 + 12 * k;
        let (tag, kind) = (short(second, entry), usize::from(short(second, entry + 2)));
        let long = sizes[kind] * word(second, entry + 4) > 4;
        // Values kept elsewhere, and where the strip lies (tag 273).
        if long || tag == 273 {
            let value = word(second, entry + 8) + base;
            moved[entry + 8..entry + 12].copy_from_slice(&value.to_le_bytes());
        }
    }
    bytes.extend(moved);
    let own = word(first, 4) as usize;
    let next = own + 2 + 12 * usize::from(short(first, own));
    bytes[next..next + 4].copy_from_slice(&(base + ifd as u32).to_le_bytes());
    bytes
}

#[test]
fn a_tiff_whose_pages_go_in_circles_ends() {
    let mut bytes = encoded(&picture(), ImageFormat::Tiff);
    let ifd = u32::from_le_bytes(bytes[4..8].try_into().expect("four"));
    let count = u16::from_le_bytes(bytes[ifd as usize..][..2].try_into().expect("two"));
    let next = ifd as usize + 2 + 12 * usize::from(count);
    bytes[next..next + 4].copy_from_slice(&ifd.to_le_bytes());
    let ended = decode(&bytes);
    assert!(matches!(&ended, Ok(pages) if pages.len() == 1) || ended.is_err());
}

/// A PNG's header may claim any size (PNG, 11.2.2).
#[test]
fn sixty_thousand_pixels_square_are_refused_before_decoding() {
    let mut bytes = encoded(&picture(), ImageFormat::Png);
    bytes[16..20].copy_from_slice(&60_000_u32.to_be_bytes());
    bytes[20..24].copy_from_slice(&60_000_u32.to_be_bytes());
    let crc = crc32(&bytes[12..29]);
    bytes[29..33].copy_from_slice(&crc.to_be_bytes());
    let refused = decode(&bytes);
    assert_eq!(
        refused,
        Err(Refusal::TooLarge {
            width: 60_000,
            height: 60_000
        })
    );
}

#[test]
fn a_decompression_bomb_is_refused_before_decoding() {
    use image::codecs::png::{CompressionType, FilterType, PngEncoder};
    let blank = GrayImage::new(6000, 6000);
    let mut bytes = Vec::new();
    PngEncoder::new_with_quality(&mut bytes, CompressionType::Best, FilterType::NoFilter)
        .write_image(blank.as_raw(), 6000, 6000, image::ExtendedColorType::L8)
        .expect("encodes");
    assert!(bytes.len() < 40_000, "a bomb is small: {}", bytes.len());
    assert_eq!(
        decode(&bytes),
        Err(Refusal::TooLarge {
            width: 6000,
            height: 6000
        })
    );
}

fn crc32(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(u32::MAX, |crc, &b| {
        (0..8).fold(crc ^ u32::from(b), |c, _| {
            (c >> 1) ^ (0xedb8_8320 * (c & 1))
        })
    })
}

#[test]
fn telephones_formats_are_named() {
    let refused = decode(b"\0\0\0\x18ftypheic\0\0\0\0");
    assert_eq!(refused, Err(Refusal::Format("HEIC")));
    assert!(refused.expect_err("refused").hint().contains("JPEG"));
}

#[test]
fn other_files_are_no_pictures() {
    for bytes in [&b""[..], b"%PDF-1.7", b"hello, this is no picture at all"] {
        assert_eq!(decode(bytes), Err(Refusal::NotAPicture));
    }
}

#[test]
fn a_picture_broken_off_is_damaged() {
    let bytes = encoded(&picture(), ImageFormat::Png);
    assert!(matches!(
        decode(&bytes[..bytes.len() / 2]),
        Err(Refusal::Damaged(_))
    ));
}
