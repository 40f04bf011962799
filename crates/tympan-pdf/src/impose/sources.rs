//! Files of art, each opened once.

use std::collections::HashMap;
use std::fmt;
use std::path::{Path, PathBuf};

use tympan_sheet::{Page, Point, Rect, Size};

use super::picture::{self, Kind, Picture, PictureFault, ReadError};
use super::{SourceError, svg};
use crate::dig;
use crate::document::Document;
use crate::error::PdfError;

/// The files that a job takes its arts from.
#[derive(Default)]
pub struct Sources {
    pub(super) files: Vec<SourceFile>,
    known: HashMap<PathBuf, SourceId>,
}

/// One of the [`Sources`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct SourceId(pub(super) usize);

pub(super) struct SourceFile {
    pub(super) file: PathBuf,
    pub(super) password: Option<String>,
    pub(super) content: Content,
}

pub(super) enum Content {
    Pdf(Box<Document>),
    /// A page made of an SVG file, and the bytes that it was read from.
    Svg(Box<Document>, Vec<u8>),
    Picture(Box<Picture>),
}

/// A page of a source, or a picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SourcePage {
    /// Its size as seen, mm: a picture's at the resolution that it states, else at 300 pixels per
    /// inch.
    pub size: Size,
    /// Whether the size is the file's own. Cameras and many programs state 72 or 96 pixels per
    /// inch without meaning it, so that a picture's proportions are surer than its size.
    pub states_its_size: bool,
    /// Pixels across and from top to bottom as seen, for pictures.
    pub pixels: Option<[u32; 2]>,
    /// The page's trim box as seen, where it has one of its own.
    pub trim: Option<Rect<Page>>,
    /// The page's bleed box as seen, where it has one of its own.
    pub bleed: Option<Rect<Page>>,
}

impl SourcePage {
    /// Pixels per inch if the whole of it is made this large; the smaller of both directions.
    /// `None` for vectors.
    pub fn pixels_per_inch(&self, printed: Size) -> Option<f64> {
        let [w, h] = self.pixels?.map(f64::from);
        Some(25.4 * (w / printed.w).min(h / printed.h))
    }
}

impl fmt::Debug for Sources {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_list()
            .entries(self.files.iter().map(|s| &s.file))
            .finish()
    }
}

impl Sources {
    /// None yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Opens a file of art: a PDF, PNG, JPEG, WebP, TIFF or SVG, told by what is in it. A file that
    /// is open already is not opened again.
    ///
    /// # Errors
    /// Where it cannot be read, is none of these, or is damaged or locked.
    pub fn add(&mut self, file: &Path, password: Option<&str>) -> Result<SourceId, SourceError> {
        if let Some(id) = self.known.get(file) {
            return Ok(*id);
        }
        let read = |source| SourceError::Read {
            file: file.to_path_buf(),
            source,
        };
        let fault = |fault| SourceError::Picture {
            file: file.to_path_buf(),
            fault,
        };
        if std::fs::metadata(file).map_err(read)?.is_dir() {
            return Err(read(std::io::Error::other("it is a folder")));
        }
        let failed = |e: ReadError| match e {
            ReadError::Io(e) => read(e),
            ReadError::Fault(f) => fault(f),
        };
        let content = match picture::kind(file).map_err(read)? {
            Some(Kind::Svg) => {
                let bytes = svg::to_pdf(file).map_err(failed)?;
                let document = Document::made(file, &bytes)?;
                Content::Svg(Box::new(document), bytes)
            }
            Some(Kind::Pdf) => Content::Pdf(Box::new(open_pdf(file, password)?)),
            Some(kind) => Content::Picture(Box::new(Picture::open(file, kind).map_err(failed)?)),
            // Damaged PDF files may have lost their first line.
            None => match open_pdf(file, password) {
                Ok(document) => Content::Pdf(Box::new(document)),
                Err(PdfError::NotPdf { .. }) => return Err(fault(PictureFault::UnknownKind)),
                Err(e) => return Err(e.into()),
            },
        };
        let id = SourceId(self.files.len());
        self.files.push(SourceFile {
            file: file.to_path_buf(),
            password: password.map(str::to_owned),
            content,
        });
        self.known.insert(file.to_path_buf(), id);
        Ok(id)
    }

    /// The file's path as it was given.
    pub fn path(&self, source: SourceId) -> &Path {
        &self.files[source.0].file
    }

    /// The files whose backs were moved for a printer when Tympan wrote them.
    pub fn corrected(&self) -> impl Iterator<Item = &Path> {
        let is_corrected = |file: &&SourceFile| match &file.content {
            Content::Pdf(document) => document.mark().corrected,
            Content::Svg(..) | Content::Picture(_) => false,
        };
        let files = self.files.iter().filter(is_corrected);
        files.map(|file| file.file.as_path())
    }

    /// How many pages a source has; a picture has one.
    pub fn page_count(&self, source: SourceId) -> usize {
        match &self.files[source.0].content {
            Content::Pdf(document) | Content::Svg(document, _) => document.page_count(),
            Content::Picture(_) => 1,
        }
    }

    /// One page, counted from 1.
    ///
    /// # Errors
    /// Where there is no such page or its size makes no sense.
    pub fn page(&self, source: SourceId, page: usize) -> Result<SourcePage, PdfError> {
        let file = &self.files[source.0];
        match &file.content {
            Content::Picture(picture) if page == 1 => Ok(SourcePage {
                size: picture.size(),
                states_its_size: picture.states_its_size(),
                pixels: Some(picture.pixels()),
                trim: None,
                bleed: None,
            }),
            Content::Picture(_) => Err(PdfError::NoSuchPage {
                file: file.file.clone(),
                page,
                pages: 1,
            }),
            Content::Pdf(document) | Content::Svg(document, _) => {
                let space = document.page(page)?.space;
                let dictionary = document.dictionary(page)?;
                let seen = |key: &str| {
                    let rect = dictionary.get(key).and_then(dig::rect)?;
                    let moved = rect.moved(&space.to_seen());
                    let corner = Point::new(moved.x0, moved.y0);
                    let size = Size::new(moved.width(), moved.height());
                    (size.w > 0.0 && size.h > 0.0).then(|| Rect::at(corner, size))
                };
                Ok(SourcePage {
                    size: space.size(),
                    states_its_size: true,
                    pixels: None,
                    trim: seen("/TrimBox"),
                    bleed: seen("/BleedBox"),
                })
            }
        }
    }
}

/// Opens a PDF whose owner allows its pages to be used in another one.
fn open_pdf(file: &Path, password: Option<&str>) -> Result<Document, PdfError> {
    let document = Document::open(file, password)?;
    document.may_copy()?;
    document.may_change()?;
    Ok(document)
}
