//! The work of the callbacks neither takes nor gives back memory: of an input
//! whatever the sample format, block length and losses, of the ticks and the
//! copy whatever they are told.

#![allow(unsafe_code)] // an allocator cannot be written without

use std::alloc::{GlobalAlloc, Layout, System};
use std::cell::Cell;
use std::hint::black_box;
use std::sync::Arc;
use std::time::{Duration, Instant};

use cpal::ErrorKind;
use tapewright::audio::feed::{Feed, FillSamples, Progress};
use tapewright::audio::input::{CallbackSink, SignsOfLife};
use tapewright::audio::listen::{self, TapePlace};
use tapewright::audio::pick::Pick;
use tapewright::audio::ring::ring;
use tapewright::audio::source::StreamFormat;
use tapewright::audio::ticks::{self, Said};
use tapewright::readings::matching::Copy;
use tapewright::signal::rhythm::Beat;
use tapewright::units::{Decibels, Seconds};

struct Counting;

thread_local! {
    static WATCHED: Cell<bool> = const { Cell::new(false) };
    // Each test has its thread; what the others allocate is none of its.
    static COUNTED: Cell<u64> = const { Cell::new(0) };
}

fn count() {
    // The flag may be gone while a thread ends; nothing is watched then.
    if WATCHED.try_with(Cell::get).unwrap_or(false) {
        COUNTED.set(COUNTED.get() + 1);
    }
}

// SAFETY: every call is handed to the system's allocator as it came; counting
// touches only thread-locals without destructor.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        count();
        unsafe { System.alloc(layout) }
    }

    unsafe fn dealloc(&self, memory: *mut u8, layout: Layout) {
        count();
        unsafe { System.dealloc(memory, layout) }
    }
}

#[global_allocator]
static ALLOCATOR: Counting = Counting;

/// Calls to the allocator during `work`, on this thread.
fn allocations(work: impl FnOnce()) -> u64 {
    let before = COUNTED.get();
    WATCHED.set(true);
    work();
    WATCHED.set(false);
    COUNTED.get() - before
}

const STEREO: StreamFormat = StreamFormat {
    rate_hz: 48_000,
    channels: 2,
};

#[test]
fn the_counter_sees_an_allocation() {
    assert_eq!(allocations(|| drop(black_box(Box::new(1_u8)))), 2);
}

#[test]
fn blocks_of_every_kind_are_taken_without_allocating() {
    let (writer, reader) = ring(1000, STEREO.channels);
    let signs = Arc::new(SignsOfLife::default());
    let mut sink = CallbackSink::new(writer, STEREO, Arc::clone(&signs));
    let start = Instant::now();
    let floats = vec![0.25_f32; 10_000];
    let words = vec![-1000_i16; 10_000];
    let middle = vec![cpal::I24::new(77).expect("in range"); 10_000];
    let counted = allocations(|| {
        for (n, frames) in [1, 64, 512, 4999].into_iter().cycle().take(100).enumerate() {
            let now = start + Duration::from_millis(10 * n as u64);
            sink.take(&floats[..2 * frames], now);
            sink.take(&words[..2 * frames], now);
            sink.take(&middle[..2 * frames], now);
        }
    });
    assert_eq!(counted, 0);
    assert!(reader.lost_frames() > 0, "the ring was to run over");
}

#[test]
fn two_of_eight_channels_are_taken_without_allocating() {
    let eight = StreamFormat {
        channels: 8,
        ..STEREO
    };
    for pick in ["3", "3,4", "8,1"] {
        let pick: Pick = pick.parse().expect("numbers");
        let (writer, reader) = ring(1000, pick.channels());
        let signs = Arc::new(SignsOfLife::default());
        let mut sink = CallbackSink::taking(pick, writer, eight, Arc::clone(&signs));
        let words = vec![-1000_i16; 8 * 4999];
        let start = Instant::now();
        let counted = allocations(|| {
            for frames in [1, 64, 512, 4999] {
                sink.take(&words[..8 * frames], start);
            }
        });
        assert_eq!(counted, 0, "{pick}");
        assert!(reader.lost_frames() > 0, "the ring was to run over");
    }
}

#[test]
fn errors_and_losses_are_noted_without_allocating() {
    let (writer, reader) = ring(48_000, STEREO.channels);
    let signs = Arc::new(SignsOfLife::default());
    let mut sink = CallbackSink::new(writer, STEREO, Arc::clone(&signs));
    let start = Instant::now();
    let counted = allocations(|| {
        for n in 0..50 {
            signs.note_error(ErrorKind::Xrun);
            signs.note_error(ErrorKind::BackendError);
            signs.note_error(ErrorKind::DeviceNotAvailable);
            signs.report_missing(3);
            sink.take(&[0.0_f32; 96], start + Duration::from_millis(n));
        }
    });
    assert_eq!(counted, 0);
    assert!(reader.lost_frames() >= 150);
}

/// What is asked of the output callback: blocks of every length, whose filler
/// is told something for a while, then no more: a screen that hangs.
fn assert_sounds(fill: FillSamples, mut tell: impl FnMut(usize)) {
    let mut feed = Feed::new(fill, STEREO, Arc::new(Progress::default()));
    let mut floats = vec![0.0_f32; 10_000];
    let mut words = vec![0_i16; 10_000];
    let latency = Duration::from_millis(40);
    let mut heard = 0;
    let counted = allocations(|| {
        for n in 0..600 {
            if n < 300 {
                tell(n);
            }
            let frames = [1, 64, 512, 4999][n % 4];
            feed.give(&mut floats[..2 * frames], latency);
            feed.give(&mut words[..2 * frames], latency);
            heard += floats[..2 * frames].iter().filter(|it| **it != 0.0).count();
            heard += words[..2 * frames].iter().filter(|it| **it != 0).count();
        }
    });
    assert_eq!(counted, 0);
    assert!(heard > 10_000, "it was to sound: {heard}");
}

#[test]
fn ticks_sound_without_allocating() {
    let said = Arc::new(Said::default());
    let fill = ticks::filler(Arc::clone(&said), STEREO, Decibels(-20.0), Seconds(0.1));
    let [slow, fast] = [Beat::Slow(0.3), Beat::Fast(1.0)];
    let beats = [
        slow,
        Beat::Quiet,
        fast,
        Beat::Right,
        Beat::Settled,
        Beat::Stop,
    ];
    assert_sounds(fill, |n| said.say(beats[n / 8 % beats.len()]));
}

#[test]
fn a_copy_sounds_without_allocating() {
    let samples: Vec<f32> = (0..80_000).map(|n| (n as f32 * 0.3).sin()).collect();
    let copy = Arc::new(Copy::prepare(&samples, 8000).expect("a good copy"));
    let place = Arc::new(TapePlace::default());
    let level = Decibels(-20.0);
    let fill = listen::filler(Arc::clone(&place), copy, STEREO, level, Seconds(0.1));
    // Now here, now there, now nowhere.
    assert_sounds(fill, |n| {
        place.say((n % 50 < 40).then_some(Seconds((n / 25) as f64)));
    });
}
