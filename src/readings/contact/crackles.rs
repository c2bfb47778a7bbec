//! Crackles: impulses that nothing in the sound explains.
//!
//! A predictor made just before takes out what could be foreseen. What is
//! left is cut into bins of a quarter of a millisecond; a crackle is a bin
//! that stands far above what is usual on both sides of it. A drum or the
//! beginning of a note stays unforeseen for a while and so does not stand
//! alone.

use std::collections::VecDeque;

use crate::signal::prediction::{Predictor, Workroom};
use crate::signal::statistics::quantile;

/// Coefficients of the predictor.
const ORDER: usize = 24;
/// Samples a predictor is made of, and how often, at about 48 kHz.
const WINDOW: usize = 960;
const HOP: usize = 480;
/// Samples a bin.
const BIN: usize = 12;
/// Bins looked at on each side, 10 ms, and left out next to the middle.
const AROUND: usize = 40;
const SPAN: usize = 2 * AROUND + 1;
const APART: usize = 4;
/// How far above what is usual around it.
const LEAST_RATIO: f64 = 4.5;
/// Nothing below −80 dB of full scale, or 54 dB below the sound, is called a
/// crackle.
const FLOOR: f64 = 1e-4;
const FLOOR_OF_SOUND: f64 = 2e-3;

#[derive(Clone, Copy, Debug, Default)]
struct Bin {
    peak: f64,
    rms: f64,
}

/// See the module.
pub(super) struct CrackleFinder {
    samples: Vec<f64>,
    /// Samples of the stream before the first of `samples`.
    base: u64,
    predictor: Option<Predictor>,
    room: Workroom,
    /// The next sample of the stream whose error is wanted.
    next: u64,
    next_model: u64,
    bin: Bin,
    bins: VecDeque<Bin>,
    /// Bins done in all.
    done: u64,
}

impl CrackleFinder {
    pub(super) fn new() -> Self {
        Self {
            samples: Vec::new(),
            base: 0,
            predictor: None,
            room: Workroom::default(),
            next: WINDOW as u64,
            next_model: WINDOW as u64,
            bin: Bin::default(),
            bins: VecDeque::new(),
            done: 0,
        }
    }

    /// The stream's samples, to be added to; then call [`Self::search`].
    pub(super) fn samples(&mut self) -> &mut Vec<f64> {
        &mut self.samples
    }

    /// Hands over the sample at which each crackle stands.
    pub(super) fn search(&mut self, found: &mut Vec<u64>) {
        let end = self.base + self.samples.len() as u64;
        while self.next < end {
            if self.next == self.next_model {
                let to = (self.next - self.base) as usize;
                let stretch = &self.samples[to - WINDOW..to];
                self.predictor = Some(Predictor::of(stretch, ORDER, &mut self.room));
                self.next_model += HOP as u64;
            }
            let to = end.min(self.next_model);
            self.foresee(to, found);
        }
        let keep_from = self.next.saturating_sub(WINDOW as u64);
        if keep_from > self.base + 8192 {
            self.samples.drain(..(keep_from - self.base) as usize);
            self.base = keep_from;
        }
    }

    fn foresee(&mut self, to: u64, found: &mut Vec<u64>) {
        let Some(predictor) = self.predictor.take() else {
            self.next = to;
            return;
        };
        let rms = predictor.power.sqrt();
        while self.next < to {
            let at = (self.next - self.base) as usize;
            let past = &self.samples[at - ORDER..=at];
            let c = &predictor.coefficients;
            let error: f64 = c.iter().zip(past.iter().rev()).map(|(c, x)| c * x).sum();
            self.bin.peak = self.bin.peak.max(error.abs());
            self.next += 1;
            if (self.next - WINDOW as u64).is_multiple_of(BIN as u64) {
                self.bin.rms = rms;
                let bin = std::mem::take(&mut self.bin);
                self.take_bin(bin, found);
            }
        }
        self.predictor = Some(predictor);
    }

    fn take_bin(&mut self, bin: Bin, found: &mut Vec<u64>) {
        self.bins.push_back(bin);
        self.done += 1;
        if self.bins.len() > SPAN {
            self.bins.pop_front();
        }
        if self.bins.len() == SPAN && self.stands_alone() {
            let middle = self.done - 1 - AROUND as u64;
            found.push(WINDOW as u64 + middle * BIN as u64 + BIN as u64 / 2);
        }
    }

    fn stands_alone(&self) -> bool {
        let middle = self.bins[AROUND];
        let floor = FLOOR.max(FLOOR_OF_SOUND * middle.rms);
        if middle.peak < LEAST_RATIO * floor {
            return false;
        }
        let next_to = AROUND - APART..=AROUND + APART;
        if self.bins.range(next_to).any(|it| it.peak > middle.peak) {
            return false;
        }
        let above = |usual: f64| middle.peak >= LEAST_RATIO * usual;
        above(self.usual(0, AROUND - APART)) && above(self.usual(AROUND + APART + 1, SPAN))
    }

    /// What nine bins of ten stay below.
    fn usual(&self, from: usize, to: usize) -> f64 {
        let mut peaks: Vec<f64> = self.bins.range(from..to).map(|it| it.peak).collect();
        quantile(&mut peaks, 0.9).unwrap_or_default()
    }
}
