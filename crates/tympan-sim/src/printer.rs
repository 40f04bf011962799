//! Simulated printers.

use std::sync::Arc;

use tympan_sheet::{FeedAxis, Flip, LeadingEdge, Side, Size};

use crate::media::Media;
use crate::page::Page;
use crate::rng::Rng;
use crate::sheet::PrintedSheet;
use crate::warp::{Bend, Linear, Warp};

/// Where one side's image comes to lie, sheet after sheet, looking at that side: x to the right,
/// y down, about the sheet's centre.
///
/// `centre + shift + R(tilt)·[[1+sx, k(1+sy)], [0, 1+sy]]·(p − centre)`, with `k = tan shear`,
/// plus the bend.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Placement {
    /// mm to the right and down.
    pub shift: [f64; 2],
    /// Clockwise as seen, degrees.
    pub tilt_deg: f64,
    /// Longer by this share along x and along y: 0.001 is a millimetre in a metre.
    pub stretch: [f64; 2],
    /// Shear, degrees: what is lower is moved to the right.
    pub shear_deg: f64,
    /// Displacement to the right and down, mm, at 100 mm from the middle along the feed; it grows
    /// with the square of that distance.
    pub bend: [f64; 2],
}

impl Placement {
    /// Everything where the page has it.
    pub const EXACT: Self = Self {
        shift: [0.0; 2],
        tilt_deg: 0.0,
        stretch: [0.0; 2],
        shear_deg: 0.0,
        bend: [0.0; 2],
    };

    /// A plain shift, mm to the right and down as seen on that side.
    pub const fn shifted(x: f64, y: f64) -> Self {
        Self {
            shift: [x, y],
            ..Self::EXACT
        }
    }

    fn linear(&self, centre: [f64; 2]) -> Linear {
        let (sin, cos) = self.tilt_deg.to_radians().sin_cos();
        let (sx, sy) = (1.0 + self.stretch[0], 1.0 + self.stretch[1]);
        let k = self.shear_deg.to_radians().tan() * sy;
        Linear::about(
            cos * sx,
            cos * k - sin * sy,
            sin * sx,
            sin * k + cos * sy,
            centre,
        )
        .then(&Linear::shift(self.shift))
    }
}

/// How the register error differs from sheet to sheet: normal, in the front frame's axes as they
/// lie to the feed.
///
/// `across` and `along` count positive to the right and down as seen from the front (with the
/// feed along y, across is x; with the feed along x, across is y), the tilt clockwise.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scatter {
    /// Standard deviation across the feed, mm.
    pub across: f64,
    /// Standard deviation along the feed, mm.
    pub along: f64,
    /// Standard deviation of the tilt, degrees.
    pub tilt_deg: f64,
    /// Correlations: across with along, across with tilt, along with tilt.
    pub correlation: [f64; 3],
    /// Standard deviation of the stretch in x and in y, independent, a share of one.
    pub stretch: f64,
    /// Standard deviation of the shear, degrees.
    pub shear_deg: f64,
    /// How much of the variance arises when the fronts are printed, 0 to 1.
    pub fronts_share: f64,
}

impl Scatter {
    /// A printer that does the same to every sheet.
    pub const NONE: Self = Self {
        across: 0.0,
        along: 0.0,
        tilt_deg: 0.0,
        correlation: [0.0; 3],
        stretch: 0.0,
        shear_deg: 0.0,
        fronts_share: 0.5,
    };

    /// A usual desk printer (common practice, no published source).
    pub const USUAL: Self = Self {
        across: 0.20,
        along: 0.30,
        tilt_deg: 0.05,
        correlation: [0.0; 3],
        stretch: 0.000_3,
        shear_deg: 0.017,
        fronts_share: 0.5,
    };

    /// One draw: across and along in mm, tilt in radians, stretch x and y, shear in radians.
    fn draw(&self, rng: &mut Rng) -> [f64; 6] {
        let [r12, r13, r23] = self.correlation;
        let z = [rng.normal(), rng.normal(), rng.normal()];
        // Cholesky of the correlation matrix, row by row.
        let d2 = (1.0 - r12 * r12).max(0.0).sqrt();
        let l32 = if d2 > 0.0 {
            (r23 - r12 * r13) / d2
        } else {
            0.0
        };
        let d3 = (1.0 - r13 * r13 - l32 * l32).max(0.0).sqrt();
        [
            self.across * z[0],
            self.along * (r12 * z[0] + d2 * z[1]),
            self.tilt_deg.to_radians() * (r13 * z[0] + l32 * z[1] + d3 * z[2]),
            self.stretch * rng.normal(),
            self.stretch * rng.normal(),
            self.shear_deg.to_radians() * rng.normal(),
        ]
    }
}

/// The part of a page that a printer leaves bare at each edge, mm, as the page is seen.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Margins {
    /// At the head.
    pub top: f64,
    /// At the right.
    pub right: f64,
    /// At the foot.
    pub bottom: f64,
    /// At the left.
    pub left: f64,
}

impl Margins {
    /// The same on all sides.
    pub const fn all(mm: f64) -> Self {
        Self {
            top: mm,
            right: mm,
            bottom: mm,
            left: mm,
        }
    }
}

/// What holds the sheet across the feed, and so where a sheet of the wrong width lies.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Guide {
    /// Two guides that move together: the sheet is centred.
    #[default]
    Centre,
    /// A fixed guide at the left (at the head where the feed is along x), seen from the front.
    Low,
    /// A fixed guide at the right (at the foot where the feed is along x), seen from the front.
    High,
}

/// A desk printer with its stock and its way of working.
#[derive(Clone, Debug)]
pub struct Printer {
    /// Everything random follows from it.
    pub seed: u64,
    /// Nominal size of the sheet, as the front is held.
    pub size: Size,
    /// How the sheets are turned between the passes.
    pub flip: Flip,
    /// Where the fronts' images lie, looking at the fronts.
    pub fronts: Placement,
    /// Where the backs' images lie, looking at the backs.
    pub backs: Placement,
    /// The axis that the sheet travels along.
    pub feed: FeedAxis,
    /// The edge that leads when the fronts are printed, as named on the front.
    pub front_leading: LeadingEdge,
    /// The edge that leads when the backs are printed, as named on the front.
    pub back_leading: LeadingEdge,
    /// What holds the sheet across the feed.
    pub guide: Guide,
    /// How sheets differ.
    pub scatter: Scatter,
    /// What stays bare on both sides.
    pub margins: Margins,
    /// The side printed first.
    pub first: Side,
    /// How much the sheet shrinks between the passes, in x and in y, a share of one.
    pub shrink: [f64; 2],
    /// What the program or the driver makes of 100 mm, on both sides: 0.97 for "fit to page".
    pub scale: f64,
    /// How dark ink is, 0 (none) to 1 (full).
    pub ink: f64,
    /// How ragged the edges of the ink are, mm (sd).
    pub feathering: f64,
    /// What is printed on.
    pub media: Media,
}

impl Printer {
    /// A printer that puts everything exactly where the page has it, feeding along the height of
    /// the sheet with the head first, turned over by `flip`.
    pub fn exact(size: Size, flip: Flip) -> Self {
        Self {
            seed: 0,
            size,
            flip,
            fronts: Placement::EXACT,
            backs: Placement::EXACT,
            feed: FeedAxis::Y,
            front_leading: LeadingEdge::Head,
            back_leading: LeadingEdge::Head.on_back(flip),
            guide: Guide::Centre,
            scatter: Scatter::NONE,
            margins: Margins::default(),
            first: Side::Front,
            shrink: [0.0; 2],
            scale: 1.0,
            ink: 1.0,
            feathering: 0.0,
            media: Media::default(),
        }
    }

    /// A printer with faults drawn at random, of the size that desk printers have: shift sd 1.5 mm
    /// a side, tilt 0.15°, stretch 0.15 %, shear 0.05°, bend 0.05 mm, usual scatter (common
    /// practice, no published source).
    pub fn faulty(seed: u64, size: Size, flip: Flip) -> Self {
        let mut rng = Rng::stream(seed, 0xfa17);
        let mut placement = || Placement {
            shift: [1.5 * rng.normal(), 1.5 * rng.normal()],
            tilt_deg: 0.15 * rng.normal(),
            stretch: [0.001_5 * rng.normal(), 0.001_5 * rng.normal()],
            shear_deg: 0.05 * rng.normal(),
            bend: [0.05 * rng.normal(), 0.05 * rng.normal()],
        };
        let (fronts, backs) = (placement(), placement());
        Self {
            seed,
            fronts,
            backs,
            scatter: Scatter::USUAL,
            margins: Margins::all(4.2),
            feathering: 0.015,
            ..Self::exact(size, flip)
        }
    }

    /// The same printer without scatter.
    pub fn steady(&self) -> Self {
        Self {
            scatter: Scatter::NONE,
            ..self.clone()
        }
    }

    /// Prints one sheet. The same index gives the same sheet again, whatever is printed on it.
    pub fn print(&self, index: u64, front: &Arc<Page>, back: &Arc<Page>) -> PrintedSheet {
        let nominal = [self.size.w, self.size.h];
        let centre = [nominal[0] / 2.0, nominal[1] / 2.0];
        let mut rng = Rng::stream(self.seed, index);
        let tolerance = self.media.size_tolerance;
        let actual = nominal.map(|side| side + rng.between(-tolerance, tolerance));

        let share = self.scatter.fronts_share.clamp(0.0, 1.0);
        let front_draw = self.scatter.draw(&mut rng).map(|d| d * share.sqrt());
        let back_draw = self
            .scatter
            .draw(&mut rng)
            .map(|d| d * (1.0 - share).sqrt());

        let axis = match self.feed {
            FeedAxis::X => 0,
            FeedAxis::Y => 1,
        };
        let scaled = Linear::about(self.scale, 0.0, 0.0, self.scale, centre);
        let bend = |by| Bend {
            axis,
            middle: centre[axis],
            by,
        };

        // All that follows the placement happens in the front frame, for both sides.
        let later = |draw: [f64; 6], leading, side| {
            self.scattered(draw, axis, centre)
                .then(&Linear::shift(self.alignment(leading, actual)))
                .then(&self.shrunk(side, actual))
        };
        let front_outer = later(front_draw, self.front_leading, Side::Front);
        let front_warp = Warp::new(
            scaled.then(&self.fronts.linear(centre)),
            bend(self.fronts.bend),
            front_outer,
        );

        let back_outer = turned_over(self.flip, nominal)
            .then(&later(back_draw, self.back_leading, Side::Back))
            .then(&turned_over(self.flip, actual));
        let back_warp = Warp::new(
            scaled.then(&self.backs.linear(centre)),
            bend(self.backs.bend),
            back_outer,
        );

        PrintedSheet::new(
            self,
            index,
            actual,
            [front_warp, back_warp],
            [front, back].map(Arc::clone),
        )
    }

    /// One sheet's own displacement, in the front frame.
    fn scattered(&self, draw: [f64; 6], axis: usize, centre: [f64; 2]) -> Linear {
        let [across, along, tilt, sx, sy, k] = draw;
        let shift = if axis == 1 {
            [across, along]
        } else {
            [along, across]
        };
        let (sin, cos) = tilt.sin_cos();
        Linear::about(1.0 + sx, k, 0.0, 1.0 + sy, centre)
            .then(&Linear::about(cos, -sin, sin, cos, centre))
            .then(&Linear::shift(shift))
    }

    /// Where a sheet of the wrong size lies to its image, in the front frame: it is stopped by its
    /// leading edge and held by the guides.
    fn alignment(&self, leading: LeadingEdge, actual: [f64; 2]) -> [f64; 2] {
        let over = [actual[0] - self.size.w, actual[1] - self.size.h];
        let held = |over: f64| match self.guide {
            Guide::Centre => over / 2.0,
            Guide::Low => 0.0,
            Guide::High => over,
        };
        match leading {
            LeadingEdge::Head => [held(over[0]), 0.0],
            LeadingEdge::Foot => [held(over[0]), over[1]],
            LeadingEdge::Left => [0.0, held(over[1])],
            LeadingEdge::Right => [over[0], held(over[1])],
        }
    }

    /// What the drying between the passes does to the first side's image. The sheet's cut size is
    /// taken to be that after shrinking.
    fn shrunk(&self, side: Side, actual: [f64; 2]) -> Linear {
        if side != self.first {
            return Linear::IDENTITY;
        }
        let [x, y] = self.shrink;
        Linear::about(
            1.0 - x,
            0.0,
            0.0,
            1.0 - y,
            [actual[0] / 2.0, actual[1] / 2.0],
        )
    }
}

/// From one side's frame to the other's; its own inverse.
pub(crate) fn turned_over(flip: Flip, size: [f64; 2]) -> Linear {
    match flip {
        Flip::Sideways => Linear::mirror_x(size[0]),
        Flip::Endways => Linear::mirror_y(size[1]),
    }
}
