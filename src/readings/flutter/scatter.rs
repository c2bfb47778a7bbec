//! How far the weighted figures of a stretch may lie from what the machine
//! reads in the long run.

use crate::readings::fluctuation::{Fluctuation, Weighing};
use crate::signal::statistics::student_95;

/// The level that is exceeded 5 % of the time scatters this much more than
/// the root mean square of the same signal, and this much less than the sixth
/// root of its mean sixth power, for normal noise: 0.951 against 0.707 and
/// 1.120 over √n. With lines that beat it is the sixth power that tells.
const OF_SQUARE: f64 = 0.951 / 0.707;
const OF_SIXTH: f64 = 0.951 / 1.120;

/// Few lines whose rates lie nearly in whole ratios fall together in ways that
/// change more slowly than any record lasts, and the level that is exceeded
/// 5 % of the time goes with them: this part of it is added (by simulation).
const FALLING_TOGETHER: f64 = 0.02;

/// Two lines nearer than one turn over the record look like one that stands
/// still. For what cannot be seen of their beat, no root mean square is taken
/// to be known better than this part of it, for a stretch of one second, and
/// less for longer ones (by simulation).
const UNSEEN_BEAT: f64 = 0.5;

/// The highest readings of pieces this long are compared: the indicator has
/// forgotten one by the next.
const PIECE_S: f64 = 1.0;

/// A mean of powers is never taken to be known worse than this.
const MOST_PART: f64 = 0.8;

/// Means of equal blocks.
pub struct FlutterBlocks<'a> {
    /// Of the weighted square.
    pub squares: &'a [f64],
    /// Of its sixth power.
    pub sixths: &'a [f64],
    /// Of the indicator's reading.
    pub readings: &'a [f64],
}

/// 95 % uncertainties of weighted figures.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct FlutterScatter {
    /// Of the root mean square, in parts of it.
    pub rms: Option<f64>,
    /// Of the two-sigma figure, in parts of it.
    pub two_sigma: Option<f64>,
    /// Of the highest reading of the indicator, in its unit: how far it may
    /// lie from the mean of the highest readings of stretches as long.
    pub highest: Option<f64>,
    /// Of the reading of this moment, in its unit, against its mean.
    pub now: Option<f64>,
}

impl FlutterScatter {
    /// From means of equal blocks of `block_s` seconds.
    pub fn of(blocks: &FlutterBlocks, block_s: f64) -> Self {
        let readings = blocks.readings;
        let length_s = blocks.squares.len() as f64 * block_s;
        let unseen = UNSEEN_BEAT / length_s;
        let rms = relative(blocks.squares, block_s, 2.0).map(|known| known.max(unseen));
        let sixth = relative(blocks.sixths, block_s, 6.0);
        let highest = readings.iter().copied().fold(0.0, f64::max);
        let level = rms.map(|relative| relative * highest);
        Self {
            rms,
            two_sigma: rms
                .zip(sixth)
                .map(|(rms, sixth)| (OF_SQUARE * rms).max(OF_SIXTH * sixth))
                .map(|known| known.hypot(FALLING_TOGETHER)),
            highest: level
                .zip(scatter_of_highest(readings, block_s))
                .map(|(level, scatter)| level.hypot(scatter)),
            now: level
                .zip(spread(readings))
                .map(|(level, (deviation, freedom))| level.hypot(student_95(freedom) * deviation)),
        }
    }
}

/// Relative uncertainty of the root of a mean of powers. The root of the lower
/// end of an interval lies further from its middle than that of the upper.
fn relative(powers: &[f64], block_s: f64, power: f64) -> Option<f64> {
    let mean = powers.iter().sum::<f64>() / powers.len() as f64;
    let half_width = Fluctuation::about_a_level(powers, block_s)?
        .of_figure(Weighing::Even)
        .half_width;
    let part = half_width / mean;
    (mean > 0.0).then(|| 1.0 - (1.0 - part.min(MOST_PART)).powf(1.0 / power))
}

/// Readings of extremes scatter little less over long stretches than over
/// short ones: the scatter of the highest of `n` falls about as 1/√(1 + 0.35 ln n)
/// of that of one (exact neither for a normal nor for a steeper
/// distribution, but between them).
fn scatter_of_highest(readings: &[f64], block_s: f64) -> Option<f64> {
    let piece = ((PIECE_S / block_s).round() as usize).max(1);
    let highest: Vec<f64> = readings
        .chunks_exact(piece)
        .map(|chunk| chunk.iter().copied().fold(0.0, f64::max))
        .collect();
    let (deviation, freedom) = spread(&highest)?;
    let count = freedom + 1.0;
    Some(student_95(freedom) * deviation / (1.0 + 0.35 * count.ln()).sqrt())
}

/// Standard deviation and degrees of freedom; `None` below three values.
fn spread(values: &[f64]) -> Option<(f64, f64)> {
    let freedom = values.len().checked_sub(1).filter(|&f| f >= 2)? as f64;
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    let square: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    Some(((square / freedom).sqrt(), freedom))
}
