//! Test tones whose speed fluctuates in a known way or not at all, and the
//! curve that their fluctuation is weighted with.

use std::f64::consts::TAU;

use super::dice::Dice;
use super::sound;
use tapewright::readings::{Engine, Measurement};

/// Peak of the sinusoidal fluctuation, in percent: small, as a good machine's.
pub const DEPTH_PERCENT: f64 = 0.1;

/// After this time the filters have settled: half a second that gives the
/// mean, four seconds, and what finding the tone may take from its start.
pub const SETTLED_S: f64 = 4.90;

/// An engine that takes `tone_hz` for right speed.
pub fn engine(rate_hz: u32, tone_hz: f64) -> Engine {
    sound::engine(sound::settings_at(rate_hz, 1, tone_hz))
}

/// What the engine makes of a whole recording.
pub fn measure(rate_hz: u32, tone_hz: f64, samples: &[f32]) -> Measurement {
    let mut engine = engine(rate_hz, tone_hz);
    engine.push(samples);
    engine.measurement()
}

/// A tone f (1 + a sin(2πgt)), its phase in closed form.
pub fn wavering(rate_hz: u32, tone_hz: f64, seconds: f64, g_hz: f64, percent: f64) -> Vec<f32> {
    let rate = f64::from(rate_hz);
    (0..(seconds * rate) as usize)
        .map(|n| {
            let t = n as f64 / rate;
            let wander = percent / 100.0 * (1.0 - (TAU * g_hz * t).cos()) / (TAU * g_hz);
            let turns = (tone_hz * t).fract() + tone_hz * wander;
            (0.5 * (TAU * turns).sin()) as f32
        })
        .collect()
}

/// A tone at nominal speed but for these deviations in percent, one a sample.
pub fn deviating(rate_hz: u32, tone_hz: f64, percent: impl Iterator<Item = f64>) -> Vec<f32> {
    let mut turns = 0.0f64;
    percent
        .map(|percent| {
            turns = (turns + tone_hz * (1.0 + percent / 100.0) / f64::from(rate_hz)).fract();
            (0.5 * (TAU * turns).sin()) as f32
        })
        .collect()
}

/// Length of a record of which whole half periods of `g_hz` remain once the
/// filters have settled, at least `least_s` of them.
pub fn whole_periods_s(g_hz: f64, least_s: f64) -> f64 {
    SETTLED_S + (least_s * 2.0 * g_hz).ceil() / (2.0 * g_hz)
}

/// Level of the weighted root mean square of a sinusoidal fluctuation against
/// its true depth, in decibels; `None` where the engine withholds it.
pub fn weighted_gain_db(rate_hz: u32, tone_hz: f64, g_hz: f64) -> Option<f64> {
    // The figure is of what came after settling, which does not end to the
    // sample where it is taken to: of many periods that does not matter.
    let periods = if g_hz < 0.5 { 10.0 } else { 24.0 };
    let seconds = whole_periods_s(g_hz, (periods / g_hz).max(5.4));
    let samples = wavering(rate_hz, tone_hz, seconds, g_hz, DEPTH_PERCENT);
    let rms = measure(rate_hz, tone_hz, &samples).flutter.weighted_rms?;
    Some(20.0 * (rms.0 * 2.0f64.sqrt() / DEPTH_PERCENT).log10())
}

/// A steady tone at −6 dB of full scale in 16 bits with triangular dither, in
/// white noise where an SNR is given, over half the sample rate.
pub fn steady(rate_hz: u32, hz: f64, seconds: f64, snr_db: Option<f64>) -> Vec<f32> {
    let mut dice = Dice::new(1);
    let amplitude = 10f64.powf(-6.0 / 20.0);
    let noise = snr_db.map(|snr| amplitude / 2f64.sqrt() * 10f64.powf(-snr / 20.0));
    (0..(seconds * f64::from(rate_hz)) as usize)
        .map(|n| {
            let turns = (n as f64 * hz / f64::from(rate_hz)).fract();
            let noise = noise.map_or(0.0, |sigma| sigma * dice.gaussian());
            let dither = dice.between(-0.5, 0.5) + dice.between(-0.5, 0.5);
            let value = amplitude * (TAU * turns).sin() + noise;
            ((value * 32_768.0 + dither).round() / 32_768.0) as f32
        })
        .collect()
}

/// Highest and lowest quasi-peak reading over the last of unidirectional
/// pulses of speed, one a second, against the reading of a 4 Hz sine that is
/// as high from peak to peak (IEC 60386).
pub fn pulses(rate_hz: u32, length_ms: u32, direction: f64) -> (f64, f64) {
    const PULSES: u32 = 14;
    let on = length_ms * rate_hz / 1000;
    let speed = (0..PULSES * rate_hz).map(|n| {
        // Not at once: what the first half second reads is taken for the mean.
        let pulse = (n + rate_hz / 4) % rate_hz < on && n > rate_hz / 2;
        if pulse {
            2.0 * direction * DEPTH_PERCENT
        } else {
            0.0
        }
    });
    let samples = deviating(rate_hz, 3150.0, speed);
    let mut engine = engine(rate_hz, 3150.0);
    let (before, last) = samples.split_at(((PULSES - 1) * rate_hz) as usize);
    engine.push(before);
    let (mut highest, mut lowest) = (0.0f64, f64::INFINITY);
    for few in last.chunks(rate_hz as usize / 500) {
        engine.push(few);
        let peak = engine.reading().flutter.weighted_peak;
        let reading = peak.expect("long settled").0;
        highest = highest.max(reading);
        lowest = lowest.min(reading);
    }
    let sine = wavering(rate_hz, 3150.0, f64::from(PULSES), 4.0, DEPTH_PERCENT);
    let reference = measure(rate_hz, 3150.0, &sine).flutter.weighted_peak;
    let reference = reference.expect("long enough").0;
    (highest / reference, lowest / reference)
}

/// Quasi-peak reading of a sinusoidal fluctuation against its weighted peak,
/// in decibels.
pub fn quasi_peak_of_a_sine_db(rate_hz: u32, g_hz: f64) -> f64 {
    let seconds = whole_periods_s(g_hz, 10.0);
    let samples = wavering(rate_hz, 3150.0, seconds, g_hz, DEPTH_PERCENT);
    let flutter = measure(rate_hz, 3150.0, &samples).flutter;
    let peak = flutter.weighted_peak.expect("long enough").0;
    let rms = flutter.weighted_rms.expect("long enough").0;
    20.0 * (peak / (rms * 2.0f64.sqrt())).log10()
}
