//! What pictures of one test sheet say.

use std::fmt;

use serde::Serialize;
use tympan_sheet::{Affine, Decomposed, Front, Map, Page, Point, Side, Size, Vector};

use super::refusal::Refusal;
use super::solve::Normal;
use crate::code::SetupCode;
use crate::pin::Observation;
use crate::witness::RunCode;

/// How a sheet was read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(tag = "way", rename_all = "snake_case")]
pub enum Way {
    /// From one scan of each side.
    TwoScans {
        /// Punched holes that tie them together.
        holes: usize,
        /// Edges that tie them together.
        edges: usize,
    },
    /// From one photo against the light.
    Photo {
        /// The side that faces the camera.
        facing: Side,
    },
}

/// Where one side's print lies on its sheet, by the sheet's own edges: shifted so much from the
/// sheet's middle and tilted, as seen on that side.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Placement {
    /// The side.
    pub side: Side,
    /// From the sheet's middle to the print's middle, mm, as seen on the side: x right, y down.
    /// Where only one of two opposite edges was seen, the sheet is taken to have its nominal size.
    pub shift: Vector<Page>,
    /// The print's tilt on the sheet, radians, clockwise as seen on the side.
    pub tilt: f64,
    /// Standard uncertainty of the shift along each axis, mm.
    pub shift_sd: f64,
    /// Standard uncertainty of the tilt, radians.
    pub tilt_sd: f64,
}

/// What makes a reading weaker, or is worth knowing about it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(tag = "code", rename_all = "snake_case")]
pub enum Warning {
    /// Not all marks could be used.
    MarksMissing {
        /// Found.
        found: usize,
        /// There should be.
        expected: usize,
    },
    /// The two scans lie a quarter turn apart.
    QuarterTurn,
    /// Between the two scans the sheet was turned end for end.
    EndForEnd,
    /// The two scans have different resolutions.
    Resolutions,
    /// The scans' axes disagree in scale.
    Axes {
        /// By how much, percent.
        percent: f64,
    },
    /// Edges that tie the scans together lie in a shadow.
    Shadow,
    /// Edges alone tie the scans together: they cannot prove that both are of one sheet, nor
    /// which way it was flipped.
    EdgesOnly,
    /// Holes that the other side does not show.
    StrayHoles,
    /// The link's own features disagree more than they should; the uncertainty was raised.
    LinkMisfit,
    /// Low resolution.
    LowResolution {
        /// Pixels to the inch.
        dpi: f64,
    },
    /// Marks lie off their places by more than usual: an uneven carriage, or paper not flat.
    Uneven {
        /// By how much, µm.
        residual_um: f64,
    },
    /// Faint marks.
    Faint {
        /// How much of the light they take, percent.
        percent: f64,
    },
    /// Blurred marks.
    Blurred,
    /// The stock's thickness is not known, so the two faces' parallax is carried as uncertainty.
    Parallax,
    /// The code was read at one end only.
    OneCode,
}

impl fmt::Display for Warning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::MarksMissing { found, expected } => {
                write!(f, "only {found} of {expected} marks could be used")
            }
            Self::QuarterTurn => f.write_str(
                "the two scans lie a quarter turn apart, so what the scanner's two axes differ by \
                 counts as uncertainty: turn the sheet over on the glass like the page of a book",
            ),
            Self::EndForEnd => f.write_str(
                "between the scans the sheet was turned end for end, so that unevenness of the \
                 scanner does not cancel: turn it over on the glass like the page of a book",
            ),
            Self::Resolutions => f.write_str("the two scans have different resolutions"),
            Self::Axes { percent } => write!(
                f,
                "the two scans' scales disagree by {percent:.2} %: turn the sheet over on the glass \
                 like the page of a book"
            ),
            Self::Shadow => f.write_str("an edge of the sheet lies in a shadow"),
            Self::EdgesOnly => f.write_str(
                "only edges tie the two scans together, which cannot show that both are of one \
                 sheet: punch two holes to be sure",
            ),
            Self::StrayHoles => f.write_str("a hole shows on one side only"),
            Self::LinkMisfit => f.write_str(
                "the holes or edges of the two scans do not quite agree; the uncertainty was \
                 raised",
            ),
            Self::LowResolution { dpi } => {
                write!(f, "only {dpi:.0} pixels to the inch: 300 dpi are better")
            }
            Self::Uneven { residual_um } => write!(
                f,
                "the marks lie off their places by {residual_um:.0} µm: an uneven scan or paper \
                 that does not lie flat"
            ),
            Self::Faint { percent } => {
                write!(
                    f,
                    "the marks are faint: they take {percent:.1} % of the light"
                )
            }
            Self::Blurred => f.write_str("the picture is blurred"),
            Self::Parallax => f.write_str(
                "the stock's thickness is not known, so what it shifts in a photo counts as \
                 uncertainty",
            ),
            Self::OneCode => f.write_str("the code was read at one end of the sheet only"),
        }
    }
}

/// What pictures of one sheet say.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// The set-up that the sheet belongs to.
    pub setup: SetupCode,
    /// The run, of a production sheet read by its witness marks.
    pub run: Option<RunCode>,
    /// The number of the sheet: of the set-up's test sheets, or in its run.
    pub sheet: u32,
    /// The paper, upright, mm.
    pub paper: Size,
    /// The register error at each mark that was read, and its own variance.
    pub points: Vec<Observation>,
    /// The covariance of an error that all points share: shift x (mm), shift y (mm) and tilt (mm
    /// per 100 mm, clockwise) about the sheet's centre.
    pub link: [[f64; 3]; 3],
    /// Where the back's image is, seen from the front, for each place where it should be: the
    /// affine field that fits the points best.
    pub field: Affine<Front>,
    /// The covariance of the field's whole error about the sheet's centre: shift x and y (mm),
    /// then x by x, x by y, y by x, y by y (mm per 100 mm).
    pub covariance: [[f64; 6]; 6],
    /// How it was read.
    pub way: Way,
    /// Typical distance of the points from the field, µm (sd of one axis).
    pub residual_um: f64,
    /// The least resolution of the pictures, pixels to the mm.
    pub px_per_mm: f64,
    /// What makes the reading weaker.
    pub warnings: Vec<Warning>,
    /// Each side's own place on the sheet, where edges show it: front, back.
    pub placements: [Option<Placement>; 2],
    /// Where the marks were seen, for a picture of the evidence.
    pub evidence: Vec<Evidence>,
}

/// A mark in one of the pictures.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Evidence {
    /// Index of the picture.
    pub picture: usize,
    /// The side that the mark belongs to.
    pub side: Side,
    /// Where it was found, px.
    pub at: (f64, f64),
    /// How far from where the fitted map puts it, px.
    pub off: (f64, f64),
}

impl Reading {
    /// Standard uncertainties of the field: shift x, shift y (mm), tilt (radians).
    pub fn uncertainty(&self) -> [f64; 3] {
        let c = &self.covariance;
        let tilt = (c[4][4] - 2.0 * c[3][4] + c[3][3]) / 4.0;
        [c[0][0].sqrt(), c[1][1].sqrt(), tilt.max(0.0).sqrt() / 100.0]
    }

    /// The field's parts: shift about the sheet's centre and tilt, stretch, shear.
    pub fn parts(&self) -> (Vector<Front>, Decomposed) {
        (
            self.field.displacement(self.paper.centre()),
            self.field.decompose(),
        )
    }

    /// How good the reading is, in words.
    pub fn quality(&self) -> &'static str {
        let [x, y, tilt] = self.uncertainty();
        // Tilt at the edge of A4, mm.
        let worst = x.max(y).max(tilt * 150.0);
        match worst {
            w if w <= 0.03 => "excellent",
            w if w <= 0.08 => "good",
            w if w <= 0.2 => "fair",
            _ => "weak",
        }
    }
}

/// Points off the field by less than this are never slips, mm.
const SLIP: f64 = 0.12;

/// No printer's back lies further off than this, mm.
const FARTHEST: f64 = 12.0;

/// The affine field through points, `p + r(p)`.
pub(super) struct FittedField {
    pub(super) map: Affine<Front>,
    /// From the points alone, about the centre, per 100 mm.
    pub(super) covariance: [[f64; 6]; 6],
    /// Of one axis, mm.
    pub(super) sd: f64,
    /// Which points it keeps.
    pub(super) kept: Vec<bool>,
}

impl FittedField {
    /// Refuses a field that puts the back farther off than any printer does.
    pub(super) fn believable(&self, paper: Size) -> Result<(), Refusal> {
        let mm = self.map.displacement(paper.centre()).length();
        if mm > FARTHEST {
            Err(Refusal::Unbelievable { mm })
        } else {
            Ok(())
        }
    }

    /// Of what belongs to the points, in their order, what belongs to those that are kept.
    pub(super) fn keep<T>(&self, of_points: Vec<T>) -> Vec<T> {
        let kept = of_points.into_iter().zip(&self.kept);
        kept.filter(|(_, kept)| **kept)
            .map(|(one, _)| one)
            .collect()
    }
}

/// Fits the affine field through points.
pub(super) fn fit_field(
    points: &[(Point<Front>, Vector<Front>)],
    paper: Size,
) -> Option<FittedField> {
    let centre: Point<Front> = paper.centre();
    let mut weights = vec![1.0; points.len()];
    let mut result = None;
    for _ in 0..10 {
        let (mut x, mut y) = (Normal::<3>::default(), Normal::<3>::default());
        for (&(p, r), &w) in points.iter().zip(&weights) {
            let q = (p - centre) * 0.01;
            x.add(&[1.0, q.x, q.y], r.x, w);
            y.add(&[1.0, q.x, q.y], r.y, w);
        }
        let (a, b) = (x.solve()?, y.solve()?);
        let at = |p: Point<Front>| {
            let q = (p - centre) * 0.01;
            Vector::new(
                a[0] + a[1] * q.x + a[2] * q.y,
                b[0] + b[1] * q.x + b[2] * q.y,
            )
        };
        let off: Vec<f64> = points.iter().map(|&(p, r)| (r - at(p)).length()).collect();
        // A bend, which no affine field shows, is no slip.
        let scale = (1.3 * super::solve::planar_scale(&off)).max(SLIP / 4.685);
        let (mut square, mut n) = (0.0, 0.0);
        for (w, &r) in weights.iter_mut().zip(&off) {
            *w = super::solve::tukey(r, scale);
            if *w > 0.05 {
                square += r * r;
                n += 1.0;
            }
        }
        let scale = (square / (2.0 * f64::max(n - 3.0, 1.0))).sqrt().max(0.002);
        let l = 0.01;
        let field = Map::linear_about(1.0 + a[1] * l, a[2] * l, b[1] * l, 1.0 + b[2] * l, centre)
            .then(&Map::shift(Vector::new(a[0], b[0])));
        let (cx, cy) = (x.covariance()?, y.covariance()?);
        let v = scale * scale;
        let mut covariance = [[0.0; 6]; 6];
        let (ix, iy) = ([0, 2, 3], [1, 4, 5]);
        for i in 0..3 {
            for j in 0..3 {
                covariance[ix[i]][ix[j]] = cx[i][j] * v;
                covariance[iy[i]][iy[j]] = cy[i][j] * v;
            }
        }
        result = Some(FittedField {
            map: field,
            covariance,
            sd: scale,
            kept: weights.iter().map(|&w| w > 0.05).collect(),
        });
    }
    result
}

/// A link's covariance in shift and tilt alone, and what of it is stretch and shear: the variance
/// that each of the points must carry in addition so that together they claim no more.
pub(super) fn split_covariance(
    covariance: &[[f64; 6]; 6],
    points: &[Point<Front>],
    paper: Size,
) -> ([[f64; 3]; 3], f64) {
    // Rows of the 3 × 6 map to shift x, shift y, tilt = (y by x − x by y) / 2.
    let rows: [[f64; 6]; 3] = [
        [1.0, 0.0, 0.0, 0.0, 0.0, 0.0],
        [0.0, 1.0, 0.0, 0.0, 0.0, 0.0],
        [0.0, 0.0, 0.0, -0.5, 0.5, 0.0],
    ];
    let quadratic = |a: &[f64; 6], b: &[f64; 6]| -> f64 {
        (0..6)
            .map(|i| (0..6).map(|j| a[i] * covariance[i][j] * b[j]).sum::<f64>())
            .sum()
    };
    let link = rows.map(|a| rows.map(|b| quadratic(&a, &b)));
    let centre: Point<Front> = paper.centre();
    let (mut qx, mut qy) = (0.0, 0.0);
    for &p in points {
        let q = (p - centre) * 0.01;
        qx += q.x * q.x;
        qy += q.y * q.y;
    }
    let shear = quadratic(
        &[0.0, 0.0, 0.0, 0.5, 0.5, 0.0],
        &[0.0, 0.0, 0.0, 0.5, 0.5, 0.0],
    );
    let extra = (covariance[2][2] * qx)
        .max(covariance[5][5] * qy)
        .max(shear * (qx + qy));
    (link, extra)
}
