//! What is said with commands and their options, said as the page has it.
//!
//! Refusals and cautions are written once, in the words of the command line. The page has fields
//! and rooms instead; it passes whatever it shows through [`on_page`].

use crate::lay::labels;
use crate::refusal::Refusal;

/// What the command line says, and what the page says instead. `{}` stands for anything without a
/// blank in it, and is kept in its order. What begins or contains another comes before it.
const SAID: &[(&str, &str)] = &[
    // Cards and sheets.
    (
        "say it for all cards with --card poker or --card 57x87mm, or in",
        "choose it under “Card size”, or give it in",
    ),
    (
        "say --bleed-within {} if that is so; else choose --fit fill, whole or distort",
        "say so under “Bleed that the pictures have” if that is so; else choose what is done under \
         “Pictures of other proportions”",
    ),
    (
        "choose --fit fill (what is beyond is cut off), whole (blank beside it) or distort",
        "choose under “Pictures of other proportions” whether they fill the card (what is beyond is \
         cut off), stay whole (blank beside them) or are distorted",
    ),
    (
        "lay --json lists the names of all cards",
        "the names of all cards are on this page",
    ),
    (
        "name the set-up with --setup, or leave --witness out",
        "choose a set-up, or leave the witness marks out",
    ),
    ("--show tells them", "choose one of those that are shown"),
    ("with --fronts-seen", "under “Fronts sit on the sheet”"),
    (
        "leave --paper out, or use",
        "choose the set-up's own paper, or use",
    ),
    (
        "say --paper a4 or --paper letter, or name a set-up with --setup",
        "choose a paper or a set-up",
    ),
    (", or with tympan lay", ""),
    ("look at it with inspect; if each page", "if each page"),
    ("; inspect tells where", ""),
    (
        "measure it with testsheet and read, and lay",
        "measure it under Set-ups, and lay",
    ),
    // What is known of the printer.
    (
        "print test sheets with testsheet and read them with read; or correct by what you see with \
         --seen \"2mm low\"",
        "print test sheets under Set-ups and read them; or say how the backs sit",
    ),
    ("make sheets with testsheet", "print new ones under Set-ups"),
    ("say so (--again): the earlier", "say so: the earlier"),
    (
        "such as --card poker or --card 57x87mm",
        "such as poker or 57x87mm",
    ),
    ("made by `tympan testsheet`", "that was made by Tympan"),
    (
        " for this set-up with `tympan testsheet`",
        " for this set-up",
    ),
    (
        "settle it (setup teach)",
        "settle it: teach Tympan this printer under Set-ups",
    ),
    // Files of cards.
    (
        "say --paper with the set-up's paper to put the pages on it at true size, or use",
        "lay the cards out afresh on the set-up's paper, or use",
    ),
    (
        "say --flip {} if that is how the file means them, or --flip {} if not; inspect tells more",
        "choose {} if that is how the file means them, or {} if not",
    ),
    ("say --flip sideways if", "choose sideways if"),
    (", --flip endways if", ", endways if"),
    (
        "or put them on one paper with --paper",
        "or lay the cards out afresh on one paper",
    ),
    (
        "look at it with inspect; if the backs are elsewhere, say --backs; or leave --and-file out",
        "see what was found under “Worth knowing”; if the backs are elsewhere, say which pages are backs",
    ),
    ("for this one with lay", "for this one"),
    ("afresh with lay", "afresh"),
    (
        "(not sure: say --pairs)",
        "(not sure: say which pages are backs)",
    ),
    ("owner's password with --password if", "owner's password if"),
    (
        ", for example --backs last (one back for all), or --backs 2,4,6",
        ", for example 2,4,6, or the last one for all",
    ),
    (
        "with --back-file, or say --backs all if every page is a back",
        "beside it, or say that all pages are backs",
    ),
    (" (run --as-is)", ""),
    ("; if it is meant, say --yes-really", ""),
    (
        "put it on the paper at true size with correct --paper, or print on the page's own paper",
        "print on the page's own paper, or lay the cards out afresh on yours",
    ),
    (
        "say what you print on with --paper, and put it there at true size with correct --paper",
        "print on paper of the page's own size, or lay the cards out afresh on yours",
    ),
    (
        ": add --and-file to correct",
        ": take the file's own error out as well",
    ),
    ("; --setup tells", "; a measured set-up tells"),
    // Print runs.
    (
        "tympan log --setup NAME lists the runs of a set-up",
        "look among the print runs",
    ),
    (
        "make one: tympan run game.pdf --setup NAME -o FOLDER",
        "make one from a game's own page",
    ),
    (
        "make it anew: tympan run game.pdf --setup NAME -o FOLDER",
        "make it anew from the game's own page",
    ),
    ("leave out --only", "ask for both sides"),
    (
        " Make them again: tympan run --again {} --of {} -o FOLDER",
        "",
    ),
    (", or tympan run --of {} --again 17-20 -o FOLDER", ""),
    (
        "): --setup \"{}\" prints both sides",
        "): a run for that set-up prints both sides",
    ),
    (
        "): use --setup \"{}\" where",
        "): make the run for that set-up where",
    ),
    (
        "were spoiled with run --spoiled, and make them again with run --again",
        "were spoiled, and make them again",
    ),
    // Straight to the printer.
    (
        "check the address (tympan print --list looks for printers)",
        "check the address, or look for printers on the network",
    ),
    (
        "give --user NAME, and the password when asked or in a file with --password-file",
        "give the name and the password that it wants",
    ),
    (", give it with --certificate", ", say so"),
    ("give the fingerprint with --certificate", "say so"),
    ("go on with --from-sheet", "go on with the next one"),
    ("at a time: --sheets 1-20", "at a time, such as 1-20"),
    (
        "see what the printer has: tympan print --printer ADDRESS --abilities",
        "choose another tray, type of media or quality, or another printer",
    ),
    (
        " (tympan print --list shows them)",
        " (they are shown when printers are looked for)",
    ),
    (
        "; with --sides, two pages are one sheet",
        "; where the machine prints both sides, two pages are one sheet",
    ),
    ("queue for it: --printer {} its", "queue for it, {} its"),
    (": --json tells all", ""),
    // The data folder.
    ("with --data or TYMPAN_DATA", "when Tympan is started"),
    (", or give another folder with --data", ""),
    ("give it with --data", "start Tympan once more"),
    (
        "restore it with: tympan setup restore \"{}\"",
        "bring it back under Set-ups",
    ),
    (
        "make one with: tympan setup new NAME --paper a4",
        "make one under Set-ups",
    ),
    ("made by: tympan setup export", "saved under Set-ups"),
];

/// The same words without commands and their options, for the page.
pub fn on_page(text: &str) -> String {
    let mut words = text.to_owned();
    for (typed, instead) in SAID {
        while let Some(changed) = replaced(&words, typed, instead) {
            words = changed;
        }
    }
    labels::options_as_labels(&words)
}

/// The words with the first such phrase in them replaced.
fn replaced(words: &str, typed: &str, instead: &str) -> Option<String> {
    let mut parts = typed.split("{}");
    let first = parts.next()?;
    let start = words.find(first)?;
    let mut at = start + first.len();
    let mut kept = Vec::new();
    for part in parts {
        // A name in quotes may have blanks in it.
        let ends = |rest: &str| match part.chars().next() {
            Some(c @ ('"' | '”')) => rest.find(c),
            _ => Some(rest.find(char::is_whitespace).unwrap_or(rest.len())),
        };
        let end = at + ends(&words[at..])?;
        kept.push(&words[at..end]);
        at = end + words[end..].starts_with(part).then_some(part.len())?;
    }
    let mut said = words[..start].to_owned();
    let mut kept = kept.into_iter();
    for (index, part) in instead.split("{}").enumerate() {
        if index > 0 {
            said.push_str(kept.next().unwrap_or_default());
        }
        said.push_str(part);
    }
    said.push_str(&words[at..]);
    Some(said)
}

impl Refusal {
    /// The same for the page.
    #[must_use]
    pub fn on_page(self) -> Self {
        Self {
            message: on_page(&self.message),
            hint: self.hint.map(|hint| on_page(&hint)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::Path;

    #[test]
    fn what_a_phrase_leaves_open_is_kept() {
        for (typed, page) in [
            (
                "count the sheets in the tray, then go on with --from-sheet",
                "count the sheets in the tray, then go on with the next one",
            ),
            (
                "say --flip endways if that is how the file means them, or --flip sideways if not; \
                 inspect tells more",
                "choose endways if that is how the file means them, or sideways if not",
            ),
            (
                "Noted: sheets 3-5 are spoiled (jam). Make them again: tympan run --again 3-5 --of \
                 7K2M9 -o FOLDER",
                "Noted: sheets 3-5 are spoiled (jam).",
            ),
            (
                "it was removed; restore it with: tympan setup restore \"rear tray\"",
                "it was removed; bring it back under Set-ups",
            ),
            (
                "print through this machine's queue for it: --printer ipp://localhost/printers/Study; \
                 its filters may scale the pages",
                "print through this machine's queue for it, ipp://localhost/printers/Study; its \
                 filters may scale the pages",
            ),
        ] {
            assert_eq!(on_page(typed), page);
        }
    }

    #[test]
    fn words_without_commands_stay_as_they_are() {
        for text in ["the backs sit 2 mm too low -- or so", "", "café – 3 × 4"] {
            assert_eq!(on_page(text), text);
        }
    }

    /// The words in a file of source code that people may come to read: string literals outside
    /// of comments and tests, with `{}` for whatever is put into them.
    fn literals(source: &str) -> Vec<String> {
        let code = source.split("#[cfg(test)]").next().unwrap_or_default();
        let lines = code
            .lines()
            .filter(|line| !line.trim_start().starts_with("//"));
        let code = lines.collect::<Vec<_>>().join("\n").replace("'\"'", "");
        let mut found = Vec::new();
        let mut rest = code.as_str();
        while let Some(start) = rest.find('"') {
            let mut said = String::new();
            let mut chars = rest[start + 1..].char_indices();
            let mut end = rest.len();
            while let Some((at, c)) = chars.next() {
                match c {
                    '"' => {
                        end = start + 1 + at + 1;
                        break;
                    }
                    '\\' => match chars.next() {
                        Some((_, 'n')) => said.push('\n'),
                        // A line that goes on: blanks at the start of the next one do not count.
                        Some((_, '\n')) => said.push('\u{0}'),
                        Some((_, c)) => said.push(c),
                        None => {}
                    },
                    c => said.push(c),
                }
            }
            let mut joined = String::new();
            for (index, part) in said.split('\u{0}').enumerate() {
                joined.push_str(if index == 0 { part } else { part.trim_start() });
            }
            found.push(without_names(&joined));
            rest = &rest[end..];
        }
        found
    }

    fn without_names(text: &str) -> String {
        let mut plain = String::new();
        let mut inside = false;
        for c in text.chars() {
            match c {
                '{' => inside = true,
                '}' => {
                    inside = false;
                    plain.push_str("{}");
                }
                c if !inside => plain.push(c),
                _ => {}
            }
        }
        plain
    }

    fn names_a_command(text: &str) -> bool {
        let option = text.match_indices("--").any(|(at, _)| {
            let before = text[..at].chars().next_back();
            let after = text[at + 2..].chars().next();
            before.is_none_or(|c| !c.is_alphanumeric() && c != '-')
                && after.is_some_and(|c| c.is_ascii_lowercase())
        });
        let commands = [
            "(setup ",
            "(run ",
            "with testsheet",
            "with read",
            "with inspect",
            "with lay",
            "tympan ",
        ];
        option || commands.iter().any(|command| text.contains(command))
    }

    fn sources(folder: &Path, found: &mut Vec<std::path::PathBuf>) {
        for entry in std::fs::read_dir(folder).expect("a folder").flatten() {
            let path = entry.path();
            if path.is_dir() {
                sources(&path, found);
            } else if path.extension().is_some_and(|end| end == "rs") {
                found.push(path);
            }
        }
    }

    /// All that the program's crates may say, but for the command line's own.
    #[test]
    fn nothing_that_the_page_may_say_names_a_command_or_an_option() {
        // A text of the demo's, for those who type; where the program starts, and starts its child.
        let of_commands = ["demo.rs", "on_page.rs", "server.rs", "crew.rs"];
        let crates = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
        let (mut looked_at, mut changed, mut left) = (0, 0, Vec::new());
        for name in [
            "app", "web", "press", "store", "inspect", "marks", "layout", "pdf", "register",
            "sheet",
        ] {
            let mut files = Vec::new();
            sources(&crates.join(format!("tympan-{name}/src")), &mut files);
            for file in files {
                if of_commands.iter().any(|own| file.ends_with(own)) {
                    continue;
                }
                let source = std::fs::read_to_string(&file).expect("a source");
                for words in literals(&source) {
                    looked_at += 1;
                    let page = on_page(&words);
                    changed += usize::from(page != words);
                    if names_a_command(&page) {
                        left.push(format!("{}: {page}", file.display()));
                    }
                }
            }
        }
        assert!(
            left.is_empty(),
            "say these on the page in words of its own:\n{}",
            left.join("\n")
        );
        // The sources were found and read as they are written.
        assert!(looked_at > 3000 && changed > 50, "{looked_at}, {changed}");
    }
}
