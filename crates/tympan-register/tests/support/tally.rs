//! Counts how often what the fit states comes true.

#![allow(dead_code, reason = "tests and the example use different parts")]

use super::printer::{A4, Printer, Random};
use tympan_register::{Field, Model, Term};
use tympan_sheet::{Affine, FeedAxis, Point, Rect};

/// What is counted, in this order.
pub(crate) const NAMES: [&str; 17] = [
    "shift x",
    "shift y",
    "tilt",
    "stretch x",
    "stretch y",
    "shear",
    "bend across",
    "bend along",
    "steady region",
    "next x",
    "next y",
    "next tilt",
    "next region",
    "next radial",
    "scatter x",
    "scatter y",
    "scatter tilt",
];

/// Hits and mean half widths.
#[derive(Clone, Debug, Default)]
pub(crate) struct Tally {
    pub(crate) count: u64,
    pub(crate) hits: [u64; NAMES.len()],
    pub(crate) widths: [f64; NAMES.len()],
    pub(crate) worth: f64,
}

impl Tally {
    pub(crate) fn share(&self, what: usize) -> f64 {
        self.hits[what] as f64 / self.count as f64
    }

    pub(crate) fn width(&self, what: usize) -> f64 {
        self.widths[what] / self.count as f64
    }

    pub(crate) fn add(&mut self, other: &Self) {
        self.count += other.count;
        self.worth += other.worth;
        for i in 0..NAMES.len() {
            self.hits[i] += other.hits[i];
            self.widths[i] += other.widths[i];
        }
    }

    fn note(&mut self, what: usize, hit: bool, width: f64) {
        self.hits[what] += u64::from(hit);
        self.widths[what] += width;
    }

    /// Reads so many test sheets of a printer, fits, and looks what is true.
    pub(crate) fn try_out(&mut self, printer: &Printer, sheets: usize, stated: f64, seed: u64) {
        let mut random = Random(seed);
        let readings = printer.readings(sheets, stated, &mut random);
        let model = Model::new(A4, FeedAxis::Y).with_points(1024);
        let fit = model.fit(&readings).expect("good readings");
        self.count += 1;
        self.worth += fit.effective_points() / 1024.0;
        let truth = printer.truth();
        for (i, term) in fit.terms().into_iter().enumerate() {
            let e = term.estimate;
            self.note(i, e.low <= truth[i] && truth[i] <= e.high, e.half_width());
        }
        let tilt = |degrees: f64| 100.0 * degrees.to_radians();
        let field = |x: f64, y: f64, tilt: f64| {
            Field::new(fit.model().basis(), [x, y, tilt, 0., 0., 0., 0., 0.])
        };
        let steady = field(truth[0], truth[1], tilt(truth[2]));
        self.note(8, fit.steady_p_value(&steady) >= 0.05, 0.0);

        let place = (random.uniform() * 20.0).floor() - 9.5;
        let sheet = printer.sheet(place, &mut random);
        let uncorrected = fit.next_sheet(&Affine::IDENTITY);
        let own = [
            sheet.shift[0],
            sheet.shift[1],
            (sheet.tilt / 100.0).to_degrees(),
        ];
        for (i, term) in [Term::ShiftX, Term::ShiftY, Term::Tilt]
            .into_iter()
            .enumerate()
        {
            let e = uncorrected.term(term);
            self.note(9 + i, e.low <= own[i] && own[i] <= e.high, e.half_width());
        }
        let p = fit.next_p_value(&field(sheet.shift[0], sheet.shift[1], sheet.tilt));
        self.note(12, p >= 0.05, 0.0);

        let region = Rect::whole(A4).grown(-5.0);
        let correction = fit.field();
        let (x, y) = (
            5.0 + 200.0 * random.uniform(),
            5.0 + 287.0 * random.uniform(),
        );
        let error = sheet.error(x, y);
        let corrected = correction.displacement(Point::new(x, y));
        let left = (error[0] - corrected.x).hypot(error[1] - corrected.y);
        let share = fit.next_sheet(&correction).radial_share(region, left);
        self.note(13, share <= 0.95, left);

        let scatter = fit.scatter();
        let sd = |i: usize| {
            (0..3)
                .map(|k| printer.scatter[i][k].powi(2))
                .sum::<f64>()
                .sqrt()
        };
        let stated = [scatter.x_mm, scatter.y_mm, scatter.tilt_deg];
        let real = [sd(0), sd(1), (sd(2) / 100.0).to_degrees()];
        for i in 0..3 {
            let hit = stated[i].low <= real[i] && real[i] <= stated[i].high;
            self.note(14 + i, hit, stated[i].half_width());
        }
    }
}

/// Tries out many set-ups on two threads; the result does not depend on how they share the work.
pub(crate) fn run(
    setups: u64,
    sheets: usize,
    stated: f64,
    printer: impl Fn(u64) -> Printer + Sync,
) -> Tally {
    let half = |from: u64| {
        let mut tally = Tally::default();
        for i in (from..setups).step_by(2) {
            tally.try_out(
                &printer(i),
                sheets,
                stated,
                0x5eed_0000_0000 + i * 7919 + sheets as u64,
            );
        }
        tally
    };
    let mut total = Tally::default();
    std::thread::scope(|scope| {
        let other = scope.spawn(|| half(1));
        total.add(&half(0));
        total.add(&other.join().expect("no panic"));
    });
    total
}
