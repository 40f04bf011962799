//! Sheets that are perforated or die-cut already, as their owner measures them, and the library in
//! which they are kept: a file of its own for each in the data folder.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use tympan_layout::{PreCut, PreCutGrid};
use tympan_sheet::{Length, Paper};

use super::job::{ShapeAsked, word};
use super::problem::{self, Problem};
use crate::files;
use crate::refusal::Refusal;
use crate::words::Units;

/// A pre-cut sheet as it is written down: `docs/lay.md` describes the file.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StockSheet {
    /// What its owner calls it.
    pub name: String,
    /// The sheet: `a4`, `210x297mm`.
    pub sheet: String,
    /// Its places, in blocks of columns and rows.
    pub places: Vec<Places>,
}

/// Places in columns and rows, measured from the sheet's top left corner.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub struct Places {
    /// What falls out of one place, as it lies on the sheet.
    pub shape: String,
    /// How many stand side by side.
    #[serde(default = "one")]
    pub columns: usize,
    /// How many stand above each other.
    #[serde(default = "one")]
    pub rows: usize,
    /// From the sheet's left edge to the first place.
    #[serde(deserialize_with = "word")]
    pub left: Option<Length>,
    /// From the sheet's top edge to the first place.
    #[serde(deserialize_with = "word")]
    pub top: Option<Length>,
    /// From the left of one place to the left of the next; they touch where nothing is said.
    #[serde(
        default,
        deserialize_with = "word",
        skip_serializing_if = "Option::is_none"
    )]
    pub pitch_x: Option<Length>,
    /// From the top of one place to the top of the next; they touch where nothing is said.
    #[serde(
        default,
        deserialize_with = "word",
        skip_serializing_if = "Option::is_none"
    )]
    pub pitch_y: Option<Length>,
}

fn is_json(path: &Path) -> bool {
    path.extension().is_some_and(|ending| ending == "json")
}

fn one() -> usize {
    1
}

impl StockSheet {
    /// Reads a definition: TOML, or JSON where its name ends so.
    ///
    /// # Errors
    /// A [`Refusal`] with what in it is not understood, or makes no sense.
    pub fn read(path: &Path) -> Result<Self, Refusal> {
        let text = files::read_text(path)?;
        let wrong = |error: String| {
            Refusal::new(
                format!("{} defines no sheet: {}", path.display(), error.trim_end()),
                "see docs/lay.md for what such a file says",
            )
        };
        let sheet: Self = if is_json(path) {
            serde_json::from_str(&text).map_err(|e| wrong(e.to_string()))?
        } else {
            toml::from_str(&text).map_err(|e| wrong(e.to_string()))?
        };
        sheet.pre_cut()?;
        Ok(sheet)
    }

    /// A sheet with one block of places, as its measures are typed: the keys of [`Places`] with `name`
    /// and `sheet`. Bare numbers are meant in these units.
    ///
    /// # Errors
    /// A [`Refusal`] with what is missing, not understood, or makes no sense.
    pub fn typed(typed: &BTreeMap<String, String>, units: Units) -> Result<Self, Refusal> {
        let text = |key: &str| typed.get(key).map_or("", |text| text.trim());
        let wrong = |what: String| Refusal::new(what, "write it as the example beside it shows");
        let length = |key: &str, what: &str| -> Result<Option<Length>, Refusal> {
            if text(key).is_empty() {
                return Ok(None);
            }
            let read = units.meant(text(key)).parse::<Length>();
            read.map(Some).map_err(|e| wrong(format!("{what}: {e}")))
        };
        let count = |key: &str, what: &str| match text(key) {
            "" => Ok(1),
            text => (text.parse::<usize>())
                .map_err(|_| wrong(format!("{what}: \"{text}\" is no whole number"))),
        };
        for (key, what) in [
            ("name", "the sheet has no name"),
            ("sheet", "nothing says how large the sheet is"),
            ("shape", "nothing says what falls out of one place"),
            (
                "left",
                "the first place’s distance from the left edge is missing",
            ),
            (
                "top",
                "the first place’s distance from the top edge is missing",
            ),
        ] {
            if text(key).is_empty() {
                return Err(wrong(what.to_owned()));
            }
        }
        let sheet = Self {
            name: text("name").to_owned(),
            sheet: text("sheet").to_owned(),
            places: vec![Places {
                shape: text("shape").to_owned(),
                columns: count("columns", "side by side")?,
                rows: count("rows", "above each other")?,
                left: length("left", "from the left edge")?,
                top: length("top", "from the top edge")?,
                pitch_x: length("pitch-x", "from left to left")?,
                pitch_y: length("pitch-y", "from top to top")?,
            }],
        };
        sheet.pre_cut()?;
        Ok(sheet)
    }

    /// The sheet by its measures.
    ///
    /// # Errors
    /// A [`Refusal`] with all that is not understood or makes no sense.
    pub(super) fn pre_cut(&self) -> Result<PreCut, Refusal> {
        let wrong = |message: String, hint: &str| {
            Refusal::new(
                format!("the pre-cut sheet \"{}\": {message}", self.name),
                hint,
            )
        };
        if self.name.trim().is_empty() {
            return Err(wrong("it has no name".to_owned(), "give it one"));
        }
        let paper: Paper = self.sheet.parse().map_err(|e| {
            wrong(
                format!("{e}"),
                "write the sheet like a4, letter or 210x297mm",
            )
        })?;
        let mut grids = Vec::new();
        for places in &self.places {
            let shape = places
                .shape
                .parse::<ShapeAsked>()
                .map_err(|e| wrong(e, "write the shape like 57x87mm, poker or \"circle 30mm\""))?;
            let shape = shape.0;
            let size = shape.size();
            let or = |length: Option<Length>, usual: f64| length.map_or(usual, Length::to_mm);
            grids.push(PreCutGrid {
                shape,
                columns: places.columns,
                rows: places.rows,
                left: or(places.left, 0.0),
                top: or(places.top, 0.0),
                pitch_x: or(places.pitch_x, size.w),
                pitch_y: or(places.pitch_y, size.h),
            });
        }
        let sheet = PreCut {
            name: self.name.clone(),
            sheet: paper.size(),
            grids,
        };
        sheet.check().map_err(|problems| {
            let told = |p: &tympan_layout::Problem| Problem::new("", p.to_string(), p.hint());
            problem::refusal(&problems.0.iter().map(told).collect::<Vec<_>>())
        })?;
        Ok(sheet)
    }

    /// How many places it has.
    pub fn count(&self) -> usize {
        let each = |places: &Places| places.columns.saturating_mul(places.rows);
        self.places.iter().map(each).sum()
    }
}

/// The library of a data folder.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StockSheets {
    folder: PathBuf,
    /// Nothing but what is kept here is found.
    alone: bool,
}

impl StockSheets {
    /// That of a data folder; there need be none yet.
    pub fn of(data: &Path) -> Self {
        Self {
            folder: data.join("stock-sheets"),
            alone: false,
        }
    }

    /// The same, for those who may not name files.
    #[must_use]
    pub fn alone(self) -> Self {
        Self {
            alone: true,
            ..self
        }
    }

    /// All that are kept, by their names. Files that define none are passed over.
    pub fn all(&self) -> Vec<StockSheet> {
        let entries = fs::read_dir(&self.folder).into_iter().flatten().flatten();
        let mut all: Vec<StockSheet> = entries
            .filter(|entry| is_json(&entry.path()))
            .filter_map(|entry| StockSheet::read(&entry.path()).ok())
            .collect();
        all.sort_by_key(|sheet| sheet.name.to_lowercase());
        all
    }

    /// Keeps a sheet; one of the same name is replaced.
    ///
    /// # Errors
    /// A [`Refusal`] where it makes no sense or cannot be written.
    pub fn keep(&self, sheet: &StockSheet) -> Result<(), Refusal> {
        sheet.pre_cut()?;
        let path = self.file(&sheet.name);
        fs::create_dir_all(&self.folder).map_err(|e| Refusal::file("write", &path, &e))?;
        let text = serde_json::to_vec_pretty(sheet)
            .map_err(|e| Refusal::new(e.to_string(), "check its measures"))?;
        files::replace(&path, &text)
    }

    /// Letters and digits only, so that a name is a file's name anywhere; the rest as numbers.
    fn file(&self, name: &str) -> PathBuf {
        let letter = |c: char| match c {
            c if c.is_ascii_alphanumeric() => c.to_ascii_lowercase().to_string(),
            ' ' | '-' | '_' => "-".to_owned(),
            c => format!("u{:x}", u32::from(c)),
        };
        let plain: String = name.trim().chars().take(60).map(letter).collect();
        self.folder.join(format!("{plain}.json"))
    }
}

/// The sheet that is asked for: one of the library, by its name, or a file.
///
/// # Errors
/// A [`Refusal`] where there is none, or it makes no sense.
pub(super) fn find(asked: &str, library: Option<&StockSheets>) -> Result<PreCut, Refusal> {
    let kept = library.map(StockSheets::all).unwrap_or_default();
    let wanted = asked.trim().to_lowercase();
    if let Some(sheet) = kept
        .iter()
        .find(|sheet| sheet.name.to_lowercase() == wanted)
    {
        return sheet.pre_cut();
    }
    let path = Path::new(asked.trim());
    let may_be_file = library.is_none_or(|library| !library.alone);
    let is_file = is_json(path) || path.extension().is_some_and(|ending| ending == "toml");
    if may_be_file && is_file {
        return StockSheet::read(path)?.pre_cut();
    }
    let names: Vec<&str> = kept.iter().map(|sheet| sheet.name.as_str()).collect();
    let hint = if names.is_empty() {
        "write down its measures in a file (docs/lay.md says how) and give that: ten-up.toml".into()
    } else {
        format!(
            "known are {}; or give a file of its measures: ten-up.toml",
            names.join(", ")
        )
    };
    Err(Refusal::new(
        format!("no pre-cut sheet is called \"{asked}\""),
        hint,
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEN: &str = "name = \"Ten up\"\nsheet = \"a4\"\n\n[[places]]\nshape = \"85x54mm\"\n\
                       columns = 2\nrows = 5\nleft = 15\ntop = \"13.5mm\"\npitch-x = 95\n";

    #[test]
    fn what_is_written_down_is_kept_and_found_by_its_name() {
        let data = tempfile::tempdir().expect("a folder");
        let path = data.path().join("ten.toml");
        fs::write(&path, TEN).expect("written");
        let library = StockSheets::of(data.path());
        let sheet = StockSheet::read(&path).expect("a sheet");
        assert_eq!(sheet.count(), 10);
        library.keep(&sheet).expect("kept");
        library.keep(&sheet).expect("replaced");
        assert_eq!(library.all(), [sheet]);
        let found = find("ten UP", Some(&library)).expect("found");
        // Those in a column touch, since nothing else is said.
        assert_eq!(found.places()[2].1.min.y, 13.5 + 54.0);
        let file = path.to_string_lossy();
        assert!(find(&file, Some(&library)).is_ok());
        assert!(find(&file, Some(&library.clone().alone())).is_err());
        let refusal = find("twelve up", Some(&library)).expect_err("unknown");
        assert!(refusal.hint.is_some_and(|hint| hint.contains("Ten up")));
    }

    #[test]
    fn measures_that_make_no_sense_are_refused() {
        let data = tempfile::tempdir().expect("a folder");
        let path = data.path().join("ten.toml");
        fs::write(&path, TEN.replace("rows = 5", "rows = 6")).expect("written");
        let refusal = StockSheet::read(&path).expect_err("over the edge");
        assert!(
            refusal.message.contains("over the sheet's edge"),
            "{refusal:?}"
        );
        fs::write(&path, TEN.replace("a4", "a44")).expect("written");
        assert!(StockSheet::read(&path).is_err());
    }
}
