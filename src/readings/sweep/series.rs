//! The track as the tests want it: even, without holes, slow enough to be
//! short and fast enough for a jump.

use crate::signal::statistics::median;

/// Values a second that the tests work on. The quickest transport follows in
/// 0.05 s.
pub(super) const RATE_HZ: f64 = 50.0;

/// A track at [`RATE_HZ`].
#[derive(Clone, Debug)]
pub(super) struct Series {
    /// Percent; straight lines across holes.
    pub(super) values: Vec<f64>,
    /// False in a hole.
    pub(super) heard: Vec<bool>,
    /// Where in the track it begins, in seconds.
    pub(super) start_s: f64,
}

impl Series {
    /// From the first value of a track to its last. `None` without any.
    pub(super) fn of(track: &[f64], rate_hz: f64) -> Option<Self> {
        let first = track.iter().position(|value| value.is_finite())?;
        let last = track.iter().rposition(|value| value.is_finite())?;
        let track = &track[first..=last];
        let step = rate_hz / RATE_HZ;
        let count = (track.len() as f64 / step) as usize;
        let half = step.max(1.0);
        let mut values: Vec<f64> = (0..count)
            .map(|k| triangular(track, (k as f64 + 0.5) * step, half))
            .collect();
        let heard = values.iter().map(|value| value.is_finite()).collect();
        fill_holes(&mut values);
        Some(Self {
            values,
            heard,
            start_s: first as f64 / rate_hz,
        })
    }

    /// Share that was heard.
    pub(super) fn heard_share(&self) -> f64 {
        let heard = self.heard.iter().filter(|heard| **heard).count();
        heard as f64 / self.heard.len().max(1) as f64
    }
}

/// Mean about a place with weights that fall linearly to 0 within `half`
/// values: takes out what the lower rate cannot show.
fn triangular(track: &[f64], centre: f64, half: f64) -> f64 {
    let from = (centre - half).max(0.0).ceil() as usize;
    let to = ((centre + half).floor() as usize).min(track.len().saturating_sub(1));
    let (mut sum, mut weights) = (0.0, 0.0);
    for (k, value) in track.iter().enumerate().take(to + 1).skip(from) {
        let weight = 1.0 - (k as f64 - (centre - 0.5)).abs() / (half + 0.5);
        if weight > 0.0 && value.is_finite() {
            sum += weight * value;
            weights += weight;
        }
    }
    // Not a number where all is a hole.
    sum / weights
}

/// Straight lines across holes; the value next to it for one at an end.
fn fill_holes(values: &mut [f64]) {
    let mut k = 0;
    while k < values.len() {
        let hole = values[k..].iter().take_while(|value| !value.is_finite());
        let end = k + hole.count();
        let before = k.checked_sub(1).map(|before| values[before]);
        let after = values.get(end).copied();
        let (Some(from), Some(to)) = (before.or(after), after.or(before)) else {
            return;
        };
        let length = (end - k + 1) as f64;
        for (nth, value) in values[k..end].iter_mut().enumerate() {
            *value = from + (to - from) * (nth + 1) as f64 / length;
        }
        k = end + 1;
    }
}

/// Running median over `2 × reach + 1` values.
pub(super) fn running_median(values: &[f64], reach: usize) -> Vec<f64> {
    (0..values.len())
        .map(|k| {
            let near = &values[k.saturating_sub(reach)..(k + reach + 1).min(values.len())];
            median(&mut near.to_vec()).unwrap_or_default()
        })
        .collect()
}

/// Running mean over `2 × reach + 1` values, fewer at the ends.
pub(super) fn running_mean(values: &[f64], reach: usize) -> Vec<f64> {
    let mut cumulative = vec![0.0];
    for value in values {
        cumulative.push(cumulative[cumulative.len() - 1] + value);
    }
    (0..values.len())
        .map(|k| {
            let (from, to) = (k.saturating_sub(reach), (k + reach + 1).min(values.len()));
            (cumulative[to] - cumulative[from]) / (to - from) as f64
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ramp_stays_a_ramp_and_holes_are_bridged() {
        let mut track: Vec<f64> = (0..800).map(|k| f64::from(k) * 0.01).collect();
        track[300..340].fill(f64::NAN);
        track[..20].fill(f64::NAN);
        let series = Series::of(&track, 200.0).expect("values");
        assert!((series.start_s - 0.1).abs() < 1e-12);
        assert!(series.heard_share() < 1.0);
        for (k, value) in series.values.iter().enumerate().skip(2).take(180) {
            let expected = (20.0 + (k as f64 + 0.5) * 4.0 - 0.5) * 0.01;
            assert!((value - expected).abs() < 0.03, "{k}: {value} {expected}");
        }
    }

    #[test]
    fn the_median_leaves_steps_and_forgets_spikes() {
        let mut values = vec![0.0; 20];
        values.extend([1.0; 20]);
        values[10] = 9.0;
        let smooth = running_median(&values, 2);
        assert!(smooth[..20].iter().all(|value| value.abs() < 1e-12));
        assert!(smooth[20..].iter().all(|value| (value - 1.0).abs() < 1e-12));
    }
}
