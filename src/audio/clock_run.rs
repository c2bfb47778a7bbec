//! A run that compares the sample clock of an input with the system's.
//!
//! What is compared is the monotonic time at which each block arrives in the
//! callback. The sound library's own time of capture will not do: on some
//! hardware it is counted by the very clock that is to be measured, and then
//! shows no error at all.

use std::sync::mpsc::{self, Receiver, TryRecvError};
use std::thread;
use std::time::Duration;

use super::SoundError;
use super::input::{self, InputKnown};
use super::pick::Pick;
use super::ring::{Popped, RingReader};
use super::source::{SourceEvent, StreamFormat};
use super::system_clock::{self, ClockWatch, Discipline, Steering};
use crate::signal::arrivals::{Arrival, Arrivals};
use crate::units::Seconds;

/// Between two looks at what has arrived.
const NAP: Duration = Duration::from_millis(20);

/// What came out of a run.
#[derive(Clone, Debug)]
pub struct ClockRun {
    /// Of which input.
    pub input: InputKnown,
    /// Its format.
    pub format: StreamFormat,
    /// When the blocks came.
    pub arrivals: Arrivals,
    /// How the system steered its clock meanwhile, where that can be known.
    pub steering: Option<Steering>,
    /// Whether the system's clock was kept right, before the run and after it.
    pub discipline: Discipline,
}

/// A run that cannot be used.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // Each sentence says what it is.
pub enum RunError {
    #[error(transparent)]
    Sound(#[from] SoundError),
    #[error("{0}; check its cable and measure again")]
    Lost(String),
    #[error(
        "{frames} samples were lost after {:.0} s, so their count says nothing about the clock; close other programs and measure again", after.0
    )]
    FramesLost { frames: u64, after: Seconds },
    #[error(
        "the computer slept or its time was set after {:.0} s, which breaks the comparison; keep it awake and measure again", after.0
    )]
    Slept { after: Seconds },
}

/// Samples of an open input, one block after the other.
pub struct Listening {
    input: InputKnown,
    format: StreamFormat,
    reader: RingReader,
    events: Receiver<SourceEvent>,
    /// Ends the source when dropped.
    _live: input::LiveInput,
}

/// What came next.
pub enum Heard<'a> {
    /// Interleaved samples.
    Samples(&'a [f32]),
    /// So many frames are missing here.
    Missing(u64),
    /// Nothing waits for the moment.
    Nothing,
}

impl Listening {
    /// Opens an input as [`input::start_taking`] does.
    pub fn start(input: Option<&str>, pick: Option<Pick>) -> Result<Self, RunError> {
        let (send, events) = mpsc::channel();
        let live = input::start_taking(input, pick, send)?;
        let known = live.known().clone();
        match events.recv() {
            Ok(SourceEvent::Connected { format, reader, .. }) => Ok(Self {
                input: known,
                format,
                reader,
                events,
                _live: live,
            }),
            _ => Err(RunError::Lost(gone(&known))),
        }
    }

    /// Which input.
    pub fn input(&self) -> &InputKnown {
        &self.input
    }

    /// Its format.
    pub fn format(&self) -> StreamFormat {
        self.format
    }

    /// The next samples, in a buffer for them.
    pub fn next<'a>(&mut self, buffer: &'a mut [f32]) -> Result<Heard<'a>, RunError> {
        match self.reader.pop(buffer) {
            Popped::Samples(count) => return Ok(Heard::Samples(&buffer[..count])),
            Popped::Gap(frames) => return Ok(Heard::Missing(frames)),
            Popped::Empty => {}
        }
        match self.events.try_recv() {
            Err(TryRecvError::Empty) => Ok(Heard::Nothing),
            // Also when it is back already: what was heard before is over.
            Ok(_) | Err(TryRecvError::Disconnected) => Err(RunError::Lost(gone(&self.input))),
        }
    }
}

fn gone(input: &InputKnown) -> String {
    format!("the sound input \"{}\" went away", input.name)
}

/// Listens to an input for as long as `go_on` says so of what has arrived; it
/// is asked many times a second.
pub fn run(
    input: Option<&str>,
    mut go_on: impl FnMut(&Arrivals) -> bool,
) -> Result<ClockRun, RunError> {
    // Before the samples come, for the answer may take longer than the ring
    // lasts.
    let disciplined_before = system_clock::discipline();
    let mut listening = Listening::start(input, None)?;
    let mut watch = ClockWatch::start();
    let mut arrivals = Arrivals::new(listening.format.rate_hz);
    let mut origin = None;
    let mut buffer = vec![0.0; 1 << 14];
    loop {
        // The samples themselves are of no interest, only that none is lost.
        loop {
            match listening.next(&mut buffer)? {
                Heard::Samples(_) => {}
                Heard::Missing(frames) => {
                    return Err(RunError::FramesLost {
                        frames,
                        after: arrivals.length(),
                    });
                }
                Heard::Nothing => break,
            }
        }
        while let Some(arrived) = listening.reader.pop_arrival() {
            let start = *origin.get_or_insert(arrived.at);
            arrivals.push(Arrival {
                frames: arrived.frames,
                at: Seconds(arrived.at.duration_since(start).as_secs_f64()),
            });
        }
        if watch.look() {
            return Err(RunError::Slept {
                after: arrivals.length(),
            });
        }
        if !go_on(&arrivals) {
            return Ok(ClockRun {
                input: listening.input,
                format: listening.format,
                arrivals,
                steering: watch.steering(),
                discipline: disciplined_before.worse(system_clock::discipline()),
            });
        }
        thread::sleep(NAP);
    }
}
