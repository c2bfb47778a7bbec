//! A tone is read from −20 to +25 % of the nominal and not beyond; half and
//! double speed and the other mains frequency are named; a step of the speed
//! is never misread.

use std::f64::consts::TAU;

use crate::support::dice::Dice;
use crate::support::sound;
use tapewright::readings::{CautionCode, Engine, Likely, Problem, ToneState};

const RATE: u32 = 48_000;

fn engine(nominal_hz: f64) -> Engine {
    sound::engine(sound::settings_at(RATE, 1, nominal_hz))
}

/// A tone with a little noise whose frequency is a function of time.
fn tone(seconds: f64, hz: impl Fn(f64) -> f64) -> Vec<f32> {
    let (mut turns, mut dice) = (0.0, Dice::new(99));
    (0..(seconds * f64::from(RATE)) as usize)
        .map(|n| {
            turns += hz(n as f64 / f64::from(RATE)) / f64::from(RATE);
            (0.3 * (TAU * turns).sin() + dice.between(-0.005, 0.005)) as f32
        })
        .collect()
}

#[test]
fn the_range_is_minus_20_to_plus_25_percent() {
    for nominal in [3150.0, 3000.0, 1000.0, 440.0, 315.0] {
        for percent in [-19.5, -10.0, 0.0, 10.0, 24.5] {
            let mut engine = engine(nominal);
            engine.push(&tone(3.0, |_| nominal * (1.0 + percent / 100.0)));
            let got = engine.measurement();
            let read = got.speed.map_or(f64::NAN, |speed| speed.deviation.0);
            let off = (read - percent).abs();
            assert!(off < 0.001, "{nominal}: {percent} % reads {read}");
            let speed = engine.reading().speed;
            let shown = speed.map_or(f64::NAN, |speed| speed.needle.0);
            let off = (shown - percent).abs();
            assert!(off < 0.02, "{nominal}: {percent} % shows {shown}");
        }
        for percent in [-21.0, 26.0] {
            let mut engine = engine(nominal);
            engine.push(&tone(3.0, |_| nominal * (1.0 + percent / 100.0)));
            let tone = engine.reading().tone;
            let wrong = matches!(tone, ToneState::Wrong(_));
            assert!(wrong, "{nominal}: {percent} %: {tone:?}");
            assert!(engine.reading().speed.is_none());
            let usable = engine.measurement().signal.usable;
            assert!(!usable, "{nominal}: {percent} %");
        }
    }
}

#[test]
fn half_and_double_speed_are_named() {
    for (ratio, likely) in [(0.5, Likely::HalfSpeed), (2.0, Likely::DoubleSpeed)] {
        for nominal in [3150.0, 1000.0, 440.0, 315.0] {
            for off in [0.98, 1.0, 1.02] {
                let mut engine = engine(nominal);
                engine.push(&tone(2.0, |_| nominal * ratio * off));
                let ToneState::Wrong(wrong) = engine.reading().tone else {
                    panic!("{nominal} × {ratio}: {:?}", engine.reading().tone);
                };
                assert_eq!(wrong.likely, likely, "{nominal} × {ratio} × {off}");
                let got = engine.measurement();
                assert!(!got.signal.usable && got.has(CautionCode::HalfOrDoubleSpeed));
            }
        }
    }
}

#[test]
fn the_other_mains_frequency_is_named() {
    for (ratio, likely) in [(1.2, Likely::MainsHigh), (1.0 / 1.2, Likely::MainsLow)] {
        for off in [0.995, 1.0, 1.005] {
            let mut engine = engine(3150.0);
            engine.push(&tone(3.0, |_| 3150.0 * ratio * off));
            let problems = engine.reading().signal.problems;
            let named = problems.iter().any(
                |problem| matches!(problem, Problem::WrongTone(wrong) if wrong.likely == likely),
            );
            assert!(named, "{ratio} × {off}: {problems:?}");
            let got = engine.measurement();
            assert!(got.has(CautionCode::MainsFrequencyMismatch));
        }
    }
}

/// What is shown while the speed is one or the other lies within this of one
/// of them, in percent.
const NEAR_PERCENT: f64 = 0.35;

/// So long after a step the new speed is shown, and stays.
const RELOCKED_S: f64 = 0.6;

#[test]
fn a_step_of_ten_percent_is_never_misread() {
    for nominal in [3150.0, 1000.0, 440.0, 315.0] {
        let rises = [(0.0, 10.0), (-15.0, -5.0), (13.0, 23.0)];
        for (before, after) in rises.into_iter().chain([(0.0, -10.0), (10.0, 0.0)]) {
            let sound = tone(8.0, |t| {
                let percent = if t < 4.0 { before } else { after };
                nominal * (1.0 + percent / 100.0)
            });
            let mut engine = engine(nominal);
            // Steps of 5 ms.
            for (step, chunk) in sound.chunks(240).enumerate() {
                engine.push(chunk);
                let since_s = (step + 1) as f64 * 0.005 - 4.0;
                let reading = engine.reading();
                let Some(speed) = reading.speed else {
                    assert!(reading.tone != ToneState::Locked);
                    let known = since_s < -3.5 || (0.0..RELOCKED_S).contains(&since_s);
                    assert!(
                        known,
                        "{nominal}, {before} to {after}: nothing at {since_s}"
                    );
                    continue;
                };
                for shown in [speed.needle.0, speed.deviation.0] {
                    let off = (shown - before).abs().min((shown - after).abs());
                    assert!(
                        off < NEAR_PERCENT,
                        "{nominal}, {before} to {after}: {shown} at {since_s}"
                    );
                }
                if since_s > RELOCKED_S {
                    assert!(
                        (speed.needle.0 - after).abs() < NEAR_PERCENT,
                        "{nominal} at {since_s}"
                    );
                }
            }
        }
    }
}

#[test]
fn nothing_is_shown_before_it_is_known_and_then_soon() {
    let sound = tone(4.0, |_| 3150.0);
    let mut engine = engine(3150.0);
    let silence = vec![0.0; RATE as usize];
    engine.push(&silence);
    for (step, chunk) in sound.chunks(240).enumerate() {
        engine.push(chunk);
        let since_s = (step + 1) as f64 * 0.005;
        match engine.reading().speed.map(|speed| speed.needle.0) {
            Some(needle) => assert!(needle.abs() < 0.05, "{needle} at {since_s}"),
            None => assert!(since_s < 0.5, "nothing at {since_s}"),
        }
    }
}
