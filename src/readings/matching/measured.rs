//! From what was found in the copy to the [`Measurement`].

use super::matcher::Report;
use super::speed::SpeedFound;
use crate::readings::caution::Caution;
use crate::readings::conditions::Conditions;
use crate::readings::found::{CopyState, MatchFigures};
use crate::readings::measurement::Measurement;
use crate::readings::values::SpeedFigures;
use crate::readings::without_tone::{self, Heard};
use crate::units::{Hertz, Seconds};

/// The measurement of what was heard, by what is known of its place.
pub(super) fn measured(report: &Report, heard: Heard) -> Measurement {
    let cautions = if report.speed.is_some() {
        followed_cautions(report)
    } else {
        vec![Caution::NoPlace(report.state, Seconds(report.sound_s))]
    };
    let conditions = heard.settings.conditions;
    let speed = report.speed.map(|found| speed(&found, &conditions));
    let mut measurement = heard.measurement(speed, Vec::new(), cautions);
    measurement.recording = Some(figures(report));
    measurement
}

fn speed(found: &SpeedFound, conditions: &Conditions) -> SpeedFigures {
    let deviation = conditions.deviation(Hertz(found.ratio), Hertz(1.0));
    without_tone::speed(deviation, found.noise, found.uncertainty, conditions)
}

fn figures(report: &Report) -> MatchFigures {
    let accepted = report.begins_s.is_some();
    let begin = report.begins_s.zip(report.speed);
    MatchFigures {
        accepted,
        at_copy: begin.map(|([time_s, place_s], found)| {
            Seconds(place_s - found.ratio * (time_s - report.from_s))
        }),
        residual: match (report.speed, report.evidence) {
            (Some(found), _) => Some(Seconds(found.residual_s)),
            (None, Some(evidence)) => Some(Seconds(evidence.residual_s)),
            (None, None) => None,
        },
        followed: Seconds(report.speed.map_or(0.0, |found| found.matched_s)),
    }
}

fn followed_cautions(report: &Report) -> Vec<Caution> {
    // The last loss is no trouble where the sound, or the copy, was over.
    let found_again = report.losses - u32::from(report.state == CopyState::Lost);
    let repeats = report.repeats.then_some(Caution::PlaceRepeats);
    let lost = (found_again > 0).then_some(Caution::PlaceLost(found_again));
    repeats.into_iter().chain(lost).collect()
}
