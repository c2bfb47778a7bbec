//! Linear-phase FIR filters: design by the Kaiser window, fast inner product.

// See `wide`.
#![allow(clippy::inline_always)]

use std::f64::consts::PI;

use super::wide::madd;

/// A linear-phase low-pass of odd length with unit gain at 0 Hz.
///
/// `pass_hz` and `stop_hz` are the edges, `attenuation_db` (above 50) the
/// ripple in the stop band. Length and shape after J. F. Kaiser, "Nonrecursive
/// digital filter design using the I0-sinh window function", 1974:
/// β = 0.1102 (A − 8.7), length − 1 = (A − 7.95) / (2.285 Δω).
pub fn kaiser_lowpass(pass_hz: f64, stop_hz: f64, rate_hz: f64, attenuation_db: f64) -> Vec<f64> {
    let width = 2.0 * PI * (stop_hz - pass_hz) / rate_hz;
    let beta = kaiser_beta(attenuation_db);
    let half = ((attenuation_db - 7.95) / (2.285 * width) / 2.0).ceil() as i64;
    let cut = (pass_hz + stop_hz) / rate_hz; // in units of half the rate
    let mut taps: Vec<f64> = (-half..=half)
        .map(|k| {
            let k = k as f64;
            sinc(k, cut) * kaiser_window(k / half.max(1) as f64, beta)
        })
        .collect();
    let sum: f64 = taps.iter().sum();
    for tap in &mut taps {
        *tap /= sum;
    }
    taps
}

/// The low-pass of `cut` times half the rate, `away` samples from its middle.
pub fn sinc(away: f64, cut: f64) -> f64 {
    let x = PI * away * cut;
    if x.abs() < 1e-9 {
        cut
    } else {
        cut * x.sin() / x
    }
}

/// Shape of the Kaiser window for an attenuation above 50 dB (the same).
pub fn kaiser_beta(attenuation_db: f64) -> f64 {
    0.1102 * (attenuation_db - 8.7)
}

/// The Kaiser window, −1 and 1 being its ends; not scaled.
pub fn kaiser_window(place: f64, beta: f64) -> f64 {
    bessel_i0(beta * (1.0 - place * place).max(0.0).sqrt())
}

/// Modified Bessel function of order zero, by its power series (Abramowitz &
/// Stegun 9.6.12).
fn bessel_i0(x: f64) -> f64 {
    let quarter = x * x / 4.0;
    let mut term = 1.0;
    let mut sum = 1.0;
    let mut k = 1.0;
    while term > sum * 1e-17 {
        term *= quarter / (k * k);
        sum += term;
        k += 1.0;
    }
    sum
}

/// Lanes of the inner products below: as many partial sums as the compiler
/// can keep in vector registers.
pub const LANES: usize = 8;

/// Rounds a number of taps up to whole lanes.
pub fn whole_lanes(taps: usize) -> usize {
    taps.div_ceil(LANES) * LANES
}

/// Σ a·b over slices of equal length, which must be a multiple of [`LANES`].
#[inline(always)]
pub fn dot<const FUSED: bool>(a: &[f32], b: &[f32]) -> f32 {
    let mut s = [0.0f32; LANES];
    for (a, b) in a.chunks_exact(LANES).zip(b.chunks_exact(LANES)) {
        for lane in 0..LANES {
            s[lane] = madd::<FUSED>(a[lane], b[lane], s[lane]);
        }
    }
    ((s[0] + s[4]) + (s[1] + s[5])) + ((s[2] + s[6]) + (s[3] + s[7]))
}

/// Σ x in double precision.
pub fn total(x: &[f32]) -> f64 {
    let mut sums = [0.0f64; LANES];
    let chunks = x.chunks_exact(LANES);
    for (sum, &x) in sums.iter_mut().zip(chunks.remainder()) {
        *sum = f64::from(x);
    }
    for chunk in chunks {
        for lane in 0..LANES {
            sums[lane] += f64::from(chunk[lane]);
        }
    }
    sums.iter().sum()
}

/// Values that a [`History`] has room for beside its own.
const MOST_AT_ONCE: usize = 1024;

/// The newest values of a stream, laid out so that a window of them is one
/// slice. Holds `span` values; older ones are forgotten.
#[derive(Clone, Debug)]
pub struct History {
    values: Vec<f32>,
    span: usize,
}

impl History {
    /// A history of `span` zeros.
    pub fn new(span: usize) -> Self {
        let mut values = Vec::with_capacity(span * 4 + MOST_AT_ONCE);
        values.resize(span, 0.0);
        Self { values, span }
    }

    /// Takes values, oldest first.
    pub fn extend(&mut self, newest: &[f32]) {
        for part in newest.chunks(MOST_AT_ONCE) {
            if self.values.len() + part.len() > 4 * self.span + MOST_AT_ONCE {
                let from = self.values.len() - self.span;
                self.values.copy_within(from.., 0);
                self.values.truncate(self.span);
            }
            self.values.extend_from_slice(part);
        }
    }

    /// The newest `span` values, oldest first.
    #[inline]
    pub fn window(&self) -> &[f32] {
        &self.values[self.values.len() - self.span..]
    }

    /// The newest `count` values whose time has come: `ahead` more stand behind
    /// them.
    pub fn newest(&self, ahead: usize, count: usize) -> &[f32] {
        let end = self.values.len() - ahead;
        &self.values[end - count..end]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn gain(taps: &[f64], hz: f64, rate_hz: f64) -> f64 {
        let w = 2.0 * PI * hz / rate_hz;
        let (re, im) = taps
            .iter()
            .enumerate()
            .fold((0.0, 0.0), |(re, im), (k, h)| {
                let angle = w * k as f64;
                (re + h * angle.cos(), im + h * angle.sin())
            });
        f64::hypot(re, im)
    }

    #[test]
    fn the_kaiser_design_keeps_its_edges() {
        for (pass, stop, rate) in [(330.0, 1000.0, 8000.0), (189.0, 265.0, 8820.0)] {
            let taps = kaiser_lowpass(pass, stop, rate, 90.0);
            for step in 0..=20 {
                let hz = pass * f64::from(step) / 20.0;
                let error = 20.0 * gain(&taps, hz, rate).log10();
                assert!(error.abs() < 0.01, "{hz} Hz: {error} dB");
            }
            for step in 0..200 {
                let hz = stop + (rate / 2.0 - stop) * f64::from(step) / 199.0;
                let left = 20.0 * gain(&taps, hz, rate).log10();
                assert!(left < -88.0, "{hz} Hz: {left} dB");
            }
        }
    }

    #[test]
    fn the_fast_product_agrees_with_the_plain_one() {
        let a: Vec<f32> = (0..48).map(|k| (k as f32 * 0.37).sin()).collect();
        let b: Vec<f32> = (0..48).map(|k| (k as f32 * 0.91).cos()).collect();
        let plain: f64 = a
            .iter()
            .zip(&b)
            .map(|(a, b)| f64::from(*a) * f64::from(*b))
            .sum();
        assert!((f64::from(dot::<false>(&a, &b)) - plain).abs() < 1e-5);
        assert!((f64::from(dot::<true>(&a, &b)) - plain).abs() < 1e-5);
        let plain: f64 = a[..45].iter().map(|&a| f64::from(a)).sum();
        assert!((total(&a[..45]) - plain).abs() < 1e-12);
    }

    #[test]
    fn the_history_is_the_same_however_it_is_filled() {
        let mut one = History::new(16);
        let mut many = History::new(16);
        let values: Vec<f32> = (0..5000u16).map(f32::from).collect();
        for chunk in values.chunks(37) {
            many.extend(chunk);
            for value in chunk {
                one.extend(std::slice::from_ref(value));
            }
            assert_eq!(one.window(), many.window());
        }
    }
}
