//! A PDF written by hand, rendered by poppler, printed and looked at.

use std::fmt::Write as _;

use image::DynamicImage;
use tympan_sheet::{Flip, Point, Size};
use tympan_sim::{Placement, Printer, Side, dark_centroid, poppler_pages};

use crate::common::{Light, assert_near};

/// A page of the PDF: discs of 2 mm radius by their centres in mm from the page's top left corner,
/// drawn through a matrix as PDF writes it, in points.
struct Discs<'a> {
    centres: &'a [[f64; 2]],
    matrix: [f64; 6],
}

/// A PDF with one A4 page for each.
fn pdf(pages: &[Discs]) -> Vec<u8> {
    let pt = |mm: f64| mm * 72.0 / 25.4;
    let mut objects = vec![
        "<< /Type /Catalog /Pages 2 0 R >>".to_owned(),
        String::new(),
    ];
    let mut kids = String::new();
    for Discs {
        centres,
        matrix: [a, b, c, d, e, f],
    } in pages
    {
        let mut content = format!("{a:.8} {b:.8} {c:.8} {d:.8} {e:.6} {f:.6} cm 0 g\n");
        for [x, y] in *centres {
            // Four Bézier curves with the usual control length of 0.5523 radii.
            let (x, y, r, k) = (pt(*x), pt(297.0 - y), pt(2.0), pt(2.0) * 0.552_285);
            writeln!(
                content,
                "{:.4} {y:.4} m {:.4} {:.4} {:.4} {:.4} {x:.4} {:.4} c \
                 {:.4} {:.4} {:.4} {:.4} {:.4} {y:.4} c {:.4} {:.4} {:.4} {:.4} {x:.4} {:.4} c \
                 {:.4} {:.4} {:.4} {:.4} {:.4} {y:.4} c f",
                x + r,
                x + r,
                y + k,
                x + k,
                y + r,
                y + r,
                x - k,
                y + r,
                x - r,
                y + k,
                x - r,
                x - r,
                y - k,
                x - k,
                y - r,
                y - r,
                x + k,
                y - r,
                x + r,
                y - k,
                x + r
            )
            .expect("a string");
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
    let file = folder.path().join("discs.pdf");
    let (front, back) = (
        [[30.0, 40.0], [180.0, 250.0]],
        [[100.0, 20.0], [50.0, 280.0]],
    );
    let page = |centres| Discs {
        centres,
        matrix: [1.0, 0.0, 0.0, 1.0, 0.0, 0.0],
    };
    std::fs::write(&file, pdf(&[page(&front), page(&back)])).expect("a file");
    let pages = poppler_pages(&file, 300.0, false).expect("poppler");
    assert_eq!(pages.len(), 2);
    let sheet =
        Printer::exact(Size::new(210.0, 297.0), Flip::Endways).print(0, &pages[0], &pages[1]);
    for (side, marks) in [(Side::Front, front), (Side::Back, back)] {
        let seen = Light::of(&DynamicImage::ImageRgb8(sheet.view(side, 8.0)));
        for [x, y] in marks {
            let found = seen.dark_at([x * 8.0, y * 8.0], 30.0).map(|px| px / 8.0);
            // Poppler softens edges in quarters of its pixels of 0.085 mm.
            assert_near(found, [x, y], 0.03, &format!("{side} {x} {y}"));
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

/// The whole loop with the truth in place of a reading. The printer's register error makes the
/// design's `g(p) = p + r(p)`; the backs' content goes through `T∘g⁻¹∘T` as a PDF matrix; poppler
/// renders it; the same printer prints it; and the backs lie behind their fronts.
#[test]
fn backs_corrected_by_the_printers_own_register_error_land_behind_their_fronts() {
    let folder = tempfile::tempdir().expect("a folder");
    let size = Size::new(210.0, 297.0);
    let front = [
        [30.0, 40.0],
        [180.0, 50.0],
        [105.0, 150.0],
        [40.0, 250.0],
        [170.0, 260.0],
    ];
    for flip in [Flip::Sideways, Flip::Endways] {
        let over = |[x, y]: [f64; 2]| match flip {
            Flip::Sideways => [210.0 - x, y],
            Flip::Endways => [x, 297.0 - y],
        };
        let back = front.map(over);
        let printer = Printer {
            fronts: Placement {
                tilt_deg: -0.1,
                ..Placement::shifted(0.8, -1.1)
            },
            backs: Placement {
                tilt_deg: 0.4,
                stretch: [0.003, -0.002],
                shear_deg: 0.1,
                ..Placement::shifted(-1.4, 2.1)
            },
            ..Printer::exact(size, flip)
        };
        let file = folder.path().join(format!("{flip}.pdf"));
        let print = |matrix| {
            let pages = [
                Discs {
                    centres: &front,
                    matrix: [1.0, 0.0, 0.0, 1.0, 0.0, 0.0],
                },
                Discs {
                    centres: &back,
                    matrix,
                },
            ];
            std::fs::write(&file, pdf(&pages)).expect("a file");
            let pages = poppler_pages(&file, 300.0, false).expect("poppler");
            printer.print(0, &pages[0], &pages[1])
        };

        let before = print([1.0, 0.0, 0.0, 1.0, 0.0, 0.0]);
        // g as a matrix, from three places; then where T∘g⁻¹∘T sends three places of the back.
        let r = |x, y| before.register_error(Point::new(x, y));
        let (o, u, v) = (r(0.0, 0.0), r(100.0, 0.0), r(0.0, 100.0));
        let (gxx, gxy) = (1.0 + (u.x - o.x) / 100.0, (v.x - o.x) / 100.0);
        let (gyx, gyy) = ((u.y - o.y) / 100.0, 1.0 + (v.y - o.y) / 100.0);
        let det = gxx * gyy - gxy * gyx;
        let corrected = |back: [f64; 2]| {
            let [x, y] = over(back);
            let (x, y) = (x - o.x, y - o.y);
            over([(gyy * x - gxy * y) / det, (gxx * y - gyx * x) / det])
        };
        let (o, u, v) = (
            corrected([0.0, 0.0]),
            corrected([100.0, 0.0]),
            corrected([0.0, 100.0]),
        );
        let (xx, yx) = ((u[0] - o[0]) / 100.0, (u[1] - o[1]) / 100.0);
        let (xy, yy) = ((v[0] - o[0]) / 100.0, (v[1] - o[1]) / 100.0);
        // From mm with y down to points with y up.
        let pt = 72.0 / 25.4;
        let (e, f) = (pt * (o[0] + 297.0 * xy), pt * (297.0 - 297.0 * yy - o[1]));
        let after = print([xx, -yx, -xy, yy, e, f]);

        for (sheet, corrected) in [(before, false), (after, true)] {
            let picture = sheet.seen_through(10.0);
            for mark in front {
                let place = sheet.front(Point::new(mark[0], mark[1]));
                let about = [place.x * 10.0, place.y * 10.0];
                let [a, b] = [0, 1]
                    .map(|channel| dark_centroid(&picture, channel, about, 60.0).expect("a disc"));
                let off = (b[0] - a[0]).hypot(b[1] - a[1]) / 10.0;
                if corrected {
                    // Poppler's edges, and terms of second order in the fronts' own placement.
                    assert!(off < 0.03, "{flip} {mark:?}: {off} mm left");
                } else {
                    assert!(off > 1.0, "{flip} {mark:?}: only {off} mm before");
                }
            }
        }
    }
}
