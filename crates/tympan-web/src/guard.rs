//! Who may ask: only pages that this server itself has sent to a browser on this machine.
//!
//! - The `Host` must be one of the names of this machine for itself. A page of a stranger whose
//!   name was made to point here (DNS rebinding) carries the stranger's name.
//! - Whatever changes anything needs this server's own `Origin` and the token that its pages carry.
//! - No answer allows other origins to read it.

use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use crate::refused::Refused;
use crate::state::App;

/// The header that carries the token.
pub(crate) const TOKEN: &str = "x-tympan-token";

/// What pages may load: only what this server itself sends.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; \
     font-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

/// Lets through what may be asked and sets the headers that every answer has.
pub(crate) async fn guard(State(app): State<App>, request: Request, next: Next) -> Response {
    let mut response = match check(&app, &request) {
        Ok(()) => next.run(request).await,
        Err(refused) => refused.into_response(),
    };
    set_headers(response.headers_mut());
    response
}

/// The headers that every answer has.
pub(crate) fn set_headers(headers: &mut HeaderMap) {
    for (name, value) in [
        ("content-security-policy", POLICY),
        ("x-content-type-options", "nosniff"),
        ("cross-origin-resource-policy", "same-origin"),
        ("cross-origin-opener-policy", "same-origin"),
        ("referrer-policy", "same-origin"),
        (
            "permissions-policy",
            "camera=(), microphone=(), geolocation=()",
        ),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    // Set where an answer may be kept; nothing else is.
    if !headers.contains_key(header::CACHE_CONTROL) {
        headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    }
}

fn check(app: &App, request: &Request) -> Result<(), Refused> {
    let headers = request.headers();
    if !host(headers).is_some_and(|host| is_own_host(host, app.port)) {
        return Err(Refused::new(
            StatusCode::MISDIRECTED_REQUEST,
            "this address is not Tympan's own",
            "open the address that Tympan printed when it started",
        ));
    }
    let from_elsewhere = matches!(
        text(headers, "sec-fetch-site"),
        Some("cross-site" | "same-site")
    ) && text(headers, "sec-fetch-mode") != Some("navigate");
    if from_elsewhere {
        return Err(forbidden("another site asked for this"));
    }
    if matches!(*request.method(), Method::GET | Method::HEAD) {
        return Ok(());
    }
    if !text(headers, "origin").is_some_and(|origin| is_own_origin(origin, app.port)) {
        return Err(forbidden("another site asked for this"));
    }
    if !text(headers, TOKEN).is_some_and(|token| is_same(token, &app.token)) {
        return Err(forbidden("this page is from before Tympan was started"));
    }
    Ok(())
}

fn forbidden(why: &str) -> Refused {
    Refused::new(StatusCode::FORBIDDEN, why, "load the page again")
}

fn text<'a>(headers: &'a HeaderMap, name: &str) -> Option<&'a str> {
    headers.get(name)?.to_str().ok()
}

/// The one host that is asked for.
fn host(headers: &HeaderMap) -> Option<&str> {
    let mut all = headers.get_all(header::HOST).iter();
    match (all.next(), all.next()) {
        (Some(host), None) => host.to_str().ok(),
        _ => None,
    }
}

fn is_own_host(host: &str, port: u16) -> bool {
    ["127.0.0.1", "localhost", "[::1]"]
        .iter()
        .any(|name| host.eq_ignore_ascii_case(&format!("{name}:{port}")))
}

fn is_own_origin(origin: &str, port: u16) -> bool {
    origin
        .strip_prefix("http://")
        .is_some_and(|host| is_own_host(host, port))
}

/// Compares in a time that tells nothing about where they differ.
pub(crate) fn is_same(a: &str, b: &str) -> bool {
    a.len() == b.len() && a.bytes().zip(b.bytes()).fold(0, |d, (a, b)| d | (a ^ b)) == 0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_this_machine_s_own_names_are_answered() {
        for host in [
            "127.0.0.1:4000",
            "localhost:4000",
            "LOCALHOST:4000",
            "[::1]:4000",
        ] {
            assert!(is_own_host(host, 4000), "{host}");
        }
        for host in [
            "127.0.0.1",
            "localhost:4001",
            "evil.example:4000",
            "localhost.evil.example:4000",
            "127.0.0.1:4000.evil.example",
            "127.0.0.1.:4000",
            "",
        ] {
            assert!(!is_own_host(host, 4000), "{host}");
        }
    }

    #[test]
    fn only_its_own_origin_may_change_things() {
        assert!(is_own_origin("http://127.0.0.1:4000", 4000));
        for origin in ["null", "https://127.0.0.1:4000", "http://evil.example", ""] {
            assert!(!is_own_origin(origin, 4000), "{origin}");
        }
    }

    #[test]
    fn tokens_are_the_same_only_where_all_is() {
        assert!(is_same("abc", "abc"));
        assert!(!is_same("abc", "abd") && !is_same("abc", "ab") && !is_same("", "a"));
    }
}
