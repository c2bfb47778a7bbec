//! What has nothing to do with speed: random numbers, hiss, hum.

use rand::{Rng, SeedableRng};
use rand_pcg::Pcg64Mcg;

use super::oscillator::{advance_turns, sine_of_turns};
use crate::units::Decibels;

/// Who draws from a stream of random numbers. Each has a stream of its own,
/// so that one fault switched off leaves the others as they were.
#[derive(Clone, Copy)]
pub(super) enum Purpose {
    LinePhases = 1,
    FlutterNoise = 2,
    Hiss = 3,
    Dropouts = 4,
    WiperSpots = 5,
    Crackle = 6,
    Practice = 7,
    Hand = 8,
    Hunting = 9,
    Straying = 10,
    Parts = 11,
    PartFault = 12,
    Control = 20,
}

/// A stream of random numbers: PCG-XSL-RR 128/64 (multiplicative), the same on
/// every platform.
#[derive(Clone, Debug)]
pub(super) struct Random {
    generator: Pcg64Mcg,
}

impl Random {
    pub(super) fn new(seed: u64, purpose: Purpose) -> Self {
        Self {
            generator: Pcg64Mcg::seed_from_u64(seed.rotate_left(8) ^ purpose as u64),
        }
    }

    /// Evenly from 0 to below 1.
    pub(super) fn unit(&mut self) -> f64 {
        (self.generator.next_u64() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Evenly between two values.
    pub(super) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// True with this probability.
    pub(super) fn chance(&mut self, probability: f64) -> bool {
        self.unit() < probability
    }

    /// Near enough Gaussian, mean 0, standard deviation 1: the sum of twelve
    /// even 16-bit numbers (Irwin–Hall; excess kurtosis −0.1, never beyond 6).
    /// Whole-number sums, so the same bits everywhere.
    pub(super) fn normal(&mut self) -> f64 {
        let sum: u32 = (0..3).map(|_| sum_of_four(self.generator.next_u64())).sum();
        // 12 × 32767.5, and sqrt(12 × 65536² / 12).
        (f64::from(sum) - 393_210.0) / 65_536.0
    }

    /// Bell-shaped, mean 0, standard deviation 1, cheap enough for every
    /// sample: four even 16-bit numbers (excess kurtosis −0.3, never beyond
    /// 3.47).
    pub(super) fn hiss(&mut self) -> f64 {
        let sum = sum_of_four(self.generator.next_u64());
        // 4 × 32767.5, and sqrt(4 × 65536² / 12).
        (f64::from(sum) - 131_070.0) * (1.732_050_807_568_877_2 / 65_536.0)
    }
}

fn sum_of_four(bits: u64) -> u32 {
    (0..4).map(|i| (bits >> (16 * i)) as u32 & 0xffff).sum()
}

/// Mains hum on the line output.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HumConfig {
    /// Mains frequency in Hz.
    pub mains_hz: f64,
    /// RMS of hum and harmonics together, in dB below the RMS of the tone.
    pub below_tone_db: f64,
}

/// Peaks of the mains frequency and its second and third harmonic, relative
/// to each other. Invented, but falling as they usually do.
const HARMONICS: [f64; 3] = [1.0, 0.5, 0.25];

/// Hum with harmonics. It keeps the mains' time, not the tape's.
#[derive(Clone, Debug)]
pub(super) struct Hum {
    turns: f64,
    turns_per_frame: f64,
    peak: f64,
}

impl Hum {
    /// `tone_peak` is the peak of the tone that the level refers to.
    pub(super) fn new(config: HumConfig, tone_peak: f64, rate_hz: f64) -> Self {
        let power: f64 = HARMONICS.iter().map(|a| a * a).sum();
        Self {
            turns: 0.0,
            turns_per_frame: config.mains_hz / rate_hz,
            peak: tone_peak * Decibels(-config.below_tone_db).amplitude_ratio() / power.sqrt(),
        }
    }

    /// The next sample.
    pub(super) fn next(&mut self) -> f64 {
        let sum: f64 = HARMONICS
            .iter()
            .zip([1.0, 2.0, 3.0])
            .map(|(peak, order)| peak * sine_of_turns(order * self.turns))
            .sum();
        advance_turns(&mut self.turns, self.turns_per_frame);
        self.peak * sum
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn moments(mut draw: impl FnMut() -> f64) -> (f64, f64, f64) {
        let n = 400_000;
        let (mut one, mut two, mut four) = (0.0, 0.0, 0.0);
        for _ in 0..n {
            let x = draw();
            one += x;
            two += x * x;
            four += x.powi(4);
        }
        let n = f64::from(n);
        (one / n, two / n, four / n / (two / n).powi(2) - 3.0)
    }

    #[test]
    fn the_noises_have_the_stated_moments() {
        let mut random = Random::new(5, Purpose::Hiss);
        let (mean, variance, kurtosis) = moments(|| random.normal());
        assert!(
            mean.abs() < 0.006 && (variance - 1.0).abs() < 0.01,
            "{mean} {variance}"
        );
        assert!((kurtosis + 0.1).abs() < 0.04, "{kurtosis}");
        let (mean, variance, kurtosis) = moments(|| random.hiss());
        assert!(
            mean.abs() < 0.006 && (variance - 1.0).abs() < 0.01,
            "{mean} {variance}"
        );
        assert!((kurtosis + 0.3).abs() < 0.04, "{kurtosis}");
    }

    /// The first output of the generator for a known state is checked against
    /// its definition (O'Neill 2014, XSL-RR output of a 128-bit multiplicative
    /// generator), written out here: a change of generator would silently
    /// change every invented machine.
    #[test]
    fn the_generator_is_the_published_one() {
        const MULTIPLIER: u128 = 0x2360_ED05_1FC6_5DA4_4385_DF64_9FCC_F645;
        let mut state: u128 = 0xdead_beef_0123_4567_89ab_cdef_1357_9bdf;
        let mut generator = Pcg64Mcg::new(state);
        for _ in 0..100 {
            state = state.wrapping_mul(MULTIPLIER);
            let folded = (state >> 64) as u64 ^ state as u64;
            assert_eq!(
                generator.next_u64(),
                folded.rotate_right((state >> 122) as u32)
            );
        }
    }

    #[test]
    fn streams_of_one_seed_are_unlike() {
        let mut a = Random::new(1, Purpose::Hiss);
        let mut b = Random::new(1, Purpose::Crackle);
        let product: f64 = (0..10_000).map(|_| a.normal() * b.normal()).sum();
        assert!(product.abs() / 10_000.0 < 0.04, "{product}");
    }

    #[test]
    fn hum_has_the_stated_rms_and_frequency() {
        let config = HumConfig {
            mains_hz: 50.0,
            below_tone_db: 40.0,
        };
        let mut hum = Hum::new(config, 0.5, 48_000.0);
        // A whole number of periods.
        let samples: Vec<f64> = (0..48_000).map(|_| hum.next()).collect();
        let rms = (samples.iter().map(|x| x * x).sum::<f64>() / 48_000.0).sqrt();
        let expected = 0.5 / 2f64.sqrt() / 100.0;
        assert!((rms / expected - 1.0).abs() < 1e-9, "{rms} {expected}");
        assert!((samples[100] - samples[100 + 960]).abs() < 1e-12);
    }
}
