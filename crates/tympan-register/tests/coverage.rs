//! A small, seeded part of the coverage report (`docs/coverage.md`): whether what is stated with
//! 95 % probability comes true 95 times in 100 when truths are drawn from the prior.

mod support;

use support::printer::{Habit, Printer, Random};
use support::tally::{NAMES, run};

fn from_prior(i: u64) -> Printer {
    Printer::from_prior(&mut Random(1_000_003 * i + 17))
}

/// 200 set-ups: the standard error of a share is 1.5 %, so that 3.5 of them are 5.4 %.
#[test]
fn stated_intervals_and_regions_come_true() {
    for sheets in [1, 3] {
        let tally = run(200, sheets, 0.15, from_prior);
        for (what, name) in NAMES.iter().enumerate() {
            let share = tally.share(what);
            assert!(
                (0.896..=0.999).contains(&share),
                "{name} at {sheets} sheets: {share:.3}"
            );
        }
    }
}

/// Stated noise that is half of the true one is found out and inflated.
#[test]
fn understated_noise_is_inflated() {
    let printer = |_| Printer {
        noise: 0.30,
        ..Printer::fixed(0.3)
    };
    let tally = run(200, 5, 0.15, printer);
    for (what, name) in NAMES.iter().enumerate().take(8) {
        assert!(tally.share(what) > 0.88, "{name}: {}", tally.share(what));
    }
}

/// A sheet that slipped by 3 mm among six is named, and others seldom are.
#[test]
fn a_slipped_sheet_is_named() {
    use tympan_register::Model;
    use tympan_sheet::FeedAxis;
    let (mut found, mut wrong) = (0, 0);
    for seed in 0..20 {
        let mut random = Random(seed);
        let printer = Printer {
            habit: Habit::Plain,
            ..Printer::fixed(0.3)
        };
        let mut readings = printer.readings(6, 0.15, &mut random);
        for observation in &mut readings[4].observations {
            observation.error.y += 3.0;
        }
        let model = Model::new(support::printer::A4, FeedAxis::Y).with_points(1024);
        let fit = model.fit(&readings).expect("good readings");
        let named = fit.belonging().expect("six sheets").strangers();
        found += usize::from(named.contains(&4));
        wrong += named.iter().filter(|&&j| j != 4).count();
    }
    assert!(
        found >= 18 && wrong <= 1,
        "found {found} of 20, wrongly named {wrong}"
    );
}
