//! What follows the reference in the samples: a tone by itself, a note by all
//! of its partials, a recording by its digital copy.

use std::sync::Arc;

use crate::readings::conditions::{Conditions, Nominal, ReferenceKind};
use crate::readings::matching::CopyTracker;
use crate::readings::target::Target;
use crate::signal::demodulator::Plan;
use crate::signal::evidence::Witness;
use crate::signal::harmonics::tracker::{NoteState, NoteTracker};
use crate::signal::tracker::{ChannelQuality, MOST_CHANNELS, Track, Tracker};

/// See the module.
pub(super) enum Ears {
    Tone(Box<Tracker>),
    Note(Box<NoteTracker>),
    Copy(Box<CopyTracker>),
    /// Right speed is a time: others listen.
    None(Plan),
}

impl Ears {
    /// For one or two channels, and what the conditions name.
    pub(super) fn new(
        rate_hz: u32,
        channels: usize,
        conditions: &Conditions,
        target: &Target,
    ) -> Self {
        match target {
            Target::Frequency => {}
            Target::Time(_) => return Self::None(Plan::new(rate_hz)),
            Target::Copy(copy) => {
                let tracker = CopyTracker::new(rate_hz, channels, Arc::clone(copy));
                return Self::Copy(Box::new(tracker));
            }
        }
        match (conditions.kind, conditions.nominal) {
            (ReferenceKind::Note, Nominal::Fixed(note)) => {
                Self::Note(Box::new(NoteTracker::new(rate_hz, channels, note.0)))
            }
            _ => Self::Tone(Box::new(Tracker::new(rate_hz, channels))),
        }
    }

    pub(super) fn plan(&self) -> &Plan {
        match self {
            Self::Tone(tracker) => tracker.plan(),
            Self::Note(tracker) => tracker.plan(),
            Self::Copy(tracker) => tracker.plan(),
            Self::None(plan) => plan,
        }
    }

    pub(super) fn be_patient(&mut self) {
        if let Self::Tone(tracker) = self {
            tracker.be_patient();
        }
    }

    pub(super) fn tick(&mut self, input: &[&[f32]], out: &mut Vec<Track>) {
        match self {
            Self::Tone(tracker) => tracker.tick(input, out),
            Self::Note(tracker) => tracker.tick(input, out),
            Self::Copy(tracker) => tracker.tick(input, out),
            Self::None(_) => {}
        }
    }

    pub(super) fn set_ranges(&mut self, ranges_hz: Vec<[f64; 2]>) {
        match self {
            Self::Tone(tracker) => tracker.set_ranges(ranges_hz),
            Self::Note(tracker) => {
                if let [range_hz] = ranges_hz[..] {
                    tracker.set_range(range_hz);
                }
            }
            Self::Copy(_) | Self::None(_) => {}
        }
    }

    /// Frequency of something steady that is not what is wanted, in hertz.
    pub(super) fn unwanted_hz(&self) -> Option<f64> {
        match self {
            Self::Tone(tracker) => tracker.unwanted().map(|line| line.hz),
            Self::Note(tracker) => tracker.unwanted_hz(),
            Self::Copy(_) | Self::None(_) => None,
        }
    }

    pub(super) fn gap(&mut self) {
        match self {
            Self::Tone(tracker) => tracker.gap(),
            Self::Note(tracker) => tracker.gap(),
            Self::Copy(tracker) => tracker.gap(),
            Self::None(_) => {}
        }
    }

    /// What speaks for and against what is followed, or was last.
    pub(super) fn witness(&self) -> Option<&dyn Witness> {
        match self {
            Self::Tone(tracker) => tracker.evidence().map(|it| it as &dyn Witness),
            Self::Note(tracker) => tracker.witness(),
            Self::Copy(tracker) => tracker.witness(),
            Self::None(_) => None,
        }
    }

    pub(super) fn is_following(&self) -> bool {
        match self {
            Self::Tone(tracker) => tracker.is_following(),
            Self::Note(tracker) => tracker.is_following(),
            Self::Copy(tracker) => tracker.is_following(),
            Self::None(_) => false,
        }
    }

    pub(super) fn quality(&self) -> [ChannelQuality; MOST_CHANNELS] {
        match self {
            Self::Tone(tracker) => tracker.quality(),
            Self::Note(tracker) => tracker.quality(),
            Self::Copy(tracker) => tracker.quality(),
            Self::None(_) => [ChannelQuality::default(); MOST_CHANNELS],
        }
    }

    pub(super) fn band_hz(&self) -> Option<f64> {
        match self {
            Self::Tone(tracker) => tracker.band_hz(),
            Self::Note(tracker) => tracker.band_hz(),
            Self::Copy(_) | Self::None(_) => None,
        }
    }

    /// From a sample going in to its value coming out.
    pub(super) fn delay_ticks(&self) -> u64 {
        let Self::Tone(tracker) = self else { return 0 };
        let rate_hz = tracker.plan().output_rate_hz();
        tracker
            .delay_s()
            .map_or(0, |delay_s| (delay_s * rate_hz) as u64)
    }

    /// What is known of a note besides its speed.
    pub(super) fn note(&self) -> Option<&NoteState> {
        match self {
            Self::Tone(_) | Self::Copy(_) | Self::None(_) => None,
            Self::Note(tracker) => tracker.state(),
        }
    }

    /// Where the tape is in its copy, where there is one.
    pub(super) fn copy(&self) -> Option<&CopyTracker> {
        match self {
            Self::Tone(_) | Self::Note(_) | Self::None(_) => None,
            Self::Copy(tracker) => Some(tracker),
        }
    }

    /// True when two channels carry two different things.
    pub(super) fn has_conflict(&self) -> bool {
        matches!(self, Self::Note(tracker) if tracker.has_conflict())
    }
}
