//! Files that were given by themselves, under the names that their owner knows: which of them are
//! lists, sheets and pictures, and which belong together.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::deck::{self, ArtName, Entry};
use super::folder::{self, Listed, PICTURES};
use super::job::Source;
use super::problem::Problem;
use crate::files;

/// A file and what its owner calls it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Named {
    /// Its name, with its ending, without folders.
    pub name: String,
    /// Where it lies.
    pub path: PathBuf,
    /// It is known to hold the backs of the other PDF.
    #[serde(default)]
    pub holds_backs: bool,
}

impl Named {
    fn ending(&self) -> String {
        let ending = Path::new(&self.name).extension().unwrap_or_default();
        ending.to_string_lossy().to_lowercase()
    }
}

/// What such files are.
#[derive(Debug, Default)]
pub(super) struct Sorted {
    /// What lists and pairs of pictures say, in order.
    pub(super) entries: Vec<Entry>,
    /// Files of sheets.
    pub(super) sheets: Vec<Source>,
    pub(super) problems: Vec<Problem>,
}

/// Sorts the files of a source. A file that a list names, and the common back, are no cards by
/// themselves.
pub(super) fn sort(source: &Source) -> Sorted {
    let mut sorted = Sorted::default();
    let files = &source.dropped;
    let mut used: Vec<&Path> = source.back.iter().map(Path::new).collect();
    for list in files.iter().filter(|file| is_list(file)) {
        let read = files::read_text(&list.path)
            .map_err(|refusal| vec![Problem::refused(&list.name, refusal)])
            .and_then(|text| deck::read(Path::new(&list.name), &text));
        match read {
            Ok(entries) => {
                for entry in entries {
                    let arts = [Some(&entry.front), entry.back.as_ref()];
                    used.extend(arts.into_iter().flatten().filter_map(|art| {
                        let found = named(files, &art.file)?;
                        Some(found.path.as_path())
                    }));
                    match placed(files, entry) {
                        Ok(entry) => sorted.entries.push(entry),
                        Err(problems) => sorted.problems.extend(problems),
                    }
                }
            }
            Err(problems) => sorted.problems.extend(problems),
        }
    }
    let left: Vec<&Named> = files
        .iter()
        .filter(|file| !is_list(file) && !used.contains(&file.path.as_path()))
        .collect();
    let (pdfs, pictures): (Vec<&Named>, Vec<&Named>) =
        left.into_iter().partition(|file| file.ending() == "pdf");
    sorted.sheets = sheets(source, &pdfs);
    sorted.pictures(&pictures);
    sorted
}

impl Sorted {
    fn pictures(&mut self, pictures: &[&Named]) {
        let mut listed = Listed::default();
        for picture in pictures {
            if PICTURES.contains(&picture.ending().as_str()) {
                let name = folder::stem(Path::new(&picture.name));
                listed.loose.push((name, picture.path.clone()));
            } else {
                self.problems.push(Problem::new(
                    &picture.name,
                    "it is neither a PDF nor a picture nor a deck list",
                    format!("leave it out; taken are csv, json, {}", PICTURES.join(", ")),
                ));
            }
        }
        let art = |file: PathBuf| ArtName {
            file,
            page: None,
            cell: None,
        };
        match folder::pair(listed) {
            Ok(cards) => self.entries.extend(cards.into_iter().map(|card| Entry {
                name: card.name,
                front: art(card.front),
                back: card.back.map(art),
                copies: 1,
                size: None,
                stands: None,
            })),
            Err(problems) => self.problems.extend(problems),
        }
    }
}

fn is_list(file: &Named) -> bool {
    matches!(file.ending().as_str(), "csv" | "tsv" | "json")
}

/// The file that a list means, whatever folder it says.
fn named<'a>(files: &'a [Named], wanted: &Path) -> Option<&'a Named> {
    let wanted = wanted.to_string_lossy();
    let last = wanted.rsplit(['/', '\\']).next().unwrap_or_default();
    files
        .iter()
        .find(|file| file.name.to_lowercase() == last.to_lowercase())
}

/// A line of a list with its files where they lie.
fn placed(files: &[Named], mut entry: Entry) -> Result<Entry, Vec<Problem>> {
    let mut problems = Vec::new();
    for art in [Some(&mut entry.front), entry.back.as_mut()]
        .into_iter()
        .flatten()
    {
        match named(files, &art.file) {
            Some(file) => art.file.clone_from(&file.path),
            None => problems.push(Problem::new(
                &entry.name,
                format!("{} is not among the files", art.file.display()),
                "drop it together with the list",
            )),
        }
    }
    if problems.is_empty() {
        Ok(entry)
    } else {
        Err(problems)
    }
}

/// Each PDF by itself; of two, one whose name speaks of backs holds the backs of the other.
fn sheets(source: &Source, pdfs: &[&Named]) -> Vec<Source> {
    let of = |file: &Named, backs: Option<&Named>| Source {
        file: Some(file.path.clone()),
        back_file: backs.map(|backs| backs.path.clone()),
        dropped: Vec::new(),
        ..source.clone()
    };
    let is_known = pdfs.iter().any(|file| file.holds_backs);
    let says_back = |file: &Named| match is_known {
        true => file.holds_backs,
        false => file.name.to_lowercase().contains("back"),
    };
    match pdfs {
        [a, b] if says_back(b) && !says_back(a) => vec![of(a, Some(b))],
        [a, b] if says_back(a) && !says_back(b) => vec![of(b, Some(a))],
        all => all.iter().map(|file| of(file, None)).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn source(folder: &Path, names: &[&str]) -> Source {
        let file = |(i, name): (usize, &&str)| Named {
            name: (*name).to_owned(),
            path: folder.join(i.to_string()),
            holds_backs: false,
        };
        Source {
            dropped: names.iter().enumerate().map(file).collect(),
            ..Source::default()
        }
    }

    #[test]
    fn a_list_takes_its_files_by_their_names_only() {
        let folder = tempfile::tempdir().expect("a folder");
        let source = source(
            folder.path(),
            &["deck.csv", "Heron.png", "tide.png", "otter.png"],
        );
        let list = "front,back\nart/heron.png,../../tide.png\n/etc/passwd,tide.png\n";
        std::fs::write(folder.path().join("0"), list).expect("written");
        let sorted = sort(&source);
        // The heron by the list, the otter by itself; the tide is only a back.
        let fronts: Vec<&Path> = sorted
            .entries
            .iter()
            .map(|e| e.front.file.as_path())
            .collect();
        assert_eq!(fronts, [folder.path().join("1"), folder.path().join("3")]);
        assert_eq!(sorted.problems.len(), 1);
        let told = &sorted.problems[0].message;
        assert_eq!(told, "/etc/passwd is not among the files");
    }

    #[test]
    fn two_pdfs_of_which_one_speaks_of_backs_are_one_game() {
        let folder = Path::new("x");
        let one = sort(&source(folder, &["ferry backs.pdf", "ferry fronts.pdf"]));
        assert_eq!(one.sheets.len(), 1);
        assert_eq!(one.sheets[0].file, Some(folder.join("1")));
        assert_eq!(one.sheets[0].back_file, Some(folder.join("0")));
        assert_eq!(sort(&source(folder, &["a.pdf", "b.pdf"])).sheets.len(), 2);
    }

    #[test]
    fn what_cannot_be_laid_is_told_by_its_name() {
        let sorted = sort(&source(Path::new("x"), &["rules.docx"]));
        assert_eq!(sorted.problems[0].place, "rules.docx");
    }
}
