//! Keeps the speed track of a sweep, with holes where there was no tone, and a
//! thinned picture of it for the eye.

use super::passes::{Way, extent, ways};
use super::{Direction, SweepPicture, SweepProgress};
use crate::units::{Percent, Seconds};

/// No hand turns a trimmer for longer; what comes later is not kept.
const LONGEST_S: f64 = 600.0;

/// Values at which the picture is thinned by half: more than a screen is wide.
const MOST_PICTURED: usize = 480;
const FIRST_STEP_S: f64 = 0.1;

/// Holes shorter than this come from the way values are counted.
const LEAST_HOLE_TICKS: u64 = 8;

/// See the module. Values in hertz.
#[derive(Clone, Debug)]
pub(crate) struct SweepRecorder {
    rate_hz: f64,
    ticks_per_value: u64,
    /// Ticks since the sweep was begun, and those that are accounted for.
    ticks: u64,
    accounted: u64,
    /// Where in the track a tone that was found again begins.
    found_at: Option<usize>,
    /// Where in the track the tone begins that was found last.
    piece_from: usize,
    track: Vec<f64>,
    picture: Thinned,
    range_hz: Option<[f64; 2]>,
}

/// Means of equal steps; twice as long when there are too many.
#[derive(Clone, Debug)]
struct Thinned {
    per_value: usize,
    sum: f64,
    heard: usize,
    count: usize,
    values: Vec<f64>,
}

impl SweepRecorder {
    /// For `rate_hz` values a second, each of `ticks_per_value` ticks.
    pub(crate) fn new(rate_hz: f64, ticks_per_value: u32) -> Self {
        Self {
            rate_hz,
            ticks_per_value: u64::from(ticks_per_value.max(1)),
            ticks: 0,
            accounted: 0,
            found_at: None,
            piece_from: 0,
            track: Vec::new(),
            picture: Thinned::new((FIRST_STEP_S * rate_hz) as usize),
            range_hz: None,
        }
    }

    /// A tone was found: what comes follows a hole.
    pub(crate) fn found(&mut self) {
        self.found_at = Some(self.track.len());
        self.piece_from = self.track.len();
    }

    /// What has been followed since was no tone: a hole, as if there had been
    /// none.
    pub(crate) fn refuse_piece(&mut self) {
        let from = self.piece_from;
        self.track[from..].fill(f64::NAN);
        self.picture = Thinned::new((FIRST_STEP_S * self.rate_hz) as usize);
        self.range_hz = None;
        for k in 0..self.found_at.unwrap_or(self.track.len()) {
            self.show(self.track[k]);
        }
    }

    /// A value of the track.
    pub(crate) fn push(&mut self, hz: f64) {
        self.accounted += self.ticks_per_value;
        if self.is_full() {
            return;
        }
        self.track.push(hz);
        if self.found_at.is_none() {
            self.show(hz);
        }
    }

    /// A tick of the input is over.
    pub(crate) fn tick(&mut self) {
        self.ticks += 1;
        let late = self.ticks.saturating_sub(self.accounted);
        let Some(at) = self.found_at.take() else {
            return;
        };
        // A found tone brings its first values at once; what is missing before
        // them is the hole.
        if late >= LEAST_HOLE_TICKS {
            let values = (late / self.ticks_per_value) as usize;
            let room = ((LONGEST_S * self.rate_hz) as usize).saturating_sub(self.track.len());
            let hole = std::iter::repeat_n(f64::NAN, values.min(room));
            self.track.splice(at..at, hole);
            self.accounted += values as u64 * self.ticks_per_value;
            self.piece_from += values.min(room);
        }
        for k in at..self.track.len() {
            self.show(self.track[k]);
        }
    }

    /// Ticks of the input are missing.
    pub(crate) fn gap(&mut self, ticks: u64) {
        self.ticks += ticks;
    }

    fn show(&mut self, hz: f64) {
        if let Some(mean) = self.picture.push(hz).filter(|mean| !mean.is_nan()) {
            let [low, high] = self.range_hz.unwrap_or([mean; 2]);
            self.range_hz = Some([low.min(mean), high.max(mean)]);
        }
    }

    /// Whether there was a tone at all.
    pub(crate) fn has_tone(&self) -> bool {
        self.track.iter().any(|hz| hz.is_finite())
    }

    fn is_full(&self) -> bool {
        self.track.len() as f64 >= LONGEST_S * self.rate_hz
    }

    /// Values a second.
    pub(crate) fn rate_hz(&self) -> f64 {
        self.rate_hz
    }

    /// The track so far, as deviations in percent; no number where there was
    /// no tone.
    pub(crate) fn deviations(&self, deviation: impl Fn(f64) -> Percent) -> Vec<f64> {
        let of = |&hz: &f64| if hz.is_nan() { hz } else { deviation(hz).0 };
        self.track.iter().map(of).collect()
    }

    /// How far the sweep has come.
    pub(crate) fn progress(&self, deviation: impl Fn(f64) -> Percent) -> SweepProgress {
        let ends = self.range_hz.map(|ends| ends.map(&deviation));
        let picture = self.picture.picture(self.rate_hz, deviation);
        SweepProgress {
            lasted: Seconds(self.ticks as f64 / (self.ticks_per_value as f64 * self.rate_hz)),
            rounds: rounds(&picture),
            direction: direction(&picture),
            range: ends.map(|[a, b]| [Percent(a.0.min(b.0)), Percent(a.0.max(b.0))]),
            picture,
            full: self.is_full(),
        }
    }
}

/// Below this change of speed in percent nobody has turned anything.
const LEAST_SWEPT: f64 = 1.0;
/// A way through this share of the range is a whole one.
const WHOLE_WAY: f64 = 0.85;
/// Which way the speed goes shows over this many seconds.
const LATELY_S: f64 = 1.0;
/// A change of less than this in percent in that time is flutter.
const LEAST_MOVED: f64 = 0.15;

/// Whole ways that lie behind, two by two.
fn rounds(picture: &SweepPicture) -> usize {
    let speed = picture.speed.iter().flatten();
    let speed: Vec<f64> = speed.map(|speed| speed.0).collect();
    let [low, high] = extent(&speed);
    let range = high - low;
    if range < LEAST_SWEPT {
        return 0;
    }
    let is_whole = |way: &&Way| way.through(&speed) >= WHOLE_WAY * range;
    ways(&speed, range).iter().filter(is_whole).count() / 2
}

/// Which way the speed went lately; `None` where it stands.
fn direction(picture: &SweepPicture) -> Option<Direction> {
    let back = (LATELY_S / picture.step.0).ceil().max(1.0) as usize;
    let now = picture.speed.last().copied()??;
    let before = picture.speed.iter().rev().nth(back).copied()??;
    let moved = now.0 - before.0;
    (moved.abs() >= LEAST_MOVED).then(|| Direction::of(moved > 0.0))
}

impl Thinned {
    fn new(per_value: usize) -> Self {
        Self {
            per_value: per_value.max(1),
            sum: 0.0,
            heard: 0,
            count: 0,
            values: Vec::new(),
        }
    }

    /// The mean, when a step is complete.
    fn push(&mut self, hz: f64) -> Option<f64> {
        self.count += 1;
        if !hz.is_nan() {
            self.sum += hz;
            self.heard += 1;
        }
        if self.count < self.per_value {
            return None;
        }
        // Not a number where none was heard.
        let mean = self.sum / self.heard as f64;
        (self.sum, self.heard, self.count) = (0.0, 0, 0);
        self.values.push(mean);
        if self.values.len() == MOST_PICTURED {
            self.halve();
        }
        Some(mean)
    }

    fn halve(&mut self) {
        for k in 0..MOST_PICTURED / 2 {
            let [a, b] = [self.values[2 * k], self.values[2 * k + 1]];
            self.values[k] = match (a.is_nan(), b.is_nan()) {
                (false, true) => a,
                (true, false) => b,
                _ => f64::midpoint(a, b),
            };
        }
        self.values.truncate(MOST_PICTURED / 2);
        self.per_value *= 2;
    }

    fn picture(&self, rate_hz: f64, deviation: impl Fn(f64) -> Percent) -> SweepPicture {
        let speed = |&hz: &f64| (!hz.is_nan()).then(|| deviation(hz));
        SweepPicture {
            step: Seconds(self.per_value as f64 / rate_hz),
            speed: self.values.iter().map(speed).collect(),
        }
    }
}

/// A thinned picture of a whole track of deviations.
pub(super) fn pictured(track: &[f64], rate_hz: f64) -> SweepPicture {
    let mut thinned = Thinned::new((FIRST_STEP_S * rate_hz) as usize);
    for &value in track {
        thinned.push(value);
    }
    thinned.picture(rate_hz, Percent)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn percent(hz: f64) -> Percent {
        Percent((hz / 3150.0 - 1.0) * 100.0)
    }

    #[test]
    fn a_hole_has_the_length_of_the_silence() {
        let mut recorder = SweepRecorder::new(200.0, 10);
        for tick in 0..2000u32 {
            if tick % 10 == 9 {
                recorder.push(3150.0);
            }
            recorder.tick();
        }
        // Lost for 0.4 s, found again with the last 0.1 s of them replayed.
        for _ in 0..800 {
            recorder.tick();
        }
        recorder.found();
        for _ in 0..20 {
            recorder.push(3150.0);
        }
        recorder.tick();
        let track = recorder.deviations(percent);
        assert_eq!(track.len(), 280);
        assert_eq!(track.iter().filter(|value| value.is_nan()).count(), 60);
        assert!(track[199].abs() < 1e-9 && track[200].is_nan() && track[260].abs() < 1e-9);
    }

    #[test]
    fn memory_is_bounded() {
        let mut recorder = SweepRecorder::new(200.0, 1);
        for _ in 0..400_000 {
            recorder.push(3150.0);
            recorder.tick();
        }
        let progress = recorder.progress(percent);
        assert!(progress.full);
        assert!(progress.picture.speed.len() < MOST_PICTURED);
        assert_eq!(recorder.deviations(percent).len(), 120_000);
        assert!((progress.lasted.0 - 2000.0).abs() < 1e-6);
    }
}
