//! New sheets from pages and pictures, looked at with a renderer that has nothing to do with them.

mod common;

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::atomic::AtomicBool;

use common::{Folder, one_page, pdf, square, stream};
use image::{ImageBuffer, Rgb, RgbImage, Rgba, RgbaImage};
use qpdf::{QPdf, QPdfDictionary, QPdfObject, QPdfObjectLike, QPdfStream, StreamDecodeLevel};
use tympan_pdf::Duplex;
use tympan_pdf::draw::{self, Meta};
use tympan_pdf::impose::{
    Art, ArtId, Bleed, BleedBy, Boxes, Edges, Fault, Fit, ImposeError, ImposeJob, ImposeReport,
    Overlay, Placement, SheetPage, Sources, write,
};
use tympan_sheet::drawing::{Colour, Drawing, Path as Outline, Text};
use tympan_sheet::{Affine, Angle, Page, Point, Rect, Shape, Size, Vector};

const CARD: Size = Size::new(60.0, 80.0);
const A4: Size = Size::new(210.0, 297.0);

/// Pixels in a millimetre of the pictures taken of sheets: 254 dots per inch.
const SCALE: f64 = 10.0;

fn write_job(job: &ImposeJob, sources: Sources) -> Result<ImposeReport, ImposeError> {
    write(job, sources, &mut |_| (), &AtomicBool::new(false))
}

/// A job with these arts, each placed where it is said on one sheet.
fn job(folder: &Folder, arts: Vec<Art>, placements: Vec<Placement>) -> ImposeJob {
    let page = SheetPage {
        placements,
        ..SheetPage::new(A4)
    };
    ImposeJob {
        corrected: false,
        output: folder.path("out.pdf"),
        arts,
        pages: vec![page],
        ..ImposeJob::default()
    }
}

/// A page's picture by poppler.
fn seen(file: &Path, page: usize) -> RgbImage {
    let to = file.with_extension(format!("{page}"));
    let number = page.to_string();
    let made = Command::new("pdftoppm")
        .args([
            "-r",
            "254",
            "-png",
            "-singlefile",
            "-f",
            &number,
            "-l",
            &number,
        ])
        .args([file, &to])
        .status();
    let made = made.expect("pdftoppm is missing: apt-get install poppler-utils");
    assert!(made.success());
    let name = format!("{}.png", to.display());
    image::open(name).expect("a picture").into_rgb8()
}

fn at(picture: &RgbImage, x: f64, y: f64) -> [u8; 3] {
    picture.get_pixel((x * SCALE) as u32, (y * SCALE) as u32).0
}

fn assert_colour(picture: &RgbImage, x: f64, y: f64, meant: [u8; 3]) {
    let got = at(picture, x, y);
    let off = got.iter().zip(meant).map(|(a, b)| a.abs_diff(b)).max();
    assert!(off < Some(9), "at {x}, {y}: {got:?} and not {meant:?}");
}

/// The middle of what has this colour within a rectangle, mm.
fn middle(picture: &RgbImage, colour: [u8; 3], within: Rect<Page>) -> Point<Page> {
    let (mut x, mut y, mut weight) = (0.0, 0.0, 0.0);
    for row in (within.min.y * SCALE) as u32..(within.max.y * SCALE) as u32 {
        for column in (within.min.x * SCALE) as u32..(within.max.x * SCALE) as u32 {
            let pixel = picture.get_pixel(column, row).0;
            // How much of the colour is in the pixel, against white.
            let (mut got, mut whole) = (0.0, 0.0);
            for (c, p) in colour.iter().zip(pixel) {
                got += f64::from(255 - c) * f64::from(255 - p);
                whole += f64::from(255 - c) * f64::from(255 - c);
            }
            let part = (got / whole).clamp(0.0, 1.0);
            x += part * (f64::from(column) + 0.5);
            y += part * (f64::from(row) + 0.5);
            weight += part;
        }
    }
    Point::new(x / weight / SCALE, y / weight / SCALE)
}

/// Two cards side by side on one page, each with words and a black disc off its middle.
fn two_cards() -> Vec<u8> {
    let mut page = Drawing::new(Size::new(140.0, 100.0));
    for x in [10.0, 75.0] {
        page.text(Text::new(x + 20.0, 70.0, 6.0, "Ferry"));
        page.fill(Outline::circle(x + 15.0, 35.0, 5.0), Colour::BLACK);
    }
    draw::write(&[page], &Meta::new("cards")).expect("drawn")
}

fn card_at(name: &str, source: tympan_pdf::impose::SourceId, x: f64) -> Art {
    let corner = Point::new(x, 10.0);
    Art::window(name, source, 1, Rect::at(corner, CARD))
}

#[test]
fn a_cell_lands_where_its_map_says_with_any_tilt_and_stretch_and_its_neighbour_does_not_show() {
    let folder = Folder::new();
    let mut sources = Sources::new();
    let source = folder.write("cards.pdf", &two_cards());
    let id = sources.add(&source, None).expect("a source");
    let maps = [
        Affine::shift(Vector::new(20.0, 30.0)),
        Affine::tilt(Angle::degrees(3.0), Point::new(0.0, 0.0))
            .then(&Affine::scale(1.02, 0.97, Point::new(0.0, 0.0)))
            .then(&Affine::shift(Vector::new(120.0, 40.0))),
        Affine::tilt(Angle::degrees(90.0), Point::new(0.0, 0.0))
            .then(&Affine::shift(Vector::new(120.0, 200.0))),
    ];
    let placements: Vec<_> = maps
        .iter()
        .map(|map| Placement {
            map: *map,
            ..Placement::at(ArtId(0), Shape::rect(CARD, 0.0), Point::new(0.0, 0.0))
        })
        .collect();
    let job = job(&folder, vec![card_at("right", id, 75.0)], placements);
    let report = write_job(&job, sources).expect("written");
    assert_eq!((report.forms, report.pieces, report.placements), (1, 1, 3));
    let picture = seen(&job.output, 1);
    for map in &maps {
        let meant = map.apply(Point::new(15.0, 25.0));
        let corner = Point::new(meant.x - 8.0, meant.y - 8.0);
        let within = Rect::at(corner, Size::new(16.0, 16.0));
        let off = (middle(&picture, [0; 3], within) - meant).length();
        assert!(off < 0.01, "off by {off:.4} mm");
    }
    // The other card's disc lies 65 mm to the left of this one's.
    assert_colour(&picture, 20.0 - 50.0 + 65.0 - 20.0, 55.0, [255; 3]);
}

#[test]
fn a_page_is_in_the_file_once_with_its_fonts_however_often_it_is_placed() {
    let folder = Folder::new();
    let mut sources = Sources::new();
    let source = folder.write("cards.pdf", &two_cards());
    let id = sources.add(&source, None).expect("a source");
    let arts = vec![card_at("left", id, 10.0), card_at("right", id, 75.0)];
    let placements = (0..9).map(|i| {
        let corner = Point::new(5.0 + 65.0 * f64::from(i % 3), 5.0 + 85.0 * f64::from(i / 3));
        Placement::at(ArtId(i as usize % 2), Shape::rect(CARD, 0.0), corner)
    });
    let mut job = job(&folder, arts, placements.collect());
    job.pages = vec![job.pages[0].clone(); 6];
    let report = write_job(&job, sources).expect("written");
    assert_eq!((report.forms, report.pieces, report.placements), (1, 2, 54));
    let fonts = Command::new("pdffonts").arg(&job.output).output();
    let fonts = fonts.expect("pdffonts is missing: apt-get install poppler-utils");
    let fonts = String::from_utf8_lossy(&fonts.stdout).into_owned();
    let objects: std::collections::BTreeSet<_> = fonts
        .lines()
        .skip(2)
        .filter_map(|line| line.split_whitespace().rev().nth(1))
        .collect();
    assert_eq!(objects.len(), 1, "{fonts}");
    let (before, after) = (std::fs::metadata(&source), std::fs::metadata(&job.output));
    let growth = after.expect("a file").len() as i64 - before.expect("a file").len() as i64;
    assert!(growth < 6000, "{growth} bytes more for 54 placements");
}

/// A card of 60 × 80 mm in plain colours: a red left half and a blue right one, a green band of
/// 6 mm along the top.
fn colour_card() -> Vec<u8> {
    let mut page = Drawing::new(CARD);
    page.fill(
        Outline::rect(0.0, 0.0, 30.0, 80.0),
        Colour::Rgb(1.0, 0.0, 0.0),
    );
    page.fill(
        Outline::rect(30.0, 0.0, 30.0, 80.0),
        Colour::Rgb(0.0, 0.0, 1.0),
    );
    page.fill(
        Outline::rect(0.0, 0.0, 60.0, 6.0),
        Colour::Rgb(0.0, 1.0, 0.0),
    );
    draw::write(&[page], &Meta::new("card")).expect("drawn")
}

const RED: [u8; 3] = [255, 0, 0];
const GREEN: [u8; 3] = [0, 255, 0];
const BLUE: [u8; 3] = [0, 0, 255];
const WHITE: [u8; 3] = [255; 3];

/// The colour card with its corner at 50, 60 on a sheet, bleeding by 4 mm, and a picture of it.
fn bled(bleed: Bleed, change: impl Fn(&mut Art, &mut Placement)) -> RgbImage {
    let folder = Folder::new();
    let mut sources = Sources::new();
    let source = folder.write("card.pdf", &colour_card());
    let id = sources.add(&source, None).expect("a source");
    let mut art = Art::whole("card", id, 1, CARD);
    let mut placement = Placement {
        bleed,
        ..Placement::at(ArtId(0), Shape::rect(CARD, 0.0), Point::new(50.0, 60.0))
    };
    change(&mut art, &mut placement);
    let job = job(&folder, vec![art], vec![placement]);
    write_job(&job, sources).expect("written");
    seen(&job.output, 1)
}

#[test]
fn a_mirrored_edge_repeats_what_lies_inside_it_and_leaves_the_card_alone() {
    let mut bleed = Bleed::all(8.0, BleedBy::Mirror);
    bleed.wanted.bottom = 0.0;
    let picture = bled(bleed, |_, _| ());
    // Above the card: its green band, then what lies below the band.
    assert_colour(&picture, 60.0, 57.0, GREEN);
    assert_colour(&picture, 60.0, 53.0, RED);
    assert_colour(&picture, 100.0, 53.0, BLUE);
    assert_colour(&picture, 46.0, 100.0, RED);
    assert_colour(&picture, 116.0, 100.0, BLUE);
    // At the corners both.
    assert_colour(&picture, 46.0, 57.0, GREEN);
    assert_colour(&picture, 44.0, 53.0, RED);
    assert_colour(&picture, 116.0, 53.0, BLUE);
    // Not beyond the bleed, and none where none is wanted.
    assert_colour(&picture, 41.0, 100.0, WHITE);
    assert_colour(&picture, 60.0, 51.0, WHITE);
    assert_colour(&picture, 60.0, 141.0, WHITE);
    // The card itself.
    assert_colour(&picture, 60.0, 65.5, GREEN);
    assert_colour(&picture, 60.0, 66.5, RED);
    // No seam at the edges.
    for x in [49.85, 49.95, 50.05, 50.15] {
        assert_colour(&picture, x, 100.0, RED);
    }
}

#[test]
fn a_stretched_edge_is_one_colour_outwards() {
    let picture = bled(Bleed::all(8.0, BleedBy::Stretch), |_, _| ());
    for out in [0.05, 1.0, 4.0, 7.9] {
        assert_colour(&picture, 60.0, 60.0 - out, GREEN);
        assert_colour(&picture, 60.0, 140.0 + out, RED);
        assert_colour(&picture, 110.0 + out, 100.0, BLUE);
        assert_colour(&picture, 110.0 + out, 60.0 - out, GREEN);
    }
    // The band's lower side goes straight on.
    assert_colour(&picture, 46.0, 65.5, GREEN);
    assert_colour(&picture, 46.0, 66.5, RED);
}

#[test]
fn a_coloured_edge_is_its_commonest_colour_and_a_kept_one_stays_bare() {
    let mut bleed = Bleed::all(4.0, BleedBy::Colour(None));
    bleed.by.right = BleedBy::Colour(Some(Colour::Rgb(1.0, 1.0, 0.0)));
    bleed.by.bottom = BleedBy::Keep;
    let picture = bled(bleed, |_, _| ());
    assert_colour(&picture, 48.0, 100.0, RED);
    // The green band crosses the left edge, which is red for the most part.
    assert_colour(&picture, 48.0, 63.0, RED);
    assert_colour(&picture, 80.0, 58.0, GREEN);
    assert_colour(&picture, 112.0, 100.0, [255, 255, 0]);
    assert_colour(&picture, 80.0, 142.0, WHITE);
}

#[test]
fn an_enlarged_card_bleeds_and_keeps_its_middle() {
    let picture = bled(Bleed::all(4.0, BleedBy::Enlarge), |_, _| ());
    assert_colour(&picture, 47.0, 100.0, RED);
    assert_colour(&picture, 79.8, 100.0, RED);
    assert_colour(&picture, 80.2, 100.0, BLUE);
    assert_colour(&picture, 60.0, 57.0, GREEN);
    assert_colour(&picture, 45.5, 100.0, WHITE);
}

#[test]
fn bleed_that_is_there_is_cut_to_what_is_wanted() {
    let picture = bled(Bleed::all(2.0, BleedBy::Keep), |art, placement| {
        *art = Art::window(
            "inner",
            art.source,
            1,
            Rect::at(Point::new(5.0, 5.0), Size::new(50.0, 70.0)),
        )
        .with_room(Edges::all(5.0));
        placement.trim = Shape::rect(art.size, 0.0);
    });
    assert_colour(&picture, 48.5, 100.0, RED);
    assert_colour(&picture, 47.5, 100.0, WHITE);
    assert_colour(&picture, 60.0, 58.5, GREEN);
    assert_colour(&picture, 60.0, 57.5, WHITE);
}

#[test]
fn round_corners_are_squared_out_and_bleed() {
    let folder = Folder::new();
    let mut page = Drawing::new(CARD);
    page.fill(
        Outline::rounded_rect(0.0, 0.0, 60.0, 80.0, 5.0),
        Colour::Rgb(0.0, 0.0, 1.0),
    );
    page.fill(
        Outline::rect(6.0, 6.0, 48.0, 68.0),
        Colour::Rgb(1.0, 0.0, 0.0),
    );
    let bytes = draw::write(&[page], &Meta::new("round")).expect("drawn");
    let mut sources = Sources::new();
    let source = folder.write("round.pdf", &bytes);
    let id = sources.add(&source, None).expect("a source");
    let art = Art::whole("round", id, 1, CARD).with_round_corners(5.0);
    let placement = Placement {
        bleed: Bleed::all(3.0, BleedBy::Mirror),
        ..Placement::at(ArtId(0), Shape::rect(CARD, 3.0), Point::new(50.0, 60.0))
    };
    let job = job(&folder, vec![art], vec![placement]);
    write_job(&job, sources).expect("written");
    let picture = seen(&job.output, 1);
    for (x, y) in [(50.1, 60.1), (109.9, 60.1), (50.1, 139.9), (109.9, 139.9)] {
        assert_colour(&picture, x, y, BLUE);
    }
    for along in 0..60 {
        let along = f64::from(along) / 10.0;
        assert_colour(&picture, 50.0 + along, 60.1, BLUE);
        assert_colour(&picture, 50.1, 60.0 + along, BLUE);
        assert_colour(&picture, 48.0 + along, 57.2, BLUE);
        assert_colour(&picture, 112.8, 142.8 - along, BLUE);
    }
    assert_colour(&picture, 57.0, 67.0, RED);
    assert_colour(&picture, 55.5, 66.5, BLUE);
}

#[test]
fn a_border_is_thickened_evenly_and_marks_are_covered() {
    let cover = Rect::at(Point::new(30.0, 40.0), Size::new(6.0, 6.0));
    let picture = bled(Bleed::all(3.0, BleedBy::Mirror), |_, placement| {
        placement.overlays = vec![
            Overlay::Border {
                width: 2.0,
                corner_radius: 0.0,
                colour: Some(Colour::Rgb(1.0, 1.0, 0.0)),
            },
            Overlay::Cover {
                area: cover,
                colour: Some(Colour::WHITE),
            },
        ];
    });
    let yellow = [255, 255, 0];
    for (x, y) in [
        (48.0, 58.0),
        (51.8, 100.0),
        (80.0, 61.8),
        (108.2, 100.0),
        (80.0, 142.0),
    ] {
        assert_colour(&picture, x, y, yellow);
    }
    assert_colour(&picture, 52.2, 100.0, RED);
    assert_colour(&picture, 107.8, 100.0, BLUE);
    assert_colour(&picture, 83.0, 103.0, WHITE);
}

#[test]
fn a_circle_is_cut_out_of_its_square_with_its_bleed() {
    let picture = bled(Bleed::all(3.0, BleedBy::Mirror), |art, placement| {
        *art = Art::window(
            "token",
            art.source,
            1,
            Rect::at(Point::new(10.0, 20.0), Size::new(40.0, 40.0)),
        );
        placement.trim = Shape::circle(40.0);
    });
    assert_colour(&picture, 47.5, 80.0, RED);
    assert_colour(&picture, 92.5, 80.0, BLUE);
    assert_colour(&picture, 52.0, 62.0, WHITE);
    assert_colour(&picture, 70.0 - 15.0, 80.0 - 15.0, RED);
}

fn pixels(w: u32, h: u32) -> RgbImage {
    // Four quarters of plain colour, and a little that compresses badly.
    ImageBuffer::from_fn(w, h, |x, y| match (2 * x < w, 2 * y < h) {
        (true, true) => Rgb(RED),
        (false, true) => Rgb(GREEN),
        (true, false) => Rgb(BLUE),
        (false, false) => Rgb([(x * 7 % 20) as u8, (y * 3 % 20) as u8, 0]),
    })
}

fn save(folder: &Folder, name: &str, picture: &image::DynamicImage) -> PathBuf {
    let path = folder.path(name);
    picture.save(&path).expect("saved");
    path
}

/// All images of a file.
fn images(file: &Path) -> Vec<(QPdfDictionary, Vec<u8>)> {
    let qpdf = QPdf::read(file).expect("a PDF");
    let is_image = |about: &QPdfDictionary| {
        about
            .get("/Subtype")
            .is_some_and(|s| s.as_name() == "/Image")
            && about.has("/ColorSpace")
    };
    (1..2000)
        .filter_map(|n| qpdf.get_object_by_id(n, 0))
        .filter(|o| o.get_type() == qpdf::QPdfObjectType::Stream)
        .map(|o: QPdfObject| QPdfStream::from(o))
        .filter(|s| is_image(&s.get_dictionary()))
        .map(|s| {
            let data = s.get_data(StreamDecodeLevel::None).expect("data");
            (s.get_dictionary(), data.to_vec())
        })
        .collect()
}

#[test]
fn every_kind_of_picture_shows_its_colours_the_right_way_up() {
    let folder = Folder::new();
    // Each with a pixel of its own: equal ones would be kept once.
    let rgb = |own: u8| {
        let mut picture = pixels(120, 160);
        picture.put_pixel(100, 150, Rgb([own; 3]));
        image::DynamicImage::from(picture)
    };
    let clear: RgbaImage = ImageBuffer::from_fn(120, 160, |x, y| {
        let Rgb([r, g, b]) = *pixels(120, 160).get_pixel(x, y);
        Rgba([r, g, b, if (50..70).contains(&x) { 0 } else { 255 }])
    });
    let files = [
        save(&folder, "a.png", &rgb(1)),
        save(&folder, "a.jpg", &rgb(2)),
        save(&folder, "a.webp", &rgb(3)),
        save(&folder, "a.tiff", &rgb(4)),
        save(&folder, "wide.png", &rgb(5).to_rgb16().into()),
        save(&folder, "clear.png", &clear.into()),
        folder.write(
            "a.svg",
            br##"<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="80mm"
             viewBox="0 0 60 80"><rect width="30" height="40" fill="#f00"/><rect x="30" width="30"
             height="40" fill="#0f0"/><rect y="40" width="30" height="40" fill="#00f"/></svg>"##,
        ),
    ];
    let mut sources = Sources::new();
    let (mut arts, mut pages) = (Vec::new(), Vec::new());
    for file in &files {
        let id = sources.add(file, None).expect("a source");
        let size = sources.page(id, 1).expect("a page").size;
        arts.push(Art::whole(file.display().to_string(), id, 1, size));
        let placement = Placement {
            fit: Fit::Whole,
            ..Placement::at(
                ArtId(arts.len() - 1),
                Shape::rect(CARD, 0.0),
                Point::new(20.0, 20.0),
            )
        };
        pages.push(SheetPage {
            placements: vec![placement],
            ..SheetPage::new(A4)
        });
    }
    let job = ImposeJob {
        corrected: false,
        output: folder.path("out.pdf"),
        arts,
        pages,
        ..ImposeJob::default()
    };
    let report = write_job(&job, sources).expect("written");
    assert_eq!(
        (report.pictures, report.passed_through, report.forms),
        (6, 3, 1)
    );
    for page in 1..=files.len() {
        let picture = seen(&job.output, page);
        assert_colour(&picture, 30.0, 30.0, RED);
        assert_colour(&picture, 70.0, 30.0, GREEN);
        assert_colour(&picture, 30.0, 90.0, BLUE);
        assert_colour(&picture, 19.5, 30.0, WHITE);
    }
    assert_colour(&seen(&job.output, 6), 50.0, 30.0, WHITE);
    checked(&job.output);
}

/// No complaint from qpdf's own program.
fn checked(file: &Path) {
    let check = Command::new("qpdf").arg("--check").arg(file).output();
    let check = check.expect("qpdf is missing: apt-get install qpdf");
    let said = String::from_utf8_lossy(&check.stdout).into_owned();
    assert!(check.status.success(), "{said}");
}

#[test]
fn jpeg_bytes_pass_through_and_equal_pictures_are_kept_once() {
    let folder = Folder::new();
    let picture: image::DynamicImage = pixels(300, 400).into();
    let first = save(&folder, "one.jpg", &picture);
    let bytes = std::fs::read(&first).expect("read");
    let twin = folder.write("two.jpg", &bytes);
    let mut sources = Sources::new();
    let ids = [&first, &twin].map(|f| sources.add(f, None).expect("a source"));
    let size = sources.page(ids[0], 1).expect("a page").size;
    let arts = ids.map(|id| Art::whole("back", id, 1, size)).to_vec();
    let placements = (0..12).map(|i| Placement {
        fit: Fit::Fill,
        ..Placement::at(
            ArtId(i % 2),
            Shape::rect(Size::new(30.0, 40.0), 0.0),
            Point::new(10.0 + 35.0 * (i % 4) as f64, 10.0 + 45.0 * (i / 4) as f64),
        )
    });
    let job = job(&folder, arts, placements.collect());
    let report = write_job(&job, sources).expect("written");
    assert_eq!((report.pictures, report.passed_through), (1, 1));
    let images = images(&job.output);
    assert_eq!(images.len(), 1);
    assert_eq!(images[0].1, bytes);
    checked(&job.output);
}

#[test]
fn the_same_job_gives_the_same_bytes_and_another_picture_another_name() {
    let folder = Folder::new();
    let written = |name: &str, picture: &RgbImage| {
        let file = save(&folder, &format!("{name}.jpg"), &picture.clone().into());
        let mut sources = Sources::new();
        let id = sources.add(&file, None).expect("a source");
        let art = Art::whole("card", id, 1, Size::new(30.0, 40.0));
        let placement = Placement {
            fit: Fit::Distort,
            ..Placement::at(ArtId(0), Shape::rect(CARD, 0.0), Point::new(9.0, 9.0))
        };
        let mut job = job(&folder, vec![art], vec![placement]);
        job.output = folder.path(&format!("{name}.pdf"));
        job.title = "Saltmarsh Ferry".to_owned();
        job.duplex = Some(Duplex::LongEdge);
        write_job(&job, sources).expect("written");
        std::fs::read(&job.output).expect("read")
    };
    let one = written("one", &pixels(300, 400));
    assert_eq!(one, written("again", &pixels(300, 400)));
    let name = |bytes: &[u8]| {
        let text = String::from_utf8_lossy(bytes).into_owned();
        let at = text.rfind("/ID [<").expect("a name");
        text[at + 6..at + 38].to_owned()
    };
    assert_ne!(name(&one), name(&written("other", &pixels(301, 400))));
    let text = String::from_utf8_lossy(&one).into_owned();
    for word in ["/PrintScaling /None", "/DuplexFlipLongEdge"] {
        assert!(text.contains(word), "{word}");
    }
    assert!(!text.contains("CreationDate"));
}

#[test]
fn boxes_stand_around_all_trims_and_stay_upright_under_a_correction() {
    let folder = Folder::new();
    let mut sources = Sources::new();
    let source = folder.write("card.pdf", &colour_card());
    let id = sources.add(&source, None).expect("a source");
    let tilt = Affine::tilt(Angle::degrees(0.5), Point::new(105.0, 148.5));
    let placed = |x: f64, y: f64| {
        let mut placement = Placement::at(ArtId(0), Shape::rect(CARD, 0.0), Point::new(x, y));
        placement.bleed = Bleed::all(3.0, BleedBy::Mirror);
        placement.map = placement.map.then(&tilt);
        placement
    };
    let mut job = job(
        &folder,
        vec![Art::whole("card", id, 1, CARD)],
        vec![placed(75.0, 108.5)],
    );
    let trim = Rect::at(Point::new(10.0, 20.0), Size::new(50.0, 60.0));
    job.pages.push(SheetPage {
        boxes: Some(Boxes {
            trim,
            bleed: trim.grown(3.0),
        }),
        ..job.pages[0].clone()
    });
    write_job(&job, sources).expect("written");
    let mut sources = Sources::new();
    let id = sources.add(&job.output, None).expect("a source");
    let close = |got: Option<Rect<Page>>, meant: Rect<Page>| {
        let got = got.expect("a box");
        let off = (got.min - meant.min).length() + (got.max - meant.max).length();
        assert!(off < 1e-3, "{got:?} and not {meant:?}");
    };
    let about = sources.page(id, 1).expect("a page");
    let around = Rect::at(Point::new(75.0, 108.5), CARD);
    close(about.trim, around);
    close(about.bleed, around.grown(3.0));
    let about = sources.page(id, 2).expect("a page");
    close(about.trim, trim);
    close(about.bleed, trim.grown(3.0));
}

#[test]
fn all_problems_are_told_at_once_by_the_names_of_the_arts() {
    let folder = Folder::new();
    let mut sources = Sources::new();
    let source = folder.write("card.pdf", &colour_card());
    let id = sources.add(&source, None).expect("a source");
    let arts = vec![
        Art::whole("Ferryman", id, 7, CARD),
        Art::whole("Heron", id, 1, Size::new(50.0, 80.0)),
        Art::window("Mudflat", id, 1, Rect::at(Point::new(100.0, 0.0), CARD)),
    ];
    let places =
        (0..3).map(|i| Placement::at(ArtId(i), Shape::rect(CARD, 0.0), Point::new(9.0, 9.0)));
    let mut job = job(&folder, arts, places.collect());
    job.pages[0].placements[2].map = Affine::scale(0.0, 1.0, Point::new(0.0, 0.0));
    let Err(ImposeError::Problems(problems)) = write_job(&job, sources) else {
        panic!("refused");
    };
    let told: Vec<_> = problems.iter().map(|p| p.art.as_str()).collect();
    assert_eq!(told, ["Ferryman", "Mudflat", "Heron", "Mudflat"]);
    assert!(problems[0].to_string().starts_with("Ferryman: "));
    assert!(matches!(problems[2].fault, Fault::OtherSize { .. }));
    assert!(problems.iter().all(|p| !p.hint().is_empty()));
    assert_eq!(folder.names(), ["card.pdf"]);
}

#[test]
fn a_form_that_leans_on_its_page_for_fonts_and_forms_still_finds_them() {
    let folder = Folder::new();
    let file = pdf(&[
        "<</Type/Catalog/Pages 2 0 R>>",
        "<</Type/Pages/Kids[3 0 R]/Count 1/MediaBox[0 0 170 227]\
         /Resources<</XObject<</Outer 5 0 R/Inner 6 0 R>>>>>>",
        "<</Type/Page/Parent 2 0 R/Contents 4 0 R>>",
        &stream("", "/Outer Do"),
        &stream("/Type/XObject/Subtype/Form/BBox[0 0 170 227]", "/Inner Do"),
        &stream(
            "/Type/XObject/Subtype/Form/BBox[0 0 170 227]",
            &square(60.0, 90.0),
        ),
    ]);
    let mut sources = Sources::new();
    let source = folder.write("leaning.pdf", &file);
    let id = sources.add(&source, None).expect("a source");
    let size = sources.page(id, 1).expect("a page").size;
    let job = job(
        &folder,
        vec![Art::whole("leaning", id, 1, size)],
        vec![Placement::at(
            ArtId(0),
            Shape::rect(size, 0.0),
            Point::new(0.0, 0.0),
        )],
    );
    write_job(&job, sources).expect("written");
    let mm = 25.4 / 72.0;
    assert_colour(
        &seen(&job.output, 1),
        65.0 * mm,
        (227.0 - 95.0) * mm,
        [0; 3],
    );
    // By the standard, and not by a reader's kindness.
    let qpdf = QPdf::read(&job.output).expect("a PDF");
    for n in 1..100 {
        if let Some(object) = qpdf.get_object_by_id(n, 0)
            && object.get_type() == qpdf::QPdfObjectType::Stream
        {
            let about = QPdfStream::from(object).get_dictionary();
            let is_form = about
                .get("/Subtype")
                .is_some_and(|s| s.as_name() == "/Form");
            assert!(!is_form || about.has("/Resources"), "form {n}");
        }
    }
}

#[test]
fn a_page_is_taken_as_it_is_seen_with_its_notes_and_without_its_hidden_layers() {
    let folder = Folder::new();
    let note = "/Annots[<</Type/Annot/Subtype/Stamp/F 4/Rect[20 20 40 40]/AP<</N 5 0 R>>>>]";
    let file = pdf(&[
        "<</Type/Catalog/Pages 2 0 R/OCProperties<</OCGs[6 0 R]/D<</OFF[6 0 R]>>>>>>",
        "<</Type/Pages/Kids[3 0 R]/Count 1>>",
        &format!(
            "<</Type/Page/Parent 2 0 R/MediaBox[0 0 200 100]/Rotate 90/Contents 4 0 R\
             /Resources<</Properties<</L 6 0 R>>>>{note}>>"
        ),
        &stream(
            "",
            "1 0 0 rg 100 60 20 20 re f /OC /L BDC 0 0 1 rg 150 0 50 100 re f EMC",
        ),
        &stream(
            "/Type/XObject/Subtype/Form/BBox[0 0 10 10]/Resources<<>>",
            "0 1 0 rg 0 0 10 10 re f",
        ),
        "<</Type/OCG/Name(hidden)>>",
    ]);
    let mut sources = Sources::new();
    let source = folder.write("turned.pdf", &file);
    let id = sources.add(&source, None).expect("a source");
    let size = sources.page(id, 1).expect("a page").size;
    let mm = 25.4 / 72.0;
    assert!(size.is_close(Size::new(100.0 * mm, 200.0 * mm), 1e-6));
    let job = job(
        &folder,
        vec![Art::whole("turned", id, 1, size)],
        vec![Placement::at(
            ArtId(0),
            Shape::rect(size, 0.0),
            Point::new(10.0, 10.0),
        )],
    );
    write_job(&job, sources).expect("written");
    let picture = seen(&job.output, 1);
    // Turned clockwise, user space's x runs down and its y to the right.
    let place = |x: f64, y: f64| (10.0 + y * mm, 10.0 + x * mm);
    let (x, y) = place(110.0, 70.0);
    assert_colour(&picture, x, y, RED);
    let (x, y) = place(30.0, 30.0);
    assert_colour(&picture, x, y, GREEN);
    let (x, y) = place(175.0, 50.0);
    assert_colour(&picture, x, y, WHITE);
    checked(&job.output);
}

#[test]
fn files_that_are_no_art_are_refused_with_what_to_do() {
    let folder = Folder::new();
    let mut sources = Sources::new();
    let mut said = |name: &str, bytes: Option<&[u8]>| {
        let path = match bytes {
            Some(bytes) => folder.write(name, bytes),
            None => folder.path(name),
        };
        let error = sources.add(&path, None).expect_err("refused");
        assert!(error.hint().is_some(), "{error}");
        error.to_string()
    };
    assert!(said("missing.png", None).contains("cannot be read"));
    assert!(said("words.txt", Some(b"hello")).contains("neither PDF"));
    assert!(said("empty.png", Some(b"")).contains("neither PDF"));
    assert!(said("half.png", Some(b"\x89PNG\r\n\x1a\n\0\0")).contains("stops before its end"));
    assert!(said("bad.svg", Some(b"<svg <")).contains("damaged"));
    let mut huge = Vec::new();
    {
        let mut encoder = png::Encoder::new(&mut huge, 60_000, 60_000);
        encoder.set_color(png::ColorType::Grayscale);
        let mut writer = encoder.write_header().expect("a header");
        writer
            .write_chunk(png::chunk::IDAT, b"x")
            .expect("something");
    }
    huge.extend(b"\0\0\0\0IEND\xaeB`\x82");
    assert!(said("huge.png", Some(&huge)).contains("far too large"));
    let fine = folder.write(
        "fine.pdf",
        &one_page("/MediaBox[0 0 150 200]", &square(1.0, 1.0)),
    );
    sources.add(&fine, None).expect("a source");
}

#[test]
fn marks_are_drawn_under_and_over_with_one_face_for_all_pages() {
    let folder = Folder::new();
    let mut sources = Sources::new();
    let source = folder.write("card.pdf", &colour_card());
    let id = sources.add(&source, None).expect("a source");
    let mut marks = Drawing::new(A4);
    marks.fill(Outline::rect(55.0, 65.0, 5.0, 5.0), Colour::BLACK);
    let mut words = Drawing::new(A4);
    words.text(Text::new(20.0, 20.0, 5.0, "Sheet 1"));
    words.fill(Outline::rect(65.0, 75.0, 5.0, 5.0), Colour::BLACK);
    let page = SheetPage {
        under: marks.items,
        over: words.items,
        placements: vec![Placement::at(
            ArtId(0),
            Shape::rect(CARD, 0.0),
            Point::new(50.0, 60.0),
        )],
        ..SheetPage::new(A4)
    };
    let job = ImposeJob {
        corrected: false,
        output: folder.path("out.pdf"),
        arts: vec![Art::whole("card", id, 1, CARD)],
        pages: vec![page.clone(), page],
        ..ImposeJob::default()
    };
    write_job(&job, sources).expect("written");
    let picture = seen(&job.output, 2);
    assert_colour(&picture, 57.0, 64.0 + 3.0, RED);
    assert_colour(&picture, 67.0, 77.0, [0; 3]);
    checked(&job.output);
}
