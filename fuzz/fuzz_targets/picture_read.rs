//! Looking for a test sheet in any small picture: the first byte gives its width.
#![no_main]

use libfuzzer_sys::fuzz_target;
use tympan_marks::picture::{Expected, Luma, read};

fuzz_target!(|bytes: &[u8]| {
    let Some((&width, pixels)) = bytes.split_first() else { return };
    let width = usize::from(width) * 4 + 1;
    let height = pixels.len() / width;
    if let Some(luma) = Luma::new(width, height, pixels[..width * height].to_vec()) {
        assert_eq!(read(&[luma], &Expected::default()).len(), 1);
    }
});
