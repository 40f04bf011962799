//! Pages rendered by poppler, which is not the renderer that the product draws with.

use std::path::Path;
use std::process::Command;
use std::sync::Arc;

use image::{DynamicImage, GrayImage, RgbImage};

use crate::page::Page;

/// Why poppler gave no pages.
#[derive(Debug, thiserror::Error)]
pub enum PopplerError {
    /// It could not be started.
    #[error("pdftoppm cannot be started ({0}); install it: apt-get install poppler-utils")]
    Missing(#[source] std::io::Error),
    /// It refused the file.
    #[error("pdftoppm refused {file}: {message}")]
    Refused {
        /// The file.
        file: String,
        /// What it said.
        message: String,
    },
    /// What it wrote is no row of pictures.
    #[error("pdftoppm's pictures of {file} cannot be understood")]
    Garbled {
        /// The file.
        file: String,
    },
}

/// All pages of a PDF, rendered by `pdftoppm` at this resolution, in colour or grey.
///
/// # Errors
/// [`PopplerError`] where poppler is missing or refuses the file.
pub fn poppler_pages(
    file: impl AsRef<Path>,
    dpi: f64,
    colour: bool,
) -> Result<Vec<Arc<Page>>, PopplerError> {
    let file = file.as_ref();
    let named = || file.display().to_string();
    let mut command = Command::new("pdftoppm");
    command.arg("-r").arg(dpi.to_string());
    if !colour {
        command.arg("-gray");
    }
    let output = command.arg(file).output().map_err(PopplerError::Missing)?;
    if !output.status.success() {
        let message = String::from_utf8_lossy(&output.stderr).trim().to_owned();
        return Err(PopplerError::Refused {
            file: named(),
            message,
        });
    }
    let mut rest = output.stdout.as_slice();
    let mut pages = Vec::new();
    while !rest.is_empty() {
        let (picture, after) =
            netpbm(rest).ok_or_else(|| PopplerError::Garbled { file: named() })?;
        pages.push(Arc::new(Page::at_dpi(&picture, dpi)));
        rest = after;
    }
    Ok(pages)
}

/// The first picture of a row of binary PGM (P5) or PPM (P6) pictures, and what follows it.
fn netpbm(bytes: &[u8]) -> Option<(DynamicImage, &[u8])> {
    let mut at = 0;
    let mut word = || {
        let start = at + bytes[at..].iter().position(|b| !b.is_ascii_whitespace())?;
        let end = start + bytes[start..].iter().position(u8::is_ascii_whitespace)?;
        at = end;
        std::str::from_utf8(&bytes[start..end]).ok()
    };
    let kind = word()?;
    let (width, height, full): (u32, u32, u32) = (
        word()?.parse().ok()?,
        word()?.parse().ok()?,
        word()?.parse().ok()?,
    );
    let channels = match (kind, full) {
        ("P5", 255) => 1,
        ("P6", 255) => 3,
        _ => return None,
    };
    let rest = &bytes[at + 1..];
    let length = width as usize * height as usize * channels;
    let (pixels, after) = rest.split_at_checked(length)?;
    let picture = if channels == 1 {
        DynamicImage::ImageLuma8(GrayImage::from_raw(width, height, pixels.to_vec())?)
    } else {
        DynamicImage::ImageRgb8(RgbImage::from_raw(width, height, pixels.to_vec())?)
    };
    Some((picture, after))
}
