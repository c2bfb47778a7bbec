//! Ticks out of a sound output for somebody who cannot look: a long-running
//! output that plays a [`Rhythm`], told what to say through atomics.
//!
//! The output is opened before anything else happens, so that one that cannot
//! be had is an error on the command line. After that it never gives up: a
//! lost output is reported and looked for until the same one is back.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc::{self, RecvTimeoutError, Sender};
use std::thread;
use std::time::{Duration, Instant};

use super::feed::FillSamples;
use super::found::{self, Found};
use super::output_stream::OutputStream;
use super::quiet::QuietStderr;
use super::sound_error::{Direction, SoundError};
use super::source::StreamFormat;
use crate::signal::rhythm::{Beat, Rhythm};
use crate::units::{Decibels, Seconds};

/// Length of block that is asked for: a hand at the trimmer waits for two of
/// them.
const BLOCK: Seconds = Seconds(0.02);

/// Nothing sounds for so long after the first word, so that the caution on
/// the screen is read first.
pub const LEAD_IN: Seconds = Seconds(3.0);

/// Whoever has not been heard of for so long has nothing to say: a screen
/// that hangs must not go on saying what was.
const STALE: Seconds = Seconds(1.0);

/// The sound system must answer within this time.
const ANSWER: Duration = Duration::from_secs(10);

const LOOK: Duration = Duration::from_millis(50);
const FIRST_RETRY: Duration = Duration::from_millis(300);
const LAST_RETRY: Duration = Duration::from_secs(2);

/// Nearness is handed over in so many steps.
const STEPS: f64 = 1000.0;

/// What is to be said, for the callback to take without waiting: one word of
/// memory, so that it is never half old and half new.
///
/// Lowest byte: which beat. Next two bytes: nearness in steps. Upper half:
/// counts how often something was said.
#[derive(Debug, Default)]
pub struct Said(AtomicU64);

impl Said {
    /// Says something; to be repeated several times a second, also where it
    /// stays the same. Only one thread may speak.
    pub fn say(&self, beat: Beat) {
        let (kind, nearness) = match beat {
            Beat::Quiet => (0, 0.0),
            Beat::Slow(nearness) => (1, nearness),
            Beat::Fast(nearness) => (2, nearness),
            Beat::Right => (3, 0.0),
            Beat::Settled => (4, 0.0),
            Beat::Stop => (5, 0.0),
        };
        let steps = (nearness.clamp(0.0, 1.0) * STEPS).round() as u64;
        let count = (self.0.load(Ordering::Relaxed) >> 32) + 1;
        self.0
            .store(count << 32 | steps << 8 | kind, Ordering::Release);
    }

    /// How often something was said, wrapping round, and what it was.
    fn newest(&self) -> (u64, Beat) {
        let word = self.0.load(Ordering::Acquire);
        let nearness = ((word >> 8) & 0xffff) as f64 / STEPS;
        let beat = match word & 0xff {
            1 => Beat::Slow(nearness),
            2 => Beat::Fast(nearness),
            3 => Beat::Right,
            4 => Beat::Settled,
            5 => Beat::Stop,
            _ => Beat::Quiet,
        };
        (word >> 32, beat)
    }
}

/// Fills the buffers of an output of this format with the rhythm of what was
/// said last, the same in all channels. `lead_in` of silence comes first,
/// from the first word on.
pub fn filler(
    said: Arc<Said>,
    format: StreamFormat,
    level: Decibels,
    lead_in: Seconds,
) -> FillSamples {
    let rate_hz = f64::from(format.rate_hz);
    let channels = usize::from(format.channels.max(1));
    let mut rhythm = Rhythm::new(rate_hz, level.amplitude_ratio());
    let mut waits = (lead_in.0 * rate_hz) as u64;
    let stale = (STALE.0 * rate_hz) as u64;
    let mut heard = 0;
    let mut silent_for = 0;
    Box::new(move |buffer| {
        let frames = (buffer.len() / channels) as u64;
        let (count, beat) = said.newest();
        silent_for = if count == heard {
            silent_for + frames
        } else {
            0
        };
        heard = count;
        if count > 0 {
            waits = waits.saturating_sub(frames);
        }
        rhythm.say(if waits > 0 || silent_for > stale {
            Beat::Quiet
        } else {
            beat
        });
        for frame in buffer.chunks_mut(channels) {
            frame.fill(rhythm.sample());
        }
        true
    })
}

/// Ticks that sound. Dropping it ends them.
#[derive(Debug)]
pub struct Ticks {
    name: String,
    shared: Arc<Shared>,
}

#[derive(Debug, Default)]
struct Shared {
    said: Arc<Said>,
    lost: AtomicBool,
    stop: AtomicBool,
}

impl Ticks {
    /// Opens the output with this id or name. Nothing sounds before something
    /// is said, and [`LEAD_IN`] from then on. Standard error stays quiet
    /// meanwhile; while the ticks run it is the caller's to keep quiet.
    pub fn start(output: &str, level: Decibels) -> Result<Self, SoundError> {
        let _quiet = QuietStderr::start();
        let shared = Arc::new(Shared::default());
        let (tell, told) = mpsc::channel();
        let wanted = output.to_owned();
        let of_thread = Arc::clone(&shared);
        thread::Builder::new()
            .name("ticks".to_owned())
            .spawn(move || run(&wanted, level, &of_thread, &tell))
            .map_err(|error| SoundError::Thread {
                direction: Direction::Output,
                reason: error.to_string(),
            })?;
        match told.recv_timeout(ANSWER) {
            Ok(Ok(name)) => Ok(Self { name, shared }),
            Ok(Err(error)) => Err(error),
            Err(RecvTimeoutError::Timeout | RecvTimeoutError::Disconnected) => {
                shared.stop.store(true, Ordering::Release);
                Err(SoundError::Silent {
                    direction: Direction::Output,
                    name: output.to_owned(),
                })
            }
        }
    }

    /// What the output is called.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Says something; to be repeated several times a second.
    pub fn say(&self, beat: Beat) {
        self.shared.said.say(beat);
    }

    /// The output is gone and waited for.
    pub fn is_lost(&self) -> bool {
        self.shared.lost.load(Ordering::Acquire)
    }
}

impl Drop for Ticks {
    /// Does not wait for the thread: a sound server that hangs must not keep
    /// the program from ending.
    fn drop(&mut self) {
        self.shared.said.say(Beat::Quiet);
        self.shared.stop.store(true, Ordering::Release);
    }
}

/// The thread that holds the output.
fn run(wanted: &str, level: Decibels, shared: &Shared, tell: &Sender<Result<String, SoundError>>) {
    let opened = found::find(Direction::Output, Some(wanted)).and_then(|found| {
        let stream = open(&found, level, shared, LEAD_IN)?;
        Ok((found, stream))
    });
    let (mut found, mut stream) = match opened {
        Ok(opened) => opened,
        Err(error) => {
            // Whoever asked may have given up waiting.
            let _ = tell.send(Err(error));
            return;
        }
    };
    if tell.send(Ok(found.name.clone())).is_err() {
        return;
    }
    loop {
        while !stream.is_lost() {
            if shared.stop.load(Ordering::Acquire) {
                stream.close();
                return;
            }
            thread::sleep(LOOK);
        }
        shared.lost.store(true, Ordering::Release);
        stream.close();
        let Some(again) = wait_for_return(&found, level, shared) else {
            return;
        };
        (found, stream) = again;
        shared.lost.store(false, Ordering::Release);
    }
}

fn open(
    found: &Found,
    level: Decibels,
    shared: &Shared,
    lead_in: Seconds,
) -> Result<OutputStream, SoundError> {
    let said = Arc::clone(&shared.said);
    OutputStream::start(found, BLOCK, |format| filler(said, format, level, lead_in))
}

/// Tries until the same output is back; `None` when it is to stop.
fn wait_for_return(
    lost: &Found,
    level: Decibels,
    shared: &Shared,
) -> Option<(Found, OutputStream)> {
    let mut pause = FIRST_RETRY;
    loop {
        let until = Instant::now() + pause;
        while Instant::now() < until {
            if shared.stop.load(Ordering::Acquire) {
                return None;
            }
            thread::sleep(LOOK);
        }
        let again = lost.again().and_then(|found| {
            let stream = open(&found, level, shared, Seconds(0.0))?;
            Ok((found, stream))
        });
        if let Ok(again) = again {
            return Some(again);
        }
        pause = (pause * 2).min(LAST_RETRY);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const STEREO: StreamFormat = StreamFormat {
        rate_hz: 48_000,
        channels: 2,
    };
    const LEVEL: Decibels = Decibels(-20.0);

    /// Whether anything sounds in so many seconds, in blocks of 10 ms.
    fn sounds(fill: &mut FillSamples, seconds: f64, mut before_each: impl FnMut()) -> bool {
        let mut anything = false;
        for _ in 0..(seconds * 100.0) as usize {
            before_each();
            let mut buffer = [0.0; 960];
            assert!(fill(&mut buffer), "ticks never end by themselves");
            anything |= buffer.iter().any(|sample| *sample != 0.0);
        }
        anything
    }

    #[test]
    fn what_is_said_arrives_whole() {
        let said = Said::default();
        assert_eq!(said.newest(), (0, Beat::Quiet));
        for (count, beat) in (1..).zip([
            Beat::Slow(0.25),
            Beat::Fast(1.0),
            Beat::Right,
            Beat::Settled,
            Beat::Stop,
            Beat::Quiet,
        ]) {
            said.say(beat);
            assert_eq!(said.newest(), (count, beat));
        }
    }

    #[test]
    fn nothing_sounds_before_the_caution_could_be_read() {
        let said = Arc::new(Said::default());
        let mut fill = filler(Arc::clone(&said), STEREO, LEVEL, LEAD_IN);
        assert!(!sounds(&mut fill, 10.0, || {}), "nobody has spoken");
        let speak = || said.say(Beat::Right);
        assert!(!sounds(&mut fill, LEAD_IN.0 - 0.1, speak));
        assert!(sounds(&mut fill, 0.5, speak));
    }

    #[test]
    fn a_screen_that_hangs_falls_silent() {
        let said = Arc::new(Said::default());
        let mut fill = filler(Arc::clone(&said), STEREO, LEVEL, Seconds(0.0));
        assert!(sounds(&mut fill, 1.0, || said.say(Beat::Right)));
        assert!(sounds(&mut fill, 1.0, || {}), "a moment is forgiven");
        assert!(!sounds(&mut fill, 5.0, || {}));
        assert!(sounds(&mut fill, 1.0, || said.say(Beat::Right)));
    }

    #[test]
    fn both_channels_carry_the_same_at_the_level_asked_for() {
        let said = Arc::new(Said::default());
        let mut fill = filler(Arc::clone(&said), STEREO, LEVEL, Seconds(0.0));
        said.say(Beat::Right);
        let mut buffer = vec![0.0; 48_000];
        assert!(fill(&mut buffer));
        assert!(
            buffer
                .chunks(2)
                .all(|frame| frame[0].to_bits() == frame[1].to_bits())
        );
        let highest = buffer.iter().fold(0.0_f32, |high, it| high.max(it.abs()));
        assert!((f64::from(highest) - 0.1).abs() < 1e-3, "{highest}");
    }
}
