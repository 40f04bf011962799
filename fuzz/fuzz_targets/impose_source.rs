//! Opens any bytes as art and places it on a sheet: a refusal, or a file that opens again.

#![no_main]

use std::sync::atomic::AtomicBool;

use libfuzzer_sys::fuzz_target;
use tympan_pdf::Document;
use tympan_pdf::impose::{
    Art, ArtId, Bleed, BleedBy, Fit, ImposeJob, Placement, SheetPage, Sources, write,
};
use tympan_sheet::{Point, Shape, Size};

fuzz_target!(|data: &[u8]| {
    let Ok(folder) = tempfile::tempdir() else { return };
    let file = folder.path().join("art");
    if std::fs::write(&file, data).is_err() {
        return;
    }
    let mut sources = Sources::new();
    let Ok(id) = sources.add(&file, None) else { return };
    let Ok(page) = sources.page(id, 1) else { return };
    let card = Shape::rect(Size::new(63.5, 88.9), 3.0);
    let placement = Placement {
        fit: Fit::Fill,
        bleed: Bleed::all(3.0, BleedBy::Mirror),
        ..Placement::at(ArtId(0), card, Point::new(20.0, 20.0))
    };
    let output = folder.path().join("out.pdf");
    let job = ImposeJob {
        output: output.clone(),
        arts: vec![Art::whole("art", id, 1, page.size)],
        pages: vec![SheetPage {
            placements: vec![placement],
            ..SheetPage::new(Size::new(210.0, 297.0))
        }],
        ..ImposeJob::default()
    };
    match write(&job, sources, &mut |_| (), &AtomicBool::new(false)) {
        Ok(_) => {
            let again = Document::open(&output, None).expect("what was written opens again");
            assert_eq!(again.page_count(), 1);
        }
        Err(_) => assert!(!output.exists(), "a refusal leaves nothing behind"),
    }
});
