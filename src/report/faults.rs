//! Likely faults in sentences, each a guess with its check, and never a check
//! without its cautions.

use super::lines::{figures, short};
use super::troubles::capital;
use crate::readings::FlutterLines;
use crate::references::evidence::{Evidence, Sign};
use crate::references::faults::LikelyFault;

/// What it may be, why, what to look at first, and what to mind.
pub fn sentence(fault: &LikelyFault, lines: Option<&FlutterLines>) -> String {
    format!(
        "likely {} ({}). {}",
        fault.cause,
        reasons(fault, lines),
        check(fault)
    )
}

/// What to look at first, with the cautions of that.
pub fn check(fault: &LikelyFault) -> String {
    let mut text = format!("First: {}.", fault.check);
    for caution in &fault.cautions {
        text.push(' ');
        text.push_str(caution);
    }
    text
}

/// Why, in a line.
pub fn reasons(fault: &LikelyFault, lines: Option<&FlutterLines>) -> String {
    let each = fault.reasons.iter().map(|it| reason(it, lines));
    each.collect::<Vec<_>>().join("; ")
}

/// What is said where no rule speaks.
pub const NOTHING: &str = "nothing stands out";

/// A sign in words.
pub fn reason(evidence: &Evidence, lines: Option<&FlutterLines>) -> String {
    let line = lines.zip(evidence.line).and_then(|(lines, nth)| {
        let line = lines.lines.get(nth)?;
        Some((figures(line), short(lines, line)))
    });
    match (evidence.sign, line) {
        (Sign::LineReelStrong, Some((figures, _))) => {
            format!("a reel makes most of it: {figures}")
        }
        (Sign::Twice, _) => "a line twice a turn".to_owned(),
        (Sign::Cogging, _) => "a line at its poles".to_owned(),
        (Sign::LineAny, _) => "regular wavering".to_owned(),
        (_, Some((figures, name))) => format!("{figures}: {name}"),
        (sign, None) => of_sign(sign).to_owned(),
    }
}

fn of_sign(sign: Sign) -> &'static str {
    match sign {
        Sign::Off => "the speed lies outside the band",
        Sign::Steady => "it is steady",
        Sign::Drifting => "the speed drifts",
        Sign::Slowing => "the speed falls",
        Sign::SlowerToEnd => "it is slower towards the end of the tape",
        Sign::FollowsSupply => "the speed follows the supply voltage",
        Sign::HoldsSupply => "the speed holds against the supply voltage",
        Sign::NoTrimmer => "there is no trimmer",
        Sign::NearEnd => "right speed lies at the end of the trimmer's range",
        Sign::WiperErratic => "the speed jumps as the trimmer is turned",
        Sign::BroadSlow => "wow that is no line",
        Sign::BroadFast => "flutter that is no line",
        Sign::Beating => "a line that comes and goes",
        Sign::RecordedHere => "the tape was recorded on this machine",
        Sign::Dropouts => "dropouts",
        Sign::AzimuthOff => "the time between the channels costs treble in mono",
        Sign::LineCapstan
        | Sign::LinePinchRoller
        | Sign::LineBelt
        | Sign::LineIdler
        | Sign::LineReel
        | Sign::LineReelStrong
        | Sign::LineMotor
        | Sign::LineGuide
        | Sign::LineOther
        | Sign::LineMesh
        | Sign::LineMains
        | Sign::LineUnknown
        | Sign::LineUnknownSlow
        | Sign::LineNoCard
        | Sign::LineAny
        | Sign::Twice
        | Sign::Cogging => "a line in the flutter",
    }
}

/// "Likely …" as a sentence begins.
pub fn headline(fault: &LikelyFault) -> String {
    capital(&format!("likely {}", fault.cause))
}
