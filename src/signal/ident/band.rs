//! The band of an ident, at any speed, as a slow complex signal.

use rustfft::num_complex::Complex64;

use crate::signal::decimator::Decimator;
use crate::signal::fir::kaiser_lowpass;
use crate::signal::phasor::Phasor;

/// What is turned to 0 Hz.
pub(super) const CENTRE_HZ: f64 = 1050.0;

/// At ±25 % of the speed the tones lie between 600 and 1500 Hz, their bits
/// reach 125 Hz beyond; mains hum lies beyond the stop.
const PASS_HZ: f64 = 620.0;
const STOP_HZ: f64 = 1000.0;

/// Highest frequency of the band.
const HIGHEST_HZ: f64 = CENTRE_HZ + PASS_HZ;

/// Slowest rates after each stage: what aliases then comes from beyond a stop.
const SLOWEST_HZ: [f64; 2] = [8000.0, 2000.0];

/// Rejection outside.
const ATTENUATION_DB: f64 = 60.0;

/// Frequency in hertz of values that turn by the angle of `turn` from one to the
/// next, `values_hz` of them a second.
pub(super) fn hz_of(turn: Complex64, values_hz: f64) -> f64 {
    CENTRE_HZ + turn.arg() / std::f64::consts::TAU * values_hz
}

/// Fewer samples a second, then a band-pass with complex taps, fewer again, and
/// a turn to 0 Hz.
#[derive(Clone, Debug)]
pub(super) struct Band {
    /// `None` where the input is slow already.
    first: Option<Decimator<1>>,
    second: Decimator<2>,
    phasor: Phasor,
    between: Vec<f32>,
}

impl Band {
    pub(super) fn new(rate_hz: f64) -> Self {
        let factor = |rate_hz: f64, slowest: f64| ((rate_hz / slowest) as usize).max(1);
        let first = factor(rate_hz, SLOWEST_HZ[0]);
        let between_hz = rate_hz / first as f64;
        let second = factor(between_hz, SLOWEST_HZ[1]);
        let plain = kaiser_lowpass(PASS_HZ, STOP_HZ, between_hz, ATTENUATION_DB);
        // Twice, since only one side of the spectrum passes. The window runs
        // forwards in time where a filter's taps run backwards: the conjugate.
        let back = Phasor::new(0.0, -CENTRE_HZ / between_hz);
        let taps = plain.iter().zip(back).map(|(tap, back)| 2.0 * tap * back);
        let (re, im) = taps.map(|tap| (tap.re, tap.im)).unzip();
        let no_alias_hz = between_hz - HIGHEST_HZ;
        Self {
            first: (first > 1).then(|| {
                let taps = kaiser_lowpass(HIGHEST_HZ, no_alias_hz, rate_hz, ATTENUATION_DB);
                Decimator::new(first, [taps])
            }),
            second: Decimator::new(second, [re, im]),
            phasor: Phasor::new(0.0, -CENTRE_HZ * second as f64 / between_hz),
            between: Vec::new(),
        }
    }

    /// Samples of the input to one of the output.
    pub(super) fn factor(&self) -> usize {
        self.second.factor() * self.first.as_ref().map_or(1, Decimator::factor)
    }

    /// Adds what comes of the samples to `values`.
    pub(super) fn push(&mut self, samples: &[f32], values: &mut Vec<Complex64>) {
        let samples = if let Some(first) = &mut self.first {
            self.between.clear();
            first.push(samples, |[value]| self.between.push(value));
            &self.between
        } else {
            samples
        };
        self.second.push(samples, |[re, im]| {
            let value = Complex64::new(f64::from(re), f64::from(im));
            values.extend(self.phasor.next().map(|turn| value * turn));
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::demodulator::turns_between;
    use std::f64::consts::TAU;

    #[test]
    fn the_band_passes_and_nothing_else() {
        for rate in [8000.0, 44_100.0, 48_000.0, 192_000.0] {
            for (hz, passes) in [
                (560.0, true),
                (1050.0, true),
                (1625.0, true),
                (50.0, false),
                (2600.0, false),
                (3150.0, false),
            ] {
                let mut band = Band::new(rate);
                let samples: Vec<f32> = (0..rate as usize)
                    .map(|n| (TAU * hz * n as f64 / rate).sin() as f32)
                    .collect();
                let mut out = Vec::new();
                // Blocks of odd sizes give the same.
                for block in samples.chunks(777) {
                    band.push(block, &mut out);
                }
                let out = &out[out.len() / 2..];
                let level =
                    (out.iter().map(Complex64::norm_sqr).sum::<f64>() / out.len() as f64).sqrt();
                if passes {
                    assert!((level - 1.0).abs() < 0.02, "{rate} {hz}: {level}");
                    let turns = turns_between(out[0], out[1]) * rate / band.factor() as f64;
                    assert!((turns - (hz - CENTRE_HZ)).abs() < 0.1, "{hz}: {turns}");
                } else {
                    assert!(level < 0.01, "{rate} {hz}: {level}");
                }
            }
        }
    }
}
