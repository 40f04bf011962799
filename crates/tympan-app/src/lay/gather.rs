//! From what a job names to the cards to be laid: which picture is on which side of which card.

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

use tympan_inspect::Asked;
use tympan_inspect::faults::Print;
use tympan_layout::Stands;
use tympan_pdf::impose::{Art, Edges, SourceId, SourcePage, Sources};
use tympan_sheet::{Affine, Flip, Shape, Size, Vector};

use super::cells::{self, Cell};
use super::deck::{self, ArtName, Entry};
use super::job::{Fit, Job, ShapeAsked, Source, usual_radius};
use super::known::Known;
use super::problem::Problem;
use super::{dropped, folder};
use crate::files;
use crate::inspect::{self, Progress};
use crate::refusal::Refusal;

/// Pictures of proportions that differ from their card's by less than this share fill it, and
/// what is beyond is cut off: it is less than any cut is good for.
const SAME_PROPORTION: f64 = 0.015;
/// Pictures below this, pixels per inch as laid, look coarse; below the other, soft (common
/// practice).
const COARSE_PPI: f64 = 150.0;
const SOFT_PPI: f64 = 300.0;

/// A card to be laid.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Card {
    /// Its place among all cards that are found, from 1.
    pub(super) number: usize,
    pub(super) name: String,
    pub(super) front: usize,
    pub(super) back: Option<usize>,
    /// 0 where it is left out by hand.
    pub(super) copies: u32,
    pub(super) shape: Shape,
    pub(super) stands: Stands,
    /// What will look poor about it, if anything.
    pub(super) caution: Option<String>,
}

/// All that a job names.
#[derive(Debug, Default)]
pub(super) struct Gathered {
    pub(super) sources: Sources,
    pub(super) arts: Vec<Art>,
    pub(super) cards: Vec<Card>,
    pub(super) cautions: Vec<String>,
}

/// Gathers the cards of a job: what is found of them, and everything that is in the way. What
/// inspection finds is kept in `known`, or taken from there.
pub(super) fn gather(
    job: &Job,
    flip: Flip,
    known: &mut Known,
    progress: &mut dyn FnMut(Progress),
    cancel: &AtomicBool,
) -> (Gathered, Vec<Problem>) {
    let mut gatherer = Gatherer {
        job,
        flip,
        known,
        cancel,
        progress,
        names: HashMap::new(),
        found: Gathered::default(),
        index: HashMap::new(),
        arts: HashMap::new(),
        cells: HashMap::new(),
        problems: Vec::new(),
    };
    for source in &job.sources {
        gatherer.source(source);
    }
    gatherer.by_hand();
    gatherer.only();
    gatherer.fillers();
    gatherer.proportions();
    gatherer.coarse();
    let none = gatherer.found.cards.iter().all(|card| card.copies == 0);
    if none && gatherer.problems.is_empty() {
        gatherer.problem(
            "the job",
            "it names no cards",
            "name a PDF, a folder of pictures or a deck list, and at least one copy of one card",
        );
    }
    (gatherer.found, gatherer.problems)
}

/// The file, the page, the cell, and how much of it is bleed.
type ArtKey = (SourceId, usize, Option<usize>, u64);

struct Gatherer<'a> {
    job: &'a Job,
    flip: Flip,
    known: &'a mut Known,
    cancel: &'a AtomicBool,
    progress: &'a mut dyn FnMut(Progress),
    /// What their owner calls files that have other names here.
    names: HashMap<PathBuf, PathBuf>,
    found: Gathered,
    /// Files by path; `None` where one cannot be read, which is told once.
    index: HashMap<PathBuf, Option<SourceId>>,
    /// Pictures that many cards share are one.
    arts: HashMap<ArtKey, usize>,
    /// The cells of files that lists name cells of, page by page.
    cells: HashMap<SourceId, Vec<Vec<Cell>>>,
    problems: Vec<Problem>,
}

impl Gatherer<'_> {
    fn problem(&mut self, place: &str, message: impl Into<String>, hint: impl Into<String>) {
        self.problems.push(Problem::new(place, message, hint));
    }

    fn refused(&mut self, place: &str, refusal: Refusal) {
        self.problems.push(Problem::refused(place, refusal));
    }

    /// What a file is called in messages.
    fn shown(&self, path: &Path) -> PathBuf {
        self.names
            .get(path)
            .map_or(path, PathBuf::as_path)
            .to_owned()
    }

    /// Files that were given by themselves.
    fn dropped(&mut self, source: &Source) {
        for file in &source.dropped {
            self.names
                .insert(file.path.clone(), PathBuf::from(&file.name));
        }
        let sorted = dropped::sort(source);
        self.problems.extend(sorted.problems);
        for sheets in sorted.sheets {
            self.source(&sheets);
        }
        for entry in sorted.entries {
            self.entry(source, entry);
        }
    }

    fn source(&mut self, source: &Source) {
        if !source.dropped.is_empty() {
            return self.dropped(source);
        }
        match (&source.file, &source.folder, &source.list) {
            (Some(file), None, None) => self.file(source, file),
            (None, Some(folder), None) => match folder::read(folder) {
                Ok(cards) => {
                    for card in cards {
                        let art = |file: PathBuf| ArtName {
                            file,
                            page: None,
                            cell: None,
                        };
                        let entry = Entry {
                            name: card.name,
                            front: art(card.front),
                            back: card.back.map(art),
                            copies: 1,
                            size: None,
                            stands: None,
                        };
                        self.entry(source, entry);
                    }
                }
                Err(problems) => self.problems.extend(problems),
            },
            (None, None, Some(list)) => {
                let read = files::read_text(list)
                    .map_err(|refusal| vec![Problem::refused(list.display().to_string(), refusal)])
                    .and_then(|text| deck::read(list, &text));
                match read {
                    Ok(entries) => {
                        for entry in entries {
                            self.entry(source, entry);
                        }
                    }
                    Err(problems) => self.problems.extend(problems),
                }
            }
            _ => self.problem(
                "a source of the job",
                "it does not name exactly one of file, folder and list",
                "write one of them; give each file, folder or list a [[source]] of its own",
            ),
        }
    }

    /// A PDF of sheets, or a single picture.
    fn file(&mut self, source: &Source, path: &Path) {
        let password = source.password.as_deref();
        let Some(id) = self.open(path, password) else {
            return;
        };
        if self.is_picture(id) {
            let entry = Entry {
                name: deck::short_name(&whole(&self.shown(path))),
                front: whole(path),
                back: None,
                copies: 1,
                size: None,
                stands: None,
            };
            return self.entry(source, entry);
        }
        let back_id = match &source.back_file {
            Some(back) => match self.open(back, password) {
                Some(id) => id,
                None => return,
            },
            None => id,
        };
        let asked = source.pairs.clone().unwrap_or(Asked::Guess);
        let file = cells::File {
            path,
            back_path: source.back_file.as_deref(),
            password,
            pairs: &asked,
            flip: self.flip,
        };
        let shown = self.shown(path);
        let found = match self.known.sheets(&file) {
            Some(found) => found,
            None => match cells::find(&file, self.progress, self.cancel) {
                Ok(found) => {
                    self.known.keep_sheets(&file, &found);
                    found
                }
                Err(refusal) => return self.refused(&shown.display().to_string(), refusal),
            },
        };
        self.found.cautions.extend(found.cautions);
        // Where all cards are of one file, its name tells nothing.
        let of_file = match self.is_only_file() {
            true => String::new(),
            false => format!("{} ", deck::short_name(&whole(&shown))),
        };
        for sides in found.cards {
            let page = sides.front.page + 1;
            let name = format!("{of_file}page {page} card {}", sides.front.number);
            let front = self.cell_art(&name, id, &sides.front);
            let back = match (&source.back, sides.back) {
                (Some(_), _) => self.common_back(source, &name),
                (None, Some(back)) => Some(self.cell_art(&format!("{name}, back"), back_id, &back)),
                (None, None) => None,
            };
            let shape = match source.card.or(self.job.card) {
                Some(asked) => asked.0,
                None => Shape::rect(sides.front.trim, 0.0),
            };
            let card = Card {
                number: 0,
                name,
                front,
                back,
                copies: 1,
                shape: self.cornered(shape, sides.front.radius),
                stands: source.standing.map_or(sides.stands, |asked| asked.0),
                caution: None,
            };
            self.card(source, card);
        }
    }

    /// Whether the job names a single file of fronts.
    fn is_only_file(&self) -> bool {
        let files = |source: &Source| {
            let dropped = source.dropped.iter();
            dropped.filter(|file| !file.holds_backs).count().max(1)
        };
        self.job.sources.iter().map(files).sum::<usize>() == 1
    }

    /// A rectangle with the corners that are asked for, or are drawn.
    fn cornered(&self, shape: Shape, drawn: Option<f64>) -> Shape {
        match shape {
            Shape::Rect {
                size,
                corner_radius: 0.0,
            } => {
                let radius = match self.job.corners {
                    Some(radius) => radius.to_mm(),
                    None => drawn.or_else(|| usual_radius(size)).unwrap_or(0.0),
                };
                Shape::rect(size, radius)
            }
            other => other,
        }
    }

    /// A line of a list, or a pair of pictures.
    fn entry(&mut self, source: &Source, entry: Entry) {
        let name = entry.name.clone();
        if entry.copies == 0 {
            return;
        }
        let asked = match &entry.size {
            None => source.card.or(self.job.card).map(|asked| asked.0),
            Some(text) => match text.parse::<ShapeAsked>() {
                Ok(asked) => Some(asked.0),
                Err(error) => {
                    return self.problem(&name, error, "write a size like 57x87mm or poker");
                }
            },
        };
        let within = source.bleed_within.map_or(0.0, |bleed| bleed.to_mm());
        let Some(front) = self.named_art(source, &name, &entry.front, asked, within) else {
            return;
        };
        let back = match &entry.back {
            Some(back) => match self.named_art(source, &name, back, asked, within) {
                Some(back) => Some(back),
                None => return,
            },
            None => self.common_back(source, &name),
        };
        let Some(shape) = asked.or_else(|| self.own_shape(front)) else {
            return self.problem(
                &name,
                "nothing says how large the card is",
                "say it for all cards with --card poker or --card 57x87mm, or in the list's size \
                 column",
            );
        };
        let shape = self.cornered(shape, None);
        let asked = source.standing.map(|asked| asked.0);
        let card = Card {
            number: 0,
            name,
            front,
            back,
            copies: entry.copies,
            shape,
            stands: entry.stands.or(asked).unwrap_or_default(),
            caution: None,
        };
        self.card(source, card);
    }

    /// The size that the file itself states.
    fn own_shape(&self, art: usize) -> Option<Shape> {
        let art = &self.found.arts[art];
        let page = self.found.sources.page(art.source, art.page).ok()?;
        let meant = page.pixels.is_none() || page.states_its_size;
        meant.then(|| Shape::rect(art.size, 0.0))
    }

    fn common_back(&mut self, source: &Source, name: &str) -> Option<usize> {
        let text = source.back.as_ref()?;
        let within = source.bleed_within.map_or(0.0, |bleed| bleed.to_mm());
        let asked = source.card.or(self.job.card).map(|asked| asked.0);
        match text.parse::<ArtName>() {
            Ok(art) => self.named_art(source, name, &art, asked, within),
            Err(error) => {
                self.problem(
                    "the common back",
                    error,
                    "name a picture or a page of a PDF",
                );
                None
            }
        }
    }

    fn card(&mut self, source: &Source, mut card: Card) {
        let copies = source.copies.unwrap_or(1);
        if copies > deck::MOST_COPIES || copies == 0 {
            let hint = format!("write a number from 1 to {}", deck::MOST_COPIES);
            return self.problem(&card.name, format!("{copies} copies cannot be laid"), hint);
        }
        card.copies = card.copies.saturating_mul(copies);
        if self.job.one_sided {
            card.back = None;
        }
        // A card lies as its front does.
        let lies = |size: Size| size.is_landscape();
        let front = self.found.arts[card.front].size;
        let bounds = card.shape.size();
        if (front.w / front.h - 1.0).abs() > SAME_PROPORTION
            && (bounds.w / bounds.h - 1.0).abs() > SAME_PROPORTION
            && lies(front) != lies(bounds)
        {
            card.shape = card.shape.turned();
        }
        card.number = self.found.cards.len() + 1;
        self.found.cards.push(card);
    }

    /// Whether pictures have the proportions of the cards that are laid.
    fn proportions(&mut self) {
        if self.job.fit.unwrap_or_default() != Fit::Refuse {
            return;
        }
        for card in self.found.cards.clone() {
            if card.copies == 0 {
                continue;
            }
            for (art, side) in [(Some(card.front), "front"), (card.back, "back")] {
                if let Some(art) = art {
                    self.proportion(&card, art, side);
                }
            }
        }
    }

    /// Whether a picture has its card's proportions.
    fn proportion(&mut self, card: &Card, art: usize, side: &str) {
        let (trim, bounds) = (self.found.arts[art].size, card.shape.size());
        let off = |trim: Size| (trim.w / trim.h) / (bounds.w / bounds.h) - 1.0;
        if off(trim).abs() <= SAME_PROPORTION {
            return;
        }
        let with_bleed = (1..=12).map(|n| f64::from(n) * 0.5).find(|b| {
            let grown = Size::new(bounds.w + 2.0 * b, bounds.h + 2.0 * b);
            ((trim.w / trim.h) / (grown.w / grown.h) - 1.0).abs() < 0.002
        });
        let hint = if off(trim.turned()).abs() <= SAME_PROPORTION {
            "turn the picture a quarter, so that both sides of the card lie alike".to_owned()
        } else if let Some(bleed) = with_bleed {
            format!(
                "it looks like a card with {bleed} mm of bleed: say --bleed-within {bleed}mm if \
                 that is so; else choose --fit fill, whole or distort"
            )
        } else {
            "choose --fit fill (what is beyond is cut off), whole (blank beside it) or distort; or \
             give the card another size"
                .to_owned()
        };
        let message = format!(
            "its {side} is {:.3} times as wide as high, but the card is {:.3} ({:.1} × {:.1} mm)",
            trim.w / trim.h,
            bounds.w / bounds.h,
            bounds.w,
            bounds.h
        );
        let problem = Problem::new(&card.name, message, hint);
        self.problems.push(problem.of_card(card.number));
    }

    /// A cell as art.
    fn cell_art(&mut self, name: &str, source: SourceId, cell: &Cell) -> usize {
        let key = (source, cell.page, Some(cell.number), 0);
        let art = Art {
            name: name.to_owned(),
            source,
            page: cell.page + 1,
            size: cell.trim,
            at: cell.to_page,
            room: Edges::all(if self.job.drop_bleed { 0.0 } else { cell.bleed }),
            corner_radius: cell.radius.unwrap_or(0.0),
        };
        self.art(key, art)
    }

    fn art(&mut self, key: ArtKey, art: Art) -> usize {
        *self.arts.entry(key).or_insert_with(|| {
            self.found.arts.push(art);
            self.found.arts.len() - 1
        })
    }

    /// A picture, a page or a cell that a list names.
    fn named_art(
        &mut self,
        source: &Source,
        name: &str,
        art: &ArtName,
        asked: Option<Shape>,
        within: f64,
    ) -> Option<usize> {
        let id = self.open(&art.file, source.password.as_deref())?;
        let pages = self.found.sources.page_count(id);
        if art.page.is_none() && pages > 1 {
            self.problem(
                name,
                format!("{art} has {pages} pages, and none is named"),
                format!("write the page, such as {art}#page=1"),
            );
            return None;
        }
        let number = art.page.unwrap_or(1);
        let page = match self.found.sources.page(id, number) {
            Ok(page) => page,
            Err(error) => {
                self.refused(name, error.into());
                return None;
            }
        };
        if let Some(cell) = art.cell {
            let cell = self.cell_of(name, id, number - 1, cell, source.password.as_deref())?;
            return Some(self.cell_art(&art.to_string(), id, &cell));
        }
        let key = (id, number - 1, None, within.to_bits());
        if let Some(known) = self.arts.get(&key) {
            return Some(*known);
        }
        let mut made = whole_page(art.to_string(), id, number, &page, asked, within);
        if self.job.drop_bleed {
            made.room = Edges::all(0.0);
        }
        if made.size.w <= 0.0 || made.size.h <= 0.0 {
            self.problem(
                name,
                format!("{art} is smaller than the bleed that it is said to have"),
                "say less with --bleed-within",
            );
            return None;
        }
        Some(self.art(key, made))
    }

    /// A cell that a list names.
    fn cell_of(
        &mut self,
        name: &str,
        file: SourceId,
        page: usize,
        number: usize,
        password: Option<&str>,
    ) -> Option<Cell> {
        if !self.cells.contains_key(&file) {
            let path = self.found.sources.path(file).to_owned();
            let cells = match self.known.pages(&path) {
                Some(cells) => cells,
                None => self.look_for_cells(&path, password),
            };
            self.cells.insert(file, cells);
        }
        let on_page = self.cells[&file].get(page)?;
        let count = on_page.len();
        let cell = number.checked_sub(1).and_then(|i| on_page.get(i)).copied();
        if cell.is_none() {
            self.problem(
                name,
                format!("there is no card {number} on page {}", page + 1),
                format!("{count} cards were found there, read like a text; inspect tells where"),
            );
        }
        cell
    }

    fn look_for_cells(&mut self, path: &Path, password: Option<&str>) -> Vec<Vec<Cell>> {
        let (print, file) = (Print::default(), path.to_owned());
        let looked = inspect::look::at(&[&file], password, &print, self.progress, self.cancel);
        match looked {
            Ok(looked) => {
                let cells: Vec<_> = looked[0].cells().iter().map(cells::of_page).collect();
                self.known.keep_pages(path, &cells);
                cells
            }
            Err(refusal) => {
                self.refused(&self.shown(path).display().to_string(), refusal);
                Vec::new()
            }
        }
    }

    /// Opens a file once; what is wrong with it is told once.
    fn open(&mut self, path: &Path, password: Option<&str>) -> Option<SourceId> {
        if let Some(known) = self.index.get(path) {
            return *known;
        }
        let opened = match self.found.sources.add(path, password) {
            Ok(id) => Some(id),
            Err(error) => {
                let place = path.display().to_string();
                let message = error.to_string();
                // The error names the file itself.
                let message = message
                    .strip_prefix(&place)
                    .unwrap_or(&message)
                    .trim_start();
                let place = self.shown(path).display().to_string();
                let hint = error.hint().unwrap_or_default();
                let problem = Problem::new(&place, message, hint);
                self.problems.push(problem.of_locked(error.is_locked()));
                None
            }
        };
        self.index.insert(path.to_owned(), opened);
        opened
    }

    /// Whether a file is one picture and not a PDF.
    fn is_picture(&self, id: SourceId) -> bool {
        let is_svg = (self.found.sources.path(id).extension())
            .is_some_and(|ending| ending.eq_ignore_ascii_case("svg"));
        is_svg || (self.found.sources.page(id, 1)).is_ok_and(|page| page.pixels.is_some())
    }

    /// Cards without a back get the filler.
    fn fillers(&mut self) {
        let Some(filler) = self.job.filler.clone() else {
            return;
        };
        let none = Source::default();
        for i in 0..self.found.cards.len() {
            if self.found.cards[i].back.is_some() || self.found.cards[i].copies == 0 {
                continue;
            }
            let shape = self.found.cards[i].shape;
            let name = self.found.cards[i].name.clone();
            let Some(art) = self.named_art(&none, &name, &whole(&filler), Some(shape), 0.0) else {
                return;
            };
            self.found.cards[i].back = Some(art);
        }
    }

    /// Puts the cards in the order that was made by hand, and leaves out those that it leaves out.
    fn by_hand(&mut self) {
        if self.job.deck.is_empty() {
            return;
        }
        let mut kept: Vec<Card> = Vec::new();
        for wanted in &self.job.deck {
            let place = format!("card {}", wanted.number);
            let found = wanted
                .number
                .checked_sub(1)
                .and_then(|i| self.found.cards.get(i));
            let Some(card) = found.cloned() else {
                let count = self.found.cards.len();
                let message = format!("there is no such card: {count} were found");
                self.problem(&place, message, "leave it out of the deck");
                continue;
            };
            if kept.iter().any(|kept| kept.number == card.number) {
                self.problem(&place, "the deck names it twice", "give it more copies");
                continue;
            }
            let copies = wanted.copies.unwrap_or(card.copies);
            if copies > deck::MOST_COPIES {
                let hint = format!("write a number from 0 to {}", deck::MOST_COPIES);
                self.problem(&card.name, format!("{copies} copies cannot be laid"), hint);
                continue;
            }
            kept.push(Card {
                name: wanted.name.clone().unwrap_or(card.name),
                copies,
                ..card
            });
        }
        self.found.cards = kept;
    }

    /// Keeps only the cards that are asked for, in the order asked.
    fn only(&mut self) {
        if self.job.only.is_empty() {
            return;
        }
        let mut kept: Vec<Card> = Vec::new();
        for name in self.job.only.clone() {
            let wanted = name.trim().to_lowercase();
            let named = |card: &&Card| card.name.to_lowercase() == wanted;
            let Some(card) = self.found.cards.iter().find(named).cloned() else {
                let near: Vec<&str> = (self.found.cards.iter())
                    .filter(|card| card.name.to_lowercase().contains(&wanted))
                    .map(|card| card.name.as_str())
                    .take(5)
                    .collect();
                let hint = if near.is_empty() {
                    "lay --json lists the names of all cards".to_owned()
                } else {
                    format!("did you mean {}?", near.join(", "))
                };
                self.problem(&name, "no card has this name", hint);
                continue;
            };
            match kept.iter_mut().find(|kept| kept.name == card.name) {
                Some(kept) => kept.copies += 1,
                None => kept.push(Card { copies: 1, ..card }),
            }
        }
        self.found.cards = kept;
    }

    /// Says which pictures are coarse as laid.
    fn coarse(&mut self) {
        let (mut coarse, mut soft): (Vec<String>, Vec<String>) = (Vec::new(), Vec::new());
        for card in self.found.cards.iter_mut().filter(|card| card.copies > 0) {
            let sides = [Some(card.front), card.back];
            let least = (sides.into_iter().flatten())
                .filter_map(|art| {
                    let art = &self.found.arts[art];
                    let page = self.found.sources.page(art.source, art.page).ok()?;
                    Some(page.pixels_per_inch(page.size)? * art.size.w / card.shape.size().w)
                })
                .fold(f64::INFINITY, f64::min);
            let (names, looks) = if least < COARSE_PPI {
                (&mut coarse, "coarse")
            } else if least < SOFT_PPI - 1.0 {
                (&mut soft, "a little soft")
            } else {
                continue;
            };
            names.push(format!("{} ({least:.0} ppi)", card.name));
            let message = format!("{least:.0} pixels per inch as laid: it will look {looks}");
            card.caution = Some(message);
        }
        for (names, limit, looks) in [
            (coarse, COARSE_PPI, "coarse"),
            (soft, SOFT_PPI, "a little soft"),
        ] {
            if let Some(first) = names.first() {
                let more = match names.len() {
                    1 => String::new(),
                    n => format!(" and {} more", n - 1),
                };
                self.found.cautions.push(format!(
                    "below {limit:.0} pixels per inch as laid, so that it looks {looks}: {first}{more}"
                ));
            }
        }
    }
}

fn whole(path: &Path) -> ArtName {
    ArtName {
        file: path.to_owned(),
        page: None,
        cell: None,
    }
}

/// A page or picture that is a card, perhaps with its bleed: inside its trim box, where it has one
/// of its own and nothing else is said.
fn whole_page(
    name: String,
    source: SourceId,
    number: usize,
    page: &SourcePage,
    asked: Option<Shape>,
    within: f64,
) -> Art {
    if let (Some(trim), true) = (page.trim, within == 0.0) {
        let room = Edges {
            left: trim.min.x,
            top: trim.min.y,
            right: page.size.w - trim.max.x,
            bottom: page.size.h - trim.max.y,
        };
        return Art::window(name, source, number, trim).with_room(room);
    }
    // The bleed is told in mm of the card; the page may have another scale.
    let scale = asked.map_or(1.0, |shape| {
        let size = shape.size();
        let lies_alike = size.is_landscape() == page.size.is_landscape();
        let size = if lies_alike { size } else { size.turned() };
        page.size.w / (size.w + 2.0 * within)
    });
    let inset = within * scale;
    Art {
        name,
        source,
        page: number,
        size: Size::new(page.size.w - 2.0 * inset, page.size.h - 2.0 * inset),
        at: Affine::shift(Vector::new(inset, inset)),
        room: Edges::all(inset),
        corner_radius: 0.0,
    }
}
