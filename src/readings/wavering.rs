//! What wavers, as plain values: the lines in the flutter, the parts they may
//! come from, and what two channels of a tone tell. Nothing here measures.

use std::sync::Arc;

use serde::{Deserialize, Serialize};

use crate::units::{Decibels, Hertz, Percent, Seconds};

/// A regular wavering of the speed: one sinusoid among the flutter.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FlutterLine {
    /// Its rate as heard, at the machine's present speed.
    pub hz: Hertz,
    /// 95 % of the rate.
    pub hz_uncertainty: Hertz,
    /// Amplitude, half of peak to peak, of the speed.
    pub peak: Percent,
    /// 95 % of it.
    pub peak_uncertainty: Percent,
    /// Part of the weighted flutter's power that it makes, 0 to 1.
    pub weighted_share: f64,
    /// What its rate does when the speed is trimmed.
    #[serde(default)]
    pub motion: LineMotion,
    /// How its amplitude went; `None` where the record is too short to say.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub course: Option<LineCourse>,
    /// How its rate moves by itself; `None` where it does not, or that cannot
    /// be told.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub chirp: Option<Chirp>,
    /// One entry a window of a long record, oldest first.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub windows: Vec<LineAt>,
    /// Parts of the card that it may come from, likeliest first; empty while no
    /// card was looked at, and where none fits.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub parts: Vec<LikelyPart>,
}

/// What a line's rate does when the speed is trimmed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LineMotion {
    /// The speed was not trimmed, or not far enough.
    #[default]
    NotTold,
    /// It goes with the speed, as parts do, and what was recorded on the tape.
    Turns,
    /// It stays, as mains ripple does.
    KeepsRate,
}

/// How a line's amplitude went over the record.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LineCourse {
    /// No change beyond its ±.
    Steady,
    /// It grew.
    Growing,
    /// It faded.
    Fading,
    /// It scatters far beyond its ±.
    ComesAndGoes,
}

/// How a line's rate moves by itself, as that of a reel does with the pack.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Chirp {
    /// Percent of the rate in a minute; positive quickens.
    pub percent_per_minute: f64,
    /// 95 % of it.
    pub uncertainty_percent_per_minute: f64,
}

/// A line in one window of a long record.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct LineAt {
    /// Middle of the window since the beginning of the record.
    pub at: Seconds,
    /// Its rate there.
    pub hz: Hertz,
    /// Its amplitude there.
    pub peak: Percent,
}

/// A part that a line may come from.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LikelyPart {
    /// As its card calls it.
    pub name: String,
    /// How often a turn.
    pub harmonic: u32,
    /// 0 to 1; those of one line add to at most 1.
    pub likelihood: f64,
    /// Up to this amplitude it is no fault, where the card says so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub usual: Option<Percent>,
}

/// All lines of a record.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FlutterLines {
    /// Largest weighted share first; empty where none was found.
    pub lines: Vec<FlutterLine>,
    /// Length of the record that they were sought in.
    pub seen: Seconds,
    /// Lowest and highest rate that were looked at.
    pub reach: [Hertz; 2],
    /// The smallest amplitude that would be found at 1, 10 and 100 Hz; `None`
    /// where that is out of reach.
    pub smallest: [Option<Percent>; 3],
    /// Part of the power between 0.5 and 6 Hz that is no line.
    pub no_line_slow: f64,
    /// The same between 6 and 100 Hz.
    pub no_line_fast: f64,
    /// Name of the parts card that the lines were held against.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub card: Option<String>,
    /// Amplitude in percent in [`SPECTRUM_CELLS`] cells, even in the logarithm
    /// of the rate from 0.1 to 200 Hz; the highest within each cell, 0 where
    /// none was looked at. For the screen; records leave it out.
    #[serde(skip)]
    pub spectrum: Arc<[f32]>,
}

/// Rates of [`FlutterLines::smallest`].
pub const SMALLEST_AT_HZ: [f64; 3] = [1.0, 10.0, 100.0];

impl FlutterLines {
    /// The smallest amplitude that would be found at this rate, even in both
    /// logarithms between those that are told; below the first of them it is no
    /// less than there, for wow rises downwards. `None` where the rate is out
    /// of reach, or nothing is told.
    pub fn smallest_at(&self, hz: Hertz) -> Option<Percent> {
        let [low, high] = self.reach;
        if !(low.0..=high.0).contains(&hz.0) {
            return None;
        }
        let told = SMALLEST_AT_HZ.iter().zip(&self.smallest);
        let told: Vec<(f64, f64)> = told
            .filter_map(|(at, it)| Some((at.ln(), (*it)?.0.max(f64::MIN_POSITIVE).ln())))
            .collect();
        let rate = hz.0.ln();
        let between = |nth: usize| {
            let [(from, low), (to, high)] = [told[nth], told[nth + 1]];
            low + (high - low) * (rate - from) / (to - from)
        };
        let last = told.last()?.1;
        let smallest = match told.iter().position(|(at, _)| *at >= rate) {
            Some(0) if told.len() > 1 => between(0).max(told[0].1),
            None | Some(0) => last,
            Some(nth) => between(nth - 1),
        };
        Some(Percent(smallest.exp()))
    }
}

/// Cells of [`FlutterLines::spectrum`].
pub const SPECTRUM_CELLS: usize = 160;

/// Lowest and highest rate of [`FlutterLines::spectrum`].
pub const SPECTRUM_HZ: [f64; 2] = [0.1, 200.0];

/// What the two channels of one tone tell of the head's azimuth and balance.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct TwoChannels {
    /// Level of the tone, left; a full-scale sine is 0.
    pub level_left: Decibels,
    /// Right.
    pub level_right: Decibels,
    /// Left minus right.
    pub balance: Decibels,
    /// 95 % of it; `None` while too short.
    pub balance_uncertainty: Option<Decibels>,
    /// How much later the right channel is, microseconds; negative where the
    /// left one is later.
    pub right_lags_us: f64,
    /// 95 % of it; `None` while too short.
    pub right_lags_uncertainty_us: Option<f64>,
    /// Standard deviation of what tenths of a second give, microseconds.
    pub jitter_us: Option<f64>,
    /// It may be off by whole multiples of this, microseconds; `None` where
    /// another tone has told.
    pub ambiguous_by_us: Option<f64>,
    /// One channel is wired the other way round.
    pub inverted: bool,
}

/// Where the loss in mono is reckoned: the treble of a cassette.
pub const TREBLE: Hertz = Hertz(10_000.0);

/// Balance is known no better than this, dB: inputs differ by about as much. A
/// choice.
const LEAST_BALANCE_DB: f64 = 0.01;
/// The time between the channels neither, microseconds: heads, tape and inputs
/// delay tones of different pitch by about as much. A choice.
const LEAST_LAG_US: f64 = 0.1;

/// What becomes of the treble when both channels are added to mono.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum MonoLoss {
    /// It falls by this at [`TREBLE`]: 20 log₁₀ |cos(π f t)|.
    By(Decibels),
    /// The time is more than half a period there, so it cancels below.
    BeyondHalfTurn,
    /// One channel is wired the other way round: all of it cancels.
    Inverted,
}

impl TwoChannels {
    /// What adding both to mono costs, for the time between them.
    pub fn mono_loss(&self) -> MonoLoss {
        let turns = TREBLE.0 * self.right_lags_us * 1e-6;
        if self.inverted {
            MonoLoss::Inverted
        } else if turns.abs() > 0.5 {
            MonoLoss::BeyondHalfTurn
        } else {
            let left = (std::f64::consts::PI * turns).cos().abs();
            MonoLoss::By(Decibels(20.0 * left.log10()))
        }
    }

    /// 95 % of the balance, no less than inputs allow.
    pub fn balance_known(&self) -> Option<Decibels> {
        let known = self.balance_uncertainty?.0;
        Some(Decibels(known.max(LEAST_BALANCE_DB)))
    }

    /// 95 % of the time between them, no less than machines allow.
    pub fn lag_known_us(&self) -> Option<f64> {
        Some(self.right_lags_uncertainty_us?.max(LEAST_LAG_US))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_smallest_line_is_known_between_and_below_what_is_told() {
        let mut lines = FlutterLines {
            lines: Vec::new(),
            seen: Seconds(60.0),
            reach: [Hertz(0.1), Hertz(200.0)],
            smallest: [0.04, 0.01, 0.01].map(|it| Some(Percent(it))),
            no_line_slow: 1.0,
            no_line_fast: 1.0,
            card: None,
            spectrum: [].into(),
        };
        let at = |lines: &FlutterLines, hz| lines.smallest_at(Hertz(hz)).map(|it| it.0);
        for (hz, wanted) in [
            (1.0, 0.04),
            (3.162_278, 0.02),
            (50.0, 0.01),
            (200.0, 0.01),
            (0.1, 0.16),
        ] {
            assert!(
                (at(&lines, hz).unwrap() / wanted - 1.0).abs() < 1e-6,
                "{hz}"
            );
        }
        assert_eq!(at(&lines, 0.09), None);
        // A quiet beginning does not promise more below it.
        lines.smallest[0] = Some(Percent(0.001));
        assert!((at(&lines, 0.1).unwrap() - 0.001).abs() < 1e-9);
        lines.smallest = [None; 3];
        assert_eq!(at(&lines, 5.0), None);
    }
}
