//! What the pages' scripts ask for.

pub(crate) mod deck;
mod download;
mod events;
mod measure;
pub(crate) mod prints;
mod readings;
mod runs;
mod setups;
mod stock_sheets;
mod teach;
mod tiles;
pub(crate) mod uploads;
mod work;

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::routing::{get, post};
use serde::Deserialize;

use crate::state::App;

/// Bodies that are no uploads are small.
const SMALL: usize = 64 << 10;
/// The largest export of set-ups that is taken in.
const EXPORT: usize = 64 << 20;

/// The password of somebody's files.
#[derive(Deserialize)]
pub(crate) struct Password {
    password: String,
}

pub(crate) fn routes() -> Router<App> {
    Router::new()
        .route("/hello", get(work::hello))
        .route("/demo", post(work::demo))
        .route("/work/{id}", get(work::get))
        .route("/work/{id}/sheet/{sheet}", get(work::sheet))
        .route("/work/{id}/change", post(work::change))
        .route("/work/{id}/password", post(work::password))
        .route("/work/{id}/swap", post(work::swap))
        .route("/work/{id}/look", post(work::look))
        .route("/work/{id}/save", post(work::save))
        .route("/work/{id}/inspect", post(work::inspect))
        .route("/work/{id}/inspect/cancel", post(work::cancel_inspect))
        .route("/work/{id}/ten/{sheet}", get(work::ten))
        .route("/work/{id}/run", post(runs::make))
        .route("/run/{id}/password", post(runs::password))
        .route("/run/{id}/tick", post(runs::tick))
        .route("/run/{id}/adjust", post(runs::adjust))
        .route("/run/{id}/again", post(runs::again))
        .route("/run/{id}/spoiled", post(runs::spoiled))
        .route("/run/{id}/release", post(runs::release))
        .route("/run/{id}/done", post(runs::done))
        .route("/run/{id}/undo", post(runs::undo))
        .route("/run/{id}/cancel", post(runs::cancel))
        .route("/run/{id}/file/{group}/{name}", get(runs::file))
        .route("/run/{id}/print/plan", post(prints::plan))
        .route("/run/{id}/print/start", post(prints::start))
        .route("/run/{id}/print/cancel", post(prints::cancel))
        .route("/run/{id}/events", get(events::of_run))
        .route("/printers", post(prints::printers))
        .route("/print/plan/{*file}", post(prints::plan_straight))
        .route("/print/start/{*file}", post(prints::start_straight))
        .route("/print/cancel/{*file}", post(prints::cancel_straight))
        .route("/print/events/{*file}", get(events::of_straight))
        .route("/work/{id}/cancel", post(work::cancel))
        .route("/work/{id}/put-away", post(work::put_away))
        .route("/work/{id}/bring-back", post(work::bring_back))
        .route("/work/{id}/saved", get(work::saved))
        .route("/work/{id}/events", get(events::events))
        .route("/work/{id}/printed/{file}/{page}", get(tiles::printed))
        .route(
            "/work/{id}/tile/{file}/{page}/{scale}/{column}/{row}/{look}",
            get(tiles::tile),
        )
        .route("/work/{id}/lay", post(deck::of_work))
        .route("/deck/{id}", get(deck::get))
        .route("/deck/{id}/change", post(deck::change))
        .route("/deck/{id}/card", post(deck::card))
        .route("/deck/{id}/look", post(deck::look))
        .route("/deck/{id}/password", post(deck::password))
        .route("/deck/{id}/again", post(deck::again))
        .route("/deck/{id}/save", post(deck::save))
        .route("/deck/{id}/work", post(deck::to_work))
        .route("/deck/{id}/cancel", post(deck::cancel))
        .route("/deck/{id}/put-away", post(deck::put_away))
        .route("/deck/{id}/bring-back", post(deck::bring_back))
        .route("/deck/{id}/saved/{file}", get(deck::saved))
        .route("/deck/{id}/art/{proof}/{art}", get(deck::art))
        .route("/deck/{id}/sheet/{stamp}/{sheet}/{side}", get(deck::sheet))
        .route("/deck/{id}/events", get(events::of_deck))
        .route("/stock-sheets", post(stock_sheets::keep))
        .route("/setups", post(setups::make))
        .route("/setups/export", get(setups::export_all))
        .route("/setup/{id}/rename", post(setups::rename))
        .route("/setup/{id}/copy", post(setups::copy))
        .route("/setup/{id}/remove", post(setups::remove))
        .route("/setup/{id}/restore", post(setups::restore))
        .route("/setup/{id}/export", get(setups::export))
        .route("/setup/{id}/test-sheets", post(measure::issue))
        .route(
            "/setup/{id}/test-sheets/{first}/{last}",
            get(measure::issued),
        )
        .route("/setup/{id}/trial", get(teach::trial))
        .route("/setup/{id}/teach", post(teach::teach))
        .route("/setup/{id}/read", post(measure::read))
        .route("/setup/{id}/events", get(events::of_setup))
        .route("/setup/{id}/field.svg", get(readings::field))
        .route("/setup/{id}/readings.csv", get(readings::table))
        .route("/setup/{id}/report.json", get(readings::report))
        .route("/setup/{id}/phone", post(measure::pair))
        .route("/setup/{id}/phone/stop", post(measure::stop_pairing))
        .route("/pictures/{id}/again", post(measure::again))
        .route("/pictures/{id}/cancel", post(measure::cancel))
        .route("/pictures/{id}/clear", post(measure::clear))
        .route("/evidence/{name}", get(measure::evidence))
        .route("/reading/{id}/set-aside", post(readings::set_aside))
        .route("/reading/{id}/bring-back", post(readings::bring_back))
        .layer(DefaultBodyLimit::max(SMALL))
        .route(
            "/setups/import",
            post(setups::import).layer(DefaultBodyLimit::max(EXPORT)),
        )
        // These read their bodies piece by piece and count them themselves.
        .route("/work", post(uploads::begin))
        .route("/work/{id}/backs", post(uploads::add_backs))
        .route("/setup/{id}/pictures", post(uploads::begin_pictures))
        .route("/pictures/{id}", post(uploads::add_picture))
        .route("/deck", post(deck::begin))
        .route("/deck/{id}/file", post(deck::add))
}
