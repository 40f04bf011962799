//! Files for the visitor to keep.

use std::path::Path;

use axum::body::Body;
use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};
use tokio_util::io::ReaderStream;

use crate::refused::{Answer, Refused};

/// A file from the disk, piece by piece.
///
/// # Errors
/// Where it is not there.
pub(crate) async fn file(path: &Path, kind: &'static str, name: &str) -> Answer<Response> {
    let file = tokio::fs::File::open(path)
        .await
        .map_err(|_| Refused::not_found())?;
    let length = file.metadata().await.map_or(0, |about| about.len());
    let body = Body::from_stream(ReaderStream::with_capacity(file, 1 << 18));
    let mut response = named(body.into_response(), kind, name);
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_LENGTH, HeaderValue::from(length));
    Ok(response)
}

/// Text that was made for the visitor.
pub(crate) fn text(text: String, kind: &'static str, name: &str) -> Response {
    named(text.into_response(), kind, name)
}

/// A file that was made for the visitor.
pub(crate) fn bytes(bytes: Vec<u8>, kind: &'static str, name: &str) -> Response {
    named(bytes.into_response(), kind, name)
}

fn named(mut response: Response, kind: &'static str, name: &str) -> Response {
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static(kind));
    if let Ok(value) = HeaderValue::from_str(&disposition(name)) {
        headers.insert(header::CONTENT_DISPOSITION, value);
    }
    response
}

/// An attachment of this name (RFC 6266 with RFC 8187).
fn disposition(name: &str) -> String {
    let coded: String = name
        .bytes()
        .map(|b| match b {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'.' | b'_' => {
                char::from(b).to_string()
            }
            b => format!("%{b:02X}"),
        })
        .collect();
    // For those that know no other: letters and digits only.
    let plain: String = name
        .chars()
        .map(|c| {
            if c.is_ascii_alphanumeric() || matches!(c, '.' | '-') {
                c
            } else {
                '_'
            }
        })
        .collect();
    format!("attachment; filename=\"{plain}\"; filename*=UTF-8''{coded}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_downloads_cannot_break_out_of_their_header() {
        let header = disposition("a\"\r\nSet-Cookie: x=y; ü.pdf");
        assert!(HeaderValue::from_str(&header).is_ok());
        assert!(header.ends_with("UTF-8''a%22%0D%0ASet-Cookie%3A%20x%3Dy%3B%20%C3%BC.pdf"));
    }
}
