//! Takes out of a sweep what goes on all the time: the hand's smooth motion by
//! a local parabola, then trembling, wow and flutter by an autoregressive
//! model that is fitted to the sweep itself. What is left is near white, and a
//! pattern that went through the same two filters is found in it by
//! correlation: the matched filter.

use super::series::RATE_HZ;
use crate::signal::cholesky::Normal;
use crate::signal::statistics::robust_sigma;

/// Values that the model looks back on: half a second at 50 a second, derived.
const ORDER: usize = 24;

/// Errors beyond this many robust standard deviations count less in the fit and
/// in the correlation.
const CLIP: f64 = 3.0;

/// White noise that every track is taken to have, in percent: what a few pure
/// lines and a very even hand do can be foreseen to a hair, a real transport
/// cannot.
const NOISE_FLOOR: f64 = 0.015;

/// The scale of the errors is taken over this many seconds on either side.
const SCALE_REACH_S: f64 = 2.0;

/// The two filters of a sweep.
#[derive(Clone, Debug)]
pub(super) struct Whitening {
    /// Weights of the local parabola, symmetrical, the middle one first.
    kernel: Vec<f64>,
    model: Vec<f64>,
    /// Robust standard deviation of the errors about each value.
    scale: Vec<f64>,
}

impl Whitening {
    /// Learns from the marked values; the parabola reaches `reach_s` seconds to
    /// either side.
    pub(super) fn learn(values: &[f64], marked: &[bool], reach_s: f64) -> (Self, Vec<f64>) {
        let kernel = parabola_kernel((reach_s * RATE_HZ).round() as usize);
        let rough = high_passed(values, &kernel);
        let mut weights: Vec<f64> = marked.iter().map(|&m| f64::from(u8::from(m))).collect();
        let mut model = fit(&rough, &weights);
        for _ in 0..3 {
            let errors = errors_of(&rough, &model);
            let scale = scales(&errors, marked, &model);
            for (k, weight) in weights.iter_mut().enumerate() {
                let size = errors[k].abs() / scale[k];
                let clipped = if size > CLIP { CLIP / size } else { 1.0 };
                *weight = f64::from(u8::from(marked[k])) * clipped / (scale[k] * scale[k]);
            }
            model = fit(&rough, &weights);
        }
        let errors = errors_of(&rough, &model);
        let whitening = Self {
            scale: scales(&errors, marked, &model),
            kernel,
            model,
        };
        let white = whitening.scaled(&errors);
        (whitening, white)
    }

    fn scaled(&self, errors: &[f64]) -> Vec<f64> {
        errors.iter().zip(&self.scale).map(|(e, s)| e / s).collect()
    }

    /// Standard deviation of the errors about a value, in the unit of the
    /// series.
    pub(super) fn scale_at(&self, at: usize) -> f64 {
        self.scale[at.min(self.scale.len() - 1)]
    }

    /// Another series of the same length after both filters.
    pub(super) fn whitened(&self, values: &[f64]) -> Vec<f64> {
        self.scaled(&errors_of(&high_passed(values, &self.kernel), &self.model))
    }

    /// A pattern after both filters, and at which of its values the pattern
    /// itself begins.
    pub(super) fn pattern(&self, shape: &[f64]) -> (Vec<f64>, usize) {
        let lead = self.kernel.len() - 1;
        let mut padded = vec![0.0; 2 * lead];
        padded.extend_from_slice(shape);
        padded.extend(std::iter::repeat_n(0.0, 2 * lead + self.model.len()));
        let rough = high_passed(&padded, &self.kernel);
        let errors = errors_of(&rough, &self.model);
        (errors[lead..].to_vec(), lead)
    }
}

/// Weights that give the middle of a parabola fitted to its surroundings, near
/// ones counting more.
fn parabola_kernel(reach: usize) -> Vec<f64> {
    let reach = reach.max(3);
    let near = |k: usize| {
        let aside = k as f64 / (reach as f64 + 1.0);
        (1.0 - aside * aside).powi(2)
    };
    let moment = |power: i32| -> f64 {
        let one_side: f64 = (1..=reach).map(|k| near(k) * (k as f64).powi(power)).sum();
        2.0 * one_side + if power == 0 { near(0) } else { 0.0 }
    };
    let (zero, two, four) = (moment(0), moment(2), moment(4));
    let divisor = zero * four - two * two;
    (0..=reach)
        .map(|k| near(k) * (four - two * (k * k) as f64) / divisor)
        .collect()
}

/// What a local parabola leaves; beyond the ends the first and last values
/// are taken to go on.
fn high_passed(values: &[f64], kernel: &[f64]) -> Vec<f64> {
    let last = values.len().saturating_sub(1);
    (0..values.len())
        .map(|k| {
            let mut smooth = kernel[0] * values[k];
            for (aside, weight) in kernel.iter().enumerate().skip(1) {
                smooth +=
                    weight * (values[k.saturating_sub(aside)] + values[(k + aside).min(last)]);
            }
            values[k] - smooth
        })
        .collect()
}

fn errors_of(rough: &[f64], model: &[f64]) -> Vec<f64> {
    (0..rough.len())
        .map(|k| {
            let past = rough[k.saturating_sub(model.len())..k].iter().rev();
            rough[k] - model.iter().zip(past).map(|(a, x)| a * x).sum::<f64>()
        })
        .collect()
}

/// Weighted least squares of each value on those before it.
fn fit(rough: &[f64], weights: &[f64]) -> Vec<f64> {
    let mut normal = Normal::new(ORDER);
    let mut noise = 0.0;
    let mut row = [0.0; ORDER];
    for (values, &weight) in rough.windows(ORDER + 1).zip(&weights[ORDER..]) {
        if weight <= 0.0 {
            continue;
        }
        noise += weight * NOISE_FLOOR * NOISE_FLOOR;
        for (slot, value) in row.iter_mut().zip(values[..ORDER].iter().rev()) {
            *slot = *value;
        }
        normal.add(&row, values[ORDER], weight);
    }
    // Keeps a track that is too smooth to have an inverse from blowing up.
    normal.damp(1e-6, noise + 1e-18);
    normal.solve(0.0).unwrap_or_else(|| vec![0.0; ORDER])
}

/// Robust standard deviation of the errors about each value, and never far
/// below that of the whole: a rest is quieter than a hand.
fn scales(errors: &[f64], marked: &[bool], model: &[f64]) -> Vec<f64> {
    // White noise on the track goes through the model, too.
    let gain: f64 = 1.0 + model.iter().map(|a| a * a).sum::<f64>();
    let floor = NOISE_FLOOR * NOISE_FLOOR * gain;
    let all = errors.iter().zip(marked).filter(|(_, marked)| **marked);
    let whole = robust_sigma(all.map(|(error, _)| *error)).unwrap_or_default();
    let whole = whole.max(1e-9);
    let reach = (SCALE_REACH_S * RATE_HZ) as usize;
    let mut cumulative = vec![0.0];
    for error in errors {
        let clipped = error.clamp(-CLIP * whole, CLIP * whole);
        cumulative.push(cumulative[cumulative.len() - 1] + clipped * clipped);
    }
    (0..errors.len())
        .map(|k| {
            let (from, to) = (k.saturating_sub(reach), (k + reach + 1).min(errors.len()));
            let variance = (cumulative[to] - cumulative[from]) / (to - from) as f64;
            let size = variance.sqrt().clamp(0.6 * whole, 2.5 * whole);
            (size * size + floor).sqrt()
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_parabola_leaves_nothing() {
        let kernel = parabola_kernel(40);
        let values: Vec<f64> = (0..200)
            .map(|k| 1.0 + 0.1 * f64::from(k) - 0.003 * f64::from(k * k))
            .collect();
        let rough = high_passed(&values, &kernel);
        assert!(rough[40..160].iter().all(|value| value.abs() < 1e-9));
    }

    #[test]
    fn a_line_is_taken_out_and_a_pattern_found() {
        let mut values: Vec<f64> = (0..1500)
            .map(|k| {
                let t = f64::from(k) / RATE_HZ;
                let noise = f64::from((k * 7919 + k * k * 31) % 101) / 101.0 - 0.5;
                0.3 * t + 0.1 * (9.0 * t).sin() + 0.01 * noise
            })
            .collect();
        let shape = vec![0.1; 10];
        for (k, value) in shape.iter().enumerate() {
            values[700 + k] += value;
        }
        let marked = vec![true; values.len()];
        let (whitening, white) = Whitening::learn(&values, &marked, 1.0);
        let (pattern, lead) = whitening.pattern(&shape);
        let norm = pattern.iter().map(|x| x * x).sum::<f64>().sqrt();
        let score = |start: usize| -> f64 {
            let part = &white[start - lead..start - lead + pattern.len()];
            part.iter().zip(&pattern).map(|(a, b)| a * b).sum::<f64>() / norm
        };
        let best = (200..1300).max_by(|&a, &b| score(a).total_cmp(&score(b)));
        assert_eq!(best, Some(700));
        assert!(score(700) > 8.0, "{}", score(700));
    }
}
