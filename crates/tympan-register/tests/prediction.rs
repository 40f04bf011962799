//! The next sheet and its cards against closed forms and plain simulation.

mod support;

use support::printer::Random;
use tympan_register::{Basis, Cutting, Field, NextSheet};
use tympan_sheet::{FeedAxis, Front, Point, Rect, Size};

const A4: Size = Size::new(210.0, 297.0);
const BASIS: Basis = Basis {
    sheet: A4,
    feed: FeedAxis::Y,
};

fn known(left: [f64; 8], sd: [f64; 3]) -> NextSheet {
    let variance = |i: usize| sd[i] * sd[i];
    let scatter = [
        [variance(0), 0.0, 0.0],
        [0.0, variance(1), 0.0],
        [0.0, 0.0, variance(2)],
    ];
    NextSheet::known(Field::new(BASIS, left), scatter)
}

#[track_caller]
fn close(got: f64, want: f64, tolerance: f64) {
    assert!(
        (got - want).abs() <= tolerance,
        "got {got}, want {want} within {tolerance}"
    );
}

/// Without tilt and steady error the distance is Rayleigh distributed: `σ √(−2 ln(1 − p))`.
#[test]
fn equal_scatter_both_ways_is_rayleigh_distributed() {
    let q = known([0.0; 8], [0.3, 0.3, 0.0]).radial(Rect::whole(A4));
    for (got, p) in [(q.p50, 0.5_f64), (q.p95, 0.95), (q.p99, 0.99)] {
        close(got, 0.3 * (-2.0 * (1.0 - p).ln()).sqrt(), 1e-5);
    }
}

/// The error field as the model states it, spelled out.
fn error(left: &[f64; 8], b: [f64; 3], x: f64, y: f64) -> [f64; 2] {
    let (qx, qy) = ((x - 105.0) / 100.0, (y - 148.5) / 100.0);
    let bow = (2.0 * (y - 148.5) / 297.0).powi(2);
    let tilt = left[2] + b[2];
    [
        left[0] + b[0] + left[3] * qx + (left[5] - tilt) * qy + left[6] * bow,
        left[1] + b[1] + tilt * qx + left[4] * qy + left[7] * bow,
    ]
}

#[test]
fn radial_shares_agree_with_plain_simulation_even_far_from_no_error() {
    let left = [1.2, -0.8, 0.2, 0.1, -0.1, 0.05, 0.1, -0.1];
    let sd = [0.2, 0.3, 0.09];
    let region = Rect::at(Point::new(5.0, 5.0), Size::new(200.0, 287.0));
    let next = known(left, sd);
    let mut random = Random(3);
    let count = 200_000;
    let mut radii: Vec<f64> = (0..count)
        .map(|_| {
            let b = sd.map(|sd| sd * random.normal());
            let (x, y) = (
                5.0 + 200.0 * random.uniform(),
                5.0 + 287.0 * random.uniform(),
            );
            let [ex, ey] = error(&left, b, x, y);
            ex.hypot(ey)
        })
        .collect();
    radii.sort_by(f64::total_cmp);
    let q = next.radial(region);
    for (got, p) in [(q.p50, 0.50), (q.p95, 0.95), (q.p99, 0.99)] {
        close(got / radii[(p * f64::from(count)) as usize], 1.0, 0.01);
    }
}

/// A 3 × 3 plan with gutters of 3 mm.
fn nine() -> Vec<Rect<Front>> {
    let size = Size::new(57.0, 88.0);
    let at = |i: usize| Point::new(16.5 + 60.0 * (i % 3) as f64, 13.5 + 91.0 * (i / 3) as f64);
    (0..9).map(|i| Rect::at(at(i), size)).collect()
}

/// Shares of cards and sheets that show white and that look lopsided, by plain simulation.
fn simulate(
    cells: &[Rect<Front>],
    left: [f64; 8],
    sd: [f64; 3],
    cut_sd: f64,
    bleed: f64,
    border: f64,
) -> [f64; 4] {
    let mut random = Random(8);
    let count = 40_000;
    let mut sums = [0.0; 4];
    let lines = |pick: &dyn Fn(&Rect<Front>) -> [f64; 2]| {
        let mut all: Vec<f64> = cells.iter().flat_map(pick).collect();
        all.sort_by(f64::total_cmp);
        all.dedup_by(|a, b| (*a - *b).abs() < 1e-6);
        all
    };
    let (upright, level) = (
        lines(&|c| [c.min.x, c.max.x]),
        lines(&|c| [c.min.y, c.max.y]),
    );
    for _ in 0..count {
        let b = sd.map(|sd| sd * random.normal());
        let mut cuts = |lines: &[f64]| -> Vec<(f64, f64)> {
            lines
                .iter()
                .map(|&at| (at, cut_sd * random.normal()))
                .collect()
        };
        let (cut_x, cut_y) = (cuts(&upright), cuts(&level));
        let off = |cuts: &[(f64, f64)], at: f64| {
            cuts.iter()
                .find(|(line, _)| (line - at).abs() < 1e-6)
                .expect("a cut")
                .1
        };
        let (mut white_any, mut uneven_any) = (false, false);
        for c in cells {
            let (l, r) = (off(&cut_x, c.min.x), off(&cut_x, c.max.x));
            let (t, u) = (off(&cut_y, c.min.y), off(&cut_y, c.max.y));
            let e = |x: f64, y: f64| error(&left, b, x, y);
            let (tl, tr) = (e(c.min.x, c.min.y), e(c.max.x, c.min.y));
            let (bl, br) = (e(c.min.x, c.max.y), e(c.max.x, c.max.y));
            // How much of the back's margin each side has lost, at both of its ends.
            let back = [
                [tl[0] - l, bl[0] - l],
                [r - tr[0], r - br[0]],
                [tl[1] - t, tr[1] - t],
                [u - bl[1], u - br[1]],
            ];
            let front = [-l, r, -t, u];
            let white = back
                .iter()
                .flatten()
                .chain(&front)
                .any(|&lost| lost > bleed);
            let thickness = |lost: f64| border - lost;
            let lopsided = |thin: f64, thick: f64| thin < 2.0 / 3.0 * thick;
            let mut uneven = false;
            for i in 0..4 {
                for j in 0..4 {
                    if i == j {
                        continue;
                    }
                    uneven |= lopsided(thickness(front[i]), thickness(front[j]));
                    for a in back[i] {
                        uneven |= back[j]
                            .iter()
                            .any(|&b| lopsided(thickness(a), thickness(b)));
                    }
                }
            }
            sums[0] += f64::from(u8::from(white)) / cells.len() as f64;
            sums[2] += f64::from(u8::from(uneven)) / cells.len() as f64;
            white_any |= white;
            uneven_any |= uneven;
        }
        sums[1] += f64::from(u8::from(white_any));
        sums[3] += f64::from(u8::from(uneven_any));
    }
    sums.map(|sum| sum / f64::from(count))
}

#[test]
fn cards_and_sheets_agree_with_plain_simulation() {
    let left = [0.10, -0.05, 0.03, 0.02, -0.03, 0.01, 0.04, 0.05];
    let sd = [0.2, 0.3, 0.09];
    for (cut_sd, bleed, border) in [(0.0, 0.6, 3.0), (0.25, 0.9, 4.5)] {
        let cells = nine();
        let [white, white_sheets, uneven, uneven_sheets] =
            simulate(&cells, left, sd, cut_sd, bleed, border);
        let cards = known(left, sd).cards(&cells, Cutting::new(cut_sd));
        // Three standard errors of the simulation and the rays' own error.
        close(cards.share_white(bleed), white, 0.006);
        close(cards.share_white_sheets(bleed), white_sheets, 0.01);
        close(cards.share_lopsided(border), uneven, 0.01);
        close(cards.share_lopsided_sheets(border), uneven_sheets, 0.012);
        assert!(
            white > 0.02 && uneven > 0.02,
            "a telling case: {white} {uneven}"
        );
    }
}

#[test]
fn what_is_needed_keeps_the_share_that_was_asked_for() {
    let cards = known([0.0; 8], [0.2, 0.3, 0.09]).cards(&nine(), Cutting::new(0.2));
    for share in [0.5, 0.95, 0.99] {
        close(1.0 - cards.share_white(cards.bleed_for(share)), share, 1e-6);
        close(
            1.0 - cards.share_white_sheets(cards.bleed_for_sheets(share)),
            share,
            1e-6,
        );
        close(
            1.0 - cards.share_lopsided(cards.border_for(share)),
            share,
            1e-6,
        );
        close(
            1.0 - cards.share_lopsided_sheets(cards.border_for_sheets(share)),
            share,
            1e-6,
        );
    }
    // Failures come as whole sheets: a sheet asks for more than a card.
    assert!(cards.bleed_for_sheets(0.95) > cards.bleed_for(0.95));
    assert!(cards.border_for(0.95) > 3.0 * cards.bleed_for(0.95));
}

#[test]
fn no_cards_are_always_right() {
    let cards = known([0.0; 8], [0.2, 0.3, 0.09]).cards(&[], Cutting::default());
    assert_eq!(cards.bleed_for(0.95), 0.0);
    assert_eq!(cards.share_white_sheets(0.0), 0.0);
}

#[test]
fn simulated_sheets_scatter_as_stated() {
    let sd = [0.2, 0.3, 0.09];
    let sheets = known([1.0, 2.0, 0.5, 0.1, 0.0, 0.0, 0.0, 0.0], sd).sheets(4096);
    for (i, (mean, sd)) in [(1.0, sd[0]), (2.0, sd[1]), (0.5, sd[2])]
        .into_iter()
        .enumerate()
    {
        let values: Vec<f64> = sheets.iter().map(|s| s.coefficients()[i]).collect();
        let average = values.iter().sum::<f64>() / 4096.0;
        let variance = values.iter().map(|v| (v - average).powi(2)).sum::<f64>() / 4096.0;
        close(average, mean, 0.002);
        close(variance.sqrt() / sd, 1.0, 0.01);
    }
    assert!(sheets.iter().all(|s| s.coefficients()[3] == 0.1));
}

/// The rays' figures for a fit of three sheets, against 65,536 sheets drawn from the same
/// predictive distribution: 1 % is the rays' promise, the rest the simulation's own error.
#[test]
fn rays_agree_with_drawn_sheets() {
    use support::printer::Printer;
    let readings = Printer::fixed(0.3).readings(3, 0.15, &mut Random(21));
    let fit = tympan_register::Model::new(A4, FeedAxis::Y)
        .fit(&readings)
        .expect("good readings");
    let next = fit.next_sheet(&fit.field());
    let cards = next.cards(&nine(), Cutting::default());
    let drawn = next.sheets(1 << 16);
    let (mut each, mut worst) = (Vec::new(), Vec::new());
    for sheet in &drawn {
        // Without cuts a card loses most where its image has moved inwards most.
        let lost = |cell: &Rect<Front>| {
            let [tl, tr, br, bl] = cell.corners().map(|p| sheet.at(p));
            [tl.x, bl.x, -tr.x, -br.x, tl.y, tr.y, -bl.y, -br.y]
                .into_iter()
                .fold(0.0, f64::max)
        };
        let all: Vec<f64> = nine().iter().map(lost).collect();
        worst.push(all.iter().copied().fold(0.0, f64::max));
        each.extend(all);
    }
    let at = |values: &mut Vec<f64>, p: f64| {
        values.sort_by(f64::total_cmp);
        values[(p * values.len() as f64) as usize]
    };
    close(cards.bleed_for(0.95) / at(&mut each, 0.95), 1.0, 0.02);
    close(
        cards.bleed_for_sheets(0.95) / at(&mut worst, 0.95),
        1.0,
        0.02,
    );
    let p = Point::new(105.0, 148.5);
    let mut radii: Vec<f64> = drawn.iter().map(|s| s.at(p).length()).collect();
    let centre = Rect::at(p, Size::new(1e-9, 1e-9));
    close(next.radial(centre).p95 / at(&mut radii, 0.95), 1.0, 0.02);
}

/// 80 small tiles: fewer rays are used, and the figure must stay within 1 %.
#[test]
fn many_small_cells_are_as_exact_as_one() {
    let tile = Size::new(15.0, 15.0);
    let at = |i: usize| Point::new(20.0 + 20.0 * (i % 8) as f64, 20.0 + 26.0 * (i / 8) as f64);
    let cells: Vec<Rect<Front>> = (0..80).map(|i| Rect::at(at(i), tile)).collect();
    let next = known([0.0; 8], [0.2, 0.3, 0.09]);
    let all = next.cards(&cells, Cutting::default());
    // By symmetry and linearity the average over cells is the average of one cell's shares.
    let bleed = all.bleed_for(0.95);
    let single: f64 = cells
        .iter()
        .map(|cell| 1.0 - next.cards(&[*cell], Cutting::default()).share_white(bleed))
        .sum::<f64>()
        / 80.0;
    close(single, 0.95, 0.001);
}
