//! Pages of the output: a page changed where it stands, or a new one.

use qpdf::{QPdf, QPdfDictionary, QPdfObject, QPdfObjectLike};

use super::Planned;
use crate::annots::{self, Annotations};
use crate::changes::Changes;
use crate::dig;
use crate::document::Document;
use crate::error::PageFault;
use crate::form::Forms;
use crate::space::{Matrix, PageSpace, UserRect};
use crate::structure;

/// The name that the page's own content goes by among the page's new resources.
pub(crate) const CONTENT: &str = "/TyPage";

/// Changes a page where it stands.
pub(crate) fn move_in_place(
    qpdf: &QPdf,
    page: &QPdfDictionary,
    forms: &mut Forms,
    annotations: &mut Annotations,
    changes: &Changes,
    p: &Planned,
) -> Result<(), PageFault> {
    let form = forms.of_page(qpdf, page, &p.from.shown)?;
    changes.touch(page);
    let mut content = String::new();
    let drawn = qpdf.new_dictionary();
    if let Some(form) = form {
        content = draw(&p.matrix, CONTENT);
        if form.is_new {
            structure::follow(qpdf, page, &form.object, changes);
        }
        drawn.set(CONTENT, form.object);
    }
    set_content(qpdf, page, &content, &drawn)?;
    annotations.move_all(qpdf, page, &p.matrix, changes);
    if p.asked.size.is_some() {
        set_boxes(qpdf, page, page, p);
    }
    // A picture of the page as it was.
    page.remove("/Thumb");
    Ok(())
}

/// A page of the output that no page of the base can become: one from another file, or the second
/// use of a page. Printed annotations are drawn into it, so that it owes nothing to form fields.
pub(crate) fn fresh_page(
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
        drawn.set(CONTENT, bring(form.object));
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
pub(crate) fn draw(matrix: &Matrix, name: &str) -> String {
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

/// No hidden scaling (ISO 32000-1, table 150).
pub(crate) fn set_preferences(qpdf: &QPdf, duplex: Option<super::Duplex>, changes: &Changes) {
    let Some(root) = qpdf.get_root() else { return };
    let preferences =
        dig::dictionary(&root, "/ViewerPreferences").unwrap_or_else(|| qpdf.new_dictionary());
    preferences.set("/PrintScaling", qpdf.new_name("/None"));
    if let Some(duplex) = duplex {
        preferences.set("/Duplex", qpdf.new_name(duplex.name()));
    }
    changes.touch(&root);
    changes.touch(&preferences);
    root.set("/ViewerPreferences", preferences);
}
