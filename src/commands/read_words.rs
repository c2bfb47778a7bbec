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

/// The caution that says best why there is no reading.
pub(super) fn why_unusable(measurement: &Measurement) -> String {
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
        CautionCode::ChannelsDisagree,
        CautionCode::ReferenceAmbiguous,
    ];
    let caution = telling
        .iter()
        .find_map(|code| {
            measurement
                .cautions
                .iter()
                .rfind(|caution| caution.code == *code)
        })
        .or(measurement.cautions.first());
    match caution {
        Some(caution) => format!("no usable reference: {}", caution.text),
        None => "no usable reference was found; name the tone with --reference".to_owned(),
    }
}
