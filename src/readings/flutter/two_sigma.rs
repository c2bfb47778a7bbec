//! The two-sigma indicator of IEC 60386 Amendment 1 and AES6: the level that
//! the deviations exceed 5 % of the time.

/// Part of the time that the level is exceeded: IEC 60386 Amendment 1.
const EXCEEDED: f64 = 0.05;

/// Levels are counted from 10⁻⁷ of a hertz upwards in 128 equal steps to the
/// octave, each 0.4 to 0.8 % of the level: a step is the exponent and the first
/// bits of the mantissa of a number, so nothing need be computed.
const LOWEST: f64 = 1e-7;
const BINS: usize = 40 * 128;
const SHIFT: u32 = f64::MANTISSA_DIGITS - 1 - 7;
const FIRST: u64 = LOWEST.to_bits() >> SHIFT;

/// A histogram of magnitudes.
#[derive(Clone, Debug)]
pub struct TwoSigma {
    counts: Vec<u64>,
    total: u64,
}

impl TwoSigma {
    /// An empty one.
    pub fn new() -> Self {
        Self {
            counts: vec![0; BINS],
            total: 0,
        }
    }

    /// The bin of a magnitude, to be remembered by a sliding window.
    #[inline]
    pub fn bin(value: f64) -> u16 {
        let step = value.abs().max(LOWEST).to_bits() >> SHIFT;
        ((step - FIRST) as usize).min(BINS - 1) as u16
    }

    /// Counts a bin in.
    #[inline]
    pub fn add(&mut self, bin: u16) {
        self.counts[usize::from(bin)] += 1;
        self.total += 1;
    }

    /// Takes a bin that was counted in out again.
    #[inline]
    pub fn remove(&mut self, bin: u16) {
        self.counts[usize::from(bin)] -= 1;
        self.total -= 1;
    }

    /// The level, interpolated inside its bin; `None` when empty.
    pub fn level(&self) -> Option<f64> {
        let allowed = EXCEEDED * self.total as f64;
        let mut above = 0.0;
        for (bin, &count) in self.counts.iter().enumerate().rev() {
            let count = count as f64;
            if count > 0.0 && above + count >= allowed {
                let part = 1.0 - (allowed - above) / count;
                return Some(edge(bin) + part * (edge(bin + 1) - edge(bin)));
            }
            above += count;
        }
        None
    }
}

/// Lower edge of a bin.
fn edge(bin: usize) -> f64 {
    f64::from_bits((FIRST + bin as u64) << SHIFT)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn level(values: impl Iterator<Item = f64>) -> f64 {
        let mut two_sigma = TwoSigma::new();
        for value in values {
            two_sigma.add(TwoSigma::bin(value));
        }
        two_sigma.level().expect("not empty")
    }

    #[test]
    fn a_sine_reads_0_9969_of_its_peak() {
        // |sin| > x for 5 % of the time: x = cos(0.05 π/2).
        let got = level((0..100_000).map(|n| 0.3 * (f64::from(n) * 0.0137).sin()));
        assert!((got / 0.3 / 0.996_917 - 1.0).abs() < 0.003, "{got}");
    }

    #[test]
    fn even_magnitudes_read_their_95th_percentile() {
        let got = level((0..100_000).map(|n| f64::from(n) / 1e5));
        assert!((got - 0.95).abs() < 1e-3, "{got}");
    }

    #[test]
    fn what_is_removed_no_longer_counts() {
        let mut two_sigma = TwoSigma::new();
        two_sigma.add(TwoSigma::bin(1.0));
        two_sigma.add(TwoSigma::bin(0.01));
        two_sigma.remove(TwoSigma::bin(1.0));
        assert!((two_sigma.level().expect("one left") / 0.01 - 1.0).abs() < 0.02);
        two_sigma.remove(TwoSigma::bin(0.01));
        assert_eq!(two_sigma.level(), None);
    }
}
