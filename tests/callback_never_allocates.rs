//! The work of the callbacks neither takes nor gives back memory and makes no
//! call of the system: of an input whatever the sample format, channels, block
//! length, losses and errors, of the ticks, the copy and the tone whatever they
//! are told. And what it makes of a sample is exact.

#![allow(unsafe_code)] // an allocator cannot be written without

#[path = "support/no_calls.rs"]
#[cfg(target_os = "linux")]
mod no_calls;
#[path = "support/sample_formats.rs"]
mod sample_formats;

use std::alloc::{GlobalAlloc, Layout, System};
use std::cell::Cell;
use std::hint::black_box;
use std::sync::Arc;
use std::time::{Duration, Instant};

use cpal::ErrorKind;
use sample_formats::{Steps, by_format};
use tapewright::audio::callback::{CallbackSink, FORMATS, MOST_CHANNELS, SignsOfLife};
use tapewright::audio::feed::{self, Feed, FillSamples, Progress};
use tapewright::audio::listen::{self, TapePlace};
use tapewright::audio::pick::Pick;
use tapewright::audio::ring::{Popped, RingReader, ring};
use tapewright::audio::source::StreamFormat;
use tapewright::audio::ticks::{self, Said};
use tapewright::readings::matching::Copy;
use tapewright::signal::programme::Programme;
use tapewright::signal::rhythm::Beat;
use tapewright::signal::timed::bursts::Bursts;
use tapewright::signal::tone::Tone;
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

    unsafe fn alloc_zeroed(&self, layout: Layout) -> *mut u8 {
        count();
        unsafe { System.alloc_zeroed(layout) }
    }

    unsafe fn realloc(&self, memory: *mut u8, layout: Layout, new_size: usize) -> *mut u8 {
        count();
        unsafe { System.realloc(memory, layout, new_size) }
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

/// Frames in a block: none, one, odd ones, those around what is converted at a
/// time, and more than any sound system delivers.
const LENGTHS: [usize; 14] = [
    0, 1, 2, 3, 63, 64, 441, 511, 512, 513, 1023, 1024, 1025, 4999,
];
const LONGEST: usize = 65_536;

fn of_channels(channels: u16) -> StreamFormat {
    StreamFormat {
        rate_hz: 48_000,
        channels,
    }
}

#[test]
fn the_counter_sees_what_is_taken_and_given_back() {
    assert_eq!(allocations(|| drop(black_box(Box::new(1_u8)))), 2);
    assert_eq!(allocations(|| drop(black_box(vec![0_u8; 99]))), 2);
    let mut grows = Vec::with_capacity(1);
    assert_eq!(allocations(|| grows.extend(black_box([1_u8; 99]))), 1);
}

/// The usual ones, the last alone, the last and the first, two in the middle.
fn picks(channels: u16) -> Vec<Pick> {
    let mut picks = vec![Pick::usual(channels)];
    let middle = channels / 2;
    let named = [
        (channels > 1, format!("{channels}")),
        (channels > 1, format!("{channels},1")),
        (channels > 3, format!("{middle},{}", middle + 1)),
    ];
    for (_, text) in named.iter().filter(|(there, _)| *there) {
        picks.push(text.parse().expect("numbers"));
    }
    picks
}

/// Blocks of all lengths into a ring that runs over, with losses and errors
/// between them.
fn takes_all_blocks<T: Steps>(channels: u16, pick: Pick, longest: usize) -> u64 {
    let (writer, reader) = ring(1000, pick.channels());
    let signs = Arc::new(SignsOfLife::default());
    let mut sink = CallbackSink::taking(pick, writer, of_channels(channels), Arc::clone(&signs));
    let samples = vec![T::at(T::FULL / 3); longest * usize::from(channels)];
    let start = Instant::now();
    let mut blocks = 0;
    let mut frames = 0;
    let counted = allocations(|| {
        for length in LENGTHS.into_iter().chain([longest]) {
            sink.take(&samples[..length * usize::from(channels)], start);
            signs.report_missing(3);
            signs.note_error(ErrorKind::Xrun);
            frames += length as u64;
            blocks += 1;
        }
        // Half a frame more, which no sound system delivers.
        sink.take(&samples[..usize::from(channels) / 2], start);
    });
    let what = format_args!("{:?}, {pick} of {channels}", T::FORMAT);
    assert_eq!(counted, 0, "{what}");
    let offered = reader.offered_frames();
    assert_eq!(offered, frames, "{what}");
    assert!(reader.lost_frames() > 0, "the ring was to run over");
    blocks
}

fn takes_all_channels<T: Steps>() -> u64 {
    let longest = |channels| [1, 2, 5, 32, MOST_CHANNELS].contains(&channels);
    let tries = |channels| {
        picks(channels).into_iter().map(move |pick| {
            let longest = if longest(channels) { LONGEST } else { 4999 };
            takes_all_blocks::<T>(channels, pick, longest)
        })
    };
    (1..=MOST_CHANNELS).flat_map(tries).sum()
}

#[test]
fn blocks_of_every_kind_are_taken_without_allocating() {
    let mut blocks = 0;
    for format in FORMATS {
        blocks += by_format!(format, takes_all_channels());
    }
    println!(
        "{blocks} kinds of block in {} formats, 1 to {MOST_CHANNELS} channels",
        FORMATS.len()
    );
}

/// Reads all that waits: samples and frames that are missing.
fn read_all(reader: &mut RingReader) -> (u64, u64) {
    let mut buffer = vec![0.0; 4096];
    let (mut samples, mut missing) = (0, 0);
    loop {
        match reader.pop(&mut buffer) {
            Popped::Samples(count) => samples += count as u64,
            Popped::Gap(frames) => missing += frames,
            Popped::Empty => return (samples, missing),
        }
    }
}

/// Nobody reads: more blocks come than arrivals and marks have room.
#[test]
fn full_rings_of_arrivals_and_of_marks_cost_no_memory_and_no_frame_is_unmarked() {
    let (writer, mut reader) = ring(48_000, 1);
    let signs = Arc::new(SignsOfLife::default());
    let mut sink = CallbackSink::new(writer, of_channels(1), Arc::clone(&signs));
    let start = Instant::now();
    let blocks = 3000;
    let counted = allocations(|| {
        for _ in 0..blocks {
            signs.report_missing(1);
            sink.take(&[0.5_f32], start);
        }
    });
    assert_eq!(counted, 0);
    let arrivals = std::iter::from_fn(|| reader.pop_arrival()).count();
    assert!(
        arrivals < blocks,
        "the ring of arrivals was to be full: {arrivals}"
    );
    let (before, marked) = read_all(&mut reader);
    assert_eq!(before, marked, "each has its mark");
    assert!(before < blocks as u64, "the ring of marks was to be full");
    // There is room again: all the rest in one mark.
    assert_eq!(allocations(|| sink.take(&[0.5_f32], start)), 0);
    let (after, rest) = read_all(&mut reader);
    assert_eq!(before + after + marked + rest, 2 * blocks as u64 + 1);
}

/// As cpal has them.
#[rustfmt::skip]
const KINDS: [ErrorKind; 14] = {
    use ErrorKind::{
        BackendError, DeviceBusy, DeviceChanged, DeviceNotAvailable, HostUnavailable, InvalidInput,
        Other, PermissionDenied, RealtimeDenied, ResourceExhausted, StreamInvalidated,
        UnsupportedConfig, UnsupportedOperation, Xrun,
    };
    [
        BackendError, DeviceBusy, DeviceChanged, DeviceNotAvailable, HostUnavailable, InvalidInput,
        Other, PermissionDenied, RealtimeDenied, ResourceExhausted, StreamInvalidated,
        UnsupportedConfig, UnsupportedOperation, Xrun,
    ]
};

#[test]
fn errors_of_every_kind_are_noted_without_allocating() {
    let (writer, reader) = ring(48_000, 2);
    let signs = Arc::new(SignsOfLife::default());
    let mut sink = CallbackSink::new(writer, of_channels(2), Arc::clone(&signs));
    let start = Instant::now();
    for kind in KINDS {
        // As the callback of an error does, with an error as it comes.
        let note = |error: cpal::Error| signs.note_error(error.kind());
        let plain = cpal::Error::new(kind);
        let fixed = cpal::Error::with_message(kind, "it broke");
        assert_eq!(allocations(|| note(plain)), 0, "{kind:?}");
        assert_eq!(allocations(|| note(fixed)), 0, "{kind:?}");
        // A text that the sound library made up: it took the memory on this thread,
        // and that is given back with the error; nothing else is.
        let made_up = cpal::Error::with_message(kind, String::from("it broke"));
        assert_eq!(allocations(|| note(made_up)), 1, "{kind:?}");
        signs.report_missing(3);
        assert_eq!(allocations(|| sink.take(&[0.0_f32; 96], start)), 0);
    }
    assert!(reader.lost_frames() >= 3 * KINDS.len() as u64);
}

/// Full scale, the middle and the least step beside them, against the fraction
/// that they are.
fn is_taken_exactly<T: Steps>() {
    let full = T::FULL;
    let steps = [-full, 1 - full, -full / 2, -1, 0, 1, full / 2, full - 1];
    let (writer, mut reader) = ring(64, 1);
    let mut sink = CallbackSink::new(writer, of_channels(1), Arc::default());
    sink.take(&steps.map(T::at), Instant::now());
    let mut taken = [9.0_f32; 8];
    assert_eq!(reader.pop(&mut taken), Popped::Samples(8));
    // The nearest that single precision has.
    let exact = steps.map(|step| (step as f64 / full as f64) as f32);
    assert_eq!(taken.to_vec(), exact.to_vec(), "{:?}", T::FORMAT);
}

/// What single precision does not hold is nearest, and 1 is the step below it.
fn is_given_exactly<T: Steps>() {
    let full = T::FULL as f64;
    let steps = [-full, -full / 2.0, -1.0, 0.0, 1.0, full / 2.0, full - 1.0];
    let mut fractions: Vec<f32> = steps.iter().map(|step| (step / full) as f32).collect();
    fractions.extend([1.0, 7.0, -7.0, f32::INFINITY, f32::NEG_INFINITY, f32::NAN]);
    let highest = full - 1.0;
    let wanted = steps
        .into_iter()
        .chain([highest, highest, -full, highest, -full, 0.0]);
    let fill = fractions.clone();
    let fill: FillSamples = Box::new(move |buffer| {
        buffer.copy_from_slice(&fill);
        true
    });
    let mut feed = Feed::new(fill, of_channels(1), Arc::default());
    let mut given = vec![T::at(1); fractions.len()];
    feed.give(&mut given, Duration::ZERO);
    let exact_to = if full > f64::from(1 << 23) {
        full / f64::from(1 << 24)
    } else if full < f64::from(1 << 23) {
        0.0
    } else {
        // A float has half a step more below 1.
        0.5
    };
    for ((sample, step), fraction) in given.into_iter().zip(wanted).zip(fractions) {
        let off = (sample.step() - step).abs();
        assert!(off <= exact_to, "{:?}: {fraction} is {sample:?}", T::FORMAT);
    }
}

#[test]
fn every_format_is_taken_and_given_exactly() {
    for format in FORMATS {
        by_format!(format, is_taken_exactly());
        by_format!(format, is_given_exactly());
    }
}

/// What fills an output of this format, and what tells it something for a while,
/// then no more: a screen that hangs.
type Player = (FillSamples, Box<dyn FnMut(usize) + Send>);

fn ticks(format: StreamFormat) -> Player {
    let said = Arc::new(Said::default());
    let fill = ticks::filler(Arc::clone(&said), format, Decibels(-20.0), Seconds(0.1));
    let [slow, fast] = [Beat::Slow(0.3), Beat::Fast(1.0)];
    let beats = [
        slow,
        Beat::Quiet,
        fast,
        Beat::Right,
        Beat::Settled,
        Beat::Stop,
    ];
    let tell = move |n| said.say(beats[n / 8 % beats.len()]);
    (fill, Box::new(tell))
}

fn copy(format: StreamFormat) -> Player {
    let samples: Vec<f32> = (0..80_000).map(|n| (n as f32 * 0.3).sin()).collect();
    let copy = Arc::new(Copy::prepare(&samples, 8000).expect("a good copy"));
    let place = Arc::new(TapePlace::default());
    let level = Decibels(-20.0);
    let fill = listen::filler(Arc::clone(&place), copy, format, level, Seconds(0.1));
    // Now here, now there, now nowhere.
    let tell = move |n: usize| place.say((n % 50 < 40).then_some(Seconds(((n / 25) % 8) as f64)));
    (fill, Box::new(tell))
}

/// Tones and marks with pauses, in all channels and in one; to its end and on.
fn tone(format: StreamFormat) -> Player {
    let mut programme = Programme::default();
    for _ in 0..4 {
        programme.add(Tone::new(3150.0, 48_000.0, 0.5, 30_000, 480), None);
        programme.pause(1000);
        programme.add(Tone::new(1000.0, 48_000.0, 0.5, 30_000, 480), Some(0));
        programme.add(Bursts::new(0.5, 48_000.0, 0.5, 60_000), None);
    }
    let fill = feed::playing(Box::new(programme), format.channels, u64::MAX);
    (fill, Box::new(|_| {}))
}

fn sounds_in_all_blocks<T: Steps>(player: fn(StreamFormat) -> Player) -> u64 {
    let mut blocks = 0;
    for channels in [1, 2, 3, 5, 8, 32, MOST_CHANNELS] {
        let format = of_channels(channels);
        let (fill, mut tell) = player(format);
        let mut feed = Feed::new(fill, format, Arc::new(Progress::default()));
        let mut block = vec![T::at(1); LONGEST * usize::from(channels)];
        let mut heard = 0;
        let counted = allocations(|| {
            for n in 0..60 {
                if n < 40 {
                    tell(n);
                }
                let frames = match n % 15 {
                    14 if n < 15 => LONGEST,
                    14 => 4800,
                    n => LENGTHS[n],
                };
                let block = &mut block[..frames * usize::from(channels)];
                feed.give(block, Duration::from_millis(40));
                heard += block.iter().filter(|it| **it != T::EQUILIBRIUM).count();
                blocks += 1;
            }
        });
        assert_eq!(counted, 0, "{:?}, {channels} channels", T::FORMAT);
        assert!(heard > 2000, "it was to sound: {heard}");
    }
    blocks
}

#[test]
fn ticks_copy_and_tone_sound_in_every_format_without_allocating() {
    let mut blocks = 0;
    for format in FORMATS {
        for player in [ticks, copy, tone] {
            blocks += by_format!(format, sounds_in_all_blocks(player));
        }
    }
    println!("{blocks} blocks in {} formats", FORMATS.len());
}
