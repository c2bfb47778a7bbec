//! Level and clipping of one channel, straight from the samples.

// See `wide`.
#![allow(clippy::inline_always)]

use super::wide::{self, Work, madd};

/// A sample at or above this magnitude stands at full scale: the largest code
/// of 16 bits is 32767/32768 = 0.999969.
pub const FULL_SCALE: f32 = 0.999_96;

/// A sample beyond this is damage, not sound; its square would drown all.
const WILDEST: f32 = 1e3;

/// The sample, or 0 where it is no number or wildly beyond full scale.
pub fn tame(sample: f32) -> f32 {
    if sample.abs() <= WILDEST { sample } else { 0.0 }
}

/// Adds the samples of each channel, tamed, to what there is of it. Two
/// channels, which is the usual, in a loop of their own that the compiler makes
/// fast.
pub fn split(interleaved: &[f32], channels: usize, into: &mut [Vec<f32>]) {
    if let ([left, right], 2) = (&mut *into, channels) {
        let frames = interleaved.as_chunks::<2>().0.iter();
        left.extend(frames.clone().map(|frame| tame(frame[0])));
        right.extend(frames.map(|frame| tame(frame[1])));
        return;
    }
    for (channel, samples) in into.iter_mut().enumerate() {
        let frames = interleaved.chunks_exact(channels);
        samples.extend(frames.map(|frame| tame(frame[channel])));
    }
}

/// Samples in a row at full scale that are clipping; fewer can be a peak.
const CLIPPED_RUN: u32 = 3;

/// Counts the samples of one channel that clipped.
#[derive(Clone, Copy, Debug, Default)]
pub struct ClipCounter {
    run: u32,
}

impl ClipCounter {
    /// Those that are known to have clipped since the sample before.
    #[inline]
    pub fn push(&mut self, sample: f32) -> u64 {
        if sample.abs() < FULL_SCALE {
            self.run = 0;
            return 0;
        }
        self.run = self.run.saturating_add(1);
        match self.run {
            CLIPPED_RUN => u64::from(CLIPPED_RUN),
            run => u64::from(run > CLIPPED_RUN),
        }
    }
}

/// Adds up one channel until asked.
#[derive(Clone, Copy, Debug, Default)]
pub struct LevelMeter {
    energy: [f64; LANES],
    earlier: f64,
    peak: f32,
    count: u64,
    clips: ClipCounter,
}

/// What a [`LevelMeter`] has added up.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Level {
    /// Mean square of the samples.
    pub mean_square: f64,
    /// Largest magnitude.
    pub peak: f32,
}

impl LevelMeter {
    /// Takes whole ticks of `tick` samples and adds those that clipped to
    /// the slot of their tick. Each tick is added up by itself, so that it
    /// does not matter how many come at once.
    pub fn push(&mut self, samples: &[f32], tick: usize, clipped: &mut [u64]) {
        let block_peak = wide::run(Sums {
            samples,
            tick,
            energy: &mut self.energy,
        });
        self.count += samples.len() as u64;
        self.peak = larger(self.peak, block_peak);
        if block_peak >= FULL_SCALE {
            for (slot, samples) in clipped.iter_mut().zip(samples.chunks(tick)) {
                *slot += samples.iter().map(|s| self.clips.push(*s)).sum::<u64>();
            }
        } else {
            self.clips = ClipCounter::default();
        }
    }

    /// Sum of the squares of all samples since the start.
    pub fn energy(&self) -> f64 {
        self.earlier + self.energy.iter().sum::<f64>()
    }

    /// The level since the last call.
    pub fn take(&mut self) -> Level {
        let energy: f64 = self.energy.iter().sum();
        let level = Level {
            mean_square: energy / self.count.max(1) as f64,
            peak: self.peak,
        };
        self.earlier += energy;
        self.energy = [0.0; LANES];
        self.count = 0;
        self.peak = 0.0;
        level
    }
}

/// Peak of whole ticks; their energy is added to that of before.
struct Sums<'a> {
    samples: &'a [f32],
    tick: usize,
    energy: &'a mut [f64; LANES],
}

impl Work for Sums<'_> {
    type Output = f32;

    #[inline(always)]
    fn run<const FUSED: bool>(self) -> f32 {
        let mut peak = [0.0f32; LANES];
        let mut energy = *self.energy;
        for tick in self.samples.chunks(self.tick) {
            let (whole, rest) = tick.as_chunks::<LANES>();
            let mut squares = [0.0f32; LANES];
            for (lane, sample) in rest.iter().enumerate() {
                squares[lane] = sample * sample;
                peak[lane] = larger(peak[lane], sample.abs());
            }
            for samples in whole {
                for lane in 0..LANES {
                    let sample = samples[lane];
                    squares[lane] = madd::<FUSED>(sample, sample, squares[lane]);
                    peak[lane] = larger(peak[lane], sample.abs());
                }
            }
            for lane in 0..LANES {
                energy[lane] += f64::from(squares[lane]);
            }
        }
        *self.energy = energy;
        peak.into_iter().fold(0.0, larger)
    }
}

/// Lanes that sums are made in.
const LANES: usize = 8;

/// As `max`, but without its care for what is no number, which costs time.
#[inline(always)]
fn larger(a: f32, b: f32) -> f32 {
    if a > b { a } else { b }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_runs_of_three_count_as_clipped() {
        let mut meter = LevelMeter::default();
        let mut clipped = [0; 2];
        meter.push(
            &[1.0, 1.0, 0.5, -1.0, -1.0, -1.0, 0.0, 1.0],
            4,
            &mut clipped,
        );
        assert_eq!(clipped, [0, 3]);
        // A run goes on across blocks.
        meter.push(&[1.0, 1.0, 1.0, 0.2], 4, &mut clipped);
        assert_eq!(clipped, [4, 3]);
    }

    #[test]
    fn a_full_scale_sine_has_mean_square_one_half() {
        let mut meter = LevelMeter::default();
        let sine: Vec<f32> = (0..4800)
            .map(|n| (std::f32::consts::TAU * n as f32 / 48.0).sin() * 0.9)
            .collect();
        meter.push(&sine, 24, &mut [0; 200]);
        let level = meter.take();
        assert!((level.mean_square - 0.405).abs() < 1e-4);
        assert!((level.peak - 0.9).abs() < 1e-3);
        assert_eq!(meter.take(), Level::default());
    }

    #[test]
    fn and_so_it_is_without_fused_multiplication() {
        crate::signal::wide::tests::plainly(|| {
            only_runs_of_three_count_as_clipped();
            a_full_scale_sine_has_mean_square_one_half();
        });
    }
}
