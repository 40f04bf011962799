//! The colours along the edges of an art, read from a picture of it.

use std::collections::HashMap;

use image::RgbImage;
use tympan_sheet::drawing::Colour;
use tympan_sheet::{Page, Point, Rect, Size};

use super::ops::matrix;
use super::piece::Edge;
use super::sources::{Content, SourceFile};
use super::{Art, ArtId};
use crate::raster::{Pages, View};
use crate::space::Matrix;

/// How far inside the edges colours are read, mm: a narrow line around a card is its border.
const INSIDE: [f64; 3] = [0.2, 0.35, 0.5];

/// How many places along an edge are looked at.
const PLACES: usize = 96;

/// The scale of the picture of a PDF's page, pixels per mm.
const SCALE: f64 = 6.0;

/// The colours of arts that were asked for so far.
pub(super) struct Tints<'a> {
    files: &'a [SourceFile],
    seen: HashMap<ArtId, Seen>,
}

/// A picture in which an art can be looked at.
struct Seen {
    pixels: RgbImage,
    /// From the art's own frame to the picture, pixels.
    to_pixels: Matrix,
    size: Size,
}

impl<'a> Tints<'a> {
    pub(super) fn new(files: &'a [SourceFile]) -> Self {
        Self {
            files,
            seen: HashMap::new(),
        }
    }

    /// The commonest colour along one edge.
    pub(super) fn edge(&mut self, id: ArtId, art: &Art, edge: Edge) -> Result<Colour, String> {
        let seen = self.look(id, art)?;
        Ok(common(&along(seen, art, edge)))
    }

    /// The commonest colour along all edges.
    pub(super) fn around(&mut self, id: ArtId, art: &Art) -> Result<Colour, String> {
        let seen = self.look(id, art)?;
        let edges = [Edge::Left, Edge::Top, Edge::Right, Edge::Bottom];
        let all: Vec<_> = edges
            .into_iter()
            .flat_map(|edge| along(seen, art, edge))
            .collect();
        Ok(common(&all))
    }

    /// The commonest colour just around a rectangle in the art's own frame.
    pub(super) fn beside(
        &mut self,
        id: ArtId,
        art: &Art,
        area: Rect<Page>,
    ) -> Result<Colour, String> {
        let seen = self.look(id, art)?;
        let ring = area.grown(0.3);
        let inside = Rect::whole(art.size).grown(-0.1);
        let Size { w, h } = ring.size();
        let mut colours = Vec::new();
        for i in 0..PLACES {
            let t = (i as f64 + 0.5) / PLACES as f64;
            let (x, y) = (ring.min.x + t * w, ring.min.y + t * h);
            let places = [
                Point::new(x, ring.min.y),
                Point::new(x, ring.max.y),
                Point::new(ring.min.x, y),
                Point::new(ring.max.x, y),
            ];
            let places = places.into_iter().filter(|p| inside.contains(*p));
            colours.extend(places.filter_map(|p| seen.at(p)));
        }
        Ok(common(&colours))
    }

    fn look(&mut self, id: ArtId, art: &Art) -> Result<&Seen, String> {
        if !self.seen.contains_key(&id) {
            let seen = look(&self.files[art.source.0], art)?;
            // Pictures are large; a job comes back only to the art that it is at.
            self.seen.clear();
            self.seen.insert(id, seen);
        }
        Ok(&self.seen[&id])
    }
}

fn look(file: &SourceFile, art: &Art) -> Result<Seen, String> {
    let to_page = matrix(&art.at);
    let (pages, document) = match &file.content {
        Content::Picture(picture) => {
            let pixels = picture.rgb().map_err(|e| e.to_string())?;
            let (w, h) = (f64::from(pixels.width()), f64::from(pixels.height()));
            let from_page = picture.to_seen().inverse().ok_or("it has no size")?;
            let unit_to_pixels = Matrix::new(w, 0.0, 0.0, -h, 0.0, h);
            return Ok(Seen {
                pixels,
                to_pixels: to_page.then(&from_page).then(&unit_to_pixels),
                size: art.size,
            });
        }
        Content::Pdf(document) => {
            let password = file.password.as_deref();
            (Pages::read(&file.file, password), document)
        }
        Content::Svg(document, bytes) => (Pages::open(bytes.clone(), None), document),
    };
    if !document.may_be_drawn(art.page).unwrap_or(false) {
        return Err("its page asks for too much to be looked at".to_owned());
    }
    let corners = Rect::<Page>::whole(art.size)
        .corners()
        .map(|p| to_page.apply((p.x, p.y)));
    let around = crate::space::bounds(corners);
    let corner = Point::new(around.x0, around.y0);
    let region = Rect::at(corner, Size::new(around.width(), around.height()));
    // Boards are large; their colours need no fine picture.
    let scale = SCALE.min(4000.0 / around.width().max(around.height()));
    let view = View::whole(scale).region(region);
    let pixels = pages
        .and_then(|pages| pages.rgb(art.page - 1, &view))
        .map_err(|e| e.to_string())?;
    let shift = Matrix::new(scale, 0.0, 0.0, scale, -corner.x * scale, -corner.y * scale);
    Ok(Seen {
        pixels,
        to_pixels: to_page.then(&shift),
        size: art.size,
    })
}

impl Seen {
    fn at(&self, p: Point<Page>) -> Option<[u8; 3]> {
        let (x, y) = self.to_pixels.apply((p.x, p.y));
        let inside = x >= 0.0 && y >= 0.0;
        let pixel = inside.then(|| self.pixels.get_pixel_checked(x as u32, y as u32))??;
        Some(pixel.0)
    }
}

fn along(seen: &Seen, art: &Art, edge: Edge) -> Vec<[u8; 3]> {
    let Size { w, h } = seen.size;
    // Round corners show what is behind them.
    let skip = art.corner_radius + 0.6;
    let mut colours = Vec::new();
    for inside in INSIDE {
        for i in 0..PLACES {
            let t = (i as f64 + 0.5) / PLACES as f64;
            let on = |length: f64| skip + t * (length - 2.0 * skip);
            let p = match edge {
                Edge::Left => Point::new(inside, on(h)),
                Edge::Right => Point::new(w - inside, on(h)),
                Edge::Top => Point::new(on(w), inside),
                Edge::Bottom => Point::new(on(w), h - inside),
            };
            colours.extend(seen.at(p));
        }
    }
    colours
}

/// The commonest colour: of the fullest box of similar colours, the median of each channel.
fn common(colours: &[[u8; 3]]) -> Colour {
    // Boxes of 32 steps, laid twice, half a box apart, so that no colour lies on all borders.
    let mut boxes: HashMap<(u8, [u8; 3]), Vec<[u8; 3]>> = HashMap::new();
    for colour in colours {
        for shift in [0_u8, 16] {
            let place = colour.map(|c| (u16::from(c) + u16::from(shift)) as u8 / 32);
            boxes.entry((shift, place)).or_default().push(*colour);
        }
    }
    let fullest = boxes
        .into_iter()
        .max_by_key(|(place, all)| (all.len(), std::cmp::Reverse(*place)));
    let Some((_, all)) = fullest else {
        return Colour::WHITE;
    };
    let median = |channel: usize| {
        let mut values: Vec<u8> = all.iter().map(|c| c[channel]).collect();
        values.sort_unstable();
        f32::from(values[values.len() / 2]) / 255.0
    };
    let [r, g, b] = [median(0), median(1), median(2)];
    if r == g && g == b {
        Colour::Grey(r)
    } else {
        Colour::Rgb(r, g, b)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_commonest_colour_is_neither_a_mean_nor_what_crosses_the_edge() {
        let mut colours = vec![[200, 30, 31]; 50];
        colours.extend([[201, 30, 31]; 10]);
        colours.extend([[0, 0, 0]; 40]);
        assert_eq!(
            common(&colours),
            Colour::Rgb(200.0 / 255.0, 30.0 / 255.0, 31.0 / 255.0)
        );
        assert_eq!(common(&[[255; 3]; 3]), Colour::Grey(1.0));
        assert_eq!(common(&[]), Colour::WHITE);
    }
}
