//! Tagged content: where the marks of a page's content went (ISO 32000-1, 14.7.4).
//!
//! A structure element names pieces of a page's content by their marked-content numbers. Once the
//! content stands in a form, the numbers are the form's, and each has to be said with the form's
//! name, or the reading order of the page is lost.

use qpdf::{QPdf, QPdfArray, QPdfDictionary, QPdfObject, QPdfObjectLike, QPdfObjectType};

use crate::changes::Changes;
use crate::dig;

/// The most nodes of the parent tree looked through.
const MAX_NODES: usize = 10_000;

/// Carries the page's `StructParents` to its form, and tells the structure elements.
///
/// Only for a form that is drawn on one page: the marks of a form drawn twice belong to neither.
pub(crate) fn follow(qpdf: &QPdf, page: &QPdfDictionary, form: &QPdfObject, changes: &Changes) {
    let Some(key) = dig::integer(page, "/StructParents") else {
        return;
    };
    let about = dig::as_stream(form.clone()).map(|stream| stream.get_dictionary());
    let elements = parent_tree(qpdf)
        .and_then(|tree| look_up(&tree, key))
        .and_then(dig::as_array);
    let (Some(about), Some(elements)) = (about, elements) else {
        return;
    };
    let page_id = dig::id(page);
    let mut done = std::collections::HashSet::new();
    for element in elements.iter().filter_map(dig::as_dictionary) {
        if done.insert(dig::id(&element)) {
            changes.touch(&element);
            rename_marks(qpdf, &element, page, page_id, form);
        }
    }
    about.set("/StructParents", qpdf.new_integer(key));
    page.remove("/StructParents");
}

fn parent_tree(qpdf: &QPdf) -> Option<QPdfDictionary> {
    let root = qpdf.get_root()?;
    dig::dictionary(&dig::dictionary(&root, "/StructTreeRoot")?, "/ParentTree")
}

/// Looks a number up in a number tree (7.9.7).
fn look_up(tree: &QPdfDictionary, key: i64) -> Option<QPdfObject> {
    let mut waiting = vec![tree.as_object().clone()];
    for _ in 0..MAX_NODES {
        let node = dig::as_dictionary(waiting.pop()?)?;
        if let Some(pairs) = dig::array(&node, "/Nums") {
            for i in (0..pairs.len()).step_by(2) {
                if pairs.get(i).and_then(dig::as_number) == Some(key as f64) {
                    return pairs.get(i + 1);
                }
            }
        }
        for kid in dig::array(&node, "/Kids")
            .iter()
            .flat_map(|kids| kids.iter())
        {
            let limits = dig::as_dictionary(kid.clone())
                .and_then(|kid| dig::array(&kid, "/Limits"))
                .and_then(|limits| dig::numbers(&limits));
            let outside =
                limits.is_some_and(|l| l.len() == 2 && !(l[0]..=l[1]).contains(&(key as f64)));
            if !outside {
                waiting.push(kid);
            }
        }
    }
    None
}

/// Writes the element's marks on this page as marked-content references to the form (table 324).
fn rename_marks(
    qpdf: &QPdf,
    element: &QPdfDictionary,
    page: &QPdfDictionary,
    page_id: dig::Id,
    form: &QPdfObject,
) {
    let Some(kids) = element.get("/K") else {
        return;
    };
    let own_page = element.get("/Pg").map(|pg| dig::id(&pg));
    let renamed = |kid: QPdfObject| -> QPdfObject {
        match kid.get_type() {
            QPdfObjectType::Integer if own_page == Some(page_id) => {
                let reference = qpdf.new_dictionary();
                reference.set("/Type", qpdf.new_name("/MCR"));
                reference.set("/Pg", page);
                reference.set("/Stm", form);
                reference.set("/MCID", kid);
                reference.into()
            }
            QPdfObjectType::Dictionary => {
                let reference: QPdfDictionary = kid.clone().into();
                let is_mark = dig::name(&reference, "/Type").is_some_and(|t| t == "/MCR");
                let its_page = reference.get("/Pg").map(|pg| dig::id(&pg)).or(own_page);
                if is_mark && its_page == Some(page_id) && !reference.has("/Stm") {
                    reference.set("/Stm", form);
                }
                kid
            }
            _ => kid,
        }
    };
    match dig::as_array(kids.clone()) {
        Some(array) => {
            let new: Vec<_> = array.iter().map(renamed).collect();
            let new: QPdfArray = qpdf.new_array_from(new);
            element.set("/K", new);
        }
        None => element.set("/K", renamed(kids)),
    }
}
