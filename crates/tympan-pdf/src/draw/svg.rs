//! Drawings as SVG, for reports and the web page.

use std::fmt::Write as _;

use rustybuzz::ttf_parser::{GlyphId, OutlineBuilder};
use tympan_sheet::drawing::{Colour, Drawing, Item, Path, Segment, Stroke, Text};
use tympan_sheet::{Affine, Page, Point};

use super::faces::Line;

/// The drawing as an SVG document of its true size, with a viewBox in mm.
///
/// Text becomes outlines, so that it looks the same without the faces; what it says stands in
/// its `aria-label`. A character that the face cannot show is drawn as the face's empty box. The
/// document has no `style` attributes, scripts or outside references, and can be put into a page
/// that has others like it.
pub fn write(drawing: &Drawing) -> String {
    document(drawing, None)
}

/// The same with a title, which screen readers say in place of the picture.
pub fn titled(drawing: &Drawing, title: &str) -> String {
    document(drawing, Some(title))
}

fn document(drawing: &Drawing, title: Option<&str>) -> String {
    let (w, h) = (number(drawing.size.w), number(drawing.size.h));
    let mut svg = Svg { out: String::new() };
    svg.push(format_args!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{w}mm\" height=\"{h}mm\" \
         viewBox=\"0 0 {w} {h}\" stroke-miterlimit=\"10\""
    ));
    match title {
        Some(title) => {
            let title = escape(title);
            svg.push(format_args!(
                " role=\"img\" aria-label=\"{title}\"><title>{title}</title>\n"
            ));
        }
        None => svg.push(format_args!(">\n")),
    }
    svg.items(&drawing.items);
    svg.push(format_args!("</svg>\n"));
    svg.out
}

struct Svg {
    out: String,
}

impl Svg {
    fn push(&mut self, what: std::fmt::Arguments<'_>) {
        // Writing to a String cannot fail.
        let _ = self.out.write_fmt(what);
    }

    fn items(&mut self, items: &[Item]) {
        for item in items {
            match item {
                Item::Shape { path, fill, stroke } => self.shape(path, *fill, stroke.as_ref()),
                Item::Text(text) => self.text(text),
                Item::Group { map, clip, items } => self.group(map, clip.as_ref(), items),
            }
        }
    }

    fn shape(&mut self, path: &Path, fill: Option<Colour>, stroke: Option<&Stroke>) {
        if path.segments.is_empty() || (fill.is_none() && stroke.is_none()) {
            return;
        }
        let fill = fill.map_or("none".to_owned(), colour);
        self.push(format_args!("<path fill=\"{fill}\""));
        if let Some(stroke) = stroke {
            let (line, width) = (colour(stroke.colour), number(stroke.width));
            self.push(format_args!(" stroke=\"{line}\" stroke-width=\"{width}\""));
            if stroke.round {
                self.push(format_args!(
                    " stroke-linecap=\"round\" stroke-linejoin=\"round\""
                ));
            }
            if !stroke.dash.is_empty() {
                let dash: Vec<_> = stroke.dash.iter().map(|d| number(*d)).collect();
                self.push(format_args!(" stroke-dasharray=\"{}\"", dash.join(" ")));
            }
        }
        let outline = outline(path);
        self.push(format_args!(" d=\"{outline}\"/>\n"));
    }

    fn text(&mut self, text: &Text) {
        let line = Line::set(&text.text, text.face);
        let scale = text.size / line.font.units_per_em();
        let mut pen = Pen {
            path: Path::default(),
            x: line.start(text),
            scale,
        };
        for glyph in &line.glyphs {
            line.font.face.outline_glyph(GlyphId(glyph.id), &mut pen);
            pen.x += f64::from(glyph.advance) * scale;
        }
        let (x, y) = (number(text.at.x), number(text.at.y));
        let turn = match text.tilt.to_degrees() {
            0.0 => String::new(),
            degrees => format!(" rotate({})", number(degrees)),
        };
        let (colour, said) = (colour(text.colour), escape(&text.text));
        let outline = outline(&pen.path);
        self.push(format_args!(
            "<path role=\"img\" aria-label=\"{said}\" fill=\"{colour}\" \
             transform=\"translate({x} {y}){turn}\" d=\"{outline}\"/>\n"
        ));
    }

    fn group(&mut self, map: &Affine<Page>, clip: Option<&Path>, items: &[Item]) {
        let parts = [map.xx, map.yx, map.xy, map.yy, map.dx, map.dy];
        let matrix: Vec<_> = parts.iter().map(|n| fine(*n)).collect();
        let matrix = matrix.join(" ");
        match clip {
            Some(clip) => {
                let outline = outline(clip);
                // Named for what it is: two pictures in one page may share a name only where
                // they share the outline.
                let id = format!("clip-{:016x}", hash(&outline));
                self.push(format_args!(
                    "<g transform=\"matrix({matrix})\"><clipPath id=\"{id}\">\
                     <path d=\"{outline}\"/></clipPath><g clip-path=\"url(#{id})\">\n"
                ));
                self.items(items);
                self.push(format_args!("</g></g>\n"));
            }
            None => {
                self.push(format_args!("<g transform=\"matrix({matrix})\">\n"));
                self.items(items);
                self.push(format_args!("</g>\n"));
            }
        }
    }
}

/// Gathers glyph outlines, from font units with y up to mm with y down.
struct Pen {
    path: Path,
    x: f64,
    scale: f64,
}

impl Pen {
    fn point(&self, x: f32, y: f32) -> Point<Page> {
        Point::new(
            self.x + f64::from(x) * self.scale,
            -f64::from(y) * self.scale,
        )
    }
}

impl OutlineBuilder for Pen {
    fn move_to(&mut self, x: f32, y: f32) {
        self.path.segments.push(Segment::Move(self.point(x, y)));
    }

    fn line_to(&mut self, x: f32, y: f32) {
        self.path.segments.push(Segment::Line(self.point(x, y)));
    }

    fn quad_to(&mut self, x1: f32, y1: f32, x: f32, y: f32) {
        let from = match self.path.segments.last() {
            Some(Segment::Move(p) | Segment::Line(p) | Segment::Curve(_, _, p)) => *p,
            _ => self.point(x1, y1),
        };
        let (by, to) = (self.point(x1, y1), self.point(x, y));
        let (a, b) = (
            from + (by - from) * (2.0 / 3.0),
            to + (by - to) * (2.0 / 3.0),
        );
        self.path.segments.push(Segment::Curve(a, b, to));
    }

    fn curve_to(&mut self, x1: f32, y1: f32, x2: f32, y2: f32, x: f32, y: f32) {
        let (a, b, to) = (self.point(x1, y1), self.point(x2, y2), self.point(x, y));
        self.path.segments.push(Segment::Curve(a, b, to));
    }

    fn close(&mut self) {
        self.path.segments.push(Segment::Close);
    }
}

fn outline(path: &Path) -> String {
    let mut d = String::new();
    let mut put = |letter: char, points: &[Point<Page>]| {
        d.push(letter);
        for (i, p) in points.iter().enumerate() {
            let gap = if i > 0 { " " } else { "" };
            let _ = write!(d, "{gap}{} {}", number(p.x), number(p.y));
        }
    };
    for segment in &path.segments {
        match *segment {
            Segment::Move(p) => put('M', &[p]),
            Segment::Line(p) => put('L', &[p]),
            Segment::Curve(a, b, c) => put('C', &[a, b, c]),
            Segment::Close => put('Z', &[]),
        }
    }
    d
}

fn colour(colour: Colour) -> String {
    let byte = |part: f32| (part.clamp(0.0, 1.0) * 255.0).round() as u8;
    let (r, g, b) = match colour {
        Colour::Grey(g) => (g, g, g),
        Colour::Rgb(r, g, b) => (r, g, b),
    };
    format!("#{:02x}{:02x}{:02x}", byte(r), byte(g), byte(b))
}

/// A length to a tenth of a micrometre.
fn number(n: f64) -> String {
    rounded(n, 4)
}

/// A factor, fine enough for a sheet of a metre.
fn fine(n: f64) -> String {
    rounded(n, 8)
}

fn rounded(n: f64, decimals: usize) -> String {
    let text = format!("{n:.decimals$}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" {
        "0".to_owned()
    } else {
        text.to_owned()
    }
}

/// FNV-1a.
fn hash(text: &str) -> u64 {
    text.bytes().fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3)
    })
}

fn escape(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
        .replace('"', "&quot;")
}
