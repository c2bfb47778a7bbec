//! Band-limited reading of samples between the samples: conversion from one
//! rate to another, and playing an array at any speed near the true one.
//!
//! Both are sums of samples under a sinc that a Kaiser window ends (J. F.
//! Kaiser, "Nonrecursive digital filter design using the I0-sinh window
//! function", 1974).

// See `wide`.
#![allow(clippy::inline_always)]

use super::fir::{dot, kaiser_beta, kaiser_window, sinc, whole_lanes};
use super::wide::{self, Work, madd};

/// What a conversion leaves of everything it should take out.
const ATTENUATION_DB: f64 = 70.0;

/// Pass band of a conversion, and where its stop band begins, in parts of half
/// the lower rate. What folds back lies above the pass band.
const EDGES: [f64; 2] = [0.85, 1.15];

/// Converts a stream from one rate to another. Output n lies exactly at n ×
/// rate in ÷ rate out of the input: there is no delay, but the last outputs
/// come with [`Converter::flush`].
#[derive(Clone, Debug)]
pub struct Converter {
    up: usize,
    down: usize,
    length: usize,
    /// Taps of one phase after the other.
    taps: Vec<f32>,
    input: Vec<f32>,
    /// Place of the next output within `input`, whole samples and parts of
    /// `up`.
    at: usize,
    part: usize,
}

impl Converter {
    /// From one rate to another, both at least 1 Hz.
    pub fn new(from_hz: u32, to_hz: u32) -> Self {
        let (from_hz, to_hz) = (from_hz.max(1), to_hz.max(1));
        let common = greatest_common_divisor(from_hz, to_hz);
        let up = (to_hz / common) as usize;
        let down = (from_hz / common) as usize;
        let nyquist = f64::from(from_hz.min(to_hz)) / 2.0 / f64::from(from_hz);
        let width = std::f64::consts::TAU * (EDGES[1] - EDGES[0]) * nyquist;
        let half = ((ATTENUATION_DB - 7.95) / (2.285 * width) / 2.0).ceil();
        let length = whole_lanes(2 * half as usize);
        let half = length / 2;
        let beta = kaiser_beta(ATTENUATION_DB);
        let mut taps = Vec::with_capacity(up * length);
        for phase in 0..up {
            let part = phase as f64 / up as f64;
            let of_phase: Vec<f64> = (0..length)
                .map(|k| {
                    let away = k as f64 - (half as f64 - 1.0) - part;
                    sinc(away, 2.0 * nyquist) * kaiser_window(away / half as f64, beta)
                })
                .collect();
            let sum: f64 = of_phase.iter().sum();
            taps.extend(of_phase.iter().map(|tap| (tap / sum) as f32));
        }
        Self {
            up,
            down,
            length,
            taps,
            input: vec![0.0; half - 1],
            at: 0,
            part: 0,
        }
    }

    /// Takes samples and adds to `output` what can be made of them.
    pub fn push(&mut self, samples: &[f32], output: &mut Vec<f32>) {
        self.input.extend_from_slice(samples);
        wide::run(Convert {
            converter: self,
            output,
        });
        self.input.drain(..self.at);
        self.at = 0;
    }

    /// Adds the last outputs, up to the place of the last input.
    pub fn flush(&mut self, output: &mut Vec<f32>) {
        self.push(&vec![0.0; self.length / 2], output);
    }
}

struct Convert<'a> {
    converter: &'a mut Converter,
    output: &'a mut Vec<f32>,
}

impl Work for Convert<'_> {
    type Output = ();

    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        let it = self.converter;
        while it.at + it.length <= it.input.len() {
            let taps = &it.taps[it.part * it.length..(it.part + 1) * it.length];
            let samples = &it.input[it.at..it.at + it.length];
            self.output.push(dot::<FUSED>(taps, samples));
            it.part += it.down;
            it.at += it.part / it.up;
            it.part %= it.up;
        }
    }
}

/// Half the samples that one value between the samples is made of.
const HALF: usize = 12;
const TAPS: usize = 2 * HALF;

/// Of them before the place.
const BEFORE: i64 = 11;

/// Places between two samples for which the kernel is kept; between them it
/// is taken as straight, which errs by less than 10⁻⁵.
const PLACES: usize = 256;

/// Reads an array at any speed near the true one. Good to −70 dB up to 0.8
/// times half the sample rate.
#[derive(Clone, Debug)]
pub struct Player {
    kernel: Vec<f32>,
}

impl Default for Player {
    fn default() -> Self {
        let beta = kaiser_beta(ATTENUATION_DB);
        let middle = kaiser_window(0.0, beta);
        let kernel = (0..=PLACES)
            .flat_map(|place| {
                let part = place as f64 / PLACES as f64;
                (0..TAPS).map(move |k| {
                    let away = k as f64 - (HALF as f64 - 1.0) - part;
                    let window = kaiser_window(away / HALF as f64, beta) / middle;
                    (sinc(away, 1.0) * window) as f32
                })
            })
            .collect();
        Self { kernel }
    }
}

impl Player {
    /// Fills `output` with the samples at `first`, `first` + `step` … (in
    /// samples of the array); outside the array there is silence.
    pub fn play(&self, samples: &[f32], first: f64, step: f64, output: &mut [f32]) {
        wide::run(Play {
            player: self,
            samples,
            first,
            step,
            output,
        });
    }

    /// Fills `output` with the samples at as many places of the array; outside
    /// it there is silence.
    pub fn play_at(&self, samples: &[f32], places: &[f64], output: &mut [f32]) {
        wide::run(PlayAt {
            player: self,
            samples,
            places,
            output,
        });
    }

    #[inline(always)]
    fn value<const FUSED: bool>(&self, samples: &[f32], place: f64) -> f32 {
        let whole = place.floor();
        let fine = (place - whole) * PLACES as f64;
        let row = (fine as usize).min(PLACES - 1);
        let part = (fine - row as f64) as f32;
        let from = whole as i64 - BEFORE;
        let mut edge = [0.0; TAPS];
        let window = match usize::try_from(from) {
            Ok(from) if from + TAPS <= samples.len() => &samples[from..from + TAPS],
            _ => {
                for (value, at) in edge.iter_mut().zip(from..) {
                    let at = usize::try_from(at).unwrap_or(usize::MAX);
                    *value = samples.get(at).copied().unwrap_or(0.0);
                }
                &edge
            }
        };
        let rows = &self.kernel[row * TAPS..(row + 2) * TAPS];
        let low = dot::<FUSED>(&rows[..TAPS], window);
        let high = dot::<FUSED>(&rows[TAPS..], window);
        madd::<FUSED>(part, high - low, low)
    }
}

struct Play<'a> {
    player: &'a Player,
    samples: &'a [f32],
    first: f64,
    step: f64,
    output: &'a mut [f32],
}

impl Work for Play<'_> {
    type Output = ();

    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        for (n, slot) in self.output.iter_mut().enumerate() {
            let place = self.first + n as f64 * self.step;
            *slot = self.player.value::<FUSED>(self.samples, place);
        }
    }
}

struct PlayAt<'a> {
    player: &'a Player,
    samples: &'a [f32],
    places: &'a [f64],
    output: &'a mut [f32],
}

impl Work for PlayAt<'_> {
    type Output = ();

    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        for (slot, &place) in self.output.iter_mut().zip(self.places) {
            *slot = self.player.value::<FUSED>(self.samples, place);
        }
    }
}

/// The greatest number that divides both.
pub fn greatest_common_divisor(a: u32, b: u32) -> u32 {
    if b == 0 {
        a
    } else {
        greatest_common_divisor(b, a % b)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    fn sine(hz: f64, rate_hz: f64, count: usize) -> Vec<f32> {
        (0..count)
            .map(|n| (TAU * hz * n as f64 / rate_hz).sin() as f32)
            .collect()
    }

    #[test]
    fn a_sine_comes_out_at_its_place_whatever_the_rates() {
        for (from, to) in [
            (44_100, 8000),
            (48_000, 8000),
            (11_025, 8000),
            (8000, 8000),
            (47_999, 8000),
            (6000, 8000),
        ] {
            let hz = 0.4 * f64::from(from.min(to));
            let input = sine(hz, f64::from(from), from as usize);
            let mut converter = Converter::new(from, to);
            let mut output = Vec::new();
            for block in input.chunks(777) {
                converter.push(block, &mut output);
            }
            converter.flush(&mut output);
            assert!(
                output.len().abs_diff(to as usize) <= 1,
                "{from}: {}",
                output.len()
            );
            let wanted = sine(hz, f64::from(to), output.len());
            for n in 200..output.len() - 200 {
                let off = f64::from(output[n] - wanted[n]).abs();
                assert!(off < 1e-3, "{from} to {to}, {n}: {off}");
            }
        }
    }

    #[test]
    fn what_would_fold_into_the_pass_band_is_taken_out() {
        for hz in [4700.0, 8300.0, 15_000.0] {
            let mut output = Vec::new();
            Converter::new(48_000, 8000).push(&sine(hz, 48_000.0, 48_000), &mut output);
            let most = output[300..7000].iter().fold(0.0f32, |m, x| m.max(x.abs()));
            assert!(most < 1e-3, "{hz}: {most}");
        }
    }

    #[test]
    fn an_array_is_played_at_any_speed() {
        let samples = sine(2500.0, 8000.0, 8000);
        let mut output = vec![0.0; 2000];
        for step in [0.9, 1.000_37, 1.1] {
            Player::default().play(&samples, 123.4567, step, &mut output);
            for (n, got) in output.iter().enumerate() {
                let place = 123.4567 + n as f64 * step;
                let wanted = (TAU * 2500.0 * place / 8000.0).sin();
                assert!((f64::from(*got) - wanted).abs() < 1e-3, "{step} {n}");
            }
        }
        Player::default().play(&samples, -50.0, 1.0, &mut output[..20]);
        assert!(output[..20].iter().all(|x| x.abs() < 1e-9));
    }

    #[test]
    fn and_so_it_is_without_fused_multiplication() {
        crate::signal::wide::tests::plainly(|| {
            a_sine_comes_out_at_its_place_whatever_the_rates();
            what_would_fold_into_the_pass_band_is_taken_out();
            an_array_is_played_at_any_speed();
        });
    }
}
