//! A PDF written by hand, rendered by poppler, printed and looked at.

use std::fmt::Write as _;

use image::DynamicImage;
use tympan_sheet::{Flip, Size};
use tympan_sim::{Printer, Side, poppler_pages};

use crate::common::{Light, assert_near};

/// A PDF with one A4 page for each list of 4 mm squares, given by their centres in mm from the
/// page's top left corner.
fn pdf(pages: &[&[[f64; 2]]]) -> Vec<u8> {
    let pt = |mm: f64| mm * 72.0 / 25.4;
    let mut objects = vec![
        "<< /Type /Catalog /Pages 2 0 R >>".to_owned(),
        String::new(),
    ];
    let mut kids = String::new();
    for squares in pages {
        let mut content = String::from("0 g\n");
        for [x, y] in *squares {
            let (left, low) = (pt(x - 2.0), pt(297.0 - y - 2.0));
            writeln!(content, "{left:.4} {low:.4} {0:.4} {0:.4} re f", pt(4.0)).expect("a string");
        }
        let number = objects.len() + 1;
        write!(kids, "{number} 0 R ").expect("a string");
        objects.push(format!(
            "<< /Type /Page /Parent 2 0 R /MediaBox [0 0 {:.4} {:.4}] /Contents {} 0 R >>",
            pt(210.0),
            pt(297.0),
            number + 1
        ));
        objects.push(format!(
            "<< /Length {} >>\nstream\n{content}endstream",
            content.len()
        ));
    }
    objects[1] = format!("<< /Type /Pages /Kids [{kids}] /Count {} >>", pages.len());
    let mut out = String::from("%PDF-1.4\n");
    let mut table = String::new();
    for (i, object) in objects.iter().enumerate() {
        writeln!(table, "{:010} 00000 n ", out.len()).expect("a string");
        write!(out, "{} 0 obj\n{object}\nendobj\n", i + 1).expect("a string");
    }
    let start = out.len();
    let count = objects.len() + 1;
    write!(
        out,
        "xref\n0 {count}\n0000000000 65535 f \n{table}trailer\n<< /Size {count} /Root 1 0 R >>\n\
         startxref\n{start}\n%%EOF\n"
    )
    .expect("a string");
    out.into_bytes()
}

/// Poppler puts the page's top left corner at the raster's, and the simulation leaves it there.
#[test]
fn a_pdfs_marks_come_to_lie_on_the_sheet_where_the_pdf_has_them() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("squares.pdf");
    let (front, back) = (
        [[30.0, 40.0], [180.0, 250.0]],
        [[100.0, 20.0], [50.0, 280.0]],
    );
    std::fs::write(&file, pdf(&[&front, &back])).expect("a file");
    let pages = poppler_pages(&file, 300.0, false).expect("poppler");
    assert_eq!(pages.len(), 2);
    let sheet =
        Printer::exact(Size::new(210.0, 297.0), Flip::Endways).print(0, &pages[0], &pages[1]);
    for (side, marks) in [(Side::Front, front), (Side::Back, back)] {
        let seen = Light::of(&DynamicImage::ImageRgb8(sheet.view(side, 8.0)));
        for [x, y] in marks {
            let found = seen.dark_at([x * 8.0, y * 8.0], 30.0).map(|px| px / 8.0);
            // Poppler snaps a fill's edges to whole pixels of 0.085 mm.
            assert_near(found, [x, y], 0.06, &format!("{side} {x} {y}"));
        }
    }
}

#[test]
fn a_file_that_is_no_pdf_is_refused_with_its_name() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("not.pdf");
    std::fs::write(&file, "nothing").expect("a file");
    let error = poppler_pages(&file, 50.0, true)
        .expect_err("no PDF")
        .to_string();
    assert!(error.contains("not.pdf"), "{error}");
}
