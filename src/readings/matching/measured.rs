//! From what was found in the copy to the [`Measurement`] and its words.

use super::matcher::Report;
use super::speed::SpeedFound;
use crate::readings::conditions::Conditions;
use crate::readings::found::{CopyState, MatchFigures};
use crate::readings::measurement::Measurement;
use crate::readings::values::{Caution, CautionCode, SpeedFigures};
use crate::readings::without_tone::{self, Heard};
use crate::units::{Hertz, Seconds};

/// The measurement of what was heard, by what is known of its place.
pub(super) fn measured(report: &Report, heard: Heard) -> Measurement {
    let mut cautions = Vec::new();
    let mut say = |code, text| cautions.push(Caution { code, text });
    if report.speed.is_some() {
        followed_cautions(report, &mut say);
    } else {
        let (code, text) = refusal(report);
        say(code, text);
    }
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
    let accepted = report.begins.is_some();
    let begin = report.begins.zip(report.speed);
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

fn followed_cautions(report: &Report, say: &mut impl FnMut(CautionCode, String)) {
    if report.repeats {
        say(
            CautionCode::ReferenceAmbiguous,
            "The music repeats: another place of the copy fits as well, at the same speed.".into(),
        );
    }
    // The last loss is no trouble where the sound, or the copy, was over.
    let found_again = report.losses - u32::from(report.state == CopyState::Lost);
    if found_again > 0 {
        say(
            CautionCode::ReferenceCutOff,
            format!(
                "The place in the copy was lost and found again ({found_again} ×): a fault of the tape, a cut, or another mix; only what could be followed counts."
            ),
        );
    }
}

/// Why there is no speed.
fn refusal(report: &Report) -> (CautionCode, String) {
    let sound_s = report.sound_s;
    match report.state {
        CopyState::Silent => (
            CautionCode::ReferenceNotFound,
            "There is no sound in it; check the cable and the level.".into(),
        ),
        CopyState::Listening | CopyState::Following => (
            CautionCode::RecordTooShort,
            format!(
                "{sound_s:.1} s of sound are too few to be found in the copy; record 10 s or more, a minute for a good ±."
            ),
        ),
        CopyState::Ambiguous => (
            CautionCode::ReferenceAmbiguous,
            "The music repeats: several places of the copy fit as well, at different speeds; record a longer stretch or another one.".into(),
        ),
        CopyState::NotFound | CopyState::Lost => (
            CautionCode::ReferenceNotFound,
            format!(
                "The copy was not found in {sound_s:.0} s of sound; check that it is the same performance and mix, that the speed is within ±10 %, and that the tape can be heard well."
            ),
        ),
    }
}
