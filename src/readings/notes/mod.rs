//! A held note as reference: what is known of it besides its speed, and what
//! must be said of it.

mod tuning;
mod words;

pub use tuning::TuningMeter;
pub use words::{NO_NOTE, TWO_THINGS, wrong_note};

use super::followed::Followed;
use super::found::NoteFigures;
use super::measurement::Measurement;
use super::settings::Settings;
use super::stretch::Stretch;
use super::values::{
    Caution, CautionCode, FlutterReading, Problem, SpeedFigures, UncertaintyParts,
};
use crate::signal::harmonics::tracker::{NoteState, NoteTracker};
use crate::signal::statistics::NORMAL_95;
use crate::units::Percent;

/// Fundamentals this far from the note are followed: a little more than a
/// tape that is in any repair is off, and less than two semitones.
const CAPTURE: [f64; 2] = [0.88, 1.12];

impl Followed for NoteTracker {
    fn capture(&self) -> [f64; 2] {
        CAPTURE
    }

    fn partials(&self) -> Option<Percent> {
        self.state().map(of_partials)
    }

    fn name_problems(&self, problems: &mut [Problem]) {
        let is_taken = self.state().is_some_and(|note| note.taken.is_some());
        for problem in problems {
            match *problem {
                // Each channel has a note, and they are not the same.
                Problem::NoTone | Problem::ToneLost if self.has_conflict() => {
                    *problem = Problem::ChannelsDisagree;
                }
                Problem::OneChannel(used) | Problem::OtherSound { tone: used, .. } if is_taken => {
                    *problem = Problem::ChannelTaken(used);
                }
                _ => {}
            }
        }
    }

    fn finish(
        &self,
        mut measurement: Measurement,
        stretch: &Stretch,
        _settings: &Settings,
    ) -> Measurement {
        let two_things = self.has_conflict() || stretch.channels_disagree();
        let refused = !measurement.signal.usable;
        if two_things && (refused || measurement.has(CautionCode::ChannelsDisagree)) {
            refuse(&mut measurement);
        }
        // A player's vibrato and a machine's flutter cannot be told apart.
        measurement.flutter = FlutterReading::default();
        measurement
            .cautions
            .retain(|caution| caution.code != CautionCode::ToneTooLow);
        let Some(speed) = &mut measurement.speed else {
            return measurement;
        };
        let state = self.state();
        let figures = NoteFigures {
            vibrato: stretch.vibrato.whole(),
            stiffness: state.map_or(0.0, |state| state.stiffness),
            partials: state.map_or_else(Vec::new, |state| state.partials.to_vec()),
        };
        if state.is_some() {
            let parts = UncertaintyParts {
                partials: self.partials(),
                ..speed.parts
            };
            *speed = SpeedFigures::of(speed.measured, speed.deviation, parts);
        }
        let nearer = words::nearer_note(speed.deviation.ratio());
        let cautions = &mut measurement.cautions;
        cautions.extend(words::of_note(&figures));
        cautions.extend(state.map_or_else(Vec::new, words::of_voices));
        cautions.extend(nearer);
        measurement.note = Some(figures);
        measurement
    }
}

fn refuse(measurement: &mut Measurement) {
    measurement.signal.usable = false;
    measurement.speed = None;
    measurement.drift = None;
    measurement.along = None;
    measurement.stability.clear();
    let about = [CautionCode::ChannelsDisagree, CautionCode::ToneNotFound];
    let cautions = &mut measurement.cautions;
    cautions.retain(|caution| !about.contains(&caution.code));
    let caution = Caution {
        code: CautionCode::ChannelsDisagree,
        text: TWO_THINGS.into(),
    };
    cautions.insert(0, caution);
}

/// 95 % of the pitch from what the partials are to one another, relative: what
/// they stray from the series, and, for a stiff string, the way from its first
/// partial, which is what is read, to the n f₀ of the same string without
/// stiffness, √(1 + B): nobody knows which of them the player tuned
/// (a definitional uncertainty, JCGM 200:2012, 2.27). So it is with voices that
/// are not in tune with one another, in one channel or from one to the other.
fn of_partials(state: &NoteState) -> Percent {
    let count = state.partials.len().max(1) as f64;
    let strayed = NORMAL_95 * state.stray / count.sqrt();
    let stretched = (1.0 + state.stiffness).sqrt() - 1.0;
    let voices = MIDDLE * state.width;
    let apart = state.taken.map_or(0.0, |taken| taken.apart);
    Percent(100.0 * strayed.hypot(stretched).hypot(voices).hypot(apart))
}

/// Way from the louder of two voices to their middle, by the standard deviation of
/// both about their mean: (r + 1) / (2 √r) where one has r times the power of the
/// other, here with r = 4. Of voices further apart in level the louder is the note.
const MIDDLE: f64 = 1.25;
