//! Simulated phone cameras: a sheet held against the light.
//!
//! The world's frame is the near face's own: x right and y down as that face is seen, z away from
//! the camera, into the sheet. The near face is the plane z = 0, the far face z = caliper.

use image::DynamicImage;
use tympan_sheet::{Side, Size};

use crate::paint::{Canvas, Depth, Face, Node, Spot, paint};
use crate::picture::{picture_of, through_jpeg};
use crate::printer::turned_over;
use crate::rng::Rng;
use crate::sheet::PrintedSheet;
use crate::warp::{Linear, Warp, Xy};

/// A camera: a pinhole with a radially distorting lens (Brown 1966: `x(1 + k1 r² + k2 r⁴)` in
/// units of the focal length).
#[derive(Clone, Debug)]
pub struct Camera {
    /// Width and height of the picture, px.
    pub size: [usize; 2],
    /// Focal length, px.
    pub focal: f64,
    /// Where the optical axis meets the picture, px from its middle.
    pub principal: [f64; 2],
    /// Radial distortion.
    pub k1: f64,
    /// Radial distortion of the next order.
    pub k2: f64,
    /// How much darker the picture's corners are, 0 to 1.
    pub vignette: f64,
    /// Blur of lens, focus and sharpening together, px (sd).
    pub blur: f64,
    /// Noise, in steps of 255 (sd).
    pub noise: f64,
    /// Quality of the JPEG that the picture goes through.
    pub jpeg: Option<u8>,
    /// Colour or grey.
    pub colour: bool,
    /// Whether the program mirrors the picture, as selfie cameras do.
    pub mirrored: bool,
}

impl Camera {
    /// A faultless pinhole of 12 megapixels held upright.
    pub fn pinhole() -> Self {
        Self {
            size: [3024, 4032],
            focal: 2900.0,
            principal: [0.0; 2],
            k1: 0.0,
            k2: 0.0,
            vignette: 0.0,
            blur: 0.0,
            noise: 0.0,
            jpeg: None,
            colour: false,
            mirrored: false,
        }
    }

    /// A usual phone: 12 megapixels, 26 mm equivalent, its lens drawn from the seed.
    pub fn phone(seed: u64) -> Self {
        let mut rng = Rng::stream(seed, 0xca3);
        Self {
            focal: rng.between(2750.0, 3050.0),
            principal: [rng.between(-15.0, 15.0), rng.between(-15.0, 15.0)],
            k1: rng.between(-0.03, 0.05),
            k2: rng.between(-0.03, 0.03),
            vignette: rng.between(0.1, 0.4),
            blur: rng.between(0.7, 1.3),
            noise: rng.between(1.5, 3.0),
            jpeg: Some(92),
            colour: true,
            ..Self::pinhole()
        }
    }

    /// How the sheet comes to lie in the picture, without making the picture.
    pub fn look(&self, sheet: &PrintedSheet, facing: Side, pose: &Pose) -> PhotoView {
        let [w, h] = sheet.actual;
        let over = turned_over(sheet.flip, sheet.actual);
        PhotoView {
            facing,
            rotation: pose.rotation(),
            aim: [w / 2.0 + pose.aim[0], h / 2.0 + pose.aim[1], 0.0],
            distance: pose.distance,
            focal: self.focal,
            principal: [0, 1].map(|i| self.size[i] as f64 / 2.0 + self.principal[i]),
            k: [self.k1, self.k2],
            size: self.size,
            mirrored: self.mirrored,
            caliper: sheet.media.caliper,
            over,
            warps: sheet.warps,
        }
    }

    /// Photographs a sheet against the light, the side `facing` towards the camera.
    pub fn photo(
        &self,
        sheet: &PrintedSheet,
        facing: Side,
        pose: &Pose,
        light: &Backlight,
    ) -> Photo {
        let view = self.look(sheet, facing, pose);
        let seed = Rng::stream(sheet.seed ^ pose.seed, 0xf0 + facing as u64).bits();
        let canvas = Canvas {
            width: self.size[0],
            height: self.size[1],
            colour: self.colour,
            blur: self.blur,
            noise: self.noise / 255.0,
            seed,
            depth: Depth::Eight,
        };
        let face = Face::new(sheet, facing, self.focal / pose.distance);
        let to_front = sheet.side_to_front(facing);
        let field = Field::new(light, self, sheet, &view);

        let place = |x: f64, y: f64| -> Node {
            let [near, far] = view.faces_at([x, y]);
            let seen = face.node(to_front.at(near));
            Node {
                far: face.node(to_front.at(far)).far,
                ..seen
            }
        };
        let shade = |node: &Node, x: f64, y: f64| {
            let near = to_front.at(node.sheet);
            let lamp = field.at(near) * field.vignette(x, y);
            let cover = face.cover(node.sheet);
            // A hole lets the light itself through, even where a mask is laid around the sheet.
            let [sx, sy] = node.sheet;
            let hole = sx > 0.0 && sx < sheet.actual[0] && sy > 0.0 && sy < sheet.actual[1];
            let around = if hole {
                light.surround.max(1.5)
            } else {
                light.surround
            };
            let bare = around as f32 * (1.0 - cover);
            let card = if cover > 0.0 {
                face.transmit(node, light.contrast as f32)
            } else {
                [0.0; 3]
            };
            let tint = [1.0, 0.97, 0.90];
            [0, 1, 2].map(|c| {
                let passed = light.level as f32 * (card[c] * cover + bare) * lamp;
                tint[c] * (passed + light.veil as f32)
            })
        };
        let codes = paint(&canvas, &place, &shade, &[] as &[Spot]);
        let image = picture_of(codes, &canvas);
        let image = if self.mirrored { image.fliph() } else { image };
        let image = self
            .jpeg
            .map_or_else(|| image.clone(), |q| through_jpeg(&image, q));
        Photo { image, view }
    }
}

/// Where the camera is held.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pose {
    /// From the lens to the place aimed at, mm.
    pub distance: f64,
    /// The place aimed at, mm from the middle of the near face, right and down.
    pub aim: [f64; 2],
    /// The sheet leant about the picture's x axis, degrees: positive brings its foot nearer.
    pub lean_deg: f64,
    /// The sheet swung about its y axis, degrees: positive brings its left edge nearer.
    pub swing_deg: f64,
    /// The sheet turned in the picture, clockwise, degrees.
    pub roll_deg: f64,
    /// Noise follows from it.
    pub seed: u64,
}

impl Pose {
    /// Square on, from a distance at which the sheet fills this share of the picture.
    pub fn square(camera: &Camera, sheet: Size, fill: f64) -> Self {
        let needed = (sheet.w / camera.size[0] as f64).max(sheet.h / camera.size[1] as f64);
        Self {
            distance: needed * camera.focal / fill,
            aim: [0.0; 2],
            lean_deg: 0.0,
            swing_deg: 0.0,
            roll_deg: 0.0,
            seed: 0,
        }
    }

    /// As somebody holds a phone: up to 7° askew, the whole sheet in the picture.
    pub fn by_hand(camera: &Camera, sheet: Size, seed: u64) -> Self {
        let mut rng = Rng::stream(seed, 0x905e);
        let fill = rng.between(0.74, 0.84);
        Self {
            aim: [rng.between(-4.0, 4.0), rng.between(-4.0, 4.0)],
            lean_deg: rng.between(-7.0, 7.0),
            swing_deg: rng.between(-7.0, 7.0),
            roll_deg: rng.between(-3.0, 3.0),
            seed,
            ..Self::square(camera, sheet, fill)
        }
    }

    /// Rows of the rotation from the sheet's axes to the camera's.
    fn rotation(&self) -> [[f64; 3]; 3] {
        let (sx, cx) = self.lean_deg.to_radians().sin_cos();
        let (sy, cy) = self.swing_deg.to_radians().sin_cos();
        let (sz, cz) = self.roll_deg.to_radians().sin_cos();
        // Camera z grows away from the lens, so what comes nearer gets a smaller z.
        let lean = [[1.0, 0.0, 0.0], [0.0, cx, sx], [0.0, -sx, cx]];
        let swing = [[cy, 0.0, -sy], [0.0, 1.0, 0.0], [sy, 0.0, cy]];
        let roll = [[cz, -sz, 0.0], [sz, cz, 0.0], [0.0, 0.0, 1.0]];
        product(&roll, &product(&lean, &swing))
    }
}

fn product(a: &[[f64; 3]; 3], b: &[[f64; 3]; 3]) -> [[f64; 3]; 3] {
    std::array::from_fn(|i| std::array::from_fn(|j| (0..3).map(|k| a[i][k] * b[k][j]).sum()))
}

/// A shadow on the light behind the sheet.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hand {
    /// Middle, mm in the near face's frame.
    pub at: [f64; 2],
    /// Radius, mm.
    pub radius: f64,
    /// Width of its soft edge, mm.
    pub soft: f64,
    /// Share of the light lost, 0 to 1.
    pub strength: f64,
}

/// The light behind the sheet, and what the sheet makes of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Backlight {
    /// How bright bare paper comes out, 0 to 1 in linear light.
    pub level: f64,
    /// How much the light differs over the sheet, 0 to 1.
    pub uneven: f64,
    /// Brightness around the sheet and in its holes, relative to the sheet: a window is far
    /// brighter, a mask 0.
    pub surround: f64,
    /// Light in the room and flare: added everywhere, linear.
    pub veil: f64,
    /// Share of the light that full ink on the far side takes away, as seen: 0.02 to 0.5.
    pub contrast: f64,
    /// A hand's shadow.
    pub hand: Option<Hand>,
    /// Where the light is uneven follows from it.
    pub seed: u64,
}

impl Backlight {
    /// Even light, far marks at this contrast.
    pub fn even(contrast: f64) -> Self {
        Self {
            level: 0.5,
            uneven: 0.0,
            surround: 1.6,
            veil: 0.0,
            contrast,
            hand: None,
            seed: 0,
        }
    }

    /// A window or a lamp: uneven by up to half, sometimes a hand's shadow, some flare.
    pub fn window(contrast: f64, sheet: Size, seed: u64) -> Self {
        let mut rng = Rng::stream(seed, 0x11947);
        let edge = |rng: &mut Rng| {
            let along = rng.unit();
            match rng.below(4) {
                0 => [along * sheet.w, -20.0],
                1 => [along * sheet.w, sheet.h + 20.0],
                2 => [-20.0, along * sheet.h],
                _ => [sheet.w + 20.0, along * sheet.h],
            }
        };
        let hand = rng.chance(0.5).then(|| Hand {
            at: edge(&mut rng),
            radius: rng.between(30.0, 60.0),
            soft: rng.between(10.0, 40.0),
            strength: rng.between(0.2, 0.6),
        });
        Self {
            level: rng.between(0.35, 0.6),
            uneven: rng.between(0.1, 0.5),
            surround: if rng.chance(0.7) {
                rng.between(1.4, 3.0)
            } else {
                0.02
            },
            veil: rng.between(0.0, 0.03),
            contrast,
            hand,
            seed,
        }
    }
}

/// A photo and the truth about it.
#[derive(Debug)]
pub struct Photo {
    /// The picture.
    pub image: DynamicImage,
    /// Where everything lies in it.
    pub view: PhotoView,
}

/// Where the places of both faces lie in a photo. Pixel coordinates count from the picture's top
/// left corner; the first pixel's centre is (0.5, 0.5).
#[derive(Clone, Debug)]
pub struct PhotoView {
    facing: Side,
    rotation: [[f64; 3]; 3],
    aim: [f64; 3],
    distance: f64,
    focal: f64,
    principal: Xy,
    k: [f64; 2],
    size: [usize; 2],
    mirrored: bool,
    caliper: f64,
    /// From one side's frame to the other's.
    over: Linear,
    warps: [Warp; 2],
}

impl PhotoView {
    /// The picture's width and height, px.
    pub fn size(&self) -> [usize; 2] {
        self.size
    }

    /// The side that faces the camera.
    pub fn facing(&self) -> Side {
        self.facing
    }

    /// Where the place `p` of a side's page, printed on that side's own face, lies in the picture.
    pub fn pixel_of_page(&self, side: Side, p: [f64; 2]) -> [f64; 2] {
        self.pixel_of_sheet(side, self.warps[side as usize].at(p))
    }

    /// Where a place on a side's face, in that side's own sheet coordinates, lies in the picture.
    pub fn pixel_of_sheet(&self, side: Side, p: [f64; 2]) -> [f64; 2] {
        let (place, depth) = if side == self.facing {
            (p, 0.0)
        } else {
            (self.over.at(p), self.caliper)
        };
        let [x, y] = self.project([place[0], place[1], depth]);
        [
            if self.mirrored {
                self.size[0] as f64 - x
            } else {
                x
            },
            y,
        ]
    }

    /// Whether a place of the picture lies within it, `margin` px from its border.
    pub fn shows(&self, pixel: [f64; 2], margin: f64) -> bool {
        let [w, h] = self.size.map(|s| s as f64);
        (margin..=w - margin).contains(&pixel[0]) && (margin..=h - margin).contains(&pixel[1])
    }

    /// The cheap photo: where a reader would find marks printed at these places of a side's page,
    /// with an error of `sd` px in x and in y; nothing for marks outside the picture.
    pub fn find(
        &self,
        side: Side,
        marks: &[[f64; 2]],
        sd: f64,
        rng: &mut Rng,
    ) -> Vec<Option<[f64; 2]>> {
        marks
            .iter()
            .map(|&mark| {
                let [x, y] = self.pixel_of_page(side, mark);
                let found = [x + sd * rng.normal(), y + sd * rng.normal()];
                self.shows([x, y], 0.0).then_some(found)
            })
            .collect()
    }

    fn project(&self, p: [f64; 3]) -> Xy {
        let d = [p[0] - self.aim[0], p[1] - self.aim[1], p[2] - self.aim[2]];
        let [x, y, z] = self
            .rotation
            .map(|row| row[0] * d[0] + row[1] * d[1] + row[2] * d[2]);
        let depth = z + self.distance;
        let (x, y) = (x / depth, y / depth);
        let stretch = self.distortion(x * x + y * y);
        [
            self.principal[0] + self.focal * x * stretch,
            self.principal[1] + self.focal * y * stretch,
        ]
    }

    fn distortion(&self, r2: f64) -> f64 {
        1.0 + self.k[0] * r2 + self.k[1] * r2 * r2
    }

    /// Where the ray of a pixel (before mirroring) meets the two faces, in the near face's frame.
    fn faces_at(&self, pixel: Xy) -> [Xy; 2] {
        let bent = [0, 1].map(|i| (pixel[i] - self.principal[i]) / self.focal);
        let mut ray = bent;
        for _ in 0..40 {
            let stretch = self.distortion(ray[0] * ray[0] + ray[1] * ray[1]);
            let next = bent.map(|b| b / stretch);
            let moved = (next[0] - ray[0]).abs().max((next[1] - ray[1]).abs());
            ray = next;
            if moved < 1e-11 {
                break;
            }
        }
        // The rotation's columns are its rows transposed: camera axes back to the sheet's.
        let r = &self.rotation;
        let back = |v: [f64; 3]| -> [f64; 3] {
            std::array::from_fn(|i| r[0][i] * v[0] + r[1][i] * v[1] + r[2][i] * v[2])
        };
        let lens = back([0.0, 0.0, -self.distance]);
        let lens: [f64; 3] = std::array::from_fn(|i| self.aim[i] + lens[i]);
        let ray = back([ray[0], ray[1], 1.0]);
        [0.0, self.caliper].map(|plane| {
            let t = (plane - lens[2]) / ray[2];
            [lens[0] + t * ray[0], lens[1] + t * ray[1]]
        })
    }
}

/// The uneven light over the near face, and the lens's own falling off.
struct Field<'a> {
    light: &'a Backlight,
    /// Slopes and curvatures of the light over the sheet.
    terms: [f64; 5],
    sheet: Xy,
    centre: Xy,
    corner: f64,
    vignette: f64,
}

impl<'a> Field<'a> {
    fn new(light: &'a Backlight, camera: &Camera, sheet: &PrintedSheet, view: &PhotoView) -> Self {
        let mut rng = Rng::stream(light.seed, 0xf1e1d);
        let mut terms: [f64; 5] = std::array::from_fn(|_| rng.normal());
        let sum: f64 = terms.iter().map(|t| t.abs()).sum();
        terms.iter_mut().for_each(|t| *t *= light.uneven / sum);
        let half = camera.size.map(|s| s as f64 / 2.0);
        Self {
            light,
            terms,
            sheet: sheet.actual,
            centre: view.principal,
            corner: half[0].hypot(half[1]),
            vignette: camera.vignette,
        }
    }

    /// Light at a place of the near face.
    fn at(&self, p: Xy) -> f32 {
        let (u, v) = (
            2.0 * p[0] / self.sheet[0] - 1.0,
            2.0 * p[1] / self.sheet[1] - 1.0,
        );
        let (u, v) = (u.clamp(-1.5, 1.5), v.clamp(-1.5, 1.5));
        let [a, b, c, d, e] = self.terms;
        let mut light = 1.0 + a * u + b * v + c * u * v + d * (u * u - 0.5) + e * (v * v - 0.5);
        if let Some(hand) = self.light.hand {
            let away = (p[0] - hand.at[0]).hypot(p[1] - hand.at[1]);
            let t = ((hand.radius + hand.soft - away) / hand.soft.max(1e-6)).clamp(0.0, 1.0);
            light *= 1.0 - hand.strength * t * t * (3.0 - 2.0 * t);
        }
        light.max(0.02) as f32
    }

    fn vignette(&self, x: f64, y: f64) -> f32 {
        let (dx, dy) = (x - self.centre[0], y - self.centre[1]);
        let r2 = (dx * dx + dy * dy) / (self.corner * self.corner);
        (1.0 - self.vignette * r2) as f32
    }
}
