//! The phases of some partials of a note, from short windows that overlap.
//!
//! Each partial has a kernel, a window turned at the partial's frequency; the
//! inner product with the samples is its complex amplitude. From one frame to
//! the next the phase moves on by the frequency. The windows are as short as
//! keeps the partials apart, so that wow and vibrato are followed.

use rustfft::num_complex::Complex64;
use std::f64::consts::PI;

use crate::signal::demodulator::turns_between;
use crate::signal::fir::{dot, kaiser_window, whole_lanes};
use crate::signal::phasor::Phasor;

/// Length of the window in periods of the fundamental. The main lobe of the
/// Kaiser window below ends 2.7 turns from its middle, so 0.6 of the way to
/// the next partial: a partial may waver by 0.4 of that way.
const PERIODS: f64 = 4.5;

/// No shorter: flutter beyond 200 Hz is nobody's concern.
const SHORTEST_S: f64 = 0.006;

/// Frames in the length of a window.
const FRAMES: f64 = 10.0;

/// Shape of the window: what lies beyond the main lobe is 80 dB down
/// (β = 0.1102 (A − 8.7), J. F. Kaiser, 1974).
const BETA: f64 = 7.857;

/// See the module.
#[derive(Clone, Debug)]
pub struct Comb {
    rate_hz: f64,
    /// Samples of a window, and from one to the next.
    length: usize,
    hop: usize,
    partials_hz: Vec<f64>,
    kernels: Vec<[Vec<f32>; 2]>,
    /// Mean square of a partial for the squared magnitude of its product.
    scale: f64,
    /// Bandwidth of the noise in a product, in hertz.
    noise_hz: f64,
}

impl Comb {
    /// Samples of a window for a fundamental.
    pub fn length_for(rate_hz: f64, fundamental_hz: f64) -> usize {
        ((PERIODS / fundamental_hz).max(SHORTEST_S) * rate_hz).round() as usize
    }

    /// For windows of `length` samples, and partials at these frequencies.
    pub fn new(rate_hz: f64, length: usize, partials_hz: Vec<f64>) -> Self {
        let window: Vec<f64> = (0..length)
            .map(|k| {
                let edge = 2.0 * (k as f64 + 0.5) / length as f64 - 1.0;
                kaiser_window(edge, BETA)
            })
            .collect();
        let sum: f64 = window.iter().sum();
        let squares: f64 = window.iter().map(|w| w * w).sum();
        let kernels = partials_hz
            .iter()
            .map(|hz| kernel(&window, hz / rate_hz))
            .collect();
        Self {
            rate_hz,
            length,
            hop: ((length as f64 / FRAMES).round() as usize).max(1),
            partials_hz,
            kernels,
            scale: 2.0 / (sum * sum),
            noise_hz: rate_hz * squares / (sum * sum),
        }
    }

    /// Samples of a window.
    pub fn length(&self) -> usize {
        self.length
    }

    /// Samples from one window to the next.
    pub fn hop(&self) -> usize {
        self.hop
    }

    /// Frequency that a partial was expected at, in hertz.
    pub fn partial_hz(&self, partial: usize) -> f64 {
        self.partials_hz[partial]
    }

    /// Bandwidth of the noise beside each partial, in hertz.
    pub fn noise_bandwidth_hz(&self) -> f64 {
        self.noise_hz
    }

    /// Complex amplitudes of the partials in a window, added to `out`.
    pub fn frame(&self, samples: &[f32], out: &mut Vec<Complex64>) {
        let whole = samples.len() / 8 * 8;
        out.extend(self.kernels.iter().map(|[re, im]| {
            let part = |kernel: &[f32]| {
                let rest: f32 = samples[whole..]
                    .iter()
                    .zip(&kernel[whole..])
                    .map(|(s, k)| s * k)
                    .sum();
                f64::from(dot::<false>(&samples[..whole], &kernel[..whole]) + rest)
            };
            Complex64::new(part(re), part(im))
        }));
    }

    /// Mean square of a partial.
    pub fn power(&self, amplitude: Complex64) -> f64 {
        self.scale * amplitude.norm_sqr()
    }

    /// How far a partial was off its frequency between two frames that
    /// followed each other, as a part of that frequency.
    pub fn off(&self, partial: usize, earlier: Complex64, later: Complex64) -> f64 {
        let hz = self.partials_hz[partial];
        let expected = hz * self.hop as f64 / self.rate_hz;
        let turns = turns_between(earlier, later) - expected;
        (turns - turns.round()) / expected
    }
}

/// A window turned against a frequency in turns a sample.
fn kernel(window: &[f64], turns: f64) -> [Vec<f32>; 2] {
    let padded = whole_lanes(window.len());
    let mut kernel = [vec![0.0; padded], vec![0.0; padded]];
    for (k, (weight, back)) in window.iter().zip(Phasor::new(0.0, -turns)).enumerate() {
        kernel[0][k] = (weight * back.re) as f32;
        kernel[1][k] = (weight * back.im) as f32;
    }
    kernel
}

/// Up to this rate the speed track of a comb shows wow in full (−1 dB), in
/// hertz: the main lobe of the window over its length.
pub fn band_hz(length_s: f64) -> f64 {
    // Half of a raised-cosine-like lobe that reaches 2.7 turns.
    2.7 / PI * 0.55 / length_s
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    const RATE_HZ: f64 = 48_000.0;

    fn note(hz: f64, count: usize) -> Vec<f32> {
        (0..count)
            .map(|k| {
                let turns = |n: f64| (TAU * (n * hz / RATE_HZ * k as f64).fract()).sin();
                (0.05 * turns(1.0) + 0.4 * turns(2.0) + 0.3 * turns(3.0)) as f32
            })
            .collect()
    }

    #[test]
    fn partials_are_read_whatever_their_neighbours() {
        for hz in [100.0, 437.3, 451.0] {
            let nominal = if hz > 200.0 { 440.0 } else { 101.0 };
            let length = Comb::length_for(RATE_HZ, nominal);
            let comb = Comb::new(RATE_HZ, length, vec![nominal, 2.0 * nominal, 3.0 * nominal]);
            let samples = note(hz, length + comb.hop());
            let (mut before, mut after) = (Vec::new(), Vec::new());
            comb.frame(&samples[..length], &mut before);
            comb.frame(&samples[comb.hop()..], &mut after);
            for partial in 0..3 {
                let off = comb.off(partial, before[partial], after[partial]);
                let error = (1.0 + off) * nominal / hz - 1.0;
                assert!(
                    error.abs() < 3e-3 / (partial + 1) as f64,
                    "{hz}, {partial}: {error}"
                );
            }
            assert!((comb.power(after[1]) / 0.08 - 1.0).abs() < 0.3);
        }
    }
}
