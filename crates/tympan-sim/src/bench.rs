//! A set-up's machines together, and what goes wrong with them: pictures that a reader should read,
//! may read with more doubt, or must refuse.

use std::sync::Arc;

use image::{DynamicImage, GrayImage, Luma};
use tympan_sheet::{LeadingEdge, QuarterTurn, Side, Size};

use crate::camera::{Backlight, Camera, Photo, Pose};
use crate::holes::{Hole, office_punch, office_punch_twice};
use crate::page::Page;
use crate::printer::Printer;
use crate::rng::Rng;
use crate::scanner::{Backing, EdgeShadow, OnBed, Scan, Scanner};
use crate::sheet::{Corner, Fold, PrintedSheet};

/// A printer, a scanner, a camera, and the two pages of a test sheet.
#[derive(Clone, Debug)]
pub struct Bench {
    /// Prints the sheets.
    pub printer: Printer,
    /// Scans them.
    pub scanner: Scanner,
    /// Photographs them.
    pub camera: Camera,
    /// Share of the light that the far side's ink takes away in a photo.
    pub contrast: f64,
    /// The test sheet's pages, front and back.
    pub pages: [Arc<Page>; 2],
    /// Pages of another set-up's test sheet, front and back, of the same size.
    pub other: Option<[Arc<Page>; 2]>,
}

/// A printed sheet and the scans of its two sides.
#[derive(Debug)]
pub struct Pair {
    /// The sheet that was scanned.
    pub sheet: PrintedSheet,
    /// The front.
    pub front: Scan,
    /// The back.
    pub back: Scan,
}

/// A printed sheet and its photo against the light.
#[derive(Debug)]
pub struct Shot {
    /// The sheet that was photographed.
    pub sheet: PrintedSheet,
    /// The photo.
    pub photo: Photo,
}

impl Bench {
    /// A faulty printer, a usual scanner at 300 dpi and a usual phone, all drawn from the seed.
    pub fn usual(printer: Printer, seed: u64, pages: [Arc<Page>; 2]) -> Self {
        Self {
            printer,
            scanner: Scanner::usual(seed, 300.0),
            camera: Camera::phone(seed),
            contrast: 0.08,
            pages,
            other: None,
        }
    }

    /// Sheet number `seed`, printed and without holes.
    pub fn sheet(&self, seed: u64) -> PrintedSheet {
        self.printer.print(seed, &self.pages[0], &self.pages[1])
    }

    /// Two scans by four punched holes over a dark backing, each laid by hand.
    pub fn scans(&self, seed: u64) -> Pair {
        let mut rng = Rng::stream(seed, 0x90d);
        let sheet = self
            .sheet(seed)
            .punched(office_punch_twice(self.printer.size, &mut rng));
        self.scan(sheet, &self.scanner, seed, &mut |_, _| {})
    }

    /// Two scans by the sheet's edges alone, over a dark backing.
    pub fn scans_by_edges(&self, seed: u64) -> Pair {
        self.scan(self.sheet(seed), &self.scanner, seed, &mut |_, _| {})
    }

    /// One photo against the light; every other seed has the back facing the camera.
    pub fn photo(&self, seed: u64) -> Shot {
        let facing = if seed.is_multiple_of(2) {
            Side::Front
        } else {
            Side::Back
        };
        self.shoot(self.sheet(seed), &self.camera, facing, self.contrast, seed)
    }

    fn scan(
        &self,
        sheet: PrintedSheet,
        scanner: &Scanner,
        seed: u64,
        lay: &mut dyn FnMut(Side, &mut OnBed),
    ) -> Pair {
        let mut side = |side: Side| {
            let mut lie = OnBed::by_hand(seed.wrapping_mul(2).wrapping_add(side as u64));
            lay(side, &mut lie);
            scanner.scan(&sheet, side, &lie)
        };
        let (front, back) = (side(Side::Front), side(Side::Back));
        Pair { sheet, front, back }
    }

    fn shoot(
        &self,
        sheet: PrintedSheet,
        camera: &Camera,
        facing: Side,
        contrast: f64,
        seed: u64,
    ) -> Shot {
        let size = self.printer.size;
        let pose = Pose::by_hand(camera, size, seed);
        let light = Backlight::window(contrast, size, seed);
        let photo = camera.photo(&sheet, facing, &pose, &light);
        Shot { sheet, photo }
    }
}

/// What makes a reading weaker, though not wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Weakness {
    /// A corner folded over; read by the edges.
    FoldedCorner,
    /// Only two holes, at one edge, with white around the sheet.
    TwoHoles,
    /// Three holes, with white around the sheet.
    ThreeHoles,
    /// A strip of one scan cut off, 5 to 12 % of it.
    PartMissing,
    /// A shadow along one edge of the back.
    ShadowedEdge,
    /// The back scanned a quarter turn from the front.
    QuarterTurnApart,
    /// The back scanned upside down.
    HalfTurnApart,
    /// Axes that disagree by 0.3 %, with a quarter turn between the scans.
    AxesDisagree,
    /// 75 to 120 dpi.
    LowDpi,
    /// A third of the light lost across the bed.
    UnevenLight,
    /// A carriage that wobbles by 0.2 mm.
    Wavy,
    /// A sheet cut 1 to 2 mm too large or too small, read by the edges.
    WronglyCut,
}

impl Weakness {
    /// All of them.
    pub const ALL: [Self; 12] = [
        Self::FoldedCorner,
        Self::TwoHoles,
        Self::ThreeHoles,
        Self::PartMissing,
        Self::ShadowedEdge,
        Self::QuarterTurnApart,
        Self::HalfTurnApart,
        Self::AxesDisagree,
        Self::LowDpi,
        Self::UnevenLight,
        Self::Wavy,
        Self::WronglyCut,
    ];

    /// Two scans with this weakness.
    pub fn scans(self, bench: &Bench, seed: u64) -> Pair {
        let mut rng = Rng::stream(seed, 0x3eac);
        let size = bench.printer.size;
        let mut scanner = bench.scanner.clone();
        let mut printer = bench.printer.clone();
        let mut holes = office_punch_twice(size, &mut rng);
        let mut fold = None;
        let mut turn = QuarterTurn::Upright;
        let mut crop = [0.0; 4];
        let mut shadow = None;
        match self {
            Self::FoldedCorner => {
                holes.clear();
                fold = Some(random_fold(&mut rng));
            }
            Self::TwoHoles => {
                scanner.backing = Backing::Patch;
                holes = office_punch(size, LeadingEdge::Left, &mut rng);
            }
            Self::ThreeHoles => {
                scanner.backing = Backing::Patch;
                holes.remove(rng.below(4));
            }
            Self::PartMissing => crop[rng.below(4)] = rng.between(0.05, 0.12),
            Self::ShadowedEdge => {
                holes.clear();
                shadow = Some(EdgeShadow {
                    edge: rng.below(4),
                    strength: rng.between(0.5, 0.9),
                    onto_sheet: rng.between(0.5, 2.5),
                    onto_backing: 1.0,
                });
            }
            Self::QuarterTurnApart => turn = QuarterTurn::Clockwise,
            Self::HalfTurnApart => turn = QuarterTurn::Half,
            Self::AxesDisagree => {
                scanner.axis_error = [0.0, if rng.chance(0.5) { 0.003 } else { -0.003 }];
                turn = QuarterTurn::Anticlockwise;
            }
            Self::LowDpi => scanner.dpi = rng.between(75.0, 120.0).round(),
            Self::UnevenLight => scanner.gradient = 0.35,
            Self::Wavy => scanner.waviness = 0.2,
            Self::WronglyCut => {
                holes.clear();
                printer.media = printer.media.cut_within(2.0);
            }
        }
        let mut sheet = printer
            .print(seed, &bench.pages[0], &bench.pages[1])
            .punched(holes);
        if let Some(fold) = fold {
            sheet = sheet.folded(fold);
        }
        bench.scan(sheet, &scanner, seed, &mut |side, lie| {
            if side == Side::Back {
                (lie.turn, lie.crop, lie.shadow) = (turn, crop, shadow);
            }
        })
    }
}

fn random_fold(rng: &mut Rng) -> Fold {
    let corners = [
        Corner::TopLeft,
        Corner::TopRight,
        Corner::BottomRight,
        Corner::BottomLeft,
    ];
    Fold {
        corner: corners[rng.below(4)],
        legs: [rng.between(8.0, 25.0), rng.between(8.0, 25.0)],
        onto: if rng.chance(0.5) {
            Side::Front
        } else {
            Side::Back
        },
    }
}

/// What a reader must refuse.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Spoiler {
    /// The program mirrored the picture.
    Mirrored,
    /// The same side was scanned twice.
    SameSideTwice,
    /// Front and back of different sheets.
    MixedSheets,
    /// Another set-up's sheet.
    AnotherSetUp,
    /// "Fit to page" or an enlargement, 1.5 to 7 % off.
    PrintedScaled,
    /// The front printed on both sides.
    FrontOnBothSides,
    /// The sheet turned about the wrong edge between the passes.
    WrongFlip,
    /// A white backing and no holes: nothing that both scans show.
    WhiteBackingNoHoles,
    /// More than half of the picture is missing.
    HeavyCrop,
    /// Hardly any ink, or a stock that hardly any light comes through.
    TooFaint,
    /// Out of focus.
    Blurred,
    /// Too few pixels.
    TooCoarse,
    /// A blank page, a page of cards, a page of dots.
    NotATestSheet,
}

impl Spoiler {
    /// All of them.
    pub const ALL: [Self; 13] = [
        Self::Mirrored,
        Self::SameSideTwice,
        Self::MixedSheets,
        Self::AnotherSetUp,
        Self::PrintedScaled,
        Self::FrontOnBothSides,
        Self::WrongFlip,
        Self::WhiteBackingNoHoles,
        Self::HeavyCrop,
        Self::TooFaint,
        Self::Blurred,
        Self::TooCoarse,
        Self::NotATestSheet,
    ];

    /// Two scans spoiled so; nothing where the bench has no other set-up's pages and they are
    /// needed.
    pub fn scans(self, bench: &Bench, seed: u64) -> Option<[Scan; 2]> {
        let mut rng = Rng::stream(seed, 0x5b011);
        let size = bench.printer.size;
        let printer = self.printer(bench, &mut rng);
        let pages = self.pages(bench, seed, &mut rng)?;
        let mut scanner = bench.scanner.clone();
        let mut crop = [0.0; 4];
        match self {
            Self::Mirrored => scanner.mirrored = true,
            Self::WhiteBackingNoHoles => scanner.backing = Backing::White,
            Self::HeavyCrop => crop = heavy_crop(&mut rng),
            Self::Blurred => scanner.blur = rng.between(0.8, 1.6),
            Self::TooCoarse => scanner.dpi = rng.between(18.0, 36.0).round(),
            _ => {}
        }
        let print = |index: u64, rng: &mut Rng| {
            let holes: Vec<Hole> = match self {
                Self::WhiteBackingNoHoles => Vec::new(),
                _ => office_punch_twice(size, rng),
            };
            printer.print(index, &pages[0], &pages[1]).punched(holes)
        };
        let sheet = print(seed, &mut rng);
        let another = print(seed.wrapping_add(1), &mut rng);
        let lie = |n: u64| OnBed {
            crop,
            ..OnBed::by_hand(seed.wrapping_mul(2).wrapping_add(n))
        };
        let first = scanner.scan(&sheet, Side::Front, &lie(0));
        let second = match self {
            Self::SameSideTwice => scanner.scan(&sheet, Side::Front, &lie(1)),
            Self::MixedSheets => scanner.scan(&another, Side::Back, &lie(1)),
            _ => scanner.scan(&sheet, Side::Back, &lie(1)),
        };
        Some([first, second])
    }

    /// A photo spoiled so; nothing where a single photo cannot have this fault.
    pub fn photo(self, bench: &Bench, seed: u64) -> Option<Photo> {
        if matches!(
            self,
            Self::SameSideTwice | Self::MixedSheets | Self::WhiteBackingNoHoles
        ) {
            return None;
        }
        let mut rng = Rng::stream(seed, 0x5b012);
        let printer = self.printer(bench, &mut rng);
        let pages = self.pages(bench, seed, &mut rng)?;
        let mut camera = bench.camera.clone();
        let mut contrast = bench.contrast;
        match self {
            Self::Mirrored => camera.mirrored = true,
            Self::TooFaint => contrast = rng.between(0.0, 0.003),
            Self::Blurred => camera.blur = rng.between(22.0, 40.0),
            Self::TooCoarse => {
                let smaller = rng.between(12.0, 20.0);
                camera.size = camera.size.map(|s| (s as f64 / smaller) as usize);
                camera.focal /= smaller;
                camera.principal = camera.principal.map(|p| p / smaller);
            }
            _ => {}
        }
        let sheet = Printer {
            ink: bench.printer.ink,
            ..printer
        }
        .print(seed, &pages[0], &pages[1]);
        let facing = if seed.is_multiple_of(2) {
            Side::Front
        } else {
            Side::Back
        };
        if self == Self::HeavyCrop {
            let size = bench.printer.size;
            let near = Pose::by_hand(&camera, size, seed);
            let pose = Pose {
                distance: near.distance * rng.between(0.40, 0.5),
                aim: [
                    rng.between(-0.3, 0.3) * size.w,
                    rng.between(-0.3, 0.3) * size.h,
                ],
                ..near
            };
            let light = Backlight::window(contrast, size, seed);
            return Some(camera.photo(&sheet, facing, &pose, &light));
        }
        Some(bench.shoot(sheet, &camera, facing, contrast, seed).photo)
    }

    fn printer(self, bench: &Bench, rng: &mut Rng) -> Printer {
        let mut printer = bench.printer.clone();
        match self {
            Self::PrintedScaled => {
                let off = rng.between(0.015, 0.07);
                printer.scale = if rng.chance(0.7) {
                    1.0 - off
                } else {
                    1.0 + off
                };
            }
            Self::WrongFlip => {
                printer.flip = printer.flip.other();
                printer.back_leading = LeadingEdge::Head.on_back(printer.flip);
            }
            Self::TooFaint => printer.ink = rng.between(0.0, 0.02),
            _ => {}
        }
        printer
    }

    fn pages(self, bench: &Bench, seed: u64, rng: &mut Rng) -> Option<[Arc<Page>; 2]> {
        let [front, back] = &bench.pages;
        Some(match self {
            Self::AnotherSetUp => bench.other.clone()?,
            Self::FrontOnBothSides => [Arc::clone(front), Arc::clone(front)],
            Self::NotATestSheet => {
                let size = bench.printer.size;
                [
                    not_a_test_sheet(size, seed, rng),
                    not_a_test_sheet(size, seed, rng),
                ]
            }
            _ => [Arc::clone(front), Arc::clone(back)],
        })
    }
}

/// Takes away more than half from one side, or much from two adjoining ones.
fn heavy_crop(rng: &mut Rng) -> [f64; 4] {
    let mut crop = [0.0; 4];
    if rng.chance(0.5) {
        crop[rng.below(4)] = rng.between(0.6, 0.8);
    } else {
        crop[rng.below(2) * 2] = rng.between(0.4, 0.55);
        crop[rng.below(2) * 2 + 1] = rng.between(0.4, 0.55);
    }
    crop
}

/// By the seed: nothing; nine cards with rounded boxes in them; dots on a 15 mm pitch.
fn not_a_test_sheet(size: Size, seed: u64, rng: &mut Rng) -> Arc<Page> {
    const PX: f64 = 6.0;
    let (width, height) = ((size.w * PX) as u32, (size.h * PX) as u32);
    let offset = [rng.between(0.0, 15.0), rng.between(0.0, 15.0)];
    let shade = |x: f64, y: f64| match seed % 3 {
        0 => 255,
        1 => {
            let (cell, origin) = (
                [63.0, 88.0],
                [(size.w - 189.0) / 2.0, (size.h - 264.0) / 2.0],
            );
            let (u, v) = ((x - origin[0]) / cell[0], (y - origin[1]) / cell[1]);
            if !(0.0..3.0).contains(&u) || !(0.0..3.0).contains(&v) {
                return 255;
            }
            let number = (u as u32 + 3 * v as u32) * 37 % 90;
            let inner = [(u.fract() - 0.5).abs(), (v.fract() - 0.5).abs()];
            if inner[0].max(inner[1]) > 0.46 {
                40
            } else {
                120 + number as u8
            }
        }
        _ => {
            let u = (x + offset[0]).rem_euclid(15.0) - 7.5;
            let v = (y + offset[1]).rem_euclid(15.0) - 7.5;
            if u.hypot(v) < 2.5 { 0 } else { 255 }
        }
    };
    let picture = GrayImage::from_fn(width, height, |x, y| {
        Luma([shade((f64::from(x) + 0.5) / PX, (f64::from(y) + 0.5) / PX)])
    });
    Arc::new(Page::new(&DynamicImage::ImageLuma8(picture), PX))
}
