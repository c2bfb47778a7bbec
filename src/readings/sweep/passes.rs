//! Where a sweep turned: its passes, one direction each.

use super::series::RATE_HZ;

/// A change of direction counts when the speed has come back by this part of
/// the range; a hand that goes back a little and on again has not turned.
const TURNED_BY: f64 = 0.3;

/// A pass as indices of a series: from one turning point to the next.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Way {
    pub(super) from: usize,
    pub(super) to: usize,
    pub(super) up: bool,
}

impl Way {
    /// How far it goes through a series.
    pub(super) fn through(self, smooth: &[f64]) -> f64 {
        (smooth[self.to] - smooth[self.from]).abs()
    }

    pub(super) fn seconds(self) -> f64 {
        (self.to - self.from) as f64 / RATE_HZ
    }
}

/// The ways of a smooth series whose values span `range`.
pub(super) fn ways(smooth: &[f64], range: f64) -> Vec<Way> {
    turning_points(smooth, TURNED_BY * range)
        .windows(2)
        .map(|pair| Way {
            from: pair[0],
            to: pair[1],
            up: smooth[pair[1]] > smooth[pair[0]],
        })
        .collect()
}

/// The lowest and the highest value.
pub(super) fn extent(values: &[f64]) -> [f64; 2] {
    let ends = [f64::INFINITY, f64::NEG_INFINITY];
    let wider = |[low, high]: [f64; 2], value: &f64| [low.min(*value), high.max(*value)];
    values.iter().fold(ends, wider)
}

/// Indices of the extremes between which the series moves by at least
/// `enough`, its outermost extremes included.
fn turning_points(smooth: &[f64], enough: f64) -> Vec<usize> {
    let mut points = Vec::new();
    let (mut low, mut high) = (0, 0);
    // None until the first move is large enough.
    let mut rising = None;
    for (k, &value) in smooth.iter().enumerate() {
        if value < smooth[low] {
            low = k;
        }
        if value > smooth[high] {
            high = k;
        }
        if rising != Some(true) && value - smooth[low] >= enough {
            points.push(low);
            rising = Some(true);
            high = k;
        } else if rising != Some(false) && smooth[high] - value >= enough {
            points.push(high);
            rising = Some(false);
            low = k;
        }
    }
    match rising {
        Some(true) => points.push(high),
        Some(false) => points.push(low),
        None => {}
    }
    points
}

#[cfg(test)]
mod tests {
    use super::*;

    fn track() -> Vec<f64> {
        // Rest, up by 6 with a step back of 1 on the way, rest, down, rest.
        let mut track = vec![0.0; 50];
        track.extend((0..60).map(|k| f64::from(k) * 0.05));
        track.extend((0..20).map(|k| 3.0 - f64::from(k) * 0.05));
        track.extend((0..80).map(|k| 2.0 + f64::from(k) * 0.05));
        track.extend([6.0; 30]);
        track.extend((0..120).map(|k| 6.0 - f64::from(k) * 0.05));
        track.extend([0.0; 50]);
        track
    }

    #[test]
    fn a_step_back_is_no_turn() {
        let ways = ways(&track(), 6.0);
        assert_eq!(ways.len(), 2, "{ways:?}");
        assert!(ways[0].up && !ways[1].up);
        assert_eq!(ways[0].to, ways[1].from);
        assert!((200..=240).contains(&ways[0].to), "{ways:?}");
    }

    #[test]
    fn a_start_in_the_middle_gives_three_ways() {
        let mut track: Vec<f64> = (0..60).map(|k| f64::from(k) * 0.05).collect();
        track.extend((0..120).map(|k| 3.0 - f64::from(k) * 0.05));
        track.extend((0..60).map(|k| -3.0 + f64::from(k) * 0.05));
        let ways = ways(&track, 6.0);
        assert_eq!(
            ways.iter().map(|way| way.up).collect::<Vec<_>>(),
            [true, false, true]
        );
    }
}
