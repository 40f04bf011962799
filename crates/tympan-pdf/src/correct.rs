//! Correcting a file: each page as it was, drawn through one transform.

mod append;
mod pages;
mod rewrite;

use std::collections::HashSet;
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, Ordering};

use serde::Serialize;
use tympan_sheet::{Affine, Page, Size};

use crate::document::{Caution, Document};
use crate::error::{PageFault, PdfError};
use crate::loss::{Lost, Measure, Meter, Question};
use crate::mark::Mark;
use crate::output::Output;
use crate::space::PageSpace;

/// A file to take pages from.
#[derive(Clone, Debug, Default)]
pub struct Source {
    /// Where it is.
    pub file: PathBuf,
    /// The password that opens it, if it needs one.
    pub password: Option<String>,
}

/// One page of the output.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PageOut {
    /// Which of the job's sources it comes from, counted from 0.
    pub source: usize,
    /// Which page of that source, counted from 1.
    pub page: usize,
    /// Where the page as seen goes: from mm on the source page to mm on the page of the output,
    /// both from the top left corner as seen, y down.
    pub map: Affine<Page>,
    /// The size of the output page as seen, mm, where it is not the source page's own.
    pub size: Option<Size>,
}

impl PageOut {
    /// The page as it is.
    pub fn untouched(source: usize, page: usize) -> Self {
        Self {
            source,
            page,
            map: Affine::IDENTITY,
            size: None,
        }
    }

    /// Whether the page stays as it is: nothing moves by as much as a thousandth of a millimetre.
    pub fn is_untouched(&self) -> bool {
        self.size.is_none() && self.map.is_close(&Affine::IDENTITY, 1e-3)
    }
}

/// A page drawn over a page of the output, such as the number of a sheet in its waste. It lies as
/// it is, with its top left corner on the output page's.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Over {
    /// The output's page, counted from 0.
    pub on: usize,
    /// Which of the job's sources it comes from, counted from 0.
    pub source: usize,
    /// Which page of that source, counted from 1.
    pub page: usize,
}

/// How the two sides of a sheet are meant to be printed, for the viewer's print dialog (ISO
/// 32000-1, table 150).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Duplex {
    /// One side only.
    Simplex,
    /// Both sides, turned about the long edge.
    LongEdge,
    /// Both sides, turned about the short edge.
    ShortEdge,
}

impl Duplex {
    pub(crate) fn name(self) -> &'static str {
        match self {
            Self::Simplex => "/Simplex",
            Self::LongEdge => "/DuplexFlipLongEdge",
            Self::ShortEdge => "/DuplexFlipShortEdge",
        }
    }
}

/// What is to be written.
#[derive(Clone, Debug, Default)]
pub struct CorrectJob {
    /// The files that pages are taken from. The first one lends its outlines, layers, form fields
    /// and other things of the whole file.
    pub sources: Vec<Source>,
    /// The file to write; it must not exist.
    pub output: PathBuf,
    /// The output's pages in order. The same source page may be used any number of times; its
    /// content is then shared.
    pub pages: Vec<PageOut>,
    /// What is drawn over them: at most one page over each.
    pub over: Vec<Over>,
    /// What to tell the print dialog about the two sides, if anything.
    pub duplex: Option<Duplex>,
    /// Whether and how to measure what the pages lose.
    pub measure: Option<Measure>,
    /// What to note in the output. That a source was corrected is noted in any case.
    pub mark: Mark,
}

impl CorrectJob {
    /// What is noted in the output, whose pages come from these.
    fn mark(&self, documents: &[Document]) -> Mark {
        let used = |source: usize| self.pages.iter().any(|page| page.source == source);
        let corrected = documents
            .iter()
            .enumerate()
            .any(|(i, document)| used(i) && document.mark().corrected);
        Mark {
            corrected: self.mark.corrected || corrected,
            pass: self.mark.pass.clone(),
        }
    }
}

/// How far the work has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Progress {
    /// Pages done.
    pub done: usize,
    /// Pages in all.
    pub total: usize,
}

/// How the output was made.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Way {
    /// All objects written anew, streams as they were.
    Rewritten,
    /// The source's bytes copied as they are, with the changed objects added behind (ISO 32000-1,
    /// 7.5.6).
    Appended,
}

/// What was done.
#[derive(Clone, Debug)]
pub struct CorrectReport {
    /// How the output was made.
    pub way: Way,
    /// The output's pages in order.
    pub pages: Vec<PageReport>,
    /// What the user should know about the sources: which one, counted from 0, and what.
    pub cautions: Vec<(usize, Caution)>,
}

/// What was done to one page.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PageReport {
    /// What was asked.
    pub asked: PageOut,
    /// The source page's size as seen, mm.
    pub from: Size,
    /// The output page's size as seen, mm.
    pub size: Size,
    /// Whether the page's content was moved at all.
    pub moved: bool,
    /// How many annotations were moved with it.
    pub annotations: usize,
    /// What it loses; `None` where that was not measured.
    pub lost: Option<Lost>,
}

/// Writes the job's output.
///
/// The sources are only read. The output is written beside its name and gets it when it is whole
/// and has been read back.
///
/// # Errors
/// Where a source cannot be read or may not be changed, a page cannot be moved, the output exists
/// or cannot be written, or `cancel` was set. Nothing is left behind then.
pub fn correct(
    job: &CorrectJob,
    progress: &mut dyn FnMut(Progress),
    cancel: &AtomicBool,
) -> Result<CorrectReport, PdfError> {
    if job.pages.is_empty() || job.sources.is_empty() {
        return Err(PdfError::NothingToDo);
    }
    let output = new_output(job)?;
    let documents = job
        .sources
        .iter()
        .map(|s| Document::open(&s.file, s.password.as_deref()))
        .collect::<Result<Vec<_>, _>>()?;
    correct_into(output, job, documents, progress, cancel)
}

/// The same with the job's sources open already, in their order.
///
/// # Errors
/// As [`correct`], but for what opening them would say.
pub fn correct_opened(
    job: &CorrectJob,
    documents: Vec<Document>,
    progress: &mut dyn FnMut(Progress),
    cancel: &AtomicBool,
) -> Result<CorrectReport, PdfError> {
    if job.pages.is_empty() || documents.is_empty() || documents.len() != job.sources.len() {
        return Err(PdfError::NothingToDo);
    }
    correct_into(new_output(job)?, job, documents, progress, cancel)
}

fn new_output(job: &CorrectJob) -> Result<Output, PdfError> {
    let files: Vec<_> = job.sources.iter().map(|s| s.file.as_path()).collect();
    Output::create(&job.output, &files)
}

fn correct_into(
    output: Output,
    job: &CorrectJob,
    mut documents: Vec<Document>,
    progress: &mut dyn FnMut(Progress),
    cancel: &AtomicBool,
) -> Result<CorrectReport, PdfError> {
    let plan = plan(job, &documents)?;
    check_permissions(job, &documents)?;
    let lost = match job.measure {
        Some(measure) => measured(job, &plan, measure, cancel)?,
        None => vec![None; plan.len()],
    };
    let way = write(job, &mut documents, &plan, &output, progress, cancel)?;
    let mut cautions = Vec::new();
    for (i, document) in documents.iter().enumerate() {
        cautions.extend(document.cautions().into_iter().map(|c| (i, c)));
    }
    output.keep()?;
    let pages = plan.iter().zip(lost).map(|(p, lost)| {
        let moved = !p.asked.is_untouched();
        PageReport {
            asked: p.asked,
            from: p.from.size(),
            size: p.to.size(),
            moved,
            annotations: if moved { p.annotations } else { 0 },
            lost: if moved { lost } else { Some(Lost::default()) },
        }
    });
    Ok(CorrectReport {
        way,
        pages: pages.collect(),
        cautions,
    })
}

/// Writes the output as an incremental update where that can be, else anew, and reads it back.
fn write(
    job: &CorrectJob,
    documents: &mut [Document],
    plan: &[Planned],
    output: &Output,
    progress: &mut dyn FnMut(Progress),
    cancel: &AtomicBool,
) -> Result<Way, PdfError> {
    if append::is_fit(job, &documents[0], plan) {
        let written = append::write(job, &documents[0], plan, output, progress, cancel)?;
        stop_if(cancel)?;
        if written && append::is_proven(output, plan) {
            return Ok(Way::Appended);
        }
        // Trying has changed its objects in memory.
        let source = &job.sources[0];
        documents[0] = Document::open(&source.file, source.password.as_deref())?;
    }
    rewrite::write(job, documents, plan, output, progress, cancel)?;
    stop_if(cancel)?;
    prove(output, job, plan)?;
    Ok(Way::Rewritten)
}

/// What each page loses. The sources are opened once more for it: making pictures of pages turns
/// over objects that the output must have as they were.
fn measured(
    job: &CorrectJob,
    plan: &[Planned],
    measure: Measure,
    cancel: &AtomicBool,
) -> Result<Vec<Option<Lost>>, PdfError> {
    let mut meter = Meter::new(measure);
    let mut open: Vec<Option<Document>> = job.sources.iter().map(|_| None).collect();
    let mut known: Vec<(PageOut, Option<Lost>)> = Vec::new();
    let mut all = Vec::with_capacity(plan.len());
    for p in plan {
        stop_if(cancel)?;
        if p.asked.is_untouched() {
            all.push(None);
            continue;
        }
        // One back for many fronts is one question.
        if let Some((_, lost)) = known
            .iter()
            .rev()
            .take(16)
            .find(|(asked, _)| *asked == p.asked)
        {
            all.push(*lost);
            continue;
        }
        let document = match &mut open[p.asked.source] {
            Some(document) => document,
            none => {
                let source = &job.sources[p.asked.source];
                none.insert(Document::open_quietly(
                    &source.file,
                    source.password.as_deref(),
                )?)
            }
        };
        let question = Question {
            map: p.asked.map,
            from: p.from.size(),
            to: p.to.size(),
            same_sheet: p.asked.size.is_none(),
        };
        let lost = meter.lost(document.dictionary(p.asked.page)?, &question);
        known.push((p.asked, lost));
        all.push(lost);
    }
    Ok(all)
}

/// Whether the output's pages are exactly the first source's, in their order.
pub(crate) fn is_in_order(plan: &[Planned], base: &Document) -> bool {
    plan.len() == base.page_count()
        && plan
            .iter()
            .enumerate()
            .all(|(i, p)| p.asked.source == 0 && p.asked.page == i + 1)
}

pub(crate) fn stop_if(cancel: &AtomicBool) -> Result<(), PdfError> {
    if cancel.load(Ordering::Relaxed) {
        Err(PdfError::Cancelled)
    } else {
        Ok(())
    }
}

/// A page of the output with what is known of it before anything is changed.
pub(crate) struct Planned {
    pub(crate) asked: PageOut,
    /// The source page's space.
    pub(crate) from: PageSpace,
    /// The output page's space.
    pub(crate) to: PageSpace,
    /// From the source page's user space to the output page's.
    pub(crate) matrix: crate::space::Matrix,
    annotations: usize,
    /// What is drawn over it, and how it comes into the output page's user space.
    pub(crate) over: Option<(Over, crate::space::Matrix)>,
}

impl Planned {
    /// Whether it is the page of the first source, changed where it stands at most.
    pub(crate) fn may_stand(&self) -> bool {
        self.asked.source == 0 && self.over.is_none()
    }
}

fn plan(job: &CorrectJob, documents: &[Document]) -> Result<Vec<Planned>, PdfError> {
    let one = |(i, asked): (usize, &PageOut)| {
        let document = documents.get(asked.source).ok_or(PdfError::NothingToDo)?;
        let info = document.page(asked.page)?;
        let fault = |reason| document.fault(asked.page, reason);
        // What a damaged file has lost cannot be told from a page that was always blank.
        if !info.has_content && document.is_damaged() {
            return Err(fault(PageFault::Content));
        }
        let to = match asked.size {
            None => info.space,
            Some(size) if size.w > 0.1 && size.h > 0.1 && size.w < 1e6 && size.h < 1e6 => {
                PageSpace::for_sheet(size)
            }
            Some(_) => return Err(fault(PageFault::Size)),
        };
        if asked.map.inverse().is_err() {
            return Err(fault(PageFault::Transform));
        }
        let matrix = info.space.matrix_to(&to, &asked.map);
        let matrix = matrix.ok_or_else(|| fault(PageFault::Transform))?;
        let over = job.over.iter().find(|over| over.on == i);
        let over = over
            .map(|over| {
                let document = documents.get(over.source).ok_or(PdfError::NothingToDo)?;
                let space = document.page(over.page)?.space;
                let matrix = space.matrix_to(&to, &Affine::IDENTITY);
                let fault = || document.fault(over.page, PageFault::Transform);
                Ok::<_, PdfError>((*over, matrix.ok_or_else(fault)?))
            })
            .transpose()?;
        Ok(Planned {
            asked: *asked,
            from: info.space,
            to,
            matrix,
            annotations: info.annotations,
            over,
        })
    };
    job.pages.iter().enumerate().map(one).collect()
}

fn check_permissions(job: &CorrectJob, documents: &[Document]) -> Result<(), PdfError> {
    for (i, document) in documents.iter().enumerate() {
        let mine: Vec<_> = job.pages.iter().filter(|p| p.source == i).collect();
        let drawn_over = |over: &Over| job.pages.get(over.on).is_some_and(|p| p.source == i);
        if mine.iter().any(|p| !p.is_untouched()) || job.over.iter().any(drawn_over) {
            document.may_change()?;
        }
        if !mine.is_empty() && mine.len() < job.pages.len() {
            document.may_copy()?;
        }
        if mine.iter().enumerate().any(|(n, p)| p.page != n + 1) {
            document.may_assemble()?;
        }
    }
    Ok(())
}

/// Reads the output back and counts its pages.
fn prove(output: &Output, job: &CorrectJob, plan: &[Planned]) -> Result<(), PdfError> {
    let fail = |reason: String| PdfError::Unproven {
        file: job.output.clone(),
        reason,
    };
    // The first source's encryption stays, and with it its passwords.
    let password = job.sources.first().and_then(|s| s.password.as_deref());
    let again = match Document::open_quietly(output.path(), password) {
        Ok(again) => again,
        Err(e) => return Err(fail(e.to_string())),
    };
    let (found, meant) = (again.page_count(), job.pages.len());
    if found != meant {
        return Err(fail(format!("it has {found} pages and not {meant}")));
    }
    match moved_in_place(plan).find(|(i, p)| !is_drawn_on(&again, i + 1, p)) {
        Some((i, _)) => Err(fail(format!("page {} is not drawn as it should be", i + 1))),
        None => Ok(()),
    }
}

/// The moved pages of the output that are pages of the first source changed where they stand, with
/// their places counted from 0.
fn moved_in_place(plan: &[Planned]) -> impl Iterator<Item = (usize, &Planned)> {
    let mut used = HashSet::new();
    let own = move |p: &&Planned| p.may_stand() && used.insert(p.asked.page);
    let own = plan
        .iter()
        .enumerate()
        .scan(own, |own, (i, p)| Some((i, p, own(&p))));
    own.filter(|(_, p, own)| *own && !p.asked.is_untouched())
        .map(|(i, p, _)| (i, p))
}

fn is_drawn_on(document: &Document, number: usize, p: &Planned) -> bool {
    let page = document.dictionary(number).ok();
    page.and_then(|page| pages::is_drawn(page, &p.matrix)) == Some(true)
}
