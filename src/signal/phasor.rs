//! A vector that turns at a steady rate.

use rustfft::num_complex::Complex64;

use super::demodulator::turned_by;

/// Values that are made from the one before, until the next exact one: in
/// between, rounding piles up.
const LAP: u32 = 256;

/// e^(j2π(start + n step)) for n = 0, 1, 2 …, without end.
#[derive(Clone, Debug)]
pub struct Phasor {
    step_turns: f64,
    /// Turns at the next exact value.
    turns: f64,
    step: Complex64,
    value: Complex64,
    made: u32,
}

impl Phasor {
    /// From `start` on, by `step` from one value to the next; both in turns.
    pub fn new(start: f64, step: f64) -> Self {
        Self {
            step_turns: step,
            turns: start.fract(),
            step: turned_by(step),
            value: turned_by(start.fract()),
            made: 0,
        }
    }
}

impl Iterator for Phasor {
    type Item = Complex64;

    #[inline]
    fn next(&mut self) -> Option<Complex64> {
        let now = self.value;
        self.made += 1;
        if self.made == LAP {
            self.made = 0;
            self.turns = (self.turns + f64::from(LAP) * self.step_turns).fract();
            self.value = turned_by(self.turns);
        } else {
            self.value = now * self.step;
        }
        Some(now)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_stays_where_it_should_be() {
        for (n, value) in Phasor::new(-0.3, 0.123_456).take(100_000).enumerate() {
            let exact = turned_by((n as f64 * 0.123_456 - 0.3).fract());
            assert!((value - exact).norm() < 1e-10, "{n}: {value} {exact}");
        }
    }
}
