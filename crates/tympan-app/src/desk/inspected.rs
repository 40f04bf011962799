//! A close look at the files of a piece of work: cells, pairs and faults, as the page needs them.

use std::collections::BTreeSet;
use std::path::PathBuf;
use std::sync::atomic::AtomicBool;

use serde::{Deserialize, Serialize};
use tympan_sheet::{Affine, Angle, Flip, Page, Point, Vector};

use super::work::Work;
use crate::inspect::{self, FaultSaid, GridSaid, Inspection, Progress, Request};
use crate::on_page::on_page;
use crate::pages::{BackPages, Role};
use crate::refusal::Refusal;
use crate::words::capital;

/// What a close look found.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Inspected {
    /// The answer in a sentence or two.
    pub answer: String,
    /// What the file's own error comes to, in words.
    pub verdict: String,
    /// What will bite, the gravest first.
    pub findings: Vec<Finding>,
    /// The cards of every page, file by file; none where a page has none.
    pub cards: Vec<Vec<Option<Cards>>>,
    /// Which pages are backs, in the words of [`BackPages`], where the pages tell.
    pub backs: Option<String>,
    /// How the backs stand in the file, where the pages tell.
    pub flip: Option<Flip>,
}

/// Something that will bite.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    /// `note`, `warning` or `serious`.
    pub severity: String,
    /// Whether its pages are those of the file of backs.
    #[serde(default)]
    pub back_file: bool,
    /// The page where it is worst, from 1.
    pub page: Option<usize>,
    /// On how many pages it is.
    pub pages: usize,
    /// What is wrong: a sentence.
    pub message: String,
    /// What to do: a sentence.
    pub hint: String,
}

/// The cards of a page, mm of the page as seen.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Cards {
    /// One card after cutting.
    pub trim: [f64; 2],
    /// The top left corner of each.
    pub at: Vec<[f64; 2]>,
    /// Clockwise, degrees.
    pub rotation_deg: f64,
}

impl Cards {
    fn of(grid: &GridSaid) -> Self {
        let turn = Affine::<Page>::tilt(Angle::degrees(grid.rotation_deg), Point::new(0.0, 0.0));
        let origin = Point::<Page>::new(grid.origin_mm.x, grid.origin_mm.y);
        let cells =
            (0..grid.rows).flat_map(|row| (0..grid.columns).map(move |column| (column, row)));
        let at =
            cells
                .zip(&grid.filled)
                .filter(|(_, filled)| **filled)
                .map(|((column, row), _)| {
                    let step = Point::new(
                        column as f64 * grid.pitch_mm.x,
                        row as f64 * grid.pitch_mm.y,
                    );
                    let off = turn.apply(step);
                    [origin.x + off.x, origin.y + off.y]
                });
        Self {
            trim: [grid.trim_mm.x, grid.trim_mm.y],
            at: at.collect(),
            rotation_deg: grid.rotation_deg,
        }
    }

    /// The four corners of a card, clockwise from the top left.
    pub fn corners(&self, card: usize) -> Option<[Point<Page>; 4]> {
        let [x, y] = *self.at.get(card)?;
        let turn = Affine::<Page>::tilt(Angle::degrees(self.rotation_deg), Point::new(0.0, 0.0));
        let corner = |dx: f64, dy: f64| {
            let off = turn.apply(Point::new(dx, dy));
            Point::new(x, y) + Vector::new(off.x, off.y)
        };
        let [w, h] = self.trim;
        Some([
            corner(0.0, 0.0),
            corner(w, 0.0),
            corner(w, h),
            corner(0.0, h),
        ])
    }

    /// The outer corners of all cards: left, top, right, bottom.
    pub fn bounds(&self) -> Option<[f64; 4]> {
        let all = (0..self.at.len())
            .filter_map(|card| self.corners(card))
            .flatten();
        all.fold(None, |bounds: Option<[f64; 4]>, p| {
            let [l, t, r, b] = bounds.unwrap_or([p.x, p.y, p.x, p.y]);
            Some([l.min(p.x), t.min(p.y), r.max(p.x), b.max(p.y)])
        })
    }
}

/// Looks closely at the files of a piece of work, the backs' last where they have one of their own.
///
/// # Errors
/// As for [`inspect::inspect`].
pub fn look_closely(
    files: &[PathBuf],
    has_back_file: bool,
    password: Option<String>,
    progress: &mut dyn FnMut(Progress),
    cancel: &AtomicBool,
) -> Result<Inspected, Refusal> {
    let Some(file) = files.first() else {
        return Err(Refusal::new("there is no file", "drop one"));
    };
    let request = Request {
        file: file.clone(),
        back_file: files.last().filter(|_| has_back_file).cloned(),
        password,
        ..Request::default()
    };
    let found = inspect::inspect(None, &request, progress, cancel)?;
    Ok(inspected(&found, has_back_file))
}

fn inspected(found: &Inspection, has_back_file: bool) -> Inspected {
    let cards_of = |back_file: bool| -> Vec<Option<Cards>> {
        let pages = found
            .pages
            .iter()
            .filter(|page| page.back_file == back_file);
        pages
            .map(|page| page.grid.as_ref().map(Cards::of))
            .collect()
    };
    let mut cards = vec![cards_of(false)];
    if has_back_file {
        cards.push(cards_of(true));
    }
    let flips: BTreeSet<_> = found
        .pairs
        .iter()
        .map(|pair| pair.flip.map(|flip| flip == Flip::Sideways))
        .collect();
    let flip = match flips.into_iter().collect::<Vec<_>>().as_slice() {
        [Some(true)] => Some(Flip::Sideways),
        [Some(false)] => Some(Flip::Endways),
        _ => None,
    };
    Inspected {
        answer: on_page(&found.answer),
        verdict: on_page(&found.verdict),
        findings: found.faults.iter().map(finding).collect(),
        backs: if has_back_file { None } else { backs(found) },
        cards,
        flip,
    }
}

fn finding(fault: &FaultSaid) -> Finding {
    Finding {
        severity: fault.severity.to_owned(),
        back_file: fault.back_file,
        page: fault.page,
        pages: fault.pages.len(),
        message: sentence(&on_page(&fault.message)),
        hint: sentence(&on_page(&fault.hint)),
    }
}

/// With a capital and one full stop.
fn sentence(text: &str) -> String {
    format!("{}.", capital(text.trim_end_matches('.')))
}

/// The way of saying which pages are backs that pairs the pages as they were found to belong.
fn backs(found: &Inspection) -> Option<String> {
    let pages = found.pages.len();
    let mut pairs: Vec<(usize, usize)> = found
        .pairs
        .iter()
        .map(|pair| (pair.front - 1, pair.back - 1))
        .collect();
    pairs.sort_unstable();
    if pairs.is_empty() {
        return None;
    }
    let listed: BTreeSet<(usize, usize)> = pairs.iter().map(|p| (p.1 + 1, p.1 + 1)).collect();
    let ways = [
        BackPages::Even,
        BackPages::Odd,
        BackPages::SecondHalf,
        BackPages::Last,
        BackPages::Listed(listed.into_iter().collect()),
    ];
    let fits = |way: &BackPages| {
        let roles = way.roles(pages).unwrap_or_default();
        let told: Vec<(usize, usize)> = roles
            .iter()
            .enumerate()
            .filter_map(|(front, role)| match role {
                Role::Front { back: Some(back) } => Some((front, *back)),
                _ => None,
            })
            .collect();
        told == pairs
    };
    ways.iter().find(|way| fits(way)).map(ToString::to_string)
}

impl Work {
    /// Keeps what a close look found. What its owner has not said otherwise is taken from it.
    pub fn is_inspected(&mut self, found: Inspected) {
        let pages = self.pages.first().map_or(0, Vec::len);
        let guessed = self.change.backs == Self::likely_backs(pages).to_string();
        if let (true, Some(backs)) = (guessed && !self.has_back_file, &found.backs) {
            self.change.backs.clone_from(backs);
        }
        if self.change.flip.is_none() {
            self.change.flip = found.flip;
        }
        self.inspected = Some(found);
    }

    /// The cards of a page, where any were found.
    pub fn cards(&self, file: usize, page: usize) -> Option<&Cards> {
        let inspected = self.inspected.as_ref()?;
        inspected
            .cards
            .get(file)?
            .get(page.checked_sub(1)?)?
            .as_ref()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_demo_s_cards_pairs_and_flip_are_found() {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("deck.pdf");
        crate::demo::write_deck(&file).expect("written");
        let never = AtomicBool::new(false);
        let found = look_closely(&[file], false, None, &mut |_| {}, &never).expect("looked at");
        assert_eq!(found.backs.as_deref(), Some("even"), "{found:?}");
        assert_eq!(found.flip, Some(Flip::Sideways));
        let cards = found.cards[0][0].as_ref().expect("cards");
        assert!(!cards.at.is_empty());
        let [l, t, r, b] = cards.bounds().expect("bounds");
        // The deck's cards lie about the middle of A4.
        assert!((l + r - 210.0).abs() < 0.5 && (t + b - 297.0).abs() < 0.5);
        assert!(
            found.answer.contains(" cards on 7 sheets"),
            "{}",
            found.answer
        );
    }

    #[test]
    fn cards_on_a_tilted_grid_have_tilted_corners() {
        let cards = Cards {
            trim: [60.0, 90.0],
            at: vec![[10.0, 20.0], [70.0, 20.0]],
            rotation_deg: 90.0,
        };
        // Clockwise with y down: to the right becomes down, down becomes to the left.
        let [a, b, c, d] = cards.corners(0).expect("a card");
        let near = |p: Point<Page>, x: f64, y: f64| (p.x - x).hypot(p.y - y) < 1e-9;
        assert!(near(a, 10.0, 20.0) && near(b, 10.0, 80.0), "{a:?} {b:?}");
        assert!(near(c, -80.0, 80.0) && near(d, -80.0, 20.0), "{c:?} {d:?}");
        assert_eq!(
            cards.bounds().map(|b| b.map(f64::round)),
            Some([-80.0, 20.0, 70.0, 80.0])
        );
        assert!(cards.corners(2).is_none());
    }

    #[test]
    fn what_the_owner_said_is_kept() {
        let mut work: Work = serde_json::from_value(serde_json::json!({
            "schema": 1, "id": "abcdefghijkm", "created": "2026-01-01T00:00:00Z",
            "files": [], "pages": [[{"w": 210.0, "h": 297.0}, {"w": 210.0, "h": 297.0}]],
            "change": { "backs": "odd", "flip": "endways" },
        }))
        .expect("a work");
        let found = Inspected {
            backs: Some("even".into()),
            flip: Some(Flip::Sideways),
            ..Inspected::default()
        };
        work.is_inspected(found.clone());
        assert_eq!(
            (work.change.backs.as_str(), work.change.flip),
            ("odd", Some(Flip::Endways))
        );
        work.change.backs = "even".into();
        work.change.flip = None;
        let second = Inspected {
            backs: Some("second-half".into()),
            ..found
        };
        work.is_inspected(second);
        assert_eq!(work.change.backs, "second-half");
        assert_eq!(work.change.flip, Some(Flip::Sideways));
    }
}
