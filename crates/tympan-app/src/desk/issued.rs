//! Test sheets that were made for printing.

use std::fs;
use std::path::PathBuf;

use tympan_store::{SetUp, SetUpId, Store};

use super::Desk;
use crate::measure::write_test_sheets;
use crate::refusal::Refusal;

/// A file of test sheets.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Issued {
    /// The first sheet's number.
    pub first: u32,
    /// The last one's.
    pub last: u32,
}

impl Issued {
    /// How many sheets it holds.
    pub fn count(self) -> u32 {
        self.last + 1 - self.first
    }

    fn file_name(self) -> String {
        format!("{}-{}.pdf", self.first, self.last)
    }

    fn of_file_name(name: &str) -> Option<Self> {
        let (first, last) = name.strip_suffix(".pdf")?.split_once('-')?;
        let (first, last) = (first.parse().ok()?, last.parse().ok()?);
        (first <= last).then_some(Self { first, last })
    }
}

impl Desk {
    /// Makes numbered test sheets of a set-up, to be printed from the page.
    ///
    /// # Errors
    /// As for [`write_test_sheets`].
    pub fn issue(&self, store: &mut Store, setup: &SetUp, count: u32) -> Result<Issued, Refusal> {
        let folder = self.sheets_folder(&setup.id);
        fs::create_dir_all(&folder).map_err(|e| Refusal::file("make the folder", &folder, &e))?;
        // The numbers are known only when they are taken.
        let making = folder.join("making.pdf");
        let _ = fs::remove_file(&making);
        let numbers = write_test_sheets(store, setup, count, &making)?;
        let issued = Issued {
            first: *numbers.start(),
            last: *numbers.end(),
        };
        let path = folder.join(issued.file_name());
        fs::rename(&making, &path).map_err(|e| Refusal::file("keep", &path, &e))?;
        Ok(issued)
    }

    /// The test sheets that were made for a set-up, the latest first.
    pub fn issued(&self, setup: &SetUpId) -> Vec<Issued> {
        let entries = fs::read_dir(self.sheets_folder(setup));
        let mut all: Vec<Issued> = entries
            .into_iter()
            .flatten()
            .flatten()
            .filter_map(|entry| Issued::of_file_name(entry.file_name().to_str()?))
            .collect();
        all.sort_unstable();
        all.reverse();
        all
    }

    /// Where a file of test sheets lies.
    pub fn issued_file(&self, setup: &SetUpId, issued: Issued) -> PathBuf {
        self.sheets_folder(setup).join(issued.file_name())
    }

    fn sheets_folder(&self, setup: &SetUpId) -> PathBuf {
        self.folder().join("sheets").join(setup.as_str())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tympan_sheet::Flip;

    #[test]
    fn test_sheets_are_found_again_by_their_numbers() {
        let data = tempfile::tempdir().expect("a folder");
        let desk = Desk::open(data.path()).expect("a desk");
        let mut store = Store::open(data.path()).expect("a store");
        let setup = SetUp::new("one", "a4".parse().expect("paper"), Flip::Sideways);
        store.add_set_up(&setup).expect("kept");
        let first = desk.issue(&mut store, &setup, 2).expect("made");
        let second = desk.issue(&mut store, &setup, 1).expect("made");
        assert_eq!((first.first, first.last, second.first), (1, 2, 3));
        assert_eq!(desk.issued(&setup.id), [second, first]);
        assert!(desk.issued_file(&setup.id, first).exists());
        assert!(desk.issue(&mut store, &setup, 0).is_err());
        assert_eq!(desk.issued(&setup.id).len(), 2);
    }
}
