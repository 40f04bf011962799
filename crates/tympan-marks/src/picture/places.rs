//! From places that were found in two scans to a reading, without the pictures: the same link and
//! the same sums. It tells over many sheets how well those do.

use tympan_sheet::{Map, Page, Point};

use super::edges::{self, Which};
use super::holes::Hole;
use super::link::Physical;
use super::luma::{Luma, Pixels};
use super::mark::Mark;
use super::pair::{self, Scan};
use super::reading::Reading;
use super::refusal::Refusal;
use super::side_view::{Seen, SideView, fit_affine};
use crate::code::SheetCode;
use crate::geometry::Geometry;
use crate::target::Target;

/// What was found in a scan of one side: all places in pixels, x to the right, y down.
#[derive(Clone, Debug)]
pub struct Places {
    /// One of the side's codes.
    pub code: SheetCode,
    /// Marks: where the side's page has them as seen, mm, and where they are.
    pub marks: Vec<(Point<Page>, [f64; 2])>,
    /// Centres of punched holes.
    pub holes: Vec<[f64; 2]>,
    /// Points of the sheet's edges: head, right, foot, left as seen.
    pub edges: [Vec<[f64; 2]>; 4],
}

/// Reads a sheet from what was found in a scan of its front and one of its back.
///
/// # Errors
/// As [`read`](super::read) refuses two scans.
pub fn read_places(front: &Places, back: &Places) -> Result<Reading, Refusal> {
    let blank = Luma::new(0, 0, Vec::new()).ok_or(Refusal::NotATestSheet)?;
    let scan = |places: &Places, index| -> Result<Scan<'_>, Refusal> {
        Ok(Scan {
            index,
            luma: &blank,
            physical: physical(places).ok_or(Refusal::NotATestSheet)?,
            codes: 2,
        })
    };
    pair::read(&scan(front, 0)?, &scan(back, 1)?)
}

fn physical(places: &Places) -> Option<Physical> {
    let geometry = Geometry::new(places.code.paper, places.code.flip).ok()?;
    let target = Target::from(&geometry);
    let whole = |&(nominal, [x, y]): &(Point<Page>, [f64; 2])| Seen {
        nominal,
        mark: Mark {
            at: Point::new(x, y),
            core: 1.0,
            fullness: 1.0,
            blur: 0.0,
        },
    };
    let all: Vec<Seen> = places.marks.iter().map(whole).collect();
    let (map, residual, kept) = fit_affine(&all)?;
    let marks: Vec<Seen> = all
        .into_iter()
        .zip(kept)
        .filter(|(_, kept)| *kept)
        .map(|(seen, _)| seen)
        .collect();
    let back: Map<Pixels, Page> = map.inverse().ok()?;
    let on_page = |&[x, y]: &[f64; 2]| back.apply(Point::new(x, y));
    let paper = target.paper();
    let edges = Which::ALL
        .into_iter()
        .zip(&places.edges)
        .filter_map(|(which, points)| {
            let points: Vec<Point<Page>> = points.iter().map(on_page).collect();
            edges::through(which, paper, &points)
        })
        .collect();
    let holes = places
        .holes
        .iter()
        .map(|p| Hole::found(on_page(p)))
        .collect();
    let expected = target.marks(places.code.side).len();
    let view = SideView {
        code: places.code.clone(),
        run: None,
        expected,
        map,
        residual,
        is_photo: false,
        blur: 0.0,
        marks,
        target,
    };
    Some(Physical { view, edges, holes })
}
