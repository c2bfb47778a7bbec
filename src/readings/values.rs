//! The plain values that readings are made of. Nothing here measures, and
//! nothing here knows another file of this folder.

use serde::{Deserialize, Serialize};

use crate::units::{Decibels, Hertz, Percent, Seconds};

/// Is there a tone, and is it the right one?
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub enum ToneState {
    /// None found so far.
    Searching,
    /// Found and followed.
    Locked,
    /// It was there and is gone.
    Lost,
    /// A steady tone, but outside the range of the chosen reference.
    Wrong(WrongTone),
}

/// A steady tone that cannot be the chosen reference.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct WrongTone {
    /// What is heard.
    pub heard: Hertz,
    /// What it looks like.
    pub likely: Likely,
}

/// A guess at why a tone is elsewhere than expected. Only ever a suggestion.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub enum Likely {
    /// Half speed: the machine or the tape is at the other speed.
    HalfSpeed,
    /// Double speed.
    DoubleSpeed,
    /// × 1.2: a synchronous motor made for 50 Hz on 60 Hz mains.
    MainsHigh,
    /// × 0.833: a synchronous motor made for 60 Hz on 50 Hz mains.
    MainsLow,
    /// Near another usual tone.
    OtherTone(Hertz),
    /// Mains hum and nothing else.
    Hum(Hertz),
    /// Nothing that is known.
    Unknown,
}

/// Which channels a reading was made from.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ChannelUsed {
    /// Left of a stereo input.
    Left,
    /// Right of a stereo input.
    Right,
    /// Both, combined by quality.
    Both,
    /// The input has one channel.
    #[default]
    Mono,
}

/// Is the signal usable?
#[derive(Clone, Debug, PartialEq)]
pub struct SignalHealth {
    /// Which channels the reading is made from.
    pub channel: ChannelUsed,
    /// Level of everything in each channel over the last 0.3 s, root mean
    /// square, a full-scale sine being 0; minus infinity for digital silence.
    pub input_level: Vec<Decibels>,
    /// Highest sample of each channel over the last 0.3 s, dB of full scale.
    pub input_peak: Vec<Decibels>,
    /// Level of the tone; `None` while no tone is followed.
    pub tone_level: Option<Decibels>,
    /// Tone against all else, its harmonics and flutter left out.
    pub snr: Option<Decibels>,
    /// Samples in runs of three or more at full scale, since the start.
    pub clipped_samples: u64,
    /// How long ago the input last clipped; `None` if never.
    pub since_clip: Option<Seconds>,
    /// Dropouts of the tone since the start.
    pub dropouts: u64,
    /// Breaks in the input: samples lost on the way, or the input gone.
    pub gaps: u64,
    /// The most important trouble first.
    pub problems: Vec<Problem>,
}

/// A trouble with the signal, most important first in
/// [`SignalHealth::problems`].
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub enum Problem {
    /// Digital silence or next to it.
    NoSignal,
    /// There is sound, but no steady tone in it.
    NoTone,
    /// The tone was there and is gone.
    ToneLost,
    /// A tone, but not the chosen one.
    WrongTone(WrongTone),
    /// Full scale was reached within the last seconds.
    Clipped,
    /// Mains hum stronger than the tone allows for a quiet reading.
    Hum {
        /// 50 or 60 Hz.
        mains: Hertz,
        /// Hum relative to the tone.
        level: Decibels,
    },
    /// Noise close to the tone.
    LowSnr(Decibels),
    /// The tone is very quiet.
    LowLevel(Decibels),
    /// Dropouts within the last ten seconds.
    Dropouts(u64),
    /// One channel of two carries the tone.
    OneChannel(ChannelUsed),
    /// One channel of two carries the tone, the other something else.
    OtherSound {
        /// The channel with the tone.
        tone: ChannelUsed,
        /// What stands out in the other.
        heard: Hertz,
    },
    /// The channels read different speeds.
    ChannelsDisagree,
    /// The channels read one note a little apart, and one was taken.
    ChannelTaken(ChannelUsed),
    /// Two usual tones are near enough to be meant; the other one is named.
    Ambiguous {
        /// The tone that is now taken as nominal.
        taken: Hertz,
        /// The other that it could be.
        other: Hertz,
    },
}

/// How steady the digits are.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Steadiness {
    /// The speed is being moved, or was a moment ago.
    Moving,
    /// The mean is not yet known well enough.
    Settling,
    /// The mean is known well enough for the tolerance in force.
    Settled,
}

/// Speed, live.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SpeedReading {
    /// The digits: mean over whole wow periods since the last move.
    pub deviation: Percent,
    /// The same as a frequency; `None` where the reference has none.
    pub measured: Option<Hertz>,
    /// 95 % of the digits without the reference's own error; `None` while it
    /// cannot be known yet.
    pub uncertainty: Option<Percent>,
    /// The same with the reference's own error; `None` where that is unknown.
    pub uncertainty_with_reference: Option<Percent>,
    /// Statistical part alone: what is left of wow and noise in the digits.
    pub scatter: Option<Percent>,
    /// The needle: mean of the last 150 ms.
    pub needle: Percent,
    /// Stretch that the digits are averaged over.
    pub averaged: Seconds,
    /// Settled or not, by the statistics.
    pub steadiness: Steadiness,
    /// Time since the speed was last moved, or since the tone was found.
    pub since_move: Seconds,
}

impl SpeedReading {
    /// The ± that is stated: with the reference's own error where that is known.
    pub fn stated_uncertainty(&self) -> Option<Percent> {
        self.uncertainty_with_reference.or(self.uncertainty)
    }
}

/// Slow change of speed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct DriftReading {
    /// Slope in percent of nominal speed per minute.
    pub percent_per_minute: f64,
    /// 95 % of the slope.
    pub uncertainty_percent_per_minute: Option<f64>,
    /// Largest minus smallest 5 s mean.
    pub span: Option<Percent>,
}

/// Wow and flutter, in percent of nominal speed. `None` means not valid, and
/// `valid_in` or `band_limit` say why.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct FlutterReading {
    /// Weighted, two-sigma: the preferred figure.
    pub weighted_two_sigma: Option<Percent>,
    /// 95 % of it.
    pub weighted_two_sigma_uncertainty: Option<Percent>,
    /// Weighted, quasi-peak.
    pub weighted_peak: Option<Percent>,
    /// 95 % of it.
    pub weighted_peak_uncertainty: Option<Percent>,
    /// Weighted, root mean square.
    pub weighted_rms: Option<Percent>,
    /// 95 % of it.
    pub weighted_rms_uncertainty: Option<Percent>,
    /// Unweighted, two-sigma.
    pub unweighted_two_sigma: Option<Percent>,
    /// Unweighted, root mean square.
    pub unweighted_rms: Option<Percent>,
    /// Band of the unweighted figures: lower and upper edge.
    pub unweighted_band: Option<[Hertz; 2]>,
    /// 0.5 to 6 Hz, root mean square.
    pub wow_rms: Option<Percent>,
    /// 6 to 100 Hz, root mean square.
    pub flutter_rms: Option<Percent>,
    /// How long until the blanked figures are valid again.
    pub valid_in: Option<Seconds>,
    /// Upper edge that the tone allows, where it is too low for the figure.
    pub band_limit: Option<Hertz>,
}

impl FlutterReading {
    /// All that it gives in percent.
    pub fn figures_mut(&mut self) -> impl Iterator<Item = &mut Percent> {
        [
            &mut self.weighted_two_sigma,
            &mut self.weighted_two_sigma_uncertainty,
            &mut self.weighted_peak,
            &mut self.weighted_peak_uncertainty,
            &mut self.weighted_rms,
            &mut self.weighted_rms_uncertainty,
            &mut self.unweighted_two_sigma,
            &mut self.unweighted_rms,
            &mut self.wow_rms,
            &mut self.flutter_rms,
        ]
        .into_iter()
        .flatten()
    }
}

/// A dropout of the tone.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Dropout {
    /// Start since the beginning of the stretch.
    pub start: Seconds,
    /// How long the level was 12 dB or more below its median.
    pub length: Seconds,
}

/// The parts of the ± of a speed, each 95 %.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct UncertaintyParts {
    /// Noise of the signal.
    pub noise: Option<Percent>,
    /// Wow and other fluctuation left in the average.
    pub wow: Option<Percent>,
    /// Degrees of freedom behind that part; the others are limits that were
    /// stated or follow from a model. `None` while unknown or without limit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wow_freedom: Option<f64>,
    /// What the partials of a note leave of its pitch; only with a note.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub partials: Option<Percent>,
    /// The sample clock.
    pub clock: Percent,
    /// The reference's own error; `None` while unknown.
    pub reference: Option<Percent>,
}

/// Speed of a whole stretch.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct SpeedFigures {
    /// Long-term mean frequency, the clock's known error taken out; `None`
    /// where the reference has none.
    #[serde(default)]
    pub measured: Option<Hertz>,
    /// Against the reference.
    pub deviation: Percent,
    /// 95 %, the reference's own error left out.
    pub uncertainty: Option<Percent>,
    /// 95 %, with it; `None` while unknown.
    pub uncertainty_with_reference: Option<Percent>,
    /// The budget, line by line.
    pub parts: UncertaintyParts,
}

impl SpeedFigures {
    /// The ± that is stated: with the reference's own error where that is known.
    pub fn stated_uncertainty(&self) -> Option<Percent> {
        self.uncertainty_with_reference.or(self.uncertainty)
    }
}

/// Signal of a whole stretch.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct SignalFigures {
    /// A tone was found and is good enough to read.
    pub usable: bool,
    /// Level of the tone.
    pub level: Option<Decibels>,
    /// Tone against all else.
    pub snr: Option<Decibels>,
    /// Samples in runs of three or more at full scale.
    pub clipped_samples: u64,
    /// Dropouts, as many as a measurement lists.
    pub dropouts: Vec<Dropout>,
    /// All dropouts, listed or not.
    pub dropout_count: u64,
    /// Breaks in the input.
    pub gaps: u64,
}

/// The part of a recording that the figures are of, where they are not of all
/// of it. Times since its beginning.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Cut {
    /// Where the part begins.
    pub from: Seconds,
    /// Where it ends.
    pub to: Seconds,
    /// How long the motor was heard to run up before it.
    pub run_up: Seconds,
    /// And to run down behind it.
    pub run_down: Seconds,
    /// Where the speed was turned: the steady stretches, in order; the part is
    /// the last of them.
    pub stretches: Vec<SteadyStretch>,
}

/// A stretch within which the speed was left alone.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct SteadyStretch {
    /// Since the beginning of the recording.
    pub from: Seconds,
    /// The same.
    pub to: Seconds,
    /// Against the reference.
    pub deviation: Percent,
    /// 95 %, the reference's own error left out.
    pub uncertainty: Option<Percent>,
    /// Weighted flutter, two-sigma, where the stretch is long enough.
    pub weighted_two_sigma: Option<Percent>,
    /// 95 % of it.
    pub weighted_two_sigma_uncertainty: Option<Percent>,
}
