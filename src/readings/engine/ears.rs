//! What follows the reference in the samples: a tone by itself, or a note by
//! all of its partials.

use crate::readings::conditions::{Conditions, Nominal, ReferenceKind};
use crate::signal::demodulator::Plan;
use crate::signal::evidence::Witness;
use crate::signal::harmonics::tracker::{NoteState, NoteTracker};
use crate::signal::tracker::{ChannelQuality, MOST_CHANNELS, Track, Tracker};

/// See the module.
pub(super) enum Ears {
    Tone(Box<Tracker>),
    Note(Box<NoteTracker>),
}

impl Ears {
    /// For one or two channels, and what the conditions name.
    pub(super) fn new(rate_hz: u32, channels: usize, conditions: &Conditions) -> Self {
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
        }
    }

    /// Frequency of something steady that is not what is wanted, in hertz.
    pub(super) fn unwanted_hz(&self) -> Option<f64> {
        match self {
            Self::Tone(tracker) => tracker.unwanted().map(|line| line.hz),
            Self::Note(tracker) => tracker.unwanted_hz(),
        }
    }

    pub(super) fn gap(&mut self) {
        match self {
            Self::Tone(tracker) => tracker.gap(),
            Self::Note(tracker) => tracker.gap(),
        }
    }

    /// What speaks for and against what is followed, or was last.
    pub(super) fn witness(&self) -> Option<&dyn Witness> {
        match self {
            Self::Tone(tracker) => tracker.evidence().map(|it| it as &dyn Witness),
            Self::Note(tracker) => tracker.witness(),
        }
    }

    pub(super) fn is_following(&self) -> bool {
        match self {
            Self::Tone(tracker) => tracker.is_following(),
            Self::Note(tracker) => tracker.is_following(),
        }
    }

    pub(super) fn quality(&self) -> [ChannelQuality; MOST_CHANNELS] {
        match self {
            Self::Tone(tracker) => tracker.quality(),
            Self::Note(tracker) => tracker.quality(),
        }
    }

    pub(super) fn band_hz(&self) -> Option<f64> {
        match self {
            Self::Tone(tracker) => tracker.band_hz(),
            Self::Note(tracker) => tracker.band_hz(),
        }
    }

    /// What is known of a note besides its speed.
    pub(super) fn note(&self) -> Option<&NoteState> {
        match self {
            Self::Tone(_) => None,
            Self::Note(tracker) => tracker.state(),
        }
    }

    /// True when two channels carry two different things.
    pub(super) fn has_conflict(&self) -> bool {
        matches!(self, Self::Note(tracker) if tracker.has_conflict())
    }
}
