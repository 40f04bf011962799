//! Published check values of the textbook methods; each test names its source.

use nalgebra::{DMatrix, DVector};
use tympan_register::textbook::{
    HotellingT2, LeastSquares, TextbookError, fit_rigid, fit_similarity, hotelling_limit,
    least_squares, prediction_limit, rectangular, resolution, tolerance_factor,
    tolerance_factor_howe, triangular, welch_satterthwaite,
};
use tympan_sheet::{Front, Point};

#[track_caller]
fn close(got: f64, want: f64, tolerance: f64) {
    assert!(
        (got - want).abs() <= tolerance,
        "got {got}, want {want} within {tolerance}"
    );
}

/// Certified digits reached: −log₁₀ of the relative error, at most 15.
fn digits(got: f64, certified: f64) -> f64 {
    if got == certified {
        return 15.0;
    }
    let scale = if certified == 0.0 {
        1.0
    } else {
        certified.abs()
    };
    (-((got - certified).abs() / scale).log10()).min(15.0)
}

fn worst(got: &[f64], certified: &[f64]) -> f64 {
    assert_eq!(got.len(), certified.len());
    got.iter()
        .zip(certified)
        .map(|(g, c)| digits(*g, *c))
        .fold(15.0, f64::min)
}

#[track_caller]
fn at_least(reached: f64, wanted: f64) {
    assert!(
        reached >= wanted,
        "only {reached:.1} digits, {wanted} wanted"
    );
}

/// NIST StRD, Norris (linear, lower difficulty): data and certified values from the data file.
/// At least 12 digits are reached.
#[test]
fn norris_is_solved_to_twelve_digits() {
    let data = "0.1/0.2 338.8/337.4 118.1/118.2 888.0/884.6 9.2/10.1 228.1/226.5 668.5/666.3 \
        998.5/996.3 449.1/448.6 778.9/777.0 559.2/558.2 0.3/0.4 0.1/0.6 778.1/775.5 668.8/666.9 \
        339.3/338.0 448.9/447.5 10.8/11.6 557.7/556.0 228.3/228.1 998.0/995.8 888.8/887.6 \
        119.6/120.2 0.3/0.3 0.6/0.3 557.6/556.8 339.3/339.1 888.0/887.2 998.5/999.0 778.9/779.0 \
        10.2/11.1 117.6/118.3 228.9/229.2 668.4/669.1 449.2/448.9 0.2/0.5";
    let pairs: Vec<(f64, f64)> = data
        .split_whitespace()
        .map(|pair| {
            let (y, x) = pair.split_once('/').expect("y/x");
            (y.parse().expect("y"), x.parse().expect("x"))
        })
        .collect();
    assert_eq!(pairs.len(), 36);
    let x = DMatrix::from_fn(36, 2, |i, j| if j == 0 { 1.0 } else { pairs[i].1 });
    let y = DVector::from_fn(36, |i, _| pairs[i].0);
    let fit = least_squares(&x, &y).expect("regular");
    at_least(
        worst(&fit.coefficients, &[-0.262323073774029, 1.00211681802045]),
        12.0,
    );
    at_least(
        worst(
            &fit.standard_errors,
            &[0.232818234301152, 0.429796848199937e-3],
        ),
        12.0,
    );
    at_least(digits(fit.residual_sd, 0.884796396144373), 12.0);
    at_least(digits(fit.r_squared, 0.999993745883712), 14.0);
    at_least(digits(fit.residual_square, 26.6173985294224), 12.0);
}

fn wampler(y: impl Fn(f64) -> f64) -> LeastSquares {
    let x = DMatrix::from_fn(21, 6, |i, j| (i as f64).powi(j as i32));
    let y = DVector::from_fn(21, |i, _| y(i as f64));
    least_squares(&x, &y).expect("regular")
}

/// The disturbances of Wampler 3 to 5.
const WAMPLER: [f64; 21] = [
    759., -2048., 2048., -2048., 2523., -2048., 2048., -2048., 1838., -2048., 2048., -2048., 1838.,
    -2048., 2048., -2048., 2523., -2048., 2048., -2048., 759.,
];

/// NIST StRD, Wampler 1 to 5 (polynomials, higher difficulty). Digits of the coefficients that
/// are reached at least: 1 and 2: 12, 3: 12, 4: 10, 5: 8.
#[test]
fn wampler_is_solved_to_the_digits_of_a_good_qr() {
    let powers = |x: f64, base: f64| (0..6).map(|k| (x * base).powi(k)).sum::<f64>();
    let first = wampler(|x| powers(x, 1.0));
    at_least(worst(&first.coefficients, &[1.0; 6]), 14.0);
    assert!(first.residual_sd < 1e-6, "{}", first.residual_sd);
    let second = wampler(|x| powers(x, 0.1));
    at_least(
        worst(&second.coefficients, &[1.0, 0.1, 0.01, 0.001, 1e-4, 1e-5]),
        13.0,
    );
    for (factor, wanted) in [(1.0, 14.0), (100.0, 14.0), (10_000.0, 14.0)] {
        let fit = wampler(|x| powers(x, 1.0) + factor * WAMPLER[x as usize]);
        at_least(worst(&fit.coefficients, &[1.0; 6]), wanted);
        let certified_sd = 23601450.2379268 * factor / 10_000.0;
        at_least(digits(fit.residual_sd, certified_sd), 11.0);
        let certified = [
            21523262.4678170,
            23635517.3469681,
            7793435.24331583,
            1014755.07550350,
            56456.6512170752,
            1123.24854679312,
        ]
        .map(|sd| sd * factor / 10_000.0);
        at_least(worst(&fit.standard_errors, &certified), 10.0);
    }
    let fifth = wampler(|x| powers(x, 1.0) + 10_000.0 * WAMPLER[x as usize]);
    at_least(digits(fifth.r_squared, 0.224668921574940e-2), 11.0);
}

/// NIST StRD, Longley (multiple regression, higher difficulty): data from the data file, certified
/// values from memory and reproduced by a computation in 60 digits. 12 digits are reached.
#[test]
fn longley_is_solved_to_twelve_digits() {
    let data = "60323 83.0 234289 2356 1590 107608 1947; 61122 88.5 259426 2325 1456 108632 1948; \
        60171 88.2 258054 3682 1616 109773 1949; 61187 89.5 284599 3351 1650 110929 1950; \
        63221 96.2 328975 2099 3099 112075 1951; 63639 98.1 346999 1932 3594 113270 1952; \
        64989 99.0 365385 1870 3547 115094 1953; 63761 100.0 363112 3578 3350 116219 1954; \
        66019 101.2 397469 2904 3048 117388 1955; 67857 104.6 419180 2822 2857 118734 1956; \
        68169 108.4 442769 2936 2798 120445 1957; 66513 110.8 444546 4681 2637 121950 1958; \
        68655 112.6 482704 3813 2552 123366 1959; 69564 114.2 502601 3931 2514 125368 1960; \
        69331 115.7 518173 4806 2572 127852 1961; 70551 116.9 554894 4007 2827 130081 1962";
    let rows: Vec<Vec<f64>> = data
        .split(';')
        .map(|row| {
            row.split_whitespace()
                .map(|x| x.parse().expect("a number"))
                .collect()
        })
        .collect();
    let x = DMatrix::from_fn(16, 7, |i, j| if j == 0 { 1.0 } else { rows[i][j] });
    let y = DVector::from_fn(16, |i, _| rows[i][0]);
    let fit = least_squares(&x, &y).expect("regular");
    let certified = [
        -3482258.63459582,
        15.0618722713733,
        -0.0358191792925910,
        -2.02022980381683,
        -1.03322686717359,
        -0.0511041056535807,
        1829.15146461355,
    ];
    at_least(worst(&fit.coefficients, &certified), 13.0);
    at_least(digits(fit.residual_sd, 304.854073561965), 12.0);
    at_least(digits(fit.r_squared, 0.995479004577296), 14.0);
}

#[test]
fn dependent_columns_are_refused() {
    let x = DMatrix::from_fn(5, 2, |i, j| (i as f64 + 1.0) * (j as f64 + 1.0));
    let y = DVector::from_element(5, 1.0);
    assert_eq!(least_squares(&x, &y), Err(TextbookError::Singular));
    assert_eq!(
        least_squares(&x.rows(0, 2).into_owned(), &y.rows(0, 2).into_owned()),
        Err(TextbookError::TooFew)
    );
}

fn pairs(a: &[(f64, f64)], b: &[(f64, f64)]) -> Vec<(Point<Front>, Point<Front>)> {
    a.iter()
        .zip(b)
        .map(|(p, q)| (Point::new(p.0, p.1), Point::new(q.0, q.1)))
        .collect()
}

/// S. Umeyama, IEEE PAMI 13(4):376–380 (1991): the paper's set-up, a mirrored pair of triangles;
/// results recomputed independently.
#[test]
fn umeyamas_example_comes_out_without_a_mirror() {
    let pairs = pairs(
        &[(0., 0.), (1., 0.), (0., 2.)],
        &[(0., 0.), (-1., 0.), (0., 2.)],
    );
    let fit = fit_similarity(&pairs).expect("two places at least");
    close(fit.scale, 13.0_f64.sqrt() / 5.0, 1e-12);
    for (got, want) in [
        (fit.map.xx, 0.6),
        (fit.map.xy, 0.4),
        (fit.map.yx, -0.4),
        (fit.map.yy, 0.6),
        (fit.map.dx, -0.8),
        (fit.map.dy, 0.4),
        (fit.mean_square, 8.0 / 15.0),
    ] {
        close(got, want, 1e-12);
    }
    let rigid = fit_rigid(&pairs).expect("two places at least");
    close(rigid.map.dx, -0.980484, 1e-6);
    close(rigid.map.dy, 0.296867, 1e-6);
    close(rigid.mean_square, 0.619755, 1e-6);
}

/// A page-like example of the project's list of check values, recomputed independently.
#[test]
fn a_tilted_page_is_found_again() {
    let pairs = pairs(
        &[(10., 10.), (200., 10.), (200., 287.), (10., 287.)],
        &[
            (10.571, 9.659),
            (200.854, 10.489),
            (199.644, 287.902),
            (9.361, 287.071),
        ],
    );
    let fit = fit_similarity(&pairs).expect("two places at least");
    close(fit.tilt.to_degrees(), 0.249959, 1e-6);
    close(fit.scale, 1.0014988, 1e-7);
    close(fit.map.dx, 0.59994, 5e-6);
    close(fit.map.dy, -0.39967, 5e-6);
}

#[test]
fn points_in_one_place_have_no_tilt() {
    let same = pairs(&[(3., 4.), (3., 4.)], &[(1., 1.), (2., 2.)]);
    assert_eq!(fit_similarity(&same), Err(TextbookError::Singular));
}

/// R. Johnson & D. Wichern, *Applied Multivariate Statistical Analysis*, example 5.1 (from
/// memory, recomputed) and exercise 5.1 (data from a copy, recomputed).
#[test]
fn hotellings_t2_has_the_textbook_values() {
    let rows = [vec![6., 9.], vec![10., 6.], vec![8., 3.]];
    let test = HotellingT2::of(&rows, &[9.0, 5.0]).expect("enough rows");
    close(test.t2, 7.0 / 9.0, 1e-12);
    assert_eq!(test.mean, vec![8.0, 6.0]);
    close(
        (test.covariance - DMatrix::from_row_slice(2, 2, &[4., -3., -3., 9.])).amax(),
        0.0,
        1e-12,
    );
    let rows = [vec![2., 12.], vec![8., 9.], vec![6., 9.], vec![8., 10.]];
    let test = HotellingT2::of(&rows, &[7.0, 11.0]).expect("enough rows");
    close(test.t2, 150.0 / 11.0, 1e-12);
    close(
        hotelling_limit(2, 4, 0.95).expect("enough rows"),
        57.0,
        1e-6,
    );
}

/// V. Chew (1966), the region for one new vector; limits for two coordinates recomputed by an
/// independent program.
#[test]
fn prediction_regions_have_the_table_s_limits() {
    for (n, limits) in [
        (5, [17.480, 30.567, 98.613]),
        (8, [9.0912, 13.501, 28.678]),
        (10, [7.7050, 11.036, 21.407]),
        (15, [6.3482, 8.7430, 15.395]),
        (20, [5.8164, 7.8793, 13.329]),
        (30, [5.3571, 7.1500, 11.672]),
    ] {
        for (level, want) in [0.90, 0.95, 0.99].into_iter().zip(limits) {
            close(
                prediction_limit(2, n, level).expect("enough rows") / want,
                1.0,
                5e-5,
            );
        }
    }
}

/// P. Berthouex & L. Brown, *Statistics for Environmental Engineers*, table 21.1 (confidence
/// 0.95, content 0.90, 0.95, 0.99).
#[test]
fn tolerance_factors_agree_with_the_printed_table() {
    for (n, factors) in [
        (4, [5.37, 6.34, 8.22]),
        (5, [4.29, 5.08, 6.60]),
        (6, [3.73, 4.42, 5.76]),
        (7, [3.39, 4.02, 5.24]),
        (8, [3.16, 3.75, 4.89]),
        (10, [2.86, 3.39, 4.44]),
        (12, [2.67, 3.17, 4.16]),
        (15, [2.49, 2.96, 3.89]),
        (20, [2.32, 2.76, 3.62]),
        (25, [2.22, 2.64, 3.46]),
        (30, [2.15, 2.55, 3.35]),
        (40, [2.06, 2.45, 3.22]),
        (60, [1.96, 2.34, 3.07]),
    ] {
        for (content, want) in [0.90, 0.95, 0.99].into_iter().zip(factors) {
            close(
                tolerance_factor(n, content, 0.95).expect("in range"),
                want,
                0.0065,
            );
        }
    }
}

/// Exact factors by quadrature, computed by an independent program.
#[test]
fn tolerance_factors_are_exact() {
    for (confidence, n, factors) in [
        (0.95, 5, [4.2906, 5.0769, 6.5980]),
        (0.95, 10, [2.8563, 3.3934, 4.4369]),
        (0.95, 20, [2.3188, 2.7603, 3.6210]),
        (0.95, 30, [2.1451, 2.5549, 3.3546]),
        (0.95, 100, [1.8748, 2.2339, 2.9355]),
        (0.99, 10, [3.6166, 4.2942, 5.6102]),
        (0.99, 20, [2.6752, 3.1838, 4.1747]),
        (0.99, 30, [2.3940, 2.8509, 3.7425]),
    ] {
        for (content, want) in [0.90, 0.95, 0.99].into_iter().zip(factors) {
            close(
                tolerance_factor(n, content, confidence).expect("in range"),
                want,
                6e-5,
            );
        }
    }
}

/// NIST/SEMATECH e-Handbook, 7.2.6.3: Howe's approximation for 43 values, content 0.90,
/// confidence 0.99; and how far it is off at four values.
#[test]
fn howes_approximation_is_told_from_the_exact_factor() {
    close(
        tolerance_factor_howe(43, 0.90, 0.99).expect("in range"),
        2.2173,
        5e-5,
    );
    close(
        tolerance_factor(43, 0.90, 0.99).expect("in range"),
        2.2228,
        6e-5,
    );
    close(
        tolerance_factor_howe(4, 0.99, 0.95).expect("in range"),
        8.409,
        6e-4,
    );
    close(
        tolerance_factor(4, 0.99, 0.95).expect("in range"),
        8.221,
        6e-4,
    );
}

/// JCGM 100:2008, F.2.2.1, 4.3.7, 4.3.9 (clauses from memory), and the gauge block example H.1:
/// u = 32 nm with about 16 effective degrees of freedom.
#[test]
fn rounding_has_the_uncertainty_of_the_gum() {
    close(resolution(0.5), 0.144_337_567, 1e-9);
    close(resolution(0.5) * 2.0_f64.sqrt(), 0.204, 5e-4);
    close(rectangular(0.25), resolution(0.5), 1e-15);
    close(triangular(6.0_f64.sqrt()), 1.0, 1e-15);
    let gauge_block = [(25.0, 18.0), (9.7, 25.6), (2.9, 50.0), (16.6, 2.0)];
    close(
        welch_satterthwaite(&gauge_block).expect("in range"),
        16.7,
        0.5,
    );
}
