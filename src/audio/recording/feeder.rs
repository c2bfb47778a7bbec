//! Feeds a recording to the ring as if it were a live input.

use std::path::Path;
use std::sync::mpsc::{Receiver, RecvTimeoutError, sync_channel};
use std::thread;
use std::time::{Duration, Instant};

use super::{Recording, RecordingError};
use crate::audio::pick::Pick;
use crate::audio::ring::{RingWriter, ring};
use crate::audio::source::{SourceEvent, SourceEvents, StreamFormat};

/// How fast a recording is played into the ring.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pace {
    /// At its own pace.
    Real,
    /// As fast as it is taken.
    Fast,
}

/// Room in the ring: long enough that neither end waits for the other's sleep.
/// This and what follows are choices.
const RING_SECONDS: u32 = 2;

/// A header may claim any rate and number of channels.
const LARGEST_RING_SAMPLES: u32 = 1 << 23;

/// A live input delivers about so often; the needle moves as it would there.
const CHUNK: Duration = Duration::from_millis(10);

/// How long to wait for room in a full ring.
const FULL_RING_WAIT: Duration = Duration::from_micros(250);

/// Opens the recording, whose error is returned at once, and feeds it to a
/// ring from a thread of its own. Waits when the ring is full, so nothing is
/// lost. Says `Ended` when all of it has been taken out of the ring; ends
/// without a word when the reading end is gone.
pub fn start(path: &Path, pace: Pace, events: SourceEvents) -> Result<(), RecordingError> {
    start_taking(path, None, pace, events)
}

/// The same with these channels in place of all.
pub fn start_taking(
    path: &Path,
    pick: Option<Pick>,
    pace: Pace,
    events: SourceEvents,
) -> Result<(), RecordingError> {
    let recording = Recording::open_taking(path, pick)?;
    let name = path
        .file_name()
        .unwrap_or(path.as_os_str())
        .to_string_lossy()
        .into_owned();
    let spawned = thread::Builder::new()
        .name("recording".to_owned())
        .spawn(move || feed(recording, &name, pace, &events));
    match spawned {
        Ok(_) => Ok(()),
        Err(source) => Err(super::failed(path, source)),
    }
}

/// What is on screen is called live no longer when nothing has come this long of
/// a recording that is still being made or sent.
const STALLED: Duration = Duration::from_millis(500);

/// Blocks read ahead: none of them waits while the next is read.
const READ_AHEAD: usize = 2;

fn feed(recording: Recording, name: &str, pace: Pace, events: &SourceEvents) {
    let format = recording.format();
    let frame = usize::from(format.channels);
    let mut clock = Clock::new(pace, format.rate_hz);
    let chunk = clock.chunk_frames() * frame;
    let Some(blocks) = read_ahead(recording) else {
        return;
    };
    let Some(mut writer) = connect(format, name, events) else {
        return;
    };
    loop {
        let block = match blocks.recv_timeout(STALLED) {
            Ok(block) => block,
            Err(RecvTimeoutError::Disconnected) => break,
            Err(RecvTimeoutError::Timeout) => {
                if !wait_drained(&writer) {
                    return;
                }
                let block = match wait_for_more(&blocks, &writer, name, events) {
                    More::Block(block) => block,
                    More::End => break,
                    More::NobodyListens => return,
                };
                let Some(again) = connect(format, name, events) else {
                    return;
                };
                writer = again;
                block
            }
        };
        for chunk in block.chunks(chunk) {
            clock.wait_for(chunk.len() / frame);
            if !writer.push_all(chunk, FULL_RING_WAIT) {
                return;
            }
        }
    }
    if !wait_drained(&writer) {
        return;
    }
    drop(writer);
    // Nobody listens any more: then nobody needs to know.
    let _ = events.send(SourceEvent::Ended);
}

/// Reads on a thread of its own, since a pipe may let it wait.
fn read_ahead(mut recording: Recording) -> Option<Receiver<Vec<f32>>> {
    let (give, blocks) = sync_channel(READ_AHEAD);
    let read = move || {
        let mut block = Vec::new();
        while recording.next_block(&mut block).is_some() {
            if give.send(std::mem::take(&mut block)).is_err() {
                return;
            }
        }
    };
    let spawned = thread::Builder::new().name("recording file".into());
    spawned.spawn(read).ok().map(|_| blocks)
}

/// A new ring, told of; `None` where nobody listens.
fn connect(format: StreamFormat, name: &str, events: &SourceEvents) -> Option<RingWriter> {
    let room = (format.rate_hz.saturating_mul(RING_SECONDS))
        .min(LARGEST_RING_SAMPLES / u32::from(format.channels));
    let (writer, reader) = ring(room as usize, format.channels);
    let connected = SourceEvent::Connected {
        format,
        reader,
        name: name.to_owned(),
        may_be_another: false,
    };
    events.send(connected).ok().map(|()| writer)
}

/// False when the reading end is gone.
fn wait_drained(writer: &RingWriter) -> bool {
    while !writer.is_drained() {
        if writer.is_abandoned() {
            return false;
        }
        thread::sleep(FULL_RING_WAIT);
    }
    true
}

/// What comes after all.
enum More {
    Block(Vec<f32>),
    End,
    NobodyListens,
}

/// Says that nothing comes any more and waits until something does.
fn wait_for_more(
    blocks: &Receiver<Vec<f32>>,
    writer: &RingWriter,
    name: &str,
    events: &SourceEvents,
) -> More {
    let reason = format!("The recording \"{name}\" has stopped coming; waiting for it to go on");
    if events.send(SourceEvent::Lost { reason }).is_err() {
        return More::NobodyListens;
    }
    loop {
        match blocks.recv_timeout(STALLED) {
            Ok(block) => return More::Block(block),
            Err(RecvTimeoutError::Disconnected) => return More::End,
            Err(RecvTimeoutError::Timeout) if writer.is_abandoned() => return More::NobodyListens,
            Err(RecvTimeoutError::Timeout) => {}
        }
    }
}

/// Further behind than this (the program was suspended), the recording goes on
/// from now instead of catching up.
const GIVE_UP_CATCHING_UP: Duration = Duration::from_millis(250);

/// When the next frames are due. Counts frames from one start, so that no
/// sleep that was a little long adds up.
struct Clock {
    start: Instant,
    pace: Pace,
    rate_hz: f64,
    fed_frames: u64,
}

impl Clock {
    fn new(pace: Pace, rate_hz: u32) -> Self {
        Self {
            start: Instant::now(),
            pace,
            rate_hz: f64::from(rate_hz.max(1)),
            fed_frames: 0,
        }
    }

    fn chunk_frames(&self) -> usize {
        match self.pace {
            Pace::Real => ((self.rate_hz * CHUNK.as_secs_f64()) as usize).max(1),
            Pace::Fast => 1 << 16,
        }
    }

    /// Waits until these frames would have been heard.
    fn wait_for(&mut self, frames: usize) {
        self.fed_frames += frames as u64;
        if self.pace == Pace::Fast {
            return;
        }
        let due = Duration::from_secs_f64(self.fed_frames as f64 / self.rate_hz);
        let now = self.start.elapsed();
        let late = now.saturating_sub(due);
        if late > GIVE_UP_CATCHING_UP {
            self.start += late;
        }
        thread::sleep(due.saturating_sub(now));
    }
}
