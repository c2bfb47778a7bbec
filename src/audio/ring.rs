//! The ring between whatever delivers samples and the analysis thread: single
//! producer, single consumer, lock-free.
//!
//! Samples that find no room are dropped, counted, and marked in a second
//! small ring with the place where they are missing, so that no reading ever
//! spans a loss unseen. The producing end never allocates, locks or blocks:
//! it is what the audio callback holds.

use std::sync::Arc;
use std::thread;
use std::time::{Duration, Instant};

use super::handover::atomic::{AtomicU64, Ordering};
use super::handover::queue::{Consumer, HeapCons, HeapProd, HeapRb, Observer, Producer, Split};

/// What the ring of a live source holds, in seconds: a computer that is busy for
/// this long loses nothing. A choice, as those beside it.
const STALL_S: u32 = 2;

/// Losses that can wait to be read; further ones are merged into the count.
const LOSSES_WAITING: usize = if cfg!(all(test, loom)) { 2 } else { 256 };

/// Arrivals that can wait to be read; where nobody reads them, the first ones
/// stay and the others are forgotten.
const ARRIVALS_WAITING: usize = if cfg!(all(test, loom)) { 2 } else { 1024 };

/// Frames that did not fit, and where.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Loss {
    /// Frames that were delivered to the ring before the loss.
    pub after_frames: u64,
    /// Frames lost there.
    pub lost_frames: u64,
}

/// A block has arrived from outside.
#[derive(Clone, Copy, Debug)]
pub struct Arrived {
    /// Frames that had come with it and before it, overruns that the sound
    /// system reported included.
    pub frames: u64,
    /// When, by the system's monotonic clock.
    pub at: Instant,
}

/// The producing end. Interleaved samples, whole frames only.
pub struct RingWriter {
    samples: HeapProd<f32>,
    losses: HeapProd<Loss>,
    arrivals: HeapProd<Arrived>,
    channels: usize,
    written_frames: u64,
    /// Lost since the last frame that was written; not yet marked.
    pending_loss: u64,
    shared: Arc<Shared>,
}

/// The consuming end.
pub struct RingReader {
    samples: HeapCons<f32>,
    losses: HeapCons<Loss>,
    arrivals: HeapCons<Arrived>,
    channels: usize,
    read_frames: u64,
    next_loss: Option<Loss>,
    shared: Arc<Shared>,
}

#[derive(Default)]
struct Shared {
    lost_frames: AtomicU64,
    /// Frames offered by the producer, kept or lost: its sign of life.
    offered_frames: AtomicU64,
}

/// What came out of the ring.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Popped {
    /// This many samples were put at the start of the buffer.
    Samples(usize),
    /// Here this many frames are missing.
    Gap(u64),
    /// Nothing waits.
    Empty,
}

/// A ring for a source that does not wait, such as a sound input.
pub fn live_ring(rate_hz: u32, channels: u16) -> (RingWriter, RingReader) {
    ring(rate_hz as usize * STALL_S as usize, channels)
}

/// A ring for `capacity_frames` frames of `channels` interleaved channels.
pub fn ring(capacity_frames: usize, channels: u16) -> (RingWriter, RingReader) {
    let channels = usize::from(channels.max(1));
    let (sample_in, sample_out) = HeapRb::new(capacity_frames.max(1) * channels).split();
    let (loss_in, loss_out) = HeapRb::new(LOSSES_WAITING).split();
    let (arrival_in, arrival_out) = HeapRb::new(ARRIVALS_WAITING).split();
    let shared = Arc::new(Shared::default());
    let writer = RingWriter {
        samples: sample_in,
        losses: loss_in,
        arrivals: arrival_in,
        channels,
        written_frames: 0,
        pending_loss: 0,
        shared: Arc::clone(&shared),
    };
    let reader = RingReader {
        samples: sample_out,
        losses: loss_out,
        arrivals: arrival_out,
        channels,
        read_frames: 0,
        next_loss: None,
        shared,
    };
    (writer, reader)
}

impl RingWriter {
    /// Puts in what fits and counts the rest as lost. Never blocks. Returns
    /// the number of frames lost.
    pub fn push_or_lose(&mut self, interleaved: &[f32]) -> u64 {
        let frames = interleaved.len() / self.channels;
        self.shared
            .offered_frames
            .fetch_add(frames as u64, Ordering::Release);
        let room = self.samples.vacant_len() / self.channels;
        let kept = frames.min(room);
        // Only in front of what is kept: one stall is one loss, however many
        // blocks came meanwhile.
        if kept > 0 && self.pending_loss > 0 && !self.mark_pending() {
            return self.lose(frames);
        }
        self.samples
            .push_slice(&interleaved[..kept * self.channels]);
        self.written_frames += kept as u64;
        self.lose(frames - kept)
    }

    /// Puts in as many whole frames as fit and says how many: for a feeder
    /// that can wait.
    pub fn push_what_fits(&mut self, interleaved: &[f32]) -> usize {
        let frames = interleaved.len() / self.channels;
        let kept = frames.min(self.samples.vacant_len() / self.channels);
        self.samples
            .push_slice(&interleaved[..kept * self.channels]);
        self.written_frames += kept as u64;
        self.shared
            .offered_frames
            .fetch_add(kept as u64, Ordering::Release);
        kept
    }

    /// Puts in all of it and waits for room where there is none, a pause at a
    /// time; never in the callback. False once the reading end is gone.
    pub fn push_all(&mut self, interleaved: &[f32], pause: Duration) -> bool {
        let mut left = interleaved;
        loop {
            left = &left[self.push_what_fits(left) * self.channels..];
            if left.is_empty() || self.is_abandoned() {
                return !self.is_abandoned();
            }
            thread::sleep(pause);
        }
    }

    /// Notes frames that were lost before they came here, such as those that
    /// the sound system reports as overrun.
    pub fn note_loss(&mut self, lost_frames: u64) {
        self.pending_loss = self.pending_loss.saturating_add(lost_frames);
        // Nobody else writes it.
        let lost = &self.shared.lost_frames;
        let so_far = lost.load(Ordering::Relaxed);
        lost.store(so_far.saturating_add(lost_frames), Ordering::Relaxed);
    }

    /// Notes when a block came from outside. Forgotten where too many wait to
    /// be read.
    pub fn note_arrival(&mut self, arrived: Arrived) {
        let _ = self.arrivals.try_push(arrived);
    }

    /// Interleaved channels in the ring.
    pub fn channels(&self) -> usize {
        self.channels
    }

    /// True when everything that was put in has been taken out.
    pub fn is_drained(&self) -> bool {
        self.samples.is_empty()
    }

    /// True once the reading end is gone.
    pub fn is_abandoned(&self) -> bool {
        !self.samples.read_is_held()
    }

    fn lose(&mut self, frames: usize) -> u64 {
        let frames = frames as u64;
        self.note_loss(frames);
        frames
    }

    /// The mark is put in front of the next frame that is kept. False when
    /// the ring of marks is full: then frames go on being lost into the same
    /// mark, so that no loss is ever unmarked.
    fn mark_pending(&mut self) -> bool {
        let loss = Loss {
            after_frames: self.written_frames,
            lost_frames: self.pending_loss,
        };
        let marked = self.losses.try_push(loss).is_ok();
        if marked {
            self.pending_loss = 0;
        }
        marked
    }
}

impl RingReader {
    /// The next arrival that was noted, apart from the samples.
    pub fn pop_arrival(&mut self) -> Option<Arrived> {
        self.arrivals.try_pop()
    }

    /// Interleaved channels in the ring.
    pub fn channels(&self) -> usize {
        self.channels
    }

    /// Frames lost for want of room, so far.
    pub fn lost_frames(&self) -> u64 {
        self.shared.lost_frames.load(Ordering::Relaxed)
    }

    /// Frames that the producer has offered so far.
    pub fn offered_frames(&self) -> u64 {
        self.shared.offered_frames.load(Ordering::Acquire)
    }

    /// True once the producing end is gone and everything has been read.
    pub fn is_finished(&self) -> bool {
        !self.samples.write_is_held() && self.samples.is_empty()
    }

    /// Takes the next samples, up to the size of `buffer` or to the next
    /// loss, whichever comes first.
    pub fn pop(&mut self, buffer: &mut [f32]) -> Popped {
        // Samples are looked at before marks: a mark is written before the
        // samples that follow it, so every loss in front of these is known.
        let waiting = self.samples.occupied_len();
        if self.next_loss.is_none() {
            self.next_loss = self.losses.try_pop();
        }
        let mut frames = waiting.min(buffer.len()) / self.channels;
        if let Some(loss) = self.next_loss {
            let before = loss.after_frames - self.read_frames;
            if before == 0 {
                self.next_loss = None;
                return Popped::Gap(loss.lost_frames);
            }
            frames = frames.min(usize::try_from(before).unwrap_or(usize::MAX));
        }
        if frames == 0 {
            return Popped::Empty;
        }
        let count = self
            .samples
            .pop_slice(&mut buffer[..frames * self.channels]);
        self.read_frames += (count / self.channels) as u64;
        Popped::Samples(count)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drain(reader: &mut RingReader) -> Vec<Popped> {
        let mut buffer = [0.0; 16];
        let mut seen = Vec::new();
        loop {
            match reader.pop(&mut buffer) {
                Popped::Empty => return seen,
                popped => seen.push(popped),
            }
        }
    }

    #[test]
    fn samples_come_out_in_order() {
        let (mut writer, mut reader) = ring(8, 2);
        assert_eq!(writer.push_or_lose(&[1.0, 2.0, 3.0, 4.0]), 0);
        let mut buffer = [0.0; 16];
        assert_eq!(reader.pop(&mut buffer), Popped::Samples(4));
        assert_eq!(buffer[..4], [1.0, 2.0, 3.0, 4.0]);
        assert_eq!(reader.pop(&mut buffer), Popped::Empty);
    }

    #[test]
    fn a_loss_is_marked_where_it_happened() {
        let (mut writer, mut reader) = ring(4, 1);
        assert_eq!(writer.push_or_lose(&[0.0; 6]), 2);
        assert_eq!(reader.lost_frames(), 2);
        // Room again: the mark precedes what is kept now.
        let mut two = [0.0; 2];
        assert_eq!(reader.pop(&mut two), Popped::Samples(2));
        assert_eq!(writer.push_or_lose(&[0.0; 2]), 0);
        assert_eq!(
            drain(&mut reader),
            [Popped::Samples(2), Popped::Gap(2), Popped::Samples(2)]
        );
        assert_eq!(reader.offered_frames(), 8);
    }

    #[test]
    fn a_full_ring_of_marks_loses_frames_not_marks() {
        let (mut writer, mut reader) = ring(1, 1);
        let mut lost = 0;
        let mut marked = 0;
        let mut one = [0.0; 1];
        for _ in 0..LOSSES_WAITING + 10 {
            lost += writer.push_or_lose(&[0.0; 2]);
            // Samples only: marks stay where they are.
            reader.samples.pop_slice(&mut one);
        }
        while let Some(loss) = reader.losses.try_pop() {
            marked += loss.lost_frames;
        }
        assert_eq!(marked + writer.pending_loss, lost);
        assert!(writer.pending_loss > 0);
    }

    #[test]
    fn one_stall_is_one_loss_however_many_blocks_came_meanwhile() {
        let (mut writer, mut reader) = ring(4, 1);
        for _ in 0..10 {
            writer.push_or_lose(&[0.0; 2]);
        }
        writer.note_loss(5);
        assert_eq!(reader.pop(&mut [0.0; 4]), Popped::Samples(4));
        assert_eq!(reader.pop(&mut [0.0; 4]), Popped::Empty);
        writer.push_or_lose(&[0.0; 2]);
        assert_eq!(drain(&mut reader), [Popped::Gap(21), Popped::Samples(2)]);
        assert_eq!(reader.lost_frames(), 21);
    }

    #[test]
    fn a_reader_that_stalls_two_seconds_loses_nothing_and_then_what_did_not_fit() {
        // Every usual rate from a voice recorder's to a converter's, in blocks of
        // 20 ms and of an odd length.
        for rate_hz in [
            8000, 11_025, 16_000, 22_050, 32_000, 44_100, 48_000, 88_200, 96_000, 176_400, 192_000,
            384_000, 768_000,
        ] {
            for (channels, block_frames) in [(1, rate_hz / 50), (2, rate_hz / 50), (2, 441)] {
                let (mut writer, mut reader) = live_ring(rate_hz, channels);
                let whole = 2 * rate_hz as usize;
                let block = vec![0.5; block_frames as usize * usize::from(channels)];
                let mut pushed = 0;
                while pushed + block_frames as usize <= whole {
                    assert_eq!(writer.push_or_lose(&block), 0, "{rate_hz} Hz");
                    pushed += block_frames as usize;
                }
                let rest = (whole - pushed) * usize::from(channels);
                assert_eq!(writer.push_or_lose(&block[..rest]), 0, "{rate_hz} Hz");
                // A block more is lost, and with what is lost after it told where it
                // is missing: after two seconds.
                let lost = u64::from(block_frames);
                assert_eq!(writer.push_or_lose(&block), lost, "{rate_hz} Hz");
                writer.note_loss(7);
                let mut buffer = vec![0.0; 2 * whole];
                let kept = whole * usize::from(channels);
                assert_eq!(reader.pop(&mut buffer), Popped::Samples(kept));
                assert_eq!(writer.push_or_lose(&block), 0, "{rate_hz} Hz");
                assert_eq!(reader.pop(&mut buffer), Popped::Gap(lost + 7));
                assert_eq!(reader.pop(&mut buffer), Popped::Samples(block.len()));
                assert_eq!(reader.lost_frames(), lost + 7);
            }
        }
    }

    #[test]
    fn a_loss_beyond_all_counting_stays_the_largest_there_is() {
        let (mut writer, mut reader) = ring(2, 1);
        for lost in [7, u64::MAX - 3, u64::MAX, 1] {
            writer.note_loss(lost);
        }
        assert_eq!(reader.lost_frames(), u64::MAX);
        assert_eq!(writer.push_or_lose(&[0.0; 3]), 1);
        assert_eq!(
            drain(&mut reader),
            [Popped::Gap(u64::MAX), Popped::Samples(2)]
        );
        assert_eq!(reader.lost_frames(), u64::MAX);
    }

    #[test]
    fn a_waiting_feeder_loses_nothing() {
        let (mut writer, mut reader) = ring(4, 2);
        assert_eq!(writer.push_what_fits(&[0.0; 12]), 4);
        assert_eq!(writer.push_what_fits(&[0.0; 4]), 0);
        assert_eq!(drain(&mut reader), [Popped::Samples(8)]);
        assert_eq!(reader.lost_frames(), 0);
        assert!(!writer.is_abandoned());
        drop(writer);
        assert!(reader.is_finished());
    }
}
