//! What a technician reads, as plain values: the live [`Reading`] and the
//! [`Measurement`] of a whole stretch. Nothing here measures.

use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::along::Along;
use super::guidance::Guidance;
use super::holding::Holding;
use super::ident::TapeIdent;
use super::matching::{MatchFigures, PlaceInCopy};
use super::notes::{NoteFigures, TuningHint};
use super::stability::{StabilityPoint, Worth};
use super::sweep::Sweeping;
use super::timed::{MarksFigures, PassageFigures, Progress};
use crate::units::{Decibels, Hertz, Percent, Seconds};

/// The newest state of the live measurement, small enough to hand over whole.
#[derive(Clone, Debug)]
pub struct Reading {
    /// Time of the newest sample since the input began, in samples ÷ rate.
    pub at: Seconds,
    /// Is there a tone, and is it the right one?
    pub tone: ToneState,
    /// Is the signal usable?
    pub signal: SignalHealth,
    /// The nominal tone that deviations are measured against; `None` before
    /// the first lock when it is to be found by itself.
    pub nominal: Option<Hertz>,
    /// Where the tape is in its digital copy; only where that is the reference.
    pub place: Option<PlaceInCopy>,
    /// How a passage or marks stand; only where they are the reference.
    pub timed: Option<Progress>,
    /// `None` while no tone is followed.
    pub speed: Option<SpeedReading>,
    /// `None` until the record since the last move is long enough.
    pub drift: Option<DriftReading>,
    /// How long an average is worth taking; `None` until the record since the
    /// last move is long enough.
    pub worth: Option<Worth>,
    /// Wow and flutter; each figure says by itself whether it is valid.
    pub flutter: FlutterReading,
    /// Mean deviation of each half second of the last minutes, oldest first;
    /// `None` where there was no reading.
    pub trend: Arc<[Option<Percent>]>,
    /// What the stretch being kept is waiting for, if one is being kept.
    pub keeping: Option<Keeping>,
    /// What can be said to the one at the trimmer.
    pub guidance: Guidance,
    /// The sweep of the trimmer that is under way, or the last one's result.
    pub sweep: Option<Sweeping>,
    /// How the speed does without the tool, once that has been asked.
    pub holding: Option<Holding>,
    /// What the tape that runs has said of itself.
    pub ident: Option<TapeIdent>,
}

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
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ChannelUsed {
    /// Left of a stereo input.
    Left,
    /// Right of a stereo input.
    Right,
    /// Both, combined by quality.
    Both,
    /// The input has one channel.
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

/// Progress of a stretch that is being kept.
#[derive(Clone, Debug, PartialEq)]
pub enum Keeping {
    /// Still averaging.
    Averaging {
        /// Valid so far.
        have: Seconds,
        /// Wanted.
        want: Seconds,
    },
    /// Waits for the tone, or for the speed to be left alone.
    Waiting,
    /// Done.
    Done(Arc<Measurement>),
}

/// The parts of the ± of a speed, each 95 %.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
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
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SignalFigures {
    /// A tone was found and is good enough to read.
    pub usable: bool,
    /// Level of the tone.
    pub level: Option<Decibels>,
    /// Tone against all else.
    pub snr: Option<Decibels>,
    /// Samples in runs of three or more at full scale.
    pub clipped_samples: u64,
    /// Dropouts, at most [`Measurement::MOST_DROPOUTS`] of them.
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

/// Everything measured over one stretch: a whole recording, or what a key
/// kept.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Measurement {
    /// Length of the stretch.
    pub duration: Seconds,
    /// Samples a second.
    pub rate_hz: u32,
    /// Which channels were used.
    pub channel: ChannelUsed,
    /// Taken against what.
    pub conditions: super::Conditions,
    /// The nominal tone; `None` where it was to be found and nothing was, and
    /// where the reference has no frequency.
    pub nominal: Option<Hertz>,
    /// The signal.
    pub signal: SignalFigures,
    /// `None` without a usable tone.
    pub speed: Option<SpeedFigures>,
    /// `None` when too short.
    pub drift: Option<DriftReading>,
    /// Allan deviation against averaging time, an octave apart, shortest
    /// first, of the newest undisturbed piece; empty when too short.
    #[serde(default)]
    pub stability: Vec<StabilityPoint>,
    /// First, middle and last third of a long record that nothing disturbed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub along: Option<Along>,
    /// Only where a part of the recording was left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cut: Option<Cut>,
    /// Wow and flutter.
    pub flutter: FlutterReading,
    /// Only with a held note.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<NoteFigures>,
    /// Only for music in which nothing was read.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tuning: Option<TuningHint>,
    /// Only with a passage of known length.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub passage: Option<PassageFigures>,
    /// Only with marks at a known spacing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub marks: Option<MarksFigures>,
    /// Only with a familiar recording.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub recording: Option<MatchFigures>,
    /// What the tape said of itself, where it was heard to.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ident: Option<TapeIdent>,
    /// What to keep in mind.
    pub cautions: Vec<Caution>,
}

impl Measurement {
    /// More dropouts than this are counted but not listed, so that memory
    /// does not grow with the length of a recording.
    pub const MOST_DROPOUTS: usize = 1000;

    /// A part that begins `later` takes the place of the whole: times count from
    /// the beginning of the whole, and what was clipped anywhere is said.
    pub fn take_place_of(&mut self, whole: &Self, later: Seconds) {
        self.duration = whole.duration;
        let starts = self.signal.dropouts.iter_mut().map(|it| &mut it.start);
        let cut = self.cut.iter_mut().flat_map(|cut| {
            let stretches = cut.stretches.iter_mut();
            let places = stretches.flat_map(|it| [&mut it.from, &mut it.to]);
            places.chain([&mut cut.from, &mut cut.to])
        });
        for time in starts.chain(cut) {
            time.0 += later.0;
        }
        self.signal.clipped_samples = whole.signal.clipped_samples;
        self.cautions.retain(|it| it.code != CautionCode::Clipped);
        let clipped = whole.cautions.iter();
        self.cautions.extend(
            clipped
                .filter(|it| it.code == CautionCode::Clipped)
                .cloned(),
        );
    }

    /// The part of all samples that stood at full scale, where it is worth a
    /// figure.
    pub fn clipped_share(&self) -> Option<Percent> {
        let channels = if self.channel == ChannelUsed::Mono {
            1.0
        } else {
            2.0
        };
        let all = self.duration.0 * f64::from(self.rate_hz) * channels;
        let share = 100.0 * self.signal.clipped_samples as f64 / all.max(1.0);
        (share >= Self::LEAST_CLIPPED_SHARE).then_some(Percent(share))
    }

    /// Less than this, percent, is a matter of some samples.
    const LEAST_CLIPPED_SHARE: f64 = 1.0;

    /// How long an average is worth taking; `None` when too short to say.
    pub fn worth(&self) -> Option<Worth> {
        super::stability::worth(&self.stability)
    }

    /// The tape turns out to have been recorded on this machine.
    pub fn tell_recorded_here(&mut self) {
        let reference = &mut self.conditions.reference;
        reference.recorded_here = true;
        reference.uncertainty = None;
        if let Some(speed) = &mut self.speed {
            speed.uncertainty_with_reference = None;
            speed.parts.reference = None;
        }
        let of_the_tape = |caution: &Caution| {
            matches!(
                caution.code,
                CautionCode::ReferenceErrorUnknown
                    | CautionCode::ReferenceHomeMade
                    | CautionCode::ReferenceRecordedHere
            )
        };
        self.cautions.retain(|caution| !of_the_tape(caution));
        let conditions = self.conditions;
        super::assemble::reference_cautions(&conditions, &mut |code, text| {
            self.cautions.push(Caution { code, text });
        });
    }

    /// Where the tape was recorded need not be asked any more, or is asked in
    /// other words: these stand in place of the question.
    pub fn answer_where_recorded(&mut self, words: &str) {
        for caution in &mut self.cautions {
            caution.text = caution.text.replace(super::assemble::WHERE_RECORDED, words);
        }
    }

    /// True when a caution of this code was given.
    pub fn has(&self, code: CautionCode) -> bool {
        self.cautions.iter().any(|caution| caution.code == code)
    }
}

/// Something to keep in mind with a measurement.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Caution {
    /// For scripts.
    pub code: CautionCode,
    /// For people: one sentence.
    pub text: String,
}

/// The codes that scripts rely on. More may come; none changes its meaning.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)] // the names say it; the texts stand where they are given
pub enum CautionCode {
    ReferenceErrorUnknown,
    ReferenceHomeMade,
    ReferenceAmbiguous,
    ReferenceRecordedHere,
    RecordTooShort,
    ToneTooLow,
    ToneNotFound,
    ToneLost,
    HalfOrDoubleSpeed,
    MainsFrequencyMismatch,
    Clipped,
    Dropouts,
    Hum,
    LowSnr,
    ChannelsDisagree,
    SpeedMoved,
    Drifting,
    FileCutShort,
    FileUnreadable,
    SamplesReplaced,
    NotYetMeasured,
    ReferenceNotFound,
    ReferenceCutOff,
    ReferenceMismatch,
    ReferenceGivesNoFlutter,
    EdgesSoft,
    MarksMissing,
    Vibrato,
    PartialsStretched,
    TuningHint,
    ReferenceContradictsTape,
    PartRead,
    ToneNotNeeded,
    VoicesApart,
    OneChannel,
    LevelsDiffer,
    HeavyWow,
    ThroughPipe,
    /// In a kept line of a version that knows more codes; its words say what.
    #[serde(other)]
    Other,
}
