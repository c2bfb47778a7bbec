//! What must be said of a note.

use crate::readings::found::NoteFigures;
use crate::readings::values::{Caution, CautionCode, Likely, WrongTone};
use crate::signal::harmonics::tracker::NoteState;
use crate::units::Hertz;

/// Nothing that could be the note.
pub const NO_NOTE: &str = "No single held note was found near the one that was named: music, chords \
    and short notes are none; choose the part that holds it with --from and --to.";

/// Two channels, two things.
pub const TWO_THINGS: &str = "Left and right carry two different things, so no note was read; \
    choose the channel that holds it with --channel.";

/// What is heard in place of the note.
pub fn wrong_note(wrong: WrongTone, nominal: Hertz, say: &mut impl FnMut(CautionCode, String)) {
    let heard = Hertz(wrong.heard.0.round());
    let interval = interval(wrong.heard.0 / nominal.0);
    say(
        CautionCode::ToneNotFound,
        format!(
            "A note of {heard} was heard, {interval} the one that was named ({nominal:.1}); name the \
             note that is played."
        ),
    );
    let (half_or_double, organ) = match wrong.likely {
        Likely::HalfSpeed => (
            "half",
            " A 16-foot stop sounds an octave below its key: then name the lower note.",
        ),
        Likely::DoubleSpeed => ("double", ""),
        _ => return,
    };
    say(
        CautionCode::HalfOrDoubleSpeed,
        format!(
            "{heard} is an octave off: another note, or this one at {half_or_double} speed; check \
             the speed switch.{organ}"
        ),
    );
}

/// A note that lies nearer to another one may be that one on a machine that is
/// less off.
pub fn nearer_note(ratio: f64) -> Option<Caution> {
    let semitones = (12.0 * ratio.log2()).round();
    let off = 100.0 * (ratio / (semitones / 12.0).exp2() - 1.0);
    (semitones != 0.0).then(|| Caution {
        code: CautionCode::ReferenceAmbiguous,
        text: format!(
            "What was heard lies nearer to the note {} the one that was named, from which it is \
             {off:+.2} %; make sure which of them is played.",
            interval(ratio)
        ),
    })
}

fn interval(ratio: f64) -> String {
    let semitones = (12.0 * ratio.log2()).round() as i32;
    let side = if semitones < 0 { "below" } else { "above" };
    match semitones.abs() {
        12 => format!("an octave {side}"),
        24 => format!("two octaves {side}"),
        1 => format!("a semitone {side}"),
        count => format!("{count} semitones {side}"),
    }
}

/// What a reading by a note needs said.
pub fn of_note(figures: &NoteFigures) -> Vec<Caution> {
    let mut cautions = vec![Caution {
        code: CautionCode::ReferenceGivesNoFlutter,
        text: "A held note gives no wow and flutter: a player's unsteadiness cannot be told from \
               the machine's; use a test tone for them."
            .into(),
    }];
    if let Some(vibrato) = figures.vibrato {
        cautions.push(Caution {
            code: CautionCode::Vibrato,
            text: format!(
                "The pitch wavers {:.1} times a second by ±{:.2} % (vibrato of the note or wow of \
                 the machine); the speed is its mean.",
                vibrato.rate.0, vibrato.depth.0
            ),
        });
    }
    if figures.stiffness > 0.0 {
        cautions.push(Caution {
            code: CautionCode::PartialsStretched,
            text: format!(
                "The partials are stretched, as a stiff string's are (B = {:.6}); the speed is \
                 that of the first partial.",
                figures.stiffness
            ),
        });
    }
    cautions
}

/// Voices further apart than this, relative, are spoken of.
const NAMED_WIDTH: f64 = 1e-4;

/// What must be said of a note that is not of one voice.
pub fn of_voices(state: &NoteState) -> Vec<Caution> {
    let mut cautions = Vec::new();
    if let Some(taken) = state.taken {
        let [this, other] = [["left", "right"], ["right", "left"]][taken.channel];
        let why = if taken.clearer {
            "which stands clearer above its noise"
        } else {
            "both being as clear"
        };
        cautions.push(Caution {
            code: CautionCode::ChannelsDisagree,
            text: format!(
                "The {this} channel was read, {why}; the {other} one reads this note {:+.3} % from it \
                 (other voices, or a worse channel). The ± reaches it; take the other with --channel.",
                100.0 * taken.apart
            ),
        });
    }
    if state.width > NAMED_WIDTH {
        cautions.push(Caution {
            code: CautionCode::VoicesApart,
            text: format!(
                "The note has voices about ±{:.2} % apart that beat with one another; the speed is \
                 that of their middle, and the ± reaches them.",
                100.0 * state.width
            ),
        });
    }
    if state.has_stops {
        cautions.push(Caution {
            code: CautionCode::ReferenceAmbiguous,
            text: "With the named note sounds what an organ's 16-foot and quint stops add to it, an \
                   octave or two below or a fifth above; if no organ plays, make sure that the note \
                   is not named too high."
                .into(),
        });
    }
    cautions
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_note_nearer_to_another_is_asked_about() {
        assert!(nearer_note(1.02).is_none() && nearer_note(0.98).is_none());
        // A4, 1 % fast, held against A sharp.
        let caution = nearer_note(1.01 / (1.0f64 / 12.0).exp2()).expect("nearer to A");
        assert!(
            caution.text.contains("a semitone below"),
            "{}",
            caution.text
        );
        assert!(caution.text.contains("+1.00 %"), "{}", caution.text);
    }
}
