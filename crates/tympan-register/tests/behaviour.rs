//! What the fit must do whatever the numbers: symmetries, sanity, refusals.

mod support;

use proptest::prelude::*;
use support::printer::{Printer, Random};
use tympan_register::{
    Basis, Estimate, Field, Fit, FitError, Model, Observation, Prior, Reading, Term,
};
use tympan_sheet::{Affine, Decomposed, FeedAxis, Point, Rect, Size, Vector};

const A4: Size = Size::new(210.0, 297.0);

fn model() -> Model {
    Model::new(A4, FeedAxis::Y)
}

fn fit(readings: &[Reading]) -> Fit {
    model().fit(readings).expect("good readings")
}

fn usual_readings(sheets: usize, seed: u64) -> Vec<Reading> {
    Printer::fixed(0.3).readings(sheets, 0.15, &mut Random(seed))
}

fn values(fit: &Fit) -> Vec<Estimate> {
    let scatter = fit.scatter();
    fit.terms()
        .into_iter()
        .map(|t| t.estimate)
        .chain([scatter.x_mm, scatter.y_mm, scatter.tilt_deg])
        .collect()
}

#[track_caller]
fn alike(a: Estimate, b: Estimate, share: f64) {
    let close = |x: f64, y: f64| (x - y).abs() <= share * a.half_width();
    let all = close(a.value, b.value) && close(a.low, b.low) && close(a.high, b.high);
    assert!(all, "{a:?} against {b:?}");
}

#[test]
fn the_same_readings_give_the_same_bits() {
    let readings = usual_readings(3, 1);
    let (a, b) = (fit(&readings), fit(&readings));
    assert_eq!(values(&a), values(&b));
    let (a, b) = (a.next_sheet(&a.field()), b.next_sheet(&b.field()));
    assert_eq!(a.radial(Rect::whole(A4)), b.radial(Rect::whole(A4)));
    assert_eq!(a.sheets(50), b.sheets(50));
}

#[test]
fn the_order_of_sheets_and_places_does_not_matter() {
    let readings = usual_readings(4, 2);
    let mut shuffled = readings.clone();
    shuffled.reverse();
    shuffled
        .iter_mut()
        .for_each(|r| r.observations.rotate_left(2));
    for (a, b) in values(&fit(&readings))
        .into_iter()
        .zip(values(&fit(&shuffled)))
    {
        alike(a, b, 1e-6);
    }
}

/// The same sheet looked at after a quarter turn clockwise: what was down is left, what was right
/// is down, and the feed runs along x.
#[test]
fn a_sheet_turned_a_quarter_tells_the_same() {
    let readings = usual_readings(3, 3);
    let turned: Vec<Reading> = readings
        .iter()
        .map(|r| {
            let turn = |o: &Observation| Observation {
                at: Point::new(A4.h - o.at.y, o.at.x),
                error: Vector::new(-o.error.y, o.error.x),
                variance: o.variance,
            };
            Reading::new(r.observations.iter().map(turn).collect())
        })
        .collect();
    let upright = fit(&readings);
    let lying = Model::new(A4.turned(), FeedAxis::X)
        .fit(&turned)
        .expect("good readings");
    let flipped = |e: Estimate| Estimate {
        value: -e.value,
        low: -e.high,
        high: -e.low,
        ..e
    };
    let of = |fit: &Fit, term: Term| fit.term(term).estimate;
    for (was, is, sign) in [
        (Term::ShiftX, Term::ShiftY, 1.0),
        (Term::ShiftY, Term::ShiftX, -1.0),
        (Term::StretchX, Term::StretchY, 1.0),
        (Term::StretchY, Term::StretchX, 1.0),
        (Term::BendAcross, Term::BendAcross, 1.0),
        (Term::BendAlong, Term::BendAlong, -1.0),
    ] {
        let was = of(&upright, was);
        let was = if sign < 0.0 { flipped(was) } else { was };
        // Quasi-random points are not turned with the sheet.
        alike(was, of(&lying, is), 0.02);
    }
    // The split into tilt and shear is not the same after a turn; the map is.
    let p = Point::new(30.0, 250.0);
    let there = upright.field().displacement(p);
    let here = lying.field().displacement(Point::new(A4.h - p.y, p.x));
    assert!((Vector::new(-there.y, there.x) - here).length() < 0.01);
    alike(upright.scatter().x_mm, lying.scatter().y_mm, 0.06);
    alike(upright.scatter().y_mm, lying.scatter().x_mm, 0.06);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

    #[test]
    fn whatever_was_read_the_answer_is_sane(
        sheets in 1..5_usize,
        seed in 0..u64::MAX,
        along in 0.02..2.0_f64,
        u in 0.005..0.5_f64,
        shift in -20.0..20.0_f64,
    ) {
        let mut printer = Printer { noise: u, ..Printer::fixed(along) };
        printer.shift[0] = shift;
        let readings = printer.readings(sheets, u, &mut Random(seed));
        let fit = model().with_points(512).fit(&readings).expect("good readings");
        for e in values(&fit) {
            prop_assert!(e.low <= e.value && e.value <= e.high && e.sd > 0.0, "{e:?}");
        }
        let prior = Prior::recommended();
        for (t, sd) in fit.terms().iter().zip(prior.steady_sd) {
            let unit = if matches!(t.term, Term::Tilt | Term::Shear) { 0.01_f64.to_degrees() } else { 1.0 };
            prop_assert!(t.estimate.sd <= 1.0001 * sd * unit, "data never widen the prior: {t:?}");
            prop_assert_eq!(t.real, t.estimate.low > 0.0 || t.estimate.high < 0.0);
        }
        prop_assert!(fit.noise().factor >= 1.0);
        let next = fit.next_sheet(&fit.field());
        let region = Rect::whole(A4).grown(-5.0);
        let q = next.radial(region);
        prop_assert!(0.0 < q.p50 && q.p50 < q.p95 && q.p95 < q.p99);
        for (radius, share) in [(q.p50, 0.5), (q.p95, 0.95), (q.p99, 0.99)] {
            prop_assert!((next.radial_share(region, radius) - share).abs() < 1e-6);
        }
        // The next sheet is never known better than the steady error.
        for term in [Term::ShiftX, Term::ShiftY, Term::Tilt] {
            let steady = fit.term(term).estimate.half_width();
            prop_assert!(next.term(term).half_width() > steady);
        }
    }

    /// `compose` of what is reported gives the map that is corrected.
    #[test]
    fn the_reported_parts_are_the_corrected_map(seed in 0..u64::MAX) {
        let fit = model().with_points(256).fit(&usual_readings(2, seed)).expect("good readings");
        let e = fit.steady_error();
        let parts = Decomposed {
            tilt: tympan_sheet::Angle::degrees(e.tilt_deg),
            stretch_x: e.stretch_percent[0] / 100.0,
            stretch_y: e.stretch_percent[1] / 100.0,
            shear: e.shear_deg.to_radians().tan(),
        };
        let again = Affine::compose(parts, e.shift_mm, A4.centre());
        prop_assert!(again.is_close(&fit.field(), 1e-9));
        for i in 0..6 {
            for j in 0..6 {
                prop_assert!((e.covariance[i][j] - e.covariance[j][i]).abs() < 1e-12);
            }
        }
        // Near the identity the parts are the terms, and so are their uncertainties.
        let sds: Vec<f64> = (0..6).map(|i| e.covariance[i][i].sqrt()).collect();
        for (i, term) in [(2, Term::Tilt), (3, Term::StretchX), (4, Term::StretchY), (5, Term::Shear)] {
            prop_assert!((sds[i] / fit.term(term).estimate.sd - 1.0).abs() < 0.02);
        }
    }
}

#[test]
fn a_correction_removes_the_steady_error_from_what_is_expected() {
    let fit = fit(&usual_readings(5, 5));
    let region = Rect::whole(A4).grown(-5.0);
    let before = fit.next_sheet(&Affine::IDENTITY).radial(region);
    let after = fit.next_sheet(&fit.field()).radial(region);
    assert!((1.5..3.0).contains(&before.p50), "{before:?}");
    assert!(after.p95 < 1.3 && after.p50 < 0.6, "{after:?}");
    let left = fit.next_sheet(&fit.field()).term(Term::Tilt).value;
    assert!(left.abs() < 1e-6, "{left}");
}

#[test]
fn noise_is_inflated_when_residuals_say_so_and_never_deflated() {
    let honest = Printer {
        noise: 0.15,
        ..Printer::fixed(0.3)
    };
    let careful = Printer {
        noise: 0.03,
        ..honest.clone()
    };
    let careless = Printer {
        noise: 0.45,
        ..honest.clone()
    };
    let factor = |printer: &Printer| {
        let noise = fit(&printer.readings(4, 0.15, &mut Random(6))).noise();
        // 48 coordinates less three per sheet.
        assert_eq!(noise.degrees_of_freedom, 36.0);
        noise.factor
    };
    assert_eq!(factor(&careful), 1.0);
    assert!(factor(&honest) < 1.3, "{}", factor(&honest));
    assert!(
        (5.0..11.0).contains(&factor(&careless)),
        "{}",
        factor(&careless)
    );
}

/// With known noise the residual sum is chi-squared: mean 36, standard deviation 8.5.
#[test]
fn residuals_of_honest_noise_are_chi_squared() {
    let mut sum = 0.0;
    for seed in 0..60 {
        let printer = Printer::from_prior(&mut Random(seed));
        let readings = printer.readings(4, 0.15, &mut Random(900 + seed));
        sum += model()
            .with_points(256)
            .fit(&readings)
            .expect("good")
            .noise()
            .chi_square;
    }
    let mean = sum / 60.0;
    assert!((mean - 36.0).abs() < 4.0 * 8.5 / 60.0_f64.sqrt(), "{mean}");
}

#[test]
fn an_error_that_a_whole_reading_shares_is_carried() {
    let readings = usual_readings(1, 7);
    let mut linked = readings.clone();
    linked[0].link = Some([[1.0, 0.0, 0.0], [0.0, 0.25, 0.0], [0.0, 0.0, 0.0]]);
    let (plain, linked) = (fit(&readings), fit(&linked));
    let variance = |fit: &Fit, term| fit.term(term).estimate.sd.powi(2);
    let added = |term| variance(&linked, term) - variance(&plain, term);
    assert!(
        (added(Term::ShiftX) - 1.0).abs() < 0.1,
        "{}",
        added(Term::ShiftX)
    );
    assert!(
        (added(Term::ShiftY) - 0.25).abs() < 0.05,
        "{}",
        added(Term::ShiftY)
    );
    // A link error is an error of reading, not of the next sheet's place, but it must be feared.
    assert_eq!(linked.noise().factor, plain.noise().factor);
}

/// "My backs are 2 mm low", once, with a ruler: a shift is known, a tilt is not.
#[test]
fn one_place_read_with_a_ruler_is_enough_for_a_shift() {
    let reading = Reading::new(vec![Observation::new(
        A4.centre(),
        Vector::new(0.5, 2.0),
        0.2,
    )]);
    let fit = fit(&[reading]);
    let down = fit.term(Term::ShiftY);
    assert!((down.estimate.value - 2.0).abs() < 0.05 && down.real);
    let tilt = fit.term(Term::Tilt);
    assert!((tilt.estimate.half_width() - 1.96 * 0.4).abs() < 0.02 && !tilt.real);
}

#[test]
fn more_sheets_bring_what_was_promised() {
    let (mut promised, mut came) = ([0.0; 2], [0.0; 2]);
    let count = 150;
    for seed in 0..count {
        let printer = Printer::from_prior(&mut Random(seed));
        let five = printer.readings(5, 0.15, &mut Random(500 + seed));
        let small = model().with_points(1024);
        let (now, then) = (
            small.fit(&five[..3]).expect("good"),
            small.fit(&five).expect("good"),
        );
        let promise = now.worth_of(2)[1];
        let widths = |fit: &Fit| {
            let next = fit
                .next_sheet(&Affine::IDENTITY)
                .term(Term::ShiftY)
                .half_width();
            (fit.term(Term::ShiftY).estimate.half_width(), next)
        };
        let ((steady, next), (steady_then, next_then)) = (widths(&now), widths(&then));
        assert!(
            (promise.steady.now - steady).abs() < 1e-9 && (promise.next.now - next).abs() < 1e-9
        );
        promised[0] += promise.steady.ratio() / count as f64;
        promised[1] += promise.next.ratio() / count as f64;
        came[0] += steady_then / steady / count as f64;
        came[1] += next_then / next / count as f64;
    }
    // Single ratios differ by 0.3 or so.
    assert!(
        (promised[0] - came[0]).abs() < 0.06,
        "steady: {promised:?} {came:?}"
    );
    assert!(
        (promised[1] - came[1]).abs() < 0.06,
        "next: {promised:?} {came:?}"
    );
    assert!(
        (promised[0] - 0.76).abs() < 0.04 && (promised[1] - 0.93).abs() < 0.04,
        "{promised:?}"
    );
}

#[test]
fn sheets_own_fields_follow_their_readings() {
    let mut readings = usual_readings(3, 8);
    readings[1]
        .observations
        .iter_mut()
        .for_each(|o| o.error.x += 0.5);
    let fit = fit(&readings);
    let fields = fit.sheet_fields();
    assert_eq!(fields.len(), 3);
    for (field, reading) in fields.iter().zip(&readings) {
        let n = reading.observations.len() as f64;
        let mean: f64 = reading
            .observations
            .iter()
            .map(|o| o.error.x - field.at(o.at).x)
            .sum::<f64>()
            / n;
        assert!(mean.abs() < 0.12, "{mean}");
    }
}

#[test]
fn readings_go_through_json_unchanged() {
    let mut reading = usual_readings(1, 9).remove(0);
    let text = serde_json::to_string(&reading).expect("writes");
    assert!(!text.contains("link"));
    assert_eq!(
        serde_json::from_str::<Reading>(&text).expect("reads"),
        reading
    );
    reading.link = Some([[1e-4, 0.0, 0.0], [0.0, 1e-4, 0.0], [0.0, 0.0, 1e-6]]);
    let text = serde_json::to_string(&reading).expect("writes");
    assert_eq!(
        serde_json::from_str::<Reading>(&text).expect("reads"),
        reading
    );
}

fn refusal(readings: &[Reading]) -> FitError {
    model().fit(readings).expect_err("must be refused")
}

fn spoiled(spoil: impl Fn(&mut Reading)) -> FitError {
    let mut readings = usual_readings(2, 10);
    spoil(&mut readings[1]);
    let error = refusal(&readings);
    assert!(!error.hint().is_empty());
    error
}

#[test]
fn impossible_readings_are_refused_and_named() {
    assert_eq!(refusal(&[]), FitError::NoReadings);
    assert_eq!(FitError::NoReadings.to_string(), "there are no readings");
    assert_eq!(
        spoiled(|r| r.observations.clear()),
        FitError::NoObservations { reading: 2 }
    );
    let not_finite = FitError::NotFinite {
        reading: 2,
        observation: 3,
    };
    assert_eq!(
        spoiled(|r| r.observations[2].error.x = f64::NAN),
        not_finite
    );
    assert_eq!(
        spoiled(|r| r.observations[2].variance[0][0] = f64::INFINITY),
        not_finite
    );
    assert_eq!(
        not_finite.to_string(),
        "point 3 of reading 2 holds a number that is not finite"
    );
    assert_eq!(
        spoiled(|r| r.observations[0].at.y = 2_000.0),
        FitError::OffSheet {
            reading: 2,
            observation: 1
        }
    );
    assert_eq!(
        spoiled(|r| r.observations[5].error.y = -150.0),
        FitError::TooLarge {
            reading: 2,
            observation: 6
        }
    );
    let bad = FitError::BadVariance {
        reading: 2,
        observation: 1,
    };
    for variance in [
        [[0.0, 0.0], [0.0, 1.0]],
        [[1.0, 1.0], [1.0, 1.0]],
        [[1.0, 0.1], [0.2, 1.0]],
        [[-1.0, 0.0], [0.0, -1.0]],
    ] {
        assert_eq!(spoiled(|r| r.observations[0].variance = variance), bad);
    }
    for link in [
        [[-1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
        [[1.0, 2.0, 0.0], [2.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
        [[1.0, 0.5, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
        [[f64::NAN, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
    ] {
        assert_eq!(
            spoiled(|r| r.link = Some(link)),
            FitError::BadLink { reading: 2 }
        );
    }
    let one_place = spoiled(|r| {
        let first = r.observations[0].at;
        r.observations.iter_mut().for_each(|o| o.at = first);
    });
    assert_eq!(one_place, FitError::OnePlace { reading: 2 });
    assert_eq!(
        one_place.hint(),
        "read at least two places far apart, best near the corners"
    );
    let nowhere = Model::new(Size::new(0.0, 297.0), FeedAxis::Y).fit(&usual_readings(1, 1));
    assert_eq!(nowhere.expect_err("no size"), FitError::BadSheet);
}

#[test]
fn impossible_priors_are_refused() {
    let with = |prior: Prior| model().with_prior(prior).fit(&usual_readings(1, 11));
    let good = Prior::recommended;
    for prior in [
        Prior {
            scatter_df: 1.0,
            ..good()
        },
        Prior {
            along_mm: 0.0,
            ..good()
        },
        Prior {
            tilt_deg: f64::NAN,
            ..good()
        },
        Prior {
            log_scale_sd: -1.0,
            ..good()
        },
        Prior {
            steady_sd: [-1.0; 8],
            ..good()
        },
        Prior {
            sheet_stretch_sd: f64::INFINITY,
            ..good()
        },
        Prior {
            noise_df: f64::NAN,
            ..good()
        },
    ] {
        assert!(
            matches!(with(prior.clone()), Err(FitError::BadPrior(_))),
            "{prior:?}"
        );
    }
}

#[test]
fn flat_priors_need_data_for_every_term() {
    let flat = Prior {
        steady_sd: [f64::INFINITY; 8],
        ..Prior::recommended()
    };
    let ruler = Reading::new(vec![Observation::new(
        A4.centre(),
        Vector::new(0.5, 2.0),
        0.2,
    )]);
    let model = model().with_prior(flat);
    assert_eq!(
        model.fit(&[ruler]).expect_err("one place"),
        FitError::Undetermined
    );
    let fit = model.fit(&usual_readings(3, 12)).expect("six places");
    assert!((fit.term(Term::ShiftY).estimate.value - 2.1).abs() < 0.6);
}

#[test]
fn a_field_can_be_kept_as_json() {
    let field = Field::new(
        Basis {
            sheet: A4,
            feed: FeedAxis::Y,
        },
        [0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8],
    );
    let text = serde_json::to_string(&field).expect("writes");
    assert_eq!(serde_json::from_str::<Field>(&text).expect("reads"), field);
}

/// From a scan's 200 points to a ruler's one, from a single sheet to sixty, from a printer far
/// tighter to one far looser than expected.
#[test]
fn the_computation_holds_for_all_kinds_of_readings() {
    let scan = |along: f64, sheets: u64| -> Vec<Reading> {
        let printer = Printer::fixed(along);
        let mut random = Random(31 + sheets);
        (0..sheets)
            .map(|_| {
                let sheet = printer.sheet(0.0, &mut random);
                let observe = |k: usize| {
                    let (x, y) = (20.0 + 12.0 * (k % 15) as f64, 25.0 + 18.0 * (k / 15) as f64);
                    let e = sheet.error(x, y);
                    let mut noise = || 0.006 * random.normal();
                    let seen = Vector::new(e[0] + noise(), e[1] + noise());
                    Observation::new(Point::new(x, y), seen, 0.006)
                };
                let observations = (0..210).map(observe).collect();
                let link = [[1.4e-4, 0.0, 0.0], [0.0, 1.4e-4, 0.0], [0.0, 0.0, 8e-5]];
                Reading {
                    observations,
                    link: Some(link),
                }
            })
            .collect()
    };
    let ruler = |sheets: usize| -> Vec<Reading> {
        (0..sheets)
            .map(|j| {
                let seen = Vector::new(0.5, 2.0 + 0.2 * j as f64);
                Reading::new(vec![Observation::new(A4.centre(), seen, 0.2)])
            })
            .collect()
    };
    let pin =
        |along: f64, sheets: usize| Printer::fixed(along).readings(sheets, 0.15, &mut Random(41));
    for (name, readings) in [
        ("one scan", scan(0.3, 1)),
        ("five scans", scan(0.3, 5)),
        ("scans of a tight printer", scan(0.01, 5)),
        ("scans of a loose printer", scan(3.0, 5)),
        ("sixty scans", scan(0.3, 60)),
        ("one ruler", ruler(1)),
        ("four rulers", ruler(4)),
        ("pins of a tight printer", pin(0.02, 8)),
        ("pins of a loose printer", pin(3.0, 4)),
        ("sixty pins", pin(0.3, 60)),
    ] {
        let fit = fit(&readings);
        let worth = fit.effective_points() / 4096.0;
        assert!(worth > 0.15, "{name}: {worth:.2}");
        let q = fit
            .next_sheet(&fit.field())
            .radial(Rect::whole(A4).grown(-5.0));
        assert!(
            q.p50 > 0.0 && q.p99.is_finite() && q.p99 < 20.0,
            "{name}: {q:?}"
        );
    }
}
