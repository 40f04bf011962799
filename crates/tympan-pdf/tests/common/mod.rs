//! Tiny PDF files written by hand, and ways to look at what became of them.

// Each file of tests uses its part.
#![allow(dead_code)]

use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

use tempfile::TempDir;
use tympan_pdf::raster::{Pages, View};
use tympan_pdf::{CorrectJob, CorrectReport, Document, PageOut, PdfError, Source, correct};
use tympan_sheet::{Affine, Page, Point};

/// A file with these objects, numbered from 1; the first is the catalogue.
pub(crate) fn pdf(objects: &[&str]) -> Vec<u8> {
    let mut file = b"%PDF-1.7\n".to_vec();
    let mut table = format!("xref\n0 {}\n0000000000 65535 f \n", objects.len() + 1);
    for (i, object) in objects.iter().enumerate() {
        table += &format!("{:010} 00000 n \n", file.len());
        file.extend(format!("{} 0 obj\n{object}\nendobj\n", i + 1).bytes());
    }
    let start = file.len();
    let size = objects.len() + 1;
    file.extend(
        format!("{table}trailer\n<</Root 1 0 R/Size {size}>>\nstartxref\n{start}\n%%EOF\n").bytes(),
    );
    file
}

/// A stream object with these further entries and this content.
pub(crate) fn stream(entries: &str, content: &str) -> String {
    format!(
        "<<{entries}/Length {}>>\nstream\n{content}\nendstream",
        content.len()
    )
}

/// One page with these entries, whose content is object 4.
pub(crate) fn one_page(entries: &str, content: &str) -> Vec<u8> {
    pdf(&[
        "<</Type/Catalog/Pages 2 0 R>>",
        "<</Type/Pages/Kids[3 0 R]/Count 1>>",
        &format!("<</Type/Page/Parent 2 0 R/Contents 4 0 R{entries}>>"),
        &stream("", content),
    ])
}

/// A black square with its corner at `x`, `y` and sides of 10, in user space.
pub(crate) fn square(x: f64, y: f64) -> String {
    format!("0 g {x} {y} 10 10 re f")
}

/// A folder with files in it.
pub(crate) struct Folder(TempDir);

impl Folder {
    pub(crate) fn new() -> Self {
        Self(tempfile::tempdir().expect("a folder"))
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    pub(crate) fn write(&self, name: &str, bytes: &[u8]) -> PathBuf {
        let path = self.path(name);
        std::fs::write(&path, bytes).expect("written");
        path
    }

    pub(crate) fn names(&self) -> Vec<String> {
        let entries = std::fs::read_dir(self.0.path()).expect("a folder");
        let name = |e: std::io::Result<std::fs::DirEntry>| e.expect("an entry").file_name();
        let mut names: Vec<_> = entries
            .map(|e| name(e).to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    }
}

/// A job on some files: `(source, page, map)` for each page of the output.
pub(crate) fn job(output: &Path, sources: &[&Path], pages: &[PageOut]) -> CorrectJob {
    CorrectJob {
        sources: sources
            .iter()
            .map(|file| Source {
                file: file.to_path_buf(),
                password: None,
            })
            .collect(),
        output: output.to_path_buf(),
        pages: pages.to_vec(),
        ..CorrectJob::default()
    }
}

pub(crate) fn run(job: &CorrectJob) -> Result<CorrectReport, PdfError> {
    correct(job, &mut |_| (), &AtomicBool::new(false))
}

/// All pages of a file moved by one map.
pub(crate) fn move_all(
    folder: &Folder,
    file: &[u8],
    map: Affine<Page>,
) -> (PathBuf, CorrectReport) {
    let source = folder.write("in.pdf", file);
    let count = Document::open(&source, None).expect("opened").page_count();
    let pages: Vec<_> = (1..=count)
        .map(|n| PageOut {
            map,
            ..PageOut::untouched(0, n)
        })
        .collect();
    let output = folder.path("out.pdf");
    let report = run(&job(&output, &[&source], &pages)).expect("corrected");
    (output, report)
}

/// The middle and the area of the ink on a page, in mm as seen, from a picture of it.
pub(crate) fn ink(file: &Path, page: usize) -> Option<(Point<Page>, f64)> {
    const SCALE: f64 = 10.0;
    let pages = Pages::read(file, None).expect("a PDF");
    let picture = pages
        .grey(page - 1, &View::whole(SCALE))
        .expect("a picture");
    let (mut x, mut y, mut weight) = (0.0, 0.0, 0.0);
    for (column, row, pixel) in picture.enumerate_pixels() {
        let dark = f64::from(255 - pixel.0[0]) / 255.0;
        x += dark * (f64::from(column) + 0.5);
        y += dark * (f64::from(row) + 0.5);
        weight += dark;
    }
    let middle = Point::new(x / weight / SCALE, y / weight / SCALE);
    (weight > 1.0).then_some((middle, weight / SCALE / SCALE))
}

/// The ink of a page of `output` lies where `map` carries that of the same page of `source`.
pub(crate) fn assert_moved(source: &Path, output: &Path, page: usize, map: &Affine<Page>) {
    let (before, _) = ink(source, page).expect("ink on the source");
    let (after, _) = ink(output, page).expect("ink on the output");
    let meant = map.apply(before);
    let off = (after - meant).length();
    assert!(
        off < 0.02,
        "page {page}: {after:?} and not {meant:?}, off by {off:.3} mm"
    );
}
