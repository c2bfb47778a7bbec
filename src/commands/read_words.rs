//! What is said of a recording besides its figures: what was wrong with the
//! file, and why nothing could be measured.

use crate::audio::recording::{Faults, Recording};
use crate::readings::{Caution, CautionCode, Measurement};
use crate::units::Seconds;

/// The stretch begins where the recording is over.
pub(super) fn beyond_the_end(recording: &Recording, rate_hz: u32) -> Caution {
    let length = recording.read_frames() as f64 / f64::from(rate_hz.max(1));
    Caution::BeyondTheEnd(Seconds(length))
}

/// Adds a caution for each fault of the file.
pub(super) fn add_faults(measurement: &mut Measurement, faults: &Faults, recording: &Recording) {
    if faults.cut_short {
        let rate_hz = f64::from(recording.format().rate_hz.max(1));
        let missing = Seconds(faults.missing_frames as f64 / rate_hz);
        let missing = Some(missing).filter(|missing| missing.0 >= 0.05);
        measurement.cautions.push(Caution::CutShort(missing));
    }
    if faults.undecodable_packets > 0 {
        let lost = Caution::Undecodable(faults.undecodable_packets);
        measurement.cautions.push(lost);
    }
    if faults.replaced_samples > 0 {
        let replaced = Caution::NoNumbers(faults.replaced_samples);
        measurement.cautions.push(replaced);
    }
}

/// Why there is no reading, by the caution that says it best. That is taken out
/// where `take` says so, for what is said here need not be said again.
pub(super) fn why_unusable(measurement: &mut Measurement, take: bool) -> String {
    let telling = [
        CautionCode::RecordTooShort,
        CautionCode::HalfOrDoubleSpeed,
        CautionCode::MainsFrequencyMismatch,
        CautionCode::ToneTooLow,
        CautionCode::ToneNotFound,
        CautionCode::ChannelsDisagree,
        CautionCode::ReferenceCutOff,
        CautionCode::ReferenceMismatch,
        CautionCode::ReferenceNotFound,
        CautionCode::ReferenceAmbiguous,
    ];
    let cautions = &mut measurement.cautions;
    let newest = |code: &CautionCode| cautions.iter().rposition(|it| it.code() == *code);
    let at = telling.iter().find_map(newest);
    let Some(at) = at.or((!cautions.is_empty()).then_some(0)) else {
        return "no usable reference was found; name the tone with --reference".to_owned();
    };
    let why = format!("no usable reference: {}", cautions[at]);
    if take {
        cautions.remove(at);
    }
    why
}
