//! Optional content of files whose pages are copied into another one (ISO 32000-1, 8.11.4).
//!
//! A hidden layer is hidden by the catalogue of its file, not by its page; copied without it, the
//! layer would show.

use std::collections::HashSet;

use qpdf::{QPdf, QPdfArray, QPdfDictionary, QPdfObject, QPdfObjectLike};

use crate::dig::{self, Id};

/// Makes the layers of `from` known in `to`, switched on and off as they were.
pub(crate) fn merge(to: &QPdf, from: &QPdf) {
    let theirs = from
        .get_root()
        .and_then(|root| dig::dictionary(&root, "/OCProperties"));
    let (Some(theirs), Some(root)) = (theirs, to.get_root()) else {
        return;
    };
    let Some(groups) = dig::array(&theirs, "/OCGs") else {
        return;
    };
    let hidden = hidden_groups(&theirs, &groups);
    let ours = dig::dictionary(&root, "/OCProperties").unwrap_or_else(|| {
        let new = to.new_dictionary();
        new.set("/OCGs", to.new_array());
        new.set("/D", to.new_dictionary());
        root.set("/OCProperties", &new);
        new
    });
    let state = child(to, &ours, "/D");
    let all = list(to, &ours, "/OCGs");
    let order = list(to, &state, "/Order");
    // Where everything is off to begin with, what is on is listed; elsewhere what is off.
    let off_by_default = dig::name(&state, "/BaseState").is_some_and(|s| s == "/OFF");
    let exceptions = list(to, &state, if off_by_default { "/ON" } else { "/OFF" });
    for group in groups.iter().filter(QPdfObjectLike::is_indirect) {
        let is_hidden = hidden.contains(&dig::id(&group));
        let copy = to.copy_from_foreign(group);
        all.push(&copy);
        order.push(&copy);
        if is_hidden != off_by_default {
            exceptions.push(&copy);
        }
    }
    merge_usage(to, &state, &theirs);
}

/// What switches layers by themselves when the file is printed or viewed.
fn merge_usage(to: &QPdf, state: &QPdfDictionary, theirs: &QPdfDictionary) {
    let usage = dig::dictionary(theirs, "/D").and_then(|d| dig::array(&d, "/AS"));
    let Some(usage) = usage else { return };
    let ours = list(to, state, "/AS");
    for one in usage.iter() {
        let one: QPdfObject = if one.is_indirect() {
            one
        } else {
            one.into_indirect()
        };
        ours.push(to.copy_from_foreign(one));
    }
}

fn hidden_groups(properties: &QPdfDictionary, groups: &QPdfArray) -> HashSet<Id> {
    let ids = |array: Option<QPdfArray>| -> HashSet<Id> {
        array
            .map(|a| a.iter().map(|g| dig::id(&g)).collect())
            .unwrap_or_default()
    };
    let Some(state) = dig::dictionary(properties, "/D") else {
        return HashSet::new();
    };
    if dig::name(&state, "/BaseState").is_some_and(|s| s == "/OFF") {
        let on = ids(dig::array(&state, "/ON"));
        return groups
            .iter()
            .map(|g| dig::id(&g))
            .filter(|id| !on.contains(id))
            .collect();
    }
    ids(dig::array(&state, "/OFF"))
}

fn child(qpdf: &QPdf, parent: &QPdfDictionary, key: &str) -> QPdfDictionary {
    dig::dictionary(parent, key).unwrap_or_else(|| {
        let new = qpdf.new_dictionary();
        parent.set(key, &new);
        new
    })
}

fn list(qpdf: &QPdf, parent: &QPdfDictionary, key: &str) -> QPdfArray {
    dig::array(parent, key).unwrap_or_else(|| {
        let new = qpdf.new_array();
        parent.set(key, &new);
        new
    })
}
