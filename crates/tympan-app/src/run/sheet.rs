//! The job sheet: one page in pictures and few words, to tick while one works.

use tympan_pdf::draw::{self, text_width};
use tympan_sheet::drawing::{Colour, Drawing, Face, Path, Stroke, Text};
use tympan_sheet::{Affine, Page, Side, Size};
use tympan_store::SetUp;

use super::steps::{Step, steps};
use super::told::{PassTold, RunTold, pile_pictures};
use crate::refusal::Refusal;

const INK: Colour = Colour::Grey(0.0);
const QUIET: Colour = Colour::Grey(0.42);
const RULE: Colour = Colour::Grey(0.7);
const MARGIN: f64 = 14.0;
/// The size of ordinary text, mm.
const TEXT: f64 = 3.3;
const LINE: f64 = 4.7;
/// More passes than this are told by their number alone.
const PASSES_TOLD: usize = 20;

/// The job sheet as PDF.
pub(super) fn pdf(page: &Drawing) -> Result<Vec<u8>, Refusal> {
    let meta = draw::Meta::new("Tympan job sheet").duplex(draw::Duplex::Simplex);
    Ok(draw::write(std::slice::from_ref(page), &meta)?)
}

/// The job sheet as SVG.
pub(super) fn svg(page: &Drawing) -> String {
    draw::svg::titled(page, "Job sheet")
}

/// What a sheet is written on: a place that moves down the page.
struct Pen {
    page: Drawing,
    x: f64,
    y: f64,
    width: f64,
}

impl Pen {
    fn line(&mut self, text: &str) {
        self.styled(text, TEXT, Face::Text, INK);
    }

    fn styled(&mut self, text: &str, size: f64, face: Face, colour: Colour) {
        for line in wrapped(text, size, face, self.width) {
            let at = Text::new(self.x, self.y + size, size, line);
            self.page.text(at.face(face).colour(colour));
            self.y += size * LINE / TEXT;
        }
    }

    fn heading(&mut self, text: &str) {
        self.y += 2.0;
        self.styled(text, 4.6, Face::Heading, INK);
        let (x, y, w) = (self.x, self.y - 0.4, self.width);
        self.page
            .stroke(Path::line(x, y, x + w, y), Stroke::solid(RULE, 0.2));
        self.y += 1.4;
    }

    /// A line with a box to tick.
    fn tick(&mut self, text: &str) {
        let size = 3.0;
        let path = Path::rounded_rect(self.x, self.y + 0.5, size, size, 0.5);
        self.page.stroke(path, Stroke::solid(INK, 0.25));
        let (x, width) = (self.x, self.width);
        (self.x, self.width) = (x + 5.0, width - 5.0);
        self.line(text);
        (self.x, self.width) = (x, width);
        self.y += 0.5;
    }

    fn picture(&mut self, picture: Drawing, x: f64, y: f64) {
        let map: Affine<Page> = Affine::new(1.0, 0.0, 0.0, 1.0, x, y);
        self.page.place(map, None, picture.items);
    }
}

/// Text in lines that fit.
fn wrapped(text: &str, size: f64, face: Face, width: f64) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = String::new();
    for word in text.split_whitespace() {
        let longer = if line.is_empty() {
            word.to_owned()
        } else {
            format!("{line} {word}")
        };
        if !line.is_empty() && text_width(&longer, size, face) > width {
            lines.push(std::mem::replace(&mut line, word.to_owned()));
        } else {
            line = longer;
        }
    }
    lines.push(line);
    lines
}

/// A text that fits into a line, with its end left out if it must be.
fn fitted(text: &str, size: f64, face: Face, width: f64) -> String {
    let missing = draw::missing_characters(text, face);
    let mut text: String = text
        .chars()
        .map(|c| if missing.contains(&c) { '?' } else { c })
        .collect();
    if text_width(&text, size, face) <= width {
        return text;
    }
    while !text.is_empty() && text_width(&format!("{text}…"), size, face) > width {
        text.pop();
    }
    format!("{text}…")
}

/// Draws the job sheet of a run, on A4 (Letter where the run's own paper is Letter).
pub(super) fn drawing(told: &RunTold, setup: &SetUp) -> Drawing {
    let letter = Size::new(215.9, 279.4);
    let size = if setup.paper.size().portrait().is_close(letter, 1.0) {
        letter
    } else {
        Size::new(210.0, 297.0)
    };
    let mut pen = Pen {
        page: Drawing::new(size),
        x: MARGIN,
        y: MARGIN - 2.0,
        width: size.w - 2.0 * MARGIN,
    };
    title(&mut pen, told, setup);
    let columns = pen.y + 1.5;
    let gap = 8.0;
    let half = (pen.width - gap) / 2.0;
    pen.width = half;
    pen.y = columns;
    let steps = steps(told, setup);
    ticked(&mut pen, "In the print dialog", &steps.dialog);
    make_ready(&mut pen, told, &steps.make_ready);
    let left = pen.y;
    pen.x = MARGIN + half + gap;
    pen.y = columns;
    ticked(&mut pen, "Stock and tray", &steps.before);
    ticked(&mut pen, "On the first sheet", &steps.first_sheet);
    let right = pen.y;
    pen.x = MARGIN;
    pen.width = size.w - 2.0 * MARGIN;
    pen.y = left.max(right);
    second_side(&mut pen, told);
    passes(&mut pen, told);
    let low = pen.y;
    pen.width = half;
    going_wrong(&mut pen, told);
    pen.x = MARGIN + half + gap;
    pen.y = low;
    ticked(&mut pen, "Afterwards", &steps.after);
    pen.tick("note which sheets were spoiled, and that the run is done");
    let foot = "What printers, papers and laminators need differs: where their makers say otherwise, do \
                as they say. Figures marked * are common practice.";
    pen.x = MARGIN;
    pen.width = size.w - 2.0 * MARGIN;
    pen.y = size.h - MARGIN - 1.0;
    pen.styled(foot, 2.6, Face::Text, QUIET);
    pen.page
}

fn title(pen: &mut Pen, told: &RunTold, setup: &SetUp) {
    let name = fitted(&told.name, 8.0, Face::Heading, pen.width * 0.62);
    let right = pen.x + pen.width;
    let y = pen.y;
    pen.page
        .text(Text::new(pen.x, y + 7.0, 8.0, name).face(Face::Heading));
    let run = format!("run {}, by \"{}\"", told.run, setup.name);
    let run = fitted(&run, 4.0, Face::Bold, pen.width * 0.36);
    pen.page.text(
        Text::new(right, y + 7.0, 4.0, run)
            .ending()
            .face(Face::Bold)
            .colour(QUIET),
    );
    pen.y += 10.5;
    let count = |n: u32, one: &str, many: &str| match n {
        1 => format!("1 {one}"),
        n => format!("{n} {many}"),
    };
    let stock = told.stock.clone().unwrap_or_else(|| "stock".to_owned());
    let copies = match told.copies {
        1 => String::new(),
        n => format!(" ({n} copies)"),
    };
    let what = format!(
        "{}{copies} on {} {stock}, and {} to spare",
        count(told.sheets, "sheet", "sheets"),
        setup.paper.title(),
        count(told.spares, "sheet", "sheets"),
    );
    let what = fitted(&what, 4.6, Face::Bold, pen.width);
    pen.styled(&what, 4.6, Face::Bold, INK);
    let expected = match told.expected_rejects {
        Some(share) if share < 0.005 => {
            "By what this set-up's readings say, fewer than 1 sheet in \
                                         100 will show white at a cut."
                .to_owned()
        }
        Some(share) => format!(
            "Of 100 sheets, about {:.0} are expected to show white at a cut by what this set-up's \
             readings say.",
            100.0 * share
        ),
        None => {
            "How many sheets will be spoiled is not known: this set-up was not measured.".to_owned()
        }
    };
    pen.styled(&expected, 3.0, Face::Text, QUIET);
}

/// A heading with steps to tick.
fn ticked(pen: &mut Pen, heading: &str, steps: &[Step]) {
    pen.heading(heading);
    for step in steps {
        pen.tick(&shown(&step.text));
    }
}

/// Words of others, with what the face cannot show left open.
fn shown(text: &str) -> String {
    let missing = draw::missing_characters(text, Face::Text);
    let known = |c| if missing.contains(&c) { '?' } else { c };
    text.chars().map(known).collect()
}

fn make_ready(pen: &mut Pen, told: &RunTold, steps: &[Step]) {
    pen.heading("Make ready");
    let files: Vec<&str> = told.make_ready.iter().map(|p| p.file.as_str()).collect();
    pen.line(&format!("One sheet: {}", files.join(", then ")));
    for step in steps {
        pen.tick(&step.text);
    }
}

fn second_side(pen: &mut Pen, told: &RunTold) {
    let Some(back) = &told.reload else {
        return;
    };
    let first = told.first_side.unwrap_or(Side::Front);
    pen.heading(&format!("From the {first}s to the {}s", first.other()));
    let top = pen.y + 1.0;
    let x = pen.x;
    let [blank, turn, printed] = pile_pictures(back);
    pen.picture(blank, x, top);
    pen.picture(turn, x + 42.0, top + 7.0);
    pen.picture(printed, x + 86.0, top);
    let (old, width) = (pen.x, pen.width);
    pen.x = x + 130.0;
    pen.width = old + width - pen.x;
    pen.y = top;
    pen.styled(&back.in_words, 3.1, Face::Text, INK);
    if !back.known {
        pen.styled(
            "This is assumed: try it with two plain sheets.",
            3.1,
            Face::Bold,
            INK,
        );
    }
    (pen.x, pen.width) = (old, width);
    pen.y = pen.y.max(top + 45.0);
}

fn passes(pen: &mut Pen, told: &RunTold) {
    pen.heading("Print, in this order");
    let shown: Vec<&PassTold> = told.passes.iter().take(PASSES_TOLD).collect();
    let columns = if shown.len() > 6 { 2 } else { 1 };
    let (x, width, top) = (pen.x, pen.width, pen.y);
    let rows = shown.len().div_ceil(columns);
    let mut low = top;
    for (column, part) in shown.chunks(rows.max(1)).enumerate() {
        pen.width = width / columns as f64 - 4.0;
        pen.x = x + column as f64 * (width / columns as f64);
        pen.y = top;
        for pass in part {
            let count = pass.sheets.len();
            let s = if count == 1 { "" } else { "s" };
            let text = format!("{}   {count} sheet{s}", pass.file);
            let text = fitted(&text, TEXT, Face::Text, pen.width - 5.0);
            pen.tick(&text);
        }
        low = low.max(pen.y);
    }
    (pen.x, pen.width, pen.y) = (x, width, low);
    if told.passes.len() > PASSES_TOLD {
        pen.line(&format!("and so on, to file {:02}", told.passes.len()));
    }
    if told.first_side.is_some() {
        pen.styled(
            "Ink-jet prints: let the first side dry before the second (10 minutes or more *), and \
             flatten the pile if it curls.",
            3.0,
            Face::Text,
            QUIET,
        );
    }
}

fn going_wrong(pen: &mut Pen, told: &RunTold) {
    pen.heading("If a sheet jams or two go at once");
    pen.line("Stop. Keep the pile in its order. Look at the last numbers on both sides.");
    pen.line(&format!(
        "Sheets 17 to 20 again: on the run's page, or tympan run --of {} --again 17-20 -o FOLDER",
        told.run
    ));
    pen.line("It makes exactly these; all others keep their numbers.");
    pen.page.stroke(
        Path::line(pen.x, pen.y + 6.0, pen.x + pen.width, pen.y + 6.0),
        Stroke::solid(RULE, 0.2),
    );
    pen.styled("spoiled, and why:", 2.8, Face::Text, QUIET);
    pen.y += 5.0;
}
