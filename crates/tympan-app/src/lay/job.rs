//! Jobs: what is to be laid out, and how, as a file says it and as the faces fill it in.
//!
//! `docs/lay.md` describes the file. All of it may be left out: what is not said is taken from the
//! set-up, the file, or common practice.

use std::fmt;
use std::path::{Path, PathBuf};
use std::str::FromStr;

use serde::de::{self, Deserializer, Visitor};
use serde::{Deserialize, Serialize};
use tympan_inspect::Asked;
use tympan_layout::{Edge, Stands};
use tympan_sheet::{Flip, HexagonTop, Length, Paper, Shape, Size, USUAL_CARDS};

use super::deck;
use super::dropped::Named;
use super::stock_sheet::StockSheets;
use crate::files;
use crate::refusal::Refusal;
use crate::report::card_size;
use crate::words::OnBack;

/// The version of the file's form.
const SCHEMA: u32 = 1;

/// What is to be laid out, and how.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case", default)]
pub struct Job {
    /// The version of the file's form: 1, or left out.
    pub schema: Option<u32>,
    /// Where the cards come from, in the order of the deck.
    #[serde(rename = "source")]
    pub sources: Vec<Source>,
    /// The set-up whose margins, flip, scatter and correction are planned for.
    pub setup: Option<String>,
    /// The paper; the set-up's, or that of the first PDF.
    #[serde(deserialize_with = "word")]
    pub paper: Option<Paper>,
    /// The paper where nothing else tells one.
    #[serde(skip)]
    pub usual_paper: Option<Paper>,
    /// How a sheet's back stands to its front; the set-up's.
    #[serde(deserialize_with = "word")]
    pub flip: Option<Flip>,
    /// Size and shape of cards that name none of their own.
    #[serde(deserialize_with = "word")]
    pub card: Option<ShapeAsked>,
    /// Radius of the corners.
    #[serde(deserialize_with = "word")]
    pub corners: Option<Length>,
    /// Picture beyond the cut.
    #[serde(deserialize_with = "word")]
    pub bleed: Option<Length>,
    /// How bleed is made where the picture has too little.
    #[serde(deserialize_with = "word")]
    pub bleed_by: Option<BleedBy>,
    /// Nothing that matters is nearer to the cut than this, by which good ones are told.
    #[serde(deserialize_with = "word")]
    pub safe: Option<Length>,
    /// A border of this width is painted around every card, over what is there.
    #[serde(deserialize_with = "word")]
    pub thicken_border: Option<Length>,
    /// What lies around the cards in their files, such as old crop marks, is not used as bleed.
    pub drop_bleed: bool,
    /// What the cards show at their edges, by which good ones are told.
    #[serde(deserialize_with = "word")]
    pub edges: Option<EdgesAsked>,
    /// Blank between cards; nothing where they share a cut.
    #[serde(deserialize_with = "word")]
    pub gutter: Option<Length>,
    /// What the printer cannot print, at every edge; the set-up's where it knows.
    #[serde(deserialize_with = "word")]
    pub margins: Option<Length>,
    /// How the sheets are cut.
    #[serde(deserialize_with = "word")]
    pub cut: Option<CutBy>,
    /// What shows where to cut.
    #[serde(deserialize_with = "word")]
    pub marks: Option<Marks>,
    /// Marks on the backs too.
    pub marks_on_backs: bool,
    /// Alignment crosses on the fronts for a cutting machine, where cut lines are written too; they
    /// are printed in any case where cards are cut around.
    pub crosses: bool,
    /// Show where corners are to be rounded.
    pub round_corners: bool,
    /// What is done with a picture of other proportions than its card.
    #[serde(deserialize_with = "word")]
    pub fit: Option<Fit>,
    /// Print fronts only.
    pub one_sided: bool,
    /// The back of cards that have none, such as a common filler for sleeves.
    pub filler: Option<PathBuf>,
    /// A sheet that is perforated or die-cut already: one of the user's own library by its name, or
    /// a file that defines one.
    pub stock_sheet: Option<String>,
    /// Where the library is kept.
    #[serde(skip)]
    pub stock_sheets: Option<StockSheets>,
    /// Where the fronts' print lies on the sheet against its edges, looking at the front. Both sides
    /// are then put right against the edges.
    #[serde(deserialize_with = "word")]
    pub fronts_seen: Option<SeenOnSheet>,
    /// Where the backs' print lies on the sheet against its edges, looking at the back; what the
    /// fronts and the set-up tell where nothing is said.
    #[serde(deserialize_with = "word")]
    pub backs_seen: Option<SeenOnSheet>,
    /// Front and back side by side on one face of the sheet, to be folded and glued.
    pub fold_over: bool,
    /// Leave strips with marks in the waste, by which finished sheets can be read.
    pub witness: bool,
    /// In which order cards go on the sheets.
    #[serde(deserialize_with = "word")]
    pub order: Option<Order>,
    /// Which of the best plans is taken, from 1.
    pub plan: Option<usize>,
    /// Only these cards, by their names, once each or as often as is said: spoiled ones.
    pub only: Vec<String>,
    /// The deck by hand: which of the cards that are found are laid, in this order. All of them as
    /// they are found where nothing is said.
    pub deck: Vec<Wanted>,
}

/// A card of a deck that was put together by hand.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Wanted {
    /// Its number among the cards that are found, from 1.
    pub number: usize,
    /// Another name than it was found under.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// How many of it, where that is not what its source says; 0 leaves it out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub copies: Option<u32>,
}

/// Where cards come from: exactly one of `file`, `folder` and `list`.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case", default)]
pub struct Source {
    /// A PDF of sheets or of cards, or a single picture.
    pub file: Option<PathBuf>,
    /// The PDF with the backs, where they are in a file of their own.
    pub back_file: Option<PathBuf>,
    /// A folder of pictures, one for each side.
    pub folder: Option<PathBuf>,
    /// A deck list.
    pub list: Option<PathBuf>,
    /// The back of all its cards that have none of their own.
    pub back: Option<String>,
    /// Size and shape of its cards.
    #[serde(deserialize_with = "word")]
    pub card: Option<ShapeAsked>,
    /// So many of each card.
    pub copies: Option<u32>,
    /// Which pages of a PDF are pairs, as `inspect` takes it.
    #[serde(deserialize_with = "word")]
    pub pairs: Option<Asked>,
    /// How backs stand to their fronts.
    #[serde(deserialize_with = "word")]
    pub standing: Option<StandingAsked>,
    /// The pictures go this far beyond the cut at every edge.
    #[serde(deserialize_with = "word")]
    pub bleed_within: Option<Length>,
    /// A PDF's password.
    pub password: Option<String>,
    /// In place of the above: files that were given by themselves, of whatever kind.
    #[serde(skip)]
    pub dropped: Vec<Named>,
}

impl Source {
    /// A source by what its path looks like: a folder, a list, or a file.
    pub fn of_path(path: &Path) -> Self {
        let ending = path
            .extension()
            .map(|ending| ending.to_string_lossy().to_lowercase());
        let path = Some(path.to_owned());
        match ending.as_deref() {
            _ if path.as_ref().is_some_and(|path| path.is_dir()) => Self {
                folder: path,
                ..Self::default()
            },
            Some("csv" | "tsv" | "json") => Self {
                list: path,
                ..Self::default()
            },
            _ => Self {
                file: path,
                ..Self::default()
            },
        }
    }

    fn beside(&mut self, folder: &Path) {
        let paths = [
            &mut self.file,
            &mut self.back_file,
            &mut self.folder,
            &mut self.list,
        ];
        for path in paths.into_iter().flatten() {
            *path = folder.join(&*path);
        }
        if let Some(back) = &mut self.back {
            *back = folder.join(&*back).to_string_lossy().into_owned();
        }
    }
}

impl Job {
    /// Reads a job file: TOML, or JSON where its name ends so. Paths are taken from its folder.
    ///
    /// # Errors
    /// A [`Refusal`] with what in it is not understood.
    pub fn read(path: &Path) -> Result<Self, Refusal> {
        let text = files::read_text(path)?;
        let is_json = path
            .extension()
            .is_some_and(|ending| ending.eq_ignore_ascii_case("json"));
        let wrong = |error: String| {
            Refusal::new(
                format!("{} is no job: {}", path.display(), error.trim_end()),
                "see docs/lay.md for what a job file may say; a shorter one will do",
            )
        };
        let mut job: Self = if is_json {
            serde_json::from_str(&text).map_err(|e| wrong(e.to_string()))?
        } else {
            toml::from_str(&text).map_err(|e| wrong(e.to_string()))?
        };
        if job.schema.is_some_and(|schema| schema != SCHEMA) {
            return Err(wrong(format!(
                "this version of the program reads schema {SCHEMA}"
            )));
        }
        let folder = path.parent().unwrap_or(Path::new(""));
        for source in &mut job.sources {
            source.beside(folder);
        }
        if let Some(filler) = &mut job.filler {
            *filler = folder.join(&*filler);
        }
        if let Some(sheet) = &mut job.stock_sheet
            && (sheet.ends_with(".toml") || sheet.ends_with(".json"))
        {
            *sheet = folder.join(&*sheet).to_string_lossy().into_owned();
        }
        Ok(job)
    }
}

/// A shape as people write it: `poker`, `57x87mm`, `circle 30mm`, `hexagon 40mm`, `hexagon 40mm
/// flat` (across flats, a point or a flat at the top).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ShapeAsked(pub Shape);

impl FromStr for ShapeAsked {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let plain = text.trim().to_lowercase();
        let words: Vec<&str> = plain.split_whitespace().collect();
        let measure = |word: &str| -> Result<f64, String> {
            let length: Length = word.parse().map_err(|e| format!("\"{text}\": {e}"))?;
            if (5.0..=1000.0).contains(&length.to_mm()) {
                Ok(length.to_mm())
            } else {
                Err(format!("\"{text}\" is no size for a card"))
            }
        };
        match words[..] {
            ["circle" | "round", across] => Ok(Self(Shape::circle(measure(across)?))),
            ["hexagon", across] => Ok(Self(Shape::hexagon(measure(across)?, HexagonTop::Pointed))),
            ["hexagon", across, "flat"] => {
                Ok(Self(Shape::hexagon(measure(across)?, HexagonTop::Flat)))
            }
            _ => {
                let size = card_size(&plain).map_err(|refusal| {
                    format!("{}; {}", refusal.message, refusal.hint.unwrap_or_default())
                })?;
                Ok(Self(Shape::rect(size, 0.0)))
            }
        }
    }
}

/// The usual radius of a card of this size, mm.
pub(super) fn usual_radius(size: Size) -> Option<f64> {
    USUAL_CARDS
        .iter()
        .find(|card| card.trim.portrait().is_close(size.portrait(), 0.3))
        .map(|card| card.corner_radius)
}

/// How a back stands to its front, as it is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StandingAsked(pub Stands);

impl FromStr for StandingAsked {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let read = deck::stands(text);
        read.map(Self)
            .map_err(|(message, hint)| format!("{message}; {hint}"))
    }
}

/// Where print lies on a sheet, as it is written: `1mm low, 0.5mm left`, looking at that side.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SeenOnSheet(pub OnBack);

impl FromStr for SeenOnSheet {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let read = OnBack::parse(text);
        read.map(Self)
            .map_err(|e| format!("{e}; write it like \"1mm low, 0.5mm left\""))
    }
}

/// What cards show at their edges, as it is written: `bled`, `alike`, or `border 3mm`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EdgesAsked(pub Edge);

impl FromStr for EdgesAsked {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let plain = text.trim().to_lowercase();
        let words: Vec<&str> = plain.split_whitespace().collect();
        match words[..] {
            ["bled"] => Ok(Self(Edge::Bled)),
            ["alike"] => Ok(Self(Edge::Alike)),
            ["border", width] => {
                let width: Length = width.parse().map_err(|e| format!("\"{text}\": {e}"))?;
                Ok(Self(Edge::Border(width.to_mm())))
            }
            _ => Err(format!(
                "\"{text}\" says nothing about edges: write bled, alike (one colour on all cards), \
                 or border 3mm"
            )),
        }
    }
}

/// A set of words, each with its meaning.
macro_rules! words {
    ($(#[$doc:meta])* $name:ident, $what:literal { $($(#[$word_doc:meta])* $variant:ident = $word:literal),* $(,)? }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
        #[serde(rename_all = "kebab-case")]
        pub enum $name { $($(#[$word_doc])* $variant),* }

        impl FromStr for $name {
            type Err = String;

            fn from_str(text: &str) -> Result<Self, String> {
                match text.trim().to_lowercase().as_str() {
                    $($word => Ok(Self::$variant),)*
                    _ => Err(format!(
                        concat!("\"{}\" is no ", $what, ": write {}"),
                        text,
                        [$($word),*].join(" or ")
                    )),
                }
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(match self { $(Self::$variant => $word),* })
            }
        }
    };
}

words! {
    /// How bleed is made where a picture has too little.
    BleedBy, "way to make bleed" {
        /// Not at all: what is there is used.
        Keep = "keep",
        /// The picture goes on as in a mirror.
        #[default]
        Mirror = "mirror",
        /// The edge is drawn out.
        Stretch = "stretch",
        /// The edge's colour goes on.
        Colour = "colour",
        /// The whole picture is enlarged, so that its edges are cut off.
        Enlarge = "enlarge",
        /// An enlarged picture lies behind the card, so that it goes on from its middle outwards: for
        /// round pictures.
        Outwards = "outwards",
    }
}

words! {
    /// How the sheets are cut.
    CutBy, "way to cut" {
        /// Straight through the sheet, with a trimmer or a guillotine.
        #[default]
        Straight = "straight",
        /// Around every piece, with scissors, a punch or a cutting machine.
        Around = "around",
    }
}

words! {
    /// What shows where to cut.
    Marks, "kind of mark" {
        /// Short lines at the corners, outside the bleed.
        #[default]
        Corners = "corners",
        /// Short lines at the sheet's edges.
        Edges = "edges",
        /// Thin light lines along the cuts.
        Lines = "lines",
        /// Nothing.
        None = "none",
    }
}

words! {
    /// What is done with a picture of other proportions than its card.
    Fit, "way to fit a picture" {
        /// It is refused.
        #[default]
        Refuse = "refuse",
        /// All of it shows, with blank beside it.
        Whole = "whole",
        /// It fills the card, and what is beyond is cut off.
        Fill = "fill",
        /// It is stretched.
        Distort = "distort",
    }
}

words! {
    /// In which order cards go on the sheets.
    Order, "order" {
        /// Such that cut piles, put one on the other, are in the deck's order.
        #[default]
        Piles = "piles",
        /// Row by row, sheet by sheet.
        Rows = "rows",
    }
}

/// Reads a word or, for lengths, a bare number.
pub(super) fn word<'de, D, T>(deserializer: D) -> Result<Option<T>, D::Error>
where
    D: Deserializer<'de>,
    T: FromStr,
    T::Err: fmt::Display,
{
    struct Words<T>(std::marker::PhantomData<T>);

    impl<T> Visitor<'_> for Words<T>
    where
        T: FromStr,
        T::Err: fmt::Display,
    {
        type Value = Option<T>;

        fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
            f.write_str("a word in quotation marks, or a number of millimetres")
        }

        fn visit_str<E: de::Error>(self, text: &str) -> Result<Self::Value, E> {
            text.parse().map(Some).map_err(|e: T::Err| E::custom(e))
        }

        fn visit_f64<E: de::Error>(self, number: f64) -> Result<Self::Value, E> {
            self.visit_str(&number.to_string())
        }

        fn visit_i64<E: de::Error>(self, number: i64) -> Result<Self::Value, E> {
            self.visit_str(&number.to_string())
        }

        fn visit_u64<E: de::Error>(self, number: u64) -> Result<Self::Value, E> {
            self.visit_str(&number.to_string())
        }
    }

    deserializer.deserialize_any(Words(std::marker::PhantomData))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn toml(text: &str) -> Result<Job, String> {
        toml::from_str(text).map_err(|e| e.to_string())
    }

    #[test]
    fn a_job_says_as_much_as_it_likes() {
        toml("").expect("nothing is enough");
        let job = toml(
            "card = \"poker\"\nbleed = 3\ngutter = \"0.25in\"\nbleed-by = \"stretch\"\n\
             cut = \"around\"\n\n[[source]]\nfile = \"ferry.pdf\"\npairs = \"fronts-then-backs\"\n\n\
             [[source]]\nlist = \"tiles.csv\"\ncard = \"hexagon 40mm flat\"\nstanding = \"head to foot\"\n",
        )
        .expect("a job");
        assert_eq!(job.bleed, Some(Length::mm(3.0)));
        assert_eq!(job.gutter.map(Length::to_mm), Some(6.35));
        assert_eq!(job.bleed_by, Some(BleedBy::Stretch));
        assert_eq!(job.cut, Some(CutBy::Around));
        assert_eq!(job.sources.len(), 2);
        assert_eq!(
            job.sources[1].card,
            Some(ShapeAsked(Shape::hexagon(40.0, HexagonTop::Flat)))
        );
        assert_eq!(
            job.sources[1].standing,
            Some(StandingAsked(Stands::HeadToFoot))
        );
    }

    #[test]
    fn a_word_that_means_nothing_is_told_with_those_that_do() {
        let error = toml("marks = \"stars\"").expect_err("no such marks");
        assert!(
            error.contains("corners or edges or lines or none"),
            "{error}"
        );
        let error = toml("blead = 3").expect_err("misspelt");
        assert!(error.contains("blead"), "{error}");
        let error = toml("card = \"circle 3000mm\"").expect_err("no card");
        assert!(error.contains("no size for a card"), "{error}");
    }
}
