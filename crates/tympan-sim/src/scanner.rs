//! Simulated flatbed scanners.

use std::f64::consts::{FRAC_PI_2, PI, TAU};

use image::DynamicImage;
use tympan_sheet::{QuarterTurn, Side, Size};

use crate::paint::{Canvas, Depth, Face, Node, Spot, paint};
use crate::picture::{picture_of, through_jpeg};
use crate::rng::Rng;
use crate::sheet::PrintedSheet;
use crate::warp::{Linear, Xy};

/// What lies behind the sheet.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Backing {
    /// A black sheet.
    #[default]
    Dark,
    /// The white foam of the lid.
    White,
    /// A black sheet that is smaller than the sheet scanned: dark in the holes, white around.
    Patch,
}

/// What the backings give back of the light.
const BLACK: f32 = 0.012;
const FOAM: f32 = 0.80;
/// Share of the light that the narrow shadow of the sheet's own edge takes from the backing.
const CAST_SHADOW: f32 = 0.3;

/// A flatbed scanner: what stays the same from scan to scan.
#[derive(Clone, Debug)]
pub struct Scanner {
    /// The carriage's wobble follows from it.
    pub seed: u64,
    /// Nominal pixels to the inch, as the file will say.
    pub dpi: f64,
    /// The part of the bed that is scanned; where not given, the whole sheet as it lies with 8 mm
    /// around it.
    pub bed: Option<Size>,
    /// How much longer the picture is than the bed along x and along y, a share of one.
    pub axis_error: [f64; 2],
    /// How far the picture's columns lean: radians, lower is further right.
    pub skew: f64,
    /// Largest departure of the carriage from an even run over the bed, mm. It is the same in every
    /// scan of this seed; a scanner of another seed for the second scan is the worst case.
    pub waviness: f64,
    /// Blur of the optics, mm (sd); 0.03 to 0.05 is usual.
    pub blur: f64,
    /// Noise, in steps of 255 (sd).
    pub noise: f64,
    /// How much darker one edge of the bed is than the opposite one, 0 to 1.
    pub gradient: f64,
    /// What lies behind the sheet.
    pub backing: Backing,
    /// Quality of the JPEG that the picture goes through (8 bits only).
    pub jpeg: Option<u8>,
    /// Bits to a channel.
    pub depth: Depth,
    /// Colour or grey.
    pub colour: bool,
    /// Whether the program mirrors the picture (a fault).
    pub mirrored: bool,
    /// Specks of dust on the glass.
    pub dust: usize,
}

impl Scanner {
    /// A scanner with no fault but its resolution.
    pub fn exact(dpi: f64) -> Self {
        Self {
            seed: 0,
            dpi,
            bed: None,
            axis_error: [0.0; 2],
            skew: 0.0,
            waviness: 0.0,
            blur: 0.0,
            noise: 0.0,
            gradient: 0.0,
            backing: Backing::Dark,
            jpeg: None,
            depth: Depth::Eight,
            colour: false,
            mirrored: false,
            dust: 0,
        }
    }

    /// A usual home scanner: axes that differ by up to 0.3 %, 0.03 mm of waviness, blur, noise,
    /// dust, JPEG at 90. Its own faults follow from the seed.
    pub fn usual(seed: u64, dpi: f64) -> Self {
        let mut rng = Rng::stream(seed, 0x5ca);
        Self {
            seed,
            axis_error: [
                rng.between(-0.001_5, 0.001_5),
                rng.between(-0.001_5, 0.001_5),
            ],
            skew: rng.between(-0.000_3, 0.000_3),
            waviness: 0.03,
            blur: 0.04,
            noise: 2.0,
            gradient: rng.between(0.0, 0.08),
            jpeg: Some(90),
            colour: true,
            dust: 40,
            ..Self::exact(dpi)
        }
    }

    /// How a sheet lying so comes to lie in the picture, without making the picture.
    pub fn look(&self, sheet: &PrintedSheet, side: Side, lie: &OnBed) -> ScanView {
        let [w, h] = sheet.actual;
        let turn = match lie.turn {
            QuarterTurn::Upright => 0.0,
            QuarterTurn::Clockwise => FRAC_PI_2,
            QuarterTurn::Half => PI,
            QuarterTurn::Anticlockwise => -FRAC_PI_2,
        };
        let angle = turn + lie.tilt_deg.to_radians();
        let bed = self.bed.map_or_else(
            || {
                let (sin, cos) = (angle.sin().abs(), angle.cos().abs());
                [w * cos + h * sin + 16.0, w * sin + h * cos + 16.0]
            },
            |bed| [bed.w, bed.h],
        );
        let middle = [w / 2.0, h / 2.0];
        let centre = [bed[0] / 2.0 + lie.offset[0], bed[1] / 2.0 + lie.offset[1]];
        let to_bed = Linear::rotation(angle, middle).then(&Linear::shift([
            centre[0] - middle[0],
            centre[1] - middle[1],
        ]));
        let px_per_mm = self.dpi / 25.4;
        let full = [0, 1].map(|i| (bed[i] * px_per_mm).round());
        let [left, top, right, bottom] = lie.crop;
        let origin = [(full[0] * left).round(), (full[1] * top).round()];
        let size = [
            (full[0] * (1.0 - right)).round() - origin[0],
            (full[1] * (1.0 - bottom)).round() - origin[1],
        ];
        ScanView {
            side,
            to_bed,
            from_bed: to_bed.inverse(),
            carriage: Carriage::new(self, bed),
            px_per_mm,
            origin,
            size: size.map(|s| s.max(1.0) as usize),
            mirrored: self.mirrored,
            warps: sheet.warps,
        }
    }

    /// Scans one side of a sheet. The picture shows that side as one sees it when looking at it.
    pub fn scan(&self, sheet: &PrintedSheet, side: Side, lie: &OnBed) -> Scan {
        let view = self.look(sheet, side, lie);
        let px_per_mm = view.px_per_mm;
        let seed = Rng::stream(self.seed ^ sheet.seed ^ lie.seed, side as u64).bits();
        let mut rng = Rng::new(seed);
        let [width, height] = view.size;
        let canvas = Canvas {
            width,
            height,
            colour: self.colour,
            blur: self.blur * px_per_mm,
            noise: self.noise / 255.0,
            seed,
            depth: self.depth,
        };
        let face = Face::new(sheet, side, px_per_mm);
        let to_front = sheet.side_to_front(side);
        let (around, in_holes) = match self.backing {
            Backing::Dark => (BLACK, BLACK),
            Backing::White => (FOAM, FOAM),
            Backing::Patch => (FOAM, BLACK),
        };
        let brightness = Brightness::new(self.gradient, [width, height], &mut rng);
        let shadows = Shadows {
            shadow: lie.shadow,
            view: &view,
            actual: sheet.actual,
        };

        let place = |x: f64, y: f64| -> Node { face.node(to_front.at(view.side_at([x, y]))) };
        // The lamp stands behind the sensor: the sheet's thickness throws a narrow shadow down the
        // picture, onto the backing.
        let towards_lamp = {
            let long = (0.05 + 0.5 * sheet.media.caliper) * px_per_mm;
            let middle = [width as f64 / 2.0, height as f64 / 2.0];
            let at = |p| to_front.at(view.side_at(p));
            let (a, b) = (at(middle), at([middle[0], middle[1] - long]));
            [b[0] - a[0], b[1] - a[1]]
        };
        let shade = |node: &Node, x: f64, y: f64| {
            let cover = face.cover(node.sheet);
            let (on_sheet, behind) = shadows.at([x, y]);
            let lamp = brightness.at(x, y);
            let [sx, sy] = node.sheet;
            let [w, h] = sheet.actual;
            let hole = sx > 0.0 && sx < w && sy > 0.0 && sy < h;
            let backing = if hole { in_holes } else { around };
            let lit = [sx + towards_lamp[0], sy + towards_lamp[1]];
            let behind = behind * (1.0 - CAST_SHADOW * face.cover(lit));
            if cover <= 0.0 {
                return [backing * behind * lamp; 3];
            }
            let paper = face.reflect(node);
            let ground = backing * behind * (1.0 - cover);
            paper.map(|light| lamp * (light * cover * on_sheet + ground))
        };
        let codes = paint(&canvas, &place, &shade, &self.specks(&view, &mut rng));
        let image = picture_of(codes, &canvas);
        let image = if self.mirrored { image.fliph() } else { image };
        let image = match self.jpeg {
            Some(quality) if self.depth == Depth::Eight => through_jpeg(&image, quality),
            _ => image,
        };
        Scan { image, view }
    }

    fn specks(&self, view: &ScanView, rng: &mut Rng) -> Vec<Spot> {
        let [width, height] = view.size.map(|s| s as f64);
        (0..self.dust)
            .map(|_| Spot {
                centre: [rng.between(0.0, width), rng.between(0.0, height)],
                radius: rng.between(0.02, 0.20) * view.px_per_mm,
                dark: rng.between(0.15, 0.7) as f32,
            })
            .collect()
    }
}

/// A shadow along one edge of the sheet, as a lifted edge or the lamp's side makes it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EdgeShadow {
    /// Which edge, in the side's own frame as it lies: 0 head, 1 right, 2 foot, 3 left.
    pub edge: usize,
    /// Share of the light that is lost at the edge, 0 to 1.
    pub strength: f64,
    /// Depth into the sheet, mm.
    pub onto_sheet: f64,
    /// Depth onto the backing, mm.
    pub onto_backing: f64,
}

/// How a sheet lies on the bed for one scan.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct OnBed {
    /// Quarter turns, as the picture shows the sheet.
    pub turn: QuarterTurn,
    /// Further turned clockwise in the picture, degrees.
    pub tilt_deg: f64,
    /// The sheet's middle from the middle of what is scanned, mm to the right and down.
    pub offset: [f64; 2],
    /// Shares of the picture cut off: left, top, right, bottom.
    pub crop: [f64; 4],
    /// A shadowed edge.
    pub shadow: Option<EdgeShadow>,
    /// Noise and dust of this scan follow from it.
    pub seed: u64,
}

impl OnBed {
    /// Laid by hand: up to 2° askew and 3 mm off.
    pub fn by_hand(seed: u64) -> Self {
        let mut rng = Rng::stream(seed, 0xbed);
        Self {
            tilt_deg: rng.between(-2.0, 2.0),
            offset: [rng.between(-3.0, 3.0), rng.between(-3.0, 3.0)],
            seed,
            ..Self::default()
        }
    }
}

/// A scan and the truth about it.
#[derive(Debug)]
pub struct Scan {
    /// The picture.
    pub image: DynamicImage,
    /// Where everything lies in it.
    pub view: ScanView,
}

/// Where the places of one side lie in a scan. Pixel coordinates count from the picture's top left
/// corner, x to the right, y down; the first pixel's centre is (0.5, 0.5).
#[derive(Clone, Debug)]
pub struct ScanView {
    side: Side,
    to_bed: Linear,
    from_bed: Linear,
    carriage: Carriage,
    px_per_mm: f64,
    origin: Xy,
    size: [usize; 2],
    mirrored: bool,
    warps: [crate::warp::Warp; 2],
}

impl ScanView {
    /// The picture's width and height, px.
    pub fn size(&self) -> [usize; 2] {
        self.size
    }

    /// The side that is seen.
    pub fn side(&self) -> Side {
        self.side
    }

    /// Where a place of the sheet, in this side's own frame, lies in the picture.
    pub fn pixel_of_sheet(&self, p: [f64; 2]) -> [f64; 2] {
        let [u, v] = self.carriage.picture_of(self.to_bed.at(p));
        let x = u * self.px_per_mm - self.origin[0];
        let y = v * self.px_per_mm - self.origin[1];
        [
            if self.mirrored {
                self.size[0] as f64 - x
            } else {
                x
            },
            y,
        ]
    }

    /// Where the place `p` of the scanned side's page lies in the picture.
    pub fn pixel_of_page(&self, p: [f64; 2]) -> [f64; 2] {
        self.pixel_of_sheet(self.warps[self.side as usize].at(p))
    }

    /// Whether a place of the picture lies within it, `margin` px from its border.
    pub fn shows(&self, pixel: [f64; 2], margin: f64) -> bool {
        let [w, h] = self.size.map(|s| s as f64);
        (margin..=w - margin).contains(&pixel[0]) && (margin..=h - margin).contains(&pixel[1])
    }

    /// The cheap scan: where a reader would find marks printed at these places of the page, with
    /// an error of `sd` px in x and in y; nothing for marks that are cut off.
    pub fn find(&self, marks: &[[f64; 2]], sd: f64, rng: &mut Rng) -> Vec<Option<[f64; 2]>> {
        marks
            .iter()
            .map(|&mark| {
                let [x, y] = self.pixel_of_page(mark);
                let found = [x + sd * rng.normal(), y + sd * rng.normal()];
                self.shows([x, y], 0.0).then_some(found)
            })
            .collect()
    }

    /// The same for places of the sheet itself, in this side's own frame: holes, corners, edges.
    pub fn find_on_sheet(
        &self,
        places: &[[f64; 2]],
        sd: f64,
        rng: &mut Rng,
    ) -> Vec<Option<[f64; 2]>> {
        places
            .iter()
            .map(|&place| {
                let [x, y] = self.pixel_of_sheet(place);
                let found = [x + sd * rng.normal(), y + sd * rng.normal()];
                self.shows([x, y], 0.0).then_some(found)
            })
            .collect()
    }

    /// What place of the sheet, in this side's own frame, the picture shows at a place of the
    /// picture before any mirroring.
    fn side_at(&self, [x, y]: Xy) -> Xy {
        let u = (x + self.origin[0]) / self.px_per_mm;
        let v = (y + self.origin[1]) / self.px_per_mm;
        self.from_bed.at(self.carriage.bed_of([u, v]))
    }
}

/// How the carriage and the sensor bring the bed into the picture, mm to mm.
#[derive(Clone, Debug)]
struct Carriage {
    axis_error: Xy,
    skew: f64,
    /// Along the run: how far ahead of its place the carriage is, and how far to the side.
    ahead: Wave,
    aside: Wave,
    /// How far the sensor bar's end is ahead of its middle.
    yaw: Wave,
    middle: f64,
}

impl Carriage {
    fn new(scanner: &Scanner, bed: Xy) -> Self {
        let mut rng = Rng::stream(scanner.seed, 0xca22);
        // The machine's own length, so that it does the same to every scan: A4 or A3.
        let length = if bed[1] > 340.0 { 430.0 } else { 310.0 };
        let ahead = Wave::new(&mut rng, scanner.waviness, length);
        let aside = Wave::new(&mut rng, scanner.waviness * 0.4, length);
        let yaw = Wave::new(&mut rng, scanner.waviness * 0.3, length);
        Self {
            axis_error: scanner.axis_error,
            skew: scanner.skew,
            ahead,
            aside,
            yaw,
            middle: bed[0] / 2.0,
        }
    }

    /// From the picture to the bed.
    fn bed_of(&self, [u, v]: Xy) -> Xy {
        let off = (u - self.middle) / self.middle;
        let y = v / (1.0 + self.axis_error[1]) + self.ahead.at(v) + self.yaw.at(v) * off;
        let x = (u - self.skew * v) / (1.0 + self.axis_error[0]) + self.aside.at(v);
        [x, y]
    }

    /// From the bed to the picture: the same equations, solved by repetition.
    fn picture_of(&self, bed: Xy) -> Xy {
        let mut at = bed;
        for _ in 0..60 {
            let [x, y] = self.bed_of(at);
            let step = [bed[0] - x, bed[1] - y];
            at = [at[0] + step[0], at[1] + step[1]];
            if step[0].abs().max(step[1].abs()) < 1e-10 {
                break;
            }
        }
        at
    }
}

/// A smooth random function along the bed.
#[derive(Clone, Debug)]
struct Wave {
    /// Amplitude mm, radians to the mm, phase.
    parts: Vec<[f64; 3]>,
    /// The straight line that is taken out: it would be scale and offset.
    line: [f64; 2],
}

impl Wave {
    /// A wave whose largest departure from its own best straight line over the bed is `peak` mm,
    /// with wavelengths from 35 mm up to the bed's length.
    fn new(rng: &mut Rng, peak: f64, length: f64) -> Self {
        let mut parts: Vec<[f64; 3]> = (0..6)
            .map(|_| {
                let wavelength = 35.0 * (length.max(70.0) / 35.0).powf(rng.unit());
                let amplitude = rng.normal() * wavelength / length;
                let phase = rng.between(0.0, TAU);
                [amplitude, TAU / wavelength, phase]
            })
            .collect();
        let raw = |parts: &[[f64; 3]], v: f64| -> f64 {
            parts
                .iter()
                .map(|[a, k, phase]| a * (k * v + phase).sin())
                .sum()
        };
        let n = 400;
        let at = |i: usize| length * (i as f64 + 0.5) / n as f64;
        let (mut s0, mut s1) = (0.0, 0.0);
        for i in 0..n {
            let t = at(i) - length / 2.0;
            s0 += raw(&parts, at(i));
            s1 += t * raw(&parts, at(i));
        }
        let tt: f64 = (0..n).map(|i| (at(i) - length / 2.0).powi(2)).sum();
        let slope = s1 / tt;
        let base = s0 / n as f64 - slope * length / 2.0;
        let largest = (0..n)
            .map(|i| (raw(&parts, at(i)) - base - slope * at(i)).abs())
            .fold(f64::MIN_POSITIVE, f64::max);
        let factor = peak / largest;
        parts.iter_mut().for_each(|part| part[0] *= factor);
        Self {
            parts,
            line: [base * factor, slope * factor],
        }
    }

    fn at(&self, v: f64) -> f64 {
        let waves: f64 = self
            .parts
            .iter()
            .map(|[a, k, phase]| a * (k * v + phase).sin())
            .sum();
        waves - self.line[0] - self.line[1] * v
    }
}

/// Lamp and sensor: a slope of brightness across the picture.
struct Brightness {
    slope: Xy,
    size: Xy,
}

impl Brightness {
    fn new(gradient: f64, size: [usize; 2], rng: &mut Rng) -> Self {
        let angle = rng.between(0.0, TAU);
        let slope = [gradient * angle.cos(), gradient * angle.sin()];
        Self {
            slope,
            size: size.map(|s| s as f64),
        }
    }

    fn at(&self, x: f64, y: f64) -> f32 {
        let (u, v) = (x / self.size[0] - 0.5, y / self.size[1] - 0.5);
        let fall = (self.slope[0].abs() + self.slope[1].abs()) / 2.0;
        (1.0 - fall + self.slope[0] * u + self.slope[1] * v) as f32
    }
}

struct Shadows<'a> {
    shadow: Option<EdgeShadow>,
    view: &'a ScanView,
    actual: Xy,
}

impl Shadows<'_> {
    /// Light left on the sheet and on the backing at a place of the picture.
    fn at(&self, pixel: Xy) -> (f32, f32) {
        let Some(shadow) = self.shadow else {
            return (1.0, 1.0);
        };
        let p = self.view.side_at(pixel);
        let [w, h] = self.actual;
        let inside = match shadow.edge % 4 {
            0 => p[1],
            1 => w - p[0],
            2 => h - p[1],
            _ => p[0],
        };
        let left = |distance: f64, depth: f64| {
            if depth <= 0.0 {
                1.0
            } else {
                1.0 - shadow.strength * (-distance.max(0.0) / depth).exp()
            }
        };
        let beyond = p[0] < -4.0 || p[0] > w + 4.0 || p[1] < -4.0 || p[1] > h + 4.0;
        let behind = if beyond {
            1.0
        } else {
            left(-inside, shadow.onto_backing)
        };
        (left(inside, shadow.onto_sheet) as f32, behind as f32)
    }
}
