//! Deck lists: which picture is on which side of which card, and how many of it.
//!
//! A list is CSV (RFC 4180) with a line of column names, or JSON with an array of objects whose
//! keys are those names. `docs/lay.md` describes the columns.

use std::path::{Path, PathBuf};
use std::str::FromStr;

use serde::Deserialize;
use tympan_layout::Stands;

use super::problem::Problem;

/// The most copies of one card.
pub(super) const MOST_COPIES: u32 = 1000;
/// The most lines of a list.
const MOST_LINES: usize = 20_000;

/// One line of a deck list.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Entry {
    /// What the card is called in messages, on the cutting table and for reprints.
    pub(super) name: String,
    /// The picture of its front.
    pub(super) front: ArtName,
    /// The picture of its back; the source's common back where none is named.
    pub(super) back: Option<ArtName>,
    /// How many of it.
    pub(super) copies: u32,
    /// Its size, as `--card` takes it; the job's where none is named.
    pub(super) size: Option<String>,
    /// How its back stands to its front.
    pub(super) stands: Option<Stands>,
}

/// A picture by its file, and within a PDF by page and cell, written as a fragment:
/// `cards.pdf#page=3&cell=2` (RFC 8118 for `page`; both count from 1).
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub(super) struct ArtName {
    /// The file, beside the list where the path is not absolute.
    pub(super) file: PathBuf,
    /// The page, from 1.
    pub(super) page: Option<usize>,
    /// The cell on that page, from 1, read like a text; the whole page where none is named.
    pub(super) cell: Option<usize>,
}

impl FromStr for ArtName {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let text = text.trim();
        let plain = |file: &str| Self {
            file: PathBuf::from(file),
            page: None,
            cell: None,
        };
        // A "#" that no page follows belongs to the file's name.
        let Some((file, fragment)) = text.rsplit_once("#page=") else {
            return if text.is_empty() {
                Err("no file is named".to_owned())
            } else {
                Ok(plain(text))
            };
        };
        let number = |digits: &str| digits.parse().ok().filter(|&n: &usize| n > 0);
        let (page, cell) = match fragment.split_once("&cell=") {
            Some((page, cell)) => (number(page), Some(number(cell))),
            None => (number(fragment), None),
        };
        match (page, cell) {
            (Some(page), None) => Ok(Self {
                page: Some(page),
                ..plain(file)
            }),
            (Some(page), Some(Some(cell))) => Ok(Self {
                page: Some(page),
                cell: Some(cell),
                ..plain(file)
            }),
            _ => Err(format!(
                "\"#page={fragment}\" is no page: write {file}#page=3 or {file}#page=3&cell=2"
            )),
        }
    }
}

impl ArtName {
    /// The same with its path taken from a folder.
    fn beside(self, folder: &Path) -> Self {
        Self {
            file: folder.join(&self.file),
            ..self
        }
    }
}

impl std::fmt::Display for ArtName {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}", self.file.display())?;
        if let Some(page) = self.page {
            write!(f, "#page={page}")?;
        }
        if let Some(cell) = self.cell {
            write!(f, "&cell={cell}")?;
        }
        Ok(())
    }
}

/// A line as it is written.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct Line {
    front: String,
    back: Option<String>,
    copies: Option<Copies>,
    name: Option<String>,
    size: Option<String>,
    standing: Option<String>,
}

/// JSON has numbers, CSV has text.
#[derive(Debug, Deserialize)]
#[serde(untagged)]
enum Copies {
    Number(u64),
    Text(String),
}

const COLUMNS: &str = "front, back, copies, name, size, standing";

/// Reads a list from its text. Paths are taken from the list's own folder.
///
/// # Errors
/// All lines that cannot be understood, each with its number.
pub(super) fn read(path: &Path, text: &str) -> Result<Vec<Entry>, Vec<Problem>> {
    let is_json = path
        .extension()
        .is_some_and(|extension| extension.eq_ignore_ascii_case("json"));
    let lines = if is_json {
        json_lines(path, text)
    } else {
        csv_lines(path, text)
    }?;
    let folder = path.parent().unwrap_or(Path::new(""));
    let mut entries = Vec::new();
    let mut problems = Vec::new();
    for (at, line) in lines {
        match entry(line, folder) {
            Ok(entry) => entries.push(entry),
            Err((message, hint)) => {
                problems.push(Problem::new(
                    format!("{}, {at}", path.display()),
                    message,
                    hint,
                ));
            }
        }
    }
    if entries.is_empty() && problems.is_empty() {
        problems.push(Problem::new(
            path.display().to_string(),
            "the list names no card",
            format!("write a line of column names ({COLUMNS}) and a line for each card"),
        ));
    }
    if problems.is_empty() {
        Ok(entries)
    } else {
        Err(problems)
    }
}

type Numbered = (String, Line);

fn too_long(path: &Path) -> Problem {
    Problem::new(
        path.display().to_string(),
        format!("the list has more than {MOST_LINES} lines"),
        "split it into several lists",
    )
}

fn csv_lines(path: &Path, text: &str) -> Result<Vec<Numbered>, Vec<Problem>> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let delimiter = delimiter(text);
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(delimiter)
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let name = path.display().to_string();
    let headers = match reader.headers() {
        Ok(headers) => headers.iter().map(str::to_lowercase).collect::<Vec<_>>(),
        Err(error) => return Err(vec![unreadable(&name, &error.to_string())]),
    };
    if !headers.iter().any(|header| header == "front") {
        return Err(vec![Problem::new(
            format!("{name}, line 1"),
            "no column is called front",
            format!("the first line names the columns: {COLUMNS}"),
        )]);
    }
    let headers = csv::StringRecord::from(headers);
    let mut lines = Vec::new();
    let mut problems = Vec::new();
    for record in reader.records() {
        if lines.len() >= MOST_LINES {
            return Err(vec![too_long(path)]);
        }
        let read = record.and_then(|record| {
            let at = record.position().map_or(0, csv::Position::line);
            let empty = record.iter().all(str::is_empty);
            let line = if empty {
                None
            } else {
                Some(record.deserialize::<Line>(Some(&headers))?)
            };
            Ok((format!("line {at}"), line))
        });
        match read {
            Ok((at, Some(line))) => lines.push((at, line)),
            Ok((_, None)) => {}
            Err(error) => problems.push(unreadable(&name, &error.to_string())),
        }
    }
    if problems.is_empty() {
        Ok(lines)
    } else {
        Err(problems)
    }
}

/// Spreadsheets write semicolons where the comma is the decimal sign, or tabs.
fn delimiter(text: &str) -> u8 {
    let first = text.lines().next().unwrap_or_default();
    let count = |c: u8| first.bytes().filter(|&b| b == c).count();
    [b',', b';', b'\t']
        .into_iter()
        .max_by_key(|&c| (count(c), c == b','))
        .unwrap_or(b',')
}

fn json_lines(path: &Path, text: &str) -> Result<Vec<Numbered>, Vec<Problem>> {
    let name = path.display().to_string();
    let values: Vec<serde_json::Value> =
        serde_json::from_str(text).map_err(|e| vec![unreadable(&name, &e.to_string())])?;
    if values.len() > MOST_LINES {
        return Err(vec![too_long(path)]);
    }
    let mut lines = Vec::new();
    let mut problems = Vec::new();
    for (i, value) in values.into_iter().enumerate() {
        let at = format!("entry {}", i + 1);
        match serde_json::from_value(value) {
            Ok(line) => lines.push((at, line)),
            Err(error) => {
                problems.push(unreadable(&format!("{name}, {at}"), &error.to_string()));
            }
        }
    }
    if problems.is_empty() {
        Ok(lines)
    } else {
        Err(problems)
    }
}

fn unreadable(place: &str, error: &str) -> Problem {
    Problem::new(
        place.to_owned(),
        format!("the list cannot be read: {error}"),
        format!("columns are {COLUMNS}; in JSON, an array of objects with these names"),
    )
}

fn entry(line: Line, folder: &Path) -> Result<Entry, (String, String)> {
    let said = |text: Option<String>| text.map(|t| t.trim().to_owned()).filter(|t| !t.is_empty());
    let art = |text: &str, side: &str| -> Result<ArtName, (String, String)> {
        let name: ArtName = text.parse().map_err(|e: String| {
            let hint = "name a picture or a page of a PDF, such as cards.pdf#page=3";
            (format!("{side}: {e}"), hint.to_owned())
        })?;
        Ok(name.beside(folder))
    };
    let front = art(&line.front, "front")?;
    let back = said(line.back).map(|text| art(&text, "back")).transpose()?;
    let copies = match line.copies {
        None => Some(1),
        Some(Copies::Number(n)) => u32::try_from(n).ok(),
        Some(Copies::Text(text)) if text.trim().is_empty() => Some(1),
        Some(Copies::Text(text)) => text.trim().parse().ok(),
    };
    let copies = copies.filter(|n| *n <= MOST_COPIES).ok_or_else(|| {
        (
            "copies is no number that can be laid".to_owned(),
            format!("write a number from 0 to {MOST_COPIES}"),
        )
    })?;
    let stands = said(line.standing).map(|text| stands(&text)).transpose()?;
    let name = said(line.name).unwrap_or_else(|| short_name(&front));
    Ok(Entry {
        name,
        front,
        back,
        copies,
        size: said(line.size),
        stands,
    })
}

/// How a back stands to its front, in words.
///
/// # Errors
/// What is wrong, and what to write.
pub(super) fn stands(text: &str) -> Result<Stands, (String, String)> {
    let words: Vec<String> = text
        .split(|c: char| c.is_whitespace() || c == '-')
        .filter(|word| !word.is_empty())
        .map(str::to_lowercase)
        .collect();
    match words.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        ["head", "to", "head"] => Ok(Stands::HeadToHead),
        ["head", "to", "foot"] => Ok(Stands::HeadToFoot),
        _ => Err((
            format!("\"{text}\" does not say how a back stands to its front"),
            "write head to head, or head to foot".to_owned(),
        )),
    }
}

/// The file's name without its ending, with page and cell where there are some.
pub(super) fn short_name(art: &ArtName) -> String {
    let stem = art.file.file_stem().unwrap_or(art.file.as_os_str());
    let mut name = stem.to_string_lossy().into_owned();
    if let Some(page) = art.page {
        name.push_str(&format!(" page {page}"));
    }
    if let Some(cell) = art.cell {
        name.push_str(&format!(" card {cell}"));
    }
    name
}

#[cfg(test)]
mod tests {
    use super::*;

    fn csv(text: &str) -> Result<Vec<Entry>, Vec<Problem>> {
        read(Path::new("game/deck.csv"), text)
    }

    #[test]
    fn a_list_names_fronts_backs_copies_and_how_they_stand() {
        let entries = csv("front,back,copies,name,size,standing\n\
             heron.png,backs/tide.png,3,Heron,poker,head to foot\n\
             tiles.pdf#page=2&cell=5,,,,,\n")
        .expect("a list");
        assert_eq!(entries.len(), 2);
        assert_eq!(entries[0].name, "Heron");
        assert_eq!(entries[0].front.file, Path::new("game/heron.png"));
        assert_eq!(entries[0].copies, 3);
        assert_eq!(entries[0].stands, Some(Stands::HeadToFoot));
        assert_eq!(entries[1].name, "tiles page 2 card 5");
        assert_eq!(
            (entries[1].front.page, entries[1].front.cell),
            (Some(2), Some(5))
        );
        assert_eq!((entries[1].copies, &entries[1].back), (1, &None));
    }

    #[test]
    fn a_spreadsheet_s_semicolons_and_mark_of_order_are_no_hindrance() {
        let entries = csv("\u{feff}Front;Copies\r\n\"a;b.png\";2\r\n;\r\n").expect("a list");
        assert_eq!(entries.len(), 1);
        assert_eq!(entries[0].front.file, Path::new("game/a;b.png"));
        assert_eq!(entries[0].copies, 2);
    }

    #[test]
    fn all_bad_lines_are_told_at_once_with_their_numbers() {
        let problems = csv(
            "front,copies,standing\na.png,many,\n,1,\nc.png,1,upside down\nd.pdf#page=0,1,\ne.png,1,\n",
        )
        .expect_err("four bad lines");
        let places: Vec<&str> = problems.iter().map(|p| p.place.as_str()).collect();
        let all = ["line 2", "line 3", "line 4", "line 5"].map(|l| format!("game/deck.csv, {l}"));
        assert_eq!(places, all);
    }

    #[test]
    fn an_unknown_column_is_refused_and_not_ignored() {
        let problems = csv("front,count\na.png,2\n").expect_err("count is no column");
        assert!(problems[0].message.contains("count"), "{problems:?}");
        assert!(problems[0].hint.contains("copies"), "{problems:?}");
        let problems = csv("picture\na.png\n").expect_err("no front");
        assert!(problems[0].message.contains("front"), "{problems:?}");
    }

    #[test]
    fn json_says_the_same() {
        let text = r#"[{"front": "a.png", "copies": 2}, {"front": "b.png", "copies": "3"}]"#;
        let entries = read(Path::new("deck.json"), text).expect("a list");
        assert_eq!(entries.iter().map(|e| e.copies).sum::<u32>(), 5);
        read(Path::new("deck.json"), "{}").expect_err("no array");
        read(Path::new("deck.json"), "[]").expect_err("nothing in it");
    }

    #[test]
    fn a_number_sign_in_a_file_s_name_is_part_of_it() {
        let art: ArtName = "card #3.png".parse().expect("a name");
        assert_eq!(art.file, Path::new("card #3.png"));
        assert_eq!(art.page, None);
    }
}
