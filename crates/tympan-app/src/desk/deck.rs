//! Cards that are laid out afresh: the files that they come from, what is chosen, and what came of it.

use std::fs;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use tympan_store::Timestamp;

use super::files::{Incoming, is_id, keep_as, new_id, plain_name};
use super::wish::Wish;
use super::work::{Job, Work, WorkFile};
use super::{Desk, JobKind};
use crate::files;
use crate::lay::{Named, View, Wanted};
use crate::refusal::Refusal;
use crate::words::Units;

/// The most files of one deck.
const MOST_FILES: usize = 3000;

/// Cards that are laid out afresh.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Deck {
    /// The version of this form.
    pub schema: u32,
    /// Its name in addresses and folders.
    pub id: String,
    /// When it was begun.
    pub created: Timestamp,
    /// What its owner knows it by.
    pub title: String,
    /// The files, by their names on their owner's machine.
    pub files: Vec<WorkFile>,
    /// Whether the last file is known to hold the backs of the first.
    #[serde(default)]
    pub has_back_file: bool,
    /// The paper where neither the files nor the choices tell one, by its name.
    #[serde(default)]
    pub usual_paper: Option<String>,
    /// What is chosen.
    #[serde(default)]
    pub wish: Wish,
    /// What there is to show.
    #[serde(default)]
    pub view: Option<View>,
    /// The latest long work on it.
    #[serde(default)]
    pub job: Option<Job>,
    /// What was saved last.
    #[serde(default)]
    pub saved: Option<DeckSaved>,
    /// Whether it was put away; it can be brought back until the program ends.
    #[serde(default)]
    pub put_away: bool,
}

/// Sheets that were saved.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct DeckSaved {
    /// The folder in the deck's `saved` folder.
    pub folder: String,
    /// The files in it, the sheets first: what they are called there, and what they are offered as.
    pub files: Vec<(String, String)>,
    /// What was done, in words.
    pub in_words: String,
    /// What should be known.
    pub cautions: Vec<String>,
    /// The choices that they were made by.
    pub wish: Wish,
}

/// A change to one card of the deck.
#[derive(Clone, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct CardEdit {
    /// Which card, by its number.
    pub number: usize,
    /// Another name.
    pub name: Option<String>,
    /// So many of it.
    pub copies: Option<u32>,
    /// Its new place in the deck, from 0.
    pub place: Option<usize>,
}

impl Deck {
    /// Which plan is shown and saved, from 0.
    pub fn plan(&self) -> usize {
        self.wish.plan().saturating_sub(1)
    }

    /// What tells two states of what is shown apart, for addresses of pictures.
    pub fn stamp(&self) -> String {
        use std::hash::{DefaultHasher, Hash, Hasher};
        let mut hasher = DefaultHasher::new();
        let state = (&self.wish, &self.view);
        serde_json::to_string(&state)
            .unwrap_or_default()
            .hash(&mut hasher);
        format!("{:016x}", hasher.finish())
    }

    /// Changes one card.
    ///
    /// # Errors
    /// A [`Refusal`] where there is no such card, or it cannot be changed so.
    pub fn edit(&mut self, edit: &CardEdit) -> Result<(), Refusal> {
        let mut deck = self.arranged();
        let Some(at) = deck.iter().position(|card| card.number == edit.number) else {
            return Err(Refusal::new("there is no such card", "load the page again"));
        };
        if let Some(name) = &edit.name {
            let name: String = name
                .trim()
                .chars()
                .filter(|c| !c.is_control())
                .take(120)
                .collect();
            if name.is_empty() {
                return Err(Refusal::new("a card needs a name", "write one"));
            }
            deck[at].name = Some(name);
        }
        if let Some(copies) = edit.copies {
            if copies > MOST_COPIES {
                return Err(Refusal::new(
                    format!("{copies} copies cannot be laid"),
                    format!("write a number from 0 to {MOST_COPIES}"),
                ));
            }
            deck[at].copies = Some(copies);
        }
        if let Some(place) = edit.place {
            let card = deck.remove(at);
            deck.insert(place.min(deck.len()), card);
        }
        self.wish.deck = deck;
        // What is shown meanwhile is in the new order, too.
        if let Some(view) = &mut self.view {
            let wanted = &self.wish.deck;
            let place = |number: usize| wanted.iter().position(|card| card.number == number);
            view.cards.sort_by_key(|card| place(card.said.number));
            for card in &mut view.cards {
                let said = wanted.iter().find(|w| w.number == card.said.number);
                let Some(said) = said else { continue };
                if let Some(name) = &said.name {
                    card.said.name.clone_from(name);
                }
                card.said.copies = said.copies.unwrap_or(card.said.copies);
            }
        }
        Ok(())
    }

    /// The deck as it is arranged, with every card that is known.
    fn arranged(&self) -> Vec<Wanted> {
        if !self.wish.deck.is_empty() {
            return self.wish.deck.clone();
        }
        let cards = self.view.iter().flat_map(|view| &view.cards);
        let wanted = |card: &crate::lay::CardView| Wanted {
            number: card.said.number,
            name: None,
            copies: None,
        };
        cards.map(wanted).collect()
    }

    /// The same deck with only these cards, so many of each; the others are left out.
    ///
    /// # Errors
    /// A [`Refusal`] where none is chosen, or there is no such card.
    fn only(&self, cards: &[(usize, u32)]) -> Result<Wish, Refusal> {
        if cards.iter().all(|(_, copies)| *copies == 0) {
            return Err(Refusal::new(
                "no card is chosen",
                "choose the cards that are to be printed once more",
            ));
        }
        let mut deck = self.arranged();
        for card in &mut deck {
            card.copies = Some(0);
        }
        for &(number, copies) in cards {
            let known = deck.iter_mut().find(|card| card.number == number);
            let Some(card) = known.filter(|_| copies <= MOST_COPIES) else {
                return Err(Refusal::new(
                    "there is no such card, or too many of it",
                    "load the page again",
                ));
            };
            card.copies = Some(copies);
        }
        // Those that are laid come first.
        deck.sort_by_key(|card| card.copies == Some(0));
        let mut wish = self.wish.clone();
        wish.deck = deck;
        wish.any_plan();
        Ok(wish)
    }

    fn is_of_pictures(&self) -> bool {
        let is_pdf = |file: &WorkFile| file.name.to_lowercase().ends_with(".pdf");
        !self.files.iter().any(is_pdf)
    }
}

const MOST_COPIES: u32 = 1000;

impl Desk {
    /// A new deck with a file that has arrived. A folder in its name tells the side of a picture.
    ///
    /// # Errors
    /// A [`Refusal`] where it cannot be kept.
    pub fn begin_deck(&self, incoming: Incoming, name: &str) -> Result<Deck, Refusal> {
        let deck = self.new_deck(stem(&plain_name(name)))?;
        let placed = self.place_in_deck(deck.clone(), incoming, name);
        if placed.is_err() {
            // It was made just now: nothing of anybody's is in it.
            let _ = fs::remove_dir_all(self.deck_folder(&deck.id));
        }
        placed
    }

    fn new_deck(&self, title: String) -> Result<Deck, Refusal> {
        let deck = Deck {
            schema: 1,
            id: new_id()?,
            created: Timestamp::now(),
            title,
            files: Vec::new(),
            has_back_file: false,
            usual_paper: None,
            wish: Wish::default(),
            view: None,
            job: None,
            saved: None,
            put_away: false,
        };
        let folder = self.deck_folder(&deck.id);
        fs::create_dir_all(&folder).map_err(|e| Refusal::file("make the folder", &folder, &e))?;
        Ok(deck)
    }

    /// Adds a file to a deck.
    ///
    /// # Errors
    /// A [`Refusal`] where there is no such deck, it is full, or the disk does not take it.
    pub fn add_to_deck(&self, id: &str, incoming: Incoming, name: &str) -> Result<Deck, Refusal> {
        let deck = self.deck(id)?;
        if deck.files.len() >= MOST_FILES {
            return Err(Refusal::new(
                format!("these are more than {MOST_FILES} files"),
                "lay the deck out in parts, or with tympan lay",
            ));
        }
        self.place_in_deck(deck, incoming, name)
    }

    fn place_in_deck(
        &self,
        mut deck: Deck,
        incoming: Incoming,
        name: &str,
    ) -> Result<Deck, Refusal> {
        let name = with_side(name);
        let path = self.deck_file(&deck.id, deck.files.len(), &name);
        let bytes = incoming.bytes();
        incoming.persist(&path)?;
        if deck.files.len() == 1 {
            deck.title = "Loose cards".to_owned();
        }
        deck.files.push(WorkFile { name, bytes });
        self.keep_deck(&deck)?;
        Ok(deck)
    }

    /// All files have come: what is usual is chosen where the files may not say it.
    ///
    /// # Errors
    /// A [`Refusal`] where there is no such deck.
    pub fn deck_is_whole(&self, id: &str, units: Units) -> Result<Deck, Refusal> {
        let (deck, ()) = self.change_deck(id, |deck| {
            let paper = usual_paper(units);
            deck.usual_paper = Some(paper.to_owned());
            if deck.is_of_pictures() {
                deck.wish.say("paper", paper, units)?;
                deck.wish.say("card", "poker", units)?;
            }
            Ok(())
        })?;
        Ok(deck)
    }

    /// A new deck of the files of a piece of work.
    ///
    /// # Errors
    /// A [`Refusal`] where there is no such work or the disk takes no more.
    pub fn deck_of_work(&self, work: &Work, units: Units) -> Result<Deck, Refusal> {
        let mut deck = self.new_deck(work.title())?;
        deck.usual_paper = Some(usual_paper(units).to_owned());
        deck.has_back_file = work.has_back_file;
        deck.files.clone_from(&work.files);
        if let Some(setup) = work.change.by_set_up() {
            deck.wish.say("setup", &setup.name, Units::Mm)?;
        }
        let from = self.files(work);
        self.fill(deck, &from)
    }

    /// A new deck with only these cards of another one, by their numbers, so many of each: for
    /// printing spoiled ones once more.
    ///
    /// # Errors
    /// A [`Refusal`] where none is chosen or there is no such card.
    pub fn deck_again(&self, id: &str, cards: &[(usize, u32)]) -> Result<Deck, Refusal> {
        let of = self.deck(id)?;
        let wish = of.only(cards)?;
        let mut deck = self.new_deck(format!("{}, some once more", of.title))?;
        deck.has_back_file = of.has_back_file;
        deck.files.clone_from(&of.files);
        deck.usual_paper.clone_from(&of.usual_paper);
        deck.wish = wish;
        let from: Vec<PathBuf> = self.named(&of).into_iter().map(|file| file.path).collect();
        self.fill(deck, &from)
    }

    /// Brings files into a new deck.
    fn fill(&self, deck: Deck, from: &[PathBuf]) -> Result<Deck, Refusal> {
        let filled = || {
            for (file, from) in self.named(&deck).iter().zip(from) {
                files::link_or_copy(from, &file.path)?;
            }
            self.keep_deck(&deck)
        };
        match filled() {
            Ok(()) => Ok(deck),
            Err(refusal) => {
                let _ = fs::remove_dir_all(self.deck_folder(&deck.id));
                Err(refusal)
            }
        }
    }

    /// A new piece of work with the sheets that were saved of a deck: to be seen against the light and
    /// printed as a run.
    ///
    /// # Errors
    /// A [`Refusal`] where nothing was saved yet, or the disk takes no more.
    pub fn work_of_deck(&self, id: &str) -> Result<Work, Refusal> {
        let deck = self.deck(id)?;
        let saved = deck.saved.as_ref().and_then(|saved| {
            let (file, name) = saved.files.first()?;
            Some((self.deck_saved(id).join(&saved.folder).join(file), name))
        });
        let Some((path, name)) = saved else {
            return Err(Refusal::new("no sheets were saved yet", "save them first"));
        };
        self.begin(self.incoming()?.filled_from(&path)?, name)
    }

    /// A deck.
    ///
    /// # Errors
    /// A [`Refusal`] where there is none of this id.
    pub fn deck(&self, id: &str) -> Result<Deck, Refusal> {
        let gone = || Refusal::new("this deck is no longer here", "drop its files once more");
        if !is_id(id) {
            return Err(gone());
        }
        let text = fs::read(self.deck_folder(id).join("deck.json")).map_err(|_| gone())?;
        serde_json::from_slice(&text).map_err(|_| gone())
    }

    /// Changes a deck.
    ///
    /// # Errors
    /// A [`Refusal`] where there is none of this id, or the change says no.
    pub fn change_deck<T>(
        &self,
        id: &str,
        change: impl FnOnce(&mut Deck) -> Result<T, Refusal>,
    ) -> Result<(Deck, T), Refusal> {
        let _held = self.hold();
        let mut deck = self.deck(id)?;
        let answer = change(&mut deck)?;
        self.keep_deck(&deck)?;
        Ok((deck, answer))
    }

    fn keep_deck(&self, deck: &Deck) -> Result<(), Refusal> {
        keep_as(&self.deck_folder(&deck.id).join("deck.json"), deck)
    }

    /// All decks that are not put away, the newest first.
    pub fn decks(&self) -> Vec<Deck> {
        let mut all = self.all_decks();
        all.retain(|deck| !deck.put_away);
        all.sort_by_key(|deck| std::cmp::Reverse(deck.created));
        all
    }

    fn all_decks(&self) -> Vec<Deck> {
        let entries = fs::read_dir(self.folder().join("decks"));
        entries
            .into_iter()
            .flatten()
            .flatten()
            .filter_map(|entry| self.deck(entry.file_name().to_str()?).ok())
            .collect()
    }

    /// Removes what was begun and not ended: sheets that were not wholly written, pictures in the making.
    fn tidy_deck(&self, deck: &Deck) {
        let kept = deck.saved.as_ref().map(|saved| saved.folder.as_str());
        let saved = fs::read_dir(self.deck_saved(&deck.id))
            .into_iter()
            .flatten();
        for entry in saved.flatten() {
            if entry.file_name().to_str() != kept {
                let _ = fs::remove_dir_all(entry.path());
            }
        }
        let entries = fs::read_dir(self.deck_folder(&deck.id))
            .into_iter()
            .flatten();
        for entry in entries.flatten() {
            if entry.file_name().to_string_lossy().starts_with(".tmp") {
                let _ = fs::remove_dir_all(entry.path()).or_else(|_| fs::remove_file(entry.path()));
            }
        }
    }

    /// After a start: what was put away is gone, and what was cut short says so.
    pub(super) fn tidy_decks(&self, why: &Refusal) {
        for mut deck in self.all_decks() {
            if deck.put_away {
                let _ = fs::remove_dir_all(self.pictures(&deck.id));
                let _ = fs::remove_dir_all(self.deck_folder(&deck.id));
                continue;
            }
            self.tidy_deck(&deck);
            if deck.job.as_mut().is_some_and(|job| job.cut_short(why)) {
                // What is shown is looked at anew when it is asked for.
                deck.job = deck.job.filter(|job| job.kind != JobKind::Plan);
                let _ = self.keep_deck(&deck);
            }
        }
    }

    /// Where a deck lies.
    pub fn deck_folder(&self, id: &str) -> PathBuf {
        self.folder().join("decks").join(id)
    }

    /// Where its sheets are saved.
    pub fn deck_saved(&self, id: &str) -> PathBuf {
        self.deck_folder(id).join("saved")
    }

    /// Its files keep their endings, by which what is in them is told.
    fn deck_file(&self, id: &str, index: usize, name: &str) -> PathBuf {
        let ending: String = Path::new(name)
            .extension()
            .map(|ending| ending.to_string_lossy().to_lowercase())
            .filter(|ending| ending.len() <= 5 && ending.bytes().all(|b| b.is_ascii_alphanumeric()))
            .unwrap_or_else(|| "file".to_owned());
        self.deck_folder(id).join(format!("file-{index}.{ending}"))
    }

    /// Its files with their names.
    pub fn named(&self, deck: &Deck) -> Vec<Named> {
        let last = deck.files.len().saturating_sub(1);
        let named = |(i, file): (usize, &WorkFile)| Named {
            name: file.name.clone(),
            path: self.deck_file(&deck.id, i, &file.name),
            holds_backs: deck.has_back_file && i == last,
        };
        deck.files.iter().enumerate().map(named).collect()
    }
}

/// Those who measure in inches mostly print on Letter.
fn usual_paper(units: Units) -> &'static str {
    match units {
        Units::Mm => "a4",
        Units::Inch => "letter",
    }
}

fn stem(name: &str) -> String {
    let stem = Path::new(name).file_stem().unwrap_or_default();
    stem.to_string_lossy().into_owned()
}

/// A file's plain name; a picture from a folder of fronts or backs says its side in its name.
fn with_side(name: &str) -> String {
    let folders: Vec<String> = name.split(['/', '\\']).map(str::to_lowercase).collect();
    let plain = plain_name(name);
    let above = folders.len().checked_sub(2).map(|i| folders[i].as_str());
    let side = match above {
        Some("fronts" | "front") => "front",
        Some("backs" | "back") => "back",
        _ => return plain,
    };
    let stem = stem(&plain);
    if stem.to_lowercase().ends_with(side) {
        return plain;
    }
    match Path::new(&plain).extension() {
        Some(ending) => format!("{stem}-{side}.{}", ending.to_string_lossy()),
        None => plain,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::JobState;

    #[test]
    fn folders_tell_the_side_and_nothing_else() {
        assert_eq!(with_side("deck/fronts/heron.png"), "heron-front.png");
        assert_eq!(with_side("backs\\heron.png"), "heron-back.png");
        assert_eq!(with_side("backs/heron-back.png"), "heron-back.png");
        assert_eq!(with_side("../../etc/heron.png"), "heron.png");
    }

    fn deck() -> Deck {
        let card = |number: usize| {
            let said = serde_json::json!({
                "number": number, "name": format!("card {number}"), "copies": 2,
                "two_sided": true, "size_mm": [63.0, 88.0],
            });
            serde_json::json!({ "said": said, "front": 0, "back": 1, "caution": null })
        };
        serde_json::from_value(serde_json::json!({
            "schema": 1, "id": "abcdefghijkm", "created": "2026-01-01T00:00:00Z", "title": "Ferry",
            "files": [], "view": {
                "cards": [card(1), card(2), card(3)], "arts": [], "proof": null, "paper": "A4",
                "sheet": null, "corrected_for": null, "plans": [], "problems": [], "cautions": [],
            },
        }))
        .expect("a deck")
    }

    fn order(deck: &Deck) -> Vec<usize> {
        let cards = deck.view.iter().flat_map(|view| &view.cards);
        cards.map(|card| card.said.number).collect()
    }

    #[test]
    fn cards_are_moved_named_and_left_out() {
        let mut deck = deck();
        let edit = |number| CardEdit {
            number,
            ..CardEdit::default()
        };
        let to = |number, place| CardEdit {
            place: Some(place),
            ..edit(number)
        };
        deck.edit(&to(3, 0)).expect("moved");
        assert_eq!(order(&deck), [3, 1, 2]);
        deck.edit(&to(3, 9)).expect("to the end");
        assert_eq!(order(&deck), [1, 2, 3]);
        let none = CardEdit {
            copies: Some(0),
            name: Some(" Heron ".into()),
            ..edit(2)
        };
        deck.edit(&none).expect("left out");
        assert_eq!(deck.wish.deck[1].copies, Some(0));
        assert_eq!(deck.wish.deck[1].name.as_deref(), Some("Heron"));
        assert!(deck.edit(&edit(4)).is_err());
        let many = CardEdit {
            copies: Some(5000),
            ..edit(1)
        };
        assert!(deck.edit(&many).is_err());
    }

    #[test]
    fn a_restart_keeps_the_deck_and_throws_half_written_sheets_away() {
        let data = tempfile::tempdir().expect("a folder");
        let desk = Desk::open(data.path()).expect("a desk");
        let mut incoming = desk.incoming().expect("a file");
        incoming.write(b"<svg/>").expect("written");
        let deck = desk.begin_deck(incoming, "heron.svg").expect("kept");
        assert!(desk.work_of_deck(&deck.id).is_err(), "nothing was saved");
        let half = desk.deck_saved(&deck.id).join("123");
        fs::create_dir_all(&half).expect("a folder");
        desk.change_deck(&deck.id, |deck| {
            deck.job = Some(Job::begun(JobKind::Lay));
            deck.wish.say("bleed", "2", Units::Mm)
        })
        .expect("changed");
        drop(desk);
        let desk = Desk::open(data.path()).expect("again");
        let found = desk.deck(&deck.id).expect("still there");
        assert_eq!(found.job.expect("told").state, JobState::Stopped);
        assert_eq!(found.wish.get("bleed"), "2mm");
        assert!(!half.exists());
    }

    #[test]
    fn spoiled_cards_come_first_and_the_others_not_at_all() {
        let wish = deck().only(&[(2, 1), (3, 2)]).expect("chosen");
        let told: Vec<_> = wish.deck.iter().map(|w| (w.number, w.copies)).collect();
        assert_eq!(told, [(2, Some(1)), (3, Some(2)), (1, Some(0))]);
        assert!(deck().only(&[]).is_err());
        assert!(deck().only(&[(9, 1)]).is_err());
    }
}
