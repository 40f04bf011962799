//! Measuring a set-up: test sheets, readings by eye and from pictures, and what they teach.

mod by_eye;
mod pictures;
mod sheets;
mod told;

use tympan_register::{Fit, Model, Reading};
use tympan_store::{ReadingId, ReadingRecord};

pub use by_eye::{
    ByEye, InTheirWords, PinPlaces, parse_hole, parse_rules, parse_seen, parse_table, pin_places,
    read_by_eye, read_words, with_rules,
};
pub use pictures::{PicturesAsked, PicturesTold, RefusedPictures, read_pictures};
pub use sheets::{HowToPrint, how_to_print, test_sheet, write_test_sheets};
pub(crate) use told::own_fit;
pub use told::{FromPictures, ReadSheet, ReadTold, SheetTold, told};
pub use tympan_store::{CheckRules, FlippedBy, SetUp, Store};

use crate::refusal::Refusal;

/// A set-up with what its readings teach.
#[derive(Clone, Debug)]
pub struct Learnt {
    /// The readings in use, in the order of the fit.
    pub readings: Vec<ReadingRecord>,
    /// What they say together.
    pub fit: Fit,
}

/// Learns from all readings of a set-up that are in use.
///
/// # Errors
/// A [`Refusal`] where there are none.
pub fn learn(store: &Store, setup: &SetUp) -> Result<Learnt, Refusal> {
    let readings = store.readings_in_use(&setup.id)?;
    if readings.is_empty() {
        return Err(Refusal::new(
            format!("\"{}\" has no readings yet", setup.name),
            "print test sheets with testsheet and read them with read; or correct by what you see \
             with --seen \"2mm low\"",
        ));
    }
    let model = Model::new(setup.paper.size(), setup.leading_edge.axis());
    let all: Vec<Reading> = readings
        .iter()
        .map(|record| record.reading.clone())
        .collect();
    let fit = model.fit(&all)?;
    Ok(Learnt { readings, fit })
}

/// How the refusal of a sheet that was read before ends.
const READ_BEFORE: &str = "was read before";

/// Whether something was refused because a sheet was read before, so that its owner may be asked
/// whether it was read once more.
pub fn is_read_before(message: &str) -> bool {
    message.ends_with(READ_BEFORE)
}

/// Readings that may go into the log, and the earlier ones of the same sheets that they replace.
struct Accepted<'a> {
    records: &'a [ReadingRecord],
    replaced: Vec<ReadingId>,
}

/// Whether readings may go into the log. A sheet that was read before is refused unless `again`
/// says that it was read once more.
fn accept<'a>(
    store: &Store,
    setup: &SetUp,
    records: &'a [ReadingRecord],
    again: bool,
) -> Result<Accepted<'a>, Refusal> {
    let before = store.readings_in_use(&setup.id)?;
    let mut replaced = Vec::new();
    for (run, number) in records.iter().filter_map(|r| Some((&r.run, r.sheet?))) {
        if run.is_none() && number > setup.sheets_issued {
            return Err(Refusal::new(
                format!(
                    "sheet {number} was never printed for \"{}\": it has sheets 1 to {}",
                    setup.name, setup.sheets_issued
                ),
                "look for the number and the set-up's name on the sheet; make sheets with \
                 testsheet",
            ));
        }
        let sheet = (run, Some(number));
        let earlier = before.iter().filter(|r| (&r.run, r.sheet) == sheet);
        let of = run.as_ref().map(|run| format!(" of run {run}"));
        let name = format!("sheet {number}{}", of.unwrap_or_default());
        replaced.extend(earlier.map(|record| (name.clone(), record.id.clone())));
    }
    if let (Some((name, _)), false) = (replaced.first(), again) {
        return Err(Refusal::new(
            format!("{name} {READ_BEFORE}"),
            "if this is the same sheet read once more, say so (--again): the earlier reading is then \
             set aside; other sheets need numbers of their own",
        ));
    }
    let mut replaced: Vec<_> = replaced.into_iter().map(|(_, id)| id).collect();
    replaced.dedup();
    Ok(Accepted { records, replaced })
}

impl Accepted<'_> {
    /// Puts them into the log and sets aside what they replace.
    fn keep(self, store: &mut Store) -> Result<(), Refusal> {
        Ok(store.replace_readings(&self.replaced, self.records, "read again")?)
    }
}
