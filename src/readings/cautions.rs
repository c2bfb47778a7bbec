//! What must be said of the figures of a stretch, in words.

use super::asked::{SILENCE, off_by, reference_cautions};
use super::conditions::{Conditions, ReferenceKind};
use super::health::{Sides, are_alarming};
use super::judge::{LOUD_HUM, LOW_SNR, ambiguous, mains_mismatch};
use super::measurement::Measurement;
use super::notes::{NO_NOTE, wrong_note};
use super::stretch::Stretch;
use super::values::{Caution, CautionCode, ChannelUsed, Likely, Problem, WrongTone};
use super::wow::wow;
use crate::units::{Decibels, Hertz, Percent};

/// What is known besides the stretch.
pub struct Surroundings<'a> {
    pub conditions: &'a Conditions,
    pub nominal: Option<Hertz>,
    pub rate_hz: u32,
    pub band_hz: Option<f64>,
    pub wrong: Option<WrongTone>,
    pub believed: bool,
    /// Nothing could be heard so far.
    pub silent: bool,
    /// The trimmer is being turned through its range.
    pub is_swept: bool,
    pub channel: ChannelUsed,
}

pub(super) fn cautions(
    stretch: &Stretch,
    around: &Surroundings,
    got: &Measurement,
) -> Vec<Caution> {
    let mut cautions = Vec::new();
    let mut say = |code, text: String| cautions.push(Caution { code, text });
    signal_cautions(stretch, around, got, &mut say);
    if got.speed.is_some() {
        speed_cautions(stretch, around, got, &mut say);
    }
    cautions
}

fn signal_cautions(
    stretch: &Stretch,
    around: &Surroundings,
    got: &Measurement,
    say: &mut impl FnMut(CautionCode, String),
) {
    let is_note = around.conditions.kind == ReferenceKind::Note;
    let wrong = around.wrong.filter(|_| got.speed.is_none());
    if let Some((wrong, note)) = wrong.zip(around.nominal.filter(|_| is_note)) {
        wrong_note(wrong, note, say);
    } else if let Some(wrong) = wrong {
        wrong_tone_cautions(wrong, say);
    } else if !got.signal.usable && around.silent {
        say(CautionCode::ToneNotFound, SILENCE.into());
    } else if !got.signal.usable && is_note {
        say(CautionCode::ToneNotFound, NO_NOTE.into());
    } else if !got.signal.usable && !around.believed && stretch.tone_power().is_some() {
        say(
            CautionCode::ToneNotFound,
            "Something like a tone was heard, but not long and steadily enough to be a test tone; \
             measure the part that carries it with --from and --to."
                .into(),
        );
    } else if !got.signal.usable {
        say(
            CautionCode::ToneNotFound,
            "No steady tone was found; check the tape, the channel and the input level.".into(),
        );
    }
    if stretch.losses > 0 && got.speed.is_some() {
        say(
            CautionCode::ToneLost,
            if stretch.losses == 1 {
                "The tone was lost once, or ended before the recording did; the figures are of what was heard of it.".into()
            } else {
                format!(
                    "The tone was lost {} and found again or not; the figures are of the parts in between.",
                    times(stretch.losses)
                )
            },
        );
    }
    if let Some(caution) = got.clipped_caution() {
        say(caution.code, caution.text);
    }
    if got.signal.dropout_count > 0 {
        let count = match got.signal.dropout_count {
            1 => "One dropout".to_owned(),
            count => format!("{count} dropouts"),
        };
        let then = if are_alarming(&got.signal.dropouts) {
            "clean the heads and try another stretch of tape"
        } else {
            "one now and then is no reason to do anything"
        };
        say(CautionCode::Dropouts, format!("{count}, bridged; {then}."));
    }
    if let Some(snr) = stretch.to_noise().filter(|snr| *snr < LOW_SNR) {
        say(
            CautionCode::LowSnr,
            format!("The tone stands only {snr:.0} above the noise."),
        );
    }
    let loudest_hum = stretch.beside().map(|beside| {
        let hum = beside.hum[0].max(beside.hum[1]);
        Decibels::from_power_ratio(hum / beside.tone)
    });
    if let Some(hum) = loudest_hum.filter(|hum| *hum > LOUD_HUM) {
        say(
            CautionCode::Hum,
            if got.signal.usable {
                format!("Mains hum at {hum:.0} of the tone; look for an earth loop.")
            } else {
                format!(
                    "Mains hum at {hum:.0} of the tone drowns it: look for an earth loop, an open \
                     chassis or a broken screen, and measure again."
                )
            },
        );
    }
    if stretch.channels_disagree() {
        say(
            CautionCode::ChannelsDisagree,
            "Left and right do not carry the same speed; the figures are of both. Choose one with --channel.".into(),
        );
    }
    if got.signal.usable && !is_note {
        sides_caution(stretch.sides(), say);
    }
}

/// Left and right beside one another.
fn sides_caution(sides: Sides, say: &mut impl FnMut(CautionCode, String)) {
    match sides {
        Sides::Alike => {}
        Sides::Level(right) => {
            let (louder, quieter) = if right.0 > 0.0 {
                ("right", "left")
            } else {
                ("left", "right")
            };
            say(
                CautionCode::LevelsDiffer,
                format!(
                    "The {quieter} channel is {:.1} dB quieter than the {louder}: dirty head, bad contact, azimuth, or the balance of the input. The speed does not depend on it.",
                    right.0.abs()
                ),
            );
        }
        Sides::Only(tone) => say(
            CautionCode::OneChannel,
            format!(
                "The tone is on the {} channel only: dirty head, bad contact, or a mono cable. The reading itself is good.",
                side(tone)
            ),
        ),
        Sides::Other { tone, heard, level } => say(
            CautionCode::ChannelsDisagree,
            format!(
                "The {} channel carries something else: about {heard}, {} the tone on the {}. The figures are of the {} channel; --channel chooses the other.",
                side(other_side(tone)),
                beside(level),
                side(tone),
                side(tone)
            ),
        ),
    }
}

fn beside(level: Decibels) -> String {
    if level.0.abs() < 1.0 {
        "as loud as".into()
    } else {
        let than = if level.0 < 0.0 { "quieter" } else { "louder" };
        format!("{:.0} dB {than} than", level.0.abs())
    }
}

fn side(channel: ChannelUsed) -> &'static str {
    if channel == ChannelUsed::Left {
        "left"
    } else {
        "right"
    }
}

fn other_side(channel: ChannelUsed) -> ChannelUsed {
    if channel == ChannelUsed::Left {
        ChannelUsed::Right
    } else {
        ChannelUsed::Left
    }
}

fn wrong_tone_cautions(wrong: WrongTone, say: &mut impl FnMut(CautionCode, String)) {
    // A spectrum tells no more than whole hertz while the tone wavers.
    let heard = Hertz(wrong.heard.0.round());
    say(
        CautionCode::ToneNotFound,
        format!(
            "A steady tone of {heard} was heard, which is outside −20 … +25 % of the reference."
        ),
    );
    if let Likely::Hum(hum) = wrong.likely {
        say(
            CautionCode::Hum,
            format!(
                "{heard} looks like mains hum ({hum}). Only a hint: if it was recorded with the tape, \
                 and not picked up now, the speed is about {:+.1} % off.",
                100.0 * (wrong.heard.0 / hum.0 - 1.0)
            ),
        );
    }
    if matches!(wrong.likely, Likely::HalfSpeed | Likely::DoubleSpeed) {
        let what = if wrong.likely == Likely::HalfSpeed {
            "half"
        } else {
            "double"
        };
        say(
            CautionCode::HalfOrDoubleSpeed,
            format!("{heard} is the reference at {what} speed; check the speed switch."),
        );
    }
}

fn speed_cautions(
    stretch: &Stretch,
    around: &Surroundings,
    got: &Measurement,
    say: &mut impl FnMut(CautionCode, String),
) {
    reference_cautions(around.conditions, say);
    let measured = got.speed.and_then(|speed| speed.measured);
    if let Some((measured, nominal)) = measured.zip(around.nominal) {
        let is_open = around.conditions.nominal.is_open();
        if let Some(Problem::Ambiguous { taken, other }) =
            ambiguous(measured, nominal).filter(|_| is_open)
        {
            // The mean of a sweep is nothing that the machine runs at.
            let means = if around.is_swept {
                format!(
                    "{taken} is taken here, {other} would do as well, and where right speed lies holds for the one that is taken."
                )
            } else {
                let means = |tone: Hertz| off_by(measured, tone);
                format!(
                    "By {taken}, which is taken here, the machine is {}; by {other} it would be {}.",
                    means(taken),
                    means(other)
                )
            };
            say(
                CautionCode::ReferenceAmbiguous,
                format!(
                    "Which tone does the tape carry? {means} Look at the tape's label, then say --reference tone:{} or tone:{}.",
                    taken.0, other.0
                ),
            );
        }
        if !around.is_swept && mains_mismatch(measured, nominal).is_some() {
            say(
                CautionCode::MainsFrequencyMismatch,
                "The speed is off by the ratio of 50 and 60 Hz; a synchronous motor on the other mains frequency does that.".into(),
            );
        }
    }
    if stretch.moves > 0 {
        say(
            CautionCode::SpeedMoved,
            format!(
                "The speed was moved {} during this stretch.",
                times(stretch.moves)
            ),
        );
    }
    let too_short = got.speed.is_some_and(|speed| speed.uncertainty.is_none());
    if too_short || got.flutter.weighted_rms.is_none() && got.flutter.band_limit.is_none() {
        say(
            CautionCode::RecordTooShort,
            "Too short for every figure and its uncertainty; ten seconds settle the filters, thirty are better.".into(),
        );
    }
    if let Some(limit) = got.flutter.band_limit {
        say(
            CautionCode::ToneTooLow,
            format!(
                "The tone is too low, or too near half the sample rate, for flutter beyond {limit:.0}; what is weighted or unweighted ends there."
            ),
        );
    }
    let drifting = got.drift.is_some_and(|drift| {
        let known = drift
            .uncertainty_percent_per_minute
            .unwrap_or(f64::INFINITY);
        let over_all = drift.percent_per_minute.abs() * got.duration.0 / 60.0;
        drift.percent_per_minute.abs() > known && over_all > 0.05
    });
    if drifting && stretch.moves == 0 {
        let falls = got
            .drift
            .is_some_and(|drift| drift.percent_per_minute < 0.0);
        say(
            CautionCode::Drifting,
            if falls {
                "The speed falls: in a battery machine flat cells or a sagging supply come first; else let it warm up and measure again."
            } else {
                "The speed drifts; let the machine warm up and measure again."
            }
            .into(),
        );
    }
    heavy_wow(stretch, around, say);
}

/// A machine in fair order has a tenth of that (common practice, no source).
const HEAVY_WOW: Percent = Percent(0.5);

fn heavy_wow(stretch: &Stretch, around: &Surroundings, say: &mut impl FnMut(CautionCode, String)) {
    let Some((wow, nominal)) = wow(stretch).zip(around.nominal) else {
        return;
    };
    let rms = Percent(wow.rms_hz * around.conditions.percent_per_hz(nominal));
    if rms >= HEAVY_WOW {
        say(
            CautionCode::HeavyWow,
            format!(
                "Heavy wow: about {:.1} % at {:.1} Hz (RMS); look at the belt, the pinch roller and the pulleys first.",
                rms.0, wow.hz
            ),
        );
    }
}

fn times(count: u64) -> String {
    match count {
        1 => "once".into(),
        2 => "twice".into(),
        more => format!("{more} times"),
    }
}
