//! Cards that are laid out afresh: their files, what is chosen, what came of it.

use std::collections::BTreeMap;

use axum::Json;
use axum::body::Body;
use axum::extract::{Path, Query, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use serde_json::{Value, json};
use tympan_app::Refusal;
use tympan_app::desk::picture::{Look, SCALES, Tile};
use tympan_app::desk::{CardEdit, Deck, Job};

use super::uploads::{LARGEST, Named, receive};
use super::{Password, download, tiles};
use crate::jobs;
use crate::refused::{Answer, Refused, aside};
use crate::shell::Units;
use crate::state::App;
use crate::worker::Ask;

/// A picture of a card is at most so many pixels high or wide.
const THUMB_PX: f64 = 400.0;

/// A deck as its page needs it to follow what is done.
pub(crate) fn told(deck: &Deck) -> Value {
    json!({
        "id": deck.id,
        "job": deck.job,
        "stamp": deck.stamp(),
        "ready": deck.view.is_some(),
        "saved": deck.saved.as_ref().map(|saved| json!({
            "file": format!("/api/deck/{}/saved/0", deck.id),
            "folder": saved.folder,
        })),
    })
}

/// `POST /api/deck?name=…`: a new deck with this file.
pub(crate) async fn begin(
    State(app): State<App>,
    Query(named): Query<Named>,
    units: Units,
    headers: HeaderMap,
    body: Body,
) -> Answer<(StatusCode, Json<Value>)> {
    let incoming = receive(&app, &headers, body, LARGEST).await?;
    let keeper = app.clone();
    let deck = aside(move || keeper.desk.begin_deck(incoming, &named.name)).await?;
    arrived(&app, deck, named.more, units).await
}

/// `POST /api/deck/ID/file?name=…`: a further file.
pub(crate) async fn add(
    State(app): State<App>,
    Path(id): Path<String>,
    Query(named): Query<Named>,
    units: Units,
    headers: HeaderMap,
    body: Body,
) -> Answer<(StatusCode, Json<Value>)> {
    app.desk.deck(&id)?;
    let incoming = receive(&app, &headers, body, LARGEST).await?;
    let keeper = app.clone();
    let deck = aside(move || keeper.desk.add_to_deck(&id, incoming, &named.name)).await?;
    arrived(&app, deck, named.more, units).await
}

async fn arrived(
    app: &App,
    deck: Deck,
    more: bool,
    units: Units,
) -> Answer<(StatusCode, Json<Value>)> {
    if !more {
        let (keeper, id) = (app.clone(), deck.id.clone());
        aside(move || keeper.desk.deck_is_whole(&id, units.0)).await?;
        jobs::plan(app, &deck.id)?;
    }
    Ok(created(&deck))
}

fn created(deck: &Deck) -> (StatusCode, Json<Value>) {
    (StatusCode::CREATED, Json(json!({ "id": deck.id })))
}

/// `POST /api/work/ID/lay`: a deck of a work's files.
pub(crate) async fn of_work(
    State(app): State<App>,
    Path(id): Path<String>,
    units: Units,
) -> Answer<(StatusCode, Json<Value>)> {
    let (keeper, of) = (app.clone(), id.clone());
    let deck = aside(move || keeper.desk.deck_of_work(&keeper.desk.work(&of)?, units.0)).await?;
    share_password(&app, &id, &deck);
    jobs::plan(&app, &deck.id)?;
    Ok(created(&deck))
}

/// A deck that is made of another's files opens with the same password.
fn share_password(app: &App, of: &str, deck: &Deck) {
    if let Some(password) = app.password(of) {
        app.keep_password(&deck.id, password);
    }
}

/// `GET /api/deck/ID`
pub(crate) async fn get(State(app): State<App>, Path(id): Path<String>) -> Answer<Json<Value>> {
    Ok(Json(told(&app.desk.deck(&id)?)))
}

/// `POST /api/deck/ID/change`: choices by their keys.
pub(crate) async fn change(
    State(app): State<App>,
    Path(id): Path<String>,
    units: Units,
    Json(choices): Json<BTreeMap<String, String>>,
) -> Answer<Json<Value>> {
    changed(app, id, move |deck| {
        let mut wish = deck.wish.clone();
        for (key, text) in &choices {
            wish.say(key, text, units.0)?;
        }
        deck.wish = wish;
        Ok(())
    })
    .await
}

/// `POST /api/deck/ID/card`: one card.
pub(crate) async fn card(
    State(app): State<App>,
    Path(id): Path<String>,
    Json(edit): Json<CardEdit>,
) -> Answer<Json<Value>> {
    changed(app, id, move |deck| deck.edit(&edit)).await
}

async fn changed(
    app: App,
    id: String,
    change: impl FnOnce(&mut Deck) -> Result<(), Refusal> + Send + 'static,
) -> Answer<Json<Value>> {
    let (keeper, of) = (app.clone(), id.clone());
    aside(move || keeper.desk.change_deck(&of, change)).await?;
    jobs::plan(&app, &id)?;
    Ok(Json(told(&app.desk.deck(&id)?)))
}

/// `POST /api/deck/ID/look`: look once more.
pub(crate) async fn look(State(app): State<App>, Path(id): Path<String>) -> Answer<StatusCode> {
    jobs::plan(&app, &id)?;
    Ok(StatusCode::ACCEPTED)
}

/// `POST /api/deck/ID/password`: of its locked files.
pub(crate) async fn password(
    State(app): State<App>,
    Path(id): Path<String>,
    Json(given): Json<Password>,
) -> Answer<StatusCode> {
    app.desk.deck(&id)?;
    app.keep_password(&id, given.password);
    jobs::plan(&app, &id)?;
    Ok(StatusCode::ACCEPTED)
}

#[derive(Deserialize)]
pub(crate) struct Again {
    /// Numbers of cards, and how many of each.
    cards: Vec<(usize, u32)>,
}

/// `POST /api/deck/ID/again`: a deck of spoiled cards.
pub(crate) async fn again(
    State(app): State<App>,
    Path(id): Path<String>,
    Json(asked): Json<Again>,
) -> Answer<(StatusCode, Json<Value>)> {
    let (keeper, of) = (app.clone(), id.clone());
    let deck = aside(move || keeper.desk.deck_again(&of, &asked.cards)).await?;
    share_password(&app, &id, &deck);
    jobs::plan(&app, &deck.id)?;
    Ok(created(&deck))
}

/// `POST /api/deck/ID/work`: the saved sheets as a piece of work.
pub(crate) async fn to_work(
    State(app): State<App>,
    Path(id): Path<String>,
) -> Answer<(StatusCode, Json<Value>)> {
    let keeper = app.clone();
    let work = aside(move || keeper.desk.work_of_deck(&id)).await?;
    jobs::look(&app, &work.id)?;
    Ok((StatusCode::CREATED, Json(json!({ "id": work.id }))))
}

/// `POST /api/deck/ID/save`
pub(crate) async fn save(State(app): State<App>, Path(id): Path<String>) -> Answer<StatusCode> {
    let deck = app.desk.deck(&id)?;
    if deck.view.as_ref().is_none_or(|view| view.plans.is_empty()) {
        return Err(Refusal::new("there is no plan yet", "mend first what is in the way").into());
    }
    jobs::lay(&app, &id)?;
    Ok(StatusCode::ACCEPTED)
}

/// `POST /api/deck/ID/cancel`
pub(crate) async fn cancel(State(app): State<App>, Path(id): Path<String>) -> Answer<StatusCode> {
    app.desk.deck(&id)?;
    jobs::cancel(&app, &id)?;
    Ok(StatusCode::ACCEPTED)
}

/// `POST /api/deck/ID/put-away`
pub(crate) async fn put_away(State(app): State<App>, Path(id): Path<String>) -> Answer<StatusCode> {
    let deck = app.desk.deck(&id)?;
    if deck.job.as_ref().is_some_and(Job::is_running) {
        // It may have ended meanwhile.
        let _ = jobs::cancel(&app, &id);
    }
    set_put_away(app, id, true).await
}

/// `POST /api/deck/ID/bring-back`
pub(crate) async fn bring_back(
    State(app): State<App>,
    Path(id): Path<String>,
) -> Answer<StatusCode> {
    set_put_away(app, id, false).await
}

async fn set_put_away(app: App, id: String, away: bool) -> Answer<StatusCode> {
    aside(move || {
        app.desk.change_deck(&id, |deck| {
            deck.put_away = away;
            Ok(())
        })
    })
    .await?;
    Ok(StatusCode::NO_CONTENT)
}

/// `GET /api/deck/ID/saved/N`: one of the files that were written; the first is the sheets.
pub(crate) async fn saved(
    State(app): State<App>,
    Path((id, index)): Path<(String, usize)>,
) -> Answer<Response> {
    let deck = app.desk.deck(&id)?;
    let saved = deck.saved.as_ref().ok_or_else(Refused::not_found)?;
    let (file, name) = saved.files.get(index).ok_or_else(Refused::not_found)?;
    let path = app.desk.deck_saved(&id).join(&saved.folder).join(file);
    let kind = match file.rsplit('.').next() {
        Some("pdf") => "application/pdf",
        Some("svg") => "image/svg+xml",
        _ => "application/octet-stream",
    };
    download::file(&path, kind, name).await
}

/// `GET /api/deck/ID/art/PROOF/N`: a picture of a card's side, from 0.
pub(crate) async fn art(
    State(app): State<App>,
    Path((id, _proof, number)): Path<(String, String, usize)>,
) -> Answer<Response> {
    let deck = app.desk.deck(&id)?;
    let found = deck.view.as_ref().and_then(|view| {
        let size = view.arts.get(number)?;
        Some((view.proof.as_ref()?, size))
    });
    // The page may be from before another choice; it is about to learn of that.
    let Some((proof, size)) = found else {
        return Ok(StatusCode::NO_CONTENT.into_response());
    };
    let fits = |scale: &&u32| f64::from(**scale) * size.w.max(size.h) <= THUMB_PX;
    let tile = Tile {
        page: number + 1,
        scale: *SCALES.iter().rev().find(fits).unwrap_or(&SCALES[0]),
        column: 0,
        row: 0,
        look: Look::Print,
    };
    let stem = proof.trim_end_matches(".pdf");
    let output = app.desk.pictures(&id).join(format!("{stem}-{number}.png"));
    if let Ok(png) = tokio::fs::read(&output).await {
        return Ok(tiles::picture(png));
    }
    let path = app.desk.deck_folder(&id).join(proof);
    let ask = Ask::Tile {
        file: path.clone(),
        password: None,
        tile,
        output: output.clone(),
    };
    app.crew.ask(&path, jobs::bytes(&deck), ask).await?;
    tiles::trim_now_and_then(&app);
    let png = tokio::fs::read(&output).await;
    Ok(tiles::picture(png.map_err(|_| Refused::not_found())?))
}

/// `GET /api/deck/ID/sheet/STAMP/N/SIDE`: a side of a sheet (from 0) of the chosen plan.
pub(crate) async fn sheet(
    State(app): State<App>,
    Path((id, stamp, number, side)): Path<(String, String, usize, String)>,
) -> Answer<Response> {
    let deck = app.desk.deck(&id)?;
    if !matches!(side.as_str(), "front" | "back") {
        return Err(Refused::not_found());
    }
    let plan = deck
        .view
        .as_ref()
        .and_then(|view| view.plans.get(deck.plan()));
    let Some(plan) = plan.filter(|plan| number < plan.sheets.len()) else {
        return Ok(StatusCode::NO_CONTENT.into_response());
    };
    if side == "back" && !plan.two_sided {
        return Ok(StatusCode::NO_CONTENT.into_response());
    }
    let now = deck.stamp();
    let stem = app.desk.pictures(&id).join(format!("{now}-{number}"));
    let output = app
        .desk
        .pictures(&id)
        .join(format!("{now}-{number}-{side}.png"));
    let png = match tokio::fs::read(&output).await {
        Ok(png) => png,
        Err(_) => {
            let folder = app.desk.deck_folder(&id);
            let ask = Ask::Sheet {
                deck: Box::new(jobs::deck_in(&app, &deck)),
                sheet: number,
                stem,
            };
            app.crew.ask(&folder, jobs::bytes(&deck), ask).await?;
            tiles::trim_now_and_then(&app);
            let png = tokio::fs::read(&output).await;
            png.map_err(|_| Refused::not_found())?
        }
    };
    if stamp == now {
        return Ok(tiles::picture(png));
    }
    Ok(([(header::CONTENT_TYPE, "image/png")], png).into_response())
}
