//! Correcting tiny files, each made for one behaviour.

mod common;

use std::sync::atomic::AtomicBool;

use common::{Folder, assert_moved, ink, job, move_all, one_page, pdf, run, square, stream};
use qpdf::{
    QPdf, QPdfArray, QPdfDictionary, QPdfObjectLike, QPdfObjectType, QPdfStream, StreamDecodeLevel,
};
use tympan_pdf::{CorrectJob, Document, Duplex, Measure, Over, PageOut, PdfError, Way, correct};
use tympan_sheet::{Affine, Angle, Page, Point, Size, Vector};

fn shift(x: f64, y: f64) -> Affine<Page> {
    Affine::shift(Vector::new(x, y))
}

fn tilt(degrees: f64) -> Affine<Page> {
    Affine::tilt(Angle::degrees(degrees), Point::new(20.0, 30.0)).then(&shift(1.5, -2.0))
}

const SMALL: &str = "/MediaBox[0 0 150 200]/Resources<<>>";

#[test]
fn every_way_of_showing_a_page_moves_as_seen() {
    let ways = [
        "/MediaBox[0 0 150 200]",
        "/MediaBox[-40 30 110 230]",
        "/MediaBox[0 0 150 200]/CropBox[10 20 140 170]",
        "/MediaBox[0 0 150 200]/CropBox[10 20 400 170]/Rotate 90",
        "/MediaBox[150 200 0 0]/Rotate 180",
        "/MediaBox[0 0 150 200]/Rotate 270",
        "/MediaBox[0 0 150 200]/Rotate -90",
        "/MediaBox[0 0 150 200]/Rotate 90.0",
        "/MediaBox[0 0 150 200]/UserUnit 1.5/Rotate 90",
    ];
    for way in ways {
        for map in [
            shift(3.0, 5.0),
            tilt(4.0),
            Affine::scale(1.02, 0.97, Point::new(9.0, 9.0)),
        ] {
            let folder = Folder::new();
            let file = one_page(way, &square(60.0, 90.0));
            let (output, report) = move_all(&folder, &file, map);
            assert!(report.pages[0].moved);
            assert_moved(&folder.path("in.pdf"), &output, 1, &map);
        }
    }
}

#[test]
fn an_update_keeps_every_byte_of_the_source() {
    let folder = Folder::new();
    let file = one_page(SMALL, &square(60.0, 90.0));
    let (output, report) = move_all(&folder, &file, shift(1.0, 2.0));
    assert_eq!(report.way, Way::Appended);
    let written = std::fs::read(output).expect("read");
    assert!(written.starts_with(&file) && written.len() > file.len());
}

#[test]
fn pages_that_do_not_move_stay_the_same_objects() {
    let folder = Folder::new();
    let source = folder.write("in.pdf", &two_pages());
    let output = folder.path("out.pdf");
    let pages = [
        PageOut::untouched(0, 1),
        PageOut {
            map: tilt(1.0),
            ..PageOut::untouched(0, 2)
        },
    ];
    let report = run(&job(&output, &[&source], &pages)).expect("corrected");
    assert_eq!(
        report.pages.iter().map(|p| p.moved).collect::<Vec<_>>(),
        [false, true]
    );
    let (before, after) = (
        QPdf::read(&source).expect("read"),
        QPdf::read(&output).expect("read"),
    );
    let text = |pdf: &QPdf, id| pdf.get_object_by_id(id, 0).map(|o| entries(&o.into()));
    assert_eq!(text(&before, 3), text(&after, 3));
    assert_ne!(text(&before, 4), text(&after, 4));
}

fn entries(dictionary: &QPdfDictionary) -> Vec<String> {
    let value = |key: &String| dictionary.get(key).map(|v| v.to_binary());
    dictionary
        .keys()
        .iter()
        .map(|key| format!("{key} {:?}", value(key)))
        .collect()
}

fn two_pages() -> Vec<u8> {
    pdf(&[
        "<</Type/Catalog/Pages 2 0 R>>",
        "<</Type/Pages/Kids[3 0 R 4 0 R]/Count 2/MediaBox[0 0 150 200]/Resources<<>>>>",
        "<</Type/Page/Parent 2 0 R/Contents 5 0 R>>",
        "<</Type/Page/Parent 2 0 R/Contents 6 0 R>>",
        &stream("", &square(20.0, 30.0)),
        &stream("", &square(100.0, 150.0)),
    ])
}

#[test]
fn content_split_in_the_middle_of_an_operator_is_joined() {
    let folder = Folder::new();
    let file = pdf(&[
        "<</Type/Catalog/Pages 2 0 R>>",
        "<</Type/Pages/Kids[3 0 R]/Count 1>>",
        "<</Type/Page/Parent 2 0 R/MediaBox[0 0 150 200]/Contents[4 0 R 9 0 R null 5 0 R]>>",
        &stream("", "q 0 g 60 90 10"),
        &stream("/Filter/ASCIIHexDecode", "3130207265206620 51>"),
    ]);
    let (output, _) = move_all(&folder, &file, tilt(3.0));
    assert_moved(&folder.path("in.pdf"), &output, 1, &tilt(3.0));
}

#[test]
fn a_stray_restore_or_an_open_save_does_not_undo_the_move() {
    for content in [
        "Q Q 0 g 60 90 10 10 re f",
        "q q 2 0 0 2 0 0 cm q 0 g 30 45 5 5 re f",
    ] {
        let folder = Folder::new();
        let (output, _) = move_all(&folder, &one_page(SMALL, content), shift(5.0, 5.0));
        assert_moved(&folder.path("in.pdf"), &output, 1, &shift(5.0, 5.0));
    }
}

#[test]
fn patterns_move_with_what_they_fill() {
    let folder = Folder::new();
    let cell = "/Type/Pattern/PatternType 1/PaintType 1/TilingType 1/BBox[0 0 40 40]/XStep 200\
                /YStep 200/Matrix[1 0 0 1 50 80]/Resources<<>>";
    let file = pdf(&[
        "<</Type/Catalog/Pages 2 0 R>>",
        "<</Type/Pages/Kids[3 0 R]/Count 1>>",
        "<</Type/Page/Parent 2 0 R/MediaBox[0 0 150 200]/Contents 4 0 R\
         /Resources<</Pattern<</P 5 0 R>>>>>>",
        &stream("", "/Pattern cs /P scn 0 0 150 200 re f"),
        &stream(cell, "0 g 5 5 10 10 re f"),
    ]);
    let (output, _) = move_all(&folder, &file, shift(4.0, -6.0));
    assert_moved(&folder.path("in.pdf"), &output, 1, &shift(4.0, -6.0));
}

#[test]
fn inherited_resources_and_the_pages_own_reach_forms_without_any() {
    let folder = Folder::new();
    let file = pdf(&[
        "<</Type/Catalog/Pages 2 0 R>>",
        "<</Type/Pages/Kids[3 0 R]/Count 1/MediaBox[0 0 150 200]/Rotate 90\
         /Resources<</XObject<</Outer 5 0 R/Inner 6 0 R>>>>>>",
        "<</Type/Page/Parent 2 0 R/Contents 4 0 R>>",
        &stream("", "/Outer Do"),
        &stream("/Type/XObject/Subtype/Form/BBox[0 0 150 200]", "/Inner Do"),
        &stream(
            "/Type/XObject/Subtype/Form/BBox[0 0 150 200]",
            &square(60.0, 90.0),
        ),
    ]);
    let (output, _) = move_all(&folder, &file, tilt(2.0));
    assert_moved(&folder.path("in.pdf"), &output, 1, &tilt(2.0));
}

#[test]
fn a_page_repeated_in_the_tree_is_moved_once_in_each_place() {
    let folder = Folder::new();
    let file = pdf(&[
        "<</Type/Catalog/Pages 2 0 R>>",
        "<</Type/Pages/Kids[3 0 R 3 0 R]/Count 2>>",
        "<</Type/Page/Parent 2 0 R/MediaBox[0 0 150 200]/Contents 4 0 R/Resources<<>>>>",
        &stream("", &square(60.0, 90.0)),
    ]);
    let (output, _) = move_all(&folder, &file, shift(3.0, 4.0));
    for page in [1, 2] {
        assert_moved(&folder.path("in.pdf"), &output, 1, &shift(3.0, 4.0));
        assert_eq!(
            ink(&output, 1).expect("ink").0,
            ink(&output, page).expect("ink").0
        );
    }
}

#[test]
fn content_shared_by_pages_that_move_differently_is_not_disturbed() {
    let folder = Folder::new();
    let page = "<</Type/Page/Parent 2 0 R/MediaBox[0 0 150 200]/Contents 5 0 R/Resources<<>>>>";
    let file = pdf(&[
        "<</Type/Catalog/Pages 2 0 R>>",
        "<</Type/Pages/Kids[3 0 R 4 0 R 6 0 R]/Count 3>>",
        page,
        page,
        &stream("", &square(60.0, 90.0)),
        &page.replace("150 200", "150 200]/CropBox[0 0 140 200"),
    ]);
    let source = folder.write("in.pdf", &file);
    // With and without an incremental update, which a second source rules out.
    for sources in [&[&*source][..], &[&source, &source]] {
        let maps = [Affine::IDENTITY, shift(5.0, 0.0), tilt(2.0)];
        let pages: Vec<_> = maps
            .iter()
            .enumerate()
            .map(|(i, &map)| PageOut {
                map,
                ..PageOut::untouched(0, i + 1)
            })
            .collect();
        let output = folder.path(&format!("out{}.pdf", sources.len()));
        run(&job(&output, sources, &pages)).expect("corrected");
        for (i, map) in maps.iter().enumerate() {
            assert_moved(&source, &output, i + 1, map);
        }
    }
}

const APPEARANCE: &str = "/Type/XObject/Subtype/Form/BBox[0 0 10 10]/Resources<<>>";

/// A page with only a square stamp, 20 units wide, drawn by its annotation.
fn annotated(more: &str) -> Vec<u8> {
    pdf(&[
        "<</Type/Catalog/Pages 2 0 R>>",
        "<</Type/Pages/Kids[3 0 R]/Count 1>>",
        "<</Type/Page/Parent 2 0 R/MediaBox[0 0 150 200]/Resources<<>>/Annots[5 0 R]>>",
        &stream(APPEARANCE, "0 g 2 2 6 6 re f"),
        &format!("<</Type/Annot/Subtype/Stamp/Rect[60 90 80 100]/F 4/AP<</N 4 0 R>>{more}>>"),
    ])
}

#[test]
fn annotations_shift_tilt_and_stretch_with_their_page() {
    let shear = Affine::new(1.03, 0.05, -0.02, 0.95, 1.0, -2.0);
    for map in [shift(2.0, 3.0), tilt(5.0), shear] {
        let folder = Folder::new();
        let (output, report) = move_all(&folder, &annotated(""), map);
        assert_eq!(report.pages[0].annotations, 1);
        assert_moved(&folder.path("in.pdf"), &output, 1, &map);
        // It is still an annotation, and as large as before.
        let (_, before) = ink(&folder.path("in.pdf"), 1).expect("ink");
        let (_, after) = ink(&output, 1).expect("ink");
        assert!(
            (after / before - map.determinant()).abs() < 0.01,
            "{before} {after}"
        );
    }
}

#[test]
fn an_annotation_on_two_pages_moves_once_on_each() {
    let folder = Folder::new();
    let page = "<</Type/Page/Parent 2 0 R/MediaBox[0 0 150 200]/Resources<<>>/Annots 6 0 R>>";
    let file = pdf(&[
        "<</Type/Catalog/Pages 2 0 R>>",
        "<</Type/Pages/Kids[3 0 R 7 0 R 8 0 R]/Count 3>>",
        page,
        &stream(APPEARANCE, "0 g 2 2 6 6 re f"),
        "<</Type/Annot/Subtype/Stamp/Rect[60 90 80 100]/F 4/AP<</N 4 0 R>>>>",
        "[5 0 R]",
        page,
        page,
    ]);
    let source = folder.write("in.pdf", &file);
    let output = folder.path("out.pdf");
    let maps = [shift(2.0, 0.0), shift(2.0, 0.0), Affine::IDENTITY];
    let pages: Vec<_> = (0..3)
        .map(|i| PageOut {
            map: maps[i],
            ..PageOut::untouched(0, i + 1)
        })
        .collect();
    run(&job(&output, &[&source], &pages)).expect("corrected");
    for (i, map) in maps.iter().enumerate() {
        assert_moved(&source, &output, i + 1, map);
    }
}

#[test]
fn links_and_quadrilaterals_follow() {
    let folder = Folder::new();
    let file = pdf(&[
        "<</Type/Catalog/Pages 2 0 R>>",
        "<</Type/Pages/Kids[3 0 R]/Count 1>>",
        "<</Type/Page/Parent 2 0 R/MediaBox[0 0 144 144]/Resources<<>>/Annots[<</Subtype/Link\
         /Rect[10 20 30 40]/QuadPoints[10 20 30 20 10 40 30 40]>>]>>",
    ]);
    let (output, _) = move_all(&folder, &file, shift(25.4, 0.0));
    let pdf = QPdf::read(output).expect("read");
    let annotations: QPdfArray = pdf
        .get_page(0)
        .expect("a page")
        .get("/Annots")
        .expect("annotations")
        .into();
    let link: QPdfDictionary = annotations.get(0).expect("one").into();
    let text = |key| link.get(key).expect("there").to_binary();
    assert_eq!(text("/Rect"), "[ 82 20 102 40 ]");
    assert_eq!(text("/QuadPoints"), "[ 82 20 102 20 82 40 102 40 ]");
}

#[test]
fn a_common_back_is_stored_once_however_often_it_is_used() {
    let folder = Folder::new();
    let fronts = folder.write("fronts.pdf", &two_pages());
    let backs = folder.write("back.pdf", &one_page(SMALL, &square(70.0, 95.0)));
    let output = folder.path("out.pdf");
    let back = |map| PageOut {
        map,
        ..PageOut::untouched(1, 1)
    };
    let pages = [
        PageOut::untouched(0, 1),
        back(shift(3.0, 0.0)),
        PageOut::untouched(0, 2),
        back(shift(0.0, 4.0)),
    ];
    let report = run(&job(&output, &[&fronts, &backs], &pages)).expect("corrected");
    assert_eq!(report.way, Way::Rewritten);
    let (there, _) = ink(&backs, 1).expect("ink");
    for (page, meant) in [(2, shift(3.0, 0.0)), (4, shift(0.0, 4.0))] {
        let (here, _) = ink(&output, page).expect("ink");
        assert!((here - meant.apply(there)).length() < 0.02, "page {page}");
    }
    assert_moved(&fronts, &output, 1, &Affine::IDENTITY);
    let written = std::fs::read(&output).expect("read");
    let needle = square(70.0, 95.0);
    let count = written
        .windows(needle.len())
        .filter(|w| *w == needle.as_bytes())
        .count();
    assert_eq!(count, 1);
}

#[test]
fn pages_may_come_in_another_order_and_more_than_once() {
    let folder = Folder::new();
    let source = folder.write("in.pdf", &two_pages());
    let output = folder.path("out.pdf");
    let pages = [
        PageOut::untouched(0, 2),
        PageOut {
            map: shift(2.0, 0.0),
            ..PageOut::untouched(0, 1)
        },
        PageOut::untouched(0, 2),
    ];
    run(&job(&output, &[&source], &pages)).expect("corrected");
    let at = |page| ink(&output, page).expect("ink").0;
    let was = |page| ink(&source, page).expect("ink").0;
    assert!((at(1) - was(2)).length() < 0.02);
    assert!((at(2) - shift(2.0, 0.0).apply(was(1))).length() < 0.02);
    assert!((at(3) - was(2)).length() < 0.02);
}

/// A number in the waste of every copy: the copies share their content, the numbers differ.
#[test]
fn a_page_drawn_over_others_lies_where_it_is_and_their_content_is_shared() {
    let folder = Folder::new();
    // Larger than what is drawn over it, so that sharing shows in the size of the file.
    let content = format!("% {}\n{}", "x".repeat(100_000), square(60.0, 90.0));
    let source = folder.write("in.pdf", &one_page(SMALL, &content));
    let marks = folder.write("marks.pdf", &two_pages());
    let output = folder.path("out.pdf");
    let moved = PageOut {
        map: shift(2.0, 3.0),
        ..PageOut::untouched(1, 1)
    };
    // The last page is one of the marks' own, as the blank partner of a page is.
    let pages = [moved, moved, PageOut::untouched(0, 1)];
    let over = [1, 2].map(|page| Over {
        on: page - 1,
        source: 0,
        page,
    });
    let job = CorrectJob {
        over: over.to_vec(),
        ..job(&output, &[&marks, &source], &pages)
    };
    run(&job).expect("corrected");
    let (square, area) = ink(&source, 1).expect("ink");
    for page in [1, 2] {
        let (mark, mark_area) = ink(&marks, page).expect("ink");
        let (both, both_area) = ink(&output, page).expect("ink");
        let square = shift(2.0, 3.0).apply(square);
        let sum = |a: f64, b: f64| (a * area + b * mark_area) / (area + mark_area);
        let meant = Point::new(sum(square.x, mark.x), sum(square.y, mark.y));
        assert!((both - meant).length() < 0.02, "{both:?} and not {meant:?}");
        assert!((both_area - area - mark_area).abs() < 0.1);
    }
    assert!((ink(&output, 3).expect("ink").0 - ink(&marks, 1).expect("ink").0).length() < 0.02);
    let size = std::fs::metadata(&output).expect("written").len();
    assert!(size < 120_000, "{size} bytes: the content is there twice");
}

#[test]
fn a_layer_that_is_hidden_stays_hidden_in_another_file() {
    let folder = Folder::new();
    let layered = pdf(&[
        "<</Type/Catalog/Pages 2 0 R/OCProperties<</OCGs[5 0 R]/D<</OFF[5 0 R]>>>>>>",
        "<</Type/Pages/Kids[3 0 R]/Count 1>>",
        "<</Type/Page/Parent 2 0 R/MediaBox[0 0 150 200]/Contents 4 0 R\
         /Resources<</Properties<</L 5 0 R>>>>>>",
        &stream(
            "",
            &format!(
                "/OC /L BDC {} EMC {}",
                square(20.0, 20.0),
                square(90.0, 120.0)
            ),
        ),
        "<</Type/OCG/Name(notes)>>",
    ]);
    let fronts = folder.write("fronts.pdf", &one_page(SMALL, &square(60.0, 90.0)));
    let backs = folder.write("backs.pdf", &layered);
    let output = folder.path("out.pdf");
    let map = shift(1.0, 1.0);
    let pages = [
        PageOut::untouched(0, 1),
        PageOut {
            map,
            ..PageOut::untouched(1, 1)
        },
    ];
    run(&job(&output, &[&fronts, &backs], &pages)).expect("corrected");
    let (there, area) = ink(&backs, 1).expect("ink");
    let (here, area_after) = ink(&output, 2).expect("ink");
    assert!((here - map.apply(there)).length() < 0.02);
    assert!(
        (area - area_after).abs() < 0.1 && area < 13.0,
        "one square of 12.4 mm²: {area}"
    );
}

#[test]
fn a_page_goes_on_other_paper_at_true_size() {
    let folder = Folder::new();
    let source = folder.write(
        "in.pdf",
        &one_page("/MediaBox[0 0 150 200]/Rotate 90", &square(60.0, 90.0)),
    );
    let output = folder.path("out.pdf");
    let (size, map) = (Size::new(100.0, 80.0), shift(10.0, 7.0));
    let pages = [PageOut {
        map,
        size: Some(size),
        ..PageOut::untouched(0, 1)
    }];
    let report = run(&job(&output, &[&source], &pages)).expect("corrected");
    assert!(report.pages[0].size.is_close(size, 1e-9));
    let page = Document::open(&output, None)
        .expect("opened")
        .page(1)
        .expect("a page");
    assert!(page.size.is_close(size, 1e-6), "{:?}", page.size);
    assert_moved(&source, &output, 1, &map);
    let (_, before) = ink(&source, 1).expect("ink");
    let (_, after) = ink(&output, 1).expect("ink");
    assert!((before - after).abs() < 0.1);
}

#[test]
fn what_is_lost_is_measured_and_told() {
    let folder = Folder::new();
    let source = folder.write("in.pdf", &one_page(SMALL, &square(130.0, 90.0)));
    let output = folder.path("out.pdf");
    let mut job = job(
        &output,
        &[&source],
        &[PageOut {
            map: shift(5.0, 0.0),
            ..PageOut::untouched(0, 1)
        }],
    );
    job.measure = Some(Measure {
        margins: [1.0; 4],
        ..Measure::default()
    });
    let lost = run(&job).expect("corrected").pages[0]
        .lost
        .expect("measured");
    // The page is 52.92 mm wide; the square ended at 49.39 and ends at 54.39 now.
    assert!((lost.off_sheet_mm2 - 1.47 * 3.53).abs() < 2.0, "{lost:?}");
    assert!((lost.in_margin_mm2 - 1.0 * 3.53).abs() < 2.0, "{lost:?}");
    assert!((lost.beyond_mm[1] - 2.47).abs() <= 0.5, "{lost:?}");
}

#[test]
fn print_dialogs_are_told_not_to_scale() {
    let folder = Folder::new();
    let source = folder.write("in.pdf", &one_page(SMALL, &square(60.0, 90.0)));
    let output = folder.path("out.pdf");
    let mut job = job(
        &output,
        &[&source],
        &[PageOut {
            map: shift(1.0, 0.0),
            ..PageOut::untouched(0, 1)
        }],
    );
    job.duplex = Some(Duplex::ShortEdge);
    run(&job).expect("corrected");
    let root = QPdf::read(&output)
        .expect("read")
        .get_root()
        .expect("a root");
    let told: QPdfDictionary = root.get("/ViewerPreferences").expect("told").into();
    let text = |key| told.get(key).expect("there").as_name();
    assert_eq!(text("/PrintScaling"), "/None");
    assert_eq!(text("/Duplex"), "/DuplexFlipShortEdge");
}

#[test]
fn a_damaged_piece_of_content_gives_what_it_has() {
    let folder = Folder::new();
    let good = square(60.0, 90.0);
    let mut packed = flate(good.as_bytes());
    let end = packed.len();
    packed.truncate(end - 3);
    let hex: String = packed.iter().map(|b| format!("{b:02x}")).collect();
    let file = pdf(&[
        "<</Type/Catalog/Pages 2 0 R>>",
        "<</Type/Pages/Kids[3 0 R]/Count 1>>",
        "<</Type/Page/Parent 2 0 R/MediaBox[0 0 150 200]/Contents[4 0 R 5 0 R]>>",
        &stream("/Filter[/ASCIIHexDecode/FlateDecode]", &format!("{hex}>")),
        &stream("", "n"),
    ]);
    let source = folder.write("in.pdf", &file);
    let output = folder.path("out.pdf");
    let page = PageOut {
        map: shift(2.0, 2.0),
        ..PageOut::untouched(0, 1)
    };
    match run(&job(&output, &[&source], &[page])) {
        Ok(_) => assert!(ink(&output, 1).is_some(), "a blank page"),
        Err(error) => assert!(error.to_string().contains("page 1"), "{error}"),
    }
}

fn flate(data: &[u8]) -> Vec<u8> {
    use std::io::Write;
    let mut packer = flate2::write::ZlibEncoder::new(Vec::new(), flate2::Compression::default());
    packer.write_all(data).expect("packed");
    packer.finish().expect("packed")
}

#[test]
fn content_that_gives_nothing_is_refused_and_never_left_blank() {
    let folder = Folder::new();
    let file = pdf(&[
        "<</Type/Catalog/Pages 2 0 R>>",
        "<</Type/Pages/Kids[3 0 R]/Count 1>>",
        "<</Type/Page/Parent 2 0 R/MediaBox[0 0 150 200]/Contents[4 0 R 5 0 R]>>",
        &stream("/Filter/FlateDecode", "this was never packed by anything"),
        &stream("", &square(60.0, 90.0)),
    ]);
    let source = folder.write("in.pdf", &file);
    let page = PageOut {
        map: shift(2.0, 2.0),
        ..PageOut::untouched(0, 1)
    };
    let error = run(&job(&folder.path("out.pdf"), &[&source], &[page])).expect_err("refused");
    assert!(
        error
            .to_string()
            .ends_with("page 1: its content is damaged and cannot be decoded")
    );
    assert_eq!(folder.names(), ["in.pdf"]);
}

#[test]
fn content_whose_length_cannot_be_told_is_moved_or_refused_and_never_left_blank() {
    let folder = Folder::new();
    let content = square(60.0, 90.0);
    let file = pdf(&[
        "<</Type/Catalog/Pages 2 0 R>>",
        "<</Type/Pages/Kids[3 0 R]/Count 1>>",
        "<</Type/Page/Parent 2 0 R/MediaBox[0 0 150 200]/Contents 4 0 R>>",
        &format!("<</Length 99999999999999999999>>\nstream\n{content}\nendstream"),
    ]);
    let source = folder.write("in.pdf", &file);
    let output = folder.path("out.pdf");
    let map = shift(2.0, 2.0);
    let page = PageOut {
        map,
        ..PageOut::untouched(0, 1)
    };
    match run(&job(&output, &[&source], &[page])) {
        Ok(_) => assert_moved(&source, &output, 1, &map),
        Err(error) => {
            assert!(error.to_string().contains("page 1"), "{error}");
            assert!(error.hint().is_some());
            assert_eq!(folder.names(), ["in.pdf"]);
        }
    }
}

#[test]
fn a_file_that_lost_its_trailer_is_whole_when_written_anew() {
    let folder = Folder::new();
    let whole = one_page(SMALL, &square(60.0, 90.0));
    let end = whole
        .windows(4)
        .position(|word| word == b"xref")
        .expect("a table");
    // As a download that broke off in the middle of the table.
    let (output, report) = move_all(&folder, &whole[..end + 20], shift(2.0, 2.0));
    assert_eq!(report.way, Way::Rewritten);
    let written = QPdf::read(&output).expect("read");
    assert!(!written.more_warnings());
    let trailer = written.get_trailer().expect("a trailer");
    let size = trailer.get("/Size").expect("its size");
    // The entry for object 0 and the highest number (ISO 32000-1, table 15).
    let highest = (1..100).rev().find(|&id| {
        let object = written.get_object_by_id(id, 0);
        object.is_some_and(|o| o.get_type() != QPdfObjectType::Null)
    });
    let highest = highest.expect("an object");
    assert_eq!(
        qpdf::QPdfScalar::from(size).as_i64(),
        i64::from(highest) + 1
    );
    assert_moved(&folder.path("in.pdf"), &output, 1, &shift(2.0, 2.0));
}

#[test]
fn content_that_would_fill_the_memory_is_refused_at_once() {
    let folder = Folder::new();
    let packed = flate(&vec![b' '; 300 << 20]);
    let mut objects = vec![
        "<</Type/Catalog/Pages 2 0 R>>".to_owned(),
        "<</Type/Pages/Kids[3 0 R]/Count 1>>".to_owned(),
        "<</Type/Page/Parent 2 0 R/MediaBox[0 0 150 200]/Contents[4 0 R 4 0 R]>>".to_owned(),
    ];
    let hex: String = packed.iter().map(|b| format!("{b:02x}")).collect();
    objects.push(stream(
        "/Filter[/ASCIIHexDecode/FlateDecode]",
        &format!("{hex}>"),
    ));
    let borrowed: Vec<&str> = objects.iter().map(String::as_str).collect();
    let source = folder.write("in.pdf", &pdf(&borrowed));
    let page = PageOut {
        map: shift(2.0, 2.0),
        ..PageOut::untouched(0, 1)
    };
    let error = run(&job(&folder.path("out.pdf"), &[&source], &[page])).expect_err("refused");
    assert!(
        error
            .to_string()
            .ends_with("page 1: its content is far too large"),
        "{error}"
    );
}

#[test]
fn marks_of_tagged_content_are_said_with_the_forms_name() {
    let folder = Folder::new();
    let file = pdf(&[
        "<</Type/Catalog/Pages 2 0 R/MarkInfo<</Marked true>>/StructTreeRoot 5 0 R>>",
        "<</Type/Pages/Kids[3 0 R]/Count 1>>",
        "<</Type/Page/Parent 2 0 R/MediaBox[0 0 150 200]/Contents 4 0 R/StructParents 0>>",
        &stream(
            "",
            &format!("/P <</MCID 0>> BDC {} EMC", square(60.0, 90.0)),
        ),
        "<</Type/StructTreeRoot/K 6 0 R/ParentTree<</Nums[0 [6 0 R]]>>>>",
        "<</Type/StructElem/S/P/P 5 0 R/Pg 3 0 R/K 0>>",
    ]);
    let (output, _) = move_all(&folder, &file, shift(1.0, 0.0));
    let pdf = QPdf::read(output).expect("read");
    let tree = pdf
        .get_root()
        .and_then(|root| root.get("/StructTreeRoot"))
        .expect("a tree");
    let element: QPdfDictionary = QPdfDictionary::from(tree)
        .get("/K")
        .expect("an element")
        .into();
    let mark: QPdfDictionary = element.get("/K").expect("marks").into();
    let form: QPdfStream = mark.get("/Stm").expect("a form").into();
    assert_eq!(mark.get("/MCID").expect("a number").to_binary(), "0");
    assert!(form.get_dictionary().has("/StructParents"));
    let content = form.get_data(StreamDecodeLevel::All).expect("content");
    assert!(content.starts_with(b"/P <</MCID 0>> BDC"));
}

#[test]
fn nothing_is_overwritten_and_nothing_left_behind() {
    let folder = Folder::new();
    let source = folder.write("in.pdf", &one_page(SMALL, &square(60.0, 90.0)));
    let page = [PageOut {
        map: shift(1.0, 0.0),
        ..PageOut::untouched(0, 1)
    }];
    let error = run(&job(&source, &[&source], &page)).expect_err("refused");
    assert!(matches!(error, PdfError::OutputIsSource { .. }), "{error}");
    let other = folder.write("other.pdf", b"something");
    let error = run(&job(&other, &[&source], &page)).expect_err("refused");
    assert!(matches!(error, PdfError::OutputExists { .. }), "{error}");
    let stopped = correct(
        &job(&folder.path("out.pdf"), &[&source], &page),
        &mut |_| (),
        &AtomicBool::new(true),
    );
    assert!(matches!(stopped, Err(PdfError::Cancelled)));
    assert_eq!(folder.names(), ["in.pdf", "other.pdf"]);
}

#[test]
fn a_corrected_file_can_be_corrected_again() {
    let folder = Folder::new();
    let source = folder.write("in.pdf", &one_page(SMALL, &square(60.0, 90.0)));
    let (once, twice) = (folder.path("once.pdf"), folder.path("twice.pdf"));
    let page = [PageOut {
        map: tilt(2.0),
        ..PageOut::untouched(0, 1)
    }];
    run(&job(&once, &[&source], &page)).expect("corrected");
    run(&job(&twice, &[&once], &page)).expect("corrected");
    assert_moved(&source, &twice, 1, &tilt(2.0).then(&tilt(2.0)));
}

#[test]
fn printed_annotations_of_another_file_are_drawn_with_their_page() {
    let folder = Folder::new();
    let fronts = folder.write("fronts.pdf", &one_page(SMALL, &square(60.0, 90.0)));
    let backs = folder.write("backs.pdf", &annotated(""));
    let output = folder.path("out.pdf");
    let map = tilt(6.0);
    let back = PageOut {
        map,
        ..PageOut::untouched(1, 1)
    };
    run(&job(
        &output,
        &[&fronts, &backs],
        &[PageOut::untouched(0, 1), back, back],
    ))
    .expect("corrected");
    let (there, _) = ink(&backs, 1).expect("ink");
    for page in [2, 3] {
        let (here, _) = ink(&output, page).expect("ink");
        assert!((here - map.apply(there)).length() < 0.02, "page {page}");
    }
}

#[test]
fn an_annotation_that_is_hidden_stays_unseen() {
    let folder = Folder::new();
    let fronts = folder.write("fronts.pdf", &one_page(SMALL, &square(60.0, 90.0)));
    let hidden = String::from_utf8(annotated(""))
        .expect("text")
        .replace("/F 4", "/F 6");
    let backs = folder.write("backs.pdf", hidden.as_bytes());
    let output = folder.path("out.pdf");
    let back = PageOut {
        map: tilt(6.0),
        ..PageOut::untouched(1, 1)
    };
    run(&job(
        &output,
        &[&fronts, &backs],
        &[PageOut::untouched(0, 1), back],
    ))
    .expect("corrected");
    assert!(ink(&output, 2).is_none());
}

#[test]
fn an_update_of_an_update_and_of_streams_of_objects_reads_back_everywhere() {
    let folder = Folder::new();
    let plain = folder.write("plain.pdf", &two_pages());
    let packed = folder.path("packed.pdf");
    let mut writer = QPdf::read(&plain).expect("read").writer();
    writer.object_stream_mode(qpdf::ObjectStreamMode::Generate);
    writer.write(&packed).expect("written");
    let map = shift(1.0, 0.5);
    let pages: Vec<_> = [1, 2]
        .map(|n| PageOut {
            map,
            ..PageOut::untouched(0, n)
        })
        .to_vec();
    let mut source = packed.clone();
    let mut meant = Affine::IDENTITY;
    for round in 0..3 {
        let output = folder.path(&format!("out{round}.pdf"));
        let report = run(&job(&output, &[&source], &pages)).expect("corrected");
        assert_eq!(report.way, Way::Appended);
        meant = meant.then(&map);
        // The picture comes from the other reader.
        for page in [1, 2] {
            assert_moved(&packed, &output, page, &meant);
        }
        source = output;
    }
}
