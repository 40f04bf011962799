//! The pages of a job as sheets, and the files that print some of them.

use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;
use std::time::Duration;

use tympan_pdf::contents::{Contents, Extent, Kind, Limits, Paint, without_pictures};
use tympan_pdf::draw;
use tympan_pdf::{CorrectJob, Document, Duplex, Over, PageOut, Progress, Source};
use tympan_press::loads::Pass;
use tympan_press::waste::{self, Place};
use tympan_sheet::drawing::Drawing;
use tympan_sheet::{BindingEdge, Page, Rect, Side, Size};
use tympan_store::SetUp;

use super::work::Work;
use crate::correct::{self, Prepared};
use crate::files;
use crate::pages::Role;
use crate::plan::Cause;
use crate::refusal::Refusal;

/// Boxes around all that is printed.
type Boxes = Vec<Rect<Page>>;

/// How long one page is looked at for free places.
const LOOK_AT_MOST: Duration = Duration::from_secs(2);

/// A job, ready to be written sheet by sheet.
pub(super) struct Job {
    pub(super) setup: SetUp,
    /// The sheet as the pages of both sides lie on it.
    pub(super) sheet: Size,
    sources: Vec<Source>,
    outputs: Vec<PageOut>,
    /// The pages of the sheets of one copy: front and back; a side without a page stays blank.
    pub(super) sheets: Vec<[Option<usize>; 2]>,
    /// Where numbers stand: on the fronts, on the backs.
    places: [Option<Place>; 2],
    /// Whether a file looks as if it had been corrected before.
    pub(super) was_corrected: bool,
    /// What its user should know.
    pub(super) cautions: Vec<String>,
}

impl Job {
    pub(super) fn open(
        setup: &SetUp,
        work: &Work,
        password: Option<&str>,
        cancel: &AtomicBool,
    ) -> Result<Self, Refusal> {
        let cause = Cause::SetUp {
            field: work.field(),
            sheet: setup.paper.size(),
            flip: setup.flip,
        };
        let request = work.correction(password)?;
        let prepared = correct::prepare(&request, &cause, cancel)?;
        let sheets = sheets(&prepared);
        let mut job = Self {
            setup: setup.clone(),
            sheet: setup.paper.size(),
            outputs: correct::outputs(&prepared.items, &prepared.plans),
            sheets,
            places: [None, None],
            was_corrected: prepared.documents.iter().any(Document::was_corrected),
            cautions: Vec::new(),
            sources: prepared.sources,
        };
        let said = prepared.documents.iter().flat_map(|d| d.cautions());
        job.cautions.extend(said.map(|caution| caution.to_string()));
        if work.numbers {
            job.find_places(cancel);
        }
        Ok(job)
    }

    /// The page of one side of a sheet of the run, counted from 1.
    fn page(&self, sheet: u32, side: Side) -> Option<PageOut> {
        let sheets = self.sheets.len();
        let at = (sheet.max(1) as usize - 1) % sheets.max(1);
        let pair = self.sheets.get(at)?;
        let page = match side {
            Side::Front => pair[0],
            Side::Back => pair[1],
        };
        page.map(|page| self.outputs[page])
    }

    /// Whether a side has anything to print at all.
    pub(super) fn has(&self, side: Side) -> bool {
        let at = usize::from(side == Side::Back);
        self.sheets.iter().any(|pair| pair[at].is_some())
    }

    /// Whether all sheets have the same page on this side.
    pub(super) fn is_common(&self, side: Side) -> bool {
        let at = usize::from(side == Side::Back);
        let mut pages = self
            .sheets
            .iter()
            .map(|pair| pair[at].map(|page| (self.outputs[page].source, self.outputs[page].page)));
        let first = pages.next().flatten();
        first.is_some() && self.sheets.len() > 1 && pages.all(|page| page == first)
    }

    fn find_places(&mut self, cancel: &AtomicBool) {
        let mut known: Vec<(usize, usize, Option<Boxes>)> = Vec::new();
        let mut bare: Vec<Option<_>> = self.sources.iter().map(|_| None).collect();
        let margins = correct::margins(Some(&self.setup));
        for side in Side::BOTH {
            let at = usize::from(side == Side::Back);
            let mut ink = Some(Vec::new());
            for page in self.sheets.iter().filter_map(|pair| pair[at]) {
                let out = self.outputs[page];
                let is_it = |k: &&(usize, usize, _)| (k.0, k.1) == (out.source, out.page);
                if !known.iter().any(|k| is_it(&k)) {
                    let source = &self.sources[out.source];
                    let pages = bare[out.source].get_or_insert_with(|| {
                        without_pictures(&source.file, source.password.as_deref()).ok()
                    });
                    let limits = Limits {
                        elements: 20_000,
                        time: LOOK_AT_MOST,
                        cancel: Some(cancel),
                    };
                    let seen = pages
                        .as_ref()
                        .and_then(|pages| pages.contents(out.page - 1, &limits).ok());
                    known.push((out.source, out.page, seen.as_ref().and_then(printed)));
                }
                let found = known.iter().find(is_it).and_then(|k| k.2.as_ref());
                ink = match (ink, found) {
                    (Some(mut ink), Some(found)) => {
                        ink.extend(found.iter().map(|rect| moved(*rect, &out)));
                        Some(ink)
                    }
                    _ => None,
                };
            }
            // Both sides go through the printer in the same orientation of their pages.
            self.places[at] = ink.and_then(|ink| waste::place(self.sheet, margins, &ink));
        }
        let missing: Vec<&str> = Side::BOTH
            .into_iter()
            .zip(self.places)
            .filter(|(side, place)| place.is_none() && self.has(*side))
            .map(|(side, _)| {
                if side == Side::Front {
                    "fronts"
                } else {
                    "backs"
                }
            })
            .collect();
        if !missing.is_empty() {
            self.cautions.push(format!(
                "The {} have no room in the waste for sheet numbers: keep the pile in its order with \
                 care.",
                missing.join(" and the ")
            ));
        }
    }

    /// Writes the file that prints a pass.
    pub(super) fn write(
        &self,
        pass: &Pass,
        label: impl Fn(u32) -> String,
        file: &Path,
        progress: &mut dyn FnMut(Progress),
        cancel: &AtomicBool,
    ) -> Result<(), Refusal> {
        let sides: Vec<Side> = pass.side.map_or(Side::BOTH.to_vec(), |side| vec![side]);
        let of = |&sheet: &u32| sides.clone().into_iter().map(move |side| (sheet, side));
        let faces: Vec<(u32, Side)> = pass.sheets.iter().flat_map(of).collect();
        let marks: Vec<Drawing> = faces
            .iter()
            .map(
                |&(sheet, side)| match &self.places[usize::from(side == Side::Back)] {
                    Some(place) => waste::mark(self.sheet, place, &label(sheet), side),
                    None => Drawing::new(self.sheet),
                },
            )
            .collect();
        let title = format!(
            "{}, {}",
            self.setup.name,
            file.file_stem().unwrap_or_default().display()
        );
        let duplex = match pass.side {
            Some(_) => Duplex::Simplex,
            None => match self.setup.flip.edge(self.sheet) {
                BindingEdge::Long => Duplex::LongEdge,
                BindingEdge::Short => Duplex::ShortEdge,
            },
        };
        let drawn = draw::write(&marks, &draw::Meta::new(title).duplex(duplex))?;
        // The marks are the file that all else is brought into: of the job's own files nothing
        // comes along but what these pages use.
        let marks_file = tempfile::Builder::new()
            .suffix(".pdf")
            .tempfile()
            .map_err(|e| Refusal::file("write", file, &e))?;
        std::fs::write(marks_file.path(), drawn).map_err(|e| Refusal::file("write", file, &e))?;
        let mut sources = vec![Source {
            file: marks_file.path().to_path_buf(),
            password: None,
        }];
        sources.extend(self.sources.iter().cloned());
        let (mut pages, mut over) = (Vec::new(), Vec::new());
        for (on, &(sheet, side)) in faces.iter().enumerate() {
            let Some(page) = self.page(sheet, side) else {
                pages.push(PageOut::untouched(0, on + 1));
                continue;
            };
            pages.push(PageOut {
                source: page.source + 1,
                ..page
            });
            if self.places[usize::from(side == Side::Back)].is_some() {
                over.push(Over {
                    on,
                    source: 0,
                    page: on + 1,
                });
            }
        }
        let job = CorrectJob {
            sources,
            output: file.to_path_buf(),
            pages,
            over,
            duplex: Some(duplex),
            measure: None,
        };
        tympan_pdf::correct(&job, progress, cancel)?;
        Ok(())
    }
}

/// The sheets of one copy: each front with its back, then backs that no front has.
fn sheets(prepared: &Prepared) -> Vec<[Option<usize>; 2]> {
    let items = &prepared.items;
    let mut has_front = vec![false; items.len()];
    for item in items {
        if let Role::Front { back: Some(back) } = item.role {
            has_front[back] = true;
        }
    }
    let pair = |(i, item): (usize, &correct::Item)| match item.role {
        Role::Front { back } => Some([Some(i), back]),
        Role::Back { .. } if !has_front[i] => Some([None, Some(i)]),
        Role::Back { .. } => None,
    };
    items.iter().enumerate().filter_map(pair).collect()
}

/// All that is printed on a page, as boxes; `None` where it cannot be told. White areas count as
/// bare: number on them is seen.
fn printed(contents: &Contents) -> Option<Boxes> {
    const WHITE: u8 = 250;
    if contents.extent != Extent::Whole {
        return None;
    }
    let is_white = |paint: &Paint| match paint {
        Paint::Solid(colour) => colour.rgb.iter().all(|&part| part >= WHITE),
        Paint::Pattern => false,
    };
    let inked = contents
        .elements
        .iter()
        .filter(|element| match &element.kind {
            Kind::Fill { paint, .. } | Kind::Stroke { paint, .. } => !is_white(paint),
            Kind::Text(text) => !is_white(&text.paint),
            Kind::Picture(_) => true,
        });
    Some(inked.filter_map(|element| contents.seen(element)).collect())
}

fn moved(rect: Rect<Page>, out: &PageOut) -> Rect<Page> {
    let corners = rect.corners().map(|corner| out.map.apply(corner));
    let (mut min, mut max) = (corners[0], corners[0]);
    for corner in corners {
        min.x = min.x.min(corner.x);
        min.y = min.y.min(corner.y);
        max.x = max.x.max(corner.x);
        max.y = max.y.max(corner.y);
    }
    Rect { min, max }
}

/// Takes away files that are still as they were written, and the folder if nothing is left in it.
pub(super) fn remove(folder: &Path, files: &[(String, u64)]) {
    for (name, size) in files {
        let file = folder.join(name);
        let is_ours = std::fs::metadata(&file).is_ok_and(|about| about.len() == *size);
        if is_ours {
            // What cannot be taken away stays; it does no harm.
            let _ = std::fs::remove_file(&file);
        }
    }
    let _ = std::fs::remove_dir(folder);
}

/// A folder that is filled beside its name, and gets it when it is whole.
pub(super) struct NewFolder {
    folder: tempfile::TempDir,
    to: PathBuf,
}

impl NewFolder {
    pub(super) fn beside(to: &Path) -> Result<Self, Refusal> {
        if to.exists() {
            return Err(Refusal::new(
                format!("{} already exists", to.display()),
                "choose another folder: nothing is overwritten",
            ));
        }
        Self::replacing(to)
    }

    /// One whose files will go into a folder that is there.
    pub(super) fn replacing(to: &Path) -> Result<Self, Refusal> {
        let parent = match to.parent() {
            Some(parent) if !parent.as_os_str().is_empty() => parent,
            _ => Path::new("."),
        };
        let folder = tempfile::Builder::new()
            .prefix(".tympan-run-")
            .tempdir_in(parent)
            .map_err(|e| Refusal::file("write", to, &e))?;
        Ok(Self {
            folder,
            to: to.to_path_buf(),
        })
    }

    pub(super) fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub(super) fn write(&self, name: &str, bytes: &[u8]) -> Result<(), Refusal> {
        files::write_new(&self.path(name), bytes)
    }

    /// Puts the files into a folder that is there already, in the place of others.
    pub(super) fn put_in_place_of(
        self,
        old: &[(String, u64)],
    ) -> Result<Vec<(String, u64)>, Refusal> {
        let fail = |e: &std::io::Error| Refusal::file("write", &self.to, e);
        remove(&self.to, old);
        std::fs::create_dir_all(&self.to).map_err(|e| fail(&e))?;
        let mut written = Vec::new();
        for entry in std::fs::read_dir(self.folder.path()).map_err(|e| fail(&e))? {
            let entry = entry.map_err(|e| fail(&e))?;
            let size = entry.metadata().map_err(|e| fail(&e))?.len();
            let name = entry.file_name();
            let to = self.to.join(&name);
            if to.exists() {
                return Err(Refusal::new(
                    format!("{} is not the run's own file any more", to.display()),
                    "move it away, then try again: nothing is overwritten",
                ));
            }
            std::fs::rename(entry.path(), &to).map_err(|e| fail(&e))?;
            written.push((name.to_string_lossy().into_owned(), size));
        }
        written.sort();
        Ok(written)
    }

    /// Gives the folder its name. The names and sizes of its files are told.
    pub(super) fn keep(self) -> Result<Vec<(String, u64)>, Refusal> {
        let fail = |e: &std::io::Error| Refusal::file("write", &self.to, e);
        let mut written = Vec::new();
        for entry in std::fs::read_dir(self.folder.path()).map_err(|e| fail(&e))? {
            let entry = entry.map_err(|e| fail(&e))?;
            let size = entry.metadata().map_err(|e| fail(&e))?.len();
            written.push((entry.file_name().to_string_lossy().into_owned(), size));
        }
        written.sort();
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            // As a folder that its user makes: what is temporary is for its user alone.
            let usual = std::fs::Permissions::from_mode(0o755);
            std::fs::set_permissions(self.folder.path(), usual).map_err(|e| fail(&e))?;
        }
        std::fs::rename(self.folder.path(), &self.to).map_err(|e| fail(&e))?;
        // There is nothing left to be cleared away under its first name.
        let _ = self.folder.keep();
        Ok(written)
    }
}
