//! The quasi-peak indicator: follows the pulse response of IEC 60386 (values
//! partly from memory), full-wave. The pulses are taken to pass the weighting
//! filter, as flutter does.
//!
//! A plain rectifier with one charging and one discharging time constant gives
//! short pulses too much and those of 60 ms too little. Here the charge slows
//! down only close to the value, and the discharge is slow as long as the
//! value stays near what is held: so a sine holds the reading up at any rate,
//! and pulses a second apart let it fall. Both depend on the ratio of value
//! and held value alone, hence nothing changes with the scale.

/// Charge, discharge and meter time constants in seconds. Derived by minimising
/// the largest deviation of the pulse series and of sines from 1 to 100 Hz,
/// each in parts of its tolerance.
const CHARGE_S: f64 = 0.0302;
const DISCHARGE_S: f64 = 0.2245;
const METER_S: f64 = 0.2523;

/// What the detector shows of a sine of peak 1: derived, the same at all rates within
/// 0.05 dB; the reading is divided by it, so that a sine reads its peak.
const SINE_READING: f64 = 0.9545;

/// A peak rectifier with a sluggish pointer.
#[derive(Clone, Debug)]
pub struct QuasiPeak {
    charge: f64,
    discharge: f64,
    meter: f64,
    held: f64,
    shown: f64,
}

impl QuasiPeak {
    /// For `rate_hz` values a second.
    pub fn new(rate_hz: f64) -> Self {
        Self {
            charge: 1.0 / (3.0 * CHARGE_S * rate_hz),
            discharge: 1.0 / (DISCHARGE_S * rate_hz),
            meter: 1.0 - (-1.0 / (METER_S * rate_hz)).exp(),
            held: 0.0,
            shown: 0.0,
        }
    }

    /// One weighted value in, the reading out.
    #[inline]
    pub fn push(&mut self, weighted: f64) -> f64 {
        self.hold(weighted.abs());
        self.shown += self.meter * (self.held - self.shown);
        self.reading()
    }

    #[inline]
    fn hold(&mut self, value: f64) {
        if value > self.held {
            // With r the missing part of the value, dr/dt = −r^⅔ / CHARGE_S:
            // its cube root falls evenly, and reaches 0.
            let root = (1.0 - self.held / value).cbrt() - self.charge;
            self.held = value * (1.0 - root.max(0.0).powi(3));
        } else if self.held > 0.0 {
            // With s the part of what is held that the value falls short of
            // it, it sinks at s⁴ / DISCHARGE_S of itself.
            let short = 1.0 - value / self.held;
            self.held -= self.held * self.discharge * short.powi(4);
        }
    }

    /// The reading.
    pub fn reading(&self) -> f64 {
        self.shown * (1.0 / SINE_READING)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::weighting::weighting;

    /// Rates of the track, its limits and between.
    const RATES: [f64; 4] = [2000.0, 2205.0, 2756.25, 3999.0];

    /// Highest and lowest reading over the last of ten seconds.
    fn extremes(rate_hz: f64, weighted: impl Fn(usize) -> f64) -> (f64, f64) {
        let mut detector = QuasiPeak::new(rate_hz);
        let (mut highest, mut lowest) = (0.0f64, f64::INFINITY);
        for n in 0..(10.0 * rate_hz) as usize {
            let reading = detector.push(weighted(n));
            if n as f64 >= 9.0 * rate_hz {
                highest = highest.max(reading);
                lowest = lowest.min(reading);
            }
        }
        (highest, lowest)
    }

    /// Unidirectional pulses once a second, as high as a sine of peak 1 is
    /// from peak to peak, after the weighting.
    fn pulses(rate_hz: f64, length_ms: f64) -> Vec<f64> {
        let mut filter = weighting(rate_hz);
        let on = (length_ms / 1000.0 * rate_hz).round();
        (0..(10.0 * rate_hz) as usize)
            .map(|n| {
                let into = n as f64 % rate_hz;
                filter.push(if into < on { 2.0 } else { 0.0 })
            })
            .collect()
    }

    #[test]
    fn pulses_read_close_to_the_standard_at_every_rate() {
        // IEC 60386: 60 ms and the fall between 100 ms pulses from its text,
        // the other values from memory. The standard's tolerances (±3, 6, 6, 4)
        // are held end to end by a test of their own; here what was reached.
        for rate in RATES {
            for (ms, percent, allowed) in [
                (10.0, 21.0, 1.3),
                (30.0, 62.0, 2.0),
                (60.0, 90.0, 1.0),
                (100.0, 100.0, 1.4),
            ] {
                let series = pulses(rate, ms);
                let (highest, lowest) = extremes(rate, |n| series[n]);
                let reading = 100.0 * highest;
                assert!(
                    (reading - percent).abs() <= allowed,
                    "{ms} ms at {rate}: {reading:.1} %"
                );
                if ms > 99.0 {
                    let fall = 100.0 * lowest / highest;
                    assert!((38.0..=42.0).contains(&fall), "falls to {fall:.1} %");
                }
            }
        }
    }

    #[test]
    fn a_sine_reads_its_peak_at_any_rate_from_1_to_100_hz() {
        for rate in RATES {
            for step in 0..=60 {
                let hz = 100f64.powf(f64::from(step) / 60.0);
                let wave = |n: usize| (std::f64::consts::TAU * hz * n as f64 / rate + 0.3).sin();
                let db = 20.0 * extremes(rate, wave).0.log10();
                assert!(db.abs() <= 0.12, "{hz:.2} Hz at {rate}: {db:.3} dB");
            }
        }
    }

    #[test]
    fn neither_the_sign_nor_the_scale_matters() {
        let series = pulses(2000.0, 30.0);
        let (here, _) = extremes(2000.0, |n| series[n]);
        let (there, _) = extremes(2000.0, |n| -1e-5 * series[n]);
        assert!((there / here / 1e-5 - 1.0).abs() < 1e-12);
        let mut silent = QuasiPeak::new(2000.0);
        assert!(silent.push(0.0) == 0.0 && silent.push(0.0) == 0.0);
    }
}
