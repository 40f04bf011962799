//! Prints `docs/coverage.md`: how often what is stated comes true, and how wide it is against an
//! exact answer that is computed another way.
//!
//! `cargo run --release -p tympan-register --example coverage > docs/coverage.md`; a number as
//! argument divides the work, for a quick look.

#![allow(clippy::print_stdout, reason = "this is what it is for")]

#[path = "coverage/gibbs.rs"]
mod gibbs;
#[path = "../tests/support/mod.rs"]
mod support;

use support::printer::{A4, Habit, Printer, Random};
use support::tally::{NAMES, Tally, run};
use tympan_register::{Model, Term};
use tympan_sheet::{Affine, FeedAxis};

fn main() {
    let divide: u64 = std::env::args()
        .nth(1)
        .and_then(|n| n.parse().ok())
        .unwrap_or(1)
        .max(1);
    println!(
        "# How often what is stated comes true\n\n\
         Made by `cargo run --release -p tympan-register --example coverage > docs/coverage.md`; \
         every number is seeded and comes out the same again. The simulated printer is written \
         apart from the fitting code (`crates/tympan-register/tests/support/printer.rs`). Sheets are \
         A4, fed along their height, read with a pin at six places (near the corners and at the \
         middle of the long edges) with a standard uncertainty of 0.15 mm.\n\n\
         Columns: the steady error's terms (95 % interval), the region of steady shift and tilt \
         (95 %), the next sheet's true shift and tilt (interval and region, 95 %), and the register \
         error left after correction at a random point of the page (stated 95 % radius). Numbers \
         are the share, in percent, of simulated set-ups where the truth lay inside."
    );
    from_prior(2_000 / divide);
    fixed_printers(500 / divide);
    wrong_assumptions(400 / divide);
    against_the_exact_answer(12 / divide.min(6));
    what_it_says();
}

fn from_prior(setups: u64) {
    println!(
        "\n## Truth drawn from the prior\n\n{setups} set-ups for each count of sheets; the \
         standard error of a share is about {:.1} %. Wanted: 93 to 97.\n",
        100.0 * (0.95 * 0.05 / setups as f64).sqrt()
    );
    head("sheets");
    let mut tallies = Vec::new();
    for sheets in [1, 2, 3, 5, 10] {
        let tally = run(setups, sheets, 0.15, |i| {
            Printer::from_prior(&mut Random(1_000_003 * i + 17))
        });
        row(&sheets.to_string(), &tally);
        tallies.push((sheets, tally));
    }
    println!("\nThe scatter's own 95 % intervals, and mean half widths (mm):\n");
    println!(
        "| sheets | scatter x | scatter y | scatter tilt | ± steady shift y | ± next shift y | \
         mean error left |\n|---|---|---|---|---|---|---|"
    );
    for (sheets, t) in &tallies {
        println!(
            "| {sheets} | {:.1} | {:.1} | {:.1} | {:.2} | {:.2} | {:.2} |",
            100.0 * t.share(14),
            100.0 * t.share(15),
            100.0 * t.share(16),
            t.width(1),
            t.width(10),
            t.width(13)
        );
    }
}

fn fixed_printers(setups: u64) {
    println!(
        "\n## Fixed printers\n\nThe same printer again and again, {setups} times: scatter along the \
         feed of 0.1 mm (tight), 0.3 mm (usual) and 0.7 mm (loose), two thirds of it across, a \
         sixth of a degree per mm in tilt. The prior expects the usual one, so that a tight printer is \
         over-covered and a loose one under-covered until the sheets have told what it is.\n"
    );
    head("printer, sheets");
    for (name, along) in [("tight", 0.1), ("usual", 0.3), ("loose", 0.7)] {
        for sheets in [1, 2, 3, 5, 10] {
            let tally = run(setups, sheets, 0.15, |_| Printer::fixed(along));
            row(&format!("{name}, {sheets}"), &tally);
        }
    }
}

fn wrong_assumptions(setups: u64) {
    println!(
        "\n## Wrong assumptions\n\nThe usual printer, {setups} times, with something that the model \
         does not know of. The steady error of the drifting printer is that of the middle of a stack of \
         20 whose first sheets were read; its next sheet is any of the 20.\n"
    );
    head("fault, sheets");
    let usual = || Printer::fixed(0.3);
    let habit = |habit: Habit| Printer { habit, ..usual() };
    let mut two_states = habit(Habit::TwoStates);
    two_states.scatter[1][1] = 0.15;
    let faults: [(&str, Printer, f64); 7] = [
        ("scatter with t4 tails", habit(Habit::HeavyTails), 0.15),
        ("two feed states 0.6 mm apart", two_states, 0.15),
        ("drift of 0.04 mm a sheet", habit(Habit::Drift), 0.15),
        ("10 % slips of sd 1.5 mm", habit(Habit::Slips), 0.15),
        (
            "bend of 0.2 mm both ways",
            Printer {
                bend: [0.2, 0.2],
                ..usual()
            },
            0.15,
        ),
        (
            "sheets' own stretch 0.1 %",
            Printer {
                sheet_stretch: 0.1,
                ..usual()
            },
            0.15,
        ),
        (
            "noise 0.30 mm stated as 0.15 mm",
            Printer {
                noise: 0.30,
                ..usual()
            },
            0.15,
        ),
    ];
    for (name, printer, stated) in &faults {
        for sheets in [1, 3, 10] {
            row(
                &format!("{name}, {sheets}"),
                &run(setups, sheets, *stated, |_| printer.clone()),
            );
        }
    }
}

fn against_the_exact_answer(setups: u64) {
    println!(
        "\n## Width against the exact answer\n\nThe same posterior computed by a Gibbs sampler that \
         shares no code with the fit (`crates/tympan-register/examples/coverage/gibbs.rs`: dense \
         covariances of the readings as they are, 40,000 draws, the noise taken as stated). Ratio of \
         the stated half widths to the exact ones, averaged over {setups} set-ups drawn from the \
         prior; wanted: at most 1.10. What is above one is the inflation of the noise.\n"
    );
    let names = [Term::ShiftX, Term::ShiftY, Term::Tilt];
    println!(
        "| sheets | {} | next x | next y | next tilt | largest single ratio |",
        NAMES[..8].join(" | ")
    );
    println!("|---{}|", "|---".repeat(12));
    for sheets in [1, 3, 10] {
        let ratios = |i: u64| {
            let mut random = Random(77_003 * i + sheets as u64);
            let printer = Printer::from_prior(&mut random);
            let readings = printer.readings(sheets, 0.15, &mut random);
            let exact = gibbs::half_widths(&readings, 40_000, &mut random);
            let fit = Model::new(A4, FeedAxis::Y)
                .fit(&readings)
                .expect("good readings");
            let next = fit.next_sheet(&Affine::IDENTITY);
            let mut stated: Vec<f64> = fit
                .terms()
                .iter()
                .map(|t| t.estimate.half_width())
                .collect();
            stated.extend(names.map(|term| next.term(term).half_width()));
            stated
                .iter()
                .zip(exact)
                .map(|(s, e)| s / e)
                .collect::<Vec<f64>>()
        };
        let half = |from: u64| (from..setups).step_by(2).map(ratios).collect::<Vec<_>>();
        let all = std::thread::scope(|scope| {
            let other = scope.spawn(|| half(1));
            let mut all = half(0);
            all.extend(other.join().expect("no panic"));
            all
        });
        let largest = all.iter().flatten().copied().fold(0.0, f64::max);
        let sums: Vec<f64> = (0..11).map(|k| all.iter().map(|r| r[k]).sum()).collect();
        let means: Vec<String> = sums
            .iter()
            .map(|s| format!("{:.3}", s / setups as f64))
            .collect();
        println!("| {sheets} | {} | {largest:.3} |", means.join(" | "));
    }
}

fn what_it_says() {
    println!(
        "\n## What this says\n\n\
         - Where the truth is as the prior has it, what is stated at 95 % comes true 93 to 97 times \
         in 100, from one sheet on.\n\
         - A tight printer does better than is promised until about ten sheets are read. A printer \
         looser than the prior expects is believed too well at one sheet (about 78 %) and a little too \
         well at two to five: read three to five sheets before trusting a bleed.\n\
         - Heavy tails and slips cost little on average, because they widen the scatter that is learnt; \
         a slipped sheet among the readings is named (`Fit::belonging`).\n\
         - Drift within the stack cannot be seen in sheets from its top: take the test sheets from \
         different heights.\n\
         - A bend twice as large as the prior expects is shrunk towards none. Its own interval then \
         misses it often; the register error that is stated still holds.\n\
         - Sheets that stretch three times as much as is assumed make the intervals of stretch and \
         shear too narrow; those of the shift, and the next sheet, are not harmed.\n\
         - Noise stated at half its size is found out by the residuals and inflated; with one sheet only \
         in part.\n\
         - The intervals are as wide as the exact ones but for the inflation of the noise."
    );
}

fn head(first: &str) {
    println!("| {first} | {} |", NAMES[..14].join(" | "));
    println!("|---{}|", "|---".repeat(14));
}

fn row(first: &str, tally: &Tally) {
    let shares: Vec<String> = (0..14)
        .map(|what| format!("{:.1}", 100.0 * tally.share(what)))
        .collect();
    println!("| {first} | {} |", shares.join(" | "));
}
