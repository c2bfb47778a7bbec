//! Stability against averaging time: the Allan deviation.

/// Overlapping Allan deviation of equally spaced means at `group` times their
/// spacing; `None` with fewer than two groups. Same unit as the values.
///
/// σ²(mτ₀) = 1 / (2 m² (M − 2m + 1)) · Σⱼ (Σᵢ (yᵢ₊ₘ − yᵢ))², i from j to
/// j + m − 1, j from 0 to M − 2m (W. J. Riley, "Handbook of frequency
/// stability analysis", NIST SP 1065, 2008, overlapping estimator for
/// frequency data; IEEE Std 1139 defines the quantity).
pub fn overlapping_allan(values: &[f64], group: usize) -> Option<f64> {
    let pairs = (values.len() + 1).checked_sub(2 * group)?;
    if group == 0 || pairs == 0 {
        return None;
    }
    // The inner sum, moved on by one value at a time.
    let ahead: f64 = values[group..2 * group].iter().sum();
    let mut sum = ahead - values[..group].iter().sum::<f64>();
    let mut squares = sum * sum;
    for j in 1..pairs {
        sum += values[j + 2 * group - 1] - 2.0 * values[j + group - 1] + values[j - 1];
        squares += sum * sum;
    }
    let m = group as f64;
    Some((squares / (2.0 * m * m * pairs as f64)).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_values_give_their_difference_over_root_two() {
        let got = overlapping_allan(&[1.0, 4.0], 1).expect("two values");
        assert!((got - 3.0 / 2f64.sqrt()).abs() < 1e-12);
        assert_eq!(overlapping_allan(&[1.0, 4.0], 2), None);
        assert_eq!(overlapping_allan(&[], 1), None);
        assert_eq!(overlapping_allan(&[1.0], 0), None);
    }

    #[test]
    fn a_straight_line_gives_its_rise_over_root_two() {
        let line: Vec<f64> = (0..100).map(|k| 0.25 * f64::from(k)).collect();
        for group in [1, 3, 10, 50] {
            let got = overlapping_allan(&line, group).expect("enough");
            let rise = 0.25 * group as f64;
            assert!((got - rise / 2f64.sqrt()).abs() < 1e-9, "{group}: {got}");
        }
    }
}
