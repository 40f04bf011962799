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

/// What the page's own content is called among the page's resources, if nothing else is.
const CONTENT: &str = "TyPage";

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
    let mut content = Content::over(qpdf, dig::inherited(page, "/Resources"));
    if let Some(form) = form {
        if form.is_new {
            structure::follow(qpdf, page, &form.object, changes);
        }
        content.draw(&p.matrix, CONTENT, form.object);
    }
    content.set(page);
    annotations.move_all(qpdf, page, &p.matrix, changes);
    if p.asked.size.is_some() {
        set_boxes(qpdf, page, page, p);
    }
    // A picture of the page as it was.
    page.remove("/Thumb");
    Ok(())
}

/// A page of the output that no page of the base can become: one from another file, or the second
/// use of a page. Printed annotations are drawn into it, so that it owes nothing to form fields;
/// `over` is drawn last.
pub(crate) fn fresh_page(
    base: &Document,
    document: &Document,
    forms: &mut Forms,
    p: &Planned,
    over: Option<(&Matrix, QPdfObject)>,
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
    let resources = dig::inherited(source, "/Resources").map(|r| {
        // Only an indirect object can be brought from one file to another.
        bring(if foreign && !r.is_indirect() {
            r.into_indirect()
        } else {
            r
        })
    });
    let mut content = Content::over(qpdf, resources);
    if let Some(form) = forms.of_page(theirs, source, &p.from.shown)? {
        content.draw(&p.matrix, CONTENT, bring(form.object));
    }
    for printed in annots::printed(source) {
        let layer = printed.layer.filter(|l| l.is_indirect()).map(bring);
        let about = printed.appearance.get_dictionary();
        about.set("/Subtype", theirs.new_name("/Form"));
        let matrix = printed.fit.then(&p.matrix);
        content.draw_in(layer, &matrix, "TyNote", bring(printed.appearance.into()));
    }
    if let Some((matrix, form)) = over {
        content.draw(matrix, "TyOver", form);
    }
    let page = qpdf.new_dictionary();
    page.set("/Type", qpdf.new_name("/Page"));
    content.set(&page);
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

/// The content of a page of the output: forms drawn through matrices.
///
/// The page's resources stay within reach, because a form without resources of its own takes the
/// page's (ISO 32000-1, 7.8.3).
struct Content<'a> {
    qpdf: &'a QPdf,
    operators: String,
    resources: QPdfDictionary,
    drawn: QPdfDictionary,
}

impl<'a> Content<'a> {
    fn over(qpdf: &'a QPdf, resources: Option<QPdfObject>) -> Self {
        let resources = match resources.and_then(dig::as_dictionary) {
            Some(old) => dig::shallow_copy(qpdf, &old),
            None => qpdf.new_dictionary(),
        };
        let drawn = match dig::dictionary(&resources, "/XObject") {
            Some(old) => dig::shallow_copy(qpdf, &old),
            None => qpdf.new_dictionary(),
        };
        Self {
            qpdf,
            operators: String::new(),
            resources,
            drawn,
        }
    }

    fn draw(&mut self, matrix: &Matrix, name: &str, form: QPdfObject) {
        let name = free_name(&self.drawn, name);
        self.operators += &draw(matrix, &name);
        self.drawn.set(&name, form);
    }

    /// Draws a form that belongs to a layer.
    fn draw_in(
        &mut self,
        layer: Option<QPdfObject>,
        matrix: &Matrix,
        name: &str,
        form: QPdfObject,
    ) {
        let Some(layer) = layer else {
            return self.draw(matrix, name, form);
        };
        let layers = match dig::dictionary(&self.resources, "/Properties") {
            Some(old) => dig::shallow_copy(self.qpdf, &old),
            None => self.qpdf.new_dictionary(),
        };
        let property = free_name(&layers, "TyLayer");
        layers.set(&property, layer);
        self.resources.set("/Properties", layers);
        self.operators += &format!("/OC {property} BDC\n");
        self.draw(matrix, name, form);
        self.operators += "EMC\n";
    }

    fn set(self, page: &QPdfDictionary) {
        self.resources.set("/XObject", self.drawn);
        page.set("/Resources", self.resources);
        page.set("/Contents", self.qpdf.new_stream(self.operators.as_bytes()));
    }
}

/// The name with its slash, or with the first number behind it that makes it new.
fn free_name(among: &QPdfDictionary, name: &str) -> String {
    let plain = format!("/{name}");
    if !among.has(&plain) {
        return plain;
    }
    let numbered = (2..)
        .map(|n| format!("{plain}{n}"))
        .find(|numbered| !among.has(numbered));
    numbered.unwrap_or(plain)
}

/// The operators that draw a form through a matrix.
fn draw(matrix: &Matrix, name: &str) -> String {
    format!("q {} cm {name} Do Q\n", matrix.operands())
}

/// Whether a page's content is a form drawn through this matrix, and the form is there.
pub(crate) fn is_drawn(page: &QPdfDictionary, matrix: &Matrix) -> Option<bool> {
    let objects = dig::dictionary(&dig::dictionary(page, "/Resources")?, "/XObject")?;
    let content = dig::as_stream(page.get("/Contents")?)?;
    let content = content
        .get_data(qpdf::StreamDecodeLevel::Generalized)
        .ok()?;
    if content.is_empty() {
        // A page without content stays one.
        return Some(true);
    }
    let content = String::from_utf8_lossy(&content).into_owned();
    let name = content.split_ascii_whitespace().nth_back(2)?;
    let form = dig::as_stream(objects.get(name)?)?;
    Some(content == draw(matrix, name) && form.get_dictionary().has("/BBox"))
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
