//! What happens inside the sound system's callbacks: convert, push, count.
//!
//! They run on a thread whose deadline is the next block, so nothing here
//! allocates, locks, logs or blocks; what the callbacks have to tell goes
//! through the atomics of [`SignsOfLife`].

use std::sync::Arc;
use std::time::Instant;

use cpal::{ErrorKind, I24, Sample, SizedSample, U24};

use super::handover::atomic::{AtomicBool, AtomicU64, Ordering};
use super::pick::Pick;
use super::ring::{Arrived, RingWriter};
use super::source::StreamFormat;
pub use super::stream_plan::{FORMATS, MOST_CHANNELS};

/// Samples that are converted at a time.
const CHUNK: usize = 1024;

/// A sample as a sound system delivers it.
pub trait Delivered: SizedSample {
    /// As a fraction of full scale.
    fn fraction(self) -> f32;
}

macro_rules! delivered {
    ($($sample:ty)*) => {
        $(impl Delivered for $sample {
            fn fraction(self) -> f32 {
                f32::from_sample(self)
            }
        })*
    };
}
delivered!(f32 f64 i8 i16 i32 u8 u16 u32);

/// Three bytes in four: what stands in the fourth is the driver's affair.
impl Delivered for I24 {
    fn fraction(self) -> f32 {
        f32::from_sample(Self::new_unchecked(self.inner() << 8 >> 8))
    }
}

/// As [`I24`].
impl Delivered for U24 {
    fn fraction(self) -> f32 {
        f32::from_sample(Self::new_unchecked(self.inner() & 0x00ff_ffff))
    }
}

/// What the callbacks leave for the thread that watches them.
#[derive(Debug, Default)]
pub struct SignsOfLife {
    /// Frames that came, and those known to be lost on the way.
    frames: AtomicU64,
    /// Errors that the stream may survive.
    errors: AtomicU64,
    /// Overruns, or of an output underruns, reported by the sound system and
    /// not yet marked.
    overruns: AtomicU64,
    /// Frames found missing by comparison with time and not yet marked.
    missing: AtomicU64,
    /// The stream will not come back.
    gone: AtomicBool,
    /// The system moved the stream to another device.
    moved: AtomicBool,
}

impl SignsOfLife {
    /// Frames that came, and those known to be lost on the way.
    pub fn frames(&self) -> u64 {
        self.frames.load(Ordering::Acquire)
    }

    /// Errors so far that the stream may survive.
    pub fn errors(&self) -> u64 {
        self.errors.load(Ordering::Relaxed)
    }

    /// True once the stream cannot come back by itself.
    pub fn is_gone(&self) -> bool {
        self.gone.load(Ordering::Acquire)
    }

    /// True once the system has moved the stream to another device.
    pub fn is_moved(&self) -> bool {
        self.moved.load(Ordering::Acquire)
    }

    /// Frames that never came, to be marked in front of the next block.
    pub fn report_missing(&self, frames: u64) {
        let more = |missing: u64| Some(missing.saturating_add(frames));
        // It never refuses.
        let _ = (self.missing).fetch_update(Ordering::AcqRel, Ordering::Acquire, more);
    }

    /// The error callback. Errors repeat as fast as the sound system likes,
    /// so they are only counted.
    pub fn note_error(&self, kind: ErrorKind) {
        match kind {
            ErrorKind::Xrun => {
                self.overruns.fetch_add(1, Ordering::AcqRel);
            }
            ErrorKind::DeviceNotAvailable
            | ErrorKind::HostUnavailable
            | ErrorKind::StreamInvalidated
            | ErrorKind::PermissionDenied => self.gone.store(true, Ordering::Release),
            ErrorKind::DeviceChanged => self.moved.store(true, Ordering::Release),
            // The stream runs on, only with less certain timing; a ring of
            // two seconds does not mind.
            ErrorKind::RealtimeDenied => {}
            _ => {
                self.errors.fetch_add(1, Ordering::Relaxed);
            }
        }
    }

    /// Breaks reported by the sound system and not yet marked in a ring.
    pub(super) fn overruns(&self) -> u64 {
        self.overruns.load(Ordering::Acquire)
    }

    /// A callback of an output has asked for frames.
    pub(super) fn note_frames(&self, frames: u64) {
        self.frames.fetch_add(frames, Ordering::Release);
    }
}

/// The work of the input callback.
pub struct CallbackSink {
    writer: RingWriter,
    /// What is taken of whole frames, allocated once.
    chunk: Box<[f32]>,
    /// As the sound system delivers it.
    format: StreamFormat,
    pick: Pick,
    last_block: Option<Instant>,
    signs: Arc<SignsOfLife>,
}

impl CallbackSink {
    /// A sink for blocks of the given format. The ring has room for the first
    /// two of its channels.
    pub fn new(writer: RingWriter, format: StreamFormat, signs: Arc<SignsOfLife>) -> Self {
        Self::taking(Pick::usual(format.channels), writer, format, signs)
    }

    /// The same, for a ring of these channels.
    pub fn taking(
        pick: Pick,
        writer: RingWriter,
        format: StreamFormat,
        signs: Arc<SignsOfLife>,
    ) -> Self {
        let taken = usize::from(pick.channels());
        Self {
            writer,
            chunk: vec![0.0; CHUNK / taken * taken].into_boxed_slice(),
            format,
            pick,
            last_block: None,
            signs,
        }
    }

    /// Takes a block of interleaved samples as the sound system delivers it,
    /// at the time of its arrival. Losses that became known since the last
    /// block are marked in front of it.
    pub fn take<T: Delivered>(&mut self, block: &[T], arrival: Instant) {
        let frames = (block.len() / usize::from(self.format.channels.max(1))) as u64;
        self.mark_losses(frames, arrival);
        self.last_block = Some(arrival);
        let channels = usize::from(self.format.channels.max(1));
        let taken = usize::from(self.pick.channels());
        for part in block.chunks(self.chunk.len() / taken * channels) {
            let converted = &mut self.chunk[..part.len() / channels * taken];
            if taken == channels && self.pick == Pick::usual(self.format.channels) {
                // The rule, and much faster than sample by sample.
                for (to, from) in converted.iter_mut().zip(part) {
                    *to = from.fraction();
                }
            } else {
                let frames = part.chunks_exact(channels);
                for (to, frame) in converted.chunks_exact_mut(taken).zip(frames) {
                    for (to, from) in to.iter_mut().zip(self.pick.of(frame)) {
                        *to = from.fraction();
                    }
                }
            }
            self.writer.push_or_lose(converted);
        }
        self.signs.note_frames(frames);
        self.writer.note_arrival(Arrived {
            frames: self.signs.frames(),
            at: arrival,
        });
    }

    fn mark_losses(&mut self, frames: u64, arrival: Instant) {
        let missing = self.signs.missing.swap(0, Ordering::AcqRel);
        let overrun = if self.signs.overruns.swap(0, Ordering::AcqRel) > 0 {
            self.frames_not_delivered(frames, arrival)
        } else {
            0
        };
        let lost = missing.saturating_add(overrun);
        if lost > 0 {
            self.writer.note_loss(lost);
            // What was found missing is counted by whoever found it.
            self.signs.note_frames(overrun);
        }
    }

    /// After an overrun the sound system starts anew with an empty buffer:
    /// all that was recorded since the last block, but for this one, is lost.
    fn frames_not_delivered(&self, frames: u64, arrival: Instant) -> u64 {
        let Some(last) = self.last_block else {
            return 1;
        };
        let passed = arrival.saturating_duration_since(last).as_secs_f64();
        let recorded = (passed * f64::from(self.format.rate_hz)).round() as u64;
        recorded.saturating_sub(frames).max(1)
    }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;
    use crate::audio::ring::{Popped, RingReader, ring};

    const STEREO: StreamFormat = StreamFormat {
        rate_hz: 48_000,
        channels: 2,
    };

    fn sink(frames: usize) -> (CallbackSink, RingReader, Arc<SignsOfLife>) {
        let (writer, reader) = ring(frames, STEREO.channels);
        let signs = Arc::new(SignsOfLife::default());
        let sink = CallbackSink::new(writer, STEREO, Arc::clone(&signs));
        (sink, reader, signs)
    }

    fn converted<T: Delivered>(block: &[T]) -> Vec<f32> {
        let (mut sink, mut reader, _) = sink(4096);
        sink.take(block, Instant::now());
        let mut out = vec![0.0; block.len()];
        assert_eq!(reader.pop(&mut out), Popped::Samples(block.len()));
        out
    }

    #[test]
    fn the_fourth_byte_of_a_sample_of_three_says_nothing() {
        let steps = [-(1 << 23), -1, 0, 1, 1 << 22, (1 << 23) - 1];
        let exact = steps.map(|step| step as f32 / 8_388_608.0).to_vec();
        for fourth in [0, 0x5a00_0000, -(1 << 24)] {
            let signed = steps.map(|step| I24::new_unchecked(step & 0x00ff_ffff | fourth));
            assert_eq!(converted(&signed), exact, "{fourth:x}");
            let unsigned = steps.map(|step| U24::new_unchecked((step + (1 << 23)) | fourth));
            assert_eq!(converted(&unsigned), exact, "{fourth:x}");
        }
    }

    #[test]
    fn a_block_longer_than_the_chunk_arrives_whole() {
        let block: Vec<f32> = (0..2 * CHUNK + 6).map(|n| n as f32 / 1e4).collect();
        assert_eq!(converted(&block), block);
    }

    #[test]
    fn two_of_many_channels_are_taken_whatever_the_block() {
        let six = StreamFormat {
            rate_hz: 48_000,
            channels: 6,
        };
        let frames = 3 * CHUNK + 5;
        let block: Vec<f32> = (0..6 * frames).map(|n| n as f32 / 1e5).collect();
        for (pick, expected) in [("3,4", &[2, 3][..]), ("6,1", &[5, 0]), ("4", &[3])] {
            let pick: Pick = pick.parse().unwrap();
            let (writer, mut reader) = ring(2 * frames, pick.channels());
            let signs = Arc::new(SignsOfLife::default());
            let mut sink = CallbackSink::taking(pick, writer, six, Arc::clone(&signs));
            sink.take(&block, Instant::now());
            let mut out = vec![0.0; 2 * frames];
            let count = frames * expected.len();
            assert_eq!(reader.pop(&mut out), Popped::Samples(count));
            let wanted: Vec<f32> = (block.chunks(6))
                .flat_map(|frame| expected.iter().map(|channel| frame[*channel]))
                .collect();
            assert_eq!(out[..count], wanted, "{pick}");
            assert_eq!(signs.frames(), frames as u64);
        }
    }

    #[test]
    fn every_block_notes_when_it_came_and_how_much_had_come() {
        let (mut sink, mut reader, signs) = sink(4096);
        let start = Instant::now();
        sink.take(&[0.0_f32; 20], start);
        signs.report_missing(5);
        sink.take(&[0.0_f32; 60], start + Duration::from_millis(3));
        let noted: Vec<(u64, Duration)> = std::iter::from_fn(|| reader.pop_arrival())
            .map(|arrived| (arrived.frames, arrived.at - start))
            .collect();
        let expected = [(10, Duration::ZERO), (40, Duration::from_millis(3))];
        assert_eq!(noted, expected);
    }

    #[test]
    fn an_overrun_is_marked_with_the_time_that_passed() {
        let (mut sink, mut reader, signs) = sink(4096);
        let start = Instant::now();
        sink.take(&[0.0_f32; 960], start);
        signs.note_error(ErrorKind::Xrun);
        // 100 ms later a block of 10 ms: 4800 frames passed, 480 are here.
        sink.take(&[0.0_f32; 960], start + Duration::from_millis(100));
        let mut out = [0.0; 4096];
        assert_eq!(reader.pop(&mut out), Popped::Samples(960));
        assert_eq!(reader.pop(&mut out), Popped::Gap(4800 - 480));
        assert_eq!(reader.pop(&mut out), Popped::Samples(960));
        assert_eq!(signs.frames(), 480 + 4320 + 480);
    }

    #[test]
    fn what_time_shows_as_missing_is_marked_before_the_next_block() {
        let (mut sink, mut reader, signs) = sink(4096);
        signs.report_missing(777);
        sink.take(&[0.0_f32; 2], Instant::now());
        let mut out = [0.0; 8];
        assert_eq!(reader.pop(&mut out), Popped::Gap(777));
        assert_eq!(reader.pop(&mut out), Popped::Samples(2));
        assert_eq!(reader.lost_frames(), 777);
    }

    #[test]
    fn more_missing_than_can_be_counted_stays_the_largest_there_is() {
        let (mut sink, mut reader, signs) = sink(4096);
        let start = Instant::now();
        sink.take(&[0.0_f32; 2], start);
        signs.report_missing(u64::MAX - 1);
        signs.report_missing(u64::MAX);
        signs.note_error(ErrorKind::Xrun);
        sink.take(&[0.0_f32; 2], start + Duration::from_secs(1));
        let mut out = [0.0; 8];
        assert_eq!(reader.pop(&mut out), Popped::Samples(2));
        assert_eq!(reader.pop(&mut out), Popped::Gap(u64::MAX));
        assert_eq!(reader.pop(&mut out), Popped::Samples(2));
    }

    #[test]
    fn a_full_ring_counts_what_did_not_fit() {
        let (mut sink, reader, signs) = sink(100);
        sink.take(&[0.0_f32; 2 * 150], Instant::now());
        assert_eq!(reader.lost_frames(), 50);
        assert_eq!(signs.frames(), 150);
    }

    #[test]
    fn errors_are_told_apart() {
        let signs = SignsOfLife::default();
        signs.note_error(ErrorKind::RealtimeDenied);
        assert!(!signs.is_gone() && !signs.is_moved() && signs.errors() == 0);
        signs.note_error(ErrorKind::BackendError);
        assert_eq!(signs.errors(), 1);
        signs.note_error(ErrorKind::DeviceChanged);
        assert!(signs.is_moved());
        signs.note_error(ErrorKind::DeviceNotAvailable);
        assert!(signs.is_gone());
    }
}
