//! Recursive filters from analogue prototypes by the bilinear transform.
//!
//! All in double precision: the poles of the wow band lie within 10⁻³ of the
//! unit circle.

// See `wide`.
#![allow(clippy::inline_always)]

use std::f64::consts::PI;

use super::wide::madd_64;

/// State smaller than this is taken as zero: after a long silence the tail of
/// a filter would otherwise crawl through denormal numbers, which are slow.
const TINY: f64 = 1e-200;

/// One second-order section in transposed direct form II:
/// H(z) = (b0 + b1 z⁻¹ + b2 z⁻²) / (1 + a1 z⁻¹ + a2 z⁻²).
#[derive(Clone, Copy, Debug)]
pub struct Section {
    /// Numerator.
    pub b: [f64; 3],
    /// Denominator after its leading 1.
    pub a: [f64; 2],
    state: [f64; 2],
}

impl Section {
    /// A section at rest.
    pub fn new(b: [f64; 3], a: [f64; 2]) -> Self {
        Self {
            b,
            a,
            state: [0.0; 2],
        }
    }

    /// The digital section of (n0 + n1 s + n2 s²) / (d0 + d1 s + d2 s²), s in
    /// rad/s, with frequencies left unwarped: s = 2 fs (1 − z⁻¹)/(1 + z⁻¹).
    pub fn bilinear(numerator: [f64; 3], denominator: [f64; 3], rate_hz: f64) -> Self {
        let k = 2.0 * rate_hz;
        let transform = |[c0, c1, c2]: [f64; 3]| {
            let (one, two) = (c1 * k, c2 * k * k);
            [c0 + one + two, 2.0 * (c0 - two), c0 - one + two]
        };
        let b = transform(numerator);
        let a = transform(denominator);
        Self::new(b.map(|b| b / a[0]), [a[1] / a[0], a[2] / a[0]])
    }

    #[inline]
    fn push(&mut self, x: f64) -> f64 {
        let y = self.b[0] * x + self.state[0];
        self.state[0] = settle(self.b[1] * x - self.a[0] * y + self.state[1]);
        self.state[1] = settle(self.b[2] * x - self.a[1] * y);
        y
    }

    /// Magnitude at a frequency.
    pub fn gain(&self, hz: f64, rate_hz: f64) -> f64 {
        let w = 2.0 * PI * hz / rate_hz;
        let magnitude = |c: [f64; 3]| {
            let re = c[0] + c[1] * w.cos() + c[2] * (2.0 * w).cos();
            let im = c[1] * w.sin() + c[2] * (2.0 * w).sin();
            f64::hypot(re, im)
        };
        magnitude(self.b) / magnitude([1.0, self.a[0], self.a[1]])
    }
}

#[inline]
fn settle(state: f64) -> f64 {
    if state.abs() < TINY { 0.0 } else { state }
}

/// Sections one after the other.
#[derive(Clone, Debug)]
pub struct Cascade {
    sections: Vec<Section>,
}

impl Cascade {
    /// Takes the sections in the order of the signal.
    pub fn new(sections: Vec<Section>) -> Self {
        Self { sections }
    }

    /// This filter, then another.
    pub fn then(mut self, next: Self) -> Self {
        self.sections.extend(next.sections);
        self
    }

    /// One value in, one out.
    #[inline]
    pub fn push(&mut self, x: f64) -> f64 {
        self.sections
            .iter_mut()
            .fold(x, |value, section| section.push(value))
    }

    /// Forgets the past.
    pub fn reset(&mut self) {
        for section in &mut self.sections {
            section.state = [0.0; 2];
        }
    }

    /// Magnitude at a frequency.
    pub fn gain(&self, hz: f64, rate_hz: f64) -> f64 {
        self.sections
            .iter()
            .map(|section| section.gain(hz, rate_hz))
            .product()
    }

    /// Scales the whole so that the gain at `hz` is 1.
    pub fn normalise_at(&mut self, hz: f64, rate_hz: f64) {
        let gain = self.gain(hz, rate_hz);
        for b in &mut self.sections[0].b {
            *b /= gain;
        }
    }
}

/// Several cascades for one input, run side by side: but for rounding the same
/// as one by one, in less time.
#[derive(Clone, Debug)]
pub struct Bank<const N: usize> {
    stages: Vec<Stage<N>>,
    until_settled: u32,
}

/// A section of each cascade.
#[derive(Clone, Debug)]
struct Stage<const N: usize> {
    b: [[f64; N]; 3],
    a: [[f64; N]; 2],
    state: [[f64; N]; 2],
}

/// States are looked at for being tiny this often: none gets from above
/// [`TINY`] to a denormal number in between.
const SETTLE_EVERY: u32 = 128;

impl<const N: usize> Bank<N> {
    /// Takes the cascades, whose order is that of the outputs.
    pub fn new(cascades: &[Cascade; N]) -> Self {
        let length = |cascade: &Cascade| cascade.sections.len();
        let longest = cascades.iter().map(length).max().unwrap_or(0);
        let through = Section::new([1.0, 0.0, 0.0], [0.0, 0.0]);
        let stage = |place: usize| {
            let of_each = cascades
                .each_ref()
                .map(|cascade| *cascade.sections.get(place).unwrap_or(&through));
            Stage {
                b: [0, 1, 2].map(|k| of_each.map(|section| section.b[k])),
                a: [0, 1].map(|k| of_each.map(|section| section.a[k])),
                state: [[0.0; N]; 2],
            }
        };
        Self {
            stages: (0..longest).map(stage).collect(),
            until_settled: SETTLE_EVERY,
        }
    }

    /// One value in, one from each cascade out.
    #[inline(always)]
    pub fn push<const FUSED: bool>(&mut self, x: f64) -> [f64; N] {
        let mut values = [x; N];
        for Stage { b, a, state } in &mut self.stages {
            for k in 0..N {
                let x = values[k];
                let y = madd_64::<FUSED>(b[0][k], x, state[0][k]);
                let first = madd_64::<FUSED>(b[1][k], x, state[1][k]);
                state[0][k] = madd_64::<FUSED>(-a[0][k], y, first);
                state[1][k] = madd_64::<FUSED>(-a[1][k], y, b[2][k] * x);
                values[k] = y;
            }
        }
        self.until_settled -= 1;
        if self.until_settled == 0 {
            self.until_settled = SETTLE_EVERY;
            self.settle();
        }
        values
    }

    #[cold]
    fn settle(&mut self) {
        for stage in &mut self.stages {
            for state in stage.state.as_flattened_mut() {
                *state = settle(*state);
            }
        }
    }

    /// Forgets the past.
    pub fn reset(&mut self) {
        for stage in &mut self.stages {
            stage.state = [[0.0; N]; 2];
        }
    }
}

/// Butterworth low-pass of an even order, −3 dB at the edge.
///
/// Pole pairs at angles π (2k + 1) / (2 n) (Butterworth 1930), the edge
/// pre-warped so that it is exact after the bilinear transform.
pub fn butterworth_lowpass(order: usize, edge_hz: f64, rate_hz: f64) -> Cascade {
    butterworth(order, edge_hz, rate_hz, |w| [w * w, 0.0, 0.0])
}

/// Butterworth high-pass of an even order, −3 dB at the edge.
pub fn butterworth_highpass(order: usize, edge_hz: f64, rate_hz: f64) -> Cascade {
    butterworth(order, edge_hz, rate_hz, |_| [0.0, 0.0, 1.0])
}

fn butterworth(
    order: usize,
    edge_hz: f64,
    rate_hz: f64,
    numerator: impl Fn(f64) -> [f64; 3],
) -> Cascade {
    debug_assert!(order.is_multiple_of(2));
    let w = 2.0 * rate_hz * (PI * edge_hz / rate_hz).tan();
    let sections = (0..order / 2)
        .map(|k| {
            let angle = PI * (2 * k + 1) as f64 / (2 * order) as f64;
            let denominator = [w * w, 2.0 * w * angle.sin(), 1.0];
            Section::bilinear(numerator(w), denominator, rate_hz)
        })
        .collect();
    Cascade::new(sections)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn butterworth_edges_are_at_minus_three_decibels() {
        // |H|² = 1 / (1 + (f/fc)^2n): the definition, before warping.
        for rate in [2000.0, 2205.0, 4000.0] {
            for edge in [0.5, 6.0, 100.0] {
                let low = butterworth_lowpass(4, edge, rate);
                let high = butterworth_highpass(4, edge, rate);
                for filter in [&low, &high] {
                    let at_edge = filter.gain(edge, rate);
                    assert!((at_edge - 0.5f64.sqrt()).abs() < 1e-9, "{edge} at {rate}");
                }
                let octave = (1.0f64 + 2f64.powi(8)).sqrt().recip();
                assert!((low.gain(edge * 2.0, rate) / octave - 1.0).abs() < 0.2);
                assert!((high.gain(edge / 2.0, rate) / octave - 1.0).abs() < 0.2);
            }
        }
    }

    #[test]
    fn the_gain_is_what_a_sine_gets() {
        let rate = 2000.0;
        let mut filter =
            butterworth_highpass(4, 6.0, rate).then(butterworth_lowpass(4, 100.0, rate));
        let mut sum = 0.0;
        for n in 0..20_000 {
            let x = (2.0 * PI * 8.0 * f64::from(n) / rate).sin();
            let y = filter.push(x);
            if n >= 10_000 {
                sum += y * y;
            }
        }
        let measured = (sum / 10_000.0 * 2.0).sqrt();
        assert!((measured - filter.gain(8.0, rate)).abs() < 1e-6);
    }

    #[test]
    fn side_by_side_is_the_same_as_one_by_one_but_for_rounding() {
        is_the_same_side_by_side::<false>();
        is_the_same_side_by_side::<true>();
    }

    fn is_the_same_side_by_side<const FUSED: bool>() {
        let mut cascades = [
            butterworth_lowpass(6, 100.0, 2000.0),
            butterworth_highpass(2, 6.0, 2000.0),
        ];
        let mut bank = Bank::new(&cascades);
        for n in 0..3000 {
            // A click, and then a long silence.
            let x = if n < 10 { f64::from(n) } else { 0.0 };
            let [low, high] = bank.push::<FUSED>(x);
            assert!((low - cascades[0].push(x)).abs() < 1e-12);
            assert!((high - cascades[1].push(x)).abs() < 1e-12);
        }
        let states = bank.stages.iter().flat_map(|stage| stage.state);
        assert!(
            states
                .flatten()
                .all(|state| state == 0.0 || state.is_normal())
        );
    }

    #[test]
    fn a_long_silence_ends_in_zero() {
        let mut filter = butterworth_lowpass(4, 100.0, 2000.0);
        filter.push(1.0);
        for _ in 0..100_000 {
            filter.push(0.0);
        }
        assert!(
            filter
                .sections
                .iter()
                .all(|section| section.state.iter().all(|s| s.to_bits() == 0))
        );
    }
}
