//! Steady tones with all that spoils a signal without moving the tape: each
//! must read as steady as it is.

use super::sound::{sampled, sine};

/// 48 kHz, as sound cards deliver.
pub const RATE_HZ: u32 = 48_000;

/// Peak of the tone.
const PEAK: f64 = 0.3;

const MINUS_20_DB: f64 = 0.1;
const MINUS_40_DB: f64 = 0.01;

/// What is wrong with the signal.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Disturbance {
    /// Amplitude modulation: rate in hertz, depth.
    Swelling(f64, f64),
    /// Mains hum: the mains, and which harmonic (0: the first five at once),
    /// each 20 dB below the tone.
    Hum(f64, u32),
    /// One harmonic of the tone 20 dB below it (0: second and third at once).
    Harmonic(u32),
    /// A square wave without what lies beyond half the sample rate.
    Square,
    /// Another steady tone, 40 dB below, this far away.
    Crosstalk(f64),
    /// Overloaded by 6 dB ahead of the converter: clipped, then band-limited.
    Overload,
    /// Clipped by 6 dB at the converter: every sample held to half the peak.
    Clipped,
    /// A dropout each second.
    Dropouts(Dropouts),
}

/// How each dropout looks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Dropouts {
    /// Level that is left, as a ratio of amplitudes.
    pub left: f64,
    /// Length of each edge, half a cosine; 0 is a hard cut.
    pub edge_s: f64,
}

impl Dropouts {
    /// From −12 dB to −12 dB, which is what counts as one.
    pub const LENGTH_S: f64 = 0.02;

    /// Where one begins: each second, at an odd place of the tone's period.
    pub fn start_s(second: u32) -> f64 {
        f64::from(second) * 1.000_73
    }

    /// How many are whole within a record.
    pub fn count(seconds: f64) -> u32 {
        ((seconds - 0.1) / 1.000_73) as u32
    }

    /// What is left of the level at a time.
    pub fn gain(&self, t: f64) -> f64 {
        let second = (t / 1.000_73).round().max(1.0) as u32;
        let start = Self::start_s(second);
        // The part of a soft edge that lies above −12 dB stands outside the
        // length: (1 + cos πu)/2 scaled between 1 and what is left.
        let reach = if self.edge_s > 0.0 {
            let share = (0.251_188_6 - self.left) / (1.0 - self.left);
            self.edge_s * (2.0 * share - 1.0).acos() / std::f64::consts::PI
        } else {
            0.0
        };
        let inside = (t - (start - reach)).min(start + Self::LENGTH_S + reach - t);
        if inside <= 0.0 {
            1.0
        } else if inside >= self.edge_s {
            self.left
        } else {
            let fall = f64::midpoint(1.0, (std::f64::consts::PI * inside / self.edge_s).cos());
            self.left + (1.0 - self.left) * fall
        }
    }
}

impl Disturbance {
    /// For the tables.
    pub fn name(self) -> String {
        match self {
            Self::Swelling(hz, depth) => format!("AM {:.0} % at {hz} Hz", depth * 100.0),
            Self::Hum(mains, 0) => format!("hum {mains} Hz, first to fifth"),
            Self::Hum(mains, k) => format!("hum {} Hz", mains * f64::from(k)),
            Self::Harmonic(0) => "second and third harmonic".into(),
            Self::Harmonic(k) => format!("harmonic {k}"),
            Self::Square => "square wave".into(),
            Self::Crosstalk(off) => format!("crosstalk {off:+} Hz"),
            Self::Overload => "6 dB overload".into(),
            Self::Clipped => "6 dB clipping".into(),
            Self::Dropouts(Dropouts { left, edge_s }) => {
                let depth = if left > 0.0 { "−20 dB" } else { "silence" };
                format!("dropouts to {depth}, edges {} ms", edge_s * 1000.0)
            }
        }
    }

    /// Samples of a steady tone so disturbed. `turns` shifts the tone's phase
    /// and, by other amounts, those of all else.
    pub fn samples(self, hz: f64, turns: f64, seconds: f64) -> Vec<f32> {
        let tone = |t: f64| sine(hz * t + turns);
        let beside = |t: f64, hz: f64| sine(hz * t + 1.7 * turns + 0.013 * hz);
        let weight = |k| match self {
            Self::Overload => clipped_harmonic(k),
            _ => 1.0 / k,
        };
        let odd = (1..).step_by(2).map(f64::from);
        let audible = odd.take_while(|k| k * hz < f64::from(RATE_HZ) / 2.0);
        let weights: Vec<f64> = audible.map(weight).collect();
        let formula = |t: f64| match self {
            Self::Swelling(rate, depth) => (1.0 + depth * beside(t, rate)) * tone(t),
            Self::Hum(mains, 0) => {
                let hum: f64 = (1..=5).map(|k| beside(t, mains * f64::from(k))).sum();
                tone(t) + MINUS_20_DB * hum
            }
            Self::Hum(mains, k) => tone(t) + MINUS_20_DB * beside(t, mains * f64::from(k)),
            Self::Harmonic(0) => {
                let sum = beside(t, 2.0 * hz) + beside(t, 3.0 * hz);
                tone(t) + MINUS_20_DB * sum
            }
            Self::Harmonic(k) => tone(t) + MINUS_20_DB * beside(t, hz * f64::from(k)),
            Self::Crosstalk(off) => tone(t) + MINUS_40_DB * beside(t, hz + off),
            Self::Clipped => tone(t).clamp(-0.5, 0.5),
            Self::Square | Self::Overload => odd_harmonics(hz * t + turns, &weights),
            Self::Dropouts(dropouts) => dropouts.gain(t) * tone(t),
        };
        // The first two at full scale, as they come from a converter.
        let peak = match self {
            Self::Clipped => 2.0,
            Self::Overload => 1.9,
            _ => PEAK,
        };
        sampled(RATE_HZ, seconds, |t| peak * formula(t))
    }
}

/// Odd harmonics, each of its weight: sin (k + 2) x = 2 cos 2x sin kx − sin (k − 2) x.
fn odd_harmonics(turns: f64, weights: &[f64]) -> f64 {
    let x = std::f64::consts::TAU * turns.fract();
    let twice = 2.0 * (2.0 * x).cos();
    let (mut before, mut now, mut sum) = (-x.sin(), x.sin(), 0.0);
    for weight in weights {
        sum += weight * now;
        (before, now) = (now, twice * now - before);
    }
    sum
}

/// Fourier coefficient of sin x held to ±1/2, which it reaches at π/6:
/// (4/π) (∫ sin x sin kx dx from 0 to π/6 + ∫ ½ sin kx dx from π/6 to π/2).
fn clipped_harmonic(k: f64) -> f64 {
    let edge = std::f64::consts::FRAC_PI_6;
    let rising = if k > 1.0 {
        ((k - 1.0) * edge).sin() / (2.0 * (k - 1.0)) - ((k + 1.0) * edge).sin() / (2.0 * (k + 1.0))
    } else {
        edge / 2.0 - (2.0 * edge).sin() / 4.0
    };
    let held = 0.5 * (k * edge).cos() / k;
    4.0 / std::f64::consts::PI * (rising + held)
}

/// Everything that the promise names for a tone of 1 kHz or more.
pub fn all() -> Vec<Disturbance> {
    let mut all = vec![Disturbance::Swelling(10.0, 0.3)];
    for mains in [50.0, 60.0] {
        all.extend((0..=5).map(|k| Disturbance::Hum(mains, k)));
    }
    all.extend((0..=3).filter(|k| *k != 1).map(Disturbance::Harmonic));
    all.extend([
        Disturbance::Square,
        Disturbance::Overload,
        Disturbance::Clipped,
    ]);
    for off in [-450.0, -301.0, -300.0, 300.0, 301.0, 450.0, 1000.0] {
        all.push(Disturbance::Crosstalk(off));
    }
    all
}

/// Dropouts of every look.
pub fn dropouts() -> Vec<Disturbance> {
    let looks = [
        (0.0, 0.0),
        (0.0, 0.003),
        (0.1, 0.0),
        (0.1, 0.003),
        (0.0, 0.0005),
    ];
    looks
        .map(|(left, edge_s)| Disturbance::Dropouts(Dropouts { left, edge_s }))
        .to_vec()
}
