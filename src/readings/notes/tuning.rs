//! How far the tuning of music lies from equal temperament: a hint at the
//! speed where there is neither a tone nor a copy.
//!
//! Every line of a spectrum lies some part of a semitone from the nearest note
//! of equal temperament (ISO 16 for A4). Folded to one semitone these
//! distances are angles on a circle; of music that is in tune with itself they
//! have a mean direction. How far the speed is off shows as that mean, but for
//! whole semitones, and so does how far the players were.

use crate::readings::found::TuningHint;
use std::f64::consts::TAU;

use crate::signal::harmonics::lines::LinePicker;
use crate::signal::statistics::student_95;
use crate::units::{Cents, Hertz};

/// Length of a block: semitones stand apart from 100 Hz on.
const BLOCK_S: f64 = 0.37;

/// Lines between these are looked at: lower ones are not told apart, higher
/// ones are partials, of which the fifth and seventh are no notes.
const RANGE_HZ: [f64; 2] = [100.0, 1000.0];

/// A line counts that is this far above the noise, and no further below the
/// strongest, as ratios of powers.
const ABOVE_NOISE: f64 = 50.0;
const BELOW_STRONGEST: f64 = 1e-3;

/// Blocks with lines that are needed, and groups of them for the scatter.
const LEAST_BLOCKS: usize = 24;
const GROUPS: usize = 8;

/// Length of the mean direction: what is in no tuning has next to none.
const LEAST_CONCENTRATION: f64 = 0.45;

/// No hint is said to be better than this: partials are not quite notes.
const LEAST_UNCERTAINTY_CENTS: f64 = 2.0;

/// A direction with its weight.
#[derive(Clone, Copy, Debug, Default)]
struct Direction {
    cos: f64,
    sin: f64,
    weight: f64,
}

impl Direction {
    fn add(&mut self, other: Self) {
        self.cos += other.cos;
        self.sin += other.sin;
        self.weight += other.weight;
    }

    fn turns(self) -> f64 {
        self.sin.atan2(self.cos) / TAU
    }

    fn concentration(self) -> f64 {
        f64::hypot(self.cos, self.sin) / self.weight.max(f64::MIN_POSITIVE)
    }
}

/// See the module.
pub struct TuningMeter {
    picker: LinePicker,
    channels: usize,
    waiting: Vec<f32>,
    blocks: Vec<Direction>,
    concert_pitch: Hertz,
}

impl TuningMeter {
    /// For this number of interleaved channels, which are added up.
    pub fn new(rate_hz: u32, channels: u16, concert_pitch: Hertz) -> Self {
        let rate = f64::from(rate_hz);
        let block = (BLOCK_S * rate) as usize;
        Self {
            picker: LinePicker::new(block, rate, RANGE_HZ[0], RANGE_HZ[1].min(0.45 * rate)),
            channels: usize::from(channels.max(1)),
            waiting: Vec::with_capacity(block),
            blocks: Vec::new(),
            concert_pitch,
        }
    }

    /// Takes whole frames.
    pub fn push(&mut self, interleaved: &[f32]) {
        for frame in interleaved.chunks_exact(self.channels) {
            let sum: f32 = frame.iter().sum();
            self.waiting.push(if sum.is_finite() { sum } else { 0.0 });
            if self.waiting.len() == self.picker.block() {
                self.look();
                self.waiting.clear();
            }
        }
    }

    fn look(&mut self) {
        let lines = self.picker.pick(&self.waiting).lines;
        let strongest = lines.iter().map(|line| line.power).fold(0.0, f64::max);
        let mut block = Direction::default();
        for line in lines {
            if line.above_noise < ABOVE_NOISE || line.power < BELOW_STRONGEST * strongest {
                continue;
            }
            let semitones = 12.0 * (line.hz / self.concert_pitch.0).log2();
            let (sin, cos) = (TAU * semitones).sin_cos();
            let weight = line.power.sqrt();
            block.add(Direction {
                cos: weight * cos,
                sin: weight * sin,
                weight,
            });
        }
        if block.weight > 0.0 {
            // Loud places tell no more than quiet ones.
            self.blocks.push(Direction {
                cos: block.cos / block.weight,
                sin: block.sin / block.weight,
                weight: 1.0,
            });
        }
    }

    /// The hint; `None` where the record is short or has no tuning.
    pub fn hint(&self) -> Option<TuningHint> {
        if self.blocks.len() < LEAST_BLOCKS {
            return None;
        }
        let together = |blocks: &[Direction]| {
            let mut sum = Direction::default();
            for block in blocks {
                sum.add(*block);
            }
            sum
        };
        let all = together(&self.blocks);
        if all.concentration() < LEAST_CONCENTRATION {
            return None;
        }
        let size = self.blocks.len() / GROUPS;
        let square: f64 = self
            .blocks
            .chunks_exact(size)
            .take(GROUPS)
            .map(|group| {
                let off = together(group).turns() - all.turns();
                (off - off.round()).powi(2)
            })
            .sum();
        let groups = GROUPS as f64;
        let standard = (square / (groups * (groups - 1.0))).sqrt();
        let uncertainty = student_95(groups - 1.0) * standard * 100.0;
        Some(TuningHint {
            concert_pitch: self.concert_pitch,
            offset: Cents(100.0 * all.turns()),
            uncertainty: Cents(uncertainty.hypot(LEAST_UNCERTAINTY_CENTS)),
            scatter: Cents(100.0 / TAU * (-2.0 * all.concentration().ln()).sqrt()),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE_HZ: f64 = 24_000.0;

    /// A tune of notes with four partials each, at a speed.
    fn tune(speed: f64, stretch: f64) -> Vec<f32> {
        let steps = [0, 4, 7, 12, 9, 5, 2, 7, 11, 4, 0, -3];
        let length = (0.5 * RATE_HZ) as usize;
        (0..40 * length)
            .map(|k| {
                let step = steps[k / length % steps.len()];
                let note = 220.0 * speed * (f64::from(step) * stretch / 12.0).exp2();
                let at = (k % length) as f64 / RATE_HZ;
                let partial = |n: f64| (TAU * (n * note * at).fract()).sin() / n;
                let envelope = (-at * 3.0).exp() * (at / 0.01).min(1.0);
                (0.1 * envelope * (1..5).map(f64::from).map(partial).sum::<f64>()) as f32
            })
            .collect()
    }

    fn hint(speed: f64, stretch: f64) -> Option<TuningHint> {
        let mut meter = TuningMeter::new(24_000, 1, Hertz(440.0));
        meter.push(&tune(speed, stretch));
        meter.hint()
    }

    #[test]
    fn the_tuning_shows_the_speed_up_to_a_semitone() {
        for cents in [-40.0, -12.0, 0.0, 25.0] {
            for semitones in [0.0, 1.0] {
                let speed = f64::exp2((cents + 100.0 * semitones) / 1200.0);
                let got = hint(speed, 1.0).expect("a tuning");
                let off = got.offset.0 - cents;
                assert!(
                    off.abs() < 4.0 && off.abs() < got.uncertainty.0 + 2.0,
                    "{got:?}"
                );
            }
        }
    }

    #[test]
    fn what_is_in_no_tuning_has_none() {
        // Seventeen steps to the octave.
        assert_eq!(hint(1.0, 12.0 / 17.0), None);
        let mut meter = TuningMeter::new(24_000, 1, Hertz(440.0));
        meter.push(&vec![0.0; 480_000]);
        assert_eq!(meter.hint(), None);
    }
}
