//! A drawing as a PDF content stream.

use pdf_writer::types::{LineCapStyle, LineJoinStyle};
use pdf_writer::{Content, Name, Str};
use tympan_sheet::drawing::{Colour, Drawing, Item, Path, Segment, Stroke, Text};
use tympan_sheet::{Length, Page, Point};

use super::DrawError;
use super::embed::Used;
use super::faces::Line;

/// Points in a millimetre.
pub(super) fn points_per_mm() -> f64 {
    Length::mm(1.0).to_pt()
}

/// The page's content, not yet compressed. Glyphs are noted in `used`. `page` counts from 1.
///
/// The whole stream is drawn in mm with y down, through one matrix at its beginning.
pub(super) fn content(
    drawing: &Drawing,
    page: usize,
    used: &mut Used,
) -> Result<Vec<u8>, DrawError> {
    let mut writer = Writer {
        out: Content::new(),
        used,
        page,
    };
    let k = points_per_mm();
    writer.out.transform([
        k as f32,
        0.0,
        0.0,
        -k as f32,
        0.0,
        (drawing.size.h * k) as f32,
    ]);
    writer.out.set_miter_limit(10.0);
    writer.items(&drawing.items)?;
    Ok(writer.out.finish().to_vec())
}

struct Writer<'a> {
    out: Content,
    used: &'a mut Used,
    page: usize,
}

impl Writer<'_> {
    fn items(&mut self, items: &[Item]) -> Result<(), DrawError> {
        items.iter().try_for_each(|item| match item {
            Item::Shape { path, fill, stroke } => self.shape(path, *fill, stroke.as_ref()),
            Item::Text(text) => self.text(text),
            Item::Group { map, clip, items } => {
                let m = [map.xx, map.yx, map.xy, map.yy, map.dx, map.dy];
                let m = self.numbers(m, "transform")?;
                self.out.save_state().transform(m);
                if let Some(clip) = clip {
                    self.path(clip)?;
                    self.out.clip_nonzero().end_path();
                }
                self.items(items)?;
                self.out.restore_state();
                Ok(())
            }
        })
    }

    fn shape(
        &mut self,
        path: &Path,
        fill: Option<Colour>,
        stroke: Option<&Stroke>,
    ) -> Result<(), DrawError> {
        if path.segments.is_empty() || (fill.is_none() && stroke.is_none()) {
            return Ok(());
        }
        if let Some(colour) = fill {
            self.fill_colour(colour)?;
        }
        if let Some(stroke) = stroke {
            self.line(stroke)?;
        }
        self.path(path)?;
        match (fill.is_some(), stroke.is_some()) {
            (true, true) => self.out.fill_nonzero_and_stroke(),
            (true, false) => self.out.fill_nonzero(),
            _ => self.out.stroke(),
        };
        Ok(())
    }

    fn path(&mut self, path: &Path) -> Result<(), DrawError> {
        for segment in &path.segments {
            match *segment {
                Segment::Move(p) => {
                    let [x, y] = self.point(p)?;
                    self.out.move_to(x, y);
                }
                Segment::Line(p) => {
                    let [x, y] = self.point(p)?;
                    self.out.line_to(x, y);
                }
                Segment::Curve(a, b, c) => {
                    let ([ax, ay], [bx, by], [cx, cy]) =
                        (self.point(a)?, self.point(b)?, self.point(c)?);
                    self.out.cubic_to(ax, ay, bx, by, cx, cy);
                }
                Segment::Close => {
                    self.out.close_path();
                }
            }
        }
        Ok(())
    }

    fn text(&mut self, text: &Text) -> Result<(), DrawError> {
        let line = Line::set(&text.text, text.face);
        line.check(&text.text, self.page)?;
        if line.glyphs.is_empty() {
            return Ok(());
        }
        let (sin, cos) = text.tilt.to_radians().sin_cos();
        let start = line.start(text);
        let [size] = self.numbers([text.size], "size of text")?;
        let matrix = [
            cos,
            sin,
            sin,
            -cos,
            text.at.x + cos * start,
            text.at.y + sin * start,
        ];
        let matrix = self.numbers(matrix, "place of text")?;
        self.fill_colour(text.colour)?;
        let units = line.font.units_per_em();
        let (name, codes) = self.used.note(text.face, &line);
        self.out
            .begin_text()
            .set_font(Name(name), size)
            .set_text_matrix(matrix);
        let mut show = self.out.show_positioned();
        let mut items = show.items();
        let mut run = Vec::new();
        for (glyph, code) in line.glyphs.iter().zip(codes) {
            run.extend(code.to_be_bytes());
            let kern = i32::from(line.font.plain_advance(glyph.id)) - glyph.advance;
            if kern != 0 {
                items
                    .show(Str(&run))
                    .adjust((f64::from(kern) * 1000.0 / units) as f32);
                run.clear();
            }
        }
        if !run.is_empty() {
            items.show(Str(&run));
        }
        drop(items);
        drop(show);
        self.out.end_text();
        Ok(())
    }

    fn line(&mut self, stroke: &Stroke) -> Result<(), DrawError> {
        let dash_is_sound = stroke.dash.iter().all(|d| *d >= 0.0 && d.is_finite())
            && (stroke.dash.is_empty() || stroke.dash.iter().sum::<f64>() > 0.0);
        if !(stroke.width > 0.0 && stroke.width.is_finite() && dash_is_sound) {
            let (width, dash) = (stroke.width, stroke.dash.clone());
            return Err(DrawError::Line {
                page: self.page,
                width,
                dash,
            });
        }
        match stroke.colour {
            Colour::Grey(g) => {
                let [g] = self.colour([g])?;
                self.out.set_stroke_gray(g);
            }
            Colour::Rgb(r, g, b) => {
                let [r, g, b] = self.colour([r, g, b])?;
                self.out.set_stroke_rgb(r, g, b);
            }
        }
        let (cap, join) = if stroke.round {
            (LineCapStyle::RoundCap, LineJoinStyle::RoundJoin)
        } else {
            (LineCapStyle::ButtCap, LineJoinStyle::MiterJoin)
        };
        self.out
            .set_line_width(stroke.width as f32)
            .set_line_cap(cap)
            .set_line_join(join)
            .set_dash_pattern(stroke.dash.iter().map(|d| *d as f32), 0.0);
        Ok(())
    }

    fn fill_colour(&mut self, colour: Colour) -> Result<(), DrawError> {
        match colour {
            Colour::Grey(g) => {
                let [g] = self.colour([g])?;
                self.out.set_fill_gray(g);
            }
            Colour::Rgb(r, g, b) => {
                let [r, g, b] = self.colour([r, g, b])?;
                self.out.set_fill_rgb(r, g, b);
            }
        }
        Ok(())
    }

    fn colour<const N: usize>(&self, parts: [f32; N]) -> Result<[f32; N], DrawError> {
        if parts.iter().any(|p| !p.is_finite()) {
            return Err(DrawError::NotFinite {
                page: self.page,
                what: "colour",
            });
        }
        Ok(parts.map(|p| p.clamp(0.0, 1.0)))
    }

    fn point(&self, p: Point<Page>) -> Result<[f32; 2], DrawError> {
        self.numbers([p.x, p.y], "point")
    }

    fn numbers<const N: usize>(
        &self,
        numbers: [f64; N],
        what: &'static str,
    ) -> Result<[f32; N], DrawError> {
        let short = numbers.map(|n| n as f32);
        if short.iter().any(|n| !n.is_finite()) {
            return Err(DrawError::NotFinite {
                page: self.page,
                what,
            });
        }
        Ok(short)
    }
}
