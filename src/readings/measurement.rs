//! The two tops, as plain values: the live [`Reading`] and the [`Measurement`]
//! of a whole stretch. Nothing here measures.

use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::along::Along;
use super::caution::{Caution, CautionCode, Origin};
use super::found::{
    MarksFigures, MatchFigures, NoteFigures, PassageFigures, PlaceInCopy, TapeIdent, TuningHint,
};
use super::guidance::Guidance;
use super::holding::Holding;
use super::stability::{StabilityPoint, Worth};
use super::sweep::Sweeping;
use super::track::Track;
use super::values::{
    ChannelUsed, Cut, DriftReading, FlutterReading, SignalFigures, SignalHealth, SpeedFigures,
    SpeedReading, ToneState,
};
use super::wavering::{FlutterLines, TwoChannels};
use crate::units::{Hertz, Percent, Seconds};

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
    /// The regular part of the flutter, line by line, as of the last look;
    /// `None` while too short.
    pub lines: Option<Arc<FlutterLines>>,
    /// Two channels of the tone in the newest ten seconds, or since the head was
    /// seen to turn; `None` where there is one.
    pub channels: Option<TwoChannels>,
    /// The same of the last second, for the hand at the head.
    pub channels_now: Option<TwoChannels>,
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

/// How a passage stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PassageState {
    /// There is sound, and no silence was heard before it.
    NeedsSilence,
    /// The first sound is waited for.
    Waiting,
    /// It plays.
    Playing,
    /// It has ended.
    Ended,
}

/// What is known of a timed reference while it plays.
#[derive(Clone, Debug, PartialEq)]
pub enum Progress {
    /// A passage.
    Passage {
        /// How it stands.
        state: PassageState,
        /// Time since its first sound, the sample clock's error left in;
        /// `None` before that.
        since: Option<Seconds>,
        /// How long it lasts at right speed.
        expected: Seconds,
        /// Started by a key.
        by_hand: bool,
        /// Why the last one gave no speed.
        refused: Option<Caution>,
    },
    /// Marks.
    Marks {
        /// Heard in the newest seconds.
        found: u64,
        /// Spacing at right speed.
        spacing: Seconds,
        /// Why there is no speed.
        refused: Option<Caution>,
    },
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

/// Everything measured over one stretch: a whole recording, or what a key
/// kept.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
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
    /// Speed and flutter against time; only by a tone or a note.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub track: Option<Track>,
    /// Wow and flutter.
    pub flutter: FlutterReading,
    /// The regular part of the flutter, line by line; `None` when too short.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lines: Option<FlutterLines>,
    /// Two channels of one tone; `None` where there is one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub channels: Option<TwoChannels>,
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
        let track = self.track.iter_mut().map(|track| &mut track.from);
        for time in starts.chain(cut).chain(track) {
            time.0 += later.0;
        }
        self.signal.clipped_samples = whole.signal.clipped_samples;
        let is_clipped = |it: &&Caution| it.code() == CautionCode::Clipped;
        self.cautions.retain(|it| !is_clipped(&it));
        let clipped = whole.cautions.iter().filter(is_clipped);
        self.cautions.extend(clipped.cloned());
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
        let is_of_the_tape = |caution: &Caution| {
            matches!(
                caution.code(),
                CautionCode::ReferenceErrorUnknown
                    | CautionCode::ReferenceHomeMade
                    | CautionCode::ReferenceRecordedHere
            )
        };
        self.cautions.retain(|caution| !is_of_the_tape(caution));
        self.cautions.push(Caution::RecordedHere);
    }

    /// Where the tape was recorded need not be asked any more.
    pub fn answer_where_recorded(&mut self, answer: &Origin) {
        for caution in &mut self.cautions {
            if let Caution::OwnErrorUnknown(origin) | Caution::HomeMade(origin) = caution
                && *origin == Origin::Unknown
            {
                origin.clone_from(answer);
            }
        }
    }

    /// What must be said of samples at full scale, if there were any.
    pub(super) fn clipped_caution(&self) -> Option<Caution> {
        let samples = self.signal.clipped_samples;
        (samples > 0).then(|| Caution::Clipped(samples, self.clipped_share()))
    }

    /// True when a caution of this code was given.
    pub fn has(&self, code: CautionCode) -> bool {
        self.cautions.iter().any(|caution| caution.code() == code)
    }
}
