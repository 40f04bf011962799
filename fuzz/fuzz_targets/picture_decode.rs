//! Decoding pictures: any bytes end in pictures of the stated size or in a refusal.
#![no_main]

use libfuzzer_sys::fuzz_target;
use tympan_marks::picture::decode;

fuzz_target!(|bytes: &[u8]| {
    if let Ok(pages) = decode(bytes) {
        for page in pages {
            assert_eq!(page.data().len(), page.width() * page.height());
        }
    }
});
