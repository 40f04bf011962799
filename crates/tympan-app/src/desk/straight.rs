//! Files that go straight to a printer from the page and are no pass of a run: test sheets, the two
//! sheets that teach how a pile goes back, a corrected file, laid sheets.
//!
//! ```text
//! DATA/desk/prints/KEY.json   what is printed of such a file, or was last
//! DATA/desk/prints/KEY.pdf    the file, where it is made only to be printed
//! ```

use std::fs;
use std::path::PathBuf;

use tympan_press::behaviour::Seen;
use tympan_sheet::{Flip, Side};
use tympan_store::{FlippedBy, SetUp, SetUpId, Store};

use super::files::is_id;
use super::runs::read_kept;
use super::{Deck, Desk, Issued, RunDesk, Work};
use crate::pages::BackPages;
use crate::refusal::Refusal;
use crate::run::trial_pdf;
use crate::words::counted;

/// Why a file whose pages lie across the set-up's sheet is not printed straight.
const ACROSS: &str = "Its pages lie across the sheet, and which way a printer turns them is the printer's \
     choice. A run turns them the way that was measured.";

/// A file that is printed straight, by what it is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Straight {
    /// Test sheets of a set-up.
    Test(SetUpId, Issued),
    /// The two sheets that teach a set-up's printer; with answers, those of the second pass.
    Trial(SetUpId, Option<Seen>),
    /// The corrected file of the work of this id.
    Saved(String),
    /// The laid sheets of the deck of this id.
    Laid(String),
}

/// The same as it is printed.
#[derive(Clone, Debug)]
pub struct StraightFile {
    /// Where it lies.
    pub path: PathBuf,
    /// What it is called.
    pub name: String,
    /// What it belongs to.
    pub of: String,
    /// The set-up that it was made for, where there is one.
    pub setup: Option<SetUp>,
    /// The ways of printing it, in the order in which they are done; none where it can only be
    /// printed as a run.
    pub passes: Vec<StraightPass>,
    /// What to bear in mind.
    pub note: String,
    /// Where on the page it was made.
    pub back: String,
    /// Where a run can be made of it, if it can.
    pub run: Option<String>,
}

/// One trip through the printer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StraightPass {
    /// What it prints.
    pub label: String,
    /// Its sheets in the file, from 1; all where nothing is said.
    pub within: Option<(usize, usize)>,
    /// How the printer turns the sheets over, where it is to print both sides.
    pub turned: Option<Flip>,
}

impl StraightPass {
    fn whole(label: &str, turned: Option<Flip>) -> Self {
        Self {
            label: label.to_owned(),
            within: None,
            turned,
        }
    }
}

impl Straight {
    /// What an address names: `test/SETUP/FIRST/LAST`, `trial/SETUP`, `saved/WORK`, `laid/DECK`.
    /// For a second trial, `seen` has the answers after the first one as JSON.
    pub fn of_address(address: &str, seen: Option<&str>) -> Option<Self> {
        let parts: Vec<&str> = address.split('/').collect();
        Some(match *parts.as_slice() {
            ["test", setup, first, last] => {
                let (first, last) = (first.parse().ok()?, last.parse().ok()?);
                if first > last {
                    return None;
                }
                Self::Test(setup.parse().ok()?, Issued { first, last })
            }
            ["trial", setup] => {
                let seen = seen.map(serde_json::from_str).transpose().ok()?;
                Self::Trial(setup.parse().ok()?, seen)
            }
            ["saved", work] if is_id(work) => Self::Saved(work.to_owned()),
            ["laid", deck] if is_id(deck) => Self::Laid(deck.to_owned()),
            _ => return None,
        })
    }

    /// The name that this file's printing is kept by, and news of it are told by.
    pub fn key(&self) -> String {
        match self {
            Self::Test(setup, issued) => {
                format!("test-{setup}-{}-{}", issued.first, issued.last)
            }
            Self::Trial(setup, None) => format!("trial-{setup}"),
            Self::Trial(setup, Some(_)) => format!("trial-{setup}-again"),
            Self::Saved(work) => format!("saved-{work}"),
            Self::Laid(deck) => format!("laid-{deck}"),
        }
    }
}

impl Desk {
    pub(super) fn prints(&self) -> PathBuf {
        self.folder().join("prints")
    }

    /// Where the page keeps what is printed of such a file.
    pub(super) fn straight_kept(&self, key: &str) -> PathBuf {
        self.prints().join(format!("{key}.json"))
    }

    /// After a start: what was printed of works and decks that are gone is forgotten.
    pub(super) fn tidy_prints(&self) {
        let entries = fs::read_dir(self.prints()).into_iter().flatten();
        for entry in entries.flatten() {
            let path = entry.path();
            let key = path.file_stem().unwrap_or_default().to_string_lossy();
            let is_gone = match key.split_once('-') {
                Some(("saved", id)) => self.work(id).is_err(),
                Some(("laid", id)) => self.deck(id).is_err(),
                // Test sheets belong to set-ups, which are not on the desk.
                _ => false,
            };
            if is_gone {
                let _ = fs::remove_file(&path);
            }
        }
    }

    /// What is printed of such a file, or was last.
    pub fn straight(&self, what: &Straight) -> RunDesk {
        read_kept(&self.straight_kept(&what.key()))
    }

    /// The file, ready to be printed.
    ///
    /// # Errors
    /// A [`Refusal`] where it is not there, or no longer as its owner wants it.
    pub fn straight_file(&self, store: &Store, what: &Straight) -> Result<StraightFile, Refusal> {
        match what {
            Straight::Test(id, issued) => self.test_sheets(store.set_up(id)?, *issued),
            Straight::Trial(id, seen) => {
                let setup = store.set_up(id)?;
                let path = self.prints().join(format!("{}.pdf", what.key()));
                fs::create_dir_all(self.prints())
                    .map_err(|e| Refusal::file("make the folder", &self.prints(), &e))?;
                crate::files::replace(&path, &trial_pdf(&setup, seen.as_ref())?)?;
                Ok(StraightFile {
                    path,
                    name: match seen {
                        None => "two sheets".to_owned(),
                        Some(_) => "two sheets, second pass".to_owned(),
                    },
                    of: setup.name.clone(),
                    back: format!("/setup/{id}/teach"),
                    setup: Some(setup),
                    passes: vec![StraightPass::whole("Both sheets", None)],
                    note: "Leave the two sheets lying as the printer gives them back.".to_owned(),
                    run: None,
                })
            }
            Straight::Saved(id) => self.saved_file(store, &self.work(id)?),
            Straight::Laid(id) => self.laid_file(store, &self.deck(id)?),
        }
    }

    fn test_sheets(&self, setup: SetUp, issued: Issued) -> Result<StraightFile, Refusal> {
        let path = self.issued_file(&setup.id, issued);
        if !path.exists() {
            return Err(Refusal::new(
                "there are no such test sheets",
                "make new ones",
            ));
        }
        let count = issued.count() as usize;
        let pass = |side: Side, from: usize| StraightPass {
            label: counted(count, &side.to_string()),
            within: Some((from, from + count - 1)),
            turned: None,
        };
        let first = setup.first_side;
        let (passes, note) = match setup.flipped_by {
            FlippedBy::Machine => (
                vec![StraightPass::whole("Both sides", Some(setup.flip))],
                "Print them exactly as you print a game.",
            ),
            FlippedBy::Hand => (
                vec![pass(first, 1), pass(first.other(), count + 1)],
                "Between the two passes turn the stack over and put it back, just as you do for a game.",
            ),
        };
        Ok(StraightFile {
            path,
            name: match count {
                1 => format!("test sheet {}", issued.first),
                _ => format!("test sheets {} to {}", issued.first, issued.last),
            },
            of: setup.name.clone(),
            back: format!("/setup/{}/measure", setup.id),
            setup: Some(setup),
            passes,
            note: note.to_owned(),
            run: None,
        })
    }

    fn saved_file(&self, store: &Store, work: &Work) -> Result<StraightFile, Refusal> {
        let saved = work.saved.as_ref().ok_or_else(|| {
            Refusal::new("no corrected file was saved yet", "save one, then print it")
        })?;
        let before = Work {
            change: saved.change.clone(),
            ..work.clone()
        };
        let setup = match before.change.by_set_up() {
            Some(learnt) => Some(store.set_up_named(&learnt.name)?),
            None => None,
        };
        let by_turns = before.has_back_file || before.backs()? == BackPages::Even;
        let lies_across = setup.as_ref().is_some_and(|setup| {
            let (sheet, page) = (setup.paper.size(), work.pages.iter().flatten().next());
            page.is_some_and(|page| (page.w > page.h) != (sheet.w > sheet.h))
        });
        let flip = setup.as_ref().map(|setup| setup.flip);
        let flip = flip.or(before.change.flip).unwrap_or(Flip::Sideways);
        let (passes, note) = match lies_across {
            true => (Vec::new(), ACROSS.to_owned()),
            false => both_sides(setup.as_ref(), flip, by_turns),
        };
        Ok(StraightFile {
            path: self.saved_folder(&work.id).join(&saved.file),
            name: saved.name.trim_end_matches(".pdf").to_owned(),
            of: work.title(),
            setup,
            passes,
            note,
            back: format!("/work/{}", work.id),
            run: Some(format!("/work/{}/run", work.id)),
        })
    }

    fn laid_file(&self, store: &Store, deck: &Deck) -> Result<StraightFile, Refusal> {
        let stale = || {
            Refusal::new(
                "the sheets were not saved as they are chosen now",
                "save them, then print them",
            )
        };
        let saved = deck.saved.as_ref().filter(|saved| saved.wish == deck.wish);
        let saved = saved.ok_or_else(stale)?;
        let (file, name) = saved.files.first().ok_or_else(stale)?;
        let plan = deck
            .view
            .as_ref()
            .and_then(|view| view.plans.get(deck.plan()));
        let plan = plan.ok_or_else(stale)?;
        let setup = match deck.wish.get("setup") {
            "" => None,
            name => Some(store.set_up_named(name)?),
        };
        let (passes, note) = match plan.two_sided {
            false => (
                vec![StraightPass::whole("All sheets, one side", None)],
                String::new(),
            ),
            true => {
                let wished = deck.wish.get("flip").parse().ok();
                let flip = wished.or(setup.as_ref().map(|setup| setup.flip));
                both_sides(setup.as_ref(), flip.unwrap_or(Flip::Sideways), true)
            }
        };
        Ok(StraightFile {
            path: self.deck_saved(&deck.id).join(&saved.folder).join(file),
            name: name.trim_end_matches(".pdf").to_owned(),
            of: deck.title.clone(),
            setup,
            passes,
            note,
            back: format!("/deck/{}", deck.id),
            run: None,
        })
    }
}

/// How a file of fronts and backs is printed, and what to bear in mind.
fn both_sides(setup: Option<&SetUp>, flip: Flip, by_turns: bool) -> (Vec<StraightPass>, String) {
    let by_hand = setup.is_some_and(|setup| setup.flipped_by == FlippedBy::Hand);
    if !by_turns {
        return (
            Vec::new(),
            "Its fronts and backs do not come by turns, as a printer that turns the sheets over \
             needs them. A run brings them into order."
                .to_owned(),
        );
    }
    if by_hand {
        return (
            Vec::new(),
            "You turn these sheets over by hand. A run has a pass for each side, and says how the \
             pile goes back between them."
                .to_owned(),
        );
    }
    (
        vec![StraightPass::whole("Both sides", Some(flip))],
        "The printer must turn the sheets over by itself. Where you do that by hand, print it as a \
         run."
            .to_owned(),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_name_files_and_nothing_else() {
        let of = |text: &str| Straight::of_address(text, None);
        let id = crate::desk::files::new_id().expect("an id");
        assert_eq!(
            of(&format!("saved/{id}")),
            Some(Straight::Saved(id.clone()))
        );
        assert_eq!(of(&format!("laid/{id}")), Some(Straight::Laid(id.clone())));
        for text in [
            "",
            "saved",
            "saved/a/b",
            "saved/..\\..\\x",
            "laid/..",
            "test/x/1",
            "trial/../x",
            "run/abc",
        ] {
            assert_eq!(of(text), None, "{text}");
        }
    }

    #[test]
    fn what_was_printed_of_works_that_are_gone_is_forgotten_at_a_start() {
        let data = tempfile::tempdir().expect("a folder");
        let desk = Desk::open(data.path()).expect("a desk");
        let mut incoming = desk.incoming().expect("a file");
        incoming.write(b"<svg/>").expect("written");
        let here = desk.begin_deck(incoming, "heron.svg").expect("kept").id;
        let gone = crate::desk::files::new_id().expect("an id");
        let kept = |key: String| desk.straight_kept(&key);
        let [here, gone, test] = [
            kept(format!("laid-{here}")),
            kept(format!("laid-{gone}")),
            kept("test-ABCDEF-1-3".to_owned()),
        ];
        fs::create_dir_all(desk.prints()).expect("a folder");
        for file in [&here, &gone, &test] {
            fs::write(file, "{}").expect("written");
        }
        drop(desk);
        Desk::open(data.path()).expect("again");
        assert!(here.exists() && test.exists() && !gone.exists());
    }

    #[test]
    fn test_sheets_flipped_by_hand_are_two_passes_and_by_the_machine_one() {
        let data = tempfile::tempdir().expect("a folder");
        let desk = Desk::open(data.path()).expect("a desk");
        let mut store = Store::open(data.path()).expect("a store");
        let mut passes = |name: &str, flipped_by| {
            let setup = SetUp {
                flipped_by,
                first_side: Side::Back,
                ..SetUp::new(name, "a4".parse().expect("paper"), Flip::Endways)
            };
            store.add_set_up(&setup).expect("kept");
            let issued = desk.issue(&mut store, &setup, 3).expect("made");
            let what = Straight::Test(setup.id, issued);
            desk.straight_file(&store, &what).expect("a file").passes
        };
        let by_hand = passes("hand", FlippedBy::Hand);
        assert_eq!(by_hand[0].label, "3 backs");
        assert_eq!((by_hand[0].within, by_hand[0].turned), (Some((1, 3)), None));
        assert_eq!(by_hand[1].label, "3 fronts");
        assert_eq!((by_hand[1].within, by_hand[1].turned), (Some((4, 6)), None));
        let by_machine = passes("machine", FlippedBy::Machine);
        assert_eq!(
            by_machine,
            [StraightPass::whole("Both sides", Some(Flip::Endways))]
        );
    }
}
