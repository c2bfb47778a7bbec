//! What must be said of a reference and of an input whatever was measured, in
//! words.

use super::conditions::Conditions;
use super::values::CautionCode;
use crate::units::Hertz;

/// What is said of silence, whatever was to be heard.
pub(super) const SILENCE: &str =
    "There is nothing but silence; check the tape, the channel and the input level.";

/// Asked of a tape about which nothing is known.
pub(super) const WHERE_RECORDED: &str =
    "Where was it recorded? One recorded on this machine reads right at any speed.";

/// What must be said of the reference's own error.
pub(super) fn reference_cautions(
    conditions: &Conditions,
    say: &mut impl FnMut(CautionCode, String),
) {
    let reference = &conditions.reference;
    if reference.recorded_here {
        say(
            CautionCode::ReferenceRecordedHere,
            "The tape was recorded on this machine, so it reads right at any speed: this is no speed error. Take a tape from elsewhere.".into(),
        );
    } else if reference.home_made {
        say(
            CautionCode::ReferenceHomeMade,
            format!(
                "A home-made tape without a figure of its own is taken as ±3 %. {WHERE_RECORDED}"
            ),
        );
    } else if reference.uncertainty.is_none() {
        say(
            CautionCode::ReferenceErrorUnknown,
            format!("By this tape only: its own error is not known. {WHERE_RECORDED}"),
        );
    }
}

/// What a tone that is heard means where this one is on the tape.
pub fn off_by(heard: Hertz, tone: Hertz) -> String {
    let percent = (heard.0 / tone.0 - 1.0) * 100.0;
    let way = if percent < 0.0 { "slow" } else { "fast" };
    format!("{:.1} % {way}", percent.abs())
}
