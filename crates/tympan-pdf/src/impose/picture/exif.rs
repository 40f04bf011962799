//! The little of Exif that matters in print: which way up, and how large (Exif 2.3, 4.6.4).

/// What Exif says of a picture.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Exif {
    /// Tag 274, 1 to 8.
    pub(super) orientation: Option<u8>,
    /// Tags 282, 283 and 296, pixels per mm.
    pub(super) resolution: Option<[f64; 2]>,
}

/// Reads the first directory of an Exif block, which is a TIFF file without pictures. What makes
/// no sense is passed over.
pub(super) fn read(block: &[u8]) -> Exif {
    let Some(tiff) = Tiff::new(block) else {
        return Exif::default();
    };
    let Some(first) = tiff.long(4) else {
        return Exif::default();
    };
    let first = first as usize;
    let count = usize::from(tiff.short(first).unwrap_or(0));
    let mut exif = Exif::default();
    let (mut x, mut y, mut unit) = (None, None, 2);
    for i in 0..count {
        let at = first + 2 + 12 * i;
        let Some(tag) = tiff.short(at) else { break };
        match tag {
            274 => {
                let value = tiff.short(at + 8).filter(|o| (1..=8).contains(o));
                exif.orientation = value.map(|o| o as u8);
            }
            282 => x = tiff.rational(at + 8),
            283 => y = tiff.rational(at + 8),
            296 => unit = tiff.short(at + 8).unwrap_or(2),
            _ => {}
        }
    }
    let per_mm = match unit {
        2 => 1.0 / 25.4,
        3 => 0.1,
        _ => return exif,
    };
    if let (Some(x), Some(y)) = (x, y) {
        exif.resolution = super::sane_resolution(x * per_mm, y * per_mm);
    }
    exif
}

struct Tiff<'a> {
    bytes: &'a [u8],
    big_endian: bool,
}

impl<'a> Tiff<'a> {
    fn new(bytes: &'a [u8]) -> Option<Self> {
        let big_endian = match bytes.get(..4)? {
            b"MM\0*" => true,
            b"II*\0" => false,
            _ => return None,
        };
        Some(Self { bytes, big_endian })
    }

    fn short(&self, at: usize) -> Option<u16> {
        let two: [u8; 2] = self.bytes.get(at..at.checked_add(2)?)?.try_into().ok()?;
        Some(if self.big_endian {
            u16::from_be_bytes(two)
        } else {
            u16::from_le_bytes(two)
        })
    }

    fn long(&self, at: usize) -> Option<u32> {
        let four: [u8; 4] = self.bytes.get(at..at.checked_add(4)?)?.try_into().ok()?;
        Some(if self.big_endian {
            u32::from_be_bytes(four)
        } else {
            u32::from_le_bytes(four)
        })
    }

    /// The rational number that the four bytes here point at.
    fn rational(&self, at: usize) -> Option<f64> {
        let at = self.long(at)? as usize;
        let (above, below) = (self.long(at)?, self.long(at.checked_add(4)?)?);
        (below > 0).then(|| f64::from(above) / f64::from(below))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn block(unit: u16) -> Vec<u8> {
        let mut b = b"MM\0*\0\0\0\x08\0\x04".to_vec();
        let mut entry = |tag: u16, kind: u16, value: [u8; 4]| {
            b.extend(tag.to_be_bytes());
            b.extend(kind.to_be_bytes());
            b.extend([0, 0, 0, 1]);
            b.extend(value);
        };
        entry(274, 3, [0, 6, 0, 0]);
        entry(282, 5, [0, 0, 0, 62]);
        entry(283, 5, [0, 0, 0, 62]);
        entry(296, 3, [unit.to_be_bytes()[0], unit.to_be_bytes()[1], 0, 0]);
        b.extend([0, 0, 0, 0]);
        assert_eq!(b.len(), 62);
        b.extend([0, 0, 0x0b, 0xb8, 0, 0, 0, 10]);
        b
    }

    #[test]
    fn the_way_up_and_the_resolution_are_read() {
        let exif = read(&block(2));
        assert_eq!(exif.orientation, Some(6));
        let [x, y] = exif.resolution.expect("stated");
        assert!((x * 25.4 - 300.0).abs() < 1e-9 && x == y);
        let [x, _] = read(&block(3)).resolution.expect("stated");
        assert!((x - 30.0).abs() < 1e-9, "per centimetre");
    }

    #[test]
    fn a_block_that_is_cut_off_anywhere_says_less_and_harms_nothing() {
        let whole = block(2);
        for end in 0..whole.len() {
            let _ = read(&whole[..end]);
        }
        assert_eq!(read(b"MM\0*\xff\xff\xff\xff"), Exif::default());
        assert_eq!(read(b"nothing at all"), Exif::default());
    }
}
