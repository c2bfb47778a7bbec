//! Fewer samples a second, for what needs no high frequencies.

use crate::signal::fir::{dot, kaiser_lowpass, whole_lanes};

/// Keeps every n-th sample of a low-passed stream.
pub(super) struct Decimator {
    factor: usize,
    taps: Vec<f32>,
    /// The newest samples, oldest first; grows and is cut back.
    history: Vec<f32>,
    /// Samples until the next one is kept.
    wait: usize,
}

impl Decimator {
    /// From `rate_hz` to a rate near `wanted_hz`, not below it by more than a
    /// quarter.
    pub(super) fn new(rate_hz: f64, wanted_hz: f64) -> Self {
        let factor = ((rate_hz / wanted_hz).round() as usize).max(1);
        let taps = if factor == 1 {
            Vec::new()
        } else {
            let kept_hz = rate_hz / factor as f64;
            let taps = kaiser_lowpass(0.34 * kept_hz, 0.55 * kept_hz, rate_hz, 60.0);
            let mut taps: Vec<f32> = taps.iter().map(|tap| *tap as f32).collect();
            taps.resize(whole_lanes(taps.len()), 0.0);
            taps
        };
        Self {
            factor,
            history: vec![0.0; taps.len()],
            taps,
            wait: factor,
        }
    }

    /// Samples of the input to one of the output.
    pub(super) fn factor(&self) -> usize {
        self.factor
    }

    /// By how many samples of the input the output is late.
    pub(super) fn delay(&self) -> f64 {
        self.taps.len().saturating_sub(1) as f64 / 2.0
    }

    /// Adds what comes of the samples to `kept`.
    pub(super) fn push(&mut self, samples: &[f32], kept: &mut Vec<f64>) {
        if self.factor == 1 {
            kept.extend(samples.iter().map(|x| f64::from(*x)));
            return;
        }
        let span = self.taps.len();
        for chunk in samples.chunks(4096) {
            self.history.extend_from_slice(chunk);
            let mut at = self.history.len() - chunk.len();
            while at + self.wait <= self.history.len() {
                at += self.wait;
                self.wait = self.factor;
                let window = &self.history[at - span..at];
                kept.push(f64::from(dot(window, &self.taps)));
            }
            self.wait -= self.history.len() - at;
            let cut = self.history.len() - span;
            self.history.drain(..cut);
        }
    }
}
