//! Ten sheets from the printer, before they are printed: drawn from what its readings teach.

use serde::Serialize;
use tympan_sheet::{Affine, Front, Point};
use tympan_store::Store;

use super::show::{Simulated, simulated};
use super::work::Work;
use super::{Coefficients, PageRef};
use crate::measure;
use crate::refusal::Refusal;

/// Sheets that are simulated.
const SHEETS: u32 = 10;

/// Simulated sheets, looking at the back. All is in mm of the back's page, y down.
#[derive(Clone, Debug, Serialize)]
pub struct Ten {
    /// The page that is printed on them.
    pub page: PageRef,
    /// Where the cards are cut, four corners each, clockwise.
    pub cards: Vec<[[f64; 2]; 4]>,
    /// Where the page lies on each sheet without the correction.
    pub before: Vec<Coefficients>,
    /// And with it.
    pub after: Vec<Coefficients>,
    /// What is shown, in a sentence.
    pub in_words: String,
}

/// Simulates ten sheets of a piece of work, counted from 0, on its set-up's printer.
///
/// # Errors
/// A [`Refusal`] where no set-up is chosen, no cards were found, or there is no such sheet.
pub fn ten(store: &Store, work: &Work, sheet: usize) -> Result<Ten, Refusal> {
    let Some(chosen) = work.change.by_set_up() else {
        return Err(Refusal::new(
            "it is not known what your printer does",
            "choose the set-up that you print with",
        ));
    };
    let setup = store.set_up_named(&chosen.name)?;
    let learnt = measure::learn(store, &setup)?;
    let fields = |corrected_by: &Affine<Front>| -> Vec<Affine<Front>> {
        let sheets = learnt.fit.next_sheet(corrected_by).sheets(SHEETS);
        sheets.iter().map(tympan_register::Field::affine).collect()
    };
    let before = simulated(work, sheet, &fields(&Affine::IDENTITY))?;
    let after = simulated(work, sheet, &fields(&learnt.fit.field()))?;
    let Simulated {
        sheet,
        front,
        backs,
    } = before;
    let (Some(page), Some(fronts_page)) = (sheet.back, sheet.front) else {
        return Err(Refusal::new(
            "this sheet has a single side",
            "choose one with a front and a back",
        ));
    };
    let cards = work
        .cards(fronts_page.file, fronts_page.page)
        .ok_or_else(|| {
            Refusal::new(
                "no cards were found on this front",
                "the light table still shows the whole sheet",
            )
        })?;
    let corner = |p: Point<tympan_sheet::Page>| {
        let p = front.apply(p);
        [p.x, p.y]
    };
    Ok(Ten {
        page,
        cards: (0..cards.at.len())
            .filter_map(|card| Some(cards.corners(card)?.map(corner)))
            .collect(),
        before: backs,
        after: after.backs,
        in_words: format!(
            "Looking at the back: the same card from {SHEETS} sheets, as \"{}\" would print and a \
             perfect cut would leave it.",
            setup.name
        ),
    })
}
