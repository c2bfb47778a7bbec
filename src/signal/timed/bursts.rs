//! A row of short bursts, each at its exact time.

use std::f64::consts::TAU;

use crate::signal::tone::Sound;

/// Frequency of the bursts: far above hum, far below the treble that a dirty
/// head loses, within the band at ±25 % of the speed.
pub const BURST_HZ: f64 = 1000.0;

/// Length of a burst, from nothing to nothing: twenty turns, so that it is no
/// click that drop-outs or a cut of the treble take away, and short enough for
/// ten a second.
pub const BURST_S: f64 = 0.02;

/// Silence before the first burst and after the last.
pub const QUIET_S: f64 = 0.5;

/// Bursts at a spacing, under a Hann window each. Every sample is a function
/// of its number alone: no error adds up.
#[derive(Clone, Copy, Debug)]
pub struct Bursts {
    spacing_s: f64,
    rate_hz: f64,
    amplitude: f64,
    length: u64,
    count: u64,
}

impl Bursts {
    /// As many bursts every `spacing_s` seconds as find room in `length`
    /// samples with [`QUIET_S`] at both ends.
    pub fn new(spacing_s: f64, rate_hz: f64, amplitude: f64, length: u64) -> Self {
        let room = length as f64 / rate_hz - 2.0 * QUIET_S - BURST_S;
        Self {
            spacing_s,
            rate_hz,
            amplitude,
            length,
            count: if room < 0.0 {
                0
            } else {
                // A spacing that fits exactly must not fall to rounding.
                (room / spacing_s + 1e-9).floor() as u64 + 1
            },
        }
    }

    /// How many there are.
    pub fn count(&self) -> u64 {
        self.count
    }
}

impl Sound for Bursts {
    fn length(&self) -> u64 {
        self.length
    }

    fn sample(&self, number: u64) -> f64 {
        let time = number as f64 / self.rate_hz - QUIET_S;
        if time < 0.0 || self.count == 0 {
            return 0.0;
        }
        let burst = (time / self.spacing_s).floor().min(self.count as f64 - 1.0);
        let within = time - burst * self.spacing_s;
        if within >= BURST_S {
            return 0.0;
        }
        let window = 0.5 - 0.5 * (TAU * within / BURST_S).cos();
        self.amplitude * window * (TAU * BURST_HZ * within).sin()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bursts_stand_at_their_times() {
        // A spacing that is no whole number of samples.
        let rate = 44_100.0;
        let bursts = Bursts::new(0.3, rate, 0.5, (10.0 * rate) as u64);
        // 0.5 + 29 × 0.3 + 0.02 + 0.5 = 9.72 s, another would not fit.
        assert_eq!(bursts.count(), 30);
        let mut centres = vec![[0.0f64; 2]; 31];
        for number in 0..bursts.length() {
            let time = number as f64 / rate;
            let power = bursts.sample(number).powi(2);
            let nearest = ((time - QUIET_S - BURST_S / 2.0) / 0.3).round();
            let slot = &mut centres[(nearest.max(0.0) as usize).min(30)];
            *slot = [slot[0] + power, slot[1] + power * time];
        }
        for (k, [power, moment]) in centres[..30].iter().enumerate() {
            let at = QUIET_S + BURST_S / 2.0 + 0.3 * k as f64;
            assert!(
                (moment / power - at).abs() < 1e-6,
                "{k}: {}",
                moment / power
            );
        }
        assert!(centres[30][0] < 1e-12);
        assert!(bursts.sample(u64::MAX).abs() < 1e-12);
    }

    #[test]
    fn what_fits_exactly_is_there() {
        let count = |seconds: f64| Bursts::new(1.0, 48_000.0, 1.0, (seconds * 48_000.0) as u64);
        assert_eq!(count(61.02).count(), 61);
        assert_eq!(count(61.0).count(), 60);
        assert_eq!(count(0.9).count(), 0);
    }
}
