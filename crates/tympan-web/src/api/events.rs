//! How long work goes on, as server-sent events.

use std::convert::Infallible;
use std::time::Duration;

use axum::extract::{Path, State};
use axum::response::sse::{Event, KeepAlive, Sse};
use futures_util::{Stream, StreamExt, future, stream};
use tokio_stream::wrappers::BroadcastStream;

use crate::api::work::told;
use crate::refused::Answer;
use crate::state::App;

/// `GET /api/work/ID/events`: the work as it is now, then whenever something moved on.
pub(crate) async fn events(
    State(app): State<App>,
    Path(id): Path<String>,
) -> Answer<Sse<impl Stream<Item = Result<Event, Infallible>>>> {
    app.desk.work(&id)?;
    let news = BroadcastStream::new(app.moved_on.subscribe());
    let mine = id.clone();
    // One that fell behind is told the state of now, which is all it needs.
    let about_this =
        news.filter(move |news| future::ready(news.as_ref().map_or(true, |moved| *moved == mine)));
    let states = stream::once(future::ready(()))
        .chain(about_this.map(|_| ()))
        .filter_map(move |()| {
            let work = app.desk.work(&id).ok();
            future::ready(
                work.map(|work| Ok(Event::default().event("work").data(told(&work).to_string()))),
            )
        });
    Ok(Sse::new(states).keep_alive(KeepAlive::new().interval(Duration::from_secs(15))))
}
