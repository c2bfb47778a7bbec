//! How the levels of narrow bands rise and fall: what a tape keeps of music
//! through hiss, treble loss and steps of level.

use super::RATE;
use crate::signal::spectrum::Spectrum;

/// Bands, spaced evenly in pitch.
pub const BANDS: usize = 24;

/// Lowest and highest edge, in hertz of the copy.
const EDGES_HZ: [f64; 2] = [150.0, 3000.0];

/// Samples in a block of which levels are taken.
pub const BLOCK: usize = 1024;

/// Samples of the copy from one frame of levels to the next.
pub const HOP: usize = 320;

/// Frames a second of the copy.
pub const FRAMES_PER_S: f64 = RATE / HOP as f64;

/// Frames on either side from which a level is told as rise or fall.
const AROUND: usize = 6;

/// Levels this far below a band's mean power are taken as that, so that
/// silence is flat.
const FLOOR: f32 = 1e-4;

/// A rise or fall counts no more than this, in nepers of power, so that no
/// single drum decides.
const MOST: f32 = 2.0;

/// One frame of rises and falls.
pub type Frame = [f32; BANDS];

/// Takes levels of blocks.
pub struct Levels {
    spectrum: Spectrum,
    power: Vec<f32>,
    sums: Vec<f32>,
}

impl Default for Levels {
    fn default() -> Self {
        let spectrum = Spectrum::new(BLOCK, 1, RATE);
        Self {
            power: vec![0.0; spectrum.bins()],
            sums: vec![0.0; spectrum.bins() + 1],
            spectrum,
        }
    }
}

impl Levels {
    /// Power in each band of a block of [`BLOCK`] samples. The bands lie
    /// `speed` times as high as in the copy.
    pub fn of(&mut self, block: &[f32], speed: f64) -> Frame {
        self.power.fill(0.0);
        self.spectrum.add_power(block, &mut self.power);
        let mut sum = 0.0;
        for (slot, power) in self.sums[1..].iter_mut().zip(&self.power) {
            sum += power;
            *slot = sum;
        }
        // Power below a frequency, a bin being cut where need be.
        let below = |hz: f64| {
            let place = (hz / self.spectrum.hz_per_bin() + 0.5).min(self.power.len() as f64 - 1.0);
            let bin = place as usize;
            self.sums[bin] + (place - bin as f64) as f32 * self.power[bin]
        };
        let mut low = below(edge_hz(0) * speed);
        std::array::from_fn(|band| {
            let high = below(edge_hz(band + 1) * speed);
            let power = (high - low).max(0.0);
            low = high;
            power
        })
    }
}

fn edge_hz(band: usize) -> f64 {
    EDGES_HZ[0] * (EDGES_HZ[1] / EDGES_HZ[0]).powf(band as f64 / BANDS as f64)
}

/// Rises and falls of a series of levels.
pub fn changes(powers: &[Frame]) -> Vec<Frame> {
    let count = powers.len();
    let mut changes = vec![[0.0; BANDS]; count];
    if count == 0 {
        return changes;
    }
    let mut logs = vec![0.0f32; count];
    for band in 0..BANDS {
        let sum: f64 = powers.iter().map(|frame| f64::from(frame[band])).sum();
        let floor = (FLOOR * (sum / count as f64) as f32).max(1e-20);
        for (log, frame) in logs.iter_mut().zip(powers) {
            *log = (frame[band] + floor).ln();
        }
        // Mean over the frames around, fewer at the ends.
        let mut sum: f64 = logs[..AROUND.min(count)]
            .iter()
            .map(|x| f64::from(*x))
            .sum();
        for at in 0..count {
            if at + AROUND < count {
                sum += f64::from(logs[at + AROUND]);
            }
            if at > AROUND {
                sum -= f64::from(logs[at - AROUND - 1]);
            }
            let around = (at + AROUND).min(count - 1) + 1 - at.saturating_sub(AROUND);
            let change = logs[at] - (sum / around as f64) as f32;
            changes[at][band] = change.clamp(-MOST, MOST);
        }
    }
    changes
}
