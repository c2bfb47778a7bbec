//! The ticks of `tapewright watch`: which output, the caution before the first
//! one, and what they follow.

use super::cli::WatchOptions;
use super::{Exit, Failure};
use crate::audio::SoundError;
use crate::audio::ticks::Ticks;
use crate::screen::ScreenState;
use crate::units::Decibels;

/// Shown before the first tick.
const CAUTION: &str = "\
Caution: ticks follow in 3 s. In headphones start at the lowest level. They
must not reach the machine, the tape or the sound input: choose an output that
is not in the signal path. x mutes them.
";

/// Which output is to tick, if any; without a name there is none, for which of
/// them lies in the signal path only the user knows.
pub(super) fn output(options: &WatchOptions) -> Result<Option<&str>, Failure> {
    if !options.by_ear.ticks {
        return Ok(None);
    }
    if options.fast {
        return Err(Failure::new(
            Exit::Usage,
            "a recording read as fast as it goes gives no hand anything to follow, so leave out --ticks or --fast",
        ));
    }
    let named = options.by_ear.output.as_deref().map(str::trim);
    named.filter(|name| !name.is_empty()).map(Some).ok_or_else(|| {
        Failure::new(
            Exit::Usage,
            "--ticks needs --output NAME-OR-ID: which sound output lies in the signal path only you can know, so name one that does not (tapewright inputs lists them)",
        )
    })
}

/// Shows the caution and opens the output; nothing sounds before the screen
/// has stood for a while.
pub(super) fn start(output: Option<&str>, level: f64) -> Result<Option<Ticks>, Failure> {
    let Some(output) = output else {
        return Ok(None);
    };
    eprint!("{CAUTION}");
    Ticks::start(output, Decibels(level))
        .map(Some)
        .map_err(|error| {
            let sentence = match error {
                SoundError::NoOutput => {
                    "this computer has no sound output; connect one, or leave out --ticks"
                        .to_owned()
                }
                other => other.to_string(),
            };
            Failure::new(Exit::Sound, sentence)
        })
}

/// The caution again on the screen, in short.
pub(super) fn caution(ticks: &Ticks) -> String {
    format!(
        "CAUTION: ticks in 3 s on {}: volume at its lowest first; not into the machine or the input; x mutes",
        ticks.name()
    )
}

/// Says what the screen shows; true where that has changed.
pub(super) fn follow(ticks: &Ticks, state: &mut ScreenState) -> bool {
    let (beat, changed) = state.follow_ticks(ticks.is_lost());
    ticks.say(beat);
    changed
}
