//! How long work goes on, as server-sent events.

use std::convert::Infallible;
use std::time::Duration;

use axum::extract::{Path, Query, State};
use axum::response::sse::{Event, KeepAlive, Sse};
use futures_util::{Stream, StreamExt, future, stream};
use serde_json::Value;
use tokio::sync::broadcast;
use tokio_stream::wrappers::BroadcastStream;
use tympan_app::desk::Kept;

use crate::api::prints::Which;
use crate::api::work::told;
use crate::jobs;
use crate::refused::Answer;
use crate::state::App;

/// `GET /api/work/ID/events`: the work as it is now, then whenever something moved on.
pub(crate) async fn events(
    State(app): State<App>,
    Path(id): Path<String>,
) -> Answer<Sse<impl Stream<Item = Result<Event, Infallible>>>> {
    app.desk.work(&id)?;
    let news = app.moved_on.subscribe();
    Ok(whenever(news, id.clone(), "work", move || {
        Some(told(&app.desk.work(&id).ok()?))
    }))
}

/// `GET /api/deck/ID/events`: the deck as it is now, then whenever something moved on.
pub(crate) async fn of_deck(
    State(app): State<App>,
    Path(id): Path<String>,
) -> Answer<Sse<impl Stream<Item = Result<Event, Infallible>>>> {
    app.desk.deck(&id)?;
    let news = app.moved_on.subscribe();
    Ok(whenever(news, id.clone(), "deck", move || {
        Some(super::deck::told(&app.desk.deck(&id).ok()?))
    }))
}

/// `GET /api/setup/ID/events`: what is done to its pictures, now and whenever it moved on.
pub(crate) async fn of_setup(
    State(app): State<App>,
    Path(id): Path<String>,
) -> Answer<Sse<impl Stream<Item = Result<Event, Infallible>>>> {
    let setup = super::setups::setup_id(&id)?;
    let mine = jobs::news_of(&setup);
    let news = app.moved_on.subscribe();
    Ok(whenever(news, mine, "setup", move || {
        Some(super::measure::told(&app, &setup))
    }))
}

/// `GET /api/run/ID/events`: what is done to a run, now and whenever it moved on.
pub(crate) async fn of_run(
    State(app): State<App>,
    Path(id): Path<String>,
) -> Answer<Sse<impl Stream<Item = Result<Event, Infallible>>>> {
    let run = super::runs::run_id(&id)?;
    let mine = jobs::run::news_of(&run);
    let news = app.moved_on.subscribe();
    Ok(whenever(news, mine, "run", move || {
        Some(super::runs::told(&app, &run))
    }))
}

/// `GET /api/print/events/FILE`: how a file that goes straight to a printer is printed.
pub(crate) async fn of_straight(
    State(app): State<App>,
    Path(file): Path<String>,
    Query(which): Query<Which>,
) -> Answer<Sse<impl Stream<Item = Result<Event, Infallible>>>> {
    let what = super::prints::straight(&file, &which)?;
    let mine = jobs::print::news_of(&Kept::Straight(what.key()));
    let news = app.moved_on.subscribe();
    Ok(whenever(news, mine, "run", move || {
        Some(super::prints::told(&app, &what))
    }))
}

/// An event with the state of now, then one whenever there is news of this name.
fn whenever(
    news: broadcast::Receiver<String>,
    name: String,
    event: &'static str,
    state: impl Fn() -> Option<Value> + Send + 'static,
) -> Sse<impl Stream<Item = Result<Event, Infallible>>> {
    let news = BroadcastStream::new(news);
    // One that fell behind is told the state of now, which is all it needs.
    let about_this =
        news.filter(move |news| future::ready(news.as_ref().map_or(true, |moved| *moved == name)));
    let states = stream::once(future::ready(()))
        .chain(about_this.map(|_| ()))
        .filter_map(move |()| {
            let told =
                state().map(|state| Ok(Event::default().event(event).data(state.to_string())));
            future::ready(told)
        });
    Sse::new(states).keep_alive(KeepAlive::new().interval(Duration::from_secs(15)))
}
