//! Linear prediction: what the next sample ought to be, from those before it.

use std::ops::Range;

/// A predictor made from a stretch of signal. `error[n] = Σ c[k] x[n − k]`
/// with `c[0]` = 1 is what it could not foresee. The same coefficients predict
/// backwards in time.
#[derive(Clone, Debug, PartialEq)]
pub struct Predictor {
    /// `c[0]` … `c[order]`.
    pub coefficients: Vec<f64>,
    /// Mean square of what could not be foreseen in the stretch itself.
    pub error_power: f64,
    /// Mean square of the stretch.
    pub power: f64,
}

/// Room for the work of [`Predictor::of`], kept from call to call.
#[derive(Clone, Debug, Default)]
pub struct Workroom {
    forward: Vec<f64>,
    backward: Vec<f64>,
    before: Vec<f64>,
}

impl Predictor {
    /// After J. P. Burg, "Maximum entropy spectral analysis", 1967: stable,
    /// and good for sinusoids in short stretches, as it looks at no sample
    /// outside of them. Silence gives a predictor that foresees 0.
    pub fn of(x: &[f64], order: usize, room: &mut Workroom) -> Self {
        let whole = 0..x.len();
        Self::of_stretches(x, std::slice::from_ref(&whole), order, room)
    }

    /// The same, learning only from how well the samples in these stretches
    /// of `x` are foreseen; what lies between them, an impulse say, teaches
    /// nothing. A stretch should begin `order` samples behind what is left
    /// out.
    pub fn of_stretches(
        x: &[f64],
        stretches: &[Range<usize>],
        order: usize,
        room: &mut Workroom,
    ) -> Self {
        let n = x.len();
        let order = order.min(n.saturating_sub(1));
        let power = x.iter().map(|x| x * x).sum::<f64>() / n.max(1) as f64;
        let mut c = vec![0.0; order + 1];
        c[0] = 1.0;
        let mut error_power = power;
        let Workroom {
            forward,
            backward,
            before,
        } = room;
        forward.clear();
        forward.extend_from_slice(x);
        backward.clear();
        backward.extend_from_slice(x);
        for m in 1..=order {
            let f = &mut forward[m..];
            let b = &mut backward[m - 1..n - 1];
            let (mut product, mut energy) = (0.0, 0.0);
            for stretch in stretches {
                let within = stretch.start.max(m) - m..stretch.end.max(m) - m;
                let sums = products(&f[within.clone()], &b[within]);
                product += sums.0;
                energy += sums.1;
            }
            // What is left is rounding.
            if energy <= 1e-24 * n as f64 * power || energy == 0.0 {
                break;
            }
            let k = -2.0 * product / energy;
            before.clear();
            before.extend_from_slice(&c[..=m]);
            for i in 1..=m {
                c[i] = before[i] + k * before[m - i];
            }
            for (f, b) in f.iter_mut().zip(b.iter_mut()) {
                let foreseen = *f;
                *f += k * *b;
                *b += k * foreseen;
            }
            // The backward errors belong to one sample later from now on.
            backward.copy_within(m - 1..n - 1, m);
            error_power *= 1.0 - k * k;
        }
        Self {
            coefficients: c,
            error_power: error_power.max(0.0),
            power,
        }
    }
}

/// Σ f b and Σ (f² + b²), in lanes that the compiler can keep in registers.
fn products(f: &[f64], b: &[f64]) -> (f64, f64) {
    let mut product = [0.0; 4];
    let mut energy = [0.0; 4];
    let (fs, bs) = (f.chunks_exact(4), b.chunks_exact(4));
    let rest = fs.remainder().iter().zip(bs.remainder());
    for (f, b) in rest {
        product[0] += f * b;
        energy[0] += f * f + b * b;
    }
    for (f, b) in fs.zip(bs) {
        for lane in 0..4 {
            product[lane] += f[lane] * b[lane];
            energy[lane] += f[lane] * f[lane] + b[lane] * b[lane];
        }
    }
    (product.iter().sum(), energy.iter().sum())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn error(predictor: &Predictor, x: &[f64], n: usize) -> f64 {
        let c = &predictor.coefficients;
        c.iter().enumerate().map(|(k, c)| c * x[n - k]).sum()
    }

    #[test]
    fn a_sum_of_sines_is_foreseen_both_ways() {
        let wave = |n: usize| (n as f64 * 0.3).sin() + 0.5 * (n as f64 * 0.71 + 1.0).sin();
        let x: Vec<f64> = (0..600).map(wave).collect();
        let predictor = Predictor::of(&x[..480], 16, &mut Workroom::default());
        let mut backwards = x.clone();
        backwards.reverse();
        for n in 480..600 {
            assert!(error(&predictor, &x, n).abs() < 0.01, "{n}");
            assert!(error(&predictor, &backwards, n).abs() < 0.01, "{n}");
        }
    }

    #[test]
    fn the_coefficients_of_a_known_process_are_found() {
        // x[n] = 1.2 x[n − 1] − 0.6 x[n − 2] + e[n], e of variance 1/12.
        let mut state = 9_u64;
        let mut x = vec![0.0, 0.0];
        for n in 2..40_000 {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1);
            let e = (state >> 40) as f64 / f64::from(1_u32 << 24) - 0.5;
            x.push(1.2 * x[n - 1] - 0.6 * x[n - 2] + e);
        }
        let predictor = Predictor::of(&x, 2, &mut Workroom::default());
        let c = &predictor.coefficients;
        assert!(
            (c[1] + 1.2).abs() < 0.02 && (c[2] - 0.6).abs() < 0.02,
            "{c:?}"
        );
        assert!((predictor.error_power * 12.0 - 1.0).abs() < 0.03);
    }

    #[test]
    fn what_is_left_out_teaches_nothing() {
        let wave = |n: usize| (n as f64 * 0.3).sin() + 0.5 * (n as f64 * 0.71 + 1.0).sin();
        let mut x: Vec<f64> = (0..600).map(wave).collect();
        x[250] += 3.0;
        let mut room = Workroom::default();
        let with = Predictor::of(&x, 8, &mut room);
        let without = Predictor::of_stretches(&x, &[0..250, 259..600], 8, &mut room);
        let worst = |it: &Predictor| {
            let errors = (300..600).map(|n| error(it, &x, n).abs());
            errors.fold(0.0, f64::max)
        };
        assert!(worst(&without) < 0.01, "{}", worst(&without));
        assert!(worst(&with) > 0.05, "{}", worst(&with));
    }

    #[test]
    fn silence_is_no_trouble() {
        let predictor = Predictor::of(&[0.0; 64], 8, &mut Workroom::default());
        assert!(predictor.coefficients[1..].iter().all(|c| *c == 0.0));
        assert!(predictor.error_power == 0.0 && predictor.power == 0.0);
    }
}
