//! What is said of a recording besides its figures: what was wrong with the
//! file, and why nothing could be measured.

use crate::audio::recording::{Faults, Recording};
use crate::readings::{Caution, CautionCode, Measurement};

/// The stretch begins where the recording is over.
pub(super) fn beyond_the_end(recording: &Recording, rate_hz: u32) -> Caution {
    let length = recording.read_frames() as f64 / f64::from(rate_hz.max(1));
    Caution {
        code: CautionCode::RecordTooShort,
        text: format!(
            "The recording ends at {length:.1} s, before the stretch that was asked for begins; choose an earlier --from."
        ),
    }
}

/// Adds a caution for each fault of the file.
pub(super) fn add_faults(measurement: &mut Measurement, faults: &Faults, recording: &Recording) {
    let mut add = |code, text| measurement.cautions.push(Caution { code, text });
    if faults.cut_short {
        let rate_hz = f64::from(recording.format().rate_hz.max(1));
        let missing = match faults.missing_frames as f64 / rate_hz {
            missing if missing >= 0.05 => format!("{missing:.1} s are missing at its end"),
            _ => "its end is missing".to_owned(),
        };
        add(
            CautionCode::FileCutShort,
            format!("The file is cut short: {missing}; it was measured as far as it goes."),
        );
    }
    if faults.undecodable_packets > 0 {
        add(
            CautionCode::SamplesReplaced,
            format!(
                "Parts of the file could not be decoded ({} of its packets); they count as silence, so copy it again.",
                faults.undecodable_packets
            ),
        );
    }
    if faults.replaced_samples > 0 {
        add(
            CautionCode::SamplesReplaced,
            format!(
                "{} samples of the file are no numbers (NaN or infinite); they count as silence, so check what wrote it.",
                faults.replaced_samples
            ),
        );
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
    let newest = |code: &CautionCode| cautions.iter().rposition(|it| it.code == *code);
    let at = telling.iter().find_map(newest);
    let Some(at) = at.or((!cautions.is_empty()).then_some(0)) else {
        return "no usable reference was found; name the tone with --reference".to_owned();
    };
    let why = format!("no usable reference: {}", cautions[at].text);
    if take {
        cautions.remove(at);
    }
    why
}
