//! How true the system's own clock is, which other clocks are compared with.
//!
//! On Linux the monotonic clock is steered by whatever disciplines the time of
//! day (NTP or PTP), so where that runs it is good to a few ppm. Whether it
//! does is asked of the system's own tool, for the kernel's answer cannot be
//! had without unsafe code. How much it is steered shows in comparison with
//! the raw clock beside it. Elsewhere the monotonic clock is not steered.

use std::time::{Duration, Instant, SystemTime};

use crate::units::Ppm;

/// The crystal of a computer, 95 %: common practice, no source.
pub const FREE: Ppm = Ppm(50.0);

/// A disciplined clock over minutes, 95 %: our own allowance, for while the
/// time of day is kept to milliseconds, its pace is still being corrected.
pub const DISCIPLINED: Ppm = Ppm(5.0);

/// How long the system may take to say whether its clock is disciplined.
const ANSWER: Duration = Duration::from_secs(3);

/// Between two looks at how the clock is steered.
const LOOK: Duration = Duration::from_secs(10);

/// The computer slept, or its time of day was set, when the two clocks moved
/// this far apart.
const SET_S: f64 = 1.0;

/// Whether the system's clock is kept right by another one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Discipline {
    /// The system says that it is.
    Disciplined,
    /// The system says that it is not.
    Free,
    /// It could not be asked, or has no such thing.
    Unknown,
}

impl Discipline {
    /// How far the clock may be off, 95 %.
    pub fn uncertainty(self) -> Ppm {
        match self {
            Self::Disciplined => DISCIPLINED,
            Self::Free | Self::Unknown => FREE,
        }
    }

    /// What can be said of a time that lies between two answers: no more than
    /// the worse of them.
    #[must_use]
    pub fn worse(self, other: Self) -> Self {
        match (self, other) {
            (Self::Free, _) | (_, Self::Free) => Self::Free,
            (Self::Unknown, _) | (_, Self::Unknown) => Self::Unknown,
            (Self::Disciplined, Self::Disciplined) => Self::Disciplined,
        }
    }
}

/// Asks the system. Waits for the answer for seconds at most.
#[cfg(target_os = "linux")]
pub fn discipline() -> Discipline {
    use std::process::{Command, Stdio};
    let asked = Command::new("timedatectl")
        .args(["show", "--property=NTPSynchronized", "--value"])
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn();
    let Ok(mut process) = asked else {
        return Discipline::Unknown;
    };
    let until = Instant::now() + ANSWER;
    while matches!(process.try_wait(), Ok(None)) {
        if Instant::now() > until {
            // It ends by itself or not at all; nothing more can be done.
            let _ = process.kill();
            let _ = process.wait();
            return Discipline::Unknown;
        }
        std::thread::sleep(Duration::from_millis(20));
    }
    let said = process.wait_with_output().map(|output| output.stdout);
    match said.as_deref().map(<[u8]>::trim_ascii) {
        Ok(b"yes") => Discipline::Disciplined,
        Ok(b"no") => Discipline::Free,
        _ => Discipline::Unknown,
    }
}

/// Nothing steers the monotonic clock here.
#[cfg(not(target_os = "linux"))]
pub fn discipline() -> Discipline {
    Discipline::Free
}

/// How the system steered its clock during a run.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Steering {
    /// On average, against the raw crystal; positive: made faster.
    pub mean: Ppm,
    /// Between the strongest and the weakest steering of any ten seconds.
    pub swing: Ppm,
}

/// Watches the system's clocks during a run.
#[derive(Debug)]
pub(super) struct ClockWatch {
    started: (Instant, SystemTime),
    pairs: Vec<Pair>,
    looked: Instant,
}

/// Both clocks at one moment.
#[derive(Clone, Copy, Debug)]
struct Pair {
    raw_s: f64,
    steered_s: f64,
}

impl ClockWatch {
    pub(super) fn start() -> Self {
        let now = Instant::now();
        Self {
            started: (now, SystemTime::now()),
            pairs: pair().into_iter().collect(),
            looked: now,
        }
    }

    /// To be called often. True when the computer slept meanwhile or its time
    /// of day was set.
    pub(super) fn look(&mut self) -> bool {
        let now = Instant::now();
        if now.duration_since(self.looked) >= LOOK {
            self.looked = now;
            self.pairs.extend(pair());
        }
        let monotonic_s = now.duration_since(self.started.0).as_secs_f64();
        let of_day_s = match SystemTime::now().duration_since(self.started.1) {
            Ok(passed) => passed.as_secs_f64(),
            Err(before) => -before.duration().as_secs_f64(),
        };
        // What steers the clock steers both.
        (of_day_s - monotonic_s).abs() > SET_S
    }

    pub(super) fn steering(&self) -> Option<Steering> {
        steering(&self.pairs)
    }
}

fn steering(pairs: &[Pair]) -> Option<Steering> {
    let paces: Vec<f64> = pairs
        .windows(2)
        .map(|two| pace_ppm(two[0], two[1]))
        .collect();
    let highest = paces.iter().copied().reduce(f64::max)?;
    let lowest = paces.iter().copied().reduce(f64::min)?;
    Some(Steering {
        mean: Ppm(pace_ppm(*pairs.first()?, *pairs.last()?)),
        swing: Ppm(highest - lowest),
    })
}

fn pace_ppm(from: Pair, to: Pair) -> f64 {
    ((to.steered_s - from.steered_s) / (to.raw_s - from.raw_s) - 1.0) * 1e6
}

/// Notices that the computer has slept: the monotonic clock stands meanwhile.
pub(super) struct SleepWatch {
    /// Slept since the computer was started, at most.
    before_s: f64,
}

/// No computer sleeps for less, and no clock is read as badly. A choice.
const ASLEEP_S: f64 = 0.1;

#[cfg(target_os = "linux")]
impl SleepWatch {
    pub(super) fn start() -> Self {
        let awake_s = read(rustix::time::ClockId::Monotonic);
        // A pause between the two can only make it more.
        let before_s = read(rustix::time::ClockId::Boottime) - awake_s;
        Self { before_s }
    }

    pub(super) fn has_slept(&self) -> bool {
        let in_all_s = read(rustix::time::ClockId::Boottime);
        // A pause between the two can only make it less.
        let slept_s = in_all_s - read(rustix::time::ClockId::Monotonic);
        slept_s - self.before_s > ASLEEP_S
    }
}

/// Only Linux has the two clocks.
#[cfg(not(target_os = "linux"))]
impl SleepWatch {
    pub(super) fn start() -> Self {
        Self { before_s: 0.0 }
    }

    pub(super) fn has_slept(&self) -> bool {
        self.before_s > ASLEEP_S
    }
}

#[cfg(target_os = "linux")]
fn read(clock: rustix::time::ClockId) -> f64 {
    let time = rustix::time::clock_gettime(clock);
    time.tv_sec as f64 + time.tv_nsec as f64 * 1e-9
}

/// Reads both clocks within microseconds, so that what a busy computer does
/// in between does not look like steering.
#[cfg(target_os = "linux")]
fn pair() -> Option<Pair> {
    use rustix::time::ClockId;
    const TRIES: usize = 20;
    const TOGETHER_S: f64 = 5e-6;
    (0..TRIES).find_map(|_| {
        let before = read(ClockId::MonotonicRaw);
        let steered_s = read(ClockId::Monotonic);
        let after = read(ClockId::MonotonicRaw);
        (after - before < TOGETHER_S).then_some(Pair {
            raw_s: f64::midpoint(before, after),
            steered_s,
        })
    })
}

#[cfg(not(target_os = "linux"))]
fn pair() -> Option<Pair> {
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steering_is_the_pace_against_the_raw_clock() {
        let pairs: Vec<Pair> = (0..5)
            .map(|n| {
                let raw_s = 10.0 * f64::from(n);
                // 20 ppm for 30 s, then 10 ppm.
                let steered_s = raw_s + 20e-6 * raw_s.min(30.0) + 10e-6 * (raw_s - 30.0).max(0.0);
                Pair { raw_s, steered_s }
            })
            .collect();
        let found = steering(&pairs).unwrap();
        assert!((found.mean.0 - 17.5).abs() < 1e-6, "{found:?}");
        assert!((found.swing.0 - 10.0).abs() < 1e-6, "{found:?}");
        assert_eq!(steering(&pairs[..1]), None);
    }

    #[test]
    fn a_clock_is_disciplined_only_where_both_answers_say_so() {
        use Discipline::{Disciplined, Free, Unknown};
        assert_eq!(Disciplined.worse(Disciplined), Disciplined);
        for (one, other, worse) in [
            (Disciplined, Free, Free),
            (Disciplined, Unknown, Unknown),
            (Unknown, Free, Free),
        ] {
            assert_eq!(one.worse(other), worse);
            assert_eq!(other.worse(one), worse);
        }
    }

    #[test]
    fn the_two_clocks_of_this_system_keep_together() {
        let mut watch = ClockWatch::start();
        let sleep = SleepWatch::start();
        std::thread::sleep(Duration::from_millis(20));
        assert!(!watch.look() && !sleep.has_slept());
        let asleep = SleepWatch {
            before_s: sleep.before_s - 2.0 * ASLEEP_S,
        };
        assert_eq!(asleep.has_slept(), cfg!(target_os = "linux"));
        // The kernel steers by no more than this.
        let pairs: Vec<Pair> = watch.pairs.iter().copied().chain(pair()).collect();
        if let Some(found) = steering(&pairs) {
            assert!(found.mean.0.abs() < 1500.0, "{found:?}");
        }
    }
}
