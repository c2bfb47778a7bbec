//! A sine exact to the sample clock, with soft ends, and dither for those who
//! write it in few bits.

use std::f64::consts::{PI, TAU};

use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg32;

/// Sound whose samples are a function of their number: what can be written or
/// played.
pub trait Sound {
    /// Length in samples.
    fn length(&self) -> u64;

    /// The sample of this number; silence from the end on.
    fn sample(&self, number: u64) -> f64;

    /// The same in one channel, from 0; all alike unless said otherwise.
    fn of_channel(&self, _channel: usize, number: u64) -> f64 {
        self.sample(number)
    }
}

/// A sine whose phase is a function of the sample's number alone: no error
/// adds up, however long it lasts.
#[derive(Clone, Copy, Debug)]
pub struct Tone {
    /// Cycles a sample, as a fraction of 2^64.
    step: u64,
    amplitude: f64,
    /// Length in samples.
    length: u64,
    /// Length of the fade at each end, in samples.
    fade: u64,
}

impl Tone {
    /// A tone of `frequency_hz` at `rate_hz`, `length` samples long, faded in
    /// and out over `fade` samples each. The frequency must lie below half
    /// the rate; the amplitude is relative to full scale.
    pub fn new(frequency_hz: f64, rate_hz: f64, amplitude: f64, length: u64, fade: u64) -> Self {
        Self {
            // 2^64 cycles are as good as none: the step wraps where the
            // phase does. What is rounded off is 2^-53 of the frequency.
            step: (frequency_hz / rate_hz * 2f64.powi(64)) as u64,
            amplitude,
            length,
            fade: fade.min(length / 2),
        }
    }

    /// Half a cosine up and half a cosine down.
    fn envelope(&self, number: u64) -> f64 {
        if number >= self.length {
            return 0.0;
        }
        let from_end = number.min(self.length - 1 - number);
        if from_end >= self.fade {
            return 1.0;
        }
        0.5 - 0.5 * (PI * from_end as f64 / self.fade as f64).cos()
    }
}

impl Sound for Tone {
    fn length(&self) -> u64 {
        self.length
    }

    fn sample(&self, number: u64) -> f64 {
        let turns = self.step.wrapping_mul(number) as f64 / 2f64.powi(64);
        self.amplitude * self.envelope(number) * (TAU * turns).sin()
    }
}

/// Triangular dither of two steps' width: what rounding leaves is then noise
/// without any memory of the tone.
#[derive(Clone, Debug)]
pub struct Dither(Pcg32);

impl Dither {
    /// The same seed gives the same noise.
    pub fn new(seed: u64) -> Self {
        Self(Pcg32::seed_from_u64(seed))
    }

    /// The next value in steps, between −1 and 1.
    pub fn steps(&mut self) -> f64 {
        self.0.random::<f64>() - self.0.random::<f64>()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE: f64 = 48_000.0;

    #[test]
    fn the_phase_is_exact_after_a_day() {
        // At a whole number of seconds a whole number of cycles has passed;
        // the samples that follow are those of the beginning.
        let day = 24 * 3600 * 48_000;
        let tone = Tone::new(3150.0, RATE, 1.0, u64::MAX, 0);
        for number in 0..100 {
            let difference = tone.sample(day + number) - tone.sample(number);
            assert!(difference.abs() < 1e-6, "{number}: {difference}");
        }
        // A frequency that is no fraction of the rate, held against the
        // definition at a time where that is still exact.
        let tone = Tone::new(314.159, RATE, 1.0, u64::MAX, 0);
        for number in [0u64, 1, 1000, 4_800_000] {
            let turns = (314.159 * number as f64 / RATE).fract();
            let difference = tone.sample(number) - (TAU * turns).sin();
            assert!(difference.abs() < 1e-7, "{number}: {difference}");
        }
    }

    #[test]
    fn the_ends_are_soft_and_the_middle_is_full() {
        let tone = Tone::new(12_000.0, RATE, 0.5, 4800, 480);
        assert!(tone.sample(0).abs() < 1e-12);
        assert!(tone.sample(4799).abs() < 1e-12);
        assert!(tone.sample(4800).abs() < f64::EPSILON);
        // A quarter of the rate: every other sample is at a peak.
        assert!((tone.sample(2401).abs() - 0.5).abs() < 1e-12);
        let half_way = tone.sample(241).abs() / 0.5;
        assert!((half_way - 0.503).abs() < 0.001, "{half_way}");
        assert_eq!(Tone::new(1.0, RATE, 1.0, 3, 480).length(), 3);
    }

    #[test]
    fn dither_is_triangular() {
        let mut dither = Dither::new(7);
        let count = 200_000;
        let values: Vec<f64> = (0..count).map(|_| dither.steps()).collect();
        let mean = values.iter().sum::<f64>() / f64::from(count);
        let variance = values.iter().map(|v| v * v).sum::<f64>() / f64::from(count);
        assert!(values.iter().all(|v| v.abs() < 1.0));
        assert!(mean.abs() < 0.004, "{mean}");
        // Two independent uniform values of width 1: variance 2 × 1/12.
        assert!((variance - 1.0 / 6.0).abs() < 0.002, "{variance}");
        // Three quarters of a triangle lie in its middle half; of an even
        // distribution of the same variance 0.71.
        let middle = values.iter().filter(|v| v.abs() < 0.5).count() as f64 / f64::from(count);
        assert!((middle - 0.75).abs() < 0.005, "{middle}");
    }
}
