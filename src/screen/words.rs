//! Figures and troubles in words.

use super::look::Look;
use crate::readings::{
    ClockSource, Likely, Problem, Reading, ReferenceKind, SampleClock, ToneState, WrongTone,
};
pub(super) use crate::report::numbers::signed;
use crate::report::numbers::{self, rounded_up};
pub(super) use crate::report::{channel, noun};
use crate::report::{clause, off_by, trouble};
use crate::units::{Decibels, Hertz, Percent, Seconds};

/// An uncertainty with its sign.
pub(super) fn plus_minus(look: Look, value: Percent) -> String {
    format!("{}{}", look.plus_minus(), rounded_up(value.0))
}

/// A value with its ±, to the places of that.
pub(super) fn with_uncertainty(look: Look, value: f64, known: Option<Percent>) -> String {
    let text = numbers::with_uncertainty(value, known.map(|known| known.0), true);
    text.replace('±', look.plus_minus())
}

/// The figure of the sample clock that is in force, in a word or two.
pub(super) fn clock_in_force(look: Look, clock: &SampleClock) -> String {
    let uncertainty = clock.uncertainty.0.ceil();
    format!("clock {}{uncertainty:.0} ppm", look.plus_minus())
}

/// The same with all that is known of it.
pub(super) fn clock_sentence(look: Look, clock: &SampleClock) -> String {
    let known = format!(
        "{:+.1} ppm {}{:.1} ppm",
        clock.error.0,
        look.plus_minus(),
        clock.uncertainty.0
    );
    match clock.source {
        ClockSource::Default => format!(
            "Sample clock. Not measured, so {known} is assumed (common practice); tapewright \
             clock measures it."
        ),
        ClockSource::Option => {
            format!(
                "Sample clock. As said on the command line it is off by {known}; its error is taken out."
            )
        }
        ClockSource::Measured => format!(
            "Sample clock. As measured for this input it is off by {known}; its error is taken \
             out. The {} is that of the measurement and of other days.",
            look.plus_minus()
        ),
    }
}

/// Below the last of 24 bits, 20 log10(2^-24), nothing is left of a sound.
const SILENT: Decibels = Decibels(-144.5);

/// A level, or words for silence.
pub(super) fn level(level: Decibels) -> String {
    if level.0 > SILENT.0 {
        format!("{:.1} dB", level.0)
    } else {
        "silent".to_owned()
    }
}

/// How long until a figure is valid.
pub(super) fn not_yet(valid_in: Option<Seconds>) -> String {
    match valid_in {
        Some(wait) => format!("not yet, {:.0} s", wait.0.ceil()),
        None => "not yet".to_owned(),
    }
}

/// The state of the tone in a word or two.
pub(super) fn tone(state: ToneState) -> &'static str {
    match state {
        ToneState::Searching => "no tone yet",
        ToneState::Locked => "tone found",
        ToneState::Lost => "TONE LOST",
        ToneState::Wrong(_) => "WRONG TONE",
    }
}

/// A trouble: what is the matter, its likely cause, and what to do.
pub(super) fn problem(
    problem: &Problem,
    reading: &Reading,
    nominal: Option<Hertz>,
    kind: ReferenceKind,
) -> String {
    match *problem {
        Problem::WrongTone(wrong) => wrong_tone(wrong, nominal),
        Problem::Ambiguous { taken, other } => ambiguous(taken, other, reading),
        _ => clause(&trouble(problem, kind)),
    }
}

fn wrong_tone(wrong: WrongTone, nominal: Option<Hertz>) -> String {
    let heard = format!("{:.0} Hz", wrong.heard.0);
    let wanted = nominal.map_or_else(String::new, |hz| format!(", not {hz}"));
    match wrong.likely {
        Likely::HalfSpeed => format!(
            "wrong tone: {heard} is half of what is expected; machine or tape is at half speed?"
        ),
        Likely::DoubleSpeed => format!(
            "wrong tone: {heard} is twice what is expected; machine or tape is at double speed?"
        ),
        Likely::MainsHigh => {
            format!("wrong tone: {heard} is 6/5 of what is expected; a 50 Hz motor on 60 Hz mains?")
        }
        Likely::MainsLow => {
            format!("wrong tone: {heard} is 5/6 of what is expected; a 60 Hz motor on 50 Hz mains?")
        }
        Likely::OtherTone(other) => format!(
            "wrong tone: {heard} looks like {other}{wanted}; press 2 if the tape says {other}"
        ),
        Likely::Hum(mains) => {
            format!(
                "only hum at {mains}: check the cable's screen and ground; is the tape playing?"
            )
        }
        Likely::Unknown => {
            format!("wrong tone: {heard} heard{wanted}; check the tape's label and --reference")
        }
    }
}

/// Both tones with what each would mean; the user chooses. The keys come first,
/// for that is what must be read where room is short.
fn ambiguous(taken: Hertz, other: Hertz, reading: &Reading) -> String {
    let Some(measured) = reading.speed.and_then(|speed| speed.measured) else {
        return format!("which tone? 1: {taken}, 2: {other}; look at the tape's label");
    };
    let means = |tone: Hertz| off_by(measured, tone);
    format!(
        "which tone? 1: {taken}, {}; 2: {other}, {}; look at the tape's label, {:.0} Hz is heard",
        means(taken),
        means(other),
        measured.0
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::ChannelUsed;
    use crate::screen::specimen;

    #[test]
    fn an_ambiguous_tone_says_what_each_would_mean() {
        // 3055 Hz: 1.8 % fast of 3000, 3.0 % slow of 3150.
        let mut reading = specimen::reading(0.0);
        reading.speed.as_mut().unwrap().measured = Some(Hertz(3055.0));
        let text = problem(&specimen::ambiguous(), &reading, None, ReferenceKind::Tone);
        assert!(text.contains("1: 3000 Hz, 1.8 % fast"), "{text}");
        assert!(text.contains("2: 3150 Hz, 3.0 % slow"), "{text}");
    }

    #[test]
    fn every_trouble_names_a_way_out() {
        let wrong = |likely| {
            Problem::WrongTone(WrongTone {
                heard: Hertz(3001.0),
                likely,
            })
        };
        let all = [
            Problem::NoSignal,
            Problem::NoTone,
            Problem::ToneLost,
            wrong(Likely::HalfSpeed),
            wrong(Likely::DoubleSpeed),
            wrong(Likely::MainsHigh),
            wrong(Likely::MainsLow),
            wrong(Likely::OtherTone(Hertz(3000.0))),
            wrong(Likely::Hum(Hertz(50.0))),
            wrong(Likely::Unknown),
            Problem::Clipped,
            Problem::Hum {
                mains: Hertz(50.0),
                level: Decibels(-20.0),
            },
            Problem::LowSnr(Decibels(12.0)),
            Problem::LowLevel(Decibels(-60.0)),
            Problem::Dropouts(3),
            Problem::OneChannel(ChannelUsed::Left),
            Problem::ChannelTaken(ChannelUsed::Left),
            Problem::OtherSound {
                tone: ChannelUsed::Right,
                heard: Hertz(3000.0),
            },
            Problem::ChannelsDisagree,
            specimen::ambiguous(),
        ];
        let reading = specimen::reading(0.0);
        let mut seen = Vec::new();
        for trouble in &all {
            let text = problem(trouble, &reading, Some(Hertz(3150.0)), ReferenceKind::Tone);
            // Two rows of the smallest screen, three for the longest.
            assert!(text.chars().count() <= 144, "{text}");
            assert!(text.contains(';') || text.contains(':'), "{text}");
            assert!(!seen.contains(&text), "{text}");
            seen.push(text);
        }
    }
}
