//! What is refused, and in which words.

mod common;

use common::{Folder, job, one_page, pdf, run, square, stream};
use qpdf::{EncryptionParams, EncryptionParamsR6, PrintPermission, QPdf};
use tympan_pdf::{Access, Document, PageOut, PdfError};
use tympan_sheet::{Affine, Point, Vector};

const PAGE: &str = "/MediaBox[0 0 150 200]/Resources<<>>";

/// The message and its hint, with the folder's name left out.
fn words(folder: &Folder, error: &PdfError) -> String {
    let place = format!(
        "{}/",
        folder.path("").display().to_string().trim_end_matches('/')
    );
    format!("{error}\n{}", error.hint().unwrap_or("-")).replace(&place, "")
}

fn locked(
    folder: &Folder,
    name: &str,
    user: &str,
    owner: &str,
    changes: bool,
) -> std::path::PathBuf {
    let plain = QPdf::read_from_memory(one_page(PAGE, &square(60.0, 90.0))).expect("read");
    let path = folder.path(name);
    let mut writer = plain.writer();
    writer.encryption_params(EncryptionParams::R6(EncryptionParamsR6 {
        user_password: user.to_owned(),
        owner_password: owner.to_owned(),
        allow_accessibility: true,
        allow_extract: true,
        allow_assemble: changes,
        allow_annotate_and_form: changes,
        allow_form_filling: changes,
        allow_modify_other: changes,
        allow_print: PrintPermission::Full,
        encrypt_metadata: true,
    }));
    writer.write(&path).expect("written");
    path
}

fn moved(page: usize) -> PageOut {
    PageOut {
        map: Affine::shift(Vector::new(1.0, 0.0)),
        ..PageOut::untouched(0, page)
    }
}

#[test]
fn what_is_no_pdf_is_said_to_be_none() {
    let folder = Folder::new();
    let file = folder.write("cards.pdf", b"only a letter\n");
    let error = Document::open(file, None).err().expect("refused");
    insta::assert_snapshot!(words(&folder, &error), @r"
    cards.pdf is not a PDF file
    export or print your design to PDF first
    ");
    let error = Document::open(folder.path("none.pdf"), None)
        .err()
        .expect("refused");
    insta::assert_snapshot!(words(&folder, &error), @r"
    none.pdf cannot be read: No such file or directory (os error 2)
    check the path, and that you may read the file
    ");
    let error = Document::open(folder.path(""), None)
        .err()
        .expect("refused");
    assert!(error.to_string().contains("it is a folder"), "{error}");
}

#[test]
fn a_locked_file_asks_for_its_password() {
    let folder = Folder::new();
    let file = locked(&folder, "cards.pdf", "ferry", "marsh", true);
    let error = Document::open(&file, None).err().expect("refused");
    insta::assert_snapshot!(words(&folder, &error), @r"
    cards.pdf is locked with a password
    give the password that opens it
    ");
    let error = Document::open(&file, Some("tide")).err().expect("refused");
    insta::assert_snapshot!(words(&folder, &error), @r"
    the password does not open cards.pdf
    check capitals and keyboard layout, and try again
    ");
    Document::open(&file, Some("ferry")).expect("opened");
}

#[test]
fn the_owner_may_do_what_the_user_may_not() {
    let folder = Folder::new();
    for (name, user) in [
        ("open.pdf", ""),
        ("shut.pdf", "ferry"),
        ("same.pdf", "marsh"),
    ] {
        let file = locked(&folder, name, user, "marsh", false);
        let mut job = job(&folder.path(&format!("out-{name}")), &[&file], &[moved(1)]);
        if user != "marsh" {
            job.sources[0].password = Some(user.to_owned());
            let error = run(&job).expect_err("refused");
            insta::allow_duplicates! {
                insta::assert_snapshot!(words(&folder, &error).replace(name, "FILE"), @r"
                the owner of FILE does not allow its pages to be changed
                give the owner's password if you have it, or ask the publisher for a file that may be changed
                ");
            }
        }
        job.sources[0].password = Some("marsh".to_owned());
        let opened = Document::open(&file, Some("marsh")).expect("opened");
        assert_eq!(opened.access(), Access::Owner, "{name}");
        run(&job).expect("corrected for the owner");
        // The output is locked as the source was.
        let opened = Document::open(&job.output, Some(user));
        let access = opened.expect("opened").access();
        assert_eq!(
            matches!(access, Access::User { change: false, .. }),
            user != "marsh"
        );
    }
}

#[test]
fn pages_and_maps_that_make_no_sense_are_named() {
    let folder = Folder::new();
    let file = folder.write("cards.pdf", &one_page(PAGE, &square(60.0, 90.0)));
    let output = folder.path("out.pdf");
    let error = run(&job(&output, &[&file], &[moved(3)])).expect_err("refused");
    insta::assert_snapshot!(words(&folder, &error), @r"
    cards.pdf has no page 3; it has 1
    pages are counted from 1, as the viewer counts them
    ");
    let flat = Affine::scale(1.0, 0.0, Point::new(0.0, 0.0));
    let page = PageOut {
        map: flat,
        ..PageOut::untouched(0, 1)
    };
    let error = run(&job(&output, &[&file], &[page])).expect_err("refused");
    insta::assert_snapshot!(words(&folder, &error), @r"
    cards.pdf, page 1: the transform asked for would squeeze it flat
    check the stretch: it is a small percentage, not a factor
    ");
    let error = run(&job(&output, &[&file], &[])).expect_err("refused");
    insta::assert_snapshot!(words(&folder, &error), @r"
    no pages were asked for
    name the pages to correct
    ");
    let nan = Affine::shift(Vector::new(f64::NAN, 0.0));
    let page = PageOut {
        map: nan,
        ..PageOut::untouched(0, 1)
    };
    assert!(run(&job(&output, &[&file], &[page])).is_err());
    assert_eq!(folder.names(), ["cards.pdf"]);
}

#[test]
fn a_page_that_cannot_be_read_is_named_and_not_left_out() {
    // 9 0 R is nowhere; 6 0 R is an array; 5 0 R is the content.
    for lost in ["9 0 R", "6 0 R", "null", "7"] {
        for kids in [
            format!("[3 0 R {lost} 4 0 R]"),
            format!("[<</Type/Pages/Parent 2 0 R/Count 2/Kids[3 0 R {lost}]>> 4 0 R]"),
        ] {
            let folder = Folder::new();
            let page = format!("<</Type/Page/Parent 2 0 R/Contents 5 0 R{PAGE}>>");
            let file = pdf(&[
                "<</Type/Catalog/Pages 2 0 R>>",
                &format!("<</Type/Pages/Kids{kids}/Count 3>>"),
                &page,
                &page,
                &stream("", &square(60.0, 90.0)),
                "[1 2 3]",
            ]);
            let file = folder.write("cards.pdf", &file);
            let error = Document::open(file, None).err().expect("refused");
            insta::allow_duplicates! {
                insta::assert_snapshot!(words(&folder, &error), @r"
                cards.pdf is damaged and could not be repaired: page 2 of its 3 cannot be read
                download or export it again, or print it to a new PDF from a viewer that shows it
                ");
            }
        }
    }
}

#[test]
fn a_page_turned_by_more_than_readers_can_count_is_refused() {
    let folder = Folder::new();
    let turned = format!("{PAGE}/Rotate 99999999990");
    let file = folder.write("cards.pdf", &one_page(&turned, &square(60.0, 90.0)));
    let output = folder.path("out.pdf");
    let error = run(&job(&output, &[&file], &[moved(1)])).expect_err("refused");
    assert!(matches!(error, PdfError::Page { page: 1, .. }), "{error}");
    assert!(error.hint().is_some());
    assert_eq!(folder.names(), ["cards.pdf"]);
}

#[test]
fn outputs_that_cannot_be_written_are_said_plainly() {
    let folder = Folder::new();
    let file = folder.write("cards.pdf", &one_page(PAGE, &square(60.0, 90.0)));
    let nowhere = folder.path("no such folder/out.pdf");
    let error = run(&job(&nowhere, &[&file], &[moved(1)])).expect_err("refused");
    insta::assert_snapshot!(words(&folder, &error), @r"
    no such folder/out.pdf cannot be written: No such file or directory (os error 2)
    check that the folder exists, that you may write to it and that the disk is not full
    ");
}
