//! Chance from a seed: the same seed gives the same numbers everywhere.

use std::f64::consts::TAU;

use rand::{Rng, SeedableRng};
use rand_pcg::{Pcg32, Pcg64Mcg};

/// Where bits come from.
pub trait Source {
    fn of(seed: u64) -> Self;
    fn word(&mut self) -> u32;
    fn bits(&mut self) -> u64;

    /// From 0 to 1, evenly.
    fn unit(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// The same, and never 0.
    fn positive(&mut self) -> f64 {
        self.unit().max(f64::MIN_POSITIVE)
    }
}

/// Random numbers from a source.
#[derive(Clone, Debug)]
pub struct Rolls<S>(S);

/// The usual ones.
pub type Dice = Rolls<Pcg64Mcg>;
/// Those of invented music.
pub type Small = Rolls<Pcg32>;
/// Those of noise by the sample: they cost next to nothing.
pub type Quick = Rolls<Split>;

impl<S: Source> Rolls<S> {
    pub fn new(seed: u64) -> Self {
        Self(S::of(seed))
    }

    pub fn unit(&mut self) -> f64 {
        self.0.unit()
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// Even by ratio.
    pub fn ratio(&mut self, low: f64, high: f64) -> f64 {
        self.between(low.ln(), high.ln()).exp()
    }

    pub fn below(&mut self, count: usize) -> usize {
        ((u64::from(self.0.word()) * count as u64) >> 32) as usize
    }

    pub fn one_of<T: Copy>(&mut self, choices: &[T]) -> T {
        choices[(self.0.bits() % choices.len() as u64) as usize]
    }

    pub fn chance(&mut self, part: f64) -> bool {
        self.unit() < part
    }

    pub fn sign(&mut self) -> f64 {
        if self.chance(0.5) { 1.0 } else { -1.0 }
    }

    /// Near enough bell-shaped, mean 0, standard deviation 1.
    pub fn bell(&mut self) -> f64 {
        bell(self.0.bits())
    }

    /// Bell-shaped with tails of any length (Box and Muller 1958).
    pub fn gaussian(&mut self) -> f64 {
        let radius = (-2.0 * self.0.positive().ln()).sqrt();
        radius * (TAU * self.unit()).cos()
    }
}

impl<R: SeedableRng + Rng> Source for R {
    fn of(seed: u64) -> Self {
        Self::seed_from_u64(seed)
    }

    fn word(&mut self) -> u32 {
        self.next_u32()
    }

    fn bits(&mut self) -> u64 {
        self.next_u64()
    }
}

const GOLDEN: u64 = 0x9E37_79B9_7F4A_7C15;

/// `SplitMix64` (Steele, Lea and Flood 2014).
#[derive(Clone, Debug)]
pub struct Split(u64);

impl Source for Split {
    fn of(seed: u64) -> Self {
        Self(seed.wrapping_mul(GOLDEN) ^ 0x1234_5678)
    }

    fn word(&mut self) -> u32 {
        (self.bits() >> 32) as u32
    }

    fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(GOLDEN);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    fn positive(&mut self) -> f64 {
        1.0 - self.unit()
    }
}

impl Quick {
    /// From a state.
    pub fn at(state: u64) -> Self {
        Self(Split(state))
    }

    /// Others beside these, which stay as they are.
    pub fn aside(&self, turned: u64) -> Self {
        Self::at(self.0.0 ^ turned)
    }
}

/// Near enough bell-shaped, of 64 bits: four even numbers added.
fn bell(bits: u64) -> f64 {
    let sum: u64 = (0..4).map(|k| (bits >> (16 * k)) & 0xffff).sum();
    (sum as f64 - 131_070.0) * (3f64.sqrt() / 65_536.0)
}

/// Bell-shaped noise as a function of its counter.
pub fn hiss(n: u64) -> f64 {
    Quick::at(n.wrapping_sub(1).wrapping_mul(GOLDEN)).bell()
}
