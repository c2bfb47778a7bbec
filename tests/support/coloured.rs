//! Records of the speed made directly, without a tone: noise of any colour,
//! lines, and what no threshold was tuned on.

use std::f64::consts::TAU;

use realfft::RealFftPlanner;
use rustfft::num_complex::Complex64;

use super::dice::Dice;

/// Values a second, as the engine keeps them.
pub const RATE_HZ: f64 = 500.0;

/// How the noise goes with the rate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Colour {
    White,
    Pink,
    Brown,
    /// A resonance at 5 Hz of this quality.
    Resonant(f64),
    /// With the square of the rate, as the noise of a tone.
    Rising,
}

pub const COLOURS: [Colour; 6] = [
    Colour::White,
    Colour::Pink,
    Colour::Brown,
    Colour::Resonant(5.0),
    Colour::Resonant(10.0),
    Colour::Rising,
];

impl Colour {
    /// Amplitude at a rate, about 1 at 10 Hz.
    fn amplitude(self, hz: f64) -> f64 {
        match self {
            Self::White => 1.0,
            Self::Pink => (10.0 / hz).sqrt(),
            Self::Brown => 10.0 / hz,
            Self::Resonant(quality) => {
                let x = hz / 5.0;
                let away = (1.0 - x * x).powi(2) + (x / quality).powi(2);
                (0.03 + 1.0 / (away * quality * quality)).sqrt()
            }
            Self::Rising => hz / 10.0,
        }
    }

    /// Bell-shaped noise of this colour, a piece out of a longer one.
    pub fn noise(self, seconds: f64, dice: &mut Dice) -> Vec<f64> {
        let count = (seconds * RATE_HZ) as usize;
        let whole = (count + 2000).next_power_of_two();
        let mut planner = RealFftPlanner::<f64>::new();
        let back = planner.plan_fft_inverse(whole);
        let mut bins = back.make_input_vec();
        let last = bins.len() - 1;
        for (k, bin) in bins.iter_mut().enumerate() {
            let hz = k.max(1) as f64 * RATE_HZ / whole as f64;
            let imaginary = if k == 0 || k == last {
                0.0
            } else {
                dice.gaussian()
            };
            *bin = self.amplitude(hz) * Complex64::new(dice.gaussian(), imaginary);
        }
        let mut values = back.make_output_vec();
        let done = back.process(&mut bins, &mut values);
        assert!(done.is_ok(), "lengths are those of the plan");
        let scale = 1.0 / (2.0 * whole as f64).sqrt();
        values[1000..1000 + count]
            .iter()
            .map(|value| value * scale)
            .collect()
    }
}

/// Noise that no threshold was tuned on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Foreign {
    /// Five times as loud for 0.2 s, every few seconds.
    Bursts,
    /// 1/f, four times as loud at the end as at the beginning.
    Swelling,
    /// A random telegraph: two speeds that change places about once a second.
    Telegraph,
    /// White, of few and large values.
    Spikes,
    /// Straight over 20 ms every few seconds, as over dropouts.
    Bridged,
    /// A resonance at this rate and of this quality, in 1/f.
    Ringing(f64, f64),
    /// A resonance whose rate wanders by a tenth.
    Wandering,
}

pub const FOREIGN: [Foreign; 10] = [
    Foreign::Bursts,
    Foreign::Swelling,
    Foreign::Telegraph,
    Foreign::Spikes,
    Foreign::Bridged,
    Foreign::Ringing(0.6, 3.0),
    Foreign::Ringing(20.0, 8.0),
    Foreign::Ringing(3.0, 15.0),
    Foreign::Ringing(10.0, 30.0),
    Foreign::Wandering,
];

impl Foreign {
    pub fn noise(self, seconds: f64, dice: &mut Dice) -> Vec<f64> {
        let count = (seconds * RATE_HZ) as usize;
        let few_seconds = |dice: &mut Dice| (-2.0 * RATE_HZ * dice.unit().max(1e-9).ln()) as usize;
        let pink = |dice: &mut Dice| Colour::Pink.noise(seconds, dice);
        match self {
            Self::Bursts | Self::Bridged => {
                let mut values = Colour::White.noise(seconds, dice);
                let length = if self == Self::Bursts { 100 } else { 10 };
                let mut at = few_seconds(dice);
                while at + length < count {
                    let (from, to) = (values[at], values[at + length]);
                    for (k, value) in values[at..at + length].iter_mut().enumerate() {
                        let part = k as f64 / length as f64;
                        *value = match self {
                            Self::Bursts => 5.0 * *value,
                            _ => from + part * (to - from),
                        };
                    }
                    at += length + few_seconds(dice);
                }
                values
            }
            Self::Swelling => {
                let along = |k: usize| 1.0 + 3.0 * k as f64 / count as f64;
                let values = pink(dice).into_iter().enumerate();
                values.map(|(k, value)| along(k) * value).collect()
            }
            Self::Telegraph => {
                let mut side = 1.0;
                let mut smooth = 0.0;
                let mut next = || {
                    if dice.chance(1.0 / RATE_HZ) {
                        side = -side;
                    }
                    // The flywheel.
                    smooth += (side - smooth) * 0.02;
                    smooth + 0.05 * dice.gaussian()
                };
                (0..count).map(|_| next()).collect()
            }
            Self::Spikes => (0..count).map(|_| dice.gaussian().powi(3)).collect(),
            Self::Ringing(hz, quality) => {
                let ring = ringing(count, quality, |_| hz, dice);
                let values = pink(dice).into_iter().zip(ring);
                values.map(|(pink, ring)| 0.3 * pink + ring).collect()
            }
            Self::Wandering => {
                let mut slow = 0.0;
                let wander: Vec<f64> = (0..count)
                    .map(|_| {
                        slow += -slow / (5.0 * RATE_HZ)
                            + 0.1 * dice.gaussian() / (2.5 * RATE_HZ).sqrt();
                        6.0 * (1.0 + slow)
                    })
                    .collect();
                let ring = ringing(count, 8.0, |k| wander[k], dice);
                let values = pink(dice).into_iter().zip(ring);
                values.map(|(pink, ring)| 0.3 * pink + ring).collect()
            }
        }
    }
}

/// Noise through a resonance.
fn ringing(count: usize, quality: f64, hz: impl Fn(usize) -> f64, dice: &mut Dice) -> Vec<f64> {
    let (mut last, mut before) = (0.0, 0.0);
    (0..count)
        .map(|k| {
            let w = TAU * hz(k) / RATE_HZ;
            let keeps = (-w / (2.0 * quality)).exp();
            let next = 2.0 * keeps * w.cos() * last - keeps * keeps * before + w * dice.gaussian();
            (before, last) = (last, next);
            next
        })
        .collect()
}

/// A line whose phase wanders: its width in turns over the record.
pub fn wandering(hz: f64, peak: f64, width: f64, seconds: f64, dice: &mut Dice) -> Vec<f64> {
    let count = (seconds * RATE_HZ) as usize;
    let step = (TAU * width / count as f64).sqrt();
    let mut phase = TAU * dice.unit();
    (0..count)
        .map(|n| {
            phase += step * dice.gaussian();
            peak * (TAU * hz * n as f64 / RATE_HZ + phase).sin()
        })
        .collect()
}

/// Adds what turns with the tape: lines of (rate, peak) at the mean speed of
/// what is there already; percent.
pub fn add_turning(values: &mut [f64], lines: &[(f64, f64)], dice: &mut Dice) {
    let phases: Vec<f64> = lines.iter().map(|_| dice.unit()).collect();
    let others = values.to_vec();
    for _ in 0..3 {
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        let mut place = 0.0;
        let mut next = others.clone();
        for (slot, value) in next.iter_mut().zip(values.iter()) {
            let turned = lines.iter().zip(&phases);
            *slot += turned
                .map(|((hz, peak), phase)| peak * (TAU * (hz * place + phase)).sin())
                .sum::<f64>();
            place += (1.0 + (value - mean) / 100.0) / RATE_HZ;
        }
        values.copy_from_slice(&next);
    }
}

/// All values by so much.
pub fn scale(values: &mut [f64], by: f64) {
    for value in values {
        *value *= by;
    }
}

/// As the finder takes them.
pub fn short(values: &[f64]) -> Vec<f32> {
    values.iter().map(|&value| value as f32).collect()
}
