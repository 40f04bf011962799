//! The full rewrite: the first source changed in memory and written anew.

use std::collections::HashSet;
use std::sync::atomic::AtomicBool;

use qpdf::{ObjectStreamMode, QPdfObject, QPdfObjectLike, StreamDataMode, StreamDecodeLevel};

use super::pages::{fresh_page, move_in_place, set_preferences};
use super::{CorrectJob, Over, Planned, Progress, stop_if};
use crate::annots::Annotations;
use crate::changes::Changes;
use crate::dig;
use crate::document::{Document, say};
use crate::error::PdfError;
use crate::form::Forms;
use crate::layers;
use crate::output::Output;

pub(crate) fn write(
    job: &CorrectJob,
    documents: &[Document],
    plan: &[Planned],
    output: &Output,
    progress: &mut dyn FnMut(Progress),
    cancel: &AtomicBool,
) -> Result<(), PdfError> {
    let base = &documents[0];
    let total = plan.len();
    let mut forms: Vec<Forms> = documents.iter().map(|_| Forms::in_place()).collect();
    let mut annotations = Annotations::count(&base.pages);
    let changes = Changes::default();
    let mut used = HashSet::new();
    let own: Vec<bool> = plan
        .iter()
        .map(|p| p.may_stand() && used.insert(p.asked.page))
        .collect();
    for (i, document) in documents.iter().enumerate().skip(1) {
        if plan.iter().any(|p| p.asked.source == i) {
            layers::merge(&base.qpdf, &document.qpdf);
        }
    }
    let mut pages: Vec<Option<QPdfObject>> = vec![None; total];
    // New pages first: they must see the base's pages as they were.
    let order = (0..total)
        .filter(|&i| !own[i])
        .chain((0..total).filter(|&i| own[i]));
    for (done, i) in order.enumerate() {
        stop_if(cancel)?;
        progress(Progress { done, total });
        let p = &plan[i];
        let document = &documents[p.asked.source];
        let fault = |reason| document.fault(p.asked.page, reason);
        if !own[i] {
            let over = match &p.over {
                Some((over, matrix)) => {
                    let forms = &mut forms[over.source];
                    drawn_over(base, &documents[over.source], forms, over)?.map(|f| (matrix, f))
                }
                None => None,
            };
            let forms = &mut forms[p.asked.source];
            pages[i] = Some(fresh_page(base, document, forms, p, over).map_err(fault)?);
            continue;
        }
        let page = base.dictionary(p.asked.page)?;
        if !p.asked.is_untouched() {
            move_in_place(
                &base.qpdf,
                page,
                &mut forms[0],
                &mut annotations,
                &changes,
                p,
            )
            .map_err(fault)?;
        }
        pages[i] = Some(page.as_object().clone());
    }
    if !super::is_in_order(plan, base) {
        let pages: Vec<_> = pages.into_iter().flatten().collect();
        let reason = |e: qpdf::QPdfError| say(&e);
        reorder(base, &pages)
            .map_err(reason)
            .map_err(|reason| PdfError::Damaged {
                file: base.file.clone(),
                reason,
            })?;
    }
    set_preferences(&base.qpdf, job.duplex, &changes);
    job.mark(documents).write(&base.qpdf, &changes);
    // A damaged file may have lost it, and the writer gives it its value only where it stands.
    if let Some(trailer) = base.qpdf.get_trailer()
        && !trailer.has("/Size")
    {
        trailer.set("/Size", base.qpdf.new_integer(1));
    }
    let mut writer = base.qpdf.writer();
    writer
        .stream_decode_level(StreamDecodeLevel::None)
        .stream_data_mode(StreamDataMode::Preserve)
        .compress_streams(false)
        .object_stream_mode(ObjectStreamMode::Preserve)
        .minimum_pdf_version(&newest(documents));
    writer
        .write(output.path())
        .map_err(|e| output.fault(say(&e)))?;
    progress(Progress { done: total, total });
    Ok(())
}

/// The content of a page that is drawn over others, as an object of the output.
fn drawn_over(
    base: &Document,
    document: &Document,
    forms: &mut Forms,
    over: &Over,
) -> Result<Option<QPdfObject>, PdfError> {
    let shown = document.page(over.page)?.space.shown;
    let form = forms
        .of_page(&document.qpdf, document.dictionary(over.page)?, &shown)
        .map_err(|reason| document.fault(over.page, reason))?;
    Ok(form.map(|form| {
        if over.source == 0 {
            form.object
        } else {
            base.qpdf.copy_from_foreign(form.object)
        }
    }))
}

fn newest(documents: &[Document]) -> String {
    // PrintScaling came with 1.6.
    let versions = documents
        .iter()
        .map(Document::version)
        .chain(["1.6".to_owned()]);
    let key = |v: &String| {
        let (major, minor) = v.split_once('.').unwrap_or((v, "0"));
        (
            major.parse::<u32>().unwrap_or(0),
            minor.parse::<u32>().unwrap_or(0),
        )
    };
    versions.max_by_key(key).unwrap_or_else(|| "1.6".to_owned())
}

/// Replaces the base's pages by these.
fn reorder(base: &Document, pages: &[QPdfObject]) -> qpdf::Result<()> {
    let qpdf = &base.qpdf;
    // The library flattens the tree first and insists on a right count.
    if let Some(root) = qpdf
        .get_root()
        .and_then(|root| dig::dictionary(&root, "/Pages"))
    {
        root.set("/Count", qpdf.new_integer(base.pages.len() as i64));
    }
    for page in base.pages.iter().rev() {
        qpdf.remove_page(page)?;
    }
    for page in pages {
        qpdf.add_page(page, false)?;
    }
    Ok(())
}
