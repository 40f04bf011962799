//! The full rewrite: the first source changed in memory and written anew.

use std::collections::HashSet;
use std::sync::atomic::AtomicBool;

use qpdf::{
    ObjectStreamMode, QPdf, QPdfDictionary, QPdfObject, QPdfObjectLike, StreamDataMode,
    StreamDecodeLevel,
};

use super::{CorrectJob, Planned, Progress, stop_if};
use crate::annots::{self, Annotations};
use crate::dig;
use crate::document::{Document, say};
use crate::error::{PageFault, PdfError};
use crate::form::Forms;
use crate::output::Output;
use crate::space::{Matrix, PageSpace, UserRect};

/// The name that the page's own content goes by among the page's new resources.
const CONTENT: &str = "/TyPage";

pub(crate) fn write(
    job: &CorrectJob,
    documents: &[Document],
    plan: &[Planned],
    output: &Output,
    progress: &mut dyn FnMut(Progress),
    cancel: &AtomicBool,
) -> Result<(), PdfError> {
    let base = &documents[0];
    let mut forms: Vec<Forms> = documents.iter().map(|_| Forms::default()).collect();
    let mut annotations = Annotations::count(&base.pages);
    let mut in_place = HashSet::new();
    let mut pages = Vec::with_capacity(plan.len());
    // Fresh pages first: they must see the base's pages as they were.
    let own: Vec<bool> = plan
        .iter()
        .map(|p| p.asked.source == 0 && in_place.insert(p.asked.page))
        .collect();
    for (p, _) in plan.iter().zip(&own).filter(|(_, own)| !**own) {
        stop_if(cancel)?;
        let document = &documents[p.asked.source];
        let page = fresh_page(base, document, &mut forms[p.asked.source], p)
            .map_err(|reason| document.fault(p.asked.page, reason))?;
        pages.push(page);
    }
    let mut fresh = pages.into_iter();
    let mut pages: Vec<QPdfObject> = Vec::with_capacity(plan.len());
    for (done, (p, &own)) in plan.iter().zip(&own).enumerate() {
        stop_if(cancel)?;
        progress(Progress {
            done,
            total: plan.len(),
        });
        if !own {
            pages.extend(fresh.next());
            continue;
        }
        let page = base.dictionary(p.asked.page)?;
        if !p.asked.is_untouched() {
            move_in_place(&base.qpdf, page, &mut forms[0], &mut annotations, p)
                .map_err(|reason| base.fault(p.asked.page, reason))?;
        }
        pages.push(page.as_object().clone());
    }
    let in_order = plan.len() == base.pages.len()
        && plan
            .iter()
            .enumerate()
            .all(|(i, p)| p.asked.source == 0 && p.asked.page == i + 1);
    let damaged = |e: qpdf::QPdfError| PdfError::Damaged {
        file: base.file.clone(),
        reason: say(&e),
    };
    if !in_order {
        reorder(base, &pages).map_err(damaged)?;
    }
    set_preferences(&base.qpdf, job);
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
    progress(Progress {
        done: plan.len(),
        total: plan.len(),
    });
    Ok(())
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

/// Changes a page where it stands.
fn move_in_place(
    qpdf: &QPdf,
    page: &QPdfDictionary,
    forms: &mut Forms,
    annotations: &mut Annotations,
    p: &Planned,
) -> Result<(), PageFault> {
    let form = forms.of_page(qpdf, page, &p.from.shown)?;
    let mut content = String::new();
    let drawn = qpdf.new_dictionary();
    if let Some(form) = form {
        content = draw(&p.matrix, CONTENT);
        drawn.set(CONTENT, form);
    }
    set_content(qpdf, page, &content, &drawn)?;
    annotations.move_all(qpdf, page, &p.matrix);
    if p.asked.size.is_some() {
        set_boxes(qpdf, page, page, p);
    }
    // A picture of the page as it was.
    page.remove("/Thumb");
    Ok(())
}

/// A page of the output that no page of the base can become: one from another file, or the second
/// use of a page. Printed annotations are drawn into it, so that it owes nothing to form fields.
fn fresh_page(
    base: &Document,
    document: &Document,
    forms: &mut Forms,
    p: &Planned,
) -> Result<QPdfObject, PageFault> {
    let (qpdf, theirs) = (&base.qpdf, &document.qpdf);
    let foreign = p.asked.source != 0;
    let bring = |object: QPdfObject| {
        if foreign {
            qpdf.copy_from_foreign(object)
        } else {
            object
        }
    };
    let source = document
        .dictionary(p.asked.page)
        .map_err(|e| PageFault::Other(e.to_string()))?;
    let mut content = String::new();
    let drawn = qpdf.new_dictionary();
    if let Some(form) = forms.of_page(theirs, source, &p.from.shown)? {
        content += &draw(&p.matrix, CONTENT);
        drawn.set(CONTENT, bring(form));
    }
    let layers = qpdf.new_dictionary();
    for (i, printed) in annots::printed(source).into_iter().enumerate() {
        let name = format!("/TyNote{i}");
        let mut step = draw(&printed.fit.then(&p.matrix), &name);
        if let Some(layer) = printed.layer.filter(|l| l.is_indirect()) {
            let layer_name = format!("/TyLayer{i}");
            step = format!("/OC {layer_name} BDC\n{step}EMC\n");
            layers.set(&layer_name, bring(layer));
        }
        content += &step;
        let appearance = printed.appearance;
        appearance
            .get_dictionary()
            .set("/Subtype", theirs.new_name("/Form"));
        drawn.set(&name, bring(appearance.into()));
    }
    let page = qpdf.new_dictionary();
    page.set("/Type", qpdf.new_name("/Page"));
    set_content(qpdf, &page, &content, &drawn)?;
    if !layers.keys().is_empty() {
        if let Some(resources) = dig::dictionary(&page, "/Resources") {
            resources.set("/Properties", layers);
        }
    }
    if let Some(group) = source.get("/Group") {
        page.set("/Group", bring(group));
    }
    if p.asked.size.is_some() {
        set_boxes(qpdf, &page, source, p);
    } else {
        for key in ["/MediaBox", "/CropBox", "/BleedBox", "/TrimBox", "/ArtBox"] {
            if let Some(rect) = dig::inherited(source, key).and_then(dig::rect) {
                page.set(key, dig::new_rect(qpdf, &rect));
            }
        }
        page.set("/Rotate", qpdf.new_integer(i64::from(p.from.rotate)));
        set_unit(qpdf, &page, &p.from);
    }
    Ok(page.into_indirect())
}

/// The operators that draw a form through a matrix.
fn draw(matrix: &Matrix, name: &str) -> String {
    format!("q {} cm {name} Do Q\n", matrix.operands())
}

fn set_content(
    qpdf: &QPdf,
    page: &QPdfDictionary,
    content: &str,
    drawn: &QPdfDictionary,
) -> Result<(), PageFault> {
    let resources = qpdf.new_dictionary();
    resources.set("/XObject", drawn);
    page.set("/Resources", resources);
    page.set("/Contents", qpdf.new_stream(content.as_bytes()));
    Ok(())
}

/// Gives the page the size asked for. Bleed, trim and art box go where the content goes.
///
/// Where the size stays, the boxes stay as well: a correction moves the print on its sheet, and
/// whoever places pages by their trim box would undo it if the box moved along.
fn set_boxes(qpdf: &QPdf, page: &QPdfDictionary, source: &QPdfDictionary, p: &Planned) {
    let sheet = p.to.shown;
    for key in ["/BleedBox", "/TrimBox", "/ArtBox"] {
        let moved = source
            .get(key)
            .and_then(dig::rect)
            .map(|r| r.moved(&p.matrix));
        match moved.and_then(|r: UserRect| r.intersection(&sheet)) {
            Some(rect) => page.set(key, dig::new_rect(qpdf, &rect)),
            None => page.remove(key),
        }
    }
    page.set("/MediaBox", dig::new_rect(qpdf, &sheet));
    page.set("/CropBox", dig::new_rect(qpdf, &sheet));
    page.set("/Rotate", qpdf.new_integer(0));
    set_unit(qpdf, page, &p.to);
}

fn set_unit(qpdf: &QPdf, page: &QPdfDictionary, space: &PageSpace) {
    if space.user_unit == 1.0 {
        page.remove("/UserUnit");
    } else {
        let unit = crate::space::number(space.user_unit);
        page.set("/UserUnit", qpdf.new_real_from_string(&unit));
    }
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

/// No hidden scaling (ISO 32000-1, table 150).
fn set_preferences(qpdf: &QPdf, job: &CorrectJob) {
    let Some(root) = qpdf.get_root() else { return };
    let preferences =
        dig::dictionary(&root, "/ViewerPreferences").unwrap_or_else(|| qpdf.new_dictionary());
    preferences.set("/PrintScaling", qpdf.new_name("/None"));
    if let Some(duplex) = job.duplex {
        preferences.set("/Duplex", qpdf.new_name(duplex.name()));
    }
    root.set("/ViewerPreferences", preferences);
}
