//! Power in the band of music and speech, a thousand times a second.

use crate::signal::filters::{Cascade, butterworth_highpass, butterworth_lowpass};
use crate::signal::statistics::{MEDIAN_TO_SIGMA, upper_median};

/// Hum and rumble lie below, most of the hiss above; what tells one sound from
/// the next lies between. Chosen by trial, no source.
const BAND_HZ: [f64; 2] = [200.0, 6000.0];

/// Of the sample rate: a low-pass this near to half of it is none.
const HIGHEST_EDGE: f64 = 0.45;

/// A power no greater than this is digital silence: −150 dB.
pub const SILENCE: f32 = 1e-15;

/// Mean power of one channel in each hop, 0.5 for a full-scale sine within the
/// band.
///
/// Four bytes a hop: an hour at 1 ms takes 14 MB.
#[derive(Debug)]
pub struct Envelope {
    band: Cascade,
    hop: usize,
    hop_s: f64,
    sum: f64,
    count: usize,
    power: Vec<f32>,
}

impl Envelope {
    /// Hops of about `hop_s` seconds, rounded to whole samples; see
    /// [`Envelope::hop_s`].
    pub fn new(rate_hz: f64, hop_s: f64) -> Self {
        let hop = (rate_hz * hop_s).round().max(1.0);
        let top = BAND_HZ[1].min(HIGHEST_EDGE * rate_hz);
        Self {
            band: butterworth_highpass(4, BAND_HZ[0], rate_hz)
                .then(butterworth_lowpass(4, top, rate_hz)),
            hop: hop as usize,
            hop_s: hop / rate_hz,
            sum: 0.0,
            count: 0,
            power: Vec::new(),
        }
    }

    /// Length of a hop in seconds.
    pub fn hop_s(&self) -> f64 {
        self.hop_s
    }

    /// Takes the next sample.
    #[inline]
    pub fn push(&mut self, sample: f64) {
        let heard = self.band.push(sample);
        self.sum += heard * heard;
        self.count += 1;
        if self.count == self.hop {
            self.power.push((self.sum / self.hop as f64) as f32);
            self.sum = 0.0;
            self.count = 0;
        }
    }

    /// All whole hops so far.
    pub fn power(&self) -> &[f32] {
        &self.power
    }
}

/// Means of `width` neighbours: the value at `k` covers those from `k` to
/// `k + width − 1`. Empty where there are fewer.
pub fn smoothed(power: &[f32], width: usize) -> Vec<f32> {
    let width = width.max(1);
    if power.len() < width {
        return Vec::new();
    }
    let mut sum: f64 = power[..width].iter().map(|&p| f64::from(p)).sum();
    let mut means = Vec::with_capacity(power.len() - width + 1);
    means.push((sum / width as f64) as f32);
    for next in width..power.len() {
        sum += f64::from(power[next]) - f64::from(power[next - width]);
        means.push((sum.max(0.0) / width as f64) as f32);
    }
    means
}

/// Median and scatter of the noise in between, from its powers, which it
/// reorders: what stands out, and what is within it.
pub fn usual(values: &mut [f32]) -> (f64, f64) {
    let noise = upper_median(values);
    for value in &mut *values {
        *value = (*value - noise).abs();
    }
    let scatter = MEDIAN_TO_SIGMA * f64::from(upper_median(values));
    (f64::from(noise), scatter)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    fn last_power(rate_hz: f64, hz: f64) -> f64 {
        let mut envelope = Envelope::new(rate_hz, 0.001);
        for number in 0..(rate_hz * 0.5) as u64 {
            envelope.push((TAU * hz * number as f64 / rate_hz).sin());
        }
        let power = &envelope.power()[300..];
        power.iter().map(|&p| f64::from(p)).sum::<f64>() / power.len() as f64
    }

    #[test]
    fn music_passes_and_hum_does_not() {
        for rate_hz in [8000.0, 44_100.0, 192_000.0] {
            let tone = last_power(rate_hz, 1000.0);
            assert!((tone - 0.5).abs() < 0.01, "{rate_hz}: {tone}");
            // Butterworth of order 4: (50/200)⁸ and (60/200)⁸ of the power.
            let hum = last_power(rate_hz, 60.0);
            assert!(hum < 0.5 * 0.3f64.powi(8) * 1.2, "{rate_hz}: {hum}");
        }
        assert!(last_power(48_000.0, 15_000.0) < 0.001);
    }

    #[test]
    fn hops_are_whole_samples() {
        let mut envelope = Envelope::new(44_100.0, 0.001);
        assert!((envelope.hop_s() - 44.0 / 44_100.0).abs() < 1e-15);
        for _ in 0..100 {
            envelope.push(0.0);
        }
        assert_eq!(envelope.power().len(), 2);
    }

    #[test]
    fn a_smoothed_value_is_the_mean_of_those_that_follow() {
        assert_eq!(smoothed(&[1.0, 3.0, 5.0, 7.0], 2), [2.0, 4.0, 6.0]);
        assert!(smoothed(&[1.0], 2).is_empty());
    }
}
