//! The band of an ident, at any speed, as a slow complex signal.

// See `wide`.
#![allow(clippy::inline_always)]

use rustfft::num_complex::Complex64;
use std::f64::consts::TAU;

use crate::signal::demodulator::turned_by;
use crate::signal::fir::{LANES, kaiser_lowpass, whole_lanes};
use crate::signal::wide::{self, Work, madd};

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

/// Samples that are worked on at a time, at most.
const PIECE: usize = 4096;

/// Fewer samples a second, then a band-pass with complex taps, fewer again, and
/// a turn to 0 Hz.
#[derive(Clone, Debug)]
pub(super) struct Band {
    /// `None` where the input is slow already.
    first: Option<Stage<1>>,
    second: Stage<2>,
    oscillator: Oscillator,
    between: Vec<[f32; 1]>,
    samples: Vec<f32>,
    out: Vec<[f32; 2]>,
}

impl Band {
    pub(super) fn new(rate_hz: f64) -> Self {
        let factor = |rate_hz: f64, slowest: f64| ((rate_hz / slowest) as usize).max(1);
        let first = factor(rate_hz, SLOWEST_HZ[0]);
        let between_hz = rate_hz / first as f64;
        let second = factor(between_hz, SLOWEST_HZ[1]);
        let plain = kaiser_lowpass(PASS_HZ, STOP_HZ, between_hz, ATTENUATION_DB);
        let part = |part: fn(f64) -> f64| -> Vec<f64> {
            let turned = plain.iter().enumerate().map(|(k, tap)| {
                // Twice, since only one side of the spectrum passes.
                2.0 * tap * part(TAU * CENTRE_HZ * k as f64 / between_hz)
            });
            turned.collect()
        };
        // The window runs forwards in time where a filter's taps run
        // backwards: the conjugate.
        let taps = [part(f64::cos), part(|angle| -angle.sin())];
        let no_alias_hz = between_hz - HIGHEST_HZ;
        Self {
            first: (first > 1).then(|| {
                let taps = kaiser_lowpass(HIGHEST_HZ, no_alias_hz, rate_hz, ATTENUATION_DB);
                Stage::new(first, [taps])
            }),
            second: Stage::new(second, taps),
            oscillator: Oscillator::new(-CENTRE_HZ * second as f64 / between_hz),
            between: Vec::new(),
            samples: Vec::new(),
            out: Vec::new(),
        }
    }

    /// Samples of the input to one of the output.
    pub(super) fn factor(&self) -> usize {
        self.second.factor * self.first.as_ref().map_or(1, |first| first.factor)
    }

    /// Adds what comes of the samples to `values`.
    pub(super) fn push(&mut self, samples: &[f32], values: &mut Vec<Complex64>) {
        self.out.clear();
        if let Some(first) = &mut self.first {
            self.between.clear();
            first.push(samples, &mut self.between);
            self.samples.clear();
            self.samples
                .extend(self.between.iter().map(|[value]| *value));
            self.second.push(&self.samples, &mut self.out);
        } else {
            self.second.push(samples, &mut self.out);
        }
        for [re, im] in &self.out {
            let value = Complex64::new(f64::from(*re), f64::from(*im));
            values.push(value * self.oscillator.next());
        }
    }
}

/// Values that are made from the one before, until the next exact one.
const LAP: u32 = 256;

/// e^(j2πfn), made by products.
#[derive(Clone, Debug)]
struct Oscillator {
    /// Turns from one value to the next, and to the next exact one so far.
    step_turns: f64,
    lap_turns: f64,
    step: Complex64,
    value: Complex64,
    made: u32,
}

impl Oscillator {
    fn new(step_turns: f64) -> Self {
        Self {
            step_turns,
            lap_turns: 0.0,
            step: turned_by(step_turns),
            value: turned_by(0.0),
            made: 0,
        }
    }

    fn next(&mut self) -> Complex64 {
        let now = self.value;
        self.made += 1;
        if self.made == LAP {
            self.made = 0;
            self.lap_turns = (self.lap_turns + f64::from(LAP) * self.step_turns).fract();
            self.value = turned_by(self.lap_turns);
        } else {
            self.value = now * self.step;
        }
        now
    }
}

/// Some filters over one stream, of which every n-th value is kept.
#[derive(Clone, Debug)]
struct Stage<const N: usize> {
    factor: usize,
    taps: [Vec<f32>; N],
    /// The newest samples, oldest first; grows and is cut back.
    history: Vec<f32>,
    /// Samples until the next value.
    wait: usize,
}

impl<const N: usize> Stage<N> {
    /// Taps of equal length.
    fn new(factor: usize, taps: [Vec<f64>; N]) -> Self {
        let taps = taps.map(|taps| {
            let mut padded: Vec<f32> = taps.iter().map(|tap| *tap as f32).collect();
            padded.resize(whole_lanes(taps.len()), 0.0);
            padded
        });
        Self {
            factor,
            history: vec![0.0; taps.first().map_or(0, Vec::len)],
            taps,
            wait: factor,
        }
    }

    fn push(&mut self, samples: &[f32], out: &mut Vec<[f32; N]>) {
        for samples in samples.chunks(PIECE) {
            self.history.extend_from_slice(samples);
            wide::run(Piece {
                stage: self,
                count: samples.len(),
                out,
            });
        }
    }
}

/// The newest samples of a stage, so many of them.
struct Piece<'a, const N: usize> {
    stage: &'a mut Stage<N>,
    count: usize,
    out: &'a mut Vec<[f32; N]>,
}

impl<const N: usize> Work for Piece<'_, N> {
    type Output = ();

    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        let stage = self.stage;
        let span = stage.history.len() - self.count;
        let mut at = span;
        while at + stage.wait <= stage.history.len() {
            at += stage.wait;
            stage.wait = stage.factor;
            let window = &stage.history[at - span..at];
            let mut value = [0.0; N];
            for (slot, taps) in value.iter_mut().zip(&stage.taps) {
                *slot = product::<FUSED>(window, taps);
            }
            self.out.push(value);
        }
        stage.wait -= stage.history.len() - at;
        let from = stage.history.len() - span;
        stage.history.copy_within(from.., 0);
        stage.history.truncate(span);
    }
}

/// Σ a·b over slices of equal length, a multiple of [`LANES`].
#[inline(always)]
fn product<const FUSED: bool>(a: &[f32], b: &[f32]) -> f32 {
    let mut sums = [0.0f32; LANES];
    for (a, b) in a.chunks_exact(LANES).zip(b.chunks_exact(LANES)) {
        for lane in 0..LANES {
            sums[lane] = madd::<FUSED>(a[lane], b[lane], sums[lane]);
        }
    }
    sums.iter().sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::demodulator::turns_between;

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
                    (out.iter().map(|z| z.norm_sqr()).sum::<f64>() / out.len() as f64).sqrt();
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
