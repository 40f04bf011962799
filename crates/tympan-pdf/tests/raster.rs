//! Pictures of pages, compared with Poppler's, and the bounds on them.

use std::process::Command;

use tympan_pdf::draw::{self, Meta};
use tympan_pdf::raster::{self, Pages, RasterError, View};
use tympan_sheet::drawing::{Colour, Drawing, Face, Path, Text};
use tympan_sheet::{Point, Rect, Size};

/// One page with these entries in its dictionary and this content.
fn handmade(entries: &str, content: &str) -> Vec<u8> {
    let objects = [
        "<< /Type /Catalog /Pages 2 0 R >>".to_owned(),
        "<< /Type /Pages /Kids [3 0 R] /Count 1 >>".to_owned(),
        format!("<< /Type /Page /Parent 2 0 R /Contents 4 0 R /Resources << >> {entries} >>"),
        format!(
            "<< /Length {} >>\nstream\n{content}\nendstream",
            content.len()
        ),
    ];
    let mut pdf = String::from("%PDF-1.7\n");
    let mut offsets = Vec::new();
    for (i, object) in objects.iter().enumerate() {
        offsets.push(pdf.len());
        pdf += &format!("{} 0 obj\n{object}\nendobj\n", i + 1);
    }
    let start = pdf.len();
    pdf += "xref\n0 5\n0000000000 65535 f \n";
    for offset in offsets {
        pdf += &format!("{offset:010} 00000 n \n");
    }
    pdf += &format!("trailer << /Root 1 0 R /Size 5 >>\nstartxref\n{start}\n%%EOF\n");
    pdf.into_bytes()
}

fn sample() -> Drawing {
    let mut d = Drawing::new(Size::new(60.0, 40.0));
    d.fill(
        Path::rounded_rect(4.0, 4.0, 22.0, 14.0, 3.0),
        Colour::hex(0x2c_6a80),
    );
    d.fill(Path::circle(45.3, 27.1, 6.0), Colour::Grey(0.0));
    d.text(Text::new(6.0, 33.0, 5.0, "2.1 mm").face(Face::Heading));
    d
}

fn sample_pdf() -> Vec<u8> {
    draw::write(&[sample()], &Meta::new("sample")).expect("drawn")
}

#[test]
fn pictures_agree_with_popplers() {
    let folder = tempfile::tempdir().expect("a folder");
    let (file, out) = (folder.path().join("a.pdf"), folder.path().join("a"));
    std::fs::write(&file, sample_pdf()).expect("written");
    let status = Command::new("pdftoppm")
        .args(["-r", "508", "-png", "-singlefile"])
        .args([&file, &out])
        .status()
        .expect("pdftoppm is missing: apt-get install -y poppler-utils");
    assert!(status.success());
    let theirs = image::open(out.with_extension("png"))
        .expect("a picture")
        .to_rgb8();
    let ours = raster::rgb(&sample_pdf(), 0, 20.0).expect("drawn");
    assert_eq!(ours.dimensions(), (1200, 800));
    let far = |(x, y, pixel): (u32, u32, &image::Rgb<u8>)| {
        pixel
            .0
            .iter()
            .zip(theirs.get_pixel(x, y).0)
            .any(|(a, b)| a.abs_diff(b) > 96)
    };
    let differing = ours.enumerate_pixels().filter(|p| far(*p)).count();
    assert!(differing < 1200 * 800 / 500, "{differing} pixels differ");
}

#[test]
fn a_circle_lies_where_it_was_drawn() {
    let picture = raster::grey(&sample_pdf(), 0, 20.0).expect("drawn");
    let (mut sum, mut sx, mut sy) = (0.0, 0.0, 0.0);
    for (x, y, pixel) in picture
        .enumerate_pixels()
        .filter(|(x, y, _)| *x > 760 && *y > 380)
    {
        let ink = 1.0 - f64::from(pixel[0]) / 255.0;
        sum += ink;
        sx += ink * (f64::from(x) + 0.5) / 20.0;
        sy += ink * (f64::from(y) + 0.5) / 20.0;
    }
    assert!((sx / sum - 45.3).abs() < 0.01 && (sy / sum - 27.1).abs() < 0.01);
}

#[test]
fn a_region_is_just_that_part_of_the_whole() {
    let pages = Pages::open(sample_pdf(), None).expect("opened");
    let whole = pages.grey(0, &View::whole(10.0)).expect("drawn");
    let region = Rect::at(Point::new(30.0, 20.0), Size::new(20.0, 15.0));
    let part = pages
        .grey(0, &View::whole(10.0).region(region))
        .expect("drawn");
    assert_eq!(part.dimensions(), (200, 150));
    for (x, y, pixel) in part.enumerate_pixels() {
        let other = whole.get_pixel(x + 300, y + 200)[0];
        assert!(
            pixel[0].abs_diff(other) <= 8,
            "{x}, {y}: {} and {other}",
            pixel[0]
        );
    }
    assert!(part.pixels().any(|p| p[0] == 0) && part.pixels().any(|p| p[0] == 255));
    let beside = Rect::at(Point::new(-20.0, -20.0), Size::new(10.0, 10.0));
    let beside = pages
        .grey(0, &View::whole(10.0).region(beside))
        .expect("drawn");
    assert!(
        beside.pixels().all(|p| p[0] == 255),
        "nothing but white outside the page"
    );
}

/// 72 × 144 units with a black square at the lower left, cropped to the lower half.
#[test]
fn a_page_is_drawn_as_seen_after_crop_rotation_and_unit() {
    let square = "0 0 36 36 re f";
    let plain = "/MediaBox [0 0 72 144] /CropBox [0 0 72 72]";
    for (rotate, unit, left, top) in [
        (0, 1.0, true, false),
        (90, 1.0, true, true),
        (180, 1.0, false, true),
        (270, 1.0, false, false),
        (90, 2.0, true, true),
    ] {
        let entries = format!("{plain} /Rotate {rotate} /UserUnit {unit}");
        let pages = Pages::open(handmade(&entries, square), None).expect("opened");
        let side = 25.4 * unit;
        assert!(
            pages
                .size(0)
                .expect("a page")
                .is_close(Size::new(side, side), 1e-4)
        );
        let picture = pages.grey(0, &View::whole(4.0)).expect("drawn");
        let px = (side * 4.0).ceil() as u32;
        assert_eq!(picture.dimensions(), (px, px), "{entries}");
        let (low, high) = (px / 4, 3 * px / 4);
        let at = (if left { low } else { high }, if top { low } else { high });
        for x in [low, high] {
            for y in [low, high] {
                let black = picture.get_pixel(x, y)[0] == 0;
                assert_eq!(black, (x, y) == at, "{entries}: {x}, {y}");
            }
        }
    }
}

#[test]
fn pictures_that_would_be_too_large_are_refused() {
    let pages = Pages::open(sample_pdf(), None).expect("opened");
    let refused = |view: &View| pages.rgb(0, view).expect_err("refused");
    for scale in [1e6, 2000.0, 0.0, -3.0, f64::NAN, f64::INFINITY] {
        let error = refused(&View::whole(scale));
        assert!(
            matches!(error, RasterError::Size { .. }),
            "{scale}: {error}"
        );
    }
    let small = View {
        max_pixels: 1000,
        ..View::whole(10.0)
    };
    assert_eq!(
        refused(&small).to_string(),
        "page 1 at 10 pixels per mm would be 600 × 400 pixels"
    );
    assert!(refused(&small).hint().is_some());
}

#[test]
fn a_page_that_is_not_there_is_refused() {
    let pages = Pages::open(sample_pdf(), None).expect("opened");
    let error = pages.rgb(7, &View::whole(1.0)).expect_err("refused");
    assert_eq!(error.to_string(), "there is no page 8; the last one is 1");
}

#[test]
fn what_is_no_pdf_is_refused() {
    for bytes in [Vec::new(), b"not a PDF at all".to_vec(), vec![0; 4096]] {
        let pages = Pages::open(bytes, None);
        assert!(matches!(pages, Err(RasterError::NotPdf)));
    }
}

/// Whatever is cut off, there is a picture or a refusal.
#[test]
fn a_file_cut_short_anywhere_gives_a_picture_or_a_refusal() {
    let whole = sample_pdf();
    let mut pictures = 0;
    for length in (0..whole.len()).step_by(whole.len() / 60) {
        if let Ok(pages) = Pages::open(whole[..length].to_vec(), None) {
            match pages.grey(0, &View::whole(2.0)) {
                Ok(picture) => {
                    assert!(picture.width() > 0);
                    pictures += 1;
                }
                Err(error) => assert!(!error.to_string().is_empty()),
            }
        }
    }
    assert!(pictures > 0, "a reader that repairs shows some of them");
}

#[test]
fn a_picture_of_nearly_as_many_pixels_is_not_moved_to_whole_ones() {
    // 1000 pixels on 1000.4; each tenth group of four is black.
    let row: String = (0..1000)
        .map(|x| if x % 100 < 4 { "00" } else { "FF" })
        .collect();
    let mm = 72.0 / 25.4;
    let (w, h) = (100.04 * mm, 10.0 * mm);
    let content = format!("{w} 0 0 {h} 0 0 cm BI /W 1000 /H 1 /BPC 8 /CS /G /F /AHx ID {row}> EI");
    let pdf = handmade(&format!("/MediaBox [0 0 {w} {h}]"), &content);
    let drawn = raster::grey(&pdf, 0, 10.0).expect("drawn");
    for group in 1..10 {
        let expected = (f64::from(group) * 100.0 + 2.0) * 1.0004;
        let (mut sum, mut moment) = (0.0, 0.0);
        for x in (expected as u32 - 8)..(expected as u32 + 8) {
            let dark = 255.0 - f64::from(drawn.get_pixel(x, 50).0[0]);
            sum += dark;
            moment += dark * (f64::from(x) + 0.5);
        }
        let off = moment / sum - expected;
        assert!(off.abs() < 0.03, "the group at {expected} is {off} px off");
    }
}
