//! How long an average must be to be steady: found from the track itself.
//!
//! A mean over a whole turn of whatever wavers is steady, a mean over a turn
//! and a half is not. So the scatter of running means of many lengths over
//! the recent past is compared: plain noise falls with the length, and the
//! wow period stands out as a length that does much better than that.

/// Lengths that are tried, shortest and longest, and the step between them.
const SHORTEST_S: f64 = 0.4;
const LONGEST_S: f64 = 4.0;
const STEP: f64 = 1.03;

/// A longer length must beat a shorter one by this much of variance × length.
const WORTHWHILE: f64 = 0.85;

/// The past must hold the longest length this many times.
const LEAST_TURNS: f64 = 3.0;

/// Running means are compared at this distance: a choice, as all above.
const STRIDE_S: f64 = 0.04;

/// Sums of a track from its beginning, so that any mean is one subtraction.
pub struct Sums<'a> {
    /// Sum up to each value; the first is the sum before the first value.
    pub cumulative: &'a [f64],
    /// Values a second.
    pub rate_hz: f64,
}

/// What is known about averages of the track.
#[derive(Clone, Debug, PartialEq)]
pub struct Averaging {
    /// The best length: a whole period of the wow, if there is one.
    pub period_s: f64,
    /// Length of the past that this was learnt from.
    pub learnt_over_s: f64,
    /// Lengths and variances of means of that length about the long-term
    /// mean, shortest first.
    variances: Vec<(f64, f64)>,
    /// Variances of means of one, two … whole periods.
    of_periods: Vec<f64>,
}

impl Averaging {
    /// Learns from a stretch of track that was left alone; `None` while it is
    /// too short.
    pub fn learn(sums: &Sums) -> Option<Self> {
        let length_s = (sums.cumulative.len().saturating_sub(1)) as f64 / sums.rate_hz;
        let longest = (length_s / LEAST_TURNS).min(LONGEST_S);
        let strided = Strided::new(sums);
        let lengths = std::iter::successors(Some(SHORTEST_S), |length| Some(length * STEP));
        let variances: Vec<(f64, f64)> = lengths
            .take_while(|length| *length <= longest)
            .map(|length| Some((length, strided.variance_of_means(length)?)))
            .collect::<Option<_>>()?;
        let best = best_of(&variances)?;
        let period_s = refine(&strided, best);
        let of_periods = (1..)
            .map(|k| f64::from(k) * period_s)
            .take_while(|&whole| whole <= longest.max(period_s))
            .map_while(|whole| strided.variance_of_means(whole))
            .collect();
        Some(Self {
            period_s,
            learnt_over_s: length_s,
            variances,
            of_periods,
        })
    }

    /// Variance of a mean over `length_s` about the long-term mean; a length
    /// of a period or more is taken as whole periods.
    pub fn variance(&self, length_s: f64) -> f64 {
        let periods = (length_s / self.period_s).round() as usize;
        match (periods, self.of_periods.as_slice()) {
            (1.., [.., last]) => {
                let known = self.of_periods.len();
                // Beyond what was tried, means fall like those of independent
                // parts.
                self.of_periods
                    .get(periods - 1)
                    .copied()
                    .unwrap_or(last * known as f64 / periods as f64)
            }
            _ => self.nearest(length_s),
        }
    }

    /// Degrees of freedom behind [`Averaging::variance`].
    pub fn freedom(&self, length_s: f64) -> f64 {
        (self.learnt_over_s / length_s.min(self.period_s.max(1.0)) - 1.0).max(1.0)
    }

    fn nearest(&self, length_s: f64) -> f64 {
        let after = self
            .variances
            .partition_point(|&(length, _)| length < length_s);
        // The larger of the neighbours: between them a notch may lie.
        [after.saturating_sub(1), after]
            .into_iter()
            .filter_map(|k| self.variances.get(k))
            .map(|&(_, variance)| variance)
            .fold(0.0, f64::max)
    }
}

/// The shortest length that no longer one beats clearly.
fn best_of(variances: &[(f64, f64)]) -> Option<f64> {
    let cost = |&(length, variance): &(f64, f64)| variance * length;
    let least = variances.iter().map(cost).reduce(f64::min)?;
    let near = variances
        .iter()
        .position(|entry| cost(entry) * WORTHWHILE <= least)?;
    // From there down to the bottom of the notch.
    let mut at = near;
    while at + 1 < variances.len() && cost(&variances[at + 1]) < cost(&variances[at]) {
        at += 1;
    }
    Some(variances[at].0)
}

fn refine(sums: &Strided, period_s: f64) -> f64 {
    let cost = |period: f64| {
        sums.variance_of_means(period)
            .map_or(f64::INFINITY, |variance| variance * period)
    };
    (-6..=6)
        .map(|k| period_s * (1.0 + 0.005 * f64::from(k)))
        .min_by(|&a, &b| cost(a).total_cmp(&cost(b)))
        .unwrap_or(period_s)
}

/// The sums at the distance at which means are compared, from each place on:
/// neighbours here are what is compared one after the other.
struct Strided {
    lines: Vec<Vec<f64>>,
    total: usize,
    rate_hz: f64,
}

impl Strided {
    fn new(sums: &Sums) -> Self {
        let stride = ((STRIDE_S * sums.rate_hz) as usize).max(1);
        let line = |phase: usize| {
            let from = sums.cumulative.iter().skip(phase);
            from.step_by(stride).copied().collect()
        };
        Self {
            lines: (0..stride).map(line).collect(),
            total: sums.cumulative.len().saturating_sub(1),
            rate_hz: sums.rate_hz,
        }
    }

    fn variance_of_means(&self, length_s: f64) -> Option<f64> {
        let length = (length_s * self.rate_hz).round() as usize;
        let (stride, total) = (self.lines.len(), self.total);
        if length == 0 || total < 2 * length {
            return None;
        }
        let sum_at = |place: usize| self.lines[place % stride][place / stride];
        let grand = (sum_at(total) - sum_at(0)) / total as f64;
        let before = &self.lines[0];
        let after = &self.lines[length % stride][length / stride..];
        let squares = sum_of_squares(before, after, grand * length as f64);
        let square = squares / (length as f64).powi(2);
        // About the mean of the same stretch means come too close together.
        let bias = 1.0 - length as f64 / total as f64;
        Some(square / before.len().min(after.len()) as f64 / bias)
    }
}

/// Σ (after − before − usual)², as far as both go.
fn sum_of_squares(before: &[f64], after: &[f64], usual: f64) -> f64 {
    let pairs = before.len().min(after.len());
    let (before, last_before) = before[..pairs].as_chunks::<4>();
    let (after, last_after) = after[..pairs].as_chunks::<4>();
    let mut sums = [0.0; 4];
    for (before, after) in before.iter().zip(after) {
        for lane in 0..4 {
            let off = after[lane] - before[lane] - usual;
            sums[lane] += off * off;
        }
    }
    let last = last_before.iter().zip(last_after);
    let last: f64 = last.map(|(b, a)| (a - b - usual).powi(2)).sum();
    sums.iter().sum::<f64>() + last
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    fn learn(lines: &[(f64, f64)], seconds: f64) -> Averaging {
        let rate_hz = 200.0;
        let mut sum = 0.0;
        let mut cumulative = vec![0.0];
        for n in 0..(seconds * rate_hz) as usize {
            let t = n as f64 / rate_hz;
            sum += lines
                .iter()
                .map(|(hz, peak)| peak * (TAU * hz * t + hz).sin())
                .sum::<f64>();
            cumulative.push(sum);
        }
        Averaging::learn(&Sums {
            cumulative: &cumulative,
            rate_hz,
        })
        .expect("long enough")
    }

    #[test]
    fn the_wow_period_is_found() {
        for wow in [0.45, 0.556, 0.75, 1.3] {
            let period = learn(&[(wow, 1.0)], 20.0).period_s;
            let turns = period * wow;
            let is_whole = (turns - turns.round()).abs() < 0.02;
            assert!(is_whole && turns > 0.9, "{wow}: {turns}");
        }
    }

    #[test]
    fn a_mixture_is_averaged_over_its_slowest_turn() {
        let lines = [(0.55, 1.0), (1.1, 0.6), (4.7, 0.8), (8.9, 0.5)];
        let averaging = learn(&lines, 20.0);
        let turns = averaging.period_s * 0.55;
        let is_whole = (turns - turns.round()).abs() < 0.03;
        assert!(is_whole && turns > 0.9, "{turns}");
        assert!(averaging.variance(averaging.period_s).sqrt() < 0.06);
        assert!(averaging.variance(0.9).sqrt() > 0.2);
    }
}
