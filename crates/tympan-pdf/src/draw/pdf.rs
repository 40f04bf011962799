//! Drawings as a PDF file.

use pdf_writer::{Filter, Finish, Name, Pdf, Rect, Ref, TextStr};
use tympan_sheet::BindingEdge;
use tympan_sheet::drawing::Drawing;

use super::DrawError;
use super::content::{content, points_per_mm};
use super::embed::Used;
use crate::Duplex;

/// What the file asks of the program that prints it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Meta {
    /// The document's title.
    pub title: String,
    /// How the two sides should be printed, if the file has an opinion.
    pub duplex: Option<Duplex>,
    /// Ask for no scaling (`/PrintScaling /None`). Not every program obeys.
    pub print_scaling_none: bool,
}

impl Meta {
    /// A title, no scaling, and nothing said about the sides.
    pub fn new(title: impl Into<String>) -> Self {
        Self {
            title: title.into(),
            duplex: None,
            print_scaling_none: true,
        }
    }

    /// The same with these sides asked for.
    pub fn duplex(self, duplex: impl Into<Duplex>) -> Self {
        Self {
            duplex: Some(duplex.into()),
            ..self
        }
    }
}

impl From<BindingEdge> for Duplex {
    fn from(edge: BindingEdge) -> Self {
        match edge {
            BindingEdge::Long => Self::LongEdge,
            BindingEdge::Short => Self::ShortEdge,
        }
    }
}

/// Larger than any page may be, in default units (ISO 32000-1, annex C, table C.1).
const LARGEST_PAGE: f64 = 14_400.0;

/// Writes the drawings as the pages of a PDF 1.7 file, at true size. The same drawings always
/// give the same bytes: there is no date and no random id in them.
///
/// # Errors
/// Anything that cannot be painted as it was asked for: see [`DrawError`].
pub fn write(pages: &[Drawing], meta: &Meta) -> Result<Vec<u8>, DrawError> {
    if pages.is_empty() {
        return Err(DrawError::NoPages);
    }
    let mut used = Used::new();
    let mut contents = Vec::with_capacity(pages.len());
    for (drawing, page) in pages.iter().zip(1..) {
        let (w, h) = (drawing.size.w, drawing.size.h);
        let allowed = |side: f64| side > 0.0 && side * points_per_mm() <= LARGEST_PAGE;
        if !(allowed(w) && allowed(h)) {
            return Err(DrawError::PageSize { page, w, h });
        }
        contents.push(compress(&content(drawing, page, &mut used)?));
    }

    let mut last = 0;
    let mut next = || {
        last += 1;
        Ref::new(last)
    };
    let (catalog, info, tree) = (next(), next(), next());
    let ids: Vec<(Ref, Ref)> = pages.iter().map(|_| (next(), next())).collect();

    let mut pdf = Pdf::new();
    pdf.set_version(1, 7);
    write_catalog(&mut pdf, catalog, tree, meta);
    pdf.document_info(info)
        .title(TextStr(&meta.title))
        .producer(TextStr("Tympan"));
    pdf.pages(tree)
        .kids(ids.iter().map(|id| id.0))
        .count(pages.len() as i32);

    let fonts = used.embed(&mut pdf, &mut next)?;
    for ((drawing, (page_id, content_id)), content) in pages.iter().zip(ids).zip(&contents) {
        let k = points_per_mm();
        let mut page = pdf.page(page_id);
        page.parent(tree)
            .media_box(Rect::new(
                0.0,
                0.0,
                (drawing.size.w * k) as f32,
                (drawing.size.h * k) as f32,
            ))
            .contents(content_id);
        let mut resources = page.resources();
        if !fonts.is_empty() {
            let mut dict = resources.fonts();
            for font in &fonts {
                dict.pair(Name(font.name), font.font);
            }
        }
        resources.finish();
        page.finish();
        pdf.stream(content_id, content).filter(Filter::FlateDecode);
    }
    Ok(pdf.finish())
}

fn write_catalog(pdf: &mut Pdf, id: Ref, tree: Ref, meta: &Meta) {
    let mut catalog = pdf.catalog(id);
    catalog.pages(tree).lang(TextStr("en-GB"));
    let mut preferences = catalog.viewer_preferences();
    preferences.display_doc_title(true);
    if meta.print_scaling_none {
        preferences.pair(Name(b"PrintScaling"), Name(b"None"));
    }
    if let Some(duplex) = meta.duplex {
        let name = duplex.name().trim_start_matches('/');
        preferences.pair(Name(b"Duplex"), Name(name.as_bytes()));
    }
}

/// Deflates a stream for `FlateDecode`.
pub(super) fn compress(data: &[u8]) -> Vec<u8> {
    const LEVEL: u8 = 6;
    miniz_oxide::deflate::compress_to_vec_zlib(data, LEVEL)
}
