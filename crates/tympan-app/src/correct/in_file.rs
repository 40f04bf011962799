//! Taking out the error that the file itself has, page by page.
//!
//! Before anything else is done to a back, it is brought to where the file should have had it:
//! with `f` the file's error in the front frame and `T` the page's flip, its content goes through
//! `T∘f⁻¹∘T`. The printer's correction follows, so that all in all a back goes through
//! `g⁻¹∘f⁻¹` as seen from the front.

use std::path::PathBuf;
use std::sync::atomic::AtomicBool;

use tympan_inspect::faults::Print;
use tympan_inspect::{FileError, Look, file_error, flip_of};
use tympan_sheet::{Affine, Flip, Page, Size};

use super::{Item, as_page};
use crate::inspect;
use crate::pages::Role;
use crate::plan::PagePlan;
use crate::refusal::Refusal;

/// Errors of one back against several fronts that differ by more than this, mm, are not one.
const SAME_MM: f64 = 0.25;

/// What is known of the file's own error.
pub(super) struct InFile {
    /// For each page of the output: the error that it is corrected for.
    pub(super) errors: Vec<Option<FileError>>,
    /// What should be known.
    pub(super) cautions: Vec<String>,
}

/// Finds the file's own error for every back.
pub(super) fn find(
    files: &[&PathBuf],
    password: Option<&str>,
    items: &[Item],
    flip: Flip,
    flip_asked: bool,
    cancel: &AtomicBool,
) -> Result<InFile, Refusal> {
    let looked = inspect::look::at(files, password, &Print::default(), &mut |_| {}, cancel)?;
    let look = |item: &Item| looked.get(item.source)?.looks.get(item.page - 1);
    let fronts_of = |back: usize| -> Vec<usize> {
        let is_its = |item: &Item| matches!(item.role, Role::Front { back: Some(b) } if b == back);
        (0..items.len()).filter(|&i| is_its(&items[i])).collect()
    };
    let sheets: Vec<(usize, usize)> = (0..items.len())
        .filter(|&back| matches!(items[back].role, Role::Back { .. }))
        .flat_map(|back| fronts_of(back).into_iter().map(move |front| (front, back)))
        .collect();
    let looks: Vec<(&Look, &Look)> = sheets
        .iter()
        .filter_map(|&(f, b)| Some((look(&items[f])?, look(&items[b])?)))
        .collect();
    if let (false, Some(told)) = (flip_asked, flip_of(&looks))
        && told != flip
    {
        return Err(Refusal::new(
            format!("the file's backs fit its fronts when flipped {told}, and not {flip}"),
            format!(
                "say --flip {told} if that is how the file means them, or --flip {flip} if not; \
                 inspect tells more"
            ),
        ));
    }
    let mut found = InFile {
        errors: vec![None; items.len()],
        cautions: Vec::new(),
    };
    let mut unknown = Vec::new();
    for (back, item) in items.iter().enumerate() {
        if !matches!(item.role, Role::Back { .. }) {
            continue;
        }
        let errors: Vec<FileError> = fronts_of(back)
            .into_iter()
            .filter_map(|front| {
                let (front, back) = (look(&items[front])?, look(item)?);
                file_error(&front.cells, &back.cells, flip)
            })
            .collect();
        let Some(first) = errors.first() else {
            unknown.push((back + 1).to_string());
            continue;
        };
        if errors
            .iter()
            .any(|e| (e.shift - first.shift).length() > SAME_MM)
        {
            return Err(Refusal::new(
                format!(
                    "page {} is the back of several fronts and lies off each of them differently",
                    back + 1
                ),
                "give each front a back page of its own, then correct that file",
            ));
        }
        found.errors[back] = Some(*first);
    }
    if found.errors.iter().all(Option::is_none) {
        return Err(Refusal::new(
            "no fronts and backs of this file can be laid on each other, so that its own error is \
             not known",
            "look at it with inspect; if the backs are elsewhere, say --backs; or leave --and-file \
             out",
        ));
    }
    if !unknown.is_empty() {
        found.cautions.push(format!(
            "nothing tells how the file has the backs on page {} against their fronts: only the \
             printer was corrected there",
            unknown.join(", ")
        ));
    }
    Ok(found)
}

/// Puts the file's error into the plan of a back page whose front is as large as it.
pub(super) fn take_out(
    plan: &PagePlan,
    error: &FileError,
    size: Size,
) -> Result<PagePlan, Refusal> {
    let impossible =
        |e: tympan_sheet::NotInvertible| Refusal::from(crate::plan::PlanError::from(e));
    let undone = error
        .real(size)
        .and_then(|real| real.inverse())
        .map_err(impossible)?;
    let fix: Affine<Page> = as_page(&error.flip.carry_to_back(&undone, size));
    // How the page comes to lie without any correction.
    let lies = plan
        .map
        .then(&plan.correction.inverse().map_err(impossible)?);
    let seen_there = lies.inverse().map_err(impossible)?.then(&fix).then(&lies);
    Ok(PagePlan {
        map: fix.then(&plan.map),
        correction: seen_there.then(&plan.correction),
        ..*plan
    })
}
