//! How long the sound system's callbacks take, at worst.
//!
//! `cargo bench --bench callback [-- CALLS]`: a million blocks of each format and
//! length in turn, each timed by the clock on the wall and by that of the
//! processor, which does not count what other programs take. A share is that of
//! the time until the next block, at 48 kHz; at 192 kHz it is four times as much.
//! The hardest input: two of 32 channels, frames missing and an error before every
//! block, nobody who reads the arrivals.

#[path = "../support/sample_formats.rs"]
mod sample_formats;

use std::sync::Arc;
use std::time::{Duration, Instant};

use cpal::ErrorKind;
use rustix::time::{ClockId, Timespec, clock_gettime};
use sample_formats::{Steps, by_format};
use tapewright::audio::callback::{CallbackSink, FORMATS, SignsOfLife};
use tapewright::audio::feed::{self, Feed, FillSamples, Progress};
use tapewright::audio::listen::{self, TapePlace};
use tapewright::audio::pick::Pick;
use tapewright::audio::ring::{Popped, live_ring};
use tapewright::audio::source::StreamFormat;
use tapewright::audio::ticks::{self, Said};
use tapewright::readings::matching::Copy;
use tapewright::signal::rhythm::Beat;
use tapewright::signal::tone::Tone;
use tapewright::units::{Decibels, Seconds};

const RATE_HZ: u32 = 48_000;
const LENGTHS: [usize; 3] = [64, 1024, 4096];
/// Outputs are asked for shorter blocks.
const OUTPUT_FRAMES: usize = 1024;

fn processor_ns() -> i64 {
    let Timespec { tv_sec, tv_nsec } = clock_gettime(ClockId::ThreadCPUTime);
    tv_sec * 1_000_000_000 + tv_nsec
}

/// Time of every call, in nanoseconds, in order of size.
struct Times {
    wall: Vec<u32>,
    processor: Vec<u32>,
}

impl Times {
    /// `between` is not timed.
    fn of(calls: usize, mut work: impl FnMut(), mut between: impl FnMut(usize)) -> Self {
        let mut times = Self {
            wall: Vec::with_capacity(calls),
            processor: Vec::with_capacity(calls),
        };
        for n in 0..calls {
            between(n);
            let (wall, processor) = (Instant::now(), processor_ns());
            work();
            times.processor.push((processor_ns() - processor) as u32);
            times.wall.push(wall.elapsed().as_nanos() as u32);
        }
        times.wall.sort_unstable();
        times.processor.sort_unstable();
        times
    }

    fn say(&self, what: &str, frames: usize) -> f64 {
        let block_us = frames as f64 * 1e6 / f64::from(RATE_HZ);
        let at = |times: &[u32], share: f64| {
            let n = (share * (times.len() - 1) as f64) as usize;
            f64::from(times[n]) / 1000.0
        };
        let of = |times| [at(times, 0.5), at(times, 0.999), at(times, 1.0)];
        let [wall, processor] = [of(&self.wall), of(&self.processor)];
        let share = 100.0 * processor[2] / block_us;
        println!(
            "| {what} | {frames} | {:.2} | {:.2} | {:.1} | {:.2} | {:.2} | {:.1} | {share:.2} | {:.2} |",
            processor[0],
            processor[1],
            processor[2],
            wall[0],
            wall[1],
            wall[2],
            100.0 * wall[2] / block_us,
        );
        share
    }
}

fn input<T: Steps>(calls: usize, hard: bool, frames: usize) -> f64 {
    let channels = if hard { 32 } else { 2 };
    let pick: Pick = if hard { "32,1" } else { "1,2" }.parse().expect("numbers");
    let format = StreamFormat {
        rate_hz: RATE_HZ,
        channels,
    };
    let (writer, mut reader) = live_ring(RATE_HZ, 2);
    let signs = Arc::new(SignsOfLife::default());
    let mut sink = CallbackSink::taking(pick, writer, format, Arc::clone(&signs));
    let block = vec![T::at(T::FULL / 3); frames * usize::from(channels)];
    let mut buffer = vec![0.0; 2 * frames];
    let start = Instant::now();
    let take = || sink.take(&block, start);
    let read = |_| {
        while reader.pop(&mut buffer) != Popped::Empty {}
        if hard {
            signs.report_missing(3);
            signs.note_error(ErrorKind::Xrun);
        } else {
            while reader.pop_arrival().is_some() {}
        }
    };
    let kind = if hard { "the hardest" } else { "stereo" };
    Times::of(calls, take, read).say(&format!("{}, {kind}", T::FORMAT), frames)
}

fn output(calls: usize, what: &str, fill: FillSamples, tell: impl FnMut(usize)) -> f64 {
    let mut feed = Feed::new(fill, STEREO, Arc::new(Progress::default()));
    let mut block = vec![0.0_f32; 2 * OUTPUT_FRAMES];
    let give = || feed.give(&mut block, Duration::ZERO);
    Times::of(calls, give, tell).say(what, OUTPUT_FRAMES)
}

const STEREO: StreamFormat = StreamFormat {
    rate_hz: RATE_HZ,
    channels: 2,
};

fn outputs(calls: usize) -> f64 {
    let level = Decibels(-20.0);
    let said = Arc::new(Said::default());
    let fill = ticks::filler(Arc::clone(&said), STEREO, level, Seconds(0.0));
    let ticks = output(calls, "ticks", fill, |_| said.say(Beat::Fast(1.0)));
    let samples: Vec<f32> = (0..80_000).map(|n| (n as f32 * 0.3).sin()).collect();
    let copy = Arc::new(Copy::prepare(&samples, 8000).expect("a good copy"));
    let place = Arc::new(TapePlace::default());
    let fill = listen::filler(Arc::clone(&place), copy, STEREO, level, Seconds(0.0));
    // Elsewhere every second block: two voices at once.
    let tell = |n| place.say(Some(Seconds((n / 2 % 9) as f64)));
    let copy = output(calls, "copy", fill, tell);
    let tone = Tone::new(3150.0, f64::from(RATE_HZ), 0.5, u64::MAX, 480);
    let fill = feed::playing(Box::new(tone), 2, u64::MAX);
    let tone = output(calls, "tone", fill, |_| {});
    ticks.max(copy).max(tone)
}

fn main() {
    let calls = std::env::args().find_map(|it| it.parse().ok());
    let calls: usize = calls.unwrap_or(1_000_000).max(1);
    println!(
        "{calls} calls a row; µs of the processor: median, 99.9 %, worst; of the wall; worst as a share of the block, %"
    );
    println!(
        "| block | frames | median | 99.9 % | worst | wall: median | 99.9 % | worst | share % | of the wall % |"
    );
    println!("| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |");
    let mut worst: f64 = 0.0;
    for hard in [false, true] {
        for format in FORMATS {
            for frames in LENGTHS {
                worst = worst.max(by_format!(format, input(calls, hard, frames)));
            }
        }
    }
    let outputs = outputs(calls);
    println!(
        "worst of all inputs: {worst:.1} % of a block; of the outputs: {outputs:.1} %; processor time, {calls} calls each"
    );
}
