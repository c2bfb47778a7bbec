//! Quantities that carry their unit in the type.
//!
//! Floor 0: conversion and display only. No measuring happens here.
//! Deviations are percent of nominal speed; positive is fast.

use std::fmt;

use serde::{Deserialize, Serialize};

/// A frequency in hertz.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Hertz(pub f64);

/// A relative quantity in percent; a speed deviation is positive when fast.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Percent(pub f64);

/// A pitch interval in cents; 1200 cents are an octave.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Cents(pub f64);

/// A stretch of time in seconds, counted in samples, never read off a clock.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Seconds(pub f64);

/// A relative clock error in parts per million.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Ppm(pub f64);

/// A level or ratio in decibels; for levels a full-scale sine is 0 (AES17).
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Decibels(pub f64);

impl Percent {
    /// From a speed ratio: 1.01 is +1 %.
    pub fn from_ratio(ratio: f64) -> Self {
        Self((ratio - 1.0) * 100.0)
    }

    /// The speed ratio: +1 % is 1.01.
    pub fn ratio(self) -> f64 {
        1.0 + self.0 / 100.0
    }

    /// The same interval as a pitch: 1200 log2 of the ratio.
    pub fn cents(self) -> Cents {
        Cents(1200.0 * self.ratio().log2())
    }

    /// The magnitude.
    pub fn abs(self) -> Self {
        Self(self.0.abs())
    }
}

impl Cents {
    /// The same interval as a relative speed.
    pub fn percent(self) -> Percent {
        Percent::from_ratio((self.0 / 1200.0).exp2())
    }
}

impl Ppm {
    /// The same quantity in percent: 100 ppm are 0.01 %.
    pub fn percent(self) -> Percent {
        Percent(self.0 * 1e-4)
    }
}

impl Decibels {
    /// From a ratio of powers; 0 gives minus infinity.
    pub fn from_power_ratio(ratio: f64) -> Self {
        Self(10.0 * ratio.log10())
    }

    /// The ratio of amplitudes.
    pub fn amplitude_ratio(self) -> f64 {
        10f64.powf(self.0 / 20.0)
    }
}

impl fmt::Display for Hertz {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // A nominal frequency is said as it is written on the tape: 3150 Hz.
        if f.precision().is_none() && (self.0 - self.0.round()).abs() < 5e-4 {
            write!(f, "{:.0} Hz", self.0)
        } else {
            write!(f, "{:.*} Hz", f.precision().unwrap_or(2), self.0)
        }
    }
}

impl fmt::Display for Seconds {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.*} s", f.precision().unwrap_or(1), self.0)
    }
}

impl fmt::Display for Decibels {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.*} dB", f.precision().unwrap_or(1), self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_percent_is_17_23_cents() {
        // Equal temperament: cents = 1200 log2(ratio); ISO 16:1975 fixes A4.
        assert!((Percent(1.0).cents().0 - 17.226).abs() < 1e-3);
        assert!((Cents(100.0).percent().0 - 5.946_309).abs() < 1e-6);
    }

    #[test]
    fn conversions_go_both_ways() {
        for percent in [-20.0, -1.23, 0.0, 0.001, 25.0] {
            let back = Percent(percent).cents().percent();
            assert!((back.0 - percent).abs() < 1e-12, "{percent}");
            let back = Percent::from_ratio(Percent(percent).ratio());
            assert!((back.0 - percent).abs() < 1e-12, "{percent}");
        }
        assert!((Ppm(100.0).percent().0 - 0.01).abs() < 1e-15);
        assert!((Decibels::from_power_ratio(100.0).0 - 20.0).abs() < 1e-12);
        assert!((Decibels(-6.0206).amplitude_ratio() - 0.5).abs() < 1e-6);
    }

    #[test]
    fn a_nominal_tone_is_said_without_decimals() {
        assert_eq!(Hertz(3150.0).to_string(), "3150 Hz");
        assert_eq!(Hertz(3118.5).to_string(), "3118.50 Hz");
    }
}
