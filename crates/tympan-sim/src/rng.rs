//! A small seeded generator, so that every simulated sheet is the same on every machine.

/// SplitMix64 (Steele, Lea and Flood 2014): passes the usual tests, one word of state, and any
/// seed is a good seed.
#[derive(Clone, Debug)]
pub struct Rng {
    state: u64,
}

const GOLDEN: u64 = 0x9e37_79b9_7f4a_7c15;

fn mix(mut z: u64) -> u64 {
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

impl Rng {
    /// The generator of this seed.
    pub fn new(seed: u64) -> Self {
        Self {
            state: mix(seed ^ 0x5851_f42d_4c95_7f2d),
        }
    }

    /// An independent generator for one purpose or one sheet of this seed.
    pub fn stream(seed: u64, stream: u64) -> Self {
        Self {
            state: mix(mix(seed ^ 0x5851_f42d_4c95_7f2d) ^ mix(stream.wrapping_add(GOLDEN))),
        }
    }

    /// The next 64 random bits.
    pub fn bits(&mut self) -> u64 {
        self.state = self.state.wrapping_add(GOLDEN);
        mix(self.state)
    }

    /// Uniform in `[0, 1)`.
    pub fn unit(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Uniform between two numbers.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// True with this probability.
    pub fn chance(&mut self, probability: f64) -> bool {
        self.unit() < probability
    }

    /// A whole number below `n`; 0 where `n` is 0.
    pub fn below(&mut self, n: usize) -> usize {
        ((self.unit() * n as f64) as usize).min(n.saturating_sub(1))
    }

    /// Standard normal (Box and Muller 1958).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.unit()).cos()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_normal_has_the_moments_of_a_normal() {
        let mut rng = Rng::new(7);
        let n = 200_000;
        let (mut m1, mut m2, mut m4) = (0.0, 0.0, 0.0);
        for _ in 0..n {
            let z = rng.normal();
            m1 += z;
            m2 += z * z;
            m4 += z.powi(4);
        }
        let n = f64::from(n);
        assert!((m1 / n).abs() < 0.01, "mean {}", m1 / n);
        assert!((m2 / n - 1.0).abs() < 0.015, "variance {}", m2 / n);
        assert!((m4 / n - 3.0).abs() < 0.12, "fourth moment {}", m4 / n);
    }

    #[test]
    fn streams_of_one_seed_differ_and_repeat() {
        assert_eq!(Rng::stream(1, 2).bits(), Rng::stream(1, 2).bits());
        assert_ne!(Rng::stream(1, 2).bits(), Rng::stream(1, 3).bits());
        assert_ne!(Rng::stream(1, 2).bits(), Rng::stream(2, 2).bits());
    }
}
