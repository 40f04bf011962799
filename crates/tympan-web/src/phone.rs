//! A link by which one phone may send photos, on the local network and on request only.
//!
//! A second listener is open while a phone is paired: for ten minutes, or until the visitor ends
//! it. Its only path is 128 random bits long. The first browser that opens it gets a key, and
//! nobody else can open it from then on. It takes photos and gives nothing back.

use std::net::{IpAddr, Ipv4Addr, SocketAddr, UdpSocket};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::Duration;

use axum::Router;
use axum::body::Body;
use axum::extract::{Path, Query, Request, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use maud::{DOCTYPE, Markup, html};
use qrcode::{Color, QrCode};
use serde_json::{Value, json};
use tokio::net::TcpListener;
use tokio::sync::Notify;
use tympan_app::Refusal;
use tympan_app::store::SetUpId;

use crate::api::uploads::{Named, keep_picture, receive};
use crate::guard::{is_same, set_headers};
use crate::refused::{Answer, Refused};
use crate::server::{accept, token};
use crate::state::App;
use crate::{assets, jobs};

/// The link is good for so long.
pub(crate) const MINUTES: u64 = 10;
/// Photos that are taken through one link.
const MOST_PHOTOS: usize = 40;
/// A photo is no larger than this.
const LARGEST_PHOTO: u64 = 64 << 20;

/// A phone that may send photos.
pub(crate) struct Pairing {
    /// The whole link.
    pub(crate) address: String,
    setup: SetUpId,
    /// The host that it is asked for by.
    host: String,
    /// The secret part of the path.
    path: String,
    /// What the first browser gets, and shows from then on.
    key: String,
    opened: AtomicBool,
    taken: AtomicUsize,
    over: AtomicBool,
    end: Notify,
}

impl Pairing {
    fn is_over(&self) -> bool {
        self.over.load(Ordering::Acquire)
    }

    fn end(&self) {
        self.over.store(true, Ordering::Release);
        self.end.notify_waiters();
    }
}

/// Opens a link for photos of a set-up's sheets. An earlier one is ended.
///
/// # Errors
/// Where this machine is on no network, or cannot listen on it.
pub(crate) async fn pair(app: &App, setup: SetUpId) -> Answer<Arc<Pairing>> {
    stop(app);
    let own = own_address()?;
    // On this address only, not on every network that the machine is on.
    let listener = TcpListener::bind(SocketAddr::new(own, 0)).await;
    let listener = listener.map_err(|e| no_network(&e.to_string()))?;
    let port = listener
        .local_addr()
        .map_err(|e| no_network(&e.to_string()))?
        .port();
    let (host, path) = (format!("{own}:{port}"), token()?);
    let pairing = Arc::new(Pairing {
        address: format!("http://{host}/{path}"),
        setup,
        host,
        path,
        key: token()?,
        opened: AtomicBool::new(false),
        taken: AtomicUsize::new(0),
        over: AtomicBool::new(false),
        end: Notify::new(),
    });
    if let Ok(mut current) = app.pairing.lock() {
        *current = Some(Arc::clone(&pairing));
    }
    app.tell(&jobs::news_of(&pairing.setup));
    let router = router(app, &pairing);
    let (app, mine) = (app.clone(), Arc::clone(&pairing));
    tokio::spawn(async move {
        tokio::select! {
            () = accept(listener, router) => {}
            () = tokio::time::sleep(Duration::from_secs(60 * MINUTES)) => {}
            () = mine.end.notified() => {}
        }
        mine.end();
        app.tell(&jobs::news_of(&mine.setup));
    });
    Ok(pairing)
}

/// Ends the link, if there is one.
pub(crate) fn stop(app: &App) {
    let Ok(mut current) = app.pairing.lock() else {
        return;
    };
    if let Some(pairing) = current.take() {
        pairing.end();
        app.tell(&jobs::news_of(&pairing.setup));
    }
}

/// How the link of a set-up stands.
pub(crate) fn told(app: &crate::state::State, setup: &SetUpId) -> Value {
    let current = app.pairing.lock().ok();
    let pairing = current.as_deref().and_then(Option::as_ref);
    match pairing.filter(|pairing| pairing.setup == *setup) {
        Some(pairing) => json!({
            "open": !pairing.is_over(),
            "opened": pairing.opened.load(Ordering::Relaxed),
            "taken": pairing.taken.load(Ordering::Relaxed),
        }),
        None => Value::Null,
    }
}

fn no_network(why: &str) -> Refused {
    Refusal::new(
        format!("this computer cannot be reached by a phone: {why}"),
        "connect both to the same network, or copy the photos over and drop them here",
    )
    .into()
}

/// This machine's address on its network. No packet is sent: connecting a datagram socket only
/// asks the system which way it would go (the address is one of RFC 5737's, for documentation).
fn own_address() -> Answer<IpAddr> {
    let towards = SocketAddr::from((Ipv4Addr::new(203, 0, 113, 1), 9));
    let asked = UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0)).and_then(|socket| {
        socket.connect(towards)?;
        socket.local_addr()
    });
    match asked {
        Ok(own) if !own.ip().is_loopback() && !own.ip().is_unspecified() => Ok(own.ip()),
        Ok(_) => Err(no_network("it is on no network")),
        Err(e) => Err(no_network(&e.to_string())),
    }
}

/// The link as a picture that a phone's camera reads (ISO/IEC 18004).
pub(crate) fn code(address: &str) -> Markup {
    let Ok(code) = QrCode::new(address.as_bytes()) else {
        return html! {};
    };
    let width = code.width();
    let mut path = String::new();
    for (i, colour) in code.to_colors().into_iter().enumerate() {
        if colour == Color::Dark {
            path.push_str(&format!("M{} {}h1v1h-1z", i % width + 4, i / width + 4));
        }
    }
    html! {
        svg viewBox={ "0 0 " (width + 8) " " (width + 8) } role="img" aria-label="The link as a code for the phone's camera" shape-rendering="crispEdges" {
            rect width="100%" height="100%" fill="#fff" {}
            path d=(path) fill="#000" {}
        }
    }
}

#[derive(Clone)]
struct Shared {
    app: App,
    pairing: Arc<Pairing>,
}

fn router(app: &App, pairing: &Arc<Pairing>) -> Router {
    let shared = Shared {
        app: app.clone(),
        pairing: Arc::clone(pairing),
    };
    Router::new()
        .route("/{path}", get(page))
        .route("/{path}/photo", post(photo))
        .route("/{path}/{asset}", get(asset))
        .route("/{path}/fonts/{face}", get(face))
        .fallback(|| async { StatusCode::NOT_FOUND })
        .layer(middleware::from_fn_with_state(shared.clone(), guard))
        .with_state(shared)
}

/// Nothing is answered but the link itself, by its own host.
async fn guard(State(shared): State<Shared>, request: Request, next: Next) -> Response {
    let pairing = &shared.pairing;
    let mut hosts = request.headers().get_all(header::HOST).iter();
    let host = match (hosts.next(), hosts.next()) {
        (Some(host), None) => host.to_str().unwrap_or_default(),
        _ => "",
    };
    let path = request.uri().path().trim_start_matches('/');
    let first = path.split('/').next().unwrap_or_default();
    let known = host == pairing.host && is_same(first, &pairing.path) && !pairing.is_over();
    let mut response = if known {
        next.run(request).await
    } else {
        StatusCode::NOT_FOUND.into_response()
    };
    let headers = response.headers_mut();
    set_headers(headers);
    // Without encryption browsers do not keep to it, and complain.
    headers.remove("cross-origin-opener-policy");
    response
}

/// Whether the browser shows the key that the first one got.
fn has_key(headers: &HeaderMap, key: &str) -> bool {
    headers
        .get_all(header::COOKIE)
        .iter()
        .filter_map(|cookies| cookies.to_str().ok())
        .flat_map(|cookies| cookies.split(';'))
        .filter_map(|cookie| cookie.trim().strip_prefix("phone="))
        .any(|shown| is_same(shown, key))
}

/// `GET /PATH`: the one page. Who opens it first keeps it.
async fn page(State(shared): State<Shared>, headers: HeaderMap) -> Response {
    let pairing = &shared.pairing;
    let again = has_key(&headers, &pairing.key);
    if !again && pairing.opened.swap(true, Ordering::AcqRel) {
        let used = html! {
            h1 { "This link is used up" }
            p { "Another phone or browser has opened it. Ask for a new one on the computer." }
        };
        return (StatusCode::GONE, framed(pairing, used)).into_response();
    }
    shared.app.tell(&jobs::news_of(&pairing.setup));
    let body = html! {
        h1 { "Photograph your test sheet" }
        p { "Hold it flat against a bright window, front towards you, all four corners in the picture." }
        label.button.primary.large for="photo" { "Take a photo" }
        input #photo .visually-hidden type="file" accept="image/*" capture="environment";
        progress #bar max="1" value="0" aria-label="Sent so far" hidden {}
        p #said role="status" {}
    };
    let mut response = framed(pairing, body).into_response();
    let cookie = format!(
        "phone={}; Path=/{}; HttpOnly; SameSite=Strict; Max-Age={}",
        pairing.key,
        pairing.path,
        60 * MINUTES
    );
    if let Ok(cookie) = HeaderValue::from_str(&cookie) {
        response.headers_mut().insert(header::SET_COOKIE, cookie);
    }
    response
}

fn framed(pairing: &Pairing, body: Markup) -> Markup {
    let at = |asset: &str| format!("/{}/{asset}", pairing.path);
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { "Send a photo · Tympan" }
                link rel="icon" href=(at("mark.svg")) type="image/svg+xml";
                link rel="stylesheet" href=(at("press.css"));
                script type="module" src=(at("phone.js")) {}
            }
            body { main #main .phone { (body) } }
        }
    }
}

/// `GET /PATH/ASSET`: what the page is made of; nothing else that is embedded.
async fn asset(Path((_, asset)): Path<(String, String)>) -> Response {
    let path = match asset.as_str() {
        "press.css" => "press.css",
        "mark.svg" => "mark.svg",
        "phone.js" => "js/phone.js",
        _ => return StatusCode::NOT_FOUND.into_response(),
    };
    assets::get(Path(path.to_owned())).await
}

/// `GET /PATH/fonts/FACE`
async fn face(Path((_, face)): Path<(String, String)>) -> Response {
    if !face.ends_with(".woff2") {
        return StatusCode::NOT_FOUND.into_response();
    }
    assets::get(Path(format!("fonts/{face}"))).await
}

/// `POST /PATH/photo?name=…`
async fn photo(
    State(shared): State<Shared>,
    Query(named): Query<Named>,
    headers: HeaderMap,
    body: Body,
) -> Answer<(StatusCode, axum::Json<Value>)> {
    let Shared { app, pairing } = shared;
    let own = format!("http://{}", pairing.host);
    let from_here = headers
        .get(header::ORIGIN)
        .is_some_and(|origin| origin.as_bytes() == own.as_bytes());
    if !from_here || !has_key(&headers, &pairing.key) {
        return Err(Refused::new(
            StatusCode::FORBIDDEN,
            "this page may not send photos",
            "ask for a new link on the computer",
        ));
    }
    if pairing.taken.load(Ordering::Relaxed) >= MOST_PHOTOS {
        return Err(Refused::new(
            StatusCode::TOO_MANY_REQUESTS,
            "this link has taken all the photos that it may",
            "ask for a new one on the computer",
        ));
    }
    let incoming = receive(&app, &headers, body, LARGEST_PHOTO).await?;
    pairing.taken.fetch_add(1, Ordering::Relaxed);
    let only = Named {
        more: false,
        ..named
    };
    let kept = keep_picture(&app, &pairing.setup, incoming, only, true).await?;
    app.tell(&jobs::news_of(&pairing.setup));
    Ok((kept.0, axum::Json(json!({ "taken": true }))))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_key_itself_opens_the_link_again() {
        let with = |cookie: &str| {
            let mut headers = HeaderMap::new();
            let value = HeaderValue::from_str(cookie).expect("a header");
            headers.insert(header::COOKIE, value);
            has_key(&headers, "0123456789abcdef")
        };
        assert!(with("units=in; phone=0123456789abcdef"));
        assert!(!with("phone=0123456789abcdee"));
        assert!(!with("xphone=0123456789abcdef"));
        assert!(!with("phone="));
        assert!(!has_key(&HeaderMap::new(), "0123456789abcdef"));
    }
}
