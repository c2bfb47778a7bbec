//! Speed, weighting, bands, lines and the Allan deviation agree with what
//! general-purpose numerical libraries make of the same invented tones.
//!
//! `tests/golden/make.py` (numpy, scipy, allantools) makes the other side;
//! only its results are stored. The samples are made here by the same formula.

use std::f64::consts::TAU;
use std::sync::LazyLock;

use crate::support::dice;
use crate::support::fast;
use crate::support::judge;
use crate::support::sound::{self, Line, Tone};
use serde::Deserialize;
use tapewright::readings::{Measurement, weighting};
use tapewright::signal::allan::overlapping_allan;
use tapewright::signal::lines::{find, threshold};

#[derive(Deserialize)]
struct Golden {
    recordings: Vec<Found>,
    fitted: FittedLines,
    allan: AllanFound,
}

#[derive(Deserialize)]
struct FittedLines {
    rate_hz: f64,
    count: usize,
    lines: Vec<[f64; 3]>,
    noise: f64,
    hz: Vec<f64>,
    peaks: Vec<f64>,
}

#[derive(Deserialize)]
struct Recording {
    name: String,
    rate_hz: u32,
    seconds: f64,
    nominal_hz: f64,
    tone_hz: f64,
    turns: f64,
    amplitude: f64,
    lines: Vec<[f64; 3]>,
    drift_percent_per_s: f64,
    hiss: f64,
}

#[derive(Deserialize)]
struct Found {
    recording: Recording,
    first_s: f64,
    step_s: f64,
    speed_of_each_step_percent: Vec<f64>,
    weighted_from_s: f64,
    weighted_percent: Vec<f64>,
    mean_percent: f64,
    drift_percent_per_min: f64,
    line_peaks_percent: Vec<f64>,
    weighted_rms_percent: f64,
    weighted_two_sigma_percent: f64,
    unweighted_rms_percent: f64,
    wow_rms_percent: f64,
    flutter_rms_percent: f64,
}

#[derive(Deserialize)]
struct AllanFound {
    count: usize,
    step_s: f64,
    line_peak: f64,
    line_turns_per_step: f64,
    line_radians: f64,
    slope_per_step: f64,
    noise: f64,
    tau_s: Vec<f64>,
    deviation: Vec<f64>,
    terms: Vec<u64>,
}

static GOLDEN: LazyLock<Golden> = LazyLock::new(|| {
    serde_json::from_str(include_str!("../golden/expected.json")).expect("golden data")
});

/// Each recording of theirs with its speed track.
static TRACKS: LazyLock<Vec<(&Found, judge::Phase)>> = LazyLock::new(|| {
    let recordings = GOLDEN.recordings.iter();
    recordings
        .map(|it| (it, it.recording.fast_phase()))
        .collect()
});

/// Noise from the same whole numbers as in the script.
fn hiss(n: u64) -> f64 {
    dice::hiss(n.wrapping_add(1 << 32))
}

impl Recording {
    fn samples(&self) -> Vec<f32> {
        let tone = Tone {
            hz: self.tone_hz,
            turns: self.turns,
            amplitude: self.amplitude,
            lines: self
                .lines
                .iter()
                .map(|&[hz, peak_percent, turns]| Line {
                    hz,
                    peak_percent,
                    turns,
                })
                .collect(),
            drift_percent_per_s: self.drift_percent_per_s,
        };
        let rate = f64::from(self.rate_hz);
        (0..(self.seconds * rate) as u64)
            .map(|n| {
                let value = tone.at(n as f64 / rate) + self.hiss * hiss(n);
                ((value * 32_768.0).round_ties_even() / 32_768.0) as f32
            })
            .collect()
    }

    fn fast_phase(&self) -> judge::Phase {
        let range_hz = [0.8 * self.nominal_hz, 1.25 * self.nominal_hz];
        fast::phase(&self.samples(), self.rate_hz, range_hz)
    }

    /// Its speed in percent at each step of the phase, for the middle of it.
    fn speed(&self, phase: &judge::Phase) -> Vec<f64> {
        let steps = phase.turns.windows(2);
        let percent = |pair: &[f64]| self.percent((pair[1] - pair[0]) / phase.step_s);
        steps.map(percent).collect()
    }

    fn measurement(&self) -> Measurement {
        let settings = sound::settings_at(self.rate_hz, 1, self.nominal_hz);
        sound::measure(settings, &self.samples())
    }

    fn percent(&self, hz: f64) -> f64 {
        (hz / self.nominal_hz - 1.0) * 100.0
    }
}

fn rms(values: impl ExactSizeIterator<Item = f64>) -> f64 {
    let count = values.len() as f64;
    (values.map(|value| value * value).sum::<f64>() / count).sqrt()
}

#[test]
fn the_speed_track_agrees_with_the_analytic_signal() {
    for (found, phase) in &*TRACKS {
        let recording = &found.recording;
        let errors: Vec<f64> = (0..)
            .zip(&found.speed_of_each_step_percent)
            .map(|(k, expected)| {
                let from = found.first_s + f64::from(k) * found.step_s;
                let hz = phase.hz_between(from, from + found.step_s);
                recording.percent(hz) - expected
            })
            .collect();
        assert!(errors.len() > 300);
        let worst = errors.iter().fold(0.0f64, |worst, e| worst.max(e.abs()));
        // Hiss is let through a little differently; it makes all of this.
        assert!(worst < 0.001, "{}: {worst}", recording.name);
        let off = rms(errors.into_iter());
        assert!(off < 0.0003, "{}: {off}", recording.name);
    }
}

#[test]
fn the_weighted_series_agrees_with_the_table_by_fourier_transform() {
    for (found, phase) in &*TRACKS {
        let recording = &found.recording;
        let rate = 1.0 / phase.step_s;
        let speed = recording.speed(phase);
        // As the meter does it: from half a second on, the first mean out.
        let begin = ((0.5 - phase.first_s) * rate) as usize;
        let first = &speed[begin..begin + (0.5 * rate) as usize];
        let mean = first.iter().sum::<f64>() / first.len() as f64;
        let mut filter = weighting(rate);
        let weighted: Vec<f64> = speed[begin..]
            .iter()
            .map(|value| filter.push(value - mean))
            .collect();
        // A value stands for the middle of its step.
        let first_s = phase.first_s + (begin as f64 + 0.5) * phase.step_s;
        let at = |t: f64| {
            let place = (t - first_s) / phase.step_s;
            let left = place as usize;
            let part = place - left as f64;
            weighted[left] + part * (weighted[left + 1] - weighted[left])
        };
        let errors: Vec<f64> = (0..)
            .zip(&found.weighted_percent)
            .map(|(k, expected)| at(found.weighted_from_s + f64::from(k) * found.step_s) - expected)
            .collect();
        assert!(errors.len() > 200);
        // 0.2 dB is 2.3 %, and the phase of a curve that is right to 0.2 dB
        // is right to a few degrees: 5 %.
        let relative = rms(errors.into_iter()) / rms(found.weighted_percent.iter().copied());
        assert!(relative < 0.05, "{}: {relative}", recording.name);
    }
}

#[test]
fn the_figures_agree_with_scipy() {
    for found in &GOLDEN.recordings {
        let got = found.recording.measurement();
        let flutter = got.flutter;
        let two_sigma = flutter.weighted_two_sigma;
        // 0.2 dB of the weighting curve are 2.3 %.
        for (name, limit, value, expected) in [
            (
                "weighted rms",
                0.023,
                flutter.weighted_rms,
                found.weighted_rms_percent,
            ),
            (
                "two-sigma",
                0.023,
                two_sigma,
                found.weighted_two_sigma_percent,
            ),
            (
                "unweighted rms",
                0.01,
                flutter.unweighted_rms,
                found.unweighted_rms_percent,
            ),
            ("wow rms", 0.01, flutter.wow_rms, found.wow_rms_percent),
            (
                "flutter rms",
                0.01,
                flutter.flutter_rms,
                found.flutter_rms_percent,
            ),
        ] {
            let value = value.expect(name).0;
            let error = value / expected - 1.0;
            let what = format!("{}: {name}", found.recording.name);
            println!("{what} {value:.6} {expected:.6} {error:+.4}");
            assert!(error.abs() < limit, "{what} {value}, {expected} expected");
        }
        let mean = sound::deviation(&got) - found.mean_percent;
        println!("{}: mean {mean:+.6}", found.recording.name);
        // Wow that is left in the mean: whole periods here, whole record there.
        assert!(mean.abs() < 0.005, "{}: {mean}", found.recording.name);
        let drift = got.drift.expect("a drift");
        let off = drift.percent_per_minute - found.drift_percent_per_min;
        let known = drift.uncertainty_percent_per_minute.expect("its own");
        let what = format!("{}: drift {off:+.5} {known}", found.recording.name);
        println!("{what}");
        assert!(off.abs() < known, "{what}");
    }
}

#[test]
fn lines_of_wow_and_flutter_agree_with_least_squares() {
    for (found, phase) in &*TRACKS {
        let recording = &found.recording;
        let rates: Vec<f64> = recording.lines.iter().map(|line| line[0]).collect();
        let speed = recording.speed(phase);
        let t: Vec<f64> = (0..speed.len())
            .map(|k| phase.first_s + (k as f64 + 0.5) * phase.step_s)
            .collect();
        let peaks = judge::line_peaks(&t, &speed, &rates);
        assert_eq!(peaks.len(), found.line_peaks_percent.len());
        for ((peak, expected), hz) in peaks.iter().zip(&found.line_peaks_percent).zip(&rates) {
            let error = peak / expected - 1.0;
            println!("{}: {hz} Hz {error:+.5}", recording.name);
            assert!(error.abs() < 0.002, "{}: {hz} Hz {error}", recording.name);
        }
    }
}

#[test]
fn line_amplitudes_are_scipys() {
    let fitted = &GOLDEN.fitted;
    let values: Vec<f32> = (0..fitted.count)
        .map(|n| {
            let t = n as f64 / fitted.rate_hz;
            let lines = fitted.lines.iter();
            let lines = lines.map(|[hz, peak, turns]| peak * (TAU * (hz * t + turns)).sin());
            (lines.sum::<f64>() + fitted.noise * hiss(n as u64)) as f32
        })
        .collect();
    let seconds = fitted.count as f64 / fitted.rate_hz;
    let found = find(&values, fitted.rate_hz, 200.0, threshold(seconds)).expect("long enough");
    assert_eq!(found.lines.len(), fitted.lines.len(), "{:?}", found.lines);
    for (hz, peak) in fitted.hz.iter().zip(&fitted.peaks) {
        let line = found.lines.iter().find(|line| (line.hz - hz).abs() < 0.02);
        let line = line.unwrap_or_else(|| panic!("no line at {hz} Hz"));
        let error = line.peak / peak - 1.0;
        println!(
            "{hz} Hz: {error:+.5}, rate off by {:+.2} sd",
            (line.hz - hz) / line.hz_sd
        );
        assert!(error.abs() < 0.05, "{hz} Hz: {error}");
        assert!((line.hz - hz).abs() < 2.0 * line.hz_sd, "{hz} Hz: {line:?}");
    }
}

#[test]
fn lines_through_the_whole_engine_agree_with_least_squares() {
    for found in &GOLDEN.recordings {
        let recording = &found.recording;
        let measurement = recording.measurement();
        let lines = measurement.lines.expect("long enough").lines;
        for ([hz, ..], expected) in recording.lines.iter().zip(&found.line_peaks_percent) {
            // Heard at the speed at which the tape runs.
            let line = lines.iter().find(|line| (line.hz.0 - hz).abs() < 0.05);
            let line = line.unwrap_or_else(|| panic!("no line at {hz} Hz: {lines:?}"));
            let error = line.peak.0 / expected - 1.0;
            println!("{}: {hz} Hz {error:+.5}", recording.name);
            assert!(error.abs() < 0.05, "{}: {hz} Hz {error}", recording.name);
        }
    }
}

#[test]
fn the_allan_deviation_agrees_with_allantools_and_with_its_definition() {
    let found = &GOLDEN.allan;
    let values: Vec<f64> = (0..found.count)
        .map(|n| {
            let angle = TAU * found.line_turns_per_step * n as f64 + found.line_radians;
            found.line_peak * angle.sin()
                + found.slope_per_step * n as f64
                + found.noise * hiss(n as u64)
        })
        .collect();
    for ((tau, expected), terms) in found.tau_s.iter().zip(&found.deviation).zip(&found.terms) {
        let group = (tau / found.step_s).round() as usize;
        let (deviation, count) = judge::allan_deviation(&values, group);
        assert_eq!(count, *terms, "at {tau} s");
        let error = deviation / expected - 1.0;
        assert!(error.abs() < 1e-9, "at {tau} s: {deviation}, {expected}");
        let ours = overlapping_allan(&values, group).expect("long enough");
        assert!(
            (ours / expected - 1.0).abs() < 1e-9,
            "at {tau} s: {ours}, {expected}"
        );
    }
}
