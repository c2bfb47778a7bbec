//! What one thread hands to another arrives whole and in its place, in whatever
//! order they take turns: many runs of threads here, every order under loom, odd
//! orders under Miri and the sanitizers (`tests/soundness.sh`).

use std::sync::Arc;
use std::time::{Duration, Instant};

#[cfg(loom)]
use loom::thread;
#[cfg(not(loom))]
use std::thread;

use cpal::ErrorKind;

use super::atomic::Ordering;
use crate::audio::callback::{CallbackSink, SignsOfLife};
use crate::audio::feed::{Feed, Progress};
use crate::audio::listen::TapePlace;
use crate::audio::ring::{Popped, RingReader, RingWriter, ring};
use crate::audio::source::StreamFormat;
use crate::audio::ticks::Said;
use crate::signal::rhythm::Beat;
use crate::units::Seconds;

/// How often a thread does its part in one run.
const STEPS: u32 = if cfg!(loom) {
    3
} else if cfg!(miri) {
    12
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
fn in_every_order(held_up: Option<usize>, check: impl Fn() + Send + Sync + 'static) {
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
fn in_every_order(_: Option<usize>, check: impl Fn() + Send + Sync + 'static) {
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

fn is_at_work<T>(thread: &thread::JoinHandle<T>, looks: u32) -> bool {
    // Loom tries every end of a count, but cannot wait for one that may not come.
    #[cfg(loom)]
    return thread.thread().id() != thread::current().id() && looks < STEPS;
    #[cfg(not(loom))]
    {
        if looks % 8 == 7 {
            thread::yield_now();
        }
        !thread.is_finished()
    }
}

#[test]
fn every_loss_is_heard_of_before_the_samples_that_follow_it() {
    in_every_order(Some(4), || {
        let (mut writer, reader) = ring(3, 1);
        let speaker = thread::spawn(move || (speak(&mut writer), writer));
        let mut listener = Listener { reader, frames: 0 };
        let mut looks = 0;
        while is_at_work(&speaker, looks) {
            listener.listen();
            looks += 1;
        }
        let (frames, mut writer) = speaker.join().expect("no panic");
        listener.listen_to_all();
        // What was lost last is told with the next that is kept.
        writer.push_or_lose(&[frames as f32]);
        listener.listen_to_all();
        assert_eq!(listener.frames, frames + 1);
    });
}

#[test]
fn a_ring_is_finished_only_when_all_of_it_was_read() {
    in_every_order(None, || {
        let (mut writer, reader) = ring(8, 1);
        let speaker = thread::spawn(move || {
            writer.push_or_lose(&[0.0, 1.0]);
            writer.note_loss(1);
            writer.push_or_lose(&[3.0]);
        });
        let mut listener = Listener { reader, frames: 0 };
        let mut looks = 0;
        while is_at_work(&speaker, looks) {
            listener.listen();
            if listener.reader.is_finished() {
                assert_eq!(listener.frames, 4);
            }
            looks += 1;
        }
        speaker.join().expect("no panic");
        listener.listen_to_all();
        assert!(listener.reader.is_finished() && listener.frames == 4);
    });
}

#[test]
fn what_is_reported_missing_is_marked_once() {
    in_every_order(Some(3), || {
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
        let start = Instant::now();
        sink.take(&[0.0_f32], start);
        sink.take(&[0.0_f32], start + Duration::from_millis(1));
        watchdog.join().expect("no panic");
        errors.join().expect("no panic");
        sink.take(&[0.0_f32], start + Duration::from_millis(2));
        let (mut samples, mut lost) = (0, 0);
        loop {
            match reader.pop(&mut [0.0; 8]) {
                Popped::Samples(count) => samples += count as u64,
                Popped::Gap(frames) => lost += frames,
                Popped::Empty => break,
            }
        }
        // What an overrun took is counted among the frames, in the callback.
        let overrun = signs.frames() - samples;
        assert!(samples == 3 && overrun > 0, "{samples} {overrun}");
        assert_eq!((lost, reader.lost_frames()), (8 + overrun, lost));
    });
}

#[test]
fn a_beat_is_never_half_of_another() {
    let beats = || [Beat::Slow(0.25), Beat::Fast(1.0), Beat::Right];
    in_every_order(None, move || {
        let said = Arc::new(Said::default());
        let heard = Arc::clone(&said);
        let speaker = thread::spawn(move || {
            for n in 0..STEPS as usize {
                said.say(beats()[n % 3]);
            }
        });
        let (mut before, mut looks) = (0, 0);
        while is_at_work(&speaker, looks) {
            let (count, beat) = heard.newest();
            assert!(count >= before, "it goes back");
            let expected = count.checked_sub(1).map(|n| beats()[n as usize % 3]);
            assert_eq!(beat, expected.unwrap_or(Beat::Quiet));
            (before, looks) = (count, looks + 1);
        }
        speaker.join().expect("no panic");
        assert_eq!(heard.newest().0, u64::from(STEPS));
    });
}

#[test]
fn a_place_is_at_least_as_new_as_its_count() {
    in_every_order(None, || {
        let place = Arc::new(TapePlace::default());
        let heard = Arc::clone(&place);
        let speaker = thread::spawn(move || {
            for n in 1..=STEPS {
                place.say(Some(Seconds(f64::from(n))));
            }
        });
        let (mut before, mut looks) = (0, 0);
        while is_at_work(&speaker, looks) {
            let (count, place) = heard.newest();
            assert!(count >= before, "it goes back");
            if count > 0 {
                assert!(place.expect("a place") >= count as f64, "{place:?} {count}");
            }
            (before, looks) = (count, looks + 1);
        }
        speaker.join().expect("no panic");
        assert_eq!(heard.newest(), (u64::from(STEPS), Some(f64::from(STEPS))));
    });
}

#[test]
fn an_end_comes_with_how_long_it_still_sounds() {
    in_every_order(None, || {
        let progress = Arc::new(Progress::default());
        let mut feed = Feed::new(Box::new(|_| false), MONO, Arc::clone(&progress));
        let callback = thread::spawn(move || {
            feed.give(&mut [0.0_f32; 48], Duration::from_millis(4));
        });
        let mut looks = 0;
        while is_at_work(&callback, looks) {
            if progress.done.load(Ordering::Acquire) {
                assert_eq!(progress.latency_us.load(Ordering::Acquire), 5000);
                assert_eq!(progress.signs.frames(), 48);
            }
            looks += 1;
        }
        callback.join().expect("no panic");
        assert!(progress.done.load(Ordering::Acquire));
    });
}
