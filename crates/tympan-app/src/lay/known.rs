//! What inspection found in files, kept so that they need not be looked at again for every change.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use tympan_inspect::Asked;
use tympan_sheet::Flip;

use super::cells::{Cell, File, Found};

/// What is known of files. It holds as long as they stay as they are.
#[derive(Debug, Default, Serialize, Deserialize)]
pub struct Known {
    sheets: Vec<(Sheets, Found)>,
    pages: Vec<(PathBuf, Vec<Vec<Cell>>)>,
}

/// What the cards of a file of sheets depend on.
#[derive(Debug, PartialEq, Serialize, Deserialize)]
struct Sheets {
    file: PathBuf,
    backs: Option<PathBuf>,
    pairs: String,
    flip: Flip,
}

impl Sheets {
    fn of(file: &File<'_>) -> Self {
        Self {
            file: file.path.to_owned(),
            backs: file.back_path.map(Path::to_owned),
            pairs: words(file.pairs),
            flip: file.flip,
        }
    }
}

fn words(pairs: &Asked) -> String {
    format!("{pairs:?}")
}

impl Known {
    pub(super) fn sheets(&self, file: &File<'_>) -> Option<Found> {
        let wanted = Sheets::of(file);
        let known = self.sheets.iter().find(|(sheets, _)| *sheets == wanted);
        known.map(|(_, found)| found.clone())
    }

    pub(super) fn keep_sheets(&mut self, file: &File<'_>, found: &Found) {
        self.sheets.push((Sheets::of(file), found.clone()));
    }

    pub(super) fn pages(&self, file: &Path) -> Option<Vec<Vec<Cell>>> {
        let known = self.pages.iter().find(|(path, _)| path == file);
        known.map(|(_, cells)| cells.clone())
    }

    pub(super) fn keep_pages(&mut self, file: &Path, cells: &[Vec<Cell>]) {
        self.pages.push((file.to_owned(), cells.to_vec()));
    }
}
