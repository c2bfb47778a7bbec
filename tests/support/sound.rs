//! Invented sound whose truth is known by formula, and an engine to read it.

use std::f64::consts::TAU;

use tapewright::readings::{ChannelChoice, Conditions, Engine, Measurement, Nominal, Settings};
use tapewright::units::{Hertz, Percent};

/// An engine's settings for a tone of 3150 Hz.
pub fn settings(rate_hz: u32, channels: u16) -> Settings {
    Settings {
        rate_hz,
        channels,
        choice: ChannelChoice::Auto,
        conditions: Conditions::default(),
        tolerance: Percent(0.5),
    }
}

/// The same for a tone that is expected at `nominal_hz`.
pub fn settings_at(rate_hz: u32, channels: u16, nominal_hz: f64) -> Settings {
    let mut settings = settings(rate_hz, channels);
    settings.conditions.nominal = Nominal::Fixed(Hertz(nominal_hz));
    settings
}

pub fn engine(settings: Settings) -> Engine {
    Engine::new(settings).expect("a usual format")
}

/// The measurement of a whole recording, pushed at once.
pub fn measure(settings: Settings, interleaved: &[f32]) -> Measurement {
    let mut engine = engine(settings);
    engine.push(interleaved);
    engine.measurement()
}

/// Deviation in percent; panics without one.
pub fn deviation(measurement: &Measurement) -> f64 {
    measurement.speed.expect("a speed").deviation.0
}

/// Weighted two-sigma in percent; panics without one.
pub fn two_sigma(measurement: &Measurement) -> f64 {
    let flutter = measurement.flutter.weighted_two_sigma;
    flutter.expect("a weighted figure").0
}

/// sin(2π turns), exact for many turns too.
pub fn sine(turns: f64) -> f64 {
    (TAU * turns.fract()).sin()
}

/// One line of wow or flutter: rate, peak in percent of speed, phase in turns.
#[derive(Clone, Copy, Debug)]
pub struct Line {
    pub hz: f64,
    pub peak_percent: f64,
    pub turns: f64,
}

/// A tone off a moving tape: f (1 + Σ a sin(2π g t + φ) + drift t).
#[derive(Clone, Debug)]
pub struct Tone {
    /// Mean frequency at the start.
    pub hz: f64,
    /// Phase in turns at time 0.
    pub turns: f64,
    pub amplitude: f64,
    pub lines: Vec<Line>,
    pub drift_percent_per_s: f64,
}

impl Tone {
    pub fn steady(hz: f64, turns: f64, amplitude: f64) -> Self {
        Self {
            hz,
            turns,
            amplitude,
            lines: Vec::new(),
            drift_percent_per_s: 0.0,
        }
    }

    /// Turns of the tone at a time.
    pub fn turns_at(&self, t: f64) -> f64 {
        let wander: f64 = self
            .lines
            .iter()
            .map(|line| {
                let start = (TAU * line.turns).cos();
                let now = (TAU * (line.hz * t + line.turns)).cos();
                line.peak_percent / 100.0 * (start - now) / (TAU * line.hz)
            })
            .sum();
        let drift = self.drift_percent_per_s / 100.0 * t * t / 2.0;
        self.turns + self.hz * (t + wander + drift)
    }

    /// The sample at a time.
    pub fn at(&self, t: f64) -> f64 {
        self.amplitude * sine(self.turns_at(t))
    }
}

/// Samples of a formula in time.
pub fn sampled(rate_hz: u32, seconds: f64, make: impl Fn(f64) -> f64) -> Vec<f32> {
    let rate = f64::from(rate_hz);
    (0..(seconds * rate).round() as usize)
        .map(|n| make(n as f64 / rate) as f32)
        .collect()
}

/// Interleaves two channels of equal length.
pub fn stereo(left: &[f32], right: &[f32]) -> Vec<f32> {
    assert_eq!(left.len(), right.len());
    left.iter().zip(right).flat_map(|(&l, &r)| [l, r]).collect()
}
