//! A held note as reference: what is known of it besides its speed, and what
//! must be said of it.

mod tuning;
mod vibrato;
mod words;

pub use tuning::TuningMeter;
pub use vibrato::{VibratoMeter, VibratoTotals};
pub use words::{NO_NOTE, TWO_THINGS, wrong_note};

use super::measurement::Measurement;
use super::values::{Caution, CautionCode, FlutterReading, SpeedFigures, UncertaintyParts};
use crate::readings::found::NoteFigures;
use crate::readings::found::Vibrato;
use crate::signal::harmonics::tracker::NoteState;
use crate::signal::statistics::NORMAL_95;
use crate::units::Percent;

/// Fundamentals this far from the note are followed: a little more than a
/// tape that is in any repair is off, and less than two semitones.
pub const CAPTURE: [f64; 2] = [0.88, 1.12];

/// Adds to a measurement what holds for notes only.
pub fn finish(
    mut measurement: Measurement,
    state: Option<&NoteState>,
    vibrato: Option<Vibrato>,
    two_things: bool,
) -> Measurement {
    if two_things && (!measurement.signal.usable || measurement.has(CautionCode::ChannelsDisagree))
    {
        refuse(&mut measurement);
    }
    // A player's vibrato and a machine's flutter cannot be told apart.
    measurement.flutter = FlutterReading::default();
    measurement
        .cautions
        .retain(|caution| caution.code != CautionCode::ToneTooLow);
    if measurement.speed.is_none() {
        return measurement;
    }
    let figures = NoteFigures {
        vibrato,
        stiffness: state.map_or(0.0, |state| state.stiffness),
        partials: state.map_or_else(Vec::new, |state| state.partials.to_vec()),
    };
    if let Some((speed, state)) = measurement.speed.as_mut().zip(state) {
        let parts = UncertaintyParts {
            partials: Some(of_partials(state)),
            ..speed.parts
        };
        *speed = SpeedFigures::of(speed.measured, speed.deviation, parts);
    }
    measurement.cautions.extend(words::of_note(&figures));
    if let Some(state) = state {
        measurement.cautions.extend(words::of_voices(state));
    }
    if let Some(speed) = measurement.speed {
        let ratio = 1.0 + speed.deviation.0 / 100.0;
        measurement.cautions.extend(words::nearer_note(ratio));
    }
    measurement.note = Some(figures);
    measurement
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
pub(super) fn of_partials(state: &NoteState) -> Percent {
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
