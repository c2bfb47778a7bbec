//! What `tapewright watch` lets be heard: which output, the caution before the
//! first sound, and what it follows.

use std::sync::Arc;

use super::cli::SittingOptions;
use super::{Exit, Failure};
use crate::audio::SoundError;
use crate::audio::listen::Listen;
use crate::audio::ticks::Ticks;
use crate::readings::Target;
use crate::readings::matching::Copy;
use crate::screen::{Listening, ScreenState, TicksShown};
use crate::units::Decibels;

/// What is heard.
pub(super) enum ByEar {
    /// Ticks by rhythm.
    Ticks(Ticks),
    /// The copy beside the tape.
    Copy(Listen),
}

/// What is to be heard, out of which output, how loud.
pub(super) enum Wish<'a> {
    /// Ticks.
    Ticks(&'a str, Decibels),
    /// The copy.
    Copy(&'a str, Decibels),
}

/// What the command line asks for, if anything; without a name there is no
/// output, for which of them lies in the signal path only the user knows.
pub(super) fn wish(options: &SittingOptions, fast: bool) -> Result<Option<Wish<'_>>, Failure> {
    let by_ear = &options.by_ear;
    let usage = |text: String| Err(Failure::new(Exit::Usage, text));
    let named = by_ear.output.as_deref().map(str::trim);
    let named = named.filter(|name| !name.is_empty());
    let flag = match (by_ear.ticks, by_ear.listen) {
        (Some(_), _) => "--ticks",
        (None, Some(_)) => "--listen",
        (None, None) if by_ear.output.is_some() => {
            return usage(
                "--output says where something sounds; add --ticks, or --listen for the copy"
                    .to_owned(),
            );
        }
        (None, None) => return Ok(None),
    };
    if fast {
        return usage(format!(
            "a recording read as fast as it goes gives no hand anything to follow, so leave out {flag} or --fast"
        ));
    }
    if by_ear.listen.is_some()
        && options.reference.reference().kind() != crate::readings::ReferenceKind::Recording
    {
        return usage(
            "--listen plays the digital copy beside the tape; name it with --reference recording:FILE"
                .to_owned(),
        );
    }
    let Some(output) = named else {
        return usage(format!(
            "{flag} needs --output NAME-OR-ID: which sound output lies in the signal path only you can know, so name one that does not (tapewright inputs lists them)"
        ));
    };
    let level = by_ear.ticks.or(by_ear.listen).unwrap_or_default();
    let wish = if by_ear.ticks.is_some() {
        Wish::Ticks
    } else {
        Wish::Copy
    };
    Ok(Some(wish(output, Decibels(level))))
}

/// Shows the caution and opens the output; nothing sounds before the screen
/// has stood for a while.
pub(super) fn start(wish: Option<Wish>, target: &Target) -> Result<Option<ByEar>, Failure> {
    let started = match (wish, target) {
        (Some(Wish::Ticks(output, level)), _) => {
            caution_first("ticks follow", "them");
            Ticks::start(output, level).map(ByEar::Ticks)
        }
        (Some(Wish::Copy(output, level)), Target::Copy(copy)) => {
            caution_first("the copy follows", "it");
            listen(output, copy, level)
        }
        // A wish for the copy was refused where there is none.
        (None, _) | (Some(Wish::Copy(..)), Target::Frequency | Target::Time(_)) => {
            return Ok(None);
        }
    };
    started.map(Some).map_err(|error| {
        let sentence = match error {
            SoundError::NoOutput => {
                "this computer has no sound output; connect one, or leave out --ticks and --listen"
                    .to_owned()
            }
            other => other.to_string(),
        };
        Failure::new(Exit::Sound, sentence)
    })
}

fn listen(output: &str, copy: &Arc<Copy>, level: Decibels) -> Result<ByEar, SoundError> {
    Listen::start(output, copy, level).map(ByEar::Copy)
}

/// Shown before the first sound.
fn caution_first(what: &str, it: &str) {
    super::say::aside(&format!(
        "\
Caution: {what} in 3 s. In headphones start at the lowest level. What you hear
must not reach the machine, the tape or the sound input: choose an output that
is not in the signal path. x mutes {it}.
"
    ));
}

impl ByEar {
    /// Tells the screen that something is to be heard.
    pub fn announce(&self, state: &mut ScreenState) {
        match self {
            Self::Ticks(_) => state.ticks = Some(TicksShown::default()),
            Self::Copy(_) => state.listening = Some(Listening::default()),
        }
    }

    /// The caution again on the screen, in short.
    pub fn caution(&self) -> String {
        let (what, name) = match self {
            Self::Ticks(ticks) => ("ticks", ticks.name()),
            Self::Copy(copy) => ("copy", copy.name()),
        };
        format!(
            "CAUTION: {what} in 3 s on {name}: volume at its lowest first; not into the machine or the input; x mutes"
        )
    }

    /// Says what the screen shows; true where that has changed.
    pub fn follow(&self, state: &mut ScreenState) -> bool {
        let followed = self.say_what_is_shown(state);
        let why = match self {
            Self::Ticks(ticks) => ticks.why_it_waits(),
            Self::Copy(copy) => copy.why_it_waits(),
        };
        let Some(why) = why else { return followed };
        state.message = Some(why);
        true
    }

    fn say_what_is_shown(&self, state: &mut ScreenState) -> bool {
        match self {
            Self::Ticks(ticks) => {
                let (beat, changed) = state.follow_ticks(ticks.is_lost());
                ticks.say(beat);
                changed
            }
            Self::Copy(copy) => {
                let (place, changed) = state.follow_listening(copy.is_lost());
                copy.say(place);
                changed
            }
        }
    }
}
