//! How far the weighted figures of a stretch may lie from what the machine
//! reads in the long run.

use super::highest::HighestReadings;
use crate::readings::fluctuation::{Fluctuation, Weighing};
use crate::signal::statistics::student_95;

/// The level that is exceeded 5 % of the time scatters this much more than
/// the root mean square of the same signal, and this much less than the sixth
/// root of its mean sixth power, for normal noise: 0.951 against 0.707 and
/// 1.120 over √n (found by simulation of independent normal values). With lines
/// that beat it is the sixth power that tells.
const OF_SQUARE: f64 = 0.951 / 0.707;
const OF_SIXTH: f64 = 0.951 / 1.120;

/// Few lines whose rates lie nearly in whole ratios fall together in ways that
/// change more slowly than any record lasts, and the level that is exceeded
/// 5 % of the time goes with them: this part of it is added (found by simulation of records of
/// few lines; `cargo bench --bench coverage` judges it).
const FALLING_TOGETHER: f64 = 0.02;

/// Two lines nearer than one turn over the record look like one that stands
/// still. For what cannot be seen of their beat, no root mean square is taken
/// to be known better than this part of it, for a stretch of one second, and
/// less for longer ones (found by simulation of records of few lines;
/// `cargo bench --bench coverage` judges it).
const UNSEEN_BEAT: f64 = 0.5;

/// How the scatter of the highest of `n` pieces falls with ln n (found by
/// simulation of normal noise and of noise with steeper peaks, between which
/// it lies; `cargo bench --bench coverage` judges it).
const FALL_OF_HIGHEST: f64 = 0.35;

/// A mean of powers is never taken to be known worse than this (a choice: the
/// lower end of the interval must stay above nothing).
const MOST_PART: f64 = 0.8;

/// Means of equal blocks.
pub struct FlutterBlocks<'a> {
    /// Of the weighted square.
    pub squares: &'a [f64],
    /// Of its sixth power.
    pub sixths: &'a [f64],
}

/// 95 % uncertainties of weighted figures.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct FlutterScatter {
    /// Of the root mean square, in parts of it.
    pub rms: Option<f64>,
    /// Of the two-sigma figure, in parts of it.
    pub two_sigma: Option<f64>,
}

impl FlutterScatter {
    /// From means of equal blocks of `block_s` seconds.
    pub fn of(blocks: &FlutterBlocks, block_s: f64) -> Self {
        let length_s = blocks.squares.len() as f64 * block_s;
        let unseen = UNSEEN_BEAT / length_s;
        let rms = relative(blocks.squares, 2.0).map(|known| known.max(unseen));
        let sixth = relative(blocks.sixths, 6.0);
        Self {
            rms,
            two_sigma: rms
                .zip(sixth)
                .map(|(rms, sixth)| (OF_SQUARE * rms).max(OF_SIXTH * sixth))
                .map(|known| known.hypot(FALLING_TOGETHER)),
        }
    }

    /// 95 % of the highest reading of the indicator, in its unit: how far it
    /// may lie from the mean of the highest readings of stretches as long.
    pub fn of_highest(&self, readings: &HighestReadings) -> Option<f64> {
        let scatter = scatter_of_highest(readings.of_pieces(), readings.piece_s())?;
        Some((self.rms? * readings.of_all()).hypot(scatter))
    }

    /// 95 % of a reading of the indicator, in its unit, against its mean, from
    /// the readings of the time before.
    pub fn of_reading(&self, readings: &[f64]) -> Option<f64> {
        let (deviation, freedom) = spread(readings)?;
        let highest = readings.iter().copied().fold(0.0, f64::max);
        Some((self.rms? * highest).hypot(student_95(freedom) * deviation))
    }
}

/// Relative uncertainty of the root of a mean of powers. The root of the lower
/// end of an interval lies further from its middle than that of the upper.
fn relative(powers: &[f64], power: f64) -> Option<f64> {
    let mean = powers.iter().sum::<f64>() / powers.len() as f64;
    let half_width = Fluctuation::about_a_level(powers)?
        .of_figure(Weighing::Even)
        .half_width;
    let part = half_width / mean;
    (mean > 0.0).then(|| 1.0 - (1.0 - part.min(MOST_PART)).powf(1.0 / power))
}

/// Readings of extremes scatter little less over long stretches than over
/// short ones: the scatter of the highest of `n` seconds falls about as
/// 1/√(1 + 0.35 ln n) of that of one, and that of longer pieces has already
/// fallen so far.
fn scatter_of_highest(highest: &[f64], piece_s: f64) -> Option<f64> {
    let (deviation, freedom) = spread(highest)?;
    let fallen = |seconds: f64| 1.0 + FALL_OF_HIGHEST * seconds.max(1.0).ln();
    let fall = fallen(piece_s) / fallen(piece_s * highest.len() as f64);
    Some(student_95(freedom) * deviation * fall.sqrt())
}

/// Standard deviation and degrees of freedom; `None` below three values.
fn spread(values: &[f64]) -> Option<(f64, f64)> {
    let freedom = values.len().checked_sub(1).filter(|&f| f >= 2)? as f64;
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    let square: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    Some(((square / freedom).sqrt(), freedom))
}
