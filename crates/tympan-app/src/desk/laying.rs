//! What a child does with a deck: it reads the files, plans and writes the sheets.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

use serde::{Deserialize, Serialize};
use tympan_store::Store;

use super::deck::DeckSaved;
use super::picture;
use super::wish::Wish;
use crate::files;
use crate::lay::{self, Job, Known, Laid, Named, Problem, Progress, Request, StockSheets, View};
use crate::on_page::on_page;
use crate::refusal::Refusal;

/// Sheets are shown with so many pixels per mm.
const PREVIEW: f64 = 4.0;

/// What a child needs to know of a deck.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct DeckIn {
    /// The data folder.
    pub data: PathBuf,
    /// The deck's own folder.
    pub folder: PathBuf,
    /// What it is called.
    pub title: String,
    /// Its files.
    pub files: Vec<Named>,
    /// What is chosen.
    pub wish: Wish,
    /// The paper where neither the files nor the choices tell one.
    pub usual_paper: Option<String>,
    /// The password of its files.
    pub password: Option<String>,
}

impl DeckIn {
    fn job(&self) -> Result<Job, Refusal> {
        let mut job = self.wish.job(&self.files, self.password.clone())?;
        job.usual_paper = (self.usual_paper.as_ref()).and_then(|paper| paper.parse().ok());
        job.stock_sheets = Some(StockSheets::of(&self.data).alone());
        Ok(job)
    }

    /// A set-up is in the store; without one nothing is.
    fn store(&self, job: &Job) -> Result<Option<Store>, Refusal> {
        match job.setup {
            Some(_) => Ok(Some(Store::open(&self.data)?)),
            None => Ok(None),
        }
    }

    fn known_file(&self) -> PathBuf {
        self.folder.join("known.json")
    }

    fn known(&self) -> Known {
        let text = fs::read(self.known_file()).unwrap_or_default();
        serde_json::from_slice(&text).unwrap_or_default()
    }

    /// What there is to show.
    pub fn view(&self, progress: &mut dyn FnMut(Progress), cancel: &AtomicBool) -> View {
        let seen = self.job().and_then(|job| {
            let store = self.store(&job)?;
            let mut known = self.known();
            let view = lay::view(
                store.as_ref(),
                &job,
                &mut known,
                &self.folder,
                progress,
                cancel,
            );
            // What cannot be kept is only found again.
            if let Ok(text) = serde_json::to_vec(&known) {
                let _ = fs::remove_file(self.known_file());
                let _ = files::write_new(&self.known_file(), &text);
            }
            Ok(view)
        });
        let mut view = seen.unwrap_or_else(|refusal| View {
            problems: vec![Problem::new(
                "",
                refusal.message,
                refusal.hint.unwrap_or_default(),
            )],
            ..View::default()
        });
        for problem in &mut view.problems {
            for text in [&mut problem.place, &mut problem.message, &mut problem.hint] {
                *text = self.renamed(text);
            }
        }
        for caution in &mut view.cautions {
            *caution = self.renamed(caution);
        }
        view
    }

    /// Draws a sheet (from 0) of the chosen plan: `STEM-front.png` and, where it has a back,
    /// `STEM-back.png`.
    ///
    /// # Errors
    /// A [`Refusal`] where there is no such sheet, or something is in the way.
    pub fn draw_sheet(&self, number: usize, stem: &Path) -> Result<(), Refusal> {
        let drawn = self.job().and_then(|job| {
            let store = self.store(&job)?;
            let pdf = tempfile::TempDir::new_in(&self.folder)
                .map_err(|e| Refusal::file("write into", &self.folder, &e))?;
            let path = pdf.path().join("sheet.pdf");
            lay::sheet(store.as_ref(), &job, &mut self.known(), number, &path)?;
            let pages = picture::open(&path, None)?;
            for (page, side) in (0..pages.count()).zip(["front", "back"]) {
                let mut output = stem.as_os_str().to_owned();
                output.push(format!("-{side}.png"));
                picture::whole(&pages, page, PREVIEW, Path::new(&output))?;
            }
            Ok(())
        });
        drawn.map_err(|refusal| self.in_their_names(refusal))
    }

    /// Writes the sheets and how they are cut into a new folder.
    ///
    /// # Errors
    /// A [`Refusal`] with all that is in the way. Then nothing is left of it.
    pub fn save(
        &self,
        folder: &Path,
        progress: &mut dyn FnMut(Progress),
        cancel: &AtomicBool,
    ) -> Result<DeckSaved, Refusal> {
        let name = plain_stem(&self.title);
        let saved = self.job().and_then(|job| {
            let mut store = self.store(&job)?;
            fs::create_dir_all(folder).map_err(|e| Refusal::file("make the folder", folder, &e))?;
            let request = Request {
                job,
                output: folder.join(format!("{name}.pdf")),
                cuts: Some(folder.to_owned()),
            };
            lay::lay_known(
                store.as_mut(),
                &request,
                &mut self.known(),
                progress,
                cancel,
            )
        });
        match saved {
            Ok(laid) => Ok(self.saved(&laid, folder, &name)),
            Err(refusal) => {
                let _ = fs::remove_dir_all(folder);
                Err(self.in_their_names(refusal))
            }
        }
    }

    fn saved(&self, laid: &Laid, folder: &Path, name: &str) -> DeckSaved {
        let last = |path: &Path| {
            let name = path.file_name().unwrap_or_default();
            name.to_string_lossy().into_owned()
        };
        let sheets = (last(&laid.output), format!("{name} sheets.pdf"));
        let others = laid.cut_files.iter().map(|path| {
            let file = last(path);
            (file.clone(), format!("{name} {file}"))
        });
        let mut in_words = laid.answer();
        if let Some(setup) = &laid.corrected_for {
            in_words.push_str(&format!(" The backs are corrected for “{setup}”."));
        }
        let spares = laid.plan.spares_in_words();
        if !spares.is_empty() {
            in_words.push_str(&format!(" {spares}"));
        }
        DeckSaved {
            folder: last(folder),
            files: std::iter::once(sheets).chain(others).collect(),
            in_words,
            cautions: laid
                .cautions
                .iter()
                .map(|text| on_page(&self.renamed(text)))
                .collect(),
            wish: self.wish.clone(),
        }
    }

    fn renamed(&self, text: &str) -> String {
        let mut text = text.to_owned();
        for file in &self.files {
            text = text.replace(&file.path.display().to_string(), &file.name);
        }
        text
    }

    fn in_their_names(&self, refusal: Refusal) -> Refusal {
        Refusal {
            message: self.renamed(&refusal.message),
            hint: refusal.hint.map(|hint| self.renamed(&hint)),
        }
    }
}

/// A title as a file's name anywhere: letters, digits, spaces and hyphens.
fn plain_stem(title: &str) -> String {
    let plain: String = title
        .chars()
        .map(|c| {
            if c.is_alphanumeric() || c == '-' {
                c
            } else {
                ' '
            }
        })
        .take(60)
        .collect();
    let words: Vec<&str> = plain.split_whitespace().collect();
    if words.is_empty() {
        "cards".to_owned()
    } else {
        words.join(" ")
    }
}
