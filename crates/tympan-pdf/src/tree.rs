//! The page tree as the file has it, before anything in it is repaired.

use std::collections::HashSet;

use qpdf::{QPdf, QPdfObject, QPdfObjectLike};

use crate::dig::{self, Id};

/// More kids than this are not counted.
const MOST: usize = 200_000;

/// How many leaves the page tree lists, readable or not; `None` where it cannot be followed.
pub(crate) fn leaves(qpdf: &QPdf) -> Option<usize> {
    let root = dig::dictionary(&qpdf.get_root()?, "/Pages")?;
    let mut seen: HashSet<Id> = HashSet::new();
    let mut waiting: Vec<QPdfObject> = dig::array(&root, "/Kids")?.iter().collect();
    let mut count = 0;
    let mut looked = 0;
    while let Some(kid) = waiting.pop() {
        looked += 1;
        if looked > MOST {
            return None;
        }
        let id = dig::id(&kid);
        let kids = dig::as_dictionary(kid.clone()).and_then(|node| dig::array(&node, "/Kids"));
        match kids {
            // Going round in a circle adds nothing.
            Some(kids) if !kid.is_indirect() || seen.insert(id) => waiting.extend(kids.iter()),
            Some(_) => {}
            None => count += 1,
        }
    }
    Some(count)
}
