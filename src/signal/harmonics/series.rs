//! Where the partials of a note lie.

/// Partials of a stiff string lie further apart than whole multiples:
/// fₙ = n f₀ √(1 + B n²) (H. Fletcher, "Normal vibration frequencies of a stiff
/// piano string", J. Acoust. Soc. Am. 36, 1964). Stiffer strings than this are
/// those of the highest notes of small pianos, of which only one or two
/// partials matter.
pub const MOST_STIFFNESS: f64 = 2e-3;

/// A series of partials. The pitch is that of the first partial, heard or
/// not: for a stiff string f₁ = f₀ √(1 + B).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Series {
    /// Frequency of the first partial in hertz.
    pub hz: f64,
    /// B of the formula; 0 for whatever sounds in one steady period.
    pub stiffness: f64,
}

impl Series {
    /// Partial `n` as a multiple of the first.
    pub fn multiple(stiffness: f64, n: u32) -> f64 {
        let n = f64::from(n);
        n * ((1.0 + stiffness * n * n) / (1.0 + stiffness)).sqrt()
    }

    /// Frequency of partial `n`.
    pub fn partial_hz(&self, n: u32) -> f64 {
        self.hz * Self::multiple(self.stiffness, n)
    }

    /// The partial nearest to a frequency, and how far the frequency lies from
    /// it in hertz.
    pub fn nearest(&self, hz: f64) -> (u32, f64) {
        // The inverse of the formula, n² = (√(1 + 4 B q²) − 1) / 2B, is near
        // enough to choose between neighbours.
        let q = hz / self.hz * (1.0 + self.stiffness).sqrt();
        let n = if self.stiffness > 1e-9 {
            let square = ((1.0 + 4.0 * self.stiffness * q * q).sqrt() - 1.0) / 2.0;
            (square / self.stiffness).sqrt()
        } else {
            q
        };
        let n = (n.round() as u32).max(1);
        (n, hz - self.partial_hz(n))
    }
}

/// A partial as it was measured: its number, its frequency in any unit, and
/// the weight of its relative frequency, which is 1 over its variance.
#[derive(Clone, Copy, Debug)]
pub struct Measured {
    /// Number of the partial.
    pub n: u32,
    /// Frequency.
    pub hz: f64,
    /// 1 over the variance of the relative frequency.
    pub weight: f64,
}

/// A [`Series`] laid through partials by least squares.
#[derive(Clone, Copy, Debug)]
pub struct Fitted {
    /// The series; without stiffness where none shows.
    pub series: Series,
    /// Stiffness that would fit best, negative where the partials crowd.
    pub stiffness: f64,
    /// Standard deviation of that stiffness by the weights; infinite where
    /// only one partial was given.
    pub stiffness_sd: f64,
    /// Weighted root mean square of what is left, relative.
    pub residual: f64,
    /// What the weights foresee of that.
    pub foreseen: f64,
}

/// Standard deviations from none at which stiffness counts.
const SHOWN: f64 = 4.0;

/// No smaller stiffness is told from the small ways of real partials.
const LEAST_STIFFNESS: f64 = 1e-6;

/// Lays a series through partials; `None` without any. For small stiffness
/// ln(fₙ / n) = ln f₀ + ½ ln(1 + B n²) is nearly a straight line in n²; two
/// steps of Gauss and Newton settle the rest.
pub fn fit(partials: &[Measured]) -> Option<Fitted> {
    let without = level(partials, 0.0)?;
    let weights: f64 = partials.iter().map(|p| p.weight).sum();
    let (mut stiffness, mut sd) = (0.0, f64::INFINITY);
    for _ in 0..4 {
        let Some((step, scatter)) = step(partials, stiffness) else {
            break;
        };
        stiffness = (stiffness + step).clamp(-MOST_STIFFNESS, MOST_STIFFNESS);
        sd = scatter;
    }
    // Two overtones could be of two notes; with the first, it alone decides.
    let enough = partials.len() > 2 || partials.iter().any(|p| p.n == 1);
    let shown = enough && stiffness > LEAST_STIFFNESS.max(SHOWN * sd);
    let (kept, (ln_hz, residual)) = if shown {
        (stiffness, level(partials, stiffness)?)
    } else {
        (0.0, without)
    };
    Some(Fitted {
        series: Series {
            hz: ln_hz.exp() * (1.0 + kept).sqrt(),
            stiffness: kept,
        },
        stiffness,
        stiffness_sd: sd,
        residual,
        foreseen: (partials.len() as f64 / weights).sqrt(),
    })
}

/// ½ ln(1 + B n²), kept sane for negative B.
fn bend(stiffness: f64, n: u32) -> f64 {
    0.5 * (stiffness * f64::from(n).powi(2)).max(-0.9).ln_1p()
}

/// ln f₀ and what is left at one stiffness.
fn level(partials: &[Measured], stiffness: f64) -> Option<(f64, f64)> {
    let weights: f64 = partials.iter().map(|p| p.weight).sum();
    if weights <= 0.0 || !weights.is_finite() {
        return None;
    }
    let off = |p: &Measured| (p.hz / f64::from(p.n)).ln() - bend(stiffness, p.n);
    let mean = partials.iter().map(|p| p.weight * off(p)).sum::<f64>() / weights;
    let square = partials
        .iter()
        .map(|p| p.weight * (off(p) - mean).powi(2))
        .sum::<f64>();
    Some((mean, (square / weights).sqrt()))
}

/// A step of the stiffness, and its standard deviation.
fn step(partials: &[Measured], stiffness: f64) -> Option<(f64, f64)> {
    let (mean, _) = level(partials, stiffness)?;
    let slope = |p: &Measured| {
        let square = f64::from(p.n).powi(2);
        0.5 * square / (1.0 + stiffness * square).max(0.1)
    };
    let weights: f64 = partials.iter().map(|p| p.weight).sum();
    let middle = partials.iter().map(|p| p.weight * slope(p)).sum::<f64>() / weights;
    let (mut product, mut square) = (0.0, 0.0);
    for p in partials {
        let lever = slope(p) - middle;
        let off = (p.hz / f64::from(p.n)).ln() - bend(stiffness, p.n) - mean;
        product += p.weight * lever * off;
        square += p.weight * lever * lever;
    }
    (square > 1e-12 * weights).then(|| (product / square, square.sqrt().recip()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn string(hz: f64, stiffness: f64, ns: &[u32]) -> Vec<Measured> {
        let series = Series { hz, stiffness };
        let one = |&n: &u32| Measured {
            n,
            hz: series.partial_hz(n),
            weight: 1e12,
        };
        ns.iter().map(one).collect()
    }

    #[test]
    fn a_stiff_string_is_recognised_even_without_its_first_partials() {
        for stiffness in [3e-5, 4e-4, 1.5e-3] {
            for ns in [&[1, 2, 3, 4, 5, 6][..], &[3, 4, 5, 7][..]] {
                let got = fit(&string(220.0, stiffness, ns)).expect("partials");
                assert!((got.series.hz / 220.0 - 1.0).abs() < 1e-7, "{got:?}");
                assert!((got.stiffness / stiffness - 1.0).abs() < 1e-3, "{got:?}");
            }
        }
    }

    #[test]
    fn whole_multiples_have_none_and_one_partial_says_nothing_of_it() {
        let got = fit(&string(440.0, 0.0, &[2, 3, 9])).expect("partials");
        assert!(got.series.stiffness.abs() < 1e-15);
        assert!((got.series.hz - 440.0).abs() < 1e-9);
        let alone = fit(&string(440.0, 0.0, &[2])).expect("a partial");
        assert!(alone.stiffness_sd.is_infinite() && (alone.series.hz - 440.0).abs() < 1e-9);
        assert!(fit(&[]).is_none());
    }

    #[test]
    fn the_nearest_partial_of_a_stiff_string_is_its_own() {
        let series = Series {
            hz: 110.0,
            stiffness: 1e-3,
        };
        for n in 1..30 {
            let (got, off) = series.nearest(series.partial_hz(n));
            assert_eq!(got, n);
            assert!(off.abs() < 1e-9);
        }
    }
}
