//! Speed and flutter against time, in even steps: what a pen would have drawn.
//! Constant memory: when there are too many steps, each becomes twice as long.

use serde::{Deserialize, Serialize};

use crate::units::{Percent, Seconds};

/// First length of a step, long against the ticks and short against wow. A
/// choice.
const STEP_S: f64 = 0.1;

/// Steps that are kept, a choice: 27 minutes of the first length, enough for any
/// picture and few enough for a spreadsheet.
const MOST_STEPS: usize = 1 << 14;

/// Speed and flutter of a stretch against time. Both series have the same step
/// and begin at the same moment; `None` where there was no reading.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Track {
    /// When the first step begins, since the stretch began.
    #[serde(default)]
    pub from: Seconds,
    /// From one value to the next.
    pub step: Seconds,
    /// Mean deviation in each step; positive is fast.
    pub speed: Vec<Option<Percent>>,
    /// Highest reading of the weighted quasi-peak indicator (IEC 60386) in each
    /// step; `None` too before the filter has settled, and by a note.
    pub flutter: Vec<Option<Percent>>,
}

/// What goes into a step.
pub trait Step: Copy + Default {
    /// With that of the step after it.
    fn with(self, next: Self) -> Self;
}

/// The mean of what went into a step.
#[derive(Clone, Copy, Debug, Default)]
pub struct Mean {
    sum: f64,
    count: u32,
}

/// The highest of what went into a step.
#[derive(Clone, Copy, Debug, Default)]
pub struct Highest(Option<f32>);

impl Step for Mean {
    fn with(self, next: Self) -> Self {
        Self {
            sum: self.sum + next.sum,
            count: self.count + next.count,
        }
    }
}

impl Step for Highest {
    fn with(self, next: Self) -> Self {
        // What is not there is less than what is.
        Self(if next.0 > self.0 { next.0 } else { self.0 })
    }
}

impl Mean {
    /// Takes one value more.
    #[inline]
    pub fn add(&mut self, value: f64) {
        self.sum += value;
        self.count += 1;
    }

    fn mean(self) -> Option<f64> {
        (self.count > 0).then(|| self.sum / f64::from(self.count))
    }
}

impl Highest {
    /// Takes one value more.
    #[inline]
    pub fn add(&mut self, value: f64) {
        *self = self.with(Self(Some(value as f32)));
    }
}

/// A series of even steps; where they begin is a matter of the ticks alone, so
/// that two series of the same ticks fit each other.
#[derive(Clone, Debug)]
pub struct Steps<S> {
    ticks: u64,
    rate_hz: f64,
    /// Number of the first one that is kept.
    first: u64,
    kept: Vec<S>,
}

impl<S: Step> Steps<S> {
    /// Empty, for `rate_hz` ticks a second.
    pub fn new(rate_hz: f64) -> Self {
        Self {
            ticks: ((STEP_S * rate_hz).round() as u64).max(1),
            rate_hz,
            first: 0,
            kept: Vec::new(),
        }
    }

    /// The step of a tick. One before the first counts to the first: a tone that
    /// was found again may reach back a little.
    #[inline]
    pub fn at(&mut self, tick: u64) -> &mut S {
        if self.kept.is_empty() {
            self.first = tick / self.ticks;
        }
        let mut place = (tick / self.ticks).saturating_sub(self.first) as usize;
        while place >= MOST_STEPS {
            self.coarsen();
            place = (tick / self.ticks).saturating_sub(self.first) as usize;
        }
        if place >= self.kept.len() {
            self.kept.resize(place + 1, S::default());
        }
        &mut self.kept[place]
    }

    /// Steps twice as long.
    fn coarsen(&mut self) {
        let lone = (self.first % 2) as usize;
        let (head, pairs) = self.kept.split_at(lone.min(self.kept.len()));
        let joined = pairs.chunks(2).map(|pair| match pair {
            [one, next] => one.with(*next),
            _ => pair[0],
        });
        self.kept = head.iter().copied().chain(joined).collect();
        self.first /= 2;
        self.ticks *= 2;
    }
}

impl Track {
    /// Of a series of speeds and one of readings of the indicator over the same
    /// ticks, in percent by `speed` and `flutter`; `None` without any speed.
    /// The stretch began at the tick `origin`.
    pub fn of(
        (speeds, speed): (&Steps<Mean>, impl Fn(f64) -> Percent),
        (readings, flutter): (&Steps<Highest>, impl Fn(f64) -> Option<Percent>),
        origin: u64,
    ) -> Option<Self> {
        let (mut speeds, mut readings) = (speeds.clone(), readings.clone());
        while speeds.ticks < readings.ticks {
            speeds.coarsen();
        }
        while readings.ticks < speeds.ticks {
            readings.coarsen();
        }
        let reading_at = |place: usize| {
            let number = speeds.first + place as u64;
            let place = number.checked_sub(readings.first)?;
            let reading = readings.kept.get(place as usize)?.0?;
            flutter(f64::from(reading)).map(rounded)
        };
        let all = 0..speeds.kept.len();
        let begins = (speeds.first * speeds.ticks) as f64 - origin as f64;
        (!speeds.kept.is_empty()).then(|| Self {
            from: Seconds(begins / speeds.rate_hz),
            step: Seconds(speeds.ticks as f64 / speeds.rate_hz),
            speed: (speeds.kept.iter())
                .map(|step| step.mean().map(|mean| rounded(speed(mean))))
                .collect(),
            flutter: all.map(reading_at).collect(),
        })
    }
}

impl Track {
    /// The same in steps as long as it takes to have at most `most`: enough for a
    /// picture, and for what is kept for years.
    #[must_use]
    pub fn shortened(mut self, most: usize) -> Self {
        while self.speed.len() > most.max(1) {
            self.step.0 *= 2.0;
            let mean = |pair: &[Option<Percent>]| {
                let values: Vec<f64> = pair.iter().flatten().map(|it| it.0).collect();
                let sum: f64 = values.iter().sum();
                (!values.is_empty()).then(|| rounded(Percent(sum / values.len() as f64)))
            };
            let highest = |pair: &[Option<Percent>]| {
                let values = pair.iter().flatten().copied();
                values.reduce(|one, other| if other > one { other } else { one })
            };
            self.speed = self.speed.chunks(2).map(mean).collect();
            self.flutter = self.flutter.chunks(2).map(highest).collect();
        }
        self
    }
}

/// A ten-thousandth of a percent is beyond every machine, and short to write.
fn rounded(value: Percent) -> Percent {
    Percent((value.0 * 1e4).round() / 1e4)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn track(ticks: impl Iterator<Item = u64> + Clone, origin: u64) -> Track {
        let mut speeds = Steps::<Mean>::new(10.0);
        let mut readings = Steps::<Highest>::new(10.0);
        for tick in ticks {
            speeds.at(tick).add(tick as f64);
            // Nothing is read before the filter has settled.
            if tick >= origin + 3 {
                readings.at(tick).add(2.0 * tick as f64);
            }
        }
        let flutter = |reading: f64| Some(Percent(reading));
        Track::of((&speeds, Percent), (&readings, flutter), origin).expect("not empty")
    }

    #[test]
    fn both_series_stand_at_the_same_moments() {
        let track = track(7..12, 7);
        assert_eq!((track.from, track.step), (Seconds(0.0), Seconds(0.1)));
        let percents =
            |all: &[f64]| -> Vec<_> { all.iter().map(|it| Some(Percent(*it))).collect() };
        assert_eq!(track.speed, percents(&[7.0, 8.0, 9.0, 10.0, 11.0]));
        assert_eq!(track.flutter[..3], [None, None, None]);
        assert_eq!(track.flutter[3..], percents(&[20.0, 22.0]));
    }

    #[test]
    fn a_gap_stays_a_gap() {
        let track = track((0..3).chain(6..8), 0);
        let is_there: Vec<bool> = track.speed.iter().map(Option::is_some).collect();
        assert_eq!(
            is_there,
            [true, true, true, false, false, false, true, true]
        );
    }

    #[test]
    fn shortened_it_says_the_same() {
        let long = track(0..1000, 0);
        let short = long.clone().shortened(300);
        assert_eq!((short.speed.len(), short.step), (250, Seconds(0.4)));
        assert_eq!(short.speed[1], Some(Percent(5.5)));
        assert_eq!(
            short.flutter[..2],
            [Some(Percent(6.0)), Some(Percent(14.0))]
        );
        assert_eq!(long.clone().shortened(1000), long);
        assert!(Track::default().shortened(0).speed.is_empty());
    }

    #[test]
    fn however_long_it_has_few_steps_and_says_the_same() {
        for origin in [0, 1, 3, 1_000_003] {
            let count = 5 * MOST_STEPS as u64;
            let track = track(origin..origin + count, origin);
            assert!(track.speed.len() <= MOST_STEPS && track.speed.len() > MOST_STEPS / 2);
            assert_eq!(track.speed.len(), track.flutter.len());
            // A step's mean is the middle of its ticks, its highest their last.
            let ticks = (track.step.0 * 10.0).round();
            let begins = origin as f64 + track.from.0 * 10.0;
            for (at, speed) in track.speed.iter().enumerate().skip(1).take(500) {
                let first = begins + at as f64 * ticks;
                let middle = first + (ticks - 1.0) / 2.0;
                assert_eq!(*speed, Some(Percent(middle)), "{origin} {at}");
                let last = 2.0 * (first + ticks - 1.0);
                assert_eq!(track.flutter[at], Some(Percent(last)), "{origin} {at}");
            }
        }
    }
}
