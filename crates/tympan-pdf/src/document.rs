//! Opening a PDF and saying what is in it.

use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};

use qpdf::{QPdf, QPdfDictionary, QPdfError, QPdfErrorCode, QPdfObjectLike, QPdfObjectType};
use serde::Serialize;
use tympan_sheet::Size;

use crate::crypt;
use crate::dig;
use crate::error::{PageFault, PdfError};
use crate::guard;
use crate::mark::Mark;
use crate::second;
use crate::space::{PageSpace, UserRect};
use crate::tree;
use crate::weight;

/// An open PDF file. The file itself is only ever read.
pub struct Document {
    pub(crate) file: PathBuf,
    pub(crate) qpdf: QPdf,
    pub(crate) pages: Vec<QPdfDictionary>,
    access: Access,
    pages_by_other_reader: Option<usize>,
    bytes: u64,
}

/// What may be done with a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Access {
    /// It is not encrypted.
    Free,
    /// It is encrypted and the owner's password was given.
    Owner,
    /// It is encrypted, and its owner's permission flags hold (ISO 32000-1, table 22).
    User {
        /// It may be printed.
        print: bool,
        /// Its pages may be changed.
        change: bool,
        /// Its pages may be copied into other files.
        copy: bool,
        /// Its pages may be inserted, removed and turned.
        assemble: bool,
    },
}

/// One page, as it is seen.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub struct PageInfo {
    /// The page, counted from 1.
    pub number: usize,
    /// Width and height as seen, mm.
    pub size: Size,
    /// The media box, inherited where the page has none of its own, in user space.
    pub media: UserRect,
    /// How user space is shown.
    pub space: PageSpace,
    /// How many annotations lie on it.
    pub annotations: usize,
    /// Whether it has any content.
    pub has_content: bool,
}

/// Something about a file that its user should know, though it opened.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, thiserror::Error)]
#[serde(rename_all = "snake_case", tag = "code")]
#[non_exhaustive]
pub enum Caution {
    /// The file was damaged and has been repaired.
    #[error("the file is damaged; what could be read was repaired, so look at every page")]
    Repaired,
    /// Two independent readers find different numbers of pages.
    #[error(
        "two readers disagree on the number of pages ({ours} and {theirs}); look for a missing page"
    )]
    PagesDisagree {
        /// What the reader that Tympan works with finds.
        ours: usize,
        /// What the other one finds.
        theirs: usize,
    },
    /// A digital signature does not survive a change.
    #[error("the file is signed; the corrected copy is no longer covered by the signature")]
    Signed,
    /// A form that is drawn by a script, not by its pages.
    #[error("the file is an XFA form; what its pages show may not be what its program shows")]
    Xfa,
}

impl Document {
    /// Opens a file, repairing it where that can be done.
    ///
    /// # Errors
    /// Where it cannot be read, is not a PDF, needs another password or has no pages.
    pub fn open(path: impl AsRef<Path>, password: Option<&str>) -> Result<Self, PdfError> {
        let file = path.as_ref().to_path_buf();
        check_readable(&file)?;
        if guard::is_bomb(&file).map_err(|source| PdfError::Read {
            file: file.clone(),
            source,
        })? {
            let reason = "its table of contents unpacks to more than can be held".to_owned();
            return Err(PdfError::Damaged { file, reason });
        }
        let mut document = Self::open_quietly(&file, password)?;
        let damaged = document.is_damaged();
        document.pages_by_other_reader =
            second::count_pages(&document.file, document.bytes, password, damaged);
        Ok(document)
    }

    /// Opens a file without asking the second reader.
    pub(crate) fn open_quietly(path: &Path, password: Option<&str>) -> Result<Self, PdfError> {
        let file = path.to_path_buf();
        let bytes = check_readable(&file)?;
        let qpdf = read(&file, password)?;
        let damaged = |e: QPdfError| PdfError::Damaged {
            file: file.clone(),
            reason: say(&e),
        };
        // Asked before the library lists the pages: it leaves out what it cannot read.
        let listed = tree::leaves(&qpdf);
        let count = qpdf.get_num_pages().map_err(damaged)?;
        if count == 0 {
            return Err(PdfError::NoPages { file });
        }
        let pages: Vec<_> = (0..count).filter_map(|i| qpdf.get_page(i)).collect();
        if pages.len() != count as usize {
            let reason = "its pages cannot be listed".to_owned();
            return Err(PdfError::Damaged { file, reason });
        }
        if let Some(listed) = listed
            && listed.count > pages.len()
        {
            // A page left out would make fronts of backs from there on.
            let (read, all) = (pages.len(), listed.count);
            let reason = match listed.unreadable {
                Some(page) => format!("page {page} of its {all} cannot be read"),
                None => format!("only {read} of its {all} pages can be read"),
            };
            return Err(PdfError::Damaged { file, reason });
        }
        let access = find_access(&qpdf, password);
        Ok(Self {
            file,
            qpdf,
            pages,
            access,
            pages_by_other_reader: None,
            bytes,
        })
    }

    /// A document that was made in memory, from something that lies in this file.
    pub(crate) fn made(file: &Path, bytes: &[u8]) -> Result<Self, PdfError> {
        let damaged = |e: QPdfError| PdfError::Damaged {
            file: file.to_path_buf(),
            reason: say(&e),
        };
        let qpdf = QPdf::read_from_memory(bytes).map_err(damaged)?;
        Ok(Self {
            pages: qpdf.get_pages().map_err(damaged)?,
            file: file.to_path_buf(),
            qpdf,
            access: Access::Free,
            pages_by_other_reader: None,
            bytes: bytes.len() as u64,
        })
    }

    /// The file's path as it was given.
    pub fn path(&self) -> &Path {
        &self.file
    }

    /// The file's length in bytes.
    pub fn bytes(&self) -> u64 {
        self.bytes
    }

    /// What Tympan noted in this file when it wrote it.
    pub fn mark(&self) -> Mark {
        Mark::read(&self.qpdf)
    }

    /// How many pages it has.
    pub fn page_count(&self) -> usize {
        self.pages.len()
    }

    /// What may be done with it.
    pub fn access(&self) -> Access {
        self.access
    }

    /// The version of PDF it says it is written in, like `1.7`.
    pub fn version(&self) -> String {
        self.qpdf.get_pdf_version()
    }

    /// What its user should know.
    pub fn cautions(&self) -> Vec<Caution> {
        let mut cautions = Vec::new();
        let ours = self.pages.len();
        match self.pages_by_other_reader {
            Some(theirs) if theirs != ours => {
                cautions.push(Caution::PagesDisagree { ours, theirs });
            }
            _ => {}
        }
        if self.is_damaged() {
            cautions.push(Caution::Repaired);
        }
        let form = self
            .qpdf
            .get_root()
            .and_then(|root| dig::dictionary(&root, "/AcroForm"));
        if let Some(form) = form {
            // Bit 1 of SigFlags: signatures exist (ISO 32000-1, table 219).
            if dig::integer(&form, "/SigFlags").is_some_and(|flags| flags & 1 != 0) {
                cautions.push(Caution::Signed);
            }
            if form.has("/XFA") {
                cautions.push(Caution::Xfa);
            }
        }
        cautions
    }

    /// Whether the reader had to repair something so far.
    pub(crate) fn is_damaged(&self) -> bool {
        self.qpdf.more_warnings()
    }

    /// All pages.
    ///
    /// # Errors
    /// Where a page's size makes no sense.
    pub fn pages(&self) -> Result<Vec<PageInfo>, PdfError> {
        (1..=self.pages.len())
            .map(|number| self.page(number))
            .collect()
    }

    /// One page, counted from 1.
    ///
    /// # Errors
    /// Where there is no such page or its size makes no sense.
    pub fn page(&self, number: usize) -> Result<PageInfo, PdfError> {
        let page = self.dictionary(number)?;
        let size_fault = || self.fault(number, PageFault::Size);
        let media = media_box(page).ok_or_else(size_fault)?;
        let space = space_of(page, &media).ok_or_else(size_fault)?;
        let contents = page.get("/Contents").map(|c| c.get_type());
        Ok(PageInfo {
            number,
            size: space.size(),
            media,
            space,
            annotations: dig::array(page, "/Annots").map_or(0, |a| a.len()),
            has_content: matches!(
                contents,
                Some(QPdfObjectType::Stream | QPdfObjectType::Array)
            ),
        })
    }

    /// Whether a page, counted from 1, asks no more of a renderer than honest pages do. Renderers
    /// unpack what a page refers to before anybody can stop them.
    ///
    /// # Errors
    /// Where there is no such page.
    pub fn may_be_drawn(&self, number: usize) -> Result<bool, PdfError> {
        let page = self.dictionary(number)?;
        Ok(weight::of_page(page, &weight::LOOKED_AT).is_some())
    }

    pub(crate) fn dictionary(&self, number: usize) -> Result<&QPdfDictionary, PdfError> {
        number
            .checked_sub(1)
            .and_then(|i| self.pages.get(i))
            .ok_or_else(|| PdfError::NoSuchPage {
                file: self.file.clone(),
                page: number,
                pages: self.pages.len(),
            })
    }

    pub(crate) fn fault(&self, page: usize, reason: PageFault) -> PdfError {
        PdfError::Page {
            file: self.file.clone(),
            page,
            reason,
        }
    }

    /// Refuses where the owner does not allow pages to be changed.
    ///
    /// # Errors
    /// [`PdfError::Forbidden`].
    pub fn may_change(&self) -> Result<(), PdfError> {
        self.permit("its pages to be changed", |change, _, _| change)
    }

    /// Refuses where the owner does not allow pages to be copied into another file.
    ///
    /// # Errors
    /// [`PdfError::Forbidden`].
    pub fn may_copy(&self) -> Result<(), PdfError> {
        self.permit("its pages to be copied into another file", |_, copy, _| {
            copy
        })
    }

    /// Refuses where the owner does not allow pages to be put in another order.
    ///
    /// # Errors
    /// [`PdfError::Forbidden`].
    pub fn may_assemble(&self) -> Result<(), PdfError> {
        self.permit(
            "its pages to be put in another order",
            |change, _, assemble| change || assemble,
        )
    }

    fn permit(
        &self,
        what: &'static str,
        test: impl Fn(bool, bool, bool) -> bool,
    ) -> Result<(), PdfError> {
        match self.access {
            Access::User {
                change,
                copy,
                assemble,
                ..
            } if !test(change, copy, assemble) => Err(PdfError::Forbidden {
                file: self.file.clone(),
                what,
            }),
            _ => Ok(()),
        }
    }
}

/// The file's length, if it can be read and has something of a PDF in it.
fn check_readable(file: &Path) -> Result<u64, PdfError> {
    let fail = |source| PdfError::Read {
        file: file.to_path_buf(),
        source,
    };
    let mut opened = File::open(file).map_err(fail)?;
    let about = opened.metadata().map_err(fail)?;
    if !about.is_file() {
        let what = if about.is_dir() {
            "it is a folder"
        } else {
            "it is not an ordinary file"
        };
        return Err(fail(std::io::Error::other(what)));
    }
    // Some files carry a preamble before the header or have lost their head; a trace of PDF in
    // either end is enough for the reader to try.
    let mut ends = vec![0; 4096];
    let head = read_some(&mut opened, &mut ends).map_err(fail)?;
    let mut is_pdf = contains(&ends[..head], b"%PDF-") || contains(&ends[..head], b" obj");
    if !is_pdf && about.len() > 4096 {
        opened.seek(SeekFrom::End(-4096)).map_err(fail)?;
        let tail = read_some(&mut opened, &mut ends).map_err(fail)?;
        is_pdf = contains(&ends[..tail], b"startxref") || contains(&ends[..tail], b"%%EOF");
    }
    if is_pdf {
        Ok(about.len())
    } else {
        Err(PdfError::NotPdf {
            file: file.to_path_buf(),
        })
    }
}

fn read_some(file: &mut File, buffer: &mut [u8]) -> std::io::Result<usize> {
    let mut filled = 0;
    while filled < buffer.len() {
        match file.read(&mut buffer[filled..])? {
            0 => break,
            n => filled += n,
        }
    }
    Ok(filled)
}

fn contains(haystack: &[u8], needle: &[u8]) -> bool {
    haystack
        .windows(needle.len())
        .any(|window| window == needle)
}

fn read(file: &Path, password: Option<&str>) -> Result<QPdf, PdfError> {
    let opened = match (file.to_str(), password) {
        (Some(path), None) => QPdf::read(path),
        (Some(path), Some(password)) => QPdf::read_encrypted(path, password),
        // The reader takes names in UTF-8 only; others go through memory.
        (None, password) => {
            let fail = |source| PdfError::Read {
                file: file.to_path_buf(),
                source,
            };
            let bytes = std::fs::read(file).map_err(fail)?;
            match password {
                None => QPdf::read_from_memory(bytes),
                Some(password) => QPdf::read_from_memory_encrypted(bytes, password),
            }
        }
    };
    opened.map_err(|e| {
        let file = file.to_path_buf();
        match e.error_code() {
            QPdfErrorCode::InvalidPassword if password.is_none_or(str::is_empty) => {
                PdfError::PasswordNeeded { file }
            }
            QPdfErrorCode::InvalidPassword => PdfError::PasswordWrong { file },
            QPdfErrorCode::Unsupported => PdfError::EncryptionUnknown {
                file,
                reason: say(&e),
            },
            _ => PdfError::Damaged {
                file,
                reason: say(&e),
            },
        }
    })
}

/// What the reader says of an error, without its code.
pub(crate) fn say(error: &QPdfError) -> String {
    match error.description() {
        Some(text) if !text.trim().is_empty() => text.trim().to_owned(),
        _ => format!("{:?}", error.error_code()),
    }
}

fn find_access(qpdf: &QPdf, password: Option<&str>) -> Access {
    if !qpdf.is_encrypted() {
        return Access::Free;
    }
    let encrypt = qpdf
        .get_trailer()
        .and_then(|trailer| dig::dictionary(&trailer, "/Encrypt"));
    let Some(encrypt) = encrypt else {
        return Access::User {
            print: false,
            change: false,
            copy: false,
            assemble: false,
        };
    };
    if crypt::is_owner(qpdf, &encrypt, password.unwrap_or("")) {
        return Access::Owner;
    }
    let flags = dig::integer(&encrypt, "/P").unwrap_or(0);
    let bit = |n: u32| flags >> (n - 1) & 1 == 1;
    let revision = dig::integer(&encrypt, "/R").unwrap_or(0);
    Access::User {
        print: bit(3),
        change: bit(4),
        copy: bit(5),
        assemble: if revision >= 3 { bit(11) } else { bit(4) },
    }
}

/// The media box, or that of US Letter where there is none at all, as readers do.
fn media_box(page: &QPdfDictionary) -> Option<UserRect> {
    let found = dig::inherited(page, "/MediaBox").and_then(dig::rect);
    let media = found.unwrap_or(UserRect::new(0.0, 0.0, 612.0, 792.0));
    // A metre of paper is 2 835 points; beyond 10 km something is wrong with the numbers.
    let sane = |extent: f64| extent > 0.01 && extent < 3e7;
    (sane(media.width()) && sane(media.height())).then_some(media)
}

/// A page turned farther than this, degrees, is turned by mistake.
const MOST_TURNED: f64 = 36_000.0;

fn space_of(page: &QPdfDictionary, media: &UserRect) -> Option<PageSpace> {
    let crop = dig::inherited(page, "/CropBox").and_then(dig::rect);
    let shown = crop
        .and_then(|crop| crop.intersection(media))
        .unwrap_or(*media);
    let turn = dig::inherited(page, "/Rotate")
        .and_then(dig::as_number)
        .unwrap_or(0.0);
    // Readers do not agree on what a number beyond their integers means.
    if turn.abs() > MOST_TURNED {
        return None;
    }
    let turn = (turn.rem_euclid(360.0)) as u16;
    let rotate = if turn.is_multiple_of(90) { turn } else { 0 };
    let unit = page
        .get("/UserUnit")
        .and_then(dig::as_number)
        .unwrap_or(1.0);
    let user_unit = if unit > 0.0 { unit } else { 1.0 };
    let space = PageSpace {
        shown,
        rotate,
        user_unit,
    };
    let size = space.size();
    (size.w > 0.1 && size.h > 0.1 && size.w < 1e6 && size.h < 1e6).then_some(space)
}
