//! What can be told to be wrong before anything is written.

use tympan_sheet::{Affine, Page, Rect, Size};

use super::{Art, Fault, Fit, ImposeJob, Placement, Problem, Sources};
use crate::error::PageFault;
use crate::space::Matrix;

use super::ops::matrix;
use super::sources::Content;

/// How much an art's size may differ from its place's where nothing is to be done about it, mm.
pub(super) const SAME_SIZE: f64 = 0.5;

/// Everything about a job's arts and places that would keep it from being written, each by the
/// art's name.
pub fn check(job: &ImposeJob, sources: &Sources) -> Vec<Problem> {
    let mut problems = Vec::new();
    for art in &job.arts {
        if let Some(fault) = of_art(art, sources) {
            problems.push(Problem {
                art: art.name.clone(),
                fault,
            });
        }
    }
    for (page, number) in job.pages.iter().zip(1..) {
        for placement in &page.placements {
            let art = job.arts.get(placement.art.0);
            let fault = match art {
                Some(art) => of_place(placement, art, number),
                None => Some(Fault::Place { page: number }),
            };
            if let Some(fault) = fault {
                let problem = Problem {
                    art: art.map_or_else(|| format!("art {}", placement.art.0), |a| a.name.clone()),
                    fault,
                };
                // A card that does not fit does not fit in any of its copies.
                if !problems.contains(&problem) {
                    problems.push(problem);
                }
            }
        }
    }
    problems
}

fn of_art(art: &Art, sources: &Sources) -> Option<Fault> {
    if let Err(e) = sources.page(art.source, art.page) {
        return Some(Fault::Page(e.to_string()));
    }
    if let Content::Pdf(document) = &sources.files[art.source.0].content {
        // What a damaged file has lost cannot be told from a page that was always blank.
        let info = document.page(art.page);
        if document.is_damaged() && info.is_ok_and(|info| !info.has_content) {
            let fault = document.fault(art.page, PageFault::Content);
            return Some(Fault::Page(fault.to_string()));
        }
    }
    let window = || Some(Fault::Window { page: art.page });
    let numbers = [
        art.room.left,
        art.room.top,
        art.room.right,
        art.room.bottom,
        art.corner_radius,
    ];
    let sound = is_extent(art.size)
        && turns_no_side(&art.at)
        && numbers.iter().all(|r| (0.0..1e4).contains(r));
    if !sound {
        return window();
    }
    let page = sources.page(art.source, art.page).ok()?.size;
    let corners = Rect::<Page>::whole(art.size)
        .corners()
        .map(|p| art.at.apply(p));
    let around = |pick: fn(&tympan_sheet::Point<Page>) -> f64| {
        let values = corners.each_ref().map(pick);
        let low = values.iter().copied().fold(f64::INFINITY, f64::min);
        (
            low,
            values.iter().copied().fold(f64::NEG_INFINITY, f64::max),
        )
    };
    let ((x0, x1), (y0, y1)) = (around(|p| p.x), around(|p| p.y));
    let beside = x1 <= 0.0 || y1 <= 0.0 || x0 >= page.w || y0 >= page.h;
    if beside { window() } else { None }
}

fn of_place(placement: &Placement, art: &Art, page: usize) -> Option<Fault> {
    let wanted = placement.bleed.wanted;
    let bleeds = [wanted.left, wanted.top, wanted.right, wanted.bottom];
    let sound = placement.trim.is_sound()
        && is_extent(placement.trim.size())
        && turns_no_side(&placement.map)
        && bleeds.iter().all(|b| (0.0..1e3).contains(b));
    if !sound {
        return Some(Fault::Place { page });
    }
    let place = placement.trim.size();
    let refused = placement.fit == Fit::Refuse && !art.size.is_close(place, SAME_SIZE);
    refused.then_some(Fault::OtherSize {
        art: art.size,
        place,
    })
}

fn is_extent(size: Size) -> bool {
    let sound = |mm: f64| (0.5..1e5).contains(&mm);
    sound(size.w) && sound(size.h)
}

/// Whether a map can be undone and shows the print from its own side. A mirror would turn text over.
fn turns_no_side(map: &Affine<Page>) -> bool {
    let Matrix { a, b, c, d, .. } = matrix(map);
    let det = a * d - b * c;
    matrix(map).is_finite() && det > 1e-6 && det < 1e6 && map.inverse().is_ok()
}
