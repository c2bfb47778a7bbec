//! The band of an ident, at any speed, as a slow complex signal.

use std::f64::consts::TAU;

use crate::signal::demodulator::Complex;
use crate::signal::fir::{dot, kaiser_lowpass, whole_lanes};

/// What is turned to 0 Hz.
pub(super) const CENTRE_HZ: f64 = 1050.0;

/// At ±25 % of the speed the tones lie between 600 and 1500 Hz, their bits
/// reach 125 Hz beyond; mains hum lies beyond the stop.
const PASS_HZ: f64 = 620.0;
const STOP_HZ: f64 = 1000.0;

/// Slowest rate of the output: what aliases then comes from beyond the stop.
const SLOWEST_HZ: f64 = 3200.0;

/// A band-pass with complex taps, decimation, and a turn to 0 Hz.
#[derive(Clone, Debug)]
pub(super) struct Band {
    factor: usize,
    /// Real and imaginary parts of the taps.
    taps: [Vec<f32>; 2],
    history: Vec<f32>,
    wait: usize,
    /// Turns of the centre from one output to the next, and so far.
    step_turns: f64,
    turns: f64,
}

impl Band {
    pub(super) fn new(rate_hz: f64) -> Self {
        let factor = ((rate_hz / SLOWEST_HZ) as usize).max(1);
        let plain = kaiser_lowpass(PASS_HZ, STOP_HZ, rate_hz, 60.0);
        let span = whole_lanes(plain.len());
        let part = |part: fn(f64) -> f64| {
            let turned = plain.iter().enumerate().map(|(k, tap)| {
                let angle = TAU * CENTRE_HZ * k as f64 / rate_hz;
                // Twice, since only one side of the spectrum passes.
                (2.0 * tap * part(angle)) as f32
            });
            let mut taps: Vec<f32> = turned.collect();
            taps.resize(span, 0.0);
            taps
        };
        Self {
            factor,
            // The window runs forwards in time where a filter's taps run
            // backwards: the conjugate.
            taps: [part(f64::cos), part(|angle| -angle.sin())],
            history: vec![0.0; span],
            wait: factor,
            step_turns: (CENTRE_HZ * factor as f64 / rate_hz).fract(),
            turns: 0.0,
        }
    }

    /// Samples of the input to one of the output.
    pub(super) fn factor(&self) -> usize {
        self.factor
    }

    /// Adds what comes of the samples to `out`.
    pub(super) fn push(&mut self, samples: &[f32], out: &mut Vec<Complex>) {
        let span = self.taps[0].len();
        for chunk in samples.chunks(4096) {
            self.history.extend_from_slice(chunk);
            let mut at = self.history.len() - chunk.len();
            while at + self.wait <= self.history.len() {
                at += self.wait;
                self.wait = self.factor;
                let window = &self.history[at - span..at];
                let value = Complex {
                    re: f64::from(dot(window, &self.taps[0])),
                    im: f64::from(dot(window, &self.taps[1])),
                };
                out.push(value.times(Complex::turn(-self.turns)));
                self.turns = (self.turns + self.step_turns).fract();
            }
            self.wait -= self.history.len() - at;
            let cut = self.history.len() - span;
            self.history.drain(..cut);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

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
                let level = (out.iter().map(|z| z.power()).sum::<f64>() / out.len() as f64).sqrt();
                if passes {
                    assert!((level - 1.0).abs() < 0.02, "{rate} {hz}: {level}");
                    let turns = out[1].turns_since(out[0]) * rate / band.factor() as f64;
                    assert!((turns - (hz - CENTRE_HZ)).abs() < 0.1, "{hz}: {turns}");
                } else {
                    assert!(level < 0.01, "{rate} {hz}: {level}");
                }
            }
        }
    }
}
