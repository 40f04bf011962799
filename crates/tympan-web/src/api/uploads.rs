//! Files that arrive: streamed to the disk, counted, and gone again where they do not wholly come.

use axum::Json;
use axum::body::Body;
use axum::extract::{Path, Query, State};
use axum::http::{HeaderMap, StatusCode, header};
use futures_util::StreamExt;
use serde::Deserialize;
use serde_json::{Value, json};
use std::time::{Duration, Instant};
use tokio::time::timeout;
use tympan_app::desk::Incoming;
use tympan_app::store::SetUpId;

use super::setups;
use crate::jobs;
use crate::refused::{Answer, Refused, aside};
use crate::state::{App, State as Shared};

/// The largest file that is taken.
pub(super) const LARGEST: u64 = 1 << 30;
/// Pieces are gathered to this size before they are written.
const PIECE: usize = 1 << 20;
/// After its patience is over, an upload must have come at this rate on the whole, bytes a second.
const SLOWEST: f64 = 16_384.0;

#[derive(Deserialize)]
pub(crate) struct Named {
    #[serde(default)]
    pub(crate) name: String,
    /// Another file will follow, so that it is too early for a look.
    #[serde(default)]
    pub(crate) more: bool,
}

/// `POST /api/work?name=…`: a new piece of work with this file.
pub(crate) async fn begin(
    State(app): State<App>,
    Query(named): Query<Named>,
    headers: HeaderMap,
    body: Body,
) -> Answer<(StatusCode, Json<Value>)> {
    let incoming = receive(&app, &headers, body, LARGEST).await?;
    let keeper = app.clone();
    let work = aside(move || keeper.desk.begin(incoming, &named.name)).await?;
    if !named.more {
        jobs::look(&app, &work.id)?;
    }
    Ok((StatusCode::CREATED, Json(json!({ "id": work.id }))))
}

/// `POST /api/work/ID/backs?name=…`: the file that holds the backs.
pub(crate) async fn add_backs(
    State(app): State<App>,
    Path(id): Path<String>,
    Query(named): Query<Named>,
    headers: HeaderMap,
    body: Body,
) -> Answer<(StatusCode, Json<Value>)> {
    app.desk.work(&id)?;
    let incoming = receive(&app, &headers, body, LARGEST).await?;
    let keeper = app.clone();
    let work = aside(move || keeper.desk.add_backs(&id, incoming, &named.name)).await?;
    jobs::look(&app, &work.id)?;
    Ok((StatusCode::CREATED, Json(json!({ "id": work.id }))))
}

/// `POST /api/setup/ID/pictures?name=…`: pictures of its test sheets, the first of them.
pub(crate) async fn begin_pictures(
    State(app): State<App>,
    Path(id): Path<String>,
    Query(named): Query<Named>,
    headers: HeaderMap,
    body: Body,
) -> Answer<(StatusCode, Json<Value>)> {
    let setup = setups::setup_id(&id)?;
    let state = app.clone();
    let known = setup.clone();
    aside(move || Ok(state.store()?.set_up(&known)?)).await?;
    let incoming = receive(&app, &headers, body, LARGEST).await?;
    keep_picture(&app, &setup, incoming, named, false).await
}

/// Keeps the first of some pictures and reads it where no other follows.
pub(crate) async fn keep_picture(
    app: &App,
    setup: &SetUpId,
    incoming: Incoming,
    named: Named,
    from_phone: bool,
) -> Answer<(StatusCode, Json<Value>)> {
    let (keeper, setup) = (app.clone(), setup.clone());
    let keep = move || {
        keeper
            .desk
            .begin_batch(&setup, incoming, &named.name, from_phone)
    };
    let batch = aside(keep).await?;
    if !named.more {
        jobs::read(app, &batch.id, false)?;
    }
    Ok((StatusCode::CREATED, Json(json!({ "id": batch.id }))))
}

/// `POST /api/pictures/ID?name=…`: a further picture.
pub(crate) async fn add_picture(
    State(app): State<App>,
    Path(id): Path<String>,
    Query(named): Query<Named>,
    headers: HeaderMap,
    body: Body,
) -> Answer<(StatusCode, Json<Value>)> {
    app.desk.batch(&id)?;
    let incoming = receive(&app, &headers, body, LARGEST).await?;
    let keeper = app.clone();
    let batch = aside(move || keeper.desk.add_picture(&id, incoming, &named.name)).await?;
    if !named.more {
        jobs::read(&app, &batch.id, false)?;
    }
    Ok((StatusCode::CREATED, Json(json!({ "id": batch.id }))))
}

/// Takes a file of at most so many bytes in.
///
/// # Errors
/// Where it is larger, comes too slowly or not wholly, or is empty. Nothing is left of it then.
pub(crate) async fn receive(
    app: &App,
    headers: &HeaderMap,
    body: Body,
    most: u64,
) -> Answer<Incoming> {
    let announced = headers
        .get(header::CONTENT_LENGTH)
        .and_then(|length| length.to_str().ok()?.parse::<u64>().ok());
    if announced.is_some_and(|bytes| bytes > most) {
        return Err(too_large(most));
    }
    let Ok(_room) = app.uploads.try_acquire() else {
        return Err(Refused::new(
            StatusCode::SERVICE_UNAVAILABLE,
            "too many files arrive at once",
            "wait until the others are there, then drop this one again",
        ));
    };
    let state = app.clone();
    let mut incoming = aside(move || state.desk.incoming()).await?;
    let mut stream = body.into_data_stream();
    let mut piece: Vec<u8> = Vec::with_capacity(PIECE);
    let (began, mut arrived) = (Instant::now(), 0u64);
    loop {
        let next = timeout(app.patience, stream.next())
            .await
            .map_err(|_| too_slow())?;
        let Some(bytes) = next else { break };
        let bytes = bytes.map_err(|_| {
            Refused::new(
                StatusCode::BAD_REQUEST,
                "the file did not wholly arrive",
                "drop it again",
            )
        })?;
        arrived += bytes.len() as u64;
        if arrived > most {
            return Err(too_large(most));
        }
        if is_crawling(app, began.elapsed(), arrived) {
            return Err(too_slow());
        }
        piece.extend_from_slice(&bytes);
        if piece.len() >= PIECE {
            (incoming, piece) = write(incoming, piece).await?;
        }
    }
    let (incoming, _) = write(incoming, piece).await?;
    if incoming.bytes() == 0 {
        return Err(Refused::new(
            StatusCode::BAD_REQUEST,
            "this file is empty",
            "choose another one",
        ));
    }
    Ok(incoming)
}

fn is_crawling(app: &Shared, took: Duration, arrived: u64) -> bool {
    took > app.patience && (arrived as f64) < SLOWEST * took.as_secs_f64()
}

async fn write(mut incoming: Incoming, mut piece: Vec<u8>) -> Answer<(Incoming, Vec<u8>)> {
    aside(move || {
        incoming.write(&piece)?;
        piece.clear();
        Ok((incoming, piece))
    })
    .await
}

fn too_large(most: u64) -> Refused {
    if most < LARGEST {
        return Refused::new(
            StatusCode::PAYLOAD_TOO_LARGE,
            "this photo is too large",
            "take it at the camera's usual quality",
        );
    }
    Refused::new(
        StatusCode::PAYLOAD_TOO_LARGE,
        "this file is larger than 1 GB",
        "split it into files of some hundred pages",
    )
}

fn too_slow() -> Refused {
    Refused::new(
        StatusCode::REQUEST_TIMEOUT,
        "the file came too slowly",
        "drop it again",
    )
}
