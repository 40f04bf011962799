//! A first look at files: how many pages, how large, what to know.

use std::path::PathBuf;

use serde::{Deserialize, Serialize};
use tympan_pdf::Document;
use tympan_sheet::Size;

use tympan_store::Store;

use super::coefficients;
use super::work::Learnt;
use crate::measure;
use crate::on_page::on_page;
use crate::refusal::Refusal;
use crate::report::{Design, report};
use crate::words::capital;

/// What a first look finds.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Looked {
    /// The sizes of all pages as seen, file by file, mm.
    pub pages: Vec<Vec<Size>>,
    /// What their owner should know about the files.
    pub cautions: Vec<String>,
}

/// What came of a first look.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Look {
    /// The files open.
    Open(Looked),
    /// They open only with a password, or with another one than was given.
    Locked,
}

/// Looks at files.
///
/// # Errors
/// A [`Refusal`] where one of them cannot be read, is no PDF or holds no page.
pub fn look(files: &[PathBuf], password: Option<&str>) -> Result<Look, Refusal> {
    let mut looked = Looked {
        pages: Vec::new(),
        cautions: Vec::new(),
    };
    for file in files {
        let document = match Document::open(file, password) {
            Err(error) if error.is_locked() => return Ok(Look::Locked),
            other => other?,
        };
        let sizes: Vec<Size> = document.pages()?.iter().map(|page| page.size).collect();
        looked.pages.push(sizes);
        if document.may_change().is_err() {
            looked.cautions.push(
                "The owner of this file does not allow its pages to be changed: it can be looked \
                 at, but not saved without the owner's password."
                    .to_owned(),
            );
        }
        looked.cautions.extend(
            document
                .cautions()
                .iter()
                .map(|caution| format!("{}.", capital(&on_page(&caution.to_string())))),
        );
    }
    Ok(Look::Open(looked))
}

/// What a set-up teaches.
///
/// # Errors
/// A [`Refusal`] where there is no such set-up or it has no readings yet.
pub fn learn(store: &Store, name: &str) -> Result<Learnt, Refusal> {
    let setup = store.set_up_named(name)?;
    let learnt = measure::learn(store, &setup).map_err(|refusal| Refusal {
        hint: Some("measure it first, or say what you see on a print".to_owned()),
        ..refusal
    })?;
    let report = report(&setup, &learnt, Design::default())?;
    Ok(Learnt {
        name: setup.name.clone(),
        field: coefficients(&learnt.fit.field()),
        sheet: setup.paper.size(),
        flip: setup.flip,
        answer: report.in_words.answer,
    })
}
