//! Which objects of a file have been changed.

use std::cell::RefCell;
use std::collections::BTreeSet;

use qpdf::QPdfObjectLike;

use crate::dig::{self, Id};

/// The indirect objects that were changed where they stand. New objects need no mention: they are
/// found through the changed ones that refer to them.
#[derive(Default)]
pub(crate) struct Changes {
    touched: RefCell<BTreeSet<Id>>,
}

impl Changes {
    /// Notes that an object was changed, or is about to be. Direct objects belong to another one,
    /// which is noted by whoever changes them.
    pub(crate) fn touch(&self, object: &impl QPdfObjectLike) {
        let id = dig::id(object);
        if id != (0, 0) {
            self.touched.borrow_mut().insert(id);
        }
    }

    /// All that were changed, by number.
    pub(crate) fn all(&self) -> Vec<Id> {
        self.touched.borrow().iter().copied().collect()
    }
}
