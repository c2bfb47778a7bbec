//! Plays generated samples out of a sound output until the last one is out.

use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::thread;
use std::time::Duration;

use super::feed::FillSamples;
use super::found::{self, FoundDevice};
use super::output_stream::{OutputStream, QUIET};
use super::quiet::QuietStderr;
use super::sound_error::{Direction, SoundError};
use super::source::StreamFormat;
use crate::units::Seconds;

/// Length of block that is asked for. Nobody waits for these samples, but a
/// tone that is recorded must not break when the computer is busy.
const BLOCK: Seconds = Seconds(0.15);

/// How often the caller hears of the progress.
const TICK: Duration = Duration::from_millis(50);

/// Added to what the system says of its latency before the stream is closed.
const MARGIN: Duration = Duration::from_millis(150);

/// Plays out of the output with this id or name, or out of the default one.
///
/// `make` is called once with the rate and channels that the output has taken
/// and returns what fills the buffers. `go_on` is called about twenty times a
/// second with the time played so far; when it returns false, playing stops
/// at once. Returns when the last sample is out, with what there is to say of
/// it.
pub fn play(
    output: Option<&str>,
    make: impl FnOnce(StreamFormat) -> FillSamples,
    mut go_on: impl FnMut(Seconds) -> bool,
) -> Result<Played, SoundError> {
    let running = {
        let _quiet = QuietStderr::start();
        let found = found::find(Direction::Output, output)?;
        let stream = OutputStream::start(&found, BLOCK, make)?;
        Running { found, stream }
    };
    running.until_done(&mut go_on)
}

/// How playing went.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Played {
    /// What was played.
    pub time: Seconds,
    /// Times that the output ran dry for a moment: each is a break in the
    /// tone, and what was recorded of it is no reference.
    pub breaks: u64,
}

/// An output and what plays on it.
struct Running {
    found: FoundDevice,
    stream: OutputStream,
}

impl Running {
    fn until_done(mut self, go_on: &mut dyn FnMut(Seconds) -> bool) -> Result<Played, SoundError> {
        let progress = Arc::clone(&self.stream.progress);
        while !progress.done.load(Ordering::Acquire) {
            if self.stream.is_lost() {
                // Ending it here would wait for what no longer answers.
                self.stream.close();
                return Err(lost(&self.found, progress.signs.frames() > 0));
            }
            if !go_on(self.played().time) {
                return Ok(self.played());
            }
            thread::sleep(TICK);
        }
        // Breaks after the last sample are none.
        let played = self.played();
        let latency = Duration::from_micros(progress.latency_us.load(Ordering::Acquire));
        thread::sleep(latency.min(QUIET) + MARGIN);
        Ok(played)
    }

    fn played(&self) -> Played {
        let signs = &self.stream.progress.signs;
        Played {
            time: Seconds(signs.frames() as f64 / f64::from(self.stream.format.rate_hz)),
            breaks: signs.overruns(),
        }
    }
}

fn lost(found: &FoundDevice, had_played: bool) -> SoundError {
    let direction = Direction::Output;
    let name = found.name.clone();
    if had_played {
        SoundError::Gone { direction, name }
    } else {
        SoundError::Silent { direction, name }
    }
}
