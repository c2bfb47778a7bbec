//! How steady averages of a speed track are, and so how long an average is
//! worth taking.

use serde::{Deserialize, Serialize};

use crate::signal::allan::overlapping_allan;
use crate::units::{Percent, Seconds};

/// Shortest average looked at.
const SHORTEST: Seconds = Seconds(0.1);

/// The record must hold an average this many times, or its figure is chance.
const LEAST_TIMES: usize = 6;

/// Nothing is said of averages while this is not among them.
const LEAST_LONGEST: Seconds = Seconds(1.0);

/// An average is worth taking as long as it is steadier than shorter ones by
/// more than this: less is chance. A choice, as those above.
const WORTHWHILE: f64 = 0.85;

/// The Allan deviation at one averaging time.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct StabilityPoint {
    /// Length of the averages.
    pub averaging: Seconds,
    /// Allan deviation: how much neighbouring averages of that length differ,
    /// root mean square, over √2; percent of nominal speed.
    pub deviation: Percent,
}

/// How long an average is worth taking.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Worth {
    /// The shortest average that no longer one clearly beats; where the longest
    /// were still getting steadier, the longest.
    pub point: StabilityPoint,
    /// It was the longest that the record allows: a longer one may be
    /// steadier still.
    pub open: bool,
}

/// Allan deviations at averaging times an octave apart, shortest first, of
/// means of `spacing` each. Empty when there are too few.
pub fn stability(means: &[f64], spacing: Seconds, percent_per_unit: f64) -> Vec<StabilityPoint> {
    let groups = std::iter::successors(Some(1usize), |group| Some(2 * group));
    groups
        .take_while(|group| group * LEAST_TIMES <= means.len())
        .map(|group| (group, Seconds(group as f64 * spacing.0)))
        .filter(|(_, averaging)| averaging.0 >= SHORTEST.0 * (1.0 - 1e-9))
        .filter_map(|(group, averaging)| {
            let deviation = overlapping_allan(means, group)?;
            Some(StabilityPoint {
                averaging,
                deviation: Percent(deviation * percent_per_unit),
            })
        })
        .collect()
}

/// How long an average is worth taking, by [`stability`]; `None` when only
/// short ones were looked at.
pub fn worth(points: &[StabilityPoint]) -> Option<Worth> {
    points
        .last()
        .filter(|longest| longest.averaging.0 >= LEAST_LONGEST.0)?;
    // While the longest are steadier than those before, or no steadier than
    // chance, there is nothing to say of longer ones.
    if let [.., before, last] = points
        && last.deviation.0 < before.deviation.0
    {
        return Some(Worth {
            point: *last,
            open: true,
        });
    }
    let deviations = || points.iter().map(|point| point.deviation.0);
    let least = deviations().reduce(f64::min)?;
    let place = deviations().position(|deviation| WORTHWHILE * deviation <= least)?;
    Some(Worth {
        point: points[place],
        open: place + 1 == points.len(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(make: impl Fn(f64) -> f64) -> Worth {
        let means: Vec<f64> = (0..600).map(|k| make(f64::from(k) * 0.5)).collect();
        worth(&stability(&means, Seconds(0.5), 1.0)).expect("enough")
    }

    /// Numbers without pattern, −0.5 to 0.5 (the golden ratio's multiples,
    /// shuffled by their squares).
    fn noise(t: f64) -> f64 {
        let k = 2.0 * t;
        (k * k * 0.618_033_988_75).fract() - 0.5
    }

    #[test]
    fn plain_noise_asks_for_the_longest_average() {
        let worth = of(noise);
        assert!(worth.open && worth.point.averaging.0 >= 16.0, "{worth:?}");
    }

    #[test]
    fn drift_makes_long_averages_worthless() {
        let worth = of(|t| noise(t) + 0.02 * t);
        assert!(!worth.open, "{worth:?}");
        assert!((1.0..=8.0).contains(&worth.point.averaging.0), "{worth:?}");
    }

    #[test]
    fn a_short_record_says_nothing() {
        assert!(stability(&[1.0; 5], Seconds(0.5), 1.0).is_empty());
        assert_eq!(worth(&[]), None);
    }
}
