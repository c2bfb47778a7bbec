//! Fewer samples a second: filters over a stream, of which every n-th value is
//! kept.

// See `wide`.
#![allow(clippy::inline_always)]

use super::fir::{dot, whole_lanes};
use super::wide::{self, Work};

/// Samples that are worked on at a time, at most.
const PIECE: usize = 4096;

/// See the module.
#[derive(Clone, Debug)]
pub struct Decimator<const N: usize> {
    factor: usize,
    delay: f64,
    taps: [Vec<f32>; N],
    /// The newest samples, oldest first; grows and is cut back.
    history: Vec<f32>,
    /// Samples until the next value.
    wait: usize,
}

impl<const N: usize> Decimator<N> {
    /// Keeps every `factor`-th value of filters with taps of equal length, in
    /// the order of time.
    pub fn new(factor: usize, taps: [Vec<f64>; N]) -> Self {
        let length = taps.first().map_or(0, Vec::len);
        let taps = taps.map(|taps| {
            let mut padded = vec![0.0; whole_lanes(length) - length];
            padded.extend(taps.iter().map(|tap| *tap as f32));
            padded
        });
        Self {
            factor,
            delay: length.saturating_sub(1) as f64 / 2.0,
            history: vec![0.0; whole_lanes(length)],
            taps,
            wait: factor,
        }
    }

    /// Samples of the input to one of the output.
    pub fn factor(&self) -> usize {
        self.factor
    }

    /// By how many samples of the input the output is late, for symmetric taps.
    pub fn delay(&self) -> f64 {
        self.delay
    }

    /// Hands over what comes of the samples, a value of each filter.
    pub fn push(&mut self, samples: &[f32], mut out: impl FnMut([f32; N])) {
        for samples in samples.chunks(PIECE) {
            self.history.extend_from_slice(samples);
            wide::run(Piece {
                decimator: self,
                count: samples.len(),
                out: &mut out,
            });
        }
    }
}

/// The newest `count` samples of a stream.
struct Piece<'a, const N: usize, F> {
    decimator: &'a mut Decimator<N>,
    count: usize,
    out: &'a mut F,
}

impl<const N: usize, F: FnMut([f32; N])> Work for Piece<'_, N, F> {
    type Output = ();

    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        let it = self.decimator;
        let span = it.history.len() - self.count;
        let mut at = span;
        while at + it.wait <= it.history.len() {
            at += it.wait;
            it.wait = it.factor;
            let window = &it.history[at - span..at];
            let mut value = [0.0; N];
            for (slot, taps) in value.iter_mut().zip(&it.taps) {
                *slot = dot::<FUSED>(window, taps);
            }
            (self.out)(value);
        }
        it.wait -= it.history.len() - at;
        let from = it.history.len() - span;
        it.history.copy_within(from.., 0);
        it.history.truncate(span);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_is_late_by_its_delay_however_the_blocks_fall() {
        // Symmetric taps leave a ramp as it is, moved by their delay.
        let taps: Vec<f64> = [1.0, 2.0, 3.0, 2.0, 1.0].map(|tap| tap / 9.0).to_vec();
        let ramp: Vec<f32> = (0..1000u16).map(f32::from).collect();
        for block in [1, 7, 1000] {
            let mut decimator = Decimator::new(3, [taps.clone()]);
            let mut got = Vec::new();
            for samples in ramp.chunks(block) {
                decimator.push(samples, |[value]| got.push(f64::from(value)));
            }
            assert_eq!(got.len(), 333);
            for (k, value) in got.iter().enumerate().skip(3) {
                let newest = (3 * k + 2) as f64;
                assert!(
                    (value - (newest - decimator.delay())).abs() < 1e-3,
                    "{k}: {value}"
                );
            }
        }
    }

    #[test]
    fn and_so_it_is_without_fused_multiplication() {
        crate::signal::wide::tests::plainly(|| {
            it_is_late_by_its_delay_however_the_blocks_fall();
        });
    }
}
