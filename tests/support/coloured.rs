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

/// As the finder takes them.
pub fn short(values: &[f64]) -> Vec<f32> {
    values.iter().map(|&value| value as f32).collect()
}
