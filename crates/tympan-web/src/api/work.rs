//! A piece of work: what it is, what is to be done, doing it.

use axum::Json;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use serde::Deserialize;
use serde_json::{Value, json};
use tympan_app::Refusal;
use tympan_app::desk::{self, Change, How, Job, Learnt, Placed, Shown, Ten, Work};
use tympan_app::sheet::Flip;
use tympan_app::words::OnBack;

use super::{Password, download};
use crate::crew::Crew;
use crate::jobs;
use crate::refused::{Answer, Refused, aside};
use crate::shell::Units;
use crate::state::App;
use crate::worker::Ask;

/// `GET /api/hello`: the token of this start, for pages that are from before it.
pub(crate) async fn hello(State(app): State<App>) -> Json<Value> {
    Json(json!({ "token": app.token }))
}

/// A work as its page needs it to follow what is done.
pub(crate) fn told(work: &Work) -> Value {
    json!({
        "id": work.id,
        "job": work.job,
        "inspecting": work.inspecting,
        "locked": work.locked,
        "ready": !work.pages.is_empty(),
        "run": work.runs.last(),
        "saved": work.saved.as_ref().map(|saved| json!({
            "name": saved.name,
            "in_words": saved.in_words,
            "cautions": saved.cautions,
            "is_current": saved.change == work.change,
        })),
    })
}

/// `GET /api/work/ID`
pub(crate) async fn get(State(app): State<App>, Path(id): Path<String>) -> Answer<Json<Value>> {
    Ok(Json(told(&app.desk.work(&id)?)))
}

/// `GET /api/work/ID/sheet/N`: a sheet for the light table, counted from 0.
pub(crate) async fn sheet(
    State(app): State<App>,
    Path((id, sheet)): Path<(String, usize)>,
    units: Units,
) -> Answer<Json<Shown>> {
    let work = app.desk.work(&id)?;
    Ok(Json(desk::show(&work, sheet, units.0)?))
}

/// What a page asks to have changed. What is left out stays.
#[derive(Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(crate) struct Wish {
    how: Option<How>,
    /// Typed words for the way that is chosen.
    words: Option<String>,
    /// The same by numbers.
    placed: Option<Placed>,
    setup: Option<String>,
    backs: Option<String>,
    flip: Option<Flip>,
    really: Option<bool>,
    /// The sheet that is to be shown then.
    sheet: usize,
}

/// `POST /api/work/ID/change`
pub(crate) async fn change(
    State(app): State<App>,
    Path(id): Path<String>,
    units: Units,
    Json(wish): Json<Wish>,
) -> Answer<Json<Shown>> {
    let shown = aside(move || {
        let learnt = match &wish.setup {
            Some(name) if !name.is_empty() => Some(learn(&app, name)?),
            _ => None,
        };
        let (_, shown) = app.desk.change(&id, |work| {
            apply(&mut work.change, &wish, learnt)?;
            // What cannot be shown is not kept either.
            desk::show(work, wish.sheet, units.0)
        })?;
        Ok(shown)
    })
    .await?;
    Ok(Json(shown))
}

fn apply(change: &mut Change, wish: &Wish, learnt: Option<Learnt>) -> Result<(), Refusal> {
    if let Some(how) = wish.how {
        change.how = how;
    }
    let mut placed = wish.placed;
    if let Some(words) = &wish.words {
        placed = Some(if words.trim().is_empty() {
            Placed::default()
        } else {
            OnBack::parse(words)?.into()
        });
    }
    if let Some(placed) = placed {
        if !placed.is_sane() {
            return Err(Refusal::new(
                "the backs cannot lie so far off",
                "check the numbers and their units",
            ));
        }
        match change.how {
            How::Seen => change.seen = placed,
            How::Move => change.moved = placed,
            How::Setup => {}
        }
        change.really = false;
    }
    if learnt.is_some() {
        change.setup = learnt;
    }
    if let Some(backs) = &wish.backs {
        change.backs.clone_from(backs);
    }
    if let Some(flip) = wish.flip {
        change.flip = Some(flip);
    }
    if let Some(really) = wish.really {
        change.really = really;
    }
    Ok(())
}

fn learn(app: &App, name: &str) -> Result<Learnt, Refusal> {
    let store = tympan_app::open_store(Some(app.data.clone()))?;
    desk::learn(&store, name)
}

/// `POST /api/work/ID/password`
pub(crate) async fn password(
    State(app): State<App>,
    Path(id): Path<String>,
    Json(given): Json<Password>,
) -> Answer<StatusCode> {
    let (keeper, of) = (app.clone(), id.clone());
    aside(move || {
        // Until it has been tried nothing is shown, so that a wrong one is asked for again.
        let locked = |work: &mut Work| {
            work.locked = true;
            Ok(())
        };
        keeper.desk.change(&of, locked)
    })
    .await?;
    app.keep_password(&id, given.password);
    jobs::look(&app, &id)?;
    Ok(StatusCode::ACCEPTED)
}

/// `POST /api/work/ID/swap`: fronts and backs change places.
pub(crate) async fn swap(State(app): State<App>, Path(id): Path<String>) -> Answer<StatusCode> {
    app.crew.dismiss();
    let state = app.clone();
    let work = aside(move || state.desk.swap_files(&id)).await?;
    let _ = jobs::inspect(&app, &work.id);
    Ok(StatusCode::NO_CONTENT)
}

/// `POST /api/work/ID/look`: look once more.
pub(crate) async fn look(State(app): State<App>, Path(id): Path<String>) -> Answer<StatusCode> {
    jobs::look(&app, &id)?;
    Ok(StatusCode::ACCEPTED)
}

/// `POST /api/work/ID/save`
pub(crate) async fn save(State(app): State<App>, Path(id): Path<String>) -> Answer<StatusCode> {
    let work = app.desk.work(&id)?;
    // What is refused at once need not be begun.
    let shown = desk::show(&work, 0, tympan_app::words::Units::Mm)?;
    if shown.far_mm.is_some() && !work.change.really {
        return Err(Refusal::new(
            "this moves the backs farther than any printer errs",
            "check the numbers, or tick that it is meant",
        )
        .into());
    }
    work.asked()
        .ok_or_else(|| Refusal::new("no set-up is chosen", "choose one"))?;
    jobs::save(&app, &id)?;
    Ok(StatusCode::ACCEPTED)
}

/// `POST /api/work/ID/inspect`: look closely once more.
pub(crate) async fn inspect(State(app): State<App>, Path(id): Path<String>) -> Answer<StatusCode> {
    jobs::inspect(&app, &id)?;
    Ok(StatusCode::ACCEPTED)
}

/// `POST /api/work/ID/inspect/cancel`
pub(crate) async fn cancel_inspect(
    State(app): State<App>,
    Path(id): Path<String>,
) -> Answer<StatusCode> {
    app.desk.work(&id)?;
    jobs::cancel_inspect(&app, &id)?;
    Ok(StatusCode::ACCEPTED)
}

/// `GET /api/work/ID/ten/N`: ten sheets from the set-up's printer, before they are printed.
pub(crate) async fn ten(
    State(app): State<App>,
    Path((id, sheet)): Path<(String, usize)>,
) -> Answer<Json<Ten>> {
    let ten = aside(move || {
        let work = app.desk.work(&id)?;
        desk::ten(&app.store()?, &work, sheet)
    })
    .await?;
    Ok(Json(ten))
}

/// `POST /api/work/ID/cancel`
pub(crate) async fn cancel(State(app): State<App>, Path(id): Path<String>) -> Answer<StatusCode> {
    jobs::cancel(&app, &id)?;
    Ok(StatusCode::ACCEPTED)
}

/// `POST /api/work/ID/put-away`: it no longer lies on the desk, and goes when the program ends.
pub(crate) async fn put_away(State(app): State<App>, Path(id): Path<String>) -> Answer<StatusCode> {
    let work = app.desk.work(&id)?;
    if work.job.as_ref().is_some_and(Job::is_running) {
        jobs::cancel(&app, &id)?;
    }
    // It may have ended meanwhile.
    let _ = jobs::cancel_inspect(&app, &id);
    set_put_away(app, id, true).await
}

/// `POST /api/work/ID/bring-back`
pub(crate) async fn bring_back(
    State(app): State<App>,
    Path(id): Path<String>,
) -> Answer<StatusCode> {
    set_put_away(app, id, false).await
}

async fn set_put_away(app: App, id: String, away: bool) -> Answer<StatusCode> {
    aside(move || {
        app.desk.change(&id, |work| {
            work.put_away = away;
            Ok(())
        })
    })
    .await?;
    Ok(StatusCode::NO_CONTENT)
}

/// `GET /api/work/ID/saved`: the corrected file.
pub(crate) async fn saved(State(app): State<App>, Path(id): Path<String>) -> Answer<Response> {
    let work = app.desk.work(&id)?;
    let saved = work.saved.as_ref().ok_or_else(Refused::not_found)?;
    let path = app.desk.saved_folder(&id).join(&saved.file);
    download::file(&path, "application/pdf", &saved.name).await
}

/// `POST /api/demo`: the demo game on the desk.
pub(crate) async fn demo(State(app): State<App>) -> Answer<(StatusCode, Json<Value>)> {
    let state = app.clone();
    let incoming = aside(move || state.desk.incoming()).await?;
    let output = incoming.path().with_extension("demo");
    let done = write_demo(&app.crew, &output).await;
    let work = match done {
        Ok(()) => {
            let state = app.clone();
            let path = output.clone();
            aside(move || {
                state
                    .desk
                    .begin(incoming.filled_from(&path)?, "Saltmarsh Ferry.pdf")
            })
            .await
        }
        Err(refused) => Err(refused),
    };
    let _ = tokio::fs::remove_file(&output).await;
    let work = work?;
    jobs::look(&app, &work.id)?;
    Ok((StatusCode::CREATED, Json(json!({ "id": work.id }))))
}

async fn write_demo(crew: &Crew, output: &std::path::Path) -> Answer<()> {
    let ask = Ask::Demo {
        output: output.to_owned(),
    };
    crew.ask(&output.to_owned(), 0, ask).await?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn absurd_numbers_are_refused() {
        let wish = |placed| Wish {
            placed: Some(placed),
            ..Wish::default()
        };
        let far = Placed {
            right_mm: f64::NAN,
            ..Placed::default()
        };
        assert!(apply(&mut Change::default(), &wish(far), None).is_err());
        let near = Placed {
            right_mm: 2.0,
            ..Placed::default()
        };
        let mut change = Change::default();
        assert!(apply(&mut change, &wish(near), None).is_ok());
        assert_eq!(change.seen, near);
    }
}
