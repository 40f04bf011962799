//! How a printer takes its pile and gives it back, learnt from two marked sheets, and how the pile
//! is put back for its second side.
//!
//! The sheets of one pass are named by the page that they got. Nothing here asks for the kind of
//! printer: whatever way its paper takes, a face, an end and an order come of it.

use serde::{Deserialize, Serialize};
use tympan_sheet::{Behaviour, Facing, Flip, LeadingEdge, PileEnd};

/// The order of the second pass's pages against the first's.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Order {
    /// As in the first pass.
    Same,
    /// The last sheet's first.
    Reversed,
}

impl Order {
    /// These sheets in the order in which a pass prints them.
    pub fn of<T: Clone>(self, sheets: &[T]) -> Vec<T> {
        let mut sheets = sheets.to_vec();
        if self == Self::Reversed {
            sheets.reverse();
        }
        sheets
    }
}

/// How the pile goes back for its second side.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Reload {
    /// Whether the delivered pile is turned over as one.
    pub turn_over: bool,
    /// How the print of the first pass lies in the feed tray.
    pub printed: Facing,
    /// The edge that goes in first, as it is called on the first pass's print held upright.
    pub leads: LeadingEdge,
    /// Where the sheet that was printed first lies in the pile as it is put back.
    pub first_lies: PileEnd,
    /// The order of the second pass's pages.
    pub order: Order,
}

/// The way back into the tray, so that each back lands behind its front by the flip.
///
/// The pages of both passes stay upright as a test sheet's are, because the register error belongs
/// to the sheet as it goes through the printer; only the pile and the order of pages may differ.
/// A flip is its own inverse: the same holds whichever side is printed first.
pub fn reload(printer: &Behaviour, flip: Flip) -> Reload {
    // The blank face must lie where print is taken.
    let printed = printer.prints.other();
    let turn_over = printer.comes != printed;
    let first = if turn_over {
        printer.first_page_comes.other()
    } else {
        printer.first_page_comes
    };
    Reload {
        turn_over,
        printed,
        // The same edge of the page leads again; what it is called on the other side of the sheet
        // is where the pile's edge must be.
        leads: printer.leads.on_back(flip),
        first_lies: first,
        order: if first == printer.first_page_on {
            Order::Same
        } else {
            Order::Reversed
        },
    }
}

/// Whether the print is on the pencilled face.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Took {
    /// The face with the pencil marks, which lay up.
    Pencilled,
    /// The other face.
    Other,
}

/// What is seen on the two marked sheets after the first pass. They were loaded with the pencil
/// marks up: an arrow to the end that goes in first, and "top" on the upper sheet. What was not
/// seen stays open.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Seen {
    /// The number printed on the sheet marked "top": 1 or 2.
    pub on_top_sheet: Option<u8>,
    /// The face that took the print.
    pub took: Option<Took>,
    /// The edge of the printed page, held upright, at the end that the pencil arrow points to.
    pub at_arrow: Option<LeadingEdge>,
    /// The number that lay uppermost as the pile was delivered.
    pub pile_top: Option<u8>,
    /// How the print lay in the delivered pile.
    pub pile_faces: Option<Facing>,
}

/// What is seen on the two sheets after the second pass, which was loaded as [`Reload`] said.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct SeenAgain {
    /// The number of the second pass that the sheet with a 1 of the first pass got.
    pub behind_first: u8,
    /// Whether both prints are on one face.
    pub same_face: bool,
    /// Whether the two pages' heads are at the same edge of the sheet.
    pub heads_together: bool,
}

/// Why answers teach nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TeachError {
    /// A number that no sheet carries.
    #[error("the two sheets carry the numbers 1 and 2, not {0}")]
    NoSuchNumber(u8),
    /// No printer does this.
    #[error("no printer does all of this: one of the answers does not fit the others")]
    Contradiction,
}

impl TeachError {
    /// What to do about it.
    pub fn hint(&self) -> &'static str {
        match self {
            Self::NoSuchNumber(_) => "look for the large printed number",
            Self::Contradiction => {
                "leave out the answers that you are not sure of, or print the two sheets once more"
            }
        }
    }
}

/// What the answers leave.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Learnt {
    /// One way back, whatever is still open.
    Sure(Behaviour),
    /// More than one: a second short pass, put back as for this guess, settles it.
    Doubt(Behaviour),
}

impl Learnt {
    /// What is believed of the printer, sure or not.
    pub fn behaviour(self) -> Behaviour {
        match self {
            Self::Sure(printer) | Self::Doubt(printer) => printer,
        }
    }
}

/// The edges a page can lead with, the commonest first.
const EDGES: [LeadingEdge; 4] = [
    LeadingEdge::Head,
    LeadingEdge::Foot,
    LeadingEdge::Left,
    LeadingEdge::Right,
];

/// All that a printer can do with a pile, the commonest first (common practice: sheets are taken
/// from the top, and delivered so that the file's order is kept when the pile is read).
fn all() -> impl Iterator<Item = Behaviour> {
    let ends = PileEnd::BOTH.into_iter();
    ends.flat_map(|first_page_on| {
        Facing::BOTH.into_iter().flat_map(move |prints| {
            EDGES.into_iter().flat_map(move |leads| {
                Facing::BOTH.into_iter().flat_map(move |comes| {
                    PileEnd::BOTH
                        .into_iter()
                        .map(move |first_page_comes| Behaviour {
                            first_page_on,
                            prints,
                            leads,
                            first_page_comes,
                            comes,
                        })
                })
            })
        })
    })
}

fn is_open_or<T: PartialEq>(answer: Option<T>, fits: T) -> bool {
    answer.is_none_or(|answer| answer == fits)
}

/// The number that lies at the top, where the sheet with a 1 lies at this end.
fn number_at_top(first: PileEnd) -> u8 {
    match first {
        PileEnd::Top => 1,
        PileEnd::Bottom => 2,
    }
}

fn fits(printer: &Behaviour, seen: &Seen) -> bool {
    let took = match printer.prints {
        Facing::Up => Took::Pencilled,
        Facing::Down => Took::Other,
    };
    is_open_or(seen.on_top_sheet, number_at_top(printer.first_page_on))
        && is_open_or(seen.took, took)
        && is_open_or(seen.at_arrow, printer.leads)
        && is_open_or(seen.pile_top, number_at_top(printer.first_page_comes))
        && is_open_or(seen.pile_faces, printer.comes)
}

/// What this printer makes of a pile that was put back so.
fn comes_out(printer: &Behaviour, back: &Reload) -> SeenAgain {
    // Whoever puts it back looks at the print, and turns the pile over where that takes it.
    let turned = printer.comes != back.printed;
    let first = if turned {
        printer.first_page_comes.other()
    } else {
        printer.first_page_comes
    };
    let gets_first_page = first == printer.first_page_on;
    SeenAgain {
        behind_first: if gets_first_page == (back.order == Order::Same) {
            1
        } else {
            2
        },
        same_face: printer.prints == back.printed,
        // On one face the two pages' edges have the same names.
        heads_together: if printer.prints == back.printed {
            printer.leads == back.leads
        } else {
            printer.leads.on_back(Flip::Sideways) == back.leads
        },
    }
}

/// What the answers after the first pass teach for sheets that are flipped so. `expected` is the
/// edge that should lead, where the set-up says it: it is taken where the answers leave it open.
///
/// # Errors
/// [`TeachError::NoSuchNumber`].
pub fn learn(seen: &Seen, expected: Option<LeadingEdge>, flip: Flip) -> Result<Learnt, TeachError> {
    for number in [seen.on_top_sheet, seen.pile_top].into_iter().flatten() {
        if !(1..=2).contains(&number) {
            return Err(TeachError::NoSuchNumber(number));
        }
    }
    let left: Vec<Behaviour> = all().filter(|printer| fits(printer, seen)).collect();
    settle(&left, expected, flip)
}

/// What the second pass teaches beside the first: `guess` is what its loading was told by.
///
/// # Errors
/// [`TeachError`] where the answers fit no printer.
pub fn learn_again(
    seen: &Seen,
    guess: &Behaviour,
    again: &SeenAgain,
    flip: Flip,
) -> Result<Learnt, TeachError> {
    if !(1..=2).contains(&again.behind_first) {
        return Err(TeachError::NoSuchNumber(again.behind_first));
    }
    let back = reload(guess, flip);
    let fits_both = |printer: &Behaviour| {
        // A pile cannot be put in with an edge first that does not fit the tray.
        printer.leads.axis() == guess.leads.axis()
            && fits(printer, seen)
            && comes_out(printer, &back) == *again
    };
    let left: Vec<Behaviour> = all().filter(fits_both).collect();
    settle(&left, None, flip)
}

fn settle(
    left: &[Behaviour],
    expected: Option<LeadingEdge>,
    flip: Flip,
) -> Result<Learnt, TeachError> {
    let usual = left
        .iter()
        .find(|printer| expected.is_none_or(|edge| printer.leads == edge))
        .or(left.first());
    let guess = *usual.ok_or(TeachError::Contradiction)?;
    let back = reload(&guess, flip);
    // Whether the pile is turned over, and where its first sheet is then, is seen as it lies.
    let same = |printer: &Behaviour| {
        let other = reload(printer, flip);
        (other.printed, other.leads, other.order) == (back.printed, back.leads, back.order)
    };
    Ok(if left.iter().all(same) {
        Learnt::Sure(guess)
    } else {
        Learnt::Doubt(guess)
    })
}

/// The printer that is taken where nothing was taught: it takes the top sheet first, prints on the
/// face that lies up, and delivers face down in order, as common desk laser printers do with their
/// by-pass tray (common practice, from memory); the edge is the set-up's.
pub fn assumed(leads: LeadingEdge) -> Behaviour {
    Behaviour {
        first_page_on: PileEnd::Top,
        prints: Facing::Up,
        leads,
        first_page_comes: PileEnd::Bottom,
        comes: Facing::Down,
    }
}
