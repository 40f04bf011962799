//! The posterior by Gibbs sampling, with nothing from the fitting code: dense covariances of the
//! readings, the prior's numbers spelled out.

use nalgebra::{DMatrix, DVector, Matrix3, Vector3};
use tympan_register::Reading;

use crate::support::printer::{Random, inverse, inverse_wishart_root};

/// Half widths of the 95 % intervals of the eight terms and of the next sheet's shift x, shift y
/// and tilt, in the units people are told.
pub(crate) fn half_widths(readings: &[Reading], draws: usize, random: &mut Random) -> [f64; 11] {
    let s0 = [
        0.213_924_825_097_884_77,
        0.481_330_856_470_240_6,
        0.040_728_267_656_025_365,
    ];
    let steady_sd = [
        5.0,
        5.0,
        0.698_131_700_8,
        0.2,
        0.2,
        0.174_532_925_2,
        0.1,
        0.1,
    ];
    let prior = DMatrix::from_diagonal(&DVector::from_iterator(
        8,
        steady_sd.iter().map(|sd: &f64| 1.0 / (sd * sd)),
    ));
    let x = design(&readings[0]);
    let rows = x.nrows();
    let seen: Vec<DVector<f64>> = readings
        .iter()
        .map(|r| {
            DVector::from_iterator(
                rows,
                r.observations.iter().flat_map(|o| [o.error.x, o.error.y]),
            )
        })
        .collect();
    let total: DVector<f64> = seen.iter().sum();
    let n = readings.len() as f64;
    // Noise of the points and the sheets' own stretch and shear.
    let mut fixed = DMatrix::identity(rows, rows) * readings[0].observations[0].variance[0][0];
    for k in 3..6 {
        fixed += x.column(k) * x.column(k).transpose() * 0.03_f64.powi(2);
    }
    let fixed_inverse = fixed.clone().try_inverse().expect("regular");
    let loose = x.columns(0, 3).into_owned();
    let own_precision = loose.transpose() * &fixed_inverse * &loose;
    let to_own = loose.transpose() * &fixed_inverse;

    let mut sigma = Matrix3::from_diagonal(&Vector3::new(0.04, 0.09, 0.008));
    let mut scale = 1.0;
    let mut kept: [Vec<f64>; 11] = std::array::from_fn(|_| Vec::with_capacity(draws));
    for draw in 0..draws + draws / 10 {
        // Steady error, the sheets' own errors integrated out.
        let spread =
            &fixed + &loose * DMatrix::from_fn(3, 3, |i, j| sigma[(i, j)]) * loose.transpose();
        let weight = spread.try_inverse().expect("regular");
        let precision = x.transpose() * &weight * &x * n + &prior;
        let pull = x.transpose() * &weight * &total;
        let beta = gaussian(&precision, &pull, random);
        // The sheets' own errors.
        let sigma_inverse = sigma.try_inverse().expect("regular");
        let precision = &own_precision + DMatrix::from_fn(3, 3, |i, j| sigma_inverse[(i, j)]);
        let mut square = [[0.0; 3]; 3];
        for y in &seen {
            let b = gaussian(&precision, &(&to_own * (y - &x * &beta)), random);
            for (i, row) in square.iter_mut().enumerate() {
                for (j, value) in row.iter_mut().enumerate() {
                    *value += b[i] * b[j];
                }
            }
        }
        // Scatter, given its scale: IW with a full scale matrix, through its Cholesky factor.
        let psi = Matrix3::from_fn(|i, j| {
            square[i][j] + if i == j { scale * scale * s0[i] } else { 0.0 }
        });
        let root = psi.cholesky().expect("positive").l();
        let unit = inverse_wishart_root(8.0 + n, [1.0; 3], random);
        let unit = Matrix3::from_fn(|i, j| unit[i][j]);
        sigma = root * unit * unit.transpose() * root.transpose();
        // The scale, given the scatter, on a grid.
        let rows3: [[f64; 3]; 3] = std::array::from_fn(|i| std::array::from_fn(|j| sigma[(i, j)]));
        let inverse = inverse(rows3);
        let trace: f64 = (0..3).map(|i| s0[i] * inverse[i][i]).sum();
        scale = draw_scale(trace, random);

        if draw >= draws / 10 {
            let root = sigma.cholesky().expect("positive").l();
            let z = Vector3::new(random.normal(), random.normal(), random.normal());
            let next = root * z;
            for k in 0..8 {
                kept[k].push(beta[k]);
            }
            for k in 0..3 {
                kept[8 + k].push(beta[k] + next[k]);
            }
        }
    }
    let degrees = 0.01_f64.to_degrees();
    let unit = [1., 1., degrees, 1., 1., degrees, 1., 1., 1., 1., degrees];
    std::array::from_fn(|k| {
        kept[k].sort_by(f64::total_cmp);
        let at = |p: f64| kept[k][(p * kept[k].len() as f64) as usize];
        (at(0.975) - at(0.025)) / 2.0 * unit[k]
    })
}

/// The design of a reading on A4 fed along its height.
fn design(reading: &Reading) -> DMatrix<f64> {
    let mut x = DMatrix::zeros(2 * reading.observations.len(), 8);
    for (i, o) in reading.observations.iter().enumerate() {
        let (right, down) = ((o.at.x - 105.0) / 100.0, (o.at.y - 148.5) / 100.0);
        let bow = ((o.at.y - 148.5) / 148.5).powi(2);
        let across = [1.0, 0.0, -down, right, 0.0, down, bow, 0.0];
        let along = [0.0, 1.0, right, 0.0, down, 0.0, 0.0, bow];
        for k in 0..8 {
            x[(2 * i, k)] = across[k];
            x[(2 * i + 1, k)] = along[k];
        }
    }
    x
}

/// A draw of `N(P⁻¹h, P⁻¹)`.
fn gaussian(precision: &DMatrix<f64>, pull: &DVector<f64>, random: &mut Random) -> DVector<f64> {
    let factor = precision.clone().cholesky().expect("positive");
    let z = DVector::from_fn(pull.len(), |_, _| random.normal());
    factor.solve(pull)
        + factor
            .l()
            .transpose()
            .solve_upper_triangular(&z)
            .expect("regular")
}

/// A draw of the scale: `ln s ~ N(0, 0.5²)` times `s^24 exp(−s² t/2)`, on a fine grid.
fn draw_scale(trace: f64, random: &mut Random) -> f64 {
    let grid = |i: usize| -3.0 + 0.01 * i as f64;
    let ln = |i: usize| {
        let l: f64 = grid(i);
        24.0 * l - 0.5 * (2.0 * l).exp() * trace - 2.0 * l * l
    };
    let peak = (0..=600).map(ln).fold(f64::NEG_INFINITY, f64::max);
    let weights: Vec<f64> = (0..=600).map(|i| (ln(i) - peak).exp()).collect();
    let mut left = random.uniform() * weights.iter().sum::<f64>();
    for (i, weight) in weights.iter().enumerate() {
        left -= weight;
        if left <= 0.0 {
            return (grid(i) + 0.01 * (random.uniform() - 0.5)).exp();
        }
    }
    grid(600).exp()
}
