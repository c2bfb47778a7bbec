//! Speed and flutter against time stand where they happened: in a recording
//! since its beginning, in what a key keeps since the stretch began.

use std::f64::consts::TAU;

use crate::support::sound::{engine, measure, settings};
use tapewright::readings::{KeepRequest, Keeping, ReferenceKind, Track};
use tapewright::units::{Percent, Seconds};

const RATE_HZ: u32 = 48_000;

/// A tone of 3150 Hz whose speed is off by `percent` of each moment; silent
/// where that says nothing.
fn played(seconds: f64, percent: impl Fn(f64) -> Option<f64>) -> Vec<f32> {
    let rate = f64::from(RATE_HZ);
    let mut turns = 0.0_f64;
    (0..(seconds * rate) as usize)
        .map(|n| {
            let off = percent(n as f64 / rate);
            turns = (turns + 3150.0 * (1.0 + off.unwrap_or(0.0) / 100.0) / rate).fract();
            off.map_or(0.0, |_| (0.5 * (TAU * turns).sin()) as f32)
        })
        .collect()
}

fn track(samples: &[f32]) -> Track {
    let got = measure(settings(RATE_HZ, 1), samples);
    got.track.expect("a tone has a track")
}

/// The middle of each step with what stands there.
fn points(track: &Track, series: &[Option<Percent>]) -> Vec<(f64, Option<f64>)> {
    assert_eq!(track.speed.len(), track.flutter.len());
    let middle = |at: usize| track.from.0 + (at as f64 + 0.5) * track.step.0;
    let point = |(at, value): (usize, &Option<Percent>)| (middle(at), value.map(|it| it.0));
    series.iter().enumerate().map(point).collect()
}

#[test]
fn the_speed_stands_at_its_moment_and_silence_is_a_gap() {
    let sounds = |t: f64| !(0.0..2.0).contains(&t) && !(14.0..17.0).contains(&t);
    let speed = |t: f64| 0.5 + 0.3 * (TAU * 0.4 * t).sin();
    let track = track(&played(30.0, |t| sounds(t).then(|| speed(t))));
    let (mut read, mut silent) = (0, 0);
    for (t, value) in points(&track, &track.speed) {
        // What lies this near to an edge is not all of the step's.
        let near_an_edge = [2.0, 14.0, 17.0, 30.0]
            .iter()
            .any(|edge| (t - edge).abs() < 0.3);
        if near_an_edge {
            continue;
        }
        // The mean of a tenth of a second of this sine is within 0.1 % of that of
        // its middle.
        if let Some(value) = value {
            assert!(sounds(t), "{t}: {value}");
            let error = value - speed(t);
            assert!(error.abs() < 0.003, "{t}: {value}, {error} off");
            read += 1;
        } else {
            assert!(!sounds(t), "{t}: nothing");
            silent += 1;
        }
    }
    assert!(read > 220 && silent > 20, "{read} read, {silent} silent");
    let end = track.from.0 + track.step.0 * track.speed.len() as f64;
    assert!((end - 30.0).abs() < 0.3, "it ends at {end} s");
}

#[test]
fn the_flutter_stands_at_its_moment() {
    // 4 Hz is the reference of the weighting (IEC 60386): a sine reads its peak.
    let depth = |t: f64| if t < 20.0 { 0.1 } else { 0.2 };
    let track = track(&played(30.0, |t| Some(depth(t) * (TAU * 4.0 * t).sin())));
    let flutter = points(&track, &track.flutter);
    let within = |from: f64, to: f64| {
        let (from, to) = (from.max(0.0), to.min(29.0));
        let inside = flutter.iter().filter(move |(t, _)| (from..to).contains(t));
        inside.copied()
    };
    assert!(within(0.0, 4.0).all(|(_, value)| value.is_none()));
    for (from, to, depth) in [(6.0, 19.8, 0.1), (22.0, 29.0, 0.2)] {
        for (t, value) in within(from, to) {
            let value = value.expect("settled");
            assert!((value / depth - 1.0).abs() < 0.05, "{t}: {value}");
        }
    }
}

#[test]
fn it_is_the_same_in_whatever_blocks_it_comes() {
    let samples = played(12.0, |t| Some(0.2 * (TAU * t).sin()));
    let mut engine = engine(settings(RATE_HZ, 1));
    samples.chunks(997).for_each(|chunk| engine.push(chunk));
    assert_eq!(engine.measurement().track, Some(track(&samples)));
}

#[test]
fn what_a_key_keeps_counts_from_its_own_beginning() {
    let mut engine = engine(settings(RATE_HZ, 1));
    let samples = played(40.0, |t| Some(-0.4 + 0.1 * (TAU * 0.8 * t).sin()));
    let (before, after) = samples.split_at(10 * RATE_HZ as usize);
    engine.push(before);
    engine.keep(KeepRequest {
        at_least: Seconds(10.0),
        at_most: Seconds(30.0),
    });
    let mut kept = None;
    for chunk in after.chunks(4800) {
        engine.push(chunk);
        if let Some(Keeping::Done(measurement)) = engine.reading().keeping {
            kept = Some(measurement);
            break;
        }
    }
    let kept = kept.expect("kept within half a minute");
    let track = kept.track.as_ref().expect("a track");
    assert!(track.from.0.abs() <= track.step.0, "{:?}", track.from);
    let length = track.step.0 * track.speed.len() as f64;
    assert!((length - kept.duration.0).abs() < 0.5, "{length} s");
    assert!(track.speed.iter().all(Option::is_some));
    let mean = track.speed.iter().flatten().map(|it| it.0).sum::<f64>() / track.speed.len() as f64;
    assert!((mean + 0.4).abs() < 0.02, "{mean}");
    assert!(track.flutter.iter().flatten().count() > 50);
}

#[test]
fn by_a_note_there_is_a_speed_and_no_flutter() {
    let mut by_note = settings(RATE_HZ, 1);
    by_note.conditions.kind = ReferenceKind::Note;
    let got = measure(by_note, &played(15.0, |_| Some(0.3)));
    let track = got.track.expect("a track");
    assert!(track.speed.iter().any(Option::is_some));
    assert!(track.flutter.iter().all(Option::is_none));
}
