//! What is the matter with a signal, in sentences: of a recording as of what
//! plays.

use super::words::{channel, counted, other_side, side};
use crate::readings::{Caution, Problem, ReferenceKind};
use crate::units::Hertz;

/// A sentence as it stands within a line of the screen.
pub fn clause(sentence: &str) -> String {
    let mut letters = sentence.trim_end_matches('.').chars();
    let first = letters.next().into_iter().flat_map(char::to_lowercase);
    first.chain(letters.clone()).collect()
}

/// As a sentence begins.
pub fn capital(clause: &str) -> String {
    let mut letters = clause.chars();
    let first = letters.next().into_iter().flat_map(char::to_uppercase);
    first.chain(letters.clone()).collect()
}

/// What a tone that is heard means where this one is on the tape.
pub fn off_by(heard: Hertz, tone: Hertz) -> String {
    let percent = (heard.0 / tone.0 - 1.0) * 100.0;
    let way = if percent < 0.0 { "slow" } else { "fast" };
    format!("{:.1} % {way}", percent.abs())
}

/// What a kind of reference is called where something is said about its sound.
pub fn noun(kind: ReferenceKind) -> &'static str {
    match kind {
        ReferenceKind::Recording => "music",
        other => other.name(),
    }
}

/// A trouble: what is the matter, its likely cause, and what to do.
pub fn trouble(problem: &Problem, kind: ReferenceKind) -> String {
    let what = noun(kind);
    match *problem {
        Problem::NoSignal => "No signal: is the tape playing? Check the machine's output, the \
            cable, the channel, the input gain."
            .into(),
        Problem::NoTone if kind == ReferenceKind::Note => "Sound but no single held note near the \
            one that was named: chords, tunes and speech cannot be read."
            .into(),
        Problem::NoTone => "Sound but no steady tone: is this the tone part of the test tape? \
            Music and speech cannot be read."
            .into(),
        Problem::ToneLost => format!(
            "The {what} is lost: end of the {what}, tape stopped, or a bad contact; wiggle the \
             cable, rewind."
        ),
        Problem::WrongTone(wrong) => Caution::WrongTone(wrong.heard).to_string(),
        Problem::Clipped => "Clipped: too loud for the input; turn the output or the input gain \
            down."
            .into(),
        Problem::Hum { mains, level } => {
            let loud = if level.0 < 0.0 {
                format!("{:.0} dB below the {what}", -level.0)
            } else {
                format!("drowns the {what}")
            };
            format!(
                "Hum of {mains} mains, {loud}: look for an earth loop, an open chassis or a broken \
                 screen, and keep the cable off mains leads."
            )
        }
        Problem::LowSnr(snr) => format!(
            "Noise only {:.0} dB below the {what}: clean the heads, raise the level, switch noise \
             reduction off.",
            snr.0
        ),
        Problem::LowLevel(level) => format!(
            "The {what} is very quiet ({level:.0}): turn the input gain up, or use the line output."
        ),
        Problem::Dropouts(count) => format!(
            "{} in 10 s: clean the heads and pinch roller, or the tape is worn.",
            capital(&counted(count, "dropout", "dropouts"))
        ),
        Problem::OneChannel(used) => format!(
            "The {what} is on the {} only: dirty head, bad contact, or a mono cable; the reading \
             itself is good.",
            channel(used)
        ),
        Problem::OtherSound { tone, heard } => format!(
            "The {} channel carries something else: about {heard}; another source? The figures \
             are of the {}, --channel chooses the other.",
            other_side(tone),
            side(tone)
        ),
        Problem::ChannelTaken(used) => format!(
            "Left and right read this note a little apart: the {} is read, the better one or both \
             alike; the other with --channel.",
            channel(used)
        ),
        Problem::ChannelsDisagree => match kind {
            ReferenceKind::Tone => "Left and right do not carry the same speed; the figures are \
                of both. Is one another source? Choose one with --channel."
                .into(),
            ReferenceKind::Recording => "Left and right do not carry the same music: if only one \
                is the music of the copy, choose it with --channel."
                .into(),
            _ => format!(
                "Left and right do not carry the same {what}, so none was read; choose one with \
                 --channel."
            ),
        },
        Problem::Ambiguous { taken, other } => which_tone(taken, other, None),
    }
}

/// Both tones with what each would mean; nothing can be said before one is chosen.
pub(super) fn which_tone(taken: Hertz, other: Hertz, heard: Option<Hertz>) -> String {
    let means = match heard {
        Some(heard) => format!(
            "By {taken}, which is taken here, the machine is {}; by {other} it would be {}.",
            off_by(heard, taken),
            off_by(heard, other)
        ),
        None => format!(
            "{taken} is taken here, {other} would do as well, and where right speed lies holds for \
             the one that is taken."
        ),
    };
    format!(
        "Which tone does the tape carry? {means} Look at the tape's label, then say --reference \
         tone:{} or tone:{}.",
        taken.0, other.0
    )
}
