//! A sound output that is held open for as long as its owner lives, whatever
//! is played on it.
//!
//! It is opened before anything else happens, so that one that cannot be had
//! is an error on the command line. After that it never gives up: a lost output
//! is reported and looked for until the same one is back.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{self, RecvTimeoutError, Sender};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread;
use std::time::{Duration, Instant};

use super::feed::FillSamples;
use super::found::{self, FoundDevice};
use super::output_stream::OutputStream;
use super::quiet::QuietStderr;
use super::sound_error::{Direction, SoundError};
use super::source::StreamFormat;
use crate::units::Seconds;

/// Length of block that is asked for: a hand at the trimmer waits for two of
/// them.
const BLOCK: Seconds = Seconds(0.02);

/// Nothing sounds for so long after the first word, so that the caution on
/// the screen is read first.
pub const LEAD_IN: Seconds = Seconds(3.0);

/// Whoever has not been heard of for so long has nothing to say: a screen
/// that hangs must not go on saying what was.
pub(super) const STALE: Seconds = Seconds(1.0);

/// The sound system must answer within this time.
const ANSWER: Duration = Duration::from_secs(10);

const LOOK: Duration = Duration::from_millis(50);
const FIRST_RETRY: Duration = Duration::from_millis(300);
const LAST_RETRY: Duration = Duration::from_secs(2);

/// What fills the buffers of a format, after so much silence.
pub(super) type Make = Box<dyn Fn(StreamFormat, Seconds) -> FillSamples + Send>;

/// See the module. Dropping it ends the output.
#[derive(Debug)]
pub(super) struct HeldOutput {
    name: String,
    shared: Arc<Shared>,
}

#[derive(Debug, Default)]
struct Shared {
    lost: AtomicBool,
    stop: AtomicBool,
    /// Why it is still waited for, not yet taken.
    why: Mutex<Option<String>>,
}

impl HeldOutput {
    /// Opens the output with this id or name. Standard error stays quiet
    /// meanwhile; while it runs it is the caller's to keep quiet.
    pub fn start(output: &str, thread_name: &str, make: Make) -> Result<Self, SoundError> {
        let _quiet = QuietStderr::start();
        let shared = Arc::new(Shared::default());
        let (tell, told) = mpsc::channel();
        let wanted = output.to_owned();
        let of_thread = Arc::clone(&shared);
        thread::Builder::new()
            .name(thread_name.to_owned())
            .spawn(move || run(&wanted, &make, &of_thread, &tell))
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

    /// The output is gone and waited for.
    pub fn is_lost(&self) -> bool {
        self.shared.lost.load(Ordering::Acquire)
    }

    /// Why it is still waited for, each reason once.
    pub fn why_it_waits(&self) -> Option<String> {
        let mut why = self
            .shared
            .why
            .lock()
            .unwrap_or_else(PoisonError::into_inner);
        why.take()
    }
}

impl Drop for HeldOutput {
    /// Does not wait for the thread: a sound server that hangs must not keep
    /// the program from ending.
    fn drop(&mut self) {
        self.shared.stop.store(true, Ordering::Release);
    }
}

/// The thread that holds the output.
fn run(wanted: &str, make: &Make, shared: &Shared, tell: &Sender<Result<String, SoundError>>) {
    let opened = found::find(Direction::Output, Some(wanted)).and_then(|found| {
        let stream = OutputStream::start(&found, BLOCK, |format| make(format, LEAD_IN))?;
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
        let Some(again) = wait_for_return(&found, make, shared) else {
            return;
        };
        (found, stream) = again;
        shared.lost.store(false, Ordering::Release);
    }
}

/// Tries until the same output is back; `None` when it is to stop.
fn wait_for_return(
    lost: &FoundDevice,
    make: &Make,
    shared: &Shared,
) -> Option<(FoundDevice, OutputStream)> {
    let mut pause = FIRST_RETRY;
    let mut said = None;
    loop {
        let until = Instant::now() + pause;
        while Instant::now() < until {
            if shared.stop.load(Ordering::Acquire) {
                return None;
            }
            thread::sleep(LOOK);
        }
        let again = lost.again(false).and_then(|found| {
            let stream = OutputStream::start(&found, BLOCK, |format| make(format, Seconds(0.0)))?;
            Ok((found, stream))
        });
        let why = match again {
            Ok(again) => return Some(again),
            Err(error) => error.why_it_waits(),
        };
        if why.is_some() && why != said {
            said.clone_from(&why);
            *shared.why.lock().unwrap_or_else(PoisonError::into_inner) = why;
        }
        pause = (pause * 2).min(LAST_RETRY);
    }
}
