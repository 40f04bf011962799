//! The interpreter's output, gathered.

use std::panic::resume_unwind;
use std::sync::atomic::Ordering;
use std::time::Instant;

use hayro::hayro_interpret::font::GlyphRun;
use hayro::hayro_interpret::hayro_syntax::object::dict::keys::{
    COLORSPACE, CS, MASK, N, OC, SMASK, SMASK_IN_DATA,
};
use hayro::hayro_interpret::hayro_syntax::object::{Array, Dict, Name, Object, Stream};
use hayro::hayro_interpret::{
    self as interpret, BlendMode, CacheKey, ClipPath, Device, DrawMode, DrawProps, Image,
    ImageDrawProps, SoftMask, StrokeProps,
};
use hayro::kurbo::{Affine, BezPath, Point as Spot, Rect as Area, Shape};
use tympan_sheet::{Angle, Map, Page, Point, Rect, Size, Vector};

use super::outline::{self, Outline, Part};
use super::{Clip, Colour, Element, Kind, Limits, Model, Paint, Picture, Square, Text};

/// Nothing lies farther away than this, mm: what does is of no use, and numbers stay sound.
const FAR: f64 = 1e6;

/// How often the clock is looked at, in calls.
const LOOK: usize = 64;

pub(super) struct Collector<'l> {
    pub(super) elements: Vec<Element>,
    pub(super) clips: Vec<Clip>,
    pub(super) layers: bool,
    pub(super) stopped: bool,
    whole: Rect<Page>,
    /// The clips now in force; `None` for one that was not kept.
    in_force: Vec<usize>,
    /// Whether each group now open lets something show through.
    groups: Vec<bool>,
    limits: &'l Limits<'l>,
    begun: Instant,
    calls: usize,
}

impl<'l> Collector<'l> {
    pub(super) fn new(size: Size, limits: &'l Limits<'l>) -> Self {
        Self {
            elements: Vec::new(),
            clips: Vec::new(),
            layers: false,
            stopped: false,
            whole: Rect::whole(size),
            in_force: Vec::new(),
            groups: Vec::new(),
            limits,
            begun: Instant::now(),
            calls: 0,
        }
    }

    /// Stops at the limits. The interpreter cannot be asked to stop, so that the way out of it is
    /// to unwind; no panic is reported.
    fn pace(&mut self) {
        self.calls += 1;
        let full = self.elements.len() + self.clips.len() >= self.limits.elements;
        let look = self.calls % LOOK == 1;
        let late = look && self.begun.elapsed() > self.limits.time;
        let cancelled = || {
            let cancel = self.limits.cancel;
            cancel.is_some_and(|cancel| cancel.load(Ordering::Relaxed))
        };
        if full || late || (look && cancelled()) {
            self.stopped = true;
            resume_unwind(Box::new("stopped"));
        }
    }

    fn add(&mut self, kind: Kind, bounds: Rect<Page>, transparent: bool) {
        let sound = [bounds.min.x, bounds.min.y, bounds.max.x, bounds.max.y];
        if sound.iter().any(|v| !v.is_finite() || v.abs() > FAR) {
            return;
        }
        self.pace();
        self.elements.push(Element {
            kind,
            bounds,
            clip: self.in_force.last().copied(),
            transparent: transparent || self.groups.contains(&true),
        });
    }

    fn paint_path(&mut self, path: &BezPath, props: &DrawProps<'_>, mode: &DrawMode) {
        match mode {
            DrawMode::Fill(_) => self.fill(path, props),
            DrawMode::Stroke(stroke) => self.stroke(path, props, stroke),
            DrawMode::FillAndStroke(_, stroke) => {
                self.fill(path, props);
                self.stroke(path, props, stroke);
            }
            DrawMode::Invisible => {}
        }
    }

    fn fill(&mut self, path: &BezPath, props: &DrawProps<'_>) {
        let paint = paint(&props.paint);
        let clear = shows_through(props, &paint);
        let kind = |outline| Kind::Fill { outline, paint };
        self.each_part(path, props.transform, true, 0.0, clear, kind);
    }

    fn stroke(&mut self, path: &BezPath, props: &DrawProps<'_>, stroke: &StrokeProps) {
        let paint = paint(&props.paint);
        let clear = shows_through(props, &paint);
        let width = f64::from(stroke.line_width.abs()) * scale(props.transform);
        let dashed = stroke.dash_array.iter().any(|dash| *dash > 0.0);
        let kind = |outline| Kind::Stroke {
            outline,
            paint,
            width,
            dashed,
        };
        self.each_part(path, props.transform, false, width / 2.0, clear, kind);
    }

    /// Adds the parts of a path; those that have no shape worth a name become one element.
    fn each_part(
        &mut self,
        path: &BezPath,
        to_page: Affine,
        closed: bool,
        grow: f64,
        clear: bool,
        kind: impl Fn(Outline) -> Kind,
    ) {
        let mut rest: Option<Rect<Page>> = None;
        outline::parts(path, to_page, closed, |part| {
            if part.outline == Outline::Other {
                let so_far = rest.unwrap_or(part.bounds);
                rest = Some(join(so_far, part.bounds));
            } else {
                self.add(kind(part.outline), part.bounds.grown(grow), clear);
            }
        });
        if let Some(bounds) = rest {
            self.add(kind(Outline::Other), bounds.grown(grow), clear);
        }
    }

    fn clip(&mut self, outline: Outline, own: Rect<Page>, form: bool) {
        self.pace();
        let parent = self.in_force.last().copied();
        let around = parent.map_or(self.whole, |parent| self.clips[parent].bounds);
        let nothing = Rect {
            min: around.min,
            max: around.min,
        };
        self.in_force.push(self.clips.len());
        self.clips.push(Clip {
            outline,
            bounds: own.meet(around).unwrap_or(nothing),
            parent,
            form,
        });
    }

    fn picture(&mut self, image: &Image<'_, '_>, transform: Affine) {
        let (stream, stencil) = match image {
            Image::Raster(raster) => (raster.stream(), None),
            Image::Stencil(stencil) => {
                let mut colour = None;
                // A stencil's paint is told only together with its smallest rendering.
                stencil.with_stencil(|_, with| colour = Some(paint(with)), Some((1, 1)));
                (stencil.stream(), Some(colour.unwrap_or(Paint::Pattern)))
            }
        };
        let dict = stream.dict();
        self.layers |= dict.contains_key(OC);
        let masked = [SMASK, MASK, SMASK_IN_DATA]
            .iter()
            .any(|key| dict.contains_key(key));
        let (w, h) = (image.width(), image.height());
        let [xx, yx, xy, yy, dx, dy] =
            (transform * Affine::scale_non_uniform(f64::from(w), f64::from(h))).as_coeffs();
        let map = Map::<Square, Page>::new(xx, xy, yx, yy, dx, dy);
        let picture = Picture {
            map,
            w,
            h,
            id: image.cache_key(),
            model: model(dict),
            stencil,
            masked,
        };
        let corners = picture.corners();
        let bounds = corners
            .iter()
            .fold(point(corners[0]), |a, b| join(a, point(*b)));
        self.add(Kind::Picture(picture), bounds, masked);
    }

    fn text(&mut self, run: &GlyphRun<'_, '_>, props: &DrawProps<'_>, mode: &DrawMode) {
        if matches!(mode, DrawMode::Invisible) {
            return;
        }
        // Glyph space has 1000 units to the em (ISO 32000-1, 9.2.4).
        let em = |to: Affine, x: f64, y: f64| {
            let p = to * Spot::new(1000.0 * x, 1000.0 * y);
            Point::<Page>::new(p.x, p.y)
        };
        let mut bounds: Option<Rect<Page>> = None;
        let mut size: f64 = 0.0;
        let mut along = Vector::<Page>::ZERO;
        for glyph in run.glyphs() {
            let to = props.transform * glyph.transform();
            // Roughly what letters fill of their em.
            for p in [
                em(to, 0.0, -0.2),
                em(to, 0.0, 0.7),
                em(to, 0.55, -0.2),
                em(to, 0.55, 0.7),
            ] {
                bounds = Some(join(bounds.unwrap_or(point(p)), point(p)));
            }
            size = size.max((em(to, 0.0, 1.0) - em(to, 0.0, 0.0)).length());
            along = along + (em(to, 1.0, 0.0) - em(to, 0.0, 0.0));
        }
        let Some(bounds) = bounds else {
            return;
        };
        let paint = paint(&props.paint);
        let clear = shows_through(props, &paint);
        let text = Text {
            size,
            glyphs: run.glyphs().len(),
            reads: Angle::radians(along.y.atan2(along.x)),
            paint,
        };
        self.add(Kind::Text(text), bounds, clear);
    }
}

impl<'a> Device<'a> for Collector<'_> {
    fn draw_path(&mut self, path: &BezPath, props: DrawProps<'a>, mode: &DrawMode) {
        self.paint_path(path, &props, mode);
    }

    /// Rectangles that are meant as clips come as [`Device::push_clip_rect`]; upright ones that
    /// come here are the boxes of forms.
    fn push_clip_path(&mut self, clip: &ClipPath) {
        let mut parts: Vec<Part> = Vec::new();
        outline::parts(&clip.path, Affine::IDENTITY, true, |part| {
            if parts.len() < 2 {
                parts.push(part);
            }
        });
        let bounds = clip.path.bounding_box();
        let outline = match parts.as_slice() {
            [one] => one.outline.clone(),
            _ => Outline::Other,
        };
        let form = matches!(&outline, Outline::Box { corners, radius: 0.0 }
            if (corners[0].x - corners[1].x).abs() < 1e-9
                || (corners[0].y - corners[1].y).abs() < 1e-9);
        self.clip(outline, area(bounds), form);
    }

    fn push_clip_rect(&mut self, rect: &Area) {
        let own = area(*rect);
        let outline = Outline::Box {
            corners: own.corners(),
            radius: 0.0,
        };
        self.clip(outline, own, false);
    }

    fn pop_clip(&mut self) {
        self.in_force.pop();
    }

    fn push_transparency_group(
        &mut self,
        opacity: f32,
        mask: Option<SoftMask<'a>>,
        blend: BlendMode,
    ) {
        self.pace();
        let clear = opacity < 1.0 || mask.is_some() || blend != BlendMode::Normal;
        self.groups.push(clear);
    }

    fn pop_transparency_group(&mut self) {
        self.groups.pop();
    }

    fn draw_glyph_run(&mut self, run: &GlyphRun<'_, 'a>, props: DrawProps<'a>, mode: &DrawMode) {
        self.text(run, &props, mode);
    }

    fn draw_image(&mut self, image: Image<'a, '_>, props: ImageDrawProps<'a>) {
        self.picture(&image, props.transform);
    }

    fn begin_marked_content(&mut self, tag: &[u8], _: Option<&Dict<'_>>) {
        self.layers |= tag == b"OC";
    }
}

fn paint(paint: &interpret::Paint<'_>) -> Paint {
    match paint {
        interpret::Paint::Color(colour) => {
            let shown = colour.to_rgba();
            let [r, g, b, _] = shown.to_rgba8();
            let cmyk: Option<[f32; 4]> = colour.components().try_into().ok();
            Paint::Solid(Colour {
                rgb: [r, g, b],
                cmyk: cmyk.filter(|_| colour.color_space().num_components() == 4),
                opacity: shown.components()[3],
            })
        }
        interpret::Paint::Pattern(_) => Paint::Pattern,
    }
}

fn shows_through(props: &DrawProps<'_>, paint: &Paint) -> bool {
    let clear = matches!(paint, Paint::Solid(colour) if colour.opacity < 1.0);
    clear || props.soft_mask.is_some() || props.blend_mode != BlendMode::Normal
}

/// Which colours the dictionary of a picture names.
fn model(dict: &Dict<'_>) -> Model {
    let space = dict.get::<Object<'_>>(COLORSPACE);
    let space = space.or_else(|| dict.get::<Object<'_>>(CS));
    space.map_or(Model::Other, |space| model_of(space, 0))
}

fn model_of(space: Object<'_>, depth: usize) -> Model {
    let by_name = |name: &[u8]| match name {
        b"DeviceGray" | b"G" | b"CalGray" => Model::Grey,
        b"DeviceRGB" | b"RGB" | b"CalRGB" => Model::Rgb,
        b"DeviceCMYK" | b"CMYK" => Model::Cmyk,
        _ => Model::Other,
    };
    match space {
        Object::Name(name) => by_name(&name),
        Object::Array(array) => {
            let array: Array<'_> = array;
            let mut parts = array.flex_iter();
            let Some(name) = parts.next::<Name<'_>>() else {
                return Model::Other;
            };
            match &*name {
                b"ICCBased" => {
                    let profile = parts.next::<Stream<'_>>();
                    match profile.and_then(|profile| profile.dict().get::<u8>(N)) {
                        Some(1) => Model::Grey,
                        Some(3) => Model::Rgb,
                        Some(4) => Model::Cmyk,
                        _ => Model::Other,
                    }
                }
                b"Indexed" | b"I" if depth == 0 => parts
                    .next::<Object<'_>>()
                    .map_or(Model::Other, |base| model_of(base, 1)),
                name => by_name(name),
            }
        }
        _ => Model::Other,
    }
}

/// What lengths are multiplied by: the square root of what areas are.
fn scale(transform: Affine) -> f64 {
    transform.determinant().abs().sqrt()
}

fn area(of: Area) -> Rect<Page> {
    let near = |v: f64| if v.is_nan() { 0.0 } else { v.clamp(-FAR, FAR) };
    Rect {
        min: Point::new(near(of.x0), near(of.y0)),
        max: Point::new(near(of.x1), near(of.y1)),
    }
}

fn point(p: Point<Page>) -> Rect<Page> {
    Rect { min: p, max: p }
}

fn join(a: Rect<Page>, b: Rect<Page>) -> Rect<Page> {
    Rect {
        min: Point::new(a.min.x.min(b.min.x), a.min.y.min(b.min.y)),
        max: Point::new(a.max.x.max(b.max.x), a.max.y.max(b.max.y)),
    }
}
