//! Start, middle and end of a log in three figures, in constant memory however
//! long it grows.

use std::collections::VecDeque;
use std::fmt;

use super::log::LogSecond;
use super::numbers::signed;

/// Length of start, middle and end.
const MINUTE_S: usize = 60;
/// Minutes that are kept for the middle; beyond it two make one, and so on.
const MOST_KEPT: usize = 256;

/// Mean of deviation and of weighted flutter, where there were any.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Means {
    deviation: (f64, u32),
    weighted: (f64, u32),
}

impl Means {
    fn add(&mut self, deviation: Option<f64>, weighted: Option<f64>) {
        for (sum, value) in [
            (&mut self.deviation, deviation),
            (&mut self.weighted, weighted),
        ] {
            if let Some(value) = value {
                sum.0 += value;
                sum.1 += 1;
            }
        }
    }

    fn join(mut self, other: Self) -> Self {
        for (sum, more) in [
            (&mut self.deviation, other.deviation),
            (&mut self.weighted, other.weighted),
        ] {
            sum.0 += more.0;
            sum.1 += more.1;
        }
        self
    }
}

fn mean((sum, count): (f64, u32)) -> Option<f64> {
    (count > 0).then(|| sum / f64::from(count))
}

/// See the module.
#[derive(Clone, Debug)]
pub struct LogSummary {
    seconds: u64,
    /// The last second of the log, as it counts them.
    last_s: u64,
    first: Means,
    /// The newest seconds.
    last: VecDeque<(Option<f64>, Option<f64>)>,
    /// Means of `stride` minutes each, the newest still growing.
    minutes: Vec<Means>,
    stride: u64,
}

impl Default for LogSummary {
    fn default() -> Self {
        Self {
            seconds: 0,
            last_s: 0,
            first: Means::default(),
            last: VecDeque::with_capacity(MINUTE_S + 1),
            minutes: Vec::new(),
            stride: 1,
        }
    }
}

impl LogSummary {
    /// One second more.
    pub fn add(&mut self, second: &LogSecond) {
        let values = (second.deviation_percent, second.weighted_percent);
        if self.seconds < MINUTE_S as u64 {
            self.first.add(values.0, values.1);
        }
        self.last.push_back(values);
        if self.last.len() > MINUTE_S {
            self.last.pop_front();
        }
        let at = (self.seconds / (MINUTE_S as u64 * self.stride)) as usize;
        if at == self.minutes.len() {
            self.minutes.push(Means::default());
        }
        self.minutes[at].add(values.0, values.1);
        self.seconds += 1;
        self.last_s = second.at_s;
        if self.seconds == (MOST_KEPT * MINUTE_S) as u64 * self.stride {
            self.minutes = self
                .minutes
                .chunks(2)
                .map(|two| two.iter().copied().fold(Means::default(), Means::join))
                .collect();
            self.stride *= 2;
        }
    }

    fn parts(&self) -> [Means; 3] {
        let mut last = Means::default();
        for &(deviation, weighted) in &self.last {
            last.add(deviation, weighted);
        }
        let middle = self.minutes.get(self.minutes.len() / 2);
        [self.first, middle.copied().unwrap_or_default(), last]
    }
}

impl fmt::Display for LogSummary {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} min {} s", self.last_s / 60, self.last_s % 60)?;
        // A start, a middle and an end of their own.
        if self.seconds < 3 * MINUTE_S as u64 {
            return write!(f, ", too short to tell start, middle and end apart (3 min)");
        }
        let parts = self.parts();
        let list = |of: fn(&Means) -> (f64, u32), show: fn(f64) -> String| {
            let names = ["start", "middle", "end"];
            let said = names.iter().zip(&parts).map(|(name, part)| {
                let figure = mean(of(part)).map_or_else(|| "unknown".to_owned(), show);
                format!("{name} {figure}")
            });
            said.collect::<Vec<_>>().join(", ")
        };
        write!(
            f,
            "; speed: {}; weighted flutter: {}",
            list(|it| it.deviation, |value| format!("{} %", signed(value, 3))),
            list(|it| it.weighted, |value| format!("{value:.3} %")),
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of_length(seconds: u64, deviation: impl Fn(u64) -> f64) -> LogSummary {
        let mut summary = LogSummary::default();
        for at_s in 1..=seconds {
            let mut second = LogSecond::silent(at_s);
            second.deviation_percent = Some(deviation(at_s));
            summary.add(&second);
        }
        summary
    }

    #[test]
    fn start_middle_and_end_are_told() {
        // A steady slope of a hundredth of a percent a minute.
        let said = of_length(45 * 60, |at_s| at_s as f64 / 6000.0).to_string();
        assert!(
            said.starts_with("45 min 0 s; speed: start +0.005 %"),
            "{said}"
        );
        // The 23rd minute of 45, and the last.
        assert!(said.contains("middle +0.225 %, end +0.445 %"), "{said}");
        assert!(said.contains("flutter: start unknown"), "{said}");
        let short = of_length(179, |_| 1.0).to_string();
        assert!(short.starts_with("2 min 59 s, too short"), "{short}");
    }

    #[test]
    fn however_long_it_grows_it_stays_small_and_right() {
        // Two days, the speed that of the minute since the beginning.
        let summary = of_length(2 * 86_400, |at_s| ((at_s - 1) / 60) as f64);
        assert!(summary.minutes.len() <= MOST_KEPT && summary.last.len() == MINUTE_S);
        let [start, middle, end] = summary.parts().map(|it| mean(it.deviation));
        assert_eq!((start, end), (Some(0.0), Some(2879.0)));
        let middle = middle.expect("a middle");
        assert!((middle - 1440.0).abs() < 16.0, "{middle}");
    }
}
