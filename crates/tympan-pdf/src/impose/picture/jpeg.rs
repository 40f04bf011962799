//! The head of a JPEG file (ISO/IEC 10918-1, annex B), whose bytes then pass through as they are.

use std::io::{self, Read, Seek, SeekFrom};
use std::path::Path;

use memchr::memmem;

use super::exif::{self, Exif};
use super::{Colours, Data, Image, Picture, PictureFault, Profile, ReadError, damaged};

/// How much of the end is looked through for the end's mark before the whole file is.
const TAIL: u64 = 64 << 10;

/// What the segments before the picture itself say.
#[derive(Default)]
struct Head {
    frame: Option<Frame>,
    /// The colour transform of Adobe's segment (APP14).
    adobe: Option<u8>,
    jfif: bool,
    density: Option<[f64; 2]>,
    exif: Exif,
    /// The pieces of the colour profile by their number.
    profile: Vec<(u8, Vec<u8>)>,
}

/// The frame's header (B.2.2).
struct Frame {
    size: [u32; 2],
    /// The components' identifiers.
    ids: Vec<u8>,
}

pub(super) fn open(
    file: &Path,
    reader: &mut (impl Read + Seek),
    length: u64,
) -> Result<Picture, ReadError> {
    let head = read_head(reader)?;
    let frame = head
        .frame
        .as_ref()
        .ok_or_else(|| damaged("it has no picture in it"))?;
    if !ends(reader, length)? {
        return Err(damaged("it stops before its end").into());
    }
    let colours = match frame.ids.len() {
        1 => Colours::Grey,
        3 => Colours::Rgb,
        4 => Colours::Cmyk,
        _ => return Err(PictureFault::Unsupported("an odd number of colours").into()),
    };
    // Without a word about it, readers tell RGB by the components' names; PDF's filter takes
    // three components for a luminance and two colour differences (ISO 32000-1, table 13).
    let plain_rgb = head.adobe.is_none() && !head.jfif && frame.ids == *b"RGB";
    let profile = join(head.profile).and_then(|bytes| Profile::new(bytes, &colours));
    let image = Image {
        size: frame.size,
        bits: 8,
        // Adobe's programs store ink the other way round.
        inverted: colours == Colours::Cmyk && head.adobe.is_some(),
        colours,
        profile,
        filter: "/DCTDecode",
        parms: plain_rgb.then(|| "<< /ColorTransform 0 >>".to_owned()),
        key: None,
        data: Data::Spans(file.to_path_buf(), vec![(0, length)]),
        alpha: None,
    };
    Ok(Picture {
        file: file.to_path_buf(),
        stored: frame.size,
        orientation: head.exif.orientation.unwrap_or(1),
        resolution: head.exif.resolution.or(head.density),
        direct: Some(image),
    })
}

/// Reads the segments up to the first scan.
fn read_head(reader: &mut (impl Read + Seek)) -> Result<Head, ReadError> {
    let mut head = Head::default();
    let mut two = [0; 2];
    reader.read_exact(&mut two)?;
    loop {
        let mut byte = [0];
        reader.read_exact(&mut byte)?;
        if byte[0] != 0xff {
            return Err(damaged("its parts do not follow each other").into());
        }
        // Any number of fill bytes may stand before a marker.
        while byte[0] == 0xff {
            reader.read_exact(&mut byte)?;
        }
        let marker = byte[0];
        match marker {
            0x01 | 0xd0..=0xd7 => continue,
            0xd9 => return Err(damaged("it has no picture in it").into()),
            _ => {}
        }
        reader.read_exact(&mut two)?;
        let length = u16::from_be_bytes(two);
        let Some(length) = length.checked_sub(2) else {
            return Err(damaged("a part of it has no length").into());
        };
        let keep = matches!(
            marker,
            0xe0 | 0xe1 | 0xe2 | 0xee | 0xc0..=0xcf | 0xdb | 0xda
        ) && !matches!(marker, 0xc8 | 0xcc);
        if !keep {
            reader.seek(SeekFrom::Current(i64::from(length)))?;
            continue;
        }
        let mut part = vec![0; usize::from(length)];
        reader.read_exact(&mut part)?;
        if !is_sound(marker, &part) {
            return Err(damaged("its tables make no sense").into());
        }
        take(marker, &part, &mut head)?;
        if marker == 0xda {
            return Ok(head);
        }
    }
}

/// Whether the tables that a picture is decoded with can be what they should be (B.2.3, B.2.4).
fn is_sound(marker: u8, part: &[u8]) -> bool {
    match marker {
        // Quantisation tables: a precision and a place, then 64 numbers above nought.
        0xdb => {
            let mut rest = part;
            while let [about, tail @ ..] = rest {
                let bytes = match about >> 4 {
                    0 => 64,
                    1 => 128,
                    _ => return false,
                };
                if about & 15 > 3 || tail.len() < bytes {
                    return false;
                }
                rest = &tail[bytes..];
            }
            !part.is_empty()
        }
        // Huffman tables: a class and a place, how many codes of each length, and the codes.
        0xc4 => {
            let mut rest = part;
            while let [about, tail @ ..] = rest {
                let Some((counts, tail)) = tail.split_at_checked(16) else {
                    return false;
                };
                let codes: usize = counts.iter().map(|&c| usize::from(c)).sum();
                // Codes of one length are a binary tree's leaves; it cannot have more.
                let mut room: i64 = 1;
                for &count in counts {
                    room = 2 * room - i64::from(count);
                    if room < 0 {
                        return false;
                    }
                }
                if about >> 4 > 1 || about & 15 > 3 || codes > 256 || tail.len() < codes {
                    return false;
                }
                rest = &tail[codes..];
            }
            !part.is_empty()
        }
        // A scan names its components and the tables of each.
        0xda => {
            let count = usize::from(part.first().copied().unwrap_or(0));
            (1..=4).contains(&count) && part.len() == 4 + 2 * count
        }
        // A frame's components are sampled one to four times.
        0xc0..=0xc2 => {
            part.get(6..).unwrap_or(&[]).chunks_exact(3).all(|c| {
                (1..=4).contains(&(c[1] >> 4)) && (1..=4).contains(&(c[1] & 15)) && c[2] <= 3
            })
        }
        _ => true,
    }
}

fn take(marker: u8, part: &[u8], head: &mut Head) -> Result<(), ReadError> {
    match marker {
        0xc0..=0xc2 => head.frame = Some(frame(part)?),
        0xc9..=0xcf => return Err(PictureFault::Unsupported("arithmetic coding").into()),
        0xc3 | 0xc5..=0xc7 => {
            return Err(PictureFault::Unsupported("lossless or layered JPEG").into());
        }
        0xe0 if part.starts_with(b"JFIF\0") => {
            head.jfif = true;
            if let [unit, xa, xb, ya, yb] = *part.get(7..12).unwrap_or(&[]) {
                let per_mm = match unit {
                    1 => 1.0 / 25.4,
                    2 => 0.1,
                    _ => return Ok(()),
                };
                let [x, y] = [[xa, xb], [ya, yb]].map(|n| f64::from(u16::from_be_bytes(n)));
                head.density = super::sane_resolution(x * per_mm, y * per_mm);
            }
        }
        0xe1 => {
            if let Some(block) = part.strip_prefix(b"Exif\0\0") {
                head.exif = exif::read(block);
            }
        }
        0xe2 => {
            if let Some([number, _of, piece @ ..]) = part.strip_prefix(b"ICC_PROFILE\0") {
                head.profile.push((*number, piece.to_vec()));
            }
        }
        0xee if part.starts_with(b"Adobe") => head.adobe = part.get(11).copied(),
        _ => {}
    }
    Ok(())
}

fn frame(part: &[u8]) -> Result<Frame, ReadError> {
    let short = || damaged("its header is cut off");
    let [precision, ha, hb, wa, wb, count] = *part.get(..6).ok_or_else(short)? else {
        return Err(short().into());
    };
    if precision != 8 {
        return Err(PictureFault::Unsupported("more than 8 bits per colour in a JPEG").into());
    }
    let size = [[wa, wb], [ha, hb]].map(|n| u32::from(u16::from_be_bytes(n)));
    let ids: Vec<u8> = part[6..].iter().step_by(3).copied().collect();
    if ids.len() != usize::from(count) {
        return Err(short().into());
    }
    Ok(Frame { size, ids })
}

/// The profile's pieces in their order (ISO 15076-1, B.4).
fn join(mut pieces: Vec<(u8, Vec<u8>)>) -> Option<Vec<u8>> {
    pieces.sort_by_key(|p| p.0);
    let whole = pieces.iter().zip(1..).all(|((n, _), i)| *n == i);
    (whole && !pieces.is_empty()).then(|| pieces.into_iter().flat_map(|p| p.1).collect())
}

/// Whether the mark of the end stands behind the head. Some cameras put more behind it.
fn ends(reader: &mut (impl Read + Seek), length: u64) -> io::Result<bool> {
    let head_ends = reader.stream_position()?;
    let tail = length.saturating_sub(TAIL).max(head_ends);
    if has_end(reader, tail)? {
        return Ok(true);
    }
    has_end(reader, head_ends)
}

fn has_end(reader: &mut (impl Read + Seek), from: u64) -> io::Result<bool> {
    reader.seek(SeekFrom::Start(from))?;
    let mut block = vec![0; TAIL as usize];
    let mut kept = 0;
    loop {
        let n = reader.read(&mut block[kept..])?;
        if n == 0 {
            return Ok(false);
        }
        let filled = kept + n;
        if memmem::find(&block[..filled], b"\xff\xd9").is_some() {
            return Ok(true);
        }
        // The mark may lie across the seam.
        block[0] = block[filled - 1];
        kept = 1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Cursor;

    fn segment(marker: u8, part: &[u8]) -> Vec<u8> {
        let mut bytes = vec![0xff, marker];
        bytes.extend((part.len() as u16 + 2).to_be_bytes());
        bytes.extend(part);
        bytes
    }

    fn sof(marker: u8, ids: &[u8]) -> Vec<u8> {
        let mut part = vec![8, 0, 20, 0, 30, ids.len() as u8];
        part.extend(ids.iter().flat_map(|&id| [id, 0x11, 0]));
        segment(marker, &part)
    }

    fn file(parts: &[Vec<u8>]) -> Vec<u8> {
        let mut bytes = vec![0xff, 0xd8];
        bytes.extend(parts.concat());
        bytes.extend(segment(0xda, &[1, 1, 0, 0, 63, 0]));
        bytes.extend(b"data\xff\xd9");
        bytes
    }

    fn opened(bytes: &[u8]) -> Result<Picture, ReadError> {
        let length = bytes.len() as u64;
        open(Path::new("x.jpg"), &mut Cursor::new(bytes), length)
    }

    fn image(bytes: &[u8]) -> Image {
        let picture = opened(bytes).expect("a picture");
        picture.direct.expect("passed through")
    }

    #[test]
    fn the_size_is_the_frames_and_fill_bytes_are_skipped() {
        let mut parts = vec![vec![0xff, 0xff], sof(0xc2, &[1, 2, 3])];
        parts.insert(0, segment(0xfe, b"a comment"));
        let picture = opened(&file(&parts)).expect("a picture");
        assert_eq!(picture.stored, [30, 20]);
        assert_eq!(picture.resolution, None);
    }

    #[test]
    fn ink_stored_by_adobes_programs_is_inverted_and_other_ink_is_not() {
        let adobe = segment(0xee, b"Adobe\0d\0\0\0\0\x02");
        let ids = [1, 2, 3, 4];
        assert!(image(&file(&[adobe.clone(), sof(0xc0, &ids)])).inverted);
        assert!(!image(&file(&[sof(0xc0, &ids)])).inverted);
        assert!(!image(&file(&[adobe, sof(0xc0, &ids[..3])])).inverted);
    }

    #[test]
    fn components_called_r_g_and_b_are_not_transformed_unless_the_file_is_jfif() {
        let jfif = segment(0xe0, b"JFIF\0\x01\x01\x02\0\x76\0\x76\0\0");
        assert!(image(&file(&[sof(0xc0, b"RGB")])).parms.is_some());
        assert!(
            image(&file(&[jfif.clone(), sof(0xc0, b"RGB")]))
                .parms
                .is_none()
        );
        let picture = opened(&file(&[jfif, sof(0xc0, b"RGB")])).expect("a picture");
        let [x, _] = picture.resolution.expect("118 per cm are stated");
        assert!((x - 11.8).abs() < 1e-9);
    }

    #[test]
    fn a_profile_in_pieces_is_joined_in_the_order_of_their_numbers() {
        let mut whole = vec![0; 300];
        whole[16..20].copy_from_slice(b"RGB ");
        whole[36..40].copy_from_slice(b"acsp");
        whole[299] = 7;
        let piece = |n: u8, bytes: &[u8]| {
            segment(0xe2, &[b"ICC_PROFILE\0", [n, 2].as_slice(), bytes].concat())
        };
        let bytes = file(&[
            piece(2, &whole[150..]),
            piece(1, &whole[..150]),
            sof(0xc0, &[1, 2, 3]),
        ]);
        assert_eq!(image(&bytes).profile.expect("a profile").bytes(), whole);
        let bytes = file(&[piece(2, &whole[150..]), sof(0xc0, &[1, 2, 3])]);
        assert!(image(&bytes).profile.is_none(), "half a profile is none");
    }

    #[test]
    fn what_cannot_be_printed_from_is_refused_by_name() {
        let fault = |bytes: &[u8]| opened(bytes).expect_err("refused").to_string();
        assert!(fault(&file(&[sof(0xc9, &[1])])).contains("arithmetic"));
        assert!(fault(&file(&[sof(0xc3, &[1])])).contains("lossless"));
        assert!(fault(&file(&[sof(0xc0, &[1, 2])])).contains("number of colours"));
        let whole = file(&[sof(0xc0, &[1, 2, 3])]);
        let cut = &whole[..whole.len() - 1];
        assert!(fault(cut).contains("stops before its end"));
        for end in 2..whole.len() {
            assert!(opened(&whole[..end]).is_err(), "{end}");
        }
    }

    #[test]
    fn tables_that_no_picture_can_be_decoded_with_are_refused() {
        let with = |marker: u8, part: &[u8]| {
            opened(&file(&[segment(marker, part), sof(0xc0, &[1, 2, 3])])).is_ok()
        };
        assert!(with(0xdb, &[&[0], [1; 64].as_slice()].concat()));
        assert!(!with(0xdb, &[&[0], [1; 63].as_slice()].concat()));
        assert!(!with(0xdb, &[&[0x20], [1; 64].as_slice()].concat()));
        let mut huffman = vec![0; 17];
        huffman[2] = 2;
        huffman.extend([5, 6]);
        assert!(with(0xc4, &huffman));
        assert!(!with(0xc4, &huffman[..18]), "a code is missing");
        huffman[1] = 3;
        assert!(!with(0xc4, &huffman), "three codes of one bit");
    }
}
