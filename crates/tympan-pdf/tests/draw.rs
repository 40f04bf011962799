//! Drawings as PDF and SVG, looked at by programs that are not the project's own: Poppler, qpdf
//! and librsvg.

use std::path::Path as FilePath;
use std::process::Command;

use image::{GrayImage, RgbImage};
use tympan_pdf::draw::{self, DrawError, Duplex, Meta, svg};
use tympan_sheet::drawing::{Colour, Drawing, Face, Item, Path, Segment, Stroke, Text};
use tympan_sheet::{Affine, Angle, BindingEdge, Point, Size, Vector};

/// Fine enough that half a pixel is far less than 0.05 mm.
const PX_PER_MM: f64 = 40.0;

fn run(program: &str, package: &str, args: &[&str]) -> String {
    let output = Command::new(program)
        .args(args)
        .output()
        .unwrap_or_else(|_| panic!("{program} is missing: apt-get install -y {package}"));
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    let complaint = String::from_utf8_lossy(&output.stderr);
    assert!(
        output.status.success(),
        "{program} {args:?}: {said}{complaint}"
    );
    said
}

fn text_of(path: &FilePath) -> &str {
    path.to_str().expect("a plain path")
}

fn pdf(drawing: &Drawing) -> Vec<u8> {
    draw::write(std::slice::from_ref(drawing), &Meta::new("test")).expect("drawn")
}

/// The page as Poppler shows it.
fn render(drawing: &Drawing, px_per_mm: f64) -> RgbImage {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("page.pdf");
    std::fs::write(&file, pdf(drawing)).expect("written");
    let (dpi, out) = (format!("{}", px_per_mm * 25.4), folder.path().join("page"));
    let args = [
        "-r",
        &dpi,
        "-png",
        "-singlefile",
        text_of(&file),
        text_of(&out),
    ];
    run("pdftoppm", "poppler-utils", &args);
    image::open(out.with_extension("png"))
        .expect("a picture")
        .to_rgb8()
}

fn grey(drawing: &Drawing) -> GrayImage {
    image::imageops::grayscale(&render(drawing, PX_PER_MM))
}

/// How much ink there is, mm², and its middle, mm, in a window given in mm.
fn ink(picture: &GrayImage, (x0, y0, x1, y1): (f64, f64, f64, f64)) -> (f64, f64, f64) {
    let (mut sum, mut sx, mut sy) = (0.0, 0.0, 0.0);
    for (x, y, pixel) in picture.enumerate_pixels() {
        let (mx, my) = (
            (f64::from(x) + 0.5) / PX_PER_MM,
            (f64::from(y) + 0.5) / PX_PER_MM,
        );
        if (x0..x1).contains(&mx) && (y0..y1).contains(&my) {
            let ink = 1.0 - f64::from(pixel[0]) / 255.0;
            sum += ink;
            sx += ink * mx;
            sy += ink * my;
        }
    }
    (sum / (PX_PER_MM * PX_PER_MM), sx / sum, sy / sum)
}

/// Left, top, right and bottom of the ink, mm.
fn extent(picture: &GrayImage) -> (f64, f64, f64, f64) {
    let (mut x0, mut y0, mut x1, mut y1) = (f64::MAX, f64::MAX, f64::MIN, f64::MIN);
    for (x, y, _) in picture.enumerate_pixels().filter(|(_, _, p)| p[0] < 128) {
        let (l, t) = (f64::from(x) / PX_PER_MM, f64::from(y) / PX_PER_MM);
        (x0, y0) = (x0.min(l), y0.min(t));
        (x1, y1) = (x1.max(l + 1.0 / PX_PER_MM), y1.max(t + 1.0 / PX_PER_MM));
    }
    (x0, y0, x1, y1)
}

fn page() -> Drawing {
    Drawing::new(Size::new(60.0, 40.0))
}

fn diamond(x: f64, y: f64) -> Path {
    Path::polygon(&[(x, y - 1.5), (x + 1.5, y), (x, y + 1.5), (x - 1.5, y)])
}

#[test]
fn shapes_land_where_they_were_drawn() {
    let mut drawing = page();
    let places = [
        (5.0, 4.0),
        (53.21, 6.3),
        (30.0, 20.0),
        (7.77, 34.5),
        (55.0, 35.13),
    ];
    for (i, (x, y)) in places.into_iter().enumerate() {
        let path = if i % 2 == 0 {
            diamond(x, y)
        } else {
            Path::circle(x, y, 1.5)
        };
        drawing.fill(path, Colour::BLACK);
    }
    let picture = grey(&drawing);
    for (i, (x, y)) in places.into_iter().enumerate() {
        let (area, cx, cy) = ink(&picture, (x - 3.0, y - 3.0, x + 3.0, y + 3.0));
        let drawn = if i % 2 == 0 {
            4.5
        } else {
            std::f64::consts::PI * 2.25
        };
        assert!(
            (cx - x).abs() < 0.02 && (cy - y).abs() < 0.02,
            "{x}, {y} lies at {cx}, {cy}"
        );
        assert!((area / drawn - 1.0).abs() < 0.03, "{area} mm² for {drawn}");
    }
}

#[test]
fn groups_move_what_is_in_them() {
    let mut inner = page();
    inner.fill(diamond(10.0, 0.0), Colour::BLACK);
    let turned = Affine::tilt(Angle::degrees(30.0), Point::new(0.0, 0.0))
        .then(&Affine::shift(Vector::new(20.0, 10.0)));
    let mut outer = page();
    outer.place(turned, None, inner.items);
    let mut drawing = page();
    drawing.place(
        Affine::scale(1.0, 2.0, Point::new(0.0, 0.0)),
        None,
        outer.items,
    );
    let (_, x, y) = ink(&grey(&drawing), (0.0, 0.0, 60.0, 40.0));
    // 30° clockwise takes (10, 0) to (8.660, 5); then the shift; then y doubled.
    assert!(
        (x - 28.660).abs() < 0.02 && (y - 30.0).abs() < 0.02,
        "{x}, {y}"
    );
}

#[test]
fn a_clip_is_in_the_groups_own_coordinates() {
    let mut inner = page();
    inner.fill(Path::rect(-50.0, -50.0, 100.0, 100.0), Colour::BLACK);
    let mut drawing = page();
    let map = Affine::new(2.0, 0.0, 0.0, 2.0, 20.0, 15.0);
    drawing.place(map, Some(Path::circle(3.0, 1.0, 4.0)), inner.items);
    drawing.fill(diamond(50.0, 30.0), Colour::BLACK);
    let picture = grey(&drawing);
    let (area, x, y) = ink(&picture, (0.0, 0.0, 45.0, 40.0));
    assert!(
        (x - 26.0).abs() < 0.02 && (y - 17.0).abs() < 0.02,
        "{x}, {y}"
    );
    assert!(
        (area / (std::f64::consts::PI * 64.0) - 1.0).abs() < 0.01,
        "{area}"
    );
    let (after, _, _) = ink(&picture, (45.0, 25.0, 55.0, 35.0));
    assert!(
        (after - 4.5).abs() < 0.1,
        "the clip ends with its group: {after}"
    );
}

#[test]
fn lines_have_their_width_and_dashes_their_lengths() {
    let mut drawing = page();
    drawing.stroke(
        Path::line(10.0, 10.0, 50.0, 10.0),
        Stroke::solid(Colour::BLACK, 0.8),
    );
    let broken = Stroke::solid(Colour::BLACK, 1.0).dashed(&[3.0, 2.0]);
    drawing.stroke(Path::line(10.0, 20.0, 50.0, 20.0), broken);
    let round = Stroke::solid(Colour::BLACK, 2.0).rounded();
    drawing.stroke(Path::line(10.0, 30.0, 50.0, 30.0), round);
    let picture = grey(&drawing);
    let area = |y: f64| ink(&picture, (5.0, y - 4.0, 55.0, y + 4.0)).0;
    assert!((area(10.0) - 32.0).abs() < 0.6, "{}", area(10.0));
    // Eight dashes of 3 mm in 40 mm.
    assert!((area(20.0) - 24.0).abs() < 0.6, "{}", area(20.0));
    assert!(
        (area(30.0) - (80.0 + std::f64::consts::PI)).abs() < 1.2,
        "{}",
        area(30.0)
    );
    let row = (20.0 * PX_PER_MM) as u32;
    let dark: Vec<bool> = (0..picture.width())
        .map(|x| picture.get_pixel(x, row)[0] < 128)
        .collect();
    assert_eq!(dark.windows(2).filter(|w| !w[0] && w[1]).count(), 8);
}

/// From the left edge of one bar to that of the next is just the width of what stands between.
#[test]
fn text_is_as_wide_as_it_is_said_to_be() {
    for (face, middle) in [
        (Face::Text, "AVATAR To 2.1 mm"),
        (Face::Bold, "low 0.4° × ½"),
        (Face::Heading, "AVATAR To We"),
    ] {
        let text = format!("|{middle}|");
        let mut drawing = page();
        drawing.text(Text::new(5.0, 20.0, 5.0, &text).face(face));
        let picture = grey(&drawing);
        // The bars reach below everything else on the line.
        let (_, _, _, bottom) = extent(&picture);
        let row = ((bottom - 0.15) * PX_PER_MM) as u32;
        let dark = |x: u32| picture.get_pixel(x, row)[0] < 128;
        let starts: Vec<u32> = (1..picture.width())
            .filter(|&x| dark(x) && !dark(x - 1))
            .collect();
        assert_eq!(starts.len(), 2, "{text}");
        let seen = f64::from(starts[1] - starts[0]) / PX_PER_MM;
        let said = draw::text_width(&text, 5.0, face) - draw::text_width("|", 5.0, face);
        assert!(
            (seen - said).abs() < 0.05,
            "{text}: {seen} seen, {said} said"
        );
    }
}

#[test]
fn anchors_hold_the_start_the_middle_and_the_end() {
    let width = draw::text_width("HIH", 6.0, Face::Bold);
    let at = |text: Text| {
        let mut drawing = page();
        drawing.text(text.face(Face::Bold));
        extent(&grey(&drawing))
    };
    let start = at(Text::new(30.0, 20.0, 6.0, "HIH"));
    let middle = at(Text::new(30.0, 20.0, 6.0, "HIH").centred());
    let end = at(Text::new(30.0, 20.0, 6.0, "HIH").ending());
    assert!((start.0 - end.0 - width).abs() < 0.05);
    assert!((start.0 - middle.0 - width / 2.0).abs() < 0.05);
    assert!(
        ((middle.0 + middle.2) / 2.0 - 30.0).abs() < 0.05,
        "HIH is symmetric"
    );
    assert!((start.3 - 20.0).abs() < 0.05, "H stands on the baseline");
    let cap = draw::cap_height(6.0, Face::Bold);
    assert!(
        (start.3 - start.1 - cap).abs() < 0.05,
        "H is as high as a capital"
    );
}

#[test]
fn positive_tilt_of_text_is_clockwise_about_its_point() {
    let mut drawing = page();
    drawing.text(Text::new(30.0, 5.0, 6.0, "HIH").tilted(Angle::degrees(90.0)));
    let (x0, y0, x1, y1) = extent(&grey(&drawing));
    assert!(
        y0 > 5.0 && y1 < 5.0 + draw::text_width("HIH", 6.0, Face::Text),
        "runs down"
    );
    let cap = draw::cap_height(6.0, Face::Text);
    assert!(
        (x0 - 30.0).abs() < 0.05 && (x1 - 30.0 - cap).abs() < 0.05,
        "heads to the right"
    );
}

#[test]
fn colours_stay_what_they_are() {
    let mut drawing = page();
    drawing.fill(Path::rect(0.0, 0.0, 20.0, 40.0), Colour::hex(0xb4_4a33));
    drawing.fill(Path::rect(20.0, 0.0, 20.0, 40.0), Colour::Grey(0.5));
    let picture = render(&drawing, 4.0);
    assert_eq!(picture.get_pixel(40, 80).0, [0xb4, 0x4a, 0x33]);
    let grey = picture.get_pixel(120, 80).0;
    assert!(grey.iter().all(|g| (127..=128).contains(g)), "{grey:?}");
    assert_eq!(picture.get_pixel(200, 80).0, [255; 3]);
}

/// Black and grey must not become a mixture of coloured inks.
#[test]
fn grey_is_written_as_device_gray_and_nothing_else() {
    let mut drawing = page();
    drawing.fill(diamond(10.0, 10.0), Colour::BLACK);
    drawing.stroke(diamond(20.0, 10.0), Stroke::solid(Colour::Grey(0.4), 0.3));
    drawing.text(Text::new(5.0, 30.0, 4.0, "black"));
    let said = content(&drawing);
    let operator = |name: &str| said.split_whitespace().any(|word| word == name);
    assert!(operator("g") && operator("G"));
    for other in ["rg", "RG", "k", "K", "cs", "CS", "sc", "SC"] {
        assert!(!operator(other), "{other} in {said}");
    }
    drawing.fill(diamond(40.0, 10.0), Colour::hex(0x20_2e3c));
    assert!(
        content(&drawing)
            .split_whitespace()
            .any(|word| word == "rg")
    );
}

/// The first content stream, as text.
fn content(drawing: &Drawing) -> String {
    let folder = tempfile::tempdir().expect("a folder");
    let (file, plain) = (folder.path().join("a.pdf"), folder.path().join("b.pdf"));
    std::fs::write(&file, pdf(drawing)).expect("written");
    run("qpdf", "qpdf", &["--qdf", text_of(&file), text_of(&plain)]);
    let bytes = std::fs::read(&plain).expect("read");
    let all = String::from_utf8_lossy(&bytes).into_owned();
    let from = all.find("stream\n").expect("a content stream");
    let to = all[from..].find("endstream").expect("its end");
    all[from + 7..from + to].to_owned()
}

#[test]
fn faces_are_embedded_as_subsets_and_the_text_can_be_copied() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("a.pdf");
    let said = "Backs 2.1 mm low – “Žižek’s” printer";
    let mut drawing = Drawing::new(Size::new(210.0, 297.0));
    for (i, face) in [Face::Text, Face::Bold, Face::Heading]
        .into_iter()
        .enumerate()
    {
        drawing.text(Text::new(20.0, 30.0 + 20.0 * i as f64, 8.0, said).face(face));
    }
    std::fs::write(&file, pdf(&drawing)).expect("written");
    let fonts = run("pdffonts", "poppler-utils", &[text_of(&file)]);
    let rows: Vec<&str> = fonts.lines().skip(2).collect();
    assert_eq!(rows.len(), 3, "{fonts}");
    let names = [
        "AtkinsonHyperlegibleNext-Regular",
        "AtkinsonHyperlegibleNext-Bold",
        "Bitter-Bold",
    ];
    for (row, name) in rows.iter().zip(names) {
        assert!(row.contains(&format!("+{name}")), "{row}");
        assert!(
            row.contains("yes yes yes"),
            "embedded, subset, with Unicode: {row}"
        );
    }
    let copied = run(
        "pdftotext",
        "poppler-utils",
        &["-layout", text_of(&file), "-"],
    );
    assert_eq!(copied.matches(said).count(), 3, "{copied}");
    let size = std::fs::metadata(&file).expect("there").len();
    assert!(size < 40_000, "{size} bytes are more than subsets need");
}

#[test]
fn the_file_is_sound_and_asks_for_true_size_and_the_right_sides() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("a.pdf");
    let mut drawing = Drawing::new(Size::new(210.0, 297.0));
    drawing.text(Text::new(20.0, 30.0, 8.0, "Front"));
    let pages = [drawing.clone(), Drawing::new(Size::new(210.0, 297.0))];
    for (duplex, name) in [
        (
            Some(Duplex::from(BindingEdge::Long)),
            "/Duplex /DuplexFlipLongEdge",
        ),
        (
            Some(Duplex::from(BindingEdge::Short)),
            "/Duplex /DuplexFlipShortEdge",
        ),
        (Some(Duplex::Simplex), "/Duplex /Simplex"),
        (None, ""),
    ] {
        let meta = Meta {
            duplex,
            ..Meta::new("Test sheet – 65 lb cover")
        };
        std::fs::write(&file, draw::write(&pages, &meta).expect("drawn")).expect("written");
        let check = run("qpdf", "qpdf", &["--check", text_of(&file)]);
        assert!(
            check.contains("No syntax or stream encoding errors found"),
            "{check}"
        );
        let catalog = run("qpdf", "qpdf", &["--show-object=1", text_of(&file)]);
        assert!(catalog.contains("/PrintScaling /None"), "{catalog}");
        assert!(catalog.contains(name), "{catalog}");
        assert_eq!(catalog.contains("/Duplex"), duplex.is_some(), "{catalog}");
    }
    let info = run("pdfinfo", "poppler-utils", &[text_of(&file)]);
    assert!(info.contains("Test sheet – 65 lb cover"), "{info}");
    assert!(info.contains("595.276 x 841.89 pts (A4)"), "{info}");
    let meta = Meta {
        print_scaling_none: false,
        ..Meta::new("any")
    };
    let bytes = draw::write(&pages, &meta).expect("drawn");
    assert!(!String::from_utf8_lossy(&bytes).contains("PrintScaling"));
}

#[test]
fn the_same_drawing_always_gives_the_same_bytes() {
    assert_eq!(pdf(&sampler()), pdf(&sampler()));
}

#[test]
fn what_cannot_be_drawn_is_refused_with_its_page() {
    let refused = |change: &dyn Fn(&mut Drawing)| {
        let mut second = page();
        change(&mut second);
        let error = draw::write(&[page(), second], &Meta::new("test")).expect_err("refused");
        error.to_string()
    };
    assert_eq!(
        refused(&|d| d.text(Text::new(1.0, 9.0, 4.0, "渡し船"))),
        "page 2 says \"渡し船\", and the embedded faces have no '渡'"
    );
    assert_eq!(
        refused(&|d| d.fill(Path::circle(f64::NAN, 1.0, 1.0), Colour::BLACK)),
        "page 2 has a point that is not a number"
    );
    assert_eq!(
        refused(&|d| d.stroke(diamond(1.0, 1.0), Stroke::solid(Colour::BLACK, 0.0))),
        "page 2 has a line of width 0 mm with dashes []"
    );
    assert_eq!(
        refused(&|d| d.size = Size::new(6000.0, 10.0)),
        "page 2 is 6000 × 10 mm, which no PDF page can be"
    );
    assert_eq!(
        draw::write(&[], &Meta::new("none")),
        Err(DrawError::NoPages)
    );
}

/// Something of everything.
fn sampler() -> Drawing {
    let mut d = page();
    d.fill(
        Path::rounded_rect(4.0, 4.0, 22.0, 14.0, 3.0),
        Colour::hex(0x2c_6a80),
    );
    let broken = Stroke::solid(Colour::hex(0xb4_4a33), 0.8)
        .dashed(&[2.0, 1.0])
        .rounded();
    d.stroke(Path::ellipse(42.0, 12.0, 12.0, 7.0), broken);
    let p = Point::new;
    let arch = Path {
        segments: vec![
            Segment::Move(p(16.0, 34.0)),
            Segment::Curve(p(18.0, 22.0), p(24.0, 22.0), p(26.0, 34.0)),
        ],
    };
    d.items.push(Item::Shape {
        path: diamond(10.0, 30.0).and(arch),
        fill: Some(Colour::Grey(0.8)),
        stroke: Some(Stroke::solid(Colour::BLACK, 0.3)),
    });
    let mut stripes = page();
    for i in 0..12 {
        let x = f64::from(i) * 2.0;
        stripes.fill(Path::rect(x, 0.0, 1.0, 20.0), Colour::hex(0x5c_7c43));
    }
    let map = Affine::tilt(Angle::degrees(20.0), p(0.0, 0.0))
        .then(&Affine::shift(Vector::new(34.0, 20.0)));
    d.place(map, Some(Path::circle(9.0, 8.0, 6.0)), stripes.items);
    let title = Text::new(15.0, 12.5, 3.4, "Ferry & Co.")
        .centred()
        .colour(Colour::WHITE);
    d.text(title.face(Face::Heading));
    d.text(
        Text::new(58.0, 38.0, 3.0, "2.1 mm × ½")
            .ending()
            .tilted(Angle::degrees(-8.0)),
    );
    d
}

#[test]
fn svg_and_pdf_look_the_same() {
    let folder = tempfile::tempdir().expect("a folder");
    let (file, png) = (folder.path().join("a.svg"), folder.path().join("a.png"));
    let drawing = sampler();
    std::fs::write(&file, svg::titled(&drawing, "Something of <everything>")).expect("written");
    let args = [
        "-w",
        "1200",
        "-h",
        "800",
        "-b",
        "white",
        "-o",
        text_of(&png),
        text_of(&file),
    ];
    run("rsvg-convert", "librsvg2-bin", &args);
    let from_svg = image::open(&png).expect("a picture").to_rgb8();
    let from_pdf = render(&drawing, 20.0);
    let differing = (0..800)
        .flat_map(|y| (0..1200).map(move |x| (x, y)))
        .filter(|&(x, y)| {
            let (a, b) = (from_svg.get_pixel(x, y), from_pdf.get_pixel(x, y));
            a.0.iter().zip(b.0).any(|(a, b)| a.abs_diff(b) > 96)
        })
        .count();
    // Only pixels on edges may differ.
    assert!(differing < 1200 * 800 / 500, "{differing} pixels differ");
}

#[test]
fn svg_says_what_it_shows_and_needs_nothing_else() {
    let said = svg::titled(&sampler(), "Fish & <chips>");
    assert!(said.contains("viewBox=\"0 0 60 40\"") && said.contains("width=\"60mm\""));
    assert!(said.contains("<title>Fish &amp; &lt;chips&gt;</title>"));
    assert!(said.contains("aria-label=\"Ferry &amp; Co.\""));
    for forbidden in ["style=", "href", "<script", "font-family"] {
        assert!(!said.contains(forbidden), "{forbidden}");
    }
    assert!(!svg::write(&sampler()).contains("<title>"));
}
