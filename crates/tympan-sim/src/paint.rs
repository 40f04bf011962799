//! Making pictures: rows of pixels are shaded in linear light, blurred, made noisy and coded, in
//! bands that several threads share.

use std::sync::{Arc, Mutex, OnceLock};

use tympan_sheet::Side;

use crate::light::{blur_row, code_of, kernel};
use crate::page::{Ghost, Level};
use crate::rng::Rng;
use crate::sheet::PrintedSheet;
use crate::warp::{Linear, Xy};

/// Bits to a channel.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Depth {
    /// 8 bits.
    #[default]
    Eight,
    /// 16 bits.
    Sixteen,
}

/// The picture to be made.
pub(crate) struct Canvas {
    pub(crate) width: usize,
    pub(crate) height: usize,
    pub(crate) colour: bool,
    /// Gaussian blur, px (sd).
    pub(crate) blur: f64,
    /// Noise of a channel's code, as a share of full scale (sd).
    pub(crate) noise: f64,
    pub(crate) seed: u64,
    pub(crate) depth: Depth,
}

/// What lies under a pixel's centre. All three places are linear enough over a few pixels to be
/// interpolated.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Node {
    /// Sheet coordinates in the front frame, mm.
    pub(crate) sheet: Xy,
    /// The page on the near side, mm.
    pub(crate) near: Xy,
    /// The page on the far side, mm.
    pub(crate) far: Xy,
}

impl Node {
    fn mix(&self, other: &Self, t: f64) -> Self {
        let mix = |a: Xy, b: Xy| [a[0] + (b[0] - a[0]) * t, a[1] + (b[1] - a[1]) * t];
        Self {
            sheet: mix(self.sheet, other.sheet),
            near: mix(self.near, other.near),
            far: mix(self.far, other.far),
        }
    }
}

/// A speck on the glass: a share of the light is taken away within a soft-edged disc.
pub(crate) struct Spot {
    /// Centre, px.
    pub(crate) centre: Xy,
    /// Radius, px.
    pub(crate) radius: f64,
    /// Share of the light that is lost.
    pub(crate) dark: f32,
}

/// One side of a sheet made ready for looking at.
pub(crate) struct Face<'a> {
    sheet: &'a PrintedSheet,
    side: Side,
    level: &'a Level,
    scale: f64,
    ghost: Arc<Ghost>,
    /// Printed part of the page: left, top, right, bottom, mm.
    printable: [f64; 4],
    px_per_mm: f64,
    /// Places within a pixel that are averaged, mm on the page.
    taps: Vec<Xy>,
    black: f32,
    to_side: Linear,
}

impl<'a> Face<'a> {
    /// For pictures with about `px_per_mm` pixels to the mm of sheet.
    pub(crate) fn new(sheet: &'a PrintedSheet, side: Side, px_per_mm: f64) -> Self {
        let page: &'a crate::page::Page = &sheet.pages[side as usize];
        let fineness = page.px_per_mm() / px_per_mm;
        let (level, scale) = page.level_for(fineness);
        let pixel = 1.0 / px_per_mm;
        let taps = if scale * pixel > 1.2 {
            let quarter = pixel / 4.0;
            vec![
                [-quarter, -quarter],
                [quarter, -quarter],
                [-quarter, quarter],
                [quarter, quarter],
            ]
        } else {
            vec![[0.0, 0.0]]
        };
        let m = &sheet.margins;
        Self {
            sheet,
            side,
            level,
            scale,
            ghost: sheet.pages[side.other() as usize].ghost(sheet.media.diffusion),
            printable: [
                m.left,
                m.top,
                sheet.nominal[0] - m.right,
                sheet.nominal[1] - m.bottom,
            ],
            px_per_mm,
            taps,
            black: (1.0 - 0.97 * sheet.ink.clamp(0.0, 1.0)) as f32,
            // Turning over is its own inverse.
            to_side: sheet.side_to_front(side),
        }
    }

    /// What lies at a place of the sheet, given in the front frame.
    pub(crate) fn node(&self, sheet: Xy) -> Node {
        let (near, far) = (self.side, self.side.other());
        let to_far = self.sheet.side_to_front(far);
        Node {
            sheet,
            near: self.sheet.warps[near as usize].back(self.to_side.at(sheet)),
            far: self.sheet.warps[far as usize].back(to_far.at(sheet)),
        }
    }

    /// How much of a pixel the sheet covers, its holes and missing corner left out.
    pub(crate) fn cover(&self, p: Xy) -> f32 {
        let [w, h] = self.sheet.actual;
        let mut inset = p[0].min(w - p[0]).min(p[1]).min(h - p[1]);
        if let Some(fold) = &self.sheet.fold {
            inset = inset.min(fold.inside(p, self.sheet.actual).0);
        }
        for hole in &self.sheet.holes {
            let reach = hole.reach() + 1.0;
            if (p[0] - hole.centre[0]).abs() < reach && (p[1] - hole.centre[1]).abs() < reach {
                inset = inset.min(-hole.depth(p));
            }
        }
        (inset * self.px_per_mm + 0.5).clamp(0.0, 1.0) as f32
    }

    /// The place whose ink has run to this place.
    fn feathered(&self, page: Xy) -> Xy {
        let reach = self.sheet.feathering;
        if reach == 0.0 {
            return page;
        }
        let texture = self.sheet.texture();
        // Two places of the tile that have nothing to do with each other, and other ones on the
        // other side of the sheet; about five waves to the millimetre.
        let other = 97.0 * f64::from(self.side as u8);
        let (u, v) = (5.0 * page[0] + other, 5.0 * page[1]);
        let dx = f64::from(texture.smooth(u, v));
        let dy = f64::from(texture.smooth(u + 101.3, v + 43.7));
        [page[0] + reach * dx, page[1] + reach * dy]
    }

    /// The share of light that the near side's ink lets through, in red, green and blue.
    pub(crate) fn ink(&self, page: Xy) -> [f32; 3] {
        let [left, top, right, bottom] = self.printable;
        if page[0] < left || page[0] > right || page[1] < top || page[1] > bottom {
            return [1.0; 3];
        }
        let planes = self.level.planes.len();
        let mut light = [0.0; 3];
        let page = self.feathered(page);
        for (c, light) in light.iter_mut().enumerate().take(planes) {
            let plane = self.level.plane(c);
            for [dx, dy] in &self.taps {
                let (x, y) = ((page[0] + dx) * self.scale, (page[1] + dy) * self.scale);
                *light += self.level.sample(plane, x, y);
            }
            *light = self.black + (1.0 - self.black) * *light / self.taps.len() as f32;
        }
        if planes == 1 { [light[0]; 3] } else { light }
    }

    /// The share of light that the far side's ink lets through, spread by the paper.
    pub(crate) fn through(&self, page: Xy) -> f32 {
        let [left, top, right, bottom] = self.printable;
        if page[0] < left || page[0] > right || page[1] < top || page[1] > bottom {
            return 1.0;
        }
        let light = self.ghost.sample(
            page[0] * self.ghost.px_per_mm,
            page[1] * self.ghost.px_per_mm,
        );
        self.black + (1.0 - self.black) * light
    }

    /// Light that comes back from the sheet, in red, green and blue.
    pub(crate) fn reflect(&self, node: &Node) -> [f32; 3] {
        let media = &self.sheet.media;
        let mut near = node.near;
        let mut far = node.far;
        let mut shade = 1.0;
        let mut flipped = false;
        if let Some(fold) = self.sheet.fold.filter(|fold| fold.onto == self.side) {
            let (inside, n) = fold.inside(node.sheet, self.sheet.actual);
            let seen = [
                node.sheet[0] + 2.0 * inside * n[0],
                node.sheet[1] + 2.0 * inside * n[1],
            ];
            let [w, h] = self.sheet.actual;
            let inset = seen[0].min(w - seen[0]).min(seen[1]).min(h - seen[1]);
            if inside > 0.0 && inset > 0.0 {
                let over = self.node(seen);
                (near, far, flipped) = (over.far, over.near, true);
            } else if inside > 0.0 && inset > -1.0 {
                shade = (1.0 + 0.25 * inset - 0.1) as f32;
            }
        }
        let ink = if flipped {
            [self.through(near); 3]
        } else {
            self.ink(near)
        };
        let through = if flipped { 1.0 } else { self.through(far) };
        let grain = self
            .sheet
            .texture()
            .cell(node.sheet[0] * 9.0, node.sheet[1] * 9.0);
        let paper = shade
            * (1.0 + media.fibre as f32 * grain)
            * (1.0 - media.show_through as f32 * (1.0 - through));
        [0, 1, 2].map(|c| paper * media.white[c] as f32 * ink[c])
    }
}

impl Face<'_> {
    /// Light that comes through the sheet from behind, in red, green and blue. Full ink on the far
    /// side takes away the share `contrast`.
    pub(crate) fn transmit(&self, node: &Node, contrast: f32) -> [f32; 3] {
        let sheet = self.sheet;
        let mut passed = 1.0 - contrast * (1.0 - self.through(node.far));
        let texture = sheet.texture();
        let [x, y] = node.sheet;
        let cloud = 0.8 * texture.smooth(0.6 * x, 0.6 * y) + 0.6 * texture.smooth(2.5 * x, 2.5 * y);
        passed *= 1.0 + sheet.media.formation as f32 * cloud;
        if let Some(fold) = &sheet.fold {
            let (inside, n) = fold.inside(node.sheet, sheet.actual);
            let seen = [x + 2.0 * inside * n[0], y + 2.0 * inside * n[1]];
            let [w, h] = sheet.actual;
            if seen[0].min(w - seen[0]).min(seen[1]).min(h - seen[1]) > 0.0 {
                // Two layers of card.
                passed *= 0.4;
            }
        }
        self.ink(node.near).map(|ink| passed.max(0.0) * ink)
    }
}

/// Pixels between the places that are worked out exactly, in x and in y.
const STRIDE: usize = 8;
/// Least number of rows that are painted together.
const BAND: usize = 96;

/// Paints a picture and gives its codes, channel by channel within each pixel. `place` tells what
/// lies under a place of the picture, `shade` what light comes from there.
pub(crate) fn paint(
    canvas: &Canvas,
    place: &(impl Fn(f64, f64) -> Node + Sync),
    shade: &(impl Fn(&Node, f64, f64) -> [f32; 3] + Sync),
    spots: &[Spot],
) -> Vec<u16> {
    let channels = if canvas.colour { 3 } else { 1 };
    let row = canvas.width * channels;
    let mut codes = vec![0u16; row * canvas.height];
    if codes.is_empty() {
        return codes;
    }
    // A wide blur makes every band shade many rows beyond its own.
    let band = BAND.max(3 * (kernel(canvas.blur as f32).len() - 1));
    let bands = Mutex::new(codes.chunks_mut(row * band).enumerate());
    let threads = std::thread::available_parallelism().map_or(1, |n| n.get().min(4));
    std::thread::scope(|scope| {
        for _ in 0..threads {
            scope.spawn(|| {
                loop {
                    let next = bands
                        .lock()
                        .unwrap_or_else(std::sync::PoisonError::into_inner)
                        .next();
                    let Some((index, out)) = next else { break };
                    paint_band(canvas, place, shade, spots, index * band, out);
                }
            });
        }
    });
    codes
}

fn paint_band(
    canvas: &Canvas,
    place: &impl Fn(f64, f64) -> Node,
    shade: &impl Fn(&Node, f64, f64) -> [f32; 3],
    spots: &[Spot],
    first: usize,
    out: &mut [u16],
) {
    let channels = if canvas.colour { 3 } else { 1 };
    let width = canvas.width;
    let rows = out.len() / (width * channels);
    let kernel = kernel(canvas.blur as f32);
    let radius = kernel.len() - 1;
    // One plane for each channel, blurred along the rows, with the rows above and below that the
    // blur down the columns needs.
    let tall = rows + 2 * radius;
    let mut planes = vec![vec![0.0f32; width * tall]; channels];
    let mut raw = vec![vec![0.0f32; width]; channels];
    let mut lattice = Lattice::new(canvas.width);
    for k in 0..tall {
        let y = (first + k).saturating_sub(radius).min(canvas.height - 1);
        lattice.move_to(y, place);
        shade_row(canvas, &lattice, shade, y, &mut raw);
        for spot in spots {
            darken(&mut raw, spot, y);
        }
        for (plane, raw) in planes.iter_mut().zip(&raw) {
            blur_row(raw, &mut plane[k * width..(k + 1) * width], &kernel, None);
        }
    }
    let full = match canvas.depth {
        Depth::Eight => 255.0f32,
        Depth::Sixteen => 65535.0,
    };
    let mut column = vec![0.0f32; width];
    for y in 0..rows {
        let mut noise = Noise::new(canvas.seed, (first + y) as u64, canvas.noise as f32);
        for (c, plane) in planes.iter().enumerate() {
            let line = |k: usize| &plane[k * width..(k + 1) * width];
            column.copy_from_slice(line(y + radius));
            column.iter_mut().for_each(|v| *v *= kernel[0]);
            for (k, weight) in kernel.iter().enumerate().skip(1) {
                let (above, below) = (line(y + radius - k), line(y + radius + k));
                for ((v, a), b) in column.iter_mut().zip(above).zip(below) {
                    *v += weight * (a + b);
                }
            }
            let out = &mut out[y * width * channels..(y + 1) * width * channels];
            for (x, light) in column.iter().enumerate() {
                let code = (code_of(*light) + noise.next()).clamp(0.0, 1.0);
                out[x * channels + c] = (code * full + 0.5) as u16;
            }
        }
    }
}

/// Places worked out exactly at every eighth pixel of every eighth row: the two rows of them
/// between which the present row of pixels lies.
struct Lattice {
    columns: usize,
    /// The upper row's number, in strides.
    row: Option<usize>,
    above: Vec<Node>,
    below: Vec<Node>,
}

impl Lattice {
    fn new(width: usize) -> Self {
        let columns = width.div_ceil(STRIDE) + 1;
        Self {
            columns,
            row: None,
            above: Vec::new(),
            below: Vec::new(),
        }
    }

    fn move_to(&mut self, y: usize, place: &impl Fn(f64, f64) -> Node) {
        let row = y / STRIDE;
        if self.row == Some(row) {
            return;
        }
        let work_out = |row: usize| -> Vec<Node> {
            let y = (row * STRIDE) as f64 + 0.5;
            (0..self.columns)
                .map(|i| place((i * STRIDE) as f64 + 0.5, y))
                .collect()
        };
        if row > 0 && self.row == Some(row - 1) {
            self.above = std::mem::take(&mut self.below);
        } else {
            self.above = work_out(row);
        }
        self.below = work_out(row + 1);
        self.row = Some(row);
    }

    fn column(&self, column: usize, down: f64) -> Node {
        self.above[column].mix(&self.below[column], down)
    }
}

fn shade_row(
    canvas: &Canvas,
    lattice: &Lattice,
    shade: &impl Fn(&Node, f64, f64) -> [f32; 3],
    y: usize,
    raw: &mut [Vec<f32>],
) {
    let down = (y % STRIDE) as f64 / STRIDE as f64;
    let y = y as f64 + 0.5;
    let mut start = 0;
    let mut from = lattice.column(0, down);
    while start < canvas.width {
        let to = lattice.column(start / STRIDE + 1, down);
        for x in start..(start + STRIDE).min(canvas.width) {
            let node = from.mix(&to, (x - start) as f64 / STRIDE as f64);
            let light = shade(&node, x as f64 + 0.5, y);
            if canvas.colour {
                for (plane, light) in raw.iter_mut().zip(light) {
                    plane[x] = light;
                }
            } else {
                raw[0][x] = 0.2126 * light[0] + 0.7152 * light[1] + 0.0722 * light[2];
            }
        }
        from = to;
        start += STRIDE;
    }
}

fn darken(raw: &mut [Vec<f32>], spot: &Spot, y: usize) {
    let dy = y as f64 + 0.5 - spot.centre[1];
    let reach = spot.radius + 1.0;
    if dy.abs() > reach {
        return;
    }
    let width = raw[0].len() as f64;
    let from = (spot.centre[0] - reach).clamp(0.0, width) as usize;
    let to = (spot.centre[0] + reach).clamp(0.0, width) as usize;
    for x in from..to {
        let distance = (x as f64 + 0.5 - spot.centre[0]).hypot(dy);
        let share = (spot.radius - distance + 0.5).clamp(0.0, 1.0) as f32;
        raw.iter_mut()
            .for_each(|plane| plane[x] *= 1.0 - share * spot.dark);
    }
}

/// Normal noise from a table, four values to each draw.
struct Noise {
    rng: Rng,
    bits: u64,
    left: u32,
    sd: f32,
}

fn normals() -> &'static [f32] {
    static TABLE: OnceLock<Vec<f32>> = OnceLock::new();
    TABLE.get_or_init(|| {
        let mut rng = Rng::new(0x0a15e);
        (0..1 << 16).map(|_| rng.normal() as f32).collect()
    })
}

impl Noise {
    fn new(seed: u64, row: u64, sd: f32) -> Self {
        Self {
            rng: Rng::stream(seed, row),
            bits: 0,
            left: 0,
            sd,
        }
    }

    fn next(&mut self) -> f32 {
        if self.sd == 0.0 {
            return 0.0;
        }
        if self.left == 0 {
            (self.bits, self.left) = (self.rng.bits(), 4);
        }
        let index = (self.bits & 0xffff) as usize;
        self.bits >>= 16;
        self.left -= 1;
        self.sd * normals()[index]
    }
}
