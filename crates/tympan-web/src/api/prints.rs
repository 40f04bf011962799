//! Printing straight: printers, what would be printed, the yes, and how it goes.

use axum::Json;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use serde::Deserialize;
use serde_json::{Value, json};
use tympan_app::Refusal;
use tympan_app::desk::{Answered, Kept, PlanTold, PrintIn, PrintWish, Straight, StraightFile};
use tympan_app::print;

use super::runs::{run_id, see};
use crate::jobs::print as print_jobs;
use crate::refused::{Answer, Refused, aside};
use crate::shell::Units;
use crate::state::{App, State as Shared};
use crate::worker::{Ask, Said};

/// `POST /api/printers`: looks for printers on the network. Nothing is looked for unasked.
pub(crate) async fn printers() -> Answer<Json<print::Printers>> {
    Ok(Json(aside(print::printers).await?))
}

#[derive(Deserialize)]
pub(crate) struct ToPrint {
    wish: PrintWish,
    /// The printer's password.
    #[serde(default)]
    password: Option<String>,
    /// What was said yes to, to be shown while it is printed.
    #[serde(default)]
    plan: Option<PlanTold>,
}

/// What an address says beside a file that goes straight to a printer.
#[derive(Deserialize)]
pub(crate) struct Which {
    /// The answers after the first pass as JSON, for the sheets of the second one.
    seen: Option<String>,
}

/// The file that an address names.
///
/// # Errors
/// Where it names none.
pub(crate) fn straight(address: &str, which: &Which) -> Answer<Straight> {
    Straight::of_address(address, which.seen.as_deref()).ok_or_else(Refused::not_found)
}

/// Such a file, ready to be printed.
pub(crate) async fn straight_file(app: &App, what: Straight) -> Answer<StraightFile> {
    let app = app.clone();
    aside(move || app.desk.straight_file(&app.store()?, &what)).await
}

/// What is printed of such a file, as its page needs it.
pub(crate) fn told(app: &Shared, what: &Straight) -> Value {
    json!({ "printing": app.desk.straight(what).printing })
}

async fn of_run(app: &App, id: &str, asked: &ToPrint) -> Answer<(Kept, PrintIn)> {
    let run = run_id(id)?;
    let seen = see(app, &run).await?;
    let file = seen.file(asked.wish.group, &asked.wish.file);
    let kept = Kept::Run(run.clone());
    let print = PrintIn {
        opens: app.password(&print_jobs::news_of(&kept)),
        data: app.data.clone(),
        file: file.ok_or_else(Refused::not_found)?,
        turned: seen.told.first_side.is_none().then_some(seen.setup.flip),
        setup: Some(seen.setup.name.clone()),
        within: None,
        wish: asked.wish.clone(),
        password: asked.password.clone(),
    };
    Ok((kept, print))
}

async fn of_straight(
    app: &App,
    address: &str,
    which: &Which,
    asked: &ToPrint,
) -> Answer<(Kept, PrintIn)> {
    let what = straight(address, which)?;
    let key = what.key();
    let opens = match &what {
        Straight::Saved(work) => app.opener(work, app.desk.work(work)?.opens_with_password)?,
        Straight::Laid(deck) => app.password(deck),
        _ => None,
    };
    let file = straight_file(app, what).await?;
    let pass = file.passes.get(asked.wish.group);
    let pass = pass.ok_or_else(Refused::not_found)?;
    let print = PrintIn {
        data: app.data.clone(),
        file: file.path,
        opens,
        turned: pass.turned,
        setup: file.setup.map(|setup| setup.name),
        within: pass.within,
        wish: asked.wish.clone(),
        password: asked.password.clone(),
    };
    Ok((Kept::Straight(key), print))
}

async fn planned(app: &App, print: PrintIn, units: Units) -> Answer<Json<Answered>> {
    // A child of its own: a printer may take its time.
    let (_never, cancel) = tokio::sync::watch::channel(false);
    let ask = Ask::PrintPlan(Box::new(print));
    let said = app.crew.carry_out(0, ask, cancel, |_, _| {}).await?;
    match said {
        Said::Answered(answered) => Ok(Json(answered.in_units(units.0))),
        _ => Err(Refused::not_found()),
    }
}

fn started(app: &App, what: Kept, print: PrintIn, plan: Option<PlanTold>) -> Answer<StatusCode> {
    let plan = plan.unwrap_or_default();
    if print.wish.agreed.is_none() || print.wish.agreed != Some(plan.sheets) {
        return Err(Refusal::new(
            "nothing was printed, since nobody said yes",
            "look at what will be printed, then say yes",
        )
        .into());
    }
    print_jobs::print(app, what, print, plan)?;
    Ok(StatusCode::ACCEPTED)
}

/// `POST /api/run/ID/print/plan`: what a printer would print.
pub(crate) async fn plan(
    State(app): State<App>,
    Path(id): Path<String>,
    units: Units,
    Json(asked): Json<ToPrint>,
) -> Answer<Json<Answered>> {
    let (_, print) = of_run(&app, &id, &asked).await?;
    planned(&app, print, units).await
}

/// `POST /api/run/ID/print/start`: prints what was agreed to.
pub(crate) async fn start(
    State(app): State<App>,
    Path(id): Path<String>,
    Json(asked): Json<ToPrint>,
) -> Answer<StatusCode> {
    let (what, print) = of_run(&app, &id, &asked).await?;
    started(&app, what, print, asked.plan)
}

/// `POST /api/run/ID/print/cancel`
pub(crate) async fn cancel(State(app): State<App>, Path(id): Path<String>) -> Answer<StatusCode> {
    print_jobs::cancel(&app, &Kept::Run(run_id(&id)?))?;
    Ok(StatusCode::ACCEPTED)
}

/// `POST /api/print/plan/FILE`
pub(crate) async fn plan_straight(
    State(app): State<App>,
    Path(file): Path<String>,
    Query(which): Query<Which>,
    units: Units,
    Json(asked): Json<ToPrint>,
) -> Answer<Json<Answered>> {
    let (_, print) = of_straight(&app, &file, &which, &asked).await?;
    planned(&app, print, units).await
}

/// `POST /api/print/start/FILE`
pub(crate) async fn start_straight(
    State(app): State<App>,
    Path(file): Path<String>,
    Query(which): Query<Which>,
    Json(asked): Json<ToPrint>,
) -> Answer<StatusCode> {
    let (what, print) = of_straight(&app, &file, &which, &asked).await?;
    started(&app, what, print, asked.plan)
}

/// `POST /api/print/cancel/FILE`
pub(crate) async fn cancel_straight(
    State(app): State<App>,
    Path(file): Path<String>,
    Query(which): Query<Which>,
) -> Answer<StatusCode> {
    print_jobs::cancel(&app, &Kept::Straight(straight(&file, &which)?.key()))?;
    Ok(StatusCode::ACCEPTED)
}
