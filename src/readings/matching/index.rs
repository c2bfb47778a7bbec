//! Where in the copy some seconds of tape may be: correlation of rises and
//! falls of levels with the whole copy, at every speed of a grid. The copy is
//! kept as spectra of overlapping blocks, so that a search costs a product and
//! a transform a block.

use std::sync::Arc;

use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};
use rustfft::num_complex::Complex32;

use super::levels::{BANDS, BLOCK, FRAMES_PER_S, Frame, HOP, Levels, changes};
use super::{RATE, SPEEDS};
use crate::signal::statistics::parabola_top;

/// Frames in a block.
const LENGTH: usize = 2048;

/// Most frames in a search: 12.8 s of the copy.
const MOST_FRAMES: usize = 320;

/// From one block to the next.
const STEP: usize = LENGTH - MOST_FRAMES;

/// Silence put before the copy and after it, so that a tape that began
/// earlier, or goes on longer, is found too.
const PAD: usize = 200;

/// Steps of the grid of speeds. Half a step is 20 ms at the ends of 8 s, half
/// of what a frame tells.
const SPEED_STEP: f64 = 0.01;

/// Candidates nearer than this are one.
const SAME_PLACE_S: f64 = 0.3;
const SAME_SPEED: f64 = 0.025;

/// Candidates that are listened to.
const MOST_CANDIDATES: usize = 8;

/// The levels of a copy, ready to be searched.
pub struct Index {
    frames: usize,
    /// Spectra of one block after the other, in each one band after the other.
    blocks: Vec<Complex32>,
    /// Σ of squares of all bands up to each frame.
    energy: Vec<f64>,
    forward: Arc<dyn RealToComplex<f32>>,
    inverse: Arc<dyn ComplexToReal<f32>>,
}

/// Where the tape may be.
#[derive(Clone, Copy, Debug)]
pub struct Candidate {
    /// Speed of the tape, 1 being that of the copy.
    pub speed: f64,
    /// Place in the copy at which the searched sound begins.
    pub at_copy_s: f64,
    /// Correlation coefficient.
    pub correlation: f32,
}

impl Index {
    /// Of a copy at [`super::RATE_HZ`].
    pub fn of(samples: &[f32]) -> Self {
        let mut planner = RealFftPlanner::new();
        let forward = planner.plan_fft_forward(LENGTH);
        let inverse = planner.plan_fft_inverse(LENGTH);
        let mut levels = Levels::default();
        let powers: Vec<Frame> = samples
            .windows(BLOCK)
            .step_by(HOP)
            .map(|block| levels.of(block, 1.0))
            .collect();
        let mut padded = vec![[0.0; BANDS]; PAD];
        padded.extend(changes(&powers));
        padded.resize(padded.len() + PAD, [0.0; BANDS]);
        let mut sum = 0.0;
        let mut energy = vec![0.0];
        energy.extend(padded.iter().map(|frame| {
            sum += frame.iter().map(|x| f64::from(x * x)).sum::<f64>();
            sum
        }));
        let mut time = forward.make_input_vec();
        let mut bins = forward.make_output_vec();
        let mut scratch = forward.make_scratch_vec();
        let mut blocks = Vec::new();
        for start in (0..padded.len()).step_by(STEP) {
            for band in 0..BANDS {
                for (k, slot) in time.iter_mut().enumerate() {
                    *slot = padded.get(start + k).map_or(0.0, |frame| frame[band]);
                }
                let done = forward.process_with_scratch(&mut time, &mut bins, &mut scratch);
                debug_assert!(done.is_ok(), "all lengths come from the plan itself");
                blocks.extend_from_slice(&bins);
            }
        }
        Self {
            frames: padded.len(),
            blocks,
            energy,
            forward,
            inverse,
        }
    }

    /// The likeliest places of some seconds of tape, likeliest first.
    pub fn search(&self, tape: &[f32]) -> Vec<Candidate> {
        let mut levels = Levels::default();
        let mut all = Vec::new();
        let steps = ((SPEEDS[1] - SPEEDS[0]) / SPEED_STEP).round() as usize;
        for step in 0..=steps {
            let speed = SPEEDS[0] + SPEED_STEP * step as f64;
            let powers = frames_of_tape(&mut levels, tape, speed);
            self.search_at(&changes(&powers), speed, &mut all);
        }
        apart(all)
    }

    fn search_at(&self, asked: &[Frame], speed: f64, found: &mut Vec<Candidate>) {
        let mut time = self.forward.make_input_vec();
        let mut scratch = self.forward.make_scratch_vec();
        let bins = LENGTH / 2 + 1;
        let mut wanted = vec![Complex32::default(); bins * BANDS];
        for (band, spectrum) in wanted.chunks_exact_mut(bins).enumerate() {
            time.fill(0.0);
            for (slot, frame) in time.iter_mut().zip(asked) {
                *slot = frame[band];
            }
            let done = self
                .forward
                .process_with_scratch(&mut time, spectrum, &mut scratch);
            debug_assert!(done.is_ok(), "all lengths come from the plan itself");
        }
        let own: f64 = asked.iter().flatten().map(|x| f64::from(x * x)).sum();
        if own <= 0.0 {
            return;
        }
        let usual = self.energy[self.frames] / self.frames as f64 * asked.len() as f64;
        let mut scratch = self.inverse.make_scratch_vec();
        let mut sum = self.inverse.make_input_vec();
        let mut correlation = Vec::with_capacity(self.frames);
        for block in self.blocks.chunks_exact(bins * BANDS) {
            sum.fill(Complex32::default());
            for (copy, tape) in block.chunks_exact(bins).zip(wanted.chunks_exact(bins)) {
                for ((sum, copy), tape) in sum.iter_mut().zip(copy).zip(tape) {
                    *sum += copy * tape.conj();
                }
            }
            sum[0].im = 0.0;
            sum[bins - 1].im = 0.0;
            let done = self
                .inverse
                .process_with_scratch(&mut sum, &mut time, &mut scratch);
            debug_assert!(done.is_ok(), "all lengths come from the plan itself");
            correlation.extend(time[..STEP].iter().map(|x| x / LENGTH as f32));
        }
        correlation.truncate(self.frames);
        for (at, value) in correlation.iter_mut().enumerate() {
            let end = (at + asked.len()).min(self.frames);
            let energy = (self.energy[end] - self.energy[at]).max(0.1 * usual);
            *value /= (own * energy).sqrt() as f32;
        }
        best_of(&correlation, speed, found);
    }
}

/// Levels of the tape at the times at which the copy's frames would lie if it
/// ran at this speed.
fn frames_of_tape(levels: &mut Levels, tape: &[f32], speed: f64) -> Vec<Frame> {
    let step = HOP as f64 / speed;
    (0..MOST_FRAMES)
        .map(|k| (k as f64 * step).round() as usize)
        .take_while(|from| from + BLOCK <= tape.len())
        .map(|from| levels.of(&tape[from..from + BLOCK], speed))
        .collect()
}

/// The highest peaks of one speed.
fn best_of(correlation: &[f32], speed: f64, found: &mut Vec<Candidate>) {
    let mut peaks: Vec<usize> = (1..correlation.len().saturating_sub(1))
        .filter(|&k| correlation[k] > correlation[k - 1] && correlation[k] >= correlation[k + 1])
        .collect();
    peaks.sort_by(|&a, &b| correlation[b].total_cmp(&correlation[a]));
    for &k in peaks.iter().take(MOST_CANDIDATES) {
        let [below, here, above] = [k - 1, k, k + 1].map(|k| f64::from(correlation[k]));
        let off = parabola_top(below, here, above);
        // Blocks of tape and copy have the same length, but not of the same
        // sound: their middles are compared.
        let middle = BLOCK as f64 / 2.0 / RATE * (1.0 - speed);
        let frame = k as f64 + off - PAD as f64;
        found.push(Candidate {
            speed,
            at_copy_s: frame / FRAMES_PER_S + middle,
            correlation: correlation[k],
        });
    }
}

/// The likeliest of all, no two of them the same place at nearly the same
/// speed.
fn apart(mut all: Vec<Candidate>) -> Vec<Candidate> {
    all.sort_by(|a, b| b.correlation.total_cmp(&a.correlation));
    let mut kept: Vec<Candidate> = Vec::new();
    for one in all {
        let same = |other: &Candidate| {
            (other.at_copy_s - one.at_copy_s).abs() < SAME_PLACE_S
                && (other.speed - one.speed).abs() < SAME_SPEED
        };
        if kept.len() < MOST_CANDIDATES && !kept.iter().any(same) {
            kept.push(one);
        }
    }
    kept
}
