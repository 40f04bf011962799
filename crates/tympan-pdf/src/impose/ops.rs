//! Small pieces of content streams.

use std::fmt::Write;

use tympan_sheet::drawing::{Colour, Path, Segment};
use tympan_sheet::{Affine, Page, Rect};

use crate::space::{Matrix, UserRect, number};

/// The same map as PDF has it.
pub(super) fn matrix(map: &Affine<Page>) -> Matrix {
    Matrix::new(map.xx, map.yx, map.xy, map.yy, map.dx, map.dy)
}

/// The same rectangle as plain numbers, y still down.
pub(super) fn plain(rect: Rect<Page>) -> UserRect {
    UserRect::new(rect.min.x, rect.min.y, rect.max.x, rect.max.y)
}

/// Operators of a content stream, one after the other.
#[derive(Default)]
pub(super) struct Ops(String);

impl Ops {
    pub(super) fn bytes(self) -> Vec<u8> {
        self.0.into_bytes()
    }

    fn put(&mut self, text: std::fmt::Arguments) {
        // Writing to a string cannot fail.
        let _ = self.0.write_fmt(text);
    }

    pub(super) fn save(&mut self) {
        self.0 += "q\n";
    }

    pub(super) fn restore(&mut self) {
        self.0 += "Q\n";
    }

    pub(super) fn transform(&mut self, by: &Matrix) {
        if *by != Matrix::IDENTITY {
            self.put(format_args!("{} cm\n", by.operands()));
        }
    }

    pub(super) fn rect(&mut self, rect: &UserRect) {
        let numbers = [rect.x0, rect.y0, rect.width(), rect.height()];
        self.put(format_args!("{} re\n", numbers.map(number).join(" ")));
    }

    pub(super) fn path(&mut self, path: &Path) {
        for segment in &path.segments {
            match *segment {
                Segment::Move(p) => self.put(format_args!("{} {} m\n", number(p.x), number(p.y))),
                Segment::Line(p) => self.put(format_args!("{} {} l\n", number(p.x), number(p.y))),
                Segment::Curve(a, b, c) => {
                    let numbers = [a.x, a.y, b.x, b.y, c.x, c.y];
                    self.put(format_args!("{} c\n", numbers.map(number).join(" ")));
                }
                Segment::Close => self.0 += "h\n",
            }
        }
    }

    /// Clips to the path just begun.
    pub(super) fn clip(&mut self) {
        self.0 += "W n\n";
    }

    pub(super) fn fill(&mut self) {
        self.0 += "f\n";
    }

    /// Fills what lies inside an odd number of the outlines.
    pub(super) fn fill_between(&mut self) {
        self.0 += "f*\n";
    }

    pub(super) fn colour(&mut self, colour: Colour) {
        let part = |x: f32| number(f64::from(x.clamp(0.0, 1.0)));
        match colour {
            Colour::Grey(g) => self.put(format_args!("{} g\n", part(g))),
            Colour::Rgb(r, g, b) => {
                self.put(format_args!("{} {} {} rg\n", part(r), part(g), part(b)));
            }
        }
    }

    /// Paints a form or an image through a matrix.
    pub(super) fn draw(&mut self, by: &Matrix, name: &str) {
        self.save();
        self.transform(by);
        self.put(format_args!("{name} Do\n"));
        self.restore();
    }

    /// The same, as part of a layer.
    pub(super) fn draw_in(&mut self, layer: &str, by: &Matrix, name: &str) {
        self.put(format_args!("/OC {layer} BDC\n"));
        self.draw(by, name);
        self.0 += "EMC\n";
    }
}
