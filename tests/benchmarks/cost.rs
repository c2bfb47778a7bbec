//! What the measurement costs: time of one core, memory, and how late it is.
//!
//! `cargo bench --bench cost`: an hour of stereo at 48 kHz through the engine
//! with 30 readings a second, and the delay from a sample going into the ring
//! to a state that has it.

#[path = "../support/mod.rs"]
mod support;

use std::f64::consts::TAU;
use std::sync::mpsc::channel;
use std::thread;
use std::time::{Duration, Instant};

use support::{memory, sound};
use tapewright::audio::analysis::Analysis;
use tapewright::audio::ring::ring;
use tapewright::audio::source::{SourceEvent, StreamFormat};
use tapewright::readings::{ChannelChoice, Conditions, Engine, Target};
use tapewright::units::Percent;

const RATE: u32 = 48_000;

/// Ten seconds of stereo that can be repeated without a seam.
fn ten_seconds() -> Vec<f32> {
    (0..10 * RATE)
        .flat_map(|n| {
            let t = f64::from(n) / f64::from(RATE);
            let turns = 3118.5 * t + 0.8 * (TAU * 1.1 * t).sin();
            let sample = (0.5 * (TAU * turns).sin()) as f32;
            [sample, sample * 0.9]
        })
        .collect()
}

fn stereo_engine() -> Engine {
    sound::engine(sound::settings(RATE, 2))
}

fn an_hour() {
    let samples = ten_seconds();
    let mut engine = stereo_engine();
    let mut readings = 0u32;
    let begun = Instant::now();
    for minute in 0..60 {
        for _ in 0..6 {
            for block in samples.chunks(2 * RATE as usize / 30) {
                engine.push(block);
                readings += u32::from(engine.reading().speed.is_some());
            }
        }
        if minute % 15 == 14 || minute == 0 {
            let kb = memory::resident_kib("self").map_or("?".into(), |kb| kb.to_string());
            println!("after {:2} min of sound: {kb} kB resident", minute + 1);
        }
    }
    let took = begun.elapsed().as_secs_f64();
    println!(
        "an hour of stereo with {readings} readings took {took:.1} s: {:.2} % of one core live, {:.0} times real time",
        took / 36.0,
        3600.0 / took
    );
    let mut engine = stereo_engine();
    let begun = Instant::now();
    for _ in 0..60 {
        engine.push(&samples);
    }
    let took = begun.elapsed().as_secs_f64();
    println!(
        "ten minutes without live readings: {:.0} times real time",
        600.0 / took
    );
}

/// From the first sample of a step of 3 % going into the ring to a state (a leap
/// of more than 4 % is held back until it is over)
/// whose needle has begun to move.
fn lateness() -> Option<Duration> {
    let (events, received) = channel();
    let analysis = Analysis::start(
        received,
        Conditions::default(),
        ChannelChoice::Auto,
        Percent(0.5),
        Target::Frequency,
        None,
        None,
    )
    .ok()?;
    let (mut writer, reader) = ring(RATE as usize, 1);
    events
        .send(SourceEvent::Connected {
            format: StreamFormat {
                rate_hz: RATE,
                channels: 1,
            },
            reader,
            may_be_another: false,
            name: "benchmark".into(),
        })
        .ok()?;
    let mut turns = 0.0f64;
    // Blocks of 5 ms, paced as a sound card paces them.
    let block = RATE as usize / 200;
    let begun = Instant::now();
    for count in 0..600u32 {
        let hz = if count < 500 { 3150.0 } else { 3244.5 };
        let samples: Vec<f32> = (0..block)
            .map(|_| {
                turns = (turns + hz / f64::from(RATE)).fract();
                (0.5 * (TAU * turns).sin()) as f32
            })
            .collect();
        let due = Duration::from_millis(5) * count;
        thread::sleep(due.saturating_sub(begun.elapsed()));
        writer.push_or_lose(&samples);
        if count < 500 {
            continue;
        }
        // The first sample of the step was recorded one block ago.
        let until = due + Duration::from_millis(5);
        while begun.elapsed() < until {
            let state = analysis.newest();
            let needle = state.reading.as_ref().and_then(|reading| reading.speed);
            if needle.is_some_and(|speed| speed.needle.0 > 0.1) {
                return begun.elapsed().checked_sub(Duration::from_millis(5) * 500);
            }
            thread::sleep(Duration::from_micros(200));
        }
    }
    None
}

fn main() {
    an_hour();
    let mut late: Vec<Duration> = (0..20).filter_map(|_| lateness()).collect();
    late.sort();
    match late.as_slice() {
        [] => println!("the step was never seen"),
        all => println!(
            "from the ring to the state: median {:.1} ms, worst of {} {:.1} ms",
            all[all.len() / 2].as_secs_f64() * 1e3,
            all.len(),
            all[all.len() - 1].as_secs_f64() * 1e3
        ),
    }
}
