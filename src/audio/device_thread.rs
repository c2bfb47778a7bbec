//! What inputs and outputs share: each is opened on a thread of its own, which
//! may wait for a sound server that does not answer, and one that was lost is
//! tried until it is back.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{self, Sender};
use std::thread;
use std::time::{Duration, Instant};

use super::sound_error::{Direction, SoundError};

/// The sound system must answer within this time. This and what follows are
/// choices.
const ANSWER: Duration = Duration::from_secs(10);
const LOOK: Duration = Duration::from_millis(50);
const FIRST_RETRY: Duration = Duration::from_millis(300);
const LAST_RETRY: Duration = Duration::from_secs(2);

/// Runs on a new thread and hands over what it says first; `wanted` is what to
/// call the device if it says nothing. After an error `stop` is set.
pub(super) fn first_word<T: Send + 'static>(
    direction: Direction,
    wanted: &str,
    thread_name: &str,
    stop: &AtomicBool,
    run: impl FnOnce(&Sender<Result<T, SoundError>>) + Send + 'static,
) -> Result<T, SoundError> {
    let (say, said) = mpsc::channel();
    thread::Builder::new()
        .name(thread_name.to_owned())
        .spawn(move || run(&say))
        .map_err(|error| SoundError::Thread {
            direction,
            reason: error.to_string(),
        })?;
    let name = wanted.to_owned();
    said.recv_timeout(ANSWER)
        .unwrap_or(Err(SoundError::Silent { direction, name }))
        .inspect_err(|_| stop.store(true, Ordering::Release))
}

/// Tries until it is open again; `None` when it is to stop. `tell` hears why it
/// still waits, each reason once, and may end it too.
pub(super) fn open_again<T>(
    stop: &AtomicBool,
    mut open: impl FnMut() -> Result<T, SoundError>,
    mut tell: impl FnMut(String) -> Option<()>,
) -> Option<T> {
    let mut pause = FIRST_RETRY;
    let mut told = None;
    loop {
        let until = Instant::now() + pause;
        while Instant::now() < until {
            if stop.load(Ordering::Acquire) {
                return None;
            }
            thread::sleep(LOOK);
        }
        let why = match open() {
            Ok(opened) => return Some(opened),
            Err(error) => error.why_it_waits(),
        };
        if why != told
            && let Some(why) = why
        {
            tell(why.clone())?;
            told = Some(why);
        }
        pause = (pause * 2).min(LAST_RETRY);
    }
}

/// Ends a stream on a thread of its own, for it may wait for a sound server
/// that no longer answers.
pub(super) fn close(stream: cpal::Stream) {
    // Without a thread the closure, and the stream with it, is dropped here.
    let _ = thread::Builder::new()
        .name("sound end".to_owned())
        .spawn(move || drop(stream));
}
