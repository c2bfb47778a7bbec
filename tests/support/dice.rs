//! Chance from a seed: the same seed gives the same numbers everywhere.

use std::f64::consts::TAU;

use rand::{Rng, RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;

/// Bell-shaped, mean 0, standard deviation 1 (Box and Muller 1958).
pub fn gaussian(random: &mut impl Rng) -> f64 {
    let radius = (-2.0 * random.random_range(f64::MIN_POSITIVE..1.0).ln()).sqrt();
    radius * (TAU * random.random_range(0.0..1.0)).cos()
}

/// Near enough the same of 64 bits: four even numbers added.
pub fn bell(bits: u64) -> f64 {
    let sum: u64 = (0..4).map(|k| (bits >> (16 * k)) & 0xffff).sum();
    (sum as f64 - 131_070.0) * (3f64.sqrt() / 65_536.0)
}

/// Bell-shaped noise as a function of its counter.
pub fn hiss(n: u64) -> f64 {
    Split(n.wrapping_sub(1).wrapping_mul(GOLDEN)).noise()
}

/// Random choices.
pub struct Dice(Pcg64Mcg);

impl Dice {
    pub fn new(seed: u64) -> Self {
        Self(Pcg64Mcg::seed_from_u64(seed))
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        self.0.random_range(low..high)
    }

    /// Even by ratio.
    pub fn ratio(&mut self, low: f64, high: f64) -> f64 {
        self.between(low.ln(), high.ln()).exp()
    }

    pub fn below(&mut self, count: usize) -> usize {
        self.0.random_range(0..count)
    }

    pub fn chance(&mut self, part: f64) -> bool {
        self.between(0.0, 1.0) < part
    }

    pub fn sign(&mut self) -> f64 {
        if self.chance(0.5) { 1.0 } else { -1.0 }
    }

    /// Bell-shaped.
    pub fn normal(&mut self) -> f64 {
        bell(self.0.random())
    }

    /// The same with tails of any length.
    pub fn gaussian(&mut self) -> f64 {
        gaussian(&mut self.0)
    }
}

const GOLDEN: u64 = 0x9E37_79B9_7F4A_7C15;

/// The same by `SplitMix64` (Steele, Lea and Flood 2014), for noise by the
/// sample: it costs next to nothing.
#[derive(Clone, Debug)]
pub struct Split(pub u64);

impl Split {
    pub fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(GOLDEN) ^ 0x1234_5678)
    }

    pub fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(GOLDEN);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    pub fn unit(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1u64 << 53) as f64
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    pub fn chance(&mut self, part: f64) -> bool {
        self.unit() < part
    }

    pub fn sign(&mut self) -> f64 {
        if self.chance(0.5) { 1.0 } else { -1.0 }
    }

    pub fn pick(&mut self, among: usize) -> usize {
        (self.unit() * among as f64) as usize
    }

    /// One of some.
    pub fn one_of<T: Copy>(&mut self, choices: &[T]) -> T {
        choices[(self.bits() % choices.len() as u64) as usize]
    }

    /// Bell-shaped.
    pub fn noise(&mut self) -> f64 {
        bell(self.bits())
    }

    /// The same with tails of any length.
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        radius * (TAU * self.unit()).cos()
    }
}
