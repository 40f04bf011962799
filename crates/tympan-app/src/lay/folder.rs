//! A folder of pictures, one for each side, told apart by their names.

use std::cmp::Ordering;
use std::fs;
use std::path::{Path, PathBuf};

use super::problem::Problem;
use crate::refusal::Refusal;

/// Endings of the pictures that can be laid.
pub(super) const PICTURES: [&str; 8] = ["png", "jpg", "jpeg", "webp", "tif", "tiff", "svg", "pdf"];
/// Whether a file's name is that of a picture, which holds one side of one card.
pub fn is_picture(name: &str) -> bool {
    let ending = Path::new(name).extension().unwrap_or_default();
    let ending = ending.to_string_lossy().to_lowercase();
    ending != "pdf" && PICTURES.contains(&ending.as_str())
}

/// The most pictures of one folder.
const MOST_FILES: usize = 20_000;

/// A front with its back, by their files.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct TwoFiles {
    pub(super) name: String,
    pub(super) front: PathBuf,
    pub(super) back: Option<PathBuf>,
}

/// Pictures with what they are called, by the side that the folder they lie in tells.
#[derive(Clone, Debug, Default)]
pub(super) struct Listed {
    /// In no folder that tells.
    pub(super) loose: Vec<(String, PathBuf)>,
    pub(super) fronts: Vec<(String, PathBuf)>,
    pub(super) backs: Vec<(String, PathBuf)>,
}

/// Pairs the pictures of a folder. Sides are told by folders in it called `fronts` and `backs` with
/// the same names in both, or by names that end in `front` and `back`; pictures that say nothing are
/// fronts, and one that is called only `back` is the back of all that have none.
///
/// # Errors
/// All pictures that cannot be paired.
pub(super) fn read(folder: &Path) -> Result<Vec<TwoFiles>, Vec<Problem>> {
    let fail = |refusal: Refusal| vec![Problem::refused(folder.display().to_string(), refusal)];
    let sub = |names: [&str; 2]| {
        let folders = names.map(|name| folder.join(name));
        folders.into_iter().find(|folder| folder.is_dir())
    };
    let in_folder = |folder: Option<PathBuf>| match folder {
        Some(folder) => pictures(&folder).map(named).map_err(fail),
        None => Ok(Vec::new()),
    };
    let loose = pictures(folder).map_err(fail)?;
    let cards = pair(Listed {
        loose: loose.into_iter().map(|path| (stem(&path), path)).collect(),
        fronts: in_folder(sub(["fronts", "front"]))?,
        backs: in_folder(sub(["backs", "back"]))?,
    })?;
    if cards.is_empty() {
        return Err(vec![Problem::new(
            folder.display().to_string(),
            "there are no pictures in this folder",
            format!("put in one picture for each side: {}", PICTURES.join(", ")),
        )]);
    }
    Ok(cards)
}

/// Pairs pictures by their names.
///
/// # Errors
/// All that cannot be paired.
pub(super) fn pair(listed: Listed) -> Result<Vec<TwoFiles>, Vec<Problem>> {
    let Listed {
        mut loose,
        mut fronts,
        mut backs,
    } = listed;
    let mut common = None;
    loose.sort_by(|a, b| natural(&a.0, &b.0));
    for (name, path) in loose {
        match side(&name) {
            (rest, Some(true)) if rest.is_empty() => common = Some(path),
            (rest, Some(true)) => backs.push((rest, path)),
            (rest, Some(false)) if !rest.is_empty() => fronts.push((rest, path)),
            _ => fronts.push((name, path)),
        }
    }
    fronts.sort_by(|a, b| natural(&a.0, &b.0));
    // A folder of backs with one picture in it holds the back of all.
    if let ([(name, path)], None) = (&backs[..], &common)
        && !fronts.iter().any(|(front, _)| front == name)
    {
        common = Some(path.clone());
        backs.clear();
    }
    let mut cards = Vec::new();
    for (name, front) in fronts {
        let own = backs.iter().position(|(back, _)| *back == name);
        let back = own
            .map(|i| backs.swap_remove(i).1)
            .or_else(|| common.clone());
        cards.push(TwoFiles { name, front, back });
    }
    backs.sort_by(|a, b| natural(&a.0, &b.0));
    if backs.is_empty() {
        return Ok(cards);
    }
    let without_front = |(name, path): (String, PathBuf)| {
        Problem::new(
            path.display().to_string(),
            "this back has no front",
            format!("give its front the name {name}-front, or take the back away"),
        )
    };
    Err(backs.into_iter().map(without_front).collect())
}

fn pictures(folder: &Path) -> Result<Vec<PathBuf>, Refusal> {
    let fail = |e: &std::io::Error| Refusal::file("read", folder, e);
    let mut paths = Vec::new();
    for entry in fs::read_dir(folder).map_err(|e| fail(&e))? {
        let path = entry.map_err(|e| fail(&e))?.path();
        let is_hidden = path
            .file_name()
            .is_some_and(|name| name.to_string_lossy().starts_with('.'));
        let ending = path
            .extension()
            .map(|ending| ending.to_string_lossy().to_lowercase());
        let is_picture = ending.is_some_and(|ending| PICTURES.contains(&ending.as_str()));
        if is_picture && !is_hidden && path.is_file() {
            paths.push(path);
        }
        if paths.len() > MOST_FILES {
            return Err(Refusal::new(
                format!("there are more than {MOST_FILES} pictures in it"),
                "split it into several folders",
            ));
        }
    }
    Ok(paths)
}

fn named(paths: Vec<PathBuf>) -> Vec<(String, PathBuf)> {
    let named = paths.into_iter().map(|path| {
        let name = stem(&path);
        // Inside such a folder a name may still say its side.
        match side(&name) {
            (rest, Some(_)) if !rest.is_empty() => (rest, path),
            _ => (name, path),
        }
    });
    named.collect()
}

/// A file's name without its ending.
pub(super) fn stem(path: &Path) -> String {
    path.file_stem()
        .unwrap_or_default()
        .to_string_lossy()
        .into_owned()
}

/// The name without its side, and whether that is the back.
fn side(name: &str) -> (String, Option<bool>) {
    let lower = name.to_lowercase();
    for (word, is_back) in [("front", false), ("back", true)] {
        if let Some(rest) = lower.strip_suffix(word) {
            let rest = &name[..rest.len()];
            let bare = rest.trim_end_matches(['-', '_', ' ', '.']);
            // "horseback" is no back.
            if bare.len() < rest.len() || rest.is_empty() {
                return (bare.to_owned(), Some(is_back));
            }
        }
    }
    (name.to_owned(), None)
}

/// Names in the order that people count in: 2 before 10.
fn natural(a: &str, b: &str) -> Ordering {
    let (mut a_rest, mut b_rest) = (a, b);
    loop {
        let digits = |s: &str| s.chars().take_while(char::is_ascii_digit).count();
        let (m, n) = (digits(a_rest), digits(b_rest));
        if m > 0 && n > 0 {
            let number = |s: &str, n: usize| s[..n].trim_start_matches('0').to_owned();
            let (x, y) = (number(a_rest, m), number(b_rest, n));
            let order = x.len().cmp(&y.len()).then_with(|| x.cmp(&y));
            if order != Ordering::Equal {
                return order;
            }
            (a_rest, b_rest) = (&a_rest[m..], &b_rest[n..]);
            continue;
        }
        match (a_rest.chars().next(), b_rest.chars().next()) {
            (Some(x), Some(y)) => {
                let order = x.to_lowercase().cmp(y.to_lowercase());
                if order != Ordering::Equal {
                    return order;
                }
                (a_rest, b_rest) = (&a_rest[x.len_utf8()..], &b_rest[y.len_utf8()..]);
            }
            (x, y) => return x.cmp(&y).then_with(|| a.cmp(b)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn folder_of(names: &[&str]) -> tempfile::TempDir {
        let folder = tempfile::tempdir().expect("a folder");
        for name in names {
            let path = folder.path().join(name);
            fs::create_dir_all(path.parent().expect("a parent")).expect("a folder");
            fs::write(path, b"").expect("a file");
        }
        folder
    }

    fn names(folder: &Path) -> Vec<(String, Option<String>)> {
        let told = |path: &Path| {
            let path = path.strip_prefix(folder).expect("in the folder");
            path.to_string_lossy().into_owned()
        };
        let cards = read(folder).expect("cards");
        let told = cards
            .iter()
            .map(|card| (told(&card.front), card.back.as_deref().map(told)));
        told.collect()
    }

    fn some(a: &str, b: &str) -> (String, Option<String>) {
        (a.into(), Some(b.into()))
    }

    #[test]
    fn pictures_in_fronts_and_backs_are_paired_by_name() {
        let folder = folder_of(&[
            "fronts/card 10.png",
            "fronts/card 2.png",
            "backs/card 2.jpg",
            "backs/card 10.jpg",
        ]);
        let expected = [
            some("fronts/card 2.png", "backs/card 2.jpg"),
            some("fronts/card 10.png", "backs/card 10.jpg"),
        ];
        assert_eq!(names(folder.path()), expected);
    }

    #[test]
    fn names_may_say_their_side_and_one_back_may_serve_all() {
        let folder = folder_of(&[
            "Heron-front.png",
            "Heron-back.png",
            "Otter.png",
            "back.png",
            "notes.txt",
        ]);
        let expected = [
            some("Heron-front.png", "Heron-back.png"),
            some("Otter.png", "back.png"),
        ];
        assert_eq!(names(folder.path()), expected);
        let folder = folder_of(&["fronts/a.png", "fronts/b.png", "backs/tide.png"]);
        let expected = [
            some("fronts/a.png", "backs/tide.png"),
            some("fronts/b.png", "backs/tide.png"),
        ];
        assert_eq!(names(folder.path()), expected);
    }

    #[test]
    fn a_word_that_only_ends_like_a_side_is_a_name() {
        let folder = folder_of(&["horseback.png", "waterfront.png"]);
        assert_eq!(
            names(folder.path()),
            [
                ("horseback.png".into(), None),
                ("waterfront.png".into(), None)
            ]
        );
    }

    #[test]
    fn backs_without_fronts_and_empty_folders_are_told() {
        let folder = folder_of(&["a-front.png", "b-back.png", "c-back.png"]);
        let problems = read(folder.path()).expect_err("two backs are left");
        assert_eq!(problems.len(), 2, "{problems:?}");
        let folder = folder_of(&["notes.txt"]);
        let problems = read(folder.path()).expect_err("nothing there");
        assert!(problems[0].message.contains("no pictures"), "{problems:?}");
    }
}
