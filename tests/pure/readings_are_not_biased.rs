//! What disturbs a tone without moving the tape does not bend the reading:
//! modulation of its level, hum, harmonics, crosstalk, overload, dropouts.
//!
//! The limits are promises of this program, taken from no standard.
//! `cargo bench --bench robustness` prints the figures themselves, lower
//! tones too.

use crate::support::dice::hiss;
use crate::support::disturbed::{self, Disturbance, Dropouts, RATE_HZ};
use crate::support::seeds::each;
use crate::support::sound::{Line, Tone, deviation, measure, sampled, settings_at, two_sigma};
use tapewright::readings::{CautionCode, Measurement};

/// The shortest record that the promise speaks of.
const SECONDS: f64 = 10.0;

/// Nominal tones and how far off they are, in percent: on the mark, a little
/// and far off, at odd places between the bins and decimations of any filter.
const PLACES: [(f64, f64); 7] = [
    (1000.0, 0.0),
    (1000.0, -19.0),
    (1000.0, 1.61),
    (3150.0, -2.3),
    // Its fifteenth harmonic folds back beside it when it clips.
    (3000.0, -0.11),
    (3150.0, 24.0),
    (10_000.0, -3.0),
];

/// Two phases, unlike in every part of the signal.
const PHASES: [f64; 2] = [0.0, 0.31];

fn every_place(all: &[Disturbance], check: impl Fn(&str, f64, &Measurement) + Sync) {
    each(0..all.len() as u64, |nth| {
        let disturbance = all[nth as usize];
        for (nominal, percent) in PLACES {
            for turns in PHASES {
                let hz = nominal * (1.0 + percent / 100.0);
                let samples = disturbance.samples(hz, turns, SECONDS);
                let got = measure(settings_at(RATE_HZ, 1, nominal), &samples);
                let what = format!("{}, {hz} Hz, phase {turns}", disturbance.name());
                check(&what, deviation(&got) - percent, &got);
            }
        }
    });
}

/// Swelling, hum, harmonics, crosstalk, overload.
#[test]
fn what_does_not_move_the_tape_is_not_read_as_speed() {
    every_place(&disturbed::all(), |what, error, got| {
        assert!(error.abs() <= 0.001, "{what}: off by {error} %");
        let flutter = two_sigma(got);
        assert!(flutter <= 0.002, "{what}: false flutter of {flutter} %");
        assert_eq!(got.signal.dropout_count, 0, "{what}");
    });
}

#[test]
fn dropouts_are_bridged_and_told_within_5_ms_and_never_read_as_flutter() {
    every_place(&disturbed::dropouts(), |what, error, got| {
        assert!(error.abs() <= 0.002, "{what}: off by {error} %");
        let flutter = two_sigma(got);
        assert!(flutter <= 0.006, "{what}: false flutter of {flutter} %");
        let count = Dropouts::count(SECONDS);
        assert_eq!(got.signal.dropout_count, u64::from(count), "{what}");
        assert!(got.has(CautionCode::Dropouts), "{what}");
        for (dropout, second) in got.signal.dropouts.iter().zip(1..) {
            let start = dropout.start.0 - Dropouts::start_s(second);
            let end = start + dropout.length.0 - Dropouts::LENGTH_S;
            assert!(
                start.abs() <= 0.005 && end.abs() <= 0.005,
                "{what}: edges off by {start} and {end} s"
            );
        }
    });
}

#[test]
fn dropouts_change_nothing_on_a_moving_tape_with_hiss_either() {
    for (nominal, turns) in [(3150.0, 0.1), (3150.0, 0.6), (1000.0, 0.3)] {
        let line = |hz, peak_percent| Line {
            hz,
            peak_percent,
            turns,
        };
        let tone = Tone {
            hz: 0.993 * nominal,
            turns,
            amplitude: 0.3,
            lines: vec![line(0.55, 0.1), line(4.7, 0.05), line(24.0, 0.03)],
            drift_percent_per_s: 0.001,
        };
        // 50 dB below the tone.
        let hiss = |t: f64| 0.3 * 0.00224 * hiss((t * f64::from(RATE_HZ)).round() as u64);
        let read = |gain: &dyn Fn(f64) -> f64| {
            let samples = sampled(RATE_HZ, 20.0, |t| gain(t) * tone.at(t) + hiss(t));
            measure(settings_at(RATE_HZ, 1, nominal), &samples)
        };
        let without = read(&|_| 1.0);
        assert_eq!(without.signal.dropout_count, 0);
        for disturbance in disturbed::dropouts() {
            let Disturbance::Dropouts(dropouts) = disturbance else {
                panic!("{disturbance:?} is no dropout");
            };
            let with = read(&|t| dropouts.gain(t));
            let what = format!("{}, {nominal} Hz, {turns}", disturbance.name());
            assert_eq!(with.signal.dropout_count, u64::from(Dropouts::count(20.0)));
            let speed = deviation(&with) - deviation(&without);
            let flutter = two_sigma(&with) - two_sigma(&without);
            assert!(speed.abs() <= 0.002, "{what}: speed moved by {speed} %");
            assert!(flutter.abs() <= 0.006, "{what}: flutter by {flutter} %");
        }
    }
}
