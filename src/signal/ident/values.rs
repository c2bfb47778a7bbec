//! The slow signal that an ear listens to, and the bits in it.

use super::band::CENTRE_HZ;
use super::{BITS_HZ, TONES_HZ};
use crate::signal::phasor::Phasor;
use rustfft::num_complex::Complex64;

/// The newest values of the band, counted from the first.
#[derive(Clone, Debug)]
pub(super) struct Values {
    /// Values a second.
    pub(super) rate_hz: f64,
    pub(super) all: Vec<Complex64>,
    first: u64,
}

impl Values {
    /// None yet.
    pub(super) fn new(rate_hz: f64) -> Self {
        Self {
            rate_hz,
            all: Vec::new(),
            first: 0,
        }
    }

    pub(super) fn end(&self) -> u64 {
        self.first + self.all.len() as u64
    }

    pub(super) fn at(&self, at: u64) -> Complex64 {
        let index = at.checked_sub(self.first);
        let value = index.and_then(|index| self.all.get(index as usize));
        value.copied().unwrap_or_default()
    }

    pub(super) fn drop_before(&mut self, at: u64) {
        let gone = at.saturating_sub(self.first).min(self.all.len() as u64);
        self.all.drain(..gone as usize);
        self.first += gone;
    }

    /// Values of a bit at a speed.
    pub(super) fn bit_length(&self, speed: f64) -> f64 {
        self.rate_hz / (BITS_HZ * speed)
    }

    /// How much of a tone there is in both halves of a bit that begins `at`,
    /// each as the sum of its values, turned back by the tone.
    fn halves(&self, at: f64, speed: f64, tone: usize) -> [Complex64; 2] {
        let half = self.bit_length(speed) / 2.0;
        let step = (TONES_HZ[tone] * speed - CENTRE_HZ) / self.rate_hz;
        let first = at.max(0.0).floor() as u64;
        let mut sums = [Complex64::default(); 2];
        let end = (at + 2.0 * half).ceil().max(0.0) as u64;
        for (n, turned) in (first..end).zip(Phasor::new(0.0, -step)) {
            let value = self.at(n) * turned;
            for (number, sum) in sums.iter_mut().enumerate() {
                let from = at + number as f64 * half;
                // The part of the value that lies within this half.
                let part = (n as f64 + 1.0).min(from + half) - (n as f64).max(from);
                if part > 0.0 {
                    *sum += part * value;
                }
            }
        }
        sums
    }

    /// Both tones of a bit.
    pub(super) fn bit(&self, at: f64, speed: f64) -> Bit {
        Bit([0, 1].map(|tone| self.halves(at, speed, tone)))
    }
}

/// The halves of a bit by tone.
#[derive(Clone, Copy, Debug)]
pub(super) struct Bit(pub(super) [[Complex64; 2]; 2]);

impl Bit {
    pub(super) fn power(&self, tone: usize) -> f64 {
        let [one, other] = self.0[tone];
        (one + other).norm_sqr()
    }

    /// −1 for a clear 0, 1 for a clear 1.
    pub(super) fn says(&self) -> f64 {
        let [low, high] = [self.power(0), self.power(1)];
        (high - low) / (high + low + f64::MIN_POSITIVE)
    }
}
