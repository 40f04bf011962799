//! PNG files (W3C PNG, third edition), whose packed rows are what PDF's `FlateDecode` with PNG
//! predictors takes (ISO 32000-1, 7.4.4.4), and the same the other way round: packing pixels.

use std::io::{Read, Seek, SeekFrom};
use std::path::Path;

use super::exif::{self, Exif};
use super::{Colours, Data, Image, Picture, PictureFault, Profile, ReadError, damaged};

/// The longest of the small chunks that are read.
const MAX_CHUNK: u32 = 16 << 20;

/// What a PNG file says before and around its pixels.
#[derive(Default)]
struct Chunks {
    header: Option<Header>,
    palette: Vec<u8>,
    transparency: Option<Vec<u8>>,
    profile: Option<Vec<u8>>,
    resolution: Option<[f64; 2]>,
    exif: Exif,
    /// Where the packed rows are.
    data: Vec<(u64, u64)>,
}

struct Header {
    size: [u32; 2],
    bits: u8,
    colour_type: u8,
    interlaced: bool,
}

/// Reads all chunks and checks their sums, so that what passes through is whole.
pub(super) fn open(file: &Path, reader: &mut (impl Read + Seek)) -> Result<Picture, ReadError> {
    let chunks = read(reader)?;
    let header = chunks
        .header
        .as_ref()
        .ok_or_else(|| damaged("it has no header"))?;
    if chunks.data.is_empty() {
        return Err(damaged("it has no pixels").into());
    }
    let direct = direct(file, header, &chunks)?;
    Ok(Picture {
        file: file.to_path_buf(),
        stored: header.size,
        orientation: chunks.exif.orientation.unwrap_or(1),
        resolution: chunks.resolution.or(chunks.exif.resolution),
        direct,
    })
}

fn read(reader: &mut (impl Read + Seek)) -> Result<Chunks, ReadError> {
    reader.seek(SeekFrom::Start(8))?;
    let mut chunks = Chunks::default();
    let mut at = 8;
    loop {
        let mut head = [0; 8];
        reader.read_exact(&mut head)?;
        let length = u32::from_be_bytes([head[0], head[1], head[2], head[3]]);
        let name = [head[4], head[5], head[6], head[7]];
        let mut sum = crc32fast::Hasher::new();
        sum.update(&name);
        let kept = matches!(
            &name,
            b"IHDR" | b"PLTE" | b"tRNS" | b"iCCP" | b"pHYs" | b"eXIf"
        );
        if kept && length <= MAX_CHUNK {
            let mut part = Vec::new();
            reader.take(u64::from(length)).read_to_end(&mut part)?;
            sum.update(&part);
            take(&name, part, &mut chunks)?;
        } else {
            skim(reader, length, &mut sum)?;
            if &name == b"IDAT" {
                chunks.data.push((at + 8, u64::from(length)));
            }
        }
        let mut stated = [0; 4];
        reader.read_exact(&mut stated)?;
        if u32::from_be_bytes(stated) != sum.finalize() {
            return Err(damaged("a part of it does not match its checksum").into());
        }
        if &name == b"IEND" {
            return Ok(chunks);
        }
        at += 12 + u64::from(length);
    }
}

fn skim(reader: &mut impl Read, length: u32, sum: &mut crc32fast::Hasher) -> Result<(), ReadError> {
    let mut block = [0; 16 << 10];
    let mut left = length as usize;
    while left > 0 {
        let n = left.min(block.len());
        reader.read_exact(&mut block[..n])?;
        sum.update(&block[..n]);
        left -= n;
    }
    Ok(())
}

fn take(name: &[u8; 4], part: Vec<u8>, chunks: &mut Chunks) -> Result<(), ReadError> {
    match name {
        b"IHDR" => {
            let [w @ .., _, _, _, _, _, _, _, _, _] = *<&[u8; 13]>::try_from(part.as_slice())
                .map_err(|_| damaged("its header is cut off"))?;
            let h = [part[4], part[5], part[6], part[7]];
            chunks.header = Some(Header {
                size: [u32::from_be_bytes(w), u32::from_be_bytes(h)],
                bits: part[8],
                colour_type: part[9],
                interlaced: part[12] != 0,
            });
        }
        b"PLTE" => chunks.palette = part,
        b"tRNS" => chunks.transparency = Some(part),
        // A name, the method of packing, and the packed profile.
        b"iCCP" => {
            if let Some(end) = part.iter().take(80).position(|&b| b == 0)
                && let Some(packed) = part.get(end + 2..)
            {
                let mut profile = Vec::new();
                let unpacked = flate2::read::ZlibDecoder::new(packed)
                    .take(u64::from(MAX_CHUNK))
                    .read_to_end(&mut profile);
                chunks.profile = unpacked.is_ok().then_some(profile);
            }
        }
        b"pHYs" => {
            if let [xa, xb, xc, xd, ya, yb, yc, yd, 1] = *part {
                let per_mm = |n: [u8; 4]| f64::from(u32::from_be_bytes(n)) / 1000.0;
                let (x, y) = (per_mm([xa, xb, xc, xd]), per_mm([ya, yb, yc, yd]));
                chunks.resolution = super::sane_resolution(x, y);
            }
        }
        _ => chunks.exif = exif::read(&part),
    }
    Ok(())
}

/// How the rows pass through as they are; `None` for interlaced pictures and those with opacities,
/// which PDF keeps apart from the colours.
fn direct(file: &Path, header: &Header, chunks: &Chunks) -> Result<Option<Image>, ReadError> {
    let depth_is_sound = match header.colour_type {
        0 => matches!(header.bits, 1 | 2 | 4 | 8 | 16),
        3 => matches!(header.bits, 1 | 2 | 4 | 8),
        2 | 4 | 6 => matches!(header.bits, 8 | 16),
        _ => false,
    };
    if !depth_is_sound {
        return Err(damaged("its header makes no sense").into());
    }
    let colours = match header.colour_type {
        0 => Colours::Grey,
        2 => Colours::Rgb,
        3 => {
            let whole = !chunks.palette.is_empty()
                && chunks.palette.len().is_multiple_of(3)
                && chunks.palette.len() <= 3 << header.bits;
            if !whole {
                return Err(damaged("its palette makes no sense").into());
            }
            Colours::Palette(chunks.palette.clone())
        }
        _ => return Ok(None),
    };
    let key = match (&chunks.transparency, &colours) {
        (None, _) => None,
        (Some(_), Colours::Palette(_)) => return Ok(None),
        // One colour that is not painted: what PDF calls colour key masking (8.9.6.4).
        (Some(part), colours) => {
            let values: Vec<u16> = part
                .chunks_exact(2)
                .map(|two| u16::from_be_bytes([two[0], two[1]]))
                .collect();
            let fits = values.len() == usize::from(colours.channels())
                && values.iter().all(|&v| u32::from(v) < 1 << header.bits);
            fits.then_some(values)
        }
    };
    if header.interlaced {
        return Ok(None);
    }
    let profile = chunks
        .profile
        .clone()
        .and_then(|bytes| Profile::new(bytes, &colours));
    Ok(Some(Image {
        size: header.size,
        bits: header.bits,
        profile,
        filter: "/FlateDecode",
        parms: Some(predicted(colours.channels(), header.bits, header.size[0])),
        colours,
        inverted: false,
        key,
        data: Data::Spans(file.to_path_buf(), chunks.data.clone()),
        alpha: None,
    }))
}

/// The parameters of rows that each begin with the number of their PNG filter.
fn predicted(channels: u8, bits: u8, width: u32) -> String {
    format!("<< /Predictor 15 /Colors {channels} /BitsPerComponent {bits} /Columns {width} >>")
}

/// Packs samples of 8 bits, or of 16 with the higher byte first, without loss.
pub(super) fn pack(
    size: [u32; 2],
    bits: u8,
    colours: &Colours,
    samples: &[u8],
) -> Result<(String, Vec<u8>), ReadError> {
    let failed = |e: png::EncodingError| PictureFault::Damaged(e.to_string());
    let [width, height] = size;
    let channels = colours.channels();
    // The packer knows no CMYK. A row of four colours has the same filters as one with opacities.
    let kind = match channels {
        1 => png::ColorType::Grayscale,
        3 => png::ColorType::Rgb,
        _ => png::ColorType::Rgba,
    };
    let mut file = Vec::new();
    let mut encoder = png::Encoder::new(&mut file, width, height);
    encoder.set_color(kind);
    encoder.set_depth(if bits == 16 {
        png::BitDepth::Sixteen
    } else {
        png::BitDepth::Eight
    });
    encoder.set_compression(png::Compression::Fast);
    let mut writer = encoder.write_header().map_err(failed)?;
    writer.write_image_data(samples).map_err(failed)?;
    writer.finish().map_err(failed)?;
    let chunks = read(&mut std::io::Cursor::new(&file))?;
    let mut packed = Vec::with_capacity(file.len());
    for (at, length) in chunks.data {
        packed.extend_from_slice(&file[at as usize..(at + length) as usize]);
    }
    Ok((predicted(channels, bits, width), packed))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Cursor;

    /// A file of 2 × 2 pixels with these further chunks before its pixels.
    fn file(colour: png::ColorType, bits: png::BitDepth, extra: &[([u8; 4], &[u8])]) -> Vec<u8> {
        let mut bytes = Vec::new();
        let mut encoder = png::Encoder::new(&mut bytes, 2, 2);
        encoder.set_color(colour);
        encoder.set_depth(bits);
        if colour == png::ColorType::Indexed {
            encoder.set_palette(vec![0, 0, 0, 255, 255, 255]);
        }
        let mut writer = encoder.write_header().expect("a header");
        for (name, part) in extra {
            writer
                .write_chunk(png::chunk::ChunkType(*name), part)
                .expect("a chunk");
        }
        let depth = if bits == png::BitDepth::Sixteen { 2 } else { 1 };
        let pixel = match colour {
            png::ColorType::Rgb => 3,
            png::ColorType::Rgba => 4,
            _ => 1,
        };
        writer
            .write_image_data(&vec![0; 4 * pixel * depth])
            .expect("pixels");
        writer.finish().expect("an end");
        bytes
    }

    fn opened(bytes: &[u8]) -> Result<Picture, ReadError> {
        open(Path::new("x.png"), &mut Cursor::new(bytes))
    }

    use png::{BitDepth, ColorType};

    #[test]
    fn rows_without_opacity_pass_through_at_any_depth() {
        for (colour, bits) in [
            (ColorType::Rgb, BitDepth::Sixteen),
            (ColorType::Rgb, BitDepth::Eight),
            (ColorType::Grayscale, BitDepth::Eight),
            (ColorType::Indexed, BitDepth::Eight),
        ] {
            let picture = opened(&file(colour, bits, &[])).expect("a picture");
            assert!(picture.direct.is_some(), "{colour:?}");
        }
        let with_opacity = file(ColorType::Rgba, BitDepth::Eight, &[]);
        assert!(opened(&with_opacity).expect("a picture").direct.is_none());
    }

    #[test]
    fn a_colour_that_is_not_painted_becomes_a_colour_key() {
        let bytes = file(
            ColorType::Rgb,
            BitDepth::Eight,
            &[(*b"tRNS", &[0, 1, 0, 2, 0, 255])],
        );
        let image = opened(&bytes).expect("a picture").direct.expect("direct");
        assert_eq!(image.key, Some(vec![1, 2, 255]));
    }

    #[test]
    fn the_resolution_counts_only_in_metres() {
        let stated = |unit: u8| {
            let mut part = [0, 0, 0x2e, 0x23, 0, 0, 0x2e, 0x23, unit];
            part[8] = unit;
            let bytes = file(ColorType::Rgb, BitDepth::Eight, &[(*b"pHYs", &part)]);
            opened(&bytes).expect("a picture").resolution
        };
        let [x, _] = stated(1).expect("stated");
        assert!((x * 25.4 - 300.0).abs() < 0.01);
        assert_eq!(stated(0), None, "only the shape of a pixel");
    }

    #[test]
    fn any_flipped_bit_and_any_cut_is_noticed() {
        let whole = file(ColorType::Rgb, BitDepth::Eight, &[]);
        for end in 8..whole.len() {
            assert!(opened(&whole[..end]).is_err(), "cut at {end}");
        }
        for at in 8..whole.len() {
            let mut spoilt = whole.clone();
            spoilt[at] ^= 4;
            assert!(opened(&spoilt).is_err(), "spoilt at {at}");
        }
    }

    #[test]
    fn packed_samples_unpack_to_themselves() {
        let samples: Vec<u8> = (0..5 * 7 * 4).map(|i| (i * 37 % 251) as u8).collect();
        let (parms, packed) = pack([5, 7], 8, &Colours::Cmyk, &samples).expect("packed");
        assert!(parms.contains("/Colors 4") && parms.contains("/Columns 5"));
        // Undone by the filters' definitions (W3C PNG, 9.2).
        let mut rows = Vec::new();
        flate2::read::ZlibDecoder::new(packed.as_slice())
            .read_to_end(&mut rows)
            .expect("unpacked");
        let (mut out, mut above) = (Vec::<u8>::new(), vec![0_u8; 20]);
        for row in rows.chunks(21) {
            let mut line = vec![0_u8; 20];
            for x in 0..20 {
                let left = if x < 4 { 0 } else { line[x - 4] };
                let corner = if x < 4 { 0 } else { above[x - 4] };
                let up = above[x];
                let paeth = {
                    let p = i32::from(left) + i32::from(up) - i32::from(corner);
                    let d = |v: u8| (p - i32::from(v)).abs();
                    if d(left) <= d(up) && d(left) <= d(corner) {
                        left
                    } else if d(up) <= d(corner) {
                        up
                    } else {
                        corner
                    }
                };
                let guess = match row[0] {
                    0 => 0,
                    1 => left,
                    2 => up,
                    3 => ((u16::from(left) + u16::from(up)) / 2) as u8,
                    _ => paeth,
                };
                line[x] = row[x + 1].wrapping_add(guess);
            }
            out.extend(&line);
            above = line;
        }
        assert_eq!(out, samples);
    }
}
