//! A held note as reference: what is known of it besides its speed, and what
//! must be said of it.

mod tuning;

pub use tuning::TuningMeter;

use super::caution::{Caution, CautionCode};
use super::conditions::ReferenceKind;
use super::followed::Followed;
use super::found::NoteFigures;
use super::measurement::Measurement;
use super::settings::Settings;
use super::stretch::Stretch;
use super::values::{ChannelUsed, FlutterReading, Problem, SpeedFigures, UncertaintyParts};
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
            .retain(|caution| caution.code() != CautionCode::ToneTooLow);
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
        let nearer = nearer_note(speed.deviation.ratio());
        let cautions = &mut measurement.cautions;
        cautions.extend(of_note(&figures));
        cautions.extend(state.into_iter().flat_map(of_voices));
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
    measurement.track = None;
    measurement.stability.clear();
    let about = [CautionCode::ChannelsDisagree, CautionCode::ToneNotFound];
    let cautions = &mut measurement.cautions;
    cautions.retain(|caution| !about.contains(&caution.code()));
    let two_things = Caution::Trouble(Problem::ChannelsDisagree, ReferenceKind::Note);
    cautions.insert(0, two_things);
}

/// What a reading by a note needs said.
fn of_note(figures: &NoteFigures) -> Vec<Caution> {
    let mut cautions = vec![Caution::GivesNoFlutter(ReferenceKind::Note, true)];
    cautions.extend(figures.vibrato.map(Caution::Vibrato));
    if figures.stiffness > 0.0 {
        cautions.push(Caution::PartialsStretched(figures.stiffness));
    }
    cautions
}

/// Voices further apart than this, relative, are spoken of.
const NAMED_WIDTH: f64 = 1e-4;

/// What must be said of a note that is not of one voice.
fn of_voices(state: &NoteState) -> Vec<Caution> {
    let taken = state.taken.map(|taken| {
        let channel = [ChannelUsed::Left, ChannelUsed::Right][taken.channel];
        Caution::ChannelTaken(channel, taken.clearer, Percent(100.0 * taken.apart))
    });
    let apart = Caution::VoicesApart(Percent(100.0 * state.width));
    let apart = (state.width > NAMED_WIDTH).then_some(apart);
    let stops = state.has_stops.then_some(Caution::OrganStops);
    [taken, apart, stops].into_iter().flatten().collect()
}

/// A note that lies nearer to another one may be that one on a machine that is
/// less off.
fn nearer_note(ratio: f64) -> Option<Caution> {
    let semitones = (12.0 * ratio.log2()).round();
    let off = Percent(100.0 * (ratio / (semitones / 12.0).exp2() - 1.0));
    (semitones != 0.0).then_some(Caution::NearerNote(semitones as i32, off))
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_note_nearer_to_another_is_asked_about() {
        assert!(nearer_note(1.02).is_none() && nearer_note(0.98).is_none());
        // A4, 1 % fast, held against A sharp.
        let caution = nearer_note(1.01 / (1.0f64 / 12.0).exp2());
        let is_a = |semitones, off: Percent| semitones == -1 && (off.0 - 1.0).abs() < 1e-9;
        let is_nearer =
            matches!(caution, Some(Caution::NearerNote(semitones, off)) if is_a(semitones, off));
        assert!(is_nearer, "{caution:?}");
    }
}
