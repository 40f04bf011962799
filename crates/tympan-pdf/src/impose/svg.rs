//! SVG as vectors of a PDF.

use std::path::Path;
use std::sync::{Arc, OnceLock};

use krilla::Document;
use krilla::page::PageSettings;
use krilla_svg::{SurfaceExt, SvgSettings};
use usvg::fontdb::Database;
use usvg::{ImageHrefResolver, Options, Tree};

use super::picture::{PictureFault, ReadError};

/// The longest SVG file that is read.
const MAX: u64 = 64 << 20;

/// Points in a pixel of CSS, of which there are 96 to the inch.
const POINTS_PER_PIXEL: f32 = 72.0 / 96.0;

/// A PDF of one page, as large as the picture says.
///
/// Words are set in the faces that this computer has. Pictures that the file refers to are taken
/// only from its own folder and those in it.
pub(super) fn to_pdf(file: &Path) -> Result<Vec<u8>, ReadError> {
    if std::fs::metadata(file)?.len() > MAX {
        return Err(PictureFault::Damaged("it is far too long".to_owned()).into());
    }
    let bytes = std::fs::read(file)?;
    let damaged = |what: String| ReadError::from(PictureFault::Damaged(what));
    let tree = parse(file, &bytes).map_err(|e| damaged(e.to_string()))?;
    let size = tree.size();
    let (w, h) = (
        size.width() * POINTS_PER_PIXEL,
        size.height() * POINTS_PER_PIXEL,
    );
    let settings =
        PageSettings::from_wh(w, h).ok_or_else(|| damaged("its size makes no sense".to_owned()))?;
    let points =
        krilla::geom::Size::from_wh(w, h).ok_or_else(|| damaged("it has no size".to_owned()))?;
    let mut document = Document::new();
    let mut page = document.start_page_with(settings);
    let mut surface = page.surface();
    let drawn = surface.draw_svg(&tree, points, SvgSettings::default());
    surface.finish();
    page.finish();
    drawn.ok_or_else(|| damaged("it cannot be drawn".to_owned()))?;
    document
        .finish()
        .map_err(|e| damaged(format!("it cannot be drawn ({e:?})")))
}

fn parse(file: &Path, bytes: &[u8]) -> Result<Tree, usvg::Error> {
    let folder = file.parent().and_then(|f| f.canonicalize().ok());
    let within = folder.clone();
    let load = ImageHrefResolver::default_string_resolver();
    let mut options = Options {
        resources_dir: folder,
        image_href_resolver: ImageHrefResolver {
            resolve_data: ImageHrefResolver::default_data_resolver(),
            resolve_string: Box::new(move |href, options| {
                let asked = options.get_abs_path(Path::new(href)).canonicalize().ok()?;
                let inside = within.as_ref().is_some_and(|f| asked.starts_with(f));
                inside.then(|| load(href, options)).flatten()
            }),
        },
        ..Options::default()
    };
    // Looking for faces takes time, and most art has its words as outlines.
    if memchr::memmem::find(bytes, b"<text").is_some()
        || memchr::memmem::find(bytes, b":text").is_some()
    {
        options.fontdb = faces();
    }
    // Packed SVG may unpack to anything; only plain text is taken.
    let text = std::str::from_utf8(bytes).map_err(|_| usvg::Error::NotAnUtf8Str)?;
    Tree::from_str(text, &options)
}

/// The faces of this computer, looked for once.
fn faces() -> Arc<Database> {
    static FACES: OnceLock<Arc<Database>> = OnceLock::new();
    let find = || {
        let mut faces = Database::new();
        faces.load_system_fonts();
        Arc::new(faces)
    };
    FACES.get_or_init(find).clone()
}
