//! How an estimator weighs a record, and what it lets through of a line.
//! Time counts in parts of the record, rates in turns over the record.

use std::f64::consts::PI;

/// Steps in which a record is weighed: a choice.
const STEPS: usize = 240;

/// How the values of a record make one figure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Weighing {
    /// Slope of the phase by least squares: the middle counts most.
    Parabola,
    /// A mean whose ends rise and fall over this part of the record.
    Tapered(f64),
    /// The plain mean.
    Even,
    /// Change over the whole record, by least squares.
    Slope,
}

impl Weighing {
    /// Weights of equal steps through the record.
    pub fn weights(self) -> [f64; STEPS] {
        let at = |k: usize| (k as f64 + 0.5) / STEPS as f64;
        let raw: [f64; STEPS] = std::array::from_fn(|k| {
            let t = at(k);
            match self {
                Self::Parabola => t * (1.0 - t),
                Self::Tapered(part) => (t.min(1.0 - t) / part.max(1e-3)).min(1.0),
                Self::Even => 1.0,
                Self::Slope => t - 0.5,
            }
        });
        // The weights of a mean are 1 together; those of a slope find 1 in a
        // rise of 1 over the record.
        let sum: f64 = match self {
            Self::Slope => (0..STEPS).map(|k| raw[k] * (at(k) - 0.5)).sum(),
            _ => raw.iter().sum(),
        };
        raw.map(|weight| weight / sum)
    }

    /// Most that a line of peak 1 puts into the figure, for two turns over
    /// the record or more: the envelope of the window's transform.
    pub fn leak(self, turns: f64) -> f64 {
        let x = PI * turns;
        match self {
            Self::Parabola => 3.0 / (x * x),
            Self::Tapered(part) => {
                let part = part.clamp(1e-3, 0.5);
                (1.0 / x).min(1.0 / (x * x * part * (1.0 - part)))
            }
            Self::Even => 1.0 / x,
            Self::Slope => 6.0 / x,
        }
    }
}

/// Variance of the figure made of first-order noise of variance 1 and this
/// correlation time, in parts of the record.
pub fn variance_of_figure(weights: &[f64], correlation_time: f64) -> f64 {
    let step = 1.0 / (weights.len() as f64 * correlation_time);
    let within = mean_correlation(0.0, step);
    let next = mean_correlation(1.0, step);
    let fall = (-step).exp();
    let mut before = 0.0;
    let mut variance = 0.0;
    for weight in weights {
        variance += weight * (weight * within + 2.0 * next * before);
        before = fall * before + weight;
    }
    variance
}

/// Correlation of the means of two steps that lie `apart` steps from each
/// other, of noise whose correlation falls by exp(−`step`) from one to the
/// next.
pub fn mean_correlation(apart: f64, step: f64) -> f64 {
    if apart < 0.5 {
        if step < 1e-4 {
            return 1.0 - step / 3.0;
        }
        return 2.0 * (step - 1.0 + (-step).exp()) / (step * step);
    }
    // (e^{s/2} − e^{−s/2})² e^{−s·apart} / s², without overflow.
    let rise = -(-step).exp_m1() / step;
    rise * rise * (-step * (apart - 1.0)).exp()
}

#[cfg(test)]
mod tests {
    use super::*;

    const ALL: [Weighing; 4] = [
        Weighing::Parabola,
        Weighing::Tapered(0.1),
        Weighing::Even,
        Weighing::Slope,
    ];

    #[test]
    fn the_leak_bounds_what_a_line_puts_into_the_figure() {
        for weighing in ALL {
            let weights = weighing.weights();
            let mut nearest: f64 = 0.0;
            for tenth in 20..200 {
                let turns = f64::from(tenth) / 10.0;
                let (mut cosine, mut sine) = (0.0, 0.0);
                for (k, weight) in weights.iter().enumerate() {
                    let phase = 2.0 * PI * turns * (k as f64 + 0.5) / STEPS as f64;
                    cosine += weight * phase.cos();
                    sine += weight * phase.sin();
                }
                let part = f64::hypot(cosine, sine) / weighing.leak(turns);
                assert!(part < 1.15, "{weighing:?} at {turns}: {part}");
                nearest = nearest.max(part);
            }
            assert!(nearest > 0.8, "{weighing:?}: {nearest}");
        }
    }

    #[test]
    fn noise_of_a_short_correlation_time_averages_out_as_white_noise_does() {
        // Variance of a mean is S(0)/T = 2 τ/T, for least squares 6/5 and
        // 12 times that.
        for (weighing, factor) in [
            (Weighing::Even, 1.0),
            (Weighing::Parabola, 1.2),
            (Weighing::Slope, 12.0),
        ] {
            let variance = variance_of_figure(&weighing.weights(), 0.001);
            let wanted = 0.002 * factor;
            assert!((variance / wanted - 1.0).abs() < 0.01, "{weighing:?}");
        }
    }

    #[test]
    fn noise_that_never_changes_goes_into_a_mean_in_full() {
        let variance = variance_of_figure(&Weighing::Parabola.weights(), 1e4);
        assert!((variance - 1.0).abs() < 1e-3, "{variance}");
        assert!(variance_of_figure(&Weighing::Slope.weights(), 1e4) < 1e-2);
    }
}
