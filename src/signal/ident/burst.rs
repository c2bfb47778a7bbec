//! The sound of an ident.

use std::f64::consts::{PI, TAU};

use super::frame::Ident;
use super::{BITS_HZ, LEAD_BITS, TONES_HZ, sync_bits};
use crate::signal::tone::Sound;

/// Copies of the message in a burst.
const COPIES: usize = 2;

/// Bits of the lower tone after the last copy: its last bit must not end with
/// the sound.
const TAIL_BITS: usize = 6;

/// Fade at both ends, in seconds.
const FADE_S: f64 = 0.01;

/// An ident as sound. Every sample is a function of its number alone.
#[derive(Clone, Debug)]
pub struct IdentBurst {
    bits: Vec<bool>,
    rate_hz: f64,
    amplitude: f64,
    length: u64,
}

impl IdentBurst {
    /// At `rate_hz` samples a second; the amplitude is relative to full scale.
    pub fn new(ident: &Ident, rate_hz: f64, amplitude: f64) -> Self {
        let message = ident.to_bits();
        let mut bits = Vec::new();
        for _ in 0..COPIES {
            bits.extend([false; LEAD_BITS]);
            bits.extend(sync_bits());
            bits.extend(&message);
        }
        bits.extend([false; TAIL_BITS]);
        Self {
            length: (bits.len() as f64 / BITS_HZ * rate_hz).round() as u64,
            bits,
            rate_hz,
            amplitude,
        }
    }

    fn envelope(&self, time_s: f64) -> f64 {
        let from_end = time_s.min(self.length as f64 / self.rate_hz - time_s);
        0.5 - 0.5 * (PI * (from_end / FADE_S).clamp(0.0, 1.0)).cos()
    }
}

impl Sound for IdentBurst {
    fn length(&self) -> u64 {
        self.length
    }

    fn sample(&self, number: u64) -> f64 {
        if number >= self.length {
            return 0.0;
        }
        let time_s = number as f64 / self.rate_hz;
        let bit = (time_s * BITS_HZ) as usize;
        let within_s = time_s - bit as f64 / BITS_HZ;
        let hz = TONES_HZ[usize::from(self.bits.get(bit).copied().unwrap_or(false))];
        self.amplitude * self.envelope(time_s) * (TAU * hz * within_s).sin()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Hertz;

    #[test]
    fn the_sound_has_no_breaks() {
        let day = jiff::civil::date(2026, 11, 26);
        let ident = Ident::new("Bench deck 2", day, Hertz(3150.0)).unwrap();
        for rate in [44_100.0, 48_000.0] {
            let burst = IdentBurst::new(&ident, rate, 0.5);
            // The steepest a sine of 1200 Hz can be.
            let steepest = 0.5 * TAU * 1200.0 / rate;
            for number in 0..burst.length() {
                let step = burst.sample(number + 1) - burst.sample(number);
                assert!(step.abs() <= 1.001 * steepest, "{rate}: {number}");
            }
            // Two copies of 40 + 24 + 8 × 23 bits and a tail.
            assert_eq!(burst.length(), (5.02 * rate).round() as u64);
        }
    }
}
