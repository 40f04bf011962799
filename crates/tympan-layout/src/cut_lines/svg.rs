//! Cut lines as SVG (SVG 1.1; one user unit is one millimetre).

use std::fmt::Write;

use tympan_sheet::{Front, Point};

use super::{ARM, Corner, CutLines, Edge, NOTE, Outline};

impl CutLines {
    /// The lines as an SVG file: the group `cut` is to be cut, the group `register` holds the
    /// crosses.
    pub fn svg(&self) -> String {
        let (w, h) = (number(self.sheet.w), number(self.sheet.h));
        let mut out = format!(
            "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<svg xmlns=\"http://www.w3.org/2000/svg\" \
             version=\"1.1\" width=\"{w}mm\" height=\"{h}mm\" viewBox=\"0 0 {w} {h}\">\n\
             <desc>{NOTE}</desc>\n<g id=\"cut\" fill=\"none\" stroke=\"#ff0000\" \
             stroke-width=\"0.1\">\n"
        );
        for outline in &self.outlines {
            match outline {
                Outline::Circle { centre, radius } => {
                    let (x, y, r) = (number(centre.x), number(centre.y), number(*radius));
                    line(
                        &mut out,
                        &format!("<circle cx=\"{x}\" cy=\"{y}\" r=\"{r}\"/>"),
                    );
                }
                Outline::Path(edges) => {
                    // The last edge ends where the first one begins.
                    let start = edges.last().map_or(Point::new(0.0, 0.0), end);
                    let steps: Vec<String> = edges.iter().map(step).collect();
                    let d = format!("M{} {} Z", pair(start), steps.join(" "));
                    line(&mut out, &format!("<path d=\"{d}\"/>"));
                }
            }
        }
        for [a, b] in &self.lines {
            line(
                &mut out,
                &format!("<path d=\"M{} L{}\"/>", pair(*a), pair(*b)),
            );
        }
        for corner in &self.arcs {
            let d = format!("M{} {}", pair(corner.from), arc(corner));
            line(&mut out, &format!("<path d=\"{d}\"/>"));
        }
        out.push_str(
            "</g>\n<g id=\"register\" fill=\"none\" stroke=\"#000000\" stroke-width=\"0.15\">\n",
        );
        for c in &self.crosses {
            let at = |dx: f64, dy: f64| pair(Point::new(c.x + dx, c.y + dy));
            let (l, r, t, b) = (at(-ARM, 0.0), at(ARM, 0.0), at(0.0, -ARM), at(0.0, ARM));
            line(&mut out, &format!("<path d=\"M{l} L{r} M{t} L{b}\"/>"));
        }
        out.push_str("</g>\n</svg>\n");
        out
    }
}

fn line(out: &mut String, text: &str) {
    // Writing to a string cannot fail.
    let _ = writeln!(out, "{text}");
}

fn end(edge: &Edge) -> Point<Front> {
    match edge {
        Edge::Line(to) => *to,
        Edge::Corner(corner) => corner.to,
    }
}

fn step(edge: &Edge) -> String {
    match edge {
        Edge::Line(to) => format!("L{}", pair(*to)),
        Edge::Corner(corner) => arc(corner),
    }
}

/// SVG 1.1, 8.3.8: clockwise as seen is sweep 1.
fn arc(corner: &Corner) -> String {
    let r = number(corner.radius);
    format!("A{r} {r} 0 0 1 {}", pair(corner.to))
}

fn pair(p: Point<Front>) -> String {
    format!("{} {}", number(p.x), number(p.y))
}

/// At most four decimals and no idle noughts.
fn number(mm: f64) -> String {
    let text = format!("{mm:.4}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" {
        "0".to_owned()
    } else {
        text.to_owned()
    }
}
