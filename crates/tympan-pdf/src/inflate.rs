//! Decoding content streams within bounds.

use hayro::hayro_syntax::Pdf;
use hayro::hayro_syntax::object::Object;
use qpdf::{QPdfArray, QPdfScalar, StreamDecodeLevel};
use qpdf::{QPdfDictionary, QPdfObject, QPdfObjectLike, QPdfObjectType, QPdfStream};

use crate::dig;
use crate::error::PageFault;
use crate::form::raw;

/// The most that one page's content may decode to. The largest honest maps and drawings stay well
/// below it.
pub(crate) const MAX_CONTENT: usize = 128 << 20;

/// The most that the contents of all pages of a job may decode to, where they must be decoded.
pub(crate) const MAX_ALL_CONTENT: usize = 1 << 30;

/// A content stream, decoded, but never more than `room` bytes.
///
/// Where the strict reader gives up, the lenient one says what can be decoded, as viewers would
/// show; where that is nothing either, the page is refused rather than left blank.
pub(crate) fn decoded(stream: &QPdfStream, room: usize) -> Result<Vec<u8>, PageFault> {
    let packed = raw(stream).ok_or(PageFault::Content)?;
    if packed.is_empty() {
        return Ok(packed);
    }
    let about = stream.get_dictionary();
    let filters = filters(&about);
    if filters.is_empty() {
        return if packed.len() <= room {
            Ok(packed)
        } else {
            Err(PageFault::TooLarge)
        };
    }
    if !fits(&filters, &packed, room) {
        return Err(PageFault::TooLarge);
    }
    if let Ok(data) = stream.get_data(StreamDecodeLevel::Generalized) {
        return Ok(if data.is_empty() {
            Vec::new()
        } else {
            data.to_vec()
        });
    }
    let content = leniently(&about, &packed).ok_or(PageFault::Content)?;
    if content.len() <= room {
        Ok(content)
    } else {
        Err(PageFault::TooLarge)
    }
}

fn filters(about: &QPdfDictionary) -> Vec<String> {
    let Some(filter) = about.get("/Filter") else {
        return Vec::new();
    };
    if filter.get_type() == QPdfObjectType::Name {
        return vec![filter.as_name()];
    }
    let names = dig::as_array(filter).map(|a| a.iter().map(|f| f.as_name()).collect());
    names.unwrap_or_default()
}

/// Whether the decoded data surely fits: by the most that its filters can make of a byte, or, for
/// the one filter in common use, by decoding it without keeping the result.
fn fits(filters: &[String], packed: &[u8], room: usize) -> bool {
    let most = |filter: &String| match filter.as_str() {
        "/FlateDecode" | "/Fl" => 1032.0,
        "/LZWDecode" | "/LZW" => 2731.0,
        "/RunLengthDecode" | "/RL" => 64.0,
        "/ASCII85Decode" | "/A85" => 4.0,
        _ => 1.0,
    };
    let growth: f64 = filters.iter().map(most).product();
    if packed.len() as f64 * growth <= room as f64 {
        return true;
    }
    match filters {
        [only] if most(only) == 1032.0 => inflated_len(packed, room).is_some(),
        [text, inner] if most(text) <= 4.0 && most(inner) == 1032.0 => {
            // Text armour makes data longer, so that honest content inflates to at most so much.
            packed.len() <= room / 64
        }
        _ => false,
    }
}

/// How much a zlib stream inflates to, counted without holding it; `None` beyond `room`.
fn inflated_len(packed: &[u8], room: usize) -> Option<u64> {
    use std::io::Read;
    let mut unpacked = flate2::read::ZlibDecoder::new(packed).take(room as u64 + 1);
    let mut window = [0; 32 << 10];
    let mut total = 0;
    loop {
        match unpacked.read(&mut window) {
            // A damaged end is no reason to call it too large.
            Ok(0) | Err(_) => break,
            Ok(n) => total += n as u64,
        }
    }
    (total <= room as u64).then_some(total)
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
