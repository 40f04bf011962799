//! Starting, listening and stopping.

use std::collections::HashMap;
use std::io::Write;
use std::net::{Ipv4Addr, SocketAddr};
use std::path::PathBuf;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use axum::Router;
use axum::middleware;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::net::TcpListener;
use tokio::sync::{Semaphore, broadcast};
use tympan_app::Refusal;
use tympan_app::desk::Desk;
use tympan_app::lines_up::Found;

use crate::crew::Crew;
use crate::state::{App, State, UPLOADS};
use crate::{api, assets, guard, pages};

/// Connections at the same time; a browser opens six.
const CONNECTIONS: usize = 256;
/// A request must have been asked within this.
const ASKING: Duration = Duration::from_secs(10);

/// How to serve.
#[derive(Clone, Debug)]
pub struct Options {
    /// The data folder.
    pub data: PathBuf,
    /// The port; any free one where none is given.
    pub port: Option<u16>,
    /// Open the browser.
    pub open: bool,
    /// An upload that brings nothing for so long is given up.
    pub patience: Duration,
}

/// The port that is tried first, so that the address stays the same from day to day.
const USUAL_PORT: u16 = 7297;

/// Serves until the process is told to stop.
///
/// # Errors
/// A [`Refusal`] where the port is taken or the data folder cannot be used.
pub fn serve(options: &Options) -> Result<(), Refusal> {
    let desk = match Desk::open(&options.data) {
        Ok(desk) => desk,
        Err(refusal) => {
            let Some(address) = Desk::served_at(&options.data) else {
                return Err(refusal);
            };
            if options.open && open::that_detached(&address).is_ok() {
                say(&format!("Tympan is running already: {address}\n"))?;
                return Ok(());
            }
            return Err(Refusal::new(
                format!("Tympan is running already, at {address}"),
                "use that page, or give another folder with --data",
            ));
        }
    };
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .map_err(|e| {
            Refusal::new(
                format!("the server cannot start: {e}"),
                "close other programs, then try again",
            )
        })?;
    runtime.block_on(run(options, desk))
}

async fn run(options: &Options, desk: Desk) -> Result<(), Refusal> {
    let listener = listen(options.port).await?;
    let port = listener
        .local_addr()
        .map_err(|e| Refusal::new(format!("the server has no address: {e}"), "try again"))?
        .port();
    let address = format!("http://127.0.0.1:{port}/");
    desk.is_served_at(&address);
    let program = std::env::current_exe().map_err(|e| {
        Refusal::new(
            format!("this program cannot find itself: {e}"),
            "start it by its full name",
        )
    })?;
    let app: App = Arc::new(State {
        data: options.data.clone(),
        desk,
        crew: Crew::new(program),
        token: token()?,
        port,
        uploads: Semaphore::new(UPLOADS),
        patience: options.patience,
        moved_on: broadcast::channel(256).0,
        cancels: Mutex::new(HashMap::new()),
        lines_up: Found::default(),
        passwords: Mutex::new(HashMap::new()),
        pairing: Mutex::new(None),
    });
    say(&format!("{address}\n"))?;
    if options.open && open::that_detached(&address).is_err() {
        say("Open this address in a browser.\n")?;
    }
    let router = router(app);
    tokio::select! {
        () = accept(listener, router) => {}
        () = told_to_stop() => {}
    }
    Ok(())
}

/// Where nothing else is said, a free port will do.
async fn listen(port: Option<u16>) -> Result<TcpListener, Refusal> {
    let at = |port| SocketAddr::from((Ipv4Addr::LOCALHOST, port));
    let tried = match port {
        Some(port) => TcpListener::bind(at(port)).await,
        None => match TcpListener::bind(at(USUAL_PORT)).await {
            Err(_) => TcpListener::bind(at(0)).await,
            listener => listener,
        },
    };
    tried.map_err(|e| {
        let port = port.unwrap_or_default();
        Refusal::new(
            format!("port {port} cannot be listened on: {e}"),
            "choose another one with --port, or leave it out",
        )
    })
}

fn router(app: App) -> Router {
    Router::new()
        .merge(pages::routes())
        .nest("/api", api::routes())
        .route("/assets/{*path}", axum::routing::get(assets::get))
        .fallback(pages::not_found)
        .layer(middleware::from_fn_with_state(app.clone(), guard::guard))
        .with_state(app)
}

/// Answers whoever connects, for as long as this is waited for.
pub(crate) async fn accept(listener: TcpListener, router: Router) {
    let room = Arc::new(Semaphore::new(CONNECTIONS));
    loop {
        let Ok(place) = Arc::clone(&room).acquire_owned().await else {
            return;
        };
        let stream = match listener.accept().await {
            Ok((stream, _)) => stream,
            // Out of file handles, for example: others may end.
            Err(_) => {
                tokio::time::sleep(Duration::from_millis(50)).await;
                continue;
            }
        };
        let service = TowerToHyperService::new(router.clone());
        tokio::spawn(async move {
            let _ = stream.set_nodelay(true);
            // A connection that breaks off is the browser's affair.
            let _ = hyper::server::conn::http1::Builder::new()
                .timer(TokioTimer::new())
                .header_read_timeout(ASKING)
                .max_headers(64)
                .serve_connection(TokioIo::new(stream), service)
                .await;
            drop(place);
        });
    }
}

async fn told_to_stop() {
    let interrupted = tokio::signal::ctrl_c();
    #[cfg(unix)]
    {
        use tokio::signal::unix::{SignalKind, signal};
        if let Ok(mut terminated) = signal(SignalKind::terminate()) {
            tokio::select! {
                _ = interrupted => {}
                _ = terminated.recv() => {}
            }
            return;
        }
    }
    let _ = interrupted.await;
}

/// 128 random bits.
pub(crate) fn token() -> Result<String, Refusal> {
    let mut bytes = [0u8; 16];
    getrandom::fill(&mut bytes).map_err(|e| {
        Refusal::new(
            format!("the system gives no random numbers: {e}"),
            "try again",
        )
    })?;
    Ok(bytes.iter().map(|b| format!("{b:02x}")).collect())
}

fn say(text: &str) -> Result<(), Refusal> {
    let mut out = std::io::stdout().lock();
    out.write_all(text.as_bytes())
        .and_then(|()| out.flush())
        .map_err(|e| Refusal::of_stdout(&e))
}
