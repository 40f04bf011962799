//! What the end-to-end tests share: the built program in a folder of its own, and independent
//! eyes.

#![allow(dead_code, reason = "each test file uses its own part")]
#![allow(
    unreachable_pub,
    reason = "shared by the test files, which are crates of their own"
)]
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use image::{DynamicImage, RgbImage};
use tympan_pdf::draw::{self, Meta};
use tympan_sheet::drawing::{Colour, Drawing, Path as Outline};
use tympan_sheet::{Flip, Size};

/// The program with a folder of its own to work in and an empty data folder.
pub struct Tympan {
    folder: tempfile::TempDir,
}

impl Tympan {
    pub fn new() -> Self {
        Self {
            folder: tempfile::tempdir().expect("a folder"),
        }
    }

    /// A file in the folder.
    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn command(&self, args: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_tympan"));
        command
            .args(args)
            .current_dir(self.folder.path())
            .env("TYMPAN_DATA", self.path("data"));
        command.env("NO_COLOR", "1");
        command
    }

    pub fn output(&self, args: &[&str]) -> Output {
        self.command(args).output().expect("the program runs")
    }

    /// Runs the program, which must do what it is asked, and gives back what it said on stdout.
    pub fn run(&self, args: &[&str]) -> String {
        let output = self.output(args);
        let said = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success(), "tympan {}\n{said}", args.join(" "));
        String::from_utf8(output.stdout).expect("text")
    }

    /// Runs the program, which must refuse with exit status 1, and gives back what it said on
    /// stderr.
    pub fn refused(&self, args: &[&str]) -> String {
        let output = self.output(args);
        let said = String::from_utf8(output.stderr).expect("text");
        assert_eq!(
            output.status.code(),
            Some(1),
            "tympan {}\n{said}",
            args.join(" ")
        );
        assert!(!said.contains("panicked"), "{said}");
        said
    }
}

/// Runs a tool that the test cannot do without.
pub fn tool(name: &str, package: &str, args: &[&str]) -> Output {
    match Command::new(name).args(args).output() {
        Ok(output) => {
            let said = String::from_utf8_lossy(&output.stderr);
            assert!(output.status.success(), "{name} {}: {said}", args.join(" "));
            output
        }
        Err(error) => panic!("{name} is needed ({error}): apt-get install -y {package}"),
    }
}

fn text(path: &Path) -> &str {
    path.to_str().expect("a plain path")
}

/// All pages of a file, rendered by poppler.
pub fn pages(pdf: &Path, dpi: f64) -> Vec<DynamicImage> {
    let folder = tempfile::tempdir().expect("a folder");
    let stem = folder.path().join("page");
    tool(
        "pdftoppm",
        "poppler-utils",
        &["-r", &dpi.to_string(), "-png", text(pdf), text(&stem)],
    );
    let mut files: Vec<PathBuf> = std::fs::read_dir(folder.path())
        .expect("a folder")
        .map(|entry| entry.expect("an entry").path())
        .collect();
    files.sort();
    files
        .iter()
        .map(|file| image::open(file).expect("a picture"))
        .collect()
}

/// The words about one place of a test sheet, and where its cross lies, mm on the page.
#[derive(Debug, Default)]
pub struct Words {
    pub cross: (f64, f64),
    pub above: String,
    pub below: String,
    pub left: String,
    pub right: String,
}

/// One word of a page with the middle of its box, mm from the top left corner.
#[derive(Debug)]
pub struct Word {
    pub text: String,
    pub x: f64,
    pub y: f64,
}

/// All words of a page (counted from 1), as poppler's `pdftotext` finds them.
pub fn words(pdf: &Path, page: usize) -> Vec<Word> {
    let number = page.to_string();
    let args = ["-f", &number, "-l", &number, "-bbox", text(pdf), "-"];
    let output = tool("pdftotext", "poppler-utils", &args);
    let html = String::from_utf8(output.stdout).expect("text");
    let attribute = |line: &str, name: &str| -> f64 {
        let (_, rest) = line.split_once(&format!("{name}=\"")).expect("a box");
        rest.split('"')
            .next()
            .expect("a number")
            .parse()
            .expect("a number")
    };
    html.lines()
        .filter(|line| line.trim_start().starts_with("<word"))
        .map(|line| {
            let middle = |a: &str, b: &str| (attribute(line, a) + attribute(line, b)) / 2.0;
            let inner = line
                .split('>')
                .nth(1)
                .expect("a word")
                .split('<')
                .next()
                .expect("a word");
            Word {
                text: inner.to_owned(),
                x: middle("xMin", "xMax") * 25.4 / 72.0,
                y: middle("yMin", "yMax") * 25.4 / 72.0,
            }
        })
        .collect()
}

/// The places of a test sheet by their letter, with the crosses found in the rendered page and
/// the words about them in its text.
pub fn words_on(pdf: &Path, page: usize) -> BTreeMap<char, Words> {
    let words = words(pdf, page);
    let picture = page_at(pdf, page, 600.0).to_luma8();
    let crosses = crosses(&picture, 600.0 / 25.4);
    let mut places = BTreeMap::new();
    for letter in 'A'..='F' {
        // The same letters stand in the instructions too; the one meant is by a cross.
        let name = letter.to_string();
        let pairs = words.iter().filter(|w| w.text == name).flat_map(|w| {
            crosses
                .iter()
                .map(move |c| ((c.0 - w.x).hypot(c.1 - w.y), *c))
        });
        let nearest = pairs.min_by(|a, b| a.0.total_cmp(&b.0));
        let (_, cross) = nearest.unwrap_or_else(|| panic!("no {letter} by a cross on page {page}"));
        let towards = |dx: f64, dy: f64| {
            let wanted = ["low", "high", "left", "right"];
            words
                .iter()
                .filter(|w| wanted.contains(&w.text.as_str()))
                .filter(|w| {
                    let (x, y) = (w.x - cross.0, w.y - cross.1);
                    let along = x * dx + y * dy;
                    let aside = (x * dy - y * dx).abs();
                    along > 0.0 && along < 12.0 && aside < along
                })
                .map(|w| w.text.clone())
                .next()
                .unwrap_or_default()
        };
        let (above, below) = (towards(0.0, -1.0), towards(0.0, 1.0));
        let (left, right) = (towards(-1.0, 0.0), towards(1.0, 0.0));
        places.insert(
            letter,
            Words {
                cross,
                above,
                below,
                left,
                right,
            },
        );
    }
    places
}

fn page_at(pdf: &Path, page: usize, dpi: f64) -> DynamicImage {
    let folder = tempfile::tempdir().expect("a folder");
    let stem = folder.path().join("page");
    let (number, dpi) = (page.to_string(), dpi.to_string());
    let args = [
        "-f",
        &number,
        "-l",
        &number,
        "-singlefile",
        "-r",
        &dpi,
        "-png",
        text(pdf),
        text(&stem),
    ];
    tool("pdftoppm", "poppler-utils", &args);
    image::open(folder.path().join("page.png")).expect("a picture")
}

/// The middles of all printed things that are as large as a cross or a grid for the pin, 10 to 14
/// mm either way: both are symmetric about their middle. In mm.
fn crosses(picture: &image::GrayImage, px_per_mm: f64) -> Vec<(f64, f64)> {
    let (width, height) = picture.dimensions();
    let mut seen = vec![false; (width * height) as usize];
    let mut found = Vec::new();
    for (x, y, pixel) in picture.enumerate_pixels() {
        if pixel.0[0] > 200 || seen[(y * width + x) as usize] {
            continue;
        }
        seen[(y * width + x) as usize] = true;
        let mut stack = vec![(x, y)];
        let (mut x0, mut x1, mut y0, mut y1) = (x, x, y, y);
        while let Some((px, py)) = stack.pop() {
            (x0, x1, y0, y1) = (x0.min(px), x1.max(px), y0.min(py), y1.max(py));
            for (nx, ny) in around(px, py, width, height) {
                let i = (ny * width + nx) as usize;
                if !seen[i] && picture.get_pixel(nx, ny).0[0] <= 200 {
                    seen[i] = true;
                    stack.push((nx, ny));
                }
            }
        }
        let size = |a: u32, b: u32| f64::from(b - a + 1) / px_per_mm;
        let middle = |a: u32, b: u32| f64::from(a + b + 1) / 2.0 / px_per_mm;
        let like = 10.0..=14.0;
        if like.contains(&size(x0, x1)) && like.contains(&size(y0, y1)) {
            found.push((middle(x0, x1), middle(y0, y1)));
        }
    }
    found
}

/// Dark round dots in one channel of a picture: their centroids, mm.
pub fn dots(picture: &RgbImage, channel: usize, px_per_mm: f64) -> Vec<(f64, f64)> {
    let (width, height) = picture.dimensions();
    let dark = |x: u32, y: u32| 255.0 - f64::from(picture.get_pixel(x, y).0[channel]);
    let mut seen = vec![false; (width * height) as usize];
    let mut found = Vec::new();
    for y in 0..height {
        for x in 0..width {
            if dark(x, y) < 128.0 || seen[(y * width + x) as usize] {
                continue;
            }
            let mut stack = vec![(x, y)];
            let (mut sum, mut sx, mut sy, mut count) = (0.0, 0.0, 0.0, 0_u32);
            let (mut x0, mut x1, mut y0, mut y1) = (x, x, y, y);
            seen[(y * width + x) as usize] = true;
            while let Some((px, py)) = stack.pop() {
                let d = dark(px, py);
                sum += d;
                sx += d * (f64::from(px) + 0.5);
                sy += d * (f64::from(py) + 0.5);
                count += 1;
                (x0, x1, y0, y1) = (x0.min(px), x1.max(px), y0.min(py), y1.max(py));
                for (nx, ny) in around(px, py, width, height) {
                    let i = (ny * width + nx) as usize;
                    // Down to the faintest rim, so that the centroid is that of the whole dot.
                    if !seen[i] && dark(nx, ny) > 8.0 {
                        seen[i] = true;
                        stack.push((nx, ny));
                    }
                }
            }
            let (w, h) = (
                f64::from(x1 - x0 + 1) / px_per_mm,
                f64::from(y1 - y0 + 1) / px_per_mm,
            );
            let round = (2.2..=4.2).contains(&w) && (2.2..=4.2).contains(&h);
            let full = f64::from(count) / px_per_mm / px_per_mm / (w * h);
            if round && full > 0.6 {
                found.push((sx / sum / px_per_mm, sy / sum / px_per_mm));
            }
        }
    }
    found
}

fn around(x: u32, y: u32, width: u32, height: u32) -> impl Iterator<Item = (u32, u32)> {
    let near = [(-1, 0), (1, 0), (0, -1), (0, 1)];
    near.into_iter().filter_map(move |(dx, dy)| {
        let (nx, ny) = (i64::from(x) + dx, i64::from(y) + dy);
        let inside = nx >= 0 && ny >= 0 && nx < i64::from(width) && ny < i64::from(height);
        inside.then_some((nx as u32, ny as u32))
    })
}

/// A sheet of the game with black dots laid over it in white rings, each with its partner behind
/// it as the file's flip has it: pages of `size`, front and back.
pub fn dotted_game(pdf: &Path, size: Size, flip: Flip) {
    let mut front = Drawing::new(size);
    let mut back = Drawing::new(size);
    let (columns, rows) = (6, 8);
    for column in 0..columns {
        for row in 0..rows {
            let x = 14.0 + (size.w - 28.0) * f64::from(column) / f64::from(columns - 1);
            let y = 14.0 + (size.h - 28.0) * f64::from(row) / f64::from(rows - 1);
            let (bx, by) = match flip {
                Flip::Sideways => (size.w - x, y),
                Flip::Endways => (x, size.h - y),
            };
            for (page, x, y) in [(&mut front, x, y), (&mut back, bx, by)] {
                page.fill(Outline::circle(x, y, 3.2), Colour::WHITE);
                page.fill(Outline::circle(x, y, 1.5), Colour::BLACK);
            }
        }
    }
    let bytes = draw::write(&[front, back], &Meta::new("Saltmarsh Ferry, dotted")).expect("a PDF");
    std::fs::write(pdf, bytes).expect("written");
}
