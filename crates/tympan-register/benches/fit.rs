//! How long it takes to learn a set-up and to say what that means for the cards.

use divan::{Bencher, black_box};
use tympan_register::{Cutting, Fit, Model, Observation, Reading};
use tympan_sheet::{FeedAxis, Front, Point, Rect, Size, Vector};

const A4: Size = Size::new(210.0, 297.0);

fn main() {
    divan::main();
}

/// Sheets read at six places; where `alike` is false every sheet has noise of its own, so that
/// none can share its computation with another.
fn readings(sheets: usize, alike: bool) -> Vec<Reading> {
    let places = [
        (25., 25.),
        (185., 25.),
        (185., 272.),
        (25., 272.),
        (25., 148.5),
        (185., 148.5),
    ];
    (0..sheets)
        .map(|j| {
            let u = if alike { 0.15 } else { 0.15 + 0.001 * j as f64 };
            let wobble = |k: usize| ((j * 7 + k * 13) % 11) as f64 / 20.0;
            let observe = |(k, &(x, y)): (usize, &(f64, f64))| {
                let error = Vector::new(0.4 + wobble(k), 2.1 - wobble(k + 3));
                Observation::new(Point::new(x, y), error, u)
            };
            Reading::new(places.iter().enumerate().map(observe).collect())
        })
        .collect()
}

fn fit(sheets: usize) -> Fit {
    Model::new(A4, FeedAxis::Y)
        .fit(&readings(sheets, true))
        .expect("good readings")
}

fn nine_cards() -> Vec<Rect<Front>> {
    let at = |i: usize| Point::new(9.75 + 63.5 * (i % 3) as f64, 15.15 + 88.9 * (i / 3) as f64);
    (0..9)
        .map(|i| Rect::at(at(i), Size::new(63.5, 88.9)))
        .collect()
}

#[divan::bench(args = [1, 3, 10])]
fn fit_sheets_read_alike(bencher: Bencher<'_, '_>, sheets: usize) {
    let readings = readings(sheets, true);
    let model = Model::new(A4, FeedAxis::Y);
    bencher.bench(|| model.fit(black_box(&readings)));
}

#[divan::bench(args = [3, 10])]
fn fit_sheets_read_differently(bencher: Bencher<'_, '_>, sheets: usize) {
    let readings = readings(sheets, false);
    let model = Model::new(A4, FeedAxis::Y);
    bencher.bench(|| model.fit(black_box(&readings)));
}

#[divan::bench]
fn terms_of_the_steady_error(bencher: Bencher<'_, '_>) {
    let fit = fit(5);
    bencher.bench(|| fit.terms());
}

#[divan::bench]
fn radial_error_of_the_next_sheet(bencher: Bencher<'_, '_>) {
    let fit = fit(5);
    let next = fit.next_sheet(&fit.field());
    bencher.bench(|| next.radial(Rect::whole(A4).grown(-5.0)));
}

#[divan::bench]
fn nine_cards_with_cutting(bencher: Bencher<'_, '_>) {
    let fit = fit(5);
    let next = fit.next_sheet(&fit.field());
    bencher.bench(|| {
        let cards = next.cards(&nine_cards(), Cutting::new(0.2));
        (cards.bleed_for(0.95), cards.border_for_sheets(0.95))
    });
}

#[divan::bench(args = [5, 10])]
fn sheets_that_do_not_belong(bencher: Bencher<'_, '_>, sheets: usize) {
    let fit = fit(sheets);
    bencher.bench(|| fit.belonging());
}
