//! Faults that show when both sides of a sheet are looked at.

use tympan_sheet::Flip;

use crate::file_error::{Behind, in_words, is_crooked};
use crate::findings::{Fault, PageCells, Pair, Place, Severity};

/// Faults of pairs. `backs` are the pages of the second file, where backs are in a file of their
/// own. Pages named are those of the backs.
pub fn of_pairs(fronts: &[PageCells], backs: Option<&[PageCells]>, pairs: &[Pair]) -> Vec<Fault> {
    let flat: Vec<&Pair> = pairs
        .iter()
        .filter(|pair| backs.is_some() || pair.front != pair.back)
        .collect();
    let mut faults = Vec::new();
    faults.extend(not_mirrored(fronts, backs.unwrap_or(fronts), &flat));
    faults.extend(crooked(fronts, &flat));
    for fault in &mut faults {
        fault.back_file = backs.is_some();
    }
    faults
}

fn first_place(pages: &[usize]) -> Option<Place> {
    pages.first().map(|&page| Place { page, area: None })
}

fn not_mirrored(fronts: &[PageCells], backs: &[PageCells], pairs: &[&Pair]) -> Option<Fault> {
    let wrong = |pair: &&&Pair| {
        let (front, back) = (&fronts[pair.front], &backs[pair.back]);
        let flips = match pair.flip {
            Some(flip) => vec![flip],
            None => vec![Flip::Sideways, Flip::Endways],
        };
        let is_wrong = |flip: &Flip| match Behind::find(front, back, *flip) {
            // Where nothing at all is seen in the cells, nothing can be told of them.
            Some(behind) => behind.any_filled() && behind.filled()[1] > 0,
            None => same_cards(front, back),
        };
        flips.iter().all(is_wrong)
    };
    let mut pages: Vec<usize> = pairs.iter().filter(wrong).map(|pair| pair.back).collect();
    pages.dedup();
    (!pages.is_empty()).then(|| Fault {
        code: "backs-not-mirrored",
        severity: Severity::Serious,
        back_file: false,
        place: first_place(&pages),
        pages,
        message: "a part-filled sheet has cards with no back behind them: its backs are not \
                  mirrored"
            .into(),
        hint:
            "move the backs of that page to the other side, as the sheet is flipped; or fill the \
               whole page with backs"
                .into(),
    })
}

/// Whether two pages have cards of one size, surely, wherever they lie.
fn same_cards(front: &PageCells, back: &PageCells) -> bool {
    let (Some(f), Some(b)) = (front.grids.first(), back.grids.first()) else {
        return false;
    };
    f.trim.is_close(b.trim, 1.0) && f.confidence.min(b.confidence) > 0.5
}

fn crooked(fronts: &[PageCells], pairs: &[&Pair]) -> Option<Fault> {
    let of = |pair: &&Pair| {
        let error = pair.file_error?;
        let size = fronts.get(pair.front)?.size;
        // What may be straight is not called crooked.
        let either = pair.otherwise.is_none_or(|other| is_crooked(&other, size));
        (either && is_crooked(&error, size)).then_some((pair.back, error, size))
    };
    let crooked: Vec<_> = pairs.iter().filter_map(of).collect();
    let worst = crooked
        .iter()
        .max_by(|a, b| a.1.largest(a.2).total_cmp(&b.1.largest(b.2)))?;
    let mut pages: Vec<usize> = crooked.iter().map(|(back, ..)| *back).collect();
    pages.dedup();
    Some(Fault {
        code: "file-error",
        severity: Severity::Warning,
        back_file: false,
        place: Some(Place {
            page: worst.0,
            area: None,
        }),
        pages,
        message: format!(
            "seen from the front, the file's own backs are {} its fronts{}",
            in_words(&worst.1),
            if pairs.iter().all(|pair| pair.flip.is_some()) {
                String::new()
            } else {
                format!(" (flipped {})", worst.1.flip)
            }
        ),
        hint: "correcting the printer alone will not help: add --and-file to correct".into(),
    })
}
