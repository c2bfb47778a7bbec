//! The number beside the needle: a mean over whole wow periods since the
//! speed was last moved.
//!
//! A plain average is either slow after a turn of the trimmer or restless.
//! This one starts anew when the speed has moved, by a test that the flutter
//! of this very machine sets the threshold of, and grows from there to some
//! seven seconds.
//!
//! Constants of this file that say nothing else are tuned, on what is not
//! recorded; `cargo bench --bench trimming` and `--bench technician` judge them.

use std::collections::VecDeque;

use super::averaging::{Averaging, Sums};
use super::expanded::Expanded;
use super::straying::{self, Excursions};
use crate::signal::statistics::student_95;

/// The average grows to this length, or to two periods if that is more.
const LONGEST_AVERAGE_S: f64 = 7.5;
const LEAST_MOST_PERIODS: usize = 2;

/// Until the period is known, the average is at most this long.
const UNKNOWN_PERIOD_S: f64 = 4.0;

/// The needle.
const NEEDLE_S: f64 = 0.15;

/// The speed has moved when the needle is away from the digits for this long.
const MOVED_FOR_S: f64 = 0.05;

/// Change from one value to another a few later, in parts of the nominal, that
/// is a leap: no mean over both sides of it says anything. It is over when the
/// change has been below the second for this long.
const LEAP_CHANGE: f64 = 0.04;
const CALM_CHANGE: f64 = 0.01;
const LEAP_APART: usize = 4;
const CALM_FOR_S: f64 = 0.03;

/// A slow move shows in the newest period against the one before: by this part
/// of the nominal at least, or this many standard deviations, for this long.
const CREPT_AT_LEAST: f64 = 0.0004;
const CREPT_DEVIATIONS: f64 = 5.0;
const CREPT_FOR_S: f64 = 0.25;

/// Steps of one slow turn follow each other within this many periods. This
/// many of them lead somewhere, by this part of all their ways at least; else
/// they are wow of another period than the one that was learnt.
const STEPS: usize = 3;
const STEPS_WITHIN: usize = 4;
const STEPS_LEAD: f64 = 0.5;

/// A turn that is too slow to be a move shows between two means of this
/// length, or of half the average, by this many standard deviations. A move is
/// slow where less than this part of it was made within its newest second.
const SLOW_S: f64 = 1.5;
const SLOW_DEVIATIONS: f64 = 4.0;
const SLOW_PART: f64 = 0.8;
const SLOW_WITHIN_S: f64 = 1.0;

/// A slow turn makes small moves to one side, one soon after the other: by at
/// most this part of the nominal, within this time. Tuned on turns of 0.03 to
/// 0.25 % a second in steps of 0.4 s; `cargo bench --bench technician` judges
/// what it costs.
const SMALL_MOVE: f64 = 0.003;
const SOON_S: f64 = 6.0;

/// The newest periods, about this many seconds, say otherwise than the whole
/// average beyond this part of their own 95 %.
const FRESH_S: f64 = 3.6;
const SAYS_OTHERWISE: f64 = 0.5;
/// The least scatter is learnt from records of this length on, seconds.
const CALM_FROM_S: f64 = 8.0;

/// Seconds that averages are learnt from, how much there must be, and how often.
/// The least scatter is believed for as long: by then a small move that went
/// unnoticed is learnt from no more, and what is larger still is the machine.
const LEARN_OVER_S: f64 = 24.0;
const LEARN_FROM_S: f64 = 4.0;
const LEARN_EVERY_S: f64 = 1.0;

/// Nothing is learnt for this long while a slow turn seems to go on: it may be
/// wow that is slower than what was known.
const NOT_LEARNT_S: f64 = 12.0;

/// The length of the average is chosen where its scatter looked least, which
/// makes it look a little less than it is: the factor that covers correlated
/// noise. Tuned, `cargo bench --bench trimming`, its usual seeds.
const CHOSEN_TOO_WELL: f64 = 1.15;

/// What a push has shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Motion {
    /// Nothing new.
    Left,
    /// The speed has been moved: the average was started anew.
    Moved,
    /// What looked like this many moves was wow, larger than any before it.
    Wow {
        /// Moves that were none.
        moves: u64,
    },
}

/// How many values ago, and by how many hertz.
#[derive(Clone, Copy, Debug)]
struct Move {
    age: usize,
    by_hz: f64,
}

/// From one period's mean to the next, in hertz; age and period in values.
#[derive(Clone, Copy, Debug)]
struct Step {
    age: usize,
    period: usize,
    from: f64,
    to: f64,
}

/// See the module. Values in hertz.
pub struct Digits {
    rate_hz: f64,
    nominal_hz: f64,
    origin_hz: f64,
    /// Sum of (value − origin) up to each value, the newest last.
    cumulative: VecDeque<f64>,
    /// Values since the start of the average.
    length: usize,
    hits: usize,
    creeping: usize,
    /// Values that must still be calm before a leap is over.
    leaping: usize,
    /// The average was started by a leap.
    leapt: bool,
    excursions: Excursions,
    /// The latest moves.
    moves: VecDeque<Move>,
    /// The latest steps from one period to the next.
    steps: VecDeque<Step>,
    /// The last move was a slow turn, which may go on.
    slow: bool,
    averaging: Option<Averaging>,
    /// What was learnt while the scatter was least, and how many values ago:
    /// small moves that went unnoticed have made it no larger.
    calm: Option<(Averaging, usize)>,
    until_learn: usize,
    moved: bool,
}

impl Digits {
    /// For `rate_hz` values a second (about 200) of a tone near `nominal_hz`
    /// that was found just now: what was heard before counts for nothing.
    pub fn new(rate_hz: f64, nominal_hz: f64) -> Self {
        let mut digits = Self {
            rate_hz,
            nominal_hz,
            origin_hz: nominal_hz,
            cumulative: VecDeque::with_capacity((LEARN_OVER_S * rate_hz) as usize + 2),
            length: 0,
            hits: 0,
            creeping: 0,
            leaping: 0,
            leapt: false,
            excursions: Excursions::new(rate_hz, nominal_hz),
            moves: VecDeque::new(),
            steps: VecDeque::new(),
            slow: false,
            averaging: None,
            calm: None,
            until_learn: 0,
            moved: false,
        };
        digits.cumulative.push_back(0.0);
        digits
    }

    /// Takes a value.
    pub fn push(&mut self, hz: f64) -> Motion {
        let last = self.cumulative.back().copied().unwrap_or(0.0);
        self.cumulative.push_back(last + hz - self.origin_hz);
        if self.cumulative.len() > (LEARN_OVER_S * self.rate_hz) as usize {
            self.cumulative.pop_front();
        }
        self.length += 1;
        if let Some((_, age)) = &mut self.calm {
            *age += 1;
        }
        let steps = self.steps.iter_mut().map(|step| &mut step.age);
        let moves = self.moves.iter_mut().map(|it| &mut it.age);
        moves.chain(steps).for_each(|age| *age += 1);
        if self.has_leapt() {
            return self.wait_for_calm();
        }
        let motion = self.look_for_motion();
        if motion == Motion::Left {
            self.learn();
        }
        motion
    }

    /// True from a leap of the speed until it stands still again: there is
    /// nothing to read meanwhile.
    pub fn is_leaping(&self) -> bool {
        self.leaping > 0
    }

    /// Change of the newest value against one a few before it, in parts of the
    /// nominal.
    fn change(&self) -> Option<f64> {
        let change = self.mean(0, 1)? - self.mean(LEAP_APART, 1)?;
        Some(change.abs() / self.nominal_hz)
    }

    fn has_leapt(&self) -> bool {
        let leaps = self.length > LEAP_APART && self.change().is_some_and(|by| by > LEAP_CHANGE);
        leaps || self.is_leaping()
    }

    /// When the leap is over, all begins with what came after it.
    fn wait_for_calm(&mut self) -> Motion {
        let calm = self.change().is_some_and(|by| by < CALM_CHANGE);
        self.leaping = if self.is_leaping() && calm {
            self.leaping - 1
        } else {
            self.values(CALM_FOR_S)
        };
        if self.leaping > 0 {
            return Motion::Left;
        }
        self.start_anew(self.values(CALM_FOR_S), false);
        self.leapt = true;
        Motion::Moved
    }

    fn values(&self, seconds: f64) -> usize {
        (seconds * self.rate_hz).round() as usize
    }

    /// Mean of `count` values that ended `ago` values ago.
    fn mean(&self, ago: usize, count: usize) -> Option<f64> {
        let end = self.cumulative.len().checked_sub(1 + ago)?;
        let from = end.checked_sub(count)?;
        (count > 0)
            .then(|| self.origin_hz + (self.cumulative[end] - self.cumulative[from]) / count as f64)
    }

    /// Values in one wow period, if known.
    pub fn period(&self) -> Option<usize> {
        self.period_s().map(|period_s| self.values(period_s).max(1))
    }

    /// The wow period in seconds, if known.
    pub fn period_s(&self) -> Option<f64> {
        self.averaging.as_ref().map(|averaging| averaging.period_s)
    }

    fn window(&self) -> usize {
        let longest = self.length.min(self.cumulative.len() - 1);
        match self.period() {
            Some(period) if longest >= period => {
                let most = (self.values(LONGEST_AVERAGE_S) / period).max(LEAST_MOST_PERIODS);
                (longest / period).min(most) * period
            }
            Some(_) => longest,
            None => longest.min(self.values(UNKNOWN_PERIOD_S)),
        }
    }

    /// The digits, in hertz.
    pub fn hz(&self) -> Option<f64> {
        self.mean(0, self.window())
    }

    /// The needle, in hertz.
    pub fn needle_hz(&self) -> Option<f64> {
        // After a leap nothing from before it.
        let since = if self.leapt { self.length } else { usize::MAX };
        let available = since.min(self.cumulative.len() - 1);
        self.mean(0, self.values(NEEDLE_S).min(available))
    }

    /// Length of the average in seconds.
    pub fn averaged_s(&self) -> f64 {
        self.window() as f64 / self.rate_hz
    }

    /// Since the average was started, in seconds.
    pub fn since_start_s(&self) -> f64 {
        self.length as f64 / self.rate_hz
    }

    /// True when the average was started by a move, not by finding the tone.
    pub fn was_moved(&self) -> bool {
        self.moved
    }

    /// True while the needle stands away from the digits.
    pub fn is_moving(&self) -> bool {
        self.hits > 0
    }

    /// True while nothing shows that a hand is at work.
    pub fn is_left_alone(&self) -> bool {
        !self.is_moving() && !self.is_creeping()
    }

    /// True once the average holds a whole period.
    pub fn holds_a_period(&self) -> bool {
        self.period().is_some_and(|period| self.length >= period)
    }

    /// 95 % of the digits, in hertz: what averages of this length have
    /// scattered by on this machine.
    pub fn scatter_hz(&self) -> Option<Expanded> {
        let length_s = self.averaged_s();
        if length_s < NEEDLE_S {
            return None;
        }
        self.scatter_of_mean_hz(length_s)
    }

    /// The same of any mean over this many seconds.
    pub fn scatter_of_mean_hz(&self, length_s: f64) -> Option<Expanded> {
        Some(known_hz(self.averaging.as_ref()?, length_s))
    }

    /// Mean and its 95 % over whole periods of the newest `at_most_s` seconds
    /// since the average was started; `None` before there is one. Only over
    /// the newest few seconds where those say otherwise: a move too small to
    /// start the average anew is in them sooner.
    pub fn freshest(&self, at_most_s: f64) -> Option<(f64, f64)> {
        let calm = self.calm.as_ref().map(|(averaging, _)| averaging);
        let averaging = calm.or(self.averaging.as_ref())?;
        let period = self.values(averaging.period_s).max(1);
        let available = self.values(at_most_s.min(LONGEST_AVERAGE_S));
        let whole = available.min(self.length) / period * period;
        let over = |count: usize| {
            let known = known_hz(averaging, count as f64 / self.rate_hz).half_width;
            Some((self.mean(0, count)?, known))
        };
        let all = over(whole)?;
        let few = (self.values(FRESH_S) / period).max(1) * period;
        if whole <= few {
            return Some(all);
        }
        let newest = over(few)?;
        let is_otherwise = (newest.0 - all.0).abs() > SAYS_OTHERWISE * newest.1;
        Some(if is_otherwise { newest } else { all })
    }

    /// Values a second.
    pub fn rate_hz(&self) -> f64 {
        self.rate_hz
    }

    fn look_for_motion(&mut self) -> Motion {
        let needle = self.values(NEEDLE_S);
        if self.length < needle {
            return Motion::Left;
        }
        let (Some(now), Some(digits)) = (self.mean(0, needle), self.hz()) else {
            return Motion::Left;
        };
        let excursion = now - digits;
        let is_away = excursion.abs() > self.excursions.most_hz();
        self.hits = if is_away { self.hits + 1 } else { 0 };
        if self.hits >= self.values(MOVED_FOR_S) {
            let is_slow = self.came_slowly(now, excursion);
            return self.strayed(excursion, is_slow);
        }
        let averages = self.averaging.is_some();
        let holds = self.holds_a_period();
        self.excursions.learn(excursion, averages, holds);
        let crept = self.crept();
        self.creeping = crept.map_or(0, |_| self.creeping + 1);
        if let Some(step) = crept
            && self.creeping >= self.values(CREPT_FOR_S)
        {
            return self.has_crept(step);
        }
        // A slow turn is over when two means agree that came after it.
        self.slow = self.slow && self.differs_slowly() != Some(false);
        Motion::Left
    }

    /// Part of the way was made before the newest second.
    fn came_slowly(&self, now: f64, excursion: f64) -> bool {
        let back = self.values(SLOW_WITHIN_S).max(self.period().unwrap_or(0));
        let before = self.mean(back, self.values(NEEDLE_S));
        before.is_some_and(|before| (now - before).abs() < SLOW_PART * excursion.abs())
    }

    /// The needle stands away from the digits: the speed was moved, or it is
    /// wow, if it comes and goes by more than it did before.
    fn strayed(&mut self, by_hz: f64, is_slow: bool) -> Motion {
        let block = self.values(straying::BLOCK_S);
        let means: Vec<f64> = (0..).map_while(|k| self.mean(k * block, block)).collect();
        let grown = straying::swing(&means).filter(|it| self.excursions.are_less_than(it.by));
        let Some(swing) = grown else {
            self.steps.clear();
            return self.move_on(by_hz, self.hits, is_slow);
        };
        self.is_wow(self.values(swing.since_s), swing.by)
    }

    /// The newest period differs from the one before it: so does a slow turn,
    /// step after step, and goes on; wow of another period comes back.
    fn has_crept(&mut self, step: Step) -> Motion {
        let within = STEPS_WITHIN * step.period;
        if self.steps.back().is_some_and(|last| last.age > within) {
            self.steps.clear();
        }
        self.steps.push_back(step);
        if self.steps.len() > STEPS {
            self.steps.pop_front();
        }
        let way = |step: &Step| (step.to - step.from).abs();
        let ways: f64 = self.steps.iter().map(way).sum();
        let first = self.steps[0];
        let gone = (step.to - first.from).abs();
        if self.steps.len() < STEPS || gone > STEPS_LEAD * ways {
            return self.move_on(step.to - step.from, step.period, true);
        }
        self.is_wow(first.age, 0.5 * ways / STEPS as f64)
    }

    fn move_on(&mut self, by_hz: f64, keep: usize, is_slow: bool) -> Motion {
        let within = self.cumulative.len();
        self.moves.retain(|it| it.age <= within);
        let is_small = |by_hz: f64| by_hz.abs() <= SMALL_MOVE * self.nominal_hz;
        let goes_on = self.moves.back().is_some_and(|last| {
            let soon = last.age <= self.values(SOON_S);
            soon && is_small(by_hz) && is_small(last.by_hz) && by_hz * last.by_hz > 0.0
        });
        self.moves.push_back(Move { age: 0, by_hz });
        self.start_anew(keep, is_slow || goes_on);
        Motion::Moved
    }

    /// What was learnt is not true of this machine any more, and what was taken
    /// for moves lately was none.
    fn is_wow(&mut self, since: usize, by: f64) -> Motion {
        self.moves.retain(|it| it.age <= since);
        let moves = self.moves.len() as u64;
        self.moves.clear();
        self.steps.clear();
        self.averaging = None;
        self.calm = None;
        self.start_anew(since, false);
        self.excursions.begin_anew(by);
        self.until_learn = 0;
        Motion::Wow { moves }
    }

    fn start_anew(&mut self, keep: usize, is_slow: bool) {
        self.leapt = false;
        self.length = keep;
        self.hits = 0;
        self.creeping = 0;
        self.slow = is_slow;
        self.excursions.interrupt();
        self.until_learn = self.values(LEARN_FROM_S);
        self.moved = true;
    }

    /// True while the speed goes somewhere, too slowly for a move.
    fn is_creeping(&self) -> bool {
        self.slow || self.differs_slowly() == Some(true)
    }

    /// Whether the newest mean differs from the one before it, over some
    /// seconds or half the average; `None` while there is only one.
    fn differs_slowly(&self) -> Option<bool> {
        let averaging = self.averaging.as_ref()?;
        let averaging = self.calm.as_ref().map_or(averaging, |(calm, _)| calm);
        let period = self.period()?;
        let short = self.values(SLOW_S).div_ceil(period) * period;
        let long = self.window() / 2 / period * period;
        let differs = |count: usize| {
            let pair = self.mean(0, count).zip(self.mean(count, count));
            let deviation = (2.0 * averaging.variance(count as f64 / self.rate_hz)).sqrt();
            let most = (CREPT_AT_LEAST * self.nominal_hz).max(SLOW_DEVIATIONS * deviation);
            pair.is_some_and(|(newest, before)| (newest - before).abs() > most)
        };
        (self.length >= 2 * short).then(|| differs(short) || (long > short && differs(long)))
    }

    fn crept(&self) -> Option<Step> {
        let (averaging, period) = self.averaging.as_ref().zip(self.period())?;
        if self.length < 2 * period {
            return None;
        }
        let (to, from) = self.mean(0, period).zip(self.mean(period, period))?;
        let deviation = (2.0 * averaging.variance(averaging.period_s)).sqrt();
        let threshold = (CREPT_AT_LEAST * self.nominal_hz).max(CREPT_DEVIATIONS * deviation);
        ((to - from).abs() > threshold).then_some(Step {
            age: 0,
            period,
            from,
            to,
        })
    }

    fn learn(&mut self) {
        self.until_learn = self.until_learn.saturating_sub(1);
        let known_for = self.averaging.as_ref().map_or(0.0, |a| 3.0 * a.period_s);
        let enough = self.values(LEARN_FROM_S.max(known_for));
        // A turn that goes on would teach its own threshold; for a while.
        let turning = self.is_creeping() && self.length < self.values(NOT_LEARNT_S);
        if self.until_learn > 0 || self.length < enough || turning {
            return;
        }
        self.until_learn = self.values(LEARN_EVERY_S);
        let newest = self.length.min(self.cumulative.len() - 1);
        let from = self.cumulative.len() - 1 - newest;
        self.cumulative.make_contiguous();
        let (all, _) = self.cumulative.as_slices();
        let sums = Sums {
            cumulative: &all[from..],
            rate_hz: self.rate_hz,
        };
        if let Some(averaging) = Averaging::learn(&sums) {
            if newest >= self.values(CALM_FROM_S) {
                self.learn_calm(&averaging);
            }
            self.averaging = Some(averaging);
        }
    }

    fn learn_calm(&mut self, now: &Averaging) {
        let is_kept = self.calm.as_ref().is_some_and(|(calm, age)| {
            *age < self.values(LEARN_OVER_S) && calm.variance(FRESH_S) <= now.variance(FRESH_S)
        });
        if !is_kept {
            self.calm = Some((now.clone(), 0));
        }
    }
}

/// 95 % of a mean over this many seconds, in hertz.
fn known_hz(averaging: &Averaging, length_s: f64) -> Expanded {
    let deviation = averaging.variance(length_s).sqrt();
    let freedom = averaging.freedom(length_s);
    Expanded {
        half_width: CHOSEN_TOO_WELL * student_95(freedom) * deviation,
        freedom,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    const RATE: f64 = 200.0;

    fn wow(n: usize) -> f64 {
        let t = n as f64 / RATE;
        3150.0 * (1.0 + 0.0015 * (TAU * 0.55 * t).sin() + 0.0006 * (TAU * 4.7 * t).sin())
    }

    #[test]
    fn steady_wow_leaves_the_digits_alone() {
        let mut digits = Digits::new(RATE, 3150.0);
        for n in 0..8000 {
            assert_eq!(digits.push(wow(n)), Motion::Left, "at {n}");
            if n > 4000 {
                let error = digits.hz().expect("digits") / 3150.0 - 1.0;
                assert!(error.abs() < 1e-4, "at {n}: {error}");
            }
        }
        assert!(digits.scatter_hz().expect("known").half_width < 0.5);
    }

    #[test]
    fn strong_wow_is_no_move() {
        let mut digits = Digits::new(RATE, 3150.0);
        for n in 0..6000 {
            let wow = 0.007 * (TAU * 0.6 * f64::from(n) / RATE).sin();
            assert_eq!(digits.push(3150.0 * (1.0 + wow)), Motion::Left, "at {n}");
        }
        let error = digits.hz().expect("digits") / 3150.0 - 1.0;
        assert!(error.abs() < 2e-4, "{error}");
    }

    #[test]
    fn a_step_starts_them_anew_and_they_are_right_in_two_periods() {
        let mut digits = Digits::new(RATE, 3150.0);
        let mut moves = 0;
        for n in 0..6000 {
            let step = if n >= 4000 { 0.03 * 3150.0 } else { 0.0 };
            moves += u32::from(digits.push(wow(n) + step) == Motion::Moved);
            if n >= 4000 + 2 * 364 {
                let error = digits.hz().expect("digits") / 3150.0 - 1.03;
                assert!(error.abs() < 2e-4, "at {n}: {error}");
            }
        }
        assert!((1..=3).contains(&moves), "{moves}");
    }

    /// Slow noise with a correlation time of three seconds, by 0.12 % rms, after
    /// this long without: how often nothing shows that a hand is at work, half a
    /// minute to a minute later.
    fn left_alone_after(quiet_s: f64, seed: u64) -> f64 {
        use rand_pcg::rand_core::{Rng, SeedableRng};
        let mut dice = rand_pcg::Pcg64::seed_from_u64(seed);
        let mut even = || f64::from(dice.next_u32()) / f64::from(u32::MAX) - 0.5;
        let kept = (-1.0 / (3.0 * RATE)).exp();
        let push = 0.0012 * (12.0 * (1.0 - kept * kept)).sqrt();
        let mut digits = Digits::new(RATE, 3150.0);
        let (mut noise, mut alone, mut looks) = (0.0, 0u32, 0u32);
        for n in 0..((quiet_s + 60.0) * RATE) as usize {
            let since_s = n as f64 / RATE - quiet_s;
            noise = kept * noise + push * even();
            let own = if since_s > 0.0 { noise } else { 0.0 };
            let _ = digits.push(wow(n) + 3150.0 * own);
            if since_s > 30.0 {
                looks += 1;
                alone += u32::from(digits.is_left_alone() && digits.holds_a_period());
            }
        }
        f64::from(alone) / f64::from(looks)
    }

    #[test]
    fn a_machine_that_grows_restless_is_not_taken_for_a_hand_at_work() {
        let of = |quiet_s| -> f64 { (0..12).map(|seed| left_alone_after(quiet_s, seed)).sum() };
        let (alone, after) = (of(0.0) / 12.0, of(30.0) / 12.0);
        assert!(after > alone - 0.15, "{alone:.2}, after quiet {after:.2}");
    }

    #[test]
    fn a_slow_turn_is_noticed() {
        let mut digits = Digits::new(RATE, 3150.0);
        let mut moved = false;
        for n in 0..6000 {
            let turned = (n as f64 - 4000.0).clamp(0.0, 1000.0) / 1000.0 * 0.005 * 3150.0;
            moved |= digits.push(wow(n) + turned) == Motion::Moved;
        }
        assert!(moved);
        let error = digits.hz().expect("digits") / 3150.0 - 1.005;
        assert!(error.abs() < 2e-4, "{error}");
    }
}
