//! How the sheets are cut: a page to lie beside the trimmer, and lines for cutting machines.

use std::fs;
use std::path::{Path, PathBuf};

use tympan_layout::Plan;
use tympan_layout::cutting::{CAUTIONS, Row, Trimmer};
use tympan_pdf::draw::{self, Meta};
use tympan_sheet::drawing::{Colour, Drawing, Face, Path as Outline, Stroke, Text};
use tympan_sheet::{Affine, Page, Point, Size, Vector};

use crate::files;
use crate::refusal::Refusal;

/// Room at the edges of the page, mm.
const MARGIN: f64 = 15.0;
/// Columns of the table: where each begins from the margin, mm, and what it is called.
const COLUMNS: [(f64, &str); 5] = [
    (0.0, "Step"),
    (12.0, "Stop"),
    (34.0, "How the stack lies"),
    (104.0, "What comes off"),
    (162.0, "At once"),
];
/// So many letters fit into the column that tells how the stack lies.
const LAY_LETTERS: usize = 44;
const ROW: f64 = 5.6;
const SMALL: f64 = 2.9;

/// Writes a page with the order of the cuts, and the lines of every group of sheets as SVG and DXF,
/// into a folder. Tells what was written.
/// The crosses are drawn with the lines only where they are printed.
pub(super) fn write(
    plan: &Plan,
    paper: Size,
    crosses: bool,
    folder: &Path,
) -> Result<Vec<PathBuf>, Refusal> {
    fs::create_dir_all(folder).map_err(|e| Refusal::file("make the folder", folder, &e))?;
    let mut written = Vec::new();
    let mut put = |name: String, bytes: &[u8]| -> Result<(), Refusal> {
        let path = folder.join(name);
        files::write_new(&path, bytes)?;
        written.push(path);
        Ok(())
    };
    let pages: Vec<Drawing> = (0..plan.groups.len())
        .filter_map(|group| page(plan, group, paper.portrait()))
        .collect();
    if !pages.is_empty() {
        let file = draw::write(&pages, &Meta::new("The order of the cuts"))?;
        put("cut-order.pdf".to_owned(), &file)?;
    }
    for group in 0..plan.groups.len() {
        let Some(mut lines) = plan.cut_lines(group) else {
            continue;
        };
        if !crosses {
            lines.crosses.clear();
        }
        put(
            format!("cut-lines-{}.svg", group + 1),
            lines.svg().as_bytes(),
        )?;
        put(
            format!("cut-lines-{}.dxf", group + 1),
            lines.dxf().as_bytes(),
        )?;
    }
    Ok(written)
}

/// The page of one group, where it is cut straight through.
fn page(plan: &Plan, number: usize, size: Size) -> Option<Drawing> {
    if plan.pre_cut {
        return None;
    }
    let group = &plan.groups[number];
    let cutting = plan.cutting(number, &Trimmer::default())?;
    let mut page = Drawing::new(size);
    let mut y = MARGIN + 6.0;
    let title = if plan.groups.len() > 1 {
        format!("The order of the cuts: sheets of kind {}", number + 1)
    } else {
        "The order of the cuts".to_owned()
    };
    page.text(Text::new(MARGIN, y, 6.5, title).face(Face::Heading));
    y += 6.0;
    let sheets = group.sheets.len();
    let words = format!(
        "{}: {} {}, {} pieces on each. The first two cuts follow the printed marks, sheet by sheet: print",
        plan.title,
        sheets,
        if sheets == 1 { "sheet" } else { "sheets" },
        group.cells.len()
    );
    for line in [
        words.as_str(),
        "wanders on the paper, so that the paper's own edge is no guide. From then on the fresh edges lie against the",
        "stop, and a few sheets are cut at a time.",
    ] {
        page.text(Text::new(MARGIN, y, SMALL + 0.3, line));
        y += 4.4;
    }
    y += 2.0;
    y = picture(&mut page, cutting.picture(group), y);
    y = table(&mut page, &cutting.rows(), y + 6.0);
    y += 3.0;
    for caution in CAUTIONS {
        page.text(Text::new(MARGIN, y, SMALL, *caution).colour(Colour::Grey(0.25)));
        y += 4.2;
    }
    Some(page)
}

/// The picture in the middle of the page, at most so large that the table has room.
fn picture(page: &mut Drawing, picture: Drawing, y: f64) -> f64 {
    let (w, h) = (page.size.w - 2.0 * MARGIN, 0.36 * page.size.h);
    let scale = (w / picture.size.w).min(h / picture.size.h).min(1.0);
    let x = (page.size.w - scale * picture.size.w) / 2.0;
    let map = Affine::<Page>::scale(scale, scale, Point::new(0.0, 0.0))
        .then(&Affine::shift(Vector::new(x, y)));
    let bottom = y + scale * picture.size.h;
    page.place(map, None, picture.items);
    bottom
}

fn table(page: &mut Drawing, rows: &[Row], mut y: f64) -> f64 {
    for (x, name) in COLUMNS {
        page.text(Text::new(MARGIN + x, y, SMALL, name).face(Face::Bold));
    }
    for row in rows {
        y += ROW;
        let lay = wrapped(&row.lay, LAY_LETTERS);
        let stop = row
            .stop_mm
            .as_ref()
            .map_or_else(|| "the marks".to_owned(), |mm| format!("{mm} mm"));
        let step = row.step.to_string();
        let words = [&step, &stop, &lay[0], &row.off, &row.at_once];
        for ((x, _), text) in COLUMNS.iter().zip(words) {
            page.text(Text::new(MARGIN + x, y, SMALL, text.as_str()));
        }
        for line in &lay[1..] {
            y += 0.7 * ROW;
            page.text(Text::new(MARGIN + COLUMNS[2].0, y, SMALL, line.as_str()));
        }
        let (left, right) = (MARGIN, page.size.w - MARGIN);
        page.stroke(
            Outline::line(left, y + 1.8, right, y + 1.8),
            Stroke::solid(Colour::Grey(0.8), 0.1),
        );
    }
    y + ROW
}

/// The words on lines of at most so many letters; at least one line.
fn wrapped(text: &str, letters: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in text.split_whitespace() {
        let last = lines.len() - 1;
        if lines[last].is_empty() {
            lines[last].push_str(word);
        } else if lines[last].chars().count() + 1 + word.chars().count() <= letters {
            lines[last].push(' ');
            lines[last].push_str(word);
        } else {
            lines.push(word.to_owned());
        }
    }
    lines
}
