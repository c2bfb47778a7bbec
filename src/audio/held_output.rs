//! A sound output that is held open for as long as its owner lives, whatever
//! is played on it.
//!
//! It is opened before anything else happens, so that one that cannot be had
//! is an error on the command line. After that it never gives up: a lost output
//! is reported and looked for until the same one is back.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::Sender;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread;
use std::time::Duration;

use super::device_thread::{first_word, open_again};
use super::feed::FillSamples;
use super::found::{self, Found};
use super::output_stream::OutputStream;
use super::quiet::QuietStderr;
use super::sound_error::{Direction, SoundError};
use super::source::StreamFormat;
use crate::units::Seconds;

/// Length of block that is asked for: a hand at the trimmer waits for two of
/// them.
const BLOCK: Seconds = Seconds(0.02);

/// Nothing sounds for this long after the first word, so that the caution on
/// the screen is read first. A choice, as those beside it.
pub const LEAD_IN: Seconds = Seconds(3.0);

/// Whoever has not been heard of for this long has nothing to say: a screen
/// that hangs must not go on saying what was.
pub(super) const STALE: Seconds = Seconds(1.0);

const LOOK: Duration = Duration::from_millis(50);

/// What fills the buffers of a format, after this much silence.
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

impl Shared {
    fn why(&self) -> MutexGuard<'_, Option<String>> {
        self.why.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl HeldOutput {
    /// Opens the output with this id or name. Standard error stays quiet
    /// meanwhile; while it runs it is the caller's to keep quiet.
    pub fn start(output: &str, thread_name: &str, make: Make) -> Result<Self, SoundError> {
        let _quiet = QuietStderr::start();
        let shared = Arc::new(Shared::default());
        let wanted = output.to_owned();
        let of_thread = Arc::clone(&shared);
        let run = move |tell: &Sender<_>| run(&wanted, &make, &of_thread, tell);
        let name = first_word(Direction::Output, output, thread_name, &shared.stop, run)?;
        Ok(Self { name, shared })
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
        self.shared.why().take()
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
    let open = |found: Found, silence: Seconds| {
        let stream = OutputStream::start(&found, BLOCK, |format| make(format, silence))?;
        Ok((found, stream))
    };
    let found = found::find(Direction::Output, Some(wanted));
    let (mut found, mut stream) = match found.and_then(|found| open(found, LEAD_IN)) {
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
        let again = || open(found.again(false)?, Seconds(0.0));
        let tell = |why| {
            *shared.why() = Some(why);
            Some(())
        };
        let Some(again) = open_again(&shared.stop, again, tell) else {
            return;
        };
        (found, stream) = again;
        shared.lost.store(false, Ordering::Release);
    }
}
