//! The page tree as the file has it, before anything in it is repaired.

use std::collections::HashSet;

use qpdf::{QPdf, QPdfArray, QPdfObject, QPdfObjectLike};

use crate::dig::{self, Id};

/// More kids than this are not counted.
const MOST: usize = 200_000;

/// The leaves of a page tree, which are its pages.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Leaves {
    /// How many it lists, readable or not.
    pub(crate) count: usize,
    /// The first one that is no dictionary, counted from 1.
    pub(crate) unreadable: Option<usize>,
}

/// What the page tree lists; `None` where it cannot be followed.
pub(crate) fn leaves(qpdf: &QPdf) -> Option<Leaves> {
    let root = dig::dictionary(&qpdf.get_root()?, "/Pages")?;
    let mut seen: HashSet<Id> = HashSet::new();
    let mut waiting = last_first(&dig::array(&root, "/Kids")?);
    let mut leaves = Leaves::default();
    let mut looked = 0;
    while let Some(kid) = waiting.pop() {
        looked += 1;
        if looked > MOST {
            return None;
        }
        let id = dig::id(&kid);
        let is_indirect = kid.is_indirect();
        let node = dig::as_dictionary(kid);
        match node.as_ref().and_then(|node| dig::array(node, "/Kids")) {
            // Going round in a circle adds nothing.
            Some(kids) if !is_indirect || seen.insert(id) => waiting.extend(last_first(&kids)),
            Some(_) => {}
            None => {
                leaves.count += 1;
                if node.is_none() {
                    leaves.unreadable.get_or_insert(leaves.count);
                }
            }
        }
    }
    Some(leaves)
}

/// Kids in the order in which a stack gives them back as the tree has them.
fn last_first(kids: &QPdfArray) -> Vec<QPdfObject> {
    let mut kids: Vec<_> = kids.iter().collect();
    kids.reverse();
    kids
}
