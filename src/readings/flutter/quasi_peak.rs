//! The quasi-peak indicator: follows the pulse response of IEC 60386 (values
//! partly from memory), full-wave.

/// Charge, discharge and meter time constants in seconds, fitted to the pulse
/// series with a sine's reading held independent of its rate.
const CHARGE_S: f64 = 0.0335;
const DISCHARGE_S: f64 = 0.513;
const METER_S: f64 = 0.196;

/// What the detector shows of a 4 Hz sine of peak 1; the reading is divided by
/// it, so that such a sine reads its peak.
const SINE_READING: f64 = 0.8020;

/// A peak rectifier with a sluggish pointer.
#[derive(Clone, Debug)]
pub struct QuasiPeak {
    charge: f64,
    keep: f64,
    meter: f64,
    held: f64,
    shown: f64,
}

impl QuasiPeak {
    /// For `rate_hz` values a second.
    pub fn new(rate_hz: f64) -> Self {
        let step = |time_s: f64| 1.0 - (-1.0 / (rate_hz * time_s)).exp();
        Self {
            charge: step(CHARGE_S),
            keep: 1.0 - step(DISCHARGE_S),
            meter: step(METER_S),
            held: 0.0,
            shown: 0.0,
        }
    }

    /// One weighted value in, the reading out.
    #[inline]
    pub fn push(&mut self, weighted: f64) -> f64 {
        let magnitude = weighted.abs();
        self.held *= self.keep;
        if magnitude > self.held {
            self.held += self.charge * (magnitude - self.held);
        }
        self.shown += self.meter * (self.held - self.shown);
        self.reading()
    }

    /// The reading.
    pub fn reading(&self) -> f64 {
        self.shown / SINE_READING
    }

    /// Back to rest.
    pub fn reset(&mut self) {
        self.held = 0.0;
        self.shown = 0.0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::flutter::weighting::weighting;

    const RATE: f64 = 2000.0;

    /// Highest and, between the last pulses, lowest reading of unidirectional
    /// pulses once a second, in parts of the reading of a 4 Hz sine of the
    /// same peak-to-peak value.
    fn pulses(length_ms: f64) -> (f64, f64) {
        let mut filter = weighting(RATE);
        let mut detector = QuasiPeak::new(RATE);
        let on = (length_ms * 2.0) as usize;
        let mut highest: f64 = 0.0;
        let mut lowest = f64::INFINITY;
        for n in 0..40_000 {
            // Peak to peak 2, as a sine of peak 1 has.
            let value = if n % 2000 < on { 2.0 } else { 0.0 };
            let reading = detector.push(filter.push(value));
            if n >= 30_000 {
                highest = highest.max(reading);
                lowest = lowest.min(reading);
            }
        }
        (highest, lowest)
    }

    fn sine(hz: f64) -> f64 {
        let mut filter = weighting(RATE);
        let mut detector = QuasiPeak::new(RATE);
        let mut highest: f64 = 0.0;
        for n in 0..40_000 {
            let value = (std::f64::consts::TAU * hz * f64::from(n) / RATE).sin();
            let reading = detector.push(filter.push(value));
            if n >= 30_000 {
                highest = highest.max(reading);
            }
        }
        highest / weighting(RATE).gain(hz, RATE)
    }

    #[test]
    fn pulses_read_within_the_tolerances() {
        // IEC 60386: 60 ms and the fall between 100 ms pulses from its text,
        // the other values and all tolerances from memory.
        for (ms, percent, tolerance) in [
            (10.0, 21.0, 3.0),
            (30.0, 62.0, 6.0),
            (60.0, 90.0, 6.0),
            (100.0, 100.0, 4.0),
        ] {
            let reading = 100.0 * pulses(ms).0;
            assert!(
                (reading - percent).abs() <= tolerance,
                "{ms} ms: {reading:.1} %"
            );
        }
        let (highest, lowest) = pulses(100.0);
        let fall = 100.0 * lowest / highest;
        assert!((36.0..=44.0).contains(&fall), "falls to {fall:.1} %");
    }

    #[test]
    fn a_sine_reads_its_weighted_peak_at_any_rate() {
        for hz in [1.0, 2.0, 4.0, 10.0, 20.0, 63.0, 97.0] {
            let db = 20.0 * sine(hz).log10();
            assert!(db.abs() <= 0.2, "{hz} Hz: {db:.3} dB");
        }
    }
}
