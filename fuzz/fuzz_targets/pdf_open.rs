//! Opens any bytes as a PDF and corrects all of its pages: an error or a file that opens again,
//! whatever the bytes.

#![no_main]

use std::sync::atomic::AtomicBool;
use std::time::Duration;

use libfuzzer_sys::fuzz_target;
use tympan_pdf::{CorrectJob, Document, Measure, PageOut, Source, correct};
use tympan_sheet::{Affine, Angle, Point};

fuzz_target!(|data: &[u8]| {
    let Ok(folder) = tempfile::tempdir() else { return };
    let file = folder.path().join("in.pdf");
    if std::fs::write(&file, data).is_err() {
        return;
    }
    let Ok(document) = Document::open(&file, None) else { return };
    let count = document.page_count().min(20);
    let map = Affine::tilt(Angle::degrees(0.5), Point::new(105.0, 148.5));
    let page = |number| PageOut { map, ..PageOut::untouched(0, number) };
    // Every page in its place, and then the first one again, so that both ways of writing are
    // taken by turns.
    let mut pages: Vec<_> = (1..=count).map(page).collect();
    if data.len() % 2 == 1 {
        pages.push(page(1));
    }
    let output = folder.path().join("out.pdf");
    let job = CorrectJob {
        sources: vec![Source { file, password: None }],
        output: output.clone(),
        pages,
        measure: Some(Measure { time: Duration::from_millis(200), ..Measure::default() }),
        ..CorrectJob::default()
    };
    match correct(&job, &mut |_| (), &AtomicBool::new(false)) {
        Ok(report) => {
            let again = Document::open(&output, None).expect("what was written opens again");
            assert_eq!(again.page_count(), report.pages.len());
        }
        Err(_) => assert!(!output.exists(), "a refusal leaves nothing behind"),
    }
});
