//! A simulated printer, written apart from the fitting code: its own random numbers, its own
//! formula for the error at a point, and the prior's numbers spelled out.

#![allow(dead_code, reason = "tests and the example use different parts")]

use tympan_register::{Observation, Reading};
use tympan_sheet::{Point, Size, Vector};

pub(crate) const A4: Size = Size::new(210.0, 297.0);

/// Where the pin goes through: near the corners and at the middle of the long edges.
pub(crate) const PLACES: [(f64, f64); 6] = [
    (25., 25.),
    (185., 25.),
    (185., 272.),
    (25., 272.),
    (25., 148.5),
    (185., 148.5),
];

/// SplitMix64 (S. Vigna's public-domain constants).
pub(crate) struct Random(pub u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Strictly between 0 and 1.
    pub(crate) fn uniform(&mut self) -> f64 {
        ((self.next() >> 11) as f64 + 0.5) / (1_u64 << 53) as f64
    }

    /// Box and Muller.
    pub(crate) fn normal(&mut self) -> f64 {
        (-2.0 * self.uniform().ln()).sqrt() * (std::f64::consts::TAU * self.uniform()).cos()
    }

    /// G. Marsaglia & W. Tsang, 2000; shape of at least one.
    pub(crate) fn chi_square(&mut self, df: f64) -> f64 {
        let d = df / 2.0 - 1.0 / 3.0;
        let c = 1.0 / (9.0 * d).sqrt();
        loop {
            let x = self.normal();
            let v = (1.0 + c * x).powi(3);
            if v > 0.0 && self.uniform().ln() < 0.5 * x * x + d - d * v + d * v.ln() {
                return 2.0 * d * v;
            }
        }
    }
}

/// What is special about a printer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Habit {
    /// As the model has it.
    Plain,
    /// Sheets scatter with a t distribution of four degrees of freedom, of the same sd.
    HeavyTails,
    /// Half of the sheets are fed 0.6 mm further than the other half.
    TwoStates,
    /// Every sheet of a stack of 20 lies 0.04 mm further along the feed than the one before.
    Drift,
    /// One sheet in ten slips along the feed, with sd 1.5 mm.
    Slips,
}

/// A printer: steady error, scatter, noise of a reading. Units: mm and mm per 100 mm.
#[derive(Clone, Debug)]
pub(crate) struct Printer {
    pub(crate) shift: [f64; 2],
    pub(crate) tilt: f64,
    pub(crate) stretch: [f64; 2],
    pub(crate) shear: f64,
    /// Across and along the feed, which is along y.
    pub(crate) bend: [f64; 2],
    /// Lower triangle whose square is the covariance of a sheet's shift x, shift y and tilt.
    pub(crate) scatter: [[f64; 3]; 3],
    pub(crate) sheet_stretch: f64,
    pub(crate) noise: f64,
    pub(crate) habit: Habit,
}

/// One sheet from it.
#[derive(Clone, Debug)]
pub(crate) struct Sheet {
    pub(crate) shift: [f64; 2],
    pub(crate) tilt: f64,
    stretch: [f64; 2],
    shear: f64,
    bend: [f64; 2],
}

impl Printer {
    /// A printer drawn from the recommended prior.
    pub(crate) fn from_prior(random: &mut Random) -> Self {
        // S0 of the recommended prior, as published in the project's check cases.
        let s0: [f64; 3] = [
            0.213_924_825_097_884_77,
            0.481_330_856_470_240_6,
            0.040_728_267_656_025_365,
        ];
        let s = (0.5 * random.normal()).exp();
        let tilt_sd = 0.4_f64.to_radians() * 100.0;
        let shear_sd = 0.1_f64.to_radians() * 100.0;
        Self {
            shift: [5.0 * random.normal(), 5.0 * random.normal()],
            tilt: tilt_sd * random.normal(),
            stretch: [0.2 * random.normal(), 0.2 * random.normal()],
            shear: shear_sd * random.normal(),
            bend: [0.1 * random.normal(), 0.1 * random.normal()],
            scatter: inverse_wishart_root(8.0, s0.map(|x| s * s * x), random),
            sheet_stretch: 0.03,
            noise: 0.15,
            habit: Habit::Plain,
        }
    }

    /// A printer with a usual steady error and this scatter along the feed, mm; two thirds of it
    /// across, and in tilt a sixth of a degree per mm.
    pub(crate) fn fixed(along: f64) -> Self {
        let tilt = (along / 6.0).to_radians() * 100.0;
        Self {
            shift: [0.4, 2.1],
            tilt: 0.2_f64.to_radians() * 100.0,
            stretch: [0.10, -0.06],
            shear: 0.04,
            bend: [0.03, -0.05],
            scatter: [[along / 1.5, 0.0, 0.0], [0.0, along, 0.0], [0.0, 0.0, tilt]],
            sheet_stretch: 0.03,
            noise: 0.15,
            habit: Habit::Plain,
        }
    }

    /// What the fit's terms should come to, in its units for people and its order.
    pub(crate) fn truth(&self) -> [f64; 8] {
        let degrees = |x: f64| (x / 100.0).to_degrees();
        [
            self.shift[0],
            self.shift[1],
            degrees(self.tilt),
            self.stretch[0],
            self.stretch[1],
            degrees(self.shear),
            self.bend[0],
            self.bend[1],
        ]
    }

    /// The sheet at a place in a stack, counted from the middle of the stack.
    pub(crate) fn sheet(&self, place: f64, random: &mut Random) -> Sheet {
        let z = [random.normal(), random.normal(), random.normal()];
        let heavy = match self.habit {
            Habit::HeavyTails => (2.0 / random.chi_square(4.0)).sqrt(),
            _ => 1.0,
        };
        let own = |i: usize| heavy * (0..3).map(|k| self.scatter[i][k] * z[k]).sum::<f64>();
        let feed = match self.habit {
            Habit::TwoStates if random.uniform() < 0.5 => 0.3,
            Habit::TwoStates => -0.3,
            Habit::Drift => 0.04 * place,
            Habit::Slips if random.uniform() < 0.1 => 1.5 * random.normal(),
            _ => 0.0,
        };
        let mut stretch = || self.sheet_stretch * random.normal();
        Sheet {
            shift: [self.shift[0] + own(0), self.shift[1] + own(1) + feed],
            tilt: self.tilt + own(2),
            stretch: [self.stretch[0] + stretch(), self.stretch[1] + stretch()],
            shear: self.shear + stretch(),
            bend: self.bend,
        }
    }

    /// Test sheets from the head of a stack of 20 and their readings; `stated` is the noise that
    /// the readings claim.
    pub(crate) fn readings(&self, sheets: usize, stated: f64, random: &mut Random) -> Vec<Reading> {
        (0..sheets)
            .map(|j| {
                let sheet = self.sheet(j as f64 - 9.5, random);
                let observations = PLACES.iter().map(|&(x, y)| {
                    let e = sheet.error(x, y);
                    let noise = [self.noise * random.normal(), self.noise * random.normal()];
                    let seen = Vector::new(e[0] + noise[0], e[1] + noise[1]);
                    Observation::new(Point::new(x, y), seen, stated)
                });
                Reading::new(observations.collect())
            })
            .collect()
    }
}

impl Sheet {
    /// Where the back lies against the front at a point of the sheet: tilted clockwise, what is
    /// to the right goes down and what is below goes left.
    pub(crate) fn error(&self, x: f64, y: f64) -> [f64; 2] {
        let (right, down) = ((x - 105.0) / 100.0, (y - 148.5) / 100.0);
        let bow = ((y - 148.5) / 148.5).powi(2);
        [
            self.shift[0] - self.tilt * down
                + self.stretch[0] * right
                + self.shear * down
                + self.bend[0] * bow,
            self.shift[1] + self.tilt * right + self.stretch[1] * down + self.bend[1] * bow,
        ]
    }
}

/// A root of `Σ ~ IW(df, diag(s0))`: the inverse of a Wishart matrix built column by column, and
/// its Cholesky factor, all by hand.
pub(crate) fn inverse_wishart_root(df: f64, s0: [f64; 3], random: &mut Random) -> [[f64; 3]; 3] {
    let mut a = [[0.0_f64; 3]; 3];
    for (i, row) in a.iter_mut().enumerate() {
        row[i] = random.chi_square(df - i as f64).sqrt();
        row[..i].fill_with(|| random.normal());
    }
    // W = D A Aᵀ D with D = diag(s0)^-1/2.
    let mut w = [[0.0_f64; 3]; 3];
    for i in 0..3 {
        for j in 0..3 {
            let sum: f64 = (0..3).map(|k| a[i][k] * a[j][k]).sum();
            w[i][j] = sum / (s0[i] * s0[j]).sqrt();
        }
    }
    cholesky(inverse(w))
}

pub(crate) fn inverse(m: [[f64; 3]; 3]) -> [[f64; 3]; 3] {
    let minor = |i: usize, j: usize| {
        let (a, b) = ((i + 1) % 3, (i + 2) % 3);
        let (c, d) = ((j + 1) % 3, (j + 2) % 3);
        m[a][c] * m[b][d] - m[a][d] * m[b][c]
    };
    let det: f64 = (0..3).map(|j| m[0][j] * minor(0, j)).sum();
    std::array::from_fn(|i| std::array::from_fn(|j| minor(j, i) / det))
}

fn cholesky(m: [[f64; 3]; 3]) -> [[f64; 3]; 3] {
    let mut l = [[0.0_f64; 3]; 3];
    for i in 0..3 {
        for j in 0..=i {
            let sum: f64 = m[i][j] - (0..j).map(|k| l[i][k] * l[j][k]).sum::<f64>();
            l[i][j] = if i == j { sum.sqrt() } else { sum / l[j][j] };
        }
    }
    l
}
