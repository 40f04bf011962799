//! A file without its pictures: where they lie is told from the page, whatever is in them.

use std::path::Path;

use qpdf::{QPdf, StreamDataMode, StreamDecodeLevel};

use crate::dig;
use crate::document::{Document, say};
use crate::error::PdfError;
use crate::raster::{Pages, RasterError};

/// The pages of a file with a single pixel for every picture, for asking what lies where: a large
/// file is looked through in little time and memory. Pictures drawn of them show nothing.
///
/// # Errors
/// As [`Document::open`] has it. A file that the second reader cannot read so is
/// [`PdfError::Damaged`].
pub fn without_pictures(file: &Path, password: Option<&str>) -> Result<Pages, PdfError> {
    let document = Document::open_quietly(file, password)?;
    let damaged = |reason: String| PdfError::Damaged {
        file: file.to_path_buf(),
        reason,
    };
    drop_pictures(&document.qpdf);
    let mut writer = document.qpdf.writer();
    writer
        .preserve_encryption(false)
        .stream_decode_level(StreamDecodeLevel::None)
        .stream_data_mode(StreamDataMode::Preserve);
    let bytes = writer.write_to_memory().map_err(|e| damaged(say(&e)))?;
    Pages::open(bytes, None).map_err(|e: RasterError| damaged(e.to_string()))
}

fn drop_pictures(qpdf: &QPdf) {
    let size = qpdf
        .get_trailer()
        .and_then(|trailer| dig::integer(&trailer, "/Size"))
        .and_then(|size| u32::try_from(size).ok())
        .unwrap_or(0);
    for number in 1..size {
        let object = qpdf.get_object_by_id(number, 0);
        let Some(stream) = object.and_then(dig::as_stream) else {
            continue;
        };
        let about = stream.get_dictionary();
        if dig::name(&about, "/Subtype").as_deref() != Some("/Image") {
            continue;
        }
        let stencil = about
            .get("/ImageMask")
            .is_some_and(|mask| mask.to_string() == "true");
        stream.replace_data([0_u8], qpdf.new_null(), qpdf.new_null());
        for key in [
            "/SMask",
            "/Mask",
            "/Decode",
            "/DecodeParms",
            "/Filter",
            "/ColorSpace",
        ] {
            about.remove(key);
        }
        about.set("/Width", qpdf.new_integer(1));
        about.set("/Height", qpdf.new_integer(1));
        if !stencil {
            about.set("/ColorSpace", qpdf.new_name("/DeviceGray"));
        }
        let bits = if stencil { 1 } else { 8 };
        about.set("/BitsPerComponent", qpdf.new_integer(bits));
    }
}
