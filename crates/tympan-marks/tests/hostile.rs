//! Files and pictures that nobody meant well: an answer within limits, and no panic.

mod support;

use std::io::Cursor;
use std::sync::OnceLock;

use image::{DynamicImage, GrayImage, ImageFormat};
use proptest::prelude::*;
use support::{A4, a4};
use tympan_marks::picture::{Expected, Luma, decode, read};
use tympan_sheet::{Flip, Side};
use tympan_sim::{OnBed, Printer, Scanner};

/// Small files of every format that is read.
fn files() -> &'static [Vec<u8>] {
    static FILES: OnceLock<Vec<Vec<u8>>> = OnceLock::new();
    FILES.get_or_init(|| {
        let grey = GrayImage::from_fn(24, 18, |x, y| image::Luma([(x * 9 + y * 3) as u8]));
        let image = DynamicImage::ImageRgb8(DynamicImage::ImageLuma8(grey).to_rgb8());
        [
            ImageFormat::Png,
            ImageFormat::Jpeg,
            ImageFormat::Tiff,
            ImageFormat::WebP,
        ]
        .map(|format| {
            let mut bytes = Cursor::new(Vec::new());
            image.write_to(&mut bytes, format).expect("encodes");
            bytes.into_inner()
        })
        .to_vec()
    })
}

/// A coarse scan of a test sheet, to be spoiled.
fn scanned() -> &'static Luma {
    static SCANNED: OnceLock<Luma> = OnceLock::new();
    SCANNED.get_or_init(|| {
        let [front, back] = a4(Flip::Sideways);
        let sheet = Printer::faulty(1, A4, Flip::Sideways).print(1, front, back);
        let scanner = Scanner {
            jpeg: None,
            dust: 0,
            ..Scanner::usual(1, 90.0)
        };
        support::luma(&scanner.scan(&sheet, Side::Front, &OnBed::by_hand(1)).image)
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn files_with_wrong_bytes_are_decoded_or_refused(
        which in 0_usize..4,
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..12),
        cut in prop::option::of(any::<prop::sample::Index>()),
    ) {
        let mut bytes = files()[which].clone();
        for (at, value) in changes {
            let at = at.index(bytes.len());
            bytes[at] = value;
        }
        if let Some(cut) = cut {
            bytes.truncate(cut.index(bytes.len()));
        }
        if let Ok(pages) = decode(&bytes) {
            prop_assert!(pages.iter().all(|p| p.data().len() == p.width() * p.height()));
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

    /// Black or white bars, anywhere and of any size, over a scan: it is read or refused.
    #[test]
    fn scans_with_parts_painted_over_never_panic(
        bars in prop::collection::vec((0.0..1.0, 0.0..1.0, 0.0..0.6, 0.0..0.6, any::<u8>()), 1..5),
    ) {
        let scan = scanned();
        let (w, h) = (scan.width(), scan.height());
        let mut data = scan.data().to_vec();
        for (x, y, width, height, tone) in bars {
            let part = |share: f64, size: usize| (share * size as f64) as usize;
            let (x, y) = (part(x, w), part(y, h));
            for row in y..(y + part(height, h)).min(h) {
                data[row * w + x..row * w + (x + part(width, w)).min(w)].fill(tone);
            }
        }
        let spoiled = Luma::new(w, h, data).expect("all pixels");
        let outcomes = read(&[spoiled], &Expected::default());
        prop_assert_eq!(outcomes.len(), 1);
        prop_assert!(outcomes[0].result.is_err(), "one side alone is no reading");
    }

    #[test]
    fn noise_of_any_shape_is_refused(
        (w, h) in (0_usize..200, 0_usize..200),
        seed in any::<u32>(),
    ) {
        let noise = (0..w * h).map(|k| {
            ((k as u32 ^ seed).wrapping_mul(2_654_435_761) >> 24) as u8
        });
        let luma = Luma::new(w, h, noise.collect()).expect("all pixels");
        prop_assert!(read(&[luma], &Expected::default())[0].result.is_err());
    }
}
