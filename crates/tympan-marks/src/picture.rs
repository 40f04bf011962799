//! Reading test sheets from pictures: two scans, or one photo against the light.

mod camera;
mod codes;
mod decode;
mod edges;
mod holes;
mod light;
mod link;
mod luma;
mod mark;
mod pair;
mod places;
mod reading;
mod refusal;
mod side_view;
mod solve;
mod strips;
mod unclear;

use tympan_sheet::{Flip, Side, Size};

pub use decode::decode;
pub use luma::{Luma, Pixels};
pub use places::{Places, read_places};
pub use reading::{Evidence, Placement, Reading, Warning, Way};
pub use refusal::{Refusal, RefusalReport};

use crate::code::{End, SetupCode, SheetCode};
use crate::witness::{self, RunCode};
use link::Physical;
use pair::Scan;
use side_view::SideView;

/// Of many pictures of one sheet, only so many pairs are tried.
const MOST_PAIRS: usize = 12;

/// What the pictures should show. What is not given is not checked.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Expected {
    /// The set-up whose sheets they should be.
    pub setup: Option<SetupCode>,
    /// Its paper, mm, either way up.
    pub paper: Option<Size>,
    /// Its flip.
    pub flip: Option<Flip>,
    /// The stock's thickness, mm: for photos, where the two faces lie so far apart.
    pub caliper_mm: Option<f64>,
    /// Runs whose production sheets may be read by their witness marks. Others are refused: where
    /// their marks should be is not known.
    pub runs: Vec<KnownRun>,
}

/// A run whose sheets carry witness marks.
#[derive(Clone, Debug, PartialEq)]
pub struct KnownRun {
    /// What its sheets' codes say.
    pub code: RunCode,
    /// Where the marks are.
    pub geometry: witness::Geometry,
}

/// What became of some of the pictures.
#[derive(Clone, Debug, PartialEq)]
pub struct Outcome {
    /// Indices of the pictures.
    pub pictures: Vec<usize>,
    /// What they say, or why they are refused.
    pub result: Result<Reading, Refusal>,
}

/// Reads any mix of pictures of test sheets: sides and sheets are told by their codes. Every
/// picture appears in exactly one outcome.
pub fn read(pictures: &[Luma], expected: &Expected) -> Vec<Outcome> {
    let mut outcomes = Vec::new();
    let mut scans: Vec<Scan<'_>> = Vec::new();
    for (index, luma) in pictures.iter().enumerate() {
        match look(index, luma, expected) {
            Ok(scan) => scans.push(scan),
            Err(refusal) => {
                outcomes.push(Outcome {
                    pictures: vec![index],
                    result: Err(refusal),
                });
            }
        }
    }
    // A photo against the light shows both sides by itself.
    let (photos, mut scans): (Vec<_>, Vec<_>) =
        scans.into_iter().partition(|s| s.physical.view.is_photo);
    outcomes.extend(read_photos(photos, &mut scans, expected));
    // Two pictures that are all there is are meant as a pair even when they cannot be one.
    let lone_pair = scans.len() == 2 && outcomes.is_empty();
    for group in groups(scans, lone_pair) {
        outcomes.extend(one_sheet(&group, expected));
    }
    outcomes.sort_by_key(|o| o.pictures.clone());
    outcomes
}

/// Reads photos, each by itself. An uneven carriage bends a scan as a lens would bend it: where
/// nothing shines through and the sheet's other side is there too, they are put to the scans.
fn read_photos<'a>(
    photos: Vec<Scan<'a>>,
    scans: &mut Vec<Scan<'a>>,
    expected: &Expected,
) -> Vec<Outcome> {
    let (mut outcomes, mut dark) = (Vec::new(), Vec::new());
    for photo in photos {
        match light::read(&photo, true, expected.caliper_mm) {
            Err(refusal @ (Refusal::TooFaint(_) | Refusal::OtherSideMissing(_))) => {
                dark.push((photo, refusal));
            }
            result => outcomes.push(Outcome {
                pictures: vec![photo.index],
                result,
            }),
        }
    }
    let sides: Vec<SheetSide> = (scans.iter().chain(dark.iter().map(|(photo, _)| photo)))
        .map(sheet_side)
        .collect();
    for (mut photo, refusal) in dark {
        let (sheet, side) = sheet_side(&photo);
        let has_other = sides.contains(&(sheet, side.other()));
        if has_other && pair::is_flat(&photo.physical.view) {
            photo.physical = with_links(photo.luma, photo.physical.view);
            scans.push(photo);
        } else {
            outcomes.push(Outcome {
                pictures: vec![photo.index],
                result: Err(refusal),
            });
        }
    }
    scans.sort_by_key(|scan| scan.index);
    outcomes
}

/// One picture by itself: which side of which sheet it shows.
fn look<'a>(index: usize, luma: &'a Luma, expected: &Expected) -> Result<Scan<'a>, Refusal> {
    let codes = codes::find(luma);
    let strips = if codes.found.is_empty() {
        strips::find(luma)
    } else {
        Vec::new()
    };
    let view = if strips.is_empty() {
        side_view::view(luma, &codes)?
    } else {
        side_view::witness_view(luma, &strips, &expected.runs, expected.setup.as_ref())?
    };
    check_expected(&view, expected)?;
    // Only scans are tied together by them.
    let physical = if view.is_photo {
        Physical {
            view,
            edges: Vec::new(),
            holes: Vec::new(),
        }
    } else {
        with_links(luma, view)
    };
    Ok(Scan {
        index,
        luma,
        physical,
        codes: codes.found.len().max(strips.len()),
    })
}

/// A side with the edges and holes that tie it to the other side.
fn with_links(luma: &Luma, view: SideView) -> Physical {
    let (edges, holes) = (edges::find(luma, &view), holes::find(luma, &view));
    Physical { view, edges, holes }
}

fn check_expected(view: &SideView, expected: &Expected) -> Result<(), Refusal> {
    let code = &view.code;
    if let Some(setup) = &expected.setup
        && *setup != code.setup
    {
        return Err(Refusal::OtherSetup {
            found: code.setup.to_string(),
            expected: setup.to_string(),
        });
    }
    if let Some(paper) = expected.paper
        && !paper.portrait().is_close(code.paper, 0.02)
    {
        return Err(Refusal::OtherPaper {
            found: code.paper,
            expected: paper.portrait(),
        });
    }
    if expected.flip.is_some_and(|flip| flip != code.flip) {
        return Err(Refusal::OtherFlip);
    }
    Ok(())
}

/// Which side of which sheet a picture shows.
type SheetSide = ((Option<RunCode>, SetupCode, u32), Side);

fn sheet_side(scan: &Scan<'_>) -> SheetSide {
    let view = &scan.physical.view;
    let sheet = (view.run, view.code.setup.clone(), view.code.sheet);
    (sheet, view.side())
}

/// The pictures by the sheet that they show, in the order in which the sheets first come.
fn groups(scans: Vec<Scan<'_>>, all_together: bool) -> Vec<Vec<Scan<'_>>> {
    let mut groups: Vec<Vec<Scan<'_>>> = Vec::new();
    for scan in scans {
        let same = |group: &&mut Vec<Scan<'_>>| {
            all_together || sheet_side(&group[0]).0 == sheet_side(&scan).0
        };
        match groups.iter_mut().find(same) {
            Some(group) => group.push(scan),
            None => groups.push(vec![scan]),
        }
    }
    groups
}

/// Pictures of one sheet: scans of its sides, and photos taken so squarely that they look like
/// scans. The best pair is read; what is left over may be a photo by itself.
fn one_sheet(group: &[Scan<'_>], expected: &Expected) -> Vec<Outcome> {
    let photo = |scan: &Scan<'_>| Outcome {
        pictures: vec![scan.index],
        result: light::read(scan, false, expected.caliper_mm),
    };
    if let [alone] = group {
        return vec![photo(alone)];
    }
    let side = |scan: &Scan<'_>| scan.physical.view.side();
    let mut pairs = Vec::new();
    for (k, a) in group.iter().enumerate() {
        for b in &group[k + 1..] {
            pairs.push((a, b));
        }
    }
    // Pairs of a front and a back, where there are any.
    if pairs.iter().any(|(a, b)| side(a) != side(b)) {
        pairs.retain(|(a, b)| side(a) != side(b));
    }
    let unlinked = |result: &Result<Reading, Refusal>| {
        matches!(result, Err(Refusal::NoLink | Refusal::SameSideTwice(_)))
    };
    // Pairs that were read come first, of these the surest; then those that say most.
    let rank = |result: &Result<Reading, Refusal>| match result {
        Ok(reading) => {
            let [x, y, _] = reading.uncertainty();
            x.hypot(y)
        }
        refused if unlinked(refused) => f64::INFINITY,
        Err(_) => f64::MAX,
    };
    let best = pairs
        .into_iter()
        .take(MOST_PAIRS)
        .map(|(a, b)| ([a.index, b.index], pair_up(a, b)))
        .min_by(|a, b| rank(&a.1).total_cmp(&rank(&b.1)));
    let Some((pictures, result)) = best else {
        return Vec::new();
    };
    let in_pair = |scan: &Scan<'_>| pictures.contains(&scan.index);
    let pair_is_read = result.is_ok();
    // What little shows through a sheet on a dark ground is no photo against the light.
    let on_dark_ground = (group.iter()).any(|scan| scan.physical.edges.len() > 2);
    let may_be_photos = unlinked(&result) && !on_dark_ground;
    let pair = Outcome {
        pictures: pictures.to_vec(),
        result,
    };
    if may_be_photos {
        let (mut outcomes, mut unread): (Vec<_>, Vec<_>) =
            group.iter().map(photo).partition(|o| o.result.is_ok());
        let of_pair = |o: &Outcome| pictures.contains(&o.pictures[0]);
        if unread.iter().filter(|o| of_pair(o)).count() == 2 {
            unread.retain(|o| !of_pair(o));
            outcomes.push(pair);
        }
        outcomes.extend(unread);
        return outcomes;
    }
    let mut outcomes = vec![pair];
    for scan in group.iter().filter(|s| !in_pair(s)) {
        let mut outcome = photo(scan);
        if pair_is_read && matches!(outcome.result, Err(Refusal::OtherSideMissing(_))) {
            outcome.result = Err(Refusal::Spare(side(scan)));
        }
        outcomes.push(outcome);
    }
    outcomes
}

fn pair_up(a: &Scan<'_>, b: &Scan<'_>) -> Result<Reading, Refusal> {
    let (va, vb) = (&a.physical.view, &b.physical.view);
    let sheet = |code: &SheetCode| SheetCode {
        side: Side::Front,
        end: End::Head,
        ..code.clone()
    };
    if va.run != vb.run || sheet(&va.code) != sheet(&vb.code) {
        return Err(Refusal::DifferentSheets);
    }
    match (va.side(), vb.side()) {
        (Side::Front, Side::Back) => pair::read(a, b),
        (Side::Back, Side::Front) => pair::read(b, a),
        (side, _) if link::is_seen_through(&a.physical, &b.physical) => {
            Err(Refusal::PrintedTwice(side))
        }
        (side, _) => Err(Refusal::SameSideTwice(side)),
    }
}
