//! The live source: a sound input, watched, and opened again when it returns.
//!
//! The first opening is waited for, so that an input that cannot be had is an
//! error on the command line. After that the source never gives up: a lost
//! input is reported and looked for until it is back or nobody listens. Only
//! the same input is taken again, with two exceptions, and both are said: where
//! whatever is the default was asked for and it stays away, another may take its
//! place; and where the sound settings decide what an id leads to, as with the
//! default of ALSA, nobody can tell, so that it counts as another. A server may
//! put another behind such an id while it plays, without a word but with a skip: where
//! one is seen it is opened anew.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::Sender;
use std::thread;
use std::time::{Duration, Instant};

use cpal::traits::{DeviceTrait, StreamTrait};

use super::callback::Delivered;
pub use super::callback::{CallbackSink, SignsOfLife};
use super::device_thread::{close, first_word, open_again};
use super::found::{self, FoundDevice};
use super::pick::Pick;
use super::quiet::QuietStderr;
use super::ring::{RingReader, live_ring};
use super::sound_error::{Direction, SoundError};
use super::source::{SourceEvent, SourceEvents, StreamFormat};
use super::stream_plan::{SET_UP, StreamPlan, by_samples};
use super::system_clock::SleepWatch;
use super::watchdog::{Look, LossKind, TICKS_PER_SECOND, Verdict, Watchdog};
use crate::units::Seconds;

/// Length of block that is asked for: short enough that nothing on screen
/// waits for it, and long enough that a busy computer is in time, for the
/// sound system holds no more than two blocks.
const BLOCK: Seconds = Seconds(0.02);

/// An input must deliver within this time of being opened; wireless ones
/// need a moment. This and what follows are choices.
const FIRST_BLOCK: Duration = Duration::from_secs(3);

const TICK: Duration = Duration::from_millis(1000 / TICKS_PER_SECOND as u64);

/// An input that skips again so soon, so often in a row, does so by itself, and is
/// opened anew for it no more.
const SOON: Duration = Duration::from_secs(10);
const SKIPS: u32 = 3;

/// A default input that is not back by then, as after a plug was pulled and put
/// in again, may be another from now on.
const STAYS_AWAY: Duration = Duration::from_secs(10);

/// A running sound input. Dropping it ends the source.
#[derive(Debug)]
pub struct LiveInput {
    known: InputKnown,
    format: StreamFormat,
    stop: Arc<AtomicBool>,
}

/// Which input it is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct InputKnown {
    /// Stays the same from one start to the next.
    pub id: String,
    /// For people.
    pub name: String,
    /// The system stands between it and the hardware: an id such as that of
    /// the default may mean another piece of hardware tomorrow.
    pub indirect: bool,
}

impl LiveInput {
    /// What the input is called.
    pub fn name(&self) -> &str {
        &self.known.name
    }

    /// The format that it was opened with.
    pub fn format(&self) -> StreamFormat {
        self.format
    }

    /// Which input it is.
    pub fn known(&self) -> &InputKnown {
        &self.known
    }
}

/// Which input is meant, without opening it. Standard error stays quiet
/// meanwhile.
pub fn identify(input: Option<&str>) -> Result<InputKnown, SoundError> {
    let _quiet = QuietStderr::start();
    found::find(Direction::Input, input).map(|found| InputKnown::of(&found))
}

impl InputKnown {
    fn of(found: &FoundDevice) -> Self {
        Self {
            id: found.id(),
            name: found.name.clone(),
            indirect: found.converts(),
        }
    }
}

impl Drop for LiveInput {
    /// Does not wait for the thread: a sound server that hangs must not keep
    /// the program from ending.
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Release);
    }
}

/// Opens a sound input, by id or name or, with `None`, the default, and
/// sends its events from then on. Returns when it delivers samples. Standard
/// error stays quiet meanwhile; while the source runs it is the caller's to
/// keep quiet. The first two channels are taken.
///
/// [`SoundError::NoInput`] is returned only where the default was asked for
/// and the computer has no sound input at all.
pub fn start(input: Option<&str>, events: SourceEvents) -> Result<LiveInput, SoundError> {
    start_taking(input, None, events)
}

/// The same with these channels in place of the first two.
pub fn start_taking(
    input: Option<&str>,
    pick: Option<Pick>,
    events: SourceEvents,
) -> Result<LiveInput, SoundError> {
    let _quiet = QuietStderr::start();
    let stop = Arc::new(AtomicBool::new(false));
    let wanted = input.map(str::to_owned);
    let source_stop = Arc::clone(&stop);
    let run = move |tell: &Sender<_>| run(wanted.as_deref(), pick, &events, &source_stop, tell);
    let name = input.unwrap_or("default");
    let (known, format) = first_word(Direction::Input, name, "sound input", &stop, run)?;
    Ok(LiveInput {
        known,
        format,
        stop,
    })
}

/// The thread of the source.
fn run(
    wanted: Option<&str>,
    pick: Option<Pick>,
    events: &SourceEvents,
    stop: &AtomicBool,
    tell: &Sender<Result<(InputKnown, StreamFormat), SoundError>>,
) {
    let found = found::find(Direction::Input, wanted);
    let first = found.and_then(|found| Opened::open(found, pick));
    let mut opened = match first {
        Ok(opened) => opened,
        Err(error) => {
            // Whoever asked may have given up waiting.
            let _ = tell.send(Err(error));
            return;
        }
    };
    let first = (InputKnown::of(&opened.found), opened.format);
    if tell.send(Ok(first)).is_err() {
        return;
    }
    let mut was_lost = false;
    let mut skips = 0;
    loop {
        let Opened {
            found,
            format,
            reader,
            stream,
        } = opened;
        let name = found.name.clone();
        let connected = SourceEvent::Connected {
            format,
            reader,
            name: name.clone(),
            may_be_another: was_lost && found.is_by_settings(),
        };
        if events.send(connected).is_err() {
            return;
        }
        let loss = stream.watch(stop, found.is_by_settings() && skips < SKIPS);
        let is_soon = stream.began.elapsed() < SOON;
        skips = match loss {
            Some(LossKind::Skipped) if is_soon => skips + 1,
            Some(LossKind::Skipped) => 1,
            _ => 0,
        };
        close(stream.stream);
        let Some(loss) = loss else { return };
        let reason = reason(&name, loss);
        if events.send(SourceEvent::Lost { reason }).is_err() {
            return;
        }
        was_lost = true;
        // The same input, or another default that may stand in its place.
        let begun = Instant::now();
        let again = || Opened::open(found.again(begun.elapsed() > STAYS_AWAY)?, pick);
        let tell = |reason| events.send(SourceEvent::Lost { reason }).ok();
        let Some(again) = open_again(stop, again, tell) else {
            return;
        };
        opened = again;
    }
}

fn reason(name: &str, loss: LossKind) -> String {
    const WAITING: &str = "waiting for it to return";
    const ANEW: &str = "it is opened anew";
    let (what, next) = match loss {
        LossKind::Gone => ("is gone", WAITING),
        LossKind::Failing => ("reports errors and no more samples", WAITING),
        LossKind::Quiet => ("has stopped delivering samples", WAITING),
        LossKind::Moved => ("was exchanged by the system", WAITING),
        LossKind::Skipped => ("skipped, as if another had taken its place", WAITING),
        LossKind::Slept => ("has missed what came while the computer slept", ANEW),
    };
    format!("The sound input \"{name}\" {what}; {next}")
}

/// An input that delivers.
struct Opened {
    found: FoundDevice,
    /// Of what is taken of it.
    format: StreamFormat,
    reader: RingReader,
    stream: WatchedStream,
}

struct WatchedStream {
    stream: cpal::Stream,
    plan: StreamPlan,
    signs: Arc<SignsOfLife>,
    began: Instant,
    /// Frames that had come when the clock was started.
    began_frames: u64,
}

impl Opened {
    fn open(found: FoundDevice, pick: Option<Pick>) -> Result<Self, SoundError> {
        // Inputs come in pairs; for an odd number a sound server makes up a layout
        // of its own and mixes.
        let needs = pick.map_or(1, Pick::needs);
        let pairs = pick.map(|_| found.plan(needs.checked_next_multiple_of(2).unwrap_or(needs)));
        let plan = match pairs {
            Some(Ok(plan)) => plan,
            _ => found.plan(needs)?,
        };
        let pick = pick.unwrap_or_else(|| Pick::usual(plan.format.channels));
        let failed =
            |error: cpal::Error| SoundError::of_system(Direction::Input, &found.name, &error);
        let open = |size| by_samples!(plan.samples, build(&found.device, &plan, pick, size));
        let (stream, reader, signs) = plan.first_size(BLOCK, open).map_err(failed)?;
        stream.play().map_err(failed)?;
        let Some(began_frames) = first_frames(&signs) else {
            let name = found.name.clone();
            close(stream);
            let direction = Direction::Input;
            return Err(if signs.is_gone() {
                SoundError::Gone { direction, name }
            } else {
                SoundError::Silent { direction, name }
            });
        };
        Ok(Self {
            found,
            format: StreamFormat {
                channels: pick.channels(),
                ..plan.format
            },
            reader,
            stream: WatchedStream {
                stream,
                plan,
                signs,
                began: Instant::now(),
                began_frames,
            },
        })
    }
}

impl WatchedStream {
    /// Returns when the stream is lost, also by a skip if that `may_exchange` it, or
    /// `None` when it is to stop.
    fn watch(&self, stop: &AtomicBool, may_exchange: bool) -> Option<LossKind> {
        let mut watchdog = Watchdog::new(self.plan.format.rate_hz);
        let sleep = SleepWatch::start();
        while !stop.load(Ordering::Acquire) {
            thread::sleep(TICK);
            // First, for time that passes in between must not look like frames.
            let frames = self.signs.frames() - self.began_frames;
            let verdict = watchdog.look(Look {
                elapsed_s: self.began.elapsed().as_secs_f64(),
                frames,
                errors: self.signs.errors(),
                gone: self.signs.is_gone(),
                moved: self.signs.is_moved(),
                slept: sleep.has_slept(),
            });
            match verdict {
                Verdict::Alive => {}
                Verdict::Missing(frames) => self.signs.report_missing(frames),
                Verdict::Skipped(frames) => {
                    self.signs.report_missing(frames);
                    if may_exchange {
                        return Some(LossKind::Skipped);
                    }
                }
                Verdict::Lost(loss) => return Some(loss),
            }
        }
        None
    }
}

fn first_frames(signs: &SignsOfLife) -> Option<u64> {
    let until = Instant::now() + FIRST_BLOCK;
    while Instant::now() < until && !signs.is_gone() {
        match signs.frames() {
            0 => thread::sleep(TICK / 5),
            frames => return Some(frames),
        }
    }
    None
}

type Built = (cpal::Stream, RingReader, Arc<SignsOfLife>);

fn build<T: Delivered>(
    device: &cpal::Device,
    plan: &StreamPlan,
    pick: Pick,
    size: u32,
) -> Result<Built, cpal::Error> {
    let format = plan.format;
    let (writer, reader) = live_ring(format.rate_hz, pick.channels());
    let signs = Arc::new(SignsOfLife::default());
    let mut sink = CallbackSink::taking(pick, writer, format, Arc::clone(&signs));
    let errors = Arc::clone(&signs);
    let stream = device.build_input_stream(
        plan.config(size),
        move |block: &[T], _: &cpal::InputCallbackInfo| sink.take(block, Instant::now()),
        move |error: cpal::Error| errors.note_error(error.kind()),
        Some(SET_UP),
    )?;
    Ok((stream, reader, signs))
}
