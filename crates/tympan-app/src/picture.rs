//! Pictures of what was measured.

use std::fs;
use std::path::{Path as FilePath, PathBuf};

use image::{Rgb, RgbImage};
use tympan_marks::picture::{Luma, Reading};
use tympan_pdf::draw::svg;
use tympan_register::Field;
use tympan_sheet::drawing::{Colour, Drawing, Face, Path, Stroke, Text};
use tympan_sheet::{Angle, Front, Page, Point, Size};

use crate::measure::{Learnt, SetUp};
use crate::refusal::Refusal;

/// Arrows are drawn this many times longer than the errors are.
const MAGNIFIED: f64 = 10.0;
/// Room around the sheet for words, mm.
const ROOM_MM: f64 = 18.0;
/// The panel of single sheets is this wide, mm.
const PANEL_MM: f64 = 90.0;

const INK: Colour = Colour::Rgb(0.13, 0.16, 0.20);
const QUIET: Colour = Colour::Rgb(0.45, 0.48, 0.52);
const PALE: Colour = Colour::Rgb(0.80, 0.82, 0.84);
const ACCENT: Colour = Colour::Rgb(0.72, 0.22, 0.12);

/// The steady error as arrows on the sheet, seen from the front, and beside it every sheet's own
/// shift with the ellipse that holds 19 of 20 sheets. SVG.
pub fn error_field(setup: &SetUp, learnt: &Learnt) -> String {
    let sheet = setup.paper.size();
    let size = Size::new(sheet.w + PANEL_MM + 3.0 * ROOM_MM, sheet.h + 2.0 * ROOM_MM);
    let mut picture = Drawing::new(size);
    picture.fill(Path::rect(0.0, 0.0, size.w, size.h), Colour::WHITE);
    arrows(&mut picture, sheet, &learnt.fit.steady_field());
    sheets(&mut picture, setup, learnt);
    let title = format!("Where the backs lie with \"{}\"", setup.name);
    picture.text(
        Text::new(ROOM_MM, 9.0, 6.0, title.clone())
            .face(Face::Heading)
            .colour(INK),
    );
    let how = format!(
        "Looking at the front. Arrows go from each front to its back, {MAGNIFIED:.0} times as long as they are."
    );
    picture.text(Text::new(ROOM_MM, 15.0, 3.6, how).colour(QUIET));
    svg::titled(&picture, &title)
}

fn on_picture(p: Point<Front>) -> Point<Page> {
    Point::new(p.x + ROOM_MM, p.y + ROOM_MM)
}

fn arrows(picture: &mut Drawing, sheet: Size, field: &Field) {
    let corner = on_picture(Point::new(0.0, 0.0));
    let outline = Path::rect(corner.x, corner.y, sheet.w, sheet.h);
    picture.stroke(outline, Stroke::solid(INK, 0.5));
    let (columns, rows) = (6, 8);
    for row in 0..rows {
        for column in 0..columns {
            let at = Point::<Front>::new(
                sheet.w * (f64::from(column) + 0.5) / f64::from(columns),
                sheet.h * (f64::from(row) + 0.5) / f64::from(rows),
            );
            let from = on_picture(at);
            let error = field.at(at);
            let to = Point::new(from.x + MAGNIFIED * error.x, from.y + MAGNIFIED * error.y);
            picture.fill(Path::circle(from.x, from.y, 0.7), INK);
            arrow(picture, from, to);
        }
    }
}

fn arrow(picture: &mut Drawing, from: Point<Page>, to: Point<Page>) {
    let (dx, dy) = (to.x - from.x, to.y - from.y);
    let length = dx.hypot(dy);
    if length < 0.3 {
        return;
    }
    picture.stroke(
        Path::line(from.x, from.y, to.x, to.y),
        Stroke::solid(ACCENT, 0.6).rounded(),
    );
    let head = length.min(3.0);
    let (ux, uy) = (dx / length, dy / length);
    let side = |s: f64| {
        (
            to.x - head * (ux - s * 0.4 * uy),
            to.y - head * (uy + s * 0.4 * ux),
        )
    };
    picture.fill(
        Path::polygon(&[(to.x, to.y), side(1.0), side(-1.0)]),
        ACCENT,
    );
}

/// The shift of every sheet in its middle, about the steady one.
fn sheets(picture: &mut Drawing, setup: &SetUp, learnt: &Learnt) {
    let sheet = setup.paper.size();
    let centre = sheet.centre::<Front>();
    let shifts: Vec<_> = learnt
        .fit
        .sheet_fields()
        .iter()
        .map(|field| field.at(centre))
        .collect();
    let steady = learnt.fit.steady_field().at(centre);
    let covariance = learnt.fit.scatter_covariance();
    // Radius that holds 95 % of a normal distribution in the plane: √5.9915.
    let ((long, short), tilt) = axes(covariance[0][0], covariance[0][1], covariance[1][1]);
    let (long, short) = (2.4477 * long, 2.4477 * short);
    let farthest = shifts
        .iter()
        .map(|s| (*s - steady).length())
        .fold(long, f64::max)
        .max(0.05);
    let left = sheet.w + 2.0 * ROOM_MM;
    let (x, y, half) = (
        left + PANEL_MM / 2.0,
        ROOM_MM + PANEL_MM / 2.0,
        PANEL_MM / 2.0,
    );
    let scale = 0.85 * half / farthest;
    picture.stroke(
        Path::rect(x - half, y - half, PANEL_MM, PANEL_MM),
        Stroke::solid(INK, 0.3),
    );
    let step = grid_step(farthest);
    let lines = (half / (step * scale)).floor() as i32;
    for i in -lines..=lines {
        let at = f64::from(i) * step * scale;
        let line = Stroke::solid(PALE, if i == 0 { 0.4 } else { 0.15 });
        picture.stroke(Path::line(x + at, y - half, x + at, y + half), line.clone());
        picture.stroke(Path::line(x - half, y + at, x + half, y + at), line);
    }
    let ellipse = Path::ellipse(0.0, 0.0, long * scale, short * scale);
    let mut inner = Drawing::new(sheet);
    inner.stroke(ellipse, Stroke::solid(QUIET, 0.5).dashed(&[2.0, 1.4]));
    let turn = tympan_sheet::Affine::tilt(tilt, Point::new(0.0, 0.0)).then(
        &tympan_sheet::Affine::shift(tympan_sheet::Vector::new(x, y)),
    );
    picture.place(turn, None, inner.items);
    for (shift, record) in shifts.iter().zip(&learnt.readings) {
        let off = *shift - steady;
        let (px, py) = (x + off.x * scale, y + off.y * scale);
        picture.fill(Path::circle(px, py, 1.2), ACCENT);
        if let Some(number) = record.sheet {
            picture.text(Text::new(px + 1.8, py + 1.2, 3.2, number.to_string()).colour(INK));
        }
    }
    let words = [
        "Each sheet's own shift about the steady one.".to_owned(),
        format!("Lines stand {step} mm apart. The broken line holds"),
        "19 of 20 sheets, as far as these can tell.".to_owned(),
    ];
    for (line, words) in (0_i32..).zip(words) {
        let at = y + half + 6.0 + 4.6 * f64::from(line);
        picture.text(Text::new(x - half, at, 3.4, words).colour(QUIET));
    }
}

/// Standard deviations along the axes of the ellipse of a covariance, the longer first, and the
/// longer one's direction.
fn axes(xx: f64, xy: f64, yy: f64) -> ((f64, f64), Angle) {
    let (mean, half) = ((xx + yy) / 2.0, ((xx - yy) / 2.0).hypot(xy));
    let direction = 0.5 * (2.0 * xy).atan2(xx - yy);
    (
        ((mean + half).sqrt(), (mean - half).max(0.0).sqrt()),
        Angle::radians(direction),
    )
}

/// A round step that puts a few lines on either side.
fn grid_step(farthest: f64) -> f64 {
    let steps = [0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0];
    steps
        .into_iter()
        .find(|step| farthest / step <= 5.0)
        .unwrap_or(10.0)
}

/// Evidence is no larger than this, pixels: it is looked at, not measured.
const EVIDENCE_PX: usize = 2400;
/// Residuals are drawn this many times longer than they are.
const RESIDUALS_MAGNIFIED: f64 = 40.0;

/// Saves the pictures that a reading comes from with the found marks circled and what the fit
/// leaves over drawn as lines, 40 times as long as it is: `NAME-marks.png` in `folder`. Gives back
/// the name of the first of them.
///
/// # Errors
/// A [`Refusal`] where a picture cannot be written or is there already.
pub fn evidence(
    folder: &FilePath,
    pictures: &[Luma],
    files: &[PathBuf],
    reading: &Reading,
) -> Result<Option<String>, Refusal> {
    fs::create_dir_all(folder).map_err(|e| Refusal::file("make the folder", folder, &e))?;
    let mut shown: Vec<usize> = reading.evidence.iter().map(|e| e.picture).collect();
    shown.sort_unstable();
    shown.dedup();
    let mut first = None;
    for index in shown {
        let (Some(luma), Some(file)) = (pictures.get(index), files.get(index)) else {
            continue;
        };
        // Paler, so that the marking stands out, and smaller by a whole number where it is large.
        let step = luma.width().max(luma.height()).div_ceil(EVIDENCE_PX).max(1);
        let (width, height) = (luma.width() / step, luma.height() / step);
        let mut picture = RgbImage::from_fn(width as u32, height as u32, |x, y| {
            let (x, y) = (x as usize * step, y as usize * step);
            let rows = (y..y + step).map(|y| &luma.data()[y * luma.width() + x..][..step]);
            let sum: usize = rows.flatten().map(|&grey| usize::from(grey)).sum();
            let grey = (sum / (step * step)) as u8;
            Rgb([128 + grey / 2; 3])
        });
        let scaled = |(x, y): (f64, f64)| (x / step as f64, y / step as f64);
        let radius = 3.2 * reading.px_per_mm / step as f64;
        for mark in reading.evidence.iter().filter(|e| e.picture == index) {
            let ink = match mark.side {
                tympan_sheet::Side::Front => Rgb([180, 40, 20]),
                tympan_sheet::Side::Back => Rgb([20, 70, 160]),
            };
            circle(&mut picture, scaled(mark.at), radius, ink);
            let to = (
                mark.at.0 + RESIDUALS_MAGNIFIED * mark.off.0,
                mark.at.1 + RESIDUALS_MAGNIFIED * mark.off.1,
            );
            line(&mut picture, scaled(mark.at), scaled(to), ink);
        }
        let stem = file
            .file_stem()
            .map_or("picture".into(), |s| s.to_string_lossy());
        let name = format!("{stem}-{index}-marks.png");
        let path = folder.join(&name);
        let mut bytes = std::io::Cursor::new(Vec::new());
        picture
            .write_to(&mut bytes, image::ImageFormat::Png)
            .map_err(|e| Refusal::new(e.to_string(), "try a smaller picture"))?;
        crate::files::write_new(&path, &bytes.into_inner())?;
        first = first.or(Some(name));
    }
    Ok(first)
}

fn circle(picture: &mut RgbImage, (x, y): (f64, f64), radius: f64, ink: Rgb<u8>) {
    let steps = 64;
    let at = |i: i32| {
        let angle = std::f64::consts::TAU * f64::from(i) / f64::from(steps);
        (x + radius * angle.cos(), y + radius * angle.sin())
    };
    for i in 0..steps {
        line(picture, at(i), at(i + 1), ink);
    }
}

/// A line two pixels wide.
pub(crate) fn line(picture: &mut RgbImage, from: (f64, f64), to: (f64, f64), ink: Rgb<u8>) {
    let length = (to.0 - from.0).hypot(to.1 - from.1).min(10_000.0);
    let steps = length.ceil().max(1.0) as u32;
    for i in 0..=steps {
        let t = f64::from(i) / f64::from(steps);
        let (x, y) = (from.0 + t * (to.0 - from.0), from.1 + t * (to.1 - from.1));
        for (dx, dy) in [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (1.0, 1.0)] {
            let (px, py) = (x + dx - 0.5, y + dy - 0.5);
            if px >= 0.0
                && py >= 0.0
                && px < f64::from(picture.width())
                && py < f64::from(picture.height())
            {
                picture.put_pixel(px as u32, py as u32, ink);
            }
        }
    }
}
