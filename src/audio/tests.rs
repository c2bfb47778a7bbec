//! What one thread hands to another arrives whole and in its place, in whatever
//! order they take turns: many runs of threads here, orders one by one under loom
//! (for the ring those of up to three interruptions, over a model of its queue), odd
//! orders under Miri and the sanitizers (`tests/soundness.sh`).

use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::time::{Duration, Instant};

#[cfg(loom)]
use loom::thread;
#[cfg(not(loom))]
use std::thread;

use cpal::ErrorKind;

use super::callback::{CallbackSink, SignsOfLife};
use super::feed::{Feed, Progress};
use super::handover::atomic::Ordering;
use super::handover::{Said, TapePlace};
use super::ring::{Popped, RingReader, RingWriter, ring};
use super::source::StreamFormat;
use crate::signal::rhythm::Beat;
use crate::units::Seconds;

/// How often a thread does its part in one run.
const STEPS: u32 = if cfg!(loom) {
    3
} else if cfg!(miri) {
    30
} else {
    400
};

const MONO: StreamFormat = StreamFormat {
    rate_hz: 48_000,
    channels: 1,
};

/// Under loom every order in which no thread is held up more often than this by
/// another; loom's authors have found that two or three show most faults.
#[cfg(loom)]
fn in_many_orders(held_up: Option<usize>, check: impl Fn() + Send + Sync + 'static) {
    use std::sync::atomic::AtomicU64;
    let tried = Arc::new(AtomicU64::new(0));
    let count = Arc::clone(&tried);
    let mut model = loom::model::Builder::new();
    model.preemption_bound = held_up;
    model.max_branches = 100_000;
    model.check(move || {
        count.fetch_add(1, Ordering::Relaxed);
        check();
    });
    let name = std::thread::current().name().unwrap_or("?").to_owned();
    println!("{name}: {} orders", tried.load(Ordering::Relaxed));
}

#[cfg(not(loom))]
fn in_many_orders(_: Option<usize>, check: impl Fn() + Send + Sync + 'static) {
    for _ in 0..if cfg!(miri) { 1 } else { 100 } {
        check();
    }
}

/// Reads frames that say which they are, counted with those that are missing.
struct Listener {
    reader: RingReader,
    frames: u64,
}

impl Listener {
    fn listen(&mut self) -> Popped {
        let mut buffer = [0.0; 3];
        let popped = self.reader.pop(&mut buffer);
        match popped {
            Popped::Samples(count) => {
                for sample in &buffer[..count] {
                    assert_eq!(*sample as u64, self.frames, "a loss is out of its place");
                    self.frames += 1;
                }
            }
            Popped::Gap(lost) => self.frames += lost,
            Popped::Empty => {}
        }
        popped
    }

    fn listen_to_all(&mut self) {
        while self.listen() != Popped::Empty {}
    }
}

/// Puts in frames that say which they are, some of them lost before they came.
fn speak(writer: &mut RingWriter) -> u64 {
    let mut frames = 0;
    for n in 0..STEPS {
        if n % 3 == 1 {
            writer.note_loss(5);
            frames += 5;
        }
        writer.push_or_lose(&[frames as f32, (frames + 1) as f32]);
        frames += 2;
    }
    frames
}

/// Speaks here while another thread listens, over and over. Loom cannot wait for
/// what another order may never bring, so there as often as there are steps.
fn while_listening<L: Send + 'static>(
    mut listener: L,
    listen: impl Fn(&mut L) + Send + 'static,
    speak: impl FnOnce(),
) -> L {
    // Tells the other to end, and orders nothing else.
    let over = Arc::new(AtomicBool::new(false));
    let is_over = Arc::clone(&over);
    let other = thread::spawn(move || {
        let mut times = 0;
        while times < STEPS || !(cfg!(loom) || is_over.load(Ordering::Relaxed)) {
            listen(&mut listener);
            times += 1;
            if cfg!(not(loom)) && times % 8 == 0 {
                thread::yield_now();
            }
        }
        listener
    });
    speak();
    over.store(true, Ordering::Relaxed);
    other.join().expect("no panic")
}

#[test]
fn every_loss_is_heard_of_before_the_samples_that_follow_it() {
    in_many_orders(Some(3), || {
        let (mut writer, reader) = ring(3, 1);
        let listener = Listener { reader, frames: 0 };
        let listen = |listener: &mut Listener| {
            listener.listen();
        };
        let mut frames = 0;
        let mut listener = while_listening(listener, listen, || frames = speak(&mut writer));
        listener.listen_to_all();
        // What was lost last is told with the next that is kept.
        writer.push_or_lose(&[frames as f32]);
        listener.listen_to_all();
        assert_eq!(listener.frames, frames + 1);
    });
}

#[test]
fn a_ring_is_finished_only_when_all_of_it_was_read() {
    in_many_orders(Some(3), || {
        let (mut writer, reader) = ring(8, 1);
        let listener = Listener { reader, frames: 0 };
        let listen = |listener: &mut Listener| {
            listener.listen();
            if listener.reader.is_finished() {
                assert_eq!(listener.frames, 4);
            }
        };
        let mut listener = while_listening(listener, listen, move || {
            writer.push_or_lose(&[0.0, 1.0]);
            writer.note_loss(1);
            writer.push_or_lose(&[3.0]);
        });
        listener.listen_to_all();
        assert!(listener.reader.is_finished() && listener.frames == 4);
    });
}

#[test]
fn what_is_reported_missing_is_marked_once() {
    in_many_orders(Some(3), || {
        let (writer, mut reader) = ring(64, 1);
        let signs = Arc::new(SignsOfLife::default());
        let mut sink = CallbackSink::new(writer, MONO, Arc::clone(&signs));
        let watching = Arc::clone(&signs);
        let watchdog = thread::spawn(move || {
            watching.report_missing(3);
            watching.report_missing(5);
        });
        let failing = Arc::clone(&signs);
        let errors = thread::spawn(move || failing.note_error(ErrorKind::Xrun));
        let (mut samples, mut lost) = (0, 0);
        let mut read = || loop {
            match reader.pop(&mut [0.0; 8]) {
                Popped::Samples(count) => samples += count as u64,
                Popped::Gap(frames) => lost += frames,
                Popped::Empty => break reader.lost_frames(),
            }
        };
        let start = Instant::now();
        sink.take(&[0.0_f32], start);
        sink.take(&[0.0_f32], start + Duration::from_millis(1));
        watchdog.join().expect("no panic");
        errors.join().expect("no panic");
        read();
        sink.take(&[0.0_f32], start + Duration::from_millis(2));
        let counted = read();
        // What an overrun took is counted among the frames, in the callback.
        let overrun = signs.frames() - samples;
        assert!(samples == 3 && overrun > 0, "{samples} {overrun}");
        assert_eq!((lost, counted), (8 + overrun, lost));
    });
}

#[test]
fn a_beat_is_never_half_of_another() {
    let beats = || [Beat::Slow(0.25), Beat::Fast(1.0), Beat::Right];
    in_many_orders(None, move || {
        let said = Arc::new(Said::default());
        let heard = (Arc::clone(&said), 0);
        let listen = move |(said, before): &mut (Arc<Said>, u64)| {
            let (count, beat) = said.newest();
            assert!(count >= *before, "it goes back");
            let expected = count.checked_sub(1).map(|n| beats()[n as usize % 3]);
            assert_eq!(beat, expected.unwrap_or(Beat::Quiet));
            *before = count;
        };
        while_listening(heard, listen, || {
            for n in 0..STEPS as usize {
                said.say(beats()[n % 3]);
            }
        });
        assert_eq!(said.newest().0, u64::from(STEPS));
    });
}

#[test]
fn a_place_is_at_least_as_new_as_its_count() {
    in_many_orders(None, || {
        let place = Arc::new(TapePlace::default());
        let heard = (Arc::clone(&place), 0);
        let listen = |(place, before): &mut (Arc<TapePlace>, u64)| {
            let (count, place) = place.newest();
            assert!(count >= *before, "it goes back");
            if count > 0 {
                assert!(place.expect("a place") >= count as f64, "{place:?} {count}");
            }
            *before = count;
        };
        while_listening(heard, listen, || {
            for n in 1..=STEPS {
                place.say(Some(Seconds(f64::from(n))));
            }
        });
        let last = (u64::from(STEPS), Some(f64::from(STEPS)));
        assert_eq!(place.newest(), last);
    });
}

#[test]
fn an_end_comes_with_how_long_it_still_sounds() {
    in_many_orders(None, || {
        let progress = Arc::new(Progress::default());
        let mut feed = Feed::new(Box::new(|_| false), MONO, Arc::clone(&progress));
        let listen = |progress: &mut Arc<Progress>| {
            if progress.done.load(Ordering::Acquire) {
                assert_eq!(progress.latency_us.load(Ordering::Acquire), 5000);
                assert_eq!(progress.signs.frames(), 48);
            }
        };
        let progress = while_listening(progress, listen, || {
            feed.give(&mut [0.0_f32; 48], Duration::from_millis(4));
        });
        assert!(progress.done.load(Ordering::Acquire));
    });
}
