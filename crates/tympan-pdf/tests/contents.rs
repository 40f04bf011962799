//! What a page is said to hold, against pages written here by hand.

use std::sync::atomic::AtomicBool;
use std::time::{Duration, Instant};

use tympan_pdf::contents::{Contents, Extent, Kind, Limits, Model, Outline, Paint};
use tympan_pdf::raster::Pages;
use tympan_sheet::{Page, Point, Rect};

const PT: f64 = 25.4 / 72.0;

/// A file of one page with this content, these entries in its page, and these further objects
/// (from number 5 on).
fn pdf(entries: &str, content: &str, objects: &[&str]) -> Vec<u8> {
    let mut file = b"%PDF-1.7\n".to_vec();
    let mut places = Vec::new();
    let page = format!("<</Type/Page/Parent 2 0 R/Contents 4 0 R {entries}>>");
    let stream = format!(
        "<</Length {}>>\nstream\n{content}\nendstream",
        content.len()
    );
    let mut all = vec![
        "<</Type/Catalog/Pages 2 0 R>>",
        "<</Type/Pages/Kids[3 0 R]/Count 1>>",
        &page,
        &stream,
    ];
    all.extend(objects);
    for (i, object) in all.iter().enumerate() {
        places.push(file.len());
        file.extend(format!("{} 0 obj\n{object}\nendobj\n", i + 1).bytes());
    }
    let start = file.len();
    file.extend(format!("xref\n0 {}\n0000000000 65535 f \n", places.len() + 1).bytes());
    for place in &places {
        file.extend(format!("{place:010} 00000 n \n").bytes());
    }
    let size = places.len() + 1;
    file.extend(
        format!("trailer <</Size {size}/Root 1 0 R>>\nstartxref\n{start}\n%%EOF\n").bytes(),
    );
    file
}

fn read_with(entries: &str, content: &str, objects: &[&str], limits: &Limits<'_>) -> Contents {
    let pages = Pages::open(pdf(entries, content, objects), None).expect("a PDF");
    pages.contents(0, limits).expect("a page")
}

fn read(entries: &str, content: &str, objects: &[&str]) -> Contents {
    let contents = read_with(entries, content, objects, &Limits::default());
    assert_eq!(contents.extent, Extent::Whole);
    contents
}

const A4: &str = "/MediaBox[0 0 595 842]";

fn close(a: Point<Page>, x: f64, y: f64) -> bool {
    (a.x - x).abs() < 1e-3 && (a.y - y).abs() < 1e-3
}

#[track_caller]
fn assert_rect(rect: Rect<Page>, pt: [f64; 4]) {
    let [x0, y0, x1, y1] = pt.map(|v| v * PT);
    assert!(
        close(rect.min, x0, y0) && close(rect.max, x1, y1),
        "{rect:?} is not {x0} {y0} {x1} {y1}"
    );
}

#[test]
fn a_stroked_line_has_its_ends_width_and_colour() {
    let page = read(A4, "2 w 1 0 0 RG 100 800 m 200 800 l S", &[]);
    let [line] = page.elements.as_slice() else {
        panic!("one line: {page:?}");
    };
    let Kind::Stroke {
        outline: Outline::Line([a, b]),
        paint: Paint::Solid(colour),
        width,
        dashed,
    } = &line.kind
    else {
        panic!("a line: {line:?}");
    };
    assert!(close(*a, 100.0 * PT, 42.0 * PT) && close(*b, 200.0 * PT, 42.0 * PT));
    assert!((width - 2.0 * PT).abs() < 1e-9 && !dashed);
    assert_eq!((colour.rgb, colour.cmyk), ([255, 0, 0], None));
}

#[test]
fn a_path_of_many_lines_is_told_line_by_line() {
    let page = read(A4, "10 10 m 20 10 l 30 30 m 30 40 l 50 50 60 70 re S", &[]);
    let kinds: Vec<_> = page.elements.iter().map(|e| &e.kind).collect();
    assert!(matches!(
        kinds.as_slice(),
        [
            Kind::Stroke {
                outline: Outline::Line(_),
                ..
            },
            Kind::Stroke {
                outline: Outline::Line(_),
                ..
            },
            Kind::Stroke {
                outline: Outline::Box { radius: 0.0, .. },
                ..
            },
        ]
    ));
}

#[test]
fn a_tilted_card_with_round_corners_is_a_box_with_a_radius() {
    // 100 by 140 pt, corners of 9 pt drawn as Bézier quarter circles, tilted by 1 degree.
    let k = 9.0 * 0.447_715;
    let content = format!(
        "0.99984770 0.01745241 -0.01745241 0.99984770 200 300 cm \
         9 0 m 91 0 l {a} 0 100 {k} 100 9 c 100 131 l 100 {b} {a} 140 91 140 c \
         9 140 l {k} 140 0 {b} 0 131 c 0 9 l 0 {k} {k} 0 9 0 c h f",
        a = 100.0 - k,
        b = 140.0 - k,
    );
    let page = read(A4, &content, &[]);
    let [card] = page.elements.as_slice() else {
        panic!("one card: {page:?}");
    };
    let Kind::Fill {
        outline: Outline::Box { corners, radius },
        ..
    } = &card.kind
    else {
        panic!("a box: {card:?}");
    };
    assert!((radius - 9.0 * PT).abs() < 0.02, "{radius}");
    let (w, h) = (
        (corners[1] - corners[0]).length(),
        (corners[2] - corners[1]).length(),
    );
    let (w, h) = (w.min(h), w.max(h));
    assert!(
        (w - 100.0 * PT).abs() < 1e-3 && (h - 140.0 * PT).abs() < 1e-3,
        "{w} {h}"
    );
}

#[test]
fn a_circle_is_neither_line_nor_box() {
    let page = read(
        A4,
        "100 50 m 100 77 77 100 50 100 c 23 100 0 77 0 50 c 0 23 23 0 50 0 c \
        77 0 100 23 100 50 c h f",
        &[],
    );
    assert!(matches!(
        page.elements[0].kind,
        Kind::Fill {
            outline: Outline::Other,
            ..
        }
    ));
    assert_eq!(page.elements.len(), 1);
}

#[test]
fn places_are_as_seen_after_rotate_crop_box_and_user_unit() {
    // A page of 400 × 600 units of 2 points, cropped by 50 left and 100 at the foot, turned a
    // quarter clockwise: what was at the left edge is at the top, the foot at the left.
    let entries = "/MediaBox[0 0 400 600]/CropBox[50 100 400 600]/Rotate 90/UserUnit 2 \
         /TrimBox[60 120 380 580]";
    let page = read(entries, "70 130 10 20 re f", &[]);
    assert!((page.size.w - 1000.0 * PT).abs() < 1e-3 && (page.size.h - 700.0 * PT).abs() < 1e-3);
    assert_rect(page.elements[0].bounds, [60.0, 40.0, 100.0, 60.0]);
    assert_rect(
        page.trim_box.expect("a trim box"),
        [40.0, 20.0, 960.0, 660.0],
    );
    assert_eq!(page.bleed_box, None);
}

const IMAGE: &str = "<</Type/XObject/Subtype/Image/Width 4/Height 2/BitsPerComponent 8 \
     /ColorSpace/DeviceCMYK/Length 32>>\nstream\n01234567890123456789012345678901\nendstream";

#[test]
fn a_picture_has_its_place_pixels_colours_and_repeats() {
    let entries = format!("{A4}/Resources<</XObject<</A 5 0 R/B 6 0 R>>>>");
    let content = "q 144 0 0 72 100 700 cm /A Do Q q 0 72 -144 0 400 100 cm /A Do Q \
         q 10 0 0 10 0 0 cm /B Do Q";
    let page = read(&entries, content, &[IMAGE, IMAGE]);
    let pictures: Vec<_> = page
        .elements
        .iter()
        .map(|e| match &e.kind {
            Kind::Picture(p) => p,
            other => panic!("a picture: {other:?}"),
        })
        .collect();
    let [first, again, other] = pictures.as_slice() else {
        panic!("three pictures");
    };
    assert_eq!((first.w, first.h, first.model), (4, 2, Model::Cmyk));
    assert!(close(first.corners()[0], 100.0 * PT, 70.0 * PT));
    assert!((first.size().w - 144.0 * PT).abs() < 1e-6);
    assert!((first.ppi() - 2.0).abs() < 1e-6, "{}", first.ppi());
    assert!(first.id == again.id && first.id != other.id);
    // Turned a quarter counter-clockwise, its top left is at the bottom left.
    assert!(
        close(again.corners()[0], 256.0 * PT, 742.0 * PT),
        "{:?}",
        again.corners()
    );
    assert_rect(page.elements[1].bounds, [256.0, 670.0, 400.0, 742.0]);
}

#[test]
fn what_is_clipped_away_is_not_seen() {
    let page = read(
        A4,
        "q 100 100 50 50 re W n 0 0 595 842 re f Q 0 0 10 10 re f",
        &[],
    );
    let [clipped, free] = page.elements.as_slice() else {
        panic!("two areas");
    };
    let seen = page.seen(clipped).expect("some of it");
    assert_rect(seen, [100.0, 692.0, 150.0, 742.0]);
    assert_eq!(free.clip, None);
    assert!(!page.clips[0].form);
}

#[test]
fn the_box_of_a_form_is_known_from_a_clip() {
    let form = "<</Type/XObject/Subtype/Form/BBox[0 0 100 50]/Length 17>>\nstream\n\
         0 0 500 500 re f \nendstream";
    let entries = format!("{A4}/Resources<</XObject<</F 5 0 R>>>>");
    let page = read(&entries, "q 2 0 0 2 40 60 cm /F Do Q", &[form]);
    let [clip] = page.clips.as_slice() else {
        panic!("one clip: {page:?}");
    };
    assert!(clip.form);
    assert_rect(clip.bounds, [40.0, 682.0, 240.0, 782.0]);
    assert_rect(
        page.seen(&page.elements[0]).expect("seen"),
        [40.0, 682.0, 240.0, 782.0],
    );
}

#[test]
fn text_has_its_size_as_placed() {
    let entries =
        format!("{A4}/Resources<</Font<</F<</Type/Font/Subtype/Type1/BaseFont/Helvetica>>>>>>");
    let content =
        "0 0 0 0.5 k 0.5 0 0 0.5 0 0 cm BT /F 8 Tf 200 400 Td (Ferry) Tj 3 Tr (hid) Tj ET";
    let page = read(&entries, content, &[]);
    let [run] = page.elements.as_slice() else {
        panic!("one run, the invisible one is not painted: {page:?}");
    };
    let Kind::Text(text) = &run.kind else {
        panic!("text: {run:?}");
    };
    assert!((text.size - 4.0 * PT).abs() < 1e-6, "{}", text.size);
    assert_eq!(text.glyphs, 5);
    let Paint::Solid(colour) = text.paint else {
        panic!("a colour");
    };
    assert_eq!(colour.cmyk, Some([0.0, 0.0, 0.0, 0.5]));
    let around = Rect {
        min: Point::new(99.0 * PT, 638.0 * PT),
        max: Point::new(113.0 * PT, 644.0 * PT),
    };
    assert!(
        around.contains(run.bounds.min) && around.contains(run.bounds.max),
        "{run:?}"
    );
}

#[test]
fn a_box_that_begins_in_the_middle_of_a_side_is_a_box() {
    let content = "60 10 m 10 10 l 10 90 l 110 90 l 110 10 l 60 10 l h f";
    let page = read(A4, content, &[]);
    let Kind::Fill { outline, .. } = &page.elements[0].kind else {
        panic!("a fill: {page:?}");
    };
    assert!(
        matches!(outline, Outline::Box { radius, .. } if *radius == 0.0),
        "{outline:?}"
    );
}

#[test]
fn text_tells_which_way_it_reads() {
    let entries =
        format!("{A4}/Resources<</Font<</F<</Type/Font/Subtype/Type1/BaseFont/Helvetica>>>>>>");
    // From left to right, up the page, on its head.
    let content = "BT /F 8 Tf 1 0 0 1 200 400 Tm (Ferry) Tj 0 1 -1 0 200 400 Tm (Ferry) Tj \
                   -1 0 0 -1 200 400 Tm (Ferry) Tj ET";
    let page = read(&entries, content, &[]);
    let reads: Vec<f64> = (page.elements.iter())
        .filter_map(|element| match &element.kind {
            Kind::Text(text) => Some(text.reads.to_degrees()),
            _ => None,
        })
        .collect();
    assert_eq!(reads.len(), 3);
    assert!(
        reads[0].abs() < 1e-6 && (reads[1] + 90.0).abs() < 1e-6,
        "{reads:?}"
    );
    assert!((reads[2].abs() - 180.0).abs() < 1e-6, "{reads:?}");
}

#[test]
fn transparency_and_layers_are_noticed() {
    let entries = format!(
        "{A4}/Resources<</ExtGState<</H<</ca 0.5>>/M<</BM/Multiply>>>> \
         /Properties<</L<</Type/OCG/Name(Cuts)>>>>>>"
    );
    let page = read(
        &entries,
        "0 0 9 9 re f q /H gs 0 0 9 9 re f Q q /M gs 0 0 9 9 re f Q",
        &[],
    );
    let clear: Vec<_> = page.elements.iter().map(|e| e.transparent).collect();
    assert_eq!(clear, [false, true, true]);
    assert!(!page.layers);
    assert!(read(&entries, "/OC /L BDC 0 0 9 9 re f EMC", &[]).layers);
}

#[test]
fn a_page_with_too_much_on_it_is_read_as_far_as_allowed() {
    let content = "0 0 9 9 re f ".repeat(5000);
    let limits = Limits {
        elements: 1000,
        ..Limits::default()
    };
    let page = read_with(A4, &content, &[], &limits);
    assert_eq!((page.elements.len(), page.extent), (1000, Extent::Stopped));
}

#[test]
fn forms_that_multiply_end_in_time() {
    // Each form draws the next one twice, 40 deep: 2^40 drawings.
    let forms: Vec<String> = (0..40)
        .map(|i| {
            let next = if i == 39 { 5 } else { 6 + i };
            format!(
                "<</Type/XObject/Subtype/Form/BBox[0 0 600 900]/Resources<</XObject<</N {next} 0 R>>>> \
                 /Length 12>>\nstream\n/N Do /N Do \nendstream"
            )
        })
        .collect();
    let forms: Vec<&str> = forms.iter().map(String::as_str).collect();
    let entries = format!("{A4}/Resources<</XObject<</N 5 0 R>>>>");
    let begun = Instant::now();
    let limits = Limits {
        elements: usize::MAX,
        time: Duration::from_millis(300),
        cancel: None,
    };
    let page = read_with(&entries, "/N Do", &forms, &limits);
    assert_eq!(page.extent, Extent::Stopped);
    assert!(
        begun.elapsed() < Duration::from_secs(5),
        "{:?}",
        begun.elapsed()
    );
}

#[test]
fn reading_stops_when_it_is_cancelled() {
    let cancel = AtomicBool::new(true);
    let limits = Limits {
        cancel: Some(&cancel),
        ..Limits::default()
    };
    let page = read_with(A4, "0 0 9 9 re f", &[], &limits);
    assert_eq!((page.elements.len(), page.extent), (0, Extent::Stopped));
}
