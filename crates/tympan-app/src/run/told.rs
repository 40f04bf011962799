//! A run as it is told: for scripts as data, for people in words.

use std::path::PathBuf;

use serde::{Deserialize, Serialize};
use tympan_pdf::draw;
use tympan_press::behaviour::{Order, Reload};
use tympan_press::loads::Weight;
use tympan_press::pictures;
use tympan_sheet::drawing::Drawing;
use tympan_sheet::{Facing, Flip, LeadingEdge, PileEnd, Side, Size};

/// A run that was made. The form of its JSON is part of the contract for scripts.
#[derive(Clone, Debug, Serialize)]
pub struct RunTold {
    /// The version of this form.
    pub schema: u32,
    /// The run's name in the store.
    pub run: String,
    /// What is printed.
    pub name: String,
    /// The folder that was written.
    pub folder: PathBuf,
    /// The set-up.
    pub setup: String,
    /// How the back stands to the front.
    pub flip: Flip,
    /// The side that is printed first; none where the machine prints both.
    pub first_side: Option<Side>,
    /// Sheets, numbered from 1.
    pub sheets: u32,
    /// How often the job is on them.
    pub copies: u32,
    /// The stock in words; none where the set-up does not say.
    pub stock: Option<String>,
    /// Spare sheets of stock to have ready, the make-ready's among them.
    pub spares: u32,
    /// The share of sheets that is expected to show white at a cut, where the set-up was measured.
    pub expected_rejects: Option<f64>,
    /// Whether the files are corrected by readings of the set-up.
    pub corrected: bool,
    /// The make-ready's files, in the order in which they are printed: one sheet.
    pub make_ready: Vec<PassTold>,
    /// The loads.
    pub loads: Vec<LoadTold>,
    /// Sheets that stay in the tray beneath each load.
    pub under: u32,
    /// Whether the stock counts as heavy or glossy.
    pub weight: Weight,
    /// The files to print, in this order.
    pub passes: Vec<PassTold>,
    /// How the pile goes back for its second side; none where the machine flips.
    pub reload: Option<ReloadTold>,
    /// The job sheet.
    pub job_sheet: String,
    /// What to bear in mind.
    pub cautions: Vec<String>,
}

/// A load of the tray.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct LoadTold {
    /// From 1.
    pub load: usize,
    /// Its first sheet.
    pub from: u32,
    /// Its last sheet.
    pub to: u32,
    /// How many sheets it has.
    pub sheets: usize,
}

/// A file that prints a pass.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PassTold {
    /// Its name in the folder.
    pub file: String,
    /// The side; none where the machine prints both.
    pub side: Option<Side>,
    /// The load, from 1; none for a sheet by itself.
    pub load: Option<usize>,
    /// The sheets in the order in which they are printed.
    pub sheets: Vec<u32>,
}

/// How the pile goes back.
#[derive(Clone, Debug, Serialize)]
pub struct ReloadTold {
    /// Whether the delivered pile is turned over as one.
    pub turn_over: bool,
    /// How the print lies in the feed tray.
    pub printed: Facing,
    /// The edge of the print, held upright, that goes in first.
    pub leads: LeadingEdge,
    /// Where the sheet with the lowest number lies.
    pub lowest_lies: PileEnd,
    /// The order of the second pass's pages.
    pub order: Order,
    /// Whether this is known of the printer, or only assumed.
    pub known: bool,
    /// The same in words.
    pub in_words: String,
}

impl ReloadTold {
    pub(super) fn new(back: &Reload, known: bool) -> Self {
        Self {
            turn_over: back.turn_over,
            printed: back.printed,
            leads: back.leads,
            lowest_lies: back.first_lies,
            order: back.order,
            known,
            in_words: in_words(back),
        }
    }
}

/// The pictures of how a pile goes back, in their order: blank stock in the tray, how the delivered
/// pile is turned, the printed pile in the tray.
pub(super) fn pile_pictures(back: &ReloadTold) -> [Drawing; 3] {
    let reload = Reload {
        turn_over: back.turn_over,
        printed: back.printed,
        leads: back.leads,
        first_lies: back.lowest_lies,
        order: back.order,
    };
    [
        pictures::blank_in_the_tray(Size::new(38.0, 38.0)),
        pictures::turn(back.turn_over, Size::new(40.0, 24.0)),
        pictures::in_the_tray(&reload, Size::new(38.0, 38.0)),
    ]
}

/// The same as SVG, each with what it shows in words.
pub fn pile_svgs(back: &ReloadTold) -> [String; 3] {
    let turn = match back.turn_over {
        true => "Then the delivered pile is turned over as one",
        false => "Then the delivered pile is not turned over",
    };
    let again = format!(
        "The pile goes back with its print {}, the {} of the print towards the printer",
        back.printed, back.leads
    );
    let titles = ["First, blank stock lies in the tray", turn, &again];
    let mut all = pile_pictures(back)
        .into_iter()
        .zip(titles)
        .map(|(picture, title)| draw::svg::titled(&picture, title));
    std::array::from_fn(|_| all.next().unwrap_or_default())
}

/// How a pile goes back for its second side, in words.
fn in_words(back: &Reload) -> String {
    let over = if back.turn_over {
        "turn it over as one"
    } else {
        "do not turn it over"
    };
    let edge = match back.leads {
        LeadingEdge::Head => "the arrows pointing into the printer",
        LeadingEdge::Foot => "the arrows pointing away from the printer",
        LeadingEdge::Left => "the left edge of the print going in first",
        LeadingEdge::Right => "the right edge of the print going in first",
    };
    let first = match back.first_lies {
        PileEnd::Top => "on top",
        PileEnd::Bottom => "at the bottom",
    };
    format!(
        "Take the delivered pile as it lies and {over}. Put it back with the printed side {}, {edge}; \
         the sheet with the lowest number lies {first}.",
        back.printed
    )
}
