//! Decoding content streams within bounds.

use std::io::{Read, Write};

use hayro::hayro_syntax::Pdf;
use hayro::hayro_syntax::object::Object;
use qpdf::{QPdfArray, QPdfScalar, StreamDecodeLevel};
use qpdf::{QPdfDictionary, QPdfObject, QPdfObjectLike, QPdfObjectType, QPdfStream};

use crate::dig;
use crate::error::PageFault;
use crate::form::raw;

/// The most that one page's content may decode to. The largest honest maps and drawings stay well
/// below it.
pub(crate) const MAX_CONTENT: usize = 256 << 20;

/// The most that the contents of all pages of a job may decode to, where they must be decoded.
pub(crate) const MAX_ALL_CONTENT: usize = 1 << 30;

/// Decodes a content stream to `out`, but never more than `room` bytes; how many it were.
///
/// A stream in the filter of common use passes through piece by piece; where it is damaged, what
/// comes before the damage counts, as in viewers. Where a stream gives nothing at all, the lenient
/// reader is asked, and where that has no answer either, the page is refused rather than left
/// blank.
pub(crate) fn decode(
    stream: &QPdfStream,
    room: usize,
    out: &mut impl Write,
) -> Result<usize, PageFault> {
    let packed = raw(stream).ok_or(PageFault::Content)?;
    let about = stream.get_dictionary();
    let filters = filters(&about);
    if packed.is_empty() && dig::integer(&about, "/Length") != Some(0) {
        // It says that there is something; a blank page is not what anybody meant.
        return Err(PageFault::Content);
    }
    if packed.is_empty() || filters.is_empty() {
        return put(&packed, room, out);
    }
    let plain = matches!(filters.as_slice(), [only] if is_flate(only));
    if plain && !about.has("/DecodeParms") {
        let written = inflate(&packed, room, out)?;
        if written > 0 {
            return Ok(written);
        }
    }
    let growth: Option<f64> = filters.iter().map(|f| most(f)).product();
    let growth = growth.ok_or(PageFault::Content)?;
    let surely_fits = packed.len() as f64 * growth <= room as f64;
    if !surely_fits && packed.len() > MAX_UNSURE {
        return Err(PageFault::TooLarge);
    }
    match stream.get_data(StreamDecodeLevel::Specialized) {
        Ok(data) if data.is_empty() => Ok(0),
        Ok(data) => put(&data, room, out),
        Err(_) if surely_fits => put(
            &leniently(&about, &packed).ok_or(PageFault::Content)?,
            room,
            out,
        ),
        Err(_) => Err(PageFault::Content),
    }
}

/// Streams in filters that cannot be decoded piece by piece may be so long though nobody knows
/// how long they become.
const MAX_UNSURE: usize = 128 << 10;

fn put(data: &[u8], room: usize, out: &mut impl Write) -> Result<usize, PageFault> {
    if data.len() > room {
        return Err(PageFault::TooLarge);
    }
    out.write_all(data)
        .map_err(|e| PageFault::Other(e.to_string()))?;
    Ok(data.len())
}

pub(crate) fn is_flate(filter: &str) -> bool {
    matches!(filter, "/FlateDecode" | "/Fl")
}

/// The most bytes that a filter makes of one; `None` for those that make no content.
fn most(filter: &str) -> Option<f64> {
    Some(match filter {
        "/FlateDecode" | "/Fl" => 1032.0,
        "/LZWDecode" | "/LZW" => 2731.0,
        "/RunLengthDecode" | "/RL" => 64.0,
        "/ASCII85Decode" | "/A85" => 4.0,
        "/ASCIIHexDecode" | "/AHx" => 1.0,
        _ => return None,
    })
}

pub(crate) fn inflate(
    packed: &[u8],
    room: usize,
    out: &mut impl Write,
) -> Result<usize, PageFault> {
    let mut unpacked = flate2::read::ZlibDecoder::new(packed);
    let mut window = [0; 32 << 10];
    let mut total = 0;
    loop {
        match unpacked.read(&mut window) {
            // What came before a damaged place has been written.
            Ok(0) | Err(_) => return Ok(total),
            Ok(n) => total += put(&window[..n], room - total, out)?,
        }
    }
}

pub(crate) fn filters(about: &QPdfDictionary) -> Vec<String> {
    let Some(filter) = about.get("/Filter") else {
        return Vec::new();
    };
    if filter.get_type() == QPdfObjectType::Name {
        return vec![filter.as_name()];
    }
    let names = dig::as_array(filter).map(|a| a.iter().map(|f| f.as_name()).collect());
    names.unwrap_or_default()
}

/// What the lenient reader makes of the stream, shown to it in a file of its own.
fn leniently(about: &QPdfDictionary, packed: &[u8]) -> Option<Vec<u8>> {
    let text = |key: &str| about.get(key).map(|value: QPdfObject| resolved(&value, 0));
    let mut file =
        b"%PDF-1.7\n1 0 obj\n<</Type/Catalog/Pages 2 0 R>>\nendobj\n2 0 obj\n<</Type/Pages\
        /Kids[3 0 R]/Count 1>>\nendobj\n3 0 obj\n<</Type/Page/Parent 2 0 R/MediaBox[0 0 9 9]\
        /Contents 4 0 R>>\nendobj\n4 0 obj\n<<"
            .to_vec();
    file.extend(format!("/Length {}", packed.len()).bytes());
    for key in ["/Filter", "/DecodeParms"] {
        if let Some(value) = text(key) {
            file.extend(format!("{key} {value}").bytes());
        }
    }
    file.extend(b">>\nstream\n");
    file.extend(packed);
    file.extend(b"\nendstream\nendobj\ntrailer\n<</Root 1 0 R/Size 5>>\n%%EOF\n");
    let pdf = Pdf::new(file).ok()?;
    let stream = pdf.objects().into_iter().find_map(|object| match object {
        Object::Stream(stream) => Some(stream),
        _ => None,
    })?;
    let content = stream.decoded().ok()?.into_owned();
    (!content.is_empty()).then_some(content)
}

/// An object written out without references.
fn resolved(value: &QPdfObject, depth: usize) -> String {
    if depth > 4 {
        return "null".to_owned();
    }
    match value.get_type() {
        QPdfObjectType::Array => {
            let array: QPdfArray = value.clone().into();
            let items: Vec<_> = array.iter().map(|v| resolved(&v, depth + 1)).collect();
            format!("[{}]", items.join(" "))
        }
        QPdfObjectType::Dictionary => {
            let entries: QPdfDictionary = value.clone().into();
            let each = entries.keys().into_iter().filter_map(|key| {
                Some(format!(
                    "{key} {}",
                    resolved(&entries.get(&key)?, depth + 1)
                ))
            });
            format!("<<{}>>", each.collect::<Vec<_>>().join(" "))
        }
        QPdfObjectType::Stream => "null".to_owned(),
        QPdfObjectType::Name => value.as_name(),
        QPdfObjectType::Integer => QPdfScalar::from(value.clone()).as_i64().to_string(),
        _ => value.to_binary(),
    }
}
